//! Axes of a chart: where a value stands, and round numbers for its ticks.

/// Ticks that an axis has at least, in about the steps 1, 2, 5.
const TICKS: f64 = 4.0;
/// A step may be so much shorter than an even division asks for: more ticks than six would touch one another.
const LEAST_STEP: f64 = 0.7;
/// From this ratio of largest to smallest an axis of positive values is logarithmic.
const LOG_FROM: f64 = 30.0;

/// One axis.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Axis {
    /// Name with its unit.
    pub(super) name: String,
    pub(super) from: f64,
    pub(super) to: f64,
    is_log: bool,
    is_count: bool,
}

impl Axis {
    /// Evenly from `from` to `to`; widened when they are the same.
    pub(super) fn linear(name: impl Into<String>, from: f64, to: f64) -> Self {
        let half = if to > from { 0.0 } else { (0.1 * from.abs()).max(1e-3) };
        Self { name: name.into(), from: from - half, to: to + half, is_log: false, is_count: false }
    }

    /// From 0 to a count: its ticks are whole numbers.
    pub(super) fn count(name: impl Into<String>, to: f64) -> Self {
        Self { is_count: true, ..Self::linear(name, 0.0, to) }
    }

    /// What suits the values: their own span, logarithmic when it is wide and above 0.
    pub(super) fn of(name: impl Into<String>, values: impl Iterator<Item = f64> + Clone) -> Self {
        let values = values.filter(|value| value.is_finite());
        let (low, high) =
            values.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), value| (low.min(value), high.max(value)));
        if low > high {
            return Self::linear(name, 0.0, 1.0);
        }
        if low > 0.0 && high > LOG_FROM * low {
            return Self { name: name.into(), from: low / 1.1, to: high * 1.1, is_log: true, is_count: false };
        }
        let margin = 0.03 * (high - low);
        Self::linear(name, low - margin, high + margin)
    }

    /// Place of a value, 0 at the start to 1 at the end; values beyond stand at the ends, such as are no number nowhere.
    pub(super) fn share(&self, value: f64) -> Option<f64> {
        let share = if self.is_log {
            (value / self.from).ln() / (self.to / self.from).ln()
        } else {
            (value - self.from) / (self.to - self.from)
        };
        value.is_finite().then(|| share.clamp(0.0, 1.0))
    }

    /// Round numbers on the axis.
    pub(super) fn ticks(&self) -> Vec<f64> {
        if self.is_log {
            let decades = (self.from.log10().floor() as i32)..=(self.to.log10().ceil() as i32);
            let is_wide = self.to > 1000.0 * self.from;
            let steps: &[f64] = if is_wide { &[1.0] } else { &[1.0, 3.0] };
            let all = decades.flat_map(|decade| steps.iter().map(move |step| step * 10_f64.powi(decade)));
            return all.filter(|tick| (self.from..=self.to).contains(tick)).collect();
        }
        let raw = (self.to - self.from) / TICKS;
        let power = 10_f64.powf(raw.log10().floor());
        let step =
            [1.0, 2.0, 5.0, 10.0].into_iter().map(|s| s * power).find(|step| *step >= LEAST_STEP * raw).unwrap_or(raw);
        let step = if self.is_count { step.max(1.0) } else { step };
        let (first, last) = ((self.from / step).ceil() as i64, (self.to / step).floor() as i64);
        (first..=last).map(|n| n as f64 * step).collect()
    }
}

/// A number as short as it can be without saying something else: four digits after the point at most.
pub(super) fn number(value: f64) -> String {
    let text = if value != 0.0 && value.abs() < 1e-3 { format!("{value:.5}") } else { format!("{value:.4}") };
    let text = text.trim_end_matches('0').trim_end_matches('.');
    let text = if text.is_empty() || text == "-0" || text == "-" { "0" } else { text };
    text.replace('-', "\u{2212}")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ticks_are_round() {
        let texts = |axis: &Axis| axis.ticks().into_iter().map(number).collect::<Vec<_>>().join(" ");
        assert_eq!(texts(&Axis::linear("", -0.1, 0.1)), "\u{2212}0.1 \u{2212}0.05 0 0.05 0.1");
        assert_eq!(texts(&Axis::linear("", 0.0, 1.0)), "0 0.2 0.4 0.6 0.8 1");
        assert_eq!(texts(&Axis::of("", [0.5, 90.0].into_iter())), "1 3 10 30");
        assert_eq!(number(1200.0), "1200");
    }

    #[test]
    fn an_axis_of_one_value_or_none_has_a_width() {
        for axis in [Axis::of("", std::iter::empty()), Axis::of("", [0.0].into_iter()), Axis::linear("", 5.0, 5.0)] {
            assert!(axis.to > axis.from && !axis.ticks().is_empty(), "{axis:?}");
        }
        let axis = Axis::linear("", 0.0, 2.0);
        assert_eq!((axis.share(1.0), axis.share(9.0), axis.share(f64::NAN)), (Some(0.5), Some(1.0), None));
    }
}

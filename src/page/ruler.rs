//! Two plain rulers: where the beam stands on each axis, and where it may stand.
//!
//! Percent as the trade uses them (1 % is 10 cm on 10 m). The band that the rule allows is shaded, its nominal a line, the
//! beam a pointer with its uncertainty (k = 2) as a bar. Colours come from the style sheet.

use crate::reading::block::AxisBlock;
use maud::{Markup, PreEscaped, html};
use std::fmt::Write as _;

/// Shortest range that is shown, percent.
const LEAST_SPAN: f64 = 2.0;
/// Room at each end, share of what must be seen.
const ROOM: f64 = 0.18;
/// Steps between lines, percent; the first that gives few enough.
const STEPS: [f64; 6] = [0.25, 0.5, 1.0, 2.0, 5.0, 10.0];
const MOST_STEPS: f64 = 9.0;
/// Sizes of the pictures, in their own units.
const LENGTH: f64 = 320.0;
const BREADTH: f64 = 96.0;
const EDGE: f64 = 16.0;
/// Where the scale lies across the ruler.
const SCALE_FROM: f64 = 34.0;
const SCALE_TO: f64 = 70.0;

/// Which axis a ruler is of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Along {
    /// Up and down.
    Vertical,
    /// Left and right.
    Horizontal,
}

fn percent(degrees: f64) -> f64 {
    100.0 * degrees.to_radians().tan()
}

/// A value with its sign, percent.
pub(super) fn signed(degrees: f64) -> String {
    let value = percent(degrees);
    let text = format!("{value:+.2}");
    if text == "-0.00" { "+0.00".to_owned() } else { text.replace('-', "\u{2212}") }
}

/// The ruler of one axis, with its words.
pub(super) fn ruler(along: Along, axis: &AxisBlock) -> Markup {
    let name = if along == Along::Vertical { "Height" } else { "Side" };
    let class = if along == Along::Vertical { "ruler is-upright" } else { "ruler is-level" };
    html! {
        figure class=(class) {
            figcaption {
                span .what { (name) }
                strong { (signed(axis.value_deg)) " %" }
                span { "± " (format!("{:.2}", percent(axis.u_deg))) " · " (result(axis)) }
                span .small { (allowed(axis)) }
            }
            (PreEscaped(picture(along, axis, &format!("{name}: {} %, {}", signed(axis.value_deg), result(axis)))))
        }
    }
}

fn result(axis: &AxisBlock) -> &'static str {
    match axis.result.as_str() {
        "pass" => "inside",
        "fail" => "outside",
        _ => "too close to call",
    }
}

fn allowed(axis: &AxisBlock) -> String {
    match (axis.lower_deg, axis.upper_deg) {
        (Some(lower), Some(upper)) => format!("allowed {} to {} %", signed(lower), signed(upper)),
        (Some(lower), None) => format!("allowed from {} % up", signed(lower)),
        (None, Some(upper)) => format!("allowed up to {} %", signed(upper)),
        (None, None) => String::new(),
    }
}

/// Places on the ruler.
struct Scale {
    along: Along,
    low: f64,
    high: f64,
}

impl Scale {
    fn of(along: Along, axis: &AxisBlock) -> Self {
        let (value, u) = (percent(axis.value_deg), percent(axis.u_deg));
        let limits = [axis.lower_deg, axis.upper_deg, axis.nominal_deg];
        let seen = limits.into_iter().flatten().map(percent).chain([value - u, value + u]);
        let (low, high) = seen.fold((f64::MAX, f64::MIN), |(low, high), n| (low.min(n), high.max(n)));
        let span = (high - low).max(LEAST_SPAN);
        let middle = f64::midpoint(low, high);
        let half = span * (0.5 + ROOM);
        Self { along, low: middle - half, high: middle + half }
    }

    /// Along the ruler: from the left, or from the top.
    fn at(&self, percent: f64) -> f64 {
        let share = ((percent - self.low) / (self.high - self.low)).clamp(0.0, 1.0);
        let share = if self.along == Along::Vertical { 1.0 - share } else { share };
        EDGE + share * (LENGTH - 2.0 * EDGE)
    }

    /// A box from one place to another along, and across.
    fn area(&self, class: &str, from: f64, to: f64, across: (f64, f64)) -> String {
        let (a, b) = (self.at(from), self.at(to));
        let (start, length) = (a.min(b), (a - b).abs());
        let (x, y, w, h) = match self.along {
            Along::Horizontal => (start, across.0, length, across.1 - across.0),
            Along::Vertical => (across.0, start, across.1 - across.0, length),
        };
        format!("<rect class=\"{class}\" x=\"{x:.1}\" y=\"{y:.1}\" width=\"{w:.1}\" height=\"{h:.1}\"/>")
    }

    fn line(&self, class: &str, place: f64, across: (f64, f64)) -> String {
        let at = self.at(place);
        match self.along {
            Along::Horizontal => format!("<path class=\"{class}\" d=\"M{at:.1} {:.1}V{:.1}\"/>", across.0, across.1),
            Along::Vertical => format!("<path class=\"{class}\" d=\"M{:.1} {at:.1}H{:.1}\"/>", across.0, across.1),
        }
    }

    fn number(&self, place: f64, text: &str) -> String {
        let at = self.at(place);
        match self.along {
            Along::Horizontal => {
                format!("<text x=\"{at:.1}\" y=\"{:.1}\" text-anchor=\"middle\">{text}</text>", SCALE_TO + 20.0)
            }
            Along::Vertical => format!("<text x=\"{:.1}\" y=\"{:.1}\">{text}</text>", SCALE_TO + 5.0, at + 5.0),
        }
    }

    fn pointer(&self, place: f64) -> String {
        let at = self.at(place);
        let tip = SCALE_FROM + 6.0;
        match self.along {
            Along::Horizontal => {
                format!("<path class=\"beam\" d=\"M{at:.1} {tip:.1}l-12 -28h24z\"/>")
            }
            Along::Vertical => format!("<path class=\"beam\" d=\"M{tip:.1} {at:.1}l-28 -12v24z\"/>"),
        }
    }
}

fn picture(along: Along, axis: &AxisBlock, title: &str) -> String {
    let scale = Scale::of(along, axis);
    let (width, height) = match along {
        Along::Horizontal => (LENGTH, BREADTH),
        Along::Vertical => (BREADTH + 24.0, LENGTH),
    };
    let mut svg = format!("<svg viewBox=\"0 0 {width} {height}\" role=\"img\"><title>{title}</title>");
    let across = (SCALE_FROM, SCALE_TO);
    svg += &scale.area("ground", scale.low, scale.high, across);
    let lower = axis.lower_deg.map(percent);
    let upper = axis.upper_deg.map(percent);
    if lower.is_some() || upper.is_some() {
        svg += &scale.area("allowed", lower.unwrap_or(scale.low), upper.unwrap_or(scale.high), across);
    }
    let span = scale.high - scale.low;
    let step = STEPS.into_iter().find(|step| span / step <= MOST_STEPS).unwrap_or(20.0);
    let mut tick = (scale.low / step).ceil() * step;
    while tick <= scale.high {
        svg += &scale.line("tick", tick, (SCALE_TO - 12.0, SCALE_TO));
        let text = format!("{tick:+.2}").trim_end_matches('0').trim_end_matches('.').replace('-', "\u{2212}");
        let is_zero = tick.abs() < 1e-9;
        // Writing to a String cannot fail.
        let _ = write!(svg, "{}", scale.number(tick, if is_zero { "0" } else { &text }));
        tick += step;
    }
    for limit in [lower, upper].into_iter().flatten() {
        svg += &scale.line("limit", limit, (SCALE_FROM - 4.0, SCALE_TO + 4.0));
    }
    if let Some(nominal) = axis.nominal_deg.map(percent) {
        svg += &scale.line("nominal", nominal, across);
    }
    let (value, u) = (percent(axis.value_deg), percent(axis.u_deg));
    svg += &scale.area("spread", value - u, value + u, (SCALE_FROM + 6.0, SCALE_FROM + 14.0));
    svg += &scale.pointer(value);
    svg + "</svg>"
}

#[cfg(test)]
mod tests {
    use super::*;

    fn axis(value_deg: f64, lower_deg: Option<f64>, upper_deg: Option<f64>) -> AxisBlock {
        AxisBlock {
            value_deg,
            u_deg: 0.05,
            nominal_deg: None,
            lower_deg,
            upper_deg,
            result: "pass".to_owned(),
            conformance_probability: None,
        }
    }

    /// Up is up, right is right, and nothing leaves the ruler.
    #[test]
    fn places_stand_where_the_axes_say() {
        let axis = axis(-0.5, Some(-1.0), Some(-0.2));
        let upright = Scale::of(Along::Vertical, &axis);
        assert!(upright.at(-0.2) < upright.at(-1.0));
        let level = Scale::of(Along::Horizontal, &axis);
        assert!(level.at(-0.2) > level.at(-1.0));
        assert!(level.at(-1e6) >= EDGE && level.at(1e6) <= LENGTH - EDGE);
    }

    /// tan 0.572939 degrees = 0.01 (worked out by hand).
    #[test]
    fn degrees_are_shown_as_percent_with_a_sign() {
        assert_eq!(signed(-0.572_939), "\u{2212}1.00");
        assert_eq!(signed(0.572_939), "+1.00");
        assert_eq!(signed(-1e-6), "+0.00");
    }

    #[test]
    fn one_sided_and_far_off_values_are_drawn() {
        for axis in [axis(12.0, None, Some(0.0)), axis(0.0, Some(-0.1), None), axis(0.0, None, None)] {
            let svg = ruler(Along::Horizontal, &axis).0;
            assert!(svg.contains("class=\"beam\"") && !svg.contains("NaN"));
        }
    }
}

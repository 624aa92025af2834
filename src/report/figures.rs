//! Stored angles as figures for the page: rounded once, from the stored number.

use crate::units::{Deg, Mm};

/// Digits of a percent: a hundredth is a millimetre on 10 m, a tenth of what a good set-up can know.
const PERCENT_DIGITS: usize = 2;

/// 100·tan of the angle.
pub(super) fn percent(angle_deg: f64) -> f64 {
    Deg::new(angle_deg).to_percent().get()
}

/// Millimetres on a flat screen at this distance.
pub(super) fn mm(angle_deg: f64, distance_mm: f64) -> f64 {
    Deg::new(angle_deg).to_mm_at(Mm::new(distance_mm)).get()
}

/// With its sign; what rounds to zero has none.
pub(super) fn signed(value: f64, digits: usize) -> String {
    let text = format!("{:.digits$}", value.abs());
    let is_zero = !text.bytes().any(|byte| (b'1'..=b'9').contains(&byte));
    match (is_zero, value < 0.0) {
        (true, _) => text,
        (false, true) => format!("\u{2212}{text}"),
        (false, false) => format!("+{text}"),
    }
}

/// Percent with its sign.
pub(super) fn signed_percent(angle_deg: f64) -> String {
    signed(percent(angle_deg), PERCENT_DIGITS)
}

/// `−1.00 ± 0.03 %`.
pub(super) fn percent_and_u(value_deg: f64, u_deg: f64) -> String {
    let half = half_span(value_deg, u_deg, percent);
    format!("{} ± {half:.PERCENT_DIGITS$} %", signed_percent(value_deg))
}

/// `−100 ± 3 mm`.
pub(super) fn mm_and_u(value_deg: f64, u_deg: f64, distance_mm: f64) -> String {
    let to_mm = |angle_deg: f64| mm(angle_deg, distance_mm);
    format!("{} ± {:.0} mm", signed(to_mm(value_deg), 0), half_span(value_deg, u_deg, to_mm))
}

/// Half of what value ± u covers in another unit.
fn half_span(value_deg: f64, u_deg: f64, to: impl Fn(f64) -> f64) -> f64 {
    0.5 * (to(value_deg + u_deg) - to(value_deg - u_deg)).abs()
}

/// A stored number, every digit of it, with a typographic minus.
pub(super) fn stored(value: f64) -> String {
    value.to_string().replace('-', "\u{2212}")
}

/// Limits in one unit: `−1.67 to −0.33 %`, `at most …`, `at least …`.
pub(super) fn limits(lower: Option<f64>, upper: Option<f64>, unit: &str, show: impl Fn(f64) -> String) -> String {
    match (lower, upper) {
        (Some(lower), Some(upper)) => format!("{} to {} {unit}", show(lower), show(upper)),
        (None, Some(upper)) => format!("at most {} {unit}", show(upper)),
        (Some(lower), None) => format!("at least {} {unit}", show(lower)),
        (None, None) => "\u{2013}".to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Truth: tan(−0.57294°) = −0.0100000, and −100 mm on 10 m, −76.2 mm on 7.62 m.
    #[test]
    fn angles_in_percent_and_millimetres() {
        assert_eq!(percent_and_u(-0.57294, 0.0172), "\u{2212}1.00 ± 0.03 %");
        assert_eq!(mm_and_u(-0.57294, 0.0172, 10_000.0), "\u{2212}100 ± 3 mm");
        assert_eq!(mm_and_u(0.57294, 0.0172, 7_620.0), "+76 ± 2 mm");
        assert_eq!(signed_percent(-0.000_01), "0.00");
        assert_eq!(stored(-1.38567), "\u{2212}1.38567");
    }

    #[test]
    fn limits_may_be_one_sided() {
        let show = |value: f64| signed(value, 1);
        assert_eq!(limits(Some(-1.0), Some(0.5), "%", show), "\u{2212}1.0 to +0.5 %");
        assert_eq!(limits(None, Some(0.5), "%", show), "at most +0.5 %");
        assert_eq!(limits(Some(0.5), None, "%", show), "at least +0.5 %");
        assert_eq!(limits(None, None, "%", show), "\u{2013}");
    }
}

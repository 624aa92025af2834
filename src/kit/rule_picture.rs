//! A rule's limits drawn as a zone on the wall, as one sees it from the vehicle (SVG).
//!
//! **Takes** the limits for one lamp. **Gives** a picture whose axes are percent of inclination, with millimetres at the
//! wall's distance beside them; the zone in which the feature must lie is hatched, a one-sided limit ends at the frame.

use crate::aim::{AppliedRule, AxisLimits};
use crate::units::{Deg, Mm};
use std::fmt::Write as _;

/// Frame of the wall, percent of inclination: left, right, down, up.
const FRAME_PERCENT: (f64, f64, f64, f64) = (-4.0, 4.0, -4.5, 2.5);
/// Scale, SVG units a percent.
const SCALE: f64 = 100.0;
/// Room around the frame for numbers.
const MARGIN: f64 = 90.0;

/// The picture.
pub fn picture(rule: &AppliedRule, distance: Mm) -> String {
    let (left, right, down, up) = FRAME_PERCENT;
    let (width, height) = ((right - left) * SCALE, (up - down) * SCALE);
    let x = |percent: f64| MARGIN + (percent - left) * SCALE;
    let y = |percent: f64| MARGIN + (up - percent) * SCALE;
    let mut svg = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {:.0} {:.0}\" font-family=\"sans-serif\" font-size=\"22\" \
         role=\"img\">\n<title>{}</title>\n<defs><pattern id=\"zone\" width=\"14\" height=\"14\" \
         patternUnits=\"userSpaceOnUse\" patternTransform=\"rotate(45)\"><rect width=\"14\" height=\"14\" \
         fill=\"#dcefe0\"/><path d=\"M0 0V14\" stroke=\"#2b7a45\" stroke-width=\"3\"/></pattern></defs>\n<rect \
         width=\"100%\" height=\"100%\" fill=\"#ffffff\"/>\n<rect x=\"{MARGIN}\" y=\"{MARGIN}\" width=\"{width:.0}\" \
         height=\"{height:.0}\" fill=\"#f3f1ea\" stroke=\"#444444\"/>\n",
        width + 2.0 * MARGIN,
        height + 2.0 * MARGIN,
        escaped(&rule.name)
    );
    let range = |limits: Option<AxisLimits>, frame: (f64, f64)| {
        let percent = |angle: Option<Deg>, open: f64| {
            angle.map_or(open, |angle| angle.to_percent().get()).clamp(frame.0, frame.1)
        };
        let limits = limits.filter(AxisLimits::is_judged).unwrap_or_default();
        (percent(limits.lower, frame.0), percent(limits.upper, frame.1))
    };
    let is_judged = |limits: Option<AxisLimits>| limits.is_some_and(|limits| limits.is_judged());
    // Writing to a String cannot fail.
    if is_judged(rule.vertical) || is_judged(rule.horizontal) {
        let (lower, upper) = range(rule.vertical, (down, up));
        let (west, east) = range(rule.horizontal, (left, right));
        let _ = writeln!(
            svg,
            "<rect x=\"{:.1}\" y=\"{:.1}\" width=\"{:.1}\" height=\"{:.1}\" fill=\"url(#zone)\" stroke=\"#2b7a45\" \
             stroke-width=\"3\"/>",
            x(west),
            y(upper),
            (east - west) * SCALE,
            (upper - lower) * SCALE
        );
    }
    svg += &lines_of_percent(distance);
    let _ = writeln!(
        svg,
        "<path d=\"M{0:.0} {MARGIN}V{1:.0}M{MARGIN} {2:.0}H{3:.0}\" stroke=\"#222222\" stroke-width=\"3\"/>",
        x(0.0),
        MARGIN + height,
        y(0.0),
        MARGIN + width
    );
    let nominal = |limits: Option<AxisLimits>| limits.and_then(|limits| limits.nominal).map(|n| n.to_percent().get());
    if let Some(v) = nominal(rule.vertical) {
        let _ = writeln!(
            svg,
            "<path d=\"M{MARGIN} {0:.1}H{1:.0}\" stroke=\"#8a4b00\" stroke-width=\"3\" stroke-dasharray=\"16 10\"/><text \
             x=\"{2:.0}\" y=\"{3:.1}\" fill=\"#8a4b00\">aim at {v:.2} %</text>",
            y(v),
            MARGIN + width,
            MARGIN + 10.0,
            y(v) - 8.0
        );
    }
    if let Some(h) = nominal(rule.horizontal) {
        let _ = writeln!(
            svg,
            "<path d=\"M{0:.1} {MARGIN}V{1:.0}\" stroke=\"#8a4b00\" stroke-width=\"3\" stroke-dasharray=\"16 10\"/>",
            x(h),
            MARGIN + height
        );
    }
    let _ = writeln!(
        svg,
        "<text x=\"{MARGIN}\" y=\"38\" font-size=\"28\">{}</text><text x=\"{MARGIN}\" y=\"70\">vertical: {}, horizontal: {}; \
         wall at {:.0} mm; 0 is the lamp's own height and straight ahead</text>\n</svg>",
        escaped(&rule.name),
        rule.vertical_feature.as_str(),
        if is_judged(rule.horizontal) { rule.horizontal_feature.as_str() } else { "not judged" },
        distance.get()
    );
    svg
}

/// Lines at whole percents, with their lengths on the wall.
fn lines_of_percent(distance: Mm) -> String {
    let (left, right, down, up) = FRAME_PERCENT;
    let (width, height) = ((right - left) * SCALE, (up - down) * SCALE);
    let x = |percent: f64| MARGIN + (percent - left) * SCALE;
    let y = |percent: f64| MARGIN + (up - percent) * SCALE;
    let mut svg = String::new();
    let length = |percent: f64| (percent / 100.0 * distance.get()).round();
    for step in -4..=4 {
        let p = f64::from(step);
        let _ = writeln!(
            svg,
            "<path d=\"M{0:.0} {MARGIN}V{1:.0}\" stroke=\"#bbbbbb\"/><text x=\"{0:.0}\" y=\"{2:.0}\" \
             text-anchor=\"middle\">{step} %</text><text x=\"{0:.0}\" y=\"{3:.0}\" text-anchor=\"middle\" \
             font-size=\"17\">{4:.0} mm</text>",
            x(p),
            MARGIN + height,
            MARGIN + height + 30.0,
            MARGIN + height + 54.0,
            length(p)
        );
    }
    for step in -4..=2 {
        let p = f64::from(step);
        let _ = writeln!(
            svg,
            "<path d=\"M{MARGIN} {0:.0}H{1:.0}\" stroke=\"#bbbbbb\"/><text x=\"{2:.0}\" y=\"{3:.0}\" \
             text-anchor=\"end\">{step} %</text><text x=\"{4:.0}\" y=\"{3:.0}\" font-size=\"17\">{5:.0} mm</text>",
            y(p),
            MARGIN + width,
            MARGIN - 8.0,
            y(p) + 8.0,
            MARGIN + width + 8.0,
            length(p)
        );
    }
    svg
}

fn escaped(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;").replace('"', "&quot;")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::aim::{Beam, LampCase, Rule};
    use crate::bay::{LampSide, Traffic};
    use crate::beam::Pattern;

    /// The zone of the older German guideline, -1.7 % to -0.7 %, stands 170 to 270 units under the upper edge of the frame at
    /// 2.5 %: y = 90 + 100 (2.5 + 0.7) = 410, 100 high, across the whole frame.
    #[test]
    fn the_zone_is_where_the_limits_are() {
        let lamp = LampCase {
            beam: Beam::Low,
            pattern: Pattern::Kink,
            traffic: Traffic::Right,
            side: LampSide::Left,
            centre_height: Mm::new(700.0),
            lower_edge_height: None,
            plate: None,
        };
        let rule = Rule::built_in("de-older-guideline").unwrap().unwrap().apply(&lamp).unwrap();
        let svg = picture(&rule, Mm::new(10000.0));
        assert!(
            svg.contains("<rect x=\"90.0\" y=\"410.0\" width=\"800.0\" height=\"100.0\" fill=\"url(#zone)\""),
            "{svg}"
        );
        assert!(svg.contains("aim at -1.20 %") && svg.contains("-100 mm"), "{svg}");
    }
}

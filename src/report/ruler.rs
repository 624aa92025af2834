//! A plain ruler: an axis in percent and in millimetres on the wall, what is allowed shaded, and where the beam was.
//!
//! In a dense page, where millimetres stand in the table alone, a ruler has its percents only.
//!
//! The vertical ruler stands upright, the horizontal one lies, so that up is up and left is left. Nothing is drawn outside of
//! its scale, which is chosen so that every place with its uncertainty, every limit and the zero line are on it.

use super::axis::{AxisView, Place, Way};
use super::figures::{mm, percent, signed};
use super::look::{AIM, ALLOWED, BEFORE, LABEL, SMALL, TEXT};
use crate::kit::sheet_page::{Anchor, BLACK, Ink, LIGHT, Page, Pen, Spot, Style, WHITE, quarter_disc, rectangle};

/// Room beyond the outermost place, as a part of the span.
const PAD: f64 = 0.08;
/// Least span of a ruler, percent: U must not fill it.
const LEAST_SPAN: f64 = 1.0;
/// Steps of ticks.
const PERCENT_STEPS: [f64; 9] = [0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0];
const MM_STEPS: [f64; 11] = [5.0, 10.0, 20.0, 50.0, 100.0, 200.0, 500.0, 1000.0, 2000.0, 5000.0, 10_000.0];
/// Least distance of two ticks with numbers, mm of paper: upright, lying.
const UPRIGHT_PITCH: f64 = 5.5;
const LYING_PITCH: f64 = 9.5;
const DENSE_PITCH: f64 = 6.4;
const TICK: f64 = 1.4;
const NUMBERS: Style = Style::regular(2.5);
const DOT: f64 = 1.15;
/// Least distance of a number from the ruler's end, where the unit stands, mm of paper.
const UNIT_ROOM: f64 = 3.6;

/// What a ruler shows, and in how much room.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Room {
    /// Percent and millimetres.
    Wide,
    /// Percent alone, everything a little smaller.
    Dense,
}

/// Rims around a ruler's bar: left, top, right, bottom.
const fn rims(way: Way, room: Room) -> [f64; 4] {
    match (way, room) {
        (Way::Vertical, Room::Wide) => [17.0, 9.5, 17.0, 1.5],
        (Way::Vertical, Room::Dense) => [12.2, 7.4, 0.5, 0.8],
        (Way::Horizontal, Room::Wide) => [13.0, 10.0, 6.0, 4.2],
        (Way::Horizontal, Room::Dense) => [0.8, 7.6, 4.0, 4.2],
    }
}

/// Percent to a part of the ruler, 0 at its low end.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Scale {
    low: f64,
    high: f64,
}

impl Scale {
    fn of(axis: &AxisView) -> Self {
        let ends = |place: Option<Place>| {
            place.map(|place| [place.value_deg - place.u_deg, place.value_deg + place.u_deg]).into_iter().flatten()
        };
        let all = ends(axis.before)
            .chain(ends(axis.now))
            .chain([axis.lower_deg, axis.upper_deg, axis.nominal_deg].into_iter().flatten())
            .map(percent)
            .chain([0.0]);
        let (low, high) = all.fold((f64::MAX, f64::MIN), |(low, high), at| (low.min(at), high.max(at)));
        let missing = 0.5 * (LEAST_SPAN - (high - low)).max(0.0);
        let pad = missing + PAD * (high - low).max(LEAST_SPAN);
        Self { low: low - pad, high: high + pad }
    }

    fn part(self, percent: f64) -> f64 {
        ((percent - self.low) / (self.high - self.low)).clamp(0.0, 1.0)
    }

    /// Ticks on a ruler of this length: place as a part, and number. `unit` is so many percent.
    fn ticks(self, steps: &[f64], unit: f64, length: f64, pitch: f64) -> Vec<(f64, f64)> {
        let paper = |step: f64| length * step * unit / (self.high - self.low);
        let Some(step) = steps.iter().copied().find(|step| paper(*step) >= pitch) else { return Vec::new() };
        let first = (self.low / unit / step).ceil() as i64;
        let last = (self.high / unit / step).floor() as i64;
        (first..=last).map(|n| (self.part(n as f64 * step * unit), n as f64 * step)).collect()
    }
}

/// Where a ruler's bar lies on the page, and how along and across become right and down.
#[derive(Debug, Clone, Copy)]
struct Bar {
    corner: Spot,
    size: Spot,
    way: Way,
}

impl Bar {
    fn length(self) -> f64 {
        if self.way == Way::Vertical { self.size.1 } else { self.size.0 }
    }

    /// A place: along from the low end, across from the side of the percents, both as parts.
    fn at(self, along: f64, across: f64) -> Spot {
        let ((x, y), (width, height)) = (self.corner, self.size);
        match self.way {
            Way::Vertical => (x + across * width, y + (1.0 - along) * height),
            Way::Horizontal => (x + along * width, y + across * height),
        }
    }

    fn across(self, page: &mut Page, along: f64, pen: Pen) {
        page.line(self.at(along, 0.0), self.at(along, 1.0), pen);
    }
}

/// Draws a ruler into a frame, its title included.
pub(super) fn ruler(page: &mut Page, axis: &AxisView, way: Way, room: Room, corner: Spot, size: Spot) {
    let (title, sign) = match way {
        Way::Vertical => ("Up and down", "+ is up"),
        Way::Horizontal => ("Left and right", "+ is right"),
    };
    let style = if room == Room::Wide { TEXT } else { SMALL };
    let style = Style { is_bold: true, ..style };
    let top = corner.1 + style.size;
    page.words((corner.0, top), title, style);
    let sign_x = corner.0 + style.width_of(title) + if room == Room::Wide { 2.5 } else { 1.2 };
    // In little room left and right need no saying; up does not either.
    if sign_x + LABEL.width_of(sign) <= corner.0 + size.0 {
        page.words((sign_x, top), sign, LABEL);
    }
    let [left, above, right, below] = rims(way, room);
    let bar =
        Bar { corner: (corner.0 + left, corner.1 + above), size: (size.0 - left - right, size.1 - above - below), way };
    let scale = Scale::of(axis);
    band(page, axis, scale, bar);
    numbers(page, axis, scale, bar, room);
    bar.across(page, scale.part(0.0), Pen::solid(0.55, BLACK));
    if let Some(aim) = axis.nominal_deg {
        bar.across(page, scale.part(percent(aim)), Pen { width: 0.4, ink: AIM, dash: Some((1.4, 1.0)) });
    }
    page.rectangle(bar.corner, bar.size, Pen::solid(0.2, BLACK));
    let lanes: &[(Option<Place>, f64, Ink, &str)] = match axis.before {
        // In a narrow bar the lanes part, so that their names do not meet.
        Some(_) if room == Room::Dense => &[(axis.before, 0.2, BEFORE, "before"), (axis.now, 0.8, BLACK, "now")],
        Some(_) => &[(axis.before, 0.28, BEFORE, "before"), (axis.now, 0.72, BLACK, "now")],
        None => &[(axis.now, 0.5, BLACK, "measured")],
    };
    if (way, room) == (Way::Horizontal, Room::Dense) && axis.before.is_some() {
        let words = "above: before, below: now";
        page.words((bar.corner.0, bar.corner.1 + bar.size.1 + 3.0), words, LABEL.fitted(words, size.0 - 2.0));
    }
    for (place, across, ink, name) in lanes {
        let start = bar.at(if way == Way::Vertical { 1.0 } else { 0.0 }, *across);
        match (way, room) {
            (Way::Vertical, _) => {
                let size = if room == Room::Wide { LABEL.size } else { 2.3 };
                page.words((start.0, start.1 - 1.2), *name, Style { size, ..LABEL }.anchored(Anchor::Middle));
            }
            (Way::Horizontal, Room::Wide) => {
                let most = bar.corner.0 - corner.0 - 1.0;
                page.words((start.0 - 1.2, start.1 + 0.9), *name, LABEL.anchored(Anchor::End).fitted(name, most));
            }
            // Beside the bar there is no room.
            (Way::Horizontal, Room::Dense) => (),
        }
        if let Some(place) = place {
            mark(page, *place, scale, bar, *across, *ink);
        }
    }
}

/// What is allowed; a side without a limit is open to the ruler's end.
fn band(page: &mut Page, axis: &AxisView, scale: Scale, bar: Bar) {
    page.fill(rectangle(bar.corner, bar.size).to_vec(), WHITE);
    if axis.lower_deg.is_none() && axis.upper_deg.is_none() {
        return;
    }
    let part = |limit: Option<f64>, open: f64| limit.map_or(open, |limit| scale.part(percent(limit)));
    let (low, high) = (part(axis.lower_deg, 0.0), part(axis.upper_deg, 1.0));
    let (a, b) = (bar.at(low, 0.0), bar.at(high, 1.0));
    let corner = (a.0.min(b.0), a.1.min(b.1));
    page.fill(rectangle(corner, ((a.0 - b.0).abs(), (a.1 - b.1).abs())).to_vec(), ALLOWED);
    for limit in [axis.lower_deg, axis.upper_deg].into_iter().flatten() {
        bar.across(page, scale.part(percent(limit)), Pen::solid(0.35, AIM));
    }
}

/// Ticks and numbers: percent on one side, millimetres on the wall on the other.
fn numbers(page: &mut Page, axis: &AxisView, scale: Scale, bar: Bar, room: Room) {
    let pitch = match (bar.way, room) {
        (Way::Vertical, _) => UPRIGHT_PITCH,
        (Way::Horizontal, Room::Wide) => LYING_PITCH,
        (Way::Horizontal, Room::Dense) => DENSE_PITCH,
    };
    let thin = Pen::solid(0.15, LIGHT);
    let per_mm = 1.0 / mm(percent_deg(1.0), axis.distance_mm).max(f64::MIN_POSITIVE);
    let sides: [(&[f64], f64, f64, &str); 2] = [(&PERCENT_STEPS, 1.0, 0.0, "%"), (&MM_STEPS, per_mm, 1.0, "mm")];
    let sides = if room == Room::Wide { &sides[..] } else { &sides[..1] };
    for &(steps, unit, across, name) in sides {
        let out = if across < 0.5 { -1.0 } else { 1.0 };
        for (along, number) in scale.ticks(steps, unit, bar.length(), pitch) {
            let from = bar.at(along, across);
            let digits = usize::from(number.abs() < 1e6 && steps[0] < 1.0);
            let text = match (bar.way, number == 0.0 && across < 0.5) {
                (Way::Vertical, true) => "level 0".to_owned(),
                _ if number == 0.0 => "0".to_owned(),
                _ => signed(number, digits),
            };
            // Where the unit stands there is no number.
            let is_free = bar.way == Way::Vertical || (1.0 - along) * bar.length() > UNIT_ROOM;
            match bar.way {
                Way::Vertical => {
                    page.line(from, (from.0 + out * TICK, from.1), Pen::solid(0.2, BLACK));
                    let anchor = if out < 0.0 { Anchor::End } else { Anchor::Start };
                    page.words((from.0 + out * (TICK + 0.8), from.1 + 0.9), text, NUMBERS.anchored(anchor));
                }
                Way::Horizontal => {
                    page.line(from, (from.0, from.1 + out * TICK), Pen::solid(0.2, BLACK));
                    let y = from.1 + if out < 0.0 { -TICK - 0.7 } else { TICK + 2.4 };
                    if is_free {
                        page.words((from.0, y), text, NUMBERS.anchored(Anchor::Middle));
                    }
                }
            }
            if across < 0.5 {
                bar.across(page, along, thin);
            }
        }
        let end = bar.at(1.0, across);
        let (x, y) = match bar.way {
            Way::Vertical => (end.0 + out * (TICK + 3.4), end.1 - 1.2),
            Way::Horizontal => (end.0 + 1.0, end.1 + if out < 0.0 { -TICK - 0.7 } else { TICK + 2.4 }),
        };
        let anchor = if bar.way == Way::Vertical { Anchor::Middle } else { Anchor::Start };
        page.words((x, y), name, LABEL.anchored(anchor));
    }
}

/// A measured place: a dot with whiskers at ± U.
fn mark(page: &mut Page, place: Place, scale: Scale, bar: Bar, across: f64, ink: Ink) {
    let part = |angle_deg: f64| scale.part(percent(angle_deg));
    let (low, high) = (part(place.value_deg - place.u_deg), part(place.value_deg + place.u_deg));
    page.line(bar.at(low, across), bar.at(high, across), Pen::solid(0.7, ink));
    for end in [low, high] {
        let (x, y) = bar.at(end, across);
        let (right, down) = if bar.way == Way::Vertical { (1.9, 0.0) } else { (0.0, 1.9) };
        page.line((x - right, y - down), (x + right, y + down), Pen::solid(0.35, ink));
    }
    let centre = bar.at(part(place.value_deg), across);
    for (right, down) in [(1.0, 1.0), (1.0, -1.0), (-1.0, 1.0), (-1.0, -1.0)] {
        page.fill(quarter_disc(centre, DOT, right, down).to_vec(), ink);
    }
}

fn percent_deg(percent: f64) -> f64 {
    crate::units::Percent::new(percent).to_deg().get()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn axis() -> AxisView {
        AxisView {
            before: Some(Place { value_deg: percent_deg(-2.5), u_deg: 0.02 }),
            now: Some(Place { value_deg: percent_deg(-1.0), u_deg: 0.02 }),
            nominal_deg: Some(percent_deg(-1.0)),
            lower_deg: Some(percent_deg(-1.5)),
            upper_deg: Some(percent_deg(-0.5)),
            distance_mm: 8_000.0,
        }
    }

    /// Truth: everything lies on the ruler, and at 8 m a percent is 80 mm.
    #[test]
    fn everything_is_on_the_scale_and_both_units_agree() {
        let scale = Scale::of(&axis());
        assert!(scale.low < -2.5 && scale.high > 0.0, "{scale:?}");
        let percents = scale.ticks(&PERCENT_STEPS, 1.0, 40.0, 5.0);
        let millimetres = scale.ticks(&MM_STEPS, 1.0 / 80.0, 40.0, 5.0);
        assert!(percents.len() >= 3 && millimetres.len() >= 3);
        let at = |ticks: &[(f64, f64)], number: f64| {
            ticks.iter().find(|(_, n)| (n - number).abs() < 1e-9).map(|(part, _)| *part).unwrap()
        };
        assert!((at(&percents, -2.0) - at(&percents, 0.0) - (scale.part(-2.0) - scale.part(0.0))).abs() < 1e-9);
        for (part, number) in &millimetres {
            assert!((scale.part(number / 80.0) - part).abs() < 1e-9);
        }
    }

    #[test]
    fn up_is_up_and_right_is_right() {
        let bar = |way| Bar { corner: (10.0, 20.0), size: (30.0, 40.0), way };
        assert_eq!(bar(Way::Vertical).at(1.0, 0.0), (10.0, 20.0));
        assert_eq!(bar(Way::Vertical).at(0.0, 1.0), (40.0, 60.0));
        assert_eq!(bar(Way::Horizontal).at(1.0, 0.0), (40.0, 20.0));
    }
}

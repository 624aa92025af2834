//! A rule's limits as zones on the wall, as one sees it from the vehicle.
//!
//! **Takes** the limits for one lamp, the wall's distance and the lamp's height. **Gives** a drawing as SVG or as pixels, whose
//! axes are percent of inclination with millimetres on that wall beside them: where the feature must stand, and where it must be
//! dark. **How** the frame is chosen so that every limit lies inside; a zone with an open side ends at the frame and says so.

use super::palette::Ink;
use super::plane::{Area, Spot};
use super::sketch::{Shape, Side, Sketch, Slant};
use crate::aim::{AppliedRule, AxisLimits, SeenBy};
use crate::units::{Deg, Mm};
use image::RgbImage;

/// Room of the frame, units.
const FRAME: (f32, f32) = (980.0, 660.0);
/// Left, top, right and bottom of it.
const MARGINS: (f32, f32, f32, f32) = (110.0, 150.0, 130.0, 190.0);
/// Least that the frame reaches from the lamp's height and from straight ahead, percent: left, right, down, up.
const LEAST_REACH: (f64, f64, f64, f64) = (2.5, 2.5, 2.0, 1.0);
/// Room beyond the outermost limit, as a part of the frame's whole span, and at least so many percent.
const BEYOND: (f64, f64) = (0.12, 0.5);
/// Steps between two lines that are tried, percent; the first that gives at most so many lines is taken.
const STEPS: [f64; 6] = [0.5, 1.0, 2.0, 5.0, 10.0, 20.0];
const MOST_LINES: f64 = 12.0;
/// Sizes of words, units.
const TITLE: f32 = 30.0;
const WORDS: f32 = 21.0;
const SMALL: f32 = 18.0;
/// Width of a letter as a part of the size, on the average, with some to spare.
const LETTER: f32 = 0.6;

const PAPER: Ink = Ink::solid(255, 255, 255);
const WALL: Ink = Ink::solid(246, 244, 238);
const LINE: Ink = Ink::solid(196, 196, 190);
const INK: Ink = Ink::solid(30, 30, 30);
const ASH: Ink = Ink::solid(96, 96, 96);
const ALLOWED: Ink = Ink::solid(220, 239, 224);
const ALLOWED_LINE: Ink = Ink::solid(30, 110, 60);
const DARK: Ink = Ink::solid(214, 206, 226);
const DARK_LINE: Ink = Ink::solid(84, 52, 130);
const AIM: Ink = Ink::solid(150, 76, 0);
const FLOOR: Ink = Ink::solid(120, 104, 88);

/// Where the wall and the lamp stand.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SeenFrom {
    /// Lamp to wall.
    pub distance: Mm,
    /// Lamp centre above the floor, which is taken as level.
    pub centre_height: Mm,
}

/// The drawing as SVG.
pub fn rule_svg(rule: &AppliedRule, from: &SeenFrom) -> String {
    sketch(rule, from).to_svg()
}

/// The drawing as pixels.
pub fn rule_picture(rule: &AppliedRule, from: &SeenFrom) -> RgbImage {
    sketch(rule, from).to_picture()
}

fn percent(angle: Deg) -> f64 {
    angle.to_percent().get()
}

/// The part of the wall that is drawn, percent of inclination.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Frame {
    left: f64,
    right: f64,
    down: f64,
    up: f64,
    /// Units a percent, the same both ways.
    scale: f64,
}

impl Frame {
    /// Holds every limit, nominal and edge of a zone with room beyond it.
    fn around(rule: &AppliedRule) -> Self {
        let ends = |limits: Option<AxisLimits>| {
            let limits = limits.unwrap_or_default();
            [limits.lower, limits.nominal, limits.upper].into_iter().flatten().map(percent).collect::<Vec<_>>()
        };
        let (mut across, mut along) = (ends(rule.horizontal), ends(rule.vertical));
        if let Some(zone) = &rule.dark_zone {
            across.extend([zone.left, zone.right].into_iter().flatten().map(percent));
            along.push(percent(zone.above));
        }
        let least = |values: &[f64], reach: f64| values.iter().copied().fold(0.0, f64::min).min(-reach);
        let most = |values: &[f64], reach: f64| values.iter().copied().fold(0.0, f64::max).max(reach);
        let (mut left, mut right) = (least(&across, LEAST_REACH.0), most(&across, LEAST_REACH.1));
        let (mut down, mut up) = (least(&along, LEAST_REACH.2), most(&along, LEAST_REACH.3));
        let room = |span: f64| (BEYOND.0 * span).max(BEYOND.1);
        let (aside, over) = (room(right - left), room(up - down));
        (left, right, down, up) = (left - aside, right + aside, down - over, up + over);
        let scale = (f64::from(FRAME.0) / (right - left)).min(f64::from(FRAME.1) / (up - down));
        // What room is left over goes to both sides, so that the frame has its shape whatever the limits are.
        let wide = 0.5 * (f64::from(FRAME.0) / scale - (right - left));
        let high = 0.5 * (f64::from(FRAME.1) / scale - (up - down));
        Self { left: left - wide, right: right + wide, down: down - high, up: up + high, scale }
    }

    fn x(&self, percent: f64) -> f32 {
        MARGINS.0 + ((percent - self.left) * self.scale) as f32
    }

    fn y(&self, percent: f64) -> f32 {
        MARGINS.1 + ((self.up - percent) * self.scale) as f32
    }

    /// The box of a span; an end that is open reaches the frame's.
    fn area(&self, (left, right): (Option<f64>, Option<f64>), (down, up): (Option<f64>, Option<f64>)) -> Area {
        let (left, right) = (self.x(left.unwrap_or(self.left)), self.x(right.unwrap_or(self.right)));
        let (top, bottom) = (self.y(up.unwrap_or(self.up)), self.y(down.unwrap_or(self.down)));
        Area { left, top, right, bottom }
    }

    fn whole(&self) -> Area {
        self.area((None, None), (None, None))
    }

    /// Between two lines, percent.
    fn step(&self) -> f64 {
        let span = (self.right - self.left).max(self.up - self.down);
        STEPS.into_iter().find(|step| span / step <= MOST_LINES).unwrap_or(STEPS[STEPS.len() - 1])
    }
}

fn sketch(rule: &AppliedRule, from: &SeenFrom) -> Sketch {
    let frame = Frame::around(rule);
    let mut shapes = vec![Shape::Fill { area: frame.whole(), ink: WALL }];
    shapes.extend(allowed(rule, &frame));
    shapes.extend(dark_zone(rule, &frame));
    shapes.extend(lines_of_percent(&frame, from.distance));
    shapes.extend(outlines(rule, &frame));
    shapes.extend(floor(&frame, from));
    shapes.extend(nominals(rule, &frame));
    shapes.extend(names(rule, &frame, from));
    Sketch {
        width: (MARGINS.0 + FRAME.0 + MARGINS.2) as u32,
        height: (MARGINS.1 + FRAME.1 + MARGINS.3) as u32,
        title: rule.name.clone(),
        ground: PAPER,
        shapes,
    }
}

fn is_judged(limits: Option<AxisLimits>) -> bool {
    limits.is_some_and(|limits| limits.is_judged())
}

/// Where the feature must stand.
fn allowed_area(rule: &AppliedRule, frame: &Frame) -> Option<Area> {
    let span = |limits: Option<AxisLimits>| {
        let limits = limits.unwrap_or_default();
        (limits.lower.map(percent), limits.upper.map(percent))
    };
    (is_judged(rule.vertical) || is_judged(rule.horizontal))
        .then(|| frame.area(span(rule.horizontal), span(rule.vertical)))
}

fn dark_area(rule: &AppliedRule, frame: &Frame) -> Option<Area> {
    let zone = rule.dark_zone.as_ref()?;
    Some(frame.area((zone.left.map(percent), zone.right.map(percent)), (Some(percent(zone.above)), None)))
}

fn allowed(rule: &AppliedRule, frame: &Frame) -> Vec<Shape> {
    let Some(area) = allowed_area(rule, frame) else { return Vec::new() };
    vec![
        Shape::Fill { area, ink: ALLOWED },
        Shape::Hatch { area, ink: Ink::solid(150, 200, 165), slant: Slant::Rising },
    ]
}

fn dark_zone(rule: &AppliedRule, frame: &Frame) -> Vec<Shape> {
    let Some(area) = dark_area(rule, frame) else { return Vec::new() };
    vec![Shape::Fill { area, ink: DARK }, Shape::Hatch { area, ink: Ink::solid(150, 128, 184), slant: Slant::Falling }]
}

/// Edges of both zones, where they are limits and not the frame.
fn outlines(rule: &AppliedRule, frame: &Frame) -> Vec<Shape> {
    let whole = frame.whole();
    let mut shapes = Vec::new();
    let areas = [(allowed_area(rule, frame), ALLOWED_LINE), (dark_area(rule, frame), DARK_LINE)];
    for (area, ink) in areas.into_iter().filter_map(|(area, ink)| area.map(|area| (area, ink))) {
        let Area { left, top, right, bottom } = area;
        let sides = [
            (left > whole.left, (left, top), (left, bottom)),
            (right < whole.right, (right, top), (right, bottom)),
            (top > whole.top, (left, top), (right, top)),
            (bottom < whole.bottom, (left, bottom), (right, bottom)),
        ];
        for (_, from, to) in sides.into_iter().filter(|(is_limit, ..)| *is_limit) {
            let (from, to) = (Spot::new(from.0, from.1), Spot::new(to.0, to.1));
            shapes.push(Shape::Line { from, to, ink, width: 4.0, dash: None });
        }
    }
    shapes
}

fn line(from: (f32, f32), to: (f32, f32), ink: Ink, width: f32) -> Shape {
    Shape::Line { from: Spot::new(from.0, from.1), to: Spot::new(to.0, to.1), ink, width, dash: None }
}

fn words(at: (f32, f32), text: impl Into<String>, size: f32, ink: Ink, side: Side) -> Shape {
    Shape::Words { at: Spot::new(at.0, at.1), text: text.into(), size, ink, side, halo: None }
}

/// The same on a plate of the paper's colour.
fn label(at: (f32, f32), text: impl Into<String>, ink: Ink, side: Side) -> Shape {
    Shape::Words { at: Spot::new(at.0, at.1), text: text.into(), size: WORDS, ink, side, halo: Some(PAPER) }
}

/// Lines at even percents, with their lengths on the wall; the lamp's own height and straight ahead are heavier.
fn lines_of_percent(frame: &Frame, distance: Mm) -> Vec<Shape> {
    let (whole, step) = (frame.whole(), frame.step());
    let digits = usize::from(step < 1.0);
    let length = |percent: f64| format!("{:+.0} mm", percent / 100.0 * distance.get() + 0.0);
    let places = |from: f64, to: f64| {
        let (first, last) = ((from / step).ceil() as i32, (to / step).floor() as i32);
        (first..=last).map(move |n| f64::from(n) * step)
    };
    let shown = |percent: f64| if percent == 0.0 { "0".to_owned() } else { format!("{percent:+.digits$} %") };
    let mut shapes = Vec::new();
    for p in places(frame.left, frame.right) {
        let x = frame.x(p);
        shapes.push(line((x, whole.top), (x, whole.bottom), LINE, 1.5));
        shapes.push(words((x, whole.bottom + 28.0), shown(p), SMALL, INK, Side::Middle));
        if p != 0.0 {
            shapes.push(words((x, whole.bottom + 50.0), length(p), 0.8 * SMALL, ASH, Side::Middle));
        }
    }
    for p in places(frame.down, frame.up) {
        let y = frame.y(p);
        shapes.push(line((whole.left, y), (whole.right, y), LINE, 1.5));
        shapes.push(words((whole.left - 10.0, y + 6.0), shown(p), SMALL, INK, Side::End));
        if p != 0.0 {
            shapes.push(words((whole.right + 10.0, y + 6.0), length(p), SMALL, ASH, Side::Start));
        }
    }
    let (x, y) = (frame.x(0.0), frame.y(0.0));
    shapes.push(line((x, whole.top), (x, whole.bottom), INK, 3.0));
    shapes.push(line((whole.left, y), (whole.right, y), INK, 3.0));
    shapes.push(words((whole.right + 10.0, frame.y(0.0) + 6.0), "lamp height", SMALL, INK, Side::Start));
    shapes.push(words((frame.x(0.0), whole.top - 10.0), "straight ahead", SMALL, INK, Side::Middle));
    shapes
}

/// The floor at the wall, where it is in the frame: nothing below it can be lit.
fn floor(frame: &Frame, from: &SeenFrom) -> Vec<Shape> {
    let floor = -100.0 * from.centre_height.get() / from.distance.get();
    if floor <= frame.down {
        return Vec::new();
    }
    let (whole, y) = (frame.whole(), frame.y(floor));
    let below = Area { top: y, ..whole };
    vec![
        Shape::Hatch { area: below, ink: FLOOR, slant: Slant::Rising },
        line((whole.left, y), (whole.right, y), FLOOR, 5.0),
        label((whole.left + 10.0, y + 28.0), "floor, if it is level", FLOOR, Side::Start),
    ]
}

fn nominals(rule: &AppliedRule, frame: &Frame) -> Vec<Shape> {
    let whole = frame.whole();
    let nominal = |limits: Option<AxisLimits>| limits.and_then(|limits| limits.nominal).map(percent);
    let dashes = |from: (f32, f32), to: (f32, f32)| Shape::Line {
        from: Spot::new(from.0, from.1),
        to: Spot::new(to.0, to.1),
        ink: AIM,
        width: 4.0,
        dash: Some((18.0, 12.0)),
    };
    let mut shapes = Vec::new();
    if let Some(v) = nominal(rule.vertical) {
        let y = frame.y(v);
        shapes.push(dashes((whole.left, y), (whole.right, y)));
        shapes.push(label((whole.left + 12.0, y - 9.0), aim(v), AIM, Side::Start));
    }
    if let Some(h) = nominal(rule.horizontal) {
        shapes.push(dashes((frame.x(h), whole.top), (frame.x(h), whole.bottom)));
    }
    shapes
}

/// What the dashed line says.
fn aim(v: f64) -> String {
    if v.abs() < 0.005 { "aim at 0: the lamp's height".to_owned() } else { format!("aim at {v:+.2} %") }
}

/// Limits in words: "-2.75 to -0.50 %".
fn limits_in_words(limits: Option<AxisLimits>) -> String {
    let shown = |angle: Deg| format!("{:+.2}", percent(angle) + 0.0);
    match limits.map(|limits| (limits.lower, limits.upper, limits.nominal)) {
        Some((Some(lower), Some(upper), _)) => format!("{} to {} %", shown(lower), shown(upper)),
        Some((None, Some(upper), _)) => format!("at most {} %, no lower limit", shown(upper)),
        Some((Some(lower), None, _)) => format!("at least {} %, no upper limit", shown(lower)),
        Some((None, None, Some(nominal))) => format!("aim at {} %, no limits: not judged", shown(nominal)),
        _ => "not judged".to_owned(),
    }
}

/// Title, what is judged by what, and the zones' names.
fn names(rule: &AppliedRule, frame: &Frame, from: &SeenFrom) -> Vec<Shape> {
    let whole = frame.whole();
    let room = FRAME.0 + MARGINS.2;
    let fitted = |text: &str, size: f32| size.min(room / (LETTER * text.chars().count().max(1) as f32));
    let mut shapes = vec![words((MARGINS.0, 42.0), rule.name.clone(), fitted(&rule.name, TITLE), INK, Side::Start)];
    let vertical = format!("vertical ({}): {}", rule.vertical_feature.as_str(), limits_in_words(rule.vertical));
    let horizontal = format!("horizontal ({}): {}", rule.horizontal_feature.as_str(), limits_in_words(rule.horizontal));
    let horizontal = if rule.horizontal.is_some() { horizontal } else { "horizontal: not judged".to_owned() };
    for (n, text) in [vertical, horizontal].into_iter().enumerate() {
        shapes.push(words((MARGINS.0, 74.0 + 28.0 * n as f32), text.as_str(), fitted(&text, WORDS), INK, Side::Start));
    }
    if let Some(area) = allowed_area(rule, frame) {
        // Below the line of the aim and beside straight ahead, where a label of the dark zone never lies.
        shapes.push(label((area.right - 12.0, area.bottom - 12.0), "allowed", ALLOWED_LINE, Side::End));
    }
    let mut foot = vec![format!(
        "Wall at {:.0} mm, lamp's centre {:.0} mm above the floor; as seen from the vehicle.",
        from.distance.get(),
        from.centre_height.get()
    )];
    if let (Some(area), Some(zone)) = (dark_area(rule, frame), &rule.dark_zone) {
        shapes.push(label((area.right - 12.0, area.top + 30.0), "dark zone", DARK_LINE, Side::End));
        let how = match zone.seen_by {
            SeenBy::Eye => "not judged by number: look at the wall",
            SeenBy::LightMeter => "not judged by number: needs a light meter",
        };
        foot.push(format!("Dark zone: no {}; {how}.", zone.free_of));
    }
    for (n, text) in foot.iter().enumerate() {
        let at = (MARGINS.0, whole.bottom + 94.0 + 30.0 * n as f32);
        shapes.push(words(at, text.as_str(), fitted(text, WORDS), INK, Side::Start));
    }
    shapes
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::aim::{Beam, LampCase, Rule};
    use crate::bay::{LampSide, Traffic};
    use crate::beam::Pattern;

    const TEN_METRES: SeenFrom = SeenFrom { distance: Mm::new(10_000.0), centre_height: Mm::new(700.0) };

    fn applied(id: &str, beam: Beam, pattern: Pattern, height: f64) -> AppliedRule {
        let rule = Rule::built_in(id).unwrap().unwrap();
        let lamp = LampCase {
            beam,
            pattern,
            traffic: rule.written_for_traffic,
            side: LampSide::Left,
            centre_height: Mm::new(height),
            lower_edge_height: Some(Mm::new(height - 60.0)),
            plate: None,
        };
        rule.apply(&lamp).unwrap()
    }

    /// The zone of the older German guideline is -1.7 % to -0.7 % and open to both sides; the frame's scale is the same both ways.
    /// A tenth of a unit is what a tolerance as an angle and percent differ by.
    #[test]
    fn the_zone_is_where_the_limits_are() {
        let rule = applied("de-older-guideline", Beam::Low, Pattern::Kink, 700.0);
        let frame = Frame::around(&rule);
        let area = allowed_area(&rule, &frame).unwrap();
        assert!((f64::from(area.height()) - frame.scale).abs() < 0.1, "1 % high: {area:?}");
        assert!((f64::from(frame.y(0.0) - area.top) + 0.7 * frame.scale).abs() < 0.1, "{area:?}");
        assert_eq!((area.left, area.right), (frame.whole().left, frame.whole().right));
        let svg = rule_svg(&rule, &TEN_METRES);
        assert!(svg.contains("aim at -1.20 %") && svg.contains("-100 mm") && svg.contains("-1.70 to -0.70 %"), "{svg}");
    }

    /// No limit of any built-in rule for any beam, pattern and height lies on the frame or beyond it.
    #[test]
    fn the_frame_holds_every_limit_of_every_rule() {
        for id in Rule::built_in_ids() {
            for case in Rule::built_in(id).unwrap().unwrap().cases {
                for height in [450.0, 700.0, 1100.0, 1500.0] {
                    let rule = applied(id, case.beams[0], case.pattern, height);
                    let (frame, whole) = (Frame::around(&rule), Frame::around(&rule).whole());
                    let on = |limits: Option<AxisLimits>| {
                        let limits = limits.unwrap_or_default();
                        [limits.lower, limits.nominal, limits.upper].into_iter().flatten().map(percent)
                    };
                    let zone = rule.dark_zone.as_ref();
                    let across = on(rule.horizontal).chain(zone.and_then(|zone| zone.left).map(percent));
                    let along = on(rule.vertical).chain(zone.map(|zone| percent(zone.above)));
                    for x in across.map(|p| frame.x(p)) {
                        assert!(x > whole.left + 20.0 && x < whole.right - 20.0, "{id} at {height}: x {x}");
                    }
                    for y in along.map(|p| frame.y(p)) {
                        assert!(y > whole.top + 20.0 && y < whole.bottom - 20.0, "{id} at {height}: y {y}");
                    }
                }
            }
        }
    }

    /// Left-hand traffic: light may rise on the left, so the British zone begins at straight ahead and opens to the right.
    #[test]
    fn a_dark_zone_is_drawn_on_its_side_and_named() {
        let rule = applied("gb-inspection", Beam::Low, Pattern::Kink, 700.0);
        let (frame, svg) = (Frame::around(&rule), rule_svg(&rule, &TEN_METRES));
        let area = dark_area(&rule, &frame).unwrap();
        assert_eq!((area.left, area.right, area.top), (frame.x(0.0), frame.whole().right, frame.whole().top));
        assert!((area.bottom - frame.y(-0.5)).abs() < 0.01, "{area:?}");
        assert!(svg.contains("not judged by number: look at the wall"), "{svg}");
        let picture = rule_picture(&rule, &TEN_METRES);
        let at = |h: f64, v: f64| picture.get_pixel(frame.x(h) as u32, frame.y(v) as u32).0;
        assert_ne!(at(0.73, 0.33), at(-0.73, 0.33), "the hatched half and the other look alike");
        let right = Rule::built_in("shop-check").unwrap().unwrap();
        assert_eq!(right.written_for_traffic, Traffic::Right);
    }

    /// On a wall at 25 m the floor is 2.8 % below a lamp at 700 mm: what lies under it cannot be lit.
    #[test]
    fn the_floor_is_drawn_where_the_wall_is_far() {
        let rule = applied("gb-inspection", Beam::Low, Pattern::Kink, 700.0);
        let far = SeenFrom { distance: Mm::new(25_000.0), centre_height: Mm::new(700.0) };
        assert!(rule_svg(&rule, &far).contains("floor, if it is level"));
        assert!(!rule_svg(&rule, &TEN_METRES).contains("floor, if it is level"));
    }
}

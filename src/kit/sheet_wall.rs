//! The wall's plan: where each mark goes, from the floor and the centreline, as one sees it from the vehicle.
//!
//! Lightly drawn beside it: for each height of lamp the level of the lamp's centre and its lines at 1 % and 2 % down, on
//! the centreline, with the floor's slope and the wall's tilt in them. A line at p percent below the lamp's axis meets the
//! wall at y (cos t - m sin t) = h + m d, m = (slope - p)/100, t the wall's tilt (plane geometry; y along the wall's face).

use super::sheet_art::PrintedMark;
use super::sheet_page::{Anchor, BLACK, DIM, LIGHT, Page, Paper, Pen, Spot, Style, WHITE, millimetres};
use super::sheet_plan::{Plan, heading, level_dimension, upright_dimension};
use crate::bay::{Bay, Mark};
use crate::units::Mm;

/// Inclinations that are drawn, percent down.
const AIM_PERCENT: [f64; 3] = [0.0, 1.0, 2.0];
/// Wall that is drawn at least to each side of the centreline, mm.
const LEAST_HALF_WIDTH: f64 = 1000.0;
/// Room on the page for the plan: from the left (dimensions), right (names of lines), above and below, mm.
const LEFT: f64 = 14.0;
const RIGHT: f64 = 62.0;
const TOP: f64 = 38.0;
/// Between neighbouring dimension lines.
const PITCH: f64 = 7.0;
/// Places nearer than this are one place, mm: no tape tells them apart.
const SAME: f64 = 0.05;
/// Table's line pitch, and its room under the plan for the words beside it.
const ROW: f64 = 5.2;
const LEAST_TABLE: f64 = 34.0;
/// With many marks the table's lines move together rather than leave the page.
const MOST_TABLE: f64 = 80.0;
/// The plan is not made smaller than this, however many dimensions surround it.
const LEAST_ROOM: f64 = 40.0;
/// Least distance between names of lines.
const NAME_PITCH: f64 = 3.9;

/// The page.
pub fn wall_plan(bay: &Bay, heights: &[Mm], paper: Paper) -> Page {
    let mut page = Page::lying(paper);
    heading(
        &mut page,
        &format!("Wall plan: {}", bay.name),
        &format!(
            "bay {}, {} mm from the lamps to the wall, seen from the vehicle, millimetres",
            bay.id,
            millimetres(bay.wall.distance.get())
        ),
    );
    let (xs, ys) = (values(bay, |mark| mark.centre.x_mm), values(bay, |mark| mark.centre.y_mm));
    let below = PITCH * levels(&xs) as f64 + 8.0;
    let (on_left, on_right) = heights_by_side(bay, &ys);
    let (beside, right_room) = (LEFT + PITCH * on_left.len() as f64, RIGHT + PITCH * on_right.len() as f64);
    let row = ROW.min(MOST_TABLE / (bay.marks.len() as f64 + 1.5));
    let table = (row * (bay.marks.len() as f64 + 1.5)).max(LEAST_TABLE) + 10.0;
    let lines = aim_lines(bay, heights);
    let (left, right, low, high) = extent(bay, &lines);
    let room = (page.width - beside - right_room, page.height - TOP - below - table);
    let scale = Plan::scale_for((right - left, high - low), (room.0.max(LEAST_ROOM), room.1.max(LEAST_ROOM)));
    let spare = (room.0 - (right - left) / scale).max(0.0);
    let spare_height = (room.1 - (high - low) / scale).max(0.0);
    let plan = Plan { scale, zero: (beside + 0.5 * spare - left / scale, TOP + 0.4 * spare_height + high / scale) };
    let note = format!("scale 1 : {scale:.0}");
    page.words((page.width - 12.0, 17.0), note, Style::bold(5.0).anchored(Anchor::End));
    let dimensions = PITCH * on_right.len() as f64;
    frame(&mut page, plan, (left, right), (high, dimensions));
    draw_lines(&mut page, plan, &lines, (left, right), dimensions);
    draw_marks(&mut page, plan, bay);
    places_across(&mut page, plan, bay, &xs);
    heights_up(&mut page, plan, bay, (&on_left, &on_right), (left, right));
    let y = plan.at(0.0, low.min(0.0)).1 + below + 6.0;
    let width = draw_table(&mut page, bay, (12.0, y), row);
    words(&mut page, bay, (12.0 + width + 8.0, y));
    page
}

/// Different values among the marks, rising.
fn values(bay: &Bay, of: impl Fn(&Mark) -> f64) -> Vec<f64> {
    let mut all: Vec<f64> = bay.marks.iter().map(of).collect();
    all.sort_by(f64::total_cmp);
    all.dedup_by(|a, b| is_at(*a, *b));
    all
}

/// Dimension lines that lie under one another: those to the left share their level with those to the right.
fn levels(xs: &[f64]) -> usize {
    xs.iter().filter(|x| **x < -SAME).count().max(xs.iter().filter(|x| **x > SAME).count())
}

/// A line at an inclination of a lamp: its height on the wall, and its name.
type AimLine = (f64, String, bool);

fn aim_lines(bay: &Bay, heights: &[Mm]) -> Vec<AimLine> {
    let slope = bay.floor.map_or(0.0, |floor| floor.slope.get());
    let rise = bay.floor.map_or(0.0, |floor| floor.rise_to_wall.get());
    let (sin, cos) = bay.wall.tilt_deg.to_radians().sin_cos();
    let mut lines = Vec::new();
    for height in heights {
        for percent in AIM_PERCENT {
            let m = (slope - percent) / 100.0;
            let y = (height.get() + m * bay.wall.distance.get()) / (cos - m * sin) - rise;
            let name = if percent > 0.0 {
                format!("lamp at {}, {percent:.0} % down: {}", millimetres(height.get()), millimetres(y))
            } else {
                format!("lamp at {}, level: {}", millimetres(height.get()), millimetres(y))
            };
            lines.push((y, name, percent == 0.0));
        }
    }
    lines.sort_by(|a, b| b.0.total_cmp(&a.0));
    lines
}

fn extent(bay: &Bay, lines: &[AimLine]) -> (f64, f64, f64, f64) {
    let mut found = (-LEAST_HALF_WIDTH, LEAST_HALF_WIDTH, 0.0_f64, 0.0_f64);
    for mark in &bay.marks {
        let half = 0.5 * mark.size.get();
        found.0 = found.0.min(mark.centre.x_mm - half);
        found.1 = found.1.max(mark.centre.x_mm + half);
        found.2 = found.2.min(mark.centre.y_mm - half);
        found.3 = found.3.max(mark.centre.y_mm + half);
    }
    found.3 = lines.iter().fold(found.3, |high, line| high.max(line.0));
    found
}

fn frame(page: &mut Page, plan: Plan, (left, right): Spot, (high, dimensions): Spot) {
    let (start, end) = (plan.at(left, 0.0), plan.at(right, 0.0));
    page.line((start.0 - 4.0, start.1), (end.0 + dimensions + 4.0, end.1), Pen::solid(0.8, BLACK));
    page.words((end.0 + dimensions + 6.0, end.1 + 1.2), "floor", Style::bold(3.4));
    let (top, foot) = (plan.at(0.0, high), plan.at(0.0, 0.0));
    let pen = Pen { width: 0.3, ink: BLACK, dash: Some((6.0, 1.5)) };
    page.line((top.0, top.1 - 7.0), (foot.0, foot.1 + 2.0), pen);
    page.words((top.0, top.1 - 8.2), "centreline", Style::bold(3.4).anchored(Anchor::Middle));
}

fn draw_lines(page: &mut Page, plan: Plan, lines: &[AimLine], (left, right): Spot, dimensions: f64) {
    let mut last = f64::NEG_INFINITY;
    for (y, name, is_lamp) in lines {
        let (start, mut end) = (plan.at(left, *y), plan.at(right, *y));
        end.0 += dimensions;
        let pen = if *is_lamp { Pen::solid(0.2, LIGHT) } else { Pen::dashed(0.2, LIGHT) };
        page.line(start, (end.0 + 2.0, end.1), pen);
        let at = (end.1 + 1.0).max(last + NAME_PITCH);
        page.line((end.0 + 2.0, end.1), (end.0 + 5.0, at - 1.0), pen);
        let style = if *is_lamp { Style::bold(3.0) } else { Style::regular(3.0) };
        page.words((end.0 + 6.0, at), name.as_str(), style.ink(DIM));
        last = at;
    }
}

fn draw_marks(page: &mut Page, plan: Plan, bay: &Bay) {
    for mark in &bay.marks {
        let centre = plan.at(mark.centre.x_mm, mark.centre.y_mm);
        let edge = mark.size.get() / plan.scale;
        let art = PrintedMark { kind: mark.kind, id: mark.id, size_mm: mark.size.get() };
        let white =
            super::sheet_page::rectangle((centre.0 - 0.6 * edge, centre.1 - 0.6 * edge), (1.2 * edge, 1.2 * edge));
        page.fill(white.to_vec(), WHITE);
        page.fill(art.ink(centre, edge), BLACK);
        let is_left = mark.centre.x_mm < 0.0;
        let anchor = if is_left { Anchor::Start } else { Anchor::End };
        let beside = if is_left { 0.7 * edge + 1.0 } else { -0.7 * edge - 1.0 };
        page.words((centre.0 + beside, centre.1 + 2.4), mark.id.to_string(), Style::bold(6.5).anchored(anchor));
    }
}

/// Heights that are measured at the left edge, where a mark on the left has them, and at the right one.
fn heights_by_side(bay: &Bay, ys: &[f64]) -> (Vec<f64>, Vec<f64>) {
    let has_left = |y: &f64| bay.marks.iter().any(|mark| is_at(mark.centre.y_mm, *y) && mark.centre.x_mm <= 0.0);
    ys.iter().partition(|y| has_left(y))
}

fn is_at(place: f64, other: f64) -> bool {
    (place - other).abs() < SAME
}

fn places_across(page: &mut Page, plan: Plan, bay: &Bay, xs: &[f64]) {
    let floor = plan.at(0.0, 0.0).1;
    for side in [-1.0, 1.0] {
        let mut those: Vec<f64> = xs.iter().copied().filter(|x| x * side > SAME).collect();
        those.sort_by(|a, b| a.abs().total_cmp(&b.abs()));
        for (level, x) in those.into_iter().enumerate() {
            let those = bay.marks.iter().filter(|mark| is_at(mark.centre.x_mm, x));
            let lowest = those.map(|mark| mark.centre.y_mm - 0.5 * mark.size.get()).fold(f64::INFINITY, f64::min);
            let y = floor + 8.0 + PITCH * level as f64;
            level_dimension(page, y, plan.at(0.0, 0.0), plan.at(x, lowest), x);
        }
    }
}

fn heights_up(page: &mut Page, plan: Plan, bay: &Bay, (on_left, on_right): (&[f64], &[f64]), (left, right): Spot) {
    for (ys, edge, side) in [(on_left, left, -1.0), (on_right, right, 1.0)] {
        let (edge, floor) = plan.at(edge, 0.0);
        for (level, y) in ys.iter().enumerate() {
            let those = bay.marks.iter().filter(|mark| is_at(mark.centre.y_mm, *y));
            let outer =
                those.map(|mark| side * mark.centre.x_mm + 0.5 * mark.size.get()).fold(f64::NEG_INFINITY, f64::max);
            let x = edge + side * (6.0 + PITCH * level as f64);
            upright_dimension(page, x, (edge + side * 4.0, floor), plan.at(side * outer, *y), *y);
        }
    }
}

/// The marks as a table; its width comes back.
fn draw_table(page: &mut Page, bay: &Bay, (x, y): Spot, row: f64) -> f64 {
    let regular = Style::regular(3.4 * row / ROW);
    let number = Style::bold(3.8 * row / ROW);
    let columns =
        [(0.0, "mark"), (18.0, "kind"), (48.0, "size"), (62.0, "from the centreline"), (105.0, "above the floor")];
    for (at, name) in columns {
        page.words((x + at, y), name, Style::regular(3.2).ink(DIM));
    }
    page.line((x, y + 1.4), (x + 132.0, y + 1.4), Pen::solid(0.2, BLACK));
    for (place, mark) in bay.marks.iter().enumerate() {
        let y = y + row * (place as f64 + 1.1);
        let art = PrintedMark { kind: mark.kind, id: mark.id, size_mm: mark.size.get() };
        let across = match mark.centre.x_mm {
            at if at < 0.0 => format!("{} left", millimetres(-at)),
            at if at > 0.0 => format!("{} right", millimetres(at)),
            _ => "0".to_owned(),
        };
        page.words((x, y), mark.id.to_string(), number);
        page.words((x + 18.0, y), art.kind_name(), regular);
        page.words((x + 48.0, y), millimetres(art.size_mm), regular);
        page.words((x + 62.0, y), across, number);
        page.words((x + 105.0, y), millimetres(mark.centre.y_mm), number);
    }
    132.0
}

fn words(page: &mut Page, bay: &Bay, (x, y): Spot) {
    let width = page.width - x - 12.0;
    let style = Style::regular(3.0);
    let measured = "Places are the marks' centres, along the wall's face: lay out crosses with a laser level, put the centre \
                    lines on them, then measure again to 1 mm and correct the bay file.";
    let mut y = page.paragraph((x, y), width, measured, style);
    if let (Some(first), Some(other)) = (bay.marks.first(), farthest(bay)) {
        let far = (first.centre.x_mm - other.centre.x_mm).hypot(first.centre.y_mm - other.centre.y_mm);
        let check = format!("Check: centre of {} to centre of {}: {} mm.", first.id, other.id, millimetres(far));
        y = page.paragraph((x, y + 1.2), width, &check, Style::bold(3.2));
    }
    if bay.floor.is_none() {
        y = page.paragraph((x, y + 1.2), width, "The floor was not surveyed: the grey lines take it as level.", style);
    }
    let rule = "Grey lines: heights on the centreline for these lamps; the rule in use says where the cutoff belongs.";
    y = page.paragraph((x, y + 1.2), width, rule, style.ink(DIM));
    page.paragraph((x, y + 1.2), width, "No vehicle moves while somebody is at the wall.", Style::bold(3.0));
}

/// The mark farthest from the first one.
fn farthest(bay: &Bay) -> Option<&Mark> {
    let first = bay.marks.first()?.centre;
    let far = |mark: &&Mark| (mark.centre.x_mm - first.x_mm).hypot(mark.centre.y_mm - first.y_mm);
    bay.marks.iter().max_by(|a, b| far(a).total_cmp(&far(b)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::fmt::Write as _;

    fn bay(more: &str) -> Bay {
        let mut text = format!("schema = \"lampwright/bay/1\"\nid = \"b\"\nname = \"B\"\n{more}");
        for (id, x, y) in [(0, -1800, 1500), (1, 1800, 1500), (2, 1800, 250), (3, -1800, 250)] {
            let _ = write!(
                text,
                "[[marks]]\nkind = \"tag36h11\"\nid = {id}\nsize_mm = 160.0\nx_mm = {x}.0\ny_mm = {y}.0\n"
            );
        }
        Bay::parse(&text, "b").unwrap()
    }

    /// 1 % on 10 m is 100 mm; a floor that rises by 0.5 % lifts every line by 50 mm; 30 mm of rise to the wall lower them.
    #[test]
    fn aim_lines_by_hand() {
        let level = bay("[wall]\ndistance_mm = 10000.0\n");
        let ys = |bay: &Bay| aim_lines(bay, &[Mm::new(650.0)]).iter().map(|line| line.0).collect::<Vec<_>>();
        let near = |found: &[f64], wanted: &[f64]| found.iter().zip(wanted).all(|(a, b)| (a - b).abs() < 1e-6);
        assert!(near(&ys(&level), &[650.0, 550.0, 450.0]));
        let sloped = bay("[wall]\ndistance_mm = 10000.0\n[floor]\nslope_percent = 0.5\nrise_to_wall_mm = 30.0\n");
        assert!(near(&ys(&sloped), &[670.0, 570.0, 470.0]));
    }

    #[test]
    fn mirrored_places_share_a_dimension_level() {
        let bay = bay("[wall]\ndistance_mm = 10000.0\n");
        let xs = values(&bay, |mark| mark.centre.x_mm);
        assert_eq!((xs.len(), levels(&xs)), (2, 1));
        assert_eq!(farthest(&bay).unwrap().id, 2);
    }
}

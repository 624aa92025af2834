//! A surveyed bay as an SVG: plan, side view with exaggerated slopes, and the wall with its marks, with numbers.
//!
//! **Plan**: seen from above, the wall on the right, so the bay's right side is at the bottom. **Side**: seen from the bay's
//! right side, wall on the right; heights of the floor and the wall's tilt are exaggerated by the factor that the picture
//! states, lengths are not. **Wall**: as seen from the vehicle.

use super::survey_result::{Known, Surveyed};
use std::fmt::Write as _;

const WIDTH: f64 = 1200.0;
const LEFT: f64 = 70.0;
const RIGHT: f64 = 260.0;
/// Middle line of the plan, floor line of the side view and of the wall's view.
const PLAN_Y: f64 = 270.0;
const SIDE_Y: f64 = 690.0;
const WALL_Y: f64 = 1180.0;
const HEIGHT: f64 = 1240.0;
/// What the largest height of the floor is drawn as, px.
const FLOOR_PX: f64 = 45.0;
/// What the wall's turn and lean are drawn as at most, px.
const TURN_PX: f64 = 38.0;
/// Height of the plan's half width and of the side view's wall, px.
const PLAN_HALF_PX: f64 = 150.0;
const SIDE_WALL_PX: f64 = 190.0;
/// Size of the wall's view.
const WALL_WIDTH_PX: f64 = 860.0;
const WALL_HEIGHT_PX: f64 = 300.0;
const WHEEL_NAMES: [&str; 4] = ["front left", "front right", "rear left", "rear right"];

/// The picture.
pub fn picture(name: &str, surveyed: &Surveyed) -> String {
    let name = name.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;");
    let mut svg = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {WIDTH:.0} {HEIGHT:.0}\" font-family=\"sans-serif\" \
         font-size=\"15\" role=\"img\">\n<title>{name}</title>\n<rect width=\"100%\" height=\"100%\" fill=\"#ffffff\"/>\n<text \
         x=\"{LEFT}\" y=\"38\" font-size=\"24\">{name}</text><text x=\"{LEFT}\" y=\"62\" fill=\"#555555\">lengths in mm; ± is the \
         standard uncertainty (k = 1)</text>\n"
    );
    let views = Views::new(surveyed);
    svg += &views.plan();
    svg += &views.side();
    svg += &views.wall();
    svg + "</svg>\n"
}

struct Views<'a> {
    surveyed: &'a Surveyed,
    rear_z: f64,
    px_per_mm: f64,
}

fn text(x: f64, y: f64, anchor: &str, words: &str) -> String {
    format!("<text x=\"{x:.1}\" y=\"{y:.1}\" text-anchor=\"{anchor}\">{words}</text>\n")
}

fn shown(known: Known, digits: usize, unit: &str) -> String {
    format!("{:+.digits$} ± {:.digits$}{unit}", known.value, known.sigma)
}

/// A factor of 1, 2 or 5 times a power of ten that is not above `most`.
fn plain_factor(most: f64) -> f64 {
    let decade = 10_f64.powf(most.max(1e-9).log10().floor());
    [5.0, 2.0, 1.0].into_iter().find(|step| step * decade <= most).unwrap_or(1.0) * decade
}

impl<'a> Views<'a> {
    fn new(surveyed: &'a Surveyed) -> Self {
        /// Room behind the rear wheels, mm.
        const BEHIND_MM: f64 = 700.0;
        let rear_z = surveyed.wheels.iter().map(|wheel| wheel.1).fold(0.0, f64::min) - BEHIND_MM;
        let px_per_mm = (WIDTH - LEFT - RIGHT) / (surveyed.distance_mm.value - rear_z);
        Self { surveyed, rear_z, px_per_mm }
    }

    fn z(&self, z_mm: f64) -> f64 {
        LEFT + (z_mm - self.rear_z) * self.px_per_mm
    }

    fn plan(&self) -> String {
        let surveyed = self.surveyed;
        let wall_x = self.z(surveyed.distance_mm.value);
        let across = surveyed.wheels.iter().map(|wheel| wheel.0.abs()).fold(1.0, f64::max);
        let scale = self.px_per_mm.min(0.5 * PLAN_HALF_PX / across);
        let turn = surveyed.yaw_deg.value.to_radians().tan() * PLAN_HALF_PX;
        let factor = plain_factor(TURN_PX / turn.abs().max(TURN_PX / 100.0));
        let mut svg =
            text(LEFT, PLAN_Y - PLAN_HALF_PX - 12.0, "start", "<tspan font-weight=\"bold\">Plan</tspan>, from above");
        // Writing to a String cannot fail.
        let _ = writeln!(
            svg,
            "<path d=\"M{LEFT} {PLAN_Y}H{wall_x:.1}\" stroke=\"#777777\" stroke-dasharray=\"18 6 4 6\"/><path d=\"M{wall_x:.1} \
             {0:.1}V{1:.1}\" stroke=\"#bbbbbb\" stroke-dasharray=\"4 4\"/><path d=\"M{2:.1} {0:.1}L{3:.1} {1:.1}\" \
             stroke=\"#222222\" stroke-width=\"5\"/>",
            PLAN_Y - PLAN_HALF_PX,
            PLAN_Y + PLAN_HALF_PX,
            wall_x - factor * turn,
            wall_x + factor * turn
        );
        svg +=
            &text(wall_x + TURN_PX + 12.0, PLAN_Y - 6.0, "start", &format!("yaw {}", shown(surveyed.yaw_deg, 3, "°")));
        svg += &text(wall_x + TURN_PX + 12.0, PLAN_Y + 14.0, "start", &format!("(drawn × {factor:.0})"));
        let lamps_x = self.z(0.0);
        let _ = writeln!(
            svg,
            "<path d=\"M{lamps_x:.1} {0:.1}V{1:.1}\" stroke=\"#b06f00\" stroke-width=\"2\"/><path d=\"M{lamps_x:.1} {2:.1}H{wall_x:.1}\" \
             stroke=\"#1f5f8b\"/>",
            PLAN_Y - 0.6 * PLAN_HALF_PX,
            PLAN_Y + 0.6 * PLAN_HALF_PX,
            PLAN_Y - 16.0
        );
        svg += &text(lamps_x + 6.0, PLAN_Y + 0.6 * PLAN_HALF_PX + 4.0, "start", "lamps' plane");
        svg += &text(
            lamps_x.midpoint(wall_x),
            PLAN_Y - 22.0,
            "middle",
            &format!("{:.1} ± {:.1}", surveyed.distance_mm.value, surveyed.distance_mm.sigma),
        );
        for (wheel, (x, z)) in surveyed.wheels.iter().enumerate() {
            let (px, py) = (self.z(*z), PLAN_Y + x * scale);
            let _ = writeln!(
                svg,
                "<rect x=\"{:.1}\" y=\"{:.1}\" width=\"40\" height=\"14\" rx=\"4\" fill=\"#cccccc\" stroke=\"#444444\"/>",
                px - 20.0,
                py - 7.0
            );
            // The front wheels' words keep clear of the lamps' plane.
            let px = if wheel < 2 { px - 10.0 } else { px };
            let (first, second) = if wheel % 2 == 0 { (-34.0, -16.0) } else { (26.0, 44.0) };
            svg += &text(px, py + first, "middle", &format!("{} {:.0}", WHEEL_NAMES[wheel], x.abs()));
            if let Some(floor) = &surveyed.floor {
                svg += &text(px, py + second, "middle", &format!("{:+.1} off plane", floor.above_plane_mm[wheel]));
            }
        }
        if let Some(floor) = &surveyed.floor {
            let words = format!(
                "cross slope {} (right side {})",
                shown(floor.cross_percent, 3, " %"),
                higher(floor.cross_percent)
            );
            svg += &text(LEFT, PLAN_Y + PLAN_HALF_PX + 18.0, "start", &words);
        }
        svg
    }

    fn side(&self) -> String {
        let surveyed = self.surveyed;
        let wall_z = surveyed.distance_mm.value;
        let wall_x = self.z(wall_z);
        let mut svg = text(
            LEFT,
            SIDE_Y - SIDE_WALL_PX - 14.0,
            "start",
            "<tspan font-weight=\"bold\">Side</tspan>, from the right",
        );
        let floor = surveyed.floor.as_ref();
        let slope = floor.map_or(0.0, |floor| floor.slope_percent.value / 100.0);
        let rise = floor.map_or(0.0, |floor| floor.rise_mm.value);
        let rear = slope * surveyed.wheels[2].1;
        let largest = rear.abs().max(rise.abs()).max(0.01 * FLOOR_PX / self.px_per_mm);
        let factor = plain_factor(FLOOR_PX / (largest * self.px_per_mm));
        let y = |height_mm: f64| SIDE_Y - height_mm * self.px_per_mm * factor;
        let lean = surveyed.tilt_deg.value.to_radians().tan() * SIDE_WALL_PX;
        let lean_factor = plain_factor(TURN_PX / lean.abs().max(TURN_PX / 100.0));
        let foot = y(rise);
        let front_z = surveyed.wheels[0].1;
        // Writing to a String cannot fail.
        let _ = writeln!(
            svg,
            "<path d=\"M{LEFT} {SIDE_Y}H{wall_x:.1}\" stroke=\"#bbbbbb\" stroke-dasharray=\"4 4\"/><path d=\"M{0:.1} {1:.1}L{2:.1} \
             {3:.1}L{wall_x:.1} {foot:.1}\" fill=\"none\" stroke=\"#222222\" stroke-width=\"4\"/><path d=\"M{wall_x:.1} \
             {foot:.1}L{4:.1} {5:.1}\" stroke=\"#222222\" stroke-width=\"5\"/><path d=\"M{wall_x:.1} {foot:.1}V{5:.1}\" \
             stroke=\"#bbbbbb\" stroke-dasharray=\"4 4\"/>",
            self.z(self.rear_z),
            y(slope * self.rear_z),
            self.z(0.0),
            y(0.0),
            wall_x + lean_factor * lean,
            foot - SIDE_WALL_PX
        );
        for (z, name) in [(surveyed.wheels[2].1, "rear wheels"), (front_z, "front wheels")] {
            let _ = writeln!(
                svg,
                "<circle cx=\"{:.1}\" cy=\"{:.1}\" r=\"18\" fill=\"#eeeeee\" stroke=\"#444444\" stroke-width=\"2\"/>",
                self.z(z),
                y(slope * z) - 20.0
            );
            svg += &text(
                self.z(z),
                y(slope * z) - if name == "rear wheels" { 46.0 } else { 66.0 },
                "middle",
                &format!("{name} {:+.1}", slope * z),
            );
        }
        svg += &text(self.z(0.0) + 4.0, SIDE_Y - 96.0, "start", "lamps");
        let _ = writeln!(svg, "<path d=\"M{0:.1} {SIDE_Y}v-90\" stroke=\"#b06f00\" stroke-width=\"2\"/>", self.z(0.0));
        let beside = wall_x + TURN_PX + 12.0;
        svg +=
            &text(beside, SIDE_Y - 0.6 * SIDE_WALL_PX, "start", &format!("tilt {}", shown(surveyed.tilt_deg, 3, "°")));
        svg += &text(beside, SIDE_Y - 0.6 * SIDE_WALL_PX + 20.0, "start", &format!("(drawn × {lean_factor:.0})"));
        let words = floor.map_or("floor not levelled".to_owned(), |floor| {
            format!(
                "slope {} ({} towards the wall); floor drawn × {factor:.0}",
                shown(floor.slope_percent, 3, " %"),
                if floor.slope_percent.value < 0.0 { "falls" } else { "rises" }
            )
        });
        svg += &text(LEFT, SIDE_Y + FLOOR_PX + 36.0, "start", &words);
        if let Some(floor) = floor {
            svg += &text(beside, foot + 5.0, "start", &format!("rise {}", shown(floor.rise_mm, 1, "")));
        }
        svg
    }

    fn wall(&self) -> String {
        let marks = &self.surveyed.marks;
        let half = marks.iter().map(|mark| mark.x_mm.value.abs()).fold(500.0, f64::max) + 300.0;
        let top = marks.iter().map(|mark| mark.y_mm.value).fold(500.0, f64::max) + 300.0;
        let scale = (0.5 * WALL_WIDTH_PX / half).min(WALL_HEIGHT_PX / top);
        let middle = WIDTH / 2.0;
        let mut svg = text(
            LEFT,
            WALL_Y - WALL_HEIGHT_PX - 60.0,
            "start",
            "<tspan font-weight=\"bold\">Wall</tspan>, from the vehicle",
        );
        // Writing to a String cannot fail.
        let _ = writeln!(
            svg,
            "<path d=\"M{0:.1} {WALL_Y}H{1:.1}\" stroke=\"#222222\" stroke-width=\"4\"/><path d=\"M{middle:.1} {WALL_Y}v{2:.1}\" \
             stroke=\"#777777\" stroke-dasharray=\"18 6 4 6\"/>",
            middle - half * scale,
            middle + half * scale,
            -top * scale
        );
        svg += &text(middle + 6.0, WALL_Y + 20.0, "start", "centreline, floor");
        for mark in marks {
            let (x, y) = (middle + mark.x_mm.value * scale, WALL_Y - mark.y_mm.value * scale);
            let side = (mark.size_mm * scale).max(10.0);
            let _ = writeln!(
                svg,
                "<rect x=\"{:.1}\" y=\"{:.1}\" width=\"{side:.1}\" height=\"{side:.1}\" fill=\"#dddddd\" stroke=\"#222222\" \
                 stroke-width=\"2\"/>",
                x - side / 2.0,
                y - side / 2.0
            );
            svg += &text(x, y - side / 2.0 - 28.0, "middle", &format!("{} {}", mark.kind, mark.id));
            let place = format!(
                "{:.1} ± {:.1}, {:.1} ± {:.1}",
                mark.x_mm.value, mark.x_mm.sigma, mark.y_mm.value, mark.y_mm.sigma
            );
            svg += &text(x, y - side / 2.0 - 9.0, "middle", &place);
        }
        svg
    }
}

fn higher(known: Known) -> &'static str {
    if known.value < 0.0 { "lower" } else { "higher" }
}

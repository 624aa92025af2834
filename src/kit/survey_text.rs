//! A survey in words: every result, what it does to the aim, how the readings agree, what is left open.

use super::survey_result::{Known, Surveyed, SurveyedFloor};
use std::fmt::Write as _;

const PERCENT: f64 = 100.0;
/// Studentised residuals from which a reading is worth a second look, though it is no gross error.
const WORTH_A_LOOK: f64 = 2.5;

/// The report.
pub fn report(surveyed: &Surveyed) -> String {
    let mut text = String::new();
    let distance = surveyed.distance_mm.value;
    // Writing to a String cannot fail.
    let _ = writeln!(text, "standard uncertainties (k = 1) behind ±\n\nwall");
    let _ = writeln!(text, "  distance  {}  lamps' plane to wall", shown(surveyed.distance_mm, 1, "mm"));
    let side =
        |value: f64, positive: &'static str, negative: &'static str| if value < 0.0 { negative } else { positive };
    let _ = writeln!(
        text,
        "  yaw       {}  {} side farther; baseline {:.0} mm, on which 1 mm is {:.3}°",
        shown(surveyed.yaw_deg, 3, "°"),
        side(surveyed.yaw_deg.value, "right", "left"),
        surveyed.baseline_mm(),
        (1.0 / surveyed.baseline_mm()).atan().to_degrees()
    );
    let _ = writeln!(
        text,
        "  tilt      {}  {} farther",
        shown(surveyed.tilt_deg, 3, "°"),
        side(surveyed.tilt_deg.value, "top", "foot")
    );
    if let Some(floor) = &surveyed.floor {
        text += &floor_words(floor, surveyed.wheelbase_mm(), distance);
    }
    let _ = writeln!(text, "\nmarks, mm on the wall's face: x right of the centreline, y above the floor at the wall");
    for mark in &surveyed.marks {
        let _ = writeln!(
            text,
            "  {:<9} {:>4}  x {:>9.1} ± {:<5.1}  y {:>9.1} ± {:.1}",
            mark.kind, mark.id, mark.x_mm.value, mark.x_mm.sigma, mark.y_mm.value, mark.y_mm.sigma
        );
    }
    text += &residual_words(surveyed);
    if !surveyed.left_open.is_empty() {
        text += "\nleft open\n";
        for open in &surveyed.left_open {
            let _ = writeln!(text, "  {open}");
        }
    }
    text
}

fn shown(known: Known, digits: usize, unit: &str) -> String {
    format!("{:.digits$} ± {:.digits$} {unit}", known.value, known.sigma)
}

fn floor_words(floor: &SurveyedFloor, wheelbase_mm: f64, distance_mm: f64) -> String {
    let mut text = String::from("\nfloor\n");
    let at_wall = |percent: f64| percent / PERCENT * distance_mm;
    let _ = writeln!(
        text,
        "  slope     {}  {} towards the wall; ± moves the aim by {:.3}°, {:.1} mm at the wall",
        shown(floor.slope_percent, 3, "%"),
        if floor.slope_percent.value < 0.0 { "falls" } else { "rises" },
        (floor.slope_percent.sigma / PERCENT).atan().to_degrees(),
        at_wall(floor.slope_percent.sigma)
    );
    let _ = writeln!(
        text,
        "  cross     {}  {} side higher",
        shown(floor.cross_percent, 3, "%"),
        if floor.cross_percent.value < 0.0 { "left" } else { "right" }
    );
    let _ = writeln!(
        text,
        "  rise      {}  floor at the wall against the floor under the lamps",
        shown(floor.rise_mm, 1, "mm")
    );
    let [fl, fr, rl, rr] = floor.above_plane_mm;
    let _ = writeln!(
        text,
        "  flatness  {:.1} ± {:.1} mm off the plane (front left {fl:+.1}, front right {fr:+.1}, rear left {rl:+.1}, rear right {rr:+.1})",
        floor.flatness_mm(),
        floor.above_plane_sigma_mm
    );
    text += &flatness_effect(floor.flatness_mm(), wheelbase_mm, distance_mm);
    text
}

/// What an uneven floor does to a vehicle whose wheels stand elsewhere: one wheel δ off the plane pitches it by δ / (2 L).
pub(super) fn flatness_effect(flatness_mm: f64, wheelbase_mm: f64, distance_mm: f64) -> String {
    let percent = PERCENT * 0.5 * flatness_mm / wheelbase_mm.max(1.0);
    format!(
        "            one wheel that far off pitches a vehicle by {percent:.3} % ({:.1} mm at the wall), both of an axle by twice \
         that\n",
        percent / PERCENT * distance_mm
    )
}

fn residual_words(surveyed: &Surveyed) -> String {
    let (chi2, freedom) = surveyed.chi2;
    let mut text = format!(
        "\nreadings  {}, {freedom} beyond those needed; weighted squares {chi2:.1} (expected about {freedom})\n",
        surveyed.residuals.len()
    );
    if surveyed.widened > 1.0 {
        let _ = writeln!(
            text,
            "  they scatter {:.1} times as much as stated: every uncertainty was widened by that",
            surveyed.widened
        );
    }
    let checked = surveyed.residuals.iter().filter_map(|residual| Some((residual, residual.studentised?)));
    let mut checked: Vec<_> = checked.collect();
    checked.sort_by(|a, b| b.1.abs().total_cmp(&a.1.abs()));
    for (residual, w) in &checked {
        let _ = writeln!(
            text,
            "  {:>+7.2} {:<2} ({:+.1} of its spread){}  {}",
            residual.residual,
            residual.unit,
            w,
            if w.abs() > WORTH_A_LOOK { " look again" } else { "" },
            residual.name
        );
    }
    let unchecked = surveyed.residuals.len() - checked.len() - surveyed.left_out.len();
    if unchecked > 0 {
        let _ = writeln!(
            text,
            "  {unchecked} readings are checked by no other: a slip in one of them could not be noticed"
        );
    }
    for wrong in &surveyed.left_out {
        let _ = writeln!(text, "LEFT OUT  {wrong}; read it again");
    }
    if !surveyed.undecided.is_empty() {
        text += "DISAGREE  one of these readings is wrong, and the others do not tell which; read them again:\n";
        for wrong in &surveyed.undecided {
            let _ = writeln!(text, "  {wrong}");
        }
    }
    text
}

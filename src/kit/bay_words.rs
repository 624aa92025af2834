//! A bay file in words: wall, floor, marks, what each uncertainty does to the aim, when it was surveyed and is due again.
//!
//! The effects are those on a beam 1 % below level, the usual place of a cutoff, by the flat-screen convention: a height of u
//! is u / D, a distance is 1 % of u / D, a slope is itself.

use super::survey_text::flatness_effect;
use crate::bay::{Bay, MarkKind, SurveyNote};
use crate::error::Error;
use crate::units::{Mm, Percent};
use std::fmt::Write as _;

const PERCENT: f64 = 100.0;
/// Below this the numbers beside the word "level" are printed as zero, percent.
const SHOWN_AS_ZERO: f64 = 0.0005;
/// Where the effects are worked out, percent below level.
const BELOW_PERCENT: f64 = 1.0;

/// All of it.
pub fn show(bay: &Bay) -> Result<String, Error> {
    let mut text = format!("{} ({})\n\nwall\n", bay.name, bay.id);
    let note = bay.survey.as_ref();
    let sigma =
        |value: Option<f64>, unit: &str| value.map_or(String::new(), |value| format!(" ± {value:.3}{unit} (k = 1)"));
    let distance = bay.wall.distance.get();
    // Writing to a String cannot fail.
    let _ = writeln!(
        text,
        "  distance   {distance:.1} mm{}, lamps' plane to wall",
        sigma(note.and_then(|note| note.distance_sigma_mm), " mm")
    );
    let turned = |deg: f64, positive: &str, negative: &str| {
        let side = if deg < 0.0 { negative } else { positive };
        let per_metre = 1000.0 * deg.abs().to_radians().tan();
        if deg.abs() > 0.0 { format!("{side} farther, {per_metre:.1} mm per metre") } else { "square".to_owned() }
    };
    let _ = writeln!(
        text,
        "  yaw        {:.3}°{}: {}\n  tilt       {:.3}°{}: {}",
        bay.wall.yaw_deg,
        sigma(note.and_then(|note| note.yaw_sigma_deg), "°"),
        turned(bay.wall.yaw_deg, "right side", "left side"),
        bay.wall.tilt_deg,
        sigma(note.and_then(|note| note.tilt_sigma_deg), "°"),
        turned(bay.wall.tilt_deg, "top", "foot")
    );
    text += &floor(bay);
    text += &marks(bay);
    text += &uncertainty(bay);
    text += &match note {
        Some(note) => survey(note, distance)?,
        None => "\nsurvey\n  the file does not say when it was surveyed\n".to_owned(),
    };
    Ok(text)
}

fn slope_words(percent: Percent, distance_mm: f64) -> String {
    format!(
        "{:.3} % = {:.3}° = {:.1} mm per metre, {:.1} mm over the distance to the wall",
        percent.get(),
        percent.to_deg().get(),
        10.0 * percent.get(),
        percent.get() / PERCENT * distance_mm
    )
}

fn floor(bay: &Bay) -> String {
    let Some(floor) = &bay.floor else {
        return format!("\nfloor\n  not surveyed: taken as level ± {} % (k = 1)\n", bay.uncertainty.floor_percent);
    };
    let distance = bay.wall.distance.get();
    let way = |percent: f64, down: &'static str, up: &'static str| match percent {
        level if level.abs() < SHOWN_AS_ZERO => "level",
        percent if percent < 0.0 => down,
        _ => up,
    };
    let rises = way(floor.slope.get(), "falls towards the wall", "rises towards the wall");
    let higher = way(floor.cross.get(), "left side higher", "right side higher");
    format!(
        "\nfloor\n  slope      {}; {rises}\n  cross      {}; {higher}\n  rise       {:.1} mm, floor at the wall against the floor under the \
         lamps; marks' heights count from {}\n",
        slope_words(floor.slope, distance),
        slope_words(floor.cross, distance),
        floor.rise_to_wall.get(),
        if floor.rise_to_wall.get().abs() > 0.0 { "the floor at the wall" } else { "the floor" }
    )
}

fn marks(bay: &Bay) -> String {
    let mut text = String::from(
        "\nmarks      x right of the centreline, y up the wall, mm\n  kind        id    size        x        y      ± (k = 1)\n",
    );
    for mark in &bay.marks {
        let kind = if mark.kind == MarkKind::Tag36h11 { "tag36h11" } else { "quadrant" };
        let own = bay.survey.iter().flat_map(|note| &note.mark).find(|note| note.id == mark.id);
        let own = own.map_or(format!("{:.1}", bay.uncertainty.marks_mm), |note| {
            format!("{:.1}, {:.1}", note.x_sigma_mm, note.y_sigma_mm)
        });
        let _ = writeln!(
            text,
            "  {kind:<9} {:>4} {:>7.1} {:>8.1} {:>8.1}      {own}",
            mark.id,
            mark.size.get(),
            mark.centre.x_mm,
            mark.centre.y_mm
        );
    }
    text
}

fn uncertainty(bay: &Bay) -> String {
    let (sigma, distance) = (&bay.uncertainty, bay.wall.distance.get());
    let mut text = format!("\nuncertainties (k = 1), and what each does to the aim of a beam {BELOW_PERCENT} % down\n");
    let mut line = |name: &str, value: String, axis: &str, percent: f64| {
        let percent_unit = Percent::new(percent);
        let _ = writeln!(
            text,
            "  {name:<13} {value:<10} {axis:<10} {percent:.3} % = {:.3}° = {:.1} mm at the wall",
            percent_unit.to_deg().get(),
            percent / PERCENT * distance
        );
    };
    let of_length = |mm: f64| PERCENT * mm / distance;
    let shown = |mm: f64| format!("{mm:.1} mm");
    line("marks", shown(sigma.marks_mm), "both, about", of_length(sigma.marks_mm));
    line("lamp height", shown(sigma.height_mm), "vertical", of_length(sigma.height_mm));
    line("distance", shown(sigma.distance_mm), "vertical", BELOW_PERCENT * sigma.distance_mm / distance);
    line("floor slope", format!("{:.3} %", sigma.floor_percent), "vertical", sigma.floor_percent);
    let offset = sigma.offset_mm.unwrap_or(crate::bay::DEFAULT_OFFSET_MM);
    line("lamp offset", shown(offset), "horizontal", of_length(offset));
    let yaw = sigma.yaw_deg.unwrap_or(crate::bay::UNMEASURED_YAW_DEG);
    line("vehicle yaw", format!("{yaw:.2}°"), "horizontal", crate::units::Deg::new(yaw).to_percent().get());
    let vertical = [
        of_length(sigma.marks_mm),
        of_length(sigma.height_mm),
        sigma.floor_percent,
        BELOW_PERCENT * sigma.distance_mm / distance,
    ];
    let all = vertical.iter().map(|part| part * part).sum::<f64>().sqrt();
    let _ = writeln!(
        text,
        "  together the set-up leaves ± {:.3} % = ± {:.3}° = ± {:.1} mm of the vertical aim open (k = 2)",
        2.0 * all,
        2.0 * Percent::new(all).to_deg().get(),
        2.0 * Mm::new(all / PERCENT * distance).get()
    );
    text
}

fn survey(note: &SurveyNote, distance_mm: f64) -> Result<String, Error> {
    let mut text = format!("\nsurvey\n  date       {}", note.date);
    for (word, value) in [("by", &note.surveyor), ("with", &note.instrument)] {
        if let Some(value) = value {
            let _ = write!(text, " {word} {value}");
        }
    }
    let _ = writeln!(text, "\n  next check {}", note.next_check(None)?);
    if let Some(method) = &note.method {
        let _ = writeln!(text, "  method     {method}");
    }
    if let Some(flatness) = note.flatness_mm {
        let limit = note.flatness_limit_mm.map_or("no limit stated".to_owned(), |limit| format!("limit {limit:.1} mm"));
        let _ = writeln!(text, "  flatness   {flatness:.1} mm off the plane of the wheel places, {limit}");
        if let Some(wheelbase) = note.wheelbase_mm {
            text += &flatness_effect(flatness, wheelbase, distance_mm);
        }
    }
    for left_out in &note.left_out {
        let _ = writeln!(text, "  left out   {left_out}");
    }
    for open in &note.left_open {
        let _ = writeln!(text, "  left open  {open}");
    }
    Ok(text)
}

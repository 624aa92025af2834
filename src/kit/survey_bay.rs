//! From a worked-out survey to the bay file's text.
//!
//! **Takes** a [`Survey`] and its [`Surveyed`]. **Gives** TOML that [`Bay::parse`] reads, checked by doing so.
//! **How**: `[uncertainty]` joins the survey's own share with how well each vehicle's lamps are placed and measured, in
//! squares: `distance_mm` with the vehicle's place along the bay, `height_mm` with the floor's rise to the wall, which shifts
//! every mark as a wrong lamp height would. `marks_mm` is the root mean square over all marks and both axes.

use super::survey::{SURVEY_SCHEMA, Survey};
use super::survey_result::{Known, Surveyed};
use crate::bay::{
    BAY_SCHEMA, Bay, DEFAULT_DISTANCE_MM, DEFAULT_HEIGHT_MM, DEFAULT_RECHECK_MONTHS, MarkNote, SurveyNote,
    months_after, parse_date,
};
use crate::error::Error;
use serde::Serialize;
use std::fmt::Write as _;

/// Least entry of `[uncertainty]` that is written, mm and percent: a file should not claim to be exact.
const LEAST: f64 = 0.001;

#[derive(Serialize)]
struct Block<'a> {
    survey: &'a SurveyNote,
}

/// The bay file's text.
pub fn bay_text(survey: &Survey, surveyed: &Surveyed) -> Result<String, Error> {
    let need = |value: &Option<String>, name: &str| {
        value
            .clone()
            .ok_or_else(|| Error::usage(format!("the survey lacks {name}"), "add it at the top of the survey file"))
    };
    let (id, name, date) = (need(&survey.id, "id")?, need(&survey.name, "name")?, need(&survey.date, "date")?);
    let months = survey.recheck_months.unwrap_or(DEFAULT_RECHECK_MONTHS);
    let next_check = months_after(parse_date(&date, "date")?, months)?.to_string();
    let quoted = |text: &str| toml::Value::String(text.to_owned()).to_string();
    let wall = |known: Known, digits: usize, unit: &str| {
        format!("{:.digits$}   # ± {:.digits$} {unit} (k = 1)", unsigned_zero(known.value, digits), known.sigma)
    };
    let mut text = format!(
        "# Written by `lampwright bay survey`; survey again rather than edit it.\nschema = \"{BAY_SCHEMA}\"\nid = {}\nname = {}\n\n\
         [wall]\ndistance_mm = {}\nyaw_deg = {}\ntilt_deg = {}\n",
        quoted(&id),
        quoted(&name),
        wall(surveyed.distance_mm, 1, "mm"),
        wall(surveyed.yaw_deg, 4, "degrees"),
        wall(surveyed.tilt_deg, 4, "degrees"),
    );
    // Writing to a String cannot fail.
    if let Some(floor) = &surveyed.floor {
        let _ = write!(
            text,
            "\n[floor]\nslope_percent = {}\ncross_percent = {}\nrise_to_wall_mm = {}\n",
            wall(floor.slope_percent, 4, "%"),
            wall(floor.cross_percent, 4, "%"),
            wall(floor.rise_mm, 2, "mm"),
        );
    }
    for mark in &surveyed.marks {
        let _ = write!(
            text,
            "\n[[marks]]\nkind = \"{}\"\nid = {}\nsize_mm = {}\nx_mm = {:.2}\ny_mm = {:.2}\n",
            mark.kind,
            mark.id,
            toml::Value::Float(mark.size_mm),
            unsigned_zero(mark.x_mm.value, 2),
            unsigned_zero(mark.y_mm.value, 2)
        );
    }
    text += &uncertainty(survey, surveyed);
    let note = note(survey, surveyed, date, next_check);
    let block = toml::to_string(&Block { survey: &note }).map_err(|error| {
        Error::usage(format!("the survey's block cannot be written: {error}"), "report this as a defect")
    })?;
    let _ = write!(text, "\n{block}");
    Bay::parse(&text, "the surveyed bay")?;
    Ok(text)
}

fn unsigned_zero(value: f64, digits: usize) -> f64 {
    if format!("{:.digits$}", value.abs()).trim_matches(['0', '.']).is_empty() { 0.0 } else { value }
}

/// Standard uncertainty of a mark's place per axis over all marks, mm.
pub fn marks_sigma_mm(surveyed: &Surveyed) -> f64 {
    let squares = surveyed.marks.iter().flat_map(|mark| [mark.x_mm.sigma, mark.y_mm.sigma]).map(|sigma| sigma * sigma);
    (squares.sum::<f64>() / (2.0 * surveyed.marks.len().max(1) as f64)).sqrt()
}

fn uncertainty(survey: &Survey, surveyed: &Surveyed) -> String {
    let vehicle = &survey.vehicle;
    let rise = surveyed.floor.map_or(0.0, |floor| floor.rise_mm.sigma);
    let height = vehicle.height_sigma_mm.unwrap_or(DEFAULT_HEIGHT_MM).hypot(rise);
    let distance = vehicle.distance_sigma_mm.unwrap_or(DEFAULT_DISTANCE_MM).hypot(surveyed.distance_mm.sigma);
    let mut text = format!(
        "\n[uncertainty]             # standard uncertainties (k = 1)\nmarks_mm = {:.3}\nheight_mm = {height:.3}\n\
         distance_mm = {distance:.3}\n",
        marks_sigma_mm(surveyed).max(LEAST)
    );
    if let Some(offset) = vehicle.offset_sigma_mm {
        let _ = writeln!(text, "offset_mm = {offset:.3}");
    }
    if let Some(floor) = &surveyed.floor {
        let _ = writeln!(text, "floor_percent = {:.5}", floor.slope_percent.sigma.max(LEAST));
    }
    text
}

fn note(survey: &Survey, surveyed: &Surveyed, date: String, next_check: String) -> SurveyNote {
    let rounded = |value: f64| (value * 1e4).round() / 1e4;
    let floor = surveyed.floor.as_ref();
    SurveyNote {
        date,
        next_check: Some(next_check),
        surveyor: survey.surveyor.clone(),
        instrument: floor.map(|_| survey.level.instrument.clone().unwrap_or_else(|| "not stated".into())),
        method: Some(format!(
            "least squares of {} readings, {} beyond those needed; {SURVEY_SCHEMA}",
            surveyed.residuals.len(),
            surveyed.chi2.1
        )),
        flatness_mm: floor.map(|floor| rounded(floor.flatness_mm())),
        flatness_limit_mm: survey.flatness_limit_mm,
        wheelbase_mm: Some(rounded(surveyed.wheelbase_mm())),
        distance_sigma_mm: Some(rounded(surveyed.distance_mm.sigma)),
        yaw_sigma_deg: Some(rounded(surveyed.yaw_deg.sigma)),
        tilt_sigma_deg: Some(rounded(surveyed.tilt_deg.sigma)),
        slope_sigma_percent: floor.map(|floor| rounded(floor.slope_percent.sigma)),
        cross_sigma_percent: floor.map(|floor| rounded(floor.cross_percent.sigma)),
        rise_sigma_mm: floor.map(|floor| rounded(floor.rise_mm.sigma)),
        left_out: surveyed.left_out.clone(),
        left_open: surveyed.left_open.clone(),
        mark: surveyed
            .marks
            .iter()
            .map(|mark| MarkNote {
                id: mark.id,
                x_sigma_mm: rounded(mark.x_mm.sigma),
                y_sigma_mm: rounded(mark.y_mm.sigma),
            })
            .collect(),
    }
}

//! The bay file's `[survey]` block: when and how the bay was surveyed, how well each result is known, what was left open.
//!
//! **Takes** the block. **Gives** a [`SurveyNote`]. **Fails when** a date is no date or a number is impossible. Nothing in it
//! moves a reading: what a reading needs stands in the other blocks.

use crate::error::Error;
use jiff::ToSpan;
use jiff::civil::Date;
use serde::{Deserialize, Serialize};

/// Months between surveys when nothing else is stated (common practice for measuring places, no source).
pub const DEFAULT_RECHECK_MONTHS: u32 = 12;
/// Longest interval that is believed, months.
const LONGEST_RECHECK_MONTHS: u32 = 120;

/// When and how a bay was surveyed. Sigmas are standard uncertainties (k = 1).
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SurveyNote {
    /// Day of the survey, `YYYY-MM-DD`.
    pub date: String,
    /// Day of the next check, `YYYY-MM-DD`; left out: the default interval after the survey.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub next_check: Option<String>,
    /// Initials of who surveyed it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub surveyor: Option<String>,
    /// What the heights of the floor were read with.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub instrument: Option<String>,
    /// How the results were made.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub method: Option<String>,
    /// Largest distance of a wheel place from the plane through all of them, mm.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub flatness_mm: Option<f64>,
    /// What it may be at most, mm.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub flatness_limit_mm: Option<f64>,
    /// Distance between the front and the rear wheel places, mm.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub wheelbase_mm: Option<f64>,
    /// Distance from the lamps' plane to the wall, mm.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub distance_sigma_mm: Option<f64>,
    /// Wall yaw, degrees.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub yaw_sigma_deg: Option<f64>,
    /// Wall tilt, degrees.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub tilt_sigma_deg: Option<f64>,
    /// Floor slope, percent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub slope_sigma_percent: Option<f64>,
    /// Cross slope, percent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cross_sigma_percent: Option<f64>,
    /// Rise of the floor from the lamps to the wall, mm.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub rise_sigma_mm: Option<f64>,
    /// Readings that do not fit the others and were left out.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub left_out: Vec<String>,
    /// What the survey did not measure, as sentences.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub left_open: Vec<String>,
    /// Each mark's own uncertainty.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub mark: Vec<MarkNote>,
}

/// How well one mark's place is known, mm per axis (k = 1).
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct MarkNote {
    /// The mark's id.
    pub id: u32,
    /// Along the wall's level line.
    pub x_sigma_mm: f64,
    /// Along its steepest line.
    pub y_sigma_mm: f64,
}

/// A day as `YYYY-MM-DD`; `what` names it in messages.
pub fn parse_date(text: &str, what: &str) -> Result<Date, Error> {
    text.parse::<Date>().ok().filter(|_| text.len() == "2000-01-31".len()).ok_or_else(|| {
        Error::usage(format!("{what} \"{text}\" is not a date"), "write year, month and day as 2026-03-14")
    })
}

/// The day `months` after `date`; the last day of a shorter month.
pub fn months_after(date: Date, months: u32) -> Result<Date, Error> {
    if !(1..=LONGEST_RECHECK_MONTHS).contains(&months) {
        return Err(Error::usage(
            format!("a recheck interval of {months} months: need 1 to {LONGEST_RECHECK_MONTHS}"),
            "12 months is common",
        ));
    }
    date.checked_add(i64::from(months).months())
        .map_err(|_| Error::usage(format!("{months} months after {date} is no date"), "give a date of this century"))
}

impl SurveyNote {
    /// Day of the next check: as stated, or the stated or default interval after the survey.
    pub fn next_check(&self, recheck_months: Option<u32>) -> Result<Date, Error> {
        match (recheck_months, &self.next_check) {
            (None, Some(stated)) => parse_date(stated, "[survey] next_check"),
            (months, _) => {
                let date = parse_date(&self.date, "[survey] date")?;
                months_after(date, months.unwrap_or(DEFAULT_RECHECK_MONTHS))
            }
        }
    }

    /// Dates are dates, numbers are possible; `path` names the file in messages.
    pub(super) fn check(&self, path: &str) -> Result<(), Error> {
        let dated = parse_date(&self.date, "[survey] date").and_then(|_| self.next_check(None));
        if dated.is_err() {
            return Err(Error::file(
                path,
                format!("[survey] date = \"{}\", next_check = {:?}: need dates", self.date, self.next_check),
                "write year, month and day as 2026-03-14",
            ));
        }
        let numbers = [
            self.flatness_mm,
            self.flatness_limit_mm,
            self.wheelbase_mm,
            self.distance_sigma_mm,
            self.yaw_sigma_deg,
            self.tilt_sigma_deg,
            self.slope_sigma_percent,
            self.cross_sigma_percent,
            self.rise_sigma_mm,
        ];
        let of_marks = self.mark.iter().flat_map(|mark| [mark.x_sigma_mm, mark.y_sigma_mm]);
        if numbers.into_iter().flatten().chain(of_marks).any(|number| !(0.0..=100_000.0).contains(&number)) {
            return Err(Error::file(
                path,
                "[survey] holds a negative or impossible number",
                "write the block anew with `lampwright bay survey`",
            ));
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By the calendar: a year after a leap day is 28 February; 18 months after 31 August is the end of February.
    #[test]
    fn months_end_where_the_calendar_says() {
        let after = |text: &str, months| months_after(parse_date(text, "date").unwrap(), months).unwrap().to_string();
        assert_eq!(after("2024-02-29", 12), "2025-02-28");
        assert_eq!(after("2026-08-31", 18), "2028-02-29");
        assert_eq!(after("2026-03-14", 12), "2027-03-14");
        assert!(parse_date("2026-02-30", "date").is_err());
        assert!(parse_date("14.3.2026", "date").is_err());
        assert!(months_after(parse_date("2026-03-14", "date").unwrap(), 0).is_err());
    }
}

//! A label to stick on the floor at the bay: what it is, when it was surveyed, and which bay file belongs to it.
//!
//! The QR code holds the SHA-256 of the bay file in lower-case hexadecimal, nothing else: what `sha256sum` prints.

use super::sheet_page::{Anchor, BLACK, DIM, LIGHT, Page, Paper, Pen, Spot, Style, millimetres};
use super::sheet_qr::qr;
use crate::bay::{Bay, DEFAULT_RECHECK_MONTHS, months_after, parse_date};
use crate::error::Error;
use sha2::{Digest, Sha256};
use std::fmt::Write as _;

/// Size of the label, mm.
const LABEL: Spot = (180.0, 120.0);
/// Edge of the QR code, mm; its white rim is four modules and more.
const QR_MM: f64 = 46.0;
/// Inner rim of the label, mm.
const INSET: f64 = 9.0;

/// Days that are written on the label; what is not known is left for the pen.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct LabelDates {
    /// Day of the survey, year-month-day.
    pub survey: Option<String>,
    /// Day of the next check.
    pub next_check: Option<String>,
}

impl LabelDates {
    /// The days that were given, and for what was not given those of the bay file: its survey's day, and its next check or the
    /// usual interval after the day. A day of a survey that is not the file's own has its own next check.
    pub fn of(bay: &Bay, given: &Self) -> Result<Self, Error> {
        let note = bay.survey.as_ref();
        let survey = given.survey.clone().or_else(|| note.map(|note| note.date.clone()));
        let next_check = match (&given.next_check, &survey, note) {
            (Some(given), ..) => Some(given.clone()),
            (None, Some(survey), Some(note)) if *survey == note.date => Some(note.next_check(None)?.to_string()),
            (None, Some(survey), _) => {
                Some(months_after(parse_date(survey, "--survey-date")?, DEFAULT_RECHECK_MONTHS)?.to_string())
            }
            (None, None, _) => None,
        };
        let dates = Self { survey, next_check };
        dates.check()?;
        Ok(dates)
    }

    /// Fails where a day does not exist, or the next check is not after the survey.
    pub fn check(&self) -> Result<(), Error> {
        for day in [&self.survey, &self.next_check].into_iter().flatten() {
            parse_date(day, "the day")?;
        }
        match (&self.survey, &self.next_check) {
            // Days written so sort as their text does.
            (Some(survey), Some(next)) if next <= survey => Err(Error::usage(
                format!("the next check {next} is not after the survey {survey}"),
                "give the later day as --next-check",
            )),
            _ => Ok(()),
        }
    }
}

/// The page with one label; `file` is the bay file's content, which the code names.
pub fn label(bay: &Bay, file: &[u8], dates: &LabelDates, paper: Paper) -> Result<Page, Error> {
    dates.check()?;
    let digest = Sha256::digest(file).iter().fold(String::new(), |mut hex, byte| {
        // Writing to a string cannot fail.
        let _ = write!(hex, "{byte:02x}");
        hex
    });
    let mut page = Page::upright(paper);
    let corner = (0.5 * (page.width - LABEL.0), 20.0);
    page.rectangle(corner, LABEL, Pen::dashed(0.25, LIGHT));
    page.rectangle((corner.0 + 3.0, corner.1 + 3.0), (LABEL.0 - 6.0, LABEL.1 - 6.0), Pen::solid(1.0, BLACK));
    let (left, right) = (corner.0 + INSET, corner.0 + LABEL.0 - INSET);
    let width = right - left;
    page.words((left, corner.1 + 23.0), bay.name.as_str(), Style::bold(15.0).fitted(&bay.name, width));
    let what = format!("Headlamp aiming bay · id {}", bay.id);
    page.words((left, corner.1 + 32.0), what.as_str(), Style::regular(5.5).fitted(&what, width));
    page.line((left, corner.1 + 37.0), (right, corner.1 + 37.0), Pen::solid(0.5, BLACK));
    let mut y = corner.1 + 47.0;
    for (name, value) in facts(bay, dates) {
        page.words((left, y), name, Style::regular(4.6));
        let room = right - QR_MM - 6.0 - left - 42.0;
        match value {
            Some(value) => page.words((left + 42.0, y), value.as_str(), Style::bold(6.2).fitted(&value, room)),
            None => page.line((left + 42.0, y + 0.8), (left + 42.0 + room, y + 0.8), Pen::solid(0.3, BLACK)),
        }
        y += 11.0;
    }
    let qr_corner = (right - QR_MM, corner.1 + 42.0);
    qr(&mut page, &digest, qr_corner, QR_MM)?;
    page.words(
        (qr_corner.0 + 0.5 * QR_MM, qr_corner.1 + QR_MM + 7.0),
        "SHA-256 of the bay file",
        Style::regular(3.0).anchored(Anchor::Middle),
    );
    let bottom = corner.1 + LABEL.1 - 10.0;
    page.words((left, bottom), format!("bay file {digest}"), Style::regular(2.9).ink(DIM));
    page.words(
        (left, bottom - 6.0),
        "Changed the wall, the floor or a mark? Survey again, and print a new label.",
        Style::regular(3.4),
    );
    let notes = "Cut along the dashed line. Stick it on the floor beside the line of the lamps, under clear film, where no \
                 tyre turns on it. The code is checked with: sha256sum BAY.toml";
    page.paragraph((corner.0, corner.1 + LABEL.1 + 8.0), LABEL.0, notes, Style::regular(3.2).ink(DIM));
    Ok(page)
}

fn facts(bay: &Bay, dates: &LabelDates) -> [(&'static str, Option<String>); 5] {
    let slope = bay.floor.map_or_else(
        || "not surveyed".to_owned(),
        |floor| format!("{:+.2} %, across {:+.2} %", floor.slope.get(), floor.cross.get()),
    );
    [
        ("Lamps to wall", Some(format!("{} mm", millimetres(bay.wall.distance.get())))),
        ("Floor slope", Some(slope)),
        ("Marks", Some(format!("{} on the wall", bay.marks.len()))),
        ("Surveyed", dates.survey.clone()),
        ("Next check", dates.next_check.clone()),
    ]
}

#[cfg(test)]
mod tests {
    use super::*;

    const DEMO: &str = include_str!("../../calib/bays/demo.bay.toml");

    #[test]
    fn days_exist_and_follow_one_another() {
        let dates =
            |survey: &str, next: &str| LabelDates { survey: Some(survey.into()), next_check: Some(next.into()) };
        assert!(dates("2026-03-31", "2028-02-29").check().is_ok());
        for (survey, next) in [("2026-03-31", "2026-03-31"), ("2026-02-29", "2027-01-01"), ("31.03.2026", "2027-01-01")]
        {
            assert!(dates(survey, next).check().is_err(), "{survey} {next}");
        }
    }

    /// By hand: the survey of 14 March 2026 holds to what the file states, or for 12 months; a later survey that is named on the
    /// command line has its own year.
    #[test]
    fn days_that_are_not_given_are_those_of_the_bay_file() {
        let without = Bay::parse(DEMO.split("[survey]").next().unwrap(), "bay.toml").unwrap();
        let bay = |block: &str| {
            let text = format!("{}\n[survey]\n{block}", DEMO.split("[survey]").next().unwrap());
            Bay::parse(&text, "bay.toml").unwrap()
        };
        let of = |bay: &Bay, survey: Option<&str>, next: Option<&str>| {
            let given = LabelDates { survey: survey.map(str::to_owned), next_check: next.map(str::to_owned) };
            let dates = LabelDates::of(bay, &given).unwrap();
            [dates.survey.unwrap_or_default(), dates.next_check.unwrap_or_default()]
        };
        let (plain, stated) =
            (bay("date = \"2026-03-14\"\n"), bay("date = \"2026-03-14\"\nnext_check = \"2026-09-14\"\n"));
        assert_eq!(of(&plain, None, None), ["2026-03-14", "2027-03-14"]);
        assert_eq!(of(&stated, None, None), ["2026-03-14", "2026-09-14"]);
        assert_eq!(of(&stated, None, Some("2026-12-01")), ["2026-03-14", "2026-12-01"]);
        assert_eq!(of(&stated, Some("2026-10-01"), None), ["2026-10-01", "2027-10-01"]);
        assert_eq!(of(&without, None, None), ["", ""]);
        let page = |bay: &Bay| {
            let dates = LabelDates::of(bay, &LabelDates::default()).unwrap();
            format!("{:?}", label(bay, b"bay", &dates, Paper::A4).unwrap())
        };
        assert!(page(&stated).contains("2026-09-14") && !page(&without).contains("2026-09-14"));
    }
}

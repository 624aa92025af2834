//! A label to stick on the floor at the bay: what it is, when it was surveyed, and which bay file belongs to it.
//!
//! The QR code holds the SHA-256 of the bay file in lower-case hexadecimal, nothing else: what `sha256sum` prints.

use super::sheet_page::{Anchor, BLACK, DIM, LIGHT, Page, Paper, Pen, Spot, Style, millimetres};
use super::sheet_qr::qr;
use crate::bay::Bay;
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
    /// Fails where a day does not exist, or the next check is not after the survey.
    pub fn check(&self) -> Result<(), Error> {
        for day in [&self.survey, &self.next_check].into_iter().flatten() {
            if !is_day(day) {
                return Err(Error::usage(format!("\"{day}\" is no day"), "write year-month-day, as 2026-03-31"));
            }
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

/// Whether the text is a day of the Gregorian calendar, as 2026-03-31.
fn is_day(text: &str) -> bool {
    let parts: Vec<&str> = text.split('-').collect();
    let [year, month, day] = parts.as_slice() else { return false };
    let number = |part: &str, digits: usize| {
        (part.len() == digits && part.bytes().all(|byte| byte.is_ascii_digit())).then(|| part.parse::<u32>().ok())?
    };
    let (Some(year), Some(month), Some(day)) = (number(year, 4), number(month, 2), number(day, 2)) else {
        return false;
    };
    let is_leap = (year % 4 == 0 && year % 100 != 0) || year % 400 == 0;
    let days = match month {
        4 | 6 | 9 | 11 => 30,
        2 => 28 + u32::from(is_leap),
        1..=12 => 31,
        _ => 0,
    };
    (1..=days).contains(&day)
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

    #[test]
    fn days_exist_and_follow_one_another() {
        for day in ["2026-03-31", "2028-02-29", "2000-02-29"] {
            assert!(is_day(day), "{day}");
        }
        for day in ["2026-02-29", "1900-02-29", "2026-13-01", "2026-00-10", "2026-4-01", "31.03.2026", "2026-04-31", ""]
        {
            assert!(!is_day(day), "{day}");
        }
        let dates =
            |survey: &str, next: &str| LabelDates { survey: Some(survey.into()), next_check: Some(next.into()) };
        assert!(dates("2026-03-31", "2028-03-31").check().is_ok());
        assert!(dates("2026-03-31", "2026-03-31").check().is_err());
    }
}

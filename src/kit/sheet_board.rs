//! A checkerboard for the calibration of a camera's lens, in true size.

use super::sheet_page::{Anchor, BLACK, Page, Paper, Style, millimetres, rectangle};
use super::sheet_ruler::{PRINT_AT_100, RULERS_HEIGHT, RULERS_WIDTH, rulers};
use crate::error::Error;
use std::ops::RangeInclusive;

/// Squares in one direction: fewer give no corners to speak of.
const COUNTS: RangeInclusive<u32> = 3..=60;
/// Edges that can be printed and measured, mm.
const SQUARES_MM: RangeInclusive<f64> = 3.0..=200.0;
/// White around the board, mm; detectors want half a square or more.
const LEAST_RIM: f64 = 8.0;
/// Under the board: rulers and words.
const FOOT: f64 = RULERS_HEIGHT + 6.0;

/// The page; lying where that is the only way to fit it.
pub fn checkerboard(columns: u32, rows: u32, square_mm: f64, paper: Paper) -> Result<Page, Error> {
    if !COUNTS.contains(&columns) || !COUNTS.contains(&rows) || !SQUARES_MM.contains(&square_mm) {
        return Err(Error::usage(
            format!("a board of {columns} x {rows} squares of {square_mm} mm, need 3 to 60 squares of 3 to 200 mm"),
            "9 columns and 6 rows of 25 mm are a good board on A4",
        ));
    }
    let (width, height) = (f64::from(columns) * square_mm, f64::from(rows) * square_mm);
    let fits = |page: &Page| page.width >= width + 2.0 * LEAST_RIM && page.height >= height + LEAST_RIM + FOOT + 5.0;
    let mut page = [Page::lying(paper), Page::upright(paper)].into_iter().find(fits).ok_or_else(|| {
        Error::usage(
            format!(
                "the board of {} x {} mm does not fit on {}",
                millimetres(width),
                millimetres(height),
                paper.name()
            ),
            "take smaller or fewer squares, or --paper a3",
        )
    })?;
    let foot_y = page.height - FOOT;
    let corner = (0.5 * (page.width - width), LEAST_RIM + 0.5 * (foot_y - 5.0 - LEAST_RIM - height));
    let mut black = Vec::new();
    for row in 0..rows {
        for column in (row % 2..columns).step_by(2) {
            let at = (corner.0 + f64::from(column) * square_mm, corner.1 + f64::from(row) * square_mm);
            black.extend(rectangle(at, (square_mm, square_mm)));
        }
    }
    page.fill(black, BLACK);
    rulers(&mut page, (12.0, foot_y));
    let x = 12.0 + RULERS_WIDTH + 6.0;
    let title = format!("{columns} x {rows} squares of {} mm", millimetres(square_mm));
    let room = page.width - x - 10.0;
    page.words((x, foot_y + 5.0), title.as_str(), Style::bold(5.0).fitted(&title, room));
    let corners = format!("{} x {} inner corners", columns - 1, rows - 1);
    page.words(
        (x, foot_y + 10.0),
        corners.as_str(),
        Style::regular(3.4).fitted(&corners, room).anchored(Anchor::Start),
    );
    let style = Style::regular(2.5);
    let y = page.paragraph((x, foot_y + 14.5), room, PRINT_AT_100, style);
    let use_it =
        "Glue it flat on a stiff board, matt. Measure across all squares and divide: that is the size to enter.";
    page.paragraph((x, y + 0.6), room, use_it, style);
    Ok(page)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn boards_lie_or_stand_or_are_refused() {
        assert!(checkerboard(9, 6, 25.0, Paper::A4).unwrap().width > 290.0);
        assert!(checkerboard(6, 9, 25.0, Paper::A4).unwrap().width < 220.0);
        assert!(checkerboard(9, 6, 25.0, Paper::Letter).is_ok());
        let error = checkerboard(9, 6, 40.0, Paper::A4).unwrap_err().to_string();
        assert!(error.contains("360 x 240 mm"), "{error}");
        assert!(checkerboard(2, 6, 25.0, Paper::A4).is_err());
    }
}

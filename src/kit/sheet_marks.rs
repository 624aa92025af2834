//! Marks to print, cut out and put on the wall, in true size.
//!
//! **Takes** marks and the paper. **Gives** one page a mark, or several that are joined where the mark is larger than the
//! paper. Inside the cut line: the mark, its white rim, a strip with its number and which side is up, and at the edges
//! thin lines that point at the mark's centre. Those lines are a fifth of a millimetre wide and keep off the inner half
//! of the rim: no photo of a wall resolves them.
//! **Fails when** a mark would be too small in a usual photo, or its pages too many.

use super::sheet_art::PrintedMark;
use super::sheet_page::{Anchor, BLACK, DIM, LIGHT, Page, Paper, Pen, Spot, Style, millimetres, polygon};
use super::sheet_ruler::{PRINT_AT_100, RULERS_HEIGHT, RULERS_WIDTH, rulers};
use super::sheet_tiles::tiled;
use crate::bay::{Bay, MarkKind};
use crate::error::Error;

/// Least edge or diameter in the photo, pixels: what the search for marks is made for.
const LEAST_PX: f64 = 24.0;
/// A usual photo: 4000 px wide, with the main camera of a phone (26 mm on a 36 mm wide frame; common practice, no source),
/// taken from beside the lamps. Pixels for one unit of the tangent.
const USUAL_FOCAL_PX: f64 = 4000.0 * 26.0 / 36.0;
/// Size that is advised, as a part of the distance: 150 mm on 10 m.
const ADVISED_PART: f64 = 0.015;
/// Sizes that can be printed and cut, mm; the upper end is the bay file's.
const SIZES_MM: std::ops::RangeInclusive<f64> = 10.0..=5000.0;
/// Paper that stays free at its sides, where printers print nothing anyway, mm.
const SIDE_FREE: f64 = 5.0;
const TOP_FREE: f64 = 8.0;
const BOTTOM_FREE: f64 = 6.0;
/// Between the cut line and the rulers, mm.
const GAP: f64 = 3.0;
/// Height of the strip under the mark as a part of the mark's edge with its rim, and its bounds, mm.
const STRIP_PART: f64 = 0.12;
const STRIP_MM: (f64, f64) = (12.0, 24.0);
/// A sheet that is cut must not be spoilt by the last digit of a sum, mm.
const SLACK: f64 = 1e-6;
const CENTRE_LINE: Pen = Pen::solid(0.2, BLACK);

/// All sheets of some marks.
#[derive(Debug, Clone, PartialEq)]
pub struct MarkSheets {
    /// The pages.
    pub pages: Vec<Page>,
    /// What the one who prints should know: which marks take several pages.
    pub notes: Vec<String>,
}

/// The marks of a bay, each with the bay's name.
pub fn bay_mark_sheets(bay: &Bay, paper: Paper) -> Result<MarkSheets, Error> {
    let marks = bay.marks.iter().map(|mark| PrintedMark { kind: mark.kind, id: mark.id, size_mm: mark.size.get() });
    mark_sheets(&marks.collect::<Vec<_>>(), &bay.name, Some(bay.wall.distance.get()), paper)
}

/// Marks with words that say where they belong; with a distance their size in a usual photo is checked.
pub fn mark_sheets(
    marks: &[PrintedMark],
    place: &str,
    distance_mm: Option<f64>,
    paper: Paper,
) -> Result<MarkSheets, Error> {
    let mut sheets = MarkSheets { pages: Vec::new(), notes: Vec::new() };
    for mark in marks {
        let mark = mark.check()?;
        check_size(mark, distance_mm)?;
        let piece = piece(mark, place);
        let corner = (0.5 * (paper.size_mm().0 - piece.width), TOP_FREE);
        let below = paper.size_mm().1 - corner.1 - piece.height - GAP - RULERS_HEIGHT - BOTTOM_FREE;
        if corner.0 + SLACK >= SIDE_FREE && below + SLACK >= 0.0 {
            sheets.pages.push(whole(mark, &piece, corner, paper));
        } else {
            let name = format!("{} {}", mark.kind_name(), mark.id);
            let (pages, columns, rows) = tiled(&piece, &name, paper)?;
            sheets.notes.push(format!(
                "{name}, {} mm, is larger than {}: {} pages, {columns} across and {rows} down",
                millimetres(mark.size_mm),
                paper.name(),
                pages.len()
            ));
            sheets.pages.extend(pages);
        }
    }
    Ok(sheets)
}

fn check_size(mark: PrintedMark, distance_mm: Option<f64>) -> Result<(), Error> {
    let size = mark.size_mm;
    if !SIZES_MM.contains(&size) {
        return Err(Error::usage(
            format!("a mark of {size} mm, need {} to {} mm", SIZES_MM.start(), SIZES_MM.end()),
            "150 to 200 mm is a good size at 10 m",
        ));
    }
    let Some(distance) = distance_mm else { return Ok(()) };
    let px = USUAL_FOCAL_PX * size / distance;
    if px < LEAST_PX {
        let least = (LEAST_PX * distance / USUAL_FOCAL_PX).ceil();
        return Err(Error::usage(
            format!(
                "{} {} of {} mm is {px:.0} px in a usual photo (4000 px wide, main camera, from {:.1} m), need {LEAST_PX:.0}",
                mark.kind_name(),
                mark.id,
                millimetres(size),
                distance / 1000.0
            ),
            format!("make it at least {least:.0} mm, better {:.0} mm", 10.0 * (0.1 * ADVISED_PART * distance).ceil()),
        ));
    }
    Ok(())
}

/// What is cut out, drawn from its upper left corner.
fn piece(mark: PrintedMark, place: &str) -> Page {
    let (outer, rim) = (mark.outer_mm(), mark.rim_mm());
    let strip = (STRIP_PART * outer).clamp(STRIP_MM.0, STRIP_MM.1);
    let mut piece = Page { width: outer, height: outer + strip, items: Vec::new() };
    let centre = (0.5 * outer, 0.5 * outer);
    piece.fill(mark.ink(centre, mark.size_mm), BLACK);
    let reach = 0.5 * rim;
    piece.line((centre.0, 0.0), (centre.0, reach), CENTRE_LINE);
    piece.line((centre.0, outer - reach), (centre.0, outer), CENTRE_LINE);
    piece.line((centre.0, outer + strip - 0.15 * strip), (centre.0, outer + strip), CENTRE_LINE);
    piece.line((0.0, centre.1), (reach, centre.1), CENTRE_LINE);
    piece.line((outer - reach, centre.1), (outer, centre.1), CENTRE_LINE);
    strip_words(&mut piece, mark, place, (outer, strip));
    piece
}

/// Number, arrow, place and size under the mark. The middle stays free for the centre line.
fn strip_words(piece: &mut Page, mark: PrintedMark, place: &str, (outer, strip): Spot) {
    let edge = 0.02 * outer + 1.0;
    arrow(piece, (edge, outer + 0.08 * strip), 0.7 * strip);
    let left = edge + 0.5 * strip + 2.0;
    let half = 0.5 * outer - left - 3.0;
    let id = format!("{}", mark.id);
    piece.words((left, outer + 0.52 * strip), id.as_str(), Style::bold(0.6 * strip).fitted(&id, half));
    let up = "THIS SIDE UP";
    piece.words((left, outer + 0.78 * strip), up, Style::bold(0.19 * strip).fitted(up, half));
    let right = outer - edge;
    let width = 0.5 * outer - edge - 3.0;
    let what = format!("{} {} mm", mark.what_is_measured(), millimetres(mark.size_mm));
    let lines = [
        (0.30, place.to_owned(), Style::bold(0.24 * strip)),
        (0.55, format!("{}, id {}", mark.kind_name(), mark.id), Style::regular(0.19 * strip)),
        (0.78, what, Style::regular(0.19 * strip)),
    ];
    for (down, words, style) in lines {
        let style = style.fitted(&words, width).anchored(Anchor::End);
        piece.words((right, outer + down * strip), words, style);
    }
}

/// An arrow that points up, `height` high and half as wide.
fn arrow(page: &mut Page, (x, y): Spot, height: f64) {
    let at = |across: f64, down: f64| (x + 0.5 * height * across, y + height * down);
    let corners =
        [at(0.5, 0.0), at(1.0, 0.45), at(0.68, 0.45), at(0.68, 1.0), at(0.32, 1.0), at(0.32, 0.45), at(0.0, 0.45)];
    page.fill(polygon(&corners), BLACK);
}

/// The page of a mark that the paper holds.
fn whole(mark: PrintedMark, piece: &Page, corner: Spot, paper: Paper) -> Page {
    let mut page = Page::upright(paper);
    page.items.push(super::sheet_page::Item::Window {
        corner: (0.0, 0.0),
        size: (page.width, page.height),
        shift: corner,
        items: piece.items.clone(),
    });
    page.rectangle(corner, (piece.width, piece.height), Pen::dashed(0.25, LIGHT));
    page.words((0.5 * page.width, corner.1 - 1.2), "cut along the dashed line", small().anchored(Anchor::Middle));
    let y = corner.1 + piece.height + GAP;
    rulers(&mut page, (10.0, y));
    let words = (10.0 + RULERS_WIDTH + 4.0, y + 3.0);
    let width = page.width - words.0 - SIDE_FREE - 1.0;
    advice(&mut page, words, width, mark);
    page
}

fn small() -> Style {
    Style::regular(2.4).ink(DIM)
}

fn advice(page: &mut Page, (x, y): Spot, width: f64, mark: PrintedMark) {
    let style = Style::regular(2.35);
    let y = page.paragraph((x, y), width, PRINT_AT_100, style);
    let mount = "Matt paper, no film, no glass: gloss mirrors the lamp. Glue it flat and whole on a stiff board or the \
                 wall, arrow up, its thin centre lines on your laid-out cross.";
    let y = page.paragraph((x, y + 0.8), width, mount, style);
    let measure = format!(
        "Then measure the {} (here {} mm) and its centre's place, to 1 mm, for the bay file.",
        match mark.kind {
            MarkKind::Tag36h11 => "black square",
            MarkKind::Quadrant => "disc across",
        },
        millimetres(mark.size_mm)
    );
    let y = page.paragraph((x, y + 0.8), width, &measure, style);
    page.paragraph(
        (x, y + 0.8),
        width,
        "Mind the knife. No vehicle moves while you are at the wall.",
        Style::bold(2.35),
    );
}

#[cfg(test)]
mod tests {
    use super::*;

    fn tag(size_mm: f64) -> PrintedMark {
        PrintedMark { kind: MarkKind::Tag36h11, id: 3, size_mm }
    }

    #[test]
    fn usual_mark_fits_every_paper_and_a_large_one_is_tiled() {
        for paper in [Paper::A4, Paper::Letter, Paper::A3] {
            let sheets = mark_sheets(&[tag(160.0)], "North bay", Some(10_000.0), paper).unwrap();
            assert_eq!((sheets.pages.len(), sheets.notes.len()), (1, 0), "{paper:?}");
        }
        let sheets = mark_sheets(&[tag(400.0)], "North bay", None, Paper::A4).unwrap();
        assert!(sheets.pages.len() > 4 && sheets.notes[0].contains("400 mm"), "{:?}", sheets.notes);
    }

    /// 24 px of a focal length of 2889 px at 10 m are 83.1 mm.
    #[test]
    fn small_marks_are_refused_with_the_size_to_take() {
        let error = mark_sheets(&[tag(83.0)], "", Some(10_000.0), Paper::A4).unwrap_err().to_string();
        assert!(error.contains("at least 84 mm, better 150 mm"), "{error}");
        assert!(mark_sheets(&[tag(84.0)], "", Some(10_000.0), Paper::A4).is_ok());
        assert!(mark_sheets(&[tag(83.0)], "", None, Paper::A4).is_ok());
        assert!(mark_sheets(&[tag(5.0)], "", None, Paper::A4).is_err());
    }
}

//! A mark that is larger than the paper, spread over pages that overlap.
//!
//! **Gives** the pages row by row. Neighbours share a strip of 10 mm; crosses in its middle lie at the same place of the
//! mark on both, so that they coincide when the pages are joined well. Each page is cut along its left and upper dashed
//! lines, where it has any, and glued over its neighbours.
//! **Fails when** the pages are too many to be joined well.

use super::sheet_page::{Anchor, BLACK, DIM, Ink, Item, LIGHT, Page, Paper, Pen, Spot, Style};
use super::sheet_ruler::{PRINT_AT_100, RULERS_HEIGHT, RULERS_WIDTH, rulers};
use crate::error::Error;

/// What neighbours share, mm.
const OVERLAP: f64 = 10.0;
/// Paper that stays free around what is joined, mm.
const FREE: f64 = 8.0;
const BOTTOM_FREE: f64 = 6.0;
/// Between the tile and the rulers.
const GAP: f64 = 4.0;
/// More pages than this are not joined to a millimetre.
const MOST_PAGES: usize = 36;
/// Crosses: half their length, and grey that is seen on black and on white.
const CROSS: f64 = 4.0;
const CROSS_PEN: Pen = Pen::solid(0.25, Ink::Grey(128));
/// Where crosses stand along a seam's ends, mm inside the piece.
const CROSS_INSET: f64 = 6.0;

/// How one direction is divided.
#[derive(Debug, Clone, Copy)]
struct Division {
    count: usize,
    /// Length of a tile, mm.
    window: f64,
    /// Where the first tile begins on the piece (negative: white before it), mm.
    start: f64,
}

impl Division {
    fn new(total: f64, window: f64) -> Self {
        let step = window - OVERLAP;
        let count = (((total - OVERLAP) / step).ceil() as usize).max(1);
        let covered = count as f64 * step + OVERLAP;
        Self { count, window, start: -0.5 * (covered - total) }
    }

    fn tile_start(self, tile: usize) -> f64 {
        self.start + tile as f64 * (self.window - OVERLAP)
    }

    /// Middles of the strips that neighbours share.
    fn seams(self) -> Vec<f64> {
        (1..self.count).map(|tile| self.tile_start(tile) + 0.5 * OVERLAP).collect()
    }
}

/// The pages, and how many of them stand across and down.
pub(super) fn tiled(piece: &Page, name: &str, paper: Paper) -> Result<(Vec<Page>, usize, usize), Error> {
    let (width, height) = paper.size_mm();
    let across = Division::new(piece.width, width - 2.0 * FREE);
    let down = Division::new(piece.height, height - FREE - GAP - RULERS_HEIGHT - BOTTOM_FREE);
    let pages = across.count * down.count;
    if pages > MOST_PAGES {
        return Err(Error::usage(
            format!("{name} would take {pages} pages of {}, at most {MOST_PAGES} can be joined well", paper.name()),
            "choose --paper a3 or a smaller mark, or have it printed as a poster",
        ));
    }
    let mut drawing = piece.clone();
    drawing.rectangle((0.0, 0.0), (piece.width, piece.height), Pen::dashed(0.25, LIGHT));
    crosses(&mut drawing, across, down, (piece.width, piece.height));
    let tiles = (0..down.count).flat_map(|row| (0..across.count).map(move |column| (column, row)));
    let pages = tiles.map(|tile| page(&drawing, name, paper, (across, down), tile)).collect();
    Ok((pages, across.count, down.count))
}

/// Crosses where seams end at the piece's edges and where they meet.
fn crosses(drawing: &mut Page, across: Division, down: Division, size: Spot) {
    let ends = |length: f64| [CROSS_INSET, length - CROSS_INSET];
    let xs: Vec<f64> = across.seams();
    let ys: Vec<f64> = down.seams();
    let on_upright = xs.iter().flat_map(|&x| ends(size.1).into_iter().chain(ys.iter().copied()).map(move |y| (x, y)));
    let on_level = ys.iter().flat_map(|&y| ends(size.0).map(move |x| (x, y)));
    for (x, y) in on_upright.chain(on_level).collect::<Vec<_>>() {
        drawing.line((x - CROSS, y), (x + CROSS, y), CROSS_PEN);
        drawing.line((x, y - CROSS), (x, y + CROSS), CROSS_PEN);
    }
}

fn page(
    drawing: &Page,
    name: &str,
    paper: Paper,
    (across, down): (Division, Division),
    (column, row): (usize, usize),
) -> Page {
    let mut page = Page::upright(paper);
    let size = (across.window, down.window);
    let shift = (FREE - across.tile_start(column), FREE - down.tile_start(row));
    page.items.push(Item::Window { corner: (FREE, FREE), size, shift, items: drawing.items.clone() });
    let cut = Pen::dashed(0.25, DIM);
    let (edge, bottom) = (FREE + size.0, FREE + size.1);
    if column > 0 {
        page.line((FREE, FREE - 5.0), (FREE, bottom + 3.0), cut);
        let words = "cut here, glue over the page to the left";
        page.words((FREE - 2.0, FREE + 0.5 * size.1), words, note().anchored(Anchor::Middle).upward());
    }
    if row > 0 {
        page.line((FREE - 5.0, FREE), (edge + 5.0, FREE), cut);
        let words = "cut here, glue over the page above";
        page.words((FREE + 0.5 * size.0, FREE - 2.0), words, note().anchored(Anchor::Middle));
    }
    if column + 1 < across.count {
        page.words((edge + 4.0, FREE + 0.5 * size.1), "continues", note().anchored(Anchor::Middle).upward());
    }
    let y = bottom + GAP;
    rulers(&mut page, (10.0, y));
    let x = 10.0 + RULERS_WIDTH + 4.0;
    let width = page.width - x - 6.0;
    let number = row * across.count + column + 1;
    let of = across.count * down.count;
    let title = format!("Page {number} of {of}");
    let right = page.width - 8.0;
    let map = key(&mut page, (right, y + 1.0), (across.count, down.count), (column, row));
    let y = y + 5.0;
    page.words((x, y), title.as_str(), Style::bold(5.0).fitted(&title, width - map));
    let place = format!("{name}: row {}, column {}", row + 1, column + 1);
    page.words((x, y + 4.2), place.as_str(), Style::regular(2.6).fitted(&place, width - map));
    let join = "Join so that the grey crosses of both pages coincide, on one flat board.";
    let y = page.paragraph((x, y + 9.6), width, join, Style::regular(2.35));
    page.paragraph((x, y + 0.5), width, PRINT_AT_100, Style::regular(2.35));
    page
}

fn note() -> Style {
    Style::regular(2.4).ink(DIM)
}

/// A small map of all pages with this one black; its right upper corner is given, its width comes back.
fn key(page: &mut Page, (right, y): Spot, (columns, rows): (usize, usize), (column, row): (usize, usize)) -> f64 {
    let cell = (11.0 / columns.max(rows) as f64).min(4.0);
    let left = right - cell * columns as f64;
    for r in 0..rows {
        for c in 0..columns {
            let corner = (left + c as f64 * cell, y + r as f64 * cell);
            if (c, r) == (column, row) {
                page.fill(super::sheet_page::rectangle(corner, (cell, cell)).to_vec(), BLACK);
            }
            page.rectangle(corner, (cell, cell), Pen::solid(0.2, BLACK));
        }
    }
    right - left + 2.0
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn tiles_cover_the_whole_and_share_their_strips() {
        for total in [150.0, 186.0, 187.0, 400.0, 1234.5] {
            let division = Division::new(total, 186.0);
            let last = division.tile_start(division.count - 1) + division.window;
            assert!(division.start <= 1e-9 && last >= total - 1e-9, "{total}: {division:?}");
            for (place, seam) in division.seams().into_iter().enumerate() {
                assert!((division.tile_start(place) + division.window - 0.5 * OVERLAP - seam).abs() < 1e-9);
            }
        }
        assert_eq!(Division::new(186.0, 186.0).count, 1);
        assert_eq!(Division::new(187.0, 186.0).count, 2);
    }

    #[test]
    fn too_many_pages_are_refused() {
        let piece = Page { width: 5000.0, height: 5000.0, items: Vec::new() };
        let error = tiled(&piece, "tag 0", Paper::A4).unwrap_err().to_string();
        assert!(error.contains("--paper a3"), "{error}");
    }
}

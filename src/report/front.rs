//! The page for the customer; a second one when there are more than two lamps.

use super::ReportInput;
use super::footer::Foot;
use super::header::head;
use super::lamp::{LEAST_HEIGHT, MOST_HEIGHT, block};
use super::look::{BOTTOM, SIDE};
use crate::error::Error;
use crate::kit::sheet_page::{Page, Paper};

/// Lamps on a page: with more, pictures and words would be too small to read at arm's length.
const LAMPS: usize = 2;
/// Space between two lamps, mm.
const GAP: f64 = 2.5;

/// The pages. Every one carries head and foot: it may be parted from the others.
pub fn front_pages(input: &ReportInput<'_>, paper: Paper) -> Result<Vec<Page>, Error> {
    let lamps = &input.stored.inspection.lamps;
    let count = lamps.len().div_ceil(LAMPS).max(1);
    let mut pages = Vec::with_capacity(count);
    for number in 0..count {
        let mut page = Page::upright(paper);
        let top = head(&mut page, input, "HEADLAMP AIM REPORT", (number + 1, count));
        let here = &lamps[LAMPS * number..lamps.len().min(LAMPS * (number + 1))];
        let least = here.len() as f64 * (LEAST_HEIGHT + GAP);
        let foot = Foot::new(input, page.width, page.height - BOTTOM - top - least);
        let room = page.height - BOTTOM - foot.height - top;
        let height = (room / here.len().max(1) as f64 - GAP).clamp(LEAST_HEIGHT, MOST_HEIGHT);
        for (n, lamp) in here.iter().enumerate() {
            let corner = (SIDE, top + n as f64 * (height + GAP));
            let width = page.width - 2.0 * SIDE;
            block(&mut page, input, lamp, corner, (width, height));
        }
        foot.draw(&mut page, input)?;
        pages.push(page);
    }
    Ok(pages)
}

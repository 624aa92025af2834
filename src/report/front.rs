//! The page for the customer; a second one when there are more than four lamps.

use super::ReportInput;
use super::dense;
use super::footer::Foot;
use super::header::head;
use super::lamp;
use super::look::{BOTTOM, SIDE};
use crate::error::Error;
use crate::kit::sheet_page::{Page, Paper};

/// Lamps on a page: with more, pictures and words would be too small to read at arm's length.
const LAMPS: usize = 4;
/// Lamps that are drawn with room around them.
const WIDE_LAMPS: usize = 2;
/// Space between two lamps, mm: on a page with room, and on a dense one.
const GAP: f64 = 2.5;
const DENSE_GAP: f64 = 1.6;

/// The pages. Every one carries head and foot: it may be parted from the others.
pub fn front_pages(input: &ReportInput<'_>, paper: Paper) -> Result<Vec<Page>, Error> {
    let lamps = &input.stored.inspection.lamps;
    let count = lamps.len().div_ceil(LAMPS).max(1);
    // Five are three and two, not four and one.
    let on_each = lamps.len().div_ceil(count);
    let mut pages = Vec::with_capacity(count);
    for number in 0..count {
        let mut page = Page::upright(paper);
        let top = head(&mut page, input, "HEADLAMP AIM REPORT", (number + 1, count));
        let here = &lamps[on_each * number..lamps.len().min(on_each * (number + 1))];
        let is_wide = here.len() <= WIDE_LAMPS;
        let (least_height, most_height, gap) = if is_wide {
            (lamp::LEAST_HEIGHT, lamp::MOST_HEIGHT, GAP)
        } else {
            (dense::LEAST_HEIGHT, dense::MOST_HEIGHT, DENSE_GAP)
        };
        let least = here.len() as f64 * (least_height + gap);
        let foot = Foot::new(input, page.width, page.height - BOTTOM - top - least);
        let room = page.height - BOTTOM - foot.height - top;
        let height = (room / here.len().max(1) as f64 - gap).clamp(least_height, most_height);
        for (n, one) in here.iter().enumerate() {
            let corner = (SIDE, top + n as f64 * (height + gap));
            let size = (page.width - 2.0 * SIDE, height);
            let draw = if is_wide { lamp::block } else { dense::block };
            draw(&mut page, input, one, corner, size);
        }
        foot.draw(&mut page, input)?;
        pages.push(page);
    }
    Ok(pages)
}

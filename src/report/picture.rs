//! The annotated pictures of a report, and which part of them a page shows.
//!
//! A picture's bytes go into the PDF as they were recorded; a page shows a window on them. In a small frame the words of a
//! whole picture could not be read, and the page says them itself, so the close-up of the beam is shown, or the wall.

use super::look::{RULE_LINE, SURROUND};
use crate::draw::views;
use crate::error::Error;
use crate::kit::sheet_page::{Anchor, DIM, Item, Page, Pen, Spot, Style, rectangle};
use crate::record::{Hash, Inspection, LampRecord, RecordedReading};
use image::ImageFormat;
use std::collections::BTreeMap;
use std::sync::Arc;

/// Which view of a picture.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum View {
    /// The beam from near.
    Beam,
    /// The wall with its marks.
    Wall,
}

/// Shape of the frame where no picture was recorded.
const NO_PICTURE: f64 = 0.45;

/// Pictures by the SHA-256 under which the store files them.
#[derive(Debug, Clone, Default)]
pub struct Pictures {
    all: BTreeMap<Hash, Picture>,
}

#[derive(Debug, Clone)]
struct Picture {
    jpeg: Arc<Vec<u8>>,
    width: u32,
    height: u32,
    views: Vec<(u32, u32)>,
}

impl Picture {
    /// First row of a view, and the one behind its last; of the whole picture where no view was found.
    fn rows(&self, view: View) -> (u32, u32) {
        let rows = match view {
            View::Beam => self.views.last(),
            View::Wall => self.views.first(),
        };
        rows.copied().unwrap_or((0, self.height))
    }
}

impl Pictures {
    /// The pictures that a report of this inspection shows: those before and after of each lamp, or of a lamp's last photo
    /// where none could be measured.
    pub fn wanted(inspection: &Inspection) -> Vec<Hash> {
        let mut wanted: Vec<Hash> = inspection
            .lamps
            .iter()
            .flat_map(|lamp| [lamp.before(), shown_last(lamp)])
            .filter_map(|reading| reading?.annotated.as_ref().map(|file| file.sha256))
            .collect();
        wanted.sort_unstable();
        wanted.dedup();
        wanted
    }

    /// Adds an annotated picture: JPEG. Fails when it cannot be decoded.
    pub fn add(&mut self, sha256: Hash, jpeg: Vec<u8>) -> Result<(), Error> {
        let picture = image::load_from_memory_with_format(&jpeg, ImageFormat::Jpeg).map_err(|error| {
            let hint = "the record's picture was not written by this program; report it together with the record";
            Error::usage(format!("picture {sha256} cannot be read: {error}"), hint)
        })?;
        let picture = picture.into_rgb8();
        let (width, height) = picture.dimensions();
        self.all.insert(sha256, Picture { jpeg: Arc::new(jpeg), width, height, views: views(&picture) });
        Ok(())
    }

    fn of(&self, reading: Option<&RecordedReading>) -> Option<&Picture> {
        self.all.get(&reading?.annotated.as_ref()?.sha256)
    }

    /// Height by width of a view of a reading's picture.
    pub(super) fn shape(&self, reading: Option<&RecordedReading>, view: View) -> f64 {
        self.of(reading).map_or(NO_PICTURE, |picture| {
            let (top, bottom) = picture.rows(view);
            f64::from(bottom - top) / f64::from(picture.width.max(1))
        })
    }

    /// Draws a view of a reading's picture into a frame, as large as it fits, in its middle.
    pub(super) fn draw(
        &self,
        page: &mut Page,
        reading: Option<&RecordedReading>,
        view: View,
        corner: Spot,
        room: Spot,
    ) {
        let Some(picture) = self.of(reading) else {
            page.rectangle(corner, room, Pen::solid(0.2, RULE_LINE));
            let style = Style::regular(2.75).ink(DIM).anchored(Anchor::Middle);
            page.words((corner.0 + 0.5 * room.0, corner.1 + 0.5 * room.1), "no picture was recorded", style);
            return;
        };
        let (top, bottom) = picture.rows(view);
        let (width, height) = (f64::from(picture.width), f64::from(bottom - top));
        let scale = (room.0 / width).min(room.1 / height);
        let size = (scale * width, scale * height);
        let place = (corner.0 + 0.5 * (room.0 - size.0), corner.1 + 0.5 * (room.1 - size.1));
        page.fill(rectangle(corner, room).to_vec(), SURROUND);
        page.items.push(Item::Window {
            corner: place,
            size,
            shift: (place.0, place.1 - scale * f64::from(top)),
            items: vec![Item::Picture {
                corner: (0.0, 0.0),
                size: (size.0, scale * f64::from(picture.height)),
                jpeg: Arc::clone(&picture.jpeg),
            }],
        });
    }
}

/// The last measured reading, or the last at all.
pub(super) fn shown_last(lamp: &LampRecord) -> Option<&RecordedReading> {
    lamp.after().or_else(|| lamp.readings.last())
}

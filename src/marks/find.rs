//! The mark stage: every mark of the bay, found and placed, or listed as missing.

use super::component::shapes;
use super::decode::{CodeReading, read};
use super::found::{FoundMark, Marks, MissingMark};
use super::quad::{Quad, quad_of};
use super::shrink::Grey;
use super::tag_family::code_of;
use super::tag_fit::{TagPlace, refine};
use super::threshold::{Contrast, dark_runs};
use crate::bay::{Mark, MarkKind};
use crate::photo::{LinearImage, Photo};
use crate::units::PxPoint;

/// How to search for marks.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FindOptions {
    /// Longer side of the picture that is searched first, pixels. Smaller is faster but loses small tags; larger is
    /// slower. Default: 2000, where a tag of 24 px in a photo of 4000 px still has 1.5 px a module.
    pub search_side_px: usize,
    /// Standard uncertainty of a place given by hand, per axis, pixels. Default: 1, the pixel that a person points at.
    pub by_hand_sigma_px: f64,
}

impl Default for FindOptions {
    fn default() -> Self {
        Self { search_side_px: 2000, by_hand_sigma_px: 1.0 }
    }
}

/// Finds the bay's marks in a photo.
pub fn find(photo: &Photo, bay_marks: &[Mark], by_hand: &[(u32, PxPoint)], options: &FindOptions) -> Marks {
    let image = LinearImage::new(photo);
    let mut tags = TagSearch::new(&image, bay_marks, by_hand);
    let side = photo.width().max(photo.height());
    let block = (side as f64 / options.search_side_px.max(1) as f64).round().max(1.0) as usize;
    let grey = Grey::of(photo, block);
    let smooth = grey.smoothed();
    tags.search(&smooth, CONTRASTS[0]);
    for contrast in CONTRASTS {
        tags.search(&grey, contrast);
    }
    let mut marks = Marks::default();
    for (index, mark) in bay_marks.iter().enumerate() {
        if let Some((_, point)) = by_hand.iter().rev().find(|(id, _)| *id == mark.id) {
            marks.found.push(FoundMark {
                index,
                id: mark.id,
                centre: *point,
                centre_sigma_px: options.by_hand_sigma_px,
                corners: None,
                corner_sigma_px: 0.0,
                is_by_hand: true,
            });
        } else if let Some(place) = &tags.found[index] {
            marks.found.push(FoundMark {
                index,
                id: mark.id,
                centre: place.centre,
                centre_sigma_px: place.centre_sigma_px,
                corners: Some(place.corners),
                corner_sigma_px: place.corner_sigma_px,
                is_by_hand: false,
            });
        } else {
            marks.missing.push(MissingMark { index, id: mark.id, expected: None });
        }
    }
    marks
}

/// Contrasts in the order in which they are tried.
const CONTRASTS: [Contrast; 3] = [
    Contrast { split: 0.4, least_codes: 4.0, least_share: 0.25 },
    Contrast { split: 0.6, least_codes: 4.0, least_share: 0.25 },
    Contrast { split: 0.25, least_codes: 4.0, least_share: 0.25 },
];

/// Tags found so far.
struct TagSearch<'a> {
    image: &'a LinearImage<'a>,
    /// Code word by place in the bay's list; none for marks that are not to be sought.
    wanted: Vec<Option<u64>>,
    found: Vec<Option<TagPlace>>,
}

impl<'a> TagSearch<'a> {
    fn new(image: &'a LinearImage<'a>, bay_marks: &[Mark], by_hand: &[(u32, PxPoint)]) -> Self {
        let is_sought = |mark: &Mark| mark.kind == MarkKind::Tag36h11 && by_hand.iter().all(|(id, _)| *id != mark.id);
        let wanted = bay_marks.iter().map(|mark| is_sought(mark).then(|| code_of(mark.id)).flatten()).collect();
        Self { image, wanted, found: vec![None; bay_marks.len()] }
    }

    fn search(&mut self, grey: &Grey, contrast: Contrast) {
        let missing: Vec<(usize, u64)> = self
            .wanted
            .iter()
            .enumerate()
            .filter(|&(index, _)| self.found[index].is_none())
            .filter_map(|(index, code)| code.map(|code| (index, code)))
            .collect();
        if missing.is_empty() {
            return;
        }
        let codes: Vec<u64> = missing.iter().map(|entry| entry.1).collect();
        for shape in shapes(&dark_runs(grey, contrast)) {
            let Some(quad) = quad_of(&shape, grey) else { continue };
            let quad: Quad = quad.map(|corner| grey.to_photo(corner));
            let Some(reading) = read(self.image, &quad, &codes) else { continue };
            self.take(&reading, missing[reading.place]);
        }
    }

    fn take(&mut self, reading: &CodeReading, (index, code): (usize, u64)) {
        if let Some(place) = refine(self.image, reading, code)
            && self.found[index].as_ref().is_none_or(|known| place.misfit < known.misfit)
        {
            self.found[index] = Some(place);
        }
    }
}

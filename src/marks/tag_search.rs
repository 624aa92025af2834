//! The search for the bay's tags: first in a small picture, then harder where one is missing.

use super::component::shapes;
use super::decode::{CodeReading, read};
use super::found::FoundMark;
use super::layout::{WallMap, order_corners};
use super::quad::{Quad, quad_of};
use super::shrink::Grey;
use super::tag_family::code_of;
use super::tag_fit::{TagPlace, refine};
use super::threshold::{Contrast, dark_runs};
use crate::bay::{Mark, MarkKind};
use crate::photo::LinearImage;

/// Contrasts in the order in which they are tried. The first suits nearly every mark; the others stand nearer to white
/// (blurred small marks) or to black (a cutoff across the mark).
pub(super) const CONTRASTS: [Contrast; 3] = [
    Contrast { split: 0.4, least_codes: 4.0, least_share: 0.25 },
    Contrast { split: 0.6, least_codes: 4.0, least_share: 0.25 },
    Contrast { split: 0.25, least_codes: 4.0, least_share: 0.2 },
];
/// Half the side of the window in which a missing tag is sought, as a multiple of its size.
const WINDOW_SIZES: f64 = 2.0;
/// What the window grows by, as a share of the distance to the nearest found mark: an affine map misses perspective.
const WINDOW_SHARE: f64 = 0.05;
const WINDOW_SHARE_AFFINE: f64 = 0.25;
/// Found tags from which on a tag that is not near its expected place is taken as hidden.
const ENOUGH_TAGS: usize = 3;

/// Finds tags; by place in the bay's list. Marks of other kinds and those in `by_hand` are left alone.
pub(super) fn search_tags(
    image: &LinearImage,
    grey: &Grey,
    bay_marks: &[Mark],
    by_hand: &[FoundMark],
) -> Vec<FoundMark> {
    let mut search = TagSearch::new(image, bay_marks, by_hand);
    search.whole(&grey.smoothed(), CONTRASTS[0]);
    search.near_expected();
    if search.is_over() {
        return search.marks();
    }
    for contrast in CONTRASTS {
        search.whole(grey, contrast);
    }
    search.whole(&Grey::of(image.photo(), 2 * grey.block).smoothed(), CONTRASTS[0]);
    search.near_expected();
    if !search.is_over() && grey.block > 1 {
        let full = Grey::of(image.photo(), 1);
        search.whole(&full.smoothed(), CONTRASTS[0]);
        search.whole(&full, CONTRASTS[1]);
        search.near_expected();
    }
    search.marks()
}

/// Tags found so far.
struct TagSearch<'a> {
    image: &'a LinearImage<'a>,
    bay_marks: &'a [Mark],
    by_hand: &'a [FoundMark],
    /// Code word by place in the bay's list; none for marks that are not to be sought.
    wanted: Vec<Option<u64>>,
    found: Vec<Option<TagPlace>>,
}

impl<'a> TagSearch<'a> {
    fn new(image: &'a LinearImage<'a>, bay_marks: &'a [Mark], by_hand: &'a [FoundMark]) -> Self {
        let is_sought = |index: usize, mark: &Mark| {
            mark.kind == MarkKind::Tag36h11 && by_hand.iter().all(|known| known.index != index)
        };
        let wanted = bay_marks
            .iter()
            .enumerate()
            .map(|(index, mark)| is_sought(index, mark).then(|| code_of(mark.id)).flatten())
            .collect();
        Self { image, bay_marks, by_hand, wanted, found: vec![None; bay_marks.len()] }
    }

    /// Wanted tags that are not found yet: place in the bay's list and code word.
    fn missing(&self) -> Vec<(usize, u64)> {
        let wanted = self.wanted.iter().enumerate();
        wanted
            .filter(|&(index, _)| self.found[index].is_none())
            .filter_map(|(index, code)| code.map(|code| (index, code)))
            .collect()
    }

    /// Nothing is missing, or so many are known that what is missing must be hidden.
    fn is_over(&self) -> bool {
        self.found.iter().flatten().count() >= ENOUGH_TAGS || self.missing().is_empty()
    }

    fn marks(&self) -> Vec<FoundMark> {
        let found =
            self.found.iter().enumerate().filter_map(|(index, place)| place.as_ref().map(|place| (index, place)));
        let mut marks: Vec<FoundMark> = found
            .map(|(index, place)| FoundMark {
                index,
                id: self.bay_marks[index].id,
                centre: place.centre,
                centre_sigma_px: place.centre_sigma_px,
                corners: Some(place.corners),
                corner_sigma_px: place.corner_sigma_px,
                is_by_hand: false,
            })
            .collect();
        marks.extend(self.by_hand.iter().cloned());
        order_corners(&mut marks, self.bay_marks);
        marks.retain(|mark| !mark.is_by_hand);
        marks
    }

    /// Seeks what is missing in a whole picture.
    fn whole(&mut self, grey: &Grey, contrast: Contrast) {
        let missing = self.missing();
        self.among(grey, contrast, &missing);
    }

    fn among(&mut self, grey: &Grey, contrast: Contrast, missing: &[(usize, u64)]) {
        if missing.is_empty() {
            return;
        }
        let codes: Vec<u64> = missing.iter().map(|entry| entry.1).collect();
        for shape in shapes(&dark_runs(grey, contrast)) {
            let Some(quad) = quad_of(&shape, grey) else { continue };
            let quad: Quad = quad.map(|corner| grey.to_photo(corner));
            if let Some(reading) = read(self.image, &quad, &codes) {
                self.take(&reading, missing[reading.place]);
            }
        }
    }

    /// Keeps the better of two places of one tag.
    fn take(&mut self, reading: &CodeReading, (index, code): (usize, u64)) {
        if let Some(place) = refine(self.image, reading, code)
            && self.found[index].as_ref().is_none_or(|known| place.misfit < known.misfit)
        {
            self.found[index] = Some(place);
        }
    }

    /// Seeks each missing tag where the found ones say that it is, at full resolution.
    fn near_expected(&mut self) {
        for (index, code) in self.missing() {
            let mut known = self.marks();
            known.extend(self.by_hand.iter().cloned());
            let Some(map) = WallMap::of(&known, self.bay_marks) else { return };
            let Some(grey) = self.window(&map, &known, index) else { continue };
            let smooth = grey.smoothed();
            for (picture, contrast) in [(&smooth, 0), (&grey, 0), (&grey, 1), (&grey, 2), (&smooth, 2)] {
                if self.found[index].is_none() {
                    self.among(picture, CONTRASTS[contrast], &[(index, code)]);
                }
            }
            // A threshold may fail where the light is odd; the expected place itself may still be near enough to fit.
            if self.found[index].is_none()
                && let Some(corners) = map.corners_of(&self.bay_marks[index])
                && let Some(reading) = read(self.image, &corners, &[code])
            {
                self.take(&reading, (index, code));
            }
        }
    }

    fn window(&self, map: &WallMap, known: &[FoundMark], index: usize) -> Option<Grey> {
        let mark = &self.bay_marks[index];
        let centre = map.centre_of(mark)?;
        let corners = map.corners_of(mark)?;
        let size = corners.iter().map(|corner| 2.0 * corner.distance(centre)).fold(0.0, f64::max);
        let nearest = known.iter().map(|other| other.centre.distance(centre)).fold(f64::INFINITY, f64::min);
        let share = if map.is_projective { WINDOW_SHARE } else { WINDOW_SHARE_AFFINE };
        let photo = self.image.photo();
        let half = (WINDOW_SIZES * size + share * nearest).min((photo.width() + photo.height()) as f64);
        let (left, top) = ((centre.x - half).max(0.0), (centre.y - half).max(0.0));
        let (right, bottom) = ((centre.x + half).max(0.0), (centre.y + half).max(0.0));
        let grey = Grey::window(photo, left as usize, top as usize, (right - left) as usize, (bottom - top) as usize);
        (grey.width > 0 && grey.height > 0).then_some(grey)
    }
}

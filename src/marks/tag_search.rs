//! The search for the bay's tags: first in a coarse picture, then harder where one is missing.

use super::component::shapes;
use super::decode::{Care, CodeReading, read, why_not_read};
use super::found::FoundMark;
use super::guided::{Tolerance, likely_places};
use super::layout::{WallMap, order_corners};
use super::options::FindOptions;
use super::pictures::Pictures;
use super::quad::{Quad, quad_of, why_no_quad};
use super::shrink::Grey;
use super::tag_family::code_of;
use super::tag_fit::{TagPlace, refine};
use super::threshold::{Contrast, dark_runs};
use super::tried::{Fate, Tried, TriedKind, TriedList};
use crate::bay::{Mark, MarkKind};
use crate::photo::LinearImage;
use crate::units::PxPoint;
use rayon::prelude::*;

/// Contrasts in the order in which they are tried. The first suits nearly every mark; the others stand nearer to white
/// (blurred small marks) or to black (a cutoff across the mark).
pub(super) const CONTRASTS: [Contrast; 3] = [
    Contrast { split: 0.4, least_codes: 4.0, least_share: 0.25 },
    Contrast { split: 0.6, least_codes: 4.0, least_share: 0.25 },
    Contrast { split: 0.25, least_codes: 4.0, least_share: 0.2 },
];
/// How far a tag's size and turn may be from those expected by one mark, by two, and by a projective map. The search
/// itself bears 5 % and 0.05.
const UNSURE: Tolerance = Tolerance { sizes: &[1.0, 0.92, 1.08], turns: &[0.0, -0.08, 0.08] };
const HALF_SURE: Tolerance = Tolerance { sizes: &[1.0, 0.94, 1.06], turns: &[0.0] };
const SURE: Tolerance = Tolerance { sizes: &[1.0], turns: &[0.0] };

/// Finds tags; by place in the bay's list. Marks of other kinds and those in `by_hand` are left alone.
pub(super) fn search_tags(
    image: &LinearImage,
    pictures: &Pictures<'_>,
    bay_marks: &[Mark],
    by_hand: &[FoundMark],
    tried: &TriedList,
    options: &FindOptions,
) -> FoundTags {
    let mut search = TagSearch::new(image, bay_marks, by_hand, tried, options);
    if search.missing().is_empty() {
        return search.outcome();
    }
    search.whole(pictures.coarse(), CONTRASTS[0], Care::Quick);
    if search.missing().is_empty() {
        return search.outcome();
    }
    let grey = pictures.fine();
    search.whole(&grey.smoothed(), CONTRASTS[0], Care::Quick);
    search.near_expected();
    // Coarser pictures first: they are cheap, and noise is even there.
    let mut coarse = grey.halved();
    for _ in 0..options.search.coarser_pictures {
        if search.is_over() {
            return search.outcome();
        }
        search.whole(&coarse.smoothed(), CONTRASTS[0], Care::Thorough);
        search.near_expected();
        coarse = coarse.halved();
    }
    if search.is_over() {
        return search.outcome();
    }
    for contrast in CONTRASTS {
        search.whole(grey, contrast, Care::Quick);
    }
    search.near_expected();
    if !search.is_over() && grey.block > 1 {
        let full = Grey::of(image.photo(), 1);
        search.whole(&full.smoothed(), CONTRASTS[0], Care::Quick);
        search.whole(&full, CONTRASTS[1], Care::Quick);
        search.near_expected();
    }
    search.outcome()
}

/// What the search gives.
#[derive(Debug, Clone, Default)]
pub(super) struct FoundTags {
    pub(super) marks: Vec<FoundMark>,
    /// Median blur of their fits.
    pub(super) blur_px: Option<f64>,
}

/// Why a fit gave nothing.
const LOST: &str = "its edges do not fit a tag's: too blurred, covered, or not where they were seen";

fn dropped(outline: Vec<PxPoint>, fate: Fate, why: String) -> Tried {
    Tried { kind: TriedKind::Tag, outline, fate, why }
}

/// Tags found so far.
struct TagSearch<'a> {
    image: &'a LinearImage<'a>,
    bay_marks: &'a [Mark],
    by_hand: &'a [FoundMark],
    tried: &'a TriedList,
    options: &'a FindOptions,
    /// Code word by place in the bay's list; none for marks that are not to be sought.
    wanted: Vec<Option<u64>>,
    found: Vec<Option<TagPlace>>,
    /// Per mark, how many were known when it was last sought near its expected place.
    known_then: Vec<usize>,
}

impl<'a> TagSearch<'a> {
    fn new(
        image: &'a LinearImage<'a>,
        bay_marks: &'a [Mark],
        by_hand: &'a [FoundMark],
        tried: &'a TriedList,
        options: &'a FindOptions,
    ) -> Self {
        let is_sought = |index: usize, mark: &Mark| {
            mark.kind == MarkKind::Tag36h11 && by_hand.iter().all(|known| known.index != index)
        };
        let wanted = bay_marks
            .iter()
            .enumerate()
            .map(|(index, mark)| is_sought(index, mark).then(|| code_of(mark.id)).flatten())
            .collect();
        Self {
            image,
            bay_marks,
            by_hand,
            tried,
            options,
            wanted,
            found: vec![None; bay_marks.len()],
            known_then: vec![0; bay_marks.len()],
        }
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
        self.found.iter().flatten().count() >= self.options.search.enough_tags || self.missing().is_empty()
    }

    fn outcome(&self) -> FoundTags {
        for (place, mark) in self.found.iter().zip(self.bay_marks) {
            let Some(place) = place else { continue };
            let outline = place.corners.to_vec();
            let fate = Fate::Kept(mark.id);
            self.tried.add(|| Tried { kind: TriedKind::Tag, outline, fate, why: String::new() });
        }
        let mut blurs: Vec<f64> = self.found.iter().flatten().map(|place| place.blur_px).collect();
        blurs.sort_unstable_by(f64::total_cmp);
        FoundTags { marks: self.marks(), blur_px: blurs.get(blurs.len() / 2).copied() }
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
    fn whole(&mut self, grey: &Grey, contrast: Contrast, care: Care) {
        let missing = self.missing();
        self.among(grey, contrast, &missing, care);
    }

    fn among(&mut self, grey: &Grey, contrast: Contrast, missing: &[(usize, u64)], care: Care) {
        if missing.is_empty() {
            return;
        }
        let codes: Vec<u64> = missing.iter().map(|entry| entry.1).collect();
        let image = self.image;
        let tried = self.tried;
        let places: Vec<(usize, TagPlace)> = shapes(&dark_runs(grey, contrast, self.options))
            .par_iter()
            .filter_map(|shape| {
                let Some(quad) = quad_of(shape, grey, self.options) else {
                    let outline = || shape.hull.iter().map(|&corner| grey.to_photo(corner)).collect();
                    tried.add(|| dropped(outline(), Fate::Shape, why_no_quad(shape, self.options)));
                    return None;
                };
                let quad: Quad = quad.map(|corner| grey.to_photo(corner));
                let Some(reading) = read(image, &quad, &codes, care, self.options) else {
                    tried.add(|| {
                        dropped(quad.to_vec(), Fate::Content, why_not_read(image, &quad, &codes, care, self.options))
                    });
                    return None;
                };
                let (index, code) = missing[reading.place];
                let place = refine(image, &reading, code, care, self.options);
                if place.is_none() {
                    tried.add(|| dropped(quad.to_vec(), Fate::Fit, LOST.to_owned()));
                }
                Some((index, place?))
            })
            .collect();
        for (index, place) in places {
            self.keep(index, place);
        }
    }

    /// Fits a tag that was read.
    fn take(&mut self, reading: &CodeReading, (index, code): (usize, u64), care: Care) {
        match refine(self.image, reading, code, care, self.options) {
            Some(place) => self.keep(index, place),
            None => self.tried.add(|| dropped(reading.corners.to_vec(), Fate::Fit, LOST.to_owned())),
        }
    }

    /// Keeps the better of two places of one tag.
    fn keep(&mut self, index: usize, place: TagPlace) {
        if let Some(known) = self.found[index].as_ref().filter(|known| place.misfit >= known.misfit) {
            self.tried.add(|| {
                let why = format!("misfit {:.3}, another place of this tag has {:.3}", place.misfit, known.misfit);
                dropped(place.corners.to_vec(), Fate::Unused, why)
            });
            return;
        }
        self.found[index] = Some(place);
    }

    /// Seeks each missing tag where the found ones say that it is, at full resolution. Those nearest to a found one go
    /// first: each that is found makes the map better for the others.
    fn near_expected(&mut self) {
        loop {
            let mut known = self.marks();
            known.extend(self.by_hand.iter().cloned());
            let Some(map) = WallMap::of(&known, self.bay_marks) else { return };
            let untried = self.missing().into_iter().filter(|&(index, _)| self.known_then[index] < known.len());
            let far = |index: usize| self.distance_to_known(&map, &known, index).unwrap_or(f64::INFINITY);
            let Some(next) = untried.min_by(|a, b| far(a.0).total_cmp(&far(b.0))) else { return };
            self.known_then[next.0] = known.len();
            self.near(&map, &known, next);
        }
    }

    fn distance_to_known(&self, map: &WallMap, known: &[FoundMark], index: usize) -> Option<f64> {
        let centre = map.centre_of(&self.bay_marks[index])?;
        known.iter().map(|other| other.centre.distance(centre)).min_by(f64::total_cmp)
    }

    fn near(&mut self, map: &WallMap, known: &[FoundMark], (index, code): (usize, u64)) {
        let Some(grey) = self.window(map, known, index) else { return };
        let smooth = grey.smoothed();
        for (picture, contrast) in [(&smooth, 0), (&grey, 0), (&grey, 1), (&grey, 2), (&smooth, 2)] {
            if self.found[index].is_none() {
                self.among(picture, CONTRASTS[contrast], &[(index, code)], Care::Quick);
            }
        }
        let Some(corners) = map.corners_of(&self.bay_marks[index]) else { return };
        // A threshold may fail where the light is odd; the expected place itself may still be near enough to fit.
        if self.found[index].is_none()
            && let Some(reading) = read(self.image, &corners, &[code], Care::Quick, self.options)
        {
            self.take(&reading, (index, code), Care::Quick);
        }
        if self.found[index].is_none() {
            let in_window = corners.map(|corner| PxPoint::new(corner.x - grey.origin.x, corner.y - grey.origin.y));
            let tolerance = match (map.is_projective, known.len()) {
                (true, _) => SURE,
                (false, 1) => UNSURE,
                (false, _) => HALF_SURE,
            };
            for likely in likely_places(&grey, &in_window, code, tolerance) {
                let quad = likely.corners.map(|corner| grey.to_photo(corner));
                if let Some(reading) = read(self.image, &quad, &[code], Care::Known, self.options) {
                    self.take(&reading, (index, code), Care::Known);
                }
            }
        }
    }

    fn window(&self, map: &WallMap, known: &[FoundMark], index: usize) -> Option<Grey> {
        let mark = &self.bay_marks[index];
        let centre = map.centre_of(mark)?;
        let corners = map.corners_of(mark)?;
        let size = corners.iter().map(|corner| 2.0 * corner.distance(centre)).fold(0.0, f64::max);
        let nearest = self.distance_to_known(map, known, index)?;
        let share =
            if map.is_projective { self.options.search.window_share } else { self.options.search.window_share_affine };
        let photo = self.image.photo();
        let half =
            (self.options.search.window_sizes * size + share * nearest).min((photo.width() + photo.height()) as f64);
        let (left, top) = ((centre.x - half).max(0.0), (centre.y - half).max(0.0));
        let (right, bottom) = ((centre.x + half).max(0.0), (centre.y + half).max(0.0));
        let grey = Grey::window(photo, left as usize, top as usize, (right - left) as usize, (bottom - top) as usize);
        (grey.width > 0 && grey.height > 0).then_some(grey)
    }
}

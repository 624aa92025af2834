//! The mark stage: every mark of the bay, found and placed, or listed as missing.
//!
//! **Takes** the photo, the bay's marks and places given by hand (id, pixels of the upright photo). **Gives**
//! [`Marks`].
//!
//! **How**: dark four-sided shapes are sought in small pictures, a coarse one first, and read against the bay's codes
//! (`tag_search`); quadrant marks are sought by their crossing and named by the layout (`quadrant`, `name`); all edges
//! of a mark are then fitted at once at full resolution in linear light (`fit`). Places given by hand go before.
//!
//! **Weak when** a mark is dim, small or crossed by a steep change of light: its sigma grows.
//! **Fails** never: what is not found is listed, with its expected place when the others tell.

use super::by_hand::marks_by_hand;
use super::found::{Marks, MissingMark};
use super::layout::WallMap;
use super::options::FindOptions;
use super::pictures::Pictures;
use super::quadrant_search::search_quadrants;
use super::tag_search::search_tags;
use super::tried::TriedList;
use crate::bay::Mark;
use crate::photo::{LinearImage, Photo};
use crate::units::PxPoint;

/// Finds the bay's marks in a photo.
pub fn find(photo: &Photo, bay_marks: &[Mark], by_hand: &[(u32, PxPoint)], options: &FindOptions) -> Marks {
    find_telling(photo, bay_marks, by_hand, options, &TriedList::default())
}

/// As [`find`], and tells `tried` what was looked at.
pub fn find_telling(
    photo: &Photo,
    bay_marks: &[Mark],
    by_hand: &[(u32, PxPoint)],
    options: &FindOptions,
    tried: &TriedList,
) -> Marks {
    let image = LinearImage::new(photo);
    let mut found = marks_by_hand(bay_marks, by_hand, options.by_hand_sigma_px);
    let mut blur_px = None;
    if found.len() < bay_marks.len() {
        let pictures = Pictures::of(photo, options.search_side_px);
        let tags = search_tags(&image, &pictures, bay_marks, &found, tried, options);
        blur_px = tags.blur_px;
        found.extend(tags.marks);
        let quadrants = search_quadrants(&image, &pictures, bay_marks, &found, tried, options);
        found.extend(quadrants);
    }
    found.sort_unstable_by_key(|mark| mark.index);
    // A single tag extrapolates its own pixels over the whole wall: it points nowhere.
    let map = if found.len() >= 2 { WallMap::of(&found, bay_marks) } else { None };
    let missing = bay_marks
        .iter()
        .enumerate()
        .filter(|(index, _)| found.iter().all(|mark| mark.index != *index))
        .map(|(index, mark)| MissingMark { index, id: mark.id, expected: map.and_then(|map| map.centre_of(mark)) })
        .collect();
    Marks { found, missing, blur_px }
}

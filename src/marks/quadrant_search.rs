//! The search for the bay's quadrant marks: seen, fitted, named.

use super::found::FoundMark;
use super::name::{Seen, name};
use super::options::FindOptions;
use super::pictures::Pictures;
use super::quadrant::{QuadrantSight, sights};
use super::quadrant_fit::refine;
use super::shrink::Grey;
use super::tried::{Fate, Tried, TriedKind, TriedList};
use crate::bay::{Mark, MarkKind};
use crate::photo::LinearImage;
use crate::units::PxPoint;
use rayon::prelude::*;

/// Why a fit gave nothing.
const LOST: &str = "the crossing's edges do not fit: blurred, noisy, or not where they were seen";
/// Why a fitted crossing is no mark of the bay.
const UNNAMED: &str = "the bay has no mark at this place";

fn quadrant(centre: PxPoint, fate: Fate, why: &str) -> Tried {
    Tried { kind: TriedKind::Quadrant, outline: vec![centre], fate, why: why.to_owned() }
}

/// Finds quadrant marks; `known` holds the marks found so far.
pub(super) fn search_quadrants(
    image: &LinearImage,
    pictures: &Pictures<'_>,
    bay_marks: &[Mark],
    known: &[FoundMark],
    tried: &TriedList,
    options: &FindOptions,
) -> Vec<FoundMark> {
    let wanted: Vec<usize> = (0..bay_marks.len())
        .filter(|&index| bay_marks[index].kind == MarkKind::Quadrant && known.iter().all(|mark| mark.index != index))
        .collect();
    if wanted.is_empty() {
        return Vec::new();
    }
    let grey = pictures.fine();
    let smooth = grey.smoothed();
    let mut best = Vec::new();
    let full = (grey.block > 1).then_some(1);
    for block in [None, full].into_iter().take(if full.is_some() { 2 } else { 1 }) {
        let seen = match block {
            None => see(image, &smooth, known, tried, options),
            Some(block) => see(image, &Grey::of(image.photo(), block).smoothed(), known, tried, options),
        };
        let named = name(&seen, &wanted, known, bay_marks);
        for (number, seen) in seen.iter().enumerate().filter(|_| tried.is_on()) {
            let index = named.iter().find(|(_, sight)| *sight == number).map(|(index, _)| *index);
            let fate = index.map_or(Fate::Unused, |index| Fate::Kept(bay_marks[index].id));
            tried.add(|| quadrant(seen.place.centre, fate, if index.is_some() { "" } else { UNNAMED }));
        }
        if named.len() > best.len() {
            best = named.iter().map(|&(index, sight)| mark_of(index, &seen[sight], bay_marks)).collect();
        }
        if best.len() == wanted.len() {
            break;
        }
    }
    best
}

fn see(image: &LinearImage, grey: &Grey, known: &[FoundMark], tried: &TriedList, options: &FindOptions) -> Vec<Seen> {
    sights(grey, tried, options)
        .into_par_iter()
        .filter(|sight| !known.iter().any(|mark| covers(mark, sight.guess.centre, options)))
        .filter_map(|sight: QuadrantSight| {
            let place = refine(image, &sight.guess, options);
            if place.is_none() {
                tried.add(|| quadrant(sight.guess.centre, Fate::Fit, LOST));
            }
            Some(Seen { sight, place: place? })
        })
        .collect()
}

fn covers(mark: &FoundMark, place: PxPoint, options: &FindOptions) -> bool {
    mark.corners.as_ref().is_some_and(|corners| {
        let reach = corners.iter().map(|corner| corner.distance(mark.centre)).fold(0.0, f64::max);
        place.distance(mark.centre) < options.disc.tag_reach * reach
    })
}

fn mark_of(index: usize, seen: &Seen, bay_marks: &[Mark]) -> FoundMark {
    FoundMark {
        index,
        id: bay_marks[index].id,
        centre: seen.place.centre,
        centre_sigma_px: seen.place.centre_sigma_px,
        corners: None,
        corner_sigma_px: 0.0,
        is_by_hand: false,
    }
}

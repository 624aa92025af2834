//! The driver's way into a bracket: photos of the same still scene at several exposures become one photo.
//!
//! **Takes** the decoded photos, and a response file's when given. **Gives** one photo
//! of true light with its [`Exposures`], or a refusal.
//! **How**: the middle exposure is the base; each photo is laid on its neighbour in exposure (`photo::pair`), because
//! neighbours have most in common. Exposures are those of EXIF; three or more photos tell the camera's response by them
//! (`camera::response`), and the response in turn what the exposures were, by the pictures themselves. Then `photo::bracket`.
//! **Weak when** there are two photos, or EXIF states no exposures: then the tone curve stays unknown.

use super::photos::movement;
use crate::camera::response::{Exposed, LEAST_PHOTOS, Response, fit};
use crate::camera::{Cells, ResponseProfile};
use crate::error::{Error, Refusal};
use crate::flag::{Flag, FlagCode};
use crate::marks::Marks;
use crate::photo::bracket::{Frame, Lie, brightened, merge};
use crate::photo::linear::linear_to_srgb;
use crate::photo::{MergedFrom, Photo, PhotoOptions};
use crate::units::PxPoint;

/// Exposures must differ by this factor at least, else nothing is gained.
const LEAST_RATIO: f64 = 1.5;
/// How far EXIF's exposure may be off, as a logarithm (own judgement; phones write what they set).
const EXPOSURE_SIGMA: f64 = 0.01;
/// A response of the bracket is used when it fits like this: usual residual, and share of the places that do not fit.
const LARGEST_SPREAD: f64 = 0.03;
const LARGEST_UNFIT: f64 = 0.2;
/// Codes by which two exposures are compared, and fewest places.
const COMPARED: std::ops::RangeInclusive<f32> = 15.0..=235.0;
const LEAST_COMPARED: usize = 60;
/// Exposures that are off by more than this share of what EXIF says are told.
const LARGE_DIFFERENCE: f64 = 0.1;

/// What is known of a merged bracket beside its picture.
#[derive(Debug)]
pub(super) struct Exposures {
    /// The camera's response, when it is known: the picture is then true light.
    pub(super) response: Option<Response>,
    /// How much brighter the other exposures are than the shortest.
    gains: Vec<f64>,
    /// What is to be said of it.
    pub(super) flags: Vec<Flag>,
}

impl Exposures {
    /// Marks in dim places are too dark in a picture whose full scale is the hot spot: they are sought at the brightness of every
    /// exposure, and each is taken from where it is best placed.
    pub(super) fn marks_at_every_brightness(
        &self,
        found: Marks,
        photo: &Photo,
        find: &dyn Fn(&Photo) -> Marks,
    ) -> Marks {
        let mut joined = found;
        for gain in &self.gains {
            let other = find(&brightened(photo, *gain));
            if other.found.len() > joined.found.len() {
                joined.blur_px = other.blur_px.or(joined.blur_px);
                joined.missing = other.missing;
            }
            for mark in other.found {
                match joined.found.iter_mut().find(|known| known.index == mark.index) {
                    Some(known) if known.centre_sigma_px <= mark.centre_sigma_px => {}
                    Some(known) => *known = mark,
                    None => joined.found.push(mark),
                }
            }
        }
        joined.found.sort_by_key(|mark| mark.index);
        let Marks { found, missing, .. } = &mut joined;
        missing.retain(|lost| found.iter().all(|mark| mark.index != lost.index));
        joined
    }
}

/// Merges a bracket; `photos` as they were given.
pub(super) fn merged(
    photos: &[Photo],
    known: Option<&ResponseProfile>,
    options: &PhotoOptions,
) -> Result<Result<(Photo, Exposures), Refusal>, Error> {
    let stated: Option<Vec<f64>> = photos.iter().map(super::photos::exposure).collect();
    // Without EXIF, brightness tells the order.
    let order_by = stated.clone().unwrap_or_else(|| photos.iter().map(brightness).collect());
    let mut order: Vec<usize> = (0..photos.len()).collect();
    order.sort_by(|a, b| order_by[*a].total_cmp(&order_by[*b]));
    let sorted: Vec<&Photo> = order.iter().map(|index| &photos[*index]).collect();
    let stated: Option<Vec<f64>> = stated.map(|list| order.iter().map(|index| list[*index]).collect());
    let base = sorted.len() / 2;
    let lies = match lies(&sorted, base, options) {
        Ok(lies) => lies,
        Err(refusal) => return Ok(Err(refusal)),
    };
    let cells: Vec<Cells> = sorted.iter().zip(&lies).map(|(photo, lie)| cells(photo, lie)).collect();
    let fitted = match (known, &stated) {
        (None, Some(exposures)) => own_response(&sorted, &cells, exposures),
        _ => None,
    };
    let is_fitted = fitted.is_some();
    let response = known.map(|profile| profile.response.clone()).or(fitted);
    let light = |code: f32| {
        let code = f64::from(code);
        response.as_ref().map_or_else(
            || f64::from(crate::photo::linear::srgb_to_linear(code as f32)),
            |response| response.light_of_code(code),
        )
    };
    let mut exposures = vec![1.0];
    let mut flags = Vec::new();
    for next in 1..sorted.len() {
        let said = stated.as_ref().map(|list| list[next] / list[next - 1]);
        let seen = seen_ratio(&cells[next - 1], &cells[next], &light);
        let Some(ratio) = seen.or(said) else {
            return Err(Error::file(
                sorted[next].file.as_str(),
                format!("states no exposure (EXIF) and shares too little with {} to tell it", sorted[next - 1].file),
                "use the files as the camera wrote them, or take photos between the two",
            ));
        };
        if let Some((said, seen)) = said.zip(seen).filter(|(said, seen)| (seen / said).ln().abs() > LARGE_DIFFERENCE) {
            flags.push(Flag::new(
                FlagCode::BracketUneven,
                format!(
                    "{} is {seen:.2} times as bright as {}, but its exposure says {said:.2}: did the light change, or does the \
                     camera treat the photos differently (HDR)? The pictures were believed",
                    sorted[next].file,
                    sorted[next - 1].file
                ),
            ));
        }
        exposures.push(exposures[next - 1] * ratio.max(f64::MIN_POSITIVE));
    }
    let widest = exposures.iter().copied().fold(1.0, f64::max);
    if widest < LEAST_RATIO {
        return Err(Error::usage(
            format!(
                "the longest exposure of the bracket is {widest:.2} times the shortest, need {LEAST_RATIO} times or more"
            ),
            "halve and double the exposure time from photo to photo, or give one photo alone",
        ));
    }
    let least = exposures.iter().copied().fold(f64::MAX, f64::min);
    let exposures: Vec<f64> = exposures.iter().map(|exposure| exposure / least).collect();
    flags.splice(0..0, said_of_it(&sorted, &exposures, &lies, is_fitted, options));
    let through = |level: f32| light(linear_to_srgb(level)) as f32;
    let frames: Vec<Frame<'_>> = std::iter::once(base)
        .chain((0..sorted.len()).filter(|index| *index != base))
        .map(|index| Frame { photo: sorted[index], exposure: exposures[index], lie: lies[index] })
        .collect();
    let Some(mut photo) = merge(&frames, &through) else {
        return Err(Error::usage("a bracket of no photo", "name photos of one still scene"));
    };
    let of_given = |given: usize| order.iter().position(|index| *index == given).unwrap_or(0);
    photo.merged = (0..photos.len())
        .map(|given| MergedFrom {
            file: photos[given].file.clone(),
            sha256: photos[given].sha256.clone(),
            exposure: exposures[of_given(given)],
        })
        .collect();
    let gains = exposures.into_iter().filter(|gain| *gain > 1.0).collect();
    Ok(Ok((photo, Exposures { response, gains, flags })))
}

fn said_of_it(
    photos: &[&Photo],
    exposures: &[f64],
    lies: &[Lie],
    is_fitted: bool,
    options: &PhotoOptions,
) -> Vec<Flag> {
    let list: Vec<String> =
        photos.iter().zip(exposures).map(|(photo, exposure)| format!("{} ({exposure:.2})", photo.file)).collect();
    let curve = if is_fitted { "; they told the camera's tone curve, which was taken off" } else { "" };
    let merged =
        format!("merged from {} photos, relative exposure in brackets: {}{curve}", photos.len(), list.join(", "));
    let moved =
        photos.iter().zip(lies).map(|(photo, lie)| lie.largest_px(photo.width(), photo.height())).fold(0.0, f64::max);
    let shifted = (moved > options.flagged_shift_px).then(|| {
        Flag::new(
            FlagCode::PairShifted,
            format!("the camera moved by up to {moved:.1} px between the photos of the bracket; corrected"),
        )
    });
    std::iter::once(Flag::new(FlagCode::BracketMerged, merged)).chain(shifted).collect()
}

/// Where places of the base lie in each photo, from neighbour to neighbour.
fn lies(photos: &[&Photo], base: usize, options: &PhotoOptions) -> Result<Vec<Lie>, Refusal> {
    let mut lies = vec![Lie::STILL; photos.len()];
    let steps =
        (0..base).rev().map(|index| (index + 1, index)).chain((base + 1..photos.len()).map(|index| (index - 1, index)));
    for (from, to) in steps {
        let shift = movement(photos[from], photos[to], "bracket's other", options)?;
        lies[to] = lies[from].then(&Lie::of(&shift, true));
    }
    Ok(lies)
}

/// A photo in cells of the base's picture; whole pixels are near enough for even places.
fn cells(photo: &Photo, lie: &Lie) -> Cells {
    let (width, height) = (photo.width(), photo.height());
    Cells::new(width, height, &|x, y| {
        let place = lie.place(PxPoint::new(x as f64 + 0.5, y as f64 + 0.5));
        let column = (place.x.max(0.0) as usize).min(width - 1);
        photo.rgb_code(column, (place.y.max(0.0) as usize).min(height - 1))
    })
}

/// The camera's response, told by the bracket itself, where it fits well.
fn own_response(photos: &[&Photo], cells: &[Cells], exposures: &[f64]) -> Option<Response> {
    if photos.len() < LEAST_PHOTOS {
        return None;
    }
    let exposed: Vec<Exposed> = photos
        .iter()
        .zip(cells)
        .zip(exposures)
        .map(|((photo, cells), exposure)| Exposed {
            name: photo.file.clone(),
            exposure: *exposure,
            sigma_ln: EXPOSURE_SIGMA,
            cells: cells.clone(),
        })
        .collect();
    let found = fit(&exposed).ok()?;
    (found.spread <= LARGEST_SPREAD && found.unfit_share <= LARGEST_UNFIT).then_some(found.response)
}

/// How many times as bright the second photo is, by the places that both show well; `None` when there are too few.
fn seen_ratio(first: &Cells, second: &Cells, light: &dyn Fn(f32) -> f64) -> Option<f64> {
    let mut ratios: Vec<f64> = first
        .codes
        .iter()
        .zip(&second.codes)
        .filter_map(|(first, second)| Some(((*first)?, (*second)?)))
        .filter(|(first, second)| COMPARED.contains(first) && COMPARED.contains(second))
        .map(|(first, second)| light(second) / light(first))
        .collect();
    if ratios.len() < LEAST_COMPARED {
        return None;
    }
    let middle = ratios.len() / 2;
    let (_, median, _) = ratios.select_nth_unstable_by(middle, f64::total_cmp);
    Some(*median)
}

/// Mean green code of a sparse set of pixels.
fn brightness(photo: &Photo) -> f64 {
    const STEP: usize = 16;
    let columns = photo.width().div_ceil(STEP);
    let places = (0..columns * photo.height().div_ceil(STEP)).map(|n| (n % columns * STEP, n / columns * STEP));
    let (sum, count) =
        places.fold((0.0, 0.0), |(sum, count), (x, y)| (sum + f64::from(photo.green_code(x, y)), count + 1.0));
    sum / f64::max(count, 1.0)
}

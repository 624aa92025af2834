//! What the marks tell of the camera's tone curve.
//!
//! **Takes** the photo and the found marks. **Gives** [`ToneKnowledge`]. **How**: `tone_fit` fits the marks' pixels; what
//! it finds is weighed against what phones do: most leave sRGB as it is, some put an S-curve on it. A pure power law
//! on top of sRGB stays unknown, but does not move the steepest fall of the light's logarithm.
//! **Weak when** the marks are dark or grainy: then the answer is the expectation with its wide spread.

use super::light::inverse_s_curve;
use super::mark_window::{MarkWindow, PointSpread};
use super::options::BeamOptions;
use super::tone_fit::{FittedTone, fit};
use crate::bay::{Bay, Mark};
use crate::camera::Response;
use crate::marks::{FoundMark, Marks};
use crate::photo::LinearImage;
use crate::photo::linear::srgb_to_linear;
use crate::units::{PxPoint, WallPoint};
use crate::wall::WallView;
use rayon::prelude::*;

/// What is known of the camera's tone curve: strength of the S-curve and its standard uncertainty.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ToneKnowledge {
    /// Best estimate of the strength that is still on the light.
    pub strength: f64,
    /// Standard uncertainty.
    pub sigma: f64,
    /// Strength that was taken off before: an ambient photo can only be subtracted in true light.
    pub taken_off: f64,
}

impl ToneKnowledge {
    /// Of a raw photo, which has no tone curve: a sensor's light is straight to about a percent (from memory), which this
    /// strength of the curve bends by less.
    pub const RAW: Self = Self { strength: 0.0, sigma: 0.01, taken_off: 0.0 };

    /// The same once the curve was taken off the light.
    #[must_use]
    pub fn once_taken_off(self) -> Self {
        Self { strength: 0.0, sigma: self.sigma, taken_off: self.strength + self.taken_off }
    }
}

/// One kind of camera: how common it is, and the strengths it has.
struct Kind {
    share: f64,
    mean: f64,
    sigma: f64,
}

/// Plain sRGB, and an S-curve on top of it (own judgement; no source counts phones).
const KINDS: [Kind; 2] = [Kind { share: 0.65, mean: 0.0, sigma: 0.02 }, Kind { share: 0.35, mean: 0.45, sigma: 0.22 }];
/// What no model of a photo gets right (other forms of the curve, of sharpening, coding), as strength.
const MODEL_SIGMA: f64 = 0.06;
/// A mark whose corners are known worse than this tells nothing, pixels.
const LARGEST_CORNER_SIGMA_PX: f64 = 0.3;

/// Estimates the tone curve of a photo from its marks.
pub fn estimate(
    image: &LinearImage<'_>,
    marks: &Marks,
    view: &WallView,
    bay: &Bay,
    options: &BeamOptions,
) -> ToneKnowledge {
    let spread = PointSpread::about(marks.blur_px);
    let windows: Vec<MarkWindow> = marks
        .found
        .par_iter()
        .filter(|mark| !mark.is_by_hand && mark.centre_sigma_px.max(mark.corner_sigma_px) < LARGEST_CORNER_SIGMA_PX)
        .filter_map(|mark| {
            let corners = corners(mark, bay.marks.get(mark.index)?, view);
            MarkWindow::cut(image, mark, &corners, spread, options)
        })
        .collect();
    weighed(fit(&windows, options))
}

/// What a fitted response leaves open, once it is taken off: no strength, and the uncertainty of its table as one.
///
/// The table's errors are taken as if all of them bent the curve as the S-curve does, which is cautious. Its shape was measured,
/// so `taken_off` is none: there is no guess about a lean of the curve beyond what sigma gives.
pub fn of_response(response: &Response) -> ToneKnowledge {
    /// Codes between which edges of a well exposed beam lie.
    const CODES: std::ops::Range<usize> = 40..236;
    /// A small strength, for a difference.
    const STEP: f64 = 0.02;
    let bend = |code: usize| {
        let bent = 255.0 * inverse_s_curve(code as f64 / 255.0, STEP);
        f64::from((srgb_to_linear(bent as f32) / srgb_to_linear(code as f32)).ln()) / STEP
    };
    let mean = CODES.map(bend).sum::<f64>() / CODES.len() as f64;
    let bends: f64 = CODES.map(|code| (bend(code) - mean).powi(2)).sum();
    let errors: f64 = CODES.map(|code| response.sigma_ln[code].powi(2)).sum();
    ToneKnowledge { strength: 0.0, sigma: (errors / bends).sqrt(), taken_off: 0.0 }
}

/// A mark's corners: a tag's own, a quadrant mark's from the wall, moved onto its own centre.
fn corners(mark: &FoundMark, on_wall: &Mark, view: &WallView) -> [PxPoint; 4] {
    if let Some(corners) = mark.corners {
        return corners;
    }
    let (centre, half) = (on_wall.centre, 0.5 * on_wall.size.get());
    let expected = view.to_px(centre);
    [(-1.0, 1.0), (1.0, 1.0), (1.0, -1.0), (-1.0, -1.0)].map(|(right, up)| {
        let corner = view.to_px(WallPoint::new(centre.x_mm + right * half, centre.y_mm + up * half));
        PxPoint::new(corner.x - expected.x + mark.centre.x, corner.y - expected.y + mark.centre.y)
    })
}

/// Joins what the marks say with what cameras do: each kind's normal distribution times the marks', and the mean and
/// spread of the two together.
fn weighed(found: Option<FittedTone>) -> ToneKnowledge {
    let (mut whole, mut mean, mut square) = (0.0, 0.0, 0.0);
    for kind in KINDS {
        let (weight, at, variance) = match found {
            None => (kind.share, kind.mean, kind.sigma * kind.sigma),
            Some(found) => {
                let (a, b) = (kind.sigma * kind.sigma, found.sigma * found.sigma + MODEL_SIGMA * MODEL_SIGMA);
                let apart = found.strength - kind.mean;
                // Off both kinds by many sigmas the weights would vanish together.
                let fits = (-0.5 * apart * apart / (a + b)).max(-500.0).exp() / (a + b).sqrt();
                (kind.share * fits, (kind.mean * b + found.strength * a) / (a + b), a * b / (a + b))
            }
        };
        whole += weight;
        mean += weight * at;
        square += weight * (variance + at * at);
    }
    let strength = mean / whole;
    ToneKnowledge { strength, sigma: (square / whole - strength * strength).max(0.0).sqrt(), taken_off: 0.0 }
}

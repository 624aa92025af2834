//! From the marks in the photo to a [`WallView`]: px to wall millimetres and back, with an uncertainty.
//!
//! **Takes** [`Marks`] (px), the [`Bay`] (mm on the wall's face) and what is known of the camera. **Gives** a [`WallView`]
//! with its flags.
//! **How**: generalised least squares of a homography and a small radial distortion (`estimate.rs`), then a search for a
//! mark that does not stand where the bay file says (`check.rs`).
//! **Weak when** there are no spare marks (`marks-not-checked`), one was left out (`mark-displaced`), or the focal length
//! is unknown (`lens-assumed`).
//! **Fails when** fewer than four marks were found (`marks-missing`), or they do not fit the bay file (`bay-mismatch`).

use crate::bay::{Bay, MIN_MARKS};
use crate::camera::Lens;
use crate::camera::profile::focal_px;
use crate::error::Refusal;
use crate::flag::{Flag, FlagCode};
use crate::marks::Marks;
use crate::units::WallPoint;
use crate::wall::camera_tie::CameraTie;
use crate::wall::check::{Examined, examine};
use crate::wall::estimate::{Context, Estimate, LensPrior};
use crate::wall::observation::{Observation, observe};
use crate::wall::options::FitOptions;
use crate::wall::projection::Frame;
use crate::wall::refusal;
use crate::wall::view::WallView;
use nalgebra::Matrix2;

/// Focal length that is assumed when EXIF gives none: the usual main camera of a phone, as a 35 mm equivalent.
pub const ASSUMED_FOCAL_35MM: f64 = 26.0;
/// EXIF focal lengths outside this range (35 mm equivalent, mm) are taken as missing.
const POSSIBLE_FOCAL_35MM: std::ops::RangeInclusive<f64> = 8.0..=1000.0;
/// Shares of the marks' bounding box at which the uncertainty must be good enough: the beam lies between the marks.
const PROBE_SHARES: [f64; 3] = [0.25, 0.5, 0.75];

/// What is known of the camera that took the photo.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CameraFacts {
    /// Width of the upright photo, px.
    pub width: usize,
    /// Height of the upright photo, px.
    pub height: usize,
    /// Focal length as a 35 mm equivalent from EXIF, mm.
    pub focal_35mm: Option<f64>,
    /// A calibrated lens, already turned upright and scaled to this photo.
    pub lens: Option<Lens>,
}

/// Fits the wall: see the module page.
pub fn fit(marks: &Marks, bay: &Bay, camera: &CameraFacts, options: &FitOptions) -> Result<WallView, Refusal> {
    let observations = observe(marks, bay, options);
    if observations.len() < MIN_MARKS {
        return Err(refusal::missing(marks, bay, &observations, camera));
    }
    let (context, mut flags) = context(&observations, camera, options);
    let examined = examine(&context, &observations, bay, camera, options)?;
    let largest = largest_sigma_mm(&examined.estimate, &observations)
        .ok_or_else(|| refusal::degenerate(&observations, camera))?;
    let limit_mm = bay.wall.distance.get() * options.largest_sigma_deg.to_radians().tan();
    if let Some(displaced) = &examined.displaced {
        if largest > limit_mm {
            return Err(refusal::too_weak_without(displaced, &examined, &observations, largest, limit_mm));
        }
        flags.push(Flag::new(FlagCode::MarkDisplaced, displaced.text.clone()));
    }
    if !examined.is_checked {
        flags.push(not_checked(&examined));
    }
    Ok(WallView::new(&context, examined, &observations, flags))
}

/// The common part of all fits, and the flags that it raises.
pub(super) fn context(
    observations: &[Observation],
    camera: &CameraFacts,
    options: &FitOptions,
) -> (Context, Vec<Flag>) {
    let (width, height) = (camera.width as f64, camera.height as f64);
    let focal_35mm = camera.focal_35mm.filter(|focal| POSSIBLE_FOCAL_35MM.contains(focal));
    let frame = frame(observations);
    let diagonal = width.hypot(height);
    if let Some(lens) = camera.lens {
        let prior = LensPrior {
            radial: options.calibrated_radial_sigma,
            strong_radial: None,
            centre: options.calibrated_centre_sigma_px / lens.fx,
        };
        let tie =
            CameraTie { focal: options.calibrated_focal_sigma, centre: options.tie_centre_share * diagonal / lens.fx };
        return (Context { frame, lens, prior, tie: Some(tie) }, Vec::new());
    }
    let focal = focal_px(focal_35mm.unwrap_or(ASSUMED_FOCAL_35MM), width, height);
    let prior = LensPrior {
        radial: options.radial_sigma,
        strong_radial: Some(options.strong_radial_sigma),
        centre: options.centre_sigma_px / focal,
    };
    let tie = focal_35mm
        .map(|_| CameraTie { focal: options.focal_sigma, centre: options.tie_centre_share * diagonal / focal });
    let flags = if focal_35mm.is_none() {
        let text = format!(
            "The photo gives no focal length; a {ASSUMED_FOCAL_35MM:.0} mm phone lens was assumed for the lens's share of \
             the uncertainty."
        );
        vec![Flag::new(FlagCode::LensAssumed, text)]
    } else {
        Vec::new()
    };
    let lens = Lens::pinhole(camera.width as u32, camera.height as u32, focal);
    (Context { frame, lens, prior, tie }, flags)
}

/// Centroid and mean distance of the marks' centres by the bay file.
fn frame(observations: &[Observation]) -> Frame {
    let count = observations.len() as f64;
    let sum = observations
        .iter()
        .fold((0.0, 0.0), |sum, observation| (sum.0 + observation.centre.x_mm, sum.1 + observation.centre.y_mm));
    let centre = WallPoint::new(sum.0 / count, sum.1 / count);
    let scale = observations.iter().map(|observation| observation.centre.distance_mm(centre)).sum::<f64>() / count;
    Frame { centre, scale_mm: scale.max(1.0) }
}

/// Largest standard uncertainty, mm, over the inner part of the marks' bounding box; `None` when it cannot be known.
fn largest_sigma_mm(estimate: &Estimate, observations: &[Observation]) -> Option<f64> {
    let range = |coordinate: fn(&WallPoint) -> f64| {
        observations
            .iter()
            .map(|observation| coordinate(&observation.centre))
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), value| (low.min(value), high.max(value)))
    };
    let ((left, right), (low, high)) = (range(|point| point.x_mm), range(|point| point.y_mm));
    let mut largest = 0.0_f64;
    for share_x in PROBE_SHARES {
        for share_y in PROBE_SHARES {
            let point = WallPoint::new(left + share_x * (right - left), low + share_y * (high - low));
            let total: Matrix2<f64> = estimate.spread(point)?.iter().sum();
            largest = largest.max(total.symmetric_eigenvalues().max());
        }
    }
    Some(largest.sqrt()).filter(|sigma| sigma.is_finite())
}

fn not_checked(examined: &Examined) -> Flag {
    let text = format!(
        "The {} marks used leave nothing to check the bay file with: an error in a mark's place would not be noticed; add a \
         fifth mark, or use tags.",
        examined.used.len()
    );
    Flag::new(FlagCode::MarksNotChecked, text)
}

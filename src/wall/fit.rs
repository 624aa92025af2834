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
use crate::wall::projection::Frame;
use crate::wall::refusal;
use crate::wall::view::WallView;
use nalgebra::Matrix2;

/// Focal length that is assumed when EXIF gives none: the usual main camera of a phone, as a 35 mm equivalent.
pub const ASSUMED_FOCAL_35MM: f64 = 26.0;
/// EXIF focal lengths outside this range (35 mm equivalent, mm) are taken as missing.
const POSSIBLE_FOCAL_35MM: std::ops::RangeInclusive<f64> = 8.0..=1000.0;
/// Standard uncertainty of k1 and k2 that is left of a calibrated lens: a phone's focal length and principal point change
/// from shot to shot (Sensors 2023, 23, 728, abstract), its distortion with them by a few thousandths (own judgement).
const CALIBRATED_RADIAL: f64 = 0.004;
/// Standard uncertainty of a calibrated principal point, px (own judgement, same source).
const CALIBRATED_CENTRE_PX: f64 = 5.0;
/// Standard uncertainty of the distortion's centre without a calibration, px: phones differ from the middle by about
/// ±20 px (from memory; optical stabilisation moves it).
const CENTRE_SIGMA_PX: f64 = 20.0;
/// Standard uncertainty of the focal length, relative: EXIF rounds to whole millimetres (1.2 % at 24 mm) and names the
/// nominal lens, which focusing near and stabilisation change by about two percent (own judgement).
const FOCAL_SIGMA: f64 = 0.025;
/// The same with a calibrated lens.
const CALIBRATED_FOCAL_SIGMA: f64 = 0.01;
/// Standard uncertainty of the principal point when it judges marks, as a share of the picture's diagonal: 30 px of 5000,
/// wider than above, since a wrong accusation costs more than a missed one.
const TIE_CENTRE_SHARE: f64 = 0.006;
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

/// Tunables of the wall's fit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FitOptions {
    /// Turn of a tag as stuck on the wall, degrees (k = 1); too small refuses slightly crooked tags, too large wastes what
    /// the corners tell. Default: 0.5 (own judgement: 1.6 mm over a 180 mm tag).
    pub tag_turn_sigma_deg: f64,
    /// Error of a tag's size, relative (k = 1). Default: 0.003 (common practice for office printers, no source).
    pub tag_size_sigma: f64,
    /// k1 and k2 of a camera without a calibration (k = 1); too small hides the lens's share of the uncertainty. Default:
    /// 0.03: phones are within about ±0.02 after the camera's own correction (from memory).
    pub radial_sigma: f64,
    /// The same for a lens that shows by its tags that it bends more. Default: 0.3.
    pub strong_radial_sigma: f64,
    /// Squared Mahalanobis length of a mark's shift beyond which the mark is off; two degrees of freedom. Too small
    /// suspects sound marks, too large misses moved ones. Default: 22, which a sound mark exceeds once in 60,000.
    pub alarm_chi2: f64,
    /// Largest standard uncertainty between the marks, degrees, with which a fit may go on after a mark was left out.
    /// Default: 0.05, a quarter of the 0.2° that visual aim repeats to.
    pub largest_sigma_deg: f64,
}

impl Default for FitOptions {
    fn default() -> Self {
        Self {
            tag_turn_sigma_deg: 0.5,
            tag_size_sigma: 0.003,
            radial_sigma: 0.03,
            strong_radial_sigma: 0.3,
            alarm_chi2: 22.0,
            largest_sigma_deg: 0.05,
        }
    }
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
        let prior =
            LensPrior { radial: CALIBRATED_RADIAL, strong_radial: None, centre: CALIBRATED_CENTRE_PX / lens.fx };
        let tie = CameraTie { focal: CALIBRATED_FOCAL_SIGMA, centre: TIE_CENTRE_SHARE * diagonal / lens.fx };
        return (Context { frame, lens, prior, tie: Some(tie) }, Vec::new());
    }
    let focal = focal_px(focal_35mm.unwrap_or(ASSUMED_FOCAL_35MM), width, height);
    let prior = LensPrior {
        radial: options.radial_sigma,
        strong_radial: Some(options.strong_radial_sigma),
        centre: CENTRE_SIGMA_PX / focal,
    };
    let tie = focal_35mm.map(|_| CameraTie { focal: FOCAL_SIGMA, centre: TIE_CENTRE_SHARE * diagonal / focal });
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

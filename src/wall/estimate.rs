//! One fit of the projection to a set of marks, with the lens's distortion held by a prior.
//!
//! **Takes** observations, a frame, a base lens and the size of the lens's prior. **Gives** an [`Estimate`]: parameters,
//! covariance by cause, and the shift that each mark seems to have.
//! **How**: start by the direct linear transformation, then generalised least squares with the wall's covariance carried
//! into the picture. How strong the lens may be is decided by the evidence for each of two priors (Laplace's
//! approximation: D. J. C. Mackay, "Information Theory, Inference, and Learning Algorithms", 2003, chapter 28; from memory). The
//! shift of a mark is Baarda's data snooping (Baarda, "A testing procedure for use in geodetic networks", 1968; from
//! memory): the bias of one mark that best explains the residuals, with its covariance.

use crate::camera::Lens;
use crate::units::WallPoint;
use crate::wall::camera_tie::CameraTie;
use crate::wall::homography::direct_linear;
use crate::wall::least_squares::{Block, Need, Prior, Solution, solve};
use crate::wall::observation::Observation;
use crate::wall::projection::{Frame, PARAMETERS, PLANE_PARAMETERS, Projection};
use nalgebra::{DMatrix, DVector, Matrix2, Vector2};

/// How strong a lens may be, as a share of the way (in logarithm) from the usual to the strong prior, with the
/// probability that a phone's picture is such after the camera's own correction (own judgement).
const LENSES: [(f64, f64); 3] = [(0.0, 0.8), (0.5, 0.15), (1.0, 0.05)];
/// Strong priors are tried when the prior's own chi-square is above this: 2 sigma.
const PRIOR_STRAINED: f64 = 4.0;
/// ... or when the data's chi-square corresponds to a normal deviate above this.
const DATA_STRAINED: f64 = 3.0;
/// The 9 of Wilson and Hilferty's variance 2/(9ν) of the cube root of chi-square over ν.
const WILSON_HILFERTY: f64 = 9.0;
/// A mark's shift counts as seen when at least this share of its own information is left after the fit; four centres
/// leave rounding noise of 1e-12, a fifth leaves percents.
const LEAST_SEEN: f64 = 1e-6;

/// How the lens may differ from the base lens: standard uncertainties of the distortion's parameters.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LensPrior {
    /// Of k1 and k2, no unit.
    pub radial: f64,
    /// Of k1 and k2 of a strong lens; `None` when no strong lens is possible.
    pub strong_radial: Option<f64>,
    /// Of the distortion's centre, in focal lengths.
    pub centre: f64,
}

/// What all fits of one photo share.
#[derive(Debug, Clone)]
pub struct Context {
    /// Normalised frame of the wall.
    pub frame: Frame,
    /// Lens about which the distortion is fitted.
    pub lens: Lens,
    /// Prior of the distortion.
    pub prior: LensPrior,
    /// What the focal length says about the homography; used only to judge marks.
    pub tie: Option<CameraTie>,
}

/// One fit.
#[derive(Debug, Clone)]
pub struct Estimate {
    /// The mapping.
    pub projection: Projection,
    /// Parameters, covariance, residuals.
    pub solution: Solution,
    /// Measured coordinates less the homography's parameters, 0 at least.
    pub freedom: usize,
}

/// A mark's seeming shift against the bay file.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shift {
    /// From the bay file's place to the seen place, mm: right and up.
    pub mm: Vector2<f64>,
    /// Covariance of the shift, mm².
    pub covariance: Matrix2<f64>,
    /// Squared Mahalanobis length; chi-square with two degrees of freedom when the mark stands right.
    pub chi2: f64,
}

impl Estimate {
    /// Whether the data's chi-square is one that the stated uncertainties allow, up to `sigmas` of the normal deviate
    /// that it corresponds to (Wilson and Hilferty, Proc. Natl. Acad. Sci. 17, 684, 1931; from memory).
    pub fn is_plausible(&self, sigmas: f64) -> bool {
        if self.freedom == 0 {
            return true;
        }
        let freedom = self.freedom as f64;
        let spread = 2.0 / (WILSON_HILFERTY * freedom);
        (self.solution.chi2 / freedom).cbrt() <= 1.0 - spread + sigmas * spread.sqrt()
    }

    /// The shift of the mark at `place` among the fit's observations; `None` when the others say nothing about it.
    pub fn shift(&self, place: usize, observation: &Observation) -> Option<Shift> {
        let (block, weight) = (self.solution.blocks.get(place)?, self.solution.weights.get(place)?);
        let mut by_shift = DMatrix::zeros(observation.coordinates(), 2);
        for (n, wall) in observation.walls.iter().enumerate() {
            by_shift.fixed_view_mut::<2, 2>(2 * n, 0).copy_from(&self.projection.wall_jacobian(*wall));
        }
        let weighted = weight * &by_shift;
        let own = by_shift.transpose() * &weighted;
        let taken = block.jacobian.transpose() * &weighted;
        let left: DMatrix<f64> = &own - taken.transpose() * &self.solution.covariance * &taken;
        let information = Matrix2::new(left[(0, 0)], left[(0, 1)], left[(1, 0)], left[(1, 1)]);
        let weakest = information.symmetric_eigenvalues().min();
        let is_seen = weakest > LEAST_SEEN * own.trace();
        if !is_seen {
            return None;
        }
        let pull = weighted.transpose() * &block.residual;
        let covariance = information.try_inverse()?;
        let mm = covariance * Vector2::new(pull[0], pull[1]);
        Some(Shift { mm, covariance, chi2: (mm.transpose() * information * mm)[(0, 0)] })
    }

    /// Covariance of a wall point found at a fixed place of the picture, mm², by cause: marks, image, lens.
    pub fn spread(&self, point: WallPoint) -> Option<[Matrix2<f64>; 3]> {
        let inverse = self.projection.wall_jacobian(point).try_inverse()?;
        let gain = inverse * self.projection.parameter_jacobian(point);
        let gain = DMatrix::from_fn(2, PARAMETERS, |i, j| gain[(i, j)]);
        let share = |n: usize| {
            let spread = &gain * &self.solution.shares[n] * gain.transpose();
            Matrix2::new(spread[(0, 0)], spread[(0, 1)], spread[(1, 0)], spread[(1, 1)])
        };
        let shares = [share(0), share(1), share(2)];
        shares.iter().flatten().all(|entry| entry.is_finite()).then_some(shares)
    }
}

fn blocks_at(
    context: &Context,
    observations: &[&Observation],
    image_scale: f64,
    is_tied: bool,
    parameters: &DVector<f64>,
    need: Need,
) -> Vec<Block> {
    let Some(projection) = Projection::new(context.frame, context.lens, parameters.as_slice()) else {
        return Vec::new();
    };
    let mut blocks: Vec<Block> =
        observations.iter().map(|observation| block_of(observation, &projection, image_scale, need)).collect();
    if let (true, Some(tie)) = (is_tied, &context.tie) {
        blocks.extend(tie.block(parameters));
    }
    blocks
}

fn block_of(observation: &Observation, projection: &Projection, image_scale: f64, need: Need) -> Block {
    let size = observation.coordinates();
    let mut residual = DVector::zeros(size);
    let mut jacobian = DMatrix::zeros(size, PARAMETERS);
    let mut by_wall = DMatrix::zeros(size, size);
    for (n, (place, wall)) in observation.places.iter().zip(&observation.walls).enumerate() {
        let predicted = projection.to_px(*wall);
        residual[2 * n] = place.x - predicted.x;
        residual[2 * n + 1] = place.y - predicted.y;
        jacobian.fixed_view_mut::<2, PARAMETERS>(2 * n, 0).copy_from(&projection.parameter_jacobian(*wall));
        if need == Need::Covariances {
            by_wall.fixed_view_mut::<2, 2>(2 * n, 2 * n).copy_from(&projection.wall_jacobian(*wall));
        }
    }
    if need == Need::Residuals {
        return Block { residual, jacobian, causes: [DMatrix::zeros(0, 0), DMatrix::zeros(0, 0)] };
    }
    let marks = &by_wall * &observation.wall_covariance * by_wall.transpose();
    let image = &observation.image_covariance * (image_scale * image_scale);
    Block { residual, jacobian, causes: [marks, image] }
}

/// Start from the marks' points alone; `None` when they do not fix a homography.
pub fn start(context: &Context, observations: &[&Observation]) -> Option<DVector<f64>> {
    let pairs: Vec<_> = observations
        .iter()
        .flat_map(|observation| observation.walls.iter().zip(&observation.places))
        .map(|(wall, place)| (context.frame.normalise(*wall), context.lens.undistort(*place)))
        .collect();
    let homography = direct_linear(&pairs)?;
    let mut parameters = DVector::zeros(PARAMETERS);
    for n in 0..PLANE_PARAMETERS {
        parameters[n] = homography[(n / 3, n % 3)];
    }
    Some(parameters)
}

/// Fits the projection; `image_scale` multiplies the stated noise of the mark points, `is_tied` adds what is known of the
/// camera.
pub fn estimate(context: &Context, observations: &[&Observation], image_scale: f64, is_tied: bool) -> Option<Estimate> {
    let from = start(context, observations)?;
    let attempt = |radial: f64| -> Option<(Estimate, f64)> {
        let mut precision = DVector::zeros(PARAMETERS);
        for (n, sigma) in [radial, radial, context.prior.centre, context.prior.centre].into_iter().enumerate() {
            precision[PLANE_PARAMETERS + n] = 1.0 / (sigma * sigma);
        }
        let log_det_prior: f64 = precision.iter().skip(PLANE_PARAMETERS).map(|entry| entry.ln()).sum();
        let prior = Prior { mean: DVector::zeros(PARAMETERS), precision };
        let solution =
            solve(&from, &prior, |at, need| blocks_at(context, observations, image_scale, is_tied, at, need))?;
        let projection = Projection::new(context.frame, context.lens, solution.parameters.as_slice())?;
        let coordinates: usize = observations.iter().map(|observation| observation.coordinates()).sum();
        let tied = if is_tied && context.tie.is_some() { 2 } else { 0 };
        let surprise = solution.chi2 + solution.prior_chi2 + solution.log_det_normal - log_det_prior;
        let freedom = (coordinates + tied).saturating_sub(PLANE_PARAMETERS);
        Some((Estimate { projection, solution, freedom }, surprise))
    };
    let (usual, surprise) = attempt(context.prior.radial)?;
    let is_strained = usual.solution.prior_chi2 > PRIOR_STRAINED || !usual.is_plausible(DATA_STRAINED);
    let Some(strong) = context.prior.strong_radial.filter(|_| is_strained) else { return Some(usual) };
    let mut best = (usual, surprise - 2.0 * LENSES[0].1.ln());
    for (share, probability) in &LENSES[1..] {
        let radial = context.prior.radial * (strong / context.prior.radial).powf(*share);
        if let Some((estimate, surprise)) = attempt(radial) {
            let surprise = surprise - 2.0 * probability.ln();
            if surprise < best.1 {
                best = (estimate, surprise);
            }
        }
    }
    Some(best.0)
}

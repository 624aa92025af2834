//! A lens from photos of a flat board with known points: bundle adjustment of the lens and all poses.
//!
//! **Takes** per photo the board's points (mm) and their places in the stored picture. **Gives** a [`Calibrated`] lens with
//! standard uncertainties and residuals.
//! **How**: start by `fit_start` (Zhang 2000); then all of f, c, distortion and poses together by Levenberg-Marquardt
//! (D. Marquardt, J. SIAM 11(2), 1963) on the places' residuals, with exact derivatives; a pose moves by a small rotation in
//! front of it. Covariance = s²·(JᵀJ)⁻¹, s² from the residuals and the degrees of freedom (GUM, annex on least squares).
//! **Weak when** the board is not flat: that shows in the residuals, and s covers its random share only.
//! **Fails when** there are too few photos, or they do not tell the focal length: all taken from the same side.

use super::fit_start::{Pose, start};
use super::lens::{Lens, Ray};
use crate::error::Error;
use crate::units::PxPoint;
use nalgebra::{DMatrix, DVector, Matrix2x3, Matrix3, Rotation3, Vector2, Vector3};

/// Fewest photos; with fewer, each lens parameter rests on one or two views.
pub const LEAST_PHOTOS: usize = 8;
/// Steps of the adjustment; sound photos need ten.
const STEPS: usize = 100;
/// The adjustment ends when a step lowers the sum of squares by less than this share.
const CONVERGED: f64 = 1e-12;
/// First damping, as a share of the diagonal, and the factor by which it falls and rises.
const DAMPING: f64 = 1e-3;
const DAMPING_STEP: f64 = 10.0;
/// Damping at which no better place is found any more.
const LARGEST_DAMPING: f64 = 1e12;
/// A focal length that is known worse than this share was not told by the photos.
const WORST_FOCAL: f64 = 0.02;
/// Unknowns of a pose, and those of a lens, in the order of [`NAMES`].
const POSE: usize = 6;
const LENS: usize = 9;
/// The lens's unknowns.
pub const NAMES: [&str; LENS] = ["fx", "fy", "cx", "cy", "k1", "k2", "p1", "p2", "k3"];

/// Which coefficients of distortion are fitted; the others stay zero.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FitModel {
    /// k1 alone: few photos, or a board that stays near the middle.
    K1,
    /// k1 and k2: usual phones.
    K1K2,
    /// k1, k2, p1, p2, k3: board out to the corners in many photos.
    Full,
}

impl FitModel {
    /// As the command line names it.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::K1 => "k1",
            Self::K1K2 => "k1k2",
            Self::Full => "full",
        }
    }

    /// Places of the free unknowns among [`NAMES`].
    const fn free(self) -> &'static [usize] {
        match self {
            Self::K1 => &[0, 1, 2, 3, 4],
            Self::K1K2 => &[0, 1, 2, 3, 4, 5],
            Self::Full => &[0, 1, 2, 3, 4, 5, 6, 7, 8],
        }
    }
}

/// One photo's points: those of the board, mm, and where they are in the stored picture.
#[derive(Debug, Clone, PartialEq)]
pub struct BoardView {
    /// The photo's name.
    pub name: String,
    /// On the board, mm; x right, y down.
    pub board: Vec<Vector2<f64>>,
    /// In the picture, pixels; pixel centres at n + 0.5.
    pub places: Vec<PxPoint>,
}

/// A calibrated lens and what it rests on.
#[derive(Debug, Clone)]
pub struct Calibrated {
    /// The lens.
    pub lens: Lens,
    /// What was fitted.
    pub model: FitModel,
    /// Standard uncertainties in the order of [`NAMES`]; 0 for what was not fitted.
    pub sigmas: [f64; LENS],
    /// Root mean square distance between a place and where the lens puts it, pixels.
    pub rms_px: f64,
    /// The boards' poses, in the order of the photos.
    pub poses: Vec<Pose>,
    /// Place minus fitted place, pixels, by photo and point.
    pub residuals: Vec<Vec<Vector2<f64>>>,
}

impl Calibrated {
    /// Root mean square residual of one photo, pixels.
    pub fn rms_of(&self, photo: usize) -> f64 {
        let list = &self.residuals[photo];
        (list.iter().map(Vector2::norm_squared).sum::<f64>() / list.len() as f64).sqrt()
    }
}

/// Fits a lens for pictures of `size` (width, height as stored).
pub fn fit(views: &[BoardView], size: (u32, u32), model: FitModel) -> Result<Calibrated, Error> {
    if views.len() < LEAST_PHOTOS {
        return Err(Error::usage(
            format!("{} photos of the board, need {LEAST_PHOTOS} or more", views.len()),
            "take more: board tilted to every side, out to every corner of the picture",
        ));
    }
    let pairs: Vec<(&[Vector2<f64>], &[PxPoint])> =
        views.iter().map(|view| (view.board.as_slice(), view.places.as_slice())).collect();
    let untold = |why: &str| {
        Error::usage(
            format!("the photos do not tell the lens: {why}"),
            "tilt the board by 20 to 45 degrees to every side, and bring it out to every corner of the picture",
        )
    };
    let (focal, poses) =
        start(&pairs, (f64::from(size.0), f64::from(size.1))).ok_or_else(|| untold("the points lie on a line"))?;
    let lens = Lens { fx: focal.0, fy: focal.1, ..Lens::pinhole(size.0, size.1, focal.0) };
    let mut state = State { lens, poses };
    // Distortion from nothing at once with everything else can run into a fold: k1 first, the rest from there.
    adjust(&mut state, views, FitModel::K1.free());
    let equations = adjust(&mut state, views, model.free());
    let residuals: Vec<Vec<Vector2<f64>>> = views
        .iter()
        .zip(&state.poses)
        .map(|(view, pose)| {
            let of = |(board, place): (&Vector2<f64>, &PxPoint)| residual(&state.lens, pose, *board, *place);
            view.board.iter().zip(&view.places).map(of).collect()
        })
        .collect();
    let count: usize = views.iter().map(|view| view.places.len()).sum();
    let squares: f64 = residuals.iter().flatten().map(Vector2::norm_squared).sum();
    let unknowns = model.free().len() + POSE * views.len();
    let freedom = (2 * count).checked_sub(unknowns).filter(|freedom| *freedom > 0);
    let freedom = freedom.ok_or_else(|| untold("there are fewer readings than unknowns"))?;
    let inverse = inverse(&equations).ok_or_else(|| untold("the equations have no single answer"))?;
    let mut sigmas = [0.0; LENS];
    for (row, name) in model.free().iter().enumerate() {
        sigmas[*name] = (inverse[(row, row)] * squares / freedom as f64).sqrt();
    }
    let worst = (sigmas[0] / state.lens.fx).max(sigmas[1] / state.lens.fy);
    let is_told = worst < WORST_FOCAL;
    if !is_told {
        return Err(untold(&format!("the focal length is open by {:.0} %", 100.0 * worst)));
    }
    let rms_px = (squares / count as f64).sqrt();
    Ok(Calibrated { lens: state.lens, model, sigmas, rms_px, poses: state.poses, residuals })
}

#[derive(Debug, Clone)]
struct State {
    lens: Lens,
    poses: Vec<Pose>,
}

fn residual(lens: &Lens, pose: &Pose, board: Vector2<f64>, place: PxPoint) -> Vector2<f64> {
    let point = pose.in_camera(board);
    let fitted = lens.distort(Ray::new(point.x / point.z, point.y / point.z));
    Vector2::new(place.x - fitted.x, place.y - fitted.y)
}

impl State {
    fn squares(&self, views: &[BoardView]) -> f64 {
        let mut sum = 0.0;
        for (view, pose) in views.iter().zip(&self.poses) {
            for (board, place) in view.board.iter().zip(&view.places) {
                sum += residual(&self.lens, pose, *board, *place).norm_squared();
            }
        }
        sum
    }

    /// The same moved by a step: the lens's free unknowns, then six of each pose.
    fn moved(&self, step: &DVector<f64>, free: &[usize]) -> Self {
        let mut next = self.clone();
        let lens = &mut next.lens;
        let all = [
            &mut lens.fx,
            &mut lens.fy,
            &mut lens.cx,
            &mut lens.cy,
            &mut lens.k1,
            &mut lens.k2,
            &mut lens.p1,
            &mut lens.p2,
            &mut lens.k3,
        ];
        for (index, value) in all.into_iter().enumerate() {
            if let Some(row) = free.iter().position(|name| *name == index) {
                *value += step[row];
            }
        }
        for (index, pose) in next.poses.iter_mut().enumerate() {
            let at = free.len() + POSE * index;
            pose.rotation = Rotation3::new(Vector3::new(step[at], step[at + 1], step[at + 2])) * pose.rotation;
            pose.rotation.renormalize();
            pose.shift += Vector3::new(step[at + 3], step[at + 4], step[at + 5]);
        }
        next
    }
}

/// `JᵀJ` and `Jᵀr`.
struct Equations {
    normal: DMatrix<f64>,
    right: DVector<f64>,
}

impl Equations {
    fn new(state: &State, views: &[BoardView], free: &[usize]) -> Self {
        let lens_count = free.len();
        let count = lens_count + POSE * views.len();
        let (mut normal, mut right) = (DMatrix::zeros(count, count), DVector::zeros(count));
        for (photo, (view, pose)) in views.iter().zip(&state.poses).enumerate() {
            let first = lens_count + POSE * photo;
            for (board, place) in view.board.iter().zip(&view.places) {
                let off = residual(&state.lens, pose, *board, *place);
                let rows = derivatives(&state.lens, pose, *board);
                for axis in 0..2 {
                    let (of_lens, of_pose) = (&rows.0[axis], &rows.1[axis]);
                    let at = |slot: usize| {
                        if slot < lens_count {
                            (slot, of_lens[free[slot]])
                        } else {
                            (first + slot - lens_count, of_pose[slot - lens_count])
                        }
                    };
                    for slot in 0..lens_count + POSE {
                        let (row, value) = at(slot);
                        right[row] += value * off[axis];
                        for other in 0..=slot {
                            let (column, other_value) = at(other);
                            normal[(row, column)] += value * other_value;
                        }
                    }
                }
            }
        }
        normal.fill_upper_triangle_with_lower_triangle();
        Self { normal, right }
    }
}

/// Derivatives of a place, x and y, by the lens's nine unknowns and the pose's six.
fn derivatives(lens: &Lens, pose: &Pose, board: Vector2<f64>) -> ([[f64; LENS]; 2], [[f64; POSE]; 2]) {
    const THREE: f64 = 3.0;
    let turned = pose.rotation * Vector3::new(board.x, board.y, 0.0);
    let point = turned + pose.shift;
    let ray = Ray::new(point.x / point.z, point.y / point.z);
    let (x, y, r2) = (ray.x, ray.y, ray.norm_squared());
    let place = lens.distort(ray);
    let (fx, fy) = (lens.fx, lens.fy);
    let of_lens = [
        [
            (place.x - lens.cx) / fx,
            0.0,
            1.0,
            0.0,
            fx * x * r2,
            fx * x * r2 * r2,
            fx * 2.0 * x * y,
            fx * (THREE * x * x + y * y),
            fx * x * r2 * r2 * r2,
        ],
        [
            0.0,
            (place.y - lens.cy) / fy,
            0.0,
            1.0,
            fy * y * r2,
            fy * y * r2 * r2,
            fy * (x * x + THREE * y * y),
            fy * 2.0 * x * y,
            fy * y * r2 * r2 * r2,
        ],
    ];
    let of_point = lens.jacobian(ray) * Matrix2x3::new(1.0, 0.0, -x, 0.0, 1.0, -y) / point.z;
    // A rotation by a small δ in front adds δ × (turned point).
    let by_turn =
        of_point * -Matrix3::new(0.0, -turned.z, turned.y, turned.z, 0.0, -turned.x, -turned.y, turned.x, 0.0);
    let row = |axis: usize| {
        [
            by_turn[(axis, 0)],
            by_turn[(axis, 1)],
            by_turn[(axis, 2)],
            of_point[(axis, 0)],
            of_point[(axis, 1)],
            of_point[(axis, 2)],
        ]
    };
    (of_lens, [row(0), row(1)])
}

/// Levenberg-Marquardt; returns the equations at the end.
fn adjust(state: &mut State, views: &[BoardView], free: &[usize]) -> Equations {
    let mut squares = state.squares(views);
    let mut damping = DAMPING;
    let mut equations = Equations::new(state, views, free);
    for _ in 0..STEPS {
        let mut damped = equations.normal.clone();
        for index in 0..damped.nrows() {
            damped[(index, index)] *= 1.0 + damping;
        }
        let next = damped.cholesky().map(|solver| state.moved(&solver.solve(&equations.right), free));
        let better = next.map(|next| (next.squares(views), next)).filter(|(sum, _)| *sum < squares);
        if let Some((sum, next)) = better {
            let gain = 1.0 - sum / squares;
            *state = next;
            squares = sum;
            equations = Equations::new(state, views, free);
            damping = (damping / DAMPING_STEP).max(f64::MIN_POSITIVE);
            if gain < CONVERGED {
                break;
            }
        } else {
            damping *= DAMPING_STEP;
            if damping > LARGEST_DAMPING {
                break;
            }
        }
    }
    equations
}

/// Inverse of the normal matrix, scaled to a unit diagonal first: unknowns differ by many powers of ten.
fn inverse(equations: &Equations) -> Option<DMatrix<f64>> {
    let scale = equations.normal.diagonal().map(|value| value.sqrt().recip());
    let scaled = DMatrix::from_diagonal(&scale) * &equations.normal * DMatrix::from_diagonal(&scale);
    let inverse = scaled.cholesky()?.inverse();
    let inverse = DMatrix::from_diagonal(&scale) * inverse * DMatrix::from_diagonal(&scale);
    inverse.iter().all(|value| value.is_finite()).then_some(inverse)
}

//! The wall as the photo shows it: every px has its wall point and every wall point its px, with an uncertainty.
//!
//! **Takes** a finished fit. **Gives** [`WallView`].
//! **Weak when** a point lies far outside the marks: its spread says so.

use crate::camera::Lens;
use crate::flag::Flag;
use crate::units::{PxPoint, WallPoint};
use crate::wall::check::{Displaced, Examined};
use crate::wall::estimate::{Context, Estimate};
use crate::wall::observation::Observation;
use crate::wall::projection::Projection;
use nalgebra::{DVector, Matrix2, SMatrix};

/// Variance, mm², of a point whose uncertainty cannot be computed: 1 km per axis.
const UNKNOWN_VARIANCE: f64 = 1e12;

/// Uncertainty of a wall point that is read at a fixed place of the picture, mm² (k = 1; x right, y up), by cause. The
/// three causes are independent; their sum is the whole.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WallSpread {
    /// Placement, turn and size of the marks on the wall.
    pub marks: Matrix2<f64>,
    /// Noise of the mark points in the picture.
    pub image: Matrix2<f64>,
    /// Unknown distortion of the lens.
    pub lens: Matrix2<f64>,
}

impl WallSpread {
    /// All causes together, mm².
    pub fn total(&self) -> Matrix2<f64> {
        self.marks + self.image + self.lens
    }
}

/// What is left over at one found mark.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MarkResidual {
    /// Its place in [`crate::bay::Bay::marks`].
    pub index: usize,
    /// Its id.
    pub id: u32,
    /// Root mean square over its points of the distance between seen and expected place, px.
    pub px: f64,
    /// The same on the wall, mm.
    pub mm: f64,
    /// Whether the fit uses it.
    pub is_used: bool,
}

/// Px to wall and back. Exists only together with its inverse.
#[derive(Debug, Clone)]
pub struct WallView {
    /// Root mean square residual of the used mark points, px.
    pub rms_px: f64,
    /// The same on the wall, mm.
    pub rms_mm: f64,
    /// Residual of every found mark, in the order of the bay file.
    pub residuals: Vec<MarkResidual>,
    /// Whether there are spare marks, so that an error in the place of any could be noticed.
    pub is_checked: bool,
    /// A mark that was left out.
    pub displaced: Option<Displaced>,
    /// What is to be known about the fit.
    pub flags: Vec<Flag>,
    /// Factor by which the mark points were noisier than stated, 1 or more; already in the spread.
    pub noise_factor: f64,
    estimate: Estimate,
    lens: Lens,
    hull: Vec<WallPoint>,
}

impl WallView {
    pub(super) fn new(context: &Context, examined: Examined, observations: &[Observation], flags: Vec<Flag>) -> Self {
        let projection = &examined.estimate.projection;
        let mut residuals = Vec::with_capacity(observations.len());
        let (mut sum_px, mut sum_mm, mut points) = (0.0, 0.0, 0.0);
        for (place, observation) in observations.iter().enumerate() {
            let (mut own_px, mut own_mm) = (0.0, 0.0);
            for (seen, wall) in observation.places.iter().zip(&observation.walls) {
                own_px += seen.distance(projection.to_px(*wall)).powi(2);
                own_mm += projection.to_wall(*seen).distance_mm(*wall).powi(2);
            }
            let count = observation.places.len() as f64;
            let is_used = examined.used.contains(&place);
            if is_used {
                (sum_px, sum_mm, points) = (sum_px + own_px, sum_mm + own_mm, points + count);
            }
            residuals.push(MarkResidual {
                index: observation.index,
                id: observation.id,
                px: (own_px / count).sqrt(),
                mm: (own_mm / count).sqrt(),
                is_used,
            });
        }
        residuals.sort_by_key(|residual| residual.index);
        let hull = convex_hull(
            examined
                .used
                .iter()
                .filter_map(|place| observations.get(*place))
                .flat_map(|used| used.walls.clone())
                .collect(),
        );
        Self {
            rms_px: (sum_px / points).sqrt(),
            rms_mm: (sum_mm / points).sqrt(),
            residuals,
            is_checked: examined.is_checked,
            displaced: examined.displaced,
            flags,
            noise_factor: examined.noise_factor,
            estimate: examined.estimate,
            lens: context.lens,
            hull,
        }
    }

    fn projection(&self) -> &Projection {
        &self.estimate.projection
    }

    /// Wall point (mm) of a place in the upright photo (px); always finite. Beyond the wall's horizon it is a far point.
    pub fn to_wall(&self, place: PxPoint) -> WallPoint {
        self.projection().to_wall(place)
    }

    /// Place in the upright photo (px) of a wall point (mm); always finite. A point behind the camera goes far outside.
    pub fn to_px(&self, point: WallPoint) -> PxPoint {
        self.projection().to_px(point)
    }

    /// Derivative of [`WallView::to_px`]: px per mm, rows (x right, y down) of the picture, columns (x right, y up) of the
    /// wall.
    pub fn px_per_mm(&self, point: WallPoint) -> Matrix2<f64> {
        self.projection().wall_jacobian(point)
    }

    /// Uncertainty of the wall point that is read at the place in the photo where `point` is seen.
    pub fn spread(&self, point: WallPoint) -> WallSpread {
        let unknown = Matrix2::identity() * UNKNOWN_VARIANCE;
        let [marks, image, lens] = self.estimate.spread(point).unwrap_or([unknown; 3]);
        WallSpread { marks, image, lens }
    }

    /// Joint uncertainty of two wall points, mm² (x1, y1, x2, y2), all causes: what a slope or a distance between two
    /// points needs, since neighbouring points err together.
    pub fn joint_spread(&self, first: WallPoint, second: WallPoint) -> SMatrix<f64, 4, 4> {
        let unknown = SMatrix::<f64, 4, 4>::identity() * UNKNOWN_VARIANCE;
        let gain = |point: WallPoint| {
            let inverse = self.projection().wall_jacobian(point).try_inverse()?;
            Some(inverse * self.projection().parameter_jacobian(point))
        };
        let (Some(first), Some(second)) = (gain(first), gain(second)) else { return unknown };
        let rows = [first.row(0), first.row(1), second.row(0), second.row(1)];
        let half: Vec<DVector<f64>> = rows
            .iter()
            .map(|row| &self.estimate.solution.covariance * DVector::from_iterator(row.len(), row.iter().copied()))
            .collect();
        let joint = SMatrix::<f64, 4, 4>::from_fn(|i, j| rows[i].iter().zip(half[j].iter()).map(|(a, b)| a * b).sum());
        if joint.iter().all(|entry| entry.is_finite()) { joint } else { unknown }
    }

    /// Whether a wall point lies inside the area that the used marks enclose.
    pub fn encloses(&self, point: WallPoint) -> bool {
        let count = self.hull.len();
        (0..count).all(|n| turn(self.hull[n], self.hull[(n + 1) % count], point) >= 0.0)
    }

    /// The area that the used marks enclose: corners of its convex hull, counterclockwise as seen from the lamp.
    pub fn hull(&self) -> &[WallPoint] {
        &self.hull
    }

    /// The lens about which the distortion was fitted.
    pub fn lens(&self) -> &Lens {
        &self.lens
    }

    /// Fitted radial distortion against that lens: (k1, standard uncertainty of k1).
    pub fn radial(&self) -> (f64, f64) {
        const K1: usize = crate::wall::projection::PLANE_PARAMETERS;
        (self.estimate.solution.parameters[K1], self.estimate.solution.covariance[(K1, K1)].sqrt())
    }
}

/// Twice the signed area of the triangle a, b, c: positive when c lies left of the way from a to b.
fn turn(a: WallPoint, b: WallPoint, c: WallPoint) -> f64 {
    (b.x_mm - a.x_mm) * (c.y_mm - a.y_mm) - (b.y_mm - a.y_mm) * (c.x_mm - a.x_mm)
}

/// Convex hull by the monotone chain of Andrew (1979; from memory), counterclockwise.
fn convex_hull(mut points: Vec<WallPoint>) -> Vec<WallPoint> {
    points.sort_by(|a, b| a.x_mm.total_cmp(&b.x_mm).then(a.y_mm.total_cmp(&b.y_mm)));
    let chain = |ordered: &mut dyn Iterator<Item = WallPoint>| {
        let mut hull: Vec<WallPoint> = Vec::new();
        for point in ordered {
            while hull.len() >= 2 && turn(hull[hull.len() - 2], hull[hull.len() - 1], point) <= 0.0 {
                hull.pop();
            }
            hull.push(point);
        }
        hull.pop();
        hull
    };
    let mut hull = chain(&mut points.iter().copied());
    hull.extend(chain(&mut points.iter().rev().copied()));
    hull
}

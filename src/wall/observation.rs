//! What one found mark says: points in the picture, where the bay file puts them on the wall, and how sure both are.
//!
//! **Takes** [`Marks`] and the [`Bay`]. **Gives** one [`Observation`] per found mark, in the order of their ids.
//! **How**: a tag gives its four corners, any other mark its centre. Two covariances per mark: on the wall (mm²), the
//! placement common to all its points, and for a tag the turn and the size it was printed and stuck on with; in the
//! image (px²), the independent noise of its points, and for a tag a bloom that moves all its edges outwards.

use crate::bay::{Bay, Mark, MarkKind};
use crate::marks::{FoundMark, Marks};
use crate::units::{PxPoint, WallPoint};
use crate::wall::options::FitOptions;
use nalgebra::{DMatrix, DVector};

/// Least noise of a point per axis, px: keeps a perfect or unstated sigma from making weights infinite.
const LEAST_SIGMA_PX: f64 = 0.02;
/// Edge bloom of a tag against its stated size, px per edge: exposure moves every edge of a dark square inwards by a
/// common amount of this order (own judgement; half a detector's usual edge error).
const BLOOM_SIGMA_PX: f64 = 0.1;
/// Corner signs in the order of [`FoundMark::corners`]: upper left, upper right, lower right, lower left (x, y up).
const CORNERS: [(f64, f64); 4] = [(-1.0, 1.0), (1.0, 1.0), (1.0, -1.0), (-1.0, -1.0)];

/// One mark as the fit sees it.
#[derive(Debug, Clone)]
pub struct Observation {
    /// Its place in [`Bay::marks`].
    pub index: usize,
    /// Its id.
    pub id: u32,
    /// Whether its place was typed, not found.
    pub is_by_hand: bool,
    /// Centre of the mark by the bay file.
    pub centre: WallPoint,
    /// Its points in the picture: four corners or one centre.
    pub places: Vec<PxPoint>,
    /// The same points on the wall, by the bay file.
    pub walls: Vec<WallPoint>,
    /// Covariance of the wall points, mm²; (x, y) of the first point, then of the second, and so on.
    pub wall_covariance: DMatrix<f64>,
    /// Covariance of the places, px², in the same order.
    pub image_covariance: DMatrix<f64>,
}

impl Observation {
    /// Number of measured coordinates.
    pub fn coordinates(&self) -> usize {
        2 * self.places.len()
    }

    /// Whether it is a tag with corners.
    pub fn is_tag(&self) -> bool {
        self.places.len() > 1
    }

    fn new(found: &FoundMark, mark: &Mark, marks_mm: f64, options: &FitOptions) -> Self {
        if let (MarkKind::Tag36h11, Some(corners)) = (mark.kind, found.corners) {
            return Self::tag(found, mark, corners, marks_mm, options);
        }
        let sigma_px = found.centre_sigma_px.max(LEAST_SIGMA_PX);
        Self {
            index: found.index,
            id: found.id,
            is_by_hand: found.is_by_hand,
            centre: mark.centre,
            places: vec![found.centre],
            walls: vec![mark.centre],
            wall_covariance: DMatrix::identity(2, 2) * (marks_mm * marks_mm),
            image_covariance: DMatrix::identity(2, 2) * (sigma_px * sigma_px),
        }
    }

    fn tag(found: &FoundMark, mark: &Mark, corners: [PxPoint; 4], marks_mm: f64, options: &FitOptions) -> Self {
        let half = 0.5 * mark.size.get();
        let size = 2 * CORNERS.len();
        let mut common = [DVector::zeros(size), DVector::zeros(size)];
        let (mut turn, mut growth, mut bloom) = (DVector::zeros(size), DVector::zeros(size), DVector::zeros(size));
        let mut walls = Vec::with_capacity(CORNERS.len());
        for (n, ((sign_x, sign_y), corner)) in CORNERS.iter().zip(corners).enumerate() {
            let (right, up) = (sign_x * half, sign_y * half);
            walls.push(WallPoint::new(mark.centre.x_mm + right, mark.centre.y_mm + up));
            common[0][2 * n] = marks_mm;
            common[1][2 * n + 1] = marks_mm;
            turn[2 * n] = -up * options.tag_turn_sigma_deg.to_radians();
            turn[2 * n + 1] = right * options.tag_turn_sigma_deg.to_radians();
            growth[2 * n] = right * options.tag_size_sigma;
            growth[2 * n + 1] = up * options.tag_size_sigma;
            // A bloom b of every edge moves a square's corner by b·√2 along its diagonal.
            let diagonal = corner.distance(found.centre);
            if diagonal > 0.0 {
                let length = std::f64::consts::SQRT_2 * BLOOM_SIGMA_PX / diagonal;
                bloom[2 * n] = (corner.x - found.centre.x) * length;
                bloom[2 * n + 1] = (corner.y - found.centre.y) * length;
            }
        }
        let outer = |vector: &DVector<f64>| vector * vector.transpose();
        let sigma_px = found.corner_sigma_px.max(LEAST_SIGMA_PX);
        Self {
            index: found.index,
            id: found.id,
            is_by_hand: found.is_by_hand,
            centre: mark.centre,
            places: corners.to_vec(),
            walls,
            wall_covariance: outer(&common[0]) + outer(&common[1]) + outer(&turn) + outer(&growth),
            image_covariance: DMatrix::identity(size, size) * (sigma_px * sigma_px) + outer(&bloom),
        }
    }
}

/// All found marks that the bay knows, in the order of their ids, so that the order in which they were found is nothing.
pub fn observe(marks: &Marks, bay: &Bay, options: &FitOptions) -> Vec<Observation> {
    let mut all: Vec<Observation> = marks
        .found
        .iter()
        .filter(|found| {
            let points = found.corners.iter().flatten().chain([&found.centre]);
            points.into_iter().all(|point| point.x.is_finite() && point.y.is_finite())
        })
        .filter_map(|found| {
            let mark = bay.marks.get(found.index)?;
            Some(Observation::new(found, mark, bay.uncertainty.marks_mm, options))
        })
        .collect();
    all.sort_by_key(|observation| observation.id);
    all.dedup_by_key(|observation| observation.id);
    all
}

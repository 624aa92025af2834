//! The start of a calibration: focal lengths and poses from the homographies of a flat board.
//!
//! **Takes** per photo the board's points (mm, x right, y down, z = 0) and their places. **Gives** focal lengths and
//! [`Pose`]s without distortion.
//! **How**: Z. Zhang, "A flexible new technique for camera calibration", IEEE TPAMI 22(11), 2000, sections 2.3 and 3.1, his
//! constraints (3) and (4), with the principal point held in the middle and no skew: two unknowns instead of six, which a
//! phone's strong distortion cannot make impossible. Homographies by the normalised direct linear transformation (R. Hartley,
//! IEEE PAMI 19(6), 1997; from memory).
//! **Fails when** every photo looks straight at the board, or the points lie on a line (`None`).

use crate::units::PxPoint;
use nalgebra::{DMatrix, DVector, Matrix2, Matrix3, Rotation3, Vector2, Vector3};

/// Focal lengths in units of the picture's longer side that a start may have; beyond it the constraints say nothing.
const FOCAL_TO_SIDE: std::ops::RangeInclusive<f64> = 0.15..=30.0;
/// A focal length that stands in for one that the constraints do not give, in longer sides: a usual phone's 26 mm lens.
const USUAL_FOCAL: f64 = 0.76;

/// Where the board lies: camera point = `rotation`·board point + `shift`; x right, y down, z along the axis, mm.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pose {
    /// From the board's axes to the camera's.
    pub rotation: Rotation3<f64>,
    /// The board's origin seen from the camera, mm.
    pub shift: Vector3<f64>,
}

impl Pose {
    /// A point of the board (mm) in the camera's axes.
    pub fn in_camera(&self, board: Vector2<f64>) -> Vector3<f64> {
        self.rotation * Vector3::new(board.x, board.y, 0.0) + self.shift
    }
}

/// Shift and scale that bring points to their centroid with a mean distance of √2.
fn normaliser(points: &[Vector2<f64>]) -> Option<Matrix3<f64>> {
    let count = points.len() as f64;
    let centre = points.iter().sum::<Vector2<f64>>() / count;
    let spread = points.iter().map(|point| (point - centre).norm()).sum::<f64>() / count;
    if !(spread > 0.0 && spread.is_finite()) {
        return None;
    }
    let scale = std::f64::consts::SQRT_2 / spread;
    Some(Matrix3::new(scale, 0.0, -scale * centre.x, 0.0, scale, -scale * centre.y, 0.0, 0.0, 1.0))
}

/// The homography from board to place.
fn homography(board: &[Vector2<f64>], places: &[Vector2<f64>]) -> Option<Matrix3<f64>> {
    let (from, to) = (normaliser(board)?, normaliser(places)?);
    let mut normal = DMatrix::<f64>::zeros(9, 9);
    for (point, place) in board.iter().zip(places) {
        let (p, q) = (from * point.push(1.0), to * place.push(1.0));
        let rows = [
            [p.x, p.y, 1.0, 0.0, 0.0, 0.0, -q.x * p.x, -q.x * p.y, -q.x],
            [0.0, 0.0, 0.0, p.x, p.y, 1.0, -q.y * p.x, -q.y * p.y, -q.y],
        ];
        for row in rows {
            let row = DVector::from_row_slice(&row);
            normal += &row * row.transpose();
        }
    }
    let eigen = normal.symmetric_eigen();
    let least = eigen.eigenvalues.imin();
    let solved = Matrix3::from_row_slice(eigen.eigenvectors.column(least).clone_owned().as_slice());
    Some(to.try_inverse()? * solved * from)
}

/// Focal lengths along x and y, pixels, and a pose for each photo. `size` is the picture's, pixels.
pub(super) fn start(photos: &[(&[Vector2<f64>], &[PxPoint])], size: (f64, f64)) -> Option<((f64, f64), Vec<Pose>)> {
    let side = size.0.max(size.1);
    let middle = Vector2::new(0.5 * size.0, 0.5 * size.1);
    let homographies: Vec<Matrix3<f64>> = photos
        .iter()
        .map(|(board, places)| {
            let centred: Vec<Vector2<f64>> =
                places.iter().map(|place| (Vector2::new(place.x, place.y) - middle) / side).collect();
            homography(board, &centred).map(|h| h / h.norm())
        })
        .collect::<Option<_>>()?;
    let (fx, fy) = focal(&homographies);
    let poses = homographies.iter().map(|h| pose(h, fx, fy)).collect::<Option<_>>()?;
    Some(((fx * side, fy * side), poses))
}

/// Zhang's constraints with ω = diag(1/fx², 1/fy², 1): h1ᵀωh2 = 0 and h1ᵀωh1 = h2ᵀωh2. A start that they do not give is the
/// usual phone's: the adjustment finds out whether the photos tell it.
fn focal(homographies: &[Matrix3<f64>]) -> (f64, f64) {
    let (mut normal, mut right) = (Matrix2::zeros(), Vector2::zeros());
    for h in homographies {
        // Columns of one length make every photo weigh the same.
        let h = h / h.column(0).norm().max(h.column(1).norm()).max(f64::MIN_POSITIVE);
        let (a, b) = (h.column(0).clone_owned(), h.column(1).clone_owned());
        let rows = [
            (Vector2::new(a.x * b.x, a.y * b.y), -a.z * b.z),
            (Vector2::new(a.x * a.x - b.x * b.x, a.y * a.y - b.y * b.y), b.z * b.z - a.z * a.z),
        ];
        for (row, value) in rows {
            normal += row * row.transpose();
            right += row * value;
        }
    }
    let together = right.sum() / normal.sum();
    let solved = normal.try_inverse().map_or(Vector2::repeat(together), |inverse| inverse * right);
    let of = |value: f64| Some(value.sqrt().recip()).filter(|focal| FOCAL_TO_SIDE.contains(focal));
    let usual = of(together).unwrap_or(USUAL_FOCAL);
    match (of(solved.x), of(solved.y)) {
        (Some(fx), Some(fy)) if (fx / fy - 1.0).abs() < 0.2 => (fx, fy),
        _ => (usual, usual),
    }
}

/// Zhang's section 3.1: r1 = λ·K⁻¹h1, r2 = λ·K⁻¹h2, r3 = r1 × r2, t = λ·K⁻¹h3, the board in front of the camera.
fn pose(h: &Matrix3<f64>, fx: f64, fy: f64) -> Option<Pose> {
    let columns = Matrix3::from_diagonal(&Vector3::new(1.0 / fx, 1.0 / fy, 1.0)) * h;
    let scale = 2.0 / (columns.column(0).norm() + columns.column(1).norm());
    let scale = if columns.m33 < 0.0 { -scale } else { scale };
    let (first, second) = (columns.column(0) * scale, columns.column(1) * scale);
    let svd = Matrix3::from_columns(&[first, second, first.cross(&second)]).svd(true, true);
    let rotation = svd.u? * svd.v_t?;
    let is_proper = rotation.determinant() > 0.0 && rotation.iter().all(|value| value.is_finite());
    is_proper.then(|| Pose { rotation: Rotation3::from_matrix_unchecked(rotation), shift: columns.column(2) * scale })
}

//! Plane-to-plane maps of the mark stage: from a mark's own plane, or the wall's, to the picture.
//!
//! **How**: the direct linear transform on normalised points (Hartley 1997), least squares over all pairs; the
//! accurate fit with covariance belongs to the wall stage.

use crate::units::PxPoint;
use nalgebra::{DMatrix, Matrix3, SMatrix, SVector, Vector3};

/// A second eigenvalue below this part of the largest means that the places do not fix the map.
const LEAST_SPREAD: f64 = 1e-9;

/// A projective map of the plane.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Projective(pub(super) Matrix3<f64>);

impl Projective {
    /// The map that takes each pair's first place to its second; `None` with fewer than four pairs or when they lie on
    /// a line.
    pub(super) fn fit(pairs: &[((f64, f64), PxPoint)]) -> Option<Self> {
        if pairs.len() < 4 {
            return None;
        }
        let from = normalising(&pairs.iter().map(|pair| pair.0).collect::<Vec<_>>())?;
        let to = normalising(&pairs.iter().map(|pair| (pair.1.x, pair.1.y)).collect::<Vec<_>>())?;
        let mut normal = SMatrix::<f64, 9, 9>::zeros();
        for &((u, v), place) in pairs {
            let p = from * Vector3::new(u, v, 1.0);
            let q = to * Vector3::new(place.x, place.y, 1.0);
            let zero = Vector3::zeros();
            for row in [[p, zero, -q.x * p], [zero, p, -q.y * p]] {
                let row = SVector::<f64, 9>::from_iterator(row.iter().flat_map(|part| part.iter().copied()));
                normal += row * row.transpose();
            }
        }
        let eigen = normal.symmetric_eigen();
        let mut order: Vec<usize> = (0..9).collect();
        order.sort_unstable_by(|&a, &b| eigen.eigenvalues[a].total_cmp(&eigen.eigenvalues[b]));
        if eigen.eigenvalues[order[1]] < LEAST_SPREAD * eigen.eigenvalues[order[8]] {
            return None;
        }
        let h = eigen.eigenvectors.column(order[0]);
        let matrix = Matrix3::new(h[0], h[1], h[2], h[3], h[4], h[5], h[6], h[7], h[8]);
        let matrix = to.try_inverse()? * matrix * from;
        let map = Self(matrix / matrix.norm());
        (map.0.iter().all(|entry| entry.is_finite()) && map.0.determinant().abs() > 0.0).then_some(map)
    }

    /// The affine map through three or more pairs, least squares.
    pub(super) fn fit_affine(pairs: &[((f64, f64), PxPoint)]) -> Option<Self> {
        if pairs.len() < 3 {
            return None;
        }
        let from = normalising(&pairs.iter().map(|pair| pair.0).collect::<Vec<_>>())?;
        let rows = DMatrix::from_fn(pairs.len(), 3, |row, column| {
            let (u, v) = pairs[row].0;
            (from * Vector3::new(u, v, 1.0))[column]
        });
        let places = DMatrix::from_fn(pairs.len(), 2, |row, column| [pairs[row].1.x, pairs[row].1.y][column]);
        let normal = rows.transpose() * &rows;
        let found = normal.cholesky()?.solve(&(rows.transpose() * places));
        let m = |row: usize, column: usize| found[(row, column)];
        let matrix = Matrix3::new(m(0, 0), m(1, 0), m(2, 0), m(0, 1), m(1, 1), m(2, 1), 0.0, 0.0, 1.0) * from;
        matrix.iter().all(|entry| entry.is_finite()).then_some(Self(matrix))
    }

    /// Where a place goes; `None` at or behind the horizon.
    pub(super) fn apply(&self, place: (f64, f64)) -> Option<PxPoint> {
        let q = self.0 * Vector3::new(place.0, place.1, 1.0);
        let point = PxPoint::new(q.x / q.z, q.y / q.z);
        (point.x.is_finite() && point.y.is_finite()).then_some(point)
    }

    /// The inverse map.
    pub(super) fn inverse(&self) -> Option<Self> {
        self.0.try_inverse().map(Self)
    }

    /// Steps of the second place per unit step of the first: columns d/du and d/dv.
    pub(super) fn steps_at(&self, place: (f64, f64)) -> Option<[PxPoint; 2]> {
        let m = &self.0;
        let q = m * Vector3::new(place.0, place.1, 1.0);
        let step = |k: usize| {
            PxPoint::new((m[(0, k)] - q.x / q.z * m[(2, k)]) / q.z, (m[(1, k)] - q.y / q.z * m[(2, k)]) / q.z)
        };
        let steps = [step(0), step(1)];
        steps.iter().all(|step| step.x.is_finite() && step.y.is_finite()).then_some(steps)
    }
}

/// Moves places to mean 0 and mean distance sqrt(2) (Hartley 1997).
fn normalising(places: &[(f64, f64)]) -> Option<Matrix3<f64>> {
    let n = places.len() as f64;
    let (cx, cy) = places.iter().fold((0.0, 0.0), |sum, place| (sum.0 + place.0 / n, sum.1 + place.1 / n));
    let size = places.iter().map(|place| (place.0 - cx).hypot(place.1 - cy)).sum::<f64>() / n;
    let scale = std::f64::consts::SQRT_2 / size;
    scale.is_finite().then(|| Matrix3::new(scale, 0.0, -scale * cx, 0.0, scale, -scale * cy, 0.0, 0.0, 1.0))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn four_pairs_fix_the_map_and_its_steps() {
        let truth = Projective(Matrix3::new(30.0, 2.0, 400.0, -3.0, 28.0, 300.0, 0.01, 0.02, 1.0));
        let places = [(-1.0, -1.0), (1.0, -1.2), (1.1, 1.0), (-1.0, 0.9), (0.2, 0.3)];
        let pairs: Vec<_> = places.iter().map(|&place| (place, truth.apply(place).unwrap())).collect();
        for count in [4, 5] {
            let map = Projective::fit(&pairs[..count]).unwrap();
            assert!(map.apply((0.5, -0.4)).unwrap().distance(truth.apply((0.5, -0.4)).unwrap()) < 1e-6);
            let (step, small) = (map.steps_at((0.3, 0.1)).unwrap()[0], 1e-6);
            let (a, b) = (map.apply((0.3, 0.1)).unwrap(), map.apply((0.3 + small, 0.1)).unwrap());
            assert!((step.x - (b.x - a.x) / small).abs() < 1e-3);
        }
    }

    #[test]
    fn places_on_a_line_or_all_equal_fix_nothing() {
        let line: Vec<_> = (0..5).map(|k| ((f64::from(k), f64::from(k)), PxPoint::new(f64::from(k), 3.0))).collect();
        assert!(Projective::fit(&line).is_none());
        assert!(Projective::fit(&[((1.0, 1.0), PxPoint::new(2.0, 2.0)); 4]).is_none());
    }
}

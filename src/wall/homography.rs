//! The start of the wall's fit: a homography from point pairs by the normalised direct linear transformation.
//!
//! **Takes** pairs of a wall point (any unit near 1) and a ray without distortion. **Gives** the 3 x 3 matrix with
//! `ray ~ H·(x, y, 1)`, scaled so that h33 = 1.
//! **How**: Hartley, "In defense of the eight-point algorithm", IEEE PAMI 19(6), 1997, for the normalisation; Hartley and
//! Zisserman, "Multiple View Geometry", 2nd ed. 2003, algorithm 4.2, for the transformation (both from memory).
//! **Fails when** there are fewer than four pairs, or they lie on a line or all but one do (`None`).

use nalgebra::{Matrix3, SMatrix, SVector, Vector2, Vector3};

/// Fewest point pairs that fix a homography.
const LEAST_PAIRS: usize = 4;
/// Least ratio of the second smallest to the largest singular value, squared, for the answer to be unique: 1e-5 for the
/// singular values themselves; four sound marks give above 1e-2, three on a line give rounding noise.
const LEAST_RATIO: f64 = 1e-10;
/// Least magnitude of a number that is divided by, in normalised units.
const TINY: f64 = 1e-9;

/// Shift and scale that bring points to their centroid with a mean distance of √2.
fn normaliser(points: impl Iterator<Item = Vector2<f64>> + Clone) -> Option<Matrix3<f64>> {
    let count = points.clone().count() as f64;
    let centre = points.clone().sum::<Vector2<f64>>() / count;
    let spread = points.map(|point| (point - centre).norm()).sum::<f64>() / count;
    if !(spread > 0.0 && spread.is_finite()) {
        return None;
    }
    let scale = std::f64::consts::SQRT_2 / spread;
    Some(Matrix3::new(scale, 0.0, -scale * centre.x, 0.0, scale, -scale * centre.y, 0.0, 0.0, 1.0))
}

/// The homography from wall to ray that fits the pairs in the algebraic sense.
pub fn direct_linear(pairs: &[(Vector2<f64>, Vector2<f64>)]) -> Option<Matrix3<f64>> {
    if pairs.len() < LEAST_PAIRS {
        return None;
    }
    let from = normaliser(pairs.iter().map(|pair| pair.0))?;
    let to = normaliser(pairs.iter().map(|pair| pair.1))?;
    let mut normal = SMatrix::<f64, 9, 9>::zeros();
    for (wall, ray) in pairs {
        let (p, q) = (from * wall.push(1.0), to * ray.push(1.0));
        let zero = Vector3::zeros();
        for row in [stack(&p, &zero, &(-q.x * p)), stack(&zero, &p, &(-q.y * p))] {
            normal += row * row.transpose();
        }
    }
    let eigen = normal.symmetric_eigen();
    let mut order: Vec<usize> = (0..eigen.eigenvalues.len()).collect();
    order.sort_by(|a, b| eigen.eigenvalues[*a].total_cmp(&eigen.eigenvalues[*b]));
    let largest = eigen.eigenvalues[*order.last()?];
    let is_unique = eigen.eigenvalues[order[1]] > LEAST_RATIO * largest;
    if !is_unique {
        return None;
    }
    let null = eigen.eigenvectors.column(order[0]);
    let solved = Matrix3::new(null[0], null[1], null[2], null[3], null[4], null[5], null[6], null[7], null[8]);
    let homography = to.try_inverse()? * solved * from;
    let scale = homography.m33;
    (scale.abs() > TINY * homography.norm()).then(|| homography / scale)
}

fn stack(a: &Vector3<f64>, b: &Vector3<f64>, c: &Vector3<f64>) -> SVector<f64, 9> {
    SVector::<f64, 9>::from_column_slice(&[a.x, a.y, a.z, b.x, b.y, b.z, c.x, c.y, c.z])
}

#[cfg(test)]
mod tests {
    use super::*;

    fn square() -> [Vector2<f64>; 4] {
        [Vector2::new(-1.0, -1.0), Vector2::new(1.0, -1.0), Vector2::new(1.0, 1.0), Vector2::new(-1.0, 1.0)]
    }

    /// Hand-worked: H = [[2, 0, 1], [0, 3, 0], [0.5, 0, 1]] sends (1, 1) to (3, 3)/1.5 = (2, 2), (−1, 1) to (−1, 3)/0.5 =
    /// (−2, 6), and so on.
    #[test]
    fn four_pairs_give_the_homography_worked_by_hand() {
        let rays = [(-2.0, -6.0), (2.0, -2.0), (2.0, 2.0), (-2.0, 6.0)].map(|(x, y)| Vector2::new(x, y));
        let pairs: Vec<_> = square().into_iter().zip(rays).collect();
        let found = direct_linear(&pairs).expect("sound");
        let expected = Matrix3::new(2.0, 0.0, 1.0, 0.0, 3.0, 0.0, 0.5, 0.0, 1.0);
        assert!((found - expected).norm() < 1e-6, "{found}");
    }

    #[test]
    fn points_on_a_line_and_too_few_points_give_none() {
        let line: Vec<_> = (0..6).map(|n| (Vector2::new(f64::from(n), 1.0), Vector2::new(f64::from(n), 2.0))).collect();
        assert!(direct_linear(&line).is_none());
        let mut three_on_a_line: Vec<_> = line.into_iter().take(3).collect();
        three_on_a_line.push((Vector2::new(0.0, 3.0), Vector2::new(0.0, 4.0)));
        assert!(direct_linear(&three_on_a_line).is_none());
        let pairs: Vec<_> = square().into_iter().zip(square()).take(3).collect();
        assert!(direct_linear(&pairs).is_none());
    }
}

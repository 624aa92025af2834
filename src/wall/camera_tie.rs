//! What a known focal length says about the homography of a flat wall.
//!
//! **Takes** the homography's parameters. **Gives** one more observation block of two numbers that are zero for a camera
//! with square pixels: the cosine between the images of the wall's two axes as rays, and the logarithm of the ratio of
//! their lengths.
//! **How**: the first two columns of K⁻¹H are orthogonal and of equal length (Zhang, "A flexible new technique for camera
//! calibration", IEEE PAMI 22(11), 2000, section 2.3; from memory). Focal length and principal point are uncertain, and
//! both numbers carry that.
//! **Weak when** the photo was cropped or zoomed after the shot: then the numbers are wrong. So they only help to say WHICH
//! mark is off; the measurement itself never rests on them.

use crate::wall::least_squares::Block;
use crate::wall::projection::{PARAMETERS, PLANE_PARAMETERS};
use nalgebra::{DMatrix, DVector, SVector, Vector2, Vector3};

/// Pixels are square within this (common practice, no source).
const SQUARE_SIGMA: f64 = 2e-4;
/// Step of the numeric derivatives, relative to parameters near 1.
const STEP: f64 = 1e-6;

/// Standard uncertainties of the camera.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CameraTie {
    /// Of the focal length, relative.
    pub focal: f64,
    /// Of the principal point, in focal lengths.
    pub centre: f64,
}

/// Unknowns of the camera: growth of the focal length, shift of the principal point in focal lengths.
type Camera = Vector3<f64>;

fn faults(plane: &SVector<f64, PLANE_PARAMETERS>, camera: &Camera) -> Vector2<f64> {
    let ray = |x: f64, y: f64, z: f64| {
        Vector3::new((x - camera.y * z) / (1.0 + camera.x), (y - camera.z * z) / (1.0 + camera.x), z)
    };
    let (right, up) = (ray(plane[0], plane[3], plane[6]), ray(plane[1], plane[4], plane[7]));
    let (length_right, length_up) = (right.norm(), up.norm());
    Vector2::new(right.dot(&up) / (length_right * length_up), (length_right / length_up).ln())
}

impl CameraTie {
    /// The block at these parameters; `None` when a column of the homography vanishes.
    pub fn block(&self, parameters: &DVector<f64>) -> Option<Block> {
        let plane: SVector<f64, PLANE_PARAMETERS> = parameters.fixed_rows::<PLANE_PARAMETERS>(0).into_owned();
        let camera = Camera::zeros();
        let fault = faults(&plane, &camera);
        let mut jacobian = DMatrix::zeros(2, PARAMETERS);
        for n in 0..PLANE_PARAMETERS {
            let mut shift = SVector::<f64, PLANE_PARAMETERS>::zeros();
            shift[n] = STEP;
            let slope = (faults(&(plane + shift), &camera) - faults(&(plane - shift), &camera)) / (2.0 * STEP);
            jacobian.fixed_view_mut::<2, 1>(0, n).copy_from(&slope);
        }
        let mut covariance = DMatrix::identity(2, 2) * (SQUARE_SIGMA * SQUARE_SIGMA);
        for (n, sigma) in [self.focal, self.centre, self.centre].into_iter().enumerate() {
            let mut shift = Camera::zeros();
            shift[n] = STEP;
            let slope = (faults(&plane, &shift) - faults(&plane, &-shift)) * (sigma / (2.0 * STEP));
            covariance += slope * slope.transpose();
        }
        let is_finite = jacobian.iter().chain(covariance.iter()).chain(fault.iter()).all(|entry| entry.is_finite());
        is_finite.then(|| Block {
            residual: DVector::from_column_slice((-fault).as_slice()),
            jacobian,
            causes: [DMatrix::zeros(2, 2), covariance],
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Hand-worked: a camera turned by 30° about the vertical sees the wall's axes as (cos 30°, 0, sin 30°) and (0, −1, 0)
    /// over the distance: orthogonal and of equal length. Stretching the picture's x by 1.01 then makes ln of the ratio
    /// ½ ln(0.75·1.0201 + 0.25) = 0.00748.
    #[test]
    fn a_true_camera_has_no_fault_and_a_stretched_one_has() {
        let (s, c) = 30.0_f64.to_radians().sin_cos();
        let tie = CameraTie { focal: 0.03, centre: 0.01 };
        let mut parameters = DVector::zeros(PARAMETERS);
        parameters.as_mut_slice()[..PLANE_PARAMETERS].copy_from_slice(&[c, 0.0, 0.1, 0.0, -1.0, 0.2, s, 0.0]);
        let block = tie.block(&(parameters.clone() * 0.4)).expect("sound");
        assert!(block.residual.norm() < 1e-12);
        parameters[0] *= 1.01;
        let block = tie.block(&parameters).expect("sound");
        let expected = 0.5 * (0.75 * 1.0201_f64 + 0.25).ln();
        assert!((block.residual[1] + expected).abs() < 1e-12, "{}", block.residual);
    }
}

//! The camera's lens: `OpenCV`'s pinhole model with k1 k2 p1 p2 k3, both ways, for a picture as stored or turned upright.
//!
//! **Takes** a ray (x/z, y/z; x right, y down) or a place in the picture. **Gives** the other one.
//! **How**: the model of `OpenCV`'s page "Camera Calibration and 3D Reconstruction" (module calib3d), section "Detailed
//! Description"; undone by Newton's method with the exact Jacobian.
//! **Weak when** a place lies beyond the picture, where a lens polynomial may fold over: the result is then only finite.
//!
//! Pixel centres lie at n + 0.5 here, so `cx`, `cy` are 0.5 larger than `OpenCV` prints them.

use crate::units::PxPoint;
use nalgebra::{Matrix2, Vector2};

/// Newton stops when the ray would move less than this: 1e-12 of a focal length is 1e-8 px at most.
const NEWTON_STEP: f64 = 1e-12;
/// Newton gives up after this many steps; a lens that is fit for its picture needs fewer than ten.
const NEWTON_LIMIT: usize = 40;
/// Longest Newton step, in focal lengths: keeps the search from leaping over a fold of the polynomial.
const NEWTON_LONGEST: f64 = 0.5;

/// A calibrated lens for one picture size.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Lens {
    /// Width of the picture as stored, before EXIF turns it, pixels.
    pub width: u32,
    /// Height of the picture as stored, pixels.
    pub height: u32,
    /// Focal length along x, pixels.
    pub fx: f64,
    /// Focal length along y, pixels.
    pub fy: f64,
    /// Principal point, pixels; pixel centres at n + 0.5.
    pub cx: f64,
    /// Principal point, pixels; pixel centres at n + 0.5.
    pub cy: f64,
    /// Radial distortion, order 2.
    pub k1: f64,
    /// Radial distortion, order 4.
    pub k2: f64,
    /// Tangential distortion.
    pub p1: f64,
    /// Tangential distortion.
    pub p2: f64,
    /// Radial distortion, order 6.
    pub k3: f64,
}

/// A direction from the camera as (x/z, y/z): x right and y down in the picture, z along the optical axis; no unit.
pub type Ray = Vector2<f64>;

impl Lens {
    /// A lens without distortion whose axis meets the middle of the picture; `focal_px` in pixels.
    pub fn pinhole(width: u32, height: u32, focal_px: f64) -> Self {
        let (cx, cy) = (0.5 * f64::from(width), 0.5 * f64::from(height));
        Self { width, height, fx: focal_px, fy: focal_px, cx, cy, k1: 0.0, k2: 0.0, p1: 0.0, p2: 0.0, k3: 0.0 }
    }

    /// Where a ray meets the picture.
    pub fn distort(&self, ray: Ray) -> PxPoint {
        let bent = self.bend(ray);
        PxPoint::new(self.fx * bent.x + self.cx, self.fy * bent.y + self.cy)
    }

    /// The ray that meets the picture there; always finite, and exact wherever the lens polynomial does not fold over.
    pub fn undistort(&self, place: PxPoint) -> Ray {
        let bent = Ray::new((place.x - self.cx) / self.fx, (place.y - self.cy) / self.fy);
        let mut ray = bent;
        for _ in 0..NEWTON_LIMIT {
            let Some(inverse) = self.bend_jacobian(ray).try_inverse() else { break };
            let step = (inverse * (bent - self.bend(ray))).cap_magnitude(NEWTON_LONGEST);
            ray += step;
            if step.norm() < NEWTON_STEP {
                break;
            }
        }
        ray
    }

    /// Derivative of [`Lens::distort`]: pixels per unit of the ray, rows (x, y) of the picture.
    pub fn jacobian(&self, ray: Ray) -> Matrix2<f64> {
        let slope = self.bend_jacobian(ray);
        Matrix2::new(self.fx * slope.m11, self.fx * slope.m12, self.fy * slope.m21, self.fy * slope.m22)
    }

    /// The same lens for the upright picture: `orientation` is the EXIF value (1 to 8; anything else is taken as 1).
    ///
    /// A stored ray is a signed permutation M of the upright ray, so the principal point follows, fx and fy swap when
    /// the picture is turned, the radial terms stay, and the tangential pair (p2, p1), which acts as a vector along
    /// (x, y), becomes Mᵀ·(p2, p1).
    #[must_use]
    pub fn upright(&self, orientation: u8) -> Self {
        let (width, height) = (f64::from(self.width), f64::from(self.height));
        // Signs of the upright axes along the stored ones: EXIF 2.32 (CIPA DC-008), tag 0x0112, as photo::UprightMap.
        let (is_turned, sign_x, sign_y) = match orientation {
            2 => (false, -1.0, 1.0),
            3 => (false, -1.0, -1.0),
            4 => (false, 1.0, -1.0),
            5 => (true, 1.0, 1.0),
            6 => (true, 1.0, -1.0),
            7 => (true, -1.0, -1.0),
            8 => (true, -1.0, 1.0),
            _ => (false, 1.0, 1.0),
        };
        let cx = if sign_x < 0.0 { width - self.cx } else { self.cx };
        let cy = if sign_y < 0.0 { height - self.cy } else { self.cy };
        let (p1, p2) = (sign_y * self.p1, sign_x * self.p2);
        let flipped = Self { cx, cy, p1, p2, ..*self };
        if !is_turned {
            return flipped;
        }
        Self {
            width: self.height,
            height: self.width,
            fx: self.fy,
            fy: self.fx,
            cx: cy,
            cy: cx,
            p1: p2,
            p2: p1,
            ..flipped
        }
    }

    /// Distortion in units of the focal length, as `OpenCV` writes it (x'' and y'').
    fn bend(&self, ray: Ray) -> Ray {
        let Self { k1, k2, k3, p1, p2, .. } = *self;
        let (x, y, r2) = (ray.x, ray.y, ray.norm_squared());
        let radial = 1.0 + r2 * (k1 + r2 * (k2 + r2 * k3));
        Ray::new(
            x * radial + 2.0 * p1 * x * y + p2 * (r2 + 2.0 * x * x),
            y * radial + p1 * (r2 + 2.0 * y * y) + 2.0 * p2 * x * y,
        )
    }

    fn bend_jacobian(&self, ray: Ray) -> Matrix2<f64> {
        const THREE: f64 = 3.0;
        const SIX: f64 = 6.0;
        let Self { k1, k2, k3, p1, p2, .. } = *self;
        let (x, y, r2) = (ray.x, ray.y, ray.norm_squared());
        let radial = 1.0 + r2 * (k1 + r2 * (k2 + r2 * k3));
        let slope = 2.0 * (k1 + r2 * (2.0 * k2 + r2 * THREE * k3));
        let mixed = x * y * slope + 2.0 * (p1 * x + p2 * y);
        Matrix2::new(
            radial + x * x * slope + 2.0 * p1 * y + SIX * p2 * x,
            mixed,
            mixed,
            radial + y * y * slope + SIX * p1 * y + 2.0 * p2 * x,
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn strong() -> Lens {
        Lens {
            width: 4000,
            height: 3000,
            fx: 3030.0,
            fy: 3050.0,
            cx: 2010.0,
            cy: 1490.0,
            k1: -0.11,
            k2: 0.05,
            p1: 0.0021,
            p2: -0.0013,
            k3: -0.01,
        }
    }

    /// Hand-worked: ray (0.5, 0.25), r2 = 0.3125, only k1 = 0.1 and p1 = 0.01: radial 1.03125;
    /// x'' = 0.515625 + 0.02·0.125 = 0.518125; y'' = 0.2578125 + 0.01·(0.3125 + 0.125) = 0.2621875.
    #[test]
    fn distorts_as_worked_by_hand() {
        let lens = Lens { k1: 0.1, p1: 0.01, ..Lens::pinhole(2000, 1000, 1000.0) };
        let place = lens.distort(Ray::new(0.5, 0.25));
        assert!((place.x - 1518.125).abs() < 1e-9, "{place:?}");
        assert!((place.y - 762.1875).abs() < 1e-9, "{place:?}");
    }

    #[test]
    fn undistort_returns_the_ray_over_the_whole_picture() {
        let lens = strong();
        for column in 0..=20 {
            for row in 0..=20 {
                let place = PxPoint::new(f64::from(column) * 200.0, f64::from(row) * 150.0);
                let back = lens.distort(lens.undistort(place));
                assert!(back.distance(place) < 1e-7, "{place:?} came back as {back:?}");
            }
        }
    }

    #[test]
    fn undistort_stays_finite_where_the_polynomial_folds() {
        let lens = Lens { k1: -0.5, ..Lens::pinhole(4000, 3000, 1500.0) };
        let ray = lens.undistort(PxPoint::new(9000.0, 9000.0));
        assert!(ray.x.is_finite() && ray.y.is_finite());
    }

    /// A stored place and its upright place belong to the same ray; where EXIF puts them is worked by hand from the
    /// standard's wording ("the 0th row is the visual top ..."), independent of the code's table.
    #[test]
    fn upright_lens_sees_the_same_light_for_all_eight_orientations() {
        let lens = strong();
        let (w, h) = (4000.0, 3000.0);
        let to_upright = |orientation: u8, x: f64, y: f64| match orientation {
            1 => (x, y),
            2 => (w - x, y),
            3 => (w - x, h - y),
            4 => (x, h - y),
            5 => (y, x),
            6 => (h - y, x),
            7 => (h - y, w - x),
            _ => (y, w - x),
        };
        for orientation in 1..=8 {
            let turned = lens.upright(orientation);
            let axis = to_upright(orientation, lens.cx, lens.cy);
            assert!((turned.cx - axis.0).abs() < 1e-9 && (turned.cy - axis.1).abs() < 1e-9, "{orientation}");
            for ray in [Ray::new(0.3, 0.2), Ray::new(-0.5, 0.1), Ray::new(0.2, -0.4)] {
                let stored = lens.distort(ray);
                let straight = Lens { k1: 0.0, k2: 0.0, k3: 0.0, p1: 0.0, p2: 0.0, ..lens }.distort(ray);
                let (x, y) = to_upright(orientation, straight.x, straight.y);
                let upright_ray = Ray::new((x - turned.cx) / turned.fx, (y - turned.cy) / turned.fy);
                let expected = to_upright(orientation, stored.x, stored.y);
                let found = turned.distort(upright_ray);
                assert!(
                    (found.x - expected.0).abs() < 1e-8 && (found.y - expected.1).abs() < 1e-8,
                    "orientation {orientation}: {found:?}, expected {expected:?}"
                );
            }
        }
    }

    #[test]
    fn jacobian_agrees_with_differences() {
        let (lens, ray, step) = (strong(), Ray::new(0.4, -0.3), 1e-6);
        let jacobian = lens.jacobian(ray);
        for axis in 0..2 {
            let mut shift = Ray::zeros();
            shift[axis] = step;
            let (ahead, behind) = (lens.distort(ray + shift), lens.distort(ray - shift));
            assert!((jacobian[(0, axis)] - (ahead.x - behind.x) / (2.0 * step)).abs() < 1e-4);
            assert!((jacobian[(1, axis)] - (ahead.y - behind.y) / (2.0 * step)).abs() < 1e-4);
        }
    }
}

//! From the wall's face to the picture and back: homography, small radial distortion, lens.
//!
//! **Takes** twelve parameters, a frame that normalises the wall, and a base lens. **Gives** px from wall mm, wall mm from
//! px, and the derivatives of both.
//! **How**: a wall point in the normalised frame goes through H (h33 = 1) to a ray; the ray is bent about a centre δ by
//! 1 + k1·s + k2·s² with s its squared distance from δ (the radial terms of `OpenCV`'s model), and the base lens puts it
//! into the picture. Where the bending would fold over, it goes on as a straight line, so every place has one image and
//! one origin.
//! **Weak when** a point lies beyond the wall's horizon: it is then held at a great distance, never infinite.

use crate::camera::{Lens, Ray};
use crate::units::{PxPoint, WallPoint};
use nalgebra::{Matrix2, Matrix3, SMatrix, Vector2, Vector3};

/// Parameters: h11 h12 h13 h21 h22 h23 h31 h32, k1, k2, δx, δy.
pub const PARAMETERS: usize = 12;
/// Parameters of the homography, which come first.
pub const PLANE_PARAMETERS: usize = 8;
/// Slope of the radial mapping at which it goes on as a straight line; below this one pixel would cover three.
const FOLD_SLOPE: f64 = 0.3;
/// Least depth relative to the depth at the marks: nearer points are held there.
const LEAST_DEPTH: f64 = 1e-6;
/// Halvings and Newton steps of the radial inverse; Newton needs five, halving alone 50.
const RADIAL_STEPS: usize = 80;
/// Accuracy of the radial inverse, in focal lengths: 1e-9 px or so.
const RADIAL_ACCURACY: f64 = 1e-14;

/// The wall's normalised frame: (point − centre) / scale.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Frame {
    /// Origin of the frame on the wall's face.
    pub centre: WallPoint,
    /// Millimetres that one unit of the frame spans.
    pub scale_mm: f64,
}

impl Frame {
    /// A wall point in the frame's units.
    pub fn normalise(&self, point: WallPoint) -> Vector2<f64> {
        Vector2::new(point.x_mm - self.centre.x_mm, point.y_mm - self.centre.y_mm) / self.scale_mm
    }

    fn restore(&self, point: Vector2<f64>) -> WallPoint {
        WallPoint::new(self.centre.x_mm + point.x * self.scale_mm, self.centre.y_mm + point.y * self.scale_mm)
    }
}

/// Radial bending of rays about a centre, monotone and so invertible everywhere.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Bending {
    k1: f64,
    k2: f64,
    centre: Ray,
    /// Radius beyond which the mapping is a straight line.
    limit: f64,
}

impl Bending {
    fn new(k1: f64, k2: f64, centre: Ray) -> Self {
        // Slope of r(1 + k1 r² + k2 r⁴) is 1 + 3 k1 s + 5 k2 s² with s = r²: its first fall to FOLD_SLOPE.
        let (a, b, c) = (5.0 * k2, 3.0 * k1, 1.0 - FOLD_SLOPE);
        let discriminant = b * b - 4.0 * a * c;
        let roots = if discriminant < 0.0 {
            [f64::INFINITY; 2]
        } else {
            // The stable pair 2c/(−b ∓ √Δ) also covers a = 0.
            [2.0 * c / (-b + discriminant.sqrt()), 2.0 * c / (-b - discriminant.sqrt())]
        };
        let first = roots.into_iter().filter(|root| *root > 0.0).fold(f64::INFINITY, f64::min);
        Self { k1, k2, centre, limit: first.sqrt() }
    }

    fn inside(&self, radius: f64) -> f64 {
        let s = radius * radius;
        radius * (1.0 + s * (self.k1 + s * self.k2))
    }

    fn radius(&self, radius: f64) -> f64 {
        if radius <= self.limit {
            self.inside(radius)
        } else {
            self.inside(self.limit) + FOLD_SLOPE * (radius - self.limit)
        }
    }

    fn slope(&self, radius: f64) -> f64 {
        let s = radius * radius;
        if radius <= self.limit { 1.0 + s * (3.0 * self.k1 + s * 5.0 * self.k2) } else { FOLD_SLOPE }
    }

    fn radius_before(&self, bent: f64) -> f64 {
        if self.limit.is_finite() && bent >= self.inside(self.limit) {
            return self.limit + (bent - self.inside(self.limit)) / FOLD_SLOPE;
        }
        // The slope is nowhere below FOLD_SLOPE, so the answer lies between 0 and bent / FOLD_SLOPE.
        let (mut low, mut high) = (0.0, bent / FOLD_SLOPE);
        let mut radius = bent.min(high);
        for _ in 0..RADIAL_STEPS {
            let excess = self.radius(radius) - bent;
            if excess > 0.0 {
                high = radius;
            } else {
                low = radius;
            }
            let newton = radius - excess / self.slope(radius);
            let next = if newton >= low && newton <= high { newton } else { 0.5 * (low + high) };
            let moved = (next - radius).abs();
            radius = next;
            if moved < RADIAL_ACCURACY {
                break;
            }
        }
        radius
    }

    fn bend(&self, ray: Ray) -> Ray {
        let from_centre = ray - self.centre;
        let radius = from_centre.norm();
        if radius > 0.0 { self.centre + from_centre * (self.radius(radius) / radius) } else { ray }
    }

    fn straighten(&self, ray: Ray) -> Ray {
        let from_centre = ray - self.centre;
        let radius = from_centre.norm();
        if radius > 0.0 { self.centre + from_centre * (self.radius_before(radius) / radius) } else { ray }
    }

    fn jacobian(&self, ray: Ray) -> Matrix2<f64> {
        let from_centre = ray - self.centre;
        let radius = from_centre.norm();
        if radius > 0.0 {
            let along = from_centre / radius;
            let outer = along * along.transpose();
            outer * self.slope(radius) + (Matrix2::identity() - outer) * (self.radius(radius) / radius)
        } else {
            Matrix2::identity()
        }
    }
}

/// One mapping between the wall's face and the picture; exists only together with its inverse.
#[derive(Debug, Clone, PartialEq)]
pub struct Projection {
    frame: Frame,
    homography: Matrix3<f64>,
    inverse: Matrix3<f64>,
    bending: Bending,
    lens: Lens,
}

impl Projection {
    /// From the parameters; `None` when the homography cannot be inverted or a number is not finite.
    pub fn new(frame: Frame, lens: Lens, parameters: &[f64]) -> Option<Self> {
        let p: &[f64; PARAMETERS] = parameters.try_into().ok()?;
        let homography = Matrix3::new(p[0], p[1], p[2], p[3], p[4], p[5], p[6], p[7], 1.0);
        let inverse = homography.try_inverse()?;
        let is_finite = p.iter().chain(inverse.iter()).all(|entry| entry.is_finite());
        let bending = Bending::new(p[8], p[9], Ray::new(p[10], p[11]));
        is_finite.then_some(Self { frame, homography, inverse, bending, lens })
    }

    fn depth_and_ray(&self, point: WallPoint) -> (f64, Ray, Vector3<f64>) {
        let wall = self.frame.normalise(point).push(1.0);
        let image = self.homography * wall;
        let depth = image.z.max(LEAST_DEPTH);
        (depth, Ray::new(image.x / depth, image.y / depth), wall)
    }

    /// Place in the picture of a wall point.
    pub fn to_px(&self, point: WallPoint) -> PxPoint {
        let (_, ray, _) = self.depth_and_ray(point);
        self.lens.distort(self.bending.bend(ray))
    }

    /// Wall point of a place in the picture.
    pub fn to_wall(&self, place: PxPoint) -> WallPoint {
        let ray = self.bending.straighten(self.lens.undistort(place));
        let wall = self.inverse * ray.push(1.0);
        let depth = wall.z.max(LEAST_DEPTH);
        self.frame.restore(Vector2::new(wall.x / depth, wall.y / depth))
    }

    /// Derivative of the ray by the normalised wall point.
    fn ray_by_wall(&self, depth: f64, ray: Ray) -> Matrix2<f64> {
        let h = &self.homography;
        Matrix2::new(h.m11 - ray.x * h.m31, h.m12 - ray.x * h.m32, h.m21 - ray.y * h.m31, h.m22 - ray.y * h.m32) / depth
    }

    /// Derivative of the picture's place by the wall point: px per mm.
    pub fn wall_jacobian(&self, point: WallPoint) -> Matrix2<f64> {
        let (depth, ray, _) = self.depth_and_ray(point);
        let bent = self.bending.bend(ray);
        self.lens.jacobian(bent) * self.bending.jacobian(ray) * self.ray_by_wall(depth, ray) / self.frame.scale_mm
    }

    /// Derivative of the picture's place by the parameters: px per unit.
    pub fn parameter_jacobian(&self, point: WallPoint) -> SMatrix<f64, 2, PARAMETERS> {
        let (depth, ray, wall) = self.depth_and_ray(point);
        let to_px = self.lens.jacobian(self.bending.bend(ray));
        let bend = self.bending.jacobian(ray);
        let mut jacobian = SMatrix::<f64, 2, PARAMETERS>::zeros();
        for column in 0..3 {
            let share = wall[column] / depth;
            jacobian[(0, column)] = share;
            jacobian[(1, 3 + column)] = share;
            if column < 2 {
                jacobian[(0, 6 + column)] = -ray.x * share;
                jacobian[(1, 6 + column)] = -ray.y * share;
            }
        }
        let mut by_plane = bend * jacobian.fixed_columns::<PLANE_PARAMETERS>(0);
        by_plane = to_px * by_plane;
        jacobian.fixed_columns_mut::<PLANE_PARAMETERS>(0).copy_from(&by_plane);
        let from_centre = ray - self.bending.centre;
        let s = from_centre.norm_squared().min(self.bending.limit * self.bending.limit);
        jacobian.fixed_columns_mut::<1>(8).copy_from(&(to_px * from_centre * s));
        jacobian.fixed_columns_mut::<1>(9).copy_from(&(to_px * from_centre * (s * s)));
        jacobian.fixed_columns_mut::<2>(10).copy_from(&(to_px * (Matrix2::identity() - bend)));
        jacobian
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const FRAME: Frame = Frame { centre: WallPoint::new(100.0, 900.0), scale_mm: 1500.0 };
    const PLANE: [f64; PLANE_PARAMETERS] = [0.3, 0.02, 0.05, 0.01, -0.28, 0.03, 0.06, -0.04];

    fn projection(k1: f64, k2: f64) -> Projection {
        let mut parameters = [0.0; PARAMETERS];
        parameters[..PLANE_PARAMETERS].copy_from_slice(&PLANE);
        parameters[8..].copy_from_slice(&[k1, k2, 0.004, -0.003]);
        Projection::new(FRAME, Lens::pinhole(4000, 3000, 3000.0), &parameters).expect("sound")
    }

    /// Hand-worked, no bending: the frame's centre goes to (0.05, 0.03)·3000 + (2000, 1500) = (2150, 1590), and 1500 mm right
    /// of it to ((0.3 + 0.05)/1.06, (0.01 + 0.03)/1.06)·3000 + (2000, 1500) = (2990.566, 1613.2075).
    #[test]
    fn projects_as_worked_by_hand() {
        let plain = projection(0.0, 0.0);
        let centre = plain.to_px(FRAME.centre);
        assert!(centre.distance(PxPoint::new(2150.0, 1590.0)) < 1e-9, "{centre:?}");
        let right = plain.to_px(WallPoint::new(1600.0, 900.0));
        assert!(right.distance(PxPoint::new(2_990.566_037_735_849, 1_613.207_547_169_811)) < 1e-9, "{right:?}");
    }

    #[test]
    fn derivatives_agree_with_differences() {
        let (point, step) = (WallPoint::new(1400.0, 300.0), 1e-6);
        let base = projection(-0.08, 0.05);
        let by_parameters = base.parameter_jacobian(point);
        let mut parameters = [0.0; PARAMETERS];
        parameters[..PLANE_PARAMETERS].copy_from_slice(&PLANE);
        parameters[8..].copy_from_slice(&[-0.08, 0.05, 0.004, -0.003]);
        for n in 0..PARAMETERS {
            let place = |shift: f64| {
                let mut moved = parameters;
                moved[n] += shift;
                Projection::new(FRAME, base.lens, &moved).expect("sound").to_px(point)
            };
            let (ahead, behind) = (place(step), place(-step));
            assert!((by_parameters[(0, n)] - (ahead.x - behind.x) / (2.0 * step)).abs() < 1e-3, "x by {n}");
            assert!((by_parameters[(1, n)] - (ahead.y - behind.y) / (2.0 * step)).abs() < 1e-3, "y by {n}");
        }
        let by_wall = base.wall_jacobian(point);
        let ahead = base.to_px(WallPoint::new(1400.5, 300.0));
        let behind = base.to_px(WallPoint::new(1399.5, 300.0));
        assert!((by_wall.m11 - (ahead.x - behind.x)).abs() < 1e-5 && (by_wall.m21 - (ahead.y - behind.y)).abs() < 1e-5);
    }

    #[test]
    fn far_and_impossible_places_stay_finite() {
        for (k1, k2) in [(-0.4, 0.0), (0.3, -0.6), (0.0, 0.0)] {
            let any = projection(k1, k2);
            for place in [PxPoint::new(-1e5, 2e5), PxPoint::new(1e6, -1e6), PxPoint::new(2000.0, 1500.0)] {
                let wall = any.to_wall(place);
                assert!(wall.x_mm.is_finite() && wall.y_mm.is_finite());
            }
            let px = any.to_px(WallPoint::new(-1e7, 1e7));
            assert!(px.x.is_finite() && px.y.is_finite());
        }
    }

    proptest! {
        #[test]
        fn px_to_wall_to_px_returns(
            x in 0.0..4000.0, y in 0.0..3000.0, k1 in -0.3..0.3, k2 in -0.3..0.3,
        ) {
            let any = projection(k1, k2);
            let place = PxPoint::new(x, y);
            prop_assert!(any.to_px(any.to_wall(place)).distance(place) < 1e-6);
        }
    }
}

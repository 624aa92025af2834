//! Bay, wall and camera in space: a ray of the camera meets a plane; a wall point is seen from the lamp.
//!
//! **Takes** a [`SceneSpec`]. **Gives** rays, wall points (mm on the face), bay points, beam directions, pixels.
//! **How**: plain vector algebra in the bay frame (x right, y up, z to the wall, mm), written for the scenes alone, so
//! that truth never comes from the code under test.

use super::spec::SetupSpec;
use super::spec_camera::CameraSpec;
use crate::camera::Lens;

/// A vector in the bay frame.
pub(super) type Vec3 = [f64; 3];

pub(super) fn add(a: Vec3, b: Vec3) -> Vec3 {
    [a[0] + b[0], a[1] + b[1], a[2] + b[2]]
}
pub(super) fn sub(a: Vec3, b: Vec3) -> Vec3 {
    [a[0] - b[0], a[1] - b[1], a[2] - b[2]]
}
pub(super) fn scale(a: Vec3, k: f64) -> Vec3 {
    [a[0] * k, a[1] * k, a[2] * k]
}
pub(super) fn dot(a: Vec3, b: Vec3) -> f64 {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}
pub(super) fn normal(a: Vec3) -> Vec3 {
    scale(a, 1.0 / dot(a, a).sqrt())
}

/// The wall's face.
#[derive(Debug, Clone, Copy)]
pub(super) struct WallPlane {
    origin: Vec3,
    level: Vec3,
    steepest: Vec3,
    /// Away from the vehicle.
    pub(super) normal: Vec3,
}

impl WallPlane {
    /// Yaw turns first (right side farther), tilt leans about the wall's own level line (top farther).
    pub(super) fn new(setup: &SetupSpec) -> Self {
        let (sin_yaw, cos_yaw) = setup.wall_yaw_deg.to_radians().sin_cos();
        let (sin_tilt, cos_tilt) = setup.wall_tilt_deg.to_radians().sin_cos();
        Self {
            origin: [0.0, 0.0, setup.distance_mm],
            level: [cos_yaw, 0.0, sin_yaw],
            steepest: [-sin_tilt * sin_yaw, cos_tilt, sin_tilt * cos_yaw],
            normal: [-sin_yaw * cos_tilt, -sin_tilt, cos_yaw * cos_tilt],
        }
    }

    /// Bay point of a place on the face, counted from the centreline's meeting at y = 0.
    pub(super) fn point(&self, x: f64, y: f64) -> Vec3 {
        add(self.origin, add(scale(self.level, x), scale(self.steepest, y)))
    }

    /// Along `from + t·ray`: t and the place on the face; `None` when the ray leads away.
    pub(super) fn meet(&self, from: Vec3, ray: Vec3) -> Option<(f64, f64, f64)> {
        let t = dot(sub(self.origin, from), self.normal) / dot(ray, self.normal);
        if !(t > 0.0 && t.is_finite()) {
            return None;
        }
        let off = sub(add(from, scale(ray, t)), self.origin);
        Some((t, dot(off, self.level), dot(off, self.steepest)))
    }
}

/// How directions count at one lamp of the vehicle.
#[derive(Debug, Clone, Copy)]
pub(super) struct LampView {
    /// Lamp centre, bay frame.
    pub(super) centre: Vec3,
    yaw_deg: f64,
    pitch_deg: f64,
    roll: (f64, f64),
}

impl LampView {
    /// Yaw, floor pitch and roll of the vehicle, by the contract's signs.
    pub(super) fn new(setup: &SetupSpec, x_mm: f64, y_mm: f64) -> Self {
        Self {
            centre: [x_mm, y_mm, 0.0],
            yaw_deg: setup.vehicle_yaw_deg,
            pitch_deg: (setup.slope_percent / 100.0).atan().to_degrees(),
            roll: (setup.cross_percent / 100.0).atan().sin_cos(),
        }
    }

    /// Beam direction (H, V) of a bay point in front of the lamp: flat-screen convention, turned back by the roll.
    pub(super) fn direction(&self, point: Vec3) -> (f64, f64) {
        let d = sub(point, self.centre);
        let h = (d[0] / d[2]).atan().to_degrees() - self.yaw_deg;
        let v = (d[1] / d[2]).atan().to_degrees() - self.pitch_deg;
        let (sin, cos) = self.roll;
        (h * cos + v * sin, v * cos - h * sin)
    }

    /// The wall point that lies in this beam direction.
    pub(super) fn wall_point(&self, wall: &WallPlane, h: f64, v: f64) -> Option<Vec3> {
        let (sin, cos) = self.roll;
        let (level_h, level_v) = (h * cos - v * sin + self.yaw_deg, v * cos + h * sin + self.pitch_deg);
        let ray = [level_h.to_radians().tan(), level_v.to_radians().tan(), 1.0];
        wall.meet(self.centre, ray).map(|(t, _, _)| add(self.centre, scale(ray, t)))
    }
}

/// Diagonal of the 35 mm film frame, mm (36 x 24).
const FILM_DIAGONAL_MM: f64 = 43.266_615;
/// Entries of the table that undoes the distortion; linear interpolation is then good to 1e-6 of the radius.
const RADII: usize = 2048;
/// Newton steps that invert the distortion.
const NEWTON_STEPS: usize = 12;

/// The upright camera.
#[derive(Debug, Clone)]
pub(super) struct Camera {
    /// Optical centre, bay frame.
    pub(super) centre: Vec3,
    right: Vec3,
    down: Vec3,
    forward: Vec3,
    /// Lens of the upright picture.
    pub(super) lens: Lens,
    undo: Vec<f64>,
    undo_step: f64,
}

impl Camera {
    /// A camera at its place, looking at its target on the wall.
    pub(super) fn new(spec: &CameraSpec, wall: &WallPlane, size: (u32, u32)) -> Self {
        let centre = [spec.x_mm, spec.y_mm, spec.z_mm];
        let forward = normal(sub(wall.point(spec.target_x_mm, spec.target_y_mm), centre));
        let level = normal([forward[2], 0.0, -forward[0]]);
        let up = normal(sub([0.0, 1.0, 0.0], scale(forward, forward[1])));
        let (sin, cos) = spec.roll_deg.to_radians().sin_cos();
        let (width, height) = (f64::from(size.0), f64::from(size.1));
        let focal = spec.f35_mm / FILM_DIAGONAL_MM * width.hypot(height);
        let long = width.max(height);
        let lens = Lens {
            width: size.0,
            height: size.1,
            fx: focal,
            fy: focal,
            cx: 0.5 * width + spec.principal_x * long,
            cy: 0.5 * height + spec.principal_y * long,
            k1: spec.k1,
            k2: spec.k2,
            p1: 0.0,
            p2: 0.0,
            k3: spec.k3,
        };
        let undo_step = 1.2 * width.hypot(height) * 0.5 / focal / (RADII - 1) as f64;
        let undo = (0..RADII).map(|i| undistort(i as f64 * undo_step, [spec.k1, spec.k2, spec.k3])).collect();
        Self {
            centre,
            right: sub(scale(level, cos), scale(up, sin)),
            down: scale(add(scale(up, cos), scale(level, sin)), -1.0),
            forward,
            lens,
            undo,
            undo_step,
        }
    }

    /// Angle between the optical axis and the wall's normal, degrees.
    pub(super) fn obliquity_deg(&self, wall: &WallPlane) -> f64 {
        dot(self.forward, wall.normal).clamp(-1.0, 1.0).acos().to_degrees()
    }

    /// Ray through a pixel place: from `centre`, not normalised; its part along the optical axis is 1.
    pub(super) fn ray(&self, px: f64, py: f64) -> Vec3 {
        let (x, y) = ((px - self.lens.cx) / self.lens.fx, (py - self.lens.cy) / self.lens.fy);
        let place = (x.hypot(y) / self.undo_step).min((RADII - 2) as f64 + 0.999);
        let low = place as usize;
        let factor = self.undo[low] + (self.undo[low + 1] - self.undo[low]) * (place - low as f64);
        add(self.forward, add(scale(self.right, x * factor), scale(self.down, y * factor)))
    }

    /// Pixel place of a bay point; `None` behind the camera.
    pub(super) fn pixel(&self, point: Vec3) -> Option<(f64, f64)> {
        let d = sub(point, self.centre);
        let depth = dot(d, self.forward);
        if depth <= 0.0 {
            return None;
        }
        let (x, y) = (dot(d, self.right) / depth, dot(d, self.down) / depth);
        let r2 = x * x + y * y;
        let factor = 1.0 + r2 * (self.lens.k1 + r2 * (self.lens.k2 + r2 * self.lens.k3));
        Some((self.lens.cx + self.lens.fx * x * factor, self.lens.cy + self.lens.fy * y * factor))
    }
}

/// Undistorted radius over distorted radius.
fn undistort(distorted: f64, [k1, k2, k3]: [f64; 3]) -> f64 {
    if distorted == 0.0 {
        return 1.0;
    }
    let mut r = distorted;
    for _ in 0..NEWTON_STEPS {
        let r2 = r * r;
        let miss = r * (1.0 + r2 * (k1 + r2 * (k2 + r2 * k3))) - distorted;
        // A lens that folds back has no inverse there: the slope is kept above zero, the ray stays finite.
        r -= miss / (1.0 + r2 * (3.0 * k1 + 5.0 * r2 * k2 + 7.0 * r2 * r2 * k3)).max(0.1);
    }
    r / distorted
}

#[cfg(test)]
mod tests {
    use super::super::family;
    use super::*;

    fn level_setup() -> SetupSpec {
        let spec = family::sample("clean", 1, None).unwrap();
        SetupSpec { wall_yaw_deg: 0.0, wall_tilt_deg: 0.0, slope_percent: 0.0, vehicle_yaw_deg: 0.0, ..spec.setup }
    }

    /// Source: the contract's own example, 10 cm at 10 m is 1 %.
    #[test]
    fn ten_centimetres_at_ten_metres_is_one_percent() {
        let setup = SetupSpec { distance_mm: 10_000.0, ..level_setup() };
        let (h, v) = LampView::new(&setup, 500.0, 700.0).direction([500.0, 600.0, 10_000.0]);
        assert!(h.abs() < 1e-12);
        assert!((100.0 * v.to_radians().tan() + 1.0).abs() < 1e-9);
    }

    /// Hand-worked: the signs of yaw, tilt, vehicle yaw, floor pitch and cross slope.
    #[test]
    fn signs_are_those_of_the_contract() {
        let level = level_setup();
        let yawed = WallPlane::new(&SetupSpec { wall_yaw_deg: 5.0, ..level.clone() });
        assert!(yawed.point(1000.0, 0.0)[2] > level.distance_mm, "right side farther");
        let tilted = WallPlane::new(&SetupSpec { wall_tilt_deg: 5.0, ..level.clone() });
        assert!(tilted.point(0.0, 1000.0)[2] > level.distance_mm, "top farther");
        let point = [0.0, 700.0, 10_000.0];
        let view = |setup: &SetupSpec| LampView::new(setup, 0.0, 700.0).direction(point);
        assert!(view(&SetupSpec { vehicle_yaw_deg: 1.0, ..level.clone() }).0 < -0.99, "nose right: point lies left");
        assert!(view(&SetupSpec { slope_percent: 1.0, ..level.clone() }).1 < -0.57, "nose up: point lies low");
        // Right side higher: the vehicle's right end rises, so a level point on the right lies below its axis.
        let cross = LampView::new(&SetupSpec { cross_percent: 2.0, ..level }, 0.0, 700.0);
        assert!(cross.direction([1000.0, 700.0, 10_000.0]).1 < 0.0);
    }

    #[test]
    fn rays_and_pixels_return() {
        let spec = family::sample("strong-lens", 2, None).unwrap();
        let setup = SetupSpec { wall_yaw_deg: 3.0, wall_tilt_deg: -2.0, cross_percent: 1.0, ..spec.setup.clone() };
        let wall = WallPlane::new(&setup);
        let camera = Camera::new(&spec.camera, &wall, spec.upright_size());
        for (x, y) in [(0.0, 1000.0), (-1800.0, 400.0), (1500.0, 1700.0)] {
            let (px, py) = camera.pixel(wall.point(x, y)).unwrap();
            let (_, fx, fy) = wall.meet(camera.centre, camera.ray(px, py)).unwrap();
            assert!((fx - x).hypot(fy - y) < 0.01, "({x}, {y}) came back as ({fx}, {fy})");
        }
        let view = LampView::new(&setup, 600.0, 700.0);
        let point = view.wall_point(&wall, -2.5, -0.6).unwrap();
        let (h, v) = view.direction(point);
        assert!((h + 2.5).abs() < 1e-9 && (v + 0.6).abs() < 1e-9);
    }
}

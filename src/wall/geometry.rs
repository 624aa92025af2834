//! From a point on the wall's face to the beam direction seen from the lamp, and back, exactly.
//!
//! **Takes** a [`LampSetup`] and a [`WallPoint`] (mm on the wall's face, as the bay file counts them) or an
//! [`AnglePoint`] (degrees, H right, V up). **Gives** the other one, and for photometry the length of the ray and the
//! cosine of its incidence.
//!
//! **How**: the bay frame has x right, y up and z towards the wall, millimetres, with its zero on the floor under the
//! lamps, on the centreline. The centreline meets the wall at O = (0, 0, distance). Yaw ψ turns the wall's level line to
//! `ex = (cos ψ, 0, sin ψ)` (right side farther when positive); tilt τ then leans the wall about that line, so its steepest line
//! is `ey = (−sin τ sin ψ, cos τ, sin τ cos ψ)` (top farther when positive). A face point (x, y) is `O + x·ex + (y + rise −
//! lowered)·ey`. Directions use the flat-screen convention of the trade (10 cm at 10 m is 1 %): with the lamp at (xl, hl,
//! 0), `H0 = atan((x − xl)/z) − vehicle yaw` and `V0 = atan((y − hl)/z) − floor pitch`, where z is the point's own.
//! A floor whose right side is higher by the angle ρ rolls the vehicle, and with it the pattern, counterclockwise as
//! seen from behind: a pattern point (H, V) lands at `(H cos ρ − V sin ρ, H sin ρ + V cos ρ)`, which is undone here.
//!
//! **Weak when** nothing: it is geometry. **Fails when** a direction does not meet the wall (`None`).

use crate::bay::{Floor, LampSetup};
use crate::units::{AnglePoint, WallPoint};
use nalgebra::Vector3;

/// Percent to a bare ratio.
const PER_PERCENT: f64 = 0.01;
/// A right angle in radians: a direction this far to the side never meets the wall.
const RIGHT_ANGLE: f64 = std::f64::consts::FRAC_PI_2;
/// Rays whose cosine of incidence is below this run along the wall and count as missing it.
const GRAZING: f64 = 1e-9;

/// What photometry needs of a ray from the lamp to a point on the wall: E = I·cos/d².
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RayGeometry {
    /// Length of the ray from the lamp's centre, mm.
    pub distance_mm: f64,
    /// Cosine of the angle between the ray and the wall's normal, 0 to 1.
    pub cos_incidence: f64,
}

/// The wall's plane in the bay frame.
struct Plane {
    origin: Vector3<f64>,
    level: Vector3<f64>,
    steepest: Vector3<f64>,
    normal: Vector3<f64>,
}

impl Plane {
    fn of(setup: &LampSetup) -> Self {
        let (sin_yaw, cos_yaw) = setup.wall_yaw_deg.to_radians().sin_cos();
        let (sin_tilt, cos_tilt) = setup.wall_tilt_deg.to_radians().sin_cos();
        let level = Vector3::new(cos_yaw, 0.0, sin_yaw);
        let steepest = Vector3::new(-sin_tilt * sin_yaw, cos_tilt, sin_tilt * cos_yaw);
        // By components (1, 0, 0) x (0, 1, 0) = (0, 0, 1): the normal points away from the lamp.
        let normal = level.cross(&steepest);
        Self { origin: Vector3::new(0.0, 0.0, setup.distance.get()), level, steepest, normal }
    }
}

fn lamp(setup: &LampSetup) -> Vector3<f64> {
    Vector3::new(setup.x.get(), setup.height.get(), 0.0)
}

/// What the bay file's y is raised by to count from y = 0 of the bay frame, mm along the wall's steepest line.
fn raised_mm(setup: &LampSetup) -> f64 {
    setup.floor.rise_to_wall.get() - setup.marks_lowered.get()
}

/// Floor pitch and roll in radians.
fn pitch_and_roll(floor: &Floor) -> (f64, f64) {
    ((floor.slope.get() * PER_PERCENT).atan(), (floor.cross.get() * PER_PERCENT).atan())
}

/// A face point in the bay frame: (x, y, z) in mm; x right, y up, z from the lamps' plane towards the wall.
pub fn bay_point(setup: &LampSetup, point: WallPoint) -> Vector3<f64> {
    let plane = Plane::of(setup);
    plane.origin + plane.level * point.x_mm + plane.steepest * (point.y_mm + raised_mm(setup))
}

/// The beam direction (degrees) of a point on the wall's face, seen from the lamp and freed of the vehicle's yaw, the
/// floor's pitch and the floor's roll.
///
/// A point behind the lamps' plane, which no real wall has, gives angles beyond ±90°.
pub fn direction(setup: &LampSetup, point: WallPoint) -> AnglePoint {
    let ray = bay_point(setup, point) - lamp(setup);
    let (pitch, roll) = pitch_and_roll(&setup.floor);
    let h0 = ray.x.atan2(ray.z) - setup.vehicle_yaw_deg.to_radians();
    let v0 = ray.y.atan2(ray.z) - pitch;
    let (sin_roll, cos_roll) = roll.sin_cos();
    let (h, v) = (h0 * cos_roll + v0 * sin_roll, v0 * cos_roll - h0 * sin_roll);
    AnglePoint::new(h.to_degrees(), v.to_degrees())
}

/// Where the ray of a beam direction meets the wall's face; `None` when it does not. Exact inverse of [`direction`].
pub fn wall_point(setup: &LampSetup, angle: AnglePoint) -> Option<WallPoint> {
    let (pitch, roll) = pitch_and_roll(&setup.floor);
    let (sin_roll, cos_roll) = roll.sin_cos();
    let (h, v) = (angle.h.radians(), angle.v.radians());
    let h0 = h * cos_roll - v * sin_roll + setup.vehicle_yaw_deg.to_radians();
    let v0 = h * sin_roll + v * cos_roll + pitch;
    if !(h0.abs() < RIGHT_ANGLE && v0.abs() < RIGHT_ANGLE) {
        return None;
    }
    let plane = Plane::of(setup);
    let ray = Vector3::new(h0.tan(), v0.tan(), 1.0);
    let towards = ray.dot(&plane.normal);
    let reach = (plane.origin - lamp(setup)).dot(&plane.normal);
    if !(towards > GRAZING * ray.norm() && reach > 0.0) {
        return None;
    }
    let from_origin = lamp(setup) + ray * (reach / towards) - plane.origin;
    Some(WallPoint::new(from_origin.dot(&plane.level), from_origin.dot(&plane.steepest) - raised_mm(setup)))
}

/// Wall height (on the face, mm) of the floor at the wall.
pub fn floor_line_mm(setup: &LampSetup) -> f64 {
    if setup.floor.rise_to_wall.get().abs() > 0.0 {
        0.0
    } else {
        setup.floor.slope.get() / 100.0 * setup.distance.get()
    }
}

/// Length and incidence of the ray from the lamp to a point on the wall's face.
pub fn solid(setup: &LampSetup, point: WallPoint) -> RayGeometry {
    let ray = bay_point(setup, point) - lamp(setup);
    let distance_mm = ray.norm();
    let cos_incidence = if distance_mm > 0.0 { (ray.dot(&Plane::of(setup).normal) / distance_mm).abs() } else { 1.0 };
    RayGeometry { distance_mm, cos_incidence }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bay::LampSide;
    use crate::units::{Mm, Percent};
    use proptest::prelude::*;

    fn setup(x: f64, height: f64, distance: f64) -> LampSetup {
        LampSetup {
            side: LampSide::Left,
            x: Mm::new(x),
            height: Mm::new(height),
            distance: Mm::new(distance),
            marks_lowered: Mm::new(0.0),
            vehicle_yaw_deg: 0.0,
            floor: Floor { slope: Percent::new(0.0), cross: Percent::new(0.0), rise_to_wall: Mm::new(0.0) },
            wall_yaw_deg: 0.0,
            wall_tilt_deg: 0.0,
            height_sigma_mm: 3.0,
            offset_sigma_mm: 5.0,
            distance_sigma_mm: 10.0,
            floor_sigma_percent: 0.05,
            yaw_sigma_deg: 0.1,
        }
    }

    fn assert_direction(setup: &LampSetup, point: WallPoint, h_deg: f64, v_deg: f64) {
        let found = direction(setup, point);
        assert!(
            (found.h.get() - h_deg).abs() < 1e-9 && (found.v.get() - v_deg).abs() < 1e-9,
            "{found:?}, expected {h_deg}, {v_deg}"
        );
    }

    /// The trade's own rule: 10 cm below the lamp at 10 m is 1 % down, and atan(0.01) = 0.572938698°.
    #[test]
    fn ten_centimetres_at_ten_metres_is_one_percent() {
        let plain = setup(-600.0, 750.0, 10_000.0);
        assert_direction(&plain, WallPoint::new(-600.0, 650.0), 0.0, -0.572_938_697_683_485_9);
        let ray = solid(&plain, WallPoint::new(-600.0, 650.0));
        // Length sqrt(10000² + 100²) = 10000.499988, cosine 10000/10000.499988.
        assert!((ray.distance_mm - 10_000.499_987_500_625).abs() < 1e-6);
        assert!((ray.cos_incidence - 0.999_950_003_749_687_5).abs() < 1e-12);
    }

    /// Hand-worked, 10 m wall, lamp at (0, 750), slope +1 % only: the vehicle points up by atan(0.01), so a beam at V = 0
    /// meets the wall 100 mm above the lamp, and the point level with the lamp is at V = −0.572938698°.
    #[test]
    fn a_floor_that_rises_lifts_the_beam() {
        let mut sloped = setup(0.0, 750.0, 10_000.0);
        sloped.floor.slope = Percent::new(1.0);
        assert_direction(&sloped, WallPoint::new(0.0, 850.0), 0.0, 0.0);
        assert_direction(&sloped, WallPoint::new(0.0, 750.0), 0.0, -0.572_938_697_683_485_9);
    }

    /// Hand-worked: the nose points 1° right, so H = 0 meets the wall right of the lamp, at 10000·tan 1° = 174.550649 mm.
    #[test]
    fn a_vehicle_turned_right_carries_its_beam_right() {
        let mut turned = setup(0.0, 750.0, 10_000.0);
        turned.vehicle_yaw_deg = 1.0;
        assert_direction(&turned, WallPoint::new(174.550_649_282_175_86, 750.0), 0.0, 0.0);
    }

    /// Hand-worked: right side of the floor 1 % higher, roll ρ = atan 0.01. A pattern point 2° right at V = 0 is seen on
    /// the wall at H0 = 2 cos ρ = 1.99990001°, V0 = 2 sin ρ = 0.01999900°: higher on the right.
    #[test]
    fn a_floor_higher_on_the_right_lifts_the_right_of_the_pattern() {
        let mut rolled = setup(0.0, 750.0, 10_000.0);
        rolled.floor.cross = Percent::new(1.0);
        let place = wall_point(&rolled, AnglePoint::new(2.0, 0.0)).expect("meets the wall");
        let (h0, v0) = (1.999_900_007_499_375_f64, 0.019_999_000_074_993_75_f64);
        assert!((place.x_mm - 10_000.0 * h0.to_radians().tan()).abs() < 1e-6, "{place:?}");
        assert!((place.y_mm - 750.0 - 10_000.0 * v0.to_radians().tan()).abs() < 1e-6, "{place:?}");
        assert!(place.y_mm > 750.0);
    }

    /// Hand-worked: wall turned by ψ = 2°, point 1000 mm along its level line: x = 1000 cos 2° = 999.390827,
    /// z = 10000 + 1000 sin 2° = 10034.899497 (right side farther).
    #[test]
    fn a_turned_wall_is_farther_on_its_right() {
        let mut turned = setup(0.0, 750.0, 10_000.0);
        turned.wall_yaw_deg = 2.0;
        let place = bay_point(&turned, WallPoint::new(1000.0, 0.0));
        assert!((place - Vector3::new(999.390_827_019, 0.0, 10_034.899_496_703)).norm() < 1e-6, "{place}");
    }

    /// Hand-worked: wall leaning away by 3°, point 1000 mm up its face: y = 1000 cos 3° = 998.629535,
    /// z = 10000 + 1000 sin 3° = 10052.335956 (top farther).
    #[test]
    fn a_leaning_wall_is_farther_at_its_top() {
        let mut leaning = setup(0.0, 750.0, 10_000.0);
        leaning.wall_tilt_deg = 3.0;
        let place = bay_point(&leaning, WallPoint::new(0.0, 1000.0));
        assert!((place - Vector3::new(0.0, 998.629_534_755, 10_052.335_956_243)).norm() < 1e-6, "{place}");
    }

    /// Everything at once, worked with rotation matrices Ry(yaw)·Rx(tilt) and complex numbers for the roll (numpy):
    /// P = (1499.9404213, 934.67959885, 8027.88870817), |P − lamp| = 8081.5817998, cos = 0.98928597677.
    #[test]
    fn everything_at_once_agrees_with_rotation_matrices() {
        let mut all = setup(600.0, 700.0, 8000.0);
        all.wall_yaw_deg = 2.0;
        all.wall_tilt_deg = -1.5;
        all.vehicle_yaw_deg = 0.4;
        all.floor = Floor { slope: Percent::new(1.2), cross: Percent::new(-0.8), rise_to_wall: Mm::new(35.0) };
        let point = WallPoint::new(1500.0, 900.0);
        assert_direction(&all, point, 5.988_166_100_916_524, 1.034_873_550_035_724_5);
        let place = bay_point(&all, point);
        assert!((place - Vector3::new(1_499.940_421_3, 934.679_598_85, 8_027.888_708_17)).norm() < 1e-6, "{place}");
        let ray = solid(&all, point);
        assert!((ray.distance_mm - 8_081.581_799_791_141).abs() < 1e-6);
        assert!((ray.cos_incidence - 0.989_285_976_768_215_4).abs() < 1e-10);
    }

    /// The vehicle's lamps stand 9.5 m from the wall instead of 10 m on a floor that falls by 1.06 % towards it: the marks'
    /// y is lowered by −0.0106·500 = −5.3 mm, so 500 counts as 505.3. Worked with rotation matrices as above.
    #[test]
    fn another_distance_moves_the_floors_zero() {
        let mut nearer = setup(-620.0, 680.0, 9500.0);
        nearer.wall_yaw_deg = 1.0;
        nearer.wall_tilt_deg = 0.5;
        nearer.vehicle_yaw_deg = -0.25;
        nearer.floor.slope = Percent::new(-1.06);
        nearer.floor.cross = Percent::new(0.5);
        nearer.marks_lowered = Mm::new(-5.3);
        assert_direction(&nearer, WallPoint::new(-800.0, 500.0), -0.838_522_280_262_727, -0.443_197_298_083_562_9);
    }

    #[test]
    fn a_direction_that_misses_the_wall_gives_none() {
        let mut turned = setup(0.0, 750.0, 10_000.0);
        turned.wall_yaw_deg = 45.0;
        assert_eq!(wall_point(&turned, AnglePoint::new(50.0, 0.0)), None);
        assert_eq!(wall_point(&turned, AnglePoint::new(0.0, 95.0)), None);
        assert!(wall_point(&turned, AnglePoint::new(40.0, 0.0)).is_some());
    }

    proptest! {
        #[test]
        fn wall_to_angle_to_wall_returns(
            (x, y) in (-3000.0..3000.0, 0.0..2500.0),
            (yaw, tilt, vehicle) in (-20.0..20.0, -10.0..10.0, -2.0..2.0),
            (slope, cross, rise) in (-4.0..4.0, -3.0..3.0, -200.0..200.0),
            (lamp_x, lamp_y, distance) in (-900.0..900.0, 400.0..1200.0, 3000.0..25_000.0),
        ) {
            let mut any = setup(lamp_x, lamp_y, distance);
            any.wall_yaw_deg = yaw;
            any.wall_tilt_deg = tilt;
            any.vehicle_yaw_deg = vehicle;
            any.floor = Floor { slope: Percent::new(slope), cross: Percent::new(cross), rise_to_wall: Mm::new(rise) };
            any.marks_lowered = Mm::new(0.1 * rise);
            let point = WallPoint::new(x, y);
            let back = wall_point(&any, direction(&any, point)).expect("a wall point is on the wall");
            prop_assert!(back.distance_mm(point) < 1e-6, "{back:?}");
        }

        #[test]
        fn turning_the_vehicle_shifts_h_alone(x in -2000.0..2000.0, y in 0.0..2000.0, turn in -3.0..3.0) {
            let straight = setup(-600.0, 700.0, 10_000.0);
            let mut turned = straight;
            turned.vehicle_yaw_deg = turn;
            let (before, after) = (direction(&straight, WallPoint::new(x, y)), direction(&turned, WallPoint::new(x, y)));
            prop_assert!((before.h.get() - turn - after.h.get()).abs() < 1e-9);
            prop_assert!((before.v.get() - after.v.get()).abs() < 1e-9);
        }
    }
}

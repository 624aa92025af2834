//! Goniometers: how the two angles of a measured lamp turn into the beam's H and V, and back.
//!
//! **Takes** H and V on a flat screen (`units.rs`: x/z = tan H right, y/z = tan V up). **Gives** the pair of angles that the
//! goniometer would show. **How**: the direction d = (x right, y up, z ahead), d ~ (tan H, tan V, 1), written in each
//! sphere's own angles:
//!
//! | type | polar axis | direction of the angles | angles of a direction |
//! |---|---|---|---|
//! | screen | none | d ~ (tan X, tan Y, 1) | X = H, Y = V |
//! | A | vertical, X turns about it, Y is latitude | d = (cos Y sin X, sin Y, cos Y cos X) | X = H, Y = atan(tan V cos H) |
//! | B | level, Y turns about it, X is latitude | d = (sin X, cos X sin Y, cos X cos Y) | X = atan(tan H cos V), Y = V |
//! | C, pole down | straight down; X = C, Y = gamma from it | d = (sin Y cos X, -cos Y, sin Y sin X) | X = atan2(z, x), Y = acos(-y) |
//! | C, pole ahead | the lamp's axis; X = C, Y = gamma from it | d = (sin Y cos X, sin Y sin X, cos Y) | X = atan2(y, x), Y = acos(z) |
//!
//! Type A is the sphere of UN headlamp photometry ("a sphere with a vertical polar axis", CIE publication 70). Types and
//! polar axes: IES LM-63 and LM-75, CIE 121 (all from memory; the formulas follow from the axes and are tested by round
//! trips). X right and Y up as seen from the lamp; C counts from the right, against the clock as seen from above a lamp
//! that hangs, so 90 is straight ahead with the pole down, and straight up with the pole ahead (from memory).
//!
//! **Weak when** a file of type C does not say how the lamp lay: LM-63 has no field for it, so the scene states it.

use serde::{Deserialize, Serialize};

/// Where the polar axis of a type C goniometer pointed, seen from the lamp in the vehicle.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Pole {
    /// Down: the lamp was measured as it is mounted; gamma 90 is level.
    #[default]
    Down,
    /// Ahead: the lamp lay with its own axis on the polar axis; gamma 0 is straight ahead.
    Ahead,
}

/// The meaning of a table's two angles.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Goniometer {
    /// H and V on a flat screen, the project's own.
    Screen,
    /// Vertical polar axis: azimuth and latitude.
    A,
    /// Level polar axis: latitude towards the side, turn about it.
    B,
    /// Polar axis down or ahead: azimuth C and gamma.
    C(Pole),
}

/// At right angles to the axis a flat screen has no place: rounding must not make one.
const LEAST_AHEAD: f64 = 1e-9;

impl Goniometer {
    /// The goniometer's angles (X across, Y along), degrees, of a direction ahead of the lamp; C lies in 0..360.
    pub fn angles_deg(self, h_deg: f64, v_deg: f64) -> (f64, f64) {
        let (h, v) = (h_deg.to_radians(), v_deg.to_radians());
        match self {
            Self::Screen => (h_deg, v_deg),
            Self::A => (h_deg, (v.tan() * h.cos()).atan().to_degrees()),
            Self::B => ((h.tan() * v.cos()).atan().to_degrees(), v_deg),
            Self::C(pole) => {
                let (x, y) = (h.tan(), v.tan());
                let (c, gamma) = match pole {
                    Pole::Down => (1.0_f64.atan2(x), x.hypot(1.0).atan2(-y)),
                    Pole::Ahead => (y.atan2(x), x.hypot(y).atan()),
                };
                (c.to_degrees().rem_euclid(360.0), gamma.to_degrees())
            }
        }
    }

    /// Flat-screen H and V, degrees, of the goniometer's angles; `None` when they do not point ahead.
    pub fn screen_deg(self, x_deg: f64, y_deg: f64) -> Option<(f64, f64)> {
        let ((sin_x, cos_x), (sin_y, cos_y)) = (x_deg.to_radians().sin_cos(), y_deg.to_radians().sin_cos());
        let [x, y, z] = match self {
            Self::Screen => return Some((x_deg, y_deg)),
            Self::A => [cos_y * sin_x, sin_y, cos_y * cos_x],
            Self::B => [sin_x, cos_x * sin_y, cos_x * cos_y],
            Self::C(Pole::Down) => [sin_y * cos_x, -cos_y, sin_y * sin_x],
            Self::C(Pole::Ahead) => [sin_y * cos_x, sin_y * sin_x, cos_y],
        };
        (z > LEAST_AHEAD).then(|| ((x / z).atan().to_degrees(), (y / z).atan().to_degrees()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    const ALL: [Goniometer; 5] =
        [Goniometer::Screen, Goniometer::A, Goniometer::B, Goniometer::C(Pole::Down), Goniometer::C(Pole::Ahead)];

    #[test]
    fn every_type_returns() {
        for kind in ALL {
            for (h, v) in [(-30.0, 12.0), (-2.5, -0.57), (0.01, 0.02), (25.0, -20.0)] {
                let (x, y) = kind.angles_deg(h, v);
                let (back_h, back_v) = kind.screen_deg(x, y).unwrap();
                assert!((back_h - h).hypot(back_v - v) < 1e-9, "{kind:?} ({h}, {v}): ({back_h}, {back_v})");
            }
        }
    }

    /// Hand-worked: the direction (1, 1, 1). H = V = 45. Type A: X 45, Y = atan(1/sqrt 2) = 35.264. Type B the same,
    /// swapped. Type C, pole down: C 45 (right and ahead in equal parts), gamma = 180 - acos(1/sqrt 3) = 125.264. Pole
    /// ahead: C 45 (right and up), gamma = acos(1/sqrt 3) = 54.736.
    #[test]
    fn the_space_diagonal_has_its_known_angles() {
        let expected = [(45.0, 45.0), (45.0, 35.264_39), (35.264_39, 45.0), (45.0, 125.264_39), (45.0, 54.735_61)];
        for (kind, (x, y)) in ALL.into_iter().zip(expected) {
            let (found_x, found_y) = kind.angles_deg(45.0, 45.0);
            assert!((found_x - x).hypot(found_y - y) < 1e-5, "{kind:?}: ({found_x}, {found_y})");
        }
    }

    #[test]
    fn nothing_ahead_is_said_so() {
        assert_eq!(Goniometer::A.screen_deg(90.0, 0.0), None);
        assert_eq!(Goniometer::A.screen_deg(120.0, 5.0), None);
        assert_eq!(Goniometer::C(Pole::Down).screen_deg(90.0, 0.0), None);
    }
}

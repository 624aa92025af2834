//! How the vehicle stands: its yaw against the bay's centreline from a tape measure, and a lamp's centre from its edges.
//!
//! **Takes** lengths in mm with the tape's standard uncertainty. **Gives** angles in degrees with theirs, by first-order
//! propagation (GUM 5.1.2). Yaw is positive when the nose points to the right. **Fails when** a length cannot be.

use crate::error::Error;
use crate::units::{Deg, Mm};
use std::ops::RangeInclusive;

/// Wheelbases and tracks that vehicles have, mm.
const WHEELBASE_MM: RangeInclusive<f64> = 500.0..=12_000.0;
const TRACK_MM: RangeInclusive<f64> = 300.0..=3_000.0;
/// A vehicle that stands worse than this is to be driven in again, degrees.
const LARGEST_YAW_DEG: f64 = 5.0;

/// An angle with its standard uncertainty.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Angle {
    /// The angle.
    pub value: Deg,
    /// k = 1, degrees.
    pub sigma_deg: f64,
}

/// Distances of an axle's two wheels from the bay's centreline, to the same point of each wheel, both counted outwards.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Axle {
    /// Left wheel.
    pub left: Mm,
    /// Right wheel.
    pub right: Mm,
}

impl Axle {
    /// The axle's middle, to the right of the centreline positive.
    fn middle_mm(self) -> f64 {
        0.5 * (self.right.get() - self.left.get())
    }
}

/// Yaw from how far both axles' middles stand beside the centreline: `atan((front - rear) / wheelbase)`.
pub fn yaw_by_offsets(front: Axle, rear: Axle, wheelbase: Mm, tape_sigma: Mm) -> Result<Angle, Error> {
    let (x, sigma) = (front.middle_mm() - rear.middle_mm(), tape_sigma.get());
    in_range("--wheelbase-mm", wheelbase, &WHEELBASE_MM)?;
    // Each middle comes from two readings: sigma / sqrt(2); the difference of two middles: sigma.
    angle(x, wheelbase, sigma)
}

/// Yaw from the distances of both front hubs to the wall, the wall's own yaw taken off: `atan((right - left) / track) - wall`.
pub fn yaw_by_hubs(left: Mm, right: Mm, track: Mm, wall_yaw: Angle, tape_sigma: Mm) -> Result<Angle, Error> {
    in_range("--track-mm", track, &TRACK_MM)?;
    let seen = angle(right.get() - left.get(), track, tape_sigma.get() * std::f64::consts::SQRT_2)?;
    checked(Angle { value: seen.value - wall_yaw.value, sigma_deg: seen.sigma_deg.hypot(wall_yaw.sigma_deg) })
}

/// A lamp's centre from the edges of its lit surface.
pub fn centre_by_edges(lower: Mm, upper: Mm) -> Result<Mm, Error> {
    if upper <= lower || lower.get() <= 0.0 {
        return Err(Error::usage(
            format!(
                "lower edge {} mm, upper edge {} mm: need both above the floor, the upper higher",
                lower.get(),
                upper.get()
            ),
            "measure both edges of the lit surface from the floor",
        ));
    }
    Ok(Mm::new(0.5 * (lower.get() + upper.get())))
}

fn angle(across_mm: f64, along: Mm, across_sigma_mm: f64) -> Result<Angle, Error> {
    let ratio = across_mm / along.get();
    let slope = 1.0 / (1.0 + ratio * ratio) / along.get();
    let found = Angle { value: Deg::from_radians(ratio.atan()), sigma_deg: (slope * across_sigma_mm).to_degrees() };
    checked(found)
}

fn checked(found: Angle) -> Result<Angle, Error> {
    if found.value.get().abs() <= LARGEST_YAW_DEG && found.sigma_deg.is_finite() {
        return Ok(found);
    }
    Err(Error::usage(
        format!(
            "the vehicle stands {:.1} degrees off the centreline, at most {LARGEST_YAW_DEG} can be corrected",
            found.value.get()
        ),
        "check the readings; else drive the vehicle in again, straight",
    ))
}

fn in_range(name: &str, value: Mm, range: &RangeInclusive<f64>) -> Result<(), Error> {
    if range.contains(&value.get()) {
        return Ok(());
    }
    let (from, to) = (range.start(), range.end());
    Err(Error::usage(format!("{name} {}: need {from} to {to}", value.get()), "millimetres"))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn mm(value: f64) -> Mm {
        Mm::new(value)
    }

    /// Worked by hand: front axle 13 mm to the right, rear axle in the middle, 2600 mm: atan(13 / 2600) = 0.2865 deg. A tape of
    /// 2 mm for each axle's middle (that is 2.83 mm for each wheel): 2 sqrt(2) / 2600 = 0.062 deg.
    #[test]
    fn offsets_over_the_wheelbase() {
        let front = Axle { left: mm(737.0), right: mm(763.0) };
        let rear = Axle { left: mm(750.0), right: mm(750.0) };
        let yaw = yaw_by_offsets(front, rear, mm(2600.0), mm(2.0 * std::f64::consts::SQRT_2)).unwrap();
        assert!((yaw.value.get() - 0.2865).abs() < 1e-4 && (yaw.sigma_deg - 0.0623).abs() < 1e-4, "{yaw:?}");
    }

    /// Right hub 10 mm farther over a track of 1500 mm: 0.382 deg; a wall whose right side is 0.2 deg farther explains 0.2 of it.
    #[test]
    fn hubs_over_the_track_without_the_wall_s_own_yaw() {
        let wall = Angle { value: Deg::new(0.2), sigma_deg: 0.05 };
        let yaw = yaw_by_hubs(mm(9990.0), mm(10000.0), mm(1500.0), wall, mm(2.0)).unwrap();
        assert!((yaw.value.get() - 0.182).abs() < 1e-3, "{yaw:?}");
        // 2 sqrt(2) / 1500 = 0.108 deg, with the wall's 0.05: 0.119.
        assert!((yaw.sigma_deg - 0.119).abs() < 1e-3, "{yaw:?}");
    }

    #[test]
    fn what_cannot_be_is_refused() {
        let axle = Axle { left: mm(700.0), right: mm(1400.0) };
        let square = Axle { left: mm(750.0), right: mm(750.0) };
        assert!(
            yaw_by_offsets(axle, square, mm(2600.0), mm(2.0))
                .unwrap_err()
                .to_string()
                .contains("drive the vehicle in again")
        );
        assert!(yaw_by_offsets(square, square, mm(26.0), mm(2.0)).is_err());
        assert!(centre_by_edges(mm(700.0), mm(600.0)).is_err());
        assert!((centre_by_edges(mm(600.0), mm(700.0)).unwrap().get() - 650.0).abs() < 1e-12);
    }
}

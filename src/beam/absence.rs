//! Why there is no cutoff: no beam at all, a beam that misses the wall, or a room too bright to see it.

use crate::bay::LampSetup;
use crate::error::Refusal;
use crate::flag::FlagCode;
use crate::photo::{LinearImage, ShotFacts};
use crate::units::PxPoint;
use crate::wall::{WallView, geometry};

/// Pixels between the blocks that are looked at.
const STRIDE_PX: usize = 24;
/// Distance from the floor line that is left out on either side, mm.
const MARGIN_MM: f64 = 150.0;
/// Samples along either side of a block, whose mean counts.
const BLOCK_SAMPLES: usize = 4;
/// The floor's brightest hundredth against its middle from which a lamp is lit: room light alone leaves 1.2 to 1.5 (own judgement,
/// from rendered floors).
const LIT_FLOOR_RATIO: f64 = 1.9;
/// Fewest places on wall and on floor that tell.
const LEAST_PLACES: usize = 50;
/// Room light in which a low beam's edge drowns, lux: at 10 m it gives 30 to 150 lux just under its cutoff (own judgement).
const DROWNING_LUX: f64 = 250.0;
/// Diffuse reflectance of a light wall.
const WALL_REFLECTANCE: f64 = 0.6;
/// Reflected-light meters' calibration constant K, cd s/m² (ISO 2720: 10.6 to 13.4), and the level where it puts mid-grey.
const METER_K: f64 = 12.5;
const MID_GREY: f64 = 0.18;

/// Replaces "no beam" by what the rest of the photo tells.
pub fn explain(
    refusal: Refusal,
    image: &LinearImage<'_>,
    view: &WallView,
    setup: &LampSetup,
    shot: &ShotFacts,
) -> Refusal {
    if refusal.code != FlagCode::NoBeam {
        return refusal;
    }
    let (wall, floor) = levels(image, view, setup);
    if wall.len() < LEAST_PLACES {
        return refusal;
    }
    let wall_level = wall[wall.len() / 2];
    if floor.len() >= LEAST_PLACES {
        let ratio = f64::from(floor[floor.len() * 99 / 100] / floor[floor.len() / 2].max(1e-5));
        if ratio > LIT_FLOOR_RATIO {
            return Refusal::new(
                FlagCode::ElbowOffWall,
                format!(
                    "no cutoff on the visible wall, but a beam on the floor, {ratio:.1} times as bright as the rest of it"
                ),
                "the beam meets the floor before the wall: raise it by its vertical screw until its edge is on the wall, or \
                 check that the vehicle is not loaded or levelled down, and photograph again",
            );
        }
    }
    match wall_lux(wall_level, shot) {
        Some(lux) if lux > DROWNING_LUX => Refusal::new(
            FlagCode::AmbientTooStrong,
            format!(
                "no beam can be told from the room's light, about {lux:.0} lux on the wall, need under {DROWNING_LUX:.0} lux"
            ),
            "darken the room (close the gate, switch off the lights) and photograph again",
        ),
        _ => refusal,
    }
}

/// Light of wall and floor, each rising.
fn levels(image: &LinearImage<'_>, view: &WallView, setup: &LampSetup) -> (Vec<f32>, Vec<f32>) {
    let (mut wall, mut floor) = (Vec::new(), Vec::new());
    let line = geometry::floor_line_mm(setup);
    let mean = |x: usize, y: usize| {
        let places = (0..BLOCK_SAMPLES * BLOCK_SAMPLES).map(|k| (k % BLOCK_SAMPLES, k / BLOCK_SAMPLES));
        let step = STRIDE_PX / BLOCK_SAMPLES;
        let sum: f32 = places.map(|(i, j)| image.luminance(x + i * step, y + j * step)).sum();
        sum / (BLOCK_SAMPLES * BLOCK_SAMPLES) as f32
    };
    let middle = STRIDE_PX as f64 / 2.0;
    for y in (0..image.photo().height().saturating_sub(STRIDE_PX)).step_by(STRIDE_PX) {
        for x in (0..image.photo().width().saturating_sub(STRIDE_PX)).step_by(STRIDE_PX) {
            let height = view.to_wall(PxPoint::new(x as f64 + middle, y as f64 + middle)).y_mm - line;
            if height > MARGIN_MM {
                wall.push(mean(x, y));
            } else if height < -MARGIN_MM {
                floor.push(mean(x, y));
            }
        }
    }
    wall.sort_by(f32::total_cmp);
    floor.sort_by(f32::total_cmp);
    (wall, floor)
}

/// Illuminance of the wall from the photo's exposure: `L = K·N²/(t·S)` at mid-grey, `E = pi·L/rho`.
fn wall_lux(level: f32, shot: &ShotFacts) -> Option<f64> {
    let n = shot.f_number?;
    let luminance = f64::from(level) / MID_GREY * METER_K * n * n / (shot.exposure_s? * f64::from(shot.iso?));
    Some(std::f64::consts::PI * luminance / WALL_REFLECTANCE)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn exposure_tells_illuminance() {
        // Photometry by hand: f/1.8, 1/526 s, ISO 100 puts 213 cd/m² at mid-grey, that is 1115 lux on a wall of 0.6.
        let shot = ShotFacts { exposure_s: Some(0.0019), iso: Some(100), f_number: Some(1.8), ..ShotFacts::default() };
        let lux = wall_lux(0.18, &shot).unwrap();
        assert!((lux - 1116.0).abs() < 2.0, "{lux}");
    }
}

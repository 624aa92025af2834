//! What is worth a flag beside the numbers.

use super::edge_features::{Variants, shift, spill_shift};
use super::features::{BeamFeatures, HotSpot, Pattern};
use super::hotspot::NotSeen;
use super::input::BeamInput;
use super::lines::CutoffShape;
use super::options::BeamOptions;
use super::other_lamp::spill_flag;
use super::room::RoomLight;
use crate::flag::{Flag, FlagCode};
use crate::units::Mm;

/// Softest legal edge (UN R112).
const SOFT_G: f64 = 0.13;
/// Encoded light below the cutoff that is far from the advised half to 0.8 of full scale, and the exponent from light to code
/// (sRGB is within two percent of it here).
const ENCODING: f64 = 1.0 / 2.2;
/// Distance below which a large projector smears its edge on the wall.
const NEAR_WALL: Mm = Mm::new(9_900.0);
/// By how much it raises the cutoff there, degrees (own renders of apertures of 40 to 70 mm); a lens's own width, seen as an
/// angle, goes with one over the distance.
const SMEARED_DEG: (f64, f64) = (0.02, 0.1);
const SMEARED_AT: Mm = Mm::new(7_620.0);

pub(super) fn flag(
    features: &mut BeamFeatures,
    found: &CutoffShape,
    variants: &Variants,
    room: &RoomLight,
    input: &BeamInput<'_>,
) {
    // What one standard uncertainty of the room's light moves, taken to all of it.
    let room_shift = shift(found, variants.room.as_ref(), |s| Some(s.flat.v0_deg)) * room.base / room.sigma.max(1e-9);
    if !input.is_ambient_subtracted && room_shift > input.options.limits.room_flag_deg {
        features.flags.push(Flag::new(
            FlagCode::RoomLight,
            format!("the room's light moves the cutoff by {room_shift:.2} degrees (corrected); darken the room or take an ambient photo"),
        ));
    }
    if let Some(moved) = spill_shift(found, variants, |s| Some(s.flat.v0_deg)) {
        features.flags.push(spill_flag(moved));
    }
    features.flags.extend(exposure(found.flat.high, input.options));
    if input.setup.distance.get() < NEAR_WALL.get() {
        features.flags.push(Flag::new(
            FlagCode::NearWall,
            format!(
                "the wall is {:.1} m away: a large projector lens can raise the cutoff by {:.2} to {:.2} degrees there (not in u)",
                input.setup.distance.get() / 1000.0,
                SMEARED_DEG.0 * SMEARED_AT.get() / input.setup.distance.get(),
                SMEARED_DEG.1 * SMEARED_AT.get() / input.setup.distance.get()
            ),
        ));
    }
    if let Some(cutoff) = &features.cutoff
        && cutoff.sharpness_g < SOFT_G
    {
        features.flags.push(Flag::new(
            FlagCode::SoftCutoff,
            format!("sharpness G = {:.3}, UN R112 asks for 0.13", cutoff.sharpness_g),
        ));
    }
    if found.flat.texture > input.options.limits.uneven_texture {
        features.flags.push(Flag::new(
            FlagCode::UnevenWall,
            format!(
                "joints, bricks or paint change the wall's brightness by {:.0} % around the cutoff",
                100.0 * found.flat.texture
            ),
        ));
    }
    if input.pattern == Pattern::Kink && features.elbow.is_none() {
        features.flags.push(Flag::plain(FlagCode::ElbowNotMeasured));
    }
}

/// What is said of an exposure far from the advised one; `high` is the light just below the cutoff, relative to full scale.
fn exposure(high: f64, options: &BeamOptions) -> Option<Flag> {
    let brightness = high.clamp(0.0, 1.0).powf(ENCODING);
    let advice = match brightness {
        dark if dark < options.limits.dark_exposure => "expose more",
        bright if bright > options.limits.bright_exposure => "expose less",
        _ => return None,
    };
    Some(Flag::new(
        FlagCode::Exposure,
        format!(
            "the wall just below the cutoff is at about {brightness:.2} of full scale, where the camera's tone curve is known \
             worse; {advice}, so that it is at half to 0.8"
        ),
    ))
}

pub(super) fn keep_hot_spot(features: &mut BeamFeatures, spot: Result<HotSpot, NotSeen>) {
    let flag = match &spot {
        Err(NotSeen::TooLittle) => Some(Flag::new(
            FlagCode::HotSpotNotMeasured,
            "the hot spot could not be measured: too little of the lamp's light is on the visible wall",
        )),
        Err(NotSeen::AtTheRim) => Some(Flag::new(
            FlagCode::HotSpotNotMeasured,
            "the hot spot could not be measured: the light still grows at the edge of the visible wall, so that the \
             brightest place may lie beyond it, on the floor or outside the photo",
        )),
        Err(NotSeen::OtherLamp) => Some(Flag::new(
            FlagCode::HotSpotNotMeasured,
            "the hot spot could not be measured: the brightest place stands under the vehicle's other lamp; cover that lamp and \
             photograph again",
        )),
        Ok(spot) if spot.is_clipped => Some(Flag::plain(FlagCode::HotSpotClipped)),
        Ok(_) => None,
    };
    features.flags.extend(flag);
    features.hot_spot = spot.ok();
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Codes of light by the sRGB curve (IEC 61966-2-1): 0.21 is half, 0.60 is 0.8, 0.03 is 0.19, 0.95 is 0.98.
    #[test]
    fn an_exposure_far_from_the_advised_one_is_named() {
        for advised in [0.21, 0.4, 0.60] {
            assert_eq!(exposure(advised, &BeamOptions::default()), None, "{advised}");
        }
        for (light, advice) in
            [(0.0, "expose more"), (0.03, "expose more"), (0.95, "expose less"), (1.4, "expose less")]
        {
            let flag = exposure(light, &BeamOptions::default()).unwrap();
            assert!(flag.code == FlagCode::Exposure && flag.text.contains(advice), "{light}: {}", flag.text);
        }
    }
}

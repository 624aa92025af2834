//! The beam stage: from the angle grid to features with budgets, or a refusal.

use super::edge_features::{IMAGE_PARTS, Variants, cutoff, drawn_line, elbow, is_of_use, rise};
use super::edge_line::EdgeLine;
use super::features::{BeamFeatures, HotSpot, Pattern};
use super::hotspot::NotSeen;
use super::input::BeamInput;
use super::light::{LightGrid, ToneCurve};
use super::lines::CutoffShape;
use super::look::{Seen, dark_level, flat_side, look, no_beam};
use super::notes::{flag, keep_hot_spot};
use super::options::BeamOptions;
use super::other_lamp::{second_lamp, second_spot, spill};
use super::room::RoomLight;
use super::seen::{BeamSeen, profiles};
use super::spot_features::{bright_zone, hot_spot, hot_spot_under};
use super::wall_gains::WallGains;
use crate::error::Refusal;
use crate::flag::{Flag, FlagCode};
use crate::grid::AngleGrid;
use crate::units::{AnglePoint, Deg};
use crate::wall::geometry::wall_point;

/// Measures the beam's features.
pub fn measure(grid: &AngleGrid, input: &BeamInput<'_>) -> Result<BeamFeatures, Refusal> {
    measure_seen(grid, input, None)
}

/// As [`measure`], and keeps what was seen on the way in `kept`, also when it ends in a refusal.
pub fn measure_seen(
    grid: &AngleGrid,
    input: &BeamInput<'_>,
    mut kept: Option<&mut BeamSeen>,
) -> Result<BeamFeatures, Refusal> {
    check_white(grid, input.options)?;
    let tone = ToneCurve::new(input.tone.strength);
    let light = LightGrid::new(grid, &tone).with_blur(blur_deg(input));
    let mut features = BeamFeatures::default();
    if input.pattern == Pattern::Spot {
        let room = dark_level(&light);
        if let Some(kept) = kept {
            *kept = BeamSeen { room: Some(room), tone_strength: tone.strength(), ..BeamSeen::default() };
        }
        let spot = hot_spot(&light, &room, None, input);
        if spot.as_ref().is_err_and(|why| *why == NotSeen::TooLittle) {
            return Err(no_beam(0.0, input.options));
        }
        keep_hot_spot(&mut features, spot);
        features.bright_zone = features.hot_spot.as_ref().and_then(|spot| bright_zone(&light, &room, spot, input));
        return Ok(features);
    }
    let side = flat_side(input);
    let mut seen = look(&light, &tone, side, input, kept.as_deref_mut())?;
    let is_rough = seen.found.flat.texture > input.options.rows.rough_wall;
    let gains = WallGains::of(&light, &seen.looked, is_rough, input.options);
    let light = light.with_gains(gains.as_ref());
    if gains.is_some() {
        seen = look(&light, &tone, side, input, kept.as_deref_mut())?;
    }
    let Seen { hinge, room, mut found, .. } = seen;
    found.hold_against_wall(&light, input.options);
    if let Some(kept) = kept {
        kept.is_evened = gains.is_some();
        kept.profiles = profiles(&light, &room, &found, input.options);
        kept.shape = Some(found.clone());
    }
    check_edges(&found.flat, input.options)?;
    let (variants, spot) = rayon::join(
        || {
            let spill = spill(&light, &found, (&hinge, side), input.setup, input.options);
            Variants::new(&light, input, (&hinge, side), &room, &found, spill)
        },
        || hot_spot_under(&light, &room, &found, (&hinge, side), input),
    );
    features.cutoff = Some(cutoff(&found, &variants, input));
    features.elbow = elbow(&found, &variants, input).filter(|elbow| is_of_use(elbow, &hinge, input.options));
    features.rise = rise(&found, features.elbow.as_ref());
    features.cutoff_line = drawn_line(&found);
    check_uncertainty(&features, &room, &found, input.options)?;
    // A bend that is of no use as an elbow still says whose it is.
    let bend = found.elbow.map_or(hinge.h_deg, |elbow| elbow.0);
    let other = if input.pattern == Pattern::Kink { second_lamp(Deg::new(bend), input.setup) } else { None };
    let is_other = other.is_some();
    if let Some(why) = other.or_else(|| slanting(&features, input.options)) {
        // What was read beside that elbow is not this lamp's either.
        (features.cutoff, features.elbow, features.rise) = (None, None, None);
        features.cutoff_line.clear();
        features.flags.push(why);
        if is_other {
            features.flags.push(Flag::plain(FlagCode::CutoffNotMeasured));
        }
    }
    flag(&mut features, &found, &variants, &room, input);
    keep_hot_spot(&mut features, if is_other { Err(NotSeen::OtherLamp) } else { spot_of_this_lamp(spot, input) });
    Ok(features)
}

/// The photo's blur as an angle, standard deviation, degrees; measured up and down about where cutoffs stand, and 0 where no tag
/// told of it.
fn blur_deg(input: &BeamInput<'_>) -> f64 {
    /// Directions between which pixels are counted, degrees.
    const BETWEEN_DEG: (f64, f64) = (-1.0, 0.0);
    let place = |v: f64| wall_point(input.setup, AnglePoint::new(0.0, v)).map(|point| input.view.to_px(point));
    let scale = place(BETWEEN_DEG.0).zip(place(BETWEEN_DEG.1)).map(|(low, high)| low.distance(high));
    match (input.blur_px, scale) {
        (Some(blur_px), Some(px)) if px > 0.0 => blur_px * (BETWEEN_DEG.1 - BETWEEN_DEG.0) / px,
        _ => 0.0,
    }
}

/// A flat part that slants as no vehicle stands: the rising part was taken for it.
fn slanting(features: &BeamFeatures, options: &BeamOptions) -> Option<Flag> {
    let tilt = features.cutoff.as_ref()?.tilt.get();
    (tilt.abs() > options.limits.largest_tilt_deg).then(|| {
        Flag::new(
            FlagCode::CutoffNotMeasured,
            format!(
                "the cutoff could not be measured: where its flat part was looked for it slants by {tilt:+.1} degrees; check \
                 --traffic (right: the flat part lies on the left) and --pattern"
            ),
        )
    })
}

/// The hot spot, unless it stands under the other lamp.
fn spot_of_this_lamp(spot: Result<HotSpot, NotSeen>, input: &BeamInput<'_>) -> Result<HotSpot, NotSeen> {
    let is_other = |spot: &HotSpot| second_spot(spot.h.value, input.setup);
    spot.and_then(|spot| if is_other(&spot) { Err(NotSeen::OtherLamp) } else { Ok(spot) })
}

fn check_white(grid: &AngleGrid, options: &BeamOptions) -> Result<(), Refusal> {
    let (mut valid, mut white) = (0usize, 0usize);
    for (is_valid, clipped) in grid.is_valid.iter().zip(&grid.clipped) {
        valid += usize::from(*is_valid);
        white += usize::from(*is_valid && *clipped > 0.5);
    }
    if valid == 0 {
        return Err(Refusal::new(
            FlagCode::NoBeam,
            "none of the wall in front of the lamp is in the photo",
            "photograph the wall straight in front of the lamp, with all marks in the picture",
        ));
    }
    let share = white as f64 / valid as f64;
    if share > options.limits.all_white_share {
        return Err(Refusal::new(
            FlagCode::AllWhite,
            format!(
                "{:.0} % of the wall is overexposed, need under {:.0} %",
                100.0 * share,
                100.0 * options.limits.all_white_share
            ),
            "lower the exposure (tap the bright spot, slide down) and photograph again",
        ));
    }
    Ok(())
}

fn check_edges(flat: &EdgeLine, options: &BeamOptions) -> Result<(), Refusal> {
    let clipped = flat.clipped;
    if clipped > options.limits.clipped_at_cutoff_share {
        return Err(Refusal::new(
            FlagCode::ClippedAtCutoff,
            format!(
                "{:.0} % of the light at the cutoff is overexposed, need under {:.0} %",
                100.0 * clipped,
                100.0 * options.limits.clipped_at_cutoff_share
            ),
            "lower the exposure so that the wall just below the cutoff is not white, and photograph again",
        ));
    }
    let g = flat.g_as_seen;
    if g < options.limits.blurred_g {
        return Err(Refusal::new(
            FlagCode::Blurred,
            format!("the cutoff's sharpness is G = {g:.3}, need at least {}", options.limits.blurred_g),
            "hold the phone still against something, focus on the wall, wipe the lens, and photograph again",
        ));
    }
    Ok(())
}

fn check_uncertainty(
    features: &BeamFeatures,
    room: &RoomLight,
    found: &CutoffShape,
    options: &BeamOptions,
) -> Result<(), Refusal> {
    let Some(cutoff) = &features.cutoff else { return Ok(()) };
    let image_u = 2.0 * cutoff.v.budget.sigma_of_deg(&IMAGE_PARTS);
    let high = found.flat.high;
    if image_u > options.limits.largest_image_u_deg {
        let ratio = room.base / high.max(1e-9);
        let code = if ratio > 0.3 { FlagCode::AmbientTooStrong } else { FlagCode::Blurred };
        return Err(Refusal::new(
            code,
            format!(
                "the photo places the cutoff to ±{image_u:.2} degrees only, need ±{}; room light is {:.0} % of the beam's",
                options.limits.largest_image_u_deg,
                100.0 * ratio
            ),
            // What no steadier hand and no darker room would mend is the wall's own.
            if found.flat.texture > options.limits.uneven_texture {
                "the wall is uneven where the cutoff falls (joints, bricks, paint): use an even, plain part of a wall, darken the \
                 room, and photograph again"
            } else {
                "darken the room, hold the phone still, and photograph again; or take an ambient photo with the lamp off"
            },
        ));
    }
    Ok(())
}

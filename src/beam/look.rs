//! The first look made good: where the cutoff runs, how bright the room is, and the lines that are fitted under both.

use super::coarse::{CoarsePlace, Hinge, find_hinge, hinge_height, places, robust_line, smooth};
use super::features::Pattern;
use super::input::BeamInput;
use super::light::{LightGrid, ToneCurve};
use super::lines::{CutoffShape, ScanPlan, flat_stretch, shape};
use super::options::BeamOptions;
use super::room::{self, RoomLight};
use super::seen::BeamSeen;
use crate::bay::Traffic;
use crate::error::Refusal;
use crate::flag::FlagCode;

/// What one look at the beam gives.
pub(super) struct Seen {
    pub(super) looked: Vec<CoarsePlace>,
    pub(super) hinge: Hinge,
    pub(super) room: RoomLight,
    pub(super) found: CutoffShape,
}

pub(super) fn look(
    light: &LightGrid<'_>,
    tone: &ToneCurve,
    side: f64,
    input: &BeamInput<'_>,
    mut kept: Option<&mut BeamSeen>,
) -> Result<Seen, Refusal> {
    let looked = smooth(&places(light, -7.5, 7.5, input.options));
    if let Some(kept) = kept.as_deref_mut() {
        *kept = BeamSeen { looked: looked.clone(), side, tone_strength: tone.strength(), ..BeamSeen::default() };
    }
    if input.is_ambient_subtracted && looked.iter().all(|place| place.below < input.options.look.least_left) {
        return Err(Refusal::new(
            FlagCode::NoBeam,
            "no beam is left once the ambient photo is taken off: the lamp was on in the ambient photo, or off in both",
            "take the ambient photo with the lamp off, from the same place, and measure again",
        ));
    }
    let hinge = coarse_hinge(&looked, input.pattern, side, input.options)?;
    if let Some(kept) = kept.as_deref_mut() {
        kept.hinge = Some(hinge);
    }
    check_beam(&looked, &hinge, side, input.pattern, input.options)?;
    let room = room_light(light, tone, (&hinge, side), input, None);
    if let Some(kept) = kept {
        kept.room = Some(room);
    }
    let found =
        read(light, &room, &hinge, side, input.pattern, input.options).ok_or_else(|| no_beam(0.0, input.options))?;
    Ok(Seen { looked, hinge, room, found })
}

pub(super) fn flat_side(input: &BeamInput<'_>) -> f64 {
    match (input.pattern, input.traffic) {
        (Pattern::Kink, Traffic::Left) | (Pattern::RightCutoff, _) => 1.0,
        _ => -1.0,
    }
}

/// The coarse course of the cutoff: a hinge for a kink, a line for the level patterns.
fn coarse_hinge(looked: &[CoarsePlace], pattern: Pattern, side: f64, options: &BeamOptions) -> Result<Hinge, Refusal> {
    if pattern == Pattern::Kink {
        return find_hinge(looked, side, options).ok_or_else(|| {
            Refusal::new(
                FlagCode::ElbowOffWall,
                "the beam's elbow is not on the visible wall",
                "move the camera or the vehicle so that the elbow and 3 degrees on either side of it are on the wall",
            )
        });
    }
    let (centre, reach) = level_window(pattern);
    let strongest = looked.iter().map(|p| p.fall).fold(0.0, f64::max);
    let near: Vec<(f64, f64)> = looked
        .iter()
        .filter(|p| (p.h_deg - centre).abs() <= reach && p.fall > 0.2 * strongest)
        .map(|p| (p.h_deg - centre, p.v_deg))
        .collect();
    if near.len() < 6 {
        return Err(no_beam(strongest, options));
    }
    let (v_deg, tilt) = robust_line(&near, options);
    Ok(Hinge { h_deg: centre - side * 2.0, v_deg: v_deg - side * 2.0 * tilt, tilt, slope: 0.0, cap_deg: 9.0 })
}

/// Scan position and half width of the level patterns, degrees.
pub(super) fn level_window(pattern: Pattern) -> (f64, f64) {
    match pattern {
        Pattern::LeftCutoff => (-2.5, 1.0),
        Pattern::RightCutoff => (2.0, 1.0),
        _ => (0.0, 2.0),
    }
}

/// Refuses what is no beam. A weak fall at a place on which the columns agree is a beam that drowns in the room's light; texture
/// falls anywhere.
fn check_beam(
    looked: &[CoarsePlace],
    hinge: &Hinge,
    side: f64,
    pattern: Pattern,
    options: &BeamOptions,
) -> Result<(), Refusal> {
    let centre = if pattern == Pattern::Kink { hinge.h_deg + side * 2.0 } else { level_window(pattern).0 };
    let near: Vec<&CoarsePlace> = looked.iter().filter(|p| (p.h_deg - centre).abs() <= 1.2).collect();
    let median = |mut values: Vec<f64>| {
        values.sort_by(f64::total_cmp);
        values.get(values.len() / 2).copied()
    };
    let fall = median(near.iter().map(|p| p.fall).collect()).unwrap_or(0.0);
    if fall >= options.look.least_fall {
        return Ok(());
    }
    let astray = median(near.iter().map(|p| (p.v_deg - hinge_height(hinge, p.h_deg, side)).abs()).collect());
    if fall >= options.look.weak_fall && astray.is_some_and(|astray| astray < options.look.agreed_deg) {
        return Err(Refusal::new(
            FlagCode::AmbientTooStrong,
            format!(
                "the beam's edge falls by {:.0} % only, need {:.0} %: the room's light is too strong for this lamp",
                100.0 * (1.0 - (-fall).exp()),
                100.0 * (1.0 - (-options.look.least_fall).exp())
            ),
            "darken the room (close the gate, switch off the lights) and photograph again",
        ));
    }
    Err(no_beam(fall, options))
}

pub(super) fn no_beam(fall: f64, options: &BeamOptions) -> Refusal {
    Refusal::new(
        FlagCode::NoBeam,
        format!(
            "no beam of the expected pattern on the wall: the strongest edge falls by {:.0} %, need {:.0} %",
            100.0 * (1.0 - (-fall).exp()),
            100.0 * (1.0 - (-options.look.least_fall).exp())
        ),
        "switch the lamp on, cover the other lamp, darken the room, and check that the beam meets the wall",
    )
}

/// The level of the darkest tenth of the wall: room light for lamps without a cutoff.
pub(super) fn dark_level(light: &LightGrid<'_>) -> RoomLight {
    let levels = light.sorted_levels(5);
    let base = f64::from(levels.get(levels.len() / 10).copied().unwrap_or(0.0));
    RoomLight::uniform(base, 0.5 * base)
}

pub(super) fn room_light(
    light: &LightGrid<'_>,
    tone: &ToneCurve,
    (hinge, side): (&Hinge, f64),
    input: &BeamInput<'_>,
    found: Option<&RoomLight>,
) -> RoomLight {
    if input.is_ambient_subtracted {
        return RoomLight::subtracted(input.options.room.after_subtraction);
    }
    let centre = (hinge.h_deg + side * 2.0, hinge.v_deg);
    let cutoff = |h: f64| hinge_height(hinge, h, side);
    let gain = |h: f64, v: f64| light.gain_at(h, v);
    room::estimate(input.far, tone, centre, &cutoff, found, &gain, input.options).unwrap_or_else(|| dark_level(light))
}

fn read(
    light: &LightGrid<'_>,
    room: &RoomLight,
    hinge: &Hinge,
    side: f64,
    pattern: Pattern,
    options: &BeamOptions,
) -> Option<CutoffShape> {
    if pattern == Pattern::Kink {
        return shape(light, room, hinge, side, options);
    }
    let (centre, reach) = level_window(pattern);
    let plan = ScanPlan { from_deg: centre - reach, to_deg: centre + reach, step_deg: 0.2, half_width_deg: 0.1 };
    let v0_deg = hinge.v_deg + hinge.tilt * (centre - hinge.h_deg);
    flat_stretch(light, room, &plan, v0_deg, hinge.tilt, options)
}

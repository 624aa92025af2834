//! Hot spot and bright zone with their budgets.

use super::bright_zone::{self, Way};
use super::coarse::{Hinge, hinge_height};
use super::features::{BrightZone, HotSpot, Pattern};
use super::hotspot::{self, BandsOnWall, NotSeen, SpotInput};
use super::input::BeamInput;
use super::light::{LightGrid, ToneCurve};
use super::lines::CutoffShape;
use super::room::RoomLight;
use super::setup_budget::{Component, add_geometry};
use crate::measured::{Budget, Measured};
use crate::units::{AnglePoint, Deg};

/// ln of the lens's whole fall-off (cos⁴) in a direction.
fn ln_fall_off(input: &BeamInput<'_>, h: f64, v: f64) -> f64 {
    let Some(wall) = crate::wall::geometry::wall_point(input.setup, AnglePoint::new(h, v)) else { return 0.0 };
    let place = input.view.to_px(wall);
    let r = (place.x - input.centre_px.0).hypot(place.y - input.centre_px.1) / input.focal_px;
    -2.0 * (r * r).ln_1p()
}

/// Cosine and sine of the bands' phase in a direction; zeros where the wall is not met.
fn bands_phase(input: &BeamInput<'_>, h: f64, v: f64) -> [f64; 2] {
    let wall = crate::wall::geometry::wall_point(input.setup, AnglePoint::new(h, v));
    let Some((wall, bands)) = wall.zip(input.bands) else { return [0.0; 2] };
    let place = input.view.to_px(wall);
    bands.phase(place.x / (2.0 * input.centre_px.0), place.y / (2.0 * input.centre_px.1))
}

/// Top and left edge of the bright zone around a hot spot.
pub(super) fn bright_zone(
    light: &LightGrid<'_>,
    room: &RoomLight,
    spot: &HotSpot,
    input: &BeamInput<'_>,
) -> Option<BrightZone> {
    let (h, v) = (spot.h.value.get(), spot.v.value.get());
    let read = |way: Way, component: Component| {
        let edge = bright_zone::edge(light, room, (h, v), way, &|h, v| ln_fall_off(input, h, v), input.options)?;
        let at = if way == Way::Up { AnglePoint::new(h, edge.at_deg) } else { AnglePoint::new(edge.at_deg, v) };
        let mut budget = Budget::new();
        add_geometry(&mut budget, input.view, input.setup, at, component);
        budget.add("edge fit", edge.fit_sigma_deg);
        budget.add("wall reflectance", edge.texture_sigma_deg);
        budget.add("room light", edge.room_sigma_deg);
        Some(Measured { value: Deg::new(edge.at_deg), budget })
    };
    Some(BrightZone { top_v: read(Way::Up, Component::V)?, left_h: read(Way::Left, Component::H)? })
}

pub(super) fn hot_spot(
    light: &LightGrid<'_>,
    room: &RoomLight,
    cutoff: Option<hotspot::UnderCutoff<'_>>,
    input: &BeamInput<'_>,
) -> Result<HotSpot, NotSeen> {
    let ln_fall_off = |h: f64, v: f64| ln_fall_off(input, h, v);
    let tones = (
        ToneCurve::new(input.tone.strength),
        ToneCurve::new(input.tone.strength + input.tone.sigma.max(input.options.spot.least_tone_sigma)),
    );
    let phase = |h: f64, v: f64| bands_phase(input, h, v);
    let bands = input.bands.map(|bands| BandsOnWall { wave: bands.wave, phase: &phase });
    let spot = hotspot::find(&SpotInput {
        options: input.options,
        grid: light.grid,
        tones: (&tones.0, &tones.1),
        room,
        gain: &|h, v| light.gain_over_many_rows(h, v),
        cutoff,
        ln_fall_off: &ln_fall_off,
        bands,
    })?;
    let at = AnglePoint::new(spot.h_deg, spot.v_deg);
    let mut budget_h = Budget::new();
    add_geometry(&mut budget_h, input.view, input.setup, at, Component::H);
    budget_h.add("spot fit", spot.sigma_h_deg);
    let mut budget_v = Budget::new();
    add_geometry(&mut budget_v, input.view, input.setup, at, Component::V);
    budget_v.add("spot fit", spot.sigma_v_deg);
    Ok(HotSpot {
        h: Measured { value: Deg::new(spot.h_deg), budget: budget_h },
        v: Measured { value: Deg::new(spot.v_deg), budget: budget_v },
        is_clipped: spot.is_clipped,
    })
}

/// The hot spot under a cutoff that was read.
pub(super) fn hot_spot_under(
    light: &LightGrid<'_>,
    room: &RoomLight,
    found: &CutoffShape,
    (hinge, side): (&Hinge, f64),
    input: &BeamInput<'_>,
) -> Result<HotSpot, NotSeen> {
    let flat = |h: f64| found.flat.at(h);
    // The hinge's own course over the rise: the rising line has no end where a shelf does.
    let line = |h: f64| found.flat.at(h) + hinge_height(hinge, h, side) - hinge.v_deg - hinge.tilt * (h - hinge.h_deg);
    let cutoff = hotspot::UnderCutoff {
        flat: &flat,
        line: &line,
        softness_deg: found.flat.softness_deg,
        elbow_h_deg: found.elbow.map(|elbow| elbow.0),
        hot_side: if input.pattern == Pattern::Flat { 0.0 } else { -side },
    };
    hot_spot(light, room, Some(cutoff), input)
}

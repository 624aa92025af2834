//! The beam stage: from the angle grid to features with budgets, or a refusal.

use super::bright_zone::{self, Way};
use super::coarse::{CoarsePlace, Hinge, find_hinge, hinge_height, places, robust_line, smooth};
use super::edge_line::EdgeLine;
use super::features::{BeamFeatures, BrightZone, Cutoff, Elbow, HotSpot, Pattern};
use super::hotspot::{self, NotSeen, SpotInput};
use super::light::{LightGrid, ToneCurve};
use super::lines::{CutoffShape, ScanPlan, again, flat_stretch, shape};
use super::room::{self, RoomLight};
use super::rows::row_gains;
use super::setup_budget::{Component, add_geometry};
use super::tone::ToneKnowledge;
use crate::bay::{LampSetup, Traffic};
use crate::error::Refusal;
use crate::flag::{Flag, FlagCode};
use crate::grid::{AngleGrid, FarSample};
use crate::measured::{Budget, Measured};
use crate::units::{AnglePoint, Deg, Mm};
use crate::wall::WallView;

/// What the beam stage needs beside the grid.
#[derive(Debug, Clone, Copy)]
pub struct BeamInput<'a> {
    /// Coarse samples of the whole visible wall.
    pub far: &'a [FarSample],
    /// The wall in the photo.
    pub view: &'a WallView,
    /// The lamp's set-up.
    pub setup: &'a LampSetup,
    /// What is looked for.
    pub pattern: Pattern,
    /// Side of the road.
    pub traffic: Traffic,
    /// The tone curve.
    pub tone: ToneKnowledge,
    /// Whether the room's light was subtracted with an ambient photo.
    pub is_ambient_subtracted: bool,
    /// Focal length in pixels of the photo and its centre, for the lens's fall-off.
    pub focal_px: f64,
    /// Centre of the upright photo, pixels.
    pub centre_px: (f64, f64),
}

/// Fall of natural log light across the cutoff below which there is no beam (the 5 sigma edge of a textured wall).
const LEAST_FALL: f64 = 0.30;
/// A weaker fall may still be a beam in a bright room, where the columns' places agree within the second figure, degrees.
const WEAK_FALL: f64 = 0.03;
const AGREED_DEG: f64 = 0.08;
/// Share of clipped cells above which the photo counts as white all over.
const ALL_WHITE_SHARE: f64 = 0.5;
/// Share of clipped light at the cutoff that refuses the photo.
const CLIPPED_AT_CUTOFF_SHARE: f64 = 0.10;
/// Image part of the cutoff's expanded uncertainty that refuses the photo, degrees (UN R19: three settings within 0.2).
const LARGEST_IMAGE_U_DEG: f64 = 0.2;
/// Sharpness below which the photo counts as blurred: half of the softest legal edge (UN R112: 0.13).
const BLURRED_G: f64 = 0.055;
/// Softest legal edge (UN R112).
const SOFT_G: f64 = 0.13;
/// Share of the edge's softness by which the model's shape may misplace the cutoff (own judgement, checked on scenes).
const SHAPE_SHARE: f64 = 0.05;
/// The same for the flat line's tilt, per degree of distance from its anchor.
const TILT_SHARE: f64 = 0.03;
/// What straight lines leave over at a real elbow, horizontally, degrees (own judgement, from photos with known truth).
const ELBOW_FLOOR_DEG: f64 = 0.03;
/// Standard uncertainty of the elbow's H from which it is not stated, and its distance from the first look's bend, degrees.
const LARGEST_ELBOW_SIGMA_DEG: f64 = 0.6;
const FARTHEST_ELBOW_DEG: f64 = 1.5;
/// Texture of the wall that is worth a flag.
const UNEVEN_TEXTURE: f64 = 0.06;
/// Encoded light below the cutoff that is far from the advised half to 0.8 of full scale, and the exponent from light to code
/// (sRGB is within two percent of it here).
const FAR_EXPOSURE: (f64, f64) = (0.3, 0.9);
const ENCODING: f64 = 1.0 / 2.2;
/// Room light's effect on the cutoff that is worth a flag, degrees.
const ROOM_FLAG_DEG: f64 = 0.05;
/// Texture from which rows of the wall are compared (joints, painted bands).
const ROUGH_WALL: f64 = 0.03;
/// Distance below which a large projector smears its edge on the wall.
const NEAR_WALL: Mm = Mm::new(9_900.0);

/// Measures the beam's features.
pub fn measure(grid: &AngleGrid, input: &BeamInput<'_>) -> Result<BeamFeatures, Refusal> {
    check_white(grid)?;
    let tone = ToneCurve::new(input.tone.strength);
    let light = LightGrid::new(grid, &tone);
    let mut features = BeamFeatures::default();
    if input.pattern == Pattern::Spot {
        let room = dark_level(&light);
        let spot = hot_spot(&light, &room, None, input);
        if spot.as_ref().is_err_and(|why| *why == NotSeen::TooLittle) {
            return Err(no_beam(0.0));
        }
        keep_hot_spot(&mut features, spot);
        features.bright_zone = features.hot_spot.as_ref().and_then(|spot| bright_zone(&light, &room, spot, input));
        return Ok(features);
    }
    let side = flat_side(input);
    let mut seen = look(&light, &tone, side, input)?;
    let gains = if seen.found.flat.texture > ROUGH_WALL { row_gains(&light, &seen.looked) } else { None };
    let light = light.with_row_gains(gains.as_ref());
    if gains.is_some() {
        seen = look(&light, &tone, side, input)?;
    }
    let Seen { hinge, room, found, .. } = seen;
    check_edges(&found.flat)?;
    let (variants, spot) = rayon::join(
        || Variants::new(&light, input, (&hinge, side), &room, &found),
        || hot_spot_under(&light, &room, &found, (&hinge, side), input),
    );
    features.cutoff = Some(cutoff(&found, &variants, input));
    features.elbow = elbow(&found, &variants, input).filter(|elbow| is_of_use(elbow, &hinge));
    features.rise = rise(&found);
    features.cutoff_line = drawn_line(&found);
    check_uncertainty(&features, &room, &found)?;
    flag(&mut features, &found, &variants, &room, input);
    keep_hot_spot(&mut features, spot);
    Ok(features)
}

/// What one look at the beam gives.
struct Seen {
    looked: Vec<CoarsePlace>,
    hinge: Hinge,
    room: RoomLight,
    found: CutoffShape,
}

fn look(light: &LightGrid<'_>, tone: &ToneCurve, side: f64, input: &BeamInput<'_>) -> Result<Seen, Refusal> {
    let looked = smooth(&places(light, -7.5, 7.5));
    let hinge = coarse_hinge(&looked, input.pattern, side)?;
    check_beam(&looked, &hinge, side, input.pattern)?;
    let room = room_light(light, tone, (&hinge, side), input, None);
    let found = read(light, &room, &hinge, side, input.pattern).ok_or_else(|| no_beam(0.0))?;
    Ok(Seen { looked, hinge, room, found })
}

fn flat_side(input: &BeamInput<'_>) -> f64 {
    match (input.pattern, input.traffic) {
        (Pattern::Kink, Traffic::Left) | (Pattern::RightCutoff, _) => 1.0,
        _ => -1.0,
    }
}

fn check_white(grid: &AngleGrid) -> Result<(), Refusal> {
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
    if share > ALL_WHITE_SHARE {
        return Err(Refusal::new(
            FlagCode::AllWhite,
            format!("{:.0} % of the wall is overexposed, need under {:.0} %", 100.0 * share, 100.0 * ALL_WHITE_SHARE),
            "lower the exposure (tap the bright spot, slide down) and photograph again",
        ));
    }
    Ok(())
}

fn no_beam(fall: f64) -> Refusal {
    Refusal::new(
        FlagCode::NoBeam,
        format!(
            "no beam of the expected pattern on the wall: the strongest edge falls by {:.0} %, need {:.0} %",
            100.0 * (1.0 - (-fall).exp()),
            100.0 * (1.0 - (-LEAST_FALL).exp())
        ),
        "switch the lamp on, cover the other lamp, darken the room, and check that the beam meets the wall",
    )
}

/// The coarse course of the cutoff: a hinge for a kink, a line for the level patterns.
fn coarse_hinge(looked: &[CoarsePlace], pattern: Pattern, side: f64) -> Result<Hinge, Refusal> {
    if pattern == Pattern::Kink {
        return find_hinge(looked, side).ok_or_else(|| {
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
        return Err(no_beam(strongest));
    }
    let (v_deg, tilt) = robust_line(&near);
    Ok(Hinge { h_deg: centre - side * 2.0, v_deg: v_deg - side * 2.0 * tilt, tilt, slope: 0.0, cap_deg: 9.0 })
}

/// Scan position and half width of the level patterns, degrees.
fn level_window(pattern: Pattern) -> (f64, f64) {
    match pattern {
        Pattern::LeftCutoff => (-2.5, 1.0),
        Pattern::RightCutoff => (2.0, 1.0),
        _ => (0.0, 2.0),
    }
}

/// Refuses what is no beam. A weak fall at a place on which the columns agree is a beam that drowns in the room's light; texture
/// falls anywhere.
fn check_beam(looked: &[CoarsePlace], hinge: &Hinge, side: f64, pattern: Pattern) -> Result<(), Refusal> {
    let centre = if pattern == Pattern::Kink { hinge.h_deg + side * 2.0 } else { level_window(pattern).0 };
    let near: Vec<&CoarsePlace> = looked.iter().filter(|p| (p.h_deg - centre).abs() <= 1.2).collect();
    let median = |mut values: Vec<f64>| {
        values.sort_by(f64::total_cmp);
        values.get(values.len() / 2).copied()
    };
    let fall = median(near.iter().map(|p| p.fall).collect()).unwrap_or(0.0);
    if fall >= LEAST_FALL {
        return Ok(());
    }
    let astray = median(near.iter().map(|p| (p.v_deg - hinge_height(hinge, p.h_deg, side)).abs()).collect());
    if fall >= WEAK_FALL && astray.is_some_and(|astray| astray < AGREED_DEG) {
        return Err(Refusal::new(
            FlagCode::AmbientTooStrong,
            format!(
                "the beam's edge falls by {:.0} % only, need {:.0} %: the room's light is too strong for this lamp",
                100.0 * (1.0 - (-fall).exp()),
                100.0 * (1.0 - (-LEAST_FALL).exp())
            ),
            "darken the room (close the gate, switch off the lights) and photograph again",
        ));
    }
    Err(no_beam(fall))
}

/// The level of the darkest tenth of the wall: room light for lamps without a cutoff.
fn dark_level(light: &LightGrid<'_>) -> RoomLight {
    let levels = light.sorted_levels(5);
    let base = f64::from(levels.get(levels.len() / 10).copied().unwrap_or(0.0));
    RoomLight::uniform(base, 0.5 * base)
}

/// What remains of the room's light after subtracting an ambient photo, relative to full scale.
const AFTER_SUBTRACTION: f64 = 2e-4;

fn room_light(
    light: &LightGrid<'_>,
    tone: &ToneCurve,
    (hinge, side): (&Hinge, f64),
    input: &BeamInput<'_>,
    found: Option<&RoomLight>,
) -> RoomLight {
    if input.is_ambient_subtracted {
        return RoomLight::subtracted(AFTER_SUBTRACTION);
    }
    let centre = (hinge.h_deg + side * 2.0, hinge.v_deg);
    let cutoff = |h: f64| hinge_height(hinge, h, side);
    room::estimate(input.far, tone, centre, &cutoff, found).unwrap_or_else(|| dark_level(light))
}

fn read(light: &LightGrid<'_>, room: &RoomLight, hinge: &Hinge, side: f64, pattern: Pattern) -> Option<CutoffShape> {
    if pattern == Pattern::Kink {
        return shape(light, room, hinge, side);
    }
    let (centre, reach) = level_window(pattern);
    let plan = ScanPlan { from_deg: centre - reach, to_deg: centre + reach, step_deg: 0.2, half_width_deg: 0.1 };
    let v0_deg = hinge.v_deg + hinge.tilt * (centre - hinge.h_deg);
    flat_stretch(light, room, &plan, v0_deg, hinge.tilt)
}

fn check_edges(flat: &EdgeLine) -> Result<(), Refusal> {
    let clipped = flat.clipped;
    if clipped > CLIPPED_AT_CUTOFF_SHARE {
        return Err(Refusal::new(
            FlagCode::ClippedAtCutoff,
            format!(
                "{:.0} % of the light at the cutoff is overexposed, need under {:.0} %",
                100.0 * clipped,
                100.0 * CLIPPED_AT_CUTOFF_SHARE
            ),
            "lower the exposure so that the wall just below the cutoff is not white, and photograph again",
        ));
    }
    let g = flat.g;
    if g < BLURRED_G {
        return Err(Refusal::new(
            FlagCode::Blurred,
            format!("the cutoff's sharpness is G = {g:.3}, need at least {BLURRED_G}"),
            "hold the phone still against something, focus on the wall, wipe the lens, and photograph again",
        ));
    }
    Ok(())
}

/// Unevenness of the tone curve about mid-grey, as a share of its strength (own judgement: curves differ by half).
const TONE_LEAN_SHARE: f64 = 0.6;

/// The same reading under other assumptions about room light and tone curve.
struct Variants {
    room: Option<CutoffShape>,
    tone: Option<CutoffShape>,
    lean: Option<CutoffShape>,
}

impl Variants {
    fn new(
        light: &LightGrid<'_>,
        input: &BeamInput<'_>,
        (hinge, side): (&Hinge, f64),
        room: &RoomLight,
        found: &CutoffShape,
    ) -> Self {
        let in_tone = |strength: f64, lean: f64| {
            let curve = ToneCurve::leaning(strength, lean);
            let toned = light.in_tone(&curve);
            let room_toned = room_light(&toned, &curve, (hinge, side), input, Some(room));
            again(&toned, &room_toned, found)
        };
        let ToneKnowledge { strength, sigma } = input.tone;
        let lean = TONE_LEAN_SHARE * strength.abs().max(2.0 * sigma);
        let (tone, (lean, room)) = rayon::join(
            || in_tone(strength + sigma, 0.0),
            || (in_tone(strength, lean), again(light, &room.moved(-1.0), found)),
        );
        Self { room, tone, lean }
    }
}

fn shift(found: &CutoffShape, other: Option<&CutoffShape>, of: impl Fn(&CutoffShape) -> Option<f64>) -> f64 {
    match (of(found), other.and_then(&of)) {
        (Some(a), Some(b)) => (a - b).abs().min(1.0),
        _ => 0.05,
    }
}

/// What the tone curve's strength and shape leave open.
fn tone_shift(found: &CutoffShape, variants: &Variants, of: impl Fn(&CutoffShape) -> Option<f64> + Copy) -> f64 {
    shift(found, variants.tone.as_ref(), of).hypot(shift(found, variants.lean.as_ref(), of))
}

fn cutoff(found: &CutoffShape, variants: &Variants, input: &BeamInput<'_>) -> Cutoff {
    let scan_h = found.flat.h0_deg;
    let of = |s: &CutoffShape| Some(s.flat.at(scan_h));
    let mut budget = Budget::new();
    let at = AnglePoint::new(scan_h, found.flat.v0_deg);
    add_geometry(&mut budget, input.view, input.setup, at, Component::V);
    add_image_v(&mut budget, &found.flat, found.flat.sigma_deg);
    budget.add("room light", shift(found, variants.room.as_ref(), of));
    budget.add("tone curve", tone_shift(found, variants, of));
    Cutoff {
        v: Measured { value: Deg::new(found.flat.v0_deg), budget },
        scan_h: Deg::new(scan_h),
        sharpness_g: found.flat.g,
        tilt: Deg::from_radians(found.flat.slope.atan()),
    }
}

/// Edge fit and wall reflectance of the flat line's V.
fn add_image_v(budget: &mut Budget, flat: &EdgeLine, sigma_deg: f64) {
    budget.add("edge fit", sigma_deg.hypot(SHAPE_SHARE * flat.softness_deg));
    budget.add("wall reflectance", flat.texture_sigma_deg);
}

fn elbow(found: &CutoffShape, variants: &Variants, input: &BeamInput<'_>) -> Option<Elbow> {
    let (h, v) = found.elbow?;
    let rise = found.rise?;
    let at = AnglePoint::new(h, v);
    let mut budget_h = Budget::new();
    add_geometry(&mut budget_h, input.view, input.setup, at, Component::H);
    let steepness = (rise.slope - found.flat.slope).abs().max(0.05);
    let flat_sigma = found.flat.sigma_at(h);
    budget_h.add("edge fit", found.elbow_sigma_deg.hypot(ELBOW_FLOOR_DEG));
    budget_h.add("wall reflectance", found.flat.texture_sigma_deg / steepness);
    let of_h = |s: &CutoffShape| s.elbow.map(|e| e.0);
    budget_h.add("room light", shift(found, variants.room.as_ref(), of_h));
    budget_h.add("tone curve", tone_shift(found, variants, of_h));
    let mut budget_v = Budget::new();
    add_geometry(&mut budget_v, input.view, input.setup, at, Component::V);
    let tilted = TILT_SHARE * found.flat.softness_deg * (h - found.flat.h0_deg);
    add_image_v(&mut budget_v, &found.flat, flat_sigma.hypot(tilted));
    let of_v = |s: &CutoffShape| s.elbow.map(|e| e.1);
    budget_v.add("room light", shift(found, variants.room.as_ref(), of_v));
    budget_v.add("tone curve", tone_shift(found, variants, of_v));
    Some(Elbow {
        h: Measured { value: Deg::new(h), budget: budget_h },
        v: Measured { value: Deg::new(v), budget: budget_v },
    })
}

/// An elbow that is known worse than any rule's limits, or that lies far from where the first look saw a bend, misleads.
fn is_of_use(elbow: &Elbow, hinge: &Hinge) -> bool {
    elbow.h.budget.sigma_deg() < LARGEST_ELBOW_SIGMA_DEG
        && (elbow.h.value.get() - hinge.h_deg).abs() < FARTHEST_ELBOW_DEG
}

fn rise(found: &CutoffShape) -> Option<Measured> {
    let line = found.rise?;
    let mut budget = Budget::new();
    let slope = line.slope.abs();
    budget.add("edge fit", (line.slope_sigma / (1.0 + slope * slope)).to_degrees());
    Some(Measured { value: Deg::from_radians(slope.atan()), budget })
}

fn drawn_line(found: &CutoffShape) -> Vec<AnglePoint> {
    let mut points: Vec<AnglePoint> =
        found.flat.places.iter().map(|(h, _)| AnglePoint::new(*h, found.flat.at(*h))).collect();
    if let Some((h, v)) = found.elbow {
        points.push(AnglePoint::new(h, v));
    }
    if let Some(rise) = found.rise {
        points.extend(found.rise_points.iter().map(|(h, _)| AnglePoint::new(*h, rise.at(*h))));
    }
    points.sort_by(|a, b| a.h.get().total_cmp(&b.h.get()));
    points
}

/// ln of the lens's whole fall-off (cos⁴) in a direction.
fn ln_fall_off(input: &BeamInput<'_>, h: f64, v: f64) -> f64 {
    let Some(wall) = crate::wall::geometry::wall_point(input.setup, AnglePoint::new(h, v)) else { return 0.0 };
    let place = input.view.to_px(wall);
    let r = (place.x - input.centre_px.0).hypot(place.y - input.centre_px.1) / input.focal_px;
    -2.0 * (r * r).ln_1p()
}

/// Top and left edge of the bright zone around a hot spot.
fn bright_zone(light: &LightGrid<'_>, room: &RoomLight, spot: &HotSpot, input: &BeamInput<'_>) -> Option<BrightZone> {
    let (h, v) = (spot.h.value.get(), spot.v.value.get());
    let read = |way: Way, component: Component| {
        let edge = bright_zone::edge(light, room, (h, v), way, &|h, v| ln_fall_off(input, h, v))?;
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

fn hot_spot(
    light: &LightGrid<'_>,
    room: &RoomLight,
    cutoff: Option<hotspot::UnderCutoff<'_>>,
    input: &BeamInput<'_>,
) -> Result<HotSpot, NotSeen> {
    let ln_fall_off = |h: f64, v: f64| ln_fall_off(input, h, v);
    let tones = (
        ToneCurve::new(input.tone.strength),
        ToneCurve::new(input.tone.strength + input.tone.sigma.max(hotspot::LEAST_TONE_SIGMA)),
    );
    let spot = hotspot::find(&SpotInput {
        grid: light.grid,
        tones: (&tones.0, &tones.1),
        room,
        cutoff,
        ln_fall_off: &ln_fall_off,
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
fn hot_spot_under(
    light: &LightGrid<'_>,
    room: &RoomLight,
    found: &CutoffShape,
    (hinge, side): (&Hinge, f64),
    input: &BeamInput<'_>,
) -> Result<HotSpot, NotSeen> {
    let flat = |h: f64| found.flat.at(h);
    // The hinge's own course over the rise: the rising line has no end where a shelf does.
    let line = |h: f64| {
        found.flat.at(h) + super::coarse::hinge_height(hinge, h, side) - hinge.v_deg - hinge.tilt * (h - hinge.h_deg)
    };
    let cutoff = hotspot::UnderCutoff {
        flat: &flat,
        line: &line,
        softness_deg: found.flat.softness_deg,
        elbow_h_deg: found.elbow.map(|elbow| elbow.0),
        hot_side: if input.pattern == Pattern::Flat { 0.0 } else { -side },
    };
    hot_spot(light, room, Some(cutoff), input)
}

/// Parts of the budget that come from the image itself.
const IMAGE_PARTS: [&str; 4] = ["edge fit", "wall reflectance", "room light", "tone curve"];

fn check_uncertainty(features: &BeamFeatures, room: &RoomLight, found: &CutoffShape) -> Result<(), Refusal> {
    let Some(cutoff) = &features.cutoff else { return Ok(()) };
    let image_u = 2.0 * cutoff.v.budget.sigma_of_deg(&IMAGE_PARTS);
    let high = found.flat.high;
    if image_u > LARGEST_IMAGE_U_DEG {
        let ratio = room.base / high.max(1e-9);
        let code = if ratio > 0.3 { FlagCode::AmbientTooStrong } else { FlagCode::Blurred };
        return Err(Refusal::new(
            code,
            format!(
                "the photo places the cutoff to ±{image_u:.2} degrees only, need ±{LARGEST_IMAGE_U_DEG}; room light is {:.0} % of the beam's",
                100.0 * ratio
            ),
            "darken the room, hold the phone still, and photograph again; or take an ambient photo with the lamp off",
        ));
    }
    Ok(())
}

fn flag(
    features: &mut BeamFeatures,
    found: &CutoffShape,
    variants: &Variants,
    room: &RoomLight,
    input: &BeamInput<'_>,
) {
    // What one standard uncertainty of the room's light moves, taken to all of it.
    let room_shift = shift(found, variants.room.as_ref(), |s| Some(s.flat.v0_deg)) * room.base / room.sigma.max(1e-9);
    if !input.is_ambient_subtracted && room_shift > ROOM_FLAG_DEG {
        features.flags.push(Flag::new(
            FlagCode::RoomLight,
            format!("the room's light moves the cutoff by {room_shift:.2} degrees (corrected); darken the room or take an ambient photo"),
        ));
    }
    features.flags.extend(exposure(found.flat.high));
    if input.setup.distance.get() < NEAR_WALL.get() {
        features.flags.push(Flag::new(
            FlagCode::NearWall,
            format!(
                "the wall is {:.1} m away: a large projector lens can raise the cutoff by 0.02 to 0.1 degrees at 7.6 m, more when nearer (not in u)",
                input.setup.distance.get() / 1000.0
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
    if found.flat.texture > UNEVEN_TEXTURE {
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
fn exposure(high: f64) -> Option<Flag> {
    let brightness = high.clamp(0.0, 1.0).powf(ENCODING);
    let advice = match brightness {
        dark if dark < FAR_EXPOSURE.0 => "expose more",
        bright if bright > FAR_EXPOSURE.1 => "expose less",
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

fn keep_hot_spot(features: &mut BeamFeatures, spot: Result<HotSpot, NotSeen>) {
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
            assert_eq!(exposure(advised), None, "{advised}");
        }
        for (light, advice) in
            [(0.0, "expose more"), (0.03, "expose more"), (0.95, "expose less"), (1.4, "expose less")]
        {
            let flag = exposure(light).unwrap();
            assert!(flag.code == FlagCode::Exposure && flag.text.contains(advice), "{light}: {}", flag.text);
        }
    }
}

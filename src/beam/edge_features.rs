//! Cutoff, elbow and rise with their budgets, from the fitted lines and the same lines in other light.

use super::coarse::Hinge;
use super::edge_line::EdgeLine;
use super::features::{Cutoff, Elbow};
use super::input::BeamInput;
use super::light::{LightGrid, ToneCurve};
use super::lines::{CutoffShape, again};
use super::look::room_light;
use super::options::BeamOptions;
use super::other_lamp::Spill;
use super::room::RoomLight;
use super::setup_budget::{Component, add_geometry};
use super::tone::ToneKnowledge;
use crate::measured::{Budget, Measured};
use crate::photo::black::SIGMA_SHARE;
use crate::units::{AnglePoint, Deg};

/// Parts of the budget that come from the image itself.
pub(super) const IMAGE_PARTS: [&str; 6] =
    ["edge fit", "wall reflectance", "room light", "tone curve", "noise at black", "second lamp"];

/// The same reading under other assumptions about room light and tone curve.
pub(super) struct Variants {
    pub(super) room: Option<CutoffShape>,
    pub(super) tone: Option<CutoffShape>,
    pub(super) lean: Option<CutoffShape>,
    /// Under a strong tone curve: the same with a curve of another shape.
    pub(super) shape: Option<Again>,
    /// In a photo whose noise reaches black: the same with more taken off what that added.
    pub(super) black: Option<Again>,
    /// Under the other lamp's light: the same with that much more light in the room.
    pub(super) spill: Option<Again>,
}

/// Another reading that was tried; none where it failed.
pub(super) struct Again(Option<CutoffShape>);

impl Variants {
    pub(super) fn new(
        light: &LightGrid<'_>,
        input: &BeamInput<'_>,
        (hinge, side): (&Hinge, f64),
        room: &RoomLight,
        found: &CutoffShape,
        spill: Option<Spill>,
    ) -> Self {
        let in_curve = |curve: ToneCurve| {
            let toned = light.in_tone(&curve);
            let room_toned = room_light(&toned, &curve, (hinge, side), input, Some(room));
            again(&toned, &room_toned, found, input.options)
        };
        let in_tone = |strength: f64, lean: f64| in_curve(ToneCurve::leaning(strength, lean));
        let ToneKnowledge { strength, sigma, taken_off } = input.tone;
        let lean = input.options.tone.lean_share * (strength + taken_off).abs().max(2.0 * sigma);
        let black = light.grid.dark.as_ref().map(|dark| {
            let darker = light.with_more_black(SIGMA_SHARE as f32);
            // The room's light was told from the same dark wall: it falls with it.
            let room = room.less(SIGMA_SHARE * dark.most_added());
            Again(again(&darker, &room, found, input.options))
        });
        let (tone, (lean, less_room)) = rayon::join(
            || in_tone(strength + sigma, 0.0),
            || (in_tone(strength, lean), again(light, &room.moved(-1.0), found, input.options)),
        );
        let is_strong = strength > input.options.tone.strong;
        let shape = is_strong.then(|| Again(in_curve(ToneCurve::logistic(strength))));
        let spill = spill.map(|spill| Again(again(light, &room.less(-spill.light), found, input.options)));
        Self { room: less_room, tone, lean, shape, black, spill }
    }
}

pub(super) fn shift(found: &CutoffShape, other: Option<&CutoffShape>, of: impl Fn(&CutoffShape) -> Option<f64>) -> f64 {
    match (of(found), other.and_then(&of)) {
        (Some(a), Some(b)) => (a - b).abs().min(1.0),
        _ => 0.05,
    }
}

/// What clipping at black leaves open: none where noise does not reach it.
fn black_shift(found: &CutoffShape, variants: &Variants, of: impl Fn(&CutoffShape) -> Option<f64>) -> Option<f64> {
    variants.black.as_ref().map(|black| shift(found, black.0.as_ref(), of))
}

/// What the other lamp's light moves: none where none is seen.
pub(super) fn spill_shift(
    found: &CutoffShape,
    variants: &Variants,
    of: impl Fn(&CutoffShape) -> Option<f64>,
) -> Option<f64> {
    variants.spill.as_ref().map(|spill| shift(found, spill.0.as_ref(), of))
}

/// Share of the other lamp's shift that counts as its standard uncertainty: the shift itself is not taken off, because its light
/// is known at one height only, and not that it is level there: U is two and a half times the shift.
const SPILL_SHARE: f64 = 1.25;

/// What the tone curve's strength and shape leave open.
fn tone_shift(found: &CutoffShape, variants: &Variants, of: impl Fn(&CutoffShape) -> Option<f64> + Copy) -> f64 {
    /// The curve's shape lies anywhere between the two, or as far again on either side: a rectangle's share.
    const BETWEEN: f64 = 0.58;
    let shape = variants.shape.as_ref().map_or(0.0, |shape| BETWEEN * shift(found, shape.0.as_ref(), of));
    shift(found, variants.tone.as_ref(), of).hypot(shift(found, variants.lean.as_ref(), of)).hypot(shape)
}

pub(super) fn cutoff(found: &CutoffShape, variants: &Variants, input: &BeamInput<'_>) -> Cutoff {
    let scan_h = found.flat.h0_deg;
    let of = |s: &CutoffShape| Some(s.flat.at(scan_h));
    let mut budget = Budget::new();
    let at = AnglePoint::new(scan_h, found.flat.v0_deg);
    add_geometry(&mut budget, input.view, input.setup, at, Component::V);
    add_image_v(&mut budget, &found.flat, found.flat.sigma_deg, input.options);
    budget.add("room light", shift(found, variants.room.as_ref(), of));
    budget.add("tone curve", tone_shift(found, variants, of));
    if let Some(shift) = black_shift(found, variants, of) {
        budget.add("noise at black", shift);
    }
    if let Some(shift) = spill_shift(found, variants, of) {
        budget.add("second lamp", SPILL_SHARE * shift);
    }
    Cutoff {
        v: Measured { value: Deg::new(found.flat.v0_deg), budget },
        scan_h: Deg::new(scan_h),
        sharpness_g: found.flat.g,
        tilt: Deg::from_radians(found.flat.slope.atan()),
    }
}

/// Edge fit and wall reflectance of the flat line's V.
fn add_image_v(budget: &mut Budget, flat: &EdgeLine, sigma_deg: f64, options: &BeamOptions) {
    budget.add("edge fit", sigma_deg.hypot(options.cutoff.shape_share * flat.softness_deg));
    budget.add("wall reflectance", flat.texture_sigma_deg);
}

pub(super) fn elbow(found: &CutoffShape, variants: &Variants, input: &BeamInput<'_>) -> Option<Elbow> {
    let (h, v) = found.elbow?;
    let rise = found.rise?;
    let at = AnglePoint::new(h, v);
    let mut budget_h = Budget::new();
    add_geometry(&mut budget_h, input.view, input.setup, at, Component::H);
    let steepness = (rise.slope - found.flat.slope).abs().max(0.05);
    let flat_sigma = found.flat.sigma_at(h);
    budget_h.add("edge fit", found.elbow_sigma_deg.hypot(input.options.elbow.floor_deg));
    budget_h.add("wall reflectance", found.flat.texture_sigma_deg / steepness);
    let of_h = |s: &CutoffShape| s.elbow.map(|e| e.0);
    budget_h.add("room light", shift(found, variants.room.as_ref(), of_h));
    let tone_v = tone_shift(found, variants, |s| s.elbow.map(|e| e.1));
    let apart = input.options.tone.unshared_share * near_full_scale(found.flat.high) * tone_v / steepness;
    budget_h.add("tone curve", tone_shift(found, variants, of_h).hypot(apart));
    if let Some(shift) = black_shift(found, variants, of_h) {
        budget_h.add("noise at black", shift);
    }
    if let Some(shift) = spill_shift(found, variants, of_h) {
        budget_h.add("second lamp", SPILL_SHARE * shift);
    }
    let mut budget_v = Budget::new();
    add_geometry(&mut budget_v, input.view, input.setup, at, Component::V);
    let tilted = input.options.cutoff.tilt_share * found.flat.softness_deg * (h - found.flat.h0_deg);
    add_image_v(&mut budget_v, &found.flat, flat_sigma.hypot(tilted), input.options);
    let of_v = |s: &CutoffShape| s.elbow.map(|e| e.1);
    // How the room's light leans along the wall is not known better than its size: at the elbow it moves the line by no less than
    // where the line was fitted.
    let of_flat = |s: &CutoffShape| Some(s.flat.at(found.flat.h0_deg));
    let room = shift(found, variants.room.as_ref(), of_v).max(shift(found, variants.room.as_ref(), of_flat));
    budget_v.add("room light", room);
    budget_v.add("tone curve", tone_v);
    if let Some(shift) = black_shift(found, variants, of_v) {
        budget_v.add("noise at black", shift);
    }
    if let Some(shift) = spill_shift(found, variants, of_v) {
        budget_v.add("second lamp", SPILL_SHARE * shift);
    }
    Some(Elbow {
        h: Measured { value: Deg::new(h), budget: budget_h },
        v: Measured { value: Deg::new(v), budget: budget_v },
    })
}

/// How far light is from where a tone curve is known (0: at `ADVISED` of full scale or below; 1: at full scale).
fn near_full_scale(high: f64) -> f64 {
    /// The exposure that the README advises at most, relative to full scale.
    const ADVISED: f64 = 0.8;
    ((high - ADVISED) / (1.0 - ADVISED)).clamp(0.0, 1.0)
}

/// An elbow that is known worse than any rule's limits, or that lies far from where the first look saw a bend, misleads.
pub(super) fn is_of_use(elbow: &Elbow, hinge: &Hinge, options: &BeamOptions) -> bool {
    elbow.h.budget.sigma_deg() < options.elbow.largest_sigma_deg
        && (elbow.h.value.get() - hinge.h_deg).abs() < options.elbow.farthest_deg
}

/// The rising part's angle; none without the elbow, which says how well that part is known.
pub(super) fn rise(found: &CutoffShape, elbow: Option<&Elbow>) -> Option<Measured> {
    /// Length of the stretch of the rising part that is read, degrees.
    const READ_DEG: f64 = 1.2;
    let (line, elbow) = (found.rise?, elbow?);
    let mut budget = Budget::new();
    let slope = line.slope.abs();
    let to_angle = |slope_sigma: f64| (slope_sigma / (1.0 + slope * slope)).to_degrees();
    budget.add("line fit", to_angle(line.slope_sigma));
    // What moves the elbow along H moves the rising line against the flat one: by as much more as it is steeper.
    let steepness = (line.slope - found.flat.slope).abs();
    for part in IMAGE_PARTS {
        let moved = elbow.h.budget.sigma_of_deg(&[part]) * steepness;
        if moved > 0.0 {
            budget.add(part, to_angle(moved / READ_DEG));
        }
    }
    Some(Measured { value: Deg::from_radians(slope.atan()), budget })
}

pub(super) fn drawn_line(found: &CutoffShape) -> Vec<AnglePoint> {
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

//! From what the stages found to a [`Reading`].
//!
//! **Takes** [`ReadingParts`], references to the results of every stage. **Gives** the reading; angles are rounded to
//! 1e-5 degree, far below any uncertainty. Never fails: a feature with a number that is not finite is left out.

use super::block::{
    AdviceBlock, AxisAdviceBlock, AxisBlock, BrightZoneBlock, CutoffBlock, DarkZoneBlock, FeaturesBlock, FlagBlock,
    HotSpotBlock, MarkPlaceBlock, MarksBlock, MergedBlock, PartBlock, PhotoBlock, PlaceBlock, READING_SCHEMA, Reading,
    RiseBlock, SetupBlock, SoftwareBlock, VerdictBlock,
};
use crate::aim::{Advice, AppliedRule, AxisAdvice, AxisVerdict, DarkZone, DarkZoneFinding, LampCase, SeenBy, Verdict};
use crate::bay::{ASSUMED_OFFSET_MM, ASSUMED_OFFSET_SIGMA_MM, Bay, LampEntry, LampSetup, LampSide, Traffic};
use crate::beam::{BeamFeatures, BrightZone, Cutoff, Elbow, HotSpot};
use crate::error::Refusal;
use crate::flag::{Flag, FlagCode, Severity};
use crate::marks::Marks;
use crate::measured::Measured;
use crate::photo::{Format, Photo};
use crate::units::Deg;
use std::collections::BTreeMap;

/// Steps per degree of a printed angle: 1e-5 degree is 0.002 mm at 10 m.
const ANGLE_STEPS: f64 = 1e5;
/// Steps per millimetre, pixel or turn.
const FINE_STEPS: f64 = 1e4;

/// How well the marks fit the wall.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct MarkFit {
    /// Residual, pixels; `None` when there was no fit.
    pub rms_px: Option<f64>,
    /// Residual on the wall, millimetres.
    pub rms_mm: Option<f64>,
}

/// What the photo came to.
#[derive(Debug, Clone, Copy)]
pub enum ReadingOutcome<'a> {
    /// Measured.
    Measured {
        /// The beam.
        features: &'a BeamFeatures,
        /// The verdict on it.
        verdict: &'a Verdict,
        /// What to do.
        advice: &'a Advice,
    },
    /// Refused.
    Refused(&'a Refusal),
}

/// Everything that a reading is made of.
#[derive(Debug, Clone, Copy)]
pub struct ReadingParts<'a> {
    /// The photo.
    pub photo: &'a Photo,
    /// The bay.
    pub bay: &'a Bay,
    /// What was entered for this vehicle.
    pub entry: &'a LampEntry,
    /// The lamp in the bay, resolved.
    pub setup: &'a LampSetup,
    /// Beam, pattern, side of the road, plate.
    pub lamp: &'a LampCase,
    /// The rule, applied.
    pub rule: &'a AppliedRule,
    /// Name of the screws, when described.
    pub screws_name: Option<&'a str>,
    /// The marks, as far as they were found.
    pub marks: &'a Marks,
    /// How well they fit.
    pub mark_fit: MarkFit,
    /// What it came to.
    pub outcome: ReadingOutcome<'a>,
    /// Flags of the stages between photo and beam. Those of photo, features, rule and set-up are added here.
    pub flags: &'a [Flag],
    /// Day on which the photo is taken to be made when it does not say so itself, `YYYY-MM-DD`.
    pub today: &'a str,
    /// Tunables that differ from their defaults.
    pub options: &'a BTreeMap<String, f64>,
    /// The program's arguments, without its name.
    pub command: &'a [String],
}

impl Reading {
    /// The reading of one photo.
    pub fn of(parts: &ReadingParts<'_>) -> Self {
        let (features, verdict, advice) = match parts.outcome {
            ReadingOutcome::Measured { features, verdict, advice } => (Some(features), Some(verdict), Some(advice)),
            ReadingOutcome::Refused(_) => (None, None, None),
        };
        Self {
            schema: READING_SCHEMA.to_owned(),
            status: if features.is_some() { "measured" } else { "refused" }.to_owned(),
            software: SoftwareBlock::this(),
            photo: photo_block(parts.photo),
            setup: setup_block(parts),
            marks: marks_block(parts.marks, parts.mark_fit),
            features: features.map(features_block),
            budget: features.map(budget_block).unwrap_or_default(),
            verdict: verdict.map(|verdict| verdict_block(verdict, parts.rule)),
            advice: advice.map(advice_block),
            flags: flag_blocks(parts),
            options: parts.options.clone(),
            command: parts.command.to_vec(),
        }
    }
}

fn round(value: f64, steps: f64) -> Option<f64> {
    // Adding 0.0 turns -0.0 into 0.0.
    value.is_finite().then(|| (value * steps).round() / steps + 0.0)
}

fn angle(value: Deg) -> Option<f64> {
    round(value.get(), ANGLE_STEPS)
}

/// Value and expanded uncertainty.
fn with_u(measured: &Measured) -> Option<(f64, f64)> {
    Some((angle(measured.value)?, angle(measured.expanded())?))
}

fn photo_block(photo: &Photo) -> PhotoBlock {
    PhotoBlock {
        file: photo.file.clone(),
        sha256: photo.sha256.clone(),
        width: photo.width(),
        height: photo.height(),
        format: match photo.format {
            Format::Jpeg => "jpeg",
            Format::Heic => "heic",
            Format::Png => "png",
            Format::Dng => "dng",
        }
        .to_owned(),
        orientation: photo.orientation,
        exposure_s: photo.shot.exposure_s.filter(|s| s.is_finite()),
        iso: photo.shot.iso,
        focal_35mm: photo.shot.focal_35mm.filter(|mm| mm.is_finite()),
        captured: photo.shot.captured.clone(),
        merged: photo
            .merged
            .iter()
            .map(|one| MergedBlock {
                file: one.file.clone(),
                sha256: one.sha256.clone(),
                exposure: round(one.exposure, FINE_STEPS),
            })
            .collect(),
    }
}

fn setup_block(parts: &ReadingParts<'_>) -> SetupBlock {
    let (setup, lamp) = (parts.setup, parts.lamp);
    SetupBlock {
        bay: parts.bay.id.clone(),
        bay_name: parts.bay.name.clone(),
        lamp: if setup.side == LampSide::Left { "left" } else { "right" }.to_owned(),
        beam: lamp.beam.as_str().to_owned(),
        pattern: lamp.pattern.as_str().to_owned(),
        traffic: if lamp.traffic == Traffic::Left { "left" } else { "right" }.to_owned(),
        rules: parts.rule.id.clone(),
        height_mm: setup.height.get(),
        offset_mm: setup.x.abs().get(),
        distance_mm: setup.distance.get(),
        vehicle_yaw_deg: setup.vehicle_yaw_deg,
        lower_edge_mm: lamp.lower_edge_height.map(crate::units::Mm::get),
        nominal_percent: lamp.plate.map(crate::units::Percent::get),
        screws: parts.screws_name.map(str::to_owned),
    }
}

fn marks_block(marks: &Marks, fit: MarkFit) -> MarksBlock {
    let places = marks.found.iter().filter_map(|mark| {
        let (x_px, y_px) = (round(mark.centre.x, FINE_STEPS)?, round(mark.centre.y, FINE_STEPS)?);
        Some(MarkPlaceBlock { id: mark.id, x_px, y_px, by_hand: mark.is_by_hand })
    });
    MarksBlock {
        found: marks.found.iter().map(|mark| mark.id).collect(),
        rms_px: fit.rms_px.and_then(|rms| round(rms, FINE_STEPS)),
        rms_mm: fit.rms_mm.and_then(|rms| round(rms, FINE_STEPS)),
        missing: marks.missing.iter().map(|mark| mark.id).collect(),
        places: places.collect(),
    }
}

fn features_block(features: &BeamFeatures) -> FeaturesBlock {
    FeaturesBlock {
        cutoff: features.cutoff.as_ref().and_then(cutoff_block),
        elbow: features.elbow.as_ref().and_then(|Elbow { h, v }| place_block(h, v)),
        rise: features.rise.as_ref().and_then(with_u).map(|(angle_deg, u_deg)| RiseBlock { angle_deg, u_deg }),
        hot_spot: features.hot_spot.as_ref().and_then(|HotSpot { h, v, is_clipped }| {
            Some(HotSpotBlock { place: place_block(h, v)?, clipped: *is_clipped })
        }),
        bright_zone: features.bright_zone.as_ref().and_then(bright_zone_block),
    }
}

fn cutoff_block(cutoff: &Cutoff) -> Option<CutoffBlock> {
    let (v_deg, u_deg) = with_u(&cutoff.v)?;
    Some(CutoffBlock {
        v_deg,
        u_deg,
        scan_h_deg: angle(cutoff.scan_h)?,
        sharpness_g: round(cutoff.sharpness_g, ANGLE_STEPS),
        tilt_deg: angle(cutoff.tilt),
    })
}

fn place_block(h: &Measured, v: &Measured) -> Option<PlaceBlock> {
    let ((h_deg, u_h_deg), (v_deg, u_v_deg)) = (with_u(h)?, with_u(v)?);
    Some(PlaceBlock { h_deg, u_h_deg, v_deg, u_v_deg })
}

fn bright_zone_block(zone: &BrightZone) -> Option<BrightZoneBlock> {
    let ((top_v_deg, u_top_deg), (left_h_deg, u_left_deg)) = (with_u(&zone.top_v)?, with_u(&zone.left_h)?);
    Some(BrightZoneBlock { top_v_deg, u_top_deg, left_h_deg, u_left_deg })
}

fn budget_block(features: &BeamFeatures) -> BTreeMap<String, Vec<PartBlock>> {
    let (elbow, spot, zone) = (features.elbow.as_ref(), features.hot_spot.as_ref(), features.bright_zone.as_ref());
    let named = [
        ("cutoff_v", features.cutoff.as_ref().map(|cutoff| &cutoff.v)),
        ("elbow_h", elbow.map(|elbow| &elbow.h)),
        ("elbow_v", elbow.map(|elbow| &elbow.v)),
        ("rise", features.rise.as_ref()),
        ("hot_spot_h", spot.map(|spot| &spot.h)),
        ("hot_spot_v", spot.map(|spot| &spot.v)),
        ("bright_zone_top_v", zone.map(|zone| &zone.top_v)),
        ("bright_zone_left_h", zone.map(|zone| &zone.left_h)),
    ];
    let parts = |measured: &Measured| {
        let parts = measured.budget.parts().iter();
        parts.map(|part| PartBlock { part: part.name.to_owned(), u_deg: round(part.sigma_deg, ANGLE_STEPS) }).collect()
    };
    named.into_iter().filter_map(|(name, value)| value.map(|value| (name.to_owned(), parts(value)))).collect()
}

fn verdict_block(verdict: &Verdict, rule: &AppliedRule) -> VerdictBlock {
    let axes = [("vertical", &verdict.vertical), ("horizontal", &verdict.horizontal)];
    let not_measured = axes.iter().filter(|(_, axis)| **axis == AxisVerdict::NotMeasured);
    VerdictBlock {
        rules: verdict.rule_id.clone(),
        overall: verdict.overall.as_str().to_owned(),
        vertical: axis_block(&verdict.vertical),
        horizontal: axis_block(&verdict.horizontal),
        not_measured: not_measured.map(|(name, _)| (*name).to_owned()).collect(),
        rule_name: rule.name.clone(),
        rule_status: rule.status.as_str().to_owned(),
        decision: rule.decision.as_str().to_owned(),
        notes: rule.notes.clone(),
        dark_zone: rule
            .dark_zone
            .as_ref()
            .zip(verdict.dark_zone)
            .and_then(|(zone, found)| dark_zone_block(zone, found)),
    }
}

fn dark_zone_block(zone: &DarkZone, found: DarkZoneFinding) -> Option<DarkZoneBlock> {
    let by_meter = "not judged by number: needs a light meter";
    Some(DarkZoneBlock {
        above_deg: angle(zone.above)?,
        right_of_deg: zone.left.and_then(angle),
        left_of_deg: zone.right.and_then(angle),
        free_of: zone.free_of.clone(),
        result: found.as_str().to_owned(),
        text: if zone.seen_by == SeenBy::LightMeter { by_meter } else { found.meaning() }.to_owned(),
    })
}

fn axis_block(axis: &AxisVerdict) -> Option<AxisBlock> {
    let axis = axis.measured()?;
    Some(AxisBlock {
        value_deg: angle(axis.value)?,
        u_deg: angle(axis.expanded)?,
        nominal_deg: axis.limits.middle().and_then(angle),
        lower_deg: axis.limits.lower.and_then(angle),
        upper_deg: axis.limits.upper.and_then(angle),
        result: axis.result?.as_str().to_owned(),
        conformance_probability: axis.conformance.and_then(|p| round(p, ANGLE_STEPS)),
    })
}

fn advice_block(advice: &Advice) -> AdviceBlock {
    let block = |axis: &AxisAdvice| {
        Some(AxisAdviceBlock {
            beam_must_move: axis.direction.as_str().to_owned(),
            by_deg: angle(axis.by)?,
            by_mm_at_wall: round(axis.by_at_wall.get(), FINE_STEPS)?,
            screw: axis.screw.clone(),
            turn: axis.turn.as_str().to_owned(),
            turns: axis.turns.and_then(|turns| round(turns, ANGLE_STEPS)),
        })
    };
    AdviceBlock {
        vertical: advice.vertical.as_ref().and_then(block),
        horizontal: advice.horizontal.as_ref().and_then(block),
        steps: advice.steps.clone(),
    }
}

/// All flags, the gravest first, none twice.
fn flag_blocks(parts: &ReadingParts<'_>) -> Vec<FlagBlock> {
    let mut flags: Vec<Flag> = parts.photo.flags.iter().chain(parts.flags).cloned().collect();
    let mut hint = None;
    match parts.outcome {
        ReadingOutcome::Measured { features, .. } => flags.extend(features.flags.iter().cloned()),
        ReadingOutcome::Refused(refusal) => {
            flags.push(Flag::new(refusal.code, format!("{}; {}", refusal.found, refusal.hint)));
            hint = Some((refusal.code, refusal.hint.clone()));
        }
    }
    let not_in_force = parts.rule.not_in_force_at(parts.photo.shot.captured.as_deref(), parts.today);
    for flag in setup_flags(parts.bay, parts.entry).into_iter().chain(parts.rule.flag()).chain(not_in_force) {
        if flags.iter().all(|known| known.code != flag.code) {
            flags.push(flag);
        }
    }
    let mut unique: Vec<Flag> = Vec::with_capacity(flags.len());
    for flag in flags {
        if !unique.contains(&flag) {
            unique.push(flag);
        }
    }
    unique.sort_by_key(|flag| std::cmp::Reverse(flag.code.severity()));
    let hint_of = |flag: &Flag| {
        let is_refusal = flag.code.severity() == Severity::Refusal;
        hint.as_ref().filter(|(code, _)| is_refusal && *code == flag.code).map(|(_, hint)| hint.clone())
    };
    let block = |flag: &Flag| FlagBlock {
        code: flag.code.as_str().to_owned(),
        severity: flag.code.severity().as_str().to_owned(),
        text: flag.text.clone(),
        hint: hint_of(flag),
    };
    unique.iter().map(block).collect()
}

/// What the entries themselves leave weak.
fn setup_flags(bay: &Bay, entry: &LampEntry) -> Vec<Flag> {
    let mut flags = Vec::new();
    if bay.floor.is_none() {
        flags.push(Flag::new(
            FlagCode::FloorNotSurveyed,
            format!(
                "The bay file gives no floor slope; it is taken as level, ± {} % (k = 1). Survey the floor.",
                bay.uncertainty.floor_percent
            ),
        ));
    }
    if entry.offset.is_none() {
        flags.push(Flag::new(
            FlagCode::OffsetAssumed,
            format!(
                "--offset-mm was not given; {ASSUMED_OFFSET_MM} mm from the centreline was assumed, ± {ASSUMED_OFFSET_SIGMA_MM} mm (k = 1)."
            ),
        ));
    }
    flags
}

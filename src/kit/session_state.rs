//! Where a photo leaves each axis of a lamp, and from both where the lamp stands.
//!
//! **Takes** a reading. **Gives** per axis an [`AxisState`]: in, out by how much, or why it cannot be said. **How**: what is
//! judged goes to the rule's nominal or the band's middle; for a limit on one side alone to [`one_sided_aim`]; a nominal without
//! limits is reached when the uncertainty cannot tell the difference any more. Never fails.

use crate::reading::Reading;
use crate::reading::block::{AxisAdviceBlock, AxisBlock};

/// The least that is worth a turn, degrees: half of an eighth of a turn of an adjuster that does 0.8 degrees a turn (common
/// practice, no source).
pub(super) const LEAST_MOVE_DEG: f64 = 0.05;
/// How far beyond the guard band of a one-sided limit a beam is aimed, as a share of U (own judgement): photos scatter, and one
/// that is aimed right at the guard band's edge would be too close to call every second time.
const RESERVE_SHARE: f64 = 0.5;
/// The two axes, as readings name them: vertical first.
pub(super) const AXES: [&str; 2] = ["vertical", "horizontal"];

/// Where a lamp stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum State {
    /// No photo that could be used yet.
    ToPhotograph,
    /// The rule judges an axis that the last photo does not show: to be photographed again.
    NotMeasured,
    /// A screw is to be turned.
    ToTurn,
    /// In, and to be photographed once more without a touch.
    ToRecheck,
    /// In.
    Good,
    /// Borderline, and no turn brings it further from a limit.
    TooClose,
    /// At a nominal that has no limits: nothing is judged, and nothing is left to turn.
    AtNominal,
    /// Out of aim; nothing is turned in a quick check.
    NeedsAiming,
    /// The beam did not follow its screw: seized, or at the end of its travel.
    Seized,
    /// Nothing is judged by this rule.
    NoVerdict,
}

impl State {
    /// Whether nothing more is to be done now.
    pub const fn is_done(self) -> bool {
        !matches!(self, Self::ToPhotograph | Self::NotMeasured | Self::ToTurn | Self::ToRecheck)
    }
}

/// Where one axis stands.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum AxisState {
    /// The rule says nothing about it.
    NotJudged,
    /// The rule judges it, and it could not be measured.
    NotMeasured,
    /// It passes.
    In,
    /// At a nominal without limits, within what the uncertainty can tell.
    AtNominal,
    /// Borderline where it should stand: no turn helps.
    AtAim,
    /// To move by so many degrees, right or up positive.
    Out(f64),
}

/// Both axes of a reading, vertical first.
pub fn axes(reading: &Reading) -> [AxisState; 2] {
    AXES.map(|name| axis(reading, name))
}

fn axis(reading: &Reading, name: &str) -> AxisState {
    let Some(verdict) = &reading.verdict else { return AxisState::NotMeasured };
    if verdict.not_measured.iter().any(|missing| missing == name) {
        return AxisState::NotMeasured;
    }
    if let Some(judged) = judged(reading, name) {
        return of_judged(judged, by_advice(advised(reading, name)));
    }
    match by_advice(advised(reading, name)) {
        None => AxisState::NotJudged,
        // Where all that is judged passes, the reading itself says that nothing is to be adjusted.
        Some(by) if verdict.overall == "pass" || by.abs() <= can_tell(reading, name) => AxisState::AtNominal,
        Some(by) => AxisState::Out(by),
    }
}

fn of_judged(judged: &AxisBlock, advised: Option<f64>) -> AxisState {
    if judged.result == "pass" {
        return AxisState::In;
    }
    let by = one_sided_aim(judged).map(|aim| aim - judged.value_deg).or(advised).unwrap_or(0.0);
    if judged.result == "borderline" && by.abs() <= LEAST_MOVE_DEG { AxisState::AtAim } else { AxisState::Out(by) }
}

/// Where an axis with a limit on one side alone and no nominal is aimed: on the good side of the limit by U and a reserve.
pub fn one_sided_aim(judged: &AxisBlock) -> Option<f64> {
    let clear = judged.u_deg + (RESERVE_SHARE * judged.u_deg).max(LEAST_MOVE_DEG);
    match (judged.nominal_deg, judged.lower_deg, judged.upper_deg) {
        (None, None, Some(upper)) => Some(upper - clear),
        (None, Some(lower), None) => Some(lower + clear),
        _ => None,
    }
}

/// The verdict's block of an axis.
pub(super) fn judged<'a>(reading: &'a Reading, name: &str) -> Option<&'a AxisBlock> {
    let verdict = reading.verdict.as_ref()?;
    if name == AXES[0] { verdict.vertical.as_ref() } else { verdict.horizontal.as_ref() }
}

fn advised<'a>(reading: &'a Reading, name: &str) -> Option<&'a AxisAdviceBlock> {
    let advice = reading.advice.as_ref()?;
    if name == AXES[0] { advice.vertical.as_ref() } else { advice.horizontal.as_ref() }
}

/// How far the reading's own advice moves an axis, right or up positive.
fn by_advice(advice: Option<&AxisAdviceBlock>) -> Option<f64> {
    let advice = advice?;
    match advice.beam_must_move.as_str() {
        "up" | "right" => Some(advice.by_deg),
        "down" | "left" => Some(-advice.by_deg),
        _ => Some(0.0),
    }
}

/// The smallest deviation of an axis that a reading can tell and a hand can turn.
fn can_tell(reading: &Reading, name: &str) -> f64 {
    measured(reading, name).map_or(LEAST_MOVE_DEG, |(_, u)| u.max(LEAST_MOVE_DEG))
}

/// Value and U of an axis, judged or not: cutoff and elbow, or the hot spot where there is no cutoff.
pub(super) fn measured(reading: &Reading, name: &str) -> Option<(f64, f64)> {
    if let Some(judged) = judged(reading, name) {
        return Some((judged.value_deg, judged.u_deg));
    }
    let features = reading.features.as_ref()?;
    let is_vertical = name == AXES[0];
    if reading.setup.pattern == "spot" {
        let spot = &features.hot_spot.as_ref()?.place;
        return Some(if is_vertical { (spot.v_deg, spot.u_v_deg) } else { (spot.h_deg, spot.u_h_deg) });
    }
    if is_vertical {
        return features.cutoff.as_ref().map(|cutoff| (cutoff.v_deg, cutoff.u_deg));
    }
    features.elbow.as_ref().map(|elbow| (elbow.h_deg, elbow.u_h_deg))
}

/// One axis in words: its value and what came of it.
pub(super) fn axis_words(reading: &Reading, name: &str) -> String {
    let value = measured(reading, name).map(|(value, u)| format!("{value:+.3} ± {u:.3} deg"));
    match (axis(reading, name), judged(reading, name), value) {
        (AxisState::NotMeasured, ..) | (_, Some(_), None) => "not measured".to_owned(),
        (_, Some(judged), Some(value)) => format!("{value} ({})", judged.result),
        (AxisState::AtNominal, None, Some(value)) => format!("{value} (at its nominal, not judged)"),
        (AxisState::Out(by), None, Some(value)) => {
            format!("{value} ({:.3} deg from its nominal, not judged)", by.abs())
        }
        _ => "not judged".to_owned(),
    }
}

/// Names of the axes that the rule judges and the reading does not show.
pub fn missing(reading: &Reading) -> Vec<&'static str> {
    let states = axes(reading);
    AXES.into_iter().zip(states).filter(|(_, state)| *state == AxisState::NotMeasured).map(|(name, _)| name).collect()
}

/// Why a reading does not show an axis: the texts of the flags that say so.
pub fn why_missing(reading: &Reading) -> Vec<&str> {
    /// What such flags are called.
    const ENDING: &str = "-not-measured";
    reading.flags.iter().filter(|flag| flag.code.ends_with(ENDING)).map(|flag| flag.text.as_str()).collect()
}

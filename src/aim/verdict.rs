//! Holds the measured features against a rule: pass, fail, borderline, or none.
//!
//! **Takes** the beam's features and the applied rule, which names the feature of each axis. **Gives** a [`Verdict`], decided on unrounded
//! numbers. **How** a value ± U (U = 2 sigma) that lies on one side of every limit is pass or fail, else borderline
//! (guard band of JCGM 106:2012 8.3 on both sides of a limit); simple acceptance only where the rule says so.
//! Never fails: a feature that is missing makes its axis [`AxisVerdict::NotMeasured`].

use super::applied::{AppliedRule, AxisLimits};
use super::conformance::conformance_probability;
use super::dark_zone::DarkZoneFinding;
use super::rule::{Decision, Feature};
use crate::beam::BeamFeatures;
use crate::measured::Measured;
use crate::units::Deg;

/// What one axis came to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum AxisResult {
    /// Conforms.
    Pass,
    /// Does not conform.
    Fail,
    /// Too close to a limit to say.
    Borderline,
}

impl AxisResult {
    /// As the reading writes it.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Pass => "pass",
            Self::Fail => "fail",
            Self::Borderline => "borderline",
        }
    }
}

/// What the whole lamp came to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Overall {
    /// Every judged axis passes.
    Pass,
    /// A judged axis fails.
    Fail,
    /// None fails, all are measured, at least one is too close to call.
    Borderline,
    /// Nothing is judged, or a judged axis could not be measured and none fails.
    None,
}

impl Overall {
    /// As the reading writes it.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Pass => "pass",
            Self::Fail => "fail",
            Self::Borderline => "borderline",
            Self::None => "none",
        }
    }
}

/// A measured axis against its limits.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AxisValue {
    /// The measured value.
    pub value: Deg,
    /// Expanded uncertainty (k = 2).
    pub expanded: Deg,
    /// Nominal and limits.
    pub limits: AxisLimits,
    /// The outcome; `None` when the rule has a nominal but no limits, so that there is nothing to judge by.
    pub result: Option<AxisResult>,
    /// Probability that the true value conforms; `None` without limits.
    pub conformance: Option<f64>,
}

/// One axis of a verdict.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum AxisVerdict {
    /// The rule says nothing about it.
    NotJudged,
    /// The rule judges it, but the beam's feature could not be measured.
    NotMeasured,
    /// Measured.
    Measured(AxisValue),
}

impl AxisVerdict {
    /// The value against its limits, when it was measured.
    pub fn measured(&self) -> Option<&AxisValue> {
        match self {
            Self::Measured(axis) => Some(axis),
            _ => None,
        }
    }
}

/// The verdict on one lamp.
#[derive(Debug, Clone, PartialEq)]
pub struct Verdict {
    /// Id of the rule.
    pub rule_id: String,
    /// The outcome.
    pub overall: Overall,
    /// Vertical axis.
    pub vertical: AxisVerdict,
    /// Horizontal axis.
    pub horizontal: AxisVerdict,
    /// What the cutoff says about the rule's dark zone; `None`: the rule names none.
    pub dark_zone: Option<DarkZoneFinding>,
}

/// Judges one lamp.
pub fn judge(features: &BeamFeatures, rule: &AppliedRule) -> Verdict {
    let vertical = judge_axis(judged(features, rule.vertical_feature, true), rule.vertical, rule.decision);
    let horizontal = judge_axis(judged(features, rule.horizontal_feature, false), rule.horizontal, rule.decision);
    let dark_zone = rule.dark_zone.as_ref().map(|zone| zone.judge(features));
    let overall = overall([vertical, horizontal]);
    Verdict { rule_id: rule.id.clone(), overall, vertical, horizontal, dark_zone }
}

/// The measured value that the rule holds against its limits.
fn judged(features: &BeamFeatures, feature: Feature, is_vertical: bool) -> Option<&Measured> {
    match feature {
        Feature::Cutoff => features.cutoff.as_ref().map(|cutoff| &cutoff.v),
        Feature::Elbow => features.elbow.as_ref().map(|elbow| &elbow.h),
        Feature::HotSpot => features.hot_spot.as_ref().map(|spot| if is_vertical { &spot.v } else { &spot.h }),
        Feature::ZoneTop => features.bright_zone.as_ref().map(|zone| &zone.top_v),
        Feature::ZoneLeft => features.bright_zone.as_ref().map(|zone| &zone.left_h),
    }
}

fn judge_axis(feature: Option<&Measured>, limits: Option<AxisLimits>, decision: Decision) -> AxisVerdict {
    let Some(limits) = limits else { return AxisVerdict::NotJudged };
    let usable = feature.filter(|f| f.value.get().is_finite() && f.expanded().get().is_finite());
    match usable {
        Some(feature) => {
            let (value, expanded) = (feature.value, feature.expanded());
            AxisVerdict::Measured(AxisValue {
                value,
                expanded,
                limits,
                result: limits.is_judged().then(|| decide(value, expanded, &limits, decision)),
                conformance: conformance_probability(value, feature.sigma(), &limits),
            })
        }
        None if limits.is_judged() => AxisVerdict::NotMeasured,
        None => AxisVerdict::NotJudged,
    }
}

/// Pass when value ± U lies inside every limit (touching it conforms), fail when it lies wholly beyond one.
fn decide(value: Deg, expanded: Deg, limits: &AxisLimits, decision: Decision) -> AxisResult {
    let guard = match decision {
        Decision::Guarded => expanded,
        Decision::Simple => Deg::new(0.0),
    };
    let (low, high) = (value - guard, value + guard);
    if limits.hold(low) && limits.hold(high) {
        AxisResult::Pass
    } else if limits.upper.is_some_and(|upper| low > upper) || limits.lower.is_some_and(|lower| high < lower) {
        AxisResult::Fail
    } else {
        AxisResult::Borderline
    }
}

/// Fail before none before borderline before pass; none when nothing is judged.
fn overall(axes: [AxisVerdict; 2]) -> Overall {
    let results = axes.map(|axis| axis.measured().and_then(|axis| axis.result));
    if results.contains(&Some(AxisResult::Fail)) {
        Overall::Fail
    } else if axes.contains(&AxisVerdict::NotMeasured) {
        Overall::None
    } else if results.contains(&Some(AxisResult::Borderline)) {
        Overall::Borderline
    } else if results.contains(&Some(AxisResult::Pass)) {
        Overall::Pass
    } else {
        Overall::None
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::aim::rule::RuleStatus;
    use crate::beam::{Cutoff, Elbow};
    use crate::measured::Budget;

    fn measured(value_deg: f64, sigma_deg: f64) -> Measured {
        let mut budget = Budget::new();
        budget.add("test", sigma_deg);
        Measured { value: Deg::new(value_deg), budget }
    }

    fn kink(v: Option<(f64, f64)>, h: Option<(f64, f64)>) -> BeamFeatures {
        let cutoff = v.map(|(value, sigma)| Cutoff {
            v: measured(value, sigma),
            scan_h: Deg::new(-2.5),
            sharpness_g: 0.2,
            tilt: Deg::new(0.0),
        });
        let elbow = h.map(|(value, sigma)| Elbow { h: measured(value, sigma), v: measured(-0.5, 0.1) });
        BeamFeatures { cutoff, elbow, ..BeamFeatures::default() }
    }

    fn around_zero(half_width: f64) -> AxisLimits {
        let limit = |v| Some(Deg::new(v));
        AxisLimits { nominal: limit(0.0), lower: limit(-half_width), upper: limit(half_width) }
    }

    fn rule(vertical: Option<AxisLimits>, horizontal: Option<AxisLimits>, decision: Decision) -> AppliedRule {
        let (id, name) = ("test".to_owned(), "Test".to_owned());
        AppliedRule {
            id,
            name,
            status: RuleStatus::Practice,
            effective_from: None,
            effective_to: None,
            decision,
            vertical,
            horizontal,
            dark_zone: None,
            vertical_feature: Feature::Cutoff,
            horizontal_feature: Feature::Elbow,
            notes: Vec::new(),
        }
    }

    fn result(limits: AxisLimits, value: f64, sigma: f64, decision: Decision) -> AxisResult {
        let verdict = judge(&kink(Some((value, sigma)), None), &rule(Some(limits), None, decision));
        verdict.vertical.measured().unwrap().result.unwrap()
    }

    #[test]
    fn value_with_u_on_one_side_or_borderline() {
        let band = around_zero(1.0);
        // U = 2 sigma = 0.25, exact in binary, so that the guarded limit itself can be hit.
        let cases = [
            (0.75, AxisResult::Pass),
            (0.7501, AxisResult::Borderline),
            (1.25, AxisResult::Borderline),
            (1.2501, AxisResult::Fail),
            (-0.75, AxisResult::Pass),
            (-1.0, AxisResult::Borderline),
            (-1.2501, AxisResult::Fail),
        ];
        for (value, expected) in cases {
            assert_eq!(result(band, value, 0.125, Decision::Guarded), expected, "{value}");
        }
        assert_eq!(result(band, 0.0, 5.0, Decision::Guarded), AxisResult::Borderline, "U wider than the band");
        assert_eq!(result(band, 0.999, 0.125, Decision::Simple), AxisResult::Pass);
        assert_eq!(result(band, 1.001, 0.125, Decision::Simple), AxisResult::Fail);
    }

    #[test]
    fn ceiling_has_one_side_only() {
        let ceiling = AxisLimits { nominal: None, lower: None, upper: Some(Deg::new(-0.5)) };
        assert_eq!(result(ceiling, -9.0, 0.1, Decision::Guarded), AxisResult::Pass);
        assert_eq!(result(ceiling, -0.6, 0.1, Decision::Guarded), AxisResult::Borderline);
        assert_eq!(result(ceiling, -0.2, 0.1, Decision::Guarded), AxisResult::Fail);
    }

    /// Values of JCGM 106 style zones: limit 0, u = 0.1, guard 2u.
    #[test]
    fn zones_of_an_upper_limit() {
        let ceiling = AxisLimits { nominal: None, lower: None, upper: Some(Deg::new(0.0)) };
        let zones = [
            (-0.25, AxisResult::Pass),
            (-0.20, AxisResult::Pass),
            (-0.15, AxisResult::Borderline),
            (0.10, AxisResult::Borderline),
            (0.25, AxisResult::Fail),
        ];
        for (value, expected) in zones {
            assert_eq!(result(ceiling, value, 0.1, Decision::Guarded), expected, "{value}");
        }
    }

    /// The contract's order: fail, then none, then borderline, then pass.
    #[test]
    fn overall_follows_its_order() {
        let at = |result: &str| match result {
            "pass" => Some((0.0, 0.1)),
            "fail" => Some((5.0, 0.1)),
            "borderline" => Some((1.0, 0.1)),
            _ => None,
        };
        let table = [
            ("pass", "pass", Overall::Pass),
            ("pass", "borderline", Overall::Borderline),
            ("borderline", "borderline", Overall::Borderline),
            ("pass", "missing", Overall::None),
            ("borderline", "missing", Overall::None),
            ("missing", "missing", Overall::None),
            ("fail", "pass", Overall::Fail),
            ("fail", "borderline", Overall::Fail),
            ("fail", "missing", Overall::Fail),
            ("fail", "fail", Overall::Fail),
        ];
        let both = rule(Some(around_zero(1.0)), Some(around_zero(1.0)), Decision::Guarded);
        for (one, other, expected) in table {
            for (v, h) in [(one, other), (other, one)] {
                let verdict = judge(&kink(at(v), at(h)), &both);
                assert_eq!(verdict.overall, expected, "V {v}, H {h}");
            }
        }
    }

    #[test]
    fn what_is_not_judged_does_not_count() {
        let vertical_only = rule(Some(around_zero(1.0)), None, Decision::Guarded);
        let verdict = judge(&kink(Some((0.0, 0.1)), None), &vertical_only);
        assert_eq!((verdict.overall, verdict.horizontal), (Overall::Pass, AxisVerdict::NotJudged));
        let nothing = judge(&kink(Some((0.0, 0.1)), None), &rule(None, None, Decision::Guarded));
        assert_eq!(nothing.overall, Overall::None);
        let nominal = AxisLimits { nominal: Some(Deg::new(0.0)), lower: None, upper: None };
        let lab = rule(Some(nominal), Some(nominal), Decision::Guarded);
        let verdict = judge(&kink(Some((0.4, 0.1)), None), &lab);
        assert_eq!((verdict.overall, verdict.horizontal), (Overall::None, AxisVerdict::NotJudged));
        assert_eq!(verdict.vertical.measured().unwrap().result, None);
    }

    #[test]
    fn numbers_that_are_not_finite_are_not_measured() {
        let both = rule(Some(around_zero(1.0)), Some(around_zero(1.0)), Decision::Guarded);
        for bad in [(f64::NAN, 0.1), (f64::INFINITY, 0.1), (0.0, f64::NAN), (0.0, f64::INFINITY)] {
            let verdict = judge(&kink(Some(bad), Some((0.0, 0.1))), &both);
            assert_eq!((verdict.vertical, verdict.overall), (AxisVerdict::NotMeasured, Overall::None), "{bad:?}");
        }
    }
}

#[cfg(test)]
mod properties {
    use super::*;
    use proptest::prelude::*;

    fn limits(lower: f64, width: f64) -> AxisLimits {
        AxisLimits { nominal: None, lower: Some(Deg::new(lower)), upper: Some(Deg::new(lower + width)) }
    }

    proptest! {
        /// As u goes to 0 the guarded decision becomes simple acceptance.
        #[test]
        fn without_u_guarded_is_simple(value in -5.0..5.0f64, lower in -3.0..0.0f64, width in 0.01..3.0f64) {
            let (value, limits, none) = (Deg::new(value), limits(lower, width), Deg::new(0.0));
            let guarded = decide(value, none, &limits, Decision::Guarded);
            prop_assert_eq!(guarded, decide(value, none, &limits, Decision::Simple));
            prop_assert_ne!(guarded, AxisResult::Borderline);
        }

        /// More uncertainty may turn a decision into borderline, never into another decision.
        #[test]
        fn more_u_never_decides(value in -5.0..5.0f64, lower in -3.0..0.0f64, width in 0.01..3.0f64,
                                u in 0.0..1.0f64, more in 0.0..1.0f64) {
            let (value, limits) = (Deg::new(value), limits(lower, width));
            let before = decide(value, Deg::new(u), &limits, Decision::Guarded);
            let after = decide(value, Deg::new(u + more), &limits, Decision::Guarded);
            prop_assert!(after == before || after == AxisResult::Borderline);
        }
    }
}

//! Two runs compared, over the cases that both have: figures that became better or worse, then case by case.
//!
//! A figure has worsened when it grew by more than the stated share and by more than what the last digit can say; a count
//! of things that must not happen has worsened when it grew at all. Time is shown, never held against anyone: it depends
//! on what else the machine did.

use super::outcome::{Ending, FeatureError, Outcome, Quantity};
use super::results::Results;
use super::summary::{FamilyFigures, QuantityFigures, summarize};
use std::collections::BTreeMap;
use std::fmt::Write as _;

/// A change of an error figure below this is none, degrees (a third of the goal of clean scenes).
const LEAST_DEG: f64 = 0.001;
/// A change of the share inside u below this is none.
const LEAST_SHARE: f64 = 0.01;
/// A change of the pulls' spread below this is none.
const LEAST_SPREAD: f64 = 0.05;
/// Share inside value ± u, and spread of pulls, of a true statement (k = 2).
const TRUE_COVERAGE: f64 = 0.95;
const TRUE_SPREAD: f64 = 1.0;

/// One figure or one case in both runs.
#[derive(Debug, Clone, PartialEq)]
pub struct Change {
    /// Family, or case.
    pub place: String,
    /// Which figure, with its unit.
    pub figure: String,
    /// In the old run.
    pub old: String,
    /// In the new run.
    pub new: String,
    /// Whether the new is worse.
    pub is_worse: bool,
}

/// What changed.
#[derive(Debug, Clone, PartialEq)]
pub struct Comparison {
    /// Cases in both runs.
    pub common: usize,
    /// Cases in one run only.
    pub only_one: usize,
    /// Figures beyond the tolerance, worse first.
    pub figures: Vec<Change>,
    /// Cases that ended otherwise or whose error changed beyond the tolerance, worse first.
    pub cases: Vec<Change>,
    /// Median seconds a photo, old and new.
    pub seconds: (f64, f64),
}

/// Compares two runs; `tolerance` is the share by which a figure may grow.
pub fn compare(old: &Results, new: &Results, tolerance: f64) -> Comparison {
    let by_id: BTreeMap<&str, &Outcome> = old.cases.iter().map(|case| (case.id.as_str(), case)).collect();
    let pairs: Vec<(&Outcome, &Outcome)> =
        new.cases.iter().filter_map(|case| Some((*by_id.get(case.id.as_str())?, case))).collect();
    let old_common: Vec<Outcome> = pairs.iter().map(|(old, _)| (*old).clone()).collect();
    let new_common: Vec<Outcome> = pairs.iter().map(|(_, new)| (*new).clone()).collect();
    let (old_families, new_families) = (summarize(&old_common), summarize(&new_common));
    let mut figures = Vec::new();
    for new in &new_families {
        if let Some(old) = old_families.iter().find(|old| old.family == new.family) {
            counts(old, new, &mut figures);
            for (quantity, q) in &new.quantities {
                let before = old.quantities.get(quantity).copied().unwrap_or_default();
                quantities(&new.family, *quantity, &before, q, tolerance, &mut figures);
            }
        }
    }
    let mut cases: Vec<Change> = pairs.iter().flat_map(|(old, new)| case_changes(old, new, tolerance)).collect();
    figures.sort_by_key(|change| !change.is_worse);
    cases.sort_by_key(|change| !change.is_worse);
    Comparison {
        common: pairs.len(),
        only_one: old.cases.len() + new.cases.len() - 2 * pairs.len(),
        figures,
        cases,
        seconds: (old_families[0].median_seconds, new_families[0].median_seconds),
    }
}

fn counts(old: &FamilyFigures, new: &FamilyFigures, changes: &mut Vec<Change>) {
    let list = [
        ("refused wrongly", old.refused_wrongly, new.refused_wrongly),
        ("refused with another code", old.refused_with_wrong_code, new.refused_with_wrong_code),
        ("measured wrongly", old.measured_wrongly, new.measured_wrongly),
        ("broken", old.broken, new.broken),
        ("wrong verdicts", old.wrong_verdicts, new.wrong_verdicts),
        ("large errors unflagged", old.unflagged_large, new.unflagged_large),
    ];
    for (figure, before, after) in list.into_iter().filter(|(_, before, after)| before != after) {
        changes.push(Change {
            place: new.family.clone(),
            figure: figure.to_owned(),
            old: before.to_string(),
            new: after.to_string(),
            is_worse: after > before,
        });
    }
}

fn quantities(
    family: &str,
    quantity: Quantity,
    old: &QuantityFigures,
    new: &QuantityFigures,
    tolerance: f64,
    changes: &mut Vec<Change>,
) {
    let name = quantity.name();
    let mut add = |figure: &str, unit: &str, shown: (f64, f64), distance: (f64, f64), least: f64| {
        let change = distance.1 - distance.0;
        if change.abs() > least.max(tolerance * distance.0.abs()) {
            changes.push(Change {
                place: family.to_owned(),
                figure: format!("{name} {figure}{unit}"),
                old: format!("{:.4}", shown.0),
                new: format!("{:.4}", shown.1),
                is_worse: change > 0.0,
            });
        }
    };
    if old.n > 0 && new.n > 0 {
        for (figure, a, b) in [
            ("median", old.median_deg, new.median_deg),
            ("95 %", old.p95_deg, new.p95_deg),
            ("max", old.max_deg, new.max_deg),
            ("bias", old.bias_deg, new.bias_deg),
        ] {
            add(figure, ", deg", (a, b), (a.abs(), b.abs()), LEAST_DEG);
        }
        let from_true = |share: f64| (share - TRUE_COVERAGE).abs();
        let coverage = (old.coverage, new.coverage);
        add("share inside u", "", coverage, (from_true(coverage.0), from_true(coverage.1)), LEAST_SHARE);
        let spread = (old.spread, new.spread);
        let from_one = |spread: f64| (spread - TRUE_SPREAD).abs();
        add("spread of error/(u/2)", "", spread, (from_one(spread.0), from_one(spread.1)), LEAST_SPREAD);
    }
    if old.missing != new.missing {
        changes.push(Change {
            place: family.to_owned(),
            figure: format!("{name} not measured"),
            old: old.missing.to_string(),
            new: new.missing.to_string(),
            is_worse: new.missing > old.missing,
        });
    }
}

fn case_changes(old: &Outcome, new: &Outcome, tolerance: f64) -> Vec<Change> {
    let change = |figure: String, old: String, new_text: String, is_worse: bool| Change {
        place: new.id.clone(),
        figure,
        old,
        new: new_text,
        is_worse,
    };
    if old.ending != new.ending {
        let is_good = |ending: Ending| matches!(ending, Ending::Measured | Ending::RefusedRightly);
        let worse = !is_good(new.ending);
        return vec![change("ending".to_owned(), format!("{:?}", old.ending), format!("{:?}", new.ending), worse)];
    }
    let of = |outcome: &Outcome, quantity| outcome.errors.iter().find(|error| error.quantity == quantity).copied();
    let mut changes = Vec::new();
    for quantity in Quantity::ALL {
        if let (Some(before), Some(after)) = (of(old, quantity), of(new, quantity)) {
            let (a, b) = (before.error_deg().abs(), after.error_deg().abs());
            // A change within what is stated as uncertain anyway is of no interest.
            let least = LEAST_DEG.max(tolerance * before.u_deg);
            if (b - a).abs() > least {
                let text = |error: &FeatureError| format!("{:+.4} ± {:.4}", error.error_deg(), error.u_deg);
                changes.push(change(format!("{} error, deg", quantity.name()), text(&before), text(&after), b > a));
            }
        }
    }
    changes
}

impl Comparison {
    /// Whether any figure worsened beyond the tolerance.
    pub fn is_worse(&self) -> bool {
        self.figures.iter().any(|change| change.is_worse)
    }

    /// For a terminal.
    pub fn to_text(&self) -> String {
        /// Cases listed; the rest is counted.
        const LISTED: usize = 40;
        let mut text = format!("against the old run: {} cases in both, {} in one only\n", self.common, self.only_one);
        let mut lines = |title: &str, list: &[Change]| {
            let worse = list.iter().filter(|change| change.is_worse).count();
            // Writing to a String cannot fail.
            let _ = writeln!(text, "\n{title}: {worse} worse, {} better", list.len() - worse);
            for change in list.iter().take(LISTED) {
                let Change { place, figure, old, new, is_worse } = change;
                let word = if *is_worse { "worse " } else { "better" };
                let _ = writeln!(text, "  {word}  {place:<28} {figure:<34} {old} -> {new}");
            }
            if list.len() > LISTED {
                let _ = writeln!(text, "  and {} more, in the page", list.len() - LISTED);
            }
        };
        lines("figures", &self.figures);
        lines("cases", &self.cases);
        let _ =
            writeln!(text, "\ntime a photo, median: {:.3} s -> {:.3} s (shown only)", self.seconds.0, self.seconds.1);
        text
    }
}

#[cfg(test)]
mod tests {
    use super::super::summary::tests::outcome;
    use super::*;

    fn results(errors: &[f64]) -> Results {
        let cases = errors.iter().enumerate().map(|(k, e)| outcome(&format!("a-{k}"), "a", &[(*e, 0.05)])).collect();
        Results::new("test".to_owned(), Vec::new(), String::new(), cases)
    }

    #[test]
    fn the_same_run_has_no_changes() {
        let run = results(&[0.01, -0.02, 0.03]);
        let comparison = compare(&run, &run, 0.1);
        assert!(comparison.figures.is_empty() && comparison.cases.is_empty() && !comparison.is_worse());
        assert_eq!((comparison.common, comparison.only_one), (3, 0));
    }

    #[test]
    fn worse_errors_are_worse_and_better_ones_are_not() {
        let (good, bad) = (results(&[0.01, -0.02, 0.03]), results(&[0.01, -0.04, 0.09]));
        let worse = compare(&good, &bad, 0.1);
        assert!(worse.is_worse() && worse.figures.iter().any(|c| c.figure == "cutoff V median, deg" && c.is_worse));
        assert_eq!(worse.cases.iter().map(|c| c.place.as_str()).collect::<Vec<_>>(), ["a-1", "a-2"]);
        let better = compare(&bad, &good, 0.1);
        assert!(!better.is_worse() && !better.figures.is_empty());
    }

    #[test]
    fn only_cases_of_both_runs_count() {
        let (old, new) = (results(&[0.01, -0.02]), results(&[0.01, -0.02, 0.5]));
        let comparison = compare(&old, &new, 0.1);
        assert_eq!((comparison.common, comparison.only_one, comparison.is_worse()), (2, 1, false));
    }

    #[test]
    fn one_more_wrong_refusal_is_worse_whatever_the_tolerance() {
        let old = results(&[0.01, -0.02]);
        let mut cases = old.cases.clone();
        cases[1].ending = Ending::RefusedWrongly;
        cases[1].errors.clear();
        let new = Results::new("test".to_owned(), Vec::new(), String::new(), cases);
        let comparison = compare(&old, &new, 10.0);
        assert!(comparison.is_worse() && comparison.cases[0].figure == "ending" && comparison.cases[0].is_worse);
    }
}

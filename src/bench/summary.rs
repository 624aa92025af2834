//! The figures of a family, or of all cases together.
//!
//! Errors are value minus truth in degrees; pulls are errors over the stated standard uncertainty u / 2.

use super::outcome::{Ending, FeatureError, Outcome, Quantity};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// Name under which all cases together are shown.
pub(super) const OVERALL: &str = "all";

/// What a set of cases comes to.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct FamilyFigures {
    /// The family; `all` for every case.
    pub family: String,
    /// Cases.
    pub n: usize,
    /// Measured, rightly.
    pub measured: usize,
    /// Refused, rightly.
    pub refused_rightly: usize,
    /// Refused, rightly, with a code that the truth does not name.
    pub refused_with_wrong_code: usize,
    /// Refused although measurable.
    pub refused_wrongly: usize,
    /// Measured although it must be refused.
    pub measured_wrongly: usize,
    /// Ended without a reading.
    pub broken: usize,
    /// Axes that were judged against their truth.
    pub wrong_verdicts: usize,
    /// Values off by more than 2 u and 0.05 degrees without a warning.
    pub unflagged_large: usize,
    /// Codes of the refusals, with their number.
    pub refusal_codes: BTreeMap<String, usize>,
    /// Each quantity.
    pub quantities: BTreeMap<Quantity, QuantityFigures>,
    /// Median time of a case, s.
    pub median_seconds: f64,
}

/// One quantity over a set of cases.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
pub struct QuantityFigures {
    /// Values with a truth.
    pub n: usize,
    /// Truths without a value, in photos that were measured.
    pub missing: usize,
    /// Median of the errors' absolute values.
    pub median_deg: f64,
    /// Their 95 % quantile: the smallest that at least 95 % do not exceed.
    pub p95_deg: f64,
    /// Their largest.
    pub max_deg: f64,
    /// Mean error with its sign: bias.
    pub bias_deg: f64,
    /// Median of the stated expanded uncertainty.
    pub median_u_deg: f64,
    /// Share of truths inside value ± u.
    pub coverage: f64,
    /// Standard deviation of the pulls about their mean.
    pub spread: f64,
    /// Mean pull.
    pub mean_pull: f64,
}

/// The figures of every family, by name, and of all together in front.
pub fn summarize(outcomes: &[Outcome]) -> Vec<FamilyFigures> {
    let mut by_family: BTreeMap<&str, Vec<&Outcome>> = BTreeMap::new();
    for outcome in outcomes {
        by_family.entry(&outcome.family).or_default().push(outcome);
    }
    let all: Vec<&Outcome> = outcomes.iter().collect();
    let families = by_family.iter().map(|(family, list)| figures(family, list));
    std::iter::once(figures(OVERALL, &all)).chain(families).collect()
}

fn figures(family: &str, outcomes: &[&Outcome]) -> FamilyFigures {
    let ended = |ending: Ending| outcomes.iter().filter(|outcome| outcome.ending == ending).count();
    let mut refusal_codes: BTreeMap<String, usize> = BTreeMap::new();
    for flag in outcomes.iter().flat_map(|outcome| &outcome.flags).filter(|flag| flag.severity == "refusal") {
        *refusal_codes.entry(flag.code.clone()).or_default() += 1;
    }
    let quantities =
        Quantity::ALL.into_iter().filter_map(|quantity| Some((quantity, of_quantity(quantity, outcomes)?)));
    let mut seconds: Vec<f64> = outcomes.iter().map(|outcome| outcome.seconds).collect();
    seconds.sort_by(f64::total_cmp);
    FamilyFigures {
        family: family.to_owned(),
        n: outcomes.len(),
        measured: ended(Ending::Measured),
        refused_rightly: ended(Ending::RefusedRightly),
        refused_with_wrong_code: ended(Ending::RefusedWithWrongCode),
        refused_wrongly: ended(Ending::RefusedWrongly),
        measured_wrongly: ended(Ending::MeasuredWrongly),
        broken: ended(Ending::Broken),
        wrong_verdicts: outcomes.iter().map(|outcome| outcome.wrong_axes.len()).sum(),
        unflagged_large: outcomes.iter().map(|outcome| outcome.unflagged_large().count()).sum(),
        refusal_codes,
        quantities: quantities.collect(),
        median_seconds: quantile(&seconds, 0.5),
    }
}

fn of_quantity(quantity: Quantity, outcomes: &[&Outcome]) -> Option<QuantityFigures> {
    let missing = outcomes.iter().filter(|outcome| outcome.missing.contains(&quantity)).count();
    let all = outcomes.iter().flat_map(|outcome| &outcome.errors);
    let errors: Vec<FeatureError> = all.filter(|error| error.quantity == quantity).copied().collect();
    if errors.is_empty() {
        return (missing > 0).then(|| QuantityFigures { missing, ..QuantityFigures::default() });
    }
    let n = errors.len() as f64;
    let sorted = |of: fn(&FeatureError) -> f64| {
        let mut list: Vec<f64> = errors.iter().map(of).collect();
        list.sort_by(f64::total_cmp);
        list
    };
    let sizes = sorted(|error| error.error_deg().abs());
    let mean_pull = errors.iter().map(FeatureError::pull).sum::<f64>() / n;
    let variance = errors.iter().map(|error| (error.pull() - mean_pull).powi(2)).sum::<f64>() / n;
    Some(QuantityFigures {
        n: errors.len(),
        missing,
        median_deg: quantile(&sizes, 0.5),
        p95_deg: quantile(&sizes, 0.95),
        max_deg: quantile(&sizes, 1.0),
        bias_deg: errors.iter().map(FeatureError::error_deg).sum::<f64>() / n,
        median_u_deg: quantile(&sorted(|error| error.u_deg), 0.5),
        coverage: errors.iter().filter(|error| error.is_inside()).count() as f64 / n,
        spread: variance.sqrt(),
        mean_pull,
    })
}

/// The smallest of the sorted values that at least `share` of them do not exceed; 0 of none.
fn quantile(sorted: &[f64], share: f64) -> f64 {
    let rank = (share * sorted.len() as f64).ceil().max(1.0) as usize;
    sorted.get(rank.min(sorted.len()).wrapping_sub(1)).copied().unwrap_or(0.0)
}

#[cfg(test)]
pub(super) mod tests {
    use super::super::outcome::FlagSeen;
    use super::*;

    pub(crate) fn outcome(id: &str, family: &str, errors: &[(f64, f64)]) -> Outcome {
        let of = |(error, u_deg): &(f64, f64)| FeatureError {
            quantity: Quantity::CutoffV,
            value_deg: -0.5 + error,
            truth_deg: -0.5,
            u_deg: *u_deg,
        };
        Outcome {
            id: id.to_owned(),
            family: family.to_owned(),
            ending: Ending::Measured,
            flags: Vec::new(),
            message: None,
            errors: errors.iter().map(of).collect(),
            missing: Vec::new(),
            verdict: None,
            wrong_axes: Vec::new(),
            conditions: BTreeMap::new(),
            seconds: 0.2,
        }
    }

    /// Hand-worked: errors 0.01, -0.02, 0.03, -0.20 with u 0.04; pulls 0.5, -1, 1.5, -10.
    #[test]
    fn figures_of_four_cases_are_those_worked_by_hand() {
        let mut list: Vec<Outcome> = [0.01, -0.02, 0.03, -0.20]
            .iter()
            .enumerate()
            .map(|(k, error)| outcome(&format!("a-{k}"), "a", &[(*error, 0.04)]))
            .collect();
        list.push(outcome("b-0", "b", &[]));
        list[4].ending = Ending::RefusedWrongly;
        list[4].flags = vec![FlagSeen { code: "blurred".to_owned(), severity: "refusal".to_owned() }];
        let all = summarize(&list);
        assert_eq!(all.iter().map(|f| f.family.as_str()).collect::<Vec<_>>(), ["all", "a", "b"]);
        let cutoff = all[0].quantities[&Quantity::CutoffV];
        let near = |a: f64, b: f64| (a - b).abs() < 1e-9;
        assert!(near(cutoff.median_deg, 0.02) && near(cutoff.p95_deg, 0.2) && near(cutoff.max_deg, 0.2));
        assert!(near(cutoff.bias_deg, -0.045) && near(cutoff.coverage, 0.75) && near(cutoff.mean_pull, -2.25));
        // Variance of (0.5, -1, 1.5, -10) about -2.25: (7.5625 + 1.5625 + 14.0625 + 60.0625) / 4 = 20.8125.
        assert!(near(cutoff.spread, 20.8125_f64.sqrt()));
        assert_eq!((all[0].n, all[0].measured, all[0].refused_wrongly, all[0].unflagged_large), (5, 4, 1, 1));
        assert_eq!(all[2].refusal_codes, [("blurred".to_owned(), 1)].into());
        assert!(all[2].quantities.is_empty());
    }

    #[test]
    fn a_warning_or_a_wider_u_takes_a_large_error_off_the_list() {
        let mut flagged = outcome("a", "a", &[(0.3, 0.1)]);
        flagged.flags = vec![FlagSeen { code: "near-wall".to_owned(), severity: "info".to_owned() }];
        assert_eq!(summarize(std::slice::from_ref(&flagged))[0].unflagged_large, 1);
        flagged.flags[0].severity = "warning".to_owned();
        assert_eq!(summarize(&[flagged])[0].unflagged_large, 0);
        assert_eq!(summarize(&[outcome("a", "a", &[(0.3, 0.15)])])[0].unflagged_large, 0);
    }

    #[test]
    fn quantiles_are_members_of_the_list() {
        let list: Vec<f64> = (1..=20).map(f64::from).collect();
        let near = |share, value: f64| (quantile(&list, share) - value).abs() < 1e-12;
        assert!(near(0.95, 19.0) && near(0.5, 10.0) && near(1.0, 20.0) && near(0.0, 1.0));
        assert!(quantile(&[], 0.5).abs() < 1e-12);
    }
}

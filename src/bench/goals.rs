//! What a good run looks like: the figures that the page holds each cell against, and the words for a miss.
//!
//! A figure of few values says little: shares and spreads are judged from [`LEAST_N`] values on. A count of what must not
//! happen is judged always.

use super::summary::{FamilyFigures, QuantityFigures};

/// Values from which a share or a spread is judged: below, one value moves the share by a tenth or more.
pub(super) const LEAST_N: usize = 10;
/// Least share of truths inside value ± u. A true u (k = 2) has 0.954; forty values then reach 0.90 in 96 of 100 runs (binomial).
pub(super) const COVERAGE_LEAST: f64 = 0.90;
/// Spread of error/(u/2): 1 for a true u. Below the first it is too cautious by half, above the second too bold by a third
/// (own judgement: what 40 values can tell from 1, and what a user would notice).
pub(super) const SPREAD: (f64, f64) = (0.7, 1.3);
/// Largest mean of error/(u/2), either sign: a bias beyond a half of the standard uncertainty is no longer hidden by it.
pub(super) const MEAN_PULL_MOST: f64 = 0.5;

/// The goals in words, for the page.
pub(super) fn in_words() -> [String; 4] {
    [
        "nothing is refused wrongly, measured wrongly, broken, judged against its truth, or off by more than 2 u and 0.05° \
         without a warning"
            .to_owned(),
        format!("at least {COVERAGE_LEAST:.2} of the truths lie inside value ± u"),
        format!("the spread of error/(u/2) lies in {} to {}", SPREAD.0, SPREAD.1),
        format!("the mean of error/(u/2), the bias in shares of the stated doubt, is at most {MEAN_PULL_MOST}"),
    ]
}

/// What is missed by a count of something that must not happen.
pub(super) fn count_miss(count: usize) -> Option<&'static str> {
    (count > 0).then_some("must not happen")
}

/// What the share inside value ± u misses.
pub(super) fn coverage_miss(q: &QuantityFigures) -> Option<String> {
    (q.n >= LEAST_N && q.coverage < COVERAGE_LEAST).then(|| format!("under {COVERAGE_LEAST:.2}: u is too small"))
}

/// What the spread of error/(u/2) misses.
pub(super) fn spread_miss(q: &QuantityFigures) -> Option<String> {
    if q.n < LEAST_N {
        return None;
    }
    if q.spread < SPREAD.0 {
        return Some(format!("under {}: u is too large", SPREAD.0));
    }
    (q.spread > SPREAD.1).then(|| format!("over {}: u is too small, or single values are far off", SPREAD.1))
}

/// What the bias misses.
pub(super) fn bias_miss(q: &QuantityFigures) -> Option<String> {
    let is_missed = q.n >= LEAST_N && q.mean_pull.abs() > MEAN_PULL_MOST;
    is_missed.then(|| format!("mean of error/(u/2) is {:+.2}, at most {MEAN_PULL_MOST}", q.mean_pull))
}

/// Goals that a family misses, counted.
pub(super) fn misses(family: &FamilyFigures) -> usize {
    let counts = [
        family.refused_wrongly,
        family.refused_with_wrong_code,
        family.measured_wrongly,
        family.broken,
        family.wrong_verdicts,
        family.unflagged_large,
    ];
    let of_quantity =
        |q: &QuantityFigures| [coverage_miss(q), spread_miss(q), bias_miss(q)].into_iter().flatten().count();
    counts.into_iter().filter_map(count_miss).count() + family.quantities.values().map(of_quantity).sum::<usize>()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_figure_is_judged_at_its_edge_and_only_of_enough_values() {
        let good = QuantityFigures { n: 10, coverage: 0.9, spread: 1.3, mean_pull: -0.5, ..QuantityFigures::default() };
        assert_eq!((coverage_miss(&good), spread_miss(&good), bias_miss(&good)), (None, None, None));
        let bad = QuantityFigures { coverage: 0.89, spread: 0.69, mean_pull: -0.51, ..good };
        assert!(coverage_miss(&bad).is_some() && bias_miss(&bad).is_some());
        assert!(spread_miss(&bad).is_some_and(|words| words.contains("too large")));
        let few = QuantityFigures { n: 9, ..bad };
        assert_eq!((coverage_miss(&few), spread_miss(&few), bias_miss(&few)), (None, None, None));
        assert!(count_miss(1).is_some() && count_miss(0).is_none());
    }
}

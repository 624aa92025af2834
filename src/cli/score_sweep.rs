//! `score --sweep KEY=FROM..TO/N`: the same cases scored at several values of one option.

use super::score::{bar, measure_case};
use crate::bench::{Case, Outcome, Sweep, SweepPoint, score, summarize};
use crate::error::Error;
use crate::options::Options;
use std::collections::BTreeMap;
use std::path::Path;

/// Most values of a sweep: more than a picture can show.
const MOST_VALUES: usize = 100;

/// What is swept: the option and the options at each of its values.
#[derive(Debug)]
pub(super) struct Sweeping {
    key: String,
    values: Vec<(f64, Options)>,
}

impl Sweeping {
    /// Reads `KEY=FROM..TO/N`; the other options are those of `base`.
    pub(super) fn parse(words: &str, base: &Options) -> Result<Self, Error> {
        let parts = || {
            let (key, range) = words.split_once('=')?;
            let (ends, count) = range.rsplit_once('/')?;
            let (from, to) = ends.split_once("..")?;
            Some((key.trim(), number(from)?, number(to)?, count.trim().parse::<usize>().ok()?))
        };
        let Some((key, from, to, count)) = parts() else {
            return Err(Error::usage(
                format!("--sweep {words}: need KEY=FROM..TO/N"),
                "for example beam.cutoff.above_deg=0.8..2.0/7; `lampwright options` prints every key with its range",
            ));
        };
        if !(2..=MOST_VALUES).contains(&count) || from >= to {
            return Err(Error::usage(
                format!("--sweep {words}: need FROM under TO and 2 to {MOST_VALUES} values"),
                "N counts the values, both ends included",
            ));
        }
        let values = (0..count)
            .map(|k| {
                let value = from + (to - from) * k as f64 / (count - 1) as f64;
                let mut options = *base;
                options.set_number(key, value)?;
                Ok((value, options))
            })
            .collect::<Result<_, Error>>()?;
        Ok(Self { key: key.to_owned(), values })
    }
}

fn number(word: &str) -> Option<f64> {
    word.trim().parse::<f64>().ok().filter(|number| number.is_finite())
}

/// Scores the cases at every value.
pub(super) fn sweep(sweeping: &Sweeping, cases: &[Case], scratch: &Path) -> Result<Sweep, Error> {
    let bar = bar(cases.len() * sweeping.values.len());
    let finished = |_: &Outcome| {
        bar.inc(1);
        Ok(())
    };
    let points = sweeping
        .values
        .iter()
        .map(|(value, options)| {
            let measure = |prepared: &_| measure_case(prepared, options);
            let outcomes = score(cases, &BTreeMap::new(), scratch, &measure, &finished)?;
            Ok(SweepPoint { value: *value, families: summarize(&outcomes) })
        })
        .collect::<Result<_, Error>>()?;
    bar.finish_and_clear();
    Ok(Sweep { key: sweeping.key.clone(), points })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn values_are_even_and_only_the_option_moves() {
        let sweeping = Sweeping::parse("grid.step_v_deg=0.01..0.05/5", &Options::default()).unwrap();
        let values: Vec<f64> = sweeping.values.iter().map(|(value, _)| (1e6 * value).round() / 1e6).collect();
        assert_eq!(values, [0.01, 0.02, 0.03, 0.04, 0.05]);
        let changed = sweeping.values[4].1.changed();
        assert_eq!(changed.keys().collect::<Vec<_>>(), ["grid.step_v_deg"]);
        assert!(Sweeping::parse("beam.spot.least_ln=-4..-1/4", &Options::default()).is_ok());
    }

    #[test]
    fn errors_name_what_is_wrong() {
        let error = |words: &str| Sweeping::parse(words, &Options::default()).unwrap_err().to_string();
        assert!(error("grid.step_v_deg").contains("KEY=FROM..TO/N"));
        assert!(error("grid.step_v_deg=0.05..0.01/5").contains("FROM under TO"));
        assert!(error("grid.step_v_deg=0.01..0.05/1").contains("2 to 100"));
        assert!(error("grid.step_v_deg=0.01..5/3").contains("need 0.005 to 0.2 deg"));
        assert!(error("grid.step=0.01..0.05/3").contains("nearest known key is grid.step_"));
        assert!(error("marks.search_side_px=1000..1001/3").contains("whole number"));
    }
}

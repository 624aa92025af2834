//! The run: every case prepared, measured and judged, on all cores, in any order.
//!
//! **Takes** the cases, those that are done already, a scratch folder, and the function that measures. **Gives** an
//! [`Outcome`] a case, in the cases' order. A case that fails, panics or cannot be prepared is an outcome, not the end of
//! the run. **Fails when** `finished` fails: what cannot be kept is not worth going on for.

use super::case::{Case, Prepared};
use super::judge::{broken, judge};
use super::outcome::Outcome;
use crate::error::Error;
use crate::reading::Reading;
use rayon::prelude::*;
use std::collections::BTreeMap;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::Path;
use std::time::Instant;

/// A function that measures a prepared case.
pub type Measured<'a> = dyn Fn(&Prepared) -> Result<Reading, Error> + Sync + 'a;

/// Scores every case that is not in `done`; `finished` is told of each as it ends, from any thread.
pub fn score(
    cases: &[Case],
    done: &BTreeMap<String, Outcome>,
    scratch: &Path,
    measure: &Measured<'_>,
    finished: &(dyn Fn(&Outcome) -> Result<(), Error> + Sync),
) -> Result<Vec<Outcome>, Error> {
    // One case at a time for a free thread: cases differ by a factor of ten in time.
    cases
        .par_iter()
        .with_max_len(1)
        .map(|case| {
            if let Some(outcome) = done.get(&case.id) {
                return Ok(outcome.clone());
            }
            let outcome = one(case, scratch, measure);
            finished(&outcome)?;
            Ok(outcome)
        })
        .collect()
}

fn one(case: &Case, scratch: &Path, measure: &Measured<'_>) -> Outcome {
    // The scratch folder has another name in every run; what is said must not.
    let scratch_name = format!("{}{}", scratch.display(), std::path::MAIN_SEPARATOR);
    let words = |error: &Error| error.to_string().replace(&scratch_name, "");
    let prepared = match case.prepare(scratch) {
        Ok(prepared) => prepared,
        Err(error) => return broken(&case.id, &case.family, None, words(&error), 0.0),
    };
    let started = Instant::now();
    // Whatever a panic left behind belongs to this case alone.
    let result = catch_unwind(AssertUnwindSafe(|| measure(&prepared)));
    let seconds = started.elapsed().as_secs_f64();
    match result {
        Ok(Ok(reading)) => judge(&case.id, &case.family, &prepared, &reading, seconds),
        Ok(Err(error)) => broken(&case.id, &case.family, Some(&prepared), words(&error), seconds),
        Err(_) => broken(&case.id, &case.family, Some(&prepared), "panicked".to_owned(), seconds),
    }
}

#[cfg(test)]
mod tests {
    use super::super::case::cases_of_families;
    use super::super::outcome::Ending;
    use super::*;

    #[test]
    fn errors_and_panics_are_outcomes_and_done_cases_are_left_alone() {
        let scratch = tempfile::tempdir().unwrap();
        let cases = cases_of_families(&["clean".to_owned()], 3, 0, (320, 240)).unwrap();
        let measure = |prepared: &Prepared| {
            assert!(!prepared.folder.ends_with("clean-1"), "a defect");
            Err(Error::usage("found nothing", "look again"))
        };
        let finished = |_: &Outcome| Ok(());
        let first = score(&cases, &BTreeMap::new(), scratch.path(), &measure, &finished).unwrap();
        assert_eq!(first.iter().map(|o| o.id.as_str()).collect::<Vec<_>>(), ["clean-0", "clean-1", "clean-2"]);
        assert!(first.iter().all(|outcome| outcome.ending == Ending::Broken));
        assert_eq!(first[1].message.as_deref(), Some("panicked"));
        assert!(first[0].message.as_deref().unwrap().contains("found nothing"));
        let done = first.into_iter().map(|outcome| (outcome.id.clone(), outcome)).collect();
        let never = |_: &Prepared| -> Result<Reading, Error> { panic!("nothing is left to measure") };
        let count = std::sync::atomic::AtomicUsize::new(0);
        let finished = |_: &Outcome| {
            count.fetch_add(1, std::sync::atomic::Ordering::Relaxed);
            Ok(())
        };
        assert_eq!(score(&cases, &done, scratch.path(), &never, &finished).unwrap().len(), 3);
        assert_eq!(count.into_inner(), 0);
    }
}

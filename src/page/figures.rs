//! The day in three figures: checked, out of aim, corrected.

use super::answer::Failure;
use crate::record::{Filter, Inspection, Store};

/// Inspections of one day that are looked into.
const MOST: u64 = 1000;
/// Letters of a time that name the day.
const DAY: usize = 10;

/// Vehicles of a day.
#[derive(Debug, Default, Clone, PartialEq, Eq)]
pub(super) struct Figures {
    /// The day, UTC.
    pub(super) day: String,
    /// With a lamp that was measured.
    pub(super) checked: usize,
    /// Of those, with a lamp that did not pass at first.
    pub(super) out: usize,
    /// Of those, whose lamps all pass now.
    pub(super) corrected: usize,
}

impl Figures {
    /// Of the inspections that were begun today.
    pub(super) fn of_today(store: &Store) -> Result<Self, Failure> {
        let mut day = crate::record::entry::now();
        day.truncate(DAY);
        let filter = Filter { from: Some(day.clone()), limit: Some(MOST), ..Filter::default() };
        let inside = |error| Failure::inside(&error);
        let mut figures = Self { day, ..Self::default() };
        for row in store.find(&filter).map_err(inside)? {
            figures.add(&store.inspection_at(row.number).map_err(inside)?.inspection);
        }
        Ok(figures)
    }

    fn add(&mut self, inspection: &Inspection) {
        let first = |lamp: &crate::record::LampRecord| {
            lamp.before().and_then(|reading| reading.reading.verdict.as_ref()).map(|verdict| verdict.overall.clone())
        };
        let firsts: Vec<String> = inspection.lamps.iter().filter_map(first).collect();
        self.checked += usize::from(!firsts.is_empty());
        let is_out = firsts.iter().any(|verdict| verdict != "pass" && verdict != "none");
        self.out += usize::from(is_out);
        self.corrected += usize::from(is_out && inspection.verdict == "pass");
    }
}

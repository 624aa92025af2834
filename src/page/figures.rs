//! The day in three figures: checked, out of aim, corrected.

use super::answer::Failure;
use super::day::bounds;
use crate::record::{Filter, Inspection, LampRecord, Store};
use jiff::civil::Date;

/// Inspections of one day that are looked into.
const MOST: u64 = 1000;

/// Vehicles of a day.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Figures {
    /// The day, as the shop's clock has it.
    pub(super) day: Date,
    /// With a lamp that was measured.
    pub(super) checked: usize,
    /// Of those, with a lamp that failed at first; one too close to call is not shown to be out.
    pub(super) out: usize,
    /// Of those, whose lamps all pass now.
    pub(super) corrected: usize,
}

impl Figures {
    const fn none_on(day: Date) -> Self {
        Self { day, checked: 0, out: 0, corrected: 0 }
    }

    /// Of the inspections that were begun on a day.
    pub(super) fn of(store: &Store, day: Date) -> Result<Self, Failure> {
        let mut figures = Self::none_on(day);
        let Some((from, until)) = bounds(day) else { return Ok(figures) };
        let filter = Filter { from: Some(from), until: Some(until), limit: Some(MOST), ..Filter::default() };
        let inside = |error| Failure::inside(&error);
        for row in store.find(&filter).map_err(inside)? {
            figures.add(&store.inspection_at(row.number).map_err(inside)?.inspection);
        }
        Ok(figures)
    }

    fn add(&mut self, inspection: &Inspection) {
        let first = |lamp: &LampRecord| {
            lamp.before().and_then(|reading| reading.reading.verdict.as_ref()).map(|verdict| verdict.overall.clone())
        };
        let firsts: Vec<String> = inspection.lamps.iter().filter_map(first).collect();
        self.checked += usize::from(!firsts.is_empty());
        let is_out = firsts.iter().any(|verdict| verdict == "fail");
        self.out += usize::from(is_out);
        self.corrected += usize::from(is_out && inspection.verdict == "pass");
    }
}

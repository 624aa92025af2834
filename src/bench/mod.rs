//! The developer's bench: many photos with known truth measured, compared, summed up and shown.
//!
//! A [`Case`] is a photo with its truth, in a folder or rendered when it is needed. [`score`] has each measured by the
//! function that it is given, and keeps an [`Outcome`] of each; [`summarize`] makes the figures of a family or of all, and
//! [`page`] shows them in a browser.
//!
//! A photo of one's own becomes such a case: [`strip`] cleans it of what it tells besides the picture,
//! [`fixture_truth`] reads what is known of it, [`fixture`] appends it to a manifest ([`fixture_manifest`]), and
//! [`fixture_compare`] holds a reading against it, as the accuracy test does.

mod truth_file;
mod case;
mod outcome;
mod judge;
mod summary;
mod results;
mod journal;
mod run;
mod table;
mod csv;
mod against;
mod goals;
mod interval;
mod scale;
mod chart;
mod views;
mod sweep;
mod sweep_table;
mod tables;
mod gallery;
mod page;
pub mod fixture_manifest;
pub mod fixture_truth;
pub mod fixture_compare;
pub mod fixture;
pub mod strip;
mod strip_exif;
mod strip_jpeg;
mod strip_png;

pub use against::{Change, Comparison, compare};
pub use case::{Case, CaseSource, Prepared, cases_of_families, cases_of_folder, rendered};
pub use csv::csv;
pub use gallery::{Picture, worst};
pub use journal::Journal;
pub use outcome::{Ending, FeatureError, FlagSeen, Outcome, Quantity};
pub use page::{PageInput, page};
pub use results::{RESULTS_SCHEMA, Results};
pub use run::{Measured, score};
pub use summary::{FamilyFigures, QuantityFigures, summarize};
pub use sweep::{Sweep, SweepPoint};
pub use table::table;
pub use truth_file::{Place, Table, TruthFile};

#[cfg(test)]
mod strip_tests;

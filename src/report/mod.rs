//! Reports on paper: what a customer reads on one page, and the full table for the file.
//!
//! **Takes** a record of the store, its annotated pictures and the log's head. **Gives** [`Page`](crate::kit::sheet_page::Page)s
//! for [`pdf`](crate::kit::sheet_pdf::pdf): words first, then pictures, then numbers. Nothing is measured or judged here: every
//! figure is one of the record's, or one of those in other units. Angles are shown as percent (100·tan) and as millimetres on a
//! flat screen at the wall's distance; the full table also prints them in degrees, to the last stored digit.
//!
//! A page depends on nothing but what it is given: no clock, no folder.

mod reach;
mod figures;
mod axis;
mod words;
mod look;
mod picture;
mod ruler;
mod lamp;
mod dense;
mod header;
mod footer;
mod front;
mod flow;
mod full_table;
mod full_reading;

pub use front::front_pages;
pub use full_table::table_pages;
pub use picture::Pictures;
pub use reach::{Reach, reach};

use crate::record::{Head, Stored};

/// What a report is made of.
#[derive(Debug, Clone, Copy)]
pub struct ReportInput<'a> {
    /// The record.
    pub stored: &'a Stored,
    /// The log's head when the report is made: whoever keeps the report can show a tail that was cut off later.
    pub head: Head,
    /// The annotated pictures that it shows.
    pub pictures: &'a Pictures,
}

//! The reading: everything that one photo came to, as one JSON object and as text for people.

pub mod block;
pub mod parts;
pub mod show;
pub mod text;

pub use block::Reading;
pub use parts::{MarkFit, ReadingOutcome, ReadingParts};
pub use show::DisplayUnits;
pub use text::to_text;

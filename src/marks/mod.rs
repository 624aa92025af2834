//! Reference marks in the photo: found, named and placed to a fraction of a pixel.

pub mod found;

pub use found::{FoundMark, Marks, MissingMark};

//! Reference marks in the photo: found, named and placed to a fraction of a pixel.

pub mod found;
pub mod find;
pub mod tag_family;

mod component;
mod decode;
mod fit;
mod gaussian;
mod patch;
mod projective;
mod quad;
mod shrink;
mod tag_fit;
mod threshold;

#[cfg(test)]
mod testing;

pub use find::{FindOptions, find};
pub use found::{FoundMark, Marks, MissingMark};

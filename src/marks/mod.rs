//! Reference marks in the photo: found, named and placed to a fraction of a pixel.

pub mod found;
pub mod options;
pub mod tried;
pub mod find;
pub mod tag_family;

mod by_hand;
mod component;
mod decode;
mod fit;
mod fit_pass;
mod fit_sums;
mod gaussian;
mod grain;
mod guided;
mod layout;
mod name;
mod patch;
mod pictures;
mod projective;
mod quad;
mod quadrant;
mod quadrant_fit;
mod quadrant_search;
mod shrink;
mod srgb_table;
mod tag_fit;
mod tag_search;
mod threshold;

#[cfg(test)]
mod testing;

pub(crate) use gaussian::BlurredEdge;
pub(crate) use tag_family::{CODE_SIDE, SQUARE_SIDE, TagCode};

pub use find::{find, find_telling};
pub use found::{FoundMark, Marks, MissingMark};
pub use options::FindOptions;
pub use tried::{Fate, Tried, TriedKind, TriedList};

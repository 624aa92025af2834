//! Bytes of a file to a picture whose reads are proportional to light.

pub mod options;
pub mod image;
pub mod decode;
#[cfg(feature = "heic")]
mod decode_heic;
#[cfg(feature = "raw")]
mod decode_dng;
mod decode_jpeg;
mod decode_png;
#[cfg(feature = "raw")]
mod dng_directories;
mod dng_kind;
mod exif;
#[cfg(feature = "heic")]
mod heic_boxes;
mod jpeg_walk;
pub mod linear;
pub mod row_light;
pub mod banding;
pub mod black;
pub mod bracket;
pub mod level_banding;
pub mod noise;
pub mod pair;
mod pair_fit;
mod pair_match;
mod pair_reduce;
#[cfg(feature = "raw")]
mod raw_light;
pub mod sharpness;

pub use banding::{Bands, bands};
pub use black::BlackClip;
pub use decode::{DecodeOptions, decode};
pub(crate) use exif::EXIF_LIMIT_BYTES;
pub use image::{Format, MergedFrom, Photo, Pixels, ShotFacts, UprightMap};
pub(crate) use jpeg_walk::{JpegSegment, jpeg_segments};
pub use level_banding::level_bands;
pub use linear::{AmbientAlignment, LinearImage};
pub use noise::NoiseCurve;
pub use options::PhotoOptions;
pub use pair::{FoundShift, PairShift, shift_between};
pub use sharpness::{edge_spread_px, white_share};

#[cfg(all(test, feature = "heic"))]
mod heic_tests;
#[cfg(test)]
mod hostile_tests;
#[cfg(test)]
mod outside_tests;
#[cfg(test)]
mod testing;

//! Bytes of a file to a picture whose reads are proportional to light.

pub mod image;
pub mod decode;
mod decode_jpeg;
mod decode_png;
mod exif;
mod jpeg_walk;
pub mod linear;

pub use decode::{DecodeOptions, decode};
pub use image::{Format, Photo, Pixels, ShotFacts, UprightMap};
pub use linear::LinearImage;

#[cfg(test)]
mod hostile_tests;
#[cfg(test)]
mod outside_tests;

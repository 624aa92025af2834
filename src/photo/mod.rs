//! Bytes of a file to a picture whose reads are proportional to light.

pub mod image;
pub mod decode;
mod decode_jpeg;
mod decode_png;
mod exif;
mod jpeg_walk;
pub mod linear;
pub mod noise;

pub use decode::{DecodeOptions, decode};
pub use image::{Format, Photo, Pixels, ShotFacts, UprightMap};
pub use linear::{AmbientAlignment, LinearImage};
pub use noise::NoiseCurve;

#[cfg(test)]
mod hostile_tests;
#[cfg(test)]
mod outside_tests;
#[cfg(test)]
mod testing;

//! Bytes of a file to a picture whose reads are proportional to light.

pub mod image;
pub mod linear;

pub use image::{Format, Photo, Pixels, ShotFacts, UprightMap};
pub use linear::LinearImage;

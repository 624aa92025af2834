//! What is known of the camera: its lens.

pub mod lens;
pub mod profile;

pub use lens::{Lens, Ray};

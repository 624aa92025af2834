//! What is known of the camera: its lens.

pub mod lens;

pub use lens::Lens;

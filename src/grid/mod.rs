//! The photo resampled on the lamp's own angle axes.

pub mod resample;
pub mod far;

pub use far::{FarSample, far_field};
pub use resample::{AngleGrid, Axis, GridOptions, floor_line_mm};

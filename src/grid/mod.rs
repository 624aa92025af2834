//! The photo resampled on the lamp's own angle axes.

mod window;
pub mod resample;
pub mod far;

pub use far::{FarSample, far_field};
pub use resample::{AngleGrid, Axis, GridOptions};

//! The photo resampled on the lamp's own angle axes.

pub mod options;
mod window;
pub mod resample;
pub mod far;

pub use far::{FarSample, far_field};
pub use options::GridOptions;
pub use resample::{AngleGrid, Axis};

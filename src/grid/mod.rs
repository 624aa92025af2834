//! The photo resampled on the lamp's own angle axes.

pub mod black;
pub mod options;
mod window;
pub mod resample;
pub mod far;

pub use black::take_off_black;
pub use far::{FarSample, far_field};
pub use options::GridOptions;
pub use resample::{AngleGrid, Axis};

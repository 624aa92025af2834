//! The photo resampled on the lamp's own angle axes.

pub mod resample;

pub use resample::{AngleGrid, Axis, GridOptions};

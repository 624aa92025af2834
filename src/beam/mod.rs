//! The beam's features in angles seen from the lamp.

pub mod features;
pub mod options;
mod curvature;
pub mod solve;
pub mod edge;
mod edge_model;
mod edge_sample;
mod wall_rows;
pub mod edge_line;
#[cfg(test)]
mod edge_line_tests;
pub mod light;
mod mark_window;
mod tone_model;
mod tone_fit;
pub mod tone;
pub mod coarse;
mod running;
pub mod rows;
pub mod columns;
pub mod wall_gains;
pub mod room;
pub mod lines;
pub mod step;
pub mod spot_cells;
pub mod spot_model;
pub mod spot_fit;
mod spot_free;
pub mod hotspot;
pub mod bright_zone;
pub mod setup_budget;
pub mod absence;
mod input;
pub mod seen;
mod look;
mod edge_features;
mod spot_features;
mod notes;
mod other_lamp;
pub mod measure;
#[cfg(test)]
mod testing;

pub use features::{BeamFeatures, BrightZone, Cutoff, Elbow, HotSpot, Pattern};
pub use input::BeamInput;
pub use light::ToneCurve;
pub use measure::{measure, measure_seen};
pub use options::BeamOptions;
pub use seen::{BeamSeen, Profile};
pub use tone::ToneKnowledge;

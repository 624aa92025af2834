//! The beam's features in angles seen from the lamp.

pub mod features;

pub use features::{BeamFeatures, BrightZone, Cutoff, Elbow, HotSpot, Pattern};

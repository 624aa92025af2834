//! Synthetic photos of a beam on a marked wall, with exact truth.
//!
//! [`sample`] draws a [`SceneSpec`] of one of the [`families`] by its seed; [`render`] makes photo, bay file and truth of
//! it; the same scene gives the same bytes. Truth never comes from the code under test: this folder imports nothing of
//! the stages, only units, the lens's numbers and the bay file's format.

mod beam;
mod beam_spec;
mod candela;
mod candela_csv;
mod cubic;
mod curve;
mod develop;
mod facets;
mod family;
mod geometry;
mod goniometer;
mod jpeg;
mod light;
mod lm63;
mod optics;
mod paint;
mod render;
mod rng;
mod sheets;
mod smear;
mod spec;
mod spec_camera;
mod surface;
mod tabled;
mod tags;
mod traced;
mod truth;
mod write;

pub use beam::Beam;
pub use beam_spec::{BeamSpec, Shape};
pub use candela::CandelaTable;
pub use facets::FacetSpec;
pub use family::{families, sample, sample_file, scene_file};
pub use goniometer::{Goniometer, Pole};
pub use render::{Rendered, lamp_lux, render, wall_pixel};
pub use smear::{smear_deg, smeared_cd};
pub use spec::{
    FloorSpec, MarkSpec, PairSpec, PictureSpec, RoomSpec, SceneSpec, SecondSpec, SetupSpec, WallKind, WallSpec,
};
pub use spec_camera::{CameraSpec, SensorSpec, ToneKind};
pub use truth::{CutoffPoint, Elbow, HotSpot, STEP_DEG, cutoff_at, elbow, hot_spot};
pub use write::TRUTH_SCHEMA;

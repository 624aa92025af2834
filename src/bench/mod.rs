//! The developer's bench: real photos become fixtures, and a case of the manifest is held against its truth.
//!
//! Nothing of this is needed to measure a lamp. The bench reads what the stages made and the shape of
//! `fixtures/manifest.toml`; no stage imports it.

pub mod fixture;
pub mod fixture_compare;
pub mod fixture_manifest;
pub mod fixture_truth;
pub mod strip;
mod strip_exif;
mod strip_jpeg;
mod strip_png;

pub use fixture::{Caps, FixtureEntry, FixtureFiles, Folder, Today, prepare, today};
pub use fixture_compare::{Comparison, Row, compare, unexpected};
pub use fixture_manifest::{Case, Coverage, Manifest, Source, Tolerance, Truth};
pub use fixture_truth::{StatedTruth, fit_to_pattern, read_truth};
pub use strip::{Stripped, strip};

#[cfg(test)]
mod strip_tests;

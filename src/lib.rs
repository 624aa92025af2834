//! Lampwright measures how a headlamp is aimed from a photo of its beam on a marked wall.

pub mod units;
pub mod measured;
pub mod flag;
pub mod error;
pub mod tunable;
pub mod bay;
pub mod camera;
pub mod photo;
pub mod marks;
pub mod wall;
pub mod grid;
pub mod beam;
pub mod aim;
pub mod options;
pub mod measurement;
pub mod reading;
pub mod draw;
pub mod kit;
#[cfg(feature = "records")]
pub mod record;
pub mod scene;
pub mod bench;
pub mod cli;
#[cfg(feature = "serve")]
pub mod page;

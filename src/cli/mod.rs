//! The command line: raw arguments, validated plan, running, writing, exit status.

pub mod args;
mod plan_texts;
pub mod plan;
pub mod measure;
pub mod batch;
pub mod trace;
pub mod drive;
pub mod scenes;
pub mod fixture;
pub mod score;
mod score_pictures;
mod score_sweep;
pub mod rules;
pub mod sheet;
pub mod lens;
pub mod response;
pub mod bay;
mod bay_survey;
mod bay_check;
mod bay_photo;
pub mod options;
pub mod prepare;
pub mod aim;
#[cfg(feature = "records")]
mod aim_record;
#[cfg(not(feature = "records"))]
mod aim_unrecorded;
pub(crate) mod aim_start;
#[cfg(feature = "records")]
pub(crate) mod given;
#[cfg(feature = "records")]
pub mod record;
#[cfg(feature = "serve")]
pub mod serve;
#[cfg(feature = "records")]
pub mod report;
pub mod manual;
mod size;
mod mark_entry;
pub(crate) mod write;
pub mod exit;

pub use args::{Cli, Command, MeasureArgs};
pub use exit::ExitStatus;
pub use measure::{PhotoFile, Produced};
pub use plan::{AnnotatedTarget, JsonTarget, Plan};

//! The command line: raw arguments, validated plan, running, writing, exit status.

pub mod args;
pub mod plan;
pub mod measure;
pub mod drive;
pub mod scenes;
pub mod fixture;
pub mod score;
mod score_pictures;
pub mod rules;
pub mod bay;
mod bay_survey;
mod bay_check;
mod bay_photo;
mod size;
mod mark_entry;
mod write;
pub mod exit;

pub use args::{Cli, Command, MeasureArgs};
pub use exit::ExitStatus;
pub use measure::{PhotoFile, Produced};
pub use plan::{AnnotatedTarget, JsonTarget, Plan};

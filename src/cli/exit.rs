//! Exit status: one meaning for every command.

use crate::reading::Reading;
use std::process::ExitCode;

/// How a command ended; a batch ends with the highest of its rows.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum ExitStatus {
    /// Good; for `measure`: pass.
    Good = 0,
    /// Done, with a finding; for `measure`: fail, borderline or none.
    Finding = 1,
    /// Usage or file error; nothing was written.
    Error = 2,
    /// The photo was refused.
    Refused = 3,
}

impl ExitStatus {
    /// The status that a reading ends with.
    pub fn of(reading: &Reading) -> Self {
        match &reading.verdict {
            None => Self::Refused,
            Some(verdict) if verdict.overall == "pass" => Self::Good,
            Some(_) => Self::Finding,
        }
    }
}

impl From<ExitStatus> for ExitCode {
    fn from(status: ExitStatus) -> Self {
        Self::from(status as u8)
    }
}

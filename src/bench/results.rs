//! The results file: everything that a later run is compared with.

use super::outcome::Outcome;
use super::summary::{FamilyFigures, summarize};
use crate::error::Error;
use serde::{Deserialize, Serialize};

/// The schema line of every results file.
pub const RESULTS_SCHEMA: &str = "lampwright/score/1";

/// One scoring run.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Results {
    /// [`RESULTS_SCHEMA`].
    pub schema: String,
    /// Version and commit of the program that measured.
    pub software: String,
    /// The words of the command line that made the run.
    pub command: Vec<String>,
    /// The options that differ from their defaults, as text; empty: none.
    #[serde(default)]
    pub options: String,
    /// All cases together, then every family by name.
    pub families: Vec<FamilyFigures>,
    /// Every case, in the order of the run.
    pub cases: Vec<Outcome>,
}

impl Results {
    /// Sums up `cases`.
    pub fn new(software: String, command: Vec<String>, options: String, cases: Vec<Outcome>) -> Self {
        let families = summarize(&cases);
        Self { schema: RESULTS_SCHEMA.to_owned(), software, command, options, families, cases }
    }

    /// Reads a results file; `path` is for the message.
    pub fn parse(text: &str, path: &str) -> Result<Self, Error> {
        let hint = "name the results.json of an earlier `lampwright score`";
        let results: Self = serde_json::from_str(text)
            .map_err(|error| Error::file(path, format!("is no results file: {error}"), hint))?;
        if results.schema != RESULTS_SCHEMA {
            let found = format!("has the schema {:?}, need {RESULTS_SCHEMA:?}", results.schema);
            return Err(Error::file(path, found, hint));
        }
        Ok(results)
    }

    /// The file's text.
    pub fn to_json(&self) -> Result<String, serde_json::Error> {
        Ok(serde_json::to_string_pretty(self)? + "\n")
    }

    /// Whether something happened that must not: a case that ended wrongly, a wrong verdict, a large error unflagged.
    pub fn has_finding(&self) -> bool {
        self.families.first().is_some_and(|all| {
            let endings = all.refused_with_wrong_code + all.refused_wrongly + all.measured_wrongly + all.broken;
            endings + all.wrong_verdicts + all.unflagged_large > 0
        })
    }
}

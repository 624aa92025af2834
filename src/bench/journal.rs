//! The journal of a run: one line a finished case, so that a run that was stopped goes on where it ended.
//!
//! The first line says what was run; only a run of the same may be resumed. A line that was cut by the stop is dropped.

use super::outcome::Outcome;
use crate::error::Error;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::fs::{self, File, OpenOptions};
use std::io::{self, Write};
use std::path::{Path, PathBuf};

#[derive(Debug, PartialEq, Eq, Serialize, Deserialize)]
struct Header {
    schema: String,
    run: String,
}

const SCHEMA: &str = "lampwright/score-journal/1";

/// An open journal.
#[derive(Debug)]
pub struct Journal {
    path: PathBuf,
    file: File,
    /// Cases that are done already, by id.
    pub done: BTreeMap<String, Outcome>,
}

impl Journal {
    /// Opens the journal at `path` for the run that `run` describes. Without `is_resumed` it begins anew.
    pub fn open(path: &Path, run: &str, is_resumed: bool) -> Result<Self, Error> {
        let fail = |error: io::Error| cannot(path, &error);
        let header = Header { schema: SCHEMA.to_owned(), run: run.to_owned() };
        let mut done = BTreeMap::new();
        if is_resumed && path.exists() {
            let text = fs::read_to_string(path).map_err(fail)?;
            let mut lines = text.lines();
            let first: Option<Header> = lines.next().and_then(|line| serde_json::from_str(line).ok());
            if first.as_ref() != Some(&header) {
                return Err(Error::file(
                    path.display().to_string(),
                    "is the journal of another run: other cases, options or program",
                    "leave --resume away to begin anew, or name another --out folder",
                ));
            }
            let whole = lines.filter_map(|line| serde_json::from_str::<Outcome>(line).ok());
            done = whole.map(|outcome| (outcome.id.clone(), outcome)).collect();
        }
        // Rewritten whole, so that a torn line does not stay in the middle.
        let mut content = line(&header)?;
        for outcome in done.values() {
            content += &line(outcome)?;
        }
        let part = path.with_extension("part");
        fs::write(&part, content).and_then(|()| fs::rename(&part, path)).map_err(fail)?;
        let file = OpenOptions::new().append(true).open(path).map_err(fail)?;
        Ok(Self { path: path.to_owned(), file, done })
    }

    /// Adds a finished case.
    pub fn add(&mut self, outcome: &Outcome) -> Result<(), Error> {
        let text = line(outcome)?;
        self.file.write_all(text.as_bytes()).map_err(|error| cannot(&self.path, &error))
    }
}

fn line<T: Serialize>(value: &T) -> Result<String, Error> {
    let text = serde_json::to_string(value).map_err(|error| {
        Error::usage(format!("a case cannot be written as JSON: {error}"), "please report this as a defect")
    })?;
    Ok(text + "\n")
}

fn cannot(path: &Path, error: &io::Error) -> Error {
    Error::file(path.display().to_string(), format!("cannot be written: {error}"), "check the folder and its rights")
}

#[cfg(test)]
mod tests {
    use super::super::summary::tests::outcome;
    use super::*;

    #[test]
    fn a_torn_line_is_measured_again_and_another_run_is_not_resumed() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("journal.jsonl");
        let mut journal = Journal::open(&path, "run 1", true).unwrap();
        journal.add(&outcome("a-0", "a", &[(0.01, 0.02)])).unwrap();
        journal.add(&outcome("a-1", "a", &[])).unwrap();
        drop(journal);
        let text = fs::read_to_string(&path).unwrap();
        fs::write(&path, &text[..text.len() - 9]).unwrap();
        let mut again = Journal::open(&path, "run 1", true).unwrap();
        assert_eq!(again.done.keys().collect::<Vec<_>>(), ["a-0"]);
        again.add(&outcome("a-1", "a", &[])).unwrap();
        assert_eq!(Journal::open(&path, "run 1", true).unwrap().done.len(), 2);
        assert!(Journal::open(&path, "run 2", true).unwrap_err().to_string().contains("another run"));
        assert!(Journal::open(&path, "run 2", false).unwrap().done.is_empty());
    }
}

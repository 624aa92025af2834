//! One row as the words of a `measure` command.

use crate::cli::Cli;
use crate::error::Error;
use clap::CommandFactory;
use std::path::{Path, PathBuf};

/// Options of `measure` that make no sense for a row: the batch has its own output, and records go photo by photo.
const NOT_IN_A_BATCH: [&str; 3] = ["json", "trace", "help"];
/// Options whose value is a path beside the list.
const PATHS: [&str; 7] = ["bay", "screws", "lens", "response", "marks-photo", "ambient-photo", "options"];
/// Options that take several values; in a row they are separated by semicolons.
const SEVERAL: [&str; 2] = ["mark", "bracket"];

/// One row.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Job {
    /// Its number in the list, from 1.
    pub(super) row: usize,
    /// The photo, as the list names it.
    pub(super) file: Option<String>,
    /// Option and value, as the list has them; empty ones are left out.
    pub(super) entries: Vec<(String, String)>,
    /// Folder that paths are beside.
    pub(super) folder: PathBuf,
}

/// The option that a column or key means; `None` for the photo itself.
pub(super) fn option_of(name: &str, list: &str) -> Result<Option<String>, Error> {
    let plain = name.trim().trim_start_matches('\u{feff}').trim_start_matches("--").replace('_', "-");
    if plain == "file" || plain == "photo" {
        return Ok(None);
    }
    let known = known_options();
    if known.contains(&plain) {
        return Ok(Some(plain));
    }
    Err(Error::file(
        list,
        format!("{name:?} has no meaning here, need file, {}", known.join(", ")),
        "mend the name, or take it out",
    ))
}

/// Long options of `measure` that a row may give.
fn known_options() -> Vec<String> {
    let command = Cli::command();
    let measure = command.find_subcommand("measure");
    let recorded = |heading: Option<&str>| heading == Some("Record it");
    measure
        .into_iter()
        .flat_map(clap::Command::get_arguments)
        .filter(|arg| !recorded(arg.get_help_heading()))
        .filter_map(|arg| arg.get_long())
        .filter(|long| !NOT_IN_A_BATCH.contains(long))
        .map(str::to_owned)
        .collect()
}

impl Job {
    /// The words of the `measure` command, without the program's name.
    pub(super) fn words(&self) -> Result<Vec<String>, Error> {
        let beside = |value: &str| self.folder.join(value).display().to_string();
        let mut words = vec!["measure".to_owned()];
        match &self.file {
            Some(file) => words.push(beside(file)),
            None if self.entries.iter().any(|(option, _)| option == "bracket") => {}
            None => return Err(Error::usage("the row names no photo", "give the column `file`")),
        }
        for (option, value) in &self.entries {
            let is_path = PATHS.contains(&option.as_str()) || option == "annotated" || option == "bracket";
            // A rule is an id or a file.
            let is_rule_file = option == "rules" && Path::new(value).extension().is_some_and(|e| e == "toml");
            let placed = |value: &str| if is_path || is_rule_file { beside(value) } else { value.to_owned() };
            if SEVERAL.contains(&option.as_str()) {
                words.extend(value.split(';').map(|one| format!("--{option}={}", placed(one.trim()))));
            } else {
                // In one word, so that a value may begin with a minus.
                words.push(format!("--{option}={}", placed(value)));
            }
        }
        Ok(words)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_row_means_what_the_command_means() {
        let entries = [("bay", "b.toml"), ("offset-mm", "-5"), ("mark", "0=1,2; 3=4,5"), ("rules", "shop-check")];
        let job = Job {
            row: 1,
            file: Some("a.jpg".to_owned()),
            entries: entries.map(|(a, b)| (a.to_owned(), b.to_owned())).to_vec(),
            folder: PathBuf::from("jobs"),
        };
        let expected = [
            "measure",
            "jobs/a.jpg",
            "--bay=jobs/b.toml",
            "--offset-mm=-5",
            "--mark=0=1,2",
            "--mark=3=4,5",
            "--rules=shop-check",
        ];
        assert_eq!(job.words().unwrap(), expected);
    }

    #[test]
    fn names_are_those_of_measure() {
        assert_eq!(option_of("height_mm", "x").unwrap().as_deref(), Some("height-mm"));
        assert_eq!(option_of("file", "x").unwrap(), None);
        for wrong in ["hight_mm", "json", "record", "trace"] {
            let error = option_of(wrong, "jobs.csv").unwrap_err().to_string();
            assert!(error.contains("jobs.csv") && error.contains(wrong) && error.contains("height-mm"), "{error}");
        }
    }
}

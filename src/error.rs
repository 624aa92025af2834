//! What can go wrong before a measurement exists: usage and file errors, and refusals of the photo.
//!
//! An [`enum@Error`] ends with exit status 2 and writes nothing. A [`Refusal`] is a finding about the photo: it becomes a
//! reading with status `refused`, exit status 3, and its hint says what to do next.

use crate::flag::FlagCode;
use thiserror::Error;

/// A usage or file error.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum Error {
    /// The command line asks for something that does not fit together.
    #[error("{found}\nhint: {hint}")]
    Usage {
        /// What was found and what is needed.
        found: String,
        /// The next step.
        hint: String,
    },
    /// A file could not be read or does not hold what it must.
    #[error("{path}: {found}\nhint: {hint}")]
    File {
        /// The file as the user named it.
        path: String,
        /// What was found and what is needed.
        found: String,
        /// The next step.
        hint: String,
    },
}

impl Error {
    /// A usage error.
    pub fn usage(found: impl Into<String>, hint: impl Into<String>) -> Self {
        Self::Usage { found: found.into(), hint: hint.into() }
    }

    /// A file error.
    pub fn file(path: impl Into<String>, found: impl Into<String>, hint: impl Into<String>) -> Self {
        Self::File { path: path.into(), found: found.into(), hint: hint.into() }
    }
}

/// Whether every number of a TOML text is one: TOML knows `nan` and `inf`, and no file of a shop has a use for them. A text that
/// is no TOML passes; whoever reads it says what is wrong.
pub fn check_finite(text: &str, path: &str) -> Result<(), Error> {
    fn odd(value: &toml::Value, place: &str) -> Option<(String, f64)> {
        match value {
            toml::Value::Float(number) if !number.is_finite() => Some((place.to_owned(), *number)),
            toml::Value::Array(list) => {
                list.iter().enumerate().find_map(|(n, value)| odd(value, &format!("{place}[{}]", n + 1)))
            }
            toml::Value::Table(table) => table.iter().find_map(|(name, value)| {
                odd(value, &if place.is_empty() { name.clone() } else { format!("{place}.{name}") })
            }),
            _ => None,
        }
    }
    let found = text.parse::<toml::Table>().ok().and_then(|table| odd(&toml::Value::Table(table), ""));
    match found {
        Some((place, number)) => {
            let hint = "write the number itself, or leave the line out where it is not known";
            Err(Error::file(path, format!("{place} is {number}, need a finite number"), hint))
        }
        None => Ok(()),
    }
}

/// The photo does not allow the measurement: why, and what to do.
#[derive(Debug, Clone, PartialEq, Error)]
#[error("{found}; {hint}")]
pub struct Refusal {
    /// Which refusal; always a code of severity `refusal`.
    pub code: FlagCode,
    /// What was found and what is needed, with the numbers in it.
    pub found: String,
    /// The next step for the technician.
    pub hint: String,
}

impl Refusal {
    /// A refusal with its numbers and its next step.
    pub fn new(code: FlagCode, found: impl Into<String>, hint: impl Into<String>) -> Self {
        Self { code, found: found.into(), hint: hint.into() }
    }
}

//! `lampwright options`: everything that can be tuned, as an options file.

use super::exit::ExitStatus;
use super::measure::cannot_print;
use crate::error::Error;
use crate::options::Options;
use std::io::Write;

/// Prints the defaults with their meaning.
pub fn run(stdout: &mut dyn Write) -> Result<ExitStatus, Error> {
    let text = Options::default().to_toml();
    stdout.write_all(text.as_bytes()).and_then(|()| stdout.flush()).map_err(|error| cannot_print(&error))?;
    Ok(ExitStatus::Good)
}

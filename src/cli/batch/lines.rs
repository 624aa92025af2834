//! The output: lines of JSON, what is there already, and the status that they come to.

use super::rows::Rows;
use crate::cli::exit::ExitStatus;
use crate::error::Error;
use serde_json::{Value, json};
use std::fs::{File, OpenOptions};
use std::io::{BufRead, BufReader, BufWriter, Seek, SeekFrom, Write};
use std::path::Path;

/// Schema of a row that came to nothing.
const ERROR_SCHEMA: &str = "lampwright/batch-error/1";

/// The line of a row that came to nothing.
pub(super) fn error_line(row: Option<usize>, file: Option<&str>, error: &Error) -> String {
    let (found, hint) = match error {
        Error::Usage { found, hint } => (found.clone(), hint),
        Error::File { path, found, hint } => (format!("{path}: {found}"), hint),
    };
    json!({"schema": ERROR_SCHEMA, "status": "error", "row": row, "photo": {"file": file}, "error": {"found": found, "hint": hint}})
        .to_string()
}

/// Status that a line says.
pub(super) fn status_of(line: &Value) -> ExitStatus {
    match (line["status"].as_str(), line["verdict"]["overall"].as_str()) {
        (Some("measured"), Some("pass")) => ExitStatus::Good,
        (Some("measured"), _) => ExitStatus::Finding,
        (Some("refused"), _) => ExitStatus::Refused,
        _ => ExitStatus::Error,
    }
}

/// Where lines go.
pub(super) struct Output<'a> {
    path: Option<String>,
    is_resumed: bool,
    writer: Box<dyn Write + 'a>,
    highest: ExitStatus,
}

impl<'a> Output<'a> {
    /// Opens the output; a file that is there already is only gone on with.
    pub(super) fn open(out: &str, resume: bool, stdout: &'a mut dyn Write) -> Result<Self, Error> {
        if out == "-" {
            return Ok(Self { path: None, is_resumed: false, writer: Box::new(stdout), highest: ExitStatus::Good });
        }
        let fail = |error: std::io::Error| cannot_write(out, &error);
        let is_resumed = resume && Path::new(out).exists();
        if !resume && Path::new(out).exists() {
            return Err(Error::file(out, "is there already", "go on with it by --resume, or give another name"));
        }
        let mut file =
            OpenOptions::new().create(true).truncate(false).read(true).write(true).open(out).map_err(fail)?;
        let whole = whole_lines(&file).map_err(fail)?;
        // A line that was being written when the program ended is cut off.
        file.set_len(whole).map_err(fail)?;
        file.seek(SeekFrom::End(0)).map_err(fail)?;
        let writer = Box::new(BufWriter::new(file));
        Ok(Self { path: Some(out.to_owned()), is_resumed, writer, highest: ExitStatus::Good })
    }

    /// How many rows are done; each line must be of the row in its place.
    pub(super) fn hold_against(&mut self, rows: &Rows) -> Result<usize, Error> {
        let Some(path) = self.path.clone().filter(|_| self.is_resumed) else { return Ok(0) };
        let lines = BufReader::new(File::open(&path).map_err(|error| cannot_write(&path, &error))?).lines();
        let mut jobs = rows.jobs()?;
        let mut done = 0;
        for line in lines {
            let line = line.map_err(|error| cannot_write(&path, &error))?;
            let number = done + 1;
            let other = |why: String| {
                Error::file(
                    &path,
                    format!("line {number} {why}"),
                    "it is the output of other jobs: give --out another name",
                )
            };
            let value: Value = serde_json::from_str(&line).map_err(|error| other(format!("is no JSON: {error}")))?;
            let job = jobs.next().ok_or_else(|| other("is one more than there are rows".to_owned()))?;
            let named = job.ok().and_then(|job| job.file);
            let of = value["photo"]["file"].as_str().map(str::to_owned);
            if let (Some(named), Some(of)) = (named, of)
                && !Path::new(&of).ends_with(&named)
            {
                return Err(other(format!("is of {of}, the row names {named}")));
            }
            self.highest = self.highest.max(status_of(&value));
            done += 1;
        }
        Ok(done)
    }

    /// Writes a row's line; it is out of the program's hands when this returns.
    pub(super) fn write(&mut self, line: &str, status: ExitStatus) -> Result<(), Error> {
        self.highest = self.highest.max(status);
        let path = self.path.as_deref().unwrap_or("standard output");
        let written = self.writer.write_all(line.as_bytes()).and_then(|()| self.writer.write_all(b"\n"));
        written.and_then(|()| self.writer.flush()).map_err(|error| cannot_write(path, &error))
    }

    /// The highest status of all rows.
    pub(super) fn finish(mut self) -> Result<ExitStatus, Error> {
        let path = self.path.as_deref().unwrap_or("standard output");
        self.writer.flush().map_err(|error| cannot_write(path, &error))?;
        Ok(self.highest)
    }
}

fn cannot_write(path: &str, error: &dyn std::fmt::Display) -> Error {
    Error::file(path, format!("cannot be written: {error}"), "make room, or name another place; what is there is kept")
}

/// Bytes up to the end of the last whole line.
fn whole_lines(file: &File) -> std::io::Result<u64> {
    let mut reader = BufReader::new(file);
    let (mut whole, mut line) = (0, Vec::new());
    loop {
        line.clear();
        let count = reader.read_until(b'\n', &mut line)?;
        if count == 0 || line.last() != Some(&b'\n') {
            return Ok(whole);
        }
        whole += count as u64;
    }
}

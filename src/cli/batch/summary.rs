//! The table of all rows (RFC 4180), made from the lines that were written.

use super::lines::status_of;
use crate::cli::exit::ExitStatus;
use crate::cli::write::Staged;
use crate::error::Error;
use serde_json::Value;
use std::fs::File;
use std::io::{BufRead, BufReader};
use std::path::Path;

const HEADING: [&str; 12] = [
    "row",
    "file",
    "status",
    "verdict",
    "vertical",
    "vertical_deg",
    "u_vertical_deg",
    "horizontal",
    "horizontal_deg",
    "u_horizontal_deg",
    "flags",
    "message",
];

/// Writes the table of the lines in `lines` to `path`, whole or not at all.
pub(super) fn write(lines: &str, path: &Path) -> Result<(), Error> {
    let defect = |error: &dyn std::fmt::Display| {
        Error::file(
            path.display().to_string(),
            format!("cannot be written: {error}"),
            "name a place that can be written",
        )
    };
    let mut table = csv::WriterBuilder::new().terminator(csv::Terminator::CRLF).from_writer(Vec::new());
    table.write_record(HEADING).map_err(|error| defect(&error))?;
    for (k, line) in BufReader::new(File::open(lines).map_err(|error| defect(&error))?).lines().enumerate() {
        let value: Value = line
            .map_err(|error| defect(&error))
            .and_then(|line| serde_json::from_str(&line).map_err(|error| defect(&error)))?;
        table.write_record(row(k + 1, &value)).map_err(|error| defect(&error))?;
    }
    let bytes = table.into_inner().map_err(|error| defect(&error))?;
    Staged::new(path, &bytes)?.commit()
}

fn row(number: usize, line: &Value) -> [String; 12] {
    let text = |value: &Value| value.as_str().unwrap_or_default().to_owned();
    let figure = |value: &Value| value.as_f64().map(|value| value.to_string()).unwrap_or_default();
    let axis = |name: &str| {
        let axis = &line["verdict"][name];
        [text(&axis["result"]), figure(&axis["value_deg"]), figure(&axis["u_deg"])]
    };
    let codes: Vec<&str> =
        line["flags"].as_array().into_iter().flatten().filter_map(|flag| flag["code"].as_str()).collect();
    let status = match status_of(line) {
        ExitStatus::Good | ExitStatus::Finding => "measured",
        ExitStatus::Refused => "refused",
        ExitStatus::Error => "error",
    };
    let [vertical, vertical_deg, vertical_u] = axis("vertical");
    let [horizontal, horizontal_deg, horizontal_u] = axis("horizontal");
    [
        number.to_string(),
        safe(&text(&line["photo"]["file"])),
        status.to_owned(),
        text(&line["verdict"]["overall"]),
        vertical,
        vertical_deg,
        vertical_u,
        horizontal,
        horizontal_deg,
        horizontal_u,
        codes.join(" "),
        safe(&text(&line["error"]["found"])),
    ]
}

/// Text that a spreadsheet would take for a formula gets an apostrophe before it (OWASP ASVS 5.0, 1.2.10).
fn safe(text: &str) -> String {
    let is_formula = text.starts_with(['=', '+', '-', '@', '\t', '\r', '\0']);
    if is_formula { format!("'{text}") } else { text.to_owned() }
}

//! A candela table as CSV: H over the columns, V over the rows.
//!
//! ```text
//! v_deg/h_deg, -4.0, -3.5, ...
//! -3.0,       8200, 8900, ...
//! ```
//!
//! **Takes** text: the first cell names both angles (`v_deg` and `h_deg`), the rest of its line holds H, the first column
//! V, rising or falling; candela in between; lines from `#` on are comments. H and V are those of a flat screen
//! (`units.rs`); a table from a type A goniometer differs from it by V (1 - cos H), so write such a table as LM-63.
//! **Fails when** a name is missing, a cell is no number, or a row has another count of cells than the header.

use super::candela::RawTable;
use super::goniometer::Goniometer;
use crate::error::Error;

/// Reads the text; `path` is for messages.
pub(super) fn parse(text: &str, path: &str) -> Result<RawTable, Error> {
    let wrong = |found: String, hint: &str| Error::file(path, found, hint);
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .comment(Some(b'#'))
        .trim(csv::Trim::All)
        .from_reader(text.as_bytes());
    let mut rows = Vec::new();
    for record in reader.records() {
        let record =
            record.map_err(|error| wrong(format!("not CSV: {error}"), "write numbers, separated by commas"))?;
        let line = record.position().map_or(0, csv::Position::line);
        rows.push((line, record));
    }
    let mut rows = rows.into_iter();
    let Some((_, header)) = rows.next() else {
        return Err(wrong("the table is empty".into(), "write a header and one row per V"));
    };
    let corner = header.get(0).unwrap_or_default();
    for name in ["h_deg", "v_deg"] {
        if !corner.contains(name) {
            return Err(wrong(
                format!("first cell \"{corner}\" does not name {name}"),
                "begin the header with v_deg/h_deg: H over the columns, V over the rows, degrees",
            ));
        }
    }
    let number = |line: u64, cell: &str| {
        cell.parse::<f64>().ok().filter(|value| value.is_finite()).ok_or_else(|| {
            wrong(format!("line {line}: \"{cell}\" is no number"), "write numbers with a point, separated by commas")
        })
    };
    let across = header.iter().skip(1).map(|cell| number(1, cell)).collect::<Result<Vec<f64>, Error>>()?;
    let mut lines: Vec<Vec<f64>> = Vec::new();
    for (line, record) in rows {
        if record.len() != header.len() {
            return Err(wrong(
                format!("line {line} has {} cells, need {} as the header has", record.len(), header.len()),
                "give every row one V and one value per H",
            ));
        }
        lines.push(record.iter().map(|cell| number(line, cell)).collect::<Result<_, _>>()?);
    }
    if lines.first().zip(lines.last()).is_some_and(|(first, last)| first[0] > last[0]) {
        lines.reverse();
    }
    let along = lines.iter().map(|row| row[0]).collect();
    let candela = (1..=across.len()).map(|i| lines.iter().map(|row| row[i]).collect()).collect();
    Ok(RawTable { kind: Goniometer::Screen, across, along, candela })
}

#[cfg(test)]
mod tests {
    use super::super::goniometer::Pole;
    use super::super::{CandelaTable, candela_csv};

    #[test]
    fn rows_may_fall_and_nodes_are_met() {
        let text = "# own\nv_deg/h_deg, -1, 0, 2\n1, 10, 20, 30\n0, 40, 50, 60\n-1, 70, 80, 90\n";
        let table = CandelaTable::parse(text, "lamp.csv", Pole::Down).unwrap();
        for (h, v, cd) in [(-1.0, 1.0, 10.0), (2.0, 0.0, 60.0), (0.0, -1.0, 80.0)] {
            assert!((table.candela(h, v) - cd).abs() < 1e-9, "({h}, {v})");
        }
    }

    #[test]
    fn what_is_wrong_is_named() {
        for (text, word) in [
            ("", "empty"),
            ("v, 1, 2\n0, 1, 1\n", "h_deg"),
            ("v_deg/h_deg, 0, 1\n0, 1\n1, 2, 3\n", "line 2 has 2 cells, need 3"),
            ("v_deg/h_deg, 0, 1\n0, 1, x\n1, 2, 3\n", "\"x\" is no number"),
            ("v_deg/h_deg, 0, 1\n0, 1, NaN\n1, 2, 3\n", "is no number"),
        ] {
            let error = candela_csv::parse(text, "lamp.csv").unwrap_err().to_string();
            assert!(error.contains(word) && error.contains("lamp.csv"), "{error}");
        }
        for (text, word) in [
            ("v_deg/h_deg, 1, 0\n0, 1, 1\n1, 2, 3\n", "do not rise"),
            ("v_deg/h_deg, 0, 1\n0, 1, -4\n1, 2, 3\n", "-4"),
            ("v_deg/h_deg, 0, 1\n0, 1, 1\n", "need 2 by 2"),
            ("v_deg/h_deg, 0, 1\n", "are 0"),
        ] {
            let error = CandelaTable::parse(text, "lamp.csv", Pole::Down).unwrap_err().to_string();
            assert!(error.contains(word), "{error}");
        }
    }
}

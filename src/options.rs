//! Every tunable of the detection as one tree, and the options file.
//!
//! **Takes** a TOML file of schema `lampwright/options/1` that names some of the keys. **Gives** [`Options`], the defaults
//! with those changed. **Fails when** a key is not known or a value lies outside its range.

use crate::beam::BeamOptions;
use crate::error::Error;
use crate::grid::GridOptions;
use crate::marks::FindOptions;
use crate::photo::PhotoOptions;
use crate::tunable::{Entry, Tunables, tunables};
use crate::wall::FitOptions;
use std::collections::BTreeMap;
use std::fmt::Write as _;
use toml::{Table, Value};

/// Name and version of the options file.
pub const OPTIONS_SCHEMA: &str = "lampwright/options/1";

tunables! {
    /// All options, a group per stage.
    pub struct Options {
        groups {
            /// Decoding, bands of a pulsed lamp, pairs of photos.
            photo: PhotoOptions;
            /// Finding the marks.
            marks: FindOptions;
            /// Fitting the wall.
            wall: FitOptions;
            /// The angle grid.
            grid: GridOptions;
            /// The beam's features.
            beam: BeamOptions;
        }
    }
}

impl Options {
    /// Reads an options file; `name` is the file's.
    pub fn parse(text: &str, name: &str) -> Result<Self, Error> {
        let fail = |found: String, hint: &str| Error::file(name, found, hint);
        let table: Table = text.parse().map_err(|error| {
            fail(format!("is no TOML: {error}"), "`lampwright options` prints a file to start from")
        })?;
        if table.get("schema").and_then(Value::as_str) != Some(OPTIONS_SCHEMA) {
            return Err(fail(
                "names no schema that is known here".to_owned(),
                "its first line must be: schema = \"lampwright/options/1\"",
            ));
        }
        let mut options = Self::default();
        let mut leaves = Vec::new();
        collect(&table, "", &mut leaves);
        for (key, value) in leaves.iter().filter(|(key, _)| key != "schema") {
            options.set(key, value).map_err(|(found, hint)| fail(found, &hint))?;
        }
        Ok(options)
    }

    /// Sets one option by its key, as a word of the command line says it.
    pub fn set_number(&mut self, key: &str, number: f64) -> Result<(), Error> {
        self.set(key, &Value::Float(number)).map_err(|(found, hint)| Error::usage(found, hint))
    }

    fn set(&mut self, key: &str, value: &Value) -> Result<(), (String, String)> {
        let mut outcome = None;
        self.visit("", &mut |mut entry| {
            if entry.key == key {
                outcome = Some(checked(&entry, value).map(|number| entry.slot.set(number)));
            }
        });
        outcome.unwrap_or_else(|| Err(unknown(key)))
    }

    /// All keys with their values.
    pub fn values(&self) -> BTreeMap<String, f64> {
        let mut all = BTreeMap::new();
        // Entries hold their value for writing; a copy is shown instead.
        let mut copy = *self;
        copy.visit("", &mut |entry| {
            all.insert(entry.key, entry.slot.get());
        });
        all
    }

    /// Keys whose values differ from the defaults.
    pub fn changed(&self) -> BTreeMap<String, f64> {
        let defaults = Self::default().values();
        let is_default = |key: &String, value: f64| defaults.get(key).is_some_and(|d| d.total_cmp(&value).is_eq());
        self.values().into_iter().filter(|(key, value)| !is_default(key, *value)).collect()
    }

    /// The whole tree as an options file, docs as comments.
    pub fn to_toml(&self) -> String {
        let mut text = format!(
            "# Everything that can be tuned in the detection, with its default. A file may name some keys only.\n\
             # Readings are made with the defaults; a reading made with others says so (`options` of the JSON).\n\
             schema = \"{OPTIONS_SCHEMA}\"\n"
        );
        let mut group = String::new();
        let mut copy = *self;
        copy.visit("", &mut |entry| {
            let (own_group, field) = entry.key.rsplit_once('.').unwrap_or(("", &entry.key));
            // Writing to a String cannot fail.
            if own_group != group {
                own_group.clone_into(&mut group);
                let _ = write!(text, "\n[{group}]\n");
            }
            for line in entry.docs {
                let _ = writeln!(text, "#{line}");
            }
            let unit = if entry.unit.is_empty() { String::new() } else { format!(" {}", entry.unit) };
            let _ = writeln!(text, "# Range: {} to {}{unit}.", entry.least, entry.greatest);
            let value = entry.slot.get();
            let _ = if entry.slot.is_count() {
                writeln!(text, "{field} = {value}\n")
            } else {
                writeln!(text, "{field} = {value:?}\n")
            };
        });
        text.truncate(text.trim_end().len());
        text.push('\n');
        text
    }
}

/// The number that a value gives an entry; else what was found and the hint.
fn checked(entry: &Entry<'_>, value: &Value) -> Result<f64, (String, String)> {
    let key = &entry.key;
    let unit = if entry.unit.is_empty() { String::new() } else { format!(" {}", entry.unit) };
    let need = format!("need {} to {}{unit}", entry.least, entry.greatest);
    let hint = || "`lampwright options` prints every key with its meaning and range".to_owned();
    let number = match value {
        Value::Float(number) => *number,
        Value::Integer(number) => *number as f64,
        other => return Err((format!("{key} is {}, {need}", other.type_str()), hint())),
    };
    if entry.slot.is_count() && number.fract() != 0.0 {
        return Err((format!("{key} = {number}: need a whole number, {} to {}", entry.least, entry.greatest), hint()));
    }
    if !(entry.least..=entry.greatest).contains(&number) {
        return Err((format!("{key} = {number}: {need}"), hint()));
    }
    Ok(number)
}

/// What is said of a key that does not exist.
fn unknown(key: &str) -> (String, String) {
    let known = Options::default().values();
    let nearest = known
        .keys()
        .max_by(|a, b| strsim::jaro_winkler(a, key).total_cmp(&strsim::jaro_winkler(b, key)).then_with(|| b.cmp(a)));
    let nearest = nearest.map_or_else(String::new, |nearest| format!("the nearest known key is {nearest}; "));
    (format!("{key} is no option"), format!("{nearest}`lampwright options` prints them all"))
}

/// Leaves of a table with their dotted keys.
fn collect(table: &Table, prefix: &str, leaves: &mut Vec<(String, Value)>) {
    for (name, value) in table {
        let key = crate::tunable::joined(prefix, name);
        match value {
            Value::Table(inner) if !inner.is_empty() => collect(inner, &key, leaves),
            other => leaves.push((key, other.clone())),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn parse(body: &str) -> Result<Options, Error> {
        Options::parse(&format!("schema = \"{OPTIONS_SCHEMA}\"\n{body}"), "o.toml")
    }

    #[test]
    fn what_is_printed_is_read_back_as_the_defaults() {
        let text = Options::default().to_toml();
        assert_eq!(Options::parse(&text, "o.toml").unwrap(), Options::default());
        assert!(Options::default().changed().is_empty());
    }

    /// Every default lies in its own range, every entry says when it is too small and too large and where it comes from.
    #[test]
    fn every_entry_is_documented_and_its_default_is_in_range() {
        let mut wrong = Vec::new();
        Options::default().visit("", &mut |entry| {
            let words: Vec<&str> = entry.docs.iter().flat_map(|line| line.split_whitespace()).collect();
            let (docs, value) = (words.join(" ").to_lowercase(), entry.slot.get());
            let is_told = ["too small", "too large", "default"].iter().all(|words| docs.contains(words));
            if !is_told || !(entry.least..=entry.greatest).contains(&value) {
                wrong.push(entry.key);
            }
        });
        assert!(wrong.is_empty(), "{wrong:?}");
    }

    #[test]
    fn a_partial_file_changes_what_it_names() {
        let options = parse("[grid]\nstep_v_deg = 0.04\n").unwrap();
        assert_eq!(options.changed(), BTreeMap::from([("grid.step_v_deg".to_owned(), 0.04)]));
        assert_eq!(parse("grid.step_v_deg = 0.04").unwrap(), options);
    }

    #[test]
    fn errors_name_key_range_and_nearest_key() {
        let error = |body: &str| parse(body).unwrap_err().to_string();
        assert!(error("grid.step_v_dge = 0.04").contains("grid.step_v_deg;"), "{}", error("grid.step_v_dge = 0.04"));
        let range = error("grid.step_v_deg = 7");
        assert!(range.contains("grid.step_v_deg = 7: need") && range.contains(" deg"), "{range}");
        assert!(error("grid.step_v_deg = \"x\"").contains("grid.step_v_deg is string"));
        assert!(error("marks.search_side_px = 800.5").contains("whole number"));
        assert!(error("[beam]\n[beam.nothing]").contains("beam.nothing is no option"));
        assert!(Options::parse("grid.step_v_deg = 0.04", "o.toml").unwrap_err().to_string().contains("schema"));
    }
}

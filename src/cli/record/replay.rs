//! `record replay`: a record's photos measured again with the record's own parameters, and held against its readings.
//!
//! Everything comes from the store: photos, bay, rule, screws, lens and options; the words of the reading's command say the
//! rest. Nothing outside is read, so that a file that was changed since does not matter.

use super::super::drive;
use super::super::exit::ExitStatus;
use super::super::given::Given;
use super::super::measure::{PhotoFile, PhotoFiles};
use crate::error::Error;
use crate::reading::Reading;
use crate::reading::block::SoftwareBlock;
use crate::record::{FiledFile, Hash, RecordedReading, Store};
use serde_json::Value;
use std::fmt::Write as _;
use std::path::{Path, PathBuf};

/// Most differences of one reading that are printed.
const MOST: usize = 20;
/// Letters of `YYYY-MM-DD` at the start of a time.
const DAY: usize = 10;
/// Parts of a reading in the order in which their differences are told; then all others.
const FIRST: [&str; 4] = ["status", "verdict", "features", "advice"];

pub(super) fn replay(folder: &Path, record: &str) -> Result<(String, ExitStatus), Error> {
    let store = Store::read(folder)?;
    let stored = store.inspection(record)?;
    let mut text = String::new();
    let (mut same, mut count) = (0, 0);
    for lamp in &stored.inspection.lamps {
        for (n, recorded) in lamp.readings.iter().enumerate() {
            let again = again(&store, recorded)?;
            let differences = differences(&recorded.reading, &again)?;
            count += 1;
            same += usize::from(differences.is_empty());
            let outcome = if differences.is_empty() { "the same to the last digit" } else { "DIFFERENT" };
            // Writing to a String cannot fail.
            let _ = writeln!(text, "{} {}, reading {}: {outcome}", lamp.side, lamp.beam, n + 1);
            for difference in differences.iter().take(MOST) {
                let _ = writeln!(text, "  {difference}");
            }
            if differences.len() > MOST {
                let _ = writeln!(text, "  and {} more", differences.len() - MOST);
            }
        }
    }
    let (then, now) = (&stored.inspection.software, SoftwareBlock::this());
    if *then != now {
        let _ = writeln!(
            text,
            "recorded by {} ({}), measured again by {} ({})",
            then.version, then.commit, now.version, now.commit
        );
    }
    let _ = writeln!(text, "record {}: {same} of {count} readings are the same to the last digit", stored.number);
    Ok((text, if same == count { ExitStatus::Good } else { ExitStatus::Finding }))
}

/// Measures again.
fn again(store: &Store, recorded: &RecordedReading) -> Result<Reading, Error> {
    let parameters = &recorded.parameters;
    let text = |hash: &Hash| store.parameter(hash);
    let given = Given {
        words: recorded.reading.command.clone(),
        bay: text(&parameters.bay)?,
        rule: text(&parameters.rule)?,
        screws: parameters.screws.as_ref().map(text).transpose()?,
        lens: parameters.lens.as_ref().map(text).transpose()?,
        response: parameters.response.as_ref().map(text).transpose()?,
        options: text(&parameters.options)?,
        today: recorded.measured.chars().take(DAY).collect(),
    };
    let mut plan = given.plan()?;
    let photo = |file: &FiledFile| {
        Ok::<_, Error>(PhotoFile { name: file.name.clone(), bytes: store.photo_bytes(&file.sha256)? })
    };
    let photos = PhotoFiles {
        photo: photo(&recorded.photo)?,
        marks: recorded.marks_photo.as_ref().map(photo).transpose()?,
        ambient: recorded.ambient_photo.as_ref().map(photo).transpose()?,
        bracket: recorded.bracket.iter().map(photo).collect::<Result<_, _>>()?,
    };
    plan.photo = PathBuf::from(&recorded.photo.name);
    Ok(drive::drive(&plan, &photos)?.reading)
}

/// What differs, the program's own name and version apart.
fn differences(then: &Reading, now: &Reading) -> Result<Vec<String>, Error> {
    let tree = |reading: &Reading| {
        serde_json::to_value(reading).map_err(|error| {
            Error::usage(format!("the reading cannot be written as JSON: {error}"), "please report this as a defect")
        })
    };
    let mut found = Vec::new();
    compare("", &tree(then)?, &tree(now)?, &mut found);
    found.retain(|difference| !difference.starts_with("software."));
    // What matters to whoever replays stands first: more than some are not printed.
    found.sort_by_key(|difference| FIRST.iter().position(|name| difference.starts_with(name)).unwrap_or(FIRST.len()));
    Ok(found)
}

fn compare(path: &str, then: &Value, now: &Value, found: &mut Vec<String>) {
    let below = |name: &str| if path.is_empty() { name.to_owned() } else { format!("{path}.{name}") };
    match (then, now) {
        (Value::Object(a), Value::Object(b)) => {
            for (name, value) in a {
                compare(&below(name), value, b.get(name).unwrap_or(&Value::Null), found);
            }
            for (name, value) in b.iter().filter(|(name, _)| !a.contains_key(*name)) {
                compare(&below(name), &Value::Null, value, found);
            }
        }
        (Value::Array(a), Value::Array(b)) if a.len() == b.len() => {
            for (n, (then, now)) in a.iter().zip(b).enumerate() {
                compare(&below(&n.to_string()), then, now, found);
            }
        }
        _ if then == now => {}
        _ => found.push(format!("{path}: recorded {then}, now {now}")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    #[test]
    fn the_last_digit_counts() {
        let mut found = Vec::new();
        let then = json!({ "a": [1.0, 2.0], "b": { "c": 0.1 }, "d": null });
        let now = json!({ "a": [1.0, 2.000_000_000_000_000_4], "b": { "c": 0.1, "e": 1 }, "d": null });
        compare("", &then, &now, &mut found);
        assert_eq!(found, ["a.1: recorded 2.0, now 2.0000000000000004", "b.e: recorded null, now 1"]);
        found.clear();
        compare("", &then, &then, &mut found);
        assert!(found.is_empty());
    }
}

//! A cleaned photo becomes a case of a fixture folder.
//!
//! **Takes** what is to be said of the photo, and the folder's manifest as text. **Gives** the files to write, the
//! manifest longer by one case; and, for a reading, whether the case holds today. **Fails when** the case contradicts
//! itself, or its id, files or photo are in the folder already.

use super::fixture_compare::{Row, compare, unexpected};
use super::fixture_manifest::{Case, Manifest, Source, Tolerance, Truth, append};
use crate::error::Error;
use crate::flag::{FlagCode, Severity};
use serde_json::Value;
use sha2::{Digest, Sha256};
use std::fmt::Write as _;

/// The tolerance of a case that names none, where the manifest has it.
const USUAL_TOLERANCE: &str = "hard";
/// Caps that can be meant, degrees.
const MAX_CAP_DEG: f64 = 2.0;
/// Titles stay shorter, so that a table of them stays readable.
const MAX_TITLE_CHARS: usize = 60;
/// Ids become file names and the first column of that table.
const MAX_ID_CHARS: usize = 48;

/// Largest errors that a case allows.
#[derive(Debug, Clone, PartialEq)]
pub enum Caps {
    /// The manifest's usual ones.
    Usual,
    /// Those of the manifest under this name.
    Named(String),
    /// One cap for every value that the truth states, degrees, and its reason.
    Own {
        /// The cap.
        cap_deg: f64,
        /// Why this much.
        why: String,
    },
}

/// What is said of the photo.
#[derive(Debug, Clone, PartialEq)]
pub struct FixtureEntry {
    /// Unique name: lower-case letters, digits, hyphens.
    pub id: String,
    /// The one thing that the case is about.
    pub title: String,
    /// Where the photo comes from.
    pub origin: String,
    /// SPDX identifier.
    pub licence: String,
    /// Arguments of `measure` behind `--bay`.
    pub args: Vec<String>,
    /// Whether the photo must be refused.
    pub is_refused: bool,
    /// Overall verdict, where the truth is far enough from every limit to name it.
    pub verdict: Option<String>,
    /// Flags that must be there.
    pub flags: Vec<FlagCode>,
    /// Largest errors.
    pub caps: Caps,
    /// What is known; empty for a photo that must be refused.
    pub truth: Truth,
}

/// The folder as it is.
#[derive(Debug, Clone, Copy)]
pub struct Folder<'a> {
    /// Name of the manifest, for messages.
    pub manifest_name: &'a str,
    /// Its text; none where there is no manifest yet.
    pub manifest: Option<&'a str>,
}

/// What is to be written; paths are relative to the folder.
#[derive(Debug, Clone, PartialEq)]
pub struct FixtureFiles {
    /// Path of the photo.
    pub photo: String,
    /// Path of the bay file.
    pub bay: String,
    /// Text of the manifest.
    pub manifest: String,
    /// The case that it holds now.
    pub case: Case,
    /// The case's caps; empty for a photo that must be refused.
    pub tolerance: Tolerance,
}

/// Makes the case of `photo`, whose bytes are cleaned and which is a PNG or else a JPEG.
pub fn prepare(entry: &FixtureEntry, photo: &[u8], is_png: bool, folder: &Folder<'_>) -> Result<FixtureFiles, Error> {
    check_entry(entry)?;
    let old = folder.manifest.unwrap_or(Manifest::new_text());
    let manifest = Manifest::parse(old, folder.manifest_name)?;
    let sha256 = Sha256::digest(photo).iter().fold(String::new(), |mut hex, byte| {
        // Writing to a string cannot fail.
        let _ = write!(hex, "{byte:02x}");
        hex
    });
    check_new(&manifest, &entry.id, &sha256, folder.manifest_name)?;
    let (name, tolerance, is_new) = tolerance(entry, &manifest)?;
    let file = format!("shots/{}.{}", entry.id, if is_png { "png" } else { "jpg" });
    let bay = format!("bays/{}.toml", entry.id);
    let case = Case {
        id: entry.id.clone(),
        title: entry.title.clone(),
        source: Source::Shot {
            file: file.clone(),
            sha256,
            origin: entry.origin.clone(),
            licence: entry.licence.clone(),
            bay: bay.clone(),
            args: entry.args.clone(),
        },
        expect: if entry.is_refused { "refused" } else { "measured" }.to_owned(),
        verdict: entry.verdict.clone(),
        flags: entry.flags.iter().map(|flag| flag.as_str().to_owned()).collect(),
        absent: Vec::new(),
        tolerance: name.clone(),
        slow: false,
        known_failure: None,
        truth: (!entry.is_refused).then(|| entry.truth.clone()),
    };
    let own = name.as_deref().filter(|_| is_new).map(|name| (name, &tolerance));
    let text = append(old, folder.manifest_name, &case, own)?;
    Ok(FixtureFiles { photo: file, bay, manifest: text, case, tolerance })
}

fn check_entry(entry: &FixtureEntry) -> Result<(), Error> {
    let is_plain = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-';
    let is_edge = |c: Option<char>| c.is_some_and(|c| c != '-');
    let id = &entry.id;
    if !id.chars().all(is_plain)
        || !is_edge(id.chars().next())
        || !is_edge(id.chars().last())
        || id.len() > MAX_ID_CHARS
    {
        let found = format!("id {id:?}, need lower-case letters, digits and hyphens, {MAX_ID_CHARS} at most");
        return Err(Error::usage(found, "name the case with --id, for example --id shop-wet-wall"));
    }
    let length = entry.title.chars().count();
    if length == 0 || length >= MAX_TITLE_CHARS {
        let found = format!("a title of {length} characters, need 1 to {}", MAX_TITLE_CHARS - 1);
        return Err(Error::usage(found, "say with --title the one thing that the case is about"));
    }
    let refusals = entry.flags.iter().filter(|flag| flag.severity() == Severity::Refusal).count();
    let problem = match entry.is_refused {
        true if entry.verdict.is_some() => "a refused photo has no verdict, but --verdict is given",
        true if !entry.truth.is_empty() => "a refused photo has no values, but the truth states some",
        true if entry.caps != Caps::Usual => "a refused photo has no values, but --tolerance is given",
        true if refusals == 0 => "why the photo must be refused is not said: need --flag with a refusal's code",
        false if refusals > 0 => "a measured photo carries no refusal, but --flag names one",
        false if entry.truth.is_empty() => {
            "a measured photo without any truth holds nothing, need a cutoff, elbow or hot spot"
        }
        _ => return Ok(()),
    };
    Err(Error::usage(problem, "check --expect, --verdict, --flag, --tolerance and the truth against one another"))
}

fn check_new(manifest: &Manifest, id: &str, sha256: &str, file: &str) -> Result<(), Error> {
    if manifest.cases.iter().any(|case| case.id == id) {
        return Err(Error::file(file, format!("has a case {id} already"), "give another name with --id"));
    }
    let same = manifest
        .cases
        .iter()
        .find(|case| matches!(&case.source, Source::Shot { sha256: other, .. } if other == sha256));
    match same {
        Some(case) => Err(Error::file(
            file,
            format!("has this very photo already, as case {}", case.id),
            "a photo is one case; change that case by hand if it says too little",
        )),
        None => Ok(()),
    }
}

/// The name of the case's tolerance, the caps, and whether they are to be added to the manifest.
fn tolerance(entry: &FixtureEntry, manifest: &Manifest) -> Result<(Option<String>, Tolerance, bool), Error> {
    if entry.is_refused {
        return Ok((None, Tolerance::default(), false));
    }
    let name = match &entry.caps {
        Caps::Own { cap_deg, why } => return own_tolerance(entry, manifest, *cap_deg, why),
        Caps::Named(name) => name.as_str(),
        Caps::Usual => USUAL_TOLERANCE,
    };
    let hint = "give a cap in degrees with --tolerance and its reason with --why";
    let Some(tolerance) = manifest.tolerances.get(name) else {
        let known: Vec<&str> = manifest.tolerances.keys().map(String::as_str).collect();
        return Err(Error::usage(format!("the manifest has no tolerance {name}, but: {}", known.join(", ")), hint));
    };
    if !tolerance.covers(&entry.truth) {
        return Err(Error::usage(format!("tolerance {name} has no cap for a value that the truth states"), hint));
    }
    Ok((Some(name.to_owned()), tolerance.clone(), false))
}

fn own_tolerance(
    entry: &FixtureEntry,
    manifest: &Manifest,
    cap_deg: f64,
    why: &str,
) -> Result<(Option<String>, Tolerance, bool), Error> {
    if !(cap_deg > 0.0 && cap_deg <= MAX_CAP_DEG) {
        let found = format!("a tolerance of {cap_deg} degrees, need more than 0 and at most {MAX_CAP_DEG}");
        return Err(Error::usage(found, "take it from how well the truth is known"));
    }
    if why.trim().is_empty() {
        return Err(Error::usage("a tolerance without its reason", "say with --why how the figure was come to"));
    }
    if manifest.tolerances.contains_key(&entry.id) {
        let found = format!("the manifest has a tolerance {} already, which is no case's own", entry.id);
        return Err(Error::usage(found, "give the case another name with --id, or that tolerance by its name"));
    }
    Ok((Some(entry.id.clone()), Tolerance::uniform(cap_deg, why, &entry.truth), true))
}

/// What the program says of the photo today.
#[derive(Debug, Clone, PartialEq)]
pub struct Today {
    /// For people, one value a line.
    pub text: String,
    /// Whether the case holds.
    pub holds: bool,
}

/// Holds a reading (its whole JSON) against a case.
pub fn today(case: &Case, tolerance: &Tolerance, reading: &Value) -> Today {
    let mut faults = unexpected(case, reading);
    let mut rows = Vec::new();
    if let (Some(truth), "measured") = (&case.truth, reading["status"].as_str().unwrap_or_default()) {
        let found = compare(&reading["features"], truth, tolerance);
        rows = found.rows;
        faults.extend(found.faults);
    }
    let holds = faults.is_empty() && rows.iter().all(Row::holds);
    let verdict =
        reading["verdict"]["overall"].as_str().map_or(String::new(), |verdict| format!(", verdict {verdict}"));
    let mut text = format!("today: {}{verdict}\n", reading["status"].as_str().unwrap_or_default());
    // Writing to a String cannot fail.
    if !rows.is_empty() {
        let heads = ["value", "truth", "error", "u", "cap"];
        let _ = write!(text, "{:<14}", "degrees");
        for head in heads {
            let _ = write!(text, "{head:>9}");
        }
        text.push('\n');
    }
    for row in &rows {
        let _ = writeln!(
            text,
            "{:<14}{:>9.3}{:>9.3}{:>+9.3}{:>9.3}{:>9.3}{}",
            row.quantity,
            row.value,
            row.truth,
            row.error(),
            row.u,
            row.cap,
            row.remark()
        );
    }
    for fault in &faults {
        let _ = writeln!(text, "! {fault}");
    }
    text.push_str(if holds {
        "the case holds\n"
    } else {
        "the case does not hold today: if the truth is right, say why with `known_failure` in the manifest\n"
    });
    Today { text, holds }
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    fn entry() -> FixtureEntry {
        FixtureEntry {
            id: "own-1".to_owned(),
            title: "own photo".to_owned(),
            origin: "own photo".to_owned(),
            licence: "CC0-1.0".to_owned(),
            args: vec!["--lamp".to_owned(), "left".to_owned()],
            is_refused: false,
            verdict: None,
            flags: Vec::new(),
            caps: Caps::Own { cap_deg: 0.1, why: "the tape".to_owned() },
            truth: Truth {
                known: "tape".to_owned(),
                cutoff_h_deg: vec![-4.0, -1.0],
                cutoff_v_deg: vec![-0.5, -0.5],
                ..Truth::default()
            },
        }
    }

    fn add(entry: &FixtureEntry, manifest: Option<&str>) -> Result<FixtureFiles, Error> {
        prepare(entry, b"photo", false, &Folder { manifest_name: "manifest.toml", manifest })
    }

    fn wrong(change: impl FnOnce(&mut FixtureEntry), part: &str) {
        let mut changed = entry();
        change(&mut changed);
        let error = add(&changed, None).unwrap_err().to_string();
        assert!(error.contains(part), "{error}");
    }

    #[test]
    fn an_id_or_a_photo_is_added_once() {
        let first = add(&entry(), None).unwrap();
        assert_eq!((first.photo.as_str(), first.bay.as_str()), ("shots/own-1.jpg", "bays/own-1.toml"));
        let again = add(&entry(), Some(&first.manifest)).unwrap_err().to_string();
        assert!(again.contains("has a case own-1 already"), "{again}");
        let other = FixtureEntry { id: "own-2".to_owned(), ..entry() };
        let again = add(&other, Some(&first.manifest)).unwrap_err().to_string();
        assert!(again.contains("this very photo already, as case own-1"), "{again}");
        let folder = Folder { manifest_name: "manifest.toml", manifest: Some(&first.manifest) };
        assert!(prepare(&other, b"another", true, &folder).unwrap().manifest.starts_with(&first.manifest));
    }

    #[test]
    fn contradictions_are_errors() {
        wrong(|e| e.id = "Own 1".to_owned(), "lower-case");
        wrong(|e| e.id = "-".to_owned(), "lower-case");
        wrong(|e| e.title = "x".repeat(60), "60 characters");
        wrong(|e| e.is_refused = true, "the truth states some");
        wrong(|e| e.flags = vec![FlagCode::Blurred], "carries no refusal");
        wrong(|e| e.truth = Truth::default(), "without any truth");
        wrong(|e| e.caps = Caps::Usual, "no tolerance hard");
        wrong(|e| e.caps = Caps::Own { cap_deg: 0.1, why: " ".to_owned() }, "without its reason");
        wrong(|e| e.caps = Caps::Own { cap_deg: f64::NAN, why: "x".to_owned() }, "need more than 0");
        let refused = |e: &mut FixtureEntry| {
            (e.is_refused, e.truth, e.caps) = (true, Truth::default(), Caps::Usual);
        };
        wrong(refused, "why the photo must be refused");
        let mut blurred = entry();
        refused(&mut blurred);
        blurred.flags = vec![FlagCode::Blurred];
        let files = add(&blurred, None).unwrap();
        assert!(files.case.tolerance.is_none() && files.case.truth.is_none());
    }

    /// By hand: 0.05 under a cap of 0.1, u = 0.06; and the same reading refused.
    #[test]
    fn today_says_whether_the_case_holds() {
        let files = add(&entry(), None).unwrap();
        let reading = json!({"status": "measured", "flags": [], "verdict": {"overall": "pass"},
            "features": {"cutoff": {"v_deg": -0.55, "u_deg": 0.06, "scan_h_deg": -2.5}}});
        let found = today(&files.case, &files.tolerance, &reading);
        assert!(found.holds && found.text.contains("cutoff V"), "{}", found.text);
        let found = today(&files.case, &files.tolerance, &json!({"status": "refused", "flags": []}));
        assert!(!found.holds && found.text.contains("known_failure"), "{}", found.text);
    }
}

//! The shape of `manifest.toml`: read, checked, and one case appended as text.
//!
//! **Takes** the text of a manifest. **Gives** its cases, and a text that is longer by one case and otherwise the same
//! byte for byte, so that comments and order stay. **Fails when** the text has another shape, or a case cannot be
//! appended so that all that stood there before reads as before.

use crate::error::Error;
use serde::Deserialize;
use std::collections::BTreeMap;
use std::fmt::Write as _;

/// Schema of the manifest.
pub const MANIFEST_SCHEMA: &str = "lampwright/manifest/1";

/// Head of a manifest that does not exist yet. The share is that of the project's own manifest.
const NEW_MANIFEST: &str = "\
# Photos with a truth that is known independently of the program. One [[case]] a photo; angles in degrees.
schema = \"lampwright/manifest/1\"

[tolerances]

# Share of all values whose truth lies inside value +- u, judged over all cases.
[coverage]
least = 0.90
";

/// The whole manifest.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Manifest {
    /// [`MANIFEST_SCHEMA`].
    pub schema: String,
    /// Caps by name.
    pub tolerances: BTreeMap<String, Tolerance>,
    /// The share of truths inside value ± u.
    pub coverage: Coverage,
    /// The cases, in the file's order.
    #[serde(rename = "case", default)]
    pub cases: Vec<Case>,
}

/// Caps on errors, degrees, beside the claim that the truth lies inside value ± u. A value whose truth is stated needs
/// its cap; the others may be left out.
#[derive(Debug, Clone, PartialEq, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Tolerance {
    /// Of the cutoff's V.
    pub cutoff_v_deg: Option<f64>,
    /// Of the elbow's H.
    pub elbow_h_deg: Option<f64>,
    /// Of the elbow's V.
    pub elbow_v_deg: Option<f64>,
    /// Of the hot spot's H.
    pub hot_spot_h_deg: Option<f64>,
    /// Of the hot spot's V.
    pub hot_spot_v_deg: Option<f64>,
    /// Largest expanded uncertainty of the cutoff that may be stated.
    pub u_cutoff_deg: Option<f64>,
    /// The reason.
    pub why: String,
}

/// Least share of values whose truth lies inside value ± u.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Coverage {
    /// The share.
    pub least: f64,
    /// Why it does not hold today.
    pub known_failure: Option<String>,
}

/// A photo that is shipped, or a scene that is rendered when the test runs.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(tag = "kind", rename_all = "lowercase")]
pub enum Source {
    /// A photo of the manifest's folder.
    Shot {
        /// Its path in the folder.
        file: String,
        /// SHA-256 of the file, lower-case hexadecimal.
        sha256: String,
        /// Where it comes from.
        origin: String,
        /// Licence, an SPDX identifier.
        licence: String,
        /// Path of the bay file in the folder.
        bay: String,
        /// Arguments of `measure` behind `--bay`.
        args: Vec<String>,
    },
    /// A scene of the project's own renderer.
    Scene {
        /// Family under `scenes/`.
        family: String,
        /// Seed that draws the scene.
        seed: u64,
    },
}

/// One case.
#[derive(Debug, Clone, PartialEq, Deserialize)]
pub struct Case {
    /// Unique name.
    pub id: String,
    /// The one thing that the case is about.
    pub title: String,
    /// The photo.
    #[serde(flatten)]
    pub source: Source,
    /// `measured` or `refused`.
    pub expect: String,
    /// Overall verdict, where the truth is far enough from every limit to name it.
    pub verdict: Option<String>,
    /// Flags that must be there.
    pub flags: Vec<String>,
    /// Flags that must not be there.
    #[serde(default)]
    pub absent: Vec<String>,
    /// Name of the tolerance; measured cases only.
    pub tolerance: Option<String>,
    /// Left out of the ordinary run.
    #[serde(default)]
    pub slow: bool,
    /// Why the case does not hold today; a case that holds must not carry it.
    pub known_failure: Option<String>,
    /// Truth of a shot; a scene brings its own.
    pub truth: Option<Truth>,
}

/// What is known independently of the program, degrees; what is left out is not known. Sigmas are standard
/// uncertainties (k = 1) of the truth itself; without one it counts as exact.
#[derive(Debug, Clone, PartialEq, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Truth {
    /// How it is known.
    pub known: String,
    /// Side of the elbow on which the cutoff is flat: -1 left, 1 right, 0 both.
    #[serde(default)]
    pub flat_side: i32,
    /// Where the cutoff is known, from left to right.
    #[serde(default)]
    pub cutoff_h_deg: Vec<f64>,
    /// The cutoff there.
    #[serde(default)]
    pub cutoff_v_deg: Vec<f64>,
    /// Of the cutoff's V.
    pub cutoff_sigma_deg: Option<f64>,
    /// H and V.
    pub elbow: Option<[f64; 2]>,
    /// Of H and V.
    pub elbow_sigma_deg: Option<[f64; 2]>,
    /// H and V.
    pub hot_spot: Option<[f64; 2]>,
    /// Of H and V.
    pub hot_spot_sigma_deg: Option<[f64; 2]>,
}

impl Truth {
    /// The cutoff's V at `h_deg`, between listed places by a straight line; `None` outside the list.
    pub fn cutoff_at(&self, h_deg: f64) -> Option<f64> {
        let k = self.cutoff_h_deg.windows(2).position(|pair| pair[0] <= h_deg && h_deg <= pair[1])?;
        let share = (h_deg - self.cutoff_h_deg[k]) / (self.cutoff_h_deg[k + 1] - self.cutoff_h_deg[k]);
        Some(self.cutoff_v_deg[k] + share * (self.cutoff_v_deg[k + 1] - self.cutoff_v_deg[k]))
    }

    /// Whether nothing is known.
    pub fn is_empty(&self) -> bool {
        self.cutoff_h_deg.is_empty() && self.elbow.is_none() && self.hot_spot.is_none()
    }
}

impl Tolerance {
    /// The same cap for every value that `truth` states.
    pub fn uniform(cap_deg: f64, why: &str, truth: &Truth) -> Self {
        let cap = |is_known: bool| is_known.then_some(cap_deg);
        Self {
            cutoff_v_deg: cap(!truth.cutoff_h_deg.is_empty()),
            elbow_h_deg: cap(truth.elbow.is_some()),
            elbow_v_deg: cap(truth.elbow.is_some()),
            hot_spot_h_deg: cap(truth.hot_spot.is_some()),
            hot_spot_v_deg: cap(truth.hot_spot.is_some()),
            u_cutoff_deg: None,
            why: why.to_owned(),
        }
    }

    /// Whether there is a cap for every value that `truth` states.
    pub fn covers(&self, truth: &Truth) -> bool {
        (truth.cutoff_h_deg.is_empty() || self.cutoff_v_deg.is_some())
            && (truth.elbow.is_none() || (self.elbow_h_deg.is_some() && self.elbow_v_deg.is_some()))
            && (truth.hot_spot.is_none() || (self.hot_spot_h_deg.is_some() && self.hot_spot_v_deg.is_some()))
    }

    fn caps(&self) -> [(&'static str, Option<f64>); 6] {
        [
            ("cutoff_v_deg", self.cutoff_v_deg),
            ("elbow_h_deg", self.elbow_h_deg),
            ("elbow_v_deg", self.elbow_v_deg),
            ("hot_spot_h_deg", self.hot_spot_h_deg),
            ("hot_spot_v_deg", self.hot_spot_v_deg),
            ("u_cutoff_deg", self.u_cutoff_deg),
        ]
    }
}

impl Manifest {
    /// Reads a manifest; `file` is its name as the user gave it.
    pub fn parse(text: &str, file: &str) -> Result<Self, Error> {
        const HINT: &str = "fixtures/README.md explains the fields; put the file right first";
        let manifest: Self = toml::from_str(text).map_err(|error| Error::file(file, error.to_string(), HINT))?;
        if manifest.schema != MANIFEST_SCHEMA {
            let found = format!("schema {:?}, need {MANIFEST_SCHEMA:?}", manifest.schema);
            return Err(Error::file(file, found, HINT));
        }
        Ok(manifest)
    }

    /// The text of a manifest without cases.
    pub fn new_text() -> &'static str {
        NEW_MANIFEST
    }
}

/// `text` with one case behind its last line, and before it a tolerance of the case's own where one is given. The
/// result is read again: all that stood there must read as before, and the case as it is.
pub fn append(text: &str, file: &str, case: &Case, tolerance: Option<(&str, &Tolerance)>) -> Result<String, Error> {
    let before = Manifest::parse(text, file)?;
    let mut added = String::new();
    if let Some((name, tolerance)) = tolerance {
        write_tolerance(&mut added, name, tolerance);
    }
    write_case(&mut added, case);
    let is_crlf = text.contains("\r\n");
    let mut whole = text.to_owned();
    if !whole.is_empty() && !whole.ends_with('\n') {
        whole.push_str(if is_crlf { "\r\n" } else { "\n" });
    }
    whole.push_str(&if is_crlf { added.replace('\n', "\r\n") } else { added });
    let mut wanted = before;
    wanted.cases.push(case.clone());
    if let Some((name, tolerance)) = tolerance {
        wanted.tolerances.insert(name.to_owned(), tolerance.clone());
    }
    match Manifest::parse(&whole, file) {
        Ok(found) if found == wanted => Ok(whole),
        Ok(_) => Err(cannot_append(file, "the case would not read back as it was written")),
        Err(error) => Err(cannot_append(file, &error.to_string())),
    }
}

fn cannot_append(file: &str, why: &str) -> Error {
    let hint = "write cases as [[case]] and tolerances as [tolerances.NAME], so that one more can stand at the end";
    Error::file(file, format!("no case can be appended: {why}"), hint)
}

// Writing to a String cannot fail: the results below are dropped.

fn write_tolerance(text: &mut String, name: &str, tolerance: &Tolerance) {
    let _ = writeln!(text, "\n[tolerances.{name}]");
    for (key, cap) in tolerance.caps() {
        if let Some(cap) = cap {
            let _ = writeln!(text, "{key} = {}", number(cap));
        }
    }
    let _ = writeln!(text, "why = {}", quoted(&tolerance.why));
}

fn write_case(text: &mut String, case: &Case) {
    let mut line = |key: &str, value: String| {
        let _ = writeln!(text, "{key} = {value}");
    };
    line("\n[[case]]\nid", quoted(&case.id));
    line("title", quoted(&case.title));
    match &case.source {
        Source::Shot { file, sha256, origin, licence, bay, args } => {
            line("kind", quoted("shot"));
            line("file", quoted(file));
            line("sha256", quoted(sha256));
            line("origin", quoted(origin));
            line("licence", quoted(licence));
            line("bay", quoted(bay));
            line("args", list(args.iter().map(|word| quoted(word))));
        }
        Source::Scene { family, seed } => {
            line("kind", quoted("scene"));
            line("family", quoted(family));
            line("seed", seed.to_string());
        }
    }
    line("expect", quoted(&case.expect));
    if let Some(verdict) = &case.verdict {
        line("verdict", quoted(verdict));
    }
    line("flags", list(case.flags.iter().map(|flag| quoted(flag))));
    if !case.absent.is_empty() {
        line("absent", list(case.absent.iter().map(|flag| quoted(flag))));
    }
    if let Some(tolerance) = &case.tolerance {
        line("tolerance", quoted(tolerance));
    }
    if case.slow {
        line("slow", "true".to_owned());
    }
    if let Some(reason) = &case.known_failure {
        line("known_failure", quoted(reason));
    }
    if let Some(truth) = &case.truth {
        write_truth(text, truth);
    }
}

fn write_truth(text: &mut String, truth: &Truth) {
    let numbers = |values: &[f64]| list(values.iter().map(|value| number(*value)));
    let mut line = |key: &str, value: String| {
        let _ = writeln!(text, "{key} = {value}");
    };
    line("[case.truth]\nknown", quoted(&truth.known));
    line("flat_side", truth.flat_side.to_string());
    if !truth.cutoff_h_deg.is_empty() {
        line("cutoff_h_deg", numbers(&truth.cutoff_h_deg));
        line("cutoff_v_deg", numbers(&truth.cutoff_v_deg));
    }
    if let Some(sigma) = truth.cutoff_sigma_deg {
        line("cutoff_sigma_deg", number(sigma));
    }
    let pairs = [
        ("elbow", truth.elbow),
        ("elbow_sigma_deg", truth.elbow_sigma_deg),
        ("hot_spot", truth.hot_spot),
        ("hot_spot_sigma_deg", truth.hot_spot_sigma_deg),
    ];
    for (key, pair) in pairs {
        if let Some(pair) = pair {
            line(key, numbers(&pair));
        }
    }
}

/// A float as TOML writes it: never without a point, never rounded.
fn number(value: f64) -> String {
    format!("{value:?}")
}

fn quoted(text: &str) -> String {
    toml::Value::String(text.to_owned()).to_string()
}

fn list(items: impl Iterator<Item = String>) -> String {
    format!("[{}]", items.collect::<Vec<_>>().join(", "))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn case(id: &str) -> Case {
        Case {
            id: id.to_owned(),
            title: "a \"quoted\" title".to_owned(),
            source: Source::Shot {
                file: format!("shots/{id}.jpg"),
                sha256: "ab".repeat(32),
                origin: "own photo\nof two lines".to_owned(),
                licence: "CC0-1.0".to_owned(),
                bay: format!("bays/{id}.toml"),
                args: vec!["--lamp".to_owned(), "left".to_owned()],
            },
            expect: "measured".to_owned(),
            verdict: None,
            flags: vec!["near-wall".to_owned()],
            absent: Vec::new(),
            tolerance: Some(id.to_owned()),
            slow: false,
            known_failure: None,
            truth: Some(Truth {
                known: "tape".to_owned(),
                flat_side: -1,
                cutoff_h_deg: vec![-4.0, -1.0],
                cutoff_v_deg: vec![-0.5, -0.52],
                cutoff_sigma_deg: Some(0.03),
                ..Truth::default()
            }),
        }
    }

    #[test]
    fn what_stood_there_stays_byte_for_byte() {
        let case = case("own-1");
        let tolerance = Tolerance::uniform(0.1, "the tape", case.truth.as_ref().unwrap());
        let old = "# head\nschema = \"lampwright/manifest/1\" # odd   spacing\ntolerances = { }\n";
        assert!(append(old, "m", &case, None).is_err(), "coverage is missing");
        for old in [Manifest::new_text().to_owned(), Manifest::new_text().trim_end().to_owned() + " # no line end"] {
            let new = append(&old, "m", &case, Some(("own-1", &tolerance))).unwrap();
            assert!(new.starts_with(&old));
            let manifest = Manifest::parse(&new, "m").unwrap();
            assert_eq!(manifest.cases, std::slice::from_ref(&case));
            assert_eq!(manifest.tolerances["own-1"], tolerance);
            assert!(tolerance.covers(case.truth.as_ref().unwrap()) && tolerance.hot_spot_h_deg.is_none());
        }
    }

    #[test]
    fn line_ends_stay_those_of_the_file() {
        let old = Manifest::new_text().replace('\n', "\r\n");
        let mut plain = case("own-1");
        plain.tolerance = None;
        if let Source::Shot { origin, .. } = &mut plain.source {
            "own photo".clone_into(origin);
        }
        let new = append(&old, "m", &plain, None).unwrap();
        assert_eq!(new.matches('\n').count(), new.matches("\r\n").count());
    }

    /// Inline tables are closed: TOML 1.0 forbids to add to them.
    #[test]
    fn a_manifest_that_cannot_grow_is_an_error() {
        let old = "schema = \"lampwright/manifest/1\"\ncase = []\ntolerances = {}\ncoverage = { least = 0.9 }\n";
        assert!(append(old, "m", &case("a"), None).unwrap_err().to_string().contains("no case can be appended"));
        assert!(Manifest::parse(&old.replace("manifest/1", "manifest/2"), "m").is_err());
    }
}

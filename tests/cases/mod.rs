//! The cases of `fixtures/manifest.toml`: loaded, checked for shape, made ready in a folder, run with the program itself.

#![allow(dead_code, reason = "each test program uses its own part")]
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    reason = "a test's helpers must fail loudly, as the tests do"
)]

use lampwright::scene::{render, sample};
use serde::Deserialize;
use serde_json::Value;
use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

/// The whole manifest.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Manifest {
    pub(crate) schema: String,
    pub(crate) tolerances: BTreeMap<String, Tolerance>,
    pub(crate) coverage: Coverage,
    #[serde(rename = "case")]
    pub(crate) cases: Vec<Case>,
}

/// Caps on errors, degrees, beside the claim that the truth lies inside value ± u.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Tolerance {
    pub(crate) cutoff_v_deg: f64,
    pub(crate) elbow_h_deg: f64,
    pub(crate) elbow_v_deg: f64,
    pub(crate) hot_spot_h_deg: f64,
    pub(crate) hot_spot_v_deg: f64,
    /// Largest expanded uncertainty of the cutoff that may be stated.
    pub(crate) u_cutoff_deg: Option<f64>,
    pub(crate) why: String,
}

/// Least share of values whose truth lies inside value ± u.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Coverage {
    pub(crate) least: f64,
    pub(crate) known_failure: Option<String>,
}

/// A photo that is shipped, or a scene that is rendered when the test runs.
#[derive(Debug, Deserialize)]
#[serde(tag = "kind", rename_all = "lowercase")]
pub(crate) enum Source {
    Shot { file: String, sha256: String, origin: String, licence: String, bay: String, args: Vec<String> },
    Scene { family: String, seed: u64 },
}

/// One case.
#[derive(Debug, Deserialize)]
pub(crate) struct Case {
    pub(crate) id: String,
    pub(crate) title: String,
    #[serde(flatten)]
    pub(crate) source: Source,
    /// `measured` or `refused`.
    pub(crate) expect: String,
    /// Overall verdict under the default rule, where the truth is far enough from every limit to name it.
    pub(crate) verdict: Option<String>,
    /// Flags that must be there.
    pub(crate) flags: Vec<String>,
    /// Flags that must not be there.
    #[serde(default)]
    pub(crate) absent: Vec<String>,
    /// Name of the tolerance; measured cases only.
    pub(crate) tolerance: Option<String>,
    /// Left out of the ordinary run.
    #[serde(default)]
    pub(crate) slow: bool,
    /// Why the case does not hold today; a case that holds must not carry it.
    pub(crate) known_failure: Option<String>,
    /// Truth of a shot; a scene brings its own.
    pub(crate) truth: Option<Truth>,
}

/// What is known independently of the program, degrees.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Truth {
    /// How it is known.
    pub(crate) known: String,
    /// Side of the elbow on which the cutoff is flat: -1 left, 1 right, 0 both.
    #[serde(default)]
    pub(crate) flat_side: i32,
    #[serde(default)]
    pub(crate) cutoff_h_deg: Vec<f64>,
    #[serde(default)]
    pub(crate) cutoff_v_deg: Vec<f64>,
    pub(crate) elbow: Option<[f64; 2]>,
    pub(crate) hot_spot: Option<[f64; 2]>,
}

/// A case ready to run.
#[derive(Debug)]
pub(crate) struct Ready {
    /// Arguments after `measure`, photo first; paths are absolute.
    pub(crate) args: Vec<String>,
    pub(crate) truth: Option<Truth>,
}

/// The `fixtures` folder.
pub(crate) fn fixtures() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures")
}

impl Manifest {
    pub(crate) fn load() -> Self {
        let text = fs::read_to_string(fixtures().join("manifest.toml")).expect("fixtures/manifest.toml");
        let manifest: Self = toml::from_str(&text).expect("fixtures/manifest.toml");
        assert_eq!(manifest.schema, "lampwright/manifest/1");
        manifest
    }

    pub(crate) fn case(&self, id: &str) -> &Case {
        self.cases.iter().find(|case| case.id == id).unwrap_or_else(|| panic!("no case {id} in the manifest"))
    }
}

impl Case {
    /// Makes the case ready; what must be rendered is written into `folder`.
    pub(crate) fn prepare(&self, folder: &Path) -> Ready {
        match &self.source {
            Source::Shot { file, bay, args, .. } => {
                let mut words = vec![path_text(&fixtures().join(file)), "--bay".to_owned()];
                words.push(path_text(&fixtures().join(bay)));
                words.extend(args.iter().cloned());
                Ready { args: words, truth: self.truth.clone() }
            }
            Source::Scene { family, seed } => prepare_scene(family, *seed, folder),
        }
    }
}

fn prepare_scene(family: &str, seed: u64, folder: &Path) -> Ready {
    let scene = render(&sample(family, seed, None).expect("a family")).expect("a scene");
    let place = |suffix: &str| folder.join(format!("{}.{suffix}", scene.name));
    fs::write(place("jpg"), &scene.photo).unwrap();
    fs::write(place("bay.toml"), &scene.bay_toml).unwrap();
    if let Some((suffix, photo)) = &scene.second {
        fs::write(place(&format!("{suffix}.jpg")), photo).unwrap();
    }
    let truth: Value = serde_json::from_str(&scene.truth_json).unwrap();
    let words = truth["args"].as_array().unwrap().iter().skip(1).map(|word| word.as_str().unwrap().to_owned());
    let is_file = |word: &str| word.starts_with(&scene.name);
    let args = words.map(|word| if is_file(&word) { path_text(&folder.join(word)) } else { word }).collect();
    Ready { args, truth: (truth["expect"] == "measured").then(|| scene_truth(&truth)) }
}

fn scene_truth(truth: &Value) -> Truth {
    let numbers =
        |list: &Value| list.as_array().map_or(Vec::new(), |list| list.iter().filter_map(Value::as_f64).collect());
    let place = |at: &Value| Some([at["h_deg"].as_f64()?, at["v_deg"].as_f64()?]);
    Truth {
        known: "exact: the renderer's own noise-free intensity".to_owned(),
        flat_side: truth["flat_side"].as_i64().unwrap_or(0) as i32,
        cutoff_h_deg: numbers(&truth["cutoff"]["h_deg"]),
        cutoff_v_deg: numbers(&truth["cutoff"]["v_deg"]),
        elbow: place(&truth["elbow"]),
        hot_spot: place(&truth["hot_spot"]),
    }
}

impl Truth {
    /// The cutoff's V at `h_deg`, between listed places by a straight line; `None` outside the list.
    pub(crate) fn cutoff_at(&self, h_deg: f64) -> Option<f64> {
        let k = self.cutoff_h_deg.windows(2).position(|pair| pair[0] <= h_deg && h_deg <= pair[1])?;
        let share = (h_deg - self.cutoff_h_deg[k]) / (self.cutoff_h_deg[k + 1] - self.cutoff_h_deg[k]);
        Some(self.cutoff_v_deg[k] + share * (self.cutoff_v_deg[k + 1] - self.cutoff_v_deg[k]))
    }
}

/// A path as a command line takes it.
pub(crate) fn path_text(path: &Path) -> String {
    path.to_str().expect("a path in UTF-8").to_owned()
}

/// Runs the program in `folder` with `words`.
pub(crate) fn run<S: AsRef<std::ffi::OsStr>>(folder: &Path, words: &[S]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_lampwright")).args(words).current_dir(folder).output().expect("the program starts")
}

/// Runs `measure` and reads the JSON from standard output; fails with everything that was said.
pub(crate) fn measure(folder: &Path, args: &[String]) -> (i32, Value) {
    let mut words = vec!["measure".to_owned()];
    words.extend(args.iter().cloned());
    words.extend(["--json".to_owned(), "-".to_owned()]);
    let output = run(folder, &words);
    let status = output.status.code().unwrap_or(-1);
    let reading = serde_json::from_slice(&output.stdout).unwrap_or_else(|error| {
        panic!("no JSON ({error}), status {status}, {words:?}\n{}", String::from_utf8_lossy(&output.stderr))
    });
    (status, reading)
}

//! The cases of `fixtures/manifest.toml`: loaded, checked for shape, made ready in a folder, run with the program itself.

#![allow(dead_code, reason = "each test program uses its own part")]
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    reason = "a test's helpers must fail loudly, as the tests do"
)]

use lampwright::bench::fixture_manifest::{Case, Manifest, Source, Truth};
use lampwright::scene::{SceneSpec, render, sample};
use serde_json::Value;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

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

/// The project's own manifest.
pub(crate) fn load() -> Manifest {
    let text = fs::read_to_string(fixtures().join("manifest.toml")).expect("fixtures/manifest.toml");
    Manifest::parse(&text, "fixtures/manifest.toml").unwrap_or_else(|error| panic!("{error}"))
}

/// One of its cases.
pub(crate) fn case(id: &str) -> Case {
    load().cases.into_iter().find(|case| case.id == id).unwrap_or_else(|| panic!("no case {id} in the manifest"))
}

/// Makes a case ready; what must be rendered is written into `folder`.
pub(crate) fn prepare(case: &Case, folder: &Path) -> Ready {
    match &case.source {
        Source::Shot { file, bay, args, .. } => {
            let mut words = vec![path_text(&fixtures().join(file)), "--bay".to_owned()];
            words.push(path_text(&fixtures().join(bay)));
            words.extend(args.iter().cloned());
            Ready { args: words, truth: case.truth.clone() }
        }
        Source::Scene { family, seed } => prepare_scene(family, *seed, folder),
    }
}

fn prepare_scene(family: &str, seed: u64, folder: &Path) -> Ready {
    prepare_spec(&sample(family, seed, None).expect("a family"), folder)
}

/// Renders a scene into `folder` and makes it ready; the photo is the first argument.
pub(crate) fn prepare_spec(spec: &SceneSpec, folder: &Path) -> Ready {
    let scene = render(spec).expect("a scene");
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
        ..Truth::default()
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

//! Truth: rendered photos of a known tone curve at several exposures give that curve back, and `measure` works through it.

#![allow(
    clippy::unwrap_used,
    clippy::panic,
    clippy::print_stderr,
    reason = "a failed check must stop the test, and each test prints the figures that it judges"
)]

use lampwright::camera::ResponseProfile;
use lampwright::scene::{SceneSpec, ToneKind, render, sample};
use std::fs;
use std::path::Path;
use std::process::{Command, Output};

/// Levels of the hot spot: from two stops under to two over.
const PEAKS: [f64; 5] = [0.12, 0.3, 0.75, 1.8, 4.0];

fn run(folder: &Path, words: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_lampwright")).current_dir(folder).args(words).output().unwrap()
}

fn spec(tone: ToneKind, strength: f64) -> SceneSpec {
    let mut spec = sample("clean", 3, Some((1160, 870))).unwrap();
    (spec.sensor.tone, spec.sensor.tone_strength, spec.sensor.tone_centre) = (tone, strength, 0.5);
    // Else the room's light grows until the marks are seen, and the scene would not stand still while the exposure changes.
    spec.room.least_mark_level = 0.0;
    // A seed of its own gives each photo noise of its own, and would give it a floor of its own.
    spec.floor.texture = 0.0;
    spec.picture.orientation = 1;
    spec
}

/// The scene at each exposure, as files; the last one's other files too.
fn photos(folder: &Path, spec: &SceneSpec) -> Vec<String> {
    let names = PEAKS.iter().enumerate().map(|(index, peak)| {
        let mut spec = spec.clone();
        spec.sensor.peak_level = *peak;
        spec.seed += index as u64;
        let name = format!("{index}.jpg");
        fs::write(folder.join(&name), render(&spec).unwrap().photo).unwrap();
        name
    });
    names.collect()
}

/// sRGB of IEC 61966-2-1 and the renderer's two curves, written out on their own: encoded value of a level.
fn encoded(tone: ToneKind, strength: f64, level: f64) -> f64 {
    let x = if level <= 0.003_130_8 { 12.92 * level } else { 1.055 * level.powf(1.0 / 2.4) - 0.055 };
    match tone {
        ToneKind::Smooth => x + strength * (x * x * (3.0 - 2.0 * x) - x),
        ToneKind::Film => 1.0 - (1.0 - x.powf(1.0 + 0.55 * strength)).powf(1.0 + 0.5 * strength),
        ToneKind::Sigmoid => {
            let logistic = |t: f64| 1.0 / (1.0 + (-7.0 * strength * (t - 0.5)).exp());
            (logistic(x) - logistic(0.0)) / (logistic(1.0) - logistic(0.0))
        }
        ToneKind::Srgb => x,
    }
}

/// Level that is encoded as a code, by halving.
fn level(tone: ToneKind, strength: f64, code: f64) -> f64 {
    let (mut low, mut high) = (0.0, 1.0);
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if 255.0 * encoded(tone, strength, middle) < code { low = middle } else { high = middle }
    }
    0.5 * (low + high)
}

/// Largest error of ln light against code 128 over the codes that beams are read at, and the largest in sigmas over all codes
/// that are not clipped.
fn worst(profile: &ResponseProfile, tone: ToneKind, strength: f64) -> (f64, f64) {
    let response = &profile.response;
    let error = |code: usize| {
        let found = (response.light[code] / response.light[128]).ln();
        let truth = (level(tone, strength, code as f64) / level(tone, strength, 128.0)).ln();
        (found - truth).abs()
    };
    let largest = |values: &mut dyn Iterator<Item = f64>| values.fold(0.0, f64::max);
    let in_sigmas = |code: usize| error(code) / response.sigma_ln[code];
    (largest(&mut (20..=245).map(error)), largest(&mut (1..=252).map(in_sigmas)))
}

/// The truth's cutoff, between its listed places.
fn cutoff_at(truth: &serde_json::Value, h_deg: f64) -> f64 {
    let list = |name: &str| -> Vec<f64> {
        truth["cutoff"][name].as_array().unwrap().iter().map(|value| value.as_f64().unwrap()).collect()
    };
    let (h, v) = (list("h_deg"), list("v_deg"));
    let next = h.iter().position(|place| *place >= h_deg).unwrap().max(1);
    v[next - 1] + (v[next] - v[next - 1]) * (h_deg - h[next - 1]) / (h[next] - h[next - 1])
}

fn fitted(folder: &Path, names: &[String]) -> ResponseProfile {
    let mut words = vec!["response", "--out", "r.toml", "--date", "2026-03-14"];
    words.extend(names.iter().map(String::as_str));
    let output = run(folder, &words);
    assert_eq!(output.status.code(), Some(0), "{output:?}");
    ResponseProfile::parse(&fs::read_to_string(folder.join("r.toml")).unwrap(), "r.toml").unwrap()
}

/// From five photos and from three: 2 % of light from code 20 to 245, where sRGB alone is off by 60 % for the strong curves, and
/// every code from 1 to 252 within two of its own sigmas. The times are exact, so that most of what sigma holds is not used up.
#[test]
fn known_curves_come_back() {
    let tones = [(ToneKind::Srgb, 0.0), (ToneKind::Smooth, 0.6), (ToneKind::Film, 0.8), (ToneKind::Sigmoid, 0.6)];
    for (tone, strength) in tones {
        let folder = tempfile::tempdir().unwrap();
        let names = photos(folder.path(), &spec(tone, strength));
        for names in [&names[..], &names[1..4]] {
            let (worst_ln, worst_sigmas) = worst(&fitted(folder.path(), names), tone, strength);
            eprintln!("{tone:?} {strength}, {}: worst {worst_ln:.4} of light, {worst_sigmas:.2} sigma", names.len());
            assert!(worst_ln < 0.02 && worst_sigmas < 2.0, "{tone:?}: {worst_ln} of light, {worst_sigmas} sigma");
        }
    }
}

/// Times that are off by the 1 % that the fit takes for their sigma: within two of the curve's own sigmas.
#[test]
fn exposures_that_are_a_little_off_stay_within_the_uncertainty() {
    let folder = tempfile::tempdir().unwrap();
    let names = photos(folder.path(), &spec(ToneKind::Smooth, 0.6));
    for signs in [[1.0, -1.0, 1.0, -1.0, 1.0], [1.0, 1.0, 0.0, -1.0, -1.0]] {
        let times: Vec<String> =
            PEAKS.iter().zip(signs).map(|(peak, sign)| format!("{}", 0.01 * peak * (1.0 + 0.01 * sign))).collect();
        let times = times.join(",");
        let mut words = vec!["response", "--out", "r.toml", "--exposure-s", &times];
        words.extend(names.iter().map(String::as_str));
        let output = run(folder.path(), &words);
        assert_eq!(output.status.code(), Some(0), "{output:?}");
        let profile = ResponseProfile::parse(&fs::read_to_string(folder.path().join("r.toml")).unwrap(), "r").unwrap();
        let (worst_ln, worst_sigmas) = worst(&profile, ToneKind::Smooth, 0.6);
        eprintln!("{signs:?}: worst {worst_ln:.4} of light, {worst_sigmas:.2} sigma");
        assert!(worst_sigmas < 2.0, "{worst_ln} of light, {worst_sigmas} sigma");
    }
}

/// A tenth of one photo shows something else, right over the hot spot, where alone the brightest codes are seen: the fit stays
/// within three of its sigmas nevertheless (the worst of 250 codes), and says what does not fit.
#[test]
fn moved_things_do_not_bend_the_curve() {
    let folder = tempfile::tempdir().unwrap();
    let names = photos(folder.path(), &spec(ToneKind::Smooth, 0.6));
    let mut moved = image::open(folder.path().join(&names[2])).unwrap().to_rgb8();
    for y in 220..580 {
        for x in 430..720 {
            moved.put_pixel(x, y, image::Rgb([120, 110, 90]));
        }
    }
    moved.save(folder.path().join("moved.png")).unwrap();
    // PNG has no EXIF here: the times are given, as EXIF has them in proportion to the level.
    let times: Vec<String> = PEAKS.iter().map(|peak| format!("{}", 0.01 * peak)).collect();
    let times = times.join(",");
    let words =
        ["response", "0.jpg", "1.jpg", "moved.png", "3.jpg", "4.jpg", "--exposure-s", &times, "--out", "r.toml"];
    let output = run(folder.path(), &words);
    assert_eq!(output.status.code(), Some(1), "{output:?}");
    assert!(String::from_utf8_lossy(&output.stdout).contains("did something move"));
    let profile = ResponseProfile::parse(&fs::read_to_string(folder.path().join("r.toml")).unwrap(), "r").unwrap();
    let (worst_ln, worst_sigmas) = worst(&profile, ToneKind::Smooth, 0.6);
    eprintln!("moved: worst {worst_ln:.4} of light, {worst_sigmas:.2} sigma");
    assert!(worst_sigmas < 3.0, "{worst_ln} of light, {worst_sigmas} sigma");
}

#[test]
fn photos_that_cannot_tell_are_refused() {
    let folder = tempfile::tempdir().unwrap();
    let names = photos(folder.path(), &spec(ToneKind::Srgb, 0.0));
    let refused = |words: &[&str], expected: &str| {
        let output = run(folder.path(), &[&["response", "--out", "r.toml"], words].concat());
        let text = String::from_utf8_lossy(&output.stderr).into_owned();
        assert!(output.status.code() == Some(2) && text.contains(expected), "{expected}: {text}");
        assert!(!folder.path().join("r.toml").exists());
    };
    let three = [names[1].as_str(), names[2].as_str(), names[3].as_str()];
    refused(&three[..2], "need 3");
    refused(&[three.as_slice(), &["--exposure-s", "0.01,0.01,0.012"]].concat(), "1.20 times");
    refused(&[three.as_slice(), &["--exposure-s", "0.01,0.02"]].concat(), "2 times");
    image::open(folder.path().join(three[0])).unwrap().save(folder.path().join("a.png")).unwrap();
    refused(&["a.png", three[1], three[2]], "no exposure time");
}

/// A photo of a strong curve, measured; the reading and the error of its cutoff with u.
fn measured(folder: &Path, tone: ToneKind, strength: f64, more: &[&str]) -> (serde_json::Value, f64, f64) {
    let mut large = sample("clean", 3, Some((1600, 1200))).unwrap();
    (large.sensor.tone, large.sensor.tone_strength, large.sensor.tone_centre) = (tone, strength, 0.5);
    let scene = render(&large).unwrap();
    fs::write(folder.join(format!("{}.jpg", scene.name)), &scene.photo).unwrap();
    fs::write(folder.join(format!("{}.bay.toml", scene.name)), &scene.bay_toml).unwrap();
    let truth: serde_json::Value = serde_json::from_str(&scene.truth_json).unwrap();
    let mut words: Vec<&str> = truth["args"].as_array().unwrap().iter().map(|word| word.as_str().unwrap()).collect();
    words.extend(["--json", "o.json"]);
    words.extend(more);
    let output = run(folder, &words);
    let text = fs::read_to_string(folder.join("o.json")).unwrap_or_else(|_| panic!("{output:?}"));
    let reading: serde_json::Value = serde_json::from_str(&text).unwrap();
    let cutoff = &reading["features"]["cutoff"];
    let error = cutoff["v_deg"].as_f64().unwrap() - cutoff_at(&truth, cutoff["scan_h_deg"].as_f64().unwrap());
    let u = cutoff["u_deg"].as_f64().unwrap();
    (reading, error, u)
}

/// Through its own response a strong curve's cutoff is the truth within u, and nearer to it than by what the marks tell;
/// a response of other photos is flagged.
#[test]
fn measure_takes_the_response() {
    let (mut with, mut without) = (0.0, 0.0);
    for (tone, strength) in [(ToneKind::Smooth, 0.6), (ToneKind::Film, 0.8), (ToneKind::Sigmoid, 0.6)] {
        let folder = tempfile::tempdir().unwrap();
        let names = photos(folder.path(), &spec(tone, strength));
        fitted(folder.path(), &names);
        let (reading, error, u) = measured(folder.path(), tone, strength, &["--response", "r.toml"]);
        let (_, marks_error, marks_u) = measured(folder.path(), tone, strength, &[]);
        eprintln!("{tone:?}: cutoff off by {error:.4}, u {u:.4}; by the marks {marks_error:.4}, u {marks_u:.4}");
        assert!(error.abs() < u, "{tone:?}: {error} against {u}");
        assert!(u < marks_u, "{tone:?}: {u}, by the marks {marks_u}");
        (with, without) = (with + error.abs(), without + marks_error.abs());
        let flags = reading["flags"].as_array().unwrap();
        let has = |code: &str, word: &str| {
            flags.iter().any(|flag| flag["code"] == code && flag["text"].as_str().unwrap().contains(word))
        };
        assert!(has("tone-curve", "r.toml") && has("response-mismatch", "1160 x 870"), "{flags:?}");
    }
    assert!(with < without, "sum of errors {with}, by the marks {without}");
}

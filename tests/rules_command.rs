//! `lampwright rules` from outside: what is written where, and what is refused; a fresh folder for every run.

#![expect(clippy::unwrap_used, reason = "a test's helpers may unwrap as the tests do")]

use std::fs;
use std::path::Path;
use std::process::Command;

/// Status, standard output and standard error.
fn rules(folder: &Path, words: &[&str]) -> (i32, String, String) {
    let output =
        Command::new(env!("CARGO_BIN_EXE_lampwright")).arg("rules").args(words).current_dir(folder).output().unwrap();
    let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    (output.status.code().unwrap(), text(&output.stdout), text(&output.stderr))
}

#[test]
fn a_picture_is_what_its_name_says() {
    let folder = tempfile::tempdir().unwrap();
    let show = |file: &str| rules(folder.path(), &["show", "gb-inspection", "--picture", file]);
    for file in ["zone.svg", "zone.png", "ZONE.PNG"] {
        let (status, text, errors) = show(file);
        assert!(status == 0 && text.contains(&format!("picture written to {file}")), "{text}{errors}");
    }
    assert!(fs::read_to_string(folder.path().join("zone.svg")).unwrap().starts_with("<svg"));
    let png = fs::read(folder.path().join("zone.png")).unwrap();
    assert_eq!(png, fs::read(folder.path().join("ZONE.PNG")).unwrap());
    let picture = image::load_from_memory_with_format(&png, image::ImageFormat::Png).unwrap();
    let svg = fs::read_to_string(folder.path().join("zone.svg")).unwrap();
    let size = format!("width=\"{}\" height=\"{}\"", picture.width(), picture.height());
    assert!(svg.contains(&size), "the two differ in size: {size}");
    for file in ["zone.jpg", "zone", "zone.svg.txt"] {
        let (status, _, errors) = show(file);
        assert!(status == 2 && errors.contains(".svg or .png"), "{file}: {errors}");
        assert!(!folder.path().join(file).exists());
    }
}

#[test]
fn a_rule_of_one_s_own_is_checked() {
    let folder = tempfile::tempdir().unwrap();
    let built_in = Path::new(env!("CARGO_MANIFEST_DIR")).join("calib/rules");
    let good = fs::read_to_string(built_in.join("gb-inspection.toml")).unwrap();
    fs::write(folder.path().join("good.toml"), &good).unwrap();
    assert_eq!(rules(folder.path(), &["check", "good.toml"]).0, 0);
    let bad =
        good.replace("right_of = { percent = 0.0 }", "right_of = { percent = 0.0 }\nleft_of = { percent = -1.0 }");
    fs::write(folder.path().join("bad.toml"), bad).unwrap();
    let (status, _, errors) = rules(folder.path(), &["check", "bad.toml"]);
    assert!(status == 2 && errors.contains("dark_zone") && errors.contains("nothing lies right of"), "{errors}");
}

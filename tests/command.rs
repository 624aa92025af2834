//! The program from outside: exit status, files, standard output, the JSON's shape; a fresh folder for every run.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    reason = "a test's helpers must fail loudly, as the tests do"
)]

mod cases;

use cases::{fixtures, path_text, run};
use image::{DynamicImage, ImageDecoder, ImageReader};
use serde_json::{Value, json};
use std::fs;
use std::path::Path;
use std::process::Output;
use std::sync::OnceLock;
use tempfile::TempDir;

/// A fresh folder that holds a shipped photo as `photo` and its bay as `bay.toml`.
struct Shop {
    folder: TempDir,
    photo: String,
    args: Vec<String>,
}

impl Shop {
    fn with(id: &str) -> Self {
        Self::under_name(id, "photo.jpg")
    }

    fn under_name(id: &str, photo: &str) -> Self {
        let folder = tempfile::tempdir().unwrap();
        fs::copy(fixtures().join(format!("shots/{id}.jpg")), folder.path().join(photo)).unwrap();
        fs::copy(fixtures().join(format!("bays/{id}.toml")), folder.path().join("bay.toml")).unwrap();
        // What the manifest gives behind photo, --bay and the bay file.
        let args = cases::prepare(&cases::case(id), folder.path()).args.split_off(3);
        Self { folder, photo: photo.to_owned(), args }
    }

    fn path(&self) -> &Path {
        self.folder.path()
    }

    fn measure(&self, more: &[&str]) -> Run {
        let mut words = vec!["measure", &self.photo, "--bay", "bay.toml"];
        words.extend(self.args.iter().map(String::as_str));
        words.extend(more);
        Run::new(self.path(), &words)
    }

    fn names(&self) -> Vec<String> {
        names(self.path())
    }
}

fn names(folder: &Path) -> Vec<String> {
    let entries = fs::read_dir(folder).unwrap();
    let mut names: Vec<String> =
        entries.map(|entry| entry.unwrap().file_name().to_string_lossy().into_owned()).collect();
    names.sort();
    names
}

/// What one run gave; printed whole when a check fails.
#[derive(Debug)]
struct Run {
    #[expect(dead_code, reason = "shown when a check fails")]
    words: Vec<String>,
    #[expect(dead_code, reason = "shown when a check fails")]
    listing: Vec<String>,
    status: i32,
    stdout: String,
    stderr: String,
}

impl Run {
    fn new(folder: &Path, words: &[&str]) -> Self {
        let Output { status, stdout, stderr } = run(folder, words);
        Self {
            words: words.iter().map(|word| (*word).to_owned()).collect(),
            listing: names(folder),
            status: status.code().unwrap_or(-1),
            stdout: String::from_utf8(stdout).unwrap(),
            stderr: String::from_utf8(stderr).unwrap(),
        }
    }

    fn json(&self) -> Value {
        serde_json::from_str(&self.stdout).unwrap_or_else(|error| panic!("no JSON: {error}\n{self:#?}"))
    }
}

/// One measured lamp, too low: shared, because every run takes a second or more.
fn clean() -> &'static (Run, Value) {
    static CLEAN: OnceLock<(Run, Value)> = OnceLock::new();
    CLEAN.get_or_init(|| {
        let shop = Shop::with("shot-clean");
        let run = shop.measure(&["--json", "out.json"]);
        assert_eq!(shop.names(), ["bay.toml", "out.json", "photo.jpg"], "{run:#?}");
        let reading = serde_json::from_slice(&fs::read(shop.path().join("out.json")).unwrap()).unwrap();
        (run, reading)
    })
}

/// One refused photo.
fn refused() -> &'static Run {
    static REFUSED: OnceLock<Run> = OnceLock::new();
    REFUSED.get_or_init(|| Shop::with("shot-one-mark-missing").measure(&["--json", "-"]))
}

/// Shape of a value: what it must be, with `?` where it may be null.
fn check(value: &Value, shape: &str, at: &str) {
    let (shape, may_be_null) = shape.strip_suffix('?').map_or((shape, false), |shape| (shape, true));
    let fits = match shape {
        "number" => value.as_f64().is_some_and(f64::is_finite),
        "integer" => value.as_i64().is_some(),
        "text" => value.is_string(),
        "bool" => value.is_boolean(),
        "list" => value.is_array(),
        "object" => value.is_object(),
        one_of => value.as_str().is_some_and(|text| one_of.split('|').any(|word| word == text)),
    };
    assert!(fits || (may_be_null && value.is_null()), "{at}: {value} is no {shape}");
}

fn check_fields(value: &Value, fields: &[(&str, &str)], at: &str) {
    for (name, shape) in fields {
        let field = value.get(name).unwrap_or_else(|| panic!("{at}.{name} is not there: {value:#}"));
        check(field, shape, &format!("{at}.{name}"));
    }
}

/// The fields that the reading's schema promises, measured or refused.
fn check_reading(reading: &Value) {
    check_fields(
        reading,
        &[
            ("schema", "lampwright/reading/1"),
            ("status", "measured|refused"),
            ("software", "object"),
            ("photo", "object"),
            ("marks", "object"),
            ("features", "object?"),
            ("budget", "object"),
            ("verdict", "object?"),
            ("advice", "object?"),
            ("flags", "list"),
        ],
        "reading",
    );
    check_fields(&reading["software"], &[("name", "lampwright"), ("version", "text"), ("commit", "text")], "software");
    let photo = [("file", "text"), ("sha256", "text"), ("width", "integer"), ("height", "integer")];
    check_fields(&reading["photo"], &photo, "photo");
    check_fields(&reading["marks"], &[("found", "list"), ("rms_px", "number?"), ("rms_mm", "number?")], "marks");
    for flag in reading["flags"].as_array().unwrap() {
        check_fields(flag, &[("code", "text"), ("severity", "info|warning|refusal"), ("text", "text")], "flag");
    }
}

fn check_measured(reading: &Value) {
    let features = &reading["features"];
    let optional = ["cutoff", "elbow", "rise", "hot_spot", "bright_zone"].map(|name| (name, "object?"));
    check_fields(features, &optional, "features");
    let cutoff = [
        ("v_deg", "number"),
        ("u_deg", "number"),
        ("scan_h_deg", "number"),
        ("sharpness_g", "number"),
        ("tilt_deg", "number"),
    ];
    check_fields(&features["cutoff"], &cutoff, "cutoff");
    let place = [("h_deg", "number"), ("u_h_deg", "number"), ("v_deg", "number"), ("u_v_deg", "number")];
    check_fields(&features["elbow"], &place, "elbow");
    check_fields(&features["rise"], &[("angle_deg", "number"), ("u_deg", "number")], "rise");
    check_fields(&features["hot_spot"], &[&place[..], &[("clipped", "bool")]].concat(), "hot_spot");
    for (name, parts) in reading["budget"].as_object().unwrap() {
        for part in parts.as_array().unwrap() {
            check_fields(part, &[("part", "text"), ("u_deg", "number")], name);
        }
    }
    let verdict = &reading["verdict"];
    check_fields(verdict, &[("rules", "text"), ("overall", "pass|fail|borderline|none")], "verdict");
    let advice = &reading["advice"];
    check(&advice["steps"], "list", "advice.steps");
    for (axis, directions) in [("vertical", "up|down|none"), ("horizontal", "left|right|none")] {
        let judged = [
            ("value_deg", "number"),
            ("u_deg", "number"),
            ("nominal_deg", "number?"),
            ("lower_deg", "number?"),
            ("upper_deg", "number?"),
            ("result", "pass|fail|borderline"),
        ];
        check_fields(&verdict[axis], &judged, axis);
        let advised = [
            ("beam_must_move", directions),
            ("by_deg", "number"),
            ("by_mm_at_wall", "number"),
            ("screw", "text?"),
            ("turn", "clockwise|counterclockwise|none|unknown"),
            ("turns", "number?"),
        ];
        check_fields(&advice[axis], &advised, axis);
    }
}

#[test]
fn a_failed_lamp_ends_with_status_1_and_the_promised_json() {
    let (run, reading) = clean();
    assert_eq!(run.status, 1, "{run:#?}");
    assert!(run.stdout.contains("FAIL") && run.stderr.is_empty(), "{run:#?}");
    check_reading(reading);
    check_measured(reading);
    assert_eq!(reading["status"], "measured");
    assert_eq!(reading["marks"]["found"], json!([6, 7, 10, 11]));
    assert_eq!(reading["verdict"]["overall"], "fail");
    assert_eq!(reading["advice"]["vertical"]["beam_must_move"], "up", "the lamp is set too low");
    // Parts are k = 1 and independent, u is k = 2: GUM 5.1.2; five decimals each.
    let parts = reading["budget"]["cutoff_v"].as_array().unwrap();
    let square: f64 = parts.iter().map(|part| part["u_deg"].as_f64().unwrap().powi(2)).sum();
    let u = reading["features"]["cutoff"]["u_deg"].as_f64().unwrap();
    assert!((2.0 * square.sqrt() - u).abs() < 1e-4, "budget {}, u {u}", 2.0 * square.sqrt());
}

#[test]
fn a_good_lamp_ends_with_status_0_and_json_alone_on_standard_output() {
    let shop = Shop::with("shot-displaced-mark");
    let run = shop.measure(&["--json", "-"]);
    assert_eq!(run.status, 0, "{run:#?}");
    let reading = run.json();
    check_reading(&reading);
    check_measured(&reading);
    assert_eq!(reading["advice"]["vertical"], json_none(&reading["advice"]["vertical"]));
    assert!(run.stderr.contains("PASS"), "the text goes to standard error: {run:#?}");
    assert_eq!(shop.names(), ["bay.toml", "photo.jpg"], "nothing else is written");
}

/// On pass the advice is to leave the lamp alone.
fn json_none(advice: &Value) -> Value {
    let mut none = advice.clone();
    for (field, value) in [("beam_must_move", json!("none")), ("by_deg", json!(0.0)), ("turn", json!("none"))] {
        none[field] = value;
    }
    none
}

#[test]
fn a_refused_photo_ends_with_status_3_and_nulls() {
    let run = refused();
    assert_eq!(run.status, 3, "{run:#?}");
    let reading = run.json();
    check_reading(&reading);
    assert_eq!(reading["status"], "refused");
    assert_eq!([&reading["features"], &reading["verdict"], &reading["advice"]], [&Value::Null; 3]);
    assert_eq!(reading["marks"]["found"].as_array().unwrap().len(), 3);
    assert_eq!(
        (&reading["flags"][0]["code"], &reading["flags"][0]["severity"]),
        (&json!("marks-missing"), &json!("refusal"))
    );
    assert!(run.stderr.contains("Do:"), "says what to do: {run:#?}");
}

#[test]
fn usage_and_file_errors_end_with_status_2_a_hint_and_no_file() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    fs::copy(fixtures().join("bays/shot-clean.toml"), at.join("bay.toml")).unwrap();
    fs::write(at.join("empty.jpg"), b"").unwrap();
    fs::write(at.join("text.jpg"), b"this is no picture at all, whatever its name says").unwrap();
    fs::write(at.join("broken.toml"), b"schema = \"lampwright/bay/1\"\nid = ").unwrap();
    let before = names(at);
    let cases = [
        ("measure none.jpg --bay bay.toml --lamp left --height-mm 700", "none.jpg: cannot be read"),
        ("measure . --bay bay.toml --lamp left --height-mm 700", "is no file"),
        ("measure empty.jpg --bay bay.toml --lamp left --height-mm 700", "empty.jpg"),
        ("measure text.jpg --bay bay.toml --lamp left --height-mm 700", "text.jpg"),
        ("measure text.jpg --bay none.toml --lamp left --height-mm 700", "none.toml: cannot be read"),
        ("measure text.jpg --bay broken.toml --lamp left --height-mm 700", "broken.toml"),
        ("measure text.jpg --bay bay.toml --lamp left --height-mm 7", "--height-mm 7: need 100 to 3000"),
    ];
    for (line, expected) in cases {
        let mut words: Vec<&str> = line.split(' ').collect();
        words.extend(["--json", "out.json", "--annotated", "out.png"]);
        let run = Run::new(at, &words);
        assert_eq!(run.status, 2, "{run:#?}");
        assert!(run.stderr.contains(expected) && run.stderr.contains("\nhint: "), "need \"{expected}\": {run:#?}");
        assert!(run.stdout.is_empty() && names(at) == before, "nothing is written: {run:#?}");
    }
    for line in ["measure", "measure text.jpg --bay bay.toml --lamp middle --height-mm 700", "turn"] {
        let run = Run::new(at, &line.split(' ').collect::<Vec<_>>());
        assert_eq!(run.status, 2, "{run:#?}");
        assert!(!run.stderr.is_empty() && run.stdout.is_empty(), "{run:#?}");
    }
}

#[test]
fn help_ends_with_status_0_and_carries_the_cautions() {
    let folder = tempfile::tempdir().unwrap();
    for line in ["--help", "measure --help"] {
        let run = Run::new(folder.path(), &line.split(' ').collect::<Vec<_>>());
        assert_eq!(run.status, 0, "{run:#?}");
        assert!(run.stdout.contains("Do not look into the beam") && run.stdout.contains("Exit status"), "{run:#?}");
    }
}

#[test]
fn a_wrong_extension_is_noticed_and_read_by_content() {
    let run = Shop::under_name("shot-one-mark-missing", "photo.png").measure(&["--json", "-"]);
    let has_flag =
        |reading: &Value| reading["flags"].as_array().unwrap().iter().any(|flag| flag["code"] == "wrong-extension");
    assert_eq!(run.status, 3, "{run:#?}");
    assert!(has_flag(&run.json()), "{run:#?}");
    assert!(!has_flag(&refused().json()), "the right extension is not flagged");
}

#[test]
fn the_same_photo_gives_the_same_bytes() {
    let run = Shop::with("shot-one-mark-missing").measure(&["--json", "-"]);
    assert_eq!(run.stdout, refused().stdout);
    let again = Shop::with("shot-clean").measure(&["--json", "out.json"]);
    assert_eq!(again.stdout, clean().0.stdout);
}

/// Every number of the features and its name.
fn numbers(value: &Value, name: &str, found: &mut Vec<(String, f64)>) {
    match value {
        Value::Object(fields) => fields.iter().for_each(|(key, field)| numbers(field, &format!("{name}.{key}"), found)),
        Value::Number(number) => found.push((name.to_owned(), number.as_f64().unwrap())),
        _ => {}
    }
}

fn assert_same(first: &Value, second: &Value, tolerance_deg: f64) {
    let (mut a, mut b) = (Vec::new(), Vec::new());
    numbers(first, "", &mut a);
    numbers(second, "", &mut b);
    assert_eq!(a.len(), b.len(), "{first:#}\n{second:#}");
    for ((name, x), (_, y)) in a.iter().zip(&b) {
        assert!((x - y).abs() <= tolerance_deg, "{name}: {x} and {y}");
    }
}

#[test]
fn the_order_of_marks_in_the_bay_file_does_not_matter() {
    let shop = Shop::with("shot-clean");
    let text = fs::read_to_string(shop.path().join("bay.toml")).unwrap();
    let mut parts: Vec<&str> = text.split("[[marks]]").collect();
    let head = parts.remove(0);
    parts.reverse();
    assert_eq!(parts.len(), 4);
    let turned = parts
        .iter()
        .fold(format!("{}\n", head.trim_end()), |text, part| format!("{text}\n[[marks]]{}\n", part.trim_end()));
    fs::write(shop.path().join("bay.toml"), turned).unwrap();
    let reading = shop.measure(&["--json", "-"]).json();
    // Sums run in another order: the last of five decimals may turn.
    assert_same(&clean().1["features"], &reading["features"], 2e-5);
}

/// The photo upright as another program turns it, as PNG.
fn upright_png(photo: &Path, png: &Path) {
    let mut decoder = ImageReader::open(photo).unwrap().with_guessed_format().unwrap().into_decoder().unwrap();
    let orientation = decoder.orientation().unwrap();
    assert_ne!(orientation, image::metadata::Orientation::NoTransforms, "the photo is stored turned");
    let mut picture = DynamicImage::from_decoder(decoder).unwrap();
    picture.apply_orientation(orientation);
    picture.save(png).unwrap();
}

#[test]
fn a_photo_turned_by_exif_reads_as_the_upright_picture() {
    let shop = Shop::with("shot-displaced-mark");
    let turned = shop.measure(&["--json", "-"]).json();
    upright_png(&shop.path().join("photo.jpg"), &shop.path().join("upright.png"));
    let upright = Shop { photo: "upright.png".to_owned(), ..shop };
    let upright = upright.measure(&["--json", "-"]).json();
    for field in ["width", "height"] {
        assert_eq!(turned["photo"][field], upright["photo"][field], "upright size");
    }
    // The PNG carries no EXIF data, so the uncertainties may differ by the lens's share; the values may not.
    for (feature, names) in
        [("cutoff", &["v_deg"][..]), ("elbow", &["h_deg", "v_deg"]), ("hot_spot", &["h_deg", "v_deg"])]
    {
        for name in names {
            let [a, b] = [&turned, &upright].map(|reading| reading["features"][feature][name].as_f64().unwrap());
            assert!((a - b).abs() < 1e-3, "{feature} {name}: {a} turned by EXIF, {b} upright");
        }
    }
}

/// Values of the features that both readings hold, in degrees.
fn values(reading: &Value) -> Vec<(String, f64)> {
    let names = [("cutoff", &["v_deg"][..]), ("elbow", &["h_deg", "v_deg"]), ("hot_spot", &["h_deg", "v_deg"])];
    let all = names.into_iter().flat_map(|(feature, names)| names.iter().map(move |name| (feature, *name)));
    all.map(|(feature, name)| (format!("{feature} {name}"), reading["features"][feature][name].as_f64().unwrap()))
        .collect()
}

/// Another program writes the samples as 16 bits; the codes are the same.
#[test]
fn a_16_bit_png_reads_as_the_photo_it_was_made_from() {
    let shop = Shop::with("shot-clean");
    let picture = image::open(shop.path().join("photo.jpg")).unwrap();
    picture.to_rgb8().save(shop.path().join("eight.png")).unwrap();
    DynamicImage::ImageRgb16(picture.to_rgb16()).save(shop.path().join("sixteen.png")).unwrap();
    let sixteen = Shop { photo: "sixteen.png".to_owned(), ..shop };
    let reading = sixteen.measure(&["--json", "-"]).json();
    let eight = Shop { photo: "eight.png".to_owned(), ..sixteen };
    let wanted = eight.measure(&["--json", "-"]).json();
    assert_eq!(reading["photo"]["format"], "png");
    for ((name, found), (_, wanted)) in values(&reading).iter().zip(&values(&wanted)) {
        // Rounding of single numbers on two paths through the same light.
        assert!((found - wanted).abs() < 1e-4, "{name}: {found} of 16 bits, {wanted} of 8");
    }
}

/// A shipped shot that libheif's encoder wrote at half its size, as tiles and turned by the container, is the same beam.
#[cfg(feature = "heic")]
#[test]
fn a_heic_photo_is_measured_upright() {
    let shop = Shop::with("shot-displaced-mark");
    let jpeg = shop.measure(&["--json", "-"]).json();
    fs::copy(fixtures().join("outside/photo/turned-shot.heic"), shop.path().join("IMG_1.HEIC")).unwrap();
    let shop = Shop { photo: "IMG_1.HEIC".to_owned(), ..shop };
    let heic = shop.measure(&["--json", "-"]).json();
    assert_eq!(heic["photo"]["format"], "heic");
    assert_eq!(heic["photo"]["orientation"], jpeg["photo"]["orientation"]);
    for side in ["width", "height"] {
        assert_eq!(2 * heic["photo"][side].as_u64().unwrap(), jpeg["photo"][side].as_u64().unwrap());
    }
    for field in ["exposure_s", "iso", "focal_35mm", "captured"] {
        assert_eq!(heic["photo"][field], jpeg["photo"][field], "{field}");
    }
    // Halved: places of the sensor's pixels, which a turn lost or done twice would swap.
    let places = |reading: &Value| reading["marks"]["places"].as_array().unwrap().clone();
    assert_eq!(places(&heic).len(), 5);
    for (found, wanted) in places(&heic).iter().zip(&places(&jpeg)) {
        assert_eq!(found["id"], wanted["id"]);
        for axis in ["x_px", "y_px"] {
            let (found, wanted) = (found[axis].as_f64().unwrap(), wanted[axis].as_f64().unwrap());
            // Both find a mark to a few tenths of their own pixels.
            assert!((2.0 * found - wanted).abs() < 1.0, "{axis}: {found} of HEIC, {wanted} of JPEG");
        }
    }
    for ((name, found), (_, wanted)) in values(&heic).iter().zip(&values(&jpeg)) {
        let (feature, axis) = name.split_once(' ').unwrap();
        let u = ["u_deg", "u_h_deg", "u_v_deg"].map(|u| heic["features"][feature][u].as_f64());
        let u = if axis == "h_deg" { u[1] } else { u[0].or(u[2]) }.unwrap();
        // One standard uncertainty, and not two readings' together: what the set-up adds to it is the same in both. The
        // rest is pixels twice as coarse, coded by another encoder.
        assert!((found - wanted).abs() < u, "{name}: {found} of HEIC, {wanted} of JPEG, u {u}");
    }
}

/// A HEIC that is cut is one error and exit status 2, as any other photo.
#[test]
fn a_cut_heic_is_one_error() {
    let shop = Shop::with("shot-displaced-mark");
    let whole = fs::read(fixtures().join("outside/photo/turned-shot.heic")).unwrap();
    fs::write(shop.path().join("IMG_1.HEIC"), &whole[..whole.len() * 6 / 10]).unwrap();
    let shop = Shop { photo: "IMG_1.HEIC".to_owned(), ..shop };
    let run = shop.measure(&["--json", "-"]);
    assert_eq!((run.status, run.stdout.as_str()), (2, ""), "{run:#?}");
    assert!(run.stderr.contains(if cfg!(feature = "heic") { "photo incomplete" } else { "set the camera to JPEG" }));
}

#[test]
fn the_annotated_picture_is_written_in_the_format_of_its_name() {
    let shop = Shop::with("shot-clean");
    for (name, format) in [("beam.jpg", image::ImageFormat::Jpeg), ("beam.png", image::ImageFormat::Png)] {
        let run = shop.measure(&["--annotated", name]);
        let bytes = fs::read(shop.path().join(name)).unwrap_or_else(|error| panic!("{name}: {error}\n{run:#?}"));
        assert_eq!(image::guess_format(&bytes).unwrap(), format);
        assert!(image::load_from_memory(&bytes).is_ok(), "{name} decodes");
    }
}

/// The README's first command, as printed there, from the project's folder; the picture goes elsewhere.
#[test]
fn the_first_command_of_the_readme_works() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let readme = fs::read_to_string(root.join("README.md")).unwrap();
    let prefix = "cargo run --release -- ";
    let line = readme.lines().find_map(|line| line.strip_prefix(prefix)).expect("a command in README.md");
    let folder = tempfile::tempdir().unwrap();
    let picture = path_text(&folder.path().join("beam.jpg"));
    let words: Vec<&str> = line.split(' ').map(|word| if word == "beam.jpg" { &picture } else { word }).collect();
    assert!(words.contains(&picture.as_str()) && words.contains(&"--screws"), "{line}");
    let run = Run::new(root, &words);
    assert_eq!(run.status, 1, "{run:#?}");
    assert!(run.stdout.contains("screw \"top\" clockwise"), "{run:#?}");
}

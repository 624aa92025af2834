//! What is fuzzed: each target is one function of bytes, an error being as good as a success.

use crate::mutate::{Kind, Mutator};
use crate::pictures::{files, jpeg, root, shots};
use clap::Parser;
use image::{Rgb, RgbImage};
use lampwright::cli::{Cli, Command, PhotoFile, Plan, batch, drive};
use lampwright::photo::{DecodeOptions, decode};
use lampwright::{aim, bay, camera, kit, options};
use std::fs;
use std::sync::LazyLock;

/// A target.
pub(crate) struct Target {
    pub(crate) name: &'static str,
    pub(crate) kind: Kind,
    /// Whether one input takes a good part of a second.
    pub(crate) is_slow: bool,
    /// Inputs to start from.
    pub(crate) seeds: fn() -> Vec<Vec<u8>>,
    /// Runs it; an `Err` is a finding.
    pub(crate) run: fn(&[u8]) -> Result<(), String>,
}

const fn text(name: &'static str, seeds: fn() -> Vec<Vec<u8>>, run: fn(&[u8]) -> Result<(), String>) -> Target {
    Target { name, kind: Kind::Text, is_slow: false, seeds, run }
}

const fn binary(name: &'static str, seeds: fn() -> Vec<Vec<u8>>, run: fn(&[u8]) -> Result<(), String>) -> Target {
    Target { name, kind: Kind::Binary, is_slow: false, seeds, run }
}

pub(crate) const TARGETS: &[Target] = &[
    binary("decode", || files("fixtures/outside/photo", &["jpg", "png", "heic"]), decode_any),
    binary("exif", exif_seeds, exif_in_both),
    text(
        "bay",
        || files("calib/bays", &["toml"]),
        |input| {
            parsed(input, |text| bay::Bay::parse(text, "x"))?;
            parsed(input, |text| kit::survey::Survey::parse(text, "x"))
        },
    ),
    text("screws", || files("calib/screws", &["toml"]), |input| parsed(input, |text| aim::Screws::parse(text, "x"))),
    text("lens", lens_seeds, lens),
    text("rules", || files("calib/rules", &["toml"]), |input| parsed(input, |text| aim::Rule::parse(text, "x"))),
    text("options", options_seeds, |input| parsed(input, |text| options::Options::parse(text, "x"))),
    text("jobs", jobs_seeds, jobs),
    text("log", log_seeds, |input| parsed(input, |text| kit::control_log::parse(text, "x"))),
    Target { name: "set-up", kind: Kind::Text, is_slow: true, seeds: set_up_seeds, run: set_up },
    Target { name: "measure", kind: Kind::Binary, is_slow: true, seeds: measure_seeds, run: measured },
    Target { name: "picture", kind: Kind::Binary, is_slow: true, seeds: picture_seeds, run: picture },
];

/// A parser of texts; whatever it says, it says it in words.
fn parsed<T>(input: &[u8], parse: impl Fn(&str) -> Result<T, lampwright::error::Error>) -> Result<(), String> {
    match parse(&String::from_utf8_lossy(input)) {
        Err(said) if said.to_string().trim().is_empty() => Err("an error without a word".to_owned()),
        _ => Ok(()),
    }
}

fn decode_any(input: &[u8]) -> Result<(), String> {
    let options = DecodeOptions {
        min_pixels: 1,
        max_pixels: 4 << 20,
        max_progressive_pixels: 4 << 20,
        ..DecodeOptions::default()
    };
    if let Ok(photo) = decode(input, "a.jpg", &options) {
        let last = photo.rgb_code(photo.width() - 1, photo.height() - 1);
        if !last.iter().all(|code| code.is_finite()) {
            return Err(format!("the last pixel is {last:?}"));
        }
    }
    Ok(())
}

fn lens_seeds() -> Vec<Vec<u8>> {
    let calibration = "[calibration]\nphotos = 9\nmodel = \"k1k2\"\nrms_px = 0.1\nfocal_35mm = 26.0\n";
    vec![shipped("lens").into_bytes(), (shipped("lens") + calibration).into_bytes()]
}

fn lens(input: &[u8]) -> Result<(), String> {
    let text = String::from_utf8_lossy(input);
    match camera::LensProfile::parse(&text, "x") {
        Ok(profile) if profile.focal_35mm.is_some_and(|focal| !(focal.is_finite() && focal > 0.0)) => {
            Err(format!("focal length {:?}", profile.focal_35mm))
        }
        _ => Ok(()),
    }
}

/// Blocks as cameras write them: a few tags, an Exif directory, a thumbnail's directory.
fn exif_seeds() -> Vec<Vec<u8>> {
    let entry = |tag: u16, kind: u16, count: u32, value: u32| {
        [&tag.to_le_bytes()[..], &kind.to_le_bytes(), &count.to_le_bytes(), &value.to_le_bytes()].concat()
    };
    let directory = |entries: &[Vec<u8>], next: u32| {
        [&(entries.len() as u16).to_le_bytes()[..], &entries.concat(), &next.to_le_bytes()].concat()
    };
    let first = directory(&[entry(0x0112, 3, 1, 6), entry(0x8769, 4, 1, 38)], 0);
    let second = [
        entry(0x829A, 5, 1, 128),
        entry(0x829D, 5, 1, 136),
        entry(0x8827, 3, 1, 100),
        entry(0x9003, 2, 20, 144),
        entry(0xA405, 3, 1, 26),
        entry(0x9011, 2, 7, 164),
        entry(0x920A, 5, 1, 128),
    ];
    let values =
        [&[1, 0, 0, 0, 50, 0, 0, 0][..], &[18, 0, 0, 0, 10, 0, 0, 0], b"2026:03:14 21:00:00\0", b"+01:00\0"].concat();
    let whole = [&b"II*\0\x08\0\0\0"[..], &first, &directory(&second, 0), &values].concat();
    vec![whole.clone(), [&b"MM\0*\0\0\0\x08"[..], &whole[8..]].concat()]
}

fn exif_in_both(input: &[u8]) -> Result<(), String> {
    static PHOTO: LazyLock<Vec<u8>> =
        LazyLock::new(|| fs::read(root().join("fixtures/outside/photo/baseline-420.jpg")).unwrap());
    let body = [&b"Exif\0\0"[..], &input[..input.len().min(65_000)]].concat();
    let length = (body.len() as u16 + 2).to_be_bytes();
    let file = [&PHOTO[..2], &[0xFF, 0xE1], &length, &body, &PHOTO[2..]].concat();
    let options = DecodeOptions { min_pixels: 1, ..DecodeOptions::default() };
    let photo = decode(&file, "a.jpg", &options).map_err(|error| format!("Exif made a photo unreadable: {error}"))?;
    let shot = &photo.shot;
    let all = [shot.exposure_s, shot.f_number, shot.focal_35mm, shot.focal_mm];
    if all.into_iter().flatten().any(|number| !(number.is_finite() && number > 0.0)) {
        return Err(format!("{shot:?}"));
    }
    Ok(())
}

fn options_seeds() -> Vec<Vec<u8>> {
    let keys = options::Options::default().values();
    let text: String = keys.iter().fold(String::new(), |text, (key, value)| text + &format!("{key} = {value:?}\n"));
    vec![format!("schema = \"lampwright/options/1\"\n{text}").into_bytes()]
}

fn jobs_seeds() -> Vec<Vec<u8>> {
    let rows = "a.jpg,bay.toml,left,650,-1.3,0=1,2;1=3,4\nb.png,bay.toml,right,700,,\n\"c,1.jpg\",x.toml,left,1e3,0,\"a\"\"b\"\n";
    vec![
        format!("file,bay,lamp,height_mm,nominal-percent,mark\n{rows}").into_bytes(),
        format!("\u{feff}file;bay;lamp;height_mm\r\n{rows}").into_bytes(),
        b"photo,bay,lamp,height_mm,beam,pattern,units,rules,traffic,bracket\na,b,left,1,fog,flat,mm,un-r112-lab,left,c;d\n".to_vec(),
    ]
}

/// A table of jobs whose photos are not there, through `batch` itself.
fn jobs(input: &[u8]) -> Result<(), String> {
    // A column may name a file to write.
    let text = String::from_utf8_lossy(input);
    if ["annotated", "trace", "/", ".."].iter().any(|word| text.contains(word)) {
        return Ok(());
    }
    let folder = tempfile::tempdir().map_err(|error| error.to_string())?;
    let list = folder.path().join("jobs.csv");
    fs::write(&list, input).map_err(|error| error.to_string())?;
    fs::copy(root().join("calib/bays/demo.bay.toml"), folder.path().join("bay.toml"))
        .map_err(|error| error.to_string())?;
    let words = ["lampwright", "batch", list.to_str().unwrap_or_default(), "--threads", "1"];
    let Ok(Command::Batch(args)) = Cli::try_parse_from(words).map(|cli| cli.command) else {
        return Err("not the batch command".to_owned());
    };
    let mut lines = Vec::new();
    if batch::run(&args, &mut lines).is_ok() {
        for (row, line) in (1..).zip(String::from_utf8_lossy(&lines).lines()) {
            let line: serde_json::Value = serde_json::from_str(line).map_err(|error| format!("{error}: {line}"))?;
            let said = line["error"]["found"].as_str().unwrap_or_default();
            if line["row"] != row || said.contains("broke the program") {
                return Err(format!("row {row}: {line}"));
            }
        }
    }
    Ok(())
}

fn log_seeds() -> Vec<Vec<u8>> {
    vec![kit::control_log::write(&[]).unwrap_or_default().into_bytes(), b"a,b\n1,2\n".to_vec()]
}

fn plan(more: &str, texts: &dyn Fn(&str) -> String) -> Result<Plan, String> {
    let line = format!("lampwright measure a.jpg --bay bay --lamp right --height-mm 699 --offset-mm 571 {more}");
    let Command::Measure(args) =
        Cli::try_parse_from(line.split_whitespace()).map_err(|error| error.to_string())?.command
    else {
        return Err("not the measure command".to_owned());
    };
    let text = |_: lampwright::cli::plan::Input, path: &std::path::Path| Ok(texts(&path.display().to_string()));
    Plan::with(&args, Vec::new(), &text).map_err(|error| error.to_string())
}

fn shipped(name: &str) -> String {
    let path = match name {
        "bay" => "fixtures/bays/shot-clean.toml",
        "bay-quadrants" => "fixtures/bays/shot-quadrant-marks.toml",
        "screws" => "calib/screws/two-screws.screws.toml",
        "lens" => "calib/lenses/example.lens.toml",
        _ => "calib/rules/shop-check.toml",
    };
    fs::read_to_string(root().join(path)).unwrap_or_default()
}

/// Measures and writes the reading; a number that is none, or an answer that is no JSON, is a finding.
fn driven(plan: &Plan, bytes: Vec<u8>) -> Result<(), String> {
    let photo = PhotoFile { name: "a.jpg".to_owned(), bytes };
    let photos = lampwright::cli::measure::PhotoFiles { photo, marks: None, ambient: None, bracket: Vec::new() };
    let Ok(produced) = drive::drive(plan, &photos) else { return Ok(()) };
    let json = produced.reading.to_json().map_err(|error| error.to_string())?;
    let value: serde_json::Value = serde_json::from_str(&json).map_err(|error| error.to_string())?;
    let text = lampwright::reading::to_text(&produced.reading, plan.units);
    let is_odd = ["NaN", "inf ", "inf°"].iter().any(|word| text.contains(word));
    if is_odd || value["status"].is_null() {
        return Err(format!("said: {text}"));
    }
    Ok(())
}

/// Bay, screws, lens and rule, one after another in one text, parted by lines of `%`.
fn set_up_seeds() -> Vec<Vec<u8>> {
    // Made before the first input's time is taken.
    LazyLock::force(&PHOTOS);
    let whole = |bay: &str| [bay, "screws", "lens", "rule"].map(shipped).join("\n%\n").into_bytes();
    vec![whole("bay"), whole("bay-quadrants")]
}

/// The photos of the set-ups.
static PHOTOS: LazyLock<Vec<Vec<u8>>> = LazyLock::new(|| shots().iter().map(|shot| jpeg(shot, 90)).collect());

fn set_up(input: &[u8]) -> Result<(), String> {
    let text = String::from_utf8_lossy(input).into_owned();
    let parts: Vec<&str> = text.split("\n%\n").collect();
    let part = |name: &str| {
        let place = ["bay", "screws", "lens", "rule"].iter().position(|own| *own == name).unwrap_or(3);
        parts.get(place).copied().unwrap_or_default().to_owned()
    };
    let picks = input.len() + usize::from(input.get(input.len() / 2).copied().unwrap_or(0));
    let more = ["", "--beam high", "--beam fog", "--pattern left-cutoff", "--traffic left", "--lens lens"][picks % 6];
    let Ok(plan) = plan(&format!("--screws screws --rules rule {more}"), &part) else { return Ok(()) };
    let photo = if text.contains("\"quadrant\"") { &PHOTOS[1] } else { &PHOTOS[0] };
    driven(&plan, photo.clone())
}

fn measure_seeds() -> Vec<Vec<u8>> {
    shots().iter().flat_map(|shot| [jpeg(shot, 90), jpeg(shot, 50)]).collect()
}

/// A file as it came, against both bays.
fn measured(input: &[u8]) -> Result<(), String> {
    let bay = if input.len().is_multiple_of(2) { "bay" } else { "bay-quadrants" };
    driven(
        &plan("--rules rule --screws screws", &|name| shipped(if name == "bay" { bay } else { name }))?,
        input.to_vec(),
    )
}

fn picture_seeds() -> Vec<Vec<u8>> {
    // Made before the first input's time is taken.
    shots();
    (0..64_u64).map(|number| number.to_le_bytes().to_vec()).collect()
}

/// A whole picture made odd in its pixels: the bytes are a seed.
fn picture(input: &[u8]) -> Result<(), String> {
    let seed = input.iter().fold(0_u64, |sum, byte| sum.wrapping_mul(257).wrapping_add(u64::from(*byte)));
    let mut random = Mutator::new(seed);
    let which = random.below(2);
    let mut picture = shots()[which].clone();
    for _ in 0..=random.below(4) {
        change_picture(&mut picture, &mut random);
    }
    let bay = ["bay", "bay-quadrants"][which];
    let more = ["", "--beam high", "--beam fog", "--pattern left-cutoff", "--pattern right-cutoff", "--traffic left"];
    let more = format!("--rules rule --screws screws {}", random.pick(&more));
    driven(&plan(&more, &|name| shipped(if name == "bay" { bay } else { name }))?, jpeg(&picture, 95))
}

fn change_picture(picture: &mut RgbImage, random: &mut Mutator) {
    let (width, height) = picture.dimensions();
    let (x0, y0) = (random.below(width as usize) as u32, random.below(height as usize) as u32);
    let (x1, y1) =
        (x0 + random.below((width - x0) as usize + 1) as u32, y0 + random.below((height - y0) as usize + 1) as u32);
    let inside = |x: u32, y: u32| (x0..x1).contains(&x) && (y0..y1).contains(&y);
    let code = random.below(256) as u8;
    let choice = random.below(9);
    let factor = 0.1 + 0.1 * random.below(60) as f64;
    let old = picture.clone();
    for (x, y, pixel) in picture.enumerate_pixels_mut() {
        let mapped = |f: &dyn Fn(u8) -> u8| Rgb(pixel.0.map(f));
        *pixel = match choice {
            // A patch, a patch from elsewhere, noise in a patch.
            0 if inside(x, y) => Rgb([code; 3]),
            1 if inside(x, y) => *old.get_pixel(width - 1 - x, height - 1 - y),
            2 if inside(x, y) => Rgb([random.below(256) as u8; 3]),
            // Darker, brighter, inverted, few levels.
            3 => mapped(&|code| (f64::from(code) * factor).min(255.0) as u8),
            4 => mapped(&|code| 255 - code),
            5 => mapped(&|own| own / (1 + code / 2) * (1 + code / 2)),
            // Mirrored, shifted, stripes.
            6 => *old.get_pixel(width - 1 - x, y),
            7 => *old.get_pixel((x + x0) % width, (y + y0) % height),
            8 if (y / (1 + u32::from(code))) % 2 == 0 => mapped(&|own| own.saturating_add(code / 4)),
            _ => *pixel,
        };
    }
}

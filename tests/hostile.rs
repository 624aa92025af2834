//! The program against files that want to mislead or to exhaust, made here: a clean error or refusal, within two seconds of
//! processor time and 600 MiB, and never a panic. What the decoder alone must withstand stands in `src/photo/hostile_tests.rs`.
//!
//! The limits are the shell's (`ulimit`), so that one that is passed ends the program with a signal: an exit status that no test
//! takes. Processor time, not the clock: the machine may be busy.

#![cfg(target_os = "linux")]
#![allow(clippy::unwrap_used, reason = "a test's helpers must fail loudly, as the tests do")]

mod hostile_files;

use hostile_files as files;
use serde_json::Value;
use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

/// What one file may take, seconds of processor time and KiB of address space.
const SECONDS: u32 = 2;
const LIMIT_KIB: u32 = 600 * 1024;

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// Runs the program in `folder` under the limits; two threads and one arena, so that the address space is what is used.
fn limited(folder: &Path, seconds: u32, words: &[&str]) -> Output {
    Command::new("sh")
        .args(["-c", &format!("ulimit -t {seconds}; ulimit -v {LIMIT_KIB}; exec \"$0\" \"$@\"")])
        .arg(env!("CARGO_BIN_EXE_lampwright"))
        .args(words)
        .current_dir(folder)
        .envs([("RAYON_NUM_THREADS", "2"), ("MALLOC_ARENA_MAX", "1")])
        .output()
        .unwrap()
}

/// A folder with a bay and whatever a test puts beside it.
struct Shop(tempfile::TempDir);

impl Shop {
    fn new() -> Self {
        let folder = tempfile::tempdir().unwrap();
        fs::copy(root().join("fixtures/bays/shot-clean.toml"), folder.path().join("bay.toml")).unwrap();
        Self(folder)
    }

    fn path(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }

    /// Measures; the status is one of `allowed`, and what is said is one clear error or a reading.
    fn measure(&self, photo: &str, more: &[&str], allowed: &[i32]) -> String {
        let mut words = vec!["measure", photo, "--lamp", "right", "--height-mm", "699", "--offset-mm", "571"];
        if !more.contains(&"--bay") {
            words.extend(["--bay", "bay.toml"]);
        }
        words.extend(more);
        let ended = limited(self.0.path(), SECONDS, &words);
        let said = String::from_utf8_lossy(&ended.stderr).into_owned();
        let about = format!("{photo} {more:?}: {:?}\n{said}", ended.status);
        assert!(ended.status.code().is_some_and(|code| allowed.contains(&code)), "{about}");
        assert!(!said.contains("panicked"), "{about}");
        let is_error = ended.status.code() == Some(2);
        assert!(!is_error || said.starts_with("error: ") && said.lines().count() <= 12, "{about}");
        said + &String::from_utf8_lossy(&ended.stdout)
    }
}

/// The yardstick of the others: the small photo is measured, within the limits.
#[test]
fn the_small_photo_itself_is_measured() {
    let shop = Shop::new();
    for (name, bytes) in [("a.jpg", files::jpeg()), ("b.png", files::png(|_| ())), ("c.jpg", files::progressive())] {
        fs::write(shop.path(name), bytes).unwrap();
        shop.measure(name, &[], &[0, 1]);
    }
}

#[test]
fn sides_that_no_camera_has_are_refused_unread() {
    let shop = Shop::new();
    let sizes: [(u32, u32); 6] =
        [(65_500, 65_500), (65_500, 16), (16, 65_500), (65_535, 65_535), (16_384, 16_384), (1, 65_500)];
    for (k, (width, height)) in sizes.into_iter().enumerate() {
        let (jpeg, png) = (format!("{k}.jpg"), format!("{k}.png"));
        fs::write(shop.path(&jpeg), files::with_jpeg_size(&files::jpeg(), width as u16, height as u16)).unwrap();
        fs::write(shop.path(&png), files::with_png_size(width, height)).unwrap();
        for name in [jpeg, png] {
            let said = shop.measure(&name, &[], &[2]);
            assert!(said.contains(&format!("{width} x {height}")), "{said}");
        }
    }
    fs::write(shop.path("max.png"), files::with_png_size(u32::MAX >> 1, u32::MAX >> 1)).unwrap();
    shop.measure("max.png", &[], &[2]);
    // Not only its header: the picture is there.
    fs::write(shop.path("long.jpg"), files::long_strip()).unwrap();
    assert!(shop.measure("long.jpg", &[], &[2]).contains("65500 x 16"));
}

/// Through `batch`: hundreds of programs would take longer than the files.
#[test]
fn a_photo_cut_at_any_percent_is_an_error() {
    let shop = Shop::new();
    let mut table = "file,bay,lamp,height_mm\n".to_owned();
    for (ending, bytes) in [("jpg", files::jpeg()), ("png", files::png(|_| ())), ("jpeg", files::progressive())] {
        for percent in 0..100 {
            let name = format!("{percent}.{ending}");
            fs::write(shop.path(&name), &bytes[..bytes.len() * percent / 100]).unwrap();
            writeln!(table, "{name},bay.toml,right,699").unwrap();
        }
    }
    fs::write(shop.path("jobs.csv"), table).unwrap();
    let ended = limited(shop.0.path(), 30, &["batch", "jobs.csv", "--threads", "2"]);
    assert_eq!(ended.status.code(), Some(2));
    assert!(ended.stderr.is_empty(), "{}", String::from_utf8_lossy(&ended.stderr));
    let said = String::from_utf8(ended.stdout).unwrap();
    assert_eq!(said.lines().count(), 300);
    for line in said.lines() {
        let line: Value = serde_json::from_str(line).unwrap();
        assert_eq!(line["status"], "error", "{line}");
        assert!(!line["error"]["found"].as_str().unwrap().contains("broke"), "{line}");
    }
}

#[test]
fn thousands_of_scans_are_refused_and_a_hundred_dear_ones_too() {
    let shop = Shop::new();
    fs::write(shop.path("many.jpg"), files::many_scans(5000)).unwrap();
    assert!(shop.measure("many.jpg", &[], &[2]).contains("scans"));
    // As many scans and pixels as are allowed one by one, each scan a few hundred bytes.
    fs::write(shop.path("dear.jpg"), files::dear_scans(16_384, 3_104, 99)).unwrap();
    shop.measure("dear.jpg", &[], &[2, 3]);
}

#[test]
fn exif_that_runs_in_circles_costs_its_facts_alone() {
    let shop = Shop::new();
    for (k, exif) in files::circular_exif().into_iter().enumerate() {
        let (jpeg, png) = (format!("{k}.jpg"), format!("{k}.png"));
        fs::write(shop.path(&jpeg), files::with_exif(&files::jpeg(), &exif)).unwrap();
        fs::write(shop.path(&png), files::png(|info| info.exif_metadata = Some(exif.into()))).unwrap();
        shop.measure(&jpeg, &[], &[0, 1]);
        shop.measure(&png, &[], &[0, 1]);
    }
}

#[test]
fn texts_in_a_png_that_swell_are_left_packed() {
    let shop = Shop::new();
    for (name, bytes) in files::png_bombs() {
        assert!(bytes.len() < 8 << 20, "{name}: {} bytes", bytes.len());
        fs::write(shop.path(name), bytes).unwrap();
        shop.measure(name, &[], &[0, 1, 2, 3]);
    }
}

#[test]
fn a_file_of_two_kinds_is_what_its_start_says() {
    let shop = Shop::new();
    let (jpeg, png) = (files::jpeg(), files::png(|_| ()));
    let zip = b"PK\x05\x06\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0";
    let measured: [(&str, Vec<u8>); 5] = [
        ("zip.jpg", [&jpeg[..], zip].concat()),
        ("page.png", [&png[..], b"<html><script>alert(1)</script>"].concat()),
        ("comment.jpg", files::with_segment(&jpeg, 0xFE, b"<?php system($_GET[0]); ?><svg onload=alert(1)>")),
        ("both.jpg", [&jpeg[..], &png].concat()),
        ("is-jpeg.heic", jpeg.clone()),
    ];
    for (name, bytes) in &measured {
        fs::write(shop.path(name), bytes).unwrap();
        shop.measure(name, &[], &[0, 1]);
    }
    let refused: [(&str, Vec<u8>, &str); 8] = [
        ("paper.jpg", [b"%PDF-1.7\n", &jpeg[..]].concat(), "PDF"),
        ("gif.jpg", [b"GIF89a", &jpeg[..]].concat(), "GIF"),
        ("script.jpg", [b"#!/bin/sh\n", &jpeg[..]].concat(), "unknown type"),
        ("page.jpg", b"<!DOCTYPE html><img src=x>".to_vec(), "web page"),
        ("boxes.heic", [&b"\0\0\0\x18ftypheic\0\0\0\0mif1heic"[..], &jpeg].concat(), "photo incomplete"),
        (
            "endless.heic",
            [&b"\0\0\0\x18ftypheic\0\0\0\0mif1heic"[..], &b"\0\0\0\0meta\0\0\0\0".repeat(20_000)].concat(),
            "",
        ),
        ("text.jpg", b"photo".to_vec(), "unknown type"),
        ("empty.png", Vec::new(), "empty"),
    ];
    for (name, bytes, part) in &refused {
        fs::write(shop.path(name), bytes).unwrap();
        let said = shop.measure(name, &[], &[2]);
        assert!(said.contains(part), "{name}: {said}");
    }
    fs::create_dir(shop.path("folder.jpg")).unwrap();
    shop.measure("folder.jpg", &[], &[2]);
    shop.measure("/dev/zero", &[], &[2]);
    fs::write(shop.path("a.jpg"), &jpeg).unwrap();
    for text in ["/dev/zero", "a.jpg", "/proc/self/mem", "."] {
        for flag in ["--bay", "--screws", "--lens", "--response", "--rules", "--options"] {
            shop.measure("a.jpg", &[flag, text], &[2]);
        }
    }
}

/// Every number of every file that a measurement takes, one at a time, as no number at all.
#[test]
fn what_is_no_number_is_named_in_every_file() {
    use lampwright::{aim, bay::Bay, camera, kit::survey::Survey};
    const CALIBRATION: &str =
        "[calibration]\nphotos = 9\nmodel = \"k1k2\"\nrms_px = 0.1\nfocal_35mm = 26.0\nsigma = { fx = 1.0 }\n";
    type Parse = fn(&str) -> Result<(), lampwright::error::Error>;
    let read = |path: &str| fs::read_to_string(root().join(path)).unwrap();
    let response = {
        let light: Vec<f64> = (0..256).map(|code| (f64::from(code) / 255.0).powf(2.2)).collect();
        format!(
            "schema = \"lampwright/response/1\"\nwidth = 4000\nheight = 3000\nfocal_35mm = 26.0\nphotos = 3\nlight = {light:?}\n\
             sigma_ln = {:?}\n",
            [0.01; 256]
        )
    };
    let texts: [(&str, String, Parse); 6] = [
        ("bay", read("calib/bays/demo.bay.toml"), |text| Bay::parse(text, "x").map(drop)),
        ("screws", read("calib/screws/two-screws.screws.toml"), |text| aim::Screws::parse(text, "x").map(drop)),
        ("lens", read("calib/lenses/example.lens.toml") + CALIBRATION, |text| {
            camera::LensProfile::parse(text, "x").map(drop)
        }),
        ("rule", read("calib/rules/shop-check.toml"), |text| aim::Rule::parse(text, "x").map(drop)),
        ("survey", read("calib/bays/demo.survey.toml"), |text| Survey::parse(text, "x").map(drop)),
        ("response", response, |text| camera::ResponseProfile::parse(text, "x").map(drop)),
    ];
    for (kind, text, parse) in &texts {
        parse(text).unwrap();
        let numbers = files::numbers(text);
        assert!(numbers.len() >= 3, "{kind}");
        for path in &numbers {
            for bad in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
                let changed = files::with_number(text, path, bad);
                assert!(parse(&changed).is_err(), "{kind}: {path:?} = {bad} is taken");
            }
            // Whatever is said to these, it is said.
            for odd in [0.0, -0.0, 1e308, -1e308, 5e-324, 9.2e18] {
                let _ = parse(&files::with_number(text, path, odd));
            }
        }
    }
}

/// Each tunable by itself: a file of all of them, once for each, takes longer than it tells.
#[test]
fn no_tunable_is_set_to_what_is_no_number() {
    use lampwright::options::Options;
    for key in Options::default().values().keys() {
        for bad in ["nan", "inf", "-inf", "1e308", "-1e308"] {
            let text = format!("schema = \"lampwright/options/1\"\n{key} = {bad}\n");
            assert!(Options::parse(&text, "x").is_err(), "{key} = {bad} is taken");
        }
    }
}

#[test]
fn a_bay_that_cannot_be_is_an_error_or_a_refusal() {
    let shop = Shop::new();
    fs::write(shop.path("a.jpg"), files::jpeg()).unwrap();
    let good = fs::read_to_string(shop.path("bay.toml")).unwrap();
    let head = &good[..good.find("[[marks]]").unwrap()];
    let mark = |id: usize, x: f64, y: f64| {
        format!("[[marks]]\nkind = \"quadrant\"\nid = {id}\nsize_mm = 160.0\nx_mm = {x:?}\ny_mm = {y:?}\n")
    };
    let marks = |count: usize, place: &dyn Fn(usize) -> (f64, f64)| -> String {
        let each = (0..count).map(|id| {
            let (x, y) = place(id);
            mark(id, x, y)
        });
        head.to_owned() + &each.collect::<String>()
    };
    let changed = |from: &str, to: &str| {
        assert!(good.contains(from));
        good.replace(from, to)
    };
    let errors: [(&str, String); 12] = [
        ("distance 0", changed("distance_mm = 10000.0", "distance_mm = 0")),
        ("distance of a planet", changed("distance_mm = 10000.0", "distance_mm = 1e9")),
        ("distance nan", changed("distance_mm = 10000.0", "distance_mm = nan")),
        ("a mark on a planet", changed("x_mm    = 2271.40", "x_mm = 1e9")),
        ("size 0", changed("size_mm = 170.0", "size_mm = 0")),
        ("size nan", changed("size_mm = 170.0", "size_mm = nan")),
        ("id beyond", changed("id      = 6", "id = 99999999999999999999")),
        ("uncertainty inf", changed("marks_mm      = 0.6", "marks_mm = inf")),
        ("30,000 marks", marks(30_000, &|id| (id as f64, 0.0))),
        ("100,000 marks", marks(100_000, &|id| (id as f64 % 1000.0, 0.0))),
        ("nested", format!("a = {}", "[".repeat(200_000))),
        ("nested tables", format!("{}x = 1", "[a.a.a.a.a.a.a.a]\n".repeat(1000))),
    ];
    for (what, text) in &errors {
        fs::write(shop.path("odd.toml"), text).unwrap();
        let said = shop.measure("a.jpg", &["--bay", "odd.toml"], &[2]);
        assert!(said.contains("odd.toml"), "{what}: {said}");
    }
    let refused: [(&str, String); 6] = [
        ("587 marks", marks(587, &|id| (id as f64 * 10.0 - 3000.0, (id % 7) as f64 * 300.0))),
        ("all in one place", marks(4, &|_| (0.0, 1000.0))),
        ("on one line", marks(6, &|id| (id as f64 * 500.0, 1000.0))),
        ("at the ends of the earth", marks(4, &|id| (1e5 * (id % 2) as f64, 1e5 * (id / 2) as f64))),
        (
            "the real ones in one place",
            good.lines()
                .map(|line| match line.split_once('=') {
                    Some((name, _)) if name.starts_with("x_mm") || name.starts_with("y_mm") => {
                        format!("{name} = 1000.0\n")
                    }
                    _ => format!("{line}\n"),
                })
                .collect(),
        ),
        (
            "tiny marks",
            good.lines()
                .map(|line| match line.split_once('=') {
                    Some((name, _)) if name.starts_with("size_mm") => format!("{name} = 1e-300\n"),
                    _ => format!("{line}\n"),
                })
                .collect(),
        ),
    ];
    for (_, text) in &refused {
        fs::write(shop.path("odd.toml"), text).unwrap();
        shop.measure("a.jpg", &["--bay", "odd.toml"], &[2, 3]);
    }
}

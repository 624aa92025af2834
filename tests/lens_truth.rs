//! Truth: lenses that are known come back, from points with noise, and from rendered photos through the program.

#![allow(
    clippy::unwrap_used,
    clippy::panic,
    clippy::print_stderr,
    reason = "a failed check must stop the test, and each test prints the figures that it judges"
)]

use lampwright::camera::fit::{BoardView, FitModel, fit};
use lampwright::camera::{BoardShape, GreyPicture, Lens, find_board};
use lampwright::scene::{render, sample};
use lampwright::units::PxPoint;
use nalgebra::{Rotation3, Vector2, Vector3};
use std::path::Path;
use std::process::{Command, Output};

const SHAPE: BoardShape = BoardShape { columns: 9, rows: 6, square_mm: 25.0 };

/// Uniform and normal numbers: xorshift64* (Vigna 2016, from memory), Box-Muller.
struct Dice(u64);

impl Dice {
    fn uniform(&mut self, from: f64, to: f64) -> f64 {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        let bits = self.0.wrapping_mul(0x2545_F491_4F6C_DD1D) >> 11;
        from + (to - from) * bits as f64 / (1_u64 << 53) as f64
    }

    fn normal(&mut self) -> f64 {
        (-2.0 * self.uniform(1e-12, 1.0).ln()).sqrt() * self.uniform(0.0, std::f64::consts::TAU).cos()
    }
}

/// Where the board's middle lies, mm, and how it is turned.
struct Shot {
    rotation: Rotation3<f64>,
    middle: Vector3<f64>,
}

impl Shot {
    fn random(dice: &mut Dice) -> Self {
        let rotation =
            Rotation3::from_euler_angles(dice.uniform(-0.6, 0.6), dice.uniform(-0.6, 0.6), dice.uniform(-3.1, 3.1));
        let depth = dice.uniform(240.0, 420.0);
        let middle = Vector3::new(dice.uniform(-0.4, 0.4) * depth, dice.uniform(-0.3, 0.3) * depth, depth);
        Self { rotation, middle }
    }

    /// Board points are counted from the first inner corner; its middle turns in place.
    fn camera(&self, board: Vector2<f64>) -> Vector3<f64> {
        let centred = board - Vector2::new(87.5, 50.0);
        self.rotation * Vector3::new(centred.x, centred.y, 0.0) + self.middle
    }
}

/// The pinhole model with k1 and k2, written out here on its own.
fn place(lens: &Lens, point: Vector3<f64>) -> PxPoint {
    let (x, y) = (point.x / point.z, point.y / point.z);
    let r2 = x * x + y * y;
    let radial = 1.0 + lens.k1 * r2 + lens.k2 * r2 * r2;
    PxPoint::new(lens.cx + lens.fx * x * radial, lens.cy + lens.fy * y * radial)
}

fn known(width: u32, height: u32) -> Lens {
    let focal = 0.76 * f64::from(width);
    Lens { cx: 0.503 * f64::from(width), k1: 0.06, k2: -0.09, ..Lens::pinhole(width, height, focal) }
}

/// Points of ten photos with noise; all inside the picture.
fn views(lens: &Lens, noise_px: f64, dice: &mut Dice) -> Vec<BoardView> {
    let mut views = Vec::new();
    while views.len() < 10 {
        let shot = Shot::random(dice);
        let board = SHAPE.points();
        let places: Vec<PxPoint> = board.iter().map(|point| place(lens, shot.camera(*point))).collect();
        let (width, height) = (f64::from(lens.width), f64::from(lens.height));
        if places.iter().all(|p| p.x > 0.0 && p.y > 0.0 && p.x < width && p.y < height) {
            let noisy = |p: &PxPoint| PxPoint::new(p.x + noise_px * dice.normal(), p.y + noise_px * dice.normal());
            views.push(BoardView { name: "photo".to_owned(), places: places.iter().map(noisy).collect(), board });
        }
    }
    views
}

/// Over many seeds the pulls (error / sigma) have mean 0 and spread 1. 40 seeds of six values: their spread is known to 5 %
/// if they were independent; fx and fy are not, which leaves less: 0.8 to 1.25.
#[test]
fn known_lenses_come_back_within_their_uncertainty() {
    let lens = known(4000, 3000);
    let mut pulls = Vec::new();
    for seed in 1..=40_u64 {
        let mut dice = Dice(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15));
        let found = fit(&views(&lens, 0.2, &mut dice), (4000, 3000), FitModel::K1K2).unwrap();
        // Noise of 0.2 px an axis is 0.283 px as a distance, less what the unknowns take: 66 of 800 readings.
        assert!((found.rms_px - 0.27).abs() < 0.02, "{}", found.rms_px);
        let own = found.lens;
        let pairs = [
            (own.fx, lens.fx),
            (own.fy, lens.fy),
            (own.cx, lens.cx),
            (own.cy, lens.cy),
            (own.k1, lens.k1),
            (own.k2, lens.k2),
        ];
        pulls.extend(pairs.into_iter().zip(found.sigmas).map(|((here, truth), sigma)| (here - truth) / sigma));
    }
    let count = pulls.len() as f64;
    let mean = pulls.iter().sum::<f64>() / count;
    let spread = (pulls.iter().map(|pull| pull * pull).sum::<f64>() / count).sqrt();
    let inside = pulls.iter().filter(|pull| pull.abs() < 2.0).count() as f64 / count;
    eprintln!("mean {mean:.3}, spread {spread:.3}, inside 2 sigma {inside:.3}");
    assert!(mean.abs() < 0.25 && (0.8..1.25).contains(&spread) && inside > 0.9);
}

/// Photos that all look straight at the board fit any focal length.
#[test]
fn photos_from_the_same_side_are_refused() {
    let lens = known(4000, 3000);
    let mut dice = Dice(77);
    let straight = |index: u32| {
        let shot = Shot { rotation: Rotation3::identity(), middle: Vector3::new(0.0, 0.0, 300.0 + f64::from(index)) };
        let mut noisy = |point: &Vector2<f64>| {
            let p = place(&lens, shot.camera(*point));
            PxPoint::new(p.x + 0.2 * dice.normal(), p.y + 0.2 * dice.normal())
        };
        let places = SHAPE.points().iter().map(&mut noisy).collect();
        BoardView { name: format!("{index}"), board: SHAPE.points(), places }
    };
    let views: Vec<BoardView> = (0..9).map(straight).collect();
    let message = fit(&views, (4000, 3000), FitModel::K1).unwrap_err().to_string();
    assert!(message.contains("do not tell") && message.contains("tilt"), "{message}");
    let few = fit(&views[..7], (4000, 3000), FitModel::K1).unwrap_err().to_string();
    assert!(few.contains("7 photos") && few.contains("need 8"), "{few}");
}

/// A photo of the board: rays through places of each pixel meet its plane; uneven light, noise. Pixels at an edge take sixteen
/// places of a rank-1 lattice, no two in one row or column: an edge along the pixels' rows then lies within 1/16 px too.
fn photo(lens: &Lens, shot: &Shot, dice: &mut Dice) -> GreyPicture {
    const PLACES: u32 = 16;
    const CORNERS: [(f64, f64); 4] = [(-0.5, -0.5), (0.5, -0.5), (-0.5, 0.5), (0.5, 0.5)];
    let (width, height) = (lens.width as usize, lens.height as usize);
    let across = shot.rotation.inverse();
    let from = across * -shot.middle;
    let seen = |ray: Vector2<f64>| {
        let direction = across * Vector3::new(ray.x, ray.y, 1.0);
        let on_plane = from - direction * (from.z / direction.z);
        // Squares from the board's upper left: its first inner corner is one square in.
        paint((on_plane.x + 112.5) / 25.0, (on_plane.y + 75.0) / 25.0)
    };
    let mut samples = Vec::with_capacity(width * height);
    for y in 0..height {
        for x in 0..width {
            // Over a pixel a lens's distortion is a plain scale to 1e-4 px.
            let middle = lens.undistort(PxPoint::new(x as f64 + 0.5, y as f64 + 0.5));
            let at = |(dx, dy): (f64, f64)| seen(middle + Vector2::new(dx / lens.fx, dy / lens.fy));
            let corners = CORNERS.map(at);
            let lattice = |n: u32| {
                let share = |n: u32| (f64::from(n % PLACES) + 0.5) / f64::from(PLACES) - 0.5;
                at((share(n), share(7 * n)))
            };
            let is_plain = corners.iter().all(|one| (one - corners[0]).abs() < 0.5);
            let level = if is_plain { corners[0] } else { (0..PLACES).map(lattice).sum::<f64>() / f64::from(PLACES) };
            let light = 0.8 + 0.4 * x as f64 / width as f64;
            samples.push((level * light + 2.0 * dice.normal()).clamp(0.0, 255.0).round() as f32);
        }
    }
    GreyPicture { width, height, samples }
}

/// Brightness at a place of the print, in squares from its upper left; paper and desk around it.
fn paint(column: f64, row: f64) -> f64 {
    const DARK: f64 = 30.0;
    const PAPER: f64 = 190.0;
    const DESK: f64 = 90.0;
    let is_board = (0.0..9.0).contains(&column) && (0.0..6.0).contains(&row);
    let is_paper = (-0.6..9.6).contains(&column) && (-0.6..7.2).contains(&row);
    if is_board && (column.floor() + row.floor()) % 2.0 == 0.0 {
        DARK
    } else if is_board || is_paper {
        PAPER
    } else {
        DESK
    }
}

/// A board whose corners lie inside the picture with some room.
fn inside(lens: &Lens, dice: &mut Dice) -> (Shot, Vec<PxPoint>) {
    loop {
        let shot = Shot::random(dice);
        let truth: Vec<PxPoint> = SHAPE.points().iter().map(|point| place(lens, shot.camera(*point))).collect();
        let (width, height) = (f64::from(lens.width) - 15.0, f64::from(lens.height) - 15.0);
        if truth.iter().all(|p| p.x > 15.0 && p.y > 15.0 && p.x < width && p.y < height) {
            return (shot, truth);
        }
    }
}

/// Noise of 2 of a contrast of 160, 25 to 50 px a square: 0.05 px rms of a corner is 1/500 of a square.
#[test]
fn corners_are_found_whatever_way_the_board_is_turned() {
    let lens = known(640, 480);
    let mut dice = Dice(5);
    for number in 0..6 {
        let (shot, truth) = inside(&lens, &mut dice);
        let found = find_board(&photo(&lens, &shot, &mut dice), &SHAPE).unwrap_or_else(|why| panic!("{number}: {why}"));
        // A board looks the same after half a turn.
        let rms = |order: &mut dyn Iterator<Item = &PxPoint>| {
            (order.zip(&truth).map(|(a, b)| a.distance(*b).powi(2)).sum::<f64>() / truth.len() as f64).sqrt()
        };
        let rms = rms(&mut found.iter()).min(rms(&mut found.iter().rev()));
        eprintln!("photo {number}: {rms:.4} px");
        assert!(rms < 0.05, "photo {number}: {rms} px");
    }
}

#[test]
fn a_board_that_is_partly_outside_or_another_is_refused() {
    let lens = known(640, 480);
    let mut dice = Dice(9);
    let shot = Shot { rotation: Rotation3::identity(), middle: Vector3::new(150.0, 0.0, 330.0) };
    let why = find_board(&photo(&lens, &shot, &mut dice), &SHAPE).unwrap_err();
    assert!(why.contains("of the board's 40 inner corners") && why.contains("outside"), "{why}");
    let shot = Shot { rotation: Rotation3::identity(), middle: Vector3::new(0.0, 0.0, 330.0) };
    let whole = photo(&lens, &shot, &mut dice);
    let smaller = BoardShape { columns: 7, ..SHAPE };
    let why = find_board(&whole, &smaller).unwrap_err();
    assert!(why.contains("more than 6 x 5"), "{why}");
    let larger = BoardShape { columns: 11, ..SHAPE };
    let why = find_board(&whole, &larger).unwrap_err();
    assert!(why.contains("40 of the board's 50"), "{why}");
    let blank = GreyPicture { width: 300, height: 200, samples: vec![100.0; 60_000] };
    assert!(find_board(&blank, &SHAPE).unwrap_err().contains("no checkerboard"));
}

fn save(path: &Path, picture: &GreyPicture) {
    let bytes = picture.samples.iter().map(|sample| *sample as u8).collect();
    image::GrayImage::from_raw(picture.width as u32, picture.height as u32, bytes).unwrap().save(path).unwrap();
}

fn run(folder: &Path, words: &[String]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_lampwright")).current_dir(folder).args(words).output().unwrap()
}

/// The whole way through the program; one more photo shows half of the board and is named.
#[test]
fn the_program_calibrates_from_photos() {
    let folder = tempfile::tempdir().unwrap();
    let lens = known(1120, 840);
    let mut dice = Dice(11);
    let mut words: Vec<String> =
        ["lens", "--out", "lens.toml", "--residuals", "r.svg", "--date", "2026-03-14"].map(String::from).to_vec();
    for number in 0..9 {
        let (shot, _) = inside(&lens, &mut dice);
        let name = format!("{number}.png");
        save(&folder.path().join(&name), &photo(&lens, &shot, &mut dice));
        words.push(name);
    }
    let clean = run(folder.path(), &words);
    assert_eq!(clean.status.code(), Some(0), "{clean:?}");
    let text = std::fs::read_to_string(folder.path().join("lens.toml")).unwrap();
    let found = Lens::parse(&text, "lens.toml").unwrap();
    let file: toml::Table = text.parse().unwrap();
    let calibration = file["calibration"].as_table().unwrap();
    let sigma = |name: &str| calibration["sigma"][name].as_float().unwrap();
    eprintln!("{}", String::from_utf8_lossy(&clean.stdout));
    for (name, here, truth) in
        [("fx", found.fx, lens.fx), ("cx", found.cx, lens.cx), ("cy", found.cy, lens.cy), ("k1", found.k1, lens.k1)]
    {
        assert!((here - truth).abs() < 3.5 * sigma(name), "{name}: {truth}, here {here} ± {}", sigma(name));
    }
    assert!((found.fx / lens.fx - 1.0).abs() < 2e-3, "{}", found.fx);
    assert_eq!(calibration["date"].as_str(), Some("2026-03-14"));
    assert_eq!(calibration["photos"].as_integer(), Some(9));
    assert!(std::fs::read_to_string(folder.path().join("r.svg")).unwrap().contains("rms"));

    let half = Shot { rotation: Rotation3::identity(), middle: Vector3::new(150.0, 0.0, 330.0) };
    save(&folder.path().join("half.png"), &photo(&lens, &half, &mut dice));
    words.push("half.png".to_owned());
    let finding = run(folder.path(), &words);
    assert_eq!(finding.status.code(), Some(1), "{finding:?}");
    assert!(String::from_utf8_lossy(&finding.stdout).contains("half.png: refused: "));
    let few: Vec<String> = words[..12].to_vec();
    let few = run(folder.path(), &few);
    assert_eq!(few.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&few.stderr).contains("need 8"));
}

/// A lens file is taken by what it holds, never by what it is called: another zoom's is refused under any name, the right one is
/// taken under any, and one that lies beside the photo under its name is not taken unasked.
#[test]
fn a_lens_file_is_matched_by_size_and_focal_length() {
    let folder = tempfile::tempdir().unwrap();
    let mut spec = sample("clean", 3, Some((1200, 900))).unwrap();
    spec.picture.orientation = 1;
    let scene = render(&spec).unwrap();
    std::fs::write(folder.path().join(format!("{}.jpg", scene.name)), &scene.photo).unwrap();
    std::fs::write(folder.path().join(format!("{}.bay.toml", scene.name)), &scene.bay_toml).unwrap();
    let truth: serde_json::Value = serde_json::from_str(&scene.truth_json).unwrap();
    let args: Vec<String> =
        truth["args"].as_array().unwrap().iter().map(|word| word.as_str().unwrap().to_owned()).collect();
    // Focal length of the 35 mm equivalent by the diagonal: 43.27 mm of film, 1500 px here.
    let focal = spec.camera.f35_mm * 1500.0 / 43.266_6;
    let write = |name: &str, focal_35mm: f64, scale: f64, k1: f64| {
        let fx = scale * focal;
        let text = format!(
            "schema = \"lampwright/lens/1\"\nmodel = \"opencv5\"\nwidth = 1200\nheight = 900\nfx = {fx}\nfy = {fx}\ncx = 600.0\n\
             cy = 450.0\nk1 = {k1}\nk2 = 0.0\np1 = 0.0\np2 = 0.0\nk3 = 0.0\n[calibration]\nphotos = 9\nmodel = \"k1\"\n\
             rms_px = 0.1\nfocal_35mm = {focal_35mm}\n"
        );
        std::fs::write(folder.path().join(name), text).unwrap();
    };
    let measured = |more: &[&str]| {
        let mut words = args.clone();
        words.extend(["--json", "o.json"].iter().chain(more).map(|word| (*word).to_owned()));
        let output = run(folder.path(), &words);
        let text = String::from_utf8_lossy(&output.stderr).into_owned();
        let reading = std::fs::read_to_string(folder.path().join("o.json")).unwrap_or_default();
        (output.status.code(), text, serde_json::from_str::<serde_json::Value>(&reading).unwrap_or_default())
    };
    let (_, _, without) = measured(&[]);
    // Strong distortion, so that taking it would be seen.
    write(&format!("{}.lens.toml", scene.name), spec.camera.f35_mm, 1.0, 0.2);
    let (_, _, beside) = measured(&[]);
    assert_eq!(without["features"], beside["features"]);
    write("another-phone.toml", spec.camera.f35_mm, 1.0, 0.0);
    let (status, text, _) = measured(&["--lens", "another-phone.toml"]);
    assert!(status == Some(0) || status == Some(1), "{text}");
    write("this-phone.toml", 1.12 * spec.camera.f35_mm, 1.0, 0.0);
    let (status, text, _) = measured(&["--lens", "this-phone.toml"]);
    assert!(status == Some(2) && text.contains("was taken at"), "{text}");
    write("this-phone.toml", spec.camera.f35_mm, 2.0, 0.0);
    let (status, text, _) = measured(&["--lens", "this-phone.toml"]);
    assert!(status == Some(2) && text.contains("was taken at"), "{text}");
    // The same picture without what the camera wrote: size alone is left, and that is said.
    image::load_from_memory(&scene.photo).unwrap().save(folder.path().join(format!("{}.png", scene.name))).unwrap();
    let (jpeg, png) = (format!("{}.jpg", scene.name), format!("{}.png", scene.name));
    let mut words: Vec<String> = args.iter().map(|word| word.replace(&jpeg, &png)).collect();
    words.extend(["--json", "p.json", "--lens", "another-phone.toml"].map(String::from));
    let output = run(folder.path(), &words);
    let text = std::fs::read_to_string(folder.path().join("p.json")).unwrap_or_else(|_| panic!("{output:?}"));
    assert!(text.contains("lens-not-checked"), "{text}");
}

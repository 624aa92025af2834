//! The command line from words to a plan: what is accepted, what is refused and how, and what is written.

#![expect(clippy::unwrap_used, reason = "a test's helpers may unwrap as the tests do")]

use lampwright::aim::Beam;
use lampwright::bay::{LampSide, Traffic};
use lampwright::beam::Pattern;
use lampwright::cli::measure::{PhotoFiles, Produced, run};
use lampwright::cli::{Cli, Command, ExitStatus, JsonTarget, Plan};
use lampwright::error::{Error, Refusal};
use lampwright::flag::FlagCode;
use lampwright::marks::Marks;
use lampwright::photo::{Format, Photo, Pixels, ShotFacts, UprightMap};
use lampwright::reading::{MarkFit, Reading, ReadingOutcome, ReadingParts};
use lampwright::units::PxPoint;
use std::fs;
use std::path::Path;
use tempfile::TempDir;

/// A folder with a photo, a bay and screws; the photo's content does not matter here.
fn shop() -> TempDir {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("beam.jpg"), b"not decoded here").unwrap();
    fs::write(folder.path().join("bay.toml"), include_str!("../calib/bays/demo.bay.toml")).unwrap();
    fs::write(folder.path().join("screws.toml"), include_str!("../calib/screws/two-screws.screws.toml")).unwrap();
    folder
}

/// Plans `measure` in the folder; in `more`, `@` stands for the folder.
fn plan(folder: &Path, more: &str) -> Result<Plan, Error> {
    let at = format!("{}/", folder.display());
    let line = format!("measure @beam.jpg --bay @bay.toml --lamp left --height-mm 700 {more}").replace('@', &at);
    let words: Vec<String> = line.split_whitespace().map(str::to_owned).collect();
    let program = std::iter::once("lampwright".to_owned());
    let Command::Measure(args) = Cli::read(program.chain(words.clone())).unwrap().command else {
        unreachable!("not the measure command")
    };
    Plan::new(&args, words)
}

#[test]
fn defaults_are_those_of_the_help() {
    let folder = shop();
    let plan = plan(folder.path(), "").unwrap();
    assert_eq!((plan.lamp.beam, plan.lamp.pattern, plan.lamp.traffic), (Beam::Low, Pattern::Kink, Traffic::Right));
    assert_eq!((plan.rule.id.as_str(), plan.entry.side), ("shop-check", LampSide::Left));
    assert!((plan.setup.x.get() + 600.0).abs() < 1e-9 && (plan.setup.offset_sigma_mm - 75.0).abs() < 1e-9);
    assert_eq!((plan.json, plan.annotated), (None, None));
}

#[test]
fn everything_that_is_given_arrives() {
    let folder = shop();
    let plan = plan(
        folder.path(),
        "--beam fog --offset-mm 610 --distance-mm 7620 --screws @screws.toml --mark 0=1.5,2.5 3=4,5 --json @out.json \
         --annotated @out.PNG --units inch",
    )
    .unwrap();
    assert_eq!(plan.lamp.pattern, Pattern::Flat);
    assert!((plan.setup.distance.get() - 7620.0).abs() < 1e-9);
    assert_eq!(plan.marks_by_hand, [(0, PxPoint::new(1.5, 2.5)), (3, PxPoint::new(4.0, 5.0))]);
    assert_eq!(plan.json, Some(JsonTarget::File(folder.path().join("out.json"))));
    assert!(plan.annotated.unwrap().is_png);
    assert!(plan.screws.is_some() && plan.command.contains(&"--units".to_owned()));
}

#[test]
fn each_mistake_is_named_with_a_hint() {
    let folder = shop();
    let mistakes = [
        ("--offset-mm -600", "--offset-mm -600: need 0 to 2000"),
        ("--offset-mm nan", "--offset-mm NaN"),
        ("--distance-mm inf", "--distance-mm inf"),
        ("--vehicle-yaw-deg 90", "need -20 to 20"),
        ("--nominal-percent 100", "need -10 to 10"),
        ("--lower-edge-mm 700", "not below the lamp's centre"),
        ("--rules nowhere", "neither a built-in rule nor a file"),
        ("--rules @bay.toml", "not a rule file"),
        ("--rules gb-inspection", "left-hand traffic only"),
        ("--screws @bay.toml", "not a screws file"),
        ("--screws @none.toml", "cannot be read"),
        ("--lens @none.toml", "cannot be read"),
        ("--mark 9=1,2", "has no mark 9"),
        ("--mark 0=1,2 0=3,4", "given twice"),
        ("--mark 0:1,2", "need ID=X,Y"),
        ("--mark 0=1,nan", "outside any picture"),
        ("--annotated @out.gif", "ends in .png or .jpg"),
        ("--annotated @beam.jpg", "would overwrite"),
        ("--json @bay.toml", "would overwrite"),
        ("--json @a.png --annotated @a.png", "would overwrite"),
        ("--json @none/out.json", "no file can be written there"),
    ];
    for (more, expected) in mistakes {
        let error = plan(folder.path(), more).unwrap_err().to_string();
        assert!(error.contains(expected) && error.contains("\nhint: "), "{more}: {error}");
    }
}

/// A refused reading of the plan, made by the library from an empty photo.
fn refused(plan: &Plan, photos: &PhotoFiles) -> Reading {
    let photo = Photo {
        file: photos.photo.name.clone(),
        sha256: "00".repeat(32),
        format: Format::Jpeg,
        pixels: Pixels::Gray8(vec![0]),
        stored_width: 1,
        stored_height: 1,
        orientation: 1,
        upright: UprightMap::new(1, 1, 1),
        shot: ShotFacts::default(),
        flags: Vec::new(),
        merged: Vec::new(),
    };
    Reading::of(&ReadingParts {
        photo: &photo,
        bay: &plan.bay,
        entry: &plan.entry,
        setup: &plan.setup,
        lamp: &plan.lamp,
        rule: &plan.rule,
        screws_name: None,
        marks: &Marks::default(),
        mark_fit: MarkFit::default(),
        outcome: ReadingOutcome::Refused(&Refusal::new(FlagCode::AllWhite, "all is white", "expose less")),
        flags: &[],
        today: &plan.today,
        options: &plan.options.changed(),
        command: &plan.command,
    })
}

#[test]
fn json_and_picture_are_written_and_text_is_printed() {
    let folder = shop();
    let plan = plan(folder.path(), "--json @out.json --annotated @out.png").unwrap();
    let (mut out, mut err) = (Vec::new(), Vec::new());
    let produce = |plan: &Plan, photos: &PhotoFiles| {
        assert_eq!(photos.photo.bytes, b"not decoded here");
        Ok(Produced {
            reading: refused(plan, photos),
            annotated: Some(b"picture".to_vec()),
            filed: None,
            trace: Vec::new(),
        })
    };
    let status = run(&plan, produce, &mut out, &mut err).unwrap();
    assert_eq!(status, ExitStatus::Refused);
    let json: serde_json::Value = serde_json::from_slice(&fs::read(folder.path().join("out.json")).unwrap()).unwrap();
    assert_eq!(json["status"], "refused");
    assert_eq!(fs::read(folder.path().join("out.png")).unwrap(), b"picture");
    assert!(String::from_utf8(out).unwrap().contains("expose less") && err.is_empty());
    assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 5, "no part is left behind");
}

#[test]
fn json_on_standard_output_is_alone_there() {
    let folder = shop();
    let plan = plan(folder.path(), "--json -").unwrap();
    let (mut out, mut err) = (Vec::new(), Vec::new());
    run(
        &plan,
        |plan, photos| Ok(Produced { reading: refused(plan, photos), annotated: None, filed: None, trace: Vec::new() }),
        &mut out,
        &mut err,
    )
    .unwrap();
    assert!(serde_json::from_slice::<serde_json::Value>(&out).is_ok());
    assert!(String::from_utf8(err).unwrap().contains("NOT MEASURED"));
}

#[test]
fn an_error_writes_nothing() {
    let folder = shop();
    let plan = plan(folder.path(), "--json @out.json").unwrap();
    let (mut out, mut err) = (Vec::new(), Vec::new());
    let fail = |_: &Plan, _: &PhotoFiles| Err(Error::file("beam.jpg", "is cut off", "copy it again"));
    assert!(run(&plan, fail, &mut out, &mut err).is_err());
    fs::remove_file(folder.path().join("beam.jpg")).unwrap();
    let error = run(&plan, |_, _| panic!("measured a photo that is not there"), &mut out, &mut err).unwrap_err();
    assert!(error.to_string().contains("beam.jpg: cannot be read"), "{error}");
    assert!(out.is_empty() && err.is_empty() && !folder.path().join("out.json").exists());
}

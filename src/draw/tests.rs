//! The whole picture, for every outcome, on photos of every size.

use super::annotate::{AnnotateInput, annotate};
use super::palette::{DARK_ZONE, PICTURE_WIDTH};
use super::place::{Scene, photo_place};
use super::plane::{Area, Spot};
use super::viewport::Viewport;
use super::words::Words;
use super::{PictureFormat, encode};
use crate::aim::{Advice, AppliedRule, Beam, LampCase, Rule, Verdict, advise, judge};
use crate::bay::{Bay, LampEntry, LampSetup, LampSide, Traffic};
use crate::beam::{BeamFeatures, Cutoff, Elbow, HotSpot, Pattern};
use crate::error::Refusal;
use crate::flag::FlagCode;
use crate::marks::{FoundMark, Marks, MissingMark};
use crate::measured::{Budget, Measured};
use crate::measurement::{Findings, Measurement};
use crate::photo::{Format, Photo, Pixels, ShotFacts, UprightMap};
use crate::reading::DisplayUnits;
use crate::units::{AnglePoint, Deg, Mm, PxPoint};
use crate::wall::{CameraFacts, FitOptions, WallView, fit};

const BAY: &str = r#"
schema = "lampwright/bay/1"
id = "bay-1"
name = "North bay"
[wall]
distance_mm = 10000.0
[floor]
slope_percent = 0.0
[[marks]]
kind = "tag36h11"
id = 0
size_mm = 160.0
x_mm = -1800.0
y_mm = 1500.0
[[marks]]
kind = "tag36h11"
id = 1
size_mm = 160.0
x_mm = 1800.0
y_mm = 1500.0
[[marks]]
kind = "tag36h11"
id = 2
size_mm = 160.0
x_mm = 1800.0
y_mm = 300.0
[[marks]]
kind = "tag36h11"
id = 3
size_mm = 160.0
x_mm = -1800.0
y_mm = 300.0
[[marks]]
kind = "quadrant"
id = 4
size_mm = 120.0
x_mm = 0.0
y_mm = 1500.0
"#;
/// Width of the wall that the photos show, mm.
const SEEN_MM: f64 = 6000.0;

fn photo(width: usize, height: usize) -> Photo {
    Photo {
        file: "test.png".to_owned(),
        sha256: "0123456789abcdef0123".to_owned(),
        format: Format::Png,
        pixels: Pixels::Rgb8((0..3 * width * height).map(|i| (i % 251) as u8).collect()),
        stored_width: width,
        stored_height: height,
        orientation: 1,
        upright: UprightMap::new(width, height, 1),
        shot: ShotFacts::default(),
        flags: Vec::new(),
        merged: Vec::new(),
    }
}

/// A camera straight before the wall: `SEEN_MM` fill the width, 900 mm above the floor is the photo's middle.
fn px(photo: &Photo, x_mm: f64, y_mm: f64) -> PxPoint {
    let scale = photo.width() as f64 / SEEN_MM;
    PxPoint::new(0.5 * photo.width() as f64 + scale * x_mm, 0.5 * photo.height() as f64 - scale * (y_mm - 900.0))
}

fn marks(photo: &Photo, bay: &Bay, found: usize) -> Marks {
    let mut marks = Marks::default();
    for (index, mark) in bay.marks.iter().enumerate() {
        let (x, y, half) = (mark.centre.x_mm, mark.centre.y_mm, 0.5 * mark.size.get());
        let corner = |right: f64, up: f64| px(photo, x + right * half, y + up * half);
        let corners = [corner(-1.0, 1.0), corner(1.0, 1.0), corner(1.0, -1.0), corner(-1.0, -1.0)];
        if index < found {
            marks.found.push(FoundMark {
                index,
                id: mark.id,
                centre: px(photo, x, y),
                centre_sigma_px: 0.1,
                corners: (mark.id != 4).then_some(corners),
                corner_sigma_px: 0.1,
                is_by_hand: index == 1,
            });
        } else {
            let expected = (index != 4).then(|| PxPoint::new(-40.0, 0.5 * photo.height() as f64));
            marks.missing.push(MissingMark { index, id: mark.id, expected });
        }
    }
    marks
}

fn setup(bay: &Bay) -> LampSetup {
    let entry = LampEntry {
        side: LampSide::Left,
        height: Mm::new(700.0),
        offset: Some(Mm::new(600.0)),
        distance: None,
        vehicle_yaw_deg: Some(0.0),
        vehicle_yaw_sigma_deg: None,
    };
    LampSetup::new(bay, &entry)
}

fn lamp(beam: Beam, pattern: Pattern, traffic: Traffic) -> LampCase {
    LampCase {
        beam,
        pattern,
        traffic,
        side: LampSide::Left,
        centre_height: Mm::new(700.0),
        lower_edge_height: None,
        plate: None,
    }
}

fn rule(lamp: &LampCase) -> AppliedRule {
    Rule::built_in(crate::aim::rule::DEFAULT_RULE).unwrap().unwrap().apply(lamp).unwrap()
}

fn measured(value: f64, sigma: f64) -> Measured {
    let mut budget = Budget::new();
    budget.add("test", sigma);
    Measured { value: Deg::new(value), budget }
}

fn features(v: f64, h: f64, sigma: f64) -> BeamFeatures {
    let cutoff = Cutoff { v: measured(v, sigma), scan_h: Deg::new(h - 2.2), sharpness_g: 0.2, tilt: Deg::new(0.1) };
    BeamFeatures {
        cutoff: Some(cutoff),
        elbow: Some(Elbow { h: measured(h, sigma), v: measured(v, sigma) }),
        rise: None,
        hot_spot: Some(HotSpot { h: measured(h + 1.0, sigma), v: measured(v - 1.0, sigma), is_clipped: true }),
        bright_zone: None,
        cutoff_line: (0..40).map(|n| AnglePoint::new(h - 3.0 + 0.1 * f64::from(n), v)).collect(),
        flags: Vec::new(),
    }
}

fn findings(features: BeamFeatures, lamp: &LampCase) -> Findings {
    let verdict: Verdict = judge(&features, &rule(lamp));
    let advice: Advice = advise(&verdict, None, Mm::new(10_000.0));
    Findings { features, verdict, advice }
}

fn view(photo: &Photo, marks: &Marks, bay: &Bay) -> Option<WallView> {
    let camera = CameraFacts { width: photo.width(), height: photo.height(), focal_35mm: Some(26.0), lens: None };
    fit(marks, bay, &camera, &FitOptions::default()).ok()
}

fn measurement(size: (usize, usize), found: usize, outcome: Result<Findings, Refusal>) -> (Measurement, Bay) {
    let bay = Bay::parse(BAY, "test").unwrap();
    let photo = photo(size.0, size.1);
    let marks = marks(&photo, &bay, found);
    let view = if found >= 4 { view(&photo, &marks, &bay) } else { None };
    (Measurement { photo, marks, view, outcome, flags: Vec::new() }, bay)
}

fn drawn(measurement: &Measurement, bay: &Bay, lamp: &LampCase, units: DisplayUnits) -> image::RgbImage {
    let (setup, rule) = (setup(bay), rule(lamp));
    let input = AnnotateInput {
        bay,
        setup: &setup,
        lamp,
        rule: &rule,
        units,
        today: "2026-01-15",
        caption: None,
        is_turn_told: true,
    };
    annotate(measurement, &input)
}

#[test]
fn every_outcome_is_drawn_on_photos_of_every_size() {
    let low = lamp(Beam::Low, Pattern::Kink, Traffic::Right);
    let left = lamp(Beam::Low, Pattern::Kink, Traffic::Left);
    let high = lamp(Beam::High, Pattern::Spot, Traffic::Right);
    let fog = lamp(Beam::Fog, Pattern::Flat, Traffic::Right);
    let absent = BeamFeatures { elbow: None, hot_spot: None, ..features(-0.6, 0.0, 0.02) };
    let outcomes: Vec<(LampCase, usize, Result<Findings, Refusal>)> = vec![
        (low, 5, Ok(findings(features(-0.6, 0.0, 0.02), &low))),
        (low, 4, Ok(findings(features(0.9, 2.0, 0.02), &low))),
        (left, 5, Ok(findings(features(-0.95, -0.3, 0.2), &left))),
        (low, 5, Ok(findings(absent, &low))),
        (low, 5, Ok(findings(BeamFeatures::default(), &low))),
        (high, 5, Ok(findings(features(2.0, -3.0, 0.5), &high))),
        (fog, 5, Ok(findings(features(-3.0, 0.0, 0.05), &fog))),
        (low, 5, Err(Refusal::new(FlagCode::NoBeam, "no beam", "switch it on"))),
        (low, 3, Err(Refusal::new(FlagCode::MarksMissing, "found 3 of 5 marks", "w".repeat(900)))),
        (low, 0, Err(Refusal::new(FlagCode::AllWhite, "", ""))),
    ];
    for (lamp, found, outcome) in outcomes {
        for size in [(60, 40), (1, 1), (40, 300), (900, 600)] {
            let (measurement, bay) = measurement(size, found, outcome.clone());
            for units in [DisplayUnits::Percent, DisplayUnits::Mm] {
                let picture = drawn(&measurement, &bay, &lamp, units);
                assert_eq!(picture.width(), PICTURE_WIDTH);
                assert!((300..5000).contains(&picture.height()), "{size:?}: {}", picture.height());
            }
        }
    }
}

/// The words of a picture, with or without what to turn.
fn sentences_of(
    measurement: &Measurement,
    (bay, setup): (&Bay, &LampSetup),
    (lamp, rule): (&LampCase, &AppliedRule),
    is_turn_told: bool,
) -> Vec<String> {
    let (units, today) = (DisplayUnits::Percent, "2026-01-15");
    let input = AnnotateInput { bay, setup, lamp, rule, units, today, caption: None, is_turn_told };
    Words::of(measurement, &input).sentences.into_iter().map(|sentence| sentence.text).collect()
}

/// Where the next turn follows from earlier photos too, one photo's picture says what is off and no turn.
#[test]
fn a_picture_can_leave_the_turn_to_others() {
    let low = lamp(Beam::Low, Pattern::Kink, Traffic::Right);
    let (measurement, bay) = measurement((900, 600), 5, Ok(findings(features(0.9, 2.0, 0.02), &low)));
    let (setup, rule) = (setup(&bay), rule(&low));
    let texts = |is_turn_told: bool| sentences_of(&measurement, (&bay, &setup), (&low, &rule), is_turn_told);
    let (mut told, left) = (texts(true), texts(false));
    assert!(left.iter().any(|text| text.starts_with("Cutoff too high: move down")), "{left:?}");
    told.retain(|text| !text.starts_with("Try a quarter turn of the "));
    assert_eq!((told, texts(true).len()), (left.clone(), left.len() + 2));
}

/// Of a refused photo it says then what was found, without pixels, and what to do is said beside it.
#[test]
fn a_refused_picture_can_leave_what_to_do_to_others() {
    let low = lamp(Beam::Low, Pattern::Kink, Traffic::Right);
    let found = "found 3 of 4 marks, need at least 4; not found: tag 0 near (81, 64) px, upper left";
    let (measurement, bay) = measurement((900, 600), 5, Err(Refusal::new(FlagCode::MarksMissing, found, "use --mark")));
    let (setup, rule) = (setup(&bay), rule(&low));
    let said = |is_turn_told: bool| sentences_of(&measurement, (&bay, &setup), (&low, &rule), is_turn_told).join("|");
    assert!(said(true).ends_with("tag 0 near (81, 64) px, upper left|What to do: use --mark"), "{}", said(true));
    assert!(said(false).ends_with("not found: tag 0, upper left of the photo"), "{}", said(false));
}

/// The zone that must be dark is hatched in its own colour, named, and never said to be dark.
#[test]
fn a_dark_zone_is_hatched_and_someone_is_sent_to_look() {
    let left = lamp(Beam::Low, Pattern::Kink, Traffic::Left);
    let british = Rule::built_in("gb-inspection").unwrap().unwrap().apply(&left).unwrap();
    let shown = |v: f64, rule: &AppliedRule| {
        let mut features = features(v, -0.3, 0.02);
        features.cutoff.as_mut().unwrap().scan_h = Deg::new(2.2);
        let verdict = judge(&features, rule);
        let advice = advise(&verdict, None, Mm::new(10_000.0));
        let (measurement, bay) = measurement((900, 600), 5, Ok(Findings { features, verdict, advice }));
        let (setup, units) = (setup(&bay), DisplayUnits::Percent);
        let input = AnnotateInput {
            bay: &bay,
            setup: &setup,
            lamp: &left,
            rule,
            units,
            caption: None,
            today: "2026-01-15",
            is_turn_told: true,
        };
        let picture = annotate(&measurement, &input);
        let hatched = picture.pixels().filter(|pixel| pixel.0 == DARK_ZONE.rgb).count();
        let sentences = Words::of(&measurement, &input).sentences;
        (hatched, sentences.into_iter().map(|sentence| sentence.text).collect::<Vec<_>>().join("|"))
    };
    let (hatched, said) = shown(-0.9, &british);
    assert!(hatched > 500, "{hatched} pixels");
    assert!(said.contains("Look at the wall: no white light in the hatched zone"), "{said}");
    let (_, said) = shown(0.3, &british);
    assert!(said.contains("The cutoff stands in the dark zone (hatched)"), "{said}");
    let (hatched, said) = shown(-0.9, &rule(&left));
    assert!(hatched == 0 && !said.contains("zone"), "{hatched} {said}");
}

/// By the axes: H grows to the right of the picture, V grows up, so y falls.
#[test]
fn directions_run_the_way_of_the_axes() {
    let (measurement, bay) = measurement((900, 600), 5, Err(Refusal::new(FlagCode::NoBeam, "", "")));
    let (view, setup) = (measurement.view.as_ref().unwrap(), setup(&bay));
    let viewport = Viewport { left_px: 100.0, top_px: 50.0, scale: 2.0, area: Area::new(0.0, 300.0, 1600.0, 900.0) };
    let scene = Scene { view, setup: &setup, viewport };
    let at = |h: f64, v: f64| scene.at(Deg::new(h), Deg::new(v)).unwrap();
    assert!(at(1.0, 0.0).x > at(0.0, 0.0).x + 10.0 && at(0.0, 1.0).y < at(0.0, 0.0).y - 10.0);
    // The lamp's own axis meets the wall at its centre: x -600, 700 mm above the floor.
    let expected = px(&measurement.photo, -600.0, 700.0);
    assert!(photo_place(view, &setup, 0.0, 0.0).unwrap().distance(expected) < 0.5);
    let back = scene.direction(at(1.5, -0.5));
    assert!((back.h.get() - 1.5).abs() < 1e-3 && (back.v.get() + 0.5).abs() < 1e-3, "{back:?}");
    assert!(scene.line(AnglePoint::new(0.0, 0.0), AnglePoint::new(100.0, 0.0)).is_empty());
    assert_eq!(viewport.show(PxPoint::new(100.0, 50.0)), Spot::new(0.0, 300.0));
}

#[test]
fn both_formats_take_the_picture() {
    let low = lamp(Beam::Low, Pattern::Kink, Traffic::Right);
    let (measurement, bay) = measurement((60, 40), 5, Ok(findings(features(-0.6, 0.0, 0.02), &low)));
    let picture = drawn(&measurement, &bay, &low, DisplayUnits::Deg);
    for format in [PictureFormat::Png, PictureFormat::Jpeg] {
        let bytes = encode(&picture, format).unwrap();
        let back = image::load_from_memory(&bytes).unwrap();
        assert_eq!((back.width(), back.height()), picture.dimensions());
    }
}

//! The reading of an invented lamp: the JSON's shape, its nulls, its flags, and the text on one screen.

#![expect(clippy::unwrap_used, reason = "a test's helpers may unwrap as the tests do")]

use lampwright::aim::rule::DEFAULT_RULE;
use lampwright::aim::{AppliedRule, Beam, LampCase, Rule, Screws, advise, judge};
use lampwright::bay::{Bay, LampEntry, LampSetup, LampSide, Traffic};
use lampwright::beam::{BeamFeatures, Cutoff, Elbow, HotSpot, Pattern};
use lampwright::error::Refusal;
use lampwright::flag::{Flag, FlagCode};
use lampwright::marks::{FoundMark, Marks, MissingMark};
use lampwright::measured::{Budget, Measured};
use lampwright::photo::{Format, Photo, Pixels, ShotFacts, UprightMap};
use lampwright::reading::{DisplayUnits, MarkFit, Reading, ReadingOutcome, ReadingParts, to_text};
use lampwright::units::{AnglePoint, Deg, Mm, PxPoint};
use serde_json::{Value, json};
use std::collections::BTreeMap;

const BAY: &str = include_str!("../calib/bays/demo.bay.toml");
const SCREWS: &str = include_str!("../calib/screws/two-screws.screws.toml");

fn measured(value_deg: f64, sigma_deg: f64) -> Measured {
    let mut budget = Budget::new();
    budget.add("height", sigma_deg * 0.6);
    budget.add("fit", sigma_deg * 0.8);
    Measured { value: Deg::new(value_deg), budget }
}

fn photo() -> Photo {
    Photo {
        file: "beam.jpg".into(),
        sha256: "ab".repeat(32),
        format: Format::Jpeg,
        pixels: Pixels::Gray8(vec![0; 6]),
        stored_width: 3,
        stored_height: 2,
        orientation: 6,
        upright: UprightMap::new(3, 2, 6),
        shot: ShotFacts { exposure_s: Some(0.01), iso: Some(100), ..ShotFacts::default() },
        flags: vec![Flag::plain(FlagCode::WrongExtension)],
        merged: Vec::new(),
    }
}

/// A lamp in the demo bay, everything that a test may want to change.
struct Lamp {
    bay: Bay,
    entry: LampEntry,
    case: LampCase,
    rule: AppliedRule,
    features: BeamFeatures,
    screws: Option<Screws>,
    flags: Vec<Flag>,
}

impl Lamp {
    fn with_kink(v: (f64, f64), h: Option<(f64, f64)>) -> Self {
        let case = LampCase {
            beam: Beam::Low,
            pattern: Pattern::Kink,
            traffic: Traffic::Right,
            side: LampSide::Left,
            centre_height: Mm::new(700.0),
            lower_edge_height: None,
            plate: None,
        };
        let v = measured(v.0, v.1);
        let features = BeamFeatures {
            cutoff: Some(Cutoff { v: v.clone(), scan_h: Deg::new(-2.5), sharpness_g: 0.25, tilt: Deg::new(-0.0) }),
            elbow: h.map(|(h, sigma)| Elbow { h: measured(h, sigma), v }),
            ..BeamFeatures::default()
        };
        Self {
            bay: Bay::parse(BAY, "demo").unwrap(),
            entry: LampEntry {
                side: LampSide::Left,
                height: Mm::new(700.0),
                offset: Some(Mm::new(610.0)),
                distance: None,
                vehicle_yaw_deg: None,
                vehicle_yaw_sigma_deg: None,
            },
            rule: Rule::built_in(DEFAULT_RULE).unwrap().unwrap().apply(&case).unwrap(),
            case,
            features,
            screws: Some(Screws::parse(SCREWS, "two").unwrap()),
            flags: Vec::new(),
        }
    }

    fn use_rule(&mut self, id: &str) {
        self.rule = Rule::built_in(id).unwrap().unwrap().apply(&self.case).unwrap();
    }

    fn reading(&self, refusal: Option<&Refusal>) -> Reading {
        let setup = LampSetup::new(&self.bay, &self.entry);
        let verdict = judge(&self.features, &self.rule);
        let advice = advise(&verdict, self.screws.as_ref(), setup.distance);
        let mark = |index: usize, id: u32| FoundMark {
            index,
            id,
            centre: PxPoint::new(10.123_456, 20.5),
            centre_sigma_px: 0.1,
            corners: None,
            corner_sigma_px: 0.0,
            is_by_hand: false,
        };
        let marks = Marks {
            found: vec![mark(0, 0), mark(1, 1), mark(3, 3)],
            missing: vec![MissingMark { index: 2, id: 2, expected: None }],
            blur_px: None,
        };
        let measured = ReadingOutcome::Measured { features: &self.features, verdict: &verdict, advice: &advice };
        Reading::of(&ReadingParts {
            photo: &photo(),
            bay: &self.bay,
            entry: &self.entry,
            setup: &setup,
            lamp: &self.case,
            rule: &self.rule,
            screws_name: self.screws.as_ref().map(|screws| screws.name.as_str()),
            marks: &marks,
            mark_fit: MarkFit { rms_px: Some(0.21), rms_mm: Some(f64::NAN) },
            outcome: refusal.map_or(measured, ReadingOutcome::Refused),
            flags: &self.flags,
            today: "2026-01-15",
            options: &BTreeMap::new(),
            command: &["measure".to_owned(), "beam.jpg".to_owned()],
        })
    }

    fn json(&self, refusal: Option<&Refusal>) -> Value {
        serde_json::from_str(&self.reading(refusal).to_json().unwrap()).unwrap()
    }

    fn text(&self, units: DisplayUnits) -> String {
        plain(&to_text(&self.reading(None), units))
    }
}

/// Without the styles, as a writer that is no terminal gives it on.
fn plain(text: &str) -> String {
    anstream::adapter::strip_str(text).to_string()
}

#[test]
fn a_failed_lamp_as_json() {
    let json = Lamp::with_kink((0.05, 0.04), Some((0.03, 0.11))).json(None);
    assert_eq!(json["schema"], "lampwright/reading/1");
    assert_eq!(json["status"], "measured");
    assert_eq!((&json["photo"]["width"], &json["photo"]["height"]), (&json!(2), &json!(3)), "upright size");
    assert_eq!(json["marks"]["found"], json!([0, 1, 3]));
    assert_eq!((&json["marks"]["rms_px"], &json["marks"]["rms_mm"]), (&json!(0.21), &Value::Null));
    assert_eq!(
        json["features"]["cutoff"],
        json!({
            "v_deg": 0.05, "u_deg": 0.08, "scan_h_deg": -2.5, "sharpness_g": 0.25, "tilt_deg": 0.0
        })
    );
    assert_eq!(json["features"]["elbow"], json!({"h_deg": 0.03, "u_h_deg": 0.22, "v_deg": 0.05, "u_v_deg": 0.08}));
    assert_eq!((&json["features"]["rise"], &json["features"]["bright_zone"]), (&Value::Null, &Value::Null));
    assert_eq!(
        json["budget"]["cutoff_v"],
        json!([
            {"part": "height", "u_deg": 0.024}, {"part": "fit", "u_deg": 0.032}
        ])
    );
    let verdict = &json["verdict"];
    assert_eq!((&verdict["rules"], &verdict["overall"]), (&json!("shop-check"), &json!("fail")));
    // -1 % = -0.572939 deg; 2 in at 25 ft = 0.381966 deg, both by hand.
    let vertical = &verdict["vertical"];
    for (field, expected) in [
        ("value_deg", 0.05),
        ("u_deg", 0.08),
        ("nominal_deg", -0.57294),
        ("lower_deg", -0.95490),
        ("upper_deg", -0.19097),
    ] {
        let ours = vertical[field].as_f64().unwrap();
        assert!((ours - expected).abs() <= 1.01e-5, "{field}: {ours}, by hand {expected}");
    }
    assert_eq!((&vertical["result"], &verdict["horizontal"]["result"]), (&json!("fail"), &json!("pass")));
    let advice = &json["advice"]["vertical"];
    assert_eq!(advice["beam_must_move"], "down");
    assert_eq!((&advice["screw"], &advice["turn"]), (&json!("top"), &json!("counterclockwise")));
    // From +0.05 deg (8.727 mm) to -1 % (-100 mm) at 10 m; 0.622939 deg at 0.65 deg a turn.
    assert!((advice["by_mm_at_wall"].as_f64().unwrap() - 108.727).abs() < 0.001);
    assert!((advice["turns"].as_f64().unwrap() - 0.622_939 / 0.65).abs() < 2e-5);
    assert_eq!(json["advice"]["horizontal"]["by_deg"], 0.0);
    assert_eq!(json["command"], json!(["measure", "beam.jpg"]));
    assert_eq!(json["setup"]["distance_mm"], 10_000.0);
}

#[test]
fn a_refused_photo_has_nulls_and_a_refusal_first() {
    let mut lamp = Lamp::with_kink((0.0, 0.1), None);
    lamp.entry.offset = None;
    let refusal =
        Refusal::new(FlagCode::MarksMissing, "found 3 of 5 marks, need 4", "retake with all marks in the frame");
    let json = lamp.json(Some(&refusal));
    assert_eq!(json["status"], "refused");
    assert_eq!([&json["features"], &json["verdict"], &json["advice"]], [&Value::Null; 3]);
    assert_eq!((&json["marks"]["found"], &json["marks"]["missing"]), (&json!([0, 1, 3]), &json!([2])));
    let codes: Vec<&str> = json["flags"].as_array().unwrap().iter().map(|f| f["code"].as_str().unwrap()).collect();
    assert_eq!(codes, ["marks-missing", "offset-assumed", "wrong-extension"]);
    assert!(json["flags"][0]["text"].as_str().unwrap().contains("retake"));
    let text = plain(&to_text(&lamp.reading(Some(&refusal)), DisplayUnits::Percent));
    assert!(text.starts_with("NOT MEASURED: photo refused"), "{text}");
    for line in ["  Why:   found 3 of 5 marks, need 4 (marks-missing)", "  Do:    retake with", "not found: 2"] {
        assert!(text.contains(line), "{line}\n{text}");
    }
}

#[test]
fn what_is_not_judged_or_not_measured_is_null() {
    let lamp = Lamp::with_kink((-0.57, 0.04), None);
    let json = lamp.json(None);
    assert_eq!((&json["verdict"]["overall"], &json["verdict"]["horizontal"]), (&json!("none"), &Value::Null));
    assert_eq!(json["verdict"]["not_measured"], json!(["horizontal"]));
    assert_eq!(json["advice"]["horizontal"], Value::Null);
    assert!(lamp.text(DisplayUnits::Percent).contains("horizontal  could not be measured"));
}

#[test]
fn a_lone_nominal_judges_nothing_but_still_shows_the_way() {
    let mut lamp = Lamp::with_kink((0.05, 0.04), Some((0.0, 0.1)));
    lamp.use_rule("un-r112-lab");
    let json = lamp.json(None);
    assert_eq!(json["verdict"]["overall"], "none");
    assert_eq!((&json["verdict"]["vertical"], &json["verdict"]["horizontal"]), (&Value::Null, &Value::Null));
    assert_eq!(json["advice"]["vertical"]["beam_must_move"], "down");
    assert_eq!(json["flags"][0]["code"], "rule-unverified");
    assert!(lamp.text(DisplayUnits::Percent).contains("no limits, not judged; 109 mm from its nominal"));
}

#[test]
fn a_rule_that_was_not_in_force_is_flagged_in_json_and_text() {
    // The builder's photo states no day, and its today is 2026-01-15.
    let mut lamp = Lamp::with_kink((-1.0, 0.04), Some((0.0, 0.1)));
    lamp.case.traffic = Traffic::Left;
    let is_flagged = |lamp: &Lamp| lamp.json(None)["flags"].to_string().contains("rule-not-in-force");
    lamp.use_rule("gb-inspection");
    assert!(!is_flagged(&lamp));
    lamp.use_rule("gb-before-2016");
    assert!(is_flagged(&lamp));
    let text = lamp.text(DisplayUnits::Percent);
    assert!(text.contains("rule-not-in-force"), "{text}");
    assert!(lamp.json(None)["flags"].to_string().contains("of 2026-01-15 (the photo states no day"));
}

#[test]
fn flags_are_listed_once() {
    let mut lamp = Lamp::with_kink((-0.57, 0.04), Some((0.0, 0.1)));
    lamp.bay.floor = None;
    lamp.flags = vec![Flag::new(FlagCode::FloorNotSurveyed, "said elsewhere"), Flag::plain(FlagCode::NearWall)];
    lamp.features.flags = vec![Flag::plain(FlagCode::NearWall), Flag::plain(FlagCode::SecondLamp)];
    let flags = lamp.reading(None).flags;
    let codes: Vec<&str> = flags.iter().map(|flag| flag.code.as_str()).collect();
    assert_eq!(codes, ["floor-not-surveyed", "near-wall", "second-lamp", "wrong-extension"]);
}

#[test]
fn numbers_that_are_not_finite_become_null() {
    for bad in [f64::NAN, f64::INFINITY] {
        let mut lamp = Lamp::with_kink((bad, 0.04), Some((0.0, bad)));
        lamp.features.hot_spot = Some(HotSpot { h: measured(bad, 0.1), v: measured(0.0, 0.1), is_clipped: false });
        let json = lamp.json(None);
        assert_eq!(json["verdict"]["overall"], "none");
        for feature in ["cutoff", "elbow", "hot_spot"] {
            assert_eq!(json["features"][feature], Value::Null, "{feature}");
        }
    }
}

#[test]
fn text_puts_the_verdict_first_and_the_numbers_in_the_chosen_units() {
    let lamp = Lamp::with_kink((0.05, 0.04), Some((0.03, 0.11)));
    let text = lamp.text(DisplayUnits::Percent);
    assert!(text.starts_with("FAIL  left lamp, low beam (kink), bay demo\n"), "{text}");
    // +0.05 deg = +0.087 %; the upper limit -0.19097 deg = -0.333 %.
    for line in [
        "  vertical    too high, by 0.42 % beyond the limit",
        "  horizontal  good",
        "+0.09 %  ± 0.14 %  aim at -1.00",
        "Rule: Shop check (shop-check): common practice, no source.",
    ] {
        assert!(text.contains(line), "{line}\n{text}");
    }
    // 0.05 deg at 10 m = 8.73 mm = 0.34 in; U 0.08 deg = 13.96 mm = 0.55 in.
    assert!(lamp.text(DisplayUnits::Inch).contains("+0.34 in  ± 0.55 in  aim at -3.94"));
    assert!(lamp.text(DisplayUnits::Inch).contains("inches on the wall at 10.00 m"));
    assert!(lamp.text(DisplayUnits::Mm).contains("+9 mm  ± 14 mm  aim at -100"));
    assert!(lamp.text(DisplayUnits::Deg).contains("+0.05 °  ± 0.08 °  aim at -0.57"));
}

#[test]
fn borderline_and_pass_say_so() {
    let borderline = Lamp::with_kink((-0.2, 0.04), Some((0.0, 0.1))).text(DisplayUnits::Percent);
    assert!(borderline.starts_with("BORDERLINE: too close to call"), "{borderline}");
    assert!(borderline.contains("inside, but nearer to a limit than its uncertainty"), "{borderline}");
    let pass = Lamp::with_kink((-0.57, 0.04), Some((0.0, 0.1))).text(DisplayUnits::Percent);
    assert!(pass.starts_with("PASS") && pass.contains("Nothing to adjust: record this reading."), "{pass}");
}

/// The longest texts there are: both screws counterclockwise, far off or too close to call, every warning raised.
#[test]
fn even_the_longest_text_fits_one_screen() {
    let far_off = Lamp::with_kink((5.0, 0.4), Some((-4.0, 0.5)));
    let too_close = Lamp::with_kink((-0.2, 0.1), Some((-0.4, 0.1)));
    let mut in_zone = Lamp::with_kink((-0.2, 0.1), None);
    in_zone.case.traffic = Traffic::Left;
    in_zone.features.cutoff.as_mut().unwrap().scan_h = Deg::new(2.5);
    in_zone.use_rule("gb-inspection");
    for mut lamp in [far_off, too_close, in_zone] {
        lamp.bay.id = "a-bay-with-quite-a-long-name-that-somebody-thought-was-a-good-idea".into();
        lamp.flags = FlagCode::ALL.iter().map(|code| Flag::plain(*code)).collect();
        for units in [DisplayUnits::Percent, DisplayUnits::Inch, DisplayUnits::Mm, DisplayUnits::Deg] {
            let text = lamp.text(units);
            assert!(text.lines().count() <= 24, "{} lines\n{text}", text.lines().count());
            assert!(text.lines().all(|line| line.chars().count() <= 80), "{text}");
            assert!(text.contains("Flags: ") && text.contains("Rule: "), "{text}");
        }
    }
}

/// By hand: 0.5 % down = -0.28648 deg. The zone of the British rule opens to the right, where the flat part lies in left-hand
/// traffic; a cutoff inside is warned of beside the axes' verdict, one that keeps clear says nothing about the rest of the zone.
#[test]
fn a_dark_zone_is_told_with_what_the_cutoff_shows_of_it() {
    let british = |v: f64| {
        let mut lamp = Lamp::with_kink((v, 0.02), Some((0.0, 0.05)));
        lamp.case.traffic = Traffic::Left;
        lamp.features.cutoff.as_mut().unwrap().scan_h = Deg::new(2.5);
        lamp.use_rule("gb-inspection");
        lamp
    };
    let (clear, inside) = (british(-0.9), british(0.1));
    let json = clear.json(None);
    let zone = &json["verdict"]["dark_zone"];
    assert_eq!((&json["verdict"]["overall"], &zone["result"]), (&json!("pass"), &json!("not judged")));
    assert!((zone["above_deg"].as_f64().unwrap() + 0.28648).abs() < 1.01e-5, "{zone}");
    assert_eq!((&zone["right_of_deg"], &zone["left_of_deg"]), (&json!(0.0), &Value::Null));
    assert!(zone["text"].as_str().unwrap().contains("not judged by number: look at the wall"), "{zone}");
    let text = clear.text(DisplayUnits::Percent).split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        text.contains(
            "dark zone as far as it was measured the cutoff keeps clear of it; not judged by number: look at the wall"
        ),
        "{text}"
    );
    assert!(text.contains("(no white light above -0.50 %, right of 0.00 %)"), "{text}");
    let json = inside.json(None);
    assert_eq!(
        (&json["verdict"]["overall"], &json["verdict"]["dark_zone"]["result"]),
        (&json!("fail"), &json!("fail"))
    );
    // The bend 2.5 degrees aside: at H = 0.3 the rise has climbed by 2.2 tan 15 = 0.59 degrees, into the zone.
    let mut aside = british(-0.6);
    aside.features.elbow.as_mut().unwrap().h = measured(2.5, 0.05);
    aside.features.cutoff.as_mut().unwrap().scan_h = Deg::new(5.0);
    aside.features.rise = Some(measured(15.0, 0.2));
    aside.features.cutoff_line =
        vec![AnglePoint::new(0.3, -0.01), AnglePoint::new(2.5, -0.6), AnglePoint::new(5.0, -0.6)];
    let json = aside.json(None);
    assert_eq!(
        (&json["verdict"]["dark_zone"]["result"], &json["verdict"]["overall"]),
        (&json!("fail"), &json!("pass"))
    );
    let steps = json["advice"]["steps"].to_string();
    assert!(steps.contains("stands in the rule's dark zone") && !steps.contains("Nothing was judged"), "{steps}");
    assert!(Lamp::with_kink((-0.9, 0.02), None).json(None)["verdict"].get("dark_zone").is_none());
}

/// What a rule does not judge is said beside a pass.
#[test]
fn a_pass_names_what_the_rule_leaves_out() {
    let mut lamp = Lamp::with_kink((-0.9, 0.04), Some((0.0, 0.1)));
    lamp.case.traffic = Traffic::Left;
    lamp.use_rule("gb-inspection");
    let text = lamp.text(DisplayUnits::Percent);
    assert!(
        text.starts_with("PASS") && text.contains("dark zone") && text.contains("not judged by this rule"),
        "{text}"
    );
}

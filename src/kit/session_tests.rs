//! Aiming sessions: taught, aimed, rechecked, stopped, checked only.

use super::session::{Lamp, Movement, SESSION_SCHEMA, ScrewName, Session, SinceLast, State};
use crate::aim::Axis;
use crate::kit::session_text::{next, summary};
use crate::reading::Reading;
use serde_json::json;

/// A reading as `measure` would give it for a lamp that stands at (h, v), the workshop's limits around (0, -0.573).
fn reading(h: f64, v: f64) -> Reading {
    let axis = |value: f64, nominal: f64| {
        let result = if (value - nominal).abs() < 0.3 { "pass" } else { "fail" };
        json!({"value_deg": value, "u_deg": 0.08, "nominal_deg": nominal, "lower_deg": nominal - 0.382,
               "upper_deg": nominal + 0.382, "result": result, "conformance_probability": 0.5})
    };
    let (vertical, horizontal) = (axis(v, -0.573), axis(h, 0.0));
    let is_in = vertical["result"] == "pass" && horizontal["result"] == "pass";
    let move_of = |axis: &serde_json::Value, up: &str, down: &str| {
        let by = axis["nominal_deg"].as_f64().unwrap() - axis["value_deg"].as_f64().unwrap();
        let word = if axis["result"] == "pass" {
            "none"
        } else if by > 0.0 {
            up
        } else {
            down
        };
        let by = if word == "none" { 0.0 } else { by.abs() };
        json!({"beam_must_move": word, "by_deg": by, "by_mm_at_wall": 0.0, "screw": null, "turn": "unknown", "turns": null})
    };
    let value = json!({
        "schema": "lampwright/reading/1", "status": "measured",
        "software": {"name": "lampwright", "version": "0", "commit": "test"},
        "photo": {"file": "p.jpg", "sha256": "00", "width": 4000, "height": 3000, "format": "jpeg", "orientation": 1,
                  "exposure_s": null, "iso": null, "focal_35mm": null, "captured": null},
        "setup": {"bay": "b", "bay_name": "B", "lamp": "left", "beam": "low", "pattern": "kink", "traffic": "right",
                  "rules": "shop-check", "height_mm": 650.0, "offset_mm": 600.0, "distance_mm": 10000.0,
                  "vehicle_yaw_deg": 0.0, "lower_edge_mm": null, "nominal_percent": null, "screws": null},
        "marks": {"found": [0, 1, 2, 3], "rms_px": 0.1, "rms_mm": 0.3, "missing": [], "places": []},
        "features": {"cutoff": {"v_deg": v, "u_deg": 0.08, "scan_h_deg": -2.5, "sharpness_g": 0.25, "tilt_deg": 0.0},
                     "elbow": {"h_deg": h, "u_h_deg": 0.08, "v_deg": v, "u_v_deg": 0.08},
                     "rise": null, "hot_spot": null, "bright_zone": null},
        "budget": {"cutoff_v": [{"part": "edge fit", "u_deg": 0.01}], "elbow_h": [{"part": "edge fit", "u_deg": 0.02}]},
        "verdict": {"rules": "shop-check", "overall": if is_in { "pass" } else { "fail" }, "vertical": vertical,
                    "horizontal": horizontal, "not_measured": [], "rule_name": "Shop check", "rule_status": "practice",
                    "decision": "guarded", "notes": []},
        "advice": {"vertical": move_of(&vertical, "up", "down"), "horizontal": move_of(&horizontal, "right", "left"),
                   "steps": []},
        "flags": [], "command": []
    });
    serde_json::from_value(value).unwrap()
}

fn refused() -> Reading {
    let mut reading = reading(0.0, 0.0);
    (reading.features, reading.verdict, reading.advice) = (None, None, None);
    reading.status = "refused".to_owned();
    reading
}

fn lamp(side: &str) -> Lamp {
    Lamp { side: side.to_owned(), beam: "low".to_owned(), words: Vec::new(), shots: Vec::new(), proposed: Vec::new() }
}

fn session(is_quick: bool) -> Session {
    let lamps = vec![lamp("left"), lamp("right")];
    let (schema, vehicle) = (SESSION_SCHEMA.to_owned(), "order 12".to_owned());
    Session { schema, vehicle, common: Vec::new(), is_quick, lamps, recorded: None }
}

fn net(list: &[Movement], screw: ScrewName) -> f64 {
    list.iter().filter(|part| part.screw == screw).map(|part| part.quarter_turns / 4.0).sum()
}

/// A lamp whose screws do 0.8 degrees a turn each, free of play, 1 degree too high: a photo, a turn that teaches, a turn that
/// brings it in, the recheck; then the other lamp is next.
#[test]
fn a_lamp_is_taught_aimed_and_rechecked() {
    let mut session = session(false);
    assert_eq!((session.next(), session.lamps[0].state(false)), (Some(0), State::ToPhotograph));
    let mut v = 0.43;
    session.lamps[0].add(Vec::new(), reading(0.0, v), None, false);
    for _ in 0..3 {
        let lamp = &mut session.lamps[0];
        assert_eq!(lamp.state(false), State::ToTurn);
        // A passing horizontal axis is left alone: nobody knows yet what its screw does.
        assert!(lamp.proposed.iter().all(|part| part.screw == ScrewName::Vertical), "{:?}", lamp.proposed);
        assert!(lamp.proposed.last().unwrap().quarter_turns > 0.0, "ends clockwise");
        assert!(lamp.turned_since(&SinceLast::Unsaid).unwrap_err().to_string().contains("--as-told"));
        let turned = lamp.turned_since(&SinceLast::AsProposed).unwrap();
        v += 0.8 * net(&turned, ScrewName::Vertical);
        lamp.add(turned, reading(0.0, v), None, false);
        if lamp.state(false) == State::ToRecheck {
            break;
        }
    }
    let lamp = &mut session.lamps[0];
    assert_eq!(lamp.state(false), State::ToRecheck);
    assert!(lamp.shots.len() <= 4, "{} photos", lamp.shots.len());
    let none = lamp.turned_since(&SinceLast::Unsaid).unwrap();
    lamp.add(none, reading(0.0, v), None, false);
    assert_eq!((lamp.state(false), session.next()), (State::Good, Some(1)));
    let again = Session::parse(&session.to_json().unwrap(), "s.json").unwrap();
    assert_eq!(again, session);
}

#[test]
fn what_was_turned_before_a_refused_photo_counts_for_the_next() {
    let mut lamp = lamp("left");
    lamp.add(Vec::new(), reading(0.0, 0.43), None, false);
    let turn = |quarters| vec![Movement { screw: ScrewName::Vertical, quarter_turns: quarters }];
    lamp.add(turn(4.0), refused(), None, false);
    assert_eq!(lamp.state(false), State::ToPhotograph);
    lamp.add(Vec::new(), reading(0.0, 1.23), None, false);
    let rate = lamp.response(None).rate(Axis::Vertical, Axis::Vertical);
    assert!((0.7..1.0).contains(&rate.value), "{rate:?}");
}

#[test]
fn a_beam_that_does_not_follow_stops_the_work() {
    let mut lamp = lamp("left");
    lamp.add(Vec::new(), reading(0.0, 0.43), None, false);
    for _ in 0..2 {
        let turned = vec![Movement { screw: ScrewName::Vertical, quarter_turns: 6.0 }];
        lamp.add(turned, reading(0.0, 0.44), None, false);
    }
    assert_eq!(lamp.state(false), State::Seized);
    assert!(lamp.proposed.is_empty());
}

#[test]
fn a_quick_check_turns_nothing() {
    let mut session = session(true);
    session.lamps[0].add(Vec::new(), reading(0.0, 0.43), None, true);
    session.lamps[1].add(Vec::new(), reading(0.0, -0.573), None, true);
    let states: Vec<State> = session.lamps.iter().map(|lamp| lamp.state(true)).collect();
    assert_eq!(states, [State::NeedsAiming, State::Good]);
    assert!(session.lamps[0].proposed.is_empty() && session.next().is_none());
    assert!(session.place(Some("left"), Some("high")).unwrap_err().to_string().contains("left low, right low"));
    let text = crate::kit::session_text::difference(&session).unwrap();
    assert!(text.contains("1.00 deg apart"), "{text}");
}

/// What `measure` gives under a rule with a nominal and no limits: nothing is judged, the advice shows the way.
fn without_limits(h: f64, v: f64) -> Reading {
    let mut reading = reading(h, v);
    let advice = reading.advice.as_mut().unwrap();
    let by = |nominal: f64, value: f64, words: [&str; 2]| {
        let by = nominal - value;
        (words[usize::from(by < 0.0)].to_owned(), by.abs())
    };
    let (vertical, horizontal) = (advice.vertical.as_mut().unwrap(), advice.horizontal.as_mut().unwrap());
    (vertical.beam_must_move, vertical.by_deg) = by(-0.573, v, ["up", "down"]);
    (horizontal.beam_must_move, horizontal.by_deg) = by(0.0, h, ["right", "left"]);
    let verdict = reading.verdict.as_mut().unwrap();
    (verdict.vertical, verdict.horizontal) = (None, None);
    verdict.overall = "none".to_owned();
    reading
}

/// The same lamp under a rule with a ceiling for the vertical and nothing else; U is 0.08.
fn under_ceiling(v: f64, ceiling: f64) -> Reading {
    let mut reading = reading(0.0, v);
    let verdict = reading.verdict.as_mut().unwrap();
    verdict.horizontal = None;
    let vertical = verdict.vertical.as_mut().unwrap();
    (vertical.nominal_deg, vertical.lower_deg, vertical.upper_deg) = (None, None, Some(ceiling));
    let result = match v - ceiling {
        over if over > 0.08 => "fail",
        over if over > -0.08 => "borderline",
        _ => "pass",
    };
    (vertical.result, verdict.overall) = (result.to_owned(), result.to_owned());
    let advice = reading.advice.as_mut().unwrap();
    advice.horizontal = None;
    let vertical = advice.vertical.as_mut().unwrap();
    let by = if result == "pass" { 0.0 } else { ceiling - 0.08 - v };
    (vertical.beam_must_move, vertical.by_deg) = (if by < 0.0 { "down" } else { "none" }.to_owned(), by.abs());
    reading
}

/// Photographs and turns as told, screws of 0.8 degrees a turn, until nothing is left to turn; gives the photos that it took.
fn aimed(lamp: &mut Lamp, mut v: f64, reading: impl Fn(f64) -> Reading) -> (usize, f64) {
    lamp.add(Vec::new(), reading(v), None, false);
    while !lamp.state(false).is_done() {
        assert!(lamp.shots.len() < 8, "{:?} after {} photos", lamp.state(false), lamp.shots.len());
        let turned = lamp.turned_since(&SinceLast::AsProposed).unwrap();
        v += 0.8 * net(&turned, ScrewName::Vertical);
        lamp.add(turned, reading(v), None, false);
    }
    (lamp.shots.len(), v)
}

#[test]
fn a_nominal_without_limits_is_aimed_at_and_left() {
    let mut session = session(false);
    let (photos, v) = aimed(&mut session.lamps[0], 0.43, |v| without_limits(0.02, v));
    assert!((v + 0.573).abs() <= 0.08, "within U of the nominal: {v}");
    assert!(photos > 2, "turned, and rechecked");
    assert_eq!((session.lamps[0].state(false), session.next()), (State::AtNominal, Some(1)));
    let text = next(&session, None);
    assert!(text.contains("left low    not judged") && text.contains("right lamp, low beam"), "{text}");
    // A lamp that is there at once needs no turn and no recheck.
    session.lamps[1].add(Vec::new(), without_limits(-0.05, -0.6), None, false);
    assert!(session.next().is_none());
    let text = summary(&session);
    assert!(text.contains("(at its nominal, not judged)"), "{text}");
    assert!(text.contains("(1.003 deg from its nominal, not judged)"), "{text}");
}

#[test]
fn a_ceiling_is_kept_clear_of_and_said_to_be_one() {
    let mut session = session(false);
    session.lamps[0].add(Vec::new(), under_ceiling(-0.1, -0.5), None, false);
    // Worked by hand: U 0.08 and half of it, at least 0.05, below the limit of -0.5.
    let by = session.lamps[0].still_to_go();
    assert!(by.0.is_none() && (by.1.unwrap() - (-0.5 - 0.13 + 0.1)).abs() < 1e-9, "{by:?}");
    let text = next(&session, None);
    assert!(text.contains("an upper limit only, -0.50 deg: it is aimed at -0.63 deg, below the limit"), "{text}");
    session.lamps[0].shots.clear();
    let (_, v) = aimed(&mut session.lamps[0], -0.1, |v| under_ceiling(v, -0.5));
    assert_eq!(session.lamps[0].state(false), State::Good);
    assert!(v < -0.58, "clear of the guard band: {v}");
    // Barely outside the guard band, where the reading's own advice is next to nothing.
    let mut near = lamp("right");
    near.add(Vec::new(), under_ceiling(-0.579, -0.5), None, false);
    assert_eq!(near.state(false), State::ToTurn);
    assert!(!near.proposed.is_empty() && near.still_to_go().1.unwrap() < -0.05);
}

#[test]
fn a_borderline_lamp_that_no_turn_helps_is_done() {
    let mut reading = reading(0.0, -0.57);
    let verdict = reading.verdict.as_mut().unwrap();
    verdict.overall = "borderline".to_owned();
    let vertical = verdict.vertical.as_mut().unwrap();
    // A band of 0.1 degrees and U of 0.08: nothing in it passes, and its middle is as good as it gets.
    (vertical.lower_deg, vertical.upper_deg) = (Some(-0.623), Some(-0.523));
    vertical.result = "borderline".to_owned();
    let mut session = session(false);
    session.lamps[0].add(Vec::new(), reading, None, false);
    assert_eq!((session.lamps[0].state(false), session.next()), (State::TooClose, Some(1)));
    assert!(session.lamps[0].proposed.is_empty());
    assert!(next(&session, None).contains("BORDERLINE: no turn helps"));
}

/// The elbow is out of the picture, and the rule judges it.
fn without_elbow(v: f64) -> Reading {
    let mut reading = reading(0.0, v);
    reading.features.as_mut().unwrap().elbow = None;
    let verdict = reading.verdict.as_mut().unwrap();
    verdict.horizontal = None;
    verdict.not_measured = vec!["horizontal".to_owned()];
    if verdict.overall == "pass" {
        verdict.overall = "none".to_owned();
    }
    reading.advice.as_mut().unwrap().horizontal = None;
    let flag = json!({"code": "elbow-not-measured", "severity": "warning", "text": "The elbow lies on a door joint."});
    reading.flags.push(serde_json::from_value(flag).unwrap());
    reading
}

#[test]
fn a_judged_axis_that_no_photo_showed_is_not_done() {
    for is_quick in [false, true] {
        let mut session = session(is_quick);
        session.lamps[0].add(Vec::new(), without_elbow(-0.573), None, is_quick);
        assert_eq!((session.lamps[0].state(is_quick), session.next()), (State::NotMeasured, Some(0)));
        let text = next(&session, None);
        assert!(
            text.contains("judges the horizontal place, which was not measured: The elbow lies on a door joint."),
            "{text}"
        );
        let text = summary(&session);
        assert!(text.contains("horizontal not measured") && !text.contains("not judged"), "{text}");
        session.lamps[0].add(Vec::new(), reading(0.0, -0.573), None, is_quick);
        assert_eq!((session.lamps[0].state(is_quick), session.next()), (State::Good, Some(1)));
    }
    // What can be turned meanwhile is turned, and the rest said.
    let mut session = session(false);
    session.lamps[0].add(Vec::new(), without_elbow(0.43), None, false);
    assert_eq!(session.lamps[0].state(false), State::ToTurn);
    assert!(next(&session, None).contains("Besides, the rule judges the horizontal place"));
}

/// A lamp that is in by both axes, and lights what the rule wants dark, is not simply good: both lists say so, a quick check too.
#[test]
fn a_lit_dark_zone_is_told_of_a_lamp_that_is_in() {
    for is_quick in [false, true] {
        let mut session = session(is_quick);
        let mut lit = reading(0.0, -0.573);
        let zone = json!({"above_deg": -0.286, "right_of_deg": 0.0, "left_of_deg": null, "free_of": "white light",
                          "result": "fail", "text": "the cutoff stands in it: not dark"});
        lit.verdict.as_mut().unwrap().dark_zone = Some(serde_json::from_value(zone).unwrap());
        session.lamps[0].add(Vec::new(), lit, None, is_quick);
        for text in [next(&session, None), summary(&session)] {
            assert!(text.contains("Mind the dark zone: the cutoff stands in it: not dark"), "{text}");
        }
        // The next photo shows it dark.
        session.lamps[0].add(Vec::new(), reading(0.0, -0.573), None, is_quick);
        assert!(!next(&session, None).contains("Mind the dark zone"));
    }
}

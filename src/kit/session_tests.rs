//! Aiming sessions: taught, aimed, rechecked, stopped, checked only.

use super::session::{Lamp, Movement, SESSION_SCHEMA, ScrewName, Session, SinceLast, State};
use crate::aim::Axis;
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
    Session { schema, vehicle, common: Vec::new(), is_quick, lamps }
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

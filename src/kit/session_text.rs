//! A session in words: what is next, and what came of it.

use super::session::{Lamp, Movement, ScrewName, Session, Shot, State};
use super::session_state::{AXES, axis_words, judged, measured, missing, one_sided_aim, why_missing};
use crate::aim::{Axis, Screws};
use std::fmt::Write as _;

/// Left and right low beams whose heights differ by more than this are worth a word, degrees (the repeatability that
/// UN R19 still accepts from people).
const DIFFERENCE_DEG: f64 = 0.2;

/// Said before any screw is turned.
const CAUTIONS: &str = "Park brake on, wheels chocked; exhaust led outside if the engine runs; nobody in front of a vehicle that \
can move. Lamps are hot, discharge lamps carry high voltage; do not look into the beam. Local codes and the vehicle's manual \
come before this advice.";

/// Said beside every movement.
pub const STIFF: &str =
    "A screw that is stiff or at its end: stop, do not force it; the lamp's mounting is to be looked at first.";

/// Said when what is left to turn is less than an eighth of a turn.
pub const A_TOUCH: &str = "less than an eighth of a turn is left: a touch, and say with --turned how much it was";

/// What to do next.
pub fn next(session: &Session, screws: Option<&Screws>) -> String {
    let mut text = String::new();
    for lamp in &session.lamps {
        // Writing to a String cannot fail.
        let _ = writeln!(text, "  {:<12}{}", lamp.name(), state_words(lamp, session.is_quick));
        if let Some(words) = zone_words(lamp) {
            let _ = writeln!(text, "  {:<12}Mind the dark zone: {words}", "");
        }
    }
    let Some(place) = session.next() else {
        text += "Every lamp is done: `lampwright aim summary` shows before and after.\n";
        return text;
    };
    let lamp = &session.lamps[place];
    let other = if lamp.side == "left" { "right" } else { "left" };
    text += "Next\n";
    match lamp.state(session.is_quick) {
        State::ToPhotograph if lamp.shots.is_empty() => {
            let _ = writeln!(
                text,
                "  {} lamp, {} beam: switch it on, cover the {other} lamp, photograph the wall.",
                lamp.side, lamp.beam
            );
        }
        State::ToPhotograph => {
            let _ = writeln!(
                text,
                "  {}: the last photo could not be used. Photograph again as it says there.",
                lamp.name()
            );
        }
        State::NotMeasured => {
            let _ = writeln!(
                text,
                "  {}: {} Photograph it again (--not-turned); --lamp and --beam go on with another lamp first.",
                lamp.name(),
                not_measured_words(lamp).unwrap_or_default()
            );
        }
        State::ToRecheck => {
            let _ = writeln!(
                text,
                "  {}: {}. Push the vehicle down at the front and let it settle, then photograph once more without touching a \
                 screw (--not-turned): the recheck.",
                lamp.name(),
                reached_words(lamp)
            );
        }
        _ => text += &turn_words(lamp, screws),
    }
    text
}

/// What was reached, before the recheck.
pub fn reached_words(lamp: &Lamp) -> &'static str {
    match lamp.last_overall() {
        "pass" => "in",
        "borderline" => "as near to its aim as it can be told",
        _ => "at its nominal, which has no limits to judge by",
    }
}

/// Which judged axes the last usable photo does not show, and why.
pub fn not_measured_words(lamp: &Lamp) -> Option<String> {
    let reading = &lamp.usable().last()?.reading;
    let axes = missing(reading);
    let why: Vec<&str> = why_missing(reading).iter().map(|text| text.trim_end_matches('.')).collect();
    let why = if why.is_empty() { String::new() } else { format!(": {}", why.join("; ")) };
    (!axes.is_empty())
        .then(|| format!("the rule judges the {} place, which was not measured{why}.", axes.join(" and the ")))
}

/// What the last usable photo warns of the rule's dark zone: the axes, by which a lamp is done, know nothing of it.
pub fn zone_words(lamp: &Lamp) -> Option<&str> {
    let zone = lamp.usable().last()?.reading.verdict.as_ref()?.dark_zone.as_ref()?;
    (zone.result != "not judged").then_some(zone.text.as_str())
}

/// What an axis with a limit on one side alone is aimed at, when it is to be moved.
pub fn aim_notes(lamp: &Lamp) -> Vec<String> {
    let Some(Shot { reading, .. }) = lamp.usable().last().copied() else { return Vec::new() };
    let (by_h, by_v) = lamp.still_to_go();
    let note = |name: &&str, by: Option<f64>| {
        let judged = by.and_then(|_| judged(reading, name))?;
        let aim = one_sided_aim(judged)?;
        let (kind, limit, side) = match judged.upper_deg {
            Some(upper) => ("an upper", upper, "below"),
            None => ("a lower", judged.lower_deg?, "above"),
        };
        Some(format!(
            "The rule gives the {name} place {kind} limit only, {limit:+.2} deg: it is aimed at {aim:+.2} deg, {side} the limit by \
             its uncertainty of {:.2} and a reserve.",
            judged.u_deg
        ))
    };
    AXES.iter().zip([by_v, by_h]).filter_map(|(name, by)| note(name, by)).collect()
}

fn turn_words(lamp: &Lamp, screws: Option<&Screws>) -> String {
    let mut text = format!("  {CAUTIONS}\n  {}: turn, in this order:\n", lamp.name());
    for movement in &lamp.proposed {
        let _ = writeln!(text, "    {}", movement_words(movement, screws));
    }
    if lamp.proposed.is_empty() {
        let _ = writeln!(text, "    {A_TOUCH}");
    }
    for note in aim_notes(lamp).into_iter().chain(screw_notes(lamp, screws)) {
        let _ = writeln!(text, "  {note}");
    }
    if let Some(words) = not_measured_words(lamp) {
        let _ = writeln!(text, "  Besides, {words}");
    }
    text += if lamp.proposed.is_empty() {
        "  Then photograph again (--turned for what was turned).\n"
    } else {
        "  Then photograph again (--as-told, or --turned for what was turned instead).\n"
    };
    let _ = writeln!(text, "  {STIFF}");
    text
}

/// What is to be known of the screws that are to be turned.
pub fn screw_notes(lamp: &Lamp, screws: Option<&Screws>) -> Vec<String> {
    let response = lamp.response(screws);
    let mut notes = Vec::new();
    for axis in [Axis::Vertical, Axis::Horizontal] {
        let name = if axis == Axis::Vertical { "vertical" } else { "horizontal" };
        let is_turned = lamp.proposed.iter().any(|movement| movement.turned().screw == axis);
        if is_turned && !response.is_known(axis) {
            notes.push(format!("It is not known yet what the {name} screw does: this turn shows it."));
        }
        if let Some(backlash) = response.noticed_backlash(axis) {
            notes.push(format!(
                "The {name} screw has about {:.2} turns of backlash: end every movement clockwise.",
                backlash.value
            ));
        }
    }
    notes
}

fn movement_words(movement: &Movement, screws: Option<&Screws>) -> String {
    let (axis, word) = match movement.screw {
        ScrewName::Vertical => (Axis::Vertical, "vertical"),
        ScrewName::Horizontal => (Axis::Horizontal, "horizontal"),
    };
    let name = screws
        .and_then(|screws| screws.for_axis(axis))
        .map_or_else(|| format!("{word} screw"), |screw| format!("screw \"{}\" ({word})", screw.name));
    let way = if movement.quarter_turns < 0.0 { "counterclockwise" } else { "clockwise" };
    let quarters = movement.quarter_turns.abs();
    let plural = if (quarters - 1.0).abs() < 1e-9 { "" } else { "s" };
    format!("{name}: {way} {quarters:.1} quarter turn{plural} ({:.3} of a turn)", quarters / 4.0)
}

fn state_words(lamp: &Lamp, is_quick: bool) -> String {
    let last = lamp.usable().last().map(|shot| &shot.reading);
    let word = match lamp.state(is_quick) {
        State::ToPhotograph => "to photograph",
        State::NotMeasured => "NOT MEASURED, to photograph again",
        State::ToTurn => "to aim",
        State::ToRecheck => "to recheck",
        State::Good => "PASS",
        State::TooClose => "BORDERLINE: no turn helps; measure height, distance and floor better",
        State::AtNominal => "not judged (a nominal without limits): at its nominal as near as can be told",
        State::NeedsAiming => "NEEDS AIMING",
        State::Seized => "STOP: the beam does not follow its screw (seized, or at its end)",
        State::NoVerdict => "no verdict",
    };
    let values = last.map(|reading| {
        let value = |name: &str| {
            measured(reading, name).map_or("-".to_owned(), |(value, u)| format!("{value:+.2} ± {u:.2} deg"))
        };
        format!("  V {}, H {}", value(AXES[0]), value(AXES[1]))
    });
    format!("{word:<14}{}", values.unwrap_or_default())
}

/// Before and after of every lamp, and how the two sides compare.
pub fn summary(session: &Session) -> String {
    let mut text = format!("Vehicle {}\n", session.vehicle);
    for lamp in &session.lamps {
        let _ = writeln!(text, "{}: {}", lamp.name(), state_words(lamp, session.is_quick));
        if let Some(words) = not_measured_words(lamp) {
            let _ = writeln!(text, "  {words}");
        }
        if let Some(words) = zone_words(lamp) {
            let _ = writeln!(text, "  Mind the dark zone: {words}");
        }
        let usable = lamp.usable();
        if let (Some(first), Some(last)) = (usable.first(), usable.last()) {
            let moves = usable.iter().skip(1).filter(|shot| !shot.turned.is_empty()).count();
            for (word, shot) in [("before", first), ("after", last)] {
                let _ = writeln!(
                    text,
                    "  {word:<7} vertical {}, horizontal {}, {}",
                    axis_words(&shot.reading, AXES[0]),
                    axis_words(&shot.reading, AXES[1]),
                    shot.reading.photo.file
                );
            }
            let _ = writeln!(text, "  moves   {moves}, photos {}", lamp.shots.len());
        }
    }
    text += &difference(session).unwrap_or_default();
    text
}

/// What is said of left and right low beams that stand at different heights.
pub fn difference(session: &Session) -> Option<String> {
    let height = |side: &str| {
        let lamp = session.lamps.iter().find(|lamp| lamp.side == side && lamp.beam == "low")?;
        measured(&lamp.usable().last()?.reading, AXES[0]).map(|(value, _)| value)
    };
    let (left, right) = (height("left")?, height("right")?);
    ((left - right).abs() > DIFFERENCE_DEG).then(|| {
        format!(
            "Left and right low beams stand {:.2} deg apart in height (left {left:+.2}, right {right:+.2}), more than \
             {DIFFERENCE_DEG}: aim both to the same nominal.\n",
            (left - right).abs()
        )
    })
}

//! The checklist of the trade: what must be right about the vehicle before a beam is measured.
//!
//! **Takes** the rule (whose load it states), the beam, and the kind of lamp. **Gives** the [`Item`]s in the order in which
//! one walks round the vehicle. Every item is common practice, no source, where it names none; the vehicle's manual and local
//! codes come first.

use crate::aim::{Beam, Rule};
use serde::Serialize;

/// Kind of light source.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LampKind {
    /// Filament bulb.
    Halogen,
    /// Gas discharge: high voltage, needs minutes to be steady.
    Discharge,
    /// Light-emitting diodes, laser included.
    Led,
    /// Nobody looked yet.
    Unknown,
}

/// One thing to see to.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Item {
    /// Stable name, for records.
    pub id: &'static str,
    /// Heading that it stands under.
    pub group: &'static str,
    /// What to do.
    pub text: String,
    /// Whether the measurement must not go on when it fails.
    pub is_stop: bool,
}

const SAFETY: &str = "Safety";
const VEHICLE: &str = "Vehicle";
const LAMPS: &str = "Lamps";
const ADJUSTERS: &str = "Adjusters";
const ROOM: &str = "Room and photo";

/// The checklist.
pub fn checklist(rule: &Rule, beam: Beam, kind: LampKind) -> Vec<Item> {
    let item = |id, group, text: &str| Item { id, group, text: text.to_owned(), is_stop: false };
    let stop = |id, group, text: &str| Item { id, group, text: text.to_owned(), is_stop: true };
    let mut list = vec![
        stop(
            "brake",
            SAFETY,
            "Park brake on, wheels chocked once the vehicle stands on its marks; nobody in front of it while it moves.",
        ),
        stop(
            "exhaust",
            SAFETY,
            "Engine off and the battery on a charger; or engine idling with the exhaust led outside.",
        ),
        stop("eyes", SAFETY, "Do not look into the beam, also not through the phone at full brightness."),
        item("hot", SAFETY, "Lamps and their housings are hot: gloves, and wait before a bulb is touched."),
    ];
    if matches!(kind, LampKind::Discharge | LampKind::Unknown) {
        list.push(stop(
            "high-voltage",
            SAFETY,
            "Discharge lamps carry high voltage, also shortly after switching off: no hand at the socket or the ballast.",
        ));
    }
    let load = format!("Load as the rule wants it: {}.", rule.load);
    list.extend([
        item("tyres", VEHICLE, "Tyres of the stated size, at the pressure on the vehicle's plate, no flat one."),
        item("load", VEHICLE, &load),
        item("fuel", VEHICLE, "Fuel level noted; luggage out unless the rule or the vehicle's manual says otherwise."),
        item("ride-height", VEHICLE, "Ride height looks right on both sides: no broken spring, no change of suspension unnoted."),
        item("settle", VEHICLE, "Rolled in straight over at least one whole wheel turn, pushed down at the front, left to settle (UN R48 Annex 6, secondary)."),
        item("place", VEHICLE, "On the bay's marks, square to the wall; offsets of front and rear wheels measured (`lampwright vehicle yaw`)."),
        item("charged", VEHICLE, "Battery charged: a weak one dims the lamp."),
        item("levelling-switch", LAMPS, "Levelling switch at its base position (0); where the rule tests as found, leave it and write down its place."),
        item(
            "automatic",
            LAMPS,
            "Adaptive, bending and automatic high beam off, automatic levelling in its base state, by the maker's procedure: unplugging is no procedure.",
        ),
        stop("whole", LAMPS, "Lens clean, dry inside and whole, lamp tight in its mounting, the right bulb seated right."),
        item("type-mark", LAMPS, "Type mark on the lens read: it says which pattern to choose (VOL: left-cutoff, VOR: right-cutoff, E: kink, none: spot)."),
    ]);
    list.push(match kind {
        LampKind::Halogen => item("warm", LAMPS, "Lamp on for a minute."),
        LampKind::Discharge => {
            item("warm", LAMPS, "Discharge lamp on until its light is steady: five minutes at least.")
        }
        LampKind::Led => {
            item("warm", LAMPS, "Lamp on for a minute; a bar that is partly dark is a defect, not an aim.")
        }
        LampKind::Unknown => {
            item("warm", LAMPS, "Lamp on until its light is steady: a minute, for discharge lamps five at least.")
        }
    });
    let beam_word = match beam {
        Beam::Low => "Low beam on, high and fog beams off.",
        Beam::High => "High beam on. A high beam in the low beam's housing moves with it: aim the low beam only.",
        Beam::Fog => "Front fog lamps on, low beam covered.",
    };
    list.extend([
        item("beam", LAMPS, beam_word),
        item("height", LAMPS, &format!("Height measured from the floor at the lamp to {}.", rule.height.meaning())),
        item("other-covered", LAMPS, "The other lamp covered with something that lets no light through and is not set on fire by it."),
        stop(
            "adjusters",
            ADJUSTERS,
            "Adjusters found and free. One that is seized, broken or at its end: stop, do not force it; mend or hand over first.",
        ),
        item("tool", ADJUSTERS, "The right tool at hand, and which way a clockwise turn moves the beam, if it is known."),
        item("dark", ROOM, "Gate closed, room lights off, no sun on the wall."),
        item("marks", ROOM, "All marks clean, flat and seen by the camera; the bay's survey not overdue (`lampwright bay check`)."),
        item("camera", ROOM, "No flash, no zoom, no night or HDR mode; focus on the wall; phone rested; out of the beam."),
    ]);
    list
}

/// As text for a sheet of paper or a screen: boxes to tick.
pub fn to_text(items: &[Item]) -> String {
    let mut text = String::new();
    let mut group = "";
    for item in items {
        if item.group != group {
            group = item.group;
            text += &[if text.is_empty() { "" } else { "\n" }, group, "\n"].concat();
        }
        let mark = if item.is_stop { " (else stop)" } else { "" };
        text += &["  [ ] ", &item.text, mark, "\n"].concat();
    }
    text += "\nLocal codes, the vehicle's manual and licensed practice come before this list. Items without a source are common\n\
             practice, no source.\n";
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    fn list(kind: LampKind, rule: &str) -> Vec<Item> {
        checklist(&Rule::built_in(rule).unwrap().unwrap(), Beam::Low, kind)
    }

    #[test]
    fn ids_are_unique_and_every_caution_is_there() {
        let items = list(LampKind::Unknown, "shop-check");
        let mut ids: Vec<&str> = items.iter().map(|item| item.id).collect();
        ids.sort_unstable();
        let before = ids.len();
        ids.dedup();
        assert_eq!(ids.len(), before);
        for needed in
            ["brake", "exhaust", "eyes", "hot", "high-voltage", "adjusters", "other-covered", "levelling-switch"]
        {
            assert!(ids.contains(&needed), "{needed}");
        }
        assert!(!list(LampKind::Led, "shop-check").iter().any(|item| item.id == "high-voltage"));
    }

    #[test]
    fn load_and_height_are_the_rule_s() {
        let text = to_text(&list(LampKind::Halogen, "us-new-jersey-single"));
        assert!(text.contains("Load as the rule wants it: unladen."), "{text}");
        assert!(to_text(&list(LampKind::Halogen, "un-r48")).contains("lower edge of the lit surface"));
        assert!(text.contains("[ ]") && text.contains("(else stop)"));
    }
}

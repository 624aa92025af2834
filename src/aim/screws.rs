//! The lamp's adjusting screws (TOML, schema `lampwright/screws/1`): which way and how far one turn moves the beam.
//!
//! **Takes** the file's text. **Gives** [`Screws`]. **Fails when** a field is unknown, a screw moves one axis but is
//! said to go along the other, the angle per turn is missing, doubled or impossible, or two screws share a name.

use crate::error::{Error, check_finite};
use crate::units::{Deg, Mm};
use serde::Deserialize;

/// The schema line that a screws file must carry.
pub const SCREWS_SCHEMA: &str = "lampwright/screws/1";

/// Most that one turn of an adjuster can do, degrees: a 2 mm thread on an 80 mm lever makes 1.4; with room for
/// bevel gears (common practice, no source).
const MAX_DEG_PER_TURN: f64 = 10.0;
/// Thread pitch that a screw can have, mm.
const PITCH_RANGE_MM: std::ops::RangeInclusive<f64> = 0.1..=10.0;
/// Lever that a lamp housing can have, mm.
const LEVER_RANGE_MM: std::ops::RangeInclusive<f64> = 5.0..=1000.0;

/// A direction of aim.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Axis {
    /// Up and down.
    Vertical,
    /// Left and right.
    Horizontal,
}

/// One adjusting screw.
#[derive(Debug, Clone, PartialEq)]
pub struct Screw {
    /// Name for people.
    pub name: String,
    /// Which way it moves the beam.
    pub moves: Axis,
    /// Whether a clockwise turn, seen facing the driven end, moves the beam up (or right).
    pub is_clockwise_positive: bool,
    /// How far one turn moves the beam, above 0.
    pub per_turn: Deg,
}

/// All screws of a lamp.
#[derive(Debug, Clone, PartialEq)]
pub struct Screws {
    /// Name for people.
    pub name: String,
    /// The screws, in the order of the file.
    pub screws: Vec<Screw>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawScrews {
    schema: String,
    name: String,
    screw: Vec<RawScrew>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawScrew {
    name: String,
    moves: Axis,
    clockwise_moves: RawDirection,
    deg_per_turn: Option<f64>,
    thread_pitch_mm: Option<f64>,
    lever_mm: Option<f64>,
}

#[derive(Deserialize, Debug, Clone, Copy)]
#[serde(rename_all = "kebab-case")]
enum RawDirection {
    Up,
    Down,
    Left,
    Right,
}

impl Screws {
    /// Reads a screws file's text; `path` names it in messages.
    pub fn parse(text: &str, path: &str) -> Result<Self, Error> {
        check_finite(text, path)?;
        let raw: RawScrews = toml::from_str(text).map_err(|error| {
            let hint = "compare it with calib/screws/two-screws.screws.toml";
            Error::file(path, format!("not a screws file: {error}"), hint)
        })?;
        if raw.schema != SCREWS_SCHEMA {
            return Err(Error::file(
                path,
                format!("schema is \"{}\", need \"{SCREWS_SCHEMA}\"", raw.schema),
                "is this a screws file of this program?",
            ));
        }
        if raw.screw.is_empty() {
            return Err(Error::file(path, "no [[screw]], need at least one", "describe the screws of the lamp"));
        }
        let mut screws: Vec<Screw> = Vec::with_capacity(raw.screw.len());
        for (place, raw) in raw.screw.into_iter().enumerate() {
            let named = format!("[[screw]] number {} (\"{}\")", place + 1, raw.name);
            let screw = resolve(raw).map_err(|(found, hint)| Error::file(path, format!("{named}: {found}"), hint))?;
            if screws.iter().any(|other| other.name == screw.name) {
                return Err(Error::file(
                    path,
                    format!("{named}: the name is used twice"),
                    "name each screw differently",
                ));
            }
            screws.push(screw);
        }
        Ok(Self { name: raw.name, screws })
    }

    /// The first screw of the file that moves the beam along an axis.
    pub fn for_axis(&self, axis: Axis) -> Option<&Screw> {
        self.screws.iter().find(|screw| screw.moves == axis)
    }
}

fn resolve(raw: RawScrew) -> Result<Screw, (String, &'static str)> {
    let is_clockwise_positive = match (raw.moves, raw.clockwise_moves) {
        (Axis::Vertical, RawDirection::Up) | (Axis::Horizontal, RawDirection::Right) => true,
        (Axis::Vertical, RawDirection::Down) | (Axis::Horizontal, RawDirection::Left) => false,
        (axis, direction) => {
            let axis = if axis == Axis::Vertical { "vertical" } else { "horizontal" };
            return Err((
                format!("moves = \"{axis}\", but clockwise_moves = \"{}\"", format!("{direction:?}").to_lowercase()),
                "vertical goes up or down, horizontal goes left or right",
            ));
        }
    };
    let per_turn = match (raw.deg_per_turn, raw.thread_pitch_mm, raw.lever_mm) {
        (Some(deg), None, None) => Deg::new(deg),
        (None, Some(pitch), Some(lever)) if PITCH_RANGE_MM.contains(&pitch) && LEVER_RANGE_MM.contains(&lever) => {
            Mm::new(pitch).to_deg_at(Mm::new(lever))
        }
        (None, Some(pitch), Some(lever)) => {
            return Err((
                format!("thread_pitch_mm = {pitch}, lever_mm = {lever}, need 0.1 to 10 and 5 to 1000"),
                "give millimetres: the thread's pitch, and from the screw to the pivot",
            ));
        }
        _ => {
            return Err((
                "need either deg_per_turn, or thread_pitch_mm with lever_mm".into(),
                "learn deg_per_turn from two photos with one turn between them",
            ));
        }
    };
    if !(per_turn.get() > 0.0 && per_turn.get() <= MAX_DEG_PER_TURN) {
        return Err((
            format!("deg_per_turn = {}, need above 0 and at most {MAX_DEG_PER_TURN}", per_turn.get()),
            "the direction is said by clockwise_moves, the amount is positive",
        ));
    }
    Ok(Screw { name: raw.name, moves: raw.moves, is_clockwise_positive, per_turn })
}

#[cfg(test)]
mod tests {
    use super::*;

    const GOOD: &str = include_str!("../../calib/screws/two-screws.screws.toml");

    #[test]
    fn example_file_reads() {
        let screws = Screws::parse(GOOD, "two.toml").unwrap();
        let top = screws.for_axis(Axis::Vertical).unwrap();
        assert!(top.name == "top" && top.is_clockwise_positive && (top.per_turn.get() - 0.65).abs() < 1e-12);
        let side = screws.for_axis(Axis::Horizontal).unwrap();
        // atan(1.25 / 110) = 0.65106 deg, by hand from tan x ~ x + x^3/3.
        assert!(!side.is_clockwise_positive && (side.per_turn.get() - 0.651_06).abs() < 1e-5);
    }

    /// Degrees per turn by pitch and lever, two printed digits, computed apart from this program.
    #[test]
    fn angle_per_turn_from_geometry() {
        for (pitch, lever, deg) in [(1.0, 80.0, 0.72), (1.25, 100.0, 0.72), (1.5, 120.0, 0.72), (2.0, 150.0, 0.76)] {
            let geometry = format!("thread_pitch_mm = {pitch:.2}\nlever_mm = {lever:.1}");
            let text = GOOD.replace("deg_per_turn = 0.65", &geometry);
            let screws = Screws::parse(&text, "two.toml").unwrap();
            assert!((screws.screws[0].per_turn.get() - deg).abs() <= 0.005, "{pitch} {lever}");
        }
    }

    #[test]
    fn each_slip_in_a_file_is_named() {
        let slips = [
            ("lampwright/screws/1", "lampwright/bay/1", "schema is"),
            ("clockwise_moves = \"up\"", "clockwise_moves = \"left\"", "clockwise_moves = \"left\""),
            ("clockwise_moves = \"up\"", "clockwise_moves = \"in\"", "unknown variant"),
            ("deg_per_turn = 0.65", "deg_per_turn = -0.65", "need above 0"),
            ("deg_per_turn = 0.65", "deg_per_turn = nan", "need a finite number"),
            ("deg_per_turn = 0.65", "deg_per_turn = 0.65\nlever_mm = 100", "need either"),
            ("deg_per_turn = 0.65", "thread_pitch_mm = 1.0", "need either"),
            ("thread_pitch_mm = 1.25", "thread_pitch_mm = 0.0", "need 0.1 to 10"),
            ("name = \"outer side\"", "name = \"top\"", "used twice"),
            ("deg_per_turn = 0.65", "degrees = 0.65", "unknown field"),
        ];
        for (good, bad, expected) in slips {
            assert!(GOOD.contains(good), "{good}");
            let found = Screws::parse(&GOOD.replacen(good, bad, 1), "my.toml").unwrap_err().to_string();
            assert!(found.starts_with("my.toml: ") && found.contains(expected), "{bad}: {found}");
        }
    }
}

//! A vehicle's aiming session: its lamps, every photo with what was turned before it, and what that taught.
//!
//! **Takes** readings and turns, in order. **Gives** a [`Session`] that is kept as JSON (schema `lampwright/session/1`) between
//! photos, and of each lamp its [`State`] and the next [`Turned`] movements. **How**: `aim::learn` fits what the screws do to all
//! photos of a lamp; the difference still to go is the reading's own advice. **Fails when** a photo belongs to no lamp of the
//! vehicle, or nobody said what was turned since the last one.

pub use super::session_state::State;
use super::session_state::{AxisState, axes};
use crate::aim::learn::{Response, Seen, Turned, learn};
use crate::aim::{Axis, Screws};
use crate::error::Error;
use crate::reading::Reading;
use serde::{Deserialize, Serialize};

/// The schema line of every session.
pub const SESSION_SCHEMA: &str = "lampwright/session/1";

/// Repeatability is never better than this, degrees (own judgement: the vehicle moves on its springs).
const LEAST_SIGMA_DEG: f64 = 0.01;
/// A beam that moved less than this share of what was expected, after so large an expected movement, did not follow its screw.
const FOLLOWED_SHARE: f64 = 0.2;
const EXPECTED_DEG: f64 = 0.25;
/// Parts of the uncertainty that differ from photo to photo; the set-up is the same for all photos of a session.
const PHOTO_PARTS: [&str; 3] = ["edge fit", "spot fit", "wall fit"];

/// A session.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Session {
    /// [`SESSION_SCHEMA`].
    pub schema: String,
    /// The shop's own reference of the vehicle.
    pub vehicle: String,
    /// Words of `measure` that hold for every photo: bay, rule, screws, yaw and so on; paths as given.
    pub common: Vec<String>,
    /// Whether it only checks: one photo a lamp, no screws.
    pub is_quick: bool,
    /// The lamps, in the order in which they are aimed.
    pub lamps: Vec<Lamp>,
    /// Where it is recorded, when it is.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub recorded: Option<SessionRecord>,
}

/// Where a session is recorded.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct SessionRecord {
    /// Folder of the store.
    pub store: String,
    /// Id of the inspection's first record.
    pub id: String,
}

/// One beam of one lamp.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Lamp {
    /// `left` or `right`.
    pub side: String,
    /// `low`, `high` or `fog`.
    pub beam: String,
    /// Words of `measure` for this lamp: height, offset and so on.
    pub words: Vec<String>,
    /// Photos, in order.
    pub shots: Vec<Shot>,
    /// Movements that were proposed after the last photo.
    #[serde(default)]
    pub proposed: Vec<Movement>,
}

/// One photo.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Shot {
    /// What was turned since the photo before.
    pub turned: Vec<Movement>,
    /// The reading.
    pub reading: Reading,
}

/// A movement of a screw, as a file keeps it.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "records", derive(schemars::JsonSchema))]
pub struct Movement {
    /// Axis that the screw mainly moves: `vertical` or `horizontal`.
    pub screw: ScrewName,
    /// Quarter turns, clockwise positive.
    pub quarter_turns: f64,
}

/// A screw by the axis that it mainly moves.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "records", derive(schemars::JsonSchema))]
#[serde(rename_all = "lowercase")]
pub enum ScrewName {
    /// Up and down.
    Vertical,
    /// Left and right.
    Horizontal,
}

impl Movement {
    /// In turns, for the learning.
    pub fn turned(&self) -> Turned {
        let screw = match self.screw {
            ScrewName::Vertical => Axis::Vertical,
            ScrewName::Horizontal => Axis::Horizontal,
        };
        Turned { screw, turns: self.quarter_turns / 4.0 }
    }

    /// From turns.
    pub fn of(turned: &Turned) -> Self {
        let screw = match turned.screw {
            Axis::Vertical => ScrewName::Vertical,
            Axis::Horizontal => ScrewName::Horizontal,
        };
        Self { screw, quarter_turns: turned.turns * 4.0 }
    }
}

/// What was said of the screws since the last photo.
#[derive(Debug, Clone, PartialEq)]
pub enum SinceLast {
    /// Nothing was said.
    Unsaid,
    /// What was proposed was done.
    AsProposed,
    /// Nothing was turned.
    Nothing,
    /// This was turned, in order.
    Turned(Vec<Movement>),
}

impl Session {
    /// Reads a session's text; `path` is for the message.
    pub fn parse(text: &str, path: &str) -> Result<Self, Error> {
        let hint = "name the file that `lampwright aim start` made";
        let session: Self =
            serde_json::from_str(text).map_err(|error| Error::file(path, format!("is no session: {error}"), hint))?;
        if session.schema != SESSION_SCHEMA {
            let found = format!("has the schema {:?}, need {SESSION_SCHEMA:?}", session.schema);
            return Err(Error::file(path, found, hint));
        }
        Ok(session)
    }

    /// The file's text.
    pub fn to_json(&self) -> Result<String, serde_json::Error> {
        Ok(serde_json::to_string_pretty(self)? + "\n")
    }

    /// The lamp that is next: the first that is not done with.
    pub fn next(&self) -> Option<usize> {
        self.lamps.iter().position(|lamp| !lamp.state(self.is_quick).is_done())
    }

    /// Which lamp a photo is of: the one named, else the next.
    pub fn place(&self, side: Option<&str>, beam: Option<&str>) -> Result<usize, Error> {
        if side.is_none() && beam.is_none() {
            return self.next().ok_or_else(|| {
                Error::usage(
                    "every lamp of this session is done",
                    "name the lamp with --lamp and --beam to photograph it again",
                )
            });
        }
        let fits = |lamp: &Lamp| side.is_none_or(|side| lamp.side == side) && beam.is_none_or(|beam| lamp.beam == beam);
        self.lamps.iter().position(fits).ok_or_else(|| {
            let known: Vec<String> = self.lamps.iter().map(Lamp::name).collect();
            Error::usage(
                format!("this session has no {} {}", side.unwrap_or("left or right"), beam.unwrap_or("low or high")),
                format!("it has {}", known.join(", ")),
            )
        })
    }
}

impl Lamp {
    /// For people.
    pub fn name(&self) -> String {
        format!("{} {}", self.side, self.beam)
    }

    /// What was turned since the last usable photo, from what was said.
    pub fn turned_since(&self, said: &SinceLast) -> Result<Vec<Movement>, Error> {
        match said {
            SinceLast::Turned(list) => Ok(list.clone()),
            SinceLast::Nothing => Ok(Vec::new()),
            SinceLast::AsProposed => Ok(self.proposed.clone()),
            SinceLast::Unsaid if self.proposed.is_empty() => Ok(Vec::new()),
            SinceLast::Unsaid => Err(Error::usage(
                format!("nobody said what was turned on the {} lamp since its last photo", self.name()),
                "add --as-told, or --turned SCREW:cw|ccw:QUARTERS for each movement, or --not-turned",
            )),
        }
    }

    /// Adds a photo and proposes what to turn next.
    pub fn add(&mut self, turned: Vec<Movement>, reading: Reading, screws: Option<&Screws>, is_quick: bool) {
        // A photo that was refused says nothing of the aim: what was turned before it counts for the next one.
        let carried = match self.shots.last() {
            Some(last) if last.reading.verdict.is_none() => last.turned.clone(),
            _ => Vec::new(),
        };
        let turned = [carried, turned].concat();
        self.shots.push(Shot { turned, reading });
        self.proposed.clear();
        if self.state_before_proposal(is_quick) == State::ToTurn {
            let (by_h, by_v) = self.still_to_go();
            let response = self.response(screws);
            // An axis that is in is held there once it is known what its screw does.
            let hold = |by: Option<f64>, axis| by.or_else(|| response.is_known(axis).then_some(0.0));
            let moves = response.turns_to(hold(by_h, Axis::Horizontal), hold(by_v, Axis::Vertical));
            self.proposed = moves.iter().map(Movement::of).collect();
        }
    }

    /// Photos that show an aim, with what was turned before each.
    pub(super) fn usable(&self) -> Vec<&Shot> {
        self.shots.iter().filter(|shot| shot.reading.verdict.is_some()).collect()
    }

    /// What the photos have taught of the screws.
    pub fn response(&self, screws: Option<&Screws>) -> Response {
        let usable = self.usable();
        let moves: Vec<Vec<Turned>> =
            usable.iter().skip(1).map(|shot| shot.turned.iter().map(Movement::turned).collect()).collect();
        let seen: Vec<Seen> = usable.iter().map(|shot| seen(&shot.reading)).collect();
        learn(screws, &moves, &seen)
    }

    /// How far the beam has to go, degrees right and up; `None` where an axis is in, not judged or not measured.
    pub fn still_to_go(&self) -> (Option<f64>, Option<f64>) {
        let by = |axis| match axis {
            AxisState::Out(by) => Some(by),
            _ => None,
        };
        let [vertical, horizontal] = self.last_axes();
        (by(horizontal), by(vertical))
    }

    /// Where the last usable photo leaves the axes, vertical first.
    fn last_axes(&self) -> [AxisState; 2] {
        self.usable().last().map_or([AxisState::NotJudged; 2], |shot| axes(&shot.reading))
    }

    /// Where the lamp stands.
    pub fn state(&self, is_quick: bool) -> State {
        match self.state_before_proposal(is_quick) {
            // No screw can be turned as finely as that: what does not fail stays as it is.
            State::ToTurn if self.proposed.is_empty() && self.last_overall() != "fail" => self.at_rest(),
            state => state,
        }
    }

    /// The same, whatever the screws can do about it.
    fn state_before_proposal(&self, is_quick: bool) -> State {
        let usable = self.usable();
        if self.shots.last().is_none_or(|shot| shot.reading.verdict.is_none()) {
            return State::ToPhotograph;
        }
        if self.last_axes().iter().any(|axis| matches!(axis, AxisState::Out(_))) {
            return match is_quick {
                true => State::NeedsAiming,
                false if is_seized(&usable) => State::Seized,
                false => State::ToTurn,
            };
        }
        self.at_rest()
    }

    /// Where a lamp stands of which no screw is to be turned.
    fn at_rest(&self) -> State {
        let usable = self.usable();
        let axes = self.last_axes();
        let was_turned = usable.iter().skip(1).any(|shot| !shot.turned.is_empty());
        let is_fresh = was_turned && usable.last().is_some_and(|shot| !shot.turned.is_empty());
        if axes.contains(&AxisState::NotMeasured) {
            return State::NotMeasured;
        }
        if axes == [AxisState::NotJudged; 2] {
            return State::NoVerdict;
        }
        match self.last_overall() {
            _ if is_fresh => State::ToRecheck,
            "pass" => State::Good,
            "borderline" => State::TooClose,
            _ => State::AtNominal,
        }
    }

    /// The overall verdict of the last usable photo.
    pub fn last_overall(&self) -> &str {
        let verdict = self.usable().last().and_then(|shot| shot.reading.verdict.as_ref());
        verdict.map_or("none", |verdict| verdict.overall.as_str())
    }
}

/// Whether the last two movements that should have shown did not.
fn is_seized(usable: &[&Shot]) -> bool {
    /// Movements in a row that must fail to show.
    const IN_A_ROW: usize = 2;
    /// The least that an adjuster does, degrees a turn (common practice, no source).
    const LEAST_RATE: f64 = 0.35;
    let pairs: Vec<_> = usable.windows(2).filter(|pair| !pair[1].turned.is_empty()).collect();
    pairs.len() >= IN_A_ROW
        && [ScrewName::Vertical, ScrewName::Horizontal].into_iter().any(|screw| {
            pairs.iter().rev().take(IN_A_ROW).all(|pair| {
                let net: f64 =
                    pair[1].turned.iter().filter(|part| part.screw == screw).map(|part| part.quarter_turns / 4.0).sum();
                let moved = match (place(&pair[0].reading, screw), place(&pair[1].reading, screw)) {
                    (Some(before), Some(after)) => (after - before).abs(),
                    _ => return false,
                };
                let expected = LEAST_RATE * net.abs();
                expected > EXPECTED_DEG && moved < FOLLOWED_SHARE * expected
            })
        })
}

/// The judged value that a screw mainly moves.
fn place(reading: &Reading, screw: ScrewName) -> Option<f64> {
    let seen = seen(reading);
    match screw {
        ScrewName::Vertical => seen.v_deg,
        ScrewName::Horizontal => seen.h_deg,
    }
}

/// The aim of a reading: cutoff and elbow, or the hot spot where there is no cutoff.
fn seen(reading: &Reading) -> Seen {
    let features = reading.features.as_ref();
    let sigma = |quantity: &str| {
        let parts = reading.budget.get(quantity).into_iter().flatten();
        let square: f64 = parts
            .filter(|part| PHOTO_PARTS.contains(&part.part.as_str()))
            .filter_map(|part| part.u_deg)
            .map(|u| u * u)
            .sum();
        square.sqrt().max(LEAST_SIGMA_DEG)
    };
    if reading.setup.pattern == "spot" {
        let spot = features.and_then(|features| features.hot_spot.as_ref()).map(|spot| &spot.place);
        return Seen {
            h_deg: spot.map(|spot| spot.h_deg),
            v_deg: spot.map(|spot| spot.v_deg),
            sigma_h_deg: sigma("hot_spot_h"),
            sigma_v_deg: sigma("hot_spot_v"),
        };
    }
    Seen {
        h_deg: features.and_then(|features| features.elbow.as_ref()).map(|elbow| elbow.h_deg),
        v_deg: features.and_then(|features| features.cutoff.as_ref()).map(|cutoff| cutoff.v_deg),
        sigma_h_deg: sigma("elbow_h"),
        sigma_v_deg: sigma("cutoff_v"),
    }
}

//! The survey file (TOML, schema `lampwright/survey/1`): what was read with tape, level and plumb line, as it was read.
//!
//! **Takes** the file's text. **Gives** a [`Survey`], every number of it possible; whether it is enough shows when it is
//! worked out. **Fails when** the text is no TOML, names an unknown field, or holds a number outside its range.
//!
//! Lengths are millimetres, sigmas standard uncertainties (k = 1) of one reading.
//!
//! * **Places on the floor**: `front left`, `front right`, `rear left`, `rear right` (where the wheels stand), `lamps` (the
//!   floor on the centreline under the lamps), `wall` (the floor at the wall; `x_mm` right of the centreline, default 0).
//! * **Heights** `[[level.reading]]`: of a staff or scale that stands on the place, with `reads = "down"` (the default): the
//!   reading is **larger where the floor is lower**, as on a staff seen through a level, a laser line on a folding rule, or the
//!   water in a hose. `reads = "up"` is for instruments that show heights. `at = "mark 3"` is the same horizon read at a
//!   mark's centre: line height over the place `wall` is then larger than at the floor by the mark's height; a mark above the
//!   line reads negative with "down". Readings with the same `setup` share one horizon.
//! * **Slopes** `[[level.slope]]`: a digital spirit level on a straight edge, percent, positive when `to` is the higher end.
//! * **Wheels**: distances of the wheel places from the centreline, each towards its own side, so all positive.
//! * **Distances to the wall** from places: `square` (the shortest level distance) or `along` (parallel to the centreline).
//! * **Plumb**: level distance from a plumb line to the wall at heights; larger at the top when the top leans away.
//! * **Marks**: `x_mm` by tape along the wall from the centreline, right positive; `y_mm` by tape up the wall from the floor
//!   below the mark; or `near_*` (rough) and tapes `[[tape.reading]]` between marks, references and `foot` (where the
//!   centreline meets the wall at the floor).

use crate::error::Error;
use serde::{Deserialize, Serialize};
use std::ops::RangeInclusive;

/// The schema line that a survey file must carry.
pub const SURVEY_SCHEMA: &str = "lampwright/survey/1";

/// A survey as it was read; see the module page.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
#[expect(missing_docs, reason = "the fields are those of the file, which the module page explains")]
pub struct Survey {
    pub schema: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub id: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub name: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub date: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub surveyor: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub recheck_months: Option<u32>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub flatness_limit_mm: Option<f64>,
    pub wheels: Wheels,
    pub distance: Distance,
    pub level: Level,
    pub plumb: Plumb,
    pub tape: Tape,
    pub vehicle: Vehicle,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub mark: Vec<SurveyMark>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub reference: Vec<Reference>,
}

macro_rules! record {
    ($(#[$doc:meta])* $name:ident { $($field:ident: $kind:ty,)* }) => {
        $(#[$doc])*
        #[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
        #[serde(deny_unknown_fields)]
        #[expect(missing_docs, reason = "the fields are those of the file, which the module page explains")]
        pub struct $name { $(pub $field: $kind,)* }
    };
}

macro_rules! table {
    ($(#[$doc:meta])* $name:ident { $($field:ident: $kind:ty,)* }) => {
        $(#[$doc])*
        #[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
        #[serde(deny_unknown_fields, default)]
        #[expect(missing_docs, reason = "the fields are those of the file, which the module page explains")]
        pub struct $name { $(pub $field: $kind,)* }
    };
}

table!(
    /// Where the wheels stand.
    Wheels {
        sigma_mm: Option<f64>,
        front_left_mm: Option<f64>,
        front_right_mm: Option<f64>,
        rear_left_mm: Option<f64>,
        rear_right_mm: Option<f64>,
        wheelbase_mm: Option<f64>,
        lamps_ahead_mm: Option<f64>,
        along_sigma_mm: Option<f64>,
    }
);
table!(
    /// Distances from floor places to the wall.
    Distance { sigma_mm: Option<f64>, measured: Option<String>, reading: Vec<DistanceReading>, }
);
record!(
    /// One of them; `height_mm`: how high above the floor the tape ran.
    DistanceReading { from: String, mm: f64, height_mm: Option<f64>, sigma_mm: Option<f64>, }
);
table!(
    /// Heights of the floor.
    Level {
        instrument: Option<String>,
        reads: Option<String>,
        sigma_mm: Option<f64>,
        slope_sigma_percent: Option<f64>,
        reading: Vec<LevelReading>,
        slope: Vec<SlopeReading>,
    }
);
record!(
    /// One height.
    LevelReading { at: String, mm: f64, x_mm: Option<f64>, setup: Option<u32>, sigma_mm: Option<f64>, }
);
record!(
    /// One slope of a straight edge between two places.
    SlopeReading { from: String, to: String, percent: f64, sigma_percent: Option<f64>, }
);
table!(
    /// Plumb lines before the wall.
    Plumb { sigma_mm: Option<f64>, reading: Vec<PlumbReading>, }
);
record!(
    /// Level distance from plumb line number `line` to the wall.
    PlumbReading { line: Option<u32>, height_mm: f64, offset_mm: f64, sigma_mm: Option<f64>, }
);
table!(
    /// Tapes on the wall.
    Tape { sigma_mm: Option<f64>, reading: Vec<TapeReading>, }
);
record!(
    /// Straight distance between two points on the wall.
    TapeReading { from: String, to: String, mm: f64, sigma_mm: Option<f64>, }
);
table!(
    /// How well each vehicle's lamps are placed and measured.
    Vehicle { height_sigma_mm: Option<f64>, distance_sigma_mm: Option<f64>, offset_sigma_mm: Option<f64>, }
);
record!(
    /// A mark.
    SurveyMark {
        kind: String,
        id: u32,
        size_mm: f64,
        x_mm: Option<f64>,
        y_mm: Option<f64>,
        near_x_mm: Option<f64>,
        near_y_mm: Option<f64>,
        sigma_mm: Option<f64>,
    }
);
record!(
    /// A further point on the wall that tapes start from.
    Reference {
        name: String,
        x_mm: Option<f64>,
        y_mm: Option<f64>,
        near_x_mm: Option<f64>,
        near_y_mm: Option<f64>,
        sigma_mm: Option<f64>,
    }
);

/// Instruments that heights are read with, and what one reading is usually good for, mm (common practice, no source).
pub const INSTRUMENTS: [(&str, f64); 3] = [("water level", 1.0), ("laser level", 1.0), ("digital level", 0.3)];
/// Places on the floor.
pub const PLACES: [&str; 6] = ["front left", "front right", "rear left", "rear right", "lamps", "wall"];

/// Plausible ranges, mm.
pub const OFFSET_MM: RangeInclusive<f64> = 300.0..=1500.0;
/// Wheelbase.
pub const WHEELBASE_MM: RangeInclusive<f64> = 1000.0..=8000.0;
/// Lamps' plane ahead of the front wheel centres; negative on vehicles whose lamps stand behind them.
pub const AHEAD_MM: RangeInclusive<f64> = -1000.0..=2500.0;
/// Distance to the wall.
pub const TO_WALL_MM: RangeInclusive<f64> = 500.0..=100_000.0;
/// A height reading.
pub const LEVEL_MM: RangeInclusive<f64> = -5000.0..=5000.0;
/// A plumb line's distance from the wall.
pub const PLUMB_MM: RangeInclusive<f64> = 0.0..=3000.0;
/// Heights on the wall.
pub const HEIGHT_MM: RangeInclusive<f64> = -1000.0..=10_000.0;
/// Places along the wall.
pub const ALONG_MM: RangeInclusive<f64> = -20_000.0..=20_000.0;
/// Mark sizes.
pub const SIZE_MM: RangeInclusive<f64> = 20.0..=1000.0;
/// A standard uncertainty of a length.
pub const SIGMA_MM: RangeInclusive<f64> = 0.01..=500.0;
/// A tape on the wall.
pub const TAPE_MM: RangeInclusive<f64> = 10.0..=40_000.0;
/// A slope, percent.
pub const SLOPE_PERCENT: RangeInclusive<f64> = -20.0..=20.0;

/// How a digital spirit level's reading is usually good, percent (0.05° by its makers' tables; common practice).
pub const DEFAULT_SLOPE_SIGMA_PERCENT: f64 = 0.1;

impl Survey {
    /// Reads a survey file's text; `path` names it in messages.
    pub fn parse(text: &str, path: &str) -> Result<Self, Error> {
        let survey: Self = toml::from_str(text).map_err(|error| {
            Error::file(path, format!("not a survey file: {error}"), "compare it with calib/bays/demo.survey.toml")
        })?;
        if survey.schema != SURVEY_SCHEMA {
            return Err(Error::file(
                path,
                format!("schema is \"{}\", need \"{SURVEY_SCHEMA}\"", survey.schema),
                "is this a survey file of this program?",
            ));
        }
        survey.check(path)?;
        Ok(survey)
    }

    /// The file's text.
    pub fn to_text(&self) -> Result<String, Error> {
        toml::to_string(self).map_err(|error| {
            Error::usage(format!("the survey cannot be written: {error}"), "please report this as a defect")
        })
    }

    fn check(&self, path: &str) -> Result<(), Error> {
        let wrong = |found: String, hint: &str| Err(Error::file(path, found, hint));
        for (name, value, range) in self.numbers() {
            if !range.contains(&value) {
                let (from, to) = (range.start(), range.end());
                return wrong(
                    format!("{name} = {value}, need {from} to {to}"),
                    "read it again, in the unit of its name",
                );
            }
        }
        let one_of =
            |name: &str, value: Option<&str>, known: &[&str]| match value.filter(|value| !known.contains(value)) {
                Some(value) => {
                    wrong(format!("{name} = \"{value}\" is unknown"), &format!("use one of: {}", known.join(", ")))
                }
                None => Ok(()),
            };
        one_of("[level] instrument", self.level.instrument.as_deref(), &INSTRUMENTS.map(|(name, _)| name))?;
        one_of("[level] reads", self.level.reads.as_deref(), &["down", "up"])?;
        one_of("[distance] measured", self.distance.measured.as_deref(), &["square", "along"])?;
        for reading in &self.distance.reading {
            one_of("[[distance.reading]] from", Some(&reading.from), &PLACES[..5])?;
        }
        for slope in &self.level.slope {
            one_of("[[level.slope]] from", Some(&slope.from), &PLACES)?;
            one_of("[[level.slope]] to", Some(&slope.to), &PLACES)?;
            if slope.from == slope.to {
                return wrong(format!("[[level.slope]] from and to are both \"{}\"", slope.to), "name two places");
            }
        }
        let points = self.wall_points();
        for (n, name) in points.iter().enumerate() {
            if points[..n].contains(name) {
                return wrong(
                    format!("\"{name}\" is there twice"),
                    "give every mark its id and every reference its name",
                );
            }
        }
        let points: Vec<&str> = points.iter().map(String::as_str).collect();
        for reading in &self.tape.reading {
            one_of("[[tape.reading]] from", Some(&reading.from), &points)?;
            one_of("[[tape.reading]] to", Some(&reading.to), &points)?;
            if reading.from == reading.to {
                return wrong(format!("[[tape.reading]] from and to are both \"{}\"", reading.to), "name two points");
            }
        }
        for reading in &self.level.reading {
            one_of("[[level.reading]] at", Some(&reading.at), &[&PLACES[..], &points[1..]].concat())?;
        }
        for mark in &self.mark {
            one_of("[[mark]] kind", Some(&mark.kind), &["tag36h11", "quadrant"])?;
        }
        if let Some(date) = &self.date {
            crate::bay::parse_date(date, "date")?;
        }
        Ok(())
    }

    /// Names of the points on the wall: `foot`, the marks, the references.
    pub fn wall_points(&self) -> Vec<String> {
        let marks = self.mark.iter().map(|mark| format!("mark {}", mark.id));
        let references = self.reference.iter().map(|reference| reference.name.clone());
        std::iter::once("foot".to_owned()).chain(marks).chain(references).collect()
    }

    /// Every number with its name and its range.
    fn numbers(&self) -> Vec<(String, f64, RangeInclusive<f64>)> {
        let mut all = Vec::new();
        let mut add = |name: &str, value: Option<f64>, range: &RangeInclusive<f64>| {
            all.extend(value.map(|value| (name.to_owned(), value, range.clone())));
        };
        let wheels = &self.wheels;
        add("flatness_limit_mm", self.flatness_limit_mm, &SIGMA_MM);
        add("[wheels] sigma_mm", wheels.sigma_mm, &SIGMA_MM);
        add("[wheels] along_sigma_mm", wheels.along_sigma_mm, &SIGMA_MM);
        add("[wheels] front_left_mm", wheels.front_left_mm, &OFFSET_MM);
        add("[wheels] front_right_mm", wheels.front_right_mm, &OFFSET_MM);
        add("[wheels] rear_left_mm", wheels.rear_left_mm, &OFFSET_MM);
        add("[wheels] rear_right_mm", wheels.rear_right_mm, &OFFSET_MM);
        add("[wheels] wheelbase_mm", wheels.wheelbase_mm, &WHEELBASE_MM);
        add("[wheels] lamps_ahead_mm", wheels.lamps_ahead_mm, &AHEAD_MM);
        add("[distance] sigma_mm", self.distance.sigma_mm, &SIGMA_MM);
        for reading in &self.distance.reading {
            add("[[distance.reading]] mm", Some(reading.mm), &TO_WALL_MM);
            add("[[distance.reading]] height_mm", reading.height_mm, &HEIGHT_MM);
            add("[[distance.reading]] sigma_mm", reading.sigma_mm, &SIGMA_MM);
        }
        add("[level] sigma_mm", self.level.sigma_mm, &SIGMA_MM);
        add("[level] slope_sigma_percent", self.level.slope_sigma_percent, &(0.001..=5.0));
        for reading in &self.level.reading {
            add("[[level.reading]] mm", Some(reading.mm), &LEVEL_MM);
            add("[[level.reading]] x_mm", reading.x_mm, &ALONG_MM);
            add("[[level.reading]] sigma_mm", reading.sigma_mm, &SIGMA_MM);
        }
        for slope in &self.level.slope {
            add("[[level.slope]] percent", Some(slope.percent), &SLOPE_PERCENT);
            add("[[level.slope]] sigma_percent", slope.sigma_percent, &(0.001..=5.0));
        }
        add("[plumb] sigma_mm", self.plumb.sigma_mm, &SIGMA_MM);
        for reading in &self.plumb.reading {
            add("[[plumb.reading]] height_mm", Some(reading.height_mm), &HEIGHT_MM);
            add("[[plumb.reading]] offset_mm", Some(reading.offset_mm), &PLUMB_MM);
            add("[[plumb.reading]] sigma_mm", reading.sigma_mm, &SIGMA_MM);
        }
        add("[tape] sigma_mm", self.tape.sigma_mm, &SIGMA_MM);
        for reading in &self.tape.reading {
            add("[[tape.reading]] mm", Some(reading.mm), &TAPE_MM);
            add("[[tape.reading]] sigma_mm", reading.sigma_mm, &SIGMA_MM);
        }
        add("[vehicle] height_sigma_mm", self.vehicle.height_sigma_mm, &SIGMA_MM);
        add("[vehicle] distance_sigma_mm", self.vehicle.distance_sigma_mm, &SIGMA_MM);
        add("[vehicle] offset_sigma_mm", self.vehicle.offset_sigma_mm, &SIGMA_MM);
        for mark in &self.mark {
            add("[[mark]] size_mm", Some(mark.size_mm), &SIZE_MM);
            for (x, y) in [(mark.x_mm, mark.y_mm), (mark.near_x_mm, mark.near_y_mm)] {
                add("[[mark]] x_mm", x, &ALONG_MM);
                add("[[mark]] y_mm", y, &HEIGHT_MM);
            }
            add("[[mark]] sigma_mm", mark.sigma_mm, &SIGMA_MM);
        }
        for point in &self.reference {
            for (x, y) in [(point.x_mm, point.y_mm), (point.near_x_mm, point.near_y_mm)] {
                add("[[reference]] x_mm", x, &ALONG_MM);
                add("[[reference]] y_mm", y, &HEIGHT_MM);
            }
            add("[[reference]] sigma_mm", point.sigma_mm, &SIGMA_MM);
        }
        all
    }
}

//! The bay file (TOML, schema `lampwright/bay/1`) and the set-up of one lamp in it.
//!
//! **Takes** the file's text. **Gives** a [`Bay`] whose marks have resolved ids and whose uncertainties are complete.
//! **Fails when** the text is no TOML, names an unknown field, has fewer than four marks, or ids that collide.

mod survey_note;

pub use survey_note::{DEFAULT_RECHECK_MONTHS, MarkNote, SurveyNote, months_after, parse_date};

use crate::error::{Error, check_finite};
use crate::units::{Mm, Percent, WallPoint};
use serde::Deserialize;

/// The schema line that a bay file must carry.
pub const BAY_SCHEMA: &str = "lampwright/bay/1";

/// A surveyed bay: the wall, the floor, the marks, and how well all of it is known.
#[derive(Debug, Clone, PartialEq)]
pub struct Bay {
    /// Short id, unique in the shop.
    pub id: String,
    /// Name for people.
    pub name: String,
    /// The wall against the bay frame.
    pub wall: Wall,
    /// The floor; `None` when it was not surveyed.
    pub floor: Option<Floor>,
    /// The marks, in the order of the file.
    pub marks: Vec<Mark>,
    /// Standard uncertainties of the set-up.
    pub uncertainty: SetupUncertainty,
    /// When and how it was surveyed, when the file says so.
    pub survey: Option<SurveyNote>,
}

/// Where the wall stands.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Wall {
    /// Lamps' plane to wall along the centreline.
    pub distance: Mm,
    /// Positive when the wall's right side is farther away, degrees.
    pub yaw_deg: f64,
    /// Positive when the wall's top is farther away, degrees.
    pub tilt_deg: f64,
}

/// How the floor runs under the vehicle.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Floor {
    /// Positive when the floor under the vehicle rises towards the wall.
    pub slope: Percent,
    /// Positive when the floor's right side is higher.
    pub cross: Percent,
    /// Floor at the wall minus floor under the lamps, plumb, positive up; when given, mark heights count from the floor
    /// at the wall.
    pub rise_to_wall: Mm,
}

/// The kind of a reference mark.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum MarkKind {
    /// `AprilTag` of family 36h11, printed upright; the size is the edge of the black square.
    Tag36h11,
    /// A disc split in four: upper left and lower right black, the others white; the size is its diameter.
    Quadrant,
}

/// One reference mark on the wall.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Mark {
    /// Its kind.
    pub kind: MarkKind,
    /// A tag's code, or a quadrant mark's id (its place in the file when the file gives none).
    pub id: u32,
    /// Edge of the black square, or diameter of the disc.
    pub size: Mm,
    /// Its centre on the wall's face.
    pub centre: WallPoint,
}

/// Standard uncertainties (k = 1) of the set-up.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SetupUncertainty {
    /// Place of each mark on the wall, per axis, mm.
    pub marks_mm: f64,
    /// Lamp centre above the floor, mm.
    pub height_mm: f64,
    /// Lamp centre from the centreline, mm; `None`: 5 when the offset is given, 75 when it is assumed.
    pub offset_mm: Option<f64>,
    /// Lamps' plane to wall, mm.
    pub distance_mm: f64,
    /// Floor slope, percent.
    pub floor_percent: f64,
    /// Vehicle against the centreline, degrees; `None`: 0.1 when the yaw was measured, 0.3 when it was not.
    pub yaw_deg: Option<f64>,
}

/// Standard uncertainty of a mark's place when the bay file gives none, mm.
pub const DEFAULT_MARKS_MM: f64 = 1.0;
/// Standard uncertainty of the lamp's height when the bay file gives none, mm.
pub const DEFAULT_HEIGHT_MM: f64 = 3.0;
/// Standard uncertainty of a given lamp offset when the bay file gives none, mm.
pub const DEFAULT_OFFSET_MM: f64 = 5.0;
/// Standard uncertainty of the assumed lamp offset, mm.
pub const ASSUMED_OFFSET_SIGMA_MM: f64 = 75.0;
/// Lamp offset that is assumed when none is given, mm.
pub const ASSUMED_OFFSET_MM: f64 = 600.0;
/// Standard uncertainty of the distance when the bay file gives none, mm.
pub const DEFAULT_DISTANCE_MM: f64 = 10.0;
/// Standard uncertainty of a surveyed floor slope when the bay file gives none, percent.
pub const DEFAULT_FLOOR_PERCENT: f64 = 0.05;
/// Standard uncertainty of the floor slope when the floor was not surveyed, percent.
pub const UNSURVEYED_FLOOR_PERCENT: f64 = 0.5;
/// Standard uncertainty of a measured vehicle yaw when the bay file gives none, degrees.
pub const DEFAULT_YAW_DEG: f64 = 0.1;
/// Standard uncertainty of the vehicle yaw when nobody measured it, degrees.
pub const UNMEASURED_YAW_DEG: f64 = 0.3;

/// Which lamp of the vehicle; left and right are the vehicle's own sides.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LampSide {
    /// The vehicle's left lamp (negative x).
    Left,
    /// The vehicle's right lamp (positive x).
    Right,
}

impl LampSide {
    /// The name on the command line.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Left => "left",
            Self::Right => "right",
        }
    }

    /// The lamp on the other side.
    #[must_use]
    pub const fn other(self) -> Self {
        match self {
            Self::Left => Self::Right,
            Self::Right => Self::Left,
        }
    }
}

/// Side of the road on which traffic drives.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Traffic {
    /// Right-hand traffic: the flat part of a cutoff lies on the left.
    #[default]
    Right,
    /// Left-hand traffic: mirrored.
    Left,
}

/// The lamp in the bay, everything resolved: no defaults are left open.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LampSetup {
    /// Which lamp.
    pub side: LampSide,
    /// Lamp centre's x in the bay frame (left negative).
    pub x: Mm,
    /// Lamp centre above the floor under the lamps.
    pub height: Mm,
    /// Lamps' plane to wall along the centreline, for this vehicle.
    pub distance: Mm,
    /// What every mark's y is lowered by because this vehicle's lamps stand elsewhere than the bay's lamps' plane.
    pub marks_lowered: Mm,
    /// Vehicle yaw, degrees, positive when its nose points right of the centreline.
    pub vehicle_yaw_deg: f64,
    /// The floor (level when it was not surveyed).
    pub floor: Floor,
    /// Wall yaw, degrees.
    pub wall_yaw_deg: f64,
    /// Wall tilt, degrees.
    pub wall_tilt_deg: f64,
    /// Standard uncertainty of the height, mm.
    pub height_sigma_mm: f64,
    /// Standard uncertainty of the offset, mm.
    pub offset_sigma_mm: f64,
    /// Standard uncertainty of the distance, mm.
    pub distance_sigma_mm: f64,
    /// Standard uncertainty of the floor slope, percent.
    pub floor_sigma_percent: f64,
    /// Standard uncertainty of the vehicle yaw, degrees.
    pub yaw_sigma_deg: f64,
}

/// What the command line says of the lamp and the vehicle.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LampEntry {
    /// Which lamp.
    pub side: LampSide,
    /// Lamp centre above the floor.
    pub height: Mm,
    /// Lamp centre's distance from the centreline, when given.
    pub offset: Option<Mm>,
    /// Distance for this vehicle, when it differs from the bay's.
    pub distance: Option<Mm>,
    /// Vehicle yaw in degrees, when measured.
    pub vehicle_yaw_deg: Option<f64>,
    /// Its standard uncertainty (k = 1), degrees, when it is known for this vehicle; goes before what the bay states.
    pub vehicle_yaw_sigma_deg: Option<f64>,
}

impl LampSetup {
    /// Joins the bay and what was entered for this vehicle, with the contract's defaults.
    pub fn new(bay: &Bay, entry: &LampEntry) -> Self {
        let sigma = &bay.uncertainty;
        let level = Floor { slope: Percent::new(0.0), cross: Percent::new(0.0), rise_to_wall: Mm::new(0.0) };
        let floor = bay.floor.unwrap_or(level);
        let distance = entry.distance.unwrap_or(bay.wall.distance);
        let offset = entry.offset.unwrap_or(Mm::new(ASSUMED_OFFSET_MM));
        let offset_default = if entry.offset.is_some() { DEFAULT_OFFSET_MM } else { ASSUMED_OFFSET_SIGMA_MM };
        let yaw_default = if entry.vehicle_yaw_deg.is_some() { DEFAULT_YAW_DEG } else { UNMEASURED_YAW_DEG };
        Self {
            side: entry.side,
            x: if entry.side == LampSide::Left { -offset } else { offset },
            height: entry.height,
            distance,
            marks_lowered: (bay.wall.distance - distance) * (floor.slope.get() / 100.0),
            vehicle_yaw_deg: entry.vehicle_yaw_deg.unwrap_or(0.0),
            floor,
            wall_yaw_deg: bay.wall.yaw_deg,
            wall_tilt_deg: bay.wall.tilt_deg,
            height_sigma_mm: sigma.height_mm,
            offset_sigma_mm: match (entry.offset, sigma.offset_mm) {
                (Some(_), Some(stated)) => stated,
                _ => offset_default,
            },
            distance_sigma_mm: sigma.distance_mm,
            floor_sigma_percent: sigma.floor_percent,
            yaw_sigma_deg: entry.vehicle_yaw_sigma_deg.or(sigma.yaw_deg).unwrap_or(yaw_default),
        }
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawBay {
    schema: String,
    id: String,
    name: String,
    wall: RawWall,
    floor: Option<RawFloor>,
    marks: Vec<RawMark>,
    #[serde(default)]
    uncertainty: RawUncertainty,
    survey: Option<SurveyNote>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawWall {
    distance_mm: f64,
    #[serde(default)]
    yaw_deg: f64,
    #[serde(default)]
    tilt_deg: f64,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawFloor {
    slope_percent: f64,
    #[serde(default)]
    cross_percent: f64,
    #[serde(default)]
    rise_to_wall_mm: f64,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawMark {
    kind: String,
    id: Option<u32>,
    size_mm: f64,
    x_mm: f64,
    y_mm: f64,
}

#[derive(Deserialize, Default)]
#[serde(deny_unknown_fields)]
struct RawUncertainty {
    marks_mm: Option<f64>,
    height_mm: Option<f64>,
    offset_mm: Option<f64>,
    distance_mm: Option<f64>,
    floor_percent: Option<f64>,
    yaw_deg: Option<f64>,
}

/// Codes of the tag family 36h11.
const TAG_CODES: u32 = 587;
/// Most marks of a bay; one for every code there is, and time and memory grow with them.
const MAX_MARKS: usize = TAG_CODES as usize;
/// Fewest marks that fix a homography.
pub const MIN_MARKS: usize = 4;

impl Bay {
    /// Reads a bay file's text; `path` names it in messages.
    pub fn parse(text: &str, path: &str) -> Result<Self, Error> {
        check_finite(text, path)?;
        let raw: RawBay = toml::from_str(text).map_err(|error| {
            Error::file(path, format!("not a bay file: {error}"), "compare it with calib/bays/demo.bay.toml")
        })?;
        let fail = |found: String, hint: &str| Err(Error::file(path, found, hint));
        if raw.schema != BAY_SCHEMA {
            return fail(
                format!("schema is \"{}\", need \"{BAY_SCHEMA}\"", raw.schema),
                "is this a bay file of this program?",
            );
        }
        let wall_numbers = [raw.wall.distance_mm, raw.wall.yaw_deg, raw.wall.tilt_deg];
        if !(wall_numbers.iter().all(|n| n.is_finite()) && (500.0..=100_000.0).contains(&raw.wall.distance_mm)) {
            return fail(
                format!("[wall] distance_mm = {}, need 500 to 100000", raw.wall.distance_mm),
                "give millimetres from the lamps' plane to the wall",
            );
        }
        if raw.wall.yaw_deg.abs() > 45.0 || raw.wall.tilt_deg.abs() > 45.0 {
            return fail(
                format!("[wall] yaw_deg = {}, tilt_deg = {}, need within ±45", raw.wall.yaw_deg, raw.wall.tilt_deg),
                "measure the wall again",
            );
        }
        if let Some(floor) = &raw.floor
            && !(floor.slope_percent.abs() <= 20.0
                && floor.cross_percent.abs() <= 20.0
                && floor.rise_to_wall_mm.abs() <= 20_000.0)
        {
            return fail(
                "[floor] holds a slope beyond ±20 % or a rise beyond ±20 m".into(),
                "slopes are percent: 1.0 is 10 mm per metre",
            );
        }
        if raw.marks.len() < MIN_MARKS {
            return fail(
                format!("{} marks, need at least {MIN_MARKS}", raw.marks.len()),
                "add the missing [[marks]] entries",
            );
        }
        if raw.marks.len() > MAX_MARKS {
            return fail(format!("{} marks, need at most {MAX_MARKS}", raw.marks.len()), "keep those around the beam");
        }
        let marks = resolve_marks(&raw.marks, path)?;
        let uncertainty = resolve_uncertainty(&raw.uncertainty, raw.floor.is_some(), path)?;
        raw.survey.as_ref().map_or(Ok(()), |survey| survey.check(path))?;
        Ok(Self {
            id: raw.id,
            name: raw.name,
            wall: Wall {
                distance: Mm::new(raw.wall.distance_mm),
                yaw_deg: raw.wall.yaw_deg,
                tilt_deg: raw.wall.tilt_deg,
            },
            floor: raw.floor.map(|floor| Floor {
                slope: Percent::new(floor.slope_percent),
                cross: Percent::new(floor.cross_percent),
                rise_to_wall: Mm::new(floor.rise_to_wall_mm),
            }),
            marks,
            uncertainty,
            survey: raw.survey,
        })
    }
}

fn resolve_marks(raw: &[RawMark], path: &str) -> Result<Vec<Mark>, Error> {
    let mut marks: Vec<Mark> = Vec::with_capacity(raw.len());
    for (place, mark) in raw.iter().enumerate() {
        let fail = |found: String, hint: &str| {
            Err(Error::file(path, format!("[[marks]] number {}: {found}", place + 1), hint))
        };
        let kind = match mark.kind.as_str() {
            "tag36h11" => MarkKind::Tag36h11,
            "quadrant" => MarkKind::Quadrant,
            other => return fail(format!("kind \"{other}\" is unknown"), "use \"tag36h11\" or \"quadrant\""),
        };
        let id = match (kind, mark.id) {
            (MarkKind::Tag36h11, None) => {
                return fail("a tag needs its id".into(), "add id = N, the code printed on the sheet");
            }
            (MarkKind::Tag36h11, Some(id)) if id >= TAG_CODES => {
                return fail(
                    format!("tag id {id} does not exist, need 0 to {}", TAG_CODES - 1),
                    "read the id on the printed sheet",
                );
            }
            (_, id) => id.unwrap_or(place as u32),
        };
        if !(mark.size_mm > 0.0 && mark.size_mm <= 5000.0) {
            return fail(
                format!("size_mm = {}, need above 0 and at most 5000", mark.size_mm),
                "measure the black square (tag) or the disc",
            );
        }
        if !(mark.x_mm.abs() <= 100_000.0 && mark.y_mm.abs() <= 100_000.0) {
            return fail(
                format!("x_mm = {}, y_mm = {} is not on a wall", mark.x_mm, mark.y_mm),
                "give millimetres on the wall's face",
            );
        }
        if let Some(other) = marks.iter().find(|other| other.id == id) {
            return fail(
                format!("id {id} is used twice (also by the mark at x_mm = {})", other.centre.x_mm),
                "give every mark its own id",
            );
        }
        marks.push(Mark { kind, id, size: Mm::new(mark.size_mm), centre: WallPoint::new(mark.x_mm, mark.y_mm) });
    }
    Ok(marks)
}

fn resolve_uncertainty(raw: &RawUncertainty, is_surveyed: bool, path: &str) -> Result<SetupUncertainty, Error> {
    let entries = [raw.marks_mm, raw.height_mm, raw.offset_mm, raw.distance_mm, raw.floor_percent, raw.yaw_deg];
    if entries.iter().flatten().any(|entry| !(0.0..=10_000.0).contains(entry)) {
        return Err(Error::file(
            path,
            "[uncertainty] holds a negative or impossible entry",
            "give standard uncertainties (k = 1), 0 or more",
        ));
    }
    let floor_default = if is_surveyed { DEFAULT_FLOOR_PERCENT } else { UNSURVEYED_FLOOR_PERCENT };
    Ok(SetupUncertainty {
        marks_mm: raw.marks_mm.unwrap_or(DEFAULT_MARKS_MM),
        height_mm: raw.height_mm.unwrap_or(DEFAULT_HEIGHT_MM),
        offset_mm: raw.offset_mm,
        distance_mm: raw.distance_mm.unwrap_or(DEFAULT_DISTANCE_MM),
        floor_percent: raw.floor_percent.unwrap_or(floor_default),
        yaw_deg: raw.yaw_deg,
    })
}

//! What a survey's readings should be, given where everything stands.
//!
//! **Takes** a [`Survey`]. **Gives** a [`Model`]: the unknowns with a start for each, the readings with their names, and the
//! prediction of each reading.
//!
//! **How**: unknowns are the heights of the floor at the wheel places and at the wall against the floor under the lamps (mm,
//! up), one horizon for each set-up of the level, where the wheels stand (x right of the centreline, z from the lamps' plane
//! towards the wall), the wall's distance (mm), yaw and tilt (degrees, signs of the bay file), the slope of the floor along
//! the wall (percent, right side higher positive), and the places of marks and references on the wall's face. A wall yawed by
//! ψ and leaning by τ is the plane through (0, 0, D) with the level line `(cos ψ, 0, sin ψ)` and the steepest line
//! `(−sin τ sin ψ, cos τ, sin τ cos ψ)`; a level ray of direction u from P meets it after `(O − P)·n / u·n`, n = (−cos τ sin ψ,
//! −sin τ, cos τ cos ψ). What nobody measured enters as an assumption with a wide uncertainty and is named.
//!
//! **Fails when** a wheel place, the distance or a mark's rough place is missing.

use super::survey::{DEFAULT_SLOPE_SIGMA_PERCENT, INSTRUMENTS, Survey};
use super::survey_adjust::Weighted;
use crate::error::Error;
use nalgebra::{DVector, Matrix3, Vector3};

/// Standard uncertainty of a tilt that nobody measured, degrees: 10 mm over a wall of 2 m (own judgement).
pub const ASSUMED_TILT_DEG: f64 = 0.3;
/// Standard uncertainty of a yaw that nobody measured, degrees (own judgement: a parking bay painted by eye).
pub const ASSUMED_YAW_DEG: f64 = 0.5;
/// Standard uncertainty of the floor's slope along the wall when it is taken from the wheel places, percent (own judgement).
const ASSUMED_CROSS_PERCENT: f64 = 0.3;
/// Standard uncertainty of the floor's slope from the lamps to the wall when it is taken from the wheel places, percent (own
/// judgement).
const ASSUMED_RISE_PERCENT: f64 = 0.2;
/// Standard uncertainty of the floor under the lamps against the wheels' plane when it was not read, mm (own judgement).
const ASSUMED_LAMPS_MM: f64 = 2.0;
/// Standard uncertainty of a tape over a few metres, mm (common practice: class II tapes are good to 1.1 mm over 4 m).
const DEFAULT_TAPE_MM: f64 = 1.5;
/// Standard uncertainty of a distance to the wall, of a wheel's place across and along, mm (own judgement: where a tyre stands).
const DEFAULT_DISTANCE_MM: f64 = 3.0;
/// The same along, mm.
const DEFAULT_ALONG_MM: f64 = 5.0;
/// Standard uncertainty of a plumb line's distance, mm (own judgement).
const DEFAULT_PLUMB_MM: f64 = 1.0;
/// Baseline, mm, below which two distances do not tell the yaw.
const LEAST_BASELINE_MM: f64 = 300.0;
const PERCENT: f64 = 100.0;
/// Sides of the four wheel places.
const SIDES: [f64; 4] = [-1.0, 1.0, -1.0, 1.0];

/// A place on the floor.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Place {
    /// A wheel: front left, front right, rear left, rear right.
    Wheel(usize),
    /// Under the lamps.
    Lamps,
    /// At the wall.
    Wall,
}

/// One unknown.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Unknown {
    Height(usize),
    RiseToWall,
    Horizon(u32),
    Distance,
    YawDeg,
    TiltDeg,
    FrontZ,
    RearZ,
    WheelX(usize),
    CrossAtWall,
    Line(u32),
    PointX(usize),
    PointY(usize),
}

/// What was read.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Kind {
    Level { place: Place, x_mm: f64, setup: u32, sign: f64 },
    LevelAtPoint { point: usize, setup: u32, sign: f64 },
    Slope(Place, Place),
    ToWall { place: Place, height_mm: f64, is_square: bool },
    WheelX(usize),
    Wheelbase,
    LampsAhead,
    Plumb { line: u32, height_mm: f64 },
    PointX(usize),
    PointY(usize),
    Tape(usize, usize),
    AssumedTilt,
    AssumedYaw,
    AssumedCross,
    AssumedRise,
    AssumedLamps,
}

/// One reading with its name.
#[derive(Debug, Clone)]
pub struct NamedReading {
    /// What a person calls it, with its value.
    pub name: String,
    /// Its unit.
    pub unit: &'static str,
    /// Value and uncertainty.
    pub weighted: Weighted,
    kind: Kind,
}

/// The unknowns and the readings of a survey.
#[derive(Debug, Clone)]
pub struct Model {
    unknowns: Vec<Unknown>,
    start: Vec<f64>,
    /// The readings.
    pub readings: Vec<NamedReading>,
    /// What was assumed, as sentences.
    pub left_open: Vec<String>,
    /// Whether heights of the floor were read.
    pub has_floor: bool,
}

fn place(name: &str) -> Option<Place> {
    Some(match name {
        "front left" => Place::Wheel(0),
        "front right" => Place::Wheel(1),
        "rear left" => Place::Wheel(2),
        "rear right" => Place::Wheel(3),
        "lamps" => Place::Lamps,
        "wall" => Place::Wall,
        _ => return None,
    })
}

fn missing(what: &str, hint: &str) -> Error {
    Error::usage(format!("the survey lacks {what}"), hint)
}

impl Model {
    /// Lists unknowns and readings.
    pub fn new(survey: &Survey) -> Result<Self, Error> {
        let has_floor = !(survey.level.reading.is_empty() && survey.level.slope.is_empty());
        let mut model =
            Self { unknowns: Vec::new(), start: Vec::new(), readings: Vec::new(), left_open: Vec::new(), has_floor };
        model.add_wheels(survey)?;
        model.add_wall(survey)?;
        model.add_points(survey)?;
        model.add_floor(survey);
        Ok(model)
    }

    /// The start of the search.
    pub fn start(&self) -> DVector<f64> {
        DVector::from_vec(self.start.clone())
    }

    fn unknown(&mut self, unknown: Unknown, start: f64) {
        if !self.unknowns.contains(&unknown) {
            self.unknowns.push(unknown);
            self.start.push(start);
        }
    }

    fn read(&mut self, name: String, unit: &'static str, value: f64, sigma: f64, kind: Kind) {
        let weighted = Weighted { value, sigma, is_assumed: false };
        self.readings.push(NamedReading { name, unit, weighted, kind });
    }

    fn assume(&mut self, open: String, value: f64, sigma: f64, kind: Kind) {
        let weighted = Weighted { value, sigma, is_assumed: true };
        self.readings.push(NamedReading { name: open.clone(), unit: "", weighted, kind });
        self.left_open.push(open);
    }

    fn add_wheels(&mut self, survey: &Survey) -> Result<(), Error> {
        let wheels = &survey.wheels;
        let sigma = wheels.sigma_mm.unwrap_or(DEFAULT_DISTANCE_MM);
        let along = wheels.along_sigma_mm.unwrap_or(DEFAULT_ALONG_MM);
        let offsets = [wheels.front_left_mm, wheels.front_right_mm, wheels.rear_left_mm, wheels.rear_right_mm];
        let names = ["front_left_mm", "front_right_mm", "rear_left_mm", "rear_right_mm"];
        for (wheel, (offset, name)) in offsets.into_iter().zip(names).enumerate() {
            let hint = "measure from the centreline to where each wheel stands";
            let offset = offset.ok_or_else(|| missing(&format!("[wheels] {name}"), hint))?;
            self.unknown(Unknown::WheelX(wheel), SIDES[wheel] * offset);
            let name = format!("[wheels] {name} = {offset}");
            self.read(name, "mm", SIDES[wheel] * offset, sigma, Kind::WheelX(wheel));
        }
        let ahead = wheels.lamps_ahead_mm.unwrap_or(0.0);
        let base = wheels.wheelbase_mm.unwrap_or(0.0);
        self.unknown(Unknown::FrontZ, -ahead);
        self.unknown(Unknown::RearZ, -ahead - base);
        if let Some(ahead) = wheels.lamps_ahead_mm {
            self.read(format!("[wheels] lamps_ahead_mm = {ahead}"), "mm", ahead, along, Kind::LampsAhead);
        }
        if let Some(base) = wheels.wheelbase_mm {
            self.read(format!("[wheels] wheelbase_mm = {base}"), "mm", base, along, Kind::Wheelbase);
        }
        Ok(())
    }

    fn add_wall(&mut self, survey: &Survey) -> Result<(), Error> {
        let distance = &survey.distance;
        let Some(first) = distance.reading.first() else {
            return Err(missing(
                "distances to the wall",
                "give [[distance.reading]] from both front wheels or from the lamps",
            ));
        };
        self.unknown(Unknown::Distance, first.mm);
        self.unknown(Unknown::YawDeg, 0.0);
        self.unknown(Unknown::TiltDeg, 0.0);
        let is_square = distance.measured.as_deref() != Some("along");
        let sigma = distance.sigma_mm.unwrap_or(DEFAULT_DISTANCE_MM);
        let mut across = Vec::new();
        for reading in &distance.reading {
            let Some(place) = place(&reading.from) else { continue };
            across.push(match place {
                Place::Wheel(wheel) => self.start_of(Unknown::WheelX(wheel)),
                Place::Lamps | Place::Wall => 0.0,
            });
            let kind = Kind::ToWall { place, height_mm: reading.height_mm.unwrap_or(0.0), is_square };
            let name = format!("distance from {} to the wall ({} mm)", reading.from, reading.mm);
            self.read(name, "mm", reading.mm, reading.sigma_mm.unwrap_or(sigma), kind);
        }
        let (least, most) =
            (across.iter().copied().fold(f64::MAX, f64::min), across.iter().copied().fold(f64::MIN, f64::max));
        if most - least < LEAST_BASELINE_MM {
            let open = format!(
                "wall yaw not measured (that takes the distances of both front wheels): assumed 0 ± {ASSUMED_YAW_DEG}°"
            );
            self.assume(open, 0.0, ASSUMED_YAW_DEG, Kind::AssumedYaw);
        }
        let sigma = survey.plumb.sigma_mm.unwrap_or(DEFAULT_PLUMB_MM);
        let mut is_tilt_known = false;
        for reading in &survey.plumb.reading {
            let line = reading.line.unwrap_or(1);
            self.unknown(Unknown::Line(line), reading.offset_mm);
            let others = survey.plumb.reading.iter().filter(|other| other.line.unwrap_or(1) == line);
            is_tilt_known |=
                others.into_iter().any(|other| (other.height_mm - reading.height_mm).abs() >= LEAST_BASELINE_MM);
            let name = format!("plumb line {line} at {} mm ({} mm)", reading.height_mm, reading.offset_mm);
            let kind = Kind::Plumb { line, height_mm: reading.height_mm };
            self.read(name, "mm", reading.offset_mm, reading.sigma_mm.unwrap_or(sigma), kind);
        }
        if !is_tilt_known {
            self.assume(
                format!(
                    "wall tilt not measured (that takes a plumb line at two heights): assumed 0 ± {ASSUMED_TILT_DEG}°"
                ),
                0.0,
                ASSUMED_TILT_DEG,
                Kind::AssumedTilt,
            );
        }
        Ok(())
    }

    fn add_points(&mut self, survey: &Survey) -> Result<(), Error> {
        let sigma = survey.tape.sigma_mm.unwrap_or(DEFAULT_TAPE_MM);
        let marks = survey.mark.iter().map(|m| ([m.x_mm, m.y_mm], [m.near_x_mm, m.near_y_mm], m.sigma_mm));
        let references = survey.reference.iter().map(|r| ([r.x_mm, r.y_mm], [r.near_x_mm, r.near_y_mm], r.sigma_mm));
        let names = survey.wall_points();
        for (point, (taped, near, own)) in marks.chain(references).enumerate().map(|(n, entry)| (n + 1, entry)) {
            let name = &names[point];
            let start = |axis: usize, letter: &str| {
                let what = format!("{letter}_mm or near_{letter}_mm of {name}");
                let hint = "near_* is a rough place, to a hand's breadth; tapes and the level do the rest";
                taped[axis].or(near[axis]).ok_or_else(|| missing(&what, hint))
            };
            self.unknown(Unknown::PointX(point), start(0, "x")?);
            self.unknown(Unknown::PointY(point), start(1, "y")?);
            for (axis, letter, kind) in [(0, "x", Kind::PointX(point)), (1, "y", Kind::PointY(point))] {
                if let Some(value) = taped[axis] {
                    self.read(format!("{letter}_mm of {name} ({value} mm)"), "mm", value, own.unwrap_or(sigma), kind);
                }
            }
        }
        let number = |name: &str| names.iter().position(|other| other == name);
        for reading in &survey.tape.reading {
            let (Some(from), Some(to)) = (number(&reading.from), number(&reading.to)) else { continue };
            let name = format!("tape from {} to {} ({} mm)", reading.from, reading.to, reading.mm);
            self.read(name, "mm", reading.mm, reading.sigma_mm.unwrap_or(sigma), Kind::Tape(from, to));
        }
        Ok(())
    }

    fn add_floor(&mut self, survey: &Survey) {
        if !self.has_floor {
            self.left_open.push("floor not levelled: the bay file has no [floor], which costs 0.5 % and a flag".into());
            return;
        }
        let level = &survey.level;
        let usual =
            INSTRUMENTS.iter().find(|(name, _)| Some(*name) == level.instrument.as_deref()).map(|(_, sigma)| *sigma);
        let sigma = level.sigma_mm.or(usual).unwrap_or(INSTRUMENTS[0].1);
        // A staff reads more where the floor is lower.
        let sign = if level.reads.as_deref() == Some("up") { 1.0 } else { -1.0 };
        for wheel in 0..SIDES.len() {
            self.unknown(Unknown::Height(wheel), 0.0);
        }
        self.unknown(Unknown::RiseToWall, 0.0);
        self.unknown(Unknown::CrossAtWall, 0.0);
        let names = survey.wall_points();
        let mut is_wall_sloped = false;
        let at_wall: Vec<f64> =
            level.reading.iter().filter(|r| r.at == "wall").map(|r| r.x_mm.unwrap_or(0.0)).collect();
        for reading in &level.reading {
            let setup = reading.setup.unwrap_or(1);
            self.unknown(Unknown::Horizon(setup), reading.mm);
            let x_mm = reading.x_mm.unwrap_or(0.0);
            let kind = match (place(&reading.at), names.iter().position(|name| *name == reading.at)) {
                (Some(place), _) => Kind::Level { place, x_mm, setup, sign },
                (None, Some(point)) => Kind::LevelAtPoint { point, setup, sign },
                (None, None) => continue,
            };
            is_wall_sloped |=
                at_wall.iter().any(|other| (other - x_mm).abs() >= LEAST_BASELINE_MM && reading.at == "wall");
            let name = format!("level reading at {} ({} mm)", reading.at, reading.mm);
            self.read(name, "mm", reading.mm, reading.sigma_mm.unwrap_or(sigma), kind);
        }
        let slope_sigma = level.slope_sigma_percent.unwrap_or(DEFAULT_SLOPE_SIGMA_PERCENT);
        for slope in &level.slope {
            let (Some(from), Some(to)) = (place(&slope.from), place(&slope.to)) else { continue };
            let name = format!("slope from {} to {} ({} %)", slope.from, slope.to, slope.percent);
            self.read(name, "%", slope.percent, slope.sigma_percent.unwrap_or(slope_sigma), Kind::Slope(from, to));
        }
        let is_read = |name: &str| {
            level.reading.iter().any(|r| r.at == name) || level.slope.iter().any(|s| s.from == name || s.to == name)
        };
        if !is_read("lamps") {
            let open =
                format!("floor under the lamps not levelled: taken from the wheel places ± {ASSUMED_LAMPS_MM} mm");
            self.assume(open, 0.0, ASSUMED_LAMPS_MM, Kind::AssumedLamps);
        }
        if at_wall.is_empty() && !is_read("wall") {
            let sigma = ASSUMED_RISE_PERCENT / PERCENT * self.start_of(Unknown::Distance);
            let open = format!(
                "floor at the wall not levelled: its rise is the slope of the wheel places carried on, ± {sigma:.0} mm"
            );
            self.assume(open, 0.0, sigma, Kind::AssumedRise);
        }
        if !is_wall_sloped {
            self.assume(
                format!(
                    "the floor's slope along the wall not levelled (that takes two places at the wall): taken from the wheel \
                     places ± {ASSUMED_CROSS_PERCENT} %"
                ),
                0.0,
                ASSUMED_CROSS_PERCENT,
                Kind::AssumedCross,
            );
        }
    }

    fn start_of(&self, unknown: Unknown) -> f64 {
        self.unknowns.iter().position(|other| *other == unknown).map_or(0.0, |place| self.start[place])
    }

    /// Names the unknown that the readings leave open.
    pub fn open(&self, place: usize) -> Error {
        let wheels = ["front left", "front right", "rear left", "rear right"];
        let (what, hint) = match self.unknowns.get(place) {
            Some(Unknown::Height(wheel)) => {
                (format!("the height of the floor at {}", wheels[*wheel]), "read the level there")
            }
            Some(Unknown::RiseToWall | Unknown::CrossAtWall) => {
                ("the floor at the wall".into(), "read the level there")
            }
            Some(Unknown::Horizon(setup)) => {
                (format!("what ties set-up {setup} of the level to the others"), "read one place from both set-ups")
            }
            Some(Unknown::FrontZ | Unknown::Distance | Unknown::YawDeg | Unknown::TiltDeg) | None => (
                "the lamps' plane against the front wheels".into(),
                "give [wheels] lamps_ahead_mm, or the distance from the lamps to the wall",
            ),
            Some(Unknown::RearZ) => ("the rear wheels' place along the bay".into(), "give [wheels] wheelbase_mm"),
            Some(Unknown::WheelX(_) | Unknown::Line(_)) => {
                ("a reading".into(), "compare it with calib/bays/demo.survey.toml")
            }
            Some(Unknown::PointX(n) | Unknown::PointY(n)) => (
                format!("what fixes point number {n} on the wall"),
                "give x_mm and y_mm, a level reading, or tapes from two fixed points that do not lie in line with it",
            ),
        };
        missing(&what, hint)
    }

    /// Everything at the parameters `at`.
    pub fn state<'a>(&'a self, at: &'a DVector<f64>) -> State<'a> {
        State { model: self, at }
    }

    /// The prediction of reading `n`.
    pub fn predict(&self, n: usize, at: &DVector<f64>) -> f64 {
        self.state(at).predict(self.readings[n].kind)
    }
}

/// Where everything stands.
#[derive(Debug, Clone, Copy)]
pub struct State<'a> {
    model: &'a Model,
    at: &'a DVector<f64>,
}

impl State<'_> {
    fn value(&self, unknown: Unknown) -> f64 {
        self.model.unknowns.iter().position(|other| *other == unknown).map_or(0.0, |place| self.at[place])
    }

    /// Lamps' plane to wall along the centreline, mm.
    pub fn distance_mm(&self) -> f64 {
        self.value(Unknown::Distance)
    }

    /// Wall yaw and tilt, degrees.
    pub fn yaw_tilt_deg(&self) -> (f64, f64) {
        (self.value(Unknown::YawDeg), self.value(Unknown::TiltDeg))
    }

    /// Floor at the wall minus floor under the lamps, mm.
    pub fn rise_mm(&self) -> f64 {
        self.value(Unknown::RiseToWall)
    }

    /// A point on the wall's face, mm; number 0 is the foot.
    pub fn point(&self, number: usize) -> (f64, f64) {
        (self.value(Unknown::PointX(number)), self.value(Unknown::PointY(number)))
    }

    /// x, z and height of a place on the floor, mm.
    pub fn place(&self, place: Place) -> (f64, f64, f64) {
        match place {
            Place::Wheel(wheel) => {
                let z = self.value(if wheel < 2 { Unknown::FrontZ } else { Unknown::RearZ });
                (self.value(Unknown::WheelX(wheel)), z, self.value(Unknown::Height(wheel)))
            }
            Place::Lamps => (0.0, 0.0, 0.0),
            Place::Wall => (0.0, self.distance_mm(), self.rise_mm()),
        }
    }

    /// The plane through the wheel places by unweighted least squares: height under the lamps (mm), slope along and across
    /// (percent). Four wheels on springs give the vehicle the pitch and the roll of this plane.
    pub fn plane(&self) -> (f64, f64, f64) {
        plane(&[0, 1, 2, 3].map(|wheel| self.place(Place::Wheel(wheel))))
    }

    fn predict(&self, kind: Kind) -> f64 {
        let (yaw, tilt) = (self.value(Unknown::YawDeg).to_radians(), self.value(Unknown::TiltDeg).to_radians());
        match kind {
            Kind::Level { place, x_mm, setup, sign } => {
                let along_wall =
                    if place == Place::Wall { self.value(Unknown::CrossAtWall) / PERCENT * x_mm } else { 0.0 };
                self.value(Unknown::Horizon(setup)) + sign * (self.place(place).2 + along_wall)
            }
            Kind::LevelAtPoint { point, setup, sign } => {
                self.value(Unknown::Horizon(setup)) + sign * (self.rise_mm() + self.point(point).1 * tilt.cos())
            }
            Kind::Slope(from, to) => {
                let (from, to) = (self.place(from), self.place(to));
                PERCENT * (to.2 - from.2) / (to.0 - from.0).hypot(to.1 - from.1)
            }
            Kind::ToWall { place, height_mm, is_square } => {
                let (x, z, floor) = self.place(place);
                let normal = Vector3::new(-tilt.cos() * yaw.sin(), -tilt.sin(), tilt.cos() * yaw.cos());
                let gap = Vector3::new(-x, -(floor + height_mm), self.distance_mm() - z);
                let ray = if is_square { Vector3::new(-yaw.sin(), 0.0, yaw.cos()) } else { Vector3::z() };
                gap.dot(&normal) / ray.dot(&normal)
            }
            Kind::WheelX(wheel) => self.value(Unknown::WheelX(wheel)),
            Kind::Wheelbase => self.value(Unknown::FrontZ) - self.value(Unknown::RearZ),
            Kind::LampsAhead => -self.value(Unknown::FrontZ),
            Kind::Plumb { line, height_mm } => self.value(Unknown::Line(line)) + height_mm * tilt.tan(),
            Kind::PointX(point) => self.point(point).0,
            Kind::PointY(point) => {
                let (x, y) = self.point(point);
                y - self.value(Unknown::CrossAtWall) / PERCENT * x / tilt.cos()
            }
            Kind::Tape(from, to) => {
                let (from, to) = (self.point(from), self.point(to));
                (from.0 - to.0).hypot(from.1 - to.1)
            }
            Kind::AssumedTilt => self.value(Unknown::TiltDeg),
            Kind::AssumedYaw => self.value(Unknown::YawDeg),
            Kind::AssumedCross => self.value(Unknown::CrossAtWall) - self.plane().2,
            Kind::AssumedRise => {
                let (under_lamps, slope, _) = self.plane();
                self.rise_mm() - under_lamps - slope / PERCENT * self.distance_mm()
            }
            Kind::AssumedLamps => self.plane().0,
        }
    }
}

/// Height at x = z = 0 and slopes along z and x (percent) of the plane through points (x, z, height) by least squares.
pub fn plane(points: &[(f64, f64, f64)]) -> (f64, f64, f64) {
    let count = points.len() as f64;
    let mean = |pick: fn(&(f64, f64, f64)) -> f64| points.iter().map(pick).sum::<f64>() / count;
    let (x, z, height) = (mean(|p| p.0), mean(|p| p.1), mean(|p| p.2));
    let (mut normal, mut right) = (Matrix3::zeros(), Vector3::zeros());
    for point in points {
        let row = Vector3::new(1.0, point.1 - z, point.0 - x);
        normal += row * row.transpose();
        right += row * (point.2 - height);
    }
    let fit = normal.lu().solve(&right).unwrap_or_else(Vector3::zeros);
    (height + fit[0] - fit[1] * z - fit[2] * x, PERCENT * fit[1], PERCENT * fit[2])
}

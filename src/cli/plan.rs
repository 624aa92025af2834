//! Validated arguments: every file but the photos is read and parsed, every number checked, every default resolved.
//!
//! **Takes** [`MeasureArgs`] and the words of the command line. **Gives** a [`Plan`]. **Fails when** a file cannot be
//! read or parsed, a number is out of range, options contradict each other, or an output would overwrite an input.

use super::args::{BeamArg, LampArg, MeasureArgs, PatternArg, TrafficArg, UnitsArg};
use super::mark_entry;
use super::plan_texts::without_recording;
pub use super::plan_texts::{Caption, Input, PlanTexts};
use crate::aim::{AppliedRule, Beam, LampCase, Rule, Screws};
use crate::bay::{Bay, LampEntry, LampSetup, LampSide, Traffic};
use crate::beam::Pattern;
use crate::camera::ResponseProfile;
use crate::error::Error;
use crate::options::Options;
use crate::reading::DisplayUnits;
use crate::units::{Mm, Percent, PxPoint};
use jiff::Timestamp;
use jiff::tz::TimeZone;
use std::fs::File;
use std::io::{ErrorKind, Read};
use std::ops::RangeInclusive;
use std::path::{Path, PathBuf};

/// Heights that a lamp can have above the floor, mm.
const HEIGHT_RANGE_MM: RangeInclusive<f64> = 100.0..=3000.0;
/// Distances of a lamp from the vehicle's centreline, mm; 0 for a single lamp.
const OFFSET_RANGE_MM: RangeInclusive<f64> = 0.0..=2000.0;
/// Distances from lamp to wall, mm; the bay file's range.
const DISTANCE_RANGE_MM: RangeInclusive<f64> = 500.0..=100_000.0;
/// Vehicle yaw, degrees; more is a vehicle that stands wrong.
const YAW_RANGE_DEG: RangeInclusive<f64> = -20.0..=20.0;
/// Standard uncertainty of the vehicle yaw, degrees.
const YAW_U_RANGE_DEG: RangeInclusive<f64> = 0.0..=5.0;
/// Longest text that is read; a bay with a hundred marks takes 10 kB, a session with a hundred photos 2 MB.
const MAX_TEXT_BYTES: u64 = 4 << 20;
/// Inclination on a plate, percent.
const NOMINAL_RANGE_PERCENT: RangeInclusive<f64> = -10.0..=10.0;

/// Where the JSON goes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum JsonTarget {
    /// Standard output; the text then goes to standard error.
    Stdout,
    /// A file.
    File(PathBuf),
}

/// Where the annotated picture goes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct AnnotatedTarget {
    /// The file.
    pub path: PathBuf,
    /// PNG, else JPEG.
    pub is_png: bool,
}

/// Everything that a measurement needs, resolved.
#[derive(Debug, Clone)]
pub struct Plan {
    /// The photo's path; not read yet.
    pub photo: PathBuf,
    /// Photo that the marks are read from.
    pub marks_photo: Option<PathBuf>,
    /// Photo of the room's light.
    pub ambient_photo: Option<PathBuf>,
    /// Further photos of the same still scene, merged with the first.
    pub bracket: Vec<PathBuf>,
    /// The bay.
    pub bay: Bay,
    /// What was entered for this vehicle.
    pub entry: LampEntry,
    /// Both joined.
    pub setup: LampSetup,
    /// Beam, pattern, side of the road, heights, plate.
    pub lamp: LampCase,
    /// The rule, applied to the lamp.
    pub rule: AppliedRule,
    /// The screws, when described.
    pub screws: Option<Screws>,
    /// Path and text of the lens file, when given.
    pub lens_text: Option<(String, String)>,
    /// The camera's response and its file's name, when given.
    pub response: Option<(String, ResponseProfile)>,
    /// Marks given by hand.
    pub marks_by_hand: Vec<(u32, PxPoint)>,
    /// Units of the text.
    pub units: DisplayUnits,
    /// Where the JSON goes.
    pub json: Option<JsonTarget>,
    /// Where the annotated picture goes.
    pub annotated: Option<AnnotatedTarget>,
    /// Today, UTC, `YYYY-MM-DD`: whether a rule is in force when the photo states no day.
    pub today: String,
    /// Tunables of the stages.
    pub options: Options,
    /// Folder of the trace.
    pub trace: Option<PathBuf>,
    /// The words of the command line, without the program's name and without what only records it.
    pub command: Vec<String>,
    /// The texts that this was made of.
    pub texts: PlanTexts,
    /// The record that the reading goes into, when it is recorded.
    pub caption: Option<Caption>,
    /// Whether the picture says how far to turn which screw.
    pub is_turn_told: bool,
}

impl Plan {
    /// Validates `args`; `command` are the words of the command line without the program's name.
    pub fn new(args: &MeasureArgs, command: Vec<String>) -> Result<Self, Error> {
        Self::with_texts(args, command, &read_input)
    }

    /// The same with texts that were read before; files are only looked for.
    pub(super) fn with_texts(
        args: &MeasureArgs,
        command: Vec<String>,
        text: &dyn Fn(Input, &Path) -> Result<String, Error>,
    ) -> Result<Self, Error> {
        let plan = Self::with(args, command, text)?;
        check_files(&plan, args)?;
        Ok(plan)
    }

    /// The same with every text from elsewhere; nothing is read here, and no output is looked at.
    pub fn with(
        args: &MeasureArgs,
        command: Vec<String>,
        text: &dyn Fn(Input, &Path) -> Result<String, Error>,
    ) -> Result<Self, Error> {
        check_numbers(args)?;
        let optional = |input: Input, path: &Option<PathBuf>| path.as_deref().map(|path| text(input, path)).transpose();
        let texts = PlanTexts {
            bay: text(Input::Bay, &args.bay)?,
            rule: text(Input::Rule, Path::new(&args.rules))?,
            screws: optional(Input::Screws, &args.screws)?,
            response: optional(Input::Response, &args.response)?,
        };
        let bay = Bay::parse(&texts.bay, &name(&args.bay))?;
        let entry = lamp_entry(args);
        let rule = Rule::parse(&texts.rule, &args.rules)?;
        let lamp = lamp_case(args, &rule);
        let applied = rule.apply(&lamp)?;
        let parsed_screws = args.screws.as_deref().zip(texts.screws.as_ref());
        let parsed_response = args.response.as_deref().zip(texts.response.as_ref());
        let options = args.options.as_deref().zip(optional(Input::Options, &args.options)?);
        let (photo, bracket) = photos(args)?;
        Ok(Self {
            photo,
            bracket,
            marks_photo: args.marks_photo.clone(),
            ambient_photo: args.ambient_photo.clone(),
            setup: LampSetup::new(&bay, &entry),
            entry,
            lamp,
            rule: applied,
            screws: parsed_screws.map(|(path, text)| Screws::parse(text, &name(path))).transpose()?,
            lens_text: args.lens.as_deref().map(name).zip(optional(Input::Lens, &args.lens)?),
            response: parsed_response
                .map(|(path, text)| Ok((name(path), ResponseProfile::parse(text, &name(path))?)))
                .transpose()?,
            marks_by_hand: mark_entry::parse_all(&args.marks, &bay)?,
            units: units(args.units),
            json: json_target(args.json.as_deref()),
            annotated: args.annotated.as_deref().map(annotated_target).transpose()?,
            options: options.map(|(path, text)| Options::parse(&text, &name(path))).transpose()?.unwrap_or_default(),
            trace: args.trace.clone(),
            today: Timestamp::now().to_zoned_datetime(TimeZone::UTC).date().to_string(),
            bay,
            command: without_recording(command),
            texts,
            caption: None,
            is_turn_told: true,
        })
    }
}

/// The text of a file that was named on the command line.
pub(super) fn read_input(input: Input, path: &Path) -> Result<String, Error> {
    if input == Input::Rule { rule_text(&name(path)) } else { read_text(path) }
}

/// The photo, and those that are merged with it.
fn photos(args: &MeasureArgs) -> Result<(PathBuf, Vec<PathBuf>), Error> {
    let all: Vec<&PathBuf> = args.photo.iter().chain(&args.bracket).collect();
    let hint = "take two photos or more of the same still scene, each with its own exposure";
    if !args.bracket.is_empty() && all.len() < 2 {
        return Err(Error::usage("--bracket names one photo, need two or more", hint));
    }
    for (place, path) in all.iter().enumerate() {
        if all[..place].iter().any(|other| resolved(other) == resolved(path)) {
            return Err(Error::usage(format!("{} is named twice", path.display()), hint));
        }
    }
    match all.split_first() {
        Some((first, others)) => Ok(((*first).clone(), others.iter().map(|path| (*path).clone()).collect())),
        None => Err(Error::usage("no photo", "name the photo of the beam")),
    }
}

fn check_numbers(args: &MeasureArgs) -> Result<(), Error> {
    let entries = [
        ("--height-mm", Some(args.height_mm), HEIGHT_RANGE_MM, "measure from the floor to the lamp's centre, in mm"),
        ("--offset-mm", args.offset_mm, OFFSET_RANGE_MM, "measure from the centreline, in mm; --lamp says the side"),
        ("--distance-mm", args.distance_mm, DISTANCE_RANGE_MM, "measure from the lamps to the wall, in mm"),
        ("--vehicle-yaw-deg", args.vehicle_yaw_deg, YAW_RANGE_DEG, "set the vehicle square to the wall first"),
        ("--vehicle-yaw-u-deg", args.vehicle_yaw_u_deg, YAW_U_RANGE_DEG, "`lampwright vehicle yaw` works it out"),
        ("--nominal-percent", args.nominal_percent, NOMINAL_RANGE_PERCENT, "a plate that says 1.0 % means -1.0"),
        ("--lower-edge-mm", args.lower_edge_mm, HEIGHT_RANGE_MM, "measure from the floor to the lower edge, in mm"),
    ];
    for (flag, value, range, hint) in entries {
        if let Some(value) = value.filter(|value| !range.contains(value)) {
            let (from, to) = (range.start(), range.end());
            return Err(Error::usage(format!("{flag} {value}: need {from} to {to}"), hint));
        }
    }
    if let Some(edge) = args.lower_edge_mm.filter(|edge| *edge >= args.height_mm) {
        return Err(Error::usage(
            format!("--lower-edge-mm {edge} is not below the lamp's centre at --height-mm {}", args.height_mm),
            "the lower edge of the lit surface lies under its centre: measure both again",
        ));
    }
    Ok(())
}

/// The bay's word for it.
pub(super) fn lamp_side(lamp: LampArg) -> LampSide {
    match lamp {
        LampArg::Left => LampSide::Left,
        LampArg::Right => LampSide::Right,
    }
}

/// A lamp's height that can be.
pub(super) fn check_height(height_mm: f64) -> Result<(), Error> {
    if HEIGHT_RANGE_MM.contains(&height_mm) {
        return Ok(());
    }
    let (from, to) = (HEIGHT_RANGE_MM.start(), HEIGHT_RANGE_MM.end());
    Err(Error::usage(format!("--height-mm {height_mm}: need {from} to {to}"), "the height of the lamp's centre, in mm"))
}

/// A distance that can be.
pub(super) fn check_distance(distance_mm: f64) -> Result<Mm, Error> {
    if DISTANCE_RANGE_MM.contains(&distance_mm) {
        return Ok(Mm::new(distance_mm));
    }
    let (from, to) = (DISTANCE_RANGE_MM.start(), DISTANCE_RANGE_MM.end());
    Err(Error::usage(format!("--distance-mm {distance_mm}: need {from} to {to}"), "lamps to wall, in mm"))
}

fn lamp_entry(args: &MeasureArgs) -> LampEntry {
    LampEntry {
        side: lamp_side(args.lamp),
        height: Mm::new(args.height_mm),
        offset: args.offset_mm.map(Mm::new),
        distance: args.distance_mm.map(Mm::new),
        vehicle_yaw_deg: args.vehicle_yaw_deg,
        vehicle_yaw_sigma_deg: args.vehicle_yaw_u_deg,
    }
}

/// The rule's word for it.
pub(super) fn beam(beam: BeamArg) -> Beam {
    match beam {
        BeamArg::Low => Beam::Low,
        BeamArg::High => Beam::High,
        BeamArg::Fog => Beam::Fog,
    }
}

/// The beam stage's word for it.
pub(super) fn pattern(pattern: PatternArg) -> Pattern {
    match pattern {
        PatternArg::Kink => Pattern::Kink,
        PatternArg::LeftCutoff => Pattern::LeftCutoff,
        PatternArg::RightCutoff => Pattern::RightCutoff,
        PatternArg::Flat => Pattern::Flat,
        PatternArg::Spot => Pattern::Spot,
    }
}

/// The bay's word for it.
pub(super) fn traffic(traffic: TrafficArg) -> Traffic {
    match traffic {
        TrafficArg::Right => Traffic::Right,
        TrafficArg::Left => Traffic::Left,
    }
}

fn lamp_case(args: &MeasureArgs, rule: &Rule) -> LampCase {
    let beam = beam(args.beam);
    LampCase {
        beam,
        pattern: args.pattern.map_or_else(|| rule.pattern_for(beam), pattern),
        traffic: traffic(args.traffic),
        side: lamp_side(args.lamp),
        centre_height: Mm::new(args.height_mm),
        lower_edge_height: args.lower_edge_mm.map(Mm::new),
        plate: args.nominal_percent.map(Percent::new),
    }
}

fn units(units: UnitsArg) -> DisplayUnits {
    match units {
        UnitsArg::Percent => DisplayUnits::Percent,
        UnitsArg::Inch => DisplayUnits::Inch,
        UnitsArg::Mm => DisplayUnits::Mm,
        UnitsArg::Deg => DisplayUnits::Deg,
    }
}

/// A built-in rule by its id, else a file by its path.
pub(crate) fn rule(id_or_path: &str) -> Result<Rule, Error> {
    Rule::parse(&rule_text(id_or_path)?, id_or_path)
}

fn rule_text(id_or_path: &str) -> Result<String, Error> {
    if let Some(text) = Rule::built_in_text(id_or_path) {
        return Ok(text.to_owned());
    }
    let path = Path::new(id_or_path);
    if !path.exists() {
        let known: Vec<&str> = Rule::built_in_ids().collect();
        return Err(Error::usage(
            format!("--rules {id_or_path}: neither a built-in rule nor a file"),
            format!("`lampwright rules list` shows them: {}", known.join(", ")),
        ));
    }
    read_text(path)
}

fn name(path: &Path) -> String {
    path.display().to_string()
}

/// The text of a small file, from a pipe too; one that does not end must not be read to its end.
pub(crate) fn read_text(path: &Path) -> Result<String, Error> {
    let mut text = String::new();
    File::open(path).and_then(|file| file.take(MAX_TEXT_BYTES + 1).read_to_string(&mut text)).map_err(|error| {
        if error.kind() == ErrorKind::InvalidData {
            return Error::file(name(path), "is not a text file (UTF-8)", "is it another file, a photo perhaps?");
        }
        Error::file(name(path), format!("cannot be read: {error}"), "check the path and its rights")
    })?;
    if text.len() as u64 > MAX_TEXT_BYTES {
        let found = format!("more than {MAX_TEXT_BYTES} bytes, which is no such file of a shop");
        return Err(Error::file(name(path), found, "is it another file?"));
    }
    Ok(text)
}

/// Reads a file's text and parses it.
pub(crate) fn read_parsed<T>(path: &Path, parse: impl Fn(&str, &str) -> Result<T, Error>) -> Result<T, Error> {
    parse(&read_text(path)?, &name(path))
}

fn json_target(target: Option<&str>) -> Option<JsonTarget> {
    target.map(|target| if target == "-" { JsonTarget::Stdout } else { JsonTarget::File(target.into()) })
}

fn annotated_target(path: &Path) -> Result<AnnotatedTarget, Error> {
    let extension = path.extension().map(|extension| extension.to_string_lossy().to_lowercase());
    let is_png = match extension.as_deref() {
        Some("png") => true,
        Some("jpg" | "jpeg") => false,
        _ => {
            return Err(Error::usage(
                format!("--annotated {}: need a name that ends in .png or .jpg", path.display()),
                "the extension says which of the two is written",
            ));
        }
    };
    Ok(AnnotatedTarget { path: path.to_owned(), is_png })
}

/// No output may overwrite an input or the other output, and its folder must exist.
fn check_files(plan: &Plan, args: &MeasureArgs) -> Result<(), Error> {
    let mut taken: Vec<PathBuf> = vec![plan.photo.clone(), args.bay.clone()];
    taken.extend(plan.bracket.iter().cloned());
    let optional = [&args.screws, &args.lens, &args.response, &args.marks_photo, &args.ambient_photo, &args.options];
    taken.extend(optional.into_iter().flatten().cloned());
    taken.push(PathBuf::from(&args.rules));
    let json = match &plan.json {
        Some(JsonTarget::File(path)) => Some(("--json", path)),
        _ => None,
    };
    if let Some(trace) = plan.trace.as_ref().filter(|trace| trace.exists() && !trace.is_dir()) {
        return Err(Error::usage(
            format!("--trace {}: is no folder", trace.display()),
            "name a folder; it is made when it is missing",
        ));
    }
    let annotated = plan.annotated.as_ref().map(|target| ("--annotated", &target.path));
    for (flag, path) in json.into_iter().chain(annotated) {
        let place = resolved(path);
        if taken.iter().any(|other| resolved(other) == place) {
            return Err(Error::usage(
                format!("{flag} {} would overwrite another file of this command", path.display()),
                "give it a name of its own",
            ));
        }
        let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty());
        if folder.is_some_and(|folder| !folder.is_dir()) || path.is_dir() || path.file_name().is_none() {
            return Err(Error::usage(
                format!("{flag} {}: no file can be written there", path.display()),
                "create the folder first, and name a file in it",
            ));
        }
        taken.push(path.clone());
    }
    Ok(())
}

/// The path without links; a file that does not exist yet by its folder.
pub(super) fn resolved(path: &Path) -> PathBuf {
    if let Ok(path) = path.canonicalize() {
        return path;
    }
    let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
    match (folder.canonicalize(), path.file_name()) {
        (Ok(folder), Some(file)) => folder.join(file),
        _ => path.to_owned(),
    }
}

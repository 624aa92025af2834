//! `lampwright aim`: aims the lamps of a vehicle, photo by photo, and learns what their screws do.

#[cfg(feature = "records")]
use super::aim_record::{begin_record, go_on, record};
#[cfg(not(feature = "records"))]
use super::aim_unrecorded::{begin_record, go_on, record};
use super::args::{BeamArg, Cli, Command, LampArg};
use super::drive;
use super::exit::ExitStatus;
use super::measure::PhotoFiles;
use super::plan::{self, Plan};
use super::write::Staged;
use crate::aim::Screws;
use crate::error::Error;
use crate::kit::session::{Lamp, Movement, SESSION_SCHEMA, ScrewName, Session, SinceLast, State};
use crate::kit::session_text::{difference, next, summary};
use crate::reading::to_text;
use clap::{Args, Parser, Subcommand, ValueEnum};
use std::io::Write;
use std::path::{Path, PathBuf};

/// Arguments of `aim`.
#[derive(Debug, Args)]
pub struct AimArgs {
    /// What to do
    #[command(subcommand)]
    pub action: AimAction,
}

/// What `aim` does.
#[derive(Debug, Subcommand)]
pub enum AimAction {
    /// Begin with a vehicle
    Start(Box<StartArgs>),
    /// Measure the next photo, say what was turned before it, and be told the next move
    Photo(Box<PhotoArgs>),
    /// Say again what is next
    Next {
        /// The session's file
        #[arg(value_name = "SESSION.json")]
        session: PathBuf,
    },
    /// Show before and after of every lamp
    Summary {
        /// The session's file
        #[arg(value_name = "SESSION.json")]
        session: PathBuf,
    },
}

/// Which lamps a vehicle has to aim.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum LampsArg {
    /// Left and right low beam; a high beam in the same housing moves with it
    Two,
    /// Left and right low beam, then left and right high beam with screws of their own
    Four,
    /// The two low beams, then the two front fog lamps
    Fog,
}

/// Arguments of `aim start`.
#[derive(Debug, Args)]
pub struct StartArgs {
    /// File that keeps the session; it must not exist yet
    #[arg(value_name = "SESSION.json")]
    pub session: PathBuf,
    /// The shop's own reference of the vehicle
    #[arg(long, value_name = "REF")]
    pub vehicle: String,
    /// Bay file
    #[arg(long, value_name = "BAY.toml")]
    pub bay: PathBuf,
    /// Which lamps are to be aimed
    #[arg(long, value_enum, default_value_t = LampsArg::Two)]
    pub lamps: LampsArg,
    /// Height of the low beams' centres above the floor, millimetres
    #[arg(long, value_name = "N")]
    pub height_mm: f64,
    /// Height of the high or fog beams' centres, millimetres [default: the low beams']
    #[arg(long, value_name = "N")]
    pub other_height_mm: Option<f64>,
    /// Distance of the lamps' centres from the centreline, millimetres
    #[arg(long, value_name = "N")]
    pub offset_mm: Option<f64>,
    /// Distance of the high or fog lamps' centres from the centreline, millimetres [default: as the low beams]
    #[arg(long, value_name = "N")]
    pub other_offset_mm: Option<f64>,
    /// Screws file; without one the screws are learned
    #[arg(long, value_name = "SCREWS.toml")]
    pub screws: Option<PathBuf>,
    /// Lens file
    #[arg(long, value_name = "LENS.toml")]
    pub lens: Option<PathBuf>,
    /// Quick check: one photo a lamp, pass or needs aiming, no screws
    #[arg(long)]
    pub quick: bool,
    /// Where and of whom it is recorded; every photo of the session then is.
    #[cfg(feature = "records")]
    #[command(flatten)]
    pub recording: super::record::RecordOptions,
    /// Further words of `measure` that hold for every photo, behind --: rule, side of the road, yaw, plate and so on
    #[arg(last = true, allow_hyphen_values = true)]
    pub further: Vec<String>,
}

/// Arguments of `aim photo`.
#[derive(Debug, Args)]
pub struct PhotoArgs {
    /// The session's file
    #[arg(value_name = "SESSION.json")]
    pub session: PathBuf,
    /// Photo of the beam on the wall
    #[arg(value_name = "PHOTO")]
    pub photo: PathBuf,
    /// Lamp of the photo [default: the one that is next]
    #[arg(long, value_enum)]
    pub lamp: Option<LampArg>,
    /// Beam of the photo [default: the one that is next]
    #[arg(long, value_enum)]
    pub beam: Option<BeamArg>,
    /// The proposed movements were made as told
    #[arg(long, conflicts_with_all = ["turned", "not_turned"])]
    pub as_told: bool,
    /// Nothing was turned since the last photo
    #[arg(long, conflicts_with = "turned")]
    pub not_turned: bool,
    /// A movement that was made, in order: vertical or horizontal (or the screw's name), cw or ccw seen facing the driven end,
    /// quarter turns; e.g. vertical:ccw:3
    #[arg(long, value_name = "SCREW:cw|ccw:QUARTERS", num_args = 1..)]
    pub turned: Vec<String>,
    /// Write the annotated picture, PNG or JPEG by its extension
    #[arg(long, value_name = "FILE.png|FILE.jpg")]
    pub annotated: Option<PathBuf>,
}

/// Runs it.
pub fn run(args: &AimArgs, stdout: &mut dyn Write) -> Result<ExitStatus, Error> {
    let (text, status) = match &args.action {
        AimAction::Start(args) => start(args)?,
        AimAction::Photo(args) => photo(args)?,
        AimAction::Next { session } => {
            let (session, screws) = read(session)?;
            (next(&session, screws.as_ref()), status(&session))
        }
        AimAction::Summary { session } => {
            let (session, _) = read(session)?;
            (summary(&session), status(&session))
        }
    };
    stdout
        .write_all(text.as_bytes())
        .and_then(|()| stdout.flush())
        .map_err(|error| Error::usage(format!("the text cannot be printed: {error}"), "is the pipe still open?"))?;
    Ok(status)
}

/// Good when every lamp is in.
fn status(session: &Session) -> ExitStatus {
    let is_in = session.lamps.iter().all(|lamp| lamp.state(session.is_quick) == State::Good);
    if is_in { ExitStatus::Good } else { ExitStatus::Finding }
}

fn start(args: &StartArgs) -> Result<(String, ExitStatus), Error> {
    if args.session.exists() {
        let found = "is there already, and a session is never overwritten";
        return Err(Error::file(
            args.session.display().to_string(),
            found,
            "name another file, or go on with `aim photo`",
        ));
    }
    if args.vehicle.trim().is_empty() {
        return Err(Error::usage("--vehicle is empty", "give the shop's own reference, an order number for example"));
    }
    let mut common = Vec::new();
    for (flag, path) in [("--bay", Some(&args.bay)), ("--screws", args.screws.as_ref()), ("--lens", args.lens.as_ref())]
    {
        if let Some(path) = path {
            common.extend([flag.to_owned(), absolute(path)?]);
        }
    }
    common.extend(args.further.iter().cloned());
    let words = |height: f64, offset: Option<f64>| {
        let mut words = vec!["--height-mm".to_owned(), height.to_string()];
        words.extend(offset.into_iter().flat_map(|offset| ["--offset-mm".to_owned(), offset.to_string()]));
        words
    };
    let low = words(args.height_mm, args.offset_mm);
    let other = words(args.other_height_mm.unwrap_or(args.height_mm), args.other_offset_mm.or(args.offset_mm));
    let beams: &[(&str, &Vec<String>)] = match args.lamps {
        LampsArg::Two => &[("low", &low)],
        LampsArg::Four => &[("low", &low), ("high", &other)],
        LampsArg::Fog => &[("low", &low), ("fog", &other)],
    };
    let lamps: Vec<Lamp> = beams
        .iter()
        .flat_map(|(beam, words)| {
            ["left", "right"].map(|side| Lamp {
                side: side.to_owned(),
                beam: (*beam).to_owned(),
                words: (*words).clone(),
                shots: Vec::new(),
                proposed: Vec::new(),
            })
        })
        .collect();
    let mut session = Session {
        schema: SESSION_SCHEMA.to_owned(),
        vehicle: args.vehicle.clone(),
        common,
        is_quick: args.quick,
        lamps,
        recorded: None,
    };
    // Every word is checked now, with a photo that need not exist, so that no mistake waits until the beam is on.
    for lamp in &session.lamps {
        plan_of(&session, lamp, Path::new("photo.jpg"), None)?;
    }
    let recorded = begin_record(args, &mut session)?;
    write(&args.session, &session)?;
    let screws = screws_of(&session)?;
    let text = format!(
        "session {} begun: vehicle {}\n{recorded}{}",
        args.session.display(),
        session.vehicle,
        next(&session, screws.as_ref())
    );
    Ok((text, ExitStatus::Good))
}

fn photo(args: &PhotoArgs) -> Result<(String, ExitStatus), Error> {
    let (mut session, screws) = read(&args.session)?;
    let side = args.lamp.map(|lamp| plan::lamp_side(lamp).as_str());
    let beam = args.beam.map(|beam| plan::beam(beam).as_str());
    let place = session.place(side, beam)?;
    let said = if args.as_told {
        SinceLast::AsProposed
    } else if args.not_turned {
        SinceLast::Nothing
    } else if args.turned.is_empty() {
        SinceLast::Unsaid
    } else {
        SinceLast::Turned(args.turned.iter().map(|text| movement(text, screws.as_ref())).collect::<Result<_, _>>()?)
    };
    let turned = session.lamps[place].turned_since(&said)?;
    let mut plan = plan_of(&session, &session.lamps[place], &args.photo, args.annotated.as_deref())?;
    let recorder = go_on(&session, &mut plan)?;
    let photos = PhotoFiles::read(&plan)?;
    let produced = drive::drive(&plan, &photos)?;
    let exit = ExitStatus::of(&produced.reading);
    let is_quick = session.is_quick;
    let picture = match (&plan.annotated, &produced.annotated) {
        (Some(target), Some(bytes)) => Some(Staged::new(&target.path, bytes)?),
        _ => None,
    };
    // Recorded first: nothing is shown, and the session does not go on, before it is.
    let recorded = record(recorder, &plan, &photos, &produced, &turned)?;
    let text = to_text(&produced.reading, plan.units) + &recorded;
    session.lamps[place].add(turned, produced.reading, screws.as_ref(), is_quick);
    picture.map(Staged::commit).transpose()?;
    write(&args.session, &session)?;
    let difference = if session.next().is_none() { difference(&session).unwrap_or_default() } else { String::new() };
    Ok((format!("{text}\nSession {}\n{}{difference}", session.vehicle, next(&session, screws.as_ref())), exit))
}

/// The plan of one photo of one lamp.
pub(crate) fn plan_of(session: &Session, lamp: &Lamp, photo: &Path, annotated: Option<&Path>) -> Result<Plan, Error> {
    let mut words: Vec<String> = ["lampwright", "measure"].map(str::to_owned).to_vec();
    words.push(photo.display().to_string());
    for (flag, value) in [("--lamp", &lamp.side), ("--beam", &lamp.beam)] {
        words.extend([flag.to_owned(), value.clone()]);
    }
    words.extend(session.common.iter().chain(&lamp.words).cloned());
    if let Some(path) = annotated {
        words.extend(["--annotated".to_owned(), path.display().to_string()]);
    }
    let usage = |error: clap::Error| {
        Error::usage(
            format!("the session's words of `measure`: {}", error.render().to_string().trim()),
            "begin a session with the right ones: `lampwright aim start --help`",
        )
    };
    let command = words[1..].to_vec();
    match Cli::try_parse_from(words).map_err(usage)?.command {
        Command::Measure(args) => Plan::new(&args, command),
        _ => Err(Error::usage("the session's words are no measurement", "begin the session again")),
    }
}

/// More than any adjuster has, quarter turns.
const MOST: f64 = 100.0;

fn movement(text: &str, screws: Option<&Screws>) -> Result<Movement, Error> {
    let hint = "write SCREW:cw|ccw:QUARTERS, e.g. vertical:ccw:3 for three quarter turns counterclockwise";
    let fail = |found: String| Error::usage(format!("--turned {text}: {found}"), hint);
    let parts: Vec<&str> = text.rsplitn(3, ':').collect();
    let [quarters, way, name] = parts[..] else { return Err(fail("need three parts".to_owned())) };
    let by_name =
        screws.and_then(|screws| screws.screws.iter().find(|screw| screw.name == name)).map(|screw| screw.moves);
    let screw = match (name, by_name) {
        ("vertical", _) | (_, Some(crate::aim::Axis::Vertical)) => ScrewName::Vertical,
        ("horizontal", _) | (_, Some(crate::aim::Axis::Horizontal)) => ScrewName::Horizontal,
        _ => return Err(fail(format!("no screw \"{name}\""))),
    };
    let sign = match way {
        "cw" => 1.0,
        "ccw" => -1.0,
        _ => return Err(fail(format!("\"{way}\" is neither cw nor ccw"))),
    };
    match quarters.parse::<f64>() {
        Ok(quarters) if quarters > 0.0 && quarters <= MOST => Ok(Movement { screw, quarter_turns: sign * quarters }),
        _ => Err(fail(format!("\"{quarters}\" quarter turns, need more than 0 up to {MOST}"))),
    }
}

pub(crate) fn absolute(path: &Path) -> Result<String, Error> {
    let path = path.canonicalize().map_err(|error| {
        Error::file(path.display().to_string(), format!("cannot be read: {error}"), "check the path and its rights")
    })?;
    Ok(path.display().to_string())
}

fn read(path: &Path) -> Result<(Session, Option<Screws>), Error> {
    let session = plan::read_parsed(path, Session::parse)?;
    let screws = screws_of(&session)?;
    Ok((session, screws))
}

pub(crate) fn screws_of(session: &Session) -> Result<Option<Screws>, Error> {
    let place = session.common.iter().position(|word| word == "--screws");
    let path = place.and_then(|place| session.common.get(place + 1));
    path.map(|path| plan::read_parsed(Path::new(path), Screws::parse)).transpose()
}

fn write(path: &Path, session: &Session) -> Result<(), Error> {
    let json = session.to_json().map_err(|error| {
        Error::usage(format!("the session cannot be written as JSON: {error}"), "please report this as a defect")
    })?;
    Staged::new(path, json.as_bytes())?.commit()
}

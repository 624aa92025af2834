//! `lampwright aim`: aims the lamps of a vehicle, photo by photo, and learns what their screws do.

#[cfg(feature = "records")]
use super::aim_record::{go_on, record};
use super::aim_start::{StartArgs, start};
#[cfg(not(feature = "records"))]
use super::aim_unrecorded::{go_on, record};
use super::args::{BeamArg, Cli, Command, LampArg};
use super::drive;
use super::exit::ExitStatus;
use super::measure::PhotoFiles;
use super::plan::{self, Plan};
use super::write::Staged;
use crate::aim::Screws;
use crate::error::Error;
use crate::kit::session::{Lamp, Movement, ScrewName, Session, SinceLast, State};
use crate::kit::session_text::{difference, next, summary};
use crate::reading::to_text;
use clap::{Args, Subcommand};
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
    // What was said of this lamp stands for what was said of all.
    let named: Vec<&str> = lamp.words.iter().filter_map(|word| flag_of(word)).collect();
    let (_, common) = split(session.common.clone(), &named);
    words.extend(common.into_iter().chain(lamp.words.iter().cloned()));
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
    match Cli::read(words).map_err(usage)?.command {
        Command::Measure(args) => Plan::new(&args, command),
        _ => Err(Error::usage("the session's words are no measurement", "begin the session again")),
    }
}

/// The option of a word: `--rules` of `--rules` and of `--rules=ID`.
fn flag_of(word: &str) -> Option<&str> {
    word.starts_with("--").then(|| word.split_once('=').map_or(word, |(flag, _)| flag))
}

/// Takes these options and their one value out of words of `measure`: those that were taken, and the rest.
pub(crate) fn split(words: Vec<String>, flags: &[&str]) -> (Vec<String>, Vec<String>) {
    let (mut taken, mut rest) = (Vec::new(), Vec::new());
    let mut words = words.into_iter();
    while let Some(word) = words.next() {
        if !flag_of(&word).is_some_and(|flag| flags.contains(&flag)) {
            rest.push(word);
            continue;
        }
        let has_value_behind = !word.contains('=');
        taken.push(word);
        taken.extend(words.next().filter(|_| has_value_behind));
    }
    (taken, rest)
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

pub(super) fn write(path: &Path, session: &Session) -> Result<(), Error> {
    let json = session.to_json().map_err(|error| {
        Error::usage(format!("the session cannot be written as JSON: {error}"), "please report this as a defect")
    })?;
    Staged::new(path, json.as_bytes())?.commit()
}

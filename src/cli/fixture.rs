//! `lampwright fixture add`: a real photo becomes a test case with its truth.
//!
//! Everything is read, cleaned, checked and measured first; then photo, bay file and manifest are staged, and take their
//! places, the manifest last. When one cannot take its place, those before it go again.

use super::args::{Cli, Command, MeasureArgs};
use super::drive::drive;
use super::exit::ExitStatus;
use super::measure::{PhotoFile, PhotoFiles, cannot_print, read_photo};
use super::plan::{Plan, read_text};
use super::write::Staged;
use crate::aim::Rule;
use crate::bench::fixture::{Caps, FixtureEntry, FixtureFiles, Folder, Today, prepare, today};
use crate::bench::fixture_truth::{StatedTruth, fit_to_pattern, read_truth};
use crate::bench::strip::{Stripped, strip};
use crate::error::Error;
use crate::flag::FlagCode;
use crate::photo::DecodeOptions;
use clap::{Args, Subcommand, ValueEnum};
use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};

/// The project's own folder takes no larger photos; other folders may.
const OWN_FOLDER_BYTES: usize = 1_500_000;
/// What is written where nobody said it; the latter is SPDX's own word.
const ORIGIN_NOT_STATED: &str = "not stated";
const LICENCE_NOT_STATED: &str = "NOASSERTION";
const RENDERED_LICENCE: &str = "CC0-1.0";
const MANIFEST: &str = "manifest.toml";

/// Arguments of `fixture`.
#[derive(Debug, Args)]
pub struct FixtureArgs {
    /// What to do.
    #[command(subcommand)]
    pub command: FixtureCommand,
}

/// The commands of `fixture`.
#[derive(Debug, Subcommand)]
pub enum FixtureCommand {
    /// Clean a photo of what it tells besides the picture, and add it as a case to a folder's manifest
    Add(Box<FixtureAddArgs>),
}

/// Arguments of `fixture add`.
#[derive(Debug, Args)]
pub struct FixtureAddArgs {
    /// Photo of the beam on the wall, JPEG or PNG
    #[arg(value_name = "PHOTO")]
    pub photo: PathBuf,
    /// Bay file; it is copied as it is, comments too
    #[arg(long, value_name = "BAY.toml")]
    pub bay: PathBuf,
    /// What is known of the beam independently of this program: lampwright/truth/1 (JSON) or lampwright/hand-truth/1
    /// (TOML); may be partial, and may be left out for a photo that must be refused
    #[arg(long, value_name = "TRUTH.json|TRUTH.toml")]
    pub truth: Option<PathBuf>,
    /// Fixture folder; manifest, shots and bays are made in it where they are not there yet
    #[arg(long, value_name = "DIR")]
    pub into: PathBuf,
    /// Unique name of the case [default: the photo's name]
    #[arg(long)]
    pub id: Option<String>,
    /// The one thing that the case is about, under 60 characters [default: the id]
    #[arg(long)]
    pub title: Option<String>,
    /// Where the photo comes from [default: not stated]
    #[arg(long, value_name = "TEXT")]
    pub origin: Option<String>,
    /// Licence of the photo, an SPDX identifier [default: NOASSERTION]
    #[arg(long, value_name = "SPDX")]
    pub licence: Option<String>,
    /// How the truth is known: with what it was measured, and how well
    #[arg(long, value_name = "TEXT")]
    pub known: Option<String>,
    /// Whether the photo is to be measured or refused [default: as the truth says, else measured]
    #[arg(long, value_enum)]
    pub expect: Option<ExpectArg>,
    /// Overall verdict, where the truth is far enough from every limit to name it
    #[arg(long, value_enum)]
    pub verdict: Option<VerdictArg>,
    /// Flag that must be there; may be repeated
    #[arg(long = "flag", value_name = "CODE")]
    pub flags: Vec<String>,
    /// Largest error of every value that the truth states, degrees, or the name of a tolerance of the manifest
    /// [default: hard]
    #[arg(long, value_name = "VALUE_DEG|NAME")]
    pub tolerance: Option<String>,
    /// Reason for the largest error
    #[arg(long, value_name = "TEXT")]
    pub why: Option<String>,
    /// Arguments of "measure" behind PHOTO and --bay; --lamp and --height-mm at least
    #[arg(last = true, value_name = "MEASURE ARGUMENTS")]
    pub measure: Vec<String>,
}

/// `--expect`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum ExpectArg {
    /// Every value that the truth states is measured
    Measured,
    /// Nothing is measured
    Refused,
}

/// `--verdict`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum VerdictArg {
    /// Inside every limit
    Pass,
    /// Outside a limit
    Fail,
    /// Too close to a limit
    Borderline,
    /// Nothing is judged
    None,
}

/// Runs a command of `fixture`; what was written and measured goes to `stdout`, what to look at to `stderr`.
pub fn run(args: &FixtureArgs, stdout: &mut dyn Write, stderr: &mut dyn Write) -> Result<ExitStatus, Error> {
    let FixtureCommand::Add(args) = &args.command;
    add(args, stdout, stderr)
}

fn add(args: &FixtureAddArgs, stdout: &mut dyn Write, stderr: &mut dyn Write) -> Result<ExitStatus, Error> {
    let measure_args = measure_args(args)?;
    let plan = Plan::new(&measure_args, command_words(args))?;
    let photo = read_photo(&args.photo)?;
    let bay = read_text(&args.bay)?;
    let clean = strip(&photo.bytes, &photo.name, &DecodeOptions::default())?;
    let entry = entry(args, &plan)?;
    let manifest_place = args.into.join(MANIFEST);
    let manifest = manifest_place.exists().then(|| read_text(&manifest_place)).transpose()?;
    let manifest_name = manifest_place.display().to_string();
    let folder = Folder { manifest_name: &manifest_name, manifest: manifest.as_deref() };
    let files = prepare(&entry, &clean.bytes, clean.bytes.starts_with(b"\x89PNG"), &folder)?;
    let found = measure_today(&plan, &files, &clean)?;
    write(&args.into, &files, &clean.bytes, bay.as_bytes())?;
    let report = format!("{}: case {} added\n{}", manifest_name, entry.id, found.text);
    let printed = stdout.write_all(report.as_bytes()).and_then(|()| stdout.flush());
    printed.and_then(|()| stderr.write_all(notes(&entry, &clean).as_bytes())).map_err(|error| cannot_print(&error))?;
    Ok(if found.holds { ExitStatus::Good } else { ExitStatus::Finding })
}

fn command_words(args: &FixtureAddArgs) -> Vec<String> {
    let mut words = vec!["measure".to_owned(), args.photo.display().to_string()];
    words.extend(["--bay".to_owned(), args.bay.display().to_string()]);
    words.extend(args.measure.iter().cloned());
    words
}

/// The arguments behind `--`, read as `measure` reads them; those that name another file are no part of a fixture.
fn measure_args(args: &FixtureAddArgs) -> Result<MeasureArgs, Error> {
    const HINT: &str = "give what \"measure\" needs behind --, for example -- --lamp left --height-mm 700";
    let words = std::iter::once("lampwright".to_owned()).chain(command_words(args));
    let read = Cli::read(words).map_err(|error| {
        let text = error.to_string();
        let what = text.split("\n\nUsage").next().unwrap_or_default();
        let line = what.trim_start_matches("error: ").split_whitespace().collect::<Vec<_>>().join(" ");
        Error::usage(format!("arguments of measure: {line}"), HINT)
    })?;
    let Command::Measure(read) = read.command else {
        return Err(Error::usage("arguments of measure: another command", HINT));
    };
    let others = [
        ("--json", read.json.is_some()),
        ("--annotated", read.annotated.is_some()),
        ("--bracket", !read.bracket.is_empty()),
        ("--marks-photo", read.marks_photo.is_some()),
        ("--ambient-photo", read.ambient_photo.is_some()),
        ("--lens", read.lens.is_some()),
        ("--screws", read.screws.is_some()),
        ("--rules with a file", Rule::built_in_ids().all(|id| id != read.rules)),
    ];
    match others.iter().find(|(_, is_given)| *is_given) {
        Some((flag, _)) => Err(Error::usage(
            format!("{flag} behind --: a fixture is one photo and its bay file"),
            "leave it out, or write the case by hand",
        )),
        None => Ok(*read),
    }
}

fn entry(args: &FixtureAddArgs, plan: &Plan) -> Result<FixtureEntry, Error> {
    let file = args.truth.as_ref().map(|path| path.display().to_string()).unwrap_or_default();
    let stated = match &args.truth {
        Some(path) => read_truth(&read_text(path)?, &file, args.known.as_deref())?,
        None => StatedTruth::default(),
    };
    let expect = args.expect.map(|expect| if expect == ExpectArg::Refused { "refused" } else { "measured" });
    if let (Some(asked), Some(truth)) = (expect, stated.expect.as_deref())
        && asked != truth
    {
        let found = format!("--expect {asked}, but the truth says that the photo must be {truth}");
        return Err(Error::usage(found, "leave --expect out, or put the truth right"));
    }
    let is_refused = expect.or(stated.expect.as_deref()) == Some("refused");
    if args.truth.is_none() && !is_refused {
        let hint = "write what is known as lampwright/hand-truth/1; fixtures/README.md shows one";
        return Err(Error::usage("a photo that is to be measured needs --truth", hint));
    }
    let truth = fit_to_pattern(&stated, plan.lamp.pattern, plan.lamp.traffic, &file)?;
    let licence = if stated.origin.is_some() { RENDERED_LICENCE } else { LICENCE_NOT_STATED };
    let id = args.id.clone().unwrap_or_else(|| id_of(&args.photo));
    Ok(FixtureEntry {
        title: args.title.clone().unwrap_or_else(|| id.replace('-', " ")),
        id,
        origin: args.origin.clone().or(stated.origin).unwrap_or_else(|| ORIGIN_NOT_STATED.to_owned()),
        licence: args.licence.clone().unwrap_or_else(|| licence.to_owned()),
        args: args.measure.clone(),
        is_refused,
        verdict: args.verdict.and_then(|verdict| Some(verdict.to_possible_value()?.get_name().to_owned())),
        flags: args.flags.iter().map(|code| flag(code)).collect::<Result<_, _>>()?,
        caps: caps(args)?,
        truth,
    })
}

/// The photo's name without its ending, in the letters of an id.
fn id_of(photo: &Path) -> String {
    let stem = photo.file_stem().unwrap_or_default().to_string_lossy().to_lowercase();
    let words: Vec<&str> = stem.split(|c: char| !c.is_ascii_alphanumeric()).filter(|word| !word.is_empty()).collect();
    words.join("-")
}

fn flag(code: &str) -> Result<FlagCode, Error> {
    let found = FlagCode::ALL.iter().copied().find(|flag| flag.as_str() == code);
    found.ok_or_else(|| Error::usage(format!("--flag {code}: no such flag"), "README.md lists every code"))
}

fn caps(args: &FixtureAddArgs) -> Result<Caps, Error> {
    let hint = "give both: --tolerance VALUE_DEG --why TEXT; a tolerance of the manifest brings its own reason";
    match (args.tolerance.as_deref(), args.why.as_deref()) {
        (None, None) => Ok(Caps::Usual),
        (None, Some(_)) => Err(Error::usage("--why without --tolerance", hint)),
        (Some(text), why) => match (text.parse::<f64>(), why) {
            (Ok(cap_deg), Some(why)) => Ok(Caps::Own { cap_deg, why: why.to_owned() }),
            (Ok(_), None) => Err(Error::usage(format!("--tolerance {text} without --why"), hint)),
            (Err(_), None) => Ok(Caps::Named(text.to_owned())),
            (Err(_), Some(_)) => {
                Err(Error::usage(format!("--tolerance {text} is no number, but --why is given"), hint))
            }
        },
    }
}

/// Measures the file that will be written, not the one that was given.
fn measure_today(plan: &Plan, files: &FixtureFiles, clean: &Stripped) -> Result<Today, Error> {
    let photo = PhotoFile { name: files.photo.clone(), bytes: clean.bytes.clone() };
    let produced = drive(plan, &PhotoFiles { photo, marks: None, ambient: None, bracket: Vec::new() })?;
    let reading = serde_json::to_value(&produced.reading).map_err(|error| {
        Error::usage(format!("the reading cannot be written as JSON: {error}"), "please report this as a defect")
    })?;
    Ok(today(&files.case, &files.tolerance, &reading))
}

/// All three files or none.
fn write(into: &Path, files: &FixtureFiles, photo: &[u8], bay: &[u8]) -> Result<(), Error> {
    let (photo_place, bay_place) = (into.join(&files.photo), into.join(&files.bay));
    for place in [&photo_place, &bay_place] {
        if place.symlink_metadata().is_ok() {
            let hint = "it belongs to no case of the manifest: move it away, or give another name with --id";
            return Err(Error::file(place.display().to_string(), "is there already", hint));
        }
    }
    let mut made = Undo::default();
    for folder in [into.to_owned(), into.join("shots"), into.join("bays")] {
        made.folder(&folder)?;
    }
    let staged = [(&photo_place, Staged::new(&photo_place, photo)?), (&bay_place, Staged::new(&bay_place, bay)?)];
    let manifest = Staged::new(&into.join(MANIFEST), files.manifest.as_bytes())?;
    for (place, file) in staged {
        file.commit()?;
        made.files.push(place.clone());
    }
    manifest.commit()?;
    made.keep();
    Ok(())
}

/// What was made so far; it goes again unless it is kept.
#[derive(Debug, Default)]
struct Undo {
    files: Vec<PathBuf>,
    folders: Vec<PathBuf>,
}

impl Undo {
    fn folder(&mut self, folder: &Path) -> Result<(), Error> {
        if folder.is_dir() {
            return Ok(());
        }
        fs::create_dir_all(folder).map_err(|error| {
            let hint = "name a folder you may write to";
            Error::file(folder.display().to_string(), format!("cannot be made: {error}"), hint)
        })?;
        self.folders.push(folder.to_owned());
        Ok(())
    }

    fn keep(mut self) {
        self.files.clear();
        self.folders.clear();
    }
}

impl Drop for Undo {
    fn drop(&mut self) {
        // Nothing more can be done about what cannot be removed; the error that led here is reported. A folder goes only
        // when it is empty.
        for file in &self.files {
            let _ = fs::remove_file(file);
        }
        for folder in self.folders.iter().rev() {
            let _ = fs::remove_dir(folder);
        }
    }
}

fn notes(entry: &FixtureEntry, clean: &Stripped) -> String {
    let mut lines = Vec::new();
    lines.extend(clean.removed.iter().map(|what| format!("taken out: {what}")));
    if clean.removed.is_empty() {
        lines.push("taken out: nothing, the file held nothing but the picture and what is kept".to_owned());
    }
    lines.extend(clean.kept.iter().map(|what| format!("kept: {what}")));
    let size = clean.bytes.len();
    if size > OWN_FOLDER_BYTES {
        lines.push(format!("warning: {size} bytes; the project's own folder takes {OWN_FOLDER_BYTES} at most"));
    }
    if entry.origin == ORIGIN_NOT_STATED {
        lines.push("warning: the origin is not stated; say with --origin where the photo comes from".to_owned());
    }
    if entry.licence == LICENCE_NOT_STATED {
        lines.push("warning: the licence is not stated; say with --licence under which others may use it".to_owned());
    }
    lines.push(
        "The pixels are untouched: faces, number plates, names and places in the picture are yours to check, as are the \
         names in the bay file. Look at both before you publish them."
            .to_owned(),
    );
    lines.join("\n") + "\n"
}

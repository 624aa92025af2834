//! `lampwright measure`: reads the photos, has them measured, writes JSON and picture, prints the text.
//!
//! The measuring itself comes in as a function of the [`Plan`] and the photos' bytes, so that this file only reads and
//! writes. Nothing is written before everything that is to be written exists.

use super::args::MeasureArgs;
use super::exit::ExitStatus;
use super::plan::{JsonTarget, Plan};
use super::write::Staged;
use crate::error::Error;
use crate::reading::{Reading, to_text};
use std::fs;
use std::io::Write;
use std::path::Path;

/// Largest photo file that is read, bytes.
const MAX_PHOTO_BYTES: u64 = 64 * 1024 * 1024;

/// A photo file, read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PhotoFile {
    /// Name as given.
    pub name: String,
    /// Its bytes.
    pub bytes: Vec<u8>,
}

/// The photos of one measurement, read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PhotoFiles {
    /// The beam on the wall.
    pub photo: PhotoFile,
    /// The marks, room lit.
    pub marks: Option<PhotoFile>,
    /// The room's light, lamp off.
    pub ambient: Option<PhotoFile>,
    /// The others of the bracket.
    pub bracket: Vec<PhotoFile>,
}

impl PhotoFiles {
    /// Reads the photos that the plan names.
    pub fn read(plan: &Plan) -> Result<Self, Error> {
        Ok(Self {
            photo: read_photo(&plan.photo)?,
            marks: plan.marks_photo.as_deref().map(read_photo).transpose()?,
            ambient: plan.ambient_photo.as_deref().map(read_photo).transpose()?,
            bracket: plan.bracket.iter().map(|path| read_photo(path)).collect::<Result<_, _>>()?,
        })
    }
}

#[cfg(feature = "serve")]
impl PhotoFiles {
    /// Whether one of them has this name.
    pub(crate) fn is_named(&self, name: &str) -> bool {
        let others = self.marks.iter().chain(&self.ambient).chain(&self.bracket);
        std::iter::once(&self.photo).chain(others).any(|file| file.name == name)
    }
}

/// What measuring gives back.
#[derive(Debug, Clone)]
pub struct Produced {
    /// The reading.
    pub reading: Reading,
    /// The annotated picture, encoded as the plan asks; only when it asks for one.
    pub annotated: Option<Vec<u8>>,
    /// The annotated picture as it is filed with a record: JPEG; only when it is recorded.
    pub filed: Option<Vec<u8>>,
    /// The trace's files, name and bytes; only when the plan asks for them.
    pub trace: Vec<(String, Vec<u8>)>,
}

/// Runs `measure`: with a record when one is asked for.
pub fn command(
    args: &MeasureArgs,
    words: Vec<String>,
    measure: impl FnOnce(&Plan, &PhotoFiles) -> Result<Produced, Error>,
    stdout: &mut dyn Write,
    stderr: &mut dyn Write,
) -> Result<ExitStatus, Error> {
    let plan = Plan::new(args, words)?;
    #[cfg(feature = "records")]
    if args.recording.record.is_some() {
        return recorded(args, plan, measure, stdout, stderr);
    }
    run(&plan, measure, stdout, stderr)
}

/// Runs one measurement; JSON that is asked for on standard output goes to `stdout`, and the text then to `stderr`.
pub fn run(
    plan: &Plan,
    measure: impl FnOnce(&Plan, &PhotoFiles) -> Result<Produced, Error>,
    stdout: &mut dyn Write,
    stderr: &mut dyn Write,
) -> Result<ExitStatus, Error> {
    let photos = PhotoFiles::read(plan)?;
    let produced = measure(plan, &photos)?;
    finish(plan, &produced, || Ok(String::new()), stdout, stderr)
}

/// The same, recorded: the store is opened before anything is measured, and nothing is shown or written before the commit.
#[cfg(feature = "records")]
fn recorded(
    args: &MeasureArgs,
    mut plan: Plan,
    measure: impl FnOnce(&Plan, &PhotoFiles) -> Result<Produced, Error>,
    stdout: &mut dyn Write,
    stderr: &mut dyn Write,
) -> Result<ExitStatus, Error> {
    let caption = super::record::caption();
    let vehicle = args.vehicle.as_deref().unwrap_or("");
    let mut recorder = super::record::Recorder::begin(&plan, &args.recording, &caption.record, vehicle)?;
    if let (Some(earlier), Some(reason)) = (&args.corrects, &args.reason) {
        recorder.corrects(&plan, earlier, reason)?;
    }
    plan.caption = Some(caption);
    let photos = PhotoFiles::read(&plan)?;
    let produced = measure(&plan, &photos)?;
    recorder.add(&plan, &photos, &produced, Vec::new())?;
    finish(&plan, &produced, || recorder.commit(), stdout, stderr)
}

/// Makes every file ready, records, puts the files in their places, and prints.
fn finish(
    plan: &Plan,
    produced: &Produced,
    record: impl FnOnce() -> Result<String, Error>,
    stdout: &mut dyn Write,
    stderr: &mut dyn Write,
) -> Result<ExitStatus, Error> {
    let reading = &produced.reading;
    let json = reading.to_json().map_err(|error| {
        Error::usage(format!("the reading cannot be written as JSON: {error}"), "please report this as a defect")
    })?;
    let files = stage_files(plan, &json, produced.annotated.as_deref(), &produced.trace)?;
    let recorded = record()?;
    files.into_iter().try_for_each(Staged::commit)?;
    let text = to_text(reading, plan.units) + &recorded;
    let printed = if plan.json == Some(JsonTarget::Stdout) {
        stderr.write_all(text.as_bytes()).and_then(|()| stdout.write_all(json.as_bytes()))
    } else {
        stdout.write_all(text.as_bytes())
    };
    printed.and_then(|()| stdout.flush()).map_err(|error| cannot_print(&error))?;
    Ok(ExitStatus::of(reading))
}

pub(super) fn read_photo(path: &Path) -> Result<PhotoFile, Error> {
    let name = path.display().to_string();
    let fail = |error: std::io::Error| {
        Error::file(path.display().to_string(), format!("cannot be read: {error}"), "check the path and its rights")
    };
    let facts = fs::metadata(path).map_err(fail)?;
    if !facts.is_file() {
        return Err(Error::file(name, "is no file, need a photo", "name the photo itself"));
    }
    if facts.len() > MAX_PHOTO_BYTES {
        return Err(Error::file(
            name,
            format!("{} bytes, at most {MAX_PHOTO_BYTES} are read", facts.len()),
            "take the photo as the camera wrote it",
        ));
    }
    Ok(PhotoFile { name, bytes: fs::read(path).map_err(fail)? })
}

/// Puts the files that the plan asks for in their places, the reading's own JSON apart.
pub(super) fn put_files(plan: &Plan, produced: &Produced) -> Result<(), Error> {
    stage_files(plan, "", produced.annotated.as_deref(), &produced.trace)?.into_iter().try_for_each(Staged::commit)
}

/// All files or none: each is staged before the first takes its place, the JSON last.
fn stage_files(
    plan: &Plan,
    json: &str,
    annotated: Option<&[u8]>,
    trace: &[(String, Vec<u8>)],
) -> Result<Vec<Staged>, Error> {
    let mut files = plan.trace.as_deref().map_or_else(|| Ok(Vec::new()), |folder| stage_trace(folder, trace))?;
    if let (Some(target), Some(bytes)) = (&plan.annotated, annotated) {
        files.push(Staged::new(&target.path, bytes)?);
    }
    if let Some(JsonTarget::File(path)) = &plan.json {
        files.push(Staged::new(path, json.as_bytes())?);
    }
    Ok(files)
}

/// The trace's files, ready for their folder.
fn stage_trace(folder: &Path, trace: &[(String, Vec<u8>)]) -> Result<Vec<Staged>, Error> {
    fs::create_dir_all(folder).map_err(|error| {
        Error::file(
            folder.display().to_string(),
            format!("cannot be made: {error}"),
            "name a folder that you may write to",
        )
    })?;
    trace.iter().map(|(name, bytes)| Staged::new(&folder.join(name), bytes)).collect()
}

pub(super) fn cannot_print(error: &std::io::Error) -> Error {
    Error::usage(format!("the result cannot be printed: {error}"), "is the pipe that reads it still open?")
}

//! `lampwright batch`: many photos from a list, a line of JSON each, in the list's order.
//!
//! **Takes** a table of jobs (a row a photo) or a folder with a job file beside each photo. **Gives** JSON Lines: a reading as
//! `measure` writes it, or what was wrong with the row. **How**: every row becomes the words of a `measure` command, so that
//! both mean the same; rows are read, measured and written as a stream. **Fails when** the list cannot be read, a column has
//! no meaning, or the output is there already; a row that fails is a line, not the end.

mod job;
mod lines;
mod pipeline;
mod rows;
mod summary;
mod texts;

use self::job::Job;
use self::lines::Output;
use self::rows::Rows;
use self::texts::Texts;
use super::exit::ExitStatus;
use super::plan::Plan;
use super::{Cli, Command, drive, measure};
use crate::error::Error;
use clap::Args;
use indicatif::{ProgressBar, ProgressStyle};
use std::io::Write;
use std::ops::RangeInclusive;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::PathBuf;
use std::thread::available_parallelism;

/// Photos at a time.
const THREADS: RangeInclusive<usize> = 1..=256;

/// Arguments of `batch`.
#[derive(Debug, Args)]
pub struct BatchArgs {
    /// Table of jobs, CSV with a heading: `file`, `bay`, `lamp`, `height_mm`, and any long option of `measure`; paths are
    /// those beside the table
    #[arg(value_name = "JOBS.csv", required_unless_present = "dir", conflicts_with = "dir")]
    pub jobs: Option<PathBuf>,
    /// Folder of photos: `NAME.job.toml` beside a photo holds the same names, `job.toml` what all photos share
    #[arg(long, value_name = "DIR")]
    pub dir: Option<PathBuf>,
    /// Where the lines of JSON go; standard output when it is left out
    #[arg(long, value_name = "FILE|-", default_value = "-")]
    pub out: String,
    /// Go on behind the last whole line of an output that was begun
    #[arg(long)]
    pub resume: bool,
    /// Write a table of all rows when they are done, CSV
    #[arg(long, value_name = "FILE.csv")]
    pub summary: Option<PathBuf>,
    /// Photos at a time [default: the number of processor cores]
    #[arg(long, value_name = "N")]
    pub threads: Option<usize>,
}

/// Runs the batch; ends with the highest status of its rows.
pub fn run(args: &BatchArgs, stdout: &mut dyn Write) -> Result<ExitStatus, Error> {
    let threads = threads(args)?;
    let rows = match (&args.jobs, &args.dir) {
        (Some(jobs), _) => Rows::of_table(jobs)?,
        (None, Some(dir)) => Rows::of_folder(dir)?,
        (None, None) => return Err(Error::usage("no jobs", "name a table of jobs, or a folder with --dir")),
    };
    if args.out == "-" && (args.resume || args.summary.is_some()) {
        return Err(Error::usage(
            "--resume and --summary read the lines again, and they went to standard output",
            "give the lines a file with --out",
        ));
    }
    let total = rows.count()?;
    let mut output = Output::open(&args.out, args.resume, stdout)?;
    let done = output.hold_against(&rows)?;
    let bar = progress(total, done);
    let texts = Texts::default();
    let jobs = (1..).zip(rows.jobs()?).skip(done);
    pipeline::ordered(jobs, threads, &|(row, job)| line(row, job, &texts), |(line, status)| {
        output.write(&line, status)?;
        bar.inc(1);
        Ok(())
    })?;
    bar.finish_and_clear();
    let status = output.finish()?;
    if let Some(path) = &args.summary {
        summary::write(&args.out, path)?;
    }
    Ok(status)
}

fn threads(args: &BatchArgs) -> Result<usize, Error> {
    match args.threads {
        Some(n) if THREADS.contains(&n) => Ok(n),
        Some(n) => Err(Error::usage(
            format!("--threads {n}: need {} to {}", THREADS.start(), THREADS.end()),
            "more than the processor has cores is no faster, and each holds a photo",
        )),
        None => Ok(available_parallelism().map_or(1, usize::from)),
    }
}

fn progress(total: usize, done: usize) -> ProgressBar {
    let bar = ProgressBar::new(total as u64).with_position(done as u64);
    // A template of our own that is known to be well formed; without one the library's plain bar stands in.
    if let Ok(style) = ProgressStyle::with_template("{wide_bar} {pos}/{len} photos, {per_sec}, {eta} left") {
        bar.set_style(style);
    }
    bar.reset_eta();
    bar
}

/// What one row comes to: its line of JSON and its status.
fn line(row: usize, job: Result<Job, Error>, texts: &Texts) -> (String, ExitStatus) {
    let file = job.as_ref().map_or(None, |job| job.file.clone());
    let measured = job.and_then(|job| {
        // Whatever a panic left behind belongs to this row alone.
        catch_unwind(AssertUnwindSafe(|| measured(&job, texts))).unwrap_or_else(|_| {
            Err(Error::usage(
                "measuring this photo broke the program",
                "please report this as a defect, with the photo",
            ))
        })
    });
    measured.unwrap_or_else(|error| (lines::error_line(row, file.as_deref(), &error), ExitStatus::Error))
}

fn measured(job: &Job, texts: &Texts) -> Result<(String, ExitStatus), Error> {
    let words = job.words()?;
    let all = std::iter::once("lampwright".to_owned()).chain(words.iter().cloned());
    let parsed = Cli::read(all).map_err(|error| {
        let text = error.to_string();
        let first = text.lines().next().unwrap_or_default().trim_start_matches("error: ").to_owned();
        Error::usage(first, "the columns are the long options of `lampwright measure --help`")
    })?;
    let Command::Measure(args) = parsed.command else {
        return Err(Error::usage("the row is no measurement", "give it a photo, a bay, a lamp and a height"));
    };
    let plan = Plan::with_texts(&args, words, &|input, path| texts.get(input, path))?;
    let photos = measure::PhotoFiles::read(&plan)?;
    let produced = drive::drive(&plan, &photos)?;
    measure::put_files(&plan, &produced)?;
    let json = serde_json::to_string(&produced.reading).map_err(|error| {
        Error::usage(format!("the reading cannot be written as JSON: {error}"), "please report this as a defect")
    })?;
    Ok((json, ExitStatus::of(&produced.reading)))
}

//! `lampwright bay`: survey a bay, check that it still holds, show it in words.

use super::bay_check;
use super::bay_survey;
use super::exit::ExitStatus;
use super::plan;
use crate::bay::Bay;
use crate::error::Error;
use crate::kit::bay_words::show;
use clap::{Args, Subcommand};
use std::io::{BufRead, Write};
use std::path::PathBuf;

/// Arguments of `bay`.
#[derive(Debug, Args)]
pub struct BayArgs {
    /// What to do
    #[command(subcommand)]
    pub action: BayAction,
}

/// Said at the end of the help of `bay survey` and `bay check`.
const STATUS: &str = "Exit status: 0 good; 1 a finding (a reading that does not fit, marks moved, overdue, not flat, a \
                      reading outside the control chart); 2 usage or file error; 3 the photo cannot be used.";

/// What `bay` does.
#[derive(Debug, Subcommand)]
pub enum BayAction {
    /// Work out a bay file from readings of tape, level and plumb line
    #[command(after_help = STATUS)]
    Survey(SurveyArgs),
    /// Check a bay: marks by a photo of the empty wall, repeated readings, date and flatness
    #[command(after_help = STATUS)]
    Check(CheckArgs),
    /// Print a bay file in words
    Show {
        /// Bay file
        #[arg(value_name = "BAY.toml")]
        bay: PathBuf,
    },
}

/// Arguments of `bay survey`.
#[derive(Debug, Args)]
pub struct SurveyArgs {
    /// Survey file: the readings; with --interactive, where the answers are kept [default there: OUT with .survey.toml]
    #[arg(long, value_name = "SURVEY.toml", required_unless_present = "interactive")]
    pub from: Option<PathBuf>,
    /// Bay file to write
    #[arg(long, value_name = "BAY.toml")]
    pub out: PathBuf,
    /// Ask for the readings, one by one; a run that was stopped goes on where it ended
    #[arg(long)]
    pub interactive: bool,
    /// Draw plan, side view and wall
    #[arg(long, value_name = "FILE.svg")]
    pub picture: Option<PathBuf>,
    /// Date that --interactive offers [default: the system's]
    #[arg(long, value_name = "YYYY-MM-DD")]
    pub today: Option<String>,
}

/// Arguments of `bay check`.
#[derive(Debug, Args)]
pub struct CheckArgs {
    /// Bay file
    #[arg(value_name = "BAY.toml")]
    pub bay: PathBuf,
    /// Photo of the empty wall with its marks, lights on
    #[arg(long, value_name = "PHOTO")]
    pub photo: Option<PathBuf>,
    /// Lens calibration of the camera
    #[arg(long, value_name = "LENS.toml", requires = "photo")]
    pub lens: Option<PathBuf>,
    /// Readings (JSON of `measure`) of one lamp that was left alone, oldest first
    #[arg(long, value_name = "READING.json", num_args = 1..)]
    pub readings: Vec<PathBuf>,
    /// Log of the check readings, to which new ones are added [default: beside the bay file, .readings.csv]
    #[arg(long, value_name = "FILE.csv", requires = "readings")]
    pub log: Option<PathBuf>,
    /// Draw the control charts
    #[arg(long, value_name = "FILE.svg", requires = "readings")]
    pub chart: Option<PathBuf>,
    /// Months between surveys [default: the bay file's next check, else 12]
    #[arg(long, value_name = "N")]
    pub recheck_months: Option<u32>,
    /// Largest distance of a wheel place from the floor's plane, millimetres [default: the bay file's]
    #[arg(long, value_name = "N")]
    pub flatness_limit_mm: Option<f64>,
    /// Today's date [default: the system's]
    #[arg(long, value_name = "YYYY-MM-DD")]
    pub today: Option<String>,
}

/// Runs it.
pub fn run(
    args: &BayArgs,
    stdin: &mut dyn BufRead,
    stdout: &mut dyn Write,
    stderr: &mut dyn Write,
) -> Result<ExitStatus, Error> {
    let (text, status) = match &args.action {
        BayAction::Survey(args) => bay_survey::run(args, stdin, stderr)?,
        BayAction::Check(args) => bay_check::run(args)?,
        BayAction::Show { bay } => (show(&plan::read_parsed(bay, Bay::parse)?)?, ExitStatus::Good),
    };
    stdout
        .write_all(text.as_bytes())
        .and_then(|()| stdout.flush())
        .map_err(|error| Error::usage(format!("the text cannot be printed: {error}"), "is the pipe still open?"))?;
    Ok(status)
}

/// The day that was given, else the system's (UTC).
pub(super) fn today(given: Option<&str>) -> Result<jiff::civil::Date, Error> {
    match given {
        Some(text) => crate::bay::parse_date(text, "--today"),
        None => Ok(jiff::Timestamp::now().to_zoned_datetime(jiff::tz::TimeZone::UTC).date()),
    }
}

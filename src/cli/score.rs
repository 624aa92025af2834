//! `lampwright score`: measures every case with known truth and prints what the figures have come to.

use super::args::{Cli, Command, MeasureArgs};
use super::drive;
use super::exit::ExitStatus;
use super::measure::PhotoFiles;
use super::plan::{Plan, read_parsed};
use super::score_pictures::pictures;
use super::score_sweep::{Sweeping, sweep};
use super::size::{SIZES_HELP, parse_size};
use super::write::Staged;
use crate::bench::{
    Case, Comparison, Journal, Outcome, PageInput, Prepared, Results, Sweep, cases_of_families, cases_of_folder,
    compare, csv, page, rendered, score, table, worst,
};
use crate::error::Error;
use crate::options::Options;
use crate::reading::Reading;
use clap::Args;
use indicatif::{ProgressBar, ProgressStyle};
use std::fmt::Write as _;
use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::sync::Mutex;

/// Arguments of `score`.
#[derive(Debug, Args)]
#[command(
    after_help = "Exit status: 0 good; 1 a case ended wrongly, a verdict is wrong, a large error is not flagged, or, with \
--against, a figure worsened beyond the tolerance; 2 usage or file error."
)]
pub struct ScoreArgs {
    /// Folder of cases: every NAME.truth.json in it, photo and bay beside it
    #[arg(value_name = "DIR", required_unless_present = "families", conflicts_with = "families")]
    pub dir: Option<PathBuf>,
    /// Families rendered on the fly, or all
    #[arg(long, value_name = "NAME", num_args = 1.., value_delimiter = ',')]
    pub families: Vec<String>,
    /// Scenes of each family
    #[arg(long, value_name = "N", default_value_t = 40, value_parser = clap::value_parser!(u64).range(1..))]
    pub n: u64,
    /// Seed of each family's first scene
    #[arg(long, value_name = "N", default_value_t = 0)]
    pub seed: u64,
    /// Size of rendered photos
    #[arg(long, value_name = "SIZE", default_value = "2mp", help = SIZES_HELP, value_parser = parse_size)]
    pub size: (u32, u32),
    /// Folder for index.html, results.json, results.csv and the journal; made when it is missing
    #[arg(long, value_name = "DIR", default_value = "score")]
    pub out: PathBuf,
    /// Go on with the run that was stopped in the --out folder
    #[arg(long)]
    pub resume: bool,
    /// Compare with the results.json of an earlier run
    #[arg(long, value_name = "OLD.json")]
    pub against: Option<PathBuf>,
    /// Share by which a figure may worsen against the earlier run
    #[arg(long, value_name = "SHARE", default_value_t = 0.1)]
    pub tolerance: f64,
    /// Worst cases shown on the page, with their pictures
    #[arg(long, value_name = "N", default_value_t = 12, value_parser = clap::value_parser!(u16).range(..=1000))]
    pub worst: u16,
    /// Options file: tunables of the detection that differ from the defaults (see `lampwright options`)
    #[arg(long, value_name = "OPTIONS.toml")]
    pub options: Option<PathBuf>,
    /// Score the same cases at N values of one option, evenly from FROM to TO; writes sweep.json and sweep.csv too
    #[arg(long, value_name = "KEY=FROM..TO/N", conflicts_with = "resume", allow_hyphen_values = true)]
    pub sweep: Option<String>,
    /// Threads [default: every core]
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..))]
    pub threads: Option<u16>,
}

/// Runs it; `command` are the words of the command line without the program's name.
pub fn run(args: &ScoreArgs, command: Vec<String>, stdout: &mut dyn Write) -> Result<ExitStatus, Error> {
    if !(0.0..=10.0).contains(&args.tolerance) {
        return Err(Error::usage(format!("--tolerance {}: need 0 to 10", args.tolerance), "0.1 allows 10 % more"));
    }
    let old = args.against.as_deref().map(read_results).transpose()?;
    let cases = match &args.dir {
        Some(dir) => cases_of_folder(dir)?,
        None => cases_of_families(&args.families, args.n, args.seed, args.size)?,
    };
    let options =
        args.options.as_deref().map(|path| read_parsed(path, Options::parse)).transpose()?.unwrap_or_default();
    let sweeping = args.sweep.as_deref().map(|words| Sweeping::parse(words, &options)).transpose()?;
    fs::create_dir_all(&args.out).map_err(|error| cannot_make(&args.out, &error))?;
    let scratch = tempfile::tempdir().map_err(|error| cannot_make(&std::env::temp_dir(), &error))?;
    // Every value sees the same files, and a scene takes longer to render than to measure.
    let cases = match &sweeping {
        Some(_) => in_pool(args.threads, || rendered(&cases, scratch.path()))?,
        None => cases,
    };
    let software = format!("{} {}", env!("CARGO_PKG_VERSION"), option_env!("LAMPWRIGHT_COMMIT").unwrap_or("unknown"));
    let journal = Journal::open(&args.out.join("journal.jsonl"), &description(args, &options, &software), args.resume)?;
    let outcomes = in_pool(args.threads, || measure_all(&cases, &options, scratch.path(), journal))?;
    let changed = options.changed();
    let changed: Vec<String> = changed.iter().map(|(key, value)| format!("{key} = {value}")).collect();
    let results = Results::new(software, command, changed.join("; "), outcomes);
    let sweep =
        sweeping.map(|sweeping| in_pool(args.threads, || sweep(&sweeping, &cases, scratch.path()))).transpose()?;
    let comparison = old.map(|old| compare(&old, &results, args.tolerance));
    let shown = worst(&results.cases, usize::from(args.worst));
    let pictures = in_pool(args.threads, || pictures(&cases, &shown, &options))?;
    let page = page(&PageInput {
        results: &results,
        comparison: comparison.as_ref(),
        sweep: sweep.as_ref(),
        worst: usize::from(args.worst),
        pictures: &pictures,
    });
    write_results(&args.out, &results, &page, sweep.as_ref())?;
    print(stdout, &results, comparison.as_ref(), sweep.as_ref(), &args.out)?;
    let is_finding = comparison.as_ref().map_or_else(|| results.has_finding(), Comparison::is_worse);
    Ok(if is_finding { ExitStatus::Finding } else { ExitStatus::Good })
}

/// What must be the same for a run to be resumed.
fn description(args: &ScoreArgs, options: &Options, software: &str) -> String {
    let changed = options.changed();
    let software = if changed.is_empty() { software.to_owned() } else { format!("{software}; options {changed:?}") };
    match &args.dir {
        Some(dir) => format!("{software}; folder {}", dir.display()),
        None => {
            format!("{software}; families {:?} n {} seed {} size {:?}", args.families, args.n, args.seed, args.size)
        }
    }
}

fn in_pool<T: Send>(threads: Option<u16>, work: impl FnOnce() -> Result<T, Error> + Send) -> Result<T, Error> {
    let Some(threads) = threads else { return work() };
    let pool = rayon::ThreadPoolBuilder::new().num_threads(usize::from(threads)).build().map_err(|error| {
        Error::usage(format!("--threads {threads}: no threads can be started: {error}"), "name fewer, or leave it away")
    })?;
    pool.install(work)
}

fn measure_all(cases: &[Case], options: &Options, scratch: &Path, journal: Journal) -> Result<Vec<Outcome>, Error> {
    let bar = bar(cases.len());
    let done = journal.done.clone();
    bar.set_position(cases.iter().filter(|case| done.contains_key(&case.id)).count() as u64);
    bar.reset_eta();
    let journal = Mutex::new(journal);
    let finished = |outcome: &Outcome| {
        bar.inc(1);
        // A panic in another thread leaves the journal as it was: whole lines.
        journal.lock().unwrap_or_else(std::sync::PoisonError::into_inner).add(outcome)
    };
    let outcomes = score(cases, &done, scratch, &|prepared| measure_case(prepared, options), &finished)?;
    bar.finish_and_clear();
    Ok(outcomes)
}

/// A bar on standard error; nothing when that is no terminal.
pub(super) fn bar(n: usize) -> ProgressBar {
    let bar = ProgressBar::new(n as u64);
    if let Ok(style) = ProgressStyle::with_template("{bar:40} {pos}/{len} photos, {per_sec}, {eta} left") {
        bar.set_style(style);
    }
    bar
}

/// Measures one case through the same plan and driver as `measure`.
pub(super) fn measure_case(prepared: &Prepared, options: &Options) -> Result<Reading, Error> {
    let plan = plan_of(prepared, options)?;
    let photos = PhotoFiles::read(&plan)?;
    Ok(drive::drive(&plan, &photos)?.reading)
}

/// The plan of a case's words, files looked for in the case's folder.
pub(super) fn plan_of(prepared: &Prepared, options: &Options) -> Result<Plan, Error> {
    let words = ["lampwright", "measure"].into_iter().map(str::to_owned);
    let words = words.chain(prepared.words.iter().cloned());
    let usage = |error: clap::Error| {
        Error::usage(
            format!("args of the truth file: {}", error.render().to_string().trim()),
            "they are the words of a `lampwright measure` that works",
        )
    };
    match Cli::read(words).map_err(usage)?.command {
        Command::Measure(mut args) => {
            place_in(&mut args, &prepared.folder);
            Ok(Plan { options: *options, ..Plan::new(&args, Vec::new())? })
        }
        _ => {
            Err(Error::usage("args of the truth file name another command than measure", "copy a `lampwright measure`"))
        }
    }
}

fn place_in(args: &mut MeasureArgs, folder: &Path) {
    let place = |path: &mut PathBuf| *path = folder.join(&*path);
    args.photo.iter_mut().chain(&mut args.bracket).for_each(place);
    place(&mut args.bay);
    [&mut args.screws, &mut args.lens, &mut args.response, &mut args.marks_photo, &mut args.ambient_photo]
        .into_iter()
        .flatten()
        .for_each(place);
    if folder.join(&args.rules).is_file() {
        args.rules = folder.join(&args.rules).display().to_string();
    }
}

fn read_results(path: &Path) -> Result<Results, Error> {
    let name = path.display().to_string();
    let text = fs::read_to_string(path)
        .map_err(|error| Error::file(&name, format!("cannot be read: {error}"), "check the path and its rights"))?;
    Results::parse(&text, &name)
}

fn write_results(out: &Path, results: &Results, page: &str, sweep: Option<&Sweep>) -> Result<(), Error> {
    let json = results.to_json().map_err(|error| {
        Error::usage(format!("the results cannot be written as JSON: {error}"), "please report this as a defect")
    })?;
    let mut staged = vec![
        Staged::new(&out.join("results.json"), json.as_bytes())?,
        Staged::new(&out.join("results.csv"), csv(&results.cases).as_bytes())?,
        Staged::new(&out.join("index.html"), page.as_bytes())?,
    ];
    if let Some(sweep) = sweep {
        staged.push(Staged::new(&out.join("sweep.json"), sweep.to_json()?.as_bytes())?);
        staged.push(Staged::new(&out.join("sweep.csv"), sweep.to_csv().as_bytes())?);
    }
    staged.into_iter().try_for_each(Staged::commit)
}

fn print(
    stdout: &mut dyn Write,
    results: &Results,
    comparison: Option<&Comparison>,
    sweep: Option<&Sweep>,
    out: &Path,
) -> Result<(), Error> {
    let mut text = table(&results.families);
    if let Some(comparison) = comparison {
        text += "\n";
        text += &comparison.to_text();
    }
    if let Some(sweep) = sweep {
        text += "\n";
        text += &sweep.to_text();
    }
    for case in results.cases.iter().filter(|case| case.ending == crate::bench::Ending::Broken) {
        // Writing to a String cannot fail.
        let _ = writeln!(text, "broken: {}: {}", case.id, case.message.as_deref().unwrap_or_default());
    }
    let swept = if sweep.is_some() { ", sweep.json, sweep.csv" } else { "" };
    let _ = writeln!(text, "\nwritten to {}: index.html, results.json, results.csv{swept}", out.display());
    stdout
        .write_all(text.as_bytes())
        .and_then(|()| stdout.flush())
        .map_err(|error| Error::usage(format!("the table cannot be printed: {error}"), "is the pipe still open?"))
}

pub(super) fn cannot_make(folder: &Path, error: &std::io::Error) -> Error {
    Error::file(folder.display().to_string(), format!("cannot be made: {error}"), "name a folder you may write to")
}

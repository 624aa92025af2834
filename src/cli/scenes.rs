//! `lampwright scene`: renders photos of a beam on a marked wall with exact truth.

use super::exit::ExitStatus;
use super::size::{DEFAULT_SIZE, SIZES_HELP, parse_size};
use super::write::Staged;
use crate::error::Error;
use crate::scene::{CandelaTable, Rendered, SceneSpec, families, render, sample, sample_file, scene_file};
use clap::Args;
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// Arguments of `scene`.
#[derive(Debug, Args)]
pub struct SceneArgs {
    /// Family of scenes: a name under fixtures/scenes, a family file of your own by its path, or all
    #[arg(long, value_name = "NAME|FILE.toml|all", required_unless_present = "spec")]
    pub family: Option<String>,
    /// One scene in numbers, with its own seed
    #[arg(long, value_name = "FILE.toml", conflicts_with_all = ["family", "n", "seed"])]
    pub spec: Option<PathBuf>,
    /// How many scenes of each family
    #[arg(long, value_name = "N", default_value_t = 1, value_parser = clap::value_parser!(u64).range(1..=1_000_000))]
    pub n: u64,
    /// Seed of the first scene; the same seed gives the same bytes
    #[arg(long, value_name = "N", default_value_t = 0, value_parser = clap::value_parser!(u64).range(..=HIGHEST_SEED))]
    pub seed: u64,
    /// Size of the photo, the longer side counts along the sensor's rows [default: 12mp; with --spec the file's]
    #[arg(long, value_name = "SIZE", help = SIZES_HELP, value_parser = parse_size)]
    pub size: Option<(u32, u32)>,
    /// Folder to write into
    #[arg(long, value_name = "DIR")]
    pub out: PathBuf,
}

/// Seeds stay so far from the end of their numbers that counting up from one cannot overflow.
const HIGHEST_SEED: u64 = u64::MAX / 2;

/// One scene before it is drawn: where its numbers come from.
enum Source {
    Family(String),
    Own { path: PathBuf, text: String },
    Spec { path: PathBuf, text: String },
}

/// Renders the scenes and writes photo, bay file and truth of each.
pub fn run(args: &SceneArgs) -> Result<ExitStatus, Error> {
    let sources = sources(args)?;
    fs::create_dir_all(&args.out).map_err(|error| {
        Error::file(
            args.out.display().to_string(),
            format!("cannot be made: {error}"),
            "name a folder you may write to",
        )
    })?;
    let bar = progress(sources.len() as u64 * args.n);
    for source in &sources {
        for seed in args.seed..args.seed + args.n {
            let spec = drawn(source, seed, args.size)?;
            bar.set_message(spec.name.clone());
            write(&args.out, &render(&spec)?)?;
            bar.inc(1);
        }
    }
    bar.finish_and_clear();
    Ok(ExitStatus::Good)
}

/// A bar on standard error; nothing at all where that is no terminal.
fn progress(count: u64) -> ProgressBar {
    let bar = ProgressBar::with_draw_target(Some(count), ProgressDrawTarget::stderr());
    // A template that does not parse falls back to the library's own.
    if let Ok(style) = ProgressStyle::with_template("{bar:30} {pos}/{len} {eta} left, {msg}") {
        bar.set_style(style);
    }
    bar
}

fn sources(args: &SceneArgs) -> Result<Vec<Source>, Error> {
    if let Some(path) = &args.spec {
        return Ok(vec![Source::Spec { text: read(path)?, path: path.clone() }]);
    }
    let family = args.family.as_deref().unwrap_or_default();
    if family == "all" {
        return Ok(families().into_iter().map(|name| Source::Family(name.to_owned())).collect());
    }
    let path = Path::new(family);
    let is_path = path.extension().is_some_and(|ending| ending == "toml");
    Ok(vec![if is_path && !families().contains(&family) {
        Source::Own { text: read(path)?, path: path.to_owned() }
    } else {
        Source::Family(family.to_owned())
    }])
}

fn read(path: &Path) -> Result<String, Error> {
    fs::read_to_string(path).map_err(|error| {
        Error::file(path.display().to_string(), format!("cannot be read: {error}"), "check the path and its rights")
    })
}

/// Draws one scene; a candela table is read from beside the file that names it.
fn drawn(source: &Source, seed: u64, size: Option<(u32, u32)>) -> Result<SceneSpec, Error> {
    let family_size = size.or(Some(DEFAULT_SIZE));
    let (mut spec, folder) = match source {
        Source::Family(name) => (sample(name, seed, family_size)?, Path::new("")),
        Source::Own { path, text } => {
            (sample_file(text, &path.display().to_string(), seed, family_size)?, folder_of(path))
        }
        Source::Spec { path, text } => (scene_file(text, &path.display().to_string(), size)?, folder_of(path)),
    };
    if let Some(table) = &spec.beam.table {
        let path = folder.join(table);
        let parsed = CandelaTable::parse(&read(&path)?, &path.display().to_string(), spec.beam.table_pole)?;
        spec.beam.candela = Some(Arc::new(parsed));
    }
    Ok(spec)
}

fn folder_of(path: &Path) -> &Path {
    path.parent().unwrap_or(Path::new(""))
}

fn write(out: &Path, scene: &Rendered) -> Result<(), Error> {
    let file = |suffix: &str| out.join(format!("{}.{suffix}", scene.name));
    let mut staged = vec![
        Staged::new(&file("jpg"), &scene.photo)?,
        Staged::new(&file("bay.toml"), scene.bay_toml.as_bytes())?,
        Staged::new(&file("truth.json"), scene.truth_json.as_bytes())?,
    ];
    if let Some((suffix, photo)) = &scene.second {
        staged.push(Staged::new(&file(&format!("{suffix}.jpg")), photo)?);
    }
    staged.into_iter().try_for_each(Staged::commit)
}

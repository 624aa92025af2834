//! `lampwright scene`: renders photos of a beam on a marked wall with exact truth.

use super::exit::ExitStatus;
use super::write::Staged;
use crate::error::Error;
use crate::scene::{Rendered, render, sample};
use clap::Args;
use std::fs;
use std::path::{Path, PathBuf};

/// Arguments of `scene`.
#[derive(Debug, Args)]
pub struct SceneArgs {
    /// Family of scenes, a name under fixtures/scenes
    #[arg(long, value_name = "NAME")]
    pub family: String,
    /// How many scenes
    #[arg(long, value_name = "N", default_value_t = 1)]
    pub n: u64,
    /// Seed of the first scene; the same seed gives the same bytes
    #[arg(long, value_name = "N", default_value_t = 0)]
    pub seed: u64,
    /// Size of the photo
    #[arg(long, default_value = "12mp", value_parser = ["12mp", "2mp"])]
    pub size: String,
    /// Folder to write into
    #[arg(long, value_name = "DIR")]
    pub out: PathBuf,
}

/// Sides of the two picture sizes, pixels.
const SIZE_12MP: (u32, u32) = (4000, 3000);
const SIZE_2MP: (u32, u32) = (1632, 1224);

/// Renders the scenes and writes photo, bay file and truth of each.
pub fn run(args: &SceneArgs) -> Result<ExitStatus, Error> {
    let size = if args.size == "2mp" { SIZE_2MP } else { SIZE_12MP };
    fs::create_dir_all(&args.out).map_err(|error| {
        Error::file(
            args.out.display().to_string(),
            format!("cannot be made: {error}"),
            "name a folder you may write to",
        )
    })?;
    for seed in args.seed..args.seed + args.n {
        write(&args.out, &render(&sample(&args.family, seed, Some(size))?)?)?;
    }
    Ok(ExitStatus::Good)
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

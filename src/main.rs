//! The `lampwright` program: parses, calls the library, prints.

use clap::{Parser, Subcommand};
use std::error::Error;
use std::fs;
use std::path::{Path, PathBuf};

#[derive(Parser)]
struct Program {
    #[command(subcommand)]
    command: Command,
}

#[derive(Subcommand)]
enum Command {
    /// Render synthetic photos with truth.
    Scene {
        /// Family of scenes.
        #[arg(long)]
        family: String,
        /// How many.
        #[arg(long, default_value_t = 1)]
        n: u64,
        /// First seed.
        #[arg(long, default_value_t = 0)]
        seed: u64,
        /// 12mp or 2mp.
        #[arg(long, default_value = "12mp", value_parser = ["12mp", "2mp"])]
        size: String,
        /// Folder to write into.
        #[arg(long)]
        out: PathBuf,
    },
}

fn main() -> Result<(), Box<dyn Error>> {
    let Command::Scene { family, n, seed, size, out } = Program::parse().command;
    let size = if size == "2mp" { (1632, 1224) } else { (4000, 3000) };
    fs::create_dir_all(&out)?;
    for number in seed..seed + n {
        let spec = lampwright::scene::sample(&family, number, Some(size))?;
        write(&out, &lampwright::scene::render(&spec)?)?;
    }
    Ok(())
}

fn write(out: &Path, scene: &lampwright::scene::Rendered) -> std::io::Result<()> {
    let file = |suffix: &str| out.join(format!("{}.{suffix}", scene.name));
    fs::write(file("jpg"), &scene.photo)?;
    fs::write(file("bay.toml"), &scene.bay_toml)?;
    fs::write(file("truth.json"), &scene.truth_json)?;
    if let Some((suffix, photo)) = &scene.second {
        fs::write(file(&format!("{suffix}.jpg")), photo)?;
    }
    Ok(())
}

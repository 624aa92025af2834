//! Arguments of `serve`, and of the worker that it starts for every photo.

use super::args::TrafficArg;
use clap::Args;
use std::path::PathBuf;

/// Arguments of `serve`.
#[derive(Debug, Clone, Args)]
pub struct ServeArgs {
    /// Bay file; may be repeated for a shop with several bays
    #[arg(long = "bay", value_name = "BAY.toml", required = true, num_args = 1..)]
    pub bays: Vec<PathBuf>,
    /// Store that every inspection is recorded in (`lampwright record init STORE` makes one)
    #[arg(long, value_name = "STORE")]
    pub record: PathBuf,
    /// Rule that a new inspection starts with: an id of `lampwright rules list`, or the path of a rule file
    #[arg(long, value_name = "ID|FILE", default_value = crate::aim::rule::DEFAULT_RULE)]
    pub rules: String,
    /// Side of the road that a new inspection starts with
    #[arg(long, value_enum, default_value_t = TrafficArg::Right)]
    pub traffic: TrafficArg,
    /// Screws file; without one the screws are learned
    #[arg(long, value_name = "SCREWS.toml")]
    pub screws: Option<PathBuf>,
    /// Lens file: calibration of a camera's lens; may be repeated, and is chosen when an inspection begins. A single one
    /// is chosen from the start
    #[arg(long = "lens", value_name = "LENS.toml", num_args = 1..)]
    pub lenses: Vec<PathBuf>,
    /// Response file: a camera's tone curve; likewise
    #[arg(long = "response", value_name = "RESPONSE.toml", num_args = 1..)]
    pub responses: Vec<PathBuf>,
    /// Port; 0 lets the system choose
    #[arg(long, value_name = "N", default_value_t = 8737)]
    pub port: u16,
    /// Let other devices of the network in: they need the one-time code that is shown in the terminal
    #[arg(long)]
    pub lan: bool,
    /// Further name or address under which the page is reached, for example shop.local, with its port when that is
    /// another; may be repeated. With --lan on a network without a way out, phones are sent to the first
    #[arg(long = "host", value_name = "NAME", num_args = 1..)]
    pub hosts: Vec<String>,
    /// Encrypt with a self-signed certificate, whose fingerprint is shown
    #[arg(long)]
    pub tls: bool,
    /// Folder that a fixed camera writes its photos into; each new one goes to the inspection that asked for it
    #[arg(long, value_name = "DIR")]
    pub watch: Option<PathBuf>,
    /// Longest time that one upload may take, seconds
    #[arg(long, value_name = "N", default_value_t = 120, value_parser = clap::value_parser!(u64).range(1..=3600))]
    pub upload_seconds: u64,
    /// Most photos of one inspection
    #[arg(long, value_name = "N", default_value_t = 200, value_parser = clap::value_parser!(u16).range(1..))]
    pub most_photos: u16,
    /// Longest time that measuring one photo may take, seconds; then its worker is ended and nothing is recorded
    #[arg(long, value_name = "N", default_value_t = 30, value_parser = clap::value_parser!(u64).range(1..=600))]
    pub photo_seconds: u64,
    /// Memory that measuring one photo may take, MiB
    #[arg(long, value_name = "N", default_value_t = 1536, value_parser = clap::value_parser!(u64).range(16..=65_536))]
    pub photo_mib: u64,
}

/// Arguments of the worker.
#[derive(Debug, Clone, Copy, Args)]
pub struct PageWorkerArgs {
    /// Longest processor time, seconds
    #[arg(long, value_name = "N")]
    pub seconds: u64,
    /// Memory, MiB
    #[arg(long, value_name = "N")]
    pub mib: u64,
}

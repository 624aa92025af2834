//! `lampwright prepare` and `lampwright vehicle`: the vehicle before the photo.

use super::args::BeamArg;
use super::exit::ExitStatus;
use super::plan;
use crate::bay::Bay;
use crate::error::Error;
use crate::kit::checklist::{LampKind, checklist, to_text};
use crate::kit::vehicle::{Angle, Axle, centre_by_edges, yaw_by_hubs, yaw_by_offsets};
use crate::units::{Deg, Mm};
use clap::{Args, Subcommand, ValueEnum};
use std::io::Write;
use std::path::PathBuf;

/// Arguments of `prepare`.
#[derive(Debug, Args)]
pub struct PrepareArgs {
    /// Rule that says how the vehicle is loaded: an id of `lampwright rules list`, or a rule file
    #[arg(long, value_name = "ID|FILE", default_value = crate::aim::rule::DEFAULT_RULE)]
    pub rules: String,
    /// Beam that will be measured
    #[arg(long, value_enum, default_value_t = BeamArg::Low)]
    pub beam: BeamArg,
    /// Kind of light source
    #[arg(long, value_enum, default_value_t = LampKindArg::Unknown)]
    pub lamp_kind: LampKindArg,
    /// Print the items as JSON instead
    #[arg(long)]
    pub json: bool,
}

/// `--lamp-kind`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum LampKindArg {
    /// Filament bulb
    Halogen,
    /// Gas discharge
    Discharge,
    /// Light-emitting diodes
    Led,
    /// Not looked at yet
    Unknown,
}

/// Arguments of `vehicle`.
#[derive(Debug, Args)]
pub struct VehicleArgs {
    /// What to work out
    #[command(subcommand)]
    pub action: VehicleAction,
}

/// What `vehicle` works out.
#[derive(Debug, Subcommand)]
pub enum VehicleAction {
    /// Yaw against the centreline from wheel offsets (better), or from the hubs' distances to the wall
    Yaw(Box<YawArgs>),
    /// Height of a lamp's centre from the lower and the upper edge of its lit surface
    Height {
        /// Lower edge above the floor, millimetres
        #[arg(long, value_name = "N")]
        lower_edge_mm: f64,
        /// Upper edge above the floor, millimetres
        #[arg(long, value_name = "N")]
        upper_edge_mm: f64,
    },
}

/// Arguments of `vehicle yaw`.
#[derive(Debug, Args)]
pub struct YawArgs {
    /// Front left wheel from the centreline, millimetres, counted outwards
    #[arg(long, value_name = "N", requires_all = ["front_right_mm", "rear_left_mm", "rear_right_mm", "wheelbase_mm"])]
    pub front_left_mm: Option<f64>,
    /// Front right wheel from the centreline, to the same point of the wheel
    #[arg(long, value_name = "N")]
    pub front_right_mm: Option<f64>,
    /// Rear left wheel from the centreline
    #[arg(long, value_name = "N")]
    pub rear_left_mm: Option<f64>,
    /// Rear right wheel from the centreline
    #[arg(long, value_name = "N")]
    pub rear_right_mm: Option<f64>,
    /// Front to rear axle
    #[arg(long, value_name = "N")]
    pub wheelbase_mm: Option<f64>,
    /// Front left hub to the wall, millimetres
    #[arg(long, value_name = "N", requires_all = ["hub_right_mm", "track_mm"], conflicts_with = "front_left_mm")]
    pub hub_left_mm: Option<f64>,
    /// Front right hub to the wall
    #[arg(long, value_name = "N")]
    pub hub_right_mm: Option<f64>,
    /// Between the two hubs
    #[arg(long, value_name = "N")]
    pub track_mm: Option<f64>,
    /// Bay whose wall's own yaw is taken off
    #[arg(long, value_name = "BAY.toml")]
    pub bay: Option<PathBuf>,
    /// Standard uncertainty of one reading of the tape, millimetres
    #[arg(long, value_name = "N", default_value_t = 2.0)]
    pub tape_sigma_mm: f64,
}

/// Standard uncertainty of a wall's yaw as a bay file states it, degrees (own judgement).
const WALL_YAW_SIGMA_DEG: f64 = 0.05;

/// Prints the checklist.
pub fn prepare(args: &PrepareArgs, stdout: &mut dyn Write) -> Result<ExitStatus, Error> {
    let kind = match args.lamp_kind {
        LampKindArg::Halogen => LampKind::Halogen,
        LampKindArg::Discharge => LampKind::Discharge,
        LampKindArg::Led => LampKind::Led,
        LampKindArg::Unknown => LampKind::Unknown,
    };
    let items = checklist(&plan::rule(&args.rules)?, plan::beam(args.beam), kind);
    let text = if args.json {
        serde_json::to_string_pretty(&items).map(|json| json + "\n").map_err(|error| {
            Error::usage(format!("the list cannot be written as JSON: {error}"), "please report this as a defect")
        })?
    } else {
        to_text(&items)
    };
    print(&text, stdout)
}

/// Works out yaw or height.
pub fn vehicle(args: &VehicleArgs, stdout: &mut dyn Write) -> Result<ExitStatus, Error> {
    let text = match &args.action {
        VehicleAction::Yaw(args) => {
            let yaw = yaw(args)?;
            format!(
                "vehicle yaw {:+.3} deg ± {:.3} (k = 2), nose to the {}\nmeasure with --vehicle-yaw-deg {:.3}; [uncertainty] \
                 yaw_deg = {:.3} in the bay file\n",
                yaw.value.get(),
                2.0 * yaw.sigma_deg,
                if yaw.value.get() < 0.0 { "left" } else { "right" },
                yaw.value.get(),
                yaw.sigma_deg
            )
        }
        VehicleAction::Height { lower_edge_mm, upper_edge_mm } => {
            let centre = centre_by_edges(Mm::new(*lower_edge_mm), Mm::new(*upper_edge_mm))?;
            format!("measure with --height-mm {:.1} --lower-edge-mm {lower_edge_mm:.1}\n", centre.get())
        }
    };
    print(&text, stdout)
}

fn yaw(args: &YawArgs) -> Result<Angle, Error> {
    let tape = Mm::new(args.tape_sigma_mm);
    if !(0.0..=100.0).contains(&args.tape_sigma_mm) {
        return Err(Error::usage(format!("--tape-sigma-mm {}: need 0 to 100", args.tape_sigma_mm), "2 is usual"));
    }
    let mm = |value: Option<f64>| Mm::new(value.unwrap_or(f64::NAN));
    if args.front_left_mm.is_some() {
        let front = Axle { left: mm(args.front_left_mm), right: mm(args.front_right_mm) };
        let rear = Axle { left: mm(args.rear_left_mm), right: mm(args.rear_right_mm) };
        return yaw_by_offsets(front, rear, mm(args.wheelbase_mm), tape);
    }
    if args.hub_left_mm.is_some() {
        let wall = match &args.bay {
            Some(path) => Deg::new(plan::read_parsed(path, Bay::parse)?.wall.yaw_deg),
            None => Deg::new(0.0),
        };
        let wall = Angle { value: wall, sigma_deg: WALL_YAW_SIGMA_DEG };
        return yaw_by_hubs(mm(args.hub_left_mm), mm(args.hub_right_mm), mm(args.track_mm), wall, tape);
    }
    Err(Error::usage(
        "nothing to work out the yaw from",
        "give --front-left-mm --front-right-mm --rear-left-mm --rear-right-mm --wheelbase-mm, or --hub-left-mm --hub-right-mm --track-mm",
    ))
}

fn print(text: &str, stdout: &mut dyn Write) -> Result<ExitStatus, Error> {
    stdout
        .write_all(text.as_bytes())
        .and_then(|()| stdout.flush())
        .map_err(|error| Error::usage(format!("the text cannot be printed: {error}"), "is the pipe still open?"))?;
    Ok(ExitStatus::Good)
}

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
use std::ops::RangeInclusive;
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
    /// Standard uncertainty (k = 1) of the wall's own yaw, degrees, for hub distances [default: the bay's survey's, else 0.05]
    #[arg(long, value_name = "N", requires = "hub_left_mm")]
    pub wall_yaw_sigma_deg: Option<f64>,
    /// Standard uncertainty of one reading of the tape, millimetres
    #[arg(long, value_name = "N", default_value_t = 2.0)]
    pub tape_sigma_mm: f64,
}

/// Standard uncertainty of a wall's yaw where neither a survey nor the user states one, degrees (own judgement).
const WALL_YAW_SIGMA_DEG: f64 = 0.05;
/// What it can be, degrees.
const WALL_YAW_SIGMAS_DEG: RangeInclusive<f64> = 0.0..=5.0;

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
            let (yaw, of) = yaw(args)?;
            format!(
                "vehicle yaw {:+.3} deg ± {:.3} (k = 2), nose to the {}\n{of}measure with --vehicle-yaw-deg {:.3} \
                 --vehicle-yaw-u-deg {:.3}\n",
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

/// The yaw, and of what its uncertainty is made where that is not the tape alone.
fn yaw(args: &YawArgs) -> Result<(Angle, String), Error> {
    let tape = Mm::new(args.tape_sigma_mm);
    if !(0.0..=100.0).contains(&args.tape_sigma_mm) {
        return Err(Error::usage(format!("--tape-sigma-mm {}: need 0 to 100", args.tape_sigma_mm), "2 is usual"));
    }
    let mm = |value: Option<f64>| Mm::new(value.unwrap_or(f64::NAN));
    if args.front_left_mm.is_some() {
        let front = Axle { left: mm(args.front_left_mm), right: mm(args.front_right_mm) };
        let rear = Axle { left: mm(args.rear_left_mm), right: mm(args.rear_right_mm) };
        return Ok((yaw_by_offsets(front, rear, mm(args.wheelbase_mm), tape)?, String::new()));
    }
    if args.hub_left_mm.is_some() {
        let (left, right, track) = (mm(args.hub_left_mm), mm(args.hub_right_mm), mm(args.track_mm));
        let bay = args.bay.as_deref().map(|path| plan::read_parsed(path, Bay::parse)).transpose()?;
        let surveyed = bay.as_ref().and_then(|bay| bay.survey.as_ref()).and_then(|survey| survey.yaw_sigma_deg);
        let (sigma_deg, whose) = match (args.wall_yaw_sigma_deg, surveyed) {
            (Some(given), _) => (given, "as given"),
            (None, Some(surveyed)) => (surveyed, "by the bay's survey"),
            (None, None) => (WALL_YAW_SIGMA_DEG, "assumed; --wall-yaw-sigma-deg states it"),
        };
        if !WALL_YAW_SIGMAS_DEG.contains(&sigma_deg) {
            return Err(Error::usage(
                format!("--wall-yaw-sigma-deg {sigma_deg}: need 0 to {}", WALL_YAW_SIGMAS_DEG.end()),
                "how well it is known that the wall stands square to the centreline, degrees",
            ));
        }
        let square = Angle { value: Deg::new(0.0), sigma_deg: 0.0 };
        let by_tape = yaw_by_hubs(left, right, track, square, tape)?.sigma_deg;
        let wall = Angle { value: Deg::new(bay.map_or(0.0, |bay| bay.wall.yaw_deg)), sigma_deg };
        let of = format!(
            "  of that, k = 1: tape {by_tape:.3} ({} mm at each hub over {} mm), wall's own yaw {sigma_deg:.3} ({whose})\n",
            tape.get(),
            track.get()
        );
        return Ok((yaw_by_hubs(left, right, track, wall, tape)?, of));
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

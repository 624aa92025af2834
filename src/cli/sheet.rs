//! `lampwright sheet`: what a shop prints for its bay, as PDF true to scale.

use super::exit::ExitStatus;
use super::plan;
use super::write::{Staged, check_ending};
use crate::bay::{Bay, MarkKind};
use crate::error::Error;
use crate::kit::sheet_art::PrintedMark;
use crate::kit::sheet_board::checkerboard;
use crate::kit::sheet_floor::{FloorVehicle, floor_plan};
use crate::kit::sheet_label::{LabelDates, label};
use crate::kit::sheet_marks::{MarkSheets, bay_mark_sheets, mark_sheets};
use crate::kit::sheet_page::{Page, Paper};
use crate::kit::sheet_pdf::pdf;
use crate::kit::sheet_wall::wall_plan;
use crate::units::Mm;
use clap::{Args, Subcommand, ValueEnum};
use std::fmt::Write as _;
use std::io::Write;
use std::ops::RangeInclusive;
use std::path::{Path, PathBuf};

/// From the lamps back to the front axle, mm; a plain limit against slips of the pen.
const LAMP_TO_AXLE_MM: RangeInclusive<f64> = 0.0..=3000.0;
/// Middle to middle of the front wheels, mm, likewise.
const TRACK_MM: RangeInclusive<f64> = 500.0..=3000.0;

/// Arguments of `sheet`.
#[derive(Debug, Args)]
pub struct SheetArgs {
    /// What to print
    #[command(subcommand)]
    pub sheet: SheetCommand,
}

/// What `sheet` prints.
#[derive(Debug, Subcommand)]
pub enum SheetCommand {
    /// Marks in true size, to be cut out and put on the wall
    Marks(MarksArgs),
    /// Plan of the wall: where each mark goes, and where lamps of some heights aim
    Wall(WallArgs),
    /// Plan of the floor: where the vehicle stands, and what must be level
    Floor(FloorArgs),
    /// Label for the floor at the bay, with the bay file's SHA-256 as a QR code
    Label(LabelArgs),
    /// Checkerboard for the calibration of a camera's lens
    Checkerboard(BoardArgs),
}

/// Where a sheet goes, and on what.
#[derive(Debug, Args)]
pub struct OutArgs {
    /// Paper that the printer holds
    #[arg(long, value_enum, default_value_t = PaperArg::A4)]
    pub paper: PaperArg,
    /// File to write
    #[arg(long, value_name = "FILE.pdf")]
    pub out: PathBuf,
}

/// Arguments of `sheet marks`.
#[derive(Debug, Args)]
pub struct MarksArgs {
    /// Print all marks of this bay
    #[arg(long, value_name = "BAY.toml", conflicts_with_all = ["kind", "ids", "size_mm"])]
    pub bay: Option<PathBuf>,
    /// Print marks of this kind, without a bay
    #[arg(long, value_enum, required_unless_present = "bay", requires = "ids", requires = "size_mm")]
    pub kind: Option<KindArg>,
    /// Their ids, for tags 0 to 586; may be repeated
    #[arg(long = "id", value_name = "N")]
    pub ids: Vec<u32>,
    /// Edge of a tag's black square, or diameter of a disc, millimetres
    #[arg(long, value_name = "N")]
    pub size_mm: Option<f64>,
    /// Distance from lamp to wall, millimetres; with it the size is held against a usual photo
    #[arg(long, value_name = "N", conflicts_with = "bay")]
    pub distance_mm: Option<f64>,
    /// Where it goes
    #[command(flatten)]
    pub to: OutArgs,
}

/// Arguments of `sheet wall`.
#[derive(Debug, Args)]
pub struct WallArgs {
    /// The bay
    #[arg(long, value_name = "BAY.toml")]
    pub bay: PathBuf,
    /// Height of a lamp's centre whose lines are drawn, millimetres; may be repeated
    #[arg(long, value_name = "N", default_values_t = [600.0, 900.0])]
    pub height_mm: Vec<f64>,
    /// Where it goes
    #[command(flatten)]
    pub to: OutArgs,
}

/// Arguments of `sheet floor`.
#[derive(Debug, Args)]
pub struct FloorArgs {
    /// The bay
    #[arg(long, value_name = "BAY.toml")]
    pub bay: PathBuf,
    /// From the lamps back to the front axle of the vehicle that is drawn, millimetres
    #[arg(long, value_name = "N", default_value_t = 700.0)]
    pub lamp_to_axle_mm: f64,
    /// Middle to middle of its front wheels, millimetres
    #[arg(long, value_name = "N", default_value_t = 1550.0)]
    pub track_mm: f64,
    /// Where it goes
    #[command(flatten)]
    pub to: OutArgs,
}

/// Arguments of `sheet label`.
#[derive(Debug, Args)]
pub struct LabelArgs {
    /// The bay
    #[arg(long, value_name = "BAY.toml")]
    pub bay: PathBuf,
    /// Day of the survey [default: the bay file's; where it has none, a line is left for the pen]
    #[arg(long, value_name = "YYYY-MM-DD")]
    pub survey_date: Option<String>,
    /// Day of the next check [default: the bay file's, else 12 months after the survey]
    #[arg(long, value_name = "YYYY-MM-DD")]
    pub next_check: Option<String>,
    /// Where it goes
    #[command(flatten)]
    pub to: OutArgs,
}

/// Arguments of `sheet checkerboard`.
#[derive(Debug, Args)]
pub struct BoardArgs {
    /// Squares across
    #[arg(long, value_name = "N", default_value_t = 9)]
    pub columns: u32,
    /// Squares down
    #[arg(long, value_name = "N", default_value_t = 6)]
    pub rows: u32,
    /// Edge of a square, millimetres
    #[arg(long, value_name = "N", default_value_t = 25.0)]
    pub square_mm: f64,
    /// Where it goes
    #[command(flatten)]
    pub to: OutArgs,
}

/// `--paper`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum PaperArg {
    /// 210 x 297 mm
    A4,
    /// 8.5 x 11 in
    Letter,
    /// 297 x 420 mm
    A3,
}

/// `--kind`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum KindArg {
    /// Tag of the family 36h11
    Tag36h11,
    /// Disc split in four
    Quadrant,
}

impl OutArgs {
    fn paper(&self) -> Paper {
        match self.paper {
            PaperArg::A4 => Paper::A4,
            PaperArg::Letter => Paper::Letter,
            PaperArg::A3 => Paper::A3,
        }
    }
}

/// Makes the sheet and writes it.
pub fn run(args: &SheetArgs, stdout: &mut dyn Write) -> Result<ExitStatus, Error> {
    match &args.sheet {
        SheetCommand::Marks(args) => {
            let MarkSheets { pages, notes } = marks(args)?;
            write(&pages, "Marks", &args.to, args.bay.as_deref(), &notes, stdout)
        }
        SheetCommand::Wall(args) => {
            args.height_mm.iter().try_for_each(|height| plan::check_height(*height))?;
            let heights: Vec<Mm> = args.height_mm.iter().copied().map(Mm::new).collect();
            let bay = plan::read_parsed(&args.bay, Bay::parse)?;
            write(&[wall_plan(&bay, &heights, args.to.paper())], "Wall plan", &args.to, Some(&args.bay), &[], stdout)
        }
        SheetCommand::Floor(args) => {
            let lamp_to_axle = checked("--lamp-to-axle-mm", args.lamp_to_axle_mm, LAMP_TO_AXLE_MM)?;
            let vehicle = FloorVehicle { lamp_to_axle, track: checked("--track-mm", args.track_mm, TRACK_MM)? };
            let bay = plan::read_parsed(&args.bay, Bay::parse)?;
            write(&[floor_plan(&bay, vehicle, args.to.paper())], "Floor plan", &args.to, Some(&args.bay), &[], stdout)
        }
        SheetCommand::Label(args) => {
            let text = plan::read_text(&args.bay)?;
            let bay = Bay::parse(&text, &args.bay.display().to_string())?;
            let given = LabelDates { survey: args.survey_date.clone(), next_check: args.next_check.clone() };
            let dates = LabelDates::of(&bay, &given)?;
            let page = label(&bay, text.as_bytes(), &dates, args.to.paper())?;
            write(&[page], "Label", &args.to, Some(&args.bay), &[], stdout)
        }
        SheetCommand::Checkerboard(args) => {
            let page = checkerboard(args.columns, args.rows, args.square_mm, args.to.paper())?;
            write(&[page], "Checkerboard", &args.to, None, &[], stdout)
        }
    }
}

fn marks(args: &MarksArgs) -> Result<MarkSheets, Error> {
    let paper = args.to.paper();
    if let Some(path) = &args.bay {
        return bay_mark_sheets(&plan::read_parsed(path, Bay::parse)?, paper);
    }
    let kind = match args.kind {
        Some(KindArg::Quadrant) => MarkKind::Quadrant,
        _ => MarkKind::Tag36h11,
    };
    let size_mm = args.size_mm.unwrap_or_default();
    let marks: Vec<PrintedMark> = args.ids.iter().map(|&id| PrintedMark { kind, id, size_mm }).collect();
    let distance = args.distance_mm.map(plan::check_distance).transpose()?;
    mark_sheets(&marks, "Lampwright", distance.map(Mm::get), paper)
}

fn checked(name: &str, value: f64, range: RangeInclusive<f64>) -> Result<Mm, Error> {
    if range.contains(&value) {
        return Ok(Mm::new(value));
    }
    Err(Error::usage(
        format!("{name} {value}, need {} to {}", range.start(), range.end()),
        "give millimetres, measured on the vehicle",
    ))
}

fn write(
    pages: &[Page],
    title: &str,
    to: &OutArgs,
    input: Option<&Path>,
    notes: &[String],
    stdout: &mut dyn Write,
) -> Result<ExitStatus, Error> {
    if input.is_some_and(|input| plan::resolved(input) == plan::resolved(&to.out)) {
        return Err(Error::usage(
            format!("--out {} would overwrite another file of this command", to.out.display()),
            "give it a name of its own",
        ));
    }
    check_ending("--out", &to.out, "pdf")?;
    Staged::new(&to.out, &pdf(pages, title)?)?.commit()?;
    let count = if pages.len() == 1 { "1 page".to_owned() } else { format!("{} pages", pages.len()) };
    let mut text = format!("{}: {count} of {}; print at 100 %\n", to.out.display(), to.paper().name());
    for note in notes {
        let _ = writeln!(text, "  {note}");
    }
    stdout
        .write_all(text.as_bytes())
        .and_then(|()| stdout.flush())
        .map_err(|error| Error::usage(format!("the text cannot be printed: {error}"), "is the pipe still open?"))?;
    Ok(ExitStatus::Good)
}

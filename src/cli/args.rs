//! Raw arguments, as typed; help is made from them. Nothing is checked here beyond the shape of a number or a name.

use clap::{Args, Parser, Subcommand, ValueEnum};
use std::ffi::OsString;
use std::path::PathBuf;

/// Said at the end of every help.
const CAUTIONS: &str = "\
Exit status: 0 pass; 1 fail, borderline or no verdict; 2 usage or file error, nothing written; 3 photo refused.

Before you adjust a lamp: park brake on, wheels chocked; lead the exhaust outside if the engine runs; nobody in front \
of a vehicle that can move. Lamps are hot, discharge lamps carry high voltage. Do not look into the beam. Local codes \
and the vehicle's manual come before what this program says.";

/// The `lampwright` program.
#[derive(Debug, Parser)]
#[command(name = "lampwright", version, about, max_term_width = 100, after_help = CAUTIONS)]
pub struct Cli {
    /// What to do.
    #[command(subcommand)]
    pub command: Command,
}

impl Cli {
    /// Reads the words of a command line, the program's name first. Several places may stand behind one `--mark`, and the photo
    /// behind them.
    pub fn read<W: Into<OsString>>(words: impl IntoIterator<Item = W>) -> Result<Self, clap::Error> {
        let mut each = Vec::new();
        let mut is_behind_mark = false;
        for word in words.into_iter().map(Into::into) {
            let is_place = word.to_str().is_some_and(is_place);
            if is_place && is_behind_mark && each.last().is_some_and(|last| *last != MARK) {
                each.push(OsString::from(MARK));
            }
            is_behind_mark = word == MARK || (is_behind_mark && is_place);
            each.push(word);
        }
        Self::try_parse_from(each)
    }
}

const MARK: &str = "--mark";

/// Whether a word has the shape ID=X,Y, right or wrong in its numbers.
fn is_place(word: &str) -> bool {
    let is_number = |text: &str| !text.is_empty() && text.chars().all(|c| c.is_ascii_digit() || "., -".contains(c));
    word.split_once('=').is_some_and(|(id, place)| id.chars().all(|c| c.is_ascii_digit()) && is_number(place))
}

/// The commands.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Measure a headlamp's aim from one photo of its beam on a marked wall
    #[command(after_help = CAUTIONS)]
    Measure(Box<MeasureArgs>),
    /// Measure many photos from a list, a line of JSON each
    Batch(super::batch::BatchArgs),
    /// Print the checklist of what must be right about the vehicle before a beam is measured
    Prepare(super::prepare::PrepareArgs),
    /// Work out how the vehicle stands from a tape measure: yaw, lamp height
    Vehicle(super::prepare::VehicleArgs),
    /// Aim the lamps of a vehicle photo by photo; what the screws do is learned on the way
    #[command(after_help = CAUTIONS)]
    Aim(super::aim::AimArgs),
    /// Keep inspections: list, show, export, verify, measure again, back up, erase, correct
    #[cfg(feature = "records")]
    Record(super::record::RecordArgs),
    /// Serve the page for phone and desk: photograph, be told what to turn, file the result
    #[cfg(feature = "serve")]
    #[command(after_help = CAUTIONS)]
    Serve(Box<super::serve::ServeArgs>),
    /// Measure one photo of the page's server, which starts this itself
    #[cfg(feature = "serve")]
    #[command(hide = true)]
    PageWorker(super::serve::PageWorkerArgs),
    /// Print a record as PDF: one page for the customer, with the full table for the file on request
    #[cfg(feature = "records")]
    Report(super::report::ReportArgs),
    /// Render photos of a beam on a marked wall with exact truth, for those who tune the detection
    Scene(super::scenes::SceneArgs),
    /// Show the rules that aim is judged by, and check a rule file
    Rules(super::rules::RulesArgs),
    /// Print marks, plans, a label or a checkerboard, PDF true to scale
    Sheet(super::sheet::SheetArgs),
    /// Survey a bay, check that it still holds, show it in words
    Bay(super::bay::BayArgs),
    /// Calibrate the camera's lens from photos of a printed checkerboard
    Lens(super::lens::LensArgs),
    /// Fit the camera's response to light from photos of one still wall at several exposures
    Response(super::response::ResponseArgs),
    /// Turn photos into test cases, for those who develop this program
    Fixture(super::fixture::FixtureArgs),
    /// Print everything that can be tuned in the detection, as an options file with its defaults, for developers
    Options,
    /// Write man pages of all commands into a folder, for those who pack the program
    #[command(hide = true)]
    Man(super::manual::ManArgs),
    /// Print completions for a shell, for those who pack the program
    #[command(hide = true)]
    Completions(super::manual::CompletionsArgs),
    /// Measure many photos with known truth and show errors, coverage of the stated uncertainty, and what changed
    Score(Box<super::score::ScoreArgs>),
}

/// Arguments of `measure`.
#[derive(Debug, Args)]
pub struct MeasureArgs {
    /// Photo of the beam on the wall, JPEG, HEIC or PNG, straight from the camera
    #[arg(value_name = "PHOTO", required_unless_present = "bracket")]
    pub photo: Option<PathBuf>,
    /// Photos of the same still scene at other exposures (camera rested, a factor of 2 to 8 between them, HDR off), merged with
    /// PHOTO, or with one another, so that neither marks nor hot spot are lost
    #[arg(long, value_name = "PHOTO", num_args = 1.., conflicts_with_all = ["marks_photo", "ambient_photo"])]
    pub bracket: Vec<PathBuf>,
    /// Bay file: wall, floor, marks and how well they are known
    #[arg(long, value_name = "BAY.toml")]
    pub bay: PathBuf,
    /// Which lamp is lit; left and right are the vehicle's own sides
    #[arg(long, value_enum)]
    pub lamp: LampArg,
    /// Height of the lamp's centre above the floor, millimetres
    #[arg(long, value_name = "N", allow_negative_numbers = true)]
    pub height_mm: f64,
    /// Which beam is on
    #[arg(long, value_enum, default_value_t = BeamArg::Low)]
    pub beam: BeamArg,
    /// What to look for [default: low kink, fog flat, high spot, unless the rule names another]
    #[arg(long, value_enum)]
    pub pattern: Option<PatternArg>,
    /// Distance of the lamp's centre from the vehicle's centreline, millimetres [default: 600, with a wide uncertainty]
    #[arg(long, value_name = "N", allow_negative_numbers = true)]
    pub offset_mm: Option<f64>,
    /// Distance from the lamps to the wall for this vehicle, millimetres [default: the bay's]
    #[arg(long, value_name = "N", allow_negative_numbers = true)]
    pub distance_mm: Option<f64>,
    /// Vehicle against the bay's centreline, degrees, positive when its nose points right [default: 0, not measured]
    #[arg(long, value_name = "N", allow_negative_numbers = true)]
    pub vehicle_yaw_deg: Option<f64>,
    /// Standard uncertainty (k = 1) of --vehicle-yaw-deg, degrees, as `lampwright vehicle yaw` gives it [default: what the
    /// bay states for the yaw, else 0.1]
    #[arg(long, value_name = "N", requires = "vehicle_yaw_deg", allow_negative_numbers = true)]
    pub vehicle_yaw_u_deg: Option<f64>,
    /// Side of the road on which traffic drives
    #[arg(long, value_enum, default_value_t = TrafficArg::Right)]
    pub traffic: TrafficArg,
    /// Rule to judge by: an id of `lampwright rules list` (shop-check, un-r112-lab, gb-inspection and more), or the path
    /// of a rule file
    #[arg(long, value_name = "ID|FILE", default_value = crate::aim::rule::DEFAULT_RULE)]
    pub rules: String,
    /// Inclination marked on the vehicle's plate, percent, down negative; replaces the rule's nominal, and a tolerance
    /// around the nominal moves with it, while limits fixed by the rule stay
    #[arg(long, value_name = "N", allow_negative_numbers = true)]
    pub nominal_percent: Option<f64>,
    /// Height of the lower edge of the lit surface above the floor, millimetres, for rules that go by it
    #[arg(long, value_name = "N", allow_negative_numbers = true)]
    pub lower_edge_mm: Option<f64>,
    /// Screws file: which way and how far a turn moves the beam
    #[arg(long, value_name = "SCREWS.toml")]
    pub screws: Option<PathBuf>,
    /// Lens file: calibration of the camera's lens
    #[arg(long, value_name = "LENS.toml")]
    pub lens: Option<PathBuf>,
    /// Response file: the camera's tone curve, fitted by `lampwright response`; used in place of what the marks tell
    #[arg(long, value_name = "RESPONSE.toml")]
    pub response: Option<PathBuf>,
    /// Photo from the same camera position with the room lit; the marks are read from it
    #[arg(long, value_name = "PHOTO")]
    pub marks_photo: Option<PathBuf>,
    /// Photo from the same camera position and with the same exposure, lamp off; its light is subtracted
    #[arg(long, value_name = "PHOTO")]
    pub ambient_photo: Option<PathBuf>,
    /// Place of a mark given by hand, pixels of the upright picture from the outer corner of its top left pixel
    /// (pixel centres at n + 0.5); may be repeated
    #[arg(long = "mark", value_name = "ID=X,Y")]
    pub marks: Vec<String>,
    /// Units of the text output; inches and millimetres are on the wall, at its distance
    #[arg(long, value_enum, default_value_t = UnitsArg::Percent)]
    pub units: UnitsArg,
    /// Write the reading as JSON to a file, or to standard output with "-" (the text then goes to standard error)
    #[arg(long, value_name = "FILE|-")]
    pub json: Option<String>,
    /// Write the annotated picture, PNG or JPEG by its extension
    #[arg(long, value_name = "FILE.png|FILE.jpg")]
    pub annotated: Option<PathBuf>,
    /// Options file: tunables of the detection that differ from the defaults, for developers (see `lampwright options`)
    #[arg(long, value_name = "OPTIONS.toml")]
    pub options: Option<PathBuf>,
    /// Write one picture of every stage and trace.json into a folder, for those who look for the cause of a failure; made
    /// when it is missing, also for a photo that is refused
    #[arg(long, value_name = "DIR")]
    pub trace: Option<PathBuf>,
    /// Where and of whom it is recorded.
    #[cfg(feature = "records")]
    #[command(flatten)]
    pub recording: super::record::RecordOptions,
    /// The shop's own reference of the vehicle, for the record
    #[cfg(feature = "records")]
    #[arg(long, value_name = "REF", requires = "record", help_heading = "Record it")]
    pub vehicle: Option<String>,
    /// The record in which this reading corrects its lamp; plate, customer, checklist and the other lamps are taken over
    #[cfg(feature = "records")]
    #[arg(long, value_name = "RECORD", requires_all = ["record", "reason"], help_heading = "Record it")]
    pub corrects: Option<String>,
    /// Why it corrects that record
    #[cfg(feature = "records")]
    #[arg(long, value_name = "TEXT", requires = "corrects", help_heading = "Record it")]
    pub reason: Option<String>,
}

/// `--lamp`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum LampArg {
    /// The vehicle's left lamp
    Left,
    /// The vehicle's right lamp
    Right,
}

/// `--beam`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum BeamArg {
    /// Low (passing) beam
    Low,
    /// High (driving) beam
    High,
    /// Front fog beam
    Fog,
}

/// `--pattern`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum PatternArg {
    /// Flat cutoff, elbow and rising part
    Kink,
    /// Visual/optical aim on the cutoff to the left
    LeftCutoff,
    /// Visual/optical aim on the cutoff to the right
    RightCutoff,
    /// One level cutoff
    Flat,
    /// No cutoff: the hot spot only
    Spot,
}

/// `--traffic`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum TrafficArg {
    /// Right-hand traffic: the flat cutoff lies on the left
    Right,
    /// Left-hand traffic: mirrored
    Left,
}

/// `--units`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum UnitsArg {
    /// Percent of inclination: 1 % is 10 cm on 10 m
    Percent,
    /// Inches on the wall
    Inch,
    /// Millimetres on the wall
    Mm,
    /// Degrees
    Deg,
}

#[cfg(test)]
mod tests {
    use super::*;
    use clap::CommandFactory;

    #[test]
    fn definition_is_consistent_and_help_says_where_the_rules_are() {
        Cli::command().debug_assert();
        let mut command = Cli::command();
        let measure = command.find_subcommand_mut("measure").unwrap();
        let help = measure.render_long_help().to_string();
        assert!(help.contains("lampwright rules list"));
        assert!(help.contains("[default: shop-check]") && help.contains("Do not look into the beam"));
    }

    #[test]
    fn negative_numbers_and_several_marks_are_read() {
        let line = "lampwright measure p.jpg --bay b.toml --lamp left --height-mm 700 --nominal-percent -1.3 \
                    --vehicle-yaw-deg -0.5 --mark 0=1.5,2.5 1=3,4 --mark 2=5,6";
        let Command::Measure(args) = Cli::read(line.split_whitespace()).unwrap().command else {
            panic!("not the measure command")
        };
        assert_eq!(args.nominal_percent, Some(-1.3));
        assert_eq!(args.vehicle_yaw_deg, Some(-0.5));
        assert_eq!(args.marks, ["0=1.5,2.5", "1=3,4", "2=5,6"]);
        assert_eq!(args.photo, Some(PathBuf::from("p.jpg")));
    }

    #[test]
    fn a_photo_behind_marks_is_a_photo() {
        for behind in [
            "--mark 0=1.5,2.5 p.jpg",
            "--mark 0=1.5,2.5 1=3,4 p.jpg",
            "--mark=0=1.5,2.5 p.jpg",
            "p.jpg --mark 0=1,2 1=3,4",
        ] {
            let line = format!("lampwright measure --bay b.toml --lamp left --height-mm 700 {behind}");
            let Command::Measure(args) = Cli::read(line.split_whitespace()).unwrap().command else {
                panic!("not the measure command")
            };
            assert_eq!(args.photo, Some(PathBuf::from("p.jpg")), "{behind}");
            assert_eq!(args.marks.len(), behind.matches(',').count(), "{behind}");
        }
    }
}

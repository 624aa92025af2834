//! `lampwright rules`: the rules to choose from, one in full, and a check of one's own file.

use super::args::{BeamArg, LampArg, PatternArg, TrafficArg};
use super::exit::ExitStatus;
use super::plan;
use super::write::Staged;
use crate::aim::{LampCase, Rule};
use crate::bay::Bay;
use crate::draw::{PictureFormat, SeenFrom, encode, rule_picture, rule_svg};
use crate::error::Error;
use crate::kit::rule_check::questions;
use crate::kit::rule_text::{SeenAt, list, show};
use crate::units::{Mm, Percent};
use clap::{Args, Subcommand};
use std::fmt::Write as _;
use std::io::Write;
use std::path::{Path, PathBuf};

/// Arguments of `rules`.
#[derive(Debug, Args)]
pub struct RulesArgs {
    /// What to do
    #[command(subcommand)]
    pub action: RulesAction,
}

/// What `rules` does.
#[derive(Debug, Subcommand)]
pub enum RulesAction {
    /// List the built-in rules
    List,
    /// Print a rule: source, load, heights, and its figures in degrees, percent, millimetres and inches
    Show(Box<ShowArgs>),
    /// Check a rule file of one's own: schema, sources, heights, mirror
    Check {
        /// The rule file
        #[arg(value_name = "FILE")]
        file: PathBuf,
    },
}

/// Arguments of `rules show`.
#[derive(Debug, Args)]
pub struct ShowArgs {
    /// Rule by its id, or a rule file by its path
    #[arg(value_name = "ID|FILE")]
    pub rule: String,
    /// Bay whose distance the lengths are for
    #[arg(long, value_name = "BAY.toml", conflicts_with = "distance_mm")]
    pub bay: Option<PathBuf>,
    /// Distance from lamp to wall that the lengths are for, millimetres [default: 10000]
    #[arg(long, value_name = "N")]
    pub distance_mm: Option<f64>,
    /// Height of the lamp's centre above the floor, millimetres
    #[arg(long, value_name = "N", default_value_t = 650.0)]
    pub height_mm: f64,
    /// Draw the limits as zones on the wall, for the beam, pattern and lamp named below
    #[arg(long, value_name = "FILE.svg|FILE.png")]
    pub picture: Option<PathBuf>,
    /// Beam of the picture
    #[arg(long, value_enum, default_value_t = BeamArg::Low)]
    pub beam: BeamArg,
    /// Pattern of the picture [default: the beam's]
    #[arg(long, value_enum)]
    pub pattern: Option<PatternArg>,
    /// Lamp of the picture
    #[arg(long, value_enum, default_value_t = LampArg::Left)]
    pub lamp: LampArg,
    /// Side of the road of the picture [default: the rule's own]
    #[arg(long, value_enum)]
    pub traffic: Option<TrafficArg>,
    /// Height of the lower edge of the lit surface, millimetres, for rules that go by it
    #[arg(long, value_name = "N")]
    pub lower_edge_mm: Option<f64>,
    /// Inclination marked on the vehicle's plate, percent, down negative
    #[arg(long, value_name = "N", allow_negative_numbers = true)]
    pub nominal_percent: Option<f64>,
}

/// Runs it.
pub fn run(args: &RulesArgs, stdout: &mut dyn Write) -> Result<ExitStatus, Error> {
    let (text, status) = match &args.action {
        RulesAction::List => (list(&built_in()?), ExitStatus::Good),
        RulesAction::Show(args) => (shown(args)?, ExitStatus::Good),
        RulesAction::Check { file } => checked(file)?,
    };
    stdout
        .write_all(text.as_bytes())
        .and_then(|()| stdout.flush())
        .map_err(|error| Error::usage(format!("the text cannot be printed: {error}"), "is the pipe still open?"))?;
    Ok(status)
}

fn built_in() -> Result<Vec<Rule>, Error> {
    Rule::built_in_ids().filter_map(Rule::built_in).collect()
}

fn shown(args: &ShowArgs) -> Result<String, Error> {
    plan::check_height(args.height_mm)?;
    let picture = args.picture.as_deref().map(|path| Ok::<_, Error>((path, picture_form(path)?))).transpose()?;
    let rule = plan::rule(&args.rule)?;
    let distance = match (&args.bay, args.distance_mm) {
        (Some(path), _) => plan::read_parsed(path, Bay::parse)?.wall.distance,
        (None, Some(distance)) => plan::check_distance(distance)?,
        (None, None) => Mm::from_m(10.0),
    };
    let at = SeenAt { distance, centre_height: Mm::new(args.height_mm) };
    let mut text = show(&rule, &at);
    if let Some((path, form)) = picture {
        let beam = plan::beam(args.beam);
        let lamp = LampCase {
            beam,
            pattern: args.pattern.map_or_else(|| rule.pattern_for(beam), plan::pattern),
            traffic: args.traffic.map_or(rule.written_for_traffic, plan::traffic),
            side: plan::lamp_side(args.lamp),
            centre_height: at.centre_height,
            lower_edge_height: args.lower_edge_mm.map(Mm::new),
            plate: args.nominal_percent.map(Percent::new),
        };
        let applied = rule.apply(&lamp)?;
        let from = SeenFrom { distance, centre_height: at.centre_height };
        let bytes = match form {
            PictureForm::Svg => rule_svg(&applied, &from).into_bytes(),
            PictureForm::Png => encode(&rule_picture(&applied, &from), PictureFormat::Png)?,
        };
        Staged::new(path, &bytes)?.commit()?;
        let _ = writeln!(text, "\npicture written to {}", path.display());
    }
    Ok(text)
}

/// Form of a written picture.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum PictureForm {
    Svg,
    Png,
}

/// By the file's ending, before anything is done.
fn picture_form(path: &Path) -> Result<PictureForm, Error> {
    let ending = path.extension().map(|ending| ending.to_string_lossy().to_lowercase());
    match ending.as_deref() {
        Some("svg") => Ok(PictureForm::Svg),
        Some("png") => Ok(PictureForm::Png),
        _ => Err(Error::usage(
            format!("--picture {} does not say what to write", path.display()),
            "end its name in .svg or .png",
        )),
    }
}

fn checked(path: &Path) -> Result<(String, ExitStatus), Error> {
    let rule = plan::read_parsed(path, Rule::parse)?;
    let questions = questions(&rule);
    let mut text = format!(
        "{}: {} ({}), {}, {}\n",
        path.display(),
        rule.name,
        rule.id,
        if rule.cases.len() == 1 { "1 case".to_owned() } else { format!("{} cases", rule.cases.len()) },
        rule.status.meaning()
    );
    for question in &questions {
        let _ = writeln!(text, "  question: {question}");
    }
    if questions.is_empty() {
        text += "  no questions\n";
    }
    Ok((text, if questions.is_empty() { ExitStatus::Good } else { ExitStatus::Finding }))
}

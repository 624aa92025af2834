//! `aim start`: which lamps a vehicle has, where they sit, and by which rule each beam is judged.

use super::aim::{absolute, plan_of, screws_of, split, write};
#[cfg(feature = "records")]
use super::aim_record::begin_record;
#[cfg(not(feature = "records"))]
use super::aim_unrecorded::begin_record;
use super::args::PatternArg;
use super::exit::ExitStatus;
use super::plan;
use crate::aim::Rule;
use crate::error::Error;
use crate::kit::checklist::{LampKind, checklist};
use crate::kit::session::{Lamp, SESSION_SCHEMA, Session};
use crate::kit::session_text::next;
use clap::{Args, ValueEnum};
use std::path::{Path, PathBuf};

/// Words of `measure` that say something of the low beams and of no other: what they look like, what the plate says of them, where
/// their lower edge is.
pub(crate) const LOW_ALONE: [&str; 3] = ["--pattern", "--nominal-percent", "--lower-edge-mm"];

/// Which lamps a vehicle has to aim.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum LampsArg {
    /// Left and right low beam; a high beam in the same housing moves with it
    Two,
    /// Left and right low beam, then left and right high beam with screws of their own
    Four,
    /// The two low beams, then the two front fog lamps
    Fog,
}

/// Arguments of `aim start`.
#[derive(Debug, Args)]
pub struct StartArgs {
    /// File that keeps the session; it must not exist yet
    #[arg(value_name = "SESSION.json")]
    pub session: PathBuf,
    /// The shop's own reference of the vehicle
    #[arg(long, value_name = "REF")]
    pub vehicle: String,
    /// Bay file
    #[arg(long, value_name = "BAY.toml")]
    pub bay: PathBuf,
    /// Which lamps are to be aimed
    #[arg(long, value_enum, default_value_t = LampsArg::Two)]
    pub lamps: LampsArg,
    /// Height of the low beams' centres above the floor, millimetres
    #[arg(long, value_name = "N")]
    pub height_mm: f64,
    /// Height of the high or fog beams' centres, millimetres [default: the low beams']
    #[arg(long, value_name = "N")]
    pub other_height_mm: Option<f64>,
    /// Height of the lower edge of the low beams' lit surface above the floor, millimetres, for rules that go by it
    #[arg(long, value_name = "N")]
    pub lower_edge_mm: Option<f64>,
    /// The same of the high or fog beams [default: the low beams', where both stand at one height]
    #[arg(long, value_name = "N")]
    pub other_lower_edge_mm: Option<f64>,
    /// Distance of the lamps' centres from the centreline, millimetres
    #[arg(long, value_name = "N")]
    pub offset_mm: Option<f64>,
    /// Distance of the high or fog lamps' centres from the centreline, millimetres [default: as the low beams]
    #[arg(long, value_name = "N")]
    pub other_offset_mm: Option<f64>,
    /// Rule of the high or fog beams, an id or the path of a rule file [default: the low beams']
    #[arg(long, value_name = "ID|FILE")]
    pub other_rules: Option<String>,
    /// What to look for in the high or fog beams [default: high spot, fog flat, unless their rule names another]
    #[arg(long, value_enum)]
    pub other_pattern: Option<PatternArg>,
    /// Screws file; without one the screws are learned
    #[arg(long, value_name = "SCREWS.toml")]
    pub screws: Option<PathBuf>,
    /// Lens file
    #[arg(long, value_name = "LENS.toml")]
    pub lens: Option<PathBuf>,
    /// Quick check: one photo a lamp, pass or needs aiming, no screws
    #[arg(long)]
    pub quick: bool,
    /// Where and of whom it is recorded; every photo of the session then is.
    #[cfg(feature = "records")]
    #[command(flatten)]
    pub recording: super::record::RecordOptions,
    /// Further words of `measure`, behind --: rule, side of the road, yaw, plate and so on. They hold for every photo; pattern
    /// and plate (--nominal-percent) hold for the low beams alone
    #[arg(last = true, allow_hyphen_values = true)]
    pub further: Vec<String>,
}

/// What the lamps of one beam have of their own.
#[derive(Debug, Clone, Default)]
pub(crate) struct BeamWords {
    /// Centres above the floor.
    pub(crate) height_mm: f64,
    /// Centres from the centreline, when measured.
    pub(crate) offset_mm: Option<f64>,
    /// Lower edge of the lit surface, when measured.
    pub(crate) lower_edge_mm: Option<f64>,
    /// Rule, where it is not that of the session.
    pub(crate) rules: Option<String>,
    /// Pattern, where it is not the beam's own.
    pub(crate) pattern: Option<PatternArg>,
}

impl BeamWords {
    /// As words of `measure`.
    pub(crate) fn words(&self) -> Vec<String> {
        let number = |value: Option<f64>| value.map(|value| value.to_string());
        let pattern = self.pattern.map(|pattern| plan::pattern(pattern).as_str().to_owned());
        [
            ("--height-mm", Some(self.height_mm.to_string())),
            ("--offset-mm", number(self.offset_mm)),
            ("--lower-edge-mm", number(self.lower_edge_mm)),
            ("--rules", self.rules.clone()),
            ("--pattern", pattern),
        ]
        .into_iter()
        .filter_map(|(flag, value)| Some([flag.to_owned(), value?]))
        .flatten()
        .collect()
    }
}

/// The checklist by its items' names: without a record nobody is asked whether it was gone through.
fn unprepared(session: &Session) -> Result<String, Error> {
    let Some(first) = session.lamps.first() else { return Ok(String::new()) };
    let plan = plan_of(session, first, Path::new("photo.jpg"), None)?;
    let rule = Rule::parse(&plan.texts.rule, "the rule")?;
    let items: Vec<&str> = checklist(&rule, plan.lamp.beam, LampKind::Unknown).iter().map(|item| item.id).collect();
    Ok(format!(
        "Checklist, not answered: {}\n  (`lampwright prepare` says what each is; with --record, --prepared answers them.)\n",
        items.join(", ")
    ))
}

/// A built-in rule by its id; a file by its whole path, since a session may go on in another folder.
fn rule_word(id_or_path: &str) -> Result<String, Error> {
    if Rule::built_in_text(id_or_path).is_some() || !Path::new(id_or_path).exists() {
        return Ok(id_or_path.to_owned());
    }
    absolute(Path::new(id_or_path))
}

/// Begins a session.
pub(super) fn start(args: &StartArgs) -> Result<(String, ExitStatus), Error> {
    if args.session.exists() {
        let found = "is there already, and a session is never overwritten";
        return Err(Error::file(
            args.session.display().to_string(),
            found,
            "name another file, or go on with `aim photo`",
        ));
    }
    if args.vehicle.trim().is_empty() {
        return Err(Error::usage("--vehicle is empty", "give the shop's own reference, an order number for example"));
    }
    let mut common = Vec::new();
    for (flag, path) in [("--bay", Some(&args.bay)), ("--screws", args.screws.as_ref()), ("--lens", args.lens.as_ref())]
    {
        if let Some(path) = path {
            common.extend([flag.to_owned(), absolute(path)?]);
        }
    }
    let (mut of_low, further) = split(args.further.clone(), &LOW_ALONE);
    common.extend(further);
    if of_low.iter().any(|word| word.starts_with("--lower-edge-mm")) && args.lower_edge_mm.is_some() {
        return Err(Error::usage("--lower-edge-mm is given twice", "give it once, before the --"));
    }
    let own = [("--height-mm", true), ("--offset-mm", args.offset_mm.is_some())];
    if let Some((twice, _)) =
        own.iter().find(|(own, is_given)| *is_given && common.iter().any(|word| word.starts_with(own)))
    {
        return Err(Error::usage(format!("{twice} is given twice"), "give it once, before the --"));
    }
    let low = BeamWords {
        height_mm: args.height_mm,
        offset_mm: args.offset_mm,
        lower_edge_mm: args.lower_edge_mm,
        ..BeamWords::default()
    };
    let other = BeamWords {
        height_mm: args.other_height_mm.unwrap_or(args.height_mm),
        offset_mm: args.other_offset_mm.or(args.offset_mm),
        lower_edge_mm: args.other_lower_edge_mm.or(args.lower_edge_mm.filter(|_| args.other_height_mm.is_none())),
        rules: args.other_rules.as_deref().map(rule_word).transpose()?,
        pattern: args.other_pattern,
    };
    let only_low = [
        ("--other-height-mm", args.other_height_mm.is_some()),
        ("--other-offset-mm", args.other_offset_mm.is_some()),
        ("--other-lower-edge-mm", args.other_lower_edge_mm.is_some()),
        ("--other-rules", args.other_rules.is_some()),
        ("--other-pattern", args.other_pattern.is_some()),
    ];
    if let (LampsArg::Two, Some((flag, _))) = (args.lamps, only_low.iter().find(|(_, is_given)| *is_given)) {
        return Err(Error::usage(
            format!("{flag} was given, and the session has low beams alone"),
            "add --lamps four for high beams, --lamps fog for fog lamps",
        ));
    }
    of_low.extend(low.words());
    let other = other.words();
    let beams: &[(&str, &Vec<String>)] = match args.lamps {
        LampsArg::Two => &[("low", &of_low)],
        LampsArg::Four => &[("low", &of_low), ("high", &other)],
        LampsArg::Fog => &[("low", &of_low), ("fog", &other)],
    };
    let lamps: Vec<Lamp> = beams
        .iter()
        .flat_map(|(beam, words)| {
            ["left", "right"].map(|side| Lamp {
                side: side.to_owned(),
                beam: (*beam).to_owned(),
                words: (*words).clone(),
                shots: Vec::new(),
                proposed: Vec::new(),
            })
        })
        .collect();
    let mut session = Session {
        schema: SESSION_SCHEMA.to_owned(),
        vehicle: args.vehicle.clone(),
        common,
        is_quick: args.quick,
        lamps,
        recorded: None,
    };
    // Every word is checked now, with a photo that need not exist, so that no mistake waits until the beam is on.
    for lamp in &session.lamps {
        plan_of(&session, lamp, Path::new("photo.jpg"), None)?;
    }
    let recorded = begin_record(args, &mut session)?;
    let recorded = if session.recorded.is_none() { unprepared(&session)? } else { recorded };
    write(&args.session, &session)?;
    let screws = screws_of(&session)?;
    let text = format!(
        "session {} begun: vehicle {}\n{recorded}{}",
        args.session.display(),
        session.vehicle,
        next(&session, screws.as_ref())
    );
    Ok((text, ExitStatus::Good))
}

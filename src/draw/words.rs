//! What the picture says: the verdict, what is off and which way, which screw and how far, and the small print.
//!
//! **Takes** a measurement and its plan. **Gives** [`Words`], plain text without places.

use super::annotate::AnnotateInput;
use super::badge::Outcome;
use super::place_words::without_pixels;
use super::units_shown::Shown;
use crate::aim::{
    Advice, AxisAdvice, AxisResult, AxisValue, AxisVerdict, DarkZone, DarkZoneFinding, Direction, Overall, SeenBy,
    Turn, Verdict,
};
use crate::bay::LampSide;
use crate::beam::Pattern;
use crate::error::Refusal;
use crate::flag::Severity;
use crate::measurement::{Findings, Measurement};
use crate::reading::show::ShortName;

/// What a hand can do without measuring, turns.
const HAND_STEP_TURNS: f64 = 0.25;
/// Digits of the photo's SHA-256 that are printed.
const HASH_DIGITS: usize = 16;
/// Most letters of a file's name.
const NAME_LETTERS: usize = 70;

/// One sentence of the panel.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Sentence {
    /// Which way, for the arrow before it.
    pub(super) direction: Direction,
    pub(super) text: String,
    pub(super) rank: Rank,
}

/// How much a sentence weighs.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Rank {
    /// What is off, or why nothing was measured.
    Finding,
    /// What to do about it; stands under its finding.
    Deed,
    /// The numbers behind it.
    Numbers,
}

/// Everything that the picture says.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Words {
    pub(super) outcome: Outcome,
    /// Beside the verdict: which lamp, which beam.
    pub(super) subject: [String; 2],
    pub(super) sentences: Vec<Sentence>,
    /// Which record the picture belongs to.
    pub(super) caption: Option<String>,
    /// For the record.
    pub(super) small_print: Vec<String>,
}

impl Words {
    pub(super) fn of(measurement: &Measurement, input: &AnnotateInput<'_>) -> Self {
        let (outcome, sentences) = match &measurement.outcome {
            Ok(found) => (outcome(&found.verdict), measured(found, input)),
            Err(refusal) => (Outcome::Refused, refused(refusal, input.is_turn_told)),
        };
        let side = if input.setup.side == LampSide::Left { "Left" } else { "Right" };
        Self {
            outcome,
            subject: [format!("{side} lamp"), format!("{} beam", input.lamp.beam.as_str())],
            sentences,
            caption: input.caption.map(str::to_owned),
            small_print: small_print(measurement, input),
        }
    }
}

fn outcome(verdict: &Verdict) -> Outcome {
    match verdict.overall {
        Overall::Pass => Outcome::Pass,
        Overall::Fail => Outcome::Fail,
        Overall::Borderline => Outcome::Borderline,
        Overall::None => Outcome::NoVerdict,
    }
}

fn sentence(rank: Rank, text: impl Into<String>) -> Sentence {
    Sentence { direction: Direction::None, text: text.into(), rank }
}

fn refused(refusal: &Refusal, is_deed_told: bool) -> Vec<Sentence> {
    if !is_deed_told {
        return vec![sentence(Rank::Finding, capital(&without_pixels(&refusal.found)))];
    }
    vec![
        sentence(Rank::Finding, capital(&refusal.found)),
        sentence(Rank::Deed, format!("What to do: {}", refusal.hint)),
    ]
}

fn measured(found: &Findings, input: &AnnotateInput<'_>) -> Vec<Sentence> {
    let shown = Shown { units: input.units, distance: input.setup.distance };
    let Findings { verdict, advice, .. } = found;
    let [vertical, horizontal] = axes(verdict, advice, input.lamp.pattern);
    let mut sentences = Vec::new();
    match verdict.overall {
        Overall::Pass => sentences.push(sentence(Rank::Finding, "Aim is good: nothing to adjust.")),
        Overall::Borderline => sentences.push(sentence(Rank::Finding, "Too close to a limit to call.")),
        Overall::None if [&vertical, &horizontal].iter().all(|axis| *axis.verdict == AxisVerdict::NotJudged) => {
            sentences.push(sentence(Rank::Finding, format!("Rule {} has no limits for this beam.", input.rule.id)));
        }
        Overall::None if [&vertical, &horizontal].iter().any(|axis| axis.is_nominal_only()) => {
            let text = format!("Rule {} has a nominal without limits: nothing is judged.", input.rule.id);
            sentences.push(sentence(Rank::Finding, text));
        }
        _ => {}
    }
    for axis in [&vertical, &horizontal] {
        sentences.extend(axis.sentences(&shown, input.is_turn_told));
    }
    sentences.extend(input.rule.dark_zone.as_ref().zip(verdict.dark_zone).map(|(zone, found)| dark_zone(zone, found)));
    sentences.extend(
        [&vertical, &horizontal]
            .iter()
            .filter_map(|axis| axis.numbers(&shown))
            .map(|text| sentence(Rank::Numbers, text)),
    );
    sentences
}

/// What is known of the dark zone: never that it is dark.
fn dark_zone(zone: &DarkZone, found: DarkZoneFinding) -> Sentence {
    match (zone.seen_by, found) {
        (SeenBy::LightMeter, _) => sentence(Rank::Numbers, "Dark zone (hatched): needs a light meter."),
        (_, DarkZoneFinding::CutoffInside) => sentence(
            Rank::Finding,
            format!("The cutoff stands in the dark zone (hatched), which must be free of {}.", zone.free_of),
        ),
        _ => sentence(
            Rank::Finding,
            format!("Look at the wall: no {} in the hatched zone. No number tells that.", zone.free_of),
        ),
    }
}

/// One axis and its words.
struct AxisWords<'a> {
    /// Name of the axis, and of its screw.
    name: &'static str,
    /// What is judged.
    feature: &'static str,
    /// Words for too much and too little.
    sides: [&'static str; 2],
    verdict: &'a AxisVerdict,
    advice: Option<&'a AxisAdvice>,
}

fn axes<'a>(verdict: &'a Verdict, advice: &'a Advice, pattern: Pattern) -> [AxisWords<'a>; 2] {
    let is_spot = pattern == Pattern::Spot;
    [
        AxisWords {
            name: "vertical",
            feature: if is_spot { "hot spot" } else { "cutoff" },
            sides: ["too high", "too low"],
            verdict: &verdict.vertical,
            advice: advice.vertical.as_ref(),
        },
        AxisWords {
            name: "horizontal",
            feature: if is_spot { "hot spot" } else { "elbow" },
            sides: ["too far right", "too far left"],
            verdict: &verdict.horizontal,
            advice: advice.horizontal.as_ref(),
        },
    ]
}

impl AxisWords<'_> {
    /// Whether it was measured and the rule names a nominal but no limit, so that there is nothing to judge by.
    fn is_nominal_only(&self) -> bool {
        self.verdict.measured().is_some_and(|axis| !axis.limits.is_judged() && axis.limits.nominal.is_some())
    }

    /// What is off and which way, and the turn of the screw.
    fn sentences(&self, shown: &Shown, is_turn_told: bool) -> Vec<Sentence> {
        if *self.verdict == AxisVerdict::NotMeasured {
            return vec![sentence(
                Rank::Finding,
                format!("{} not measured: {} not judged.", capital(self.feature), self.name),
            )];
        }
        let (Some(axis), Some(advice)) = (self.verdict.measured(), self.advice) else { return Vec::new() };
        if axis.result.is_none() && advice.by <= axis.expanded {
            return vec![sentence(Rank::Finding, format!("{} at its nominal, within ±U.", capital(self.feature)))];
        }
        if advice.direction == Direction::None {
            return Vec::new();
        }
        let way = advice.direction.as_str();
        let amount = shown.at_wall(advice.by_at_wall);
        let what = match (axis.result, self.outside(axis)) {
            (None, _) => format!("{} off its nominal", self.feature),
            (Some(AxisResult::Borderline), Some(side)) => format!("{} perhaps {side}", self.feature),
            (Some(AxisResult::Borderline), None) => format!("{} close to a limit", self.feature),
            (_, Some(side)) => format!("{} {side}", self.feature),
            (_, None) => self.feature.to_owned(),
        };
        let text = format!("{}: move {way} {amount}", capital(&what));
        let turn = is_turn_told.then(|| sentence(Rank::Deed, self.turn(advice)));
        std::iter::once(Sentence { direction: advice.direction, text, rank: Rank::Finding }).chain(turn).collect()
    }

    fn outside(&self, axis: &AxisValue) -> Option<&'static str> {
        match (axis.limits.lower, axis.limits.upper) {
            (_, Some(upper)) if axis.value > upper => Some(self.sides[0]),
            (Some(lower), _) if axis.value < lower => Some(self.sides[1]),
            _ => None,
        }
    }

    fn turn(&self, advice: &AxisAdvice) -> String {
        let (Some(screw), Some(turns)) = (&advice.screw, advice.turns) else {
            return format!("Try a quarter turn of the {} screw, then photograph again.", self.name);
        };
        let amount = turns_in_words(turns);
        match advice.turn {
            Turn::Clockwise => format!("Screw \u{201c}{screw}\u{201d}: clockwise {amount}."),
            // The last movement is clockwise, against backlash, as in the steps of the advice.
            Turn::Counterclockwise => format!(
                "Screw \u{201c}{screw}\u{201d}: counterclockwise {amount}, 1/2 turn beyond, then 1/2 turn back clockwise."
            ),
            Turn::None | Turn::Unknown => format!("Screw \u{201c}{screw}\u{201d}."),
        }
    }

    /// Value, U and limits; a nominal is named where it stands alone.
    fn numbers(&self, shown: &Shown) -> Option<String> {
        let axis = self.verdict.measured()?;
        let sign = shown.sign();
        let limits = match (axis.limits.lower, axis.limits.upper, axis.limits.nominal) {
            (Some(lower), Some(upper), _) => {
                format!(", allowed {} to {}{sign}", shown.signed(lower), shown.signed(upper))
            }
            (None, Some(upper), _) => format!(", allowed up to {}{sign}", shown.signed(upper)),
            (Some(lower), None, _) => format!(", allowed from {}{sign}", shown.signed(lower)),
            (None, None, Some(nominal)) => format!(", nominal {}{sign}, no limits", shown.signed(nominal)),
            (None, None, None) => ", no limits".to_owned(),
        };
        let half = shown.span(axis.value - axis.expanded * 0.5, axis.value + axis.expanded * 0.5);
        let good = if axis.result == Some(AxisResult::Pass) { " good" } else { "" };
        let (name, value) = (capital(self.name), shown.signed(axis.value));
        Some(format!("{name}{good}: {value} ± {half}{sign}{limits}"))
    }
}

/// Turns as a hand does them, the exact number behind.
fn turns_in_words(turns: f64) -> String {
    let quarters = (turns / HAND_STEP_TURNS).round().max(0.0) as u64;
    let fraction = ["", "1/4", "1/2", "3/4"][(quarters % 4) as usize];
    let words = match (quarters / 4, fraction) {
        (0, "") => "just a touch".to_owned(),
        (0, fraction) => format!("{fraction} turn"),
        (1, "") => "1 turn".to_owned(),
        (whole, "") => format!("{whole} turns"),
        (whole, fraction) => format!("{whole} {fraction} turns"),
    };
    format!("{words} ({turns:.2})")
}

fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

/// A name as the small print has room for it.
fn shortened(name: &str) -> String {
    ShortName::new(name, NAME_LETTERS).0
}

fn small_print(measurement: &Measurement, input: &AnnotateInput<'_>) -> Vec<String> {
    let photo = &measurement.photo;
    let captured = photo.shot.captured.as_deref().map_or_else(
        || "time of capture not in the file".to_owned(),
        |time| format!("taken {}", shortened(time).replacen('T', " ", 1)),
    );
    let hash: String = photo.sha256.chars().take(HASH_DIGITS).collect();
    let setup = input.setup;
    let offset = setup.x.abs().get();
    let mut lines = vec![
        format!(
            "Photo {}, {captured}, sha256 {hash}\u{2026}, {} {}",
            shortened(&photo.file),
            env!("CARGO_PKG_NAME"),
            env!("CARGO_PKG_VERSION")
        ),
        format!(
            "Rule {}, bay {} ({}), lamp {:.0} mm high, {offset:.0} mm off centre, wall at {:.0} mm, vehicle yaw {:.2}°",
            shortened(&input.rule.id),
            shortened(&input.bay.id),
            shortened(&input.bay.name),
            setup.height.get(),
            setup.distance.get(),
            setup.vehicle_yaw_deg,
        ),
    ];
    let features = measurement.outcome.as_ref().map_or(&[][..], |found| &found.features.flags);
    let rule_flag = input.rule.flag();
    let not_in_force = input.rule.not_in_force_at(photo.shot.captured.as_deref(), input.today);
    let rule_flags = rule_flag.iter().chain(&not_in_force);
    let all = photo.flags.iter().chain(&measurement.flags).chain(features).chain(rule_flags);
    let weighty: Vec<&str> =
        all.filter(|flag| flag.code.severity() != Severity::Info).map(|flag| flag.code.as_str()).collect();
    if !weighty.is_empty() {
        lines.push(format!("Flags: {}", weighty.join(", ")));
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::aim::AxisLimits;
    use crate::reading::DisplayUnits;
    use crate::units::{Deg, Mm};

    #[test]
    fn turns_read_as_a_hand_does_them() {
        let cases = [
            (0.05, "just a touch (0.05)"),
            (0.26, "1/4 turn (0.26)"),
            (0.77, "3/4 turn (0.77)"),
            (1.0, "1 turn (1.00)"),
            (2.02, "2 turns (2.02)"),
            (1.49, "1 1/2 turns (1.49)"),
        ];
        for (turns, words) in cases {
            assert_eq!(turns_in_words(turns), words);
        }
    }

    #[test]
    fn a_nominal_without_limits_is_called_so() {
        let shown = Shown { units: DisplayUnits::Percent, distance: Mm::new(10_000.0) };
        let axis = |value: f64, lower: Option<f64>| {
            let limits = AxisLimits { nominal: Some(Deg::new(-0.573)), lower: lower.map(Deg::new), upper: None };
            let result = lower.map(|_| AxisResult::Pass);
            AxisVerdict::Measured(AxisValue {
                value: Deg::new(value),
                expanded: Deg::new(0.05),
                limits,
                result,
                conformance: None,
            })
        };
        let words = |verdict: &AxisVerdict, by: f64| {
            let advice = AxisAdvice {
                direction: Direction::Up,
                by: Deg::new(by),
                by_at_wall: Mm::new(174.5 * by),
                screw: None,
                turn: Turn::Unknown,
                turns: None,
            };
            let words = AxisWords {
                name: "vertical",
                feature: "cutoff",
                sides: ["too high", "too low"],
                verdict,
                advice: Some(&advice),
            };
            let first = words.sentences(&shown, true).first().map(|sentence| sentence.text.clone());
            (words.is_nominal_only(), words.numbers(&shown).unwrap(), first.unwrap_or_default())
        };
        // tan of 0.573 degrees is 1.00 %, of 0.859 degrees 1.50 %.
        let (is_nominal_only, numbers, first) = words(&axis(-0.859, None), 0.286);
        assert!(is_nominal_only && numbers.contains("1.5") && numbers.ends_with("%, no limits"), "{numbers}");
        assert!(numbers.contains(", nominal \u{2212}1.0"), "{numbers}");
        assert!(first.starts_with("Cutoff off its nominal: move up"), "{first}");
        let (_, _, first) = words(&axis(-0.560, None), 0.013);
        assert_eq!(first, "Cutoff at its nominal, within ±U.");
        let (is_nominal_only, numbers, _) = words(&axis(-0.560, Some(-0.8)), 0.0);
        assert!(!is_nominal_only && numbers.contains(", allowed from ") && !numbers.contains("nominal"), "{numbers}");
    }

    #[test]
    fn long_names_keep_their_end() {
        let name = format!("{}/photo.jpg", "folder".repeat(30));
        let short = shortened(&name);
        assert!(short.ends_with("photo.jpg") && short.chars().count() == NAME_LETTERS);
        assert_eq!(shortened("a\u{7}b\n.jpg"), "ab.jpg");
    }
}

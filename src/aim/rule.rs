//! A rule: by which limits the aim is judged, where its figures come from, and how sure they are.
//!
//! **Takes** the text of a rule file (TOML, schema `lampwright/rule/1`); the files of `calib/rules` are built in.
//! **Gives** a [`Rule`] with all figures as angles. **Fails when** a field is unknown, a figure has no unit, limits
//! cross, or the stated status is better than the marks of its figures.

use super::applied::AxisLimits;
use super::dark_zone::DarkZoneRule;
use super::limit::Limit;
use super::rule_file;
use crate::bay::{LampSide, Traffic};
use crate::beam::Pattern;
use crate::error::Error;
use crate::units::{Deg, Mm};
use serde::Deserialize;

/// The schema line that a rule file must carry.
pub const RULE_SCHEMA: &str = "lampwright/rule/1";

/// The rule that is used when none is named.
pub const DEFAULT_RULE: &str = "shop-check";

/// The built-in rules: id and text.
const BUILT_IN: [(&str, &str); 32] = [
    (DEFAULT_RULE, include_str!("../../calib/rules/shop-check.toml")),
    ("ca-ontario", include_str!("../../calib/rules/ca-ontario.toml")),
    ("ca-quebec-snowmobile", include_str!("../../calib/rules/ca-quebec-snowmobile.toml")),
    ("cn-1997", include_str!("../../calib/rules/cn-1997.toml")),
    ("de-2018-guideline", include_str!("../../calib/rules/de-2018-guideline.toml")),
    ("de-older-guideline", include_str!("../../calib/rules/de-older-guideline.toml")),
    ("ec-76-756", include_str!("../../calib/rules/ec-76-756.toml")),
    ("ec-76-756-initial", include_str!("../../calib/rules/ec-76-756-initial.toml")),
    ("ec-76-756-sister", include_str!("../../calib/rules/ec-76-756-sister.toml")),
    ("ec-76-756-sister-initial", include_str!("../../calib/rules/ec-76-756-sister-initial.toml")),
    ("gb-before-2016", include_str!("../../calib/rules/gb-before-2016.toml")),
    ("gb-british-american", include_str!("../../calib/rules/gb-british-american.toml")),
    ("gb-flat-top", include_str!("../../calib/rules/gb-flat-top.toml")),
    ("gb-inspection", include_str!("../../calib/rules/gb-inspection.toml")),
    ("jp-high-old", include_str!("../../calib/rules/jp-high-old.toml")),
    ("jp-inspection", include_str!("../../calib/rules/jp-inspection.toml")),
    ("nl-2006", include_str!("../../calib/rules/nl-2006.toml")),
    ("sae-j583-fog", include_str!("../../calib/rules/sae-j583-fog.toml")),
    ("sae-j599-zone", include_str!("../../calib/rules/sae-j599-zone.toml")),
    ("un-r112-lab", include_str!("../../calib/rules/un-r112-lab.toml")),
    ("un-r48", include_str!("../../calib/rules/un-r48.toml")),
    ("un-r48-fog-f3", include_str!("../../calib/rules/un-r48-fog-f3.toml")),
    ("un-r48-fog-f3-dim", include_str!("../../calib/rules/un-r48-fog-f3-dim.toml")),
    ("un-r48-initial", include_str!("../../calib/rules/un-r48-initial.toml")),
    ("us-arizona-single", include_str!("../../calib/rules/us-arizona-single.toml")),
    ("us-fmvss-108", include_str!("../../calib/rules/us-fmvss-108.toml")),
    ("us-new-jersey-single", include_str!("../../calib/rules/us-new-jersey-single.toml")),
    ("us-pennsylvania-high", include_str!("../../calib/rules/us-pennsylvania-high.toml")),
    ("us-pennsylvania-low", include_str!("../../calib/rules/us-pennsylvania-low.toml")),
    ("us-states-ceiling", include_str!("../../calib/rules/us-states-ceiling.toml")),
    ("us-texas-single", include_str!("../../calib/rules/us-texas-single.toml")),
    ("us-utah", include_str!("../../calib/rules/us-utah.toml")),
];

/// Which beam of the lamp is on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Beam {
    /// Low (passing) beam.
    Low,
    /// High (driving) beam.
    High,
    /// Front fog beam.
    Fog,
}

impl Beam {
    /// The name on the command line.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Low => "low",
            Self::High => "high",
            Self::Fog => "fog",
        }
    }

    /// What is looked for when neither the user nor the rule names a pattern.
    pub const fn default_pattern(self) -> Pattern {
        match self {
            Self::Low => Pattern::Kink,
            Self::High => Pattern::Spot,
            Self::Fog => Pattern::Flat,
        }
    }
}

/// How well a rule's figures were checked.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum RuleStatus {
    /// Read in the primary text.
    Read,
    /// Read in a text that quotes the primary one.
    Secondary,
    /// Not checked: every reading carries the flag `rule-unverified`.
    Unverified,
    /// Common practice without a source: there is no primary text to check against.
    Practice,
}

impl RuleStatus {
    /// As the rule file and the reading write it.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Read => "read",
            Self::Secondary => "secondary",
            Self::Unverified => "unverified",
            Self::Practice => "practice",
        }
    }

    /// For people.
    pub const fn meaning(self) -> &'static str {
        match self {
            Self::Read => "read in the primary text",
            Self::Secondary => "from a text that quotes the primary one",
            Self::Unverified => "NOT checked against the primary text",
            Self::Practice => "common practice, no source",
        }
    }
}

/// How sure one axis's figures are.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
pub enum ConfidenceMark {
    /// Read in the primary text.
    R,
    /// Read in a secondary text.
    S,
    /// From memory.
    M,
    /// Common practice, no source.
    P,
}

/// Which height a rule's heights refer to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum HeightReference {
    /// The lamp's centre.
    Centre,
    /// The lower edge of the lit surface.
    LowerEdge,
}

/// How a value near a limit is decided.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Decision {
    /// Pass or fail only when the value with its expanded uncertainty lies on one side of every limit.
    #[default]
    Guarded,
    /// The value alone decides, its uncertainty is shown (simple acceptance, JCGM 106:2012 8.2).
    Simple,
}

impl HeightReference {
    /// For people.
    pub const fn meaning(self) -> &'static str {
        match self {
            Self::Centre => "the lamp's centre",
            Self::LowerEdge => "the lower edge of the lit surface",
        }
    }
}

impl Decision {
    /// For people.
    pub const fn meaning(self) -> &'static str {
        match self {
            Self::Guarded => "pass or fail only with the value ± U on one side of every limit, else borderline",
            Self::Simple => "the value alone decides; its uncertainty is shown",
        }
    }

    /// As the rule file and the reading write it.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Guarded => "guarded",
            Self::Simple => "simple",
        }
    }
}

/// A feature of the beam that a rule holds against its figures.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Feature {
    /// The flat cutoff's V.
    Cutoff,
    /// The elbow's H.
    Elbow,
    /// The hot spot's H or V.
    HotSpot,
    /// V of the bright zone's top.
    ZoneTop,
    /// H of the bright zone's left edge.
    ZoneLeft,
}

impl Feature {
    /// As a rule file writes it.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Cutoff => "cutoff",
            Self::Elbow => "elbow",
            Self::HotSpot => "hot-spot",
            Self::ZoneTop => "zone-top",
            Self::ZoneLeft => "zone-left",
        }
    }

    /// What a pattern is judged by when the rule names nothing else: cutoff and elbow where there is a cutoff, else the spot.
    pub(super) const fn of(pattern: Pattern, is_vertical: bool) -> Self {
        match (pattern, is_vertical) {
            (Pattern::Spot, _) => Self::HotSpot,
            (_, true) => Self::Cutoff,
            (_, false) => Self::Elbow,
        }
    }

    /// Whether a pattern has this feature on this axis.
    pub(super) const fn is_of(self, pattern: Pattern, is_vertical: bool) -> bool {
        match self {
            Self::Cutoff => is_vertical && !matches!(pattern, Pattern::Spot),
            Self::Elbow => !is_vertical && matches!(pattern, Pattern::Kink),
            Self::HotSpot => true,
            Self::ZoneTop => is_vertical && matches!(pattern, Pattern::Spot),
            Self::ZoneLeft => !is_vertical && matches!(pattern, Pattern::Spot),
        }
    }
}

/// The figures for one axis, for the side of the road that the rule is written for.
#[derive(Debug, Clone, PartialEq)]
pub struct AxisRule {
    /// Where the feature should stand.
    pub nominal: Option<Limit>,
    /// Limits on either side of the nominal, which move with it; else they are fixed.
    pub tolerance: Option<Deg>,
    /// Lower limits; the highest counts.
    pub lower: Vec<Limit>,
    /// Upper limits; the lowest counts.
    pub upper: Vec<Limit>,
    /// What is held against them.
    pub feature: Feature,
    /// How sure the figures are.
    pub mark: ConfidenceMark,
    /// The nominal is the value on the vehicle's plate and nothing else; without a plate nothing is known.
    pub is_by_plate: bool,
}

impl AxisRule {
    /// Nominal and limits as angles for a lamp whose centre stands at this height.
    pub fn limits(&self, centre_height: Mm) -> AxisLimits {
        let angle = |limit: &Limit| limit.angle(centre_height);
        let nominal = self.nominal.as_ref().map(angle);
        if let (Some(nominal), Some(tolerance)) = (nominal, self.tolerance) {
            return AxisLimits {
                nominal: Some(nominal),
                lower: Some(nominal - tolerance),
                upper: Some(nominal + tolerance),
            };
        }
        let stricter = |a: Deg, b: Deg, is_upper: bool| if (a < b) == is_upper { a } else { b };
        AxisLimits {
            nominal,
            lower: self.lower.iter().map(angle).reduce(|a, b| stricter(a, b, false)),
            upper: self.upper.iter().map(angle).reduce(|a, b| stricter(a, b, true)),
        }
    }
}

/// The figures for some beams, one pattern and one range of heights.
#[derive(Debug, Clone, PartialEq)]
pub struct RuleCase {
    /// Beams that it holds for.
    pub beams: Vec<Beam>,
    /// Pattern that it holds for.
    pub pattern: Pattern,
    /// Lamp that it holds for; absent: both.
    pub lamp: Option<LampSide>,
    /// Holds above this height (not at it), mm.
    pub height_over_mm: Option<f64>,
    /// Holds up to this height (it included), mm.
    pub height_up_to_mm: Option<f64>,
    /// Vertical figures; absent: not judged.
    pub vertical: Option<AxisRule>,
    /// Horizontal figures; absent: not judged.
    pub horizontal: Option<AxisRule>,
    /// Part of the wall that must be dark; absent: the text names none.
    pub dark_zone: Option<DarkZoneRule>,
}

/// A whole rule.
#[derive(Debug, Clone, PartialEq)]
pub struct Rule {
    /// Short id, as `--rules` takes it.
    pub id: String,
    /// Name for people.
    pub name: String,
    /// Where it holds.
    pub jurisdiction: String,
    /// First day, `YYYY-MM-DD`.
    pub effective_from: Option<String>,
    /// Last day, `YYYY-MM-DD`.
    pub effective_to: Option<String>,
    /// What its author says of its days where the text that was read gives none.
    pub effective: Option<String>,
    /// How well its figures were checked.
    pub status: RuleStatus,
    /// Where its figures come from.
    pub source: String,
    /// Address of the source.
    pub url: Option<String>,
    /// What its heights refer to.
    pub height: HeightReference,
    /// How the vehicle is loaded.
    pub load: String,
    /// Side of the road that its figures are written for.
    pub written_for_traffic: Traffic,
    /// Whether it holds, mirrored, for the other side of the road too.
    pub is_mirrored: bool,
    /// How a value near a limit is decided.
    pub decision: Decision,
    /// Patterns that the rule names for a beam.
    pub patterns: Vec<(Beam, Pattern)>,
    /// What a reader must know.
    pub notes: Vec<String>,
    /// What the text demands and this program does not judge.
    pub not_judged: Vec<String>,
    /// The figures.
    pub cases: Vec<RuleCase>,
}

impl Rule {
    /// Reads a rule file's text; `path` names it in messages.
    pub fn parse(text: &str, path: &str) -> Result<Self, Error> {
        rule_file::parse(text, path)
    }

    /// The built-in rule of that id; `None` when there is none.
    ///
    /// ```
    /// use lampwright::aim::Rule;
    ///
    /// for id in Rule::built_in_ids() {
    ///     let rule = Rule::built_in(id).expect("it is in the list").expect("built-in rules are valid");
    ///     println!("{id}: {} ({}), {}", rule.name, rule.jurisdiction, rule.source);
    /// }
    /// assert!(Rule::built_in("no such rule").is_none());
    /// ```
    pub fn built_in(id: &str) -> Option<Result<Self, Error>> {
        let text = Self::built_in_text(id)?;
        Some(Self::parse(text, &format!("built-in rule {id}")))
    }

    /// The text of the built-in rule of that id; `None` when there is none.
    pub fn built_in_text(id: &str) -> Option<&'static str> {
        BUILT_IN.iter().find(|(known, _)| *known == id).map(|(_, text)| *text)
    }

    /// Ids of the built-in rules, the default first.
    pub fn built_in_ids() -> impl Iterator<Item = &'static str> {
        BUILT_IN.iter().map(|(id, _)| *id)
    }

    /// What to look for when the user names no pattern.
    pub fn pattern_for(&self, beam: Beam) -> Pattern {
        let named = self.patterns.iter().find(|(of, _)| *of == beam);
        named.map_or(beam.default_pattern(), |(_, pattern)| *pattern)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_built_in_rule_reads_and_cites_its_source() {
        for id in Rule::built_in_ids() {
            let rule = Rule::built_in(id).unwrap().unwrap();
            assert_eq!(rule.id, id);
            assert!(!rule.source.trim().is_empty() && !rule.load.trim().is_empty() && !rule.cases.is_empty(), "{id}");
            if rule.status == RuleStatus::Practice {
                assert_eq!(rule.source, RuleStatus::Practice.meaning(), "{id}");
            } else {
                assert!(
                    rule.url.as_deref().is_some_and(|url| url.starts_with("https://") || url.starts_with("http://")),
                    "{id} has no address"
                );
            }
        }
        assert!(Rule::built_in("no-such-rule").is_none());
    }

    /// The folder and the list above: a file that nobody lists is never found, and nobody notices.
    #[test]
    fn every_file_of_the_folder_is_built_in() {
        let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("calib/rules");
        let mut files: Vec<String> = std::fs::read_dir(folder)
            .unwrap()
            .map(|entry| entry.unwrap().path().file_stem().unwrap().to_string_lossy().into_owned())
            .collect();
        let mut listed: Vec<String> = Rule::built_in_ids().map(str::to_owned).collect();
        files.sort();
        listed.sort();
        assert_eq!(files, listed);
    }

    /// Figures from memory are never normative: whatever rests on one says "unverified", and only that.
    #[test]
    fn a_figure_from_memory_makes_a_rule_unverified() {
        for id in Rule::built_in_ids() {
            let rule = Rule::built_in(id).unwrap().unwrap();
            let zones = rule.cases.iter().filter_map(|case| case.dark_zone.as_ref()).map(|zone| zone.mark);
            let axes = rule.cases.iter().flat_map(|case| [&case.vertical, &case.horizontal]).flatten();
            let is_from_memory = axes.map(|axis| axis.mark).chain(zones).any(|mark| mark == ConfidenceMark::M);
            assert_eq!(rule.status == RuleStatus::Unverified, is_from_memory, "{id}");
        }
    }

    #[test]
    fn a_rule_may_name_the_pattern_of_a_beam() {
        let mut rule = Rule::built_in(DEFAULT_RULE).unwrap().unwrap();
        let of_all = |rule: &Rule| [Beam::Low, Beam::High, Beam::Fog].map(|beam| rule.pattern_for(beam));
        assert_eq!(of_all(&rule), [Pattern::Kink, Pattern::Spot, Pattern::Flat]);
        rule.patterns.push((Beam::Low, Pattern::LeftCutoff));
        assert_eq!(of_all(&rule), [Pattern::LeftCutoff, Pattern::Spot, Pattern::Flat]);
    }
}

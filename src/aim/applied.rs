//! A rule applied to one lamp: the limits for its beam, pattern, height, side of the road and plate.
//!
//! **Takes** a [`Rule`] and a [`LampCase`]. **Gives** an [`AppliedRule`]: nominal and limits per axis as angles (H
//! right positive, V up positive). **Fails when** the rule does not hold for that side of the road, needs the height
//! of the lower edge, or the plate's inclination lies outside limits that are fixed.

use super::dark_zone::DarkZone;
use super::rule::{AxisRule, Beam, Decision, Feature, HeightReference, Rule, RuleCase, RuleStatus};
use crate::bay::{LampSide, Traffic};
use crate::beam::Pattern;
use crate::error::Error;
use crate::flag::{Flag, FlagCode};
use crate::units::{Deg, Mm, Percent};

/// Nominal and limits of one axis; what is absent does not exist.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct AxisLimits {
    /// Where the beam should stand.
    pub nominal: Option<Deg>,
    /// Least value that conforms.
    pub lower: Option<Deg>,
    /// Greatest value that conforms.
    pub upper: Option<Deg>,
}

impl AxisLimits {
    /// Whether a value conforms, no uncertainty considered; a limit itself conforms.
    pub fn hold(&self, value: Deg) -> bool {
        self.lower.is_none_or(|lower| value >= lower) && self.upper.is_none_or(|upper| value <= upper)
    }

    /// Whether there is any limit to judge by.
    pub fn is_judged(&self) -> bool {
        self.lower.is_some() || self.upper.is_some()
    }

    /// The nominal, or the middle of a band; `None` for a one-sided limit without a nominal.
    pub fn middle(&self) -> Option<Deg> {
        match (self.nominal, self.lower, self.upper) {
            (Some(nominal), _, _) => Some(nominal),
            (None, Some(lower), Some(upper)) => Some((lower + upper) * 0.5),
            _ => None,
        }
    }

    /// Where a beam that does not pass should go: the nominal, or the band's middle, or for a one-sided limit to that
    /// limit with the expanded uncertainty kept clear of it.
    pub fn target(&self, expanded: Deg) -> Option<Deg> {
        match (self.middle(), self.lower, self.upper) {
            (Some(middle), _, _) => Some(middle),
            (None, None, Some(upper)) => Some(upper - expanded),
            (None, Some(lower), None) => Some(lower + expanded),
            _ => None,
        }
    }

    /// The same limits seen in a mirror: left and right change places.
    fn mirrored(&self) -> Self {
        let flip = |angle: Option<Deg>| angle.map(|angle| Deg::new(0.0) - angle);
        Self { nominal: flip(self.nominal), lower: flip(self.upper), upper: flip(self.lower) }
    }
}

/// The lamp that a rule is applied to.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LampCase {
    /// Which beam is on.
    pub beam: Beam,
    /// What is looked for.
    pub pattern: Pattern,
    /// Side of the road.
    pub traffic: Traffic,
    /// Which lamp of the vehicle.
    pub side: LampSide,
    /// Lamp centre above the floor.
    pub centre_height: Mm,
    /// Lower edge of the lit surface above the floor, when given.
    pub lower_edge_height: Option<Mm>,
    /// Inclination marked on the vehicle's plate, when given; down negative.
    pub plate: Option<Percent>,
}

/// A rule's limits for one lamp.
#[derive(Debug, Clone, PartialEq)]
pub struct AppliedRule {
    /// The rule's id.
    pub id: String,
    /// The rule's name.
    pub name: String,
    /// How well its figures were checked.
    pub status: RuleStatus,
    /// First day on which it is in force, `YYYY-MM-DD`.
    pub effective_from: Option<String>,
    /// Last day.
    pub effective_to: Option<String>,
    /// How a value near a limit is decided.
    pub decision: Decision,
    /// Vertical limits; `None`: the rule says nothing.
    pub vertical: Option<AxisLimits>,
    /// Horizontal limits; `None`: the rule says nothing.
    pub horizontal: Option<AxisLimits>,
    /// Part of the wall that must be dark; `None`: the rule names none.
    pub dark_zone: Option<DarkZone>,
    /// What is held against the vertical limits.
    pub vertical_feature: Feature,
    /// What is held against the horizontal limits.
    pub horizontal_feature: Feature,
    /// What a reader must know, and what is not judged.
    pub notes: Vec<String>,
}

impl AppliedRule {
    /// The flag that an unverified rule puts on every reading.
    pub fn flag(&self) -> Option<Flag> {
        (self.status == RuleStatus::Unverified).then(|| {
            Flag::new(
                FlagCode::RuleUnverified,
                format!(
                    "The figures of rule {} were not checked against the primary text; do not rely on them.",
                    self.id
                ),
            )
        })
    }
}

impl Rule {
    /// Whether one of the rule's cases for this beam and pattern depends on the height of the lower edge.
    fn asks_for_lower_edge(&self, lamp: &LampCase) -> bool {
        let has_height = |case: &&RuleCase| case.height_over_mm.is_some() || case.height_up_to_mm.is_some();
        self.height == HeightReference::LowerEdge && self.cases_for(lamp).any(|case| has_height(&case))
    }

    fn cases_for(&self, lamp: &LampCase) -> impl Iterator<Item = &RuleCase> {
        let (beam, pattern) = (lamp.beam, lamp.pattern);
        // Seen in the mirror of the other side of the road, the left lamp is the right one.
        let side = if lamp.traffic == self.written_for_traffic { lamp.side } else { lamp.side.other() };
        self.cases.iter().filter(move |case| {
            case.pattern == pattern && case.beams.contains(&beam) && case.lamp.is_none_or(|of| of == side)
        })
    }

    /// The limits for one lamp. A rule without figures for this beam and pattern gives none: then nothing is judged.
    ///
    /// A plate's inclination replaces the vertical nominal. A tolerance around the nominal moves with it; limits that
    /// the rule fixes stay, and a plate outside them is refused.
    pub fn apply(&self, lamp: &LampCase) -> Result<AppliedRule, Error> {
        let is_mirror_image = lamp.traffic != self.written_for_traffic;
        if is_mirror_image && !self.is_mirrored {
            let side = if self.written_for_traffic == Traffic::Left { "left" } else { "right" };
            return Err(Error::usage(
                format!("rule {} holds for {side}-hand traffic only", self.id),
                format!("add --traffic {side}, or choose another rule with --rules"),
            ));
        }
        if self.asks_for_lower_edge(lamp) && lamp.lower_edge_height.is_none() {
            return Err(Error::usage(
                format!(
                    "rule {} goes by the height of the lower edge of the lit surface, which was not given",
                    self.id
                ),
                "measure it above the floor and add --lower-edge-mm N",
            ));
        }
        let height = match self.height {
            HeightReference::Centre => lamp.centre_height,
            HeightReference::LowerEdge => lamp.lower_edge_height.unwrap_or(lamp.centre_height),
        };
        let case = self.cases_for(lamp).find(|case| {
            case.height_over_mm.is_none_or(|over| height.get() > over)
                && case.height_up_to_mm.is_none_or(|up_to| height.get() <= up_to)
        });
        let mut notes = self.notes.clone();
        notes.extend(self.not_judged.iter().map(|what| format!("Not judged: {what}")));
        if case.is_none() {
            notes.push(format!(
                "Rule {} has no figures for a {} beam with pattern {} at this height: nothing is judged.",
                self.id,
                lamp.beam.as_str(),
                lamp.pattern.as_str()
            ));
        }
        let vertical = case.and_then(|case| case.vertical.as_ref());
        if vertical.is_some_and(|axis| axis.is_by_plate) && lamp.plate.is_none() {
            notes.push(format!(
                "Rule {} goes by the value on the vehicle's plate, which was not given: add --nominal-percent.",
                self.id
            ));
        }
        let horizontal = case.and_then(|case| case.horizontal.as_ref());
        let feature = |axis: Option<&AxisRule>, is_vertical| {
            axis.map_or(Feature::of(lamp.pattern, is_vertical), |axis| axis.feature)
        };
        let (vertical_feature, horizontal_feature) = (feature(vertical, true), feature(horizontal, false));
        let horizontal = horizontal.map(|axis| axis.limits(lamp.centre_height));
        let dark_zone = case.and_then(|case| case.dark_zone.as_ref()).and_then(|zone| zone.zone(lamp.centre_height));
        Ok(AppliedRule {
            id: self.id.clone(),
            name: self.name.clone(),
            status: self.status,
            effective_from: self.effective_from.clone(),
            effective_to: self.effective_to.clone(),
            decision: self.decision,
            vertical: self.with_plate(vertical, lamp)?,
            horizontal: horizontal.map(|limits| if is_mirror_image { limits.mirrored() } else { limits }),
            dark_zone: dark_zone.map(|zone| if is_mirror_image { zone.mirrored() } else { zone }),
            vertical_feature,
            horizontal_feature,
            notes,
        })
    }

    fn with_plate(&self, vertical: Option<&AxisRule>, lamp: &LampCase) -> Result<Option<AxisLimits>, Error> {
        let limits = vertical.map(|axis| axis.limits(lamp.centre_height));
        let Some(plate) = lamp.plate else {
            return Ok(limits.filter(|_| !vertical.is_some_and(|axis| axis.is_by_plate)));
        };
        let (Some(axis), Some(limits)) = (vertical, limits) else {
            return Err(Error::usage(
                format!(
                    "--nominal-percent {} was given, but rule {} has no vertical figures here",
                    plate.get(),
                    self.id
                ),
                "leave it out, or choose another rule with --rules",
            ));
        };
        let stated = plate.to_deg();
        if axis.tolerance.is_some() {
            let shift = stated - limits.nominal.unwrap_or(stated);
            let moved = |limit: Option<Deg>| limit.map(|limit| limit + shift);
            return Ok(Some(AxisLimits {
                nominal: Some(stated),
                lower: moved(limits.lower),
                upper: moved(limits.upper),
            }));
        }
        if !limits.hold(stated) {
            return Err(Error::usage(
                format!("--nominal-percent {} lies outside the limits that rule {} fixes", plate.get(), self.id),
                "down is negative: -1.0 for a plate that says 1.0 %; or choose another rule with --rules",
            ));
        }
        Ok(Some(AxisLimits { nominal: Some(stated), ..limits }))
    }
}

#[cfg(test)]
mod tests {
    use super::super::limit::Limit;
    use super::*;

    const LAMP: LampCase = LampCase {
        beam: Beam::Low,
        pattern: Pattern::Kink,
        traffic: Traffic::Right,
        side: LampSide::Left,
        centre_height: Mm::new(700.0),
        lower_edge_height: None,
        plate: None,
    };

    fn rule(id: &str) -> Rule {
        Rule::built_in(id).unwrap().unwrap()
    }

    /// A limit as percent, for figures that a rule states in percent; "none" where there is none.
    fn percent(limit: Option<Deg>) -> String {
        limit.map_or("none".to_owned(), |limit| format!("{:.6}", limit.to_percent().get()))
    }

    #[test]
    fn visual_patterns_and_flat_have_no_horizontal_test() {
        let shop = rule("shop-check");
        let nominal = [(Pattern::LeftCutoff, -0.40), (Pattern::RightCutoff, 0.0), (Pattern::Flat, -0.75)];
        for (pattern, v_deg) in nominal {
            let applied = shop.apply(&LampCase { pattern, ..LAMP }).unwrap();
            assert_eq!(applied.horizontal, None);
            assert!((applied.vertical.unwrap().nominal.unwrap().get() - v_deg).abs() < 1e-12);
        }
        assert!(shop.apply(&LAMP).unwrap().horizontal.is_some());
        assert!(shop.apply(&LampCase { pattern: Pattern::Spot, ..LAMP }).unwrap().horizontal.is_some());
    }

    #[test]
    fn height_chooses_the_band_and_its_edge_belongs_to_the_lower_one() {
        let gb = rule("gb-inspection");
        for (height, upper) in [(850.0, "-0.500000"), (850.1, "-1.250000")] {
            let lamp = LampCase { traffic: Traffic::Left, centre_height: Mm::new(height), ..LAMP };
            let limits = gb.apply(&lamp).unwrap().vertical.unwrap();
            assert_eq!([percent(limits.lower).as_str(), percent(limits.upper).as_str()], ["-2.750000", upper]);
        }
        let error = gb.apply(&LAMP).unwrap_err().to_string();
        assert!(error.contains("left-hand traffic only") && error.contains("--traffic left"), "{error}");
    }

    #[test]
    fn mirror_flips_left_and_right_only() {
        let mut shop = rule("shop-check");
        let axis = shop.cases[0].horizontal.as_mut().unwrap();
        let angle = |deg| Limit::Angle(Deg::new(deg));
        (axis.nominal, axis.tolerance) = (Some(angle(0.1)), None);
        (axis.lower, axis.upper) = (vec![angle(-0.2)], vec![angle(0.9)]);
        let right = shop.apply(&LAMP).unwrap();
        let left = shop.apply(&LampCase { traffic: Traffic::Left, ..LAMP }).unwrap();
        assert_eq!(left.vertical, right.vertical);
        let expected =
            AxisLimits { nominal: Some(Deg::new(-0.1)), lower: Some(Deg::new(-0.9)), upper: Some(Deg::new(0.2)) };
        assert_eq!(left.horizontal, Some(expected));
    }

    #[test]
    fn plate_moves_a_tolerance_but_not_a_fixed_band() {
        let plate = LampCase { plate: Some(Percent::new(-1.3)), ..LAMP };
        let shop = rule("shop-check");
        let (before, after) =
            (shop.apply(&LAMP).unwrap().vertical.unwrap(), shop.apply(&plate).unwrap().vertical.unwrap());
        assert_eq!(percent(after.nominal), "-1.300000");
        let width = |limits: AxisLimits| (limits.upper.unwrap() - limits.lower.unwrap()).get();
        assert!((width(before) - width(after)).abs() < 1e-12);

        let gb = rule("gb-inspection");
        let in_band = gb.apply(&LampCase { traffic: Traffic::Left, ..plate }).unwrap().vertical.unwrap();
        assert_eq!(
            [in_band.lower, in_band.nominal, in_band.upper].map(percent),
            ["-2.750000", "-1.300000", "-0.500000"]
        );
        let outside = LampCase { traffic: Traffic::Left, plate: Some(Percent::new(1.3)), ..LAMP };
        assert!(gb.apply(&outside).unwrap_err().to_string().contains("down is negative"));

        let lab = rule("un-r112-lab").apply(&plate).unwrap().vertical.unwrap();
        assert_eq!((percent(lab.nominal).as_str(), lab.is_judged()), ("-1.300000", false));
    }

    /// By hand: the older German guideline allows 5 cm on 10 m about its nominal up to 140 cm of lamp height, and about the plate's
    /// value where there is one; above, its nominal is H/3, 1600 / 3 = 533 mm on 10 m, and the plate's value takes its place.
    #[test]
    fn the_plate_wins_at_every_height() {
        let older = rule("de-older-guideline");
        let at = |height: f64, plate: Option<f64>| {
            let lamp = LampCase { centre_height: Mm::new(height), plate: plate.map(Percent::new), ..LAMP };
            let limits = older.apply(&lamp).unwrap().vertical.unwrap();
            [limits.lower, limits.nominal, limits.upper].map(|limit| limit.map(|limit| limit.to_percent().get()))
        };
        // A tolerance is an angle: 5 cm on 10 m about 12 cm are 0.4999 %.
        let near = |found: [Option<f64>; 3], hand: [Option<f64>; 3]| {
            let all = found.into_iter().zip(hand);
            assert!(
                all.clone().all(|(found, hand)| found.is_some() == hand.is_some())
                    && all.filter_map(|(found, hand)| found.zip(hand)).all(|(found, hand)| (found - hand).abs() < 5e-4),
                "{found:?} {hand:?}"
            );
        };
        near(at(700.0, None), [Some(-1.7), Some(-1.2), Some(-0.7)]);
        near(at(700.0, Some(-1.0)), [Some(-1.5), Some(-1.0), Some(-0.5)]);
        near(at(1600.0, None), [None, Some(-5.3333), None]);
        near(at(1600.0, Some(-1.3)), [None, Some(-1.3), None]);

        let newer = rule("de-2018-guideline");
        let without = newer.apply(&LAMP).unwrap();
        assert_eq!((without.vertical, without.dark_zone.is_some()), (None, true));
        assert!(without.notes.iter().any(|note| note.contains("--nominal-percent")), "{:?}", without.notes);
        let plate = newer.apply(&LampCase { plate: Some(Percent::new(-1.3)), ..LAMP }).unwrap().vertical.unwrap();
        assert_eq!((percent(plate.nominal).as_str(), plate.is_judged()), ("-1.300000", false));
    }

    /// A zone that is right of 0 in left-hand traffic is left of 0 in the mirror; its height stays.
    #[test]
    fn a_dark_zone_is_mirrored_with_the_traffic() {
        let mut rule = rule("gb-inspection");
        rule.is_mirrored = true;
        let zone = |traffic| rule.apply(&LampCase { traffic, ..LAMP }).unwrap().dark_zone.unwrap();
        let (left, right) = (zone(Traffic::Left), zone(Traffic::Right));
        assert_eq!((left.left, left.right), (Some(Deg::new(0.0)), None));
        assert_eq!((right.left, right.right), (None, Some(Deg::new(0.0))));
        assert_eq!(left.above, right.above);
        assert_eq!(percent(Some(left.above)), "-0.500000");
    }

    #[test]
    fn lower_edge_is_asked_for_only_where_it_matters() {
        let mut by_edge = rule("gb-inspection");
        by_edge.height = HeightReference::LowerEdge;
        let lamp = LampCase { traffic: Traffic::Left, centre_height: Mm::new(900.0), ..LAMP };
        assert!(by_edge.apply(&lamp).unwrap_err().to_string().contains("--lower-edge-mm"));
        let lamp = LampCase { lower_edge_height: Some(Mm::new(840.0)), ..lamp };
        assert_eq!(percent(by_edge.apply(&lamp).unwrap().vertical.unwrap().upper), "-0.500000");
        let fog = LampCase { pattern: Pattern::Flat, beam: Beam::Fog, lower_edge_height: None, ..lamp };
        assert_eq!(by_edge.apply(&fog).unwrap().vertical, None);
    }

    #[test]
    fn a_rule_without_figures_judges_nothing_and_says_so() {
        let applied =
            rule("un-r112-lab").apply(&LampCase { beam: Beam::High, pattern: Pattern::Spot, ..LAMP }).unwrap();
        assert_eq!((applied.vertical, applied.horizontal), (None, None));
        assert!(applied.notes.last().unwrap().contains("nothing is judged"));
        assert_eq!(applied.flag().unwrap().code, FlagCode::RuleUnverified);
        assert_eq!(rule("shop-check").apply(&LAMP).unwrap().flag(), None);
    }

    #[test]
    fn target_is_nominal_then_middle_then_ceiling_less_u() {
        let deg = |v: f64| Some(Deg::new(v));
        let u = Deg::new(0.1);
        let targets = [
            (AxisLimits { nominal: deg(-1.0), lower: deg(-3.0), upper: deg(0.0) }, deg(-1.0)),
            (AxisLimits { nominal: None, lower: deg(-3.0), upper: deg(0.0) }, deg(-1.5)),
            (AxisLimits { nominal: None, lower: None, upper: deg(-1.0) }, deg(-1.1)),
            (AxisLimits { nominal: None, lower: deg(-1.0), upper: None }, deg(-0.9)),
            (AxisLimits::default(), None),
        ];
        for (limits, expected) in targets {
            assert_eq!(limits.target(u), expected);
        }
    }
}

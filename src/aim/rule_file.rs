//! The text of a rule file to a [`Rule`]: what may stand in it, and every complaint about it.

use super::dark_zone::{DarkZoneRule, SeenBy};
use super::limit::{Limit, RawLimit, RawLimits, TRIED_HEIGHTS_MM};
use super::rule::{
    AxisRule, Beam, ConfidenceMark, Decision, Feature, HeightReference, RULE_SCHEMA, Rule, RuleCase, RuleStatus,
};
use crate::bay::{LampSide, Traffic};
use crate::beam::Pattern;
use crate::error::{Error, check_finite};
use crate::units::Mm;
use serde::Deserialize;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawRule {
    schema: String,
    id: String,
    name: String,
    jurisdiction: String,
    effective_from: Option<String>,
    effective_to: Option<String>,
    effective: Option<String>,
    status: RuleStatus,
    source: String,
    url: Option<String>,
    height: HeightReference,
    load: String,
    written_for_traffic: RawTraffic,
    mirror: bool,
    #[serde(default)]
    decision: Decision,
    #[serde(default)]
    patterns: RawPatterns,
    #[serde(default)]
    notes: Vec<String>,
    #[serde(default)]
    not_judged: Vec<String>,
    case: Vec<RawCase>,
}

#[derive(Deserialize, Clone, Copy)]
#[serde(rename_all = "kebab-case")]
enum RawTraffic {
    Right,
    Left,
}

#[derive(Deserialize, Default)]
#[serde(deny_unknown_fields)]
struct RawPatterns {
    low: Option<String>,
    high: Option<String>,
    fog: Option<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawCase {
    beams: Vec<Beam>,
    pattern: RawPattern,
    lamp: Option<RawSide>,
    height_over_mm: Option<f64>,
    height_up_to_mm: Option<f64>,
    vertical: Option<RawAxis>,
    horizontal: Option<RawAxis>,
    dark_zone: Option<RawDarkZone>,
}

/// One pattern, or several that have the same figures.
#[derive(Deserialize)]
#[serde(untagged)]
enum RawPattern {
    One(String),
    Several(Vec<String>),
}

#[derive(Deserialize, Clone, Copy)]
#[serde(rename_all = "kebab-case")]
enum RawSide {
    Left,
    Right,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawAxis {
    mark: ConfidenceMark,
    feature: Option<Feature>,
    #[serde(default)]
    by_plate: bool,
    nominal: Option<RawLimit>,
    tolerance: Option<RawLimit>,
    lower: Option<RawLimits>,
    upper: Option<RawLimits>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawDarkZone {
    mark: ConfidenceMark,
    above: RawLimits,
    right_of: Option<RawLimit>,
    left_of: Option<RawLimit>,
    free_of: String,
    #[serde(default)]
    seen_by: SeenBy,
}

pub(super) fn parse(text: &str, path: &str) -> Result<Rule, Error> {
    check_finite(text, path)?;
    let raw: RawRule = toml::from_str(text).map_err(|error| {
        Error::file(path, format!("not a rule file: {error}"), "compare it with calib/rules/shop-check.toml")
    })?;
    let fail = |found: String, hint: &str| Err(Error::file(path, found, hint));
    if raw.schema != RULE_SCHEMA {
        return fail(
            format!("schema is \"{}\", need \"{RULE_SCHEMA}\"", raw.schema),
            "is this a rule file of this program?",
        );
    }
    for (field, content) in [("id", &raw.id), ("name", &raw.name), ("source", &raw.source), ("load", &raw.load)] {
        if content.trim().is_empty() {
            return fail(format!("{field} is empty"), "a rule without it cannot be cited: fill it in");
        }
    }
    for day in [&raw.effective_from, &raw.effective_to].into_iter().flatten() {
        if !is_day(day) {
            return fail(format!("\"{day}\" is no day, need YYYY-MM-DD"), "write it like 2016-03-24");
        }
    }
    if raw.case.is_empty() {
        return fail("no [[case]], need at least one".into(), "add the figures of one beam and pattern");
    }
    let mut cases = Vec::with_capacity(raw.case.len());
    for (place, case) in raw.case.iter().enumerate() {
        cases.extend(resolve_cases(case).map_err(|found| {
            Error::file(path, format!("[[case]] number {}: {found}", place + 1), "mend this entry of the rule file")
        })?);
    }
    check_status(raw.status, &cases).map_err(|found| {
        Error::file(path, found, "state the weaker status, or check the figure and change its mark")
    })?;
    let patterns = resolve_patterns(&raw.patterns)
        .map_err(|found| Error::file(path, format!("[patterns]: {found}"), "use one of the five pattern names"))?;
    Ok(Rule {
        id: raw.id,
        name: raw.name,
        jurisdiction: raw.jurisdiction,
        effective_from: raw.effective_from,
        effective_to: raw.effective_to,
        effective: raw.effective,
        status: raw.status,
        source: raw.source,
        url: raw.url,
        height: raw.height,
        load: raw.load,
        written_for_traffic: match raw.written_for_traffic {
            RawTraffic::Right => Traffic::Right,
            RawTraffic::Left => Traffic::Left,
        },
        is_mirrored: raw.mirror,
        decision: raw.decision,
        patterns,
        notes: raw.notes,
        not_judged: raw.not_judged,
        cases,
    })
}

/// `YYYY-MM-DD` by shape, month and day in range.
fn is_day(text: &str) -> bool {
    let parts: Vec<&str> = text.split('-').collect();
    let [year, month, day] = parts[..] else { return false };
    let number = |part: &str, digits: usize| {
        (part.len() == digits && part.bytes().all(|b| b.is_ascii_digit())).then(|| part.parse::<u32>().ok()).flatten()
    };
    number(year, 4).is_some()
        && number(month, 2).is_some_and(|m| (1..=12).contains(&m))
        && number(day, 2).is_some_and(|d| (1..=31).contains(&d))
}

fn pattern_named(name: &str) -> Result<Pattern, String> {
    let known = Pattern::ALL.map(Pattern::as_str).join(", ");
    let found = Pattern::ALL.into_iter().find(|pattern| pattern.as_str() == name);
    found.ok_or_else(|| format!("pattern \"{name}\" is unknown, need one of {known}"))
}

fn resolve_patterns(raw: &RawPatterns) -> Result<Vec<(Beam, Pattern)>, String> {
    let named = [(Beam::Low, &raw.low), (Beam::High, &raw.high), (Beam::Fog, &raw.fog)];
    named.into_iter().filter_map(|(beam, name)| name.as_deref().map(|name| Ok((beam, pattern_named(name)?)))).collect()
}

/// One case for every pattern that it names.
fn resolve_cases(raw: &RawCase) -> Result<Vec<RuleCase>, String> {
    match &raw.pattern {
        RawPattern::One(name) => Ok(vec![resolve_case(raw, name)?]),
        RawPattern::Several(names) if names.is_empty() => Err("pattern is an empty list, need one or more".to_owned()),
        RawPattern::Several(names) => names.iter().map(|name| resolve_case(raw, name)).collect(),
    }
}

fn resolve_case(raw: &RawCase, pattern: &str) -> Result<RuleCase, String> {
    let pattern = pattern_named(pattern)?;
    if raw.beams.is_empty() {
        return Err("beams is empty, need low, high or fog".into());
    }
    if [raw.height_over_mm, raw.height_up_to_mm].into_iter().flatten().any(|height| !(0.0..=5000.0).contains(&height)) {
        return Err("a height is outside 0 to 5000 mm".into());
    }
    if let (Some(over), Some(up_to)) = (raw.height_over_mm, raw.height_up_to_mm)
        && over >= up_to
    {
        return Err(format!("no height is over {over} mm and up to {up_to} mm"));
    }
    let axis = |name: &str, raw: &Option<RawAxis>, is_vertical: bool| {
        let resolve = |axis| resolve_axis(axis, pattern, is_vertical);
        raw.as_ref().map(resolve).transpose().map_err(|found| format!("{name}: {found}"))
    };
    let case = RuleCase {
        beams: raw.beams.clone(),
        pattern,
        lamp: raw.lamp.map(|side| match side {
            RawSide::Left => LampSide::Left,
            RawSide::Right => LampSide::Right,
        }),
        height_over_mm: raw.height_over_mm,
        height_up_to_mm: raw.height_up_to_mm,
        vertical: axis("vertical", &raw.vertical, true)?,
        horizontal: axis("horizontal", &raw.horizontal, false)?,
        dark_zone: raw
            .dark_zone
            .as_ref()
            .map(resolve_dark_zone)
            .transpose()
            .map_err(|found| format!("dark_zone: {found}"))?,
    };
    if case.vertical.is_none() && case.horizontal.is_none() && case.dark_zone.is_none() {
        return Err("neither vertical nor horizontal nor dark_zone, need at least one".into());
    }
    if let (Some(vertical), Some(zone)) = (&case.vertical, &case.dark_zone) {
        check_room_below(vertical, zone)?;
    }
    Ok(case)
}

fn resolve_axis(raw: &RawAxis, pattern: Pattern, is_vertical: bool) -> Result<AxisRule, String> {
    let one = |name: &str, raw: Option<RawLimit>| {
        raw.map(|limit| limit.resolve()).transpose().map_err(|found| format!("{name}: {found}"))
    };
    let several = |name: &str, raw: &Option<RawLimits>| {
        let list = raw.as_ref().map(RawLimits::resolve).transpose().map_err(|found| format!("{name}: {found}"))?;
        Ok::<_, String>(list.unwrap_or_default())
    };
    let nominal = one("nominal", raw.nominal)?;
    let (lower, upper) = (several("lower", &raw.lower)?, several("upper", &raw.upper)?);
    let tolerance = match one("tolerance", raw.tolerance)? {
        None => None,
        Some(Limit::Angle(angle)) if angle.get() > 0.0 => Some(angle),
        Some(Limit::Angle(_)) => return Err("tolerance must be above 0".to_owned()),
        Some(_) => return Err("tolerance must be the same for every lamp".to_owned()),
    };
    if tolerance.is_some() && (nominal.is_none() || !lower.is_empty() || !upper.is_empty()) {
        return Err("tolerance needs a nominal, and no lower or upper beside it".to_owned());
    }
    let has_figure = nominal.is_some() || !lower.is_empty() || !upper.is_empty();
    if raw.by_plate && (has_figure || !is_vertical) {
        return Err("by_plate stands alone and is vertical: the plate is the only figure".to_owned());
    }
    if !raw.by_plate && !has_figure {
        return Err("no figure, need nominal, tolerance, lower, upper or by_plate".to_owned());
    }
    let feature = raw.feature.unwrap_or_else(|| Feature::of(pattern, is_vertical));
    if !feature.is_of(pattern, is_vertical) {
        let axis = if is_vertical { "vertical" } else { "horizontal" };
        return Err(format!("feature \"{}\" is no {axis} feature of pattern {}", feature.as_str(), pattern.as_str()));
    }
    let rule = AxisRule { nominal, tolerance, lower, upper, feature, mark: raw.mark, is_by_plate: raw.by_plate };
    for height in TRIED_HEIGHTS_MM {
        let limits = rule.limits(Mm::new(height));
        if let (Some(lower), Some(upper)) = (limits.lower, limits.upper)
            && lower >= upper
        {
            return Err(format!("lower {:.3}° is not below upper {:.3}°", lower.get(), upper.get()));
        }
        if let Some(nominal) = limits.nominal.filter(|nominal| !limits.hold(*nominal)) {
            return Err(format!("nominal {:.3}° lies outside the limits", nominal.get()));
        }
    }
    Ok(rule)
}

fn resolve_dark_zone(raw: &RawDarkZone) -> Result<DarkZoneRule, String> {
    let side = |name: &str, raw: Option<RawLimit>| {
        raw.map(|limit| limit.resolve()).transpose().map_err(|found| format!("{name}: {found}"))
    };
    if raw.free_of.trim().is_empty() {
        return Err("free_of is empty: say what must not be seen there".to_owned());
    }
    let rule = DarkZoneRule {
        above: raw.above.resolve().map_err(|found| format!("above: {found}"))?,
        right_of: side("right_of", raw.right_of)?,
        left_of: side("left_of", raw.left_of)?,
        free_of: raw.free_of.clone(),
        seen_by: raw.seen_by,
        mark: raw.mark,
    };
    if [&rule.right_of, &rule.left_of].into_iter().flatten().any(|limit| !limit.is_fixed()) {
        return Err("right_of and left_of cannot go with the lamp's height".to_owned());
    }
    if let Some(zone) = rule.zone(Mm::new(TRIED_HEIGHTS_MM[0]))
        && let (Some(left), Some(right)) = (zone.left, zone.right)
        && left >= right
    {
        return Err(format!("nothing lies right of {:.3}° and left of {:.3}°", left.get(), right.get()));
    }
    Ok(rule)
}

/// A beam must be able to stand inside its band without lighting the dark zone.
fn check_room_below(vertical: &AxisRule, zone: &DarkZoneRule) -> Result<(), String> {
    for height in TRIED_HEIGHTS_MM.map(Mm::new) {
        let (limits, zone) = (vertical.limits(height), zone.zone(height));
        if let (Some(lower), Some(zone)) = (limits.lower.or(limits.nominal), zone)
            && lower >= zone.above
        {
            return Err(format!(
                "dark_zone: above {:.3}° leaves no room: the beam may not stand below {:.3}°",
                zone.above.get(),
                lower.get()
            ));
        }
    }
    Ok(())
}

/// A rule must not claim more than its weakest figure allows.
fn check_status(status: RuleStatus, cases: &[RuleCase]) -> Result<(), String> {
    let marks = cases.iter().flat_map(|case| [&case.vertical, &case.horizontal]).flatten().map(|axis| axis.mark);
    let marks = marks.chain(cases.iter().filter_map(|case| case.dark_zone.as_ref()).map(|zone| zone.mark));
    for mark in marks {
        let is_honest = match status {
            RuleStatus::Read => mark == ConfidenceMark::R,
            RuleStatus::Secondary => matches!(mark, ConfidenceMark::R | ConfidenceMark::S),
            RuleStatus::Practice => mark == ConfidenceMark::P,
            RuleStatus::Unverified => true,
        };
        if !is_honest {
            return Err(format!("status is \"{}\", but a figure is marked {mark:?}", status.as_str()));
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    const GOOD: &str = include_str!("../../calib/rules/gb-inspection.toml");

    fn complaint(text: &str) -> String {
        Rule::parse(text, "my.toml").unwrap_err().to_string()
    }

    #[test]
    fn each_slip_in_a_file_is_named() {
        assert!(Rule::parse(GOOD, "my.toml").is_ok());
        let slips = [
            ("lampwright/rule/1", "lampwright/bay/1", "schema is"),
            ("load = \"as presented\"", "load = \" \"", "load is empty"),
            ("2016-03-24", "2016-13-24", "is no day"),
            ("pattern = \"kink\"", "pattern = \"bend\"", "number 1: pattern \"bend\" is unknown"),
            ("percent = -2.75", "percent = -0.25", "not below upper"),
            ("percent = -2.75", "mm = -275", "need at_mm"),
            ("percent = -2.75", "mm = -275, at_mm = 1", "need 100 to 1000000"),
            ("percent = -2.75", "percent = -2.75, deg = 1", "exactly one of"),
            ("percent = -2.75", "deg = -1.5, at_mm = 10000", "belongs to lengths only"),
            ("percent = -2.75", "percent = -275", "is no aim"),
            ("percent = -2.75", "percent = nan", "vertical.lower.percent is NaN, need a finite number"),
            ("lower = { percent = -2.75 }", "nominal = { deg = 1.0 }", "lies outside the limits"),
            ("lower = { percent = -2.75 }", "tolerance = { deg = 1.0 }", "tolerance needs a nominal"),
            ("mark = \"S\"", "mark = \"M\"", "a figure is marked M"),
            ("lower = { percent = -2.75 }", "lower = { percent = -2.75 }\nby_plate = true", "by_plate stands alone"),
            ("pattern = \"kink\"", "pattern = []", "pattern is an empty list"),
            ("pattern = \"kink\"", "pattern = [\"kink\", \"bend\"]", "pattern \"bend\" is unknown"),
            ("height_up_to_mm = 850", "height_up_to_mm = -1", "outside 0 to 5000"),
            ("height_up_to_mm = 850", "height_up_to = 850", "unknown field"),
            ("beams = [\"low\"]", "beams = []", "beams is empty"),
            ("right_of = { percent = 0.0 }", "right_of = { mm = 0 }", "dark_zone: right_of: a length"),
            (
                "right_of = { percent = 0.0 }",
                "right_of = { deg = 0.0 }\nleft_of = { deg = -1.0 }",
                "nothing lies right",
            ),
            ("above = { percent = -0.5 }", "above = { percent = -3.0 }", "leaves no room"),
            ("free_of = \"white light\"", "free_of = \" \"", "free_of is empty"),
            ("free_of = \"white light\"", "", "missing field"),
            ("free_of = \"white light\"", "free_of = \"light\"\nseen_by = \"nose\"", "unknown variant"),
            ("mirror = false", "mirror = false\npatterns = { low = \"bend\" }", "[patterns]"),
        ];
        for (good, bad, expected) in slips {
            assert!(GOOD.contains(good), "{good}");
            let found = complaint(&GOOD.replacen(good, bad, 1));
            assert!(found.starts_with("my.toml: ") && found.contains(expected), "{bad}: {found}");
            assert!(found.contains("hint: "), "{found}");
        }
    }

    #[test]
    fn tolerance_lies_around_the_nominal() {
        let shop = Rule::built_in("shop-check").unwrap().unwrap();
        let limits = shop.cases[0].vertical.as_ref().unwrap().limits(Mm::new(700.0));
        // 1 % down = 0.573 deg; 2 in at 25 ft = atan(50.8 / 7620) = 0.382 deg.
        let expected = [-0.573, -0.955, -0.191];
        for (ours, hand) in [limits.nominal, limits.lower, limits.upper].into_iter().flatten().zip(expected) {
            assert!((ours.get() - hand).abs() < 0.0005, "{ours:?} {hand}");
        }
    }
}

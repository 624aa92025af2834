//! A rule in words and numbers: for `rules list` and `rules show`.
//!
//! **Takes** a [`Rule`], and for its figures the place they are seen at: distance of the wall, height of the lamp. **Gives**
//! text. Angles become lengths on a plumb wall by the flat-screen convention, `length = distance · tan(angle)`.

use crate::aim::{AxisLimits, AxisRule, DarkZoneRule, Rule, RuleCase, SeenBy};
use crate::units::{Deg, Mm};
use std::fmt::Write as _;

/// Columns of a screen, and those before a line's content.
const SCREEN_COLUMNS: usize = 80;
const INDENT: usize = 16;

/// Lines of whole words; a word that is longer than a line has one of its own, so that an address can be copied.
fn wrapped(text: &str, columns: usize) -> Vec<String> {
    let mut lines = vec![String::new()];
    for word in text.split_whitespace() {
        let line = lines.last().map_or(0, |line| line.chars().count());
        if line > 0 && line + 1 + word.chars().count() > columns {
            lines.push(String::new());
        }
        if let Some(line) = lines.last_mut() {
            if !line.is_empty() {
                line.push(' ');
            }
            line.push_str(word);
        }
    }
    lines
}

/// Where the figures are looked at.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SeenAt {
    /// Lamp to wall.
    pub distance: Mm,
    /// Lamp centre above the floor.
    pub centre_height: Mm,
}

/// One line a rule: id, how well it was checked, what it judges, name.
pub fn list(rules: &[Rule]) -> String {
    let width = rules.iter().map(|rule| rule.id.len()).max().unwrap_or(0);
    let mut text = String::new();
    for rule in rules {
        let mut beams: Vec<&str> = rule.cases.iter().flat_map(|case| &case.beams).map(|beam| beam.as_str()).collect();
        beams.sort_unstable();
        beams.dedup();
        // Writing to a String cannot fail.
        let _ = writeln!(
            text,
            "{:<width$}  {:<10}  {:<13}  {}{}",
            rule.id,
            rule.status.as_str(),
            beams.join(", "),
            rule.name,
            rule.effective_to.as_ref().map(|day| format!(" (until {day})")).unwrap_or_default()
        );
    }
    text += "\nread: in the primary text; secondary: in a text that quotes it; unverified: from memory, every reading is flagged;\n\
             practice: common practice, no source. `lampwright rules show ID` prints a rule's figures.\n";
    text
}

/// A whole rule.
pub fn show(rule: &Rule, at: &SeenAt) -> String {
    let mut text = format!("{}  ({})\n", rule.name, rule.id);
    let mut line = |name: &str, content: &str| {
        for (n, part) in wrapped(content, SCREEN_COLUMNS - INDENT).iter().enumerate() {
            let _ = writeln!(text, "  {:<14}{part}", if n == 0 { name } else { "" });
        }
    };
    line("where", &rule.jurisdiction);
    line("source", &rule.source);
    line("", rule.url.as_deref().unwrap_or("no address"));
    line("checked", rule.status.meaning());
    let stated = match (&rule.effective_from, &rule.effective_to) {
        (None, None) => rule.effective.clone().unwrap_or_else(|| "no day stated".to_owned()),
        (from, to) => format!(
            "from {} to {}",
            from.as_deref().unwrap_or("an unknown day"),
            to.as_deref().unwrap_or("today as far as known")
        ),
    };
    line("in force", &stated);
    line("load", &rule.load);
    line("heights of", rule.height.meaning());
    let side = if rule.written_for_traffic == crate::bay::Traffic::Left { "left" } else { "right" };
    let mirror = if rule.is_mirrored { "holds mirrored for the other side" } else { "for this side only" };
    line("traffic", &format!("{side}-hand, {mirror}"));
    line("decision", rule.decision.meaning());
    for note in &rule.notes {
        line("note", note);
    }
    for what in &rule.not_judged {
        line("not judged", what);
    }
    let _ = writeln!(
        text,
        "\nFigures at {:.0} mm from the lamp to the wall, lamp's centre {:.0} mm above the floor;\ndown and left are negative. [R] read, [S] \
         from a quotation, [M] from memory, [P] practice.",
        at.distance.get(),
        at.centre_height.get()
    );
    for case in &rule.cases {
        text += &case_text(case, at);
    }
    text
}

fn case_text(case: &RuleCase, at: &SeenAt) -> String {
    let beams: Vec<&str> = case.beams.iter().map(|beam| beam.as_str()).collect();
    let height = match (case.height_over_mm, case.height_up_to_mm) {
        (None, None) => String::new(),
        (Some(over), None) => format!(", height over {over} mm"),
        (None, Some(up_to)) => format!(", height up to {up_to} mm"),
        (Some(over), Some(up_to)) => format!(", height over {over} up to {up_to} mm"),
    };
    let lamp = case.lamp.map(|lamp| format!(", {} lamp", lamp.as_str())).unwrap_or_default();
    let mut text = format!("\n{} beam, pattern {}{height}{lamp}\n", beams.join(" or "), case.pattern.as_str());
    for (axis, rule) in [("vertical", &case.vertical), ("horizontal", &case.horizontal)] {
        let Some(rule) = rule else {
            let _ = writeln!(text, "  {axis:<11} not judged");
            continue;
        };
        text += &axis_text(axis, rule, at);
    }
    if let Some(zone) = &case.dark_zone {
        text += &dark_zone_text(zone, at);
    }
    text
}

fn axis_text(axis: &str, rule: &AxisRule, at: &SeenAt) -> String {
    let limits = rule.limits(at.centre_height);
    let mut text = format!("  {axis:<11} {} [{:?}]", rule.feature.as_str(), rule.mark);
    if rule.is_by_plate {
        return text
            + ", the value on the vehicle's plate (--nominal-percent),\n              without limits: shown, not judged\n";
    }
    text += match &limits {
        AxisLimits { lower: None, upper: None, .. } => ", a nominal without limits: shown, not judged\n",
        AxisLimits { lower: None, .. } => ", a ceiling\n",
        AxisLimits { upper: None, .. } => ", a floor\n",
        _ => "\n",
    };
    for (name, angle) in [("upper", limits.upper), ("nominal", limits.nominal), ("lower", limits.lower)] {
        if let Some(angle) = angle {
            let _ = writeln!(text, "    {name:<8}{}", angle_text(angle, at.distance));
        }
    }
    let all = rule.lower.iter().chain(&rule.upper).chain(&rule.nominal);
    if all.clone().any(|limit| !limit.is_fixed()) {
        text += "    (goes with the lamp's height)\n";
    }
    text
}

/// A dark zone, its edges in every unit, and by what it is judged.
fn dark_zone_text(rule: &DarkZoneRule, at: &SeenAt) -> String {
    let Some(zone) = rule.zone(at.centre_height) else { return String::new() };
    let judged = match rule.seen_by {
        SeenBy::Eye => "not judged by number: look at the wall; only a cutoff in it is told",
        SeenBy::LightMeter => "not judged by number: needs a light meter",
    };
    let mut text = format!("  {:<11} no {} [{:?}],\n              {judged}\n", "dark zone", zone.free_of, rule.mark);
    for (name, angle) in [("above", Some(zone.above)), ("right of", zone.left), ("left of", zone.right)] {
        if let Some(angle) = angle {
            // Writing to a String cannot fail.
            let _ = writeln!(text, "    {name:<8}{}", angle_text(angle, at.distance));
        }
    }
    text
}

/// One angle in every unit.
fn angle_text(angle: Deg, distance: Mm) -> String {
    let length = angle.to_mm_at(distance);
    // A zero has no sign.
    let signed = |value: f64, digits: usize| {
        if value.abs() < 1e-9 { format!("{:.digits$}", 0.0) } else { format!("{value:+.digits$}") }
    };
    format!(
        "{:>8} deg {:>8} % {:>9} mm {:>8} in",
        signed(angle.get(), 3),
        signed(angle.to_percent().get(), 3),
        signed(length.get(), 1),
        signed(length.to_inches(), 2)
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    fn shown(id: &str, distance: f64, height: f64) -> String {
        let at = SeenAt { distance: Mm::new(distance), centre_height: Mm::new(height) };
        show(&Rule::built_in(id).unwrap().unwrap(), &at)
    }

    /// Outside: number pairs printed in workshop data, statutes and inspection texts (sources in the rule files): 5 in at
    /// 25 ft are 127 mm; 110 to 150 mm at 10 m; 12 cm on 10 m is 1.2 %; 2 in at 25 ft = 0.38 deg; 4 in at 10 ft = 1.909 deg.
    #[test]
    fn printed_pairs_are_shown_as_printed() {
        for (id, distance, height, expected) in [
            ("us-new-jersey-single", 7620.0, 700.0, ["-127.0 mm", "-5.00 in"]),
            ("ca-ontario", 7600.0, 700.0, ["-127.0 mm", "-5.00 in"]),
            ("jp-inspection", 10000.0, 700.0, ["-150.0 mm", "-0.859 deg"]),
            ("jp-inspection", 10000.0, 700.0, ["+270.0 mm", "+1.547 deg"]),
            ("de-older-guideline", 10000.0, 700.0, ["-120.0 mm", "-1.200 %"]),
            ("us-utah", 3048.0, 700.0, ["+4.00 in", "+1.909 deg"]),
            ("gb-inspection", 25000.0, 700.0, ["-687.5 mm", "-2.750 %"]),
            ("nl-2006", 1000.0, 700.0, ["-40.0 mm", "-5.0 mm"]),
            ("cn-1997", 10000.0, 1000.0, ["-400.0 mm", "-200.0 mm"]),
            ("us-pennsylvania-high", 7620.0, 700.0, ["+0.764 deg", "+1.333 %"]),
            ("ca-quebec-snowmobile", 7500.0, 700.0, ["-50.0 mm", "not judged"]),
            ("ec-76-756", 10000.0, 700.0, ["-2.500 %", "-50.0 mm"]),
            ("ec-76-756-sister-initial", 10000.0, 700.0, ["-1.750 %", "-100.0 mm"]),
            ("us-states-ceiling", 7600.0, 700.0, ["+100.0 mm", "a ceiling"]),
            ("us-texas-single", 22860.0, 1400.0, ["-381.0 mm", "high-intensity portion"]),
            ("un-r48-initial", 3000.0, 700.0, ["-30.0 mm", "-45.0 mm"]),
            ("gb-inspection", 10000.0, 700.0, ["right of", "look at the wall"]),
            ("de-2018-guideline", 25000.0, 700.0, ["625 cd", "needs a light meter"]),
            ("us-fmvss-108", 7620.0, 700.0, ["-53.2 mm", "-2.09 in"]),
            ("sae-j583-fog", 7620.0, 600.0, ["-99.8 mm", "-3.93 in"]),
            ("sae-j583-fog", 7620.0, 700.0, ["-133.0 mm", "-5.24 in"]),
        ] {
            let text = shown(id, distance, height);
            for part in expected {
                assert!(text.contains(part), "{id}: no {part} in\n{text}");
            }
        }
    }

    /// Outside: pairs printed in workshop data, as `rules show` prints them for a rule that states one of the two. At 25 ft:
    /// 0.38 deg = 2.0 in = 50.5 mm, 0.95 deg = 5.0 in = 126.4 mm, 1.15 deg = 6.02 in = 153.0 mm, 2 deg = 10.5 in = 266.1 mm,
    /// 4.5 deg = 23.6 in = 599.7 mm; 75 mm at 5 m = 1.5 %; 1.3 % = 39 mm at 3 m; 1 % at 35 ft = 4.2 in; 10 cm on 10 m = 1.0 %;
    /// 1 % is 10 mm on every metre, whatever the lamp's height (650 mm would make it 6.5 mm).
    #[test]
    fn published_pairs_of_units_come_out() {
        let text = Rule::built_in_text("us-fmvss-108").unwrap();
        for (figure, distance, expected) in [
            ("deg = -0.38", 7620.0, ["-50.5 mm", "-1.99 in"]),
            ("deg = -0.95", 7620.0, ["-126.4 mm", "-4.97 in"]),
            ("deg = -1.15", 7620.0, ["-153.0 mm", "-6.02 in"]),
            ("deg = -2.0", 7620.0, ["-266.1 mm", "-10.48 in"]),
            ("deg = -4.5", 7620.0, ["-599.7 mm", "-23.61 in"]),
            ("mm = -75, at_mm = 5000", 5000.0, ["-1.500 %", "-75.0 mm"]),
            ("percent = -1.3", 3000.0, ["-39.0 mm", "-1.300 %"]),
            ("percent = -1.0", 10668.0, ["-4.20 in", "-1.000 %"]),
            ("percent = -1.0", 10000.0, ["-100.0 mm", "-1.000 %"]),
            ("percent = -1.0", 1000.0, ["-10.0 mm", "-1.000 %"]),
        ] {
            let rule = Rule::parse(&text.replace("deg = -0.40", figure), "pair.toml").unwrap();
            let shown = show(&rule, &SeenAt { distance: Mm::new(distance), centre_height: Mm::new(650.0) });
            for part in expected {
                assert!(shown.contains(part), "{figure} at {distance}: no {part} in\n{shown}");
            }
        }
    }

    /// 42 in at 75 ft is stricter than 5 in at 25 ft for a lamp above 1066.8 + 381 - 127 mm... by hand: 5 in at 25 ft is
    /// -0.955 deg; from 1500 mm down to 1066.8 mm over 22860 mm is atan(-433.2 / 22860) = -1.086 deg.
    #[test]
    fn the_stricter_of_two_ceilings_is_shown() {
        assert!(shown("us-texas-single", 7620.0, 1500.0).contains("-1.086 deg"));
        assert!(shown("us-texas-single", 7620.0, 700.0).contains("-0.955 deg"));
    }

    #[test]
    fn lines_fit_a_screen_and_keep_addresses_whole() {
        for id in Rule::built_in_ids() {
            for line in shown(id, 10_000.0, 700.0).lines() {
                assert!(line.chars().count() <= 90 || line.contains("http"), "{id}: {line}");
            }
        }
        let text = shown("gb-inspection", 10_000.0, 700.0);
        assert!(text.contains("https://mattersoftesting.blog.gov.uk/the-mot-headlamp-aim-test-is-changing/"), "{text}");
        assert!(text.contains("right of   0.000 deg"), "{text}");
    }

    #[test]
    fn the_list_names_every_rule_and_how_well_it_was_checked() {
        let rules: Vec<Rule> = Rule::built_in_ids().map(|id| Rule::built_in(id).unwrap().unwrap()).collect();
        let text = list(&rules);
        assert!(rules.iter().all(|rule| text.contains(&rule.id)), "{text}");
        assert!(text.contains("gb-before-2016") && text.contains("(until 2016-03-23)"));
    }
}

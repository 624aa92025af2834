//! A rule in words and numbers: for `rules list` and `rules show`.
//!
//! **Takes** a [`Rule`], and for its figures the place they are seen at: distance of the wall, height of the lamp. **Gives**
//! text. Angles become lengths on a plumb wall by the flat-screen convention, `length = distance · tan(angle)`.

use crate::aim::{AxisLimits, AxisRule, Rule, RuleCase};
use crate::units::{Deg, Mm};
use std::fmt::Write as _;

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
        let _ = writeln!(text, "  {name:<14}{content}");
    };
    line("where", &rule.jurisdiction);
    line("source", &rule.source);
    line("", rule.url.as_deref().unwrap_or("no address"));
    line("checked", rule.status.meaning());
    let from = rule.effective_from.as_deref().unwrap_or("not stated");
    line("in force", &format!("from {from} to {}", rule.effective_to.as_deref().unwrap_or("today as far as known")));
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
        "\nFigures at {:.0} mm from the lamp to the wall, lamp's centre {:.0} mm above the floor; down and left are negative.",
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
    text
}

fn axis_text(axis: &str, rule: &AxisRule, at: &SeenAt) -> String {
    let limits = rule.limits(at.centre_height);
    let mut text = format!("  {axis:<11} {} [{:?}]", rule.feature.as_str(), rule.mark);
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

/// One angle in every unit.
fn angle_text(angle: Deg, distance: Mm) -> String {
    let length = angle.to_mm_at(distance);
    // A zero has no sign.
    let tidy = |value: f64| if value.abs() < 1e-9 { 0.0 } else { value };
    format!(
        "{:>+8.3} deg {:>+8.3} % {:>+9.1} mm {:>+8.2} in",
        tidy(angle.get()),
        tidy(angle.to_percent().get()),
        tidy(length.get()),
        tidy(length.to_inches())
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
        ] {
            let text = shown(id, distance, height);
            for part in expected {
                assert!(text.contains(part), "{id}: no {part} in\n{text}");
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
    fn the_list_names_every_rule_and_how_well_it_was_checked() {
        let rules: Vec<Rule> = Rule::built_in_ids().map(|id| Rule::built_in(id).unwrap().unwrap()).collect();
        let text = list(&rules);
        assert!(rules.iter().all(|rule| text.contains(&rule.id)), "{text}");
        assert!(text.contains("gb-before-2016") && text.contains("(until 2016-03-23)"));
    }
}

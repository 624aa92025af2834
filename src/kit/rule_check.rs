//! What a reader of a rule file would ask its author: gaps and overlaps of heights, missing dates and sources.
//!
//! A file that cannot be read at all is an error before this; here are the things that may be meant.

use crate::aim::{Beam, Rule, RuleCase, RuleStatus};
use crate::beam::Pattern;

/// Every question; empty: none.
pub fn questions(rule: &Rule) -> Vec<String> {
    let mut found = Vec::new();
    if rule.url.is_none() && rule.status != RuleStatus::Practice {
        found.push("url: no address of the source; whoever doubts a figure cannot look it up".to_owned());
    }
    let is_dated = rule.effective_from.is_some() || rule.effective_to.is_some() || rule.effective.is_some();
    if !is_dated && rule.status != RuleStatus::Practice {
        found.push(
            "effective_from: not stated; rules change, and a record must show which one held (effective = \"...\" where the text \
             gives no day)"
                .to_owned(),
        );
    }
    if let (Some(from), Some(to)) = (&rule.effective_from, &rule.effective_to)
        && from > to
    {
        found.push(format!("effective_from {from} is after effective_to {to}: the rule never holds"));
    }
    if rule.is_mirrored && rule.cases.iter().any(|case| case.pattern == Pattern::LeftCutoff) {
        let names_side = |case: &RuleCase| case.pattern == Pattern::LeftCutoff && case.horizontal.is_some();
        if rule.cases.iter().any(names_side) {
            found.push("mirror: left-cutoff has a horizontal test; a mirror image would turn it round".to_owned());
        }
    }
    for beam in [Beam::Low, Beam::High, Beam::Fog] {
        for pattern in Pattern::ALL {
            let cases: Vec<&RuleCase> = rule
                .cases
                .iter()
                .filter(|case| case.pattern == pattern && case.beams.contains(&beam) && case.lamp.is_none())
                .collect();
            found.extend(
                heights(&cases)
                    .into_iter()
                    .map(|what| format!("{} beam, pattern {}: {what}", beam.as_str(), pattern.as_str())),
            );
        }
    }
    found
}

/// Gaps and overlaps between the ranges of height of cases for the same lamp.
fn heights(cases: &[&RuleCase]) -> Vec<String> {
    let mut ranges: Vec<(f64, f64)> = cases
        .iter()
        .map(|case| (case.height_over_mm.unwrap_or(0.0), case.height_up_to_mm.unwrap_or(f64::INFINITY)))
        .collect();
    ranges.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut found = Vec::new();
    if let Some(first) = ranges.first().filter(|first| first.0 > 0.0) {
        found.push(format!("no figures for heights up to {} mm", first.0));
    }
    for pair in ranges.windows(2) {
        if pair[1].0 > pair[0].1 {
            found.push(format!("no figures for heights over {} up to {} mm", pair[0].1, pair[1].0));
        } else if pair[1].0 < pair[0].1 {
            found.push(format!("two cases for heights over {} mm; only the first counts", pair[1].0));
        }
    }
    if let Some(last) = ranges.last().filter(|last| last.1.is_finite()) {
        found.push(format!("no figures for heights over {} mm", last.1));
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rule(change: (&str, &str)) -> Rule {
        let text = include_str!("../../calib/rules/gb-inspection.toml");
        assert!(text.contains(change.0), "{}", change.0);
        Rule::parse(&text.replace(change.0, change.1), "my.toml").unwrap()
    }

    /// Each built-in file passes its own check, but for what the texts that were read leave open.
    #[test]
    fn no_built_in_rule_leaves_a_question() {
        let open = [("gb-before-2016", "low beam, pattern kink: no figures for heights over 850 mm")];
        for id in Rule::built_in_ids() {
            let found = questions(&Rule::built_in(id).unwrap().unwrap());
            let expected: Vec<&str> = open.iter().filter(|(of, _)| *of == id).map(|(_, what)| *what).collect();
            assert_eq!(found, expected, "{id}");
        }
    }

    #[test]
    fn each_question_is_asked_and_a_good_rule_has_none() {
        assert_eq!(questions(&rule(("", ""))), Vec::<String>::new());
        for (good, bad, expected) in [
            ("height_over_mm = 850", "height_over_mm = 900", "over 850 up to 900 mm"),
            ("height_over_mm = 850", "height_over_mm = 800", "two cases for heights over 800 mm"),
            (
                "height_over_mm = 850",
                "height_over_mm = 850\nheight_up_to_mm = 1200",
                "no figures for heights over 1200 mm",
            ),
            ("effective_from = \"2016-03-24\"", "", "effective_from: not stated"),
            (
                "effective_from = \"2016-03-24\"",
                "effective_from = \"2016-03-24\"\neffective_to = \"2015-01-01\"",
                "never holds",
            ),
            ("url = \"https://mattersoftesting.blog.gov.uk/the-mot-headlamp-aim-test-is-changing/\"", "", "no address"),
        ] {
            let found = questions(&rule((good, bad)));
            assert!(found.iter().any(|what| what.contains(expected)), "{bad}: {found:?}");
        }
    }
}

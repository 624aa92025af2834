//! The page of a run: one HTML file that needs nothing else, no network and no script.
//!
//! **Takes** results, what they are compared with, a sweep when there was one, and pictures of the worst cases. **Gives** the
//! file's text: the same for the same input, no clock read. Every word that comes from outside is escaped.

use super::against::Comparison;
use super::gallery::{Picture, gallery, worst};
use super::goals;
use super::results::Results;
use super::sweep::Sweep;
use super::{tables, views};
use maud::{DOCTYPE, Markup, PreEscaped, html};

const STYLE: &str = include_str!("page.css");
/// Nothing may be loaded, whatever a case's name holds.
const POLICY: &str = "default-src 'none'; img-src data:; style-src 'unsafe-inline'";

/// What the page shows.
#[derive(Debug, Clone, Copy)]
pub struct PageInput<'a> {
    /// The run.
    pub results: &'a Results,
    /// Against an earlier run.
    pub comparison: Option<&'a Comparison>,
    /// A sweep of one option.
    pub sweep: Option<&'a Sweep>,
    /// How many of the worst cases are shown.
    pub worst: usize,
    /// Their pictures, in any order; a case without one is shown without.
    pub pictures: &'a [Picture],
}

/// A part of the page: anchor, heading, content.
type Part = (&'static str, &'static str, Markup);

/// The file's text.
pub fn page(input: &PageInput<'_>) -> String {
    let results = input.results;
    let parts = parts(input);
    let markup = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta http-equiv="Content-Security-Policy" content=(POLICY);
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="color-scheme" content="light dark";
                title { "Lampwright score" }
                link rel="icon" href="data:,";
                style { (PreEscaped(STYLE)) }
            }
            body {
                a class="skip" href="#main" { "Skip to the figures" }
                header {
                    h1 { "Lampwright score" }
                    dl {
                        dt { "Program" } dd { "lampwright " (results.software) }
                        @if !results.command.is_empty() { dt { "Command" } dd { code { "lampwright " (results.command.join(" ")) } } }
                        @if !results.options.is_empty() { dt { "Options" } dd { code { (results.options) } } }
                    }
                    nav aria-label="Parts of this page" { ul { @for (id, heading, _) in &parts { li { a href=(format!("#{id}")) { (heading) } } } } }
                }
                main id="main" {
                    @for (id, heading, content) in &parts {
                        section id=(id) aria-labelledby=(format!("{id}-h")) { h2 id=(format!("{id}-h")) { (heading) } (content) }
                    }
                }
            }
        }
    };
    markup.into_string() + "\n"
}

fn parts(input: &PageInput<'_>) -> Vec<Part> {
    let results = input.results;
    let has_errors = results.cases.iter().any(|case| !case.errors.is_empty());
    let shown = worst(&results.cases, input.worst);
    let mut parts: Vec<Part> = vec![("summary", "Summary", summary(results))];
    if let Some(comparison) = input.comparison {
        parts.push(("against", "Against the old run", tables::comparison(comparison)));
    }
    if let Some(sweep) = input.sweep {
        let words = html! { p { "All cases together at each value of " code { (sweep.key) } "." } };
        parts.push(("sweep", "Sweep", html! { (words) (sweep.charts()) }));
    }
    if has_errors {
        parts.push(("coverage-part", "How true u is", views::coverage(results)));
        parts.push(("histograms", "Errors", views::histograms(results)));
        let words = html! {
            p { "Errors are value minus truth. Rings name the three largest of a chart; point at one to read its case." }
        };
        parts.push(("conditions", "Errors against conditions", html! { (words) (views::conditions(results)) }));
    }
    if !shown.is_empty() {
        let words = html! {
            p {
                "Worst first: what ended or was judged wrongly, then by error and error/(u/2). In the pictures the true \
                 cutoff is a green dotted line, the true elbow a green square, the true hot spot a green diamond."
            }
        };
        parts.push(("worst", "Worst cases", html! { (words) (gallery(&shown, input.pictures)) }));
    }
    parts
}

fn summary(results: &Results) -> Markup {
    let missed: usize = results.families.first().map_or(0, goals::misses);
    let elsewhere = results.families.iter().skip(1).filter(|family| goals::misses(family) > 0);
    html! {
        p class="verdict" {
            @if missed == 0 { "All cases together meet every goal." }
            @else { "All cases together miss " strong { (missed) @if missed == 1 { " goal" } @else { " goals" } } "." }
            @for (n, family) in elsewhere.enumerate() {
                @if n == 0 { " Families that miss one or more: " } @else { ", " } code { (family.family) } " " (goals::misses(family))
            }
        }
        details {
            summary { "The goals" }
            ul { @for goal in goals::in_words() { li { (goal) } } }
            p { "A cell that misses one is marked with “!”. Shares, spreads and biases are judged from " (goals::LEAST_N) " values on." }
        }
        h3 { "How cases ended" }
        (tables::endings(&results.families))
        (tables::quantities(&results.families))
    }
}

#[cfg(test)]
mod tests {
    use super::super::against::compare;
    use super::super::outcome::Outcome;
    use super::super::summary::summarize;
    use super::super::summary::tests::outcome;
    use super::super::sweep::SweepPoint;
    use super::*;

    fn run(factor: f64) -> Results {
        let cases: Vec<Outcome> =
            (0..20).map(|n| outcome(&format!("a-{n}"), "a", &[(factor * f64::from(n), 0.1)])).collect();
        let command = vec!["score".to_owned(), "<b>".to_owned()];
        Results::new("0 test".to_owned(), command, String::new(), cases)
    }

    #[test]
    fn the_page_holds_every_part_and_loads_nothing() {
        let (old, new) = (run(0.001), run(0.02));
        let comparison = compare(&old, &new, 0.1);
        let points = vec![SweepPoint { value: 1.0, families: summarize(&new.cases) }];
        let sweep = Sweep { key: "key".to_owned(), points };
        let pictures = [Picture { id: "a-19".to_owned(), jpeg: vec![255, 216], size: (9, 9) }];
        let input = PageInput {
            results: &new,
            comparison: Some(&comparison),
            sweep: Some(&sweep),
            worst: 2,
            pictures: &pictures,
        };
        let text = page(&input);
        for id in ["summary", "against", "sweep", "coverage-part", "histograms", "worst"] {
            assert!(
                text.contains(&format!("<section id=\"{id}\"")) && text.contains(&format!("href=\"#{id}\"")),
                "{id}"
            );
        }
        assert!(text.contains("src=\"data:image/jpeg;base64,/9g=\"") && text.matches("<article").count() == 2);
        assert!(
            !text.contains("http:") && !text.contains("https:") && !text.contains("<script") && !text.contains("<b>")
        );
        assert_eq!(text, page(&input));
    }

    #[test]
    fn a_run_without_any_value_has_a_page_too() {
        let results = Results::new(String::new(), Vec::new(), String::new(), vec![outcome("a", "a", &[])]);
        let input = PageInput { results: &results, comparison: None, sweep: None, worst: 12, pictures: &[] };
        let text = page(&input);
        assert!(text.contains("meet every goal") && !text.contains("<section id=\"worst\""));
    }
}

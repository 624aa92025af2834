//! The figures as tables of the page, cells that miss a goal marked.

use super::against::{Change, Comparison};
use super::goals;
use super::outcome::Quantity;
use super::scale::number;
use super::summary::{FamilyFigures, QuantityFigures};
use maud::{Markup, html};

/// A table in a box of its own that scrolls, by keyboard too.
pub(super) fn boxed(name: &str, table: &Markup) -> Markup {
    html! { div class="box" role="region" aria-label=(name) tabindex="0" { (table) } }
}

/// A cell; marked with a sign, a colour and words when it misses a goal.
fn cell(text: &str, miss: Option<String>) -> Markup {
    html! {
        @if let Some(words) = miss { td class="miss" title=(words) { "! " (text) } }
        @else { td { (text) } }
    }
}

fn count(value: usize) -> Markup {
    cell(&value.to_string(), goals::count_miss(value).map(str::to_owned))
}

/// How the cases of each family ended.
pub(super) fn endings(families: &[FamilyFigures]) -> Markup {
    let heads = [
        "n",
        "measured",
        "refused rightly",
        "other code",
        "refused wrongly",
        "measured wrongly",
        "broken",
        "wrong verdicts",
        "large, unflagged",
        "s / photo",
    ];
    let table = html! {
        table {
            thead { tr { th scope="col" { "family" } @for head in heads { th scope="col" { (head) } } th scope="col" class="words" { "refusal codes" } } }
            tbody {
                @for f in families {
                    tr {
                        th scope="row" { (f.family) }
                        td { (f.n) } td { (f.measured) } td { (f.refused_rightly) }
                        (count(f.refused_with_wrong_code)) (count(f.refused_wrongly)) (count(f.measured_wrongly)) (count(f.broken))
                        (count(f.wrong_verdicts)) (count(f.unflagged_large))
                        td { (format!("{:.3}", f.median_seconds)) }
                        td class="words" {
                            @for (n, (code, times)) in f.refusal_codes.iter().enumerate() { @if n > 0 { ", " } code { (code) } " " (times) }
                        }
                    }
                }
            }
        }
    };
    boxed("How cases ended, by family", &table)
}

/// The figures of each quantity, a table each.
pub(super) fn quantities(families: &[FamilyFigures]) -> Markup {
    html! {
        @for quantity in Quantity::ALL {
            @let rows: Vec<_> = families.iter().filter_map(|f| Some((f, f.quantities.get(&quantity)?))).collect();
            @if !rows.is_empty() {
                h3 { (quantity.name()) }
                (boxed(&format!("Figures of the {}, by family", quantity.name()), &of_quantity(&rows)))
            }
        }
    }
}

fn of_quantity(rows: &[(&FamilyFigures, &QuantityFigures)]) -> Markup {
    let heads = [
        "n",
        "not measured",
        "median |error|, deg",
        "95 %, deg",
        "max, deg",
        "bias, deg",
        "median u, deg",
        "inside ± u",
        "spread of error/(u/2)",
    ];
    html! {
        table {
            thead { tr { th scope="col" { "family" } @for head in heads { th scope="col" { (head) } } } }
            tbody {
                @for (f, q) in rows {
                    tr {
                        th scope="row" { (f.family) }
                        td { (q.n) } td { (q.missing) }
                        @if q.n > 0 {
                            td { (four(q.median_deg)) } td { (four(q.p95_deg)) } td { (four(q.max_deg)) }
                            (cell(&signed(q.bias_deg), goals::bias_miss(q)))
                            td { (four(q.median_u_deg)) }
                            (cell(&format!("{:.3}", q.coverage), goals::coverage_miss(q)))
                            (cell(&format!("{:.2}", q.spread), goals::spread_miss(q)))
                        } @else {
                            td colspan="7" { "no value" }
                        }
                    }
                }
            }
        }
    }
}

/// What changed against the old run, all of it.
pub(super) fn comparison(comparison: &Comparison) -> Markup {
    html! {
        p {
            (comparison.common) " cases in both runs, " (comparison.only_one) " in one only. Time a photo, median: "
            (format!("{:.3} s before, {:.3} s now", comparison.seconds.0, comparison.seconds.1)) " (shown only)."
        }
        (changes("Figures", "family", &comparison.figures))
        (changes("Cases", "case", &comparison.cases))
    }
}

fn changes(title: &str, place: &str, list: &[Change]) -> Markup {
    let worse = list.iter().filter(|change| change.is_worse).count();
    let table = html! {
        table {
            thead { tr { @for head in [place, "change", "figure", "before", "now"] { th scope="col" { (head) } } } }
            tbody {
                @for change in list {
                    tr {
                        th scope="row" { (change.place) }
                        @if change.is_worse { td class="miss words" { "! worse" } } @else { td class="words" { "better" } }
                        td class="words" { (change.figure) } td { (change.old) } td { (change.new) }
                    }
                }
            }
        }
    };
    html! {
        h3 { (title) ": " (worse) " worse, " (list.len() - worse) " better" }
        @if list.is_empty() { p { "Nothing changed beyond the tolerance." } }
        @else { div class="tall" { (boxed(&format!("{title} that changed"), &table)) } }
    }
}

pub(super) fn four(value: f64) -> String {
    format!("{value:.4}").replace('-', "\u{2212}")
}

pub(super) fn signed(value: f64) -> String {
    format!("{value:+.4}").replace('-', "\u{2212}")
}

/// Conditions of a case in a row of terms.
pub(super) fn conditions(list: &std::collections::BTreeMap<String, f64>) -> Markup {
    html! {
        @if !list.is_empty() {
            details {
                summary { "Conditions" }
                ul class="terms" { @for (name, value) in list { li { code { (name) } " " (number(*value)) } } }
            }
        }
    }
}

//! The worst cases with their pictures.

use super::outcome::{Ending, Outcome};
use super::tables::{boxed, conditions, four, signed};
use base64::Engine;
use base64::prelude::BASE64_STANDARD;
use maud::{Markup, html};

/// The annotated picture of a case, as a JPEG file's bytes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Picture {
    /// The case.
    pub id: String,
    /// The file.
    pub jpeg: Vec<u8>,
    /// Width and height, pixels.
    pub size: (u32, u32),
}

/// The `n` worst cases, worst first; cases that are wholly right are never among them.
pub fn worst(cases: &[Outcome], n: usize) -> Vec<&Outcome> {
    let mut list: Vec<&Outcome> = cases.iter().filter(|case| case.badness() > 0.0).collect();
    list.sort_by(|a, b| b.badness().total_cmp(&a.badness()).then_with(|| a.id.cmp(&b.id)));
    list.truncate(n);
    list
}

/// A card for each case.
pub(super) fn gallery(cases: &[&Outcome], pictures: &[Picture]) -> Markup {
    html! {
        @for case in cases {
            article class="case" {
                h3 { (case.id) }
                p class="state" {
                    (ending(case.ending)) @if case.family != case.id { " · family " (case.family) }
                    @if let Some(verdict) = &case.verdict { " · verdict " (verdict) }
                    @if !case.wrong_axes.is_empty() { " · " strong { "judged against the truth: " (case.wrong_axes.join(", ")) } }
                    @if case.unflagged_large().next().is_some() { " · " strong { "large error without a warning" } }
                }
                div class="sides" {
                    div class="picture" { (picture(case, pictures)) }
                    div class="facts" { (facts(case)) }
                }
            }
        }
    }
}

fn picture(case: &Outcome, pictures: &[Picture]) -> Markup {
    html! {
        @if let Some(picture) = pictures.iter().find(|picture| picture.id == case.id) {
            img width=(picture.size.0) height=(picture.size.1) loading="lazy"
                alt=(format!("The photo of {} with what was measured and, in green, where the truth lies", case.id))
                src=(format!("data:image/jpeg;base64,{}", BASE64_STANDARD.encode(&picture.jpeg)));
        } @else {
            p { "There is no picture of this case." }
        }
    }
}

fn facts(case: &Outcome) -> Markup {
    let table = html! {
        table {
            thead { tr { @for head in ["deg", "value", "truth", "error", "u", "error/(u/2)"] { th scope="col" { (head) } } } }
            tbody {
                @for e in &case.errors {
                    tr {
                        th scope="row" { (e.quantity.name()) }
                        td { (four(e.value_deg)) } td { (four(e.truth_deg)) }
                        @if e.is_inside() { td { (signed(e.error_deg())) } }
                        @else { td class="miss" title="more than u" { "! " (signed(e.error_deg())) } }
                        td { (four(e.u_deg)) } td { (format!("{:+.2}", e.pull()).replace('-', "\u{2212}")) }
                    }
                }
                @for quantity in &case.missing {
                    tr { th scope="row" { (quantity.name()) } td colspan="5" class="words" { "not measured, though its truth is known" } }
                }
            }
        }
    };
    html! {
        @if !case.errors.is_empty() || !case.missing.is_empty() { (boxed(&format!("Values of {}", case.id), &table)) }
        @if let Some(message) = &case.message { p class="message" { (message) } }
        @if !case.flags.is_empty() {
            ul class="terms" aria-label="Flags" {
                @for flag in &case.flags { li class=(format!("flag {}", flag.severity)) { code { (flag.code) } " " (flag.severity) } }
            }
        }
        (conditions(&case.conditions))
    }
}

fn ending(ending: Ending) -> Markup {
    let (text, is_wrong) = match ending {
        Ending::Measured => ("measured", false),
        Ending::RefusedRightly => ("refused rightly", false),
        Ending::RefusedWithWrongCode => ("refused with another code than the truth names", true),
        Ending::RefusedWrongly => ("refused though measurable", true),
        Ending::MeasuredWrongly => ("measured though it must be refused", true),
        Ending::Broken => ("no reading", true),
    };
    html! { @if is_wrong { strong { (text) } } @else { (text) } }
}

#[cfg(test)]
mod tests {
    use super::super::summary::tests::outcome;
    use super::*;

    #[test]
    fn the_worst_come_first_and_what_is_right_does_not_come() {
        let mut list = vec![
            outcome("good", "a", &[]),
            outcome("bad", "a", &[(0.2, 0.05)]),
            outcome("worse", "a", &[(0.4, 0.05)]),
            outcome("broken", "a", &[]),
        ];
        list[3].ending = Ending::Broken;
        let ids: Vec<&str> = worst(&list, 9).iter().map(|case| case.id.as_str()).collect();
        assert_eq!(ids, ["broken", "worse", "bad"]);
        assert_eq!(worst(&list, 1).len(), 1);
    }

    #[test]
    fn what_photos_and_truth_files_say_is_escaped() {
        let mut case = outcome("<img src=x onerror=alert(1)>", "<i>", &[(0.2, 0.05)]);
        case.message = Some("<script>alert(1)</script>".to_owned());
        case.conditions.insert("\"><b>".to_owned(), 1.0);
        let text = gallery(&[&case], &[]).into_string();
        assert!(!text.contains("<script") && !text.contains("<img") && !text.contains("<i>") && !text.contains("<b>"));
    }
}

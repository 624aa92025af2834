//! The full table for the file: everything that a record says, every number to its last stored digit.

use super::ReportInput;
use super::figures::stored;
use super::flow::Flow;
use super::full_reading::reading;
use super::words::{badge, clean, lamp_name, personals, rule_status};
use crate::kit::sheet_page::{Page, Paper};
use crate::record::{Answer, How, Inspection};

/// The pages.
pub fn table_pages(input: &ReportInput<'_>, paper: Paper) -> Vec<Page> {
    let mut flow = Flow::new(paper);
    let inspection = &input.stored.inspection;
    general(&mut flow, input);
    rule(&mut flow, inspection);
    checklist(&mut flow, inspection);
    for lamp in &inspection.lamps {
        flow.title(&format!("{}: {}", lamp_name(lamp), badge(&lamp.verdict)));
        if lamp.readings.is_empty() {
            flow.field("Readings", "none yet");
        }
        for number in 0..lamp.readings.len() {
            reading(&mut flow, lamp, number);
        }
    }
    flow.finish(input, "FULL TABLE OF THE INSPECTION")
}

fn general(flow: &mut Flow, input: &ReportInput<'_>) {
    let inspection = &input.stored.inspection;
    flow.title("Inspection");
    let [plate, customer] = personals(input.stored);
    flow.field("Verdict", badge(&inspection.verdict));
    flow.field("Vehicle", &clean(&inspection.vehicle));
    flow.field("Number plate", &plate);
    flow.field("Customer", &customer);
    flow.field("By", &clean(&inspection.who));
    flow.field("Begun", &clean(&inspection.begun));
    flow.field("Recorded", &clean(&inspection.recorded));
    if let Some(follows) = &inspection.follows {
        let how = if follows.how == How::Corrects { "corrects" } else { "goes on from" };
        let reason = follows.reason.as_ref().map(|reason| format!(": {}", clean(reason))).unwrap_or_default();
        flow.field("Follows", &format!("{how} {} (by {}){reason}", follows.id, clean(&follows.by)));
        flow.field("First record", &follows.first);
    }
    let software = &inspection.software;
    flow.field("Software", &format!("{} {}, commit {}", software.name, software.version, software.commit));
    flow.field("Record", &format!("{}, entry {} of the log", inspection.id, input.stored.number));
    flow.field("Merkle leaf", &input.stored.leaf.to_string());
    let bay = &inspection.bay;
    flow.field("Bay", &format!("{} ({})", clean(&bay.id), clean(&bay.name)));
    flow.field("Bay surveyed", &bay.revision.as_ref().map_or_else(|| "not stated".to_owned(), |day| clean(day)));
    flow.field("Bay file, SHA-256", &bay.sha256.to_string());
    flow.field(
        "Figures",
        &format!(
            "Angles in degrees seen from the lamp: H positive to the right, V positive up, as stored. U: expanded uncertainty, \
             k = {}; parts of the budgets: standard uncertainty, k = 1.",
            stored(inspection.coverage_factor)
        ),
    );
}

fn rule(flow: &mut Flow, inspection: &Inspection) {
    let rule = &inspection.rule;
    flow.heading("Rule");
    flow.field("Rule", &format!("{} ({})", clean(&rule.id), clean(&rule.name)));
    flow.field("Status", &format!("{}: {}", rule.status, rule_status(&rule.status)));
    flow.field("Source", &clean(&rule.source));
    flow.field("Decision", &clean(&rule.decision));
    flow.field("Rule file, SHA-256", &rule.sha256.to_string());
}

fn checklist(flow: &mut Flow, inspection: &Inspection) {
    flow.heading("Preparation checklist");
    if inspection.checklist.is_empty() {
        flow.field("Answers", "The checklist was not answered.");
    }
    for item in &inspection.unanswered {
        flow.field(&format!("{}: NOT ANSWERED", clean(&item.item)), &clean(&item.text));
    }
    for item in &inspection.checklist {
        let answer = match item.answer {
            Answer::Yes => "yes",
            Answer::No => "NO",
            Answer::NotApplicable => "does not apply",
        };
        flow.field(&format!("{}: {answer}", clean(&item.item)), &clean(&item.text));
    }
}

//! The cases as CSV (RFC 4180), a row a case and quantity, for those who make their own figures.

use super::outcome::{Ending, Outcome};
use std::fmt::Write as _;

const HEAD: &str = "id,family,ending,verdict,quantity,value_deg,truth_deg,error_deg,u_deg,pull,seconds,codes";

/// The text, lines ended by CR LF as the RFC has it.
pub fn csv(outcomes: &[Outcome]) -> String {
    let mut text = format!("{HEAD}\r\n");
    for outcome in outcomes {
        let codes: Vec<&str> = outcome.flags.iter().map(|flag| flag.code.as_str()).collect();
        let ending = match outcome.ending {
            Ending::Measured => "measured",
            Ending::RefusedRightly => "refused-rightly",
            Ending::RefusedWithWrongCode => "refused-with-wrong-code",
            Ending::RefusedWrongly => "refused-wrongly",
            Ending::MeasuredWrongly => "measured-wrongly",
            Ending::Broken => "broken",
        };
        let front = [field(&outcome.id), field(&outcome.family), ending.to_owned()].join(",");
        let front = format!("{front},{}", outcome.verdict.as_deref().unwrap_or_default());
        let back = format!("{:.3},{}", outcome.seconds, field(&codes.join(" ")));
        if outcome.errors.is_empty() {
            let _ = write!(text, "{front},,,,,,,{back}\r\n");
        }
        for error in &outcome.errors {
            let name = error.quantity.name();
            // Writing to a String cannot fail.
            let _ = write!(
                text,
                "{front},{name},{:.6},{:.6},{:.6},{:.6},{:.4},{back}\r\n",
                error.value_deg,
                error.truth_deg,
                error.error_deg(),
                error.u_deg,
                error.pull()
            );
        }
    }
    text
}

/// A field, quoted where it must be. A text that a spreadsheet would take for a formula gets a quote mark in front.
fn field(text: &str) -> String {
    let is_formula = text.starts_with(['=', '+', '-', '@', '\t', '\r']);
    let text = if is_formula { format!("'{text}") } else { text.to_owned() };
    if text.contains([',', '"', '\n', '\r']) { format!("\"{}\"", text.replace('"', "\"\"")) } else { text }
}

#[cfg(test)]
mod tests {
    use super::super::summary::tests::outcome;
    use super::*;

    #[test]
    fn every_row_has_the_head_s_number_of_fields() {
        let list = [outcome("a,\"b\"", "fam", &[(0.01, 0.02), (0.02, 0.04)]), outcome("=1+1", "fam", &[])];
        let text = csv(&list);
        let lines: Vec<&str> = text.split("\r\n").collect();
        assert_eq!(lines.len(), 5);
        assert!(
            lines[1].starts_with("\"a,\"\"b\"\"\",fam,measured,,cutoff V,-0.490000,-0.500000,0.010000,0.020000,1.0000")
        );
        assert!(lines[3].starts_with("'=1+1,fam,"));
        let fields = HEAD.split(',').count();
        assert_eq!(lines[3].split(',').count(), fields);
        // One comma lies inside the quoted field.
        assert_eq!(lines[1].split(',').count(), fields + 1);
    }
}

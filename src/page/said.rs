//! What a person says was turned, from a form.

use super::answer::Failure;
use super::post::Posted;
use crate::kit::session::{Movement, ScrewName, SinceLast};

/// More than any adjuster has, quarter turns.
const MOST: f64 = 100.0;

/// Reads the fields `said` (`told`, `nothing`, `other`) and, for the last, quarter turns and way of each screw.
pub(super) fn said(form: &Posted) -> Result<SinceLast, Failure> {
    match form.text("said") {
        "told" => Ok(SinceLast::AsProposed),
        "nothing" => Ok(SinceLast::Nothing),
        "other" => {
            let screws = [("vertical", ScrewName::Vertical), ("horizontal", ScrewName::Horizontal)];
            let mut movements = Vec::new();
            for (word, screw) in screws {
                let Some(quarters) = form.number(&format!("{word}_quarters"), "Quarter turns")? else { continue };
                if !(0.0..=MOST).contains(&quarters) {
                    let hint = "Say clockwise or counterclockwise beside it, without a sign.";
                    return Err(Failure::Entry(format!("Quarter turns: need 0 to {MOST}."), hint.to_owned()));
                }
                let sign = if form.text(&format!("{word}_way")) == "ccw" { -1.0 } else { 1.0 };
                if quarters > 0.0 {
                    movements.push(Movement { screw, quarter_turns: sign * quarters });
                }
            }
            Ok(SinceLast::Turned(movements))
        }
        _ => Ok(SinceLast::Unsaid),
    }
}

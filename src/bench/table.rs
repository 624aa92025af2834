//! The figures as one table for a terminal.

use super::outcome::Quantity;
use super::summary::FamilyFigures;
use std::fmt::Write as _;

/// One block a quantity, then how cases ended; angles in degrees.
pub fn table(families: &[FamilyFigures]) -> String {
    let width = families.iter().map(|f| f.family.len()).max().unwrap_or(0).max(6);
    let mut text = format!(
        "{:<width$}{:>6}{:>6}{:>7}{:>7}{:>7}{:>7}{:>7}{:>9}{:>10}{:>9}  refusals\n",
        "family", "n", "meas.", "right", "code?", "wrong", "unref.", "broken", "verdict!", "unflagged", "s/photo"
    );
    for f in families {
        let codes: Vec<String> = f.refusal_codes.iter().map(|(code, n)| format!("{code} {n}")).collect();
        // Writing to a String cannot fail.
        let _ = writeln!(
            text,
            "{:<width$}{:>6}{:>6}{:>7}{:>7}{:>7}{:>7}{:>7}{:>9}{:>10}{:>9.3}  {}",
            f.family,
            f.n,
            f.measured,
            f.refused_rightly,
            f.refused_with_wrong_code,
            f.refused_wrongly,
            f.measured_wrongly,
            f.broken,
            f.wrong_verdicts,
            f.unflagged_large,
            f.median_seconds,
            codes.join(", ")
        );
    }
    text += "right / wrong: refused rightly / though measurable; code?: refused with another code; unref.: measured though it \
             must be refused;\nverdict!: axes judged against their truth; unflagged: off by more than 2 u and 0.05 deg \
             without a warning\n";
    for quantity in Quantity::ALL {
        let rows: Vec<_> = families.iter().filter_map(|f| Some((f, f.quantities.get(&quantity)?))).collect();
        if rows.is_empty() {
            continue;
        }
        let _ = writeln!(
            text,
            "\n{:<width$}{:>6}{:>6}{:>9}{:>9}{:>9}{:>9}{:>9}{:>9}{:>8}   {} (deg)",
            "family",
            "n",
            "null",
            "median",
            "95 %",
            "max",
            "bias",
            "med. u",
            "inside",
            "spread",
            quantity.name()
        );
        for (f, q) in rows {
            if q.n == 0 {
                let _ = writeln!(text, "{:<width$}{:>6}{:>6}", f.family, 0, q.missing);
                continue;
            }
            let _ = writeln!(
                text,
                "{:<width$}{:>6}{:>6}{:>9.4}{:>9.4}{:>9.4}{:>+9.4}{:>9.4}{:>8.1}%{:>8.2}",
                f.family,
                q.n,
                q.missing,
                q.median_deg,
                q.p95_deg,
                q.max_deg,
                q.bias_deg,
                q.median_u_deg,
                100.0 * q.coverage,
                q.spread
            );
        }
    }
    text
}

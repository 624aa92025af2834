//! A sweep as a table for a terminal, as CSV and as JSON.

use super::outcome::Quantity;
use super::summary::{FamilyFigures, OVERALL};
use super::sweep::Sweep;
use crate::error::Error;
use std::fmt::Write as _;

const HEAD: &str = "key,value,family,measured,refused_wrongly,measured_wrongly,quantity,n,missing,median_deg,p95_deg,max_deg,\
                    bias_deg,median_u_deg,coverage,spread";

impl Sweep {
    /// All cases together: a block a quantity, a row a value.
    pub fn to_text(&self) -> String {
        let mut text = format!("sweep of {}, all cases together\n", self.key);
        for quantity in Quantity::ALL {
            let rows: Vec<_> = self
                .points
                .iter()
                .filter_map(|point| {
                    let all = point.families.iter().find(|family| family.family == OVERALL)?;
                    Some((point.value, all, all.quantities.get(&quantity)?))
                })
                .collect();
            if rows.is_empty() {
                continue;
            }
            // Writing to a String cannot fail.
            let _ = writeln!(
                text,
                "\n{:>12}{:>7}{:>7}{:>6}{:>6}{:>9}{:>9}{:>9}{:>9}{:>8}   {} (deg)",
                "value",
                "meas.",
                "wrong",
                "n",
                "null",
                "median",
                "95 %",
                "u",
                "cover",
                "spread",
                quantity.name()
            );
            for (value, all, q) in rows {
                let _ = writeln!(
                    text,
                    "{value:>12}{:>7}{:>7}{:>6}{:>6}{:>9.4}{:>9.4}{:>9.4}{:>9.3}{:>8.2}",
                    all.measured,
                    all.refused_wrongly,
                    q.n,
                    q.missing,
                    q.median_deg,
                    q.p95_deg,
                    q.median_u_deg,
                    q.coverage,
                    q.spread
                );
            }
        }
        text
    }

    /// A row a value, family and quantity (RFC 4180); a family without a value has one row with empty figures.
    pub fn to_csv(&self) -> String {
        let mut text = format!("{HEAD}\r\n");
        for point in &self.points {
            for family in &point.families {
                let front = self.front(point.value, family);
                if family.quantities.is_empty() {
                    let _ = write!(text, "{front},,,,,,,,,,\r\n");
                }
                for (quantity, q) in &family.quantities {
                    let _ = write!(
                        text,
                        "{front},{},{},{},{:.6},{:.6},{:.6},{:.6},{:.6},{:.4},{:.4}\r\n",
                        quantity.name(),
                        q.n,
                        q.missing,
                        q.median_deg,
                        q.p95_deg,
                        q.max_deg,
                        q.bias_deg,
                        q.median_u_deg,
                        q.coverage,
                        q.spread
                    );
                }
            }
        }
        text
    }

    fn front(&self, value: f64, family: &FamilyFigures) -> String {
        let (measured, refused, wrongly) = (family.measured, family.refused_wrongly, family.measured_wrongly);
        format!("{},{value},{},{measured},{refused},{wrongly}", self.key, family.family)
    }

    /// One JSON object.
    pub fn to_json(&self) -> Result<String, Error> {
        serde_json::to_string_pretty(self).map(|text| text + "\n").map_err(|error| {
            Error::usage(format!("the sweep cannot be written as JSON: {error}"), "please report this as a defect")
        })
    }
}

#[cfg(test)]
mod tests {
    use super::super::summary::{summarize, tests::outcome};
    use super::super::sweep::SweepPoint;
    use super::*;

    fn sweep() -> Sweep {
        let point =
            |value: f64| SweepPoint { value, families: summarize(&[outcome("a", "f", &[(0.01 * value, 0.1)])]) };
        Sweep { key: "beam.cutoff.below_deg".to_owned(), points: vec![point(0.5), point(0.9)] }
    }

    #[test]
    fn every_value_has_its_row_and_every_row_the_head_s_fields() {
        let csv = sweep().to_csv();
        let rows: Vec<&str> = csv.trim_end().split("\r\n").collect();
        // Two values, each with all cases and one family.
        assert_eq!(rows.len(), 1 + 2 * 2, "{csv}");
        let fields = |row: &str| row.split(',').count();
        assert!(rows.iter().all(|row| fields(row) == fields(HEAD)), "{csv}");
        assert!(rows[1].starts_with("beam.cutoff.below_deg,0.5,all,1,0,0,cutoff V,1,0,0.005000,"), "{}", rows[1]);
    }

    #[test]
    fn json_is_read_back() {
        let read: Sweep = serde_json::from_str(&sweep().to_json().unwrap()).unwrap();
        assert_eq!(read, sweep());
        assert!(sweep().to_text().contains("0.0050"), "{}", sweep().to_text());
    }
}

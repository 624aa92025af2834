//! Lists of inspections, and finding one.
//!
//! **Takes** a [`Filter`]. **Gives** [`Row`]s, the newest first; of each inspection its newest record alone, unless all are
//! asked for. They come from a summary table, which `verify` holds against the entries.

use super::inspection::How;
use super::store::Store;
use crate::error::Error;
use rusqlite::{Row as SqlRow, named_params};

/// What is looked for; empty fields let everything through. Texts are parts of words, upper or lower case.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Filter {
    /// In the vehicle's reference, the plate, the customer's name, who inspected, the bay or the id.
    pub text: Option<String>,
    /// Verdict, whole.
    pub verdict: Option<String>,
    /// Begun at this time or later, RFC 3339 or its beginning (`2026-11`).
    pub from: Option<String>,
    /// Begun before this time.
    pub until: Option<String>,
    /// Every record, also those that a newer one stands for.
    pub is_all: bool,
    /// At most so many; `None` for all.
    pub limit: Option<u64>,
}

/// One line of a list.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Row {
    /// Place in the log.
    pub number: u64,
    /// Id of the record.
    pub id: String,
    /// Id of the first record of the inspection.
    pub first: String,
    /// When it was begun.
    pub begun: String,
    /// Who inspected.
    pub who: String,
    /// The shop's own reference of the vehicle.
    pub vehicle: String,
    /// Bay, by id.
    pub bay: String,
    /// Rule, by id.
    pub rule: String,
    /// Verdict over all lamps.
    pub verdict: String,
    /// How many readings.
    pub readings: u64,
    /// How it follows an earlier record.
    pub how: Option<How>,
    /// Plate, unless erased.
    pub plate: Option<String>,
    /// Customer, unless erased.
    pub customer: Option<String>,
}

const COLUMNS: &str = "\
SELECT s.number, s.id, s.first, s.begun, s.who, s.vehicle, s.bay, s.rule, s.verdict, s.readings, s.how,
       (SELECT text FROM personal WHERE digest = s.plate), (SELECT text FROM personal WHERE digest = s.customer)
FROM ";

/// Records whose own words, whose plate or customer, or whose id fit; each by an index that is read through or looked up.
const FITTING: &str = "\
(SELECT number FROM summary WHERE instr(found_by, :text) > 0
 UNION SELECT n.number FROM personal p JOIN summary n ON n.first = p.first WHERE p.text LIKE :like ESCAPE '\\'
 UNION SELECT number FROM summary WHERE length(:text) >= 8 AND id >= :text AND id < :text || 'g') JOIN summary s USING (number)";

/// `:like` stands in both forms of the query, so that both take the same parameters.
const WHERE: &str = "
WHERE (:verdict IS NULL OR s.verdict = :verdict)
  AND (:from IS NULL OR s.begun >= :from)
  AND (:until IS NULL OR s.begun < :until)
  AND (:text IS NULL OR :like IS NOT NULL)
  AND (:all OR NOT EXISTS (SELECT 1 FROM summary n WHERE n.first = s.first AND n.number > s.number))
ORDER BY s.number DESC
LIMIT :limit";

/// The words of a record that it is found by, apart from those that can be erased.
pub(super) fn found_by(vehicle: &str, who: &str, bay: &str) -> String {
    format!("{vehicle}\n{who}\n{bay}").to_lowercase()
}

impl Store {
    /// Inspections, the newest first.
    pub fn list(&self, limit: u64) -> Result<Vec<Row>, Error> {
        self.find(&Filter { limit: Some(limit), ..Filter::default() })
    }

    /// Inspections that fit a filter, the newest first.
    pub fn find(&self, filter: &Filter) -> Result<Vec<Row>, Error> {
        let text = filter.text.as_ref().map(|text| text.to_lowercase());
        let like = text.as_ref().map(|text| {
            let escaped = text.replace('\\', "\\\\").replace('%', "\\%").replace('_', "\\_");
            format!("%{escaped}%")
        });
        let source = if text.is_some() { FITTING } else { "summary s" };
        let sql = [COLUMNS, source, WHERE].concat();
        let all = || -> rusqlite::Result<Vec<Row>> {
            let mut query = self.db.prepare_cached(&sql)?;
            let rows = query.query_map(
                named_params! {
                    ":text": text,
                    ":like": like,
                    ":verdict": filter.verdict,
                    ":from": filter.from,
                    ":until": filter.until,
                    ":all": filter.is_all,
                    ":limit": filter.limit.map_or(-1, |limit| i64::try_from(limit).unwrap_or(i64::MAX)),
                },
                row,
            )?;
            rows.collect()
        };
        all().map_err(|error| self.failed(&error))
    }
}

fn row(row: &SqlRow<'_>) -> rusqlite::Result<Row> {
    Ok(Row {
        number: row.get::<_, i64>(0)? as u64,
        id: row.get(1)?,
        first: row.get(2)?,
        begun: row.get(3)?,
        who: row.get(4)?,
        vehicle: row.get(5)?,
        bay: row.get(6)?,
        rule: row.get(7)?,
        verdict: row.get(8)?,
        readings: row.get::<_, i64>(9)? as u64,
        how: match row.get_ref(10)?.as_str()? {
            "continues" => Some(How::Continues),
            "corrects" => Some(How::Corrects),
            _ => None,
        },
        plate: row.get(11)?,
        customer: row.get(12)?,
    })
}

/// The summary's word for how a record follows another.
pub(super) const fn how_word(how: Option<How>) -> &'static str {
    match how {
        None => "new",
        Some(How::Continues) => "continues",
        Some(How::Corrects) => "corrects",
    }
}

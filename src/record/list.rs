//! Lists of inspections, and finding one.
//!
//! **Takes** a [`Filter`]. **Gives** [`Row`]s, the newest first; of each inspection its newest record alone, unless all are
//! asked for. They come from a summary table and the words beside it, which `verify` holds against the entries.

use super::inspection::How;
use super::personal::held;
use super::search::{self, small};
use super::store::Store;
use crate::error::Error;
use rusqlite::{Row as SqlRow, named_params};
use std::cmp::Reverse;
use std::ops::ControlFlow;

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
    /// Plate, unless erased; [`ALTERED`](super::personal::ALTERED) when it was changed.
    pub plate: Option<String>,
    /// Customer, unless erased; likewise.
    pub customer: Option<String>,
}

const COLUMNS: &str = "\
SELECT s.number, s.id, s.first, s.begun, s.who, s.vehicle, s.bay, s.rule, s.verdict, s.readings, s.how,
       s.plate, (SELECT salt FROM personal WHERE digest = s.plate), (SELECT text FROM personal WHERE digest = s.plate),
       s.customer, (SELECT salt FROM personal WHERE digest = s.customer), (SELECT text FROM personal WHERE digest = s.customer)
FROM ";

const EVERY: &str = "summary s";
const NUMBERED: &str = "json_each(:numbers) n JOIN summary s ON s.number = n.value";

const WHERE: &str = "
WHERE (:verdict IS NULL OR s.verdict = :verdict)
  AND (:from IS NULL OR s.begun >= :from)
  AND (:until IS NULL OR s.begun < :until)
  AND (:all OR NOT EXISTS (SELECT 1 FROM summary n WHERE n.first = s.first AND n.number > s.number))
ORDER BY s.number DESC
LIMIT :limit";

/// Shortest beginning of an id that is taken for one.
const ID_BEGINNING: usize = 8;

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
        let found = match &filter.text {
            None => self.rows(None, filter, filter.limit),
            Some(text) => self.with_words(&small(text), filter),
        };
        found.map_err(|error| self.failed(&error))
    }

    fn with_words(&self, text: &str, filter: &Filter) -> rusqlite::Result<Vec<Row>> {
        let mut rows = Vec::new();
        if text.len() >= ID_BEGINNING && text.bytes().all(|byte| byte.is_ascii_hexdigit() || byte == b'-') {
            let mut of = self.db.prepare_cached("SELECT number FROM summary WHERE id >= ?1 AND id < ?1 || 'g'")?;
            let numbers: Vec<i64> = of.query_map([text], |row| row.get(0))?.collect::<Result<_, _>>()?;
            rows = self.rows(Some(&numbers), filter, filter.limit)?;
        }
        let mut left = filter.limit;
        search::seek(&self.db, text, |numbers| {
            let more = self.rows(Some(&numbers), filter, left)?;
            left = left.map(|left| left.saturating_sub(more.len() as u64));
            rows.extend(more);
            Ok(if left == Some(0) { ControlFlow::Break(()) } else { ControlFlow::Continue(()) })
        })?;
        rows.sort_by_key(|row| Reverse(row.number));
        rows.dedup_by_key(|row| row.number);
        rows.truncate(filter.limit.map_or(usize::MAX, |limit| usize::try_from(limit).unwrap_or(usize::MAX)));
        Ok(rows)
    }

    /// Those of these numbers, or of all, that fit all but the text.
    fn rows(&self, numbers: Option<&[i64]>, filter: &Filter, limit: Option<u64>) -> rusqlite::Result<Vec<Row>> {
        let sql = [COLUMNS, if numbers.is_some() { NUMBERED } else { EVERY }, WHERE].concat();
        let numbers =
            numbers.map(|numbers| format!("[{}]", numbers.iter().map(i64::to_string).collect::<Vec<_>>().join(",")));
        let limit = limit.map_or(-1, |limit| i64::try_from(limit).unwrap_or(i64::MAX));
        let mut named = named_params! {
            ":verdict": filter.verdict,
            ":from": filter.from,
            ":until": filter.until,
            ":all": filter.is_all,
            ":limit": limit,
        }
        .to_vec();
        if let Some(numbers) = &numbers {
            named.push((":numbers", numbers));
        }
        let mut query = self.db.prepare_cached(&sql)?;
        let rows = query.query_map(&named[..], row)?;
        rows.collect()
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
        plate: personal(row, 11)?,
        customer: personal(row, 14)?,
    })
}

/// A text that can be erased, of its digest, salt and text from this column on.
fn personal(row: &SqlRow<'_>, at: usize) -> rusqlite::Result<Option<String>> {
    let (Some(sealed), Some(salt)) = (row.get::<_, Option<Vec<u8>>>(at)?, row.get::<_, Option<Vec<u8>>>(at + 1)?)
    else {
        return Ok(None);
    };
    Ok(Some(held(&sealed, &salt, row.get(at + 2)?)))
}

/// The summary's word for how a record follows another.
pub(super) const fn how_word(how: Option<How>) -> &'static str {
    match how {
        None => "new",
        Some(How::Continues) => "continues",
        Some(How::Corrects) => "corrects",
    }
}

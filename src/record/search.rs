//! The words that inspections are found by, as they are sought: in small letters, many records in one text.
//!
//! **Takes** a part of a word. **Gives** numbers of records, the newest first. Reading some hundred texts through takes a
//! hundredth of a second where asking a hundred thousand rows takes a tenth. A line is a record: its number, then vehicle,
//! person, bay, plate and customer behind separators. All of it can be made from the other tables, which `verify` does; when a
//! text is erased, its lines are made anew.

use rusqlite::{Connection, OptionalExtension, params};
use std::fmt::Write as _;
use std::ops::ControlFlow;

/// Records in one text: few enough that recording one more rewrites little.
const BLOCK: i64 = 128;
/// Parts the words; nobody can type it, and it is taken out of what was typed.
const SEPARATOR: char = '\u{1f}';

/// One record's words as they stand.
const WORDS: &str = "\
SELECT s.number, s.vehicle, s.who, s.bay,
       (SELECT text FROM personal WHERE digest = s.plate), (SELECT text FROM personal WHERE digest = s.customer)
FROM summary s WHERE s.number >= ?1 AND s.number < ?2 ORDER BY s.number";

/// Writes a record's words; its summary and its plate and customer stand already.
pub(super) fn keep(change: &Connection, number: u64) -> rusqlite::Result<()> {
    let number = number as i64;
    let line = lines(change, number, number + 1)?;
    let sql = "INSERT INTO search (block, words) VALUES (?1, ?2) ON CONFLICT (block) DO UPDATE SET words = words || ?2";
    change.prepare_cached(sql)?.execute(params![number / BLOCK, line]).map(|_| ())
}

/// Makes the words of an inspection's records anew, once its plate and customer are gone.
pub(super) fn forget(change: &Connection, first: &str) -> rusqlite::Result<()> {
    let mut of = change.prepare("SELECT DISTINCT number / ?1 FROM summary WHERE first = ?2")?;
    let blocks: Vec<i64> = of.query_map(params![BLOCK, first], |row| row.get(0))?.collect::<Result<_, _>>()?;
    for block in blocks {
        let words = lines(change, block * BLOCK, (block + 1) * BLOCK)?;
        change.execute("UPDATE search SET words = ?2 WHERE block = ?1", params![block, words])?;
    }
    Ok(())
}

/// Makes all words, in a store that had none.
pub(super) fn fill(change: &Connection) -> rusqlite::Result<()> {
    for block in recorded(change)? {
        let words = lines(change, block * BLOCK, (block + 1) * BLOCK)?;
        change.execute("INSERT INTO search (block, words) VALUES (?1, ?2)", params![block, words])?;
    }
    Ok(())
}

/// Whether the words are those of summaries, plates and customers; else the first and last entry of a text that is not.
pub(super) fn hold(db: &Connection) -> rusqlite::Result<Vec<(i64, i64)>> {
    if !exists(db)? {
        return Ok(Vec::new());
    }
    let mut wrong = Vec::new();
    let mut all = recorded(db)?;
    all.append(&mut kept(db)?);
    all.sort_unstable();
    all.dedup();
    for block in all {
        let (from, until) = (block.saturating_mul(BLOCK), block.saturating_mul(BLOCK).saturating_add(BLOCK));
        if words(db, block)? != lines(db, from, until)? {
            wrong.push((from, until - 1));
        }
    }
    Ok(wrong)
}

/// Tells the numbers of records whose words hold `part`, which is in small letters, text by text and the newest first, until
/// it is told to stop.
pub(super) fn seek(
    db: &Connection,
    part: &str,
    mut found: impl FnMut(Vec<i64>) -> rusqlite::Result<ControlFlow<()>>,
) -> rusqlite::Result<()> {
    let is_kept = exists(db)?;
    // A store of an earlier version on a disk that cannot be written to has no such texts.
    for block in if is_kept { kept(db)? } else { recorded(db)? } {
        let words = if is_kept { words(db, block)? } else { lines(db, block * BLOCK, (block + 1) * BLOCK)? };
        if words.contains(part) && found(numbers(&words, part))?.is_break() {
            break;
        }
    }
    Ok(())
}

/// The numbers of the lines that hold `part`, the newest first.
fn numbers(words: &str, part: &str) -> Vec<i64> {
    let holds = |line: &str| {
        let (number, words) = line.split_once(SEPARATOR)?;
        words.contains(part).then(|| number.parse().ok())?
    };
    words.lines().rev().filter_map(holds).collect()
}

fn exists(db: &Connection) -> rusqlite::Result<bool> {
    db.query_row("SELECT EXISTS (SELECT 1 FROM sqlite_schema WHERE name = 'search')", [], |row| row.get(0))
}

/// The blocks that hold a record, the newest first.
fn recorded(db: &Connection) -> rusqlite::Result<Vec<i64>> {
    let mut all = db.prepare("SELECT DISTINCT number / ?1 FROM summary ORDER BY 1 DESC")?;
    all.query_map([BLOCK], |row| row.get(0))?.collect()
}

/// The blocks whose words stand, the newest first.
fn kept(db: &Connection) -> rusqlite::Result<Vec<i64>> {
    let mut all = db.prepare("SELECT block FROM search ORDER BY block DESC")?;
    all.query_map([], |row| row.get(0))?.collect()
}

fn words(db: &Connection, block: i64) -> rusqlite::Result<String> {
    let mut one = db.prepare_cached("SELECT words FROM search WHERE block = ?1")?;
    Ok(one.query_row([block], |row| row.get(0)).optional()?.unwrap_or_default())
}

/// The lines of the records from one number to before another, as they must be.
fn lines(db: &Connection, from: i64, until: i64) -> rusqlite::Result<String> {
    let mut all = db.prepare_cached(WORDS)?;
    let mut rows = all.query([from, until])?;
    let mut text = String::new();
    while let Some(row) = rows.next()? {
        // Writing to a String cannot fail.
        let _ = write!(text, "{}", row.get::<_, i64>(0)?);
        for column in 1..=5 {
            text.push(SEPARATOR);
            let word: Option<String> = row.get(column)?;
            text.push_str(&small(word.as_deref().unwrap_or_default()));
        }
        text.push('\n');
    }
    Ok(text)
}

/// In small letters, and in one line.
pub(super) fn small(text: &str) -> String {
    text.to_lowercase().replace(char::is_control, " ")
}

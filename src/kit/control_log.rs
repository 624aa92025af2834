//! The log of a bay's check readings: a CSV file (RFC 4180) beside the bay file, one reading a row, oldest first.
//!
//! **Takes** the log's text and readings of one lamp. **Gives** the log with what is new, and the charts of that lamp.
//! A reading is known by its photo's hash, so the same file may be given again. **Fails when** the log has other columns.

use super::control_chart::Chart;
use crate::error::Error;
use serde::{Deserialize, Serialize};

/// One reading in the log.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Entry {
    /// When the photo was taken as its file says, else the day of the check.
    pub taken: String,
    /// Bay, by id.
    pub bay: String,
    /// `left` or `right`.
    pub lamp: String,
    /// `low`, `high` or `fog`.
    pub beam: String,
    /// Pattern.
    pub pattern: String,
    /// Lamp's height, mm.
    pub height_mm: f64,
    /// Cutoff, or the hot spot where there is none, degrees.
    pub v_deg: Option<f64>,
    /// Elbow, or the hot spot where there is none, degrees.
    pub h_deg: Option<f64>,
    /// The photo.
    pub photo: String,
    /// Its SHA-256.
    pub sha256: String,
}

impl Entry {
    /// Whether both are readings of the same lamp in the same bay.
    pub fn is_same_lamp(&self, other: &Self) -> bool {
        let key = |entry: &Self| (entry.bay.clone(), entry.lamp.clone(), entry.beam.clone(), entry.pattern.clone());
        // Heights are typed in whole millimetres: another height is another vehicle.
        key(self) == key(other) && (self.height_mm - other.height_mm).abs() < 0.5
    }

    /// What a person calls the lamp.
    pub fn lamp_words(&self) -> String {
        format!("{} lamp, {} beam, {} at {:.0} mm", self.lamp, self.beam, self.pattern, self.height_mm)
    }
}

/// Reads the log; `path` names it in messages.
pub fn parse(text: &str, path: &str) -> Result<Vec<Entry>, Error> {
    csv::Reader::from_reader(text.as_bytes()).deserialize().collect::<Result<_, _>>().map_err(|error| {
        Error::file(
            path,
            format!("not a log of check readings: {error}"),
            "name another file with --log, or move this one away",
        )
    })
}

/// The log's text.
pub fn write(entries: &[Entry]) -> Result<String, Error> {
    let mut writer = csv::Writer::from_writer(Vec::new());
    let failed = |error: String| Error::usage(format!("the log cannot be written: {error}"), "report this as a defect");
    for entry in entries {
        writer.serialize(entry).map_err(|error| failed(error.to_string()))?;
    }
    let bytes = writer.into_inner().map_err(|error| failed(error.to_string()))?;
    String::from_utf8(bytes).map_err(|error| failed(error.to_string()))
}

/// Adds what the log does not hold yet; returns how many.
pub fn add(log: &mut Vec<Entry>, new: &[Entry]) -> usize {
    let before = log.len();
    for entry in new {
        if !log.iter().any(|known| known.sha256 == entry.sha256 && known.is_same_lamp(entry)) {
            log.push(entry.clone());
        }
    }
    log.len() - before
}

/// An axis of the readings with its chart.
#[derive(Debug, Clone, PartialEq)]
pub struct AxisChart {
    /// `vertical` or `horizontal`.
    pub axis: &'static str,
    /// The chart, degrees.
    pub chart: Chart,
    /// The reading behind each value.
    pub entries: Vec<Entry>,
}

/// The charts of one lamp.
pub fn charts(log: &[Entry], lamp: &Entry) -> Vec<AxisChart> {
    let own: Vec<&Entry> = log.iter().filter(|entry| entry.is_same_lamp(lamp)).collect();
    let axis = |axis: &'static str, pick: fn(&Entry) -> Option<f64>| {
        let (entries, values): (Vec<Entry>, Vec<f64>) =
            own.iter().filter_map(|entry| Some(((*entry).clone(), pick(entry)?))).unzip();
        Some(AxisChart { axis, chart: Chart::of(&values)?, entries })
    };
    [axis("vertical", |entry| entry.v_deg), axis("horizontal", |entry| entry.h_deg)].into_iter().flatten().collect()
}

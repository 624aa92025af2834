//! `lampwright bay check`: marks by a photo, repeated readings with their control chart, date and flatness.

use super::bay::{CheckArgs, today};
use super::bay_photo::check_photo;
use super::exit::ExitStatus;
use super::plan;
use super::write::{Staged, check_ending};
use crate::bay::Bay;
use crate::error::Error;
use crate::kit::control_chart::{ENOUGH, repeatability};
use crate::kit::control_log::{AxisChart, Entry, add, charts, parse, write};
use crate::kit::control_picture::picture;
use crate::reading::Reading;
use std::fmt::Write as _;
use std::path::Path;

/// Runs it.
pub(super) fn run(args: &CheckArgs) -> Result<(String, ExitStatus), Error> {
    if let Some(chart) = &args.chart {
        check_ending("--chart", chart, "svg")?;
    }
    let bay = plan::read_parsed(&args.bay, Bay::parse)?;
    let mut text = format!("{} ({})\n\n", bay.name, bay.id);
    let mut status = ExitStatus::Good;
    let mut say = |(words, found): (String, ExitStatus)| {
        text += &words;
        status = status.max(found);
    };
    say(dated(args, &bay)?);
    if let Some(photo) = &args.photo {
        say(check_photo(&bay, photo, args.lens.as_deref())?);
    }
    if !args.readings.is_empty() {
        say(repeated(args, &bay)?);
    }
    Ok((text, status))
}

/// Date and flatness.
fn dated(args: &CheckArgs, bay: &Bay) -> Result<(String, ExitStatus), Error> {
    let today = today(args.today.as_deref())?;
    if let Some(limit) = args.flatness_limit_mm.filter(|limit| !(*limit > 0.0 && limit.is_finite())) {
        return Err(Error::usage(format!("--flatness-limit-mm {limit}: need more than 0"), "3 mm is common"));
    }
    let Some(note) = &bay.survey else {
        let words = "survey\n  the bay file does not say when it was surveyed nor how flat the floor is; `lampwright bay survey` \
                     writes both\n";
        return Ok((words.to_owned(), ExitStatus::Good));
    };
    let due = note.next_check(args.recheck_months)?;
    let is_overdue = today > due;
    let mut status = if is_overdue { ExitStatus::Finding } else { ExitStatus::Good };
    let days = today.since(due).map_or(0, |span| span.get_days()).abs();
    let mut text = format!("survey\n  of {}, next check due {due}: ", note.date);
    // Writing to a String cannot fail.
    let _ = if is_overdue { writeln!(text, "OVERDUE by {days} days") } else { writeln!(text, "in {days} days") };
    match (note.flatness_mm, args.flatness_limit_mm.or(note.flatness_limit_mm)) {
        (Some(flatness), Some(limit)) if flatness > limit => {
            status = ExitStatus::Finding;
            let _ = writeln!(text, "  NOT FLAT: floor {flatness:.1} mm off the plane, limit {limit:.1} mm");
        }
        (Some(flatness), Some(limit)) => {
            let _ = writeln!(text, "  floor {flatness:.1} mm off the plane, limit {limit:.1} mm");
        }
        (Some(flatness), None) => {
            let _ = writeln!(text, "  floor {flatness:.1} mm off the plane; no limit stated");
        }
        (None, _) => text += "  the file does not say how flat the floor is\n",
    }
    Ok((text, status))
}

/// Repeated readings.
fn repeated(args: &CheckArgs, bay: &Bay) -> Result<(String, ExitStatus), Error> {
    let today = today(args.today.as_deref())?.to_string();
    let new = args.readings.iter().map(|path| entry(path, bay, &today)).collect::<Result<Vec<_>, _>>()?;
    let first = &new[0];
    if let Some(place) = new.iter().position(|entry| !entry.is_same_lamp(first)) {
        return Err(Error::file(
            args.readings[place].display().to_string(),
            format!("is of another lamp ({}) than the first ({})", new[place].lamp_words(), first.lamp_words()),
            "give repeated readings of one lamp that was left alone",
        ));
    }
    let log_path = args.log.clone().unwrap_or_else(|| args.bay.with_extension("readings.csv"));
    let inputs = args.readings.iter().chain([&args.bay]).chain(args.photo.iter());
    let outputs = [Some(&log_path), args.chart.as_ref()];
    for (n, output) in outputs.into_iter().flatten().enumerate() {
        let is_taken = inputs
            .clone()
            .chain([&log_path].into_iter().filter(|_| n > 0))
            .any(|input| plan::resolved(input) == plan::resolved(output));
        if is_taken {
            return Err(Error::usage(
                format!("{} would overwrite another file of this command", output.display()),
                "give it a name of its own",
            ));
        }
    }
    let mut log = if log_path.exists() { plan::read_parsed(&log_path, parse)? } else { Vec::new() };
    let added = add(&mut log, &new);
    let axes = charts(&log, first);
    if axes.is_empty() {
        return Err(Error::usage(
            format!("{} readings in all: need two or more of one lamp with a value", log.len()),
            "give the JSON of at least two photos",
        ));
    }
    let mut text = format!("\nrepeatability of {}\n", first.lamp_words());
    let mut status = ExitStatus::Good;
    for (axis, pick) in [("vertical", (|e: &Entry| e.v_deg) as fn(&Entry) -> Option<f64>), ("horizontal", |e| e.h_deg)]
    {
        let values: Vec<f64> = new.iter().filter_map(pick).collect();
        if let Some(found) = repeatability(&values) {
            let _ = writeln!(
                text,
                "  {axis:<10} {:+.3}° mean of {}, standard deviation {:.4}° ± {:.4}° (k = 1)",
                found.mean, found.count, found.deviation, found.deviation_sigma
            );
        }
    }
    for axis in &axes {
        let (words, found) = charted(axis);
        text += &words;
        status = status.max(found);
    }
    let chart = args.chart.as_ref().map(|path| {
        let title = format!("{}: {}", bay.name, first.lamp_words());
        Staged::new(path, picture(&title, &axes).as_bytes())
    });
    let chart = chart.transpose()?;
    Staged::new(&log_path, write(&log)?.as_bytes())?.commit()?;
    chart.map_or(Ok(()), Staged::commit)?;
    let _ = writeln!(text, "  {added} new in {}", log_path.display());
    if let Some(path) = &args.chart {
        let _ = writeln!(text, "  chart written to {}", path.display());
    }
    Ok((text, status))
}

fn charted(axis: &AxisChart) -> (String, ExitStatus) {
    let chart = &axis.chart;
    let mut text = format!(
        "control chart, {}: {} readings, mean {:+.3}°, limits {:+.3}° to {:+.3}° (mean ± 2.66 x mean step {:.4}°){}\n",
        axis.axis,
        chart.values.len(),
        chart.mean,
        chart.lower,
        chart.upper,
        chart.mean_range,
        if chart.values.len() < ENOUGH { format!("; provisional under {ENOUGH} readings") } else { String::new() }
    );
    let (outside, jumps) = (chart.outside(), chart.jumps());
    for (places, what) in [(&outside, "OUTSIDE the limits"), (&jumps, "JUMPED from the one before")] {
        for place in places {
            let entry = &axis.entries[*place];
            // Writing to a String cannot fail.
            let _ = writeln!(
                text,
                "  reading {} ({}, {}) {what}: {:+.3}°",
                place + 1,
                entry.photo,
                entry.taken,
                chart.values[*place]
            );
        }
    }
    let is_good = outside.is_empty() && jumps.is_empty();
    if is_good {
        text += "  every reading inside\n";
    }
    (text, if is_good { ExitStatus::Good } else { ExitStatus::Finding })
}

/// A reading's JSON as a row of the log.
fn entry(path: &Path, bay: &Bay, today: &str) -> Result<Entry, Error> {
    let name = path.display().to_string();
    let reading: Reading = serde_json::from_str(&plan::read_text(path)?).map_err(|error| {
        Error::file(&name, format!("is no reading: {error}"), "give the JSON that `lampwright measure --json` writes")
    })?;
    let setup = &reading.setup;
    if setup.bay != bay.id {
        return Err(Error::file(
            name,
            format!("is of bay \"{}\", this is \"{}\"", setup.bay, bay.id),
            "give readings that were taken in this bay",
        ));
    }
    let Some(features) = &reading.features else {
        return Err(Error::file(name, "is a refused photo: it holds no value", "leave it away"));
    };
    // A beam with a cutoff is never judged by its hot spot: the two must not mix in one chart.
    let spot = features.hot_spot.as_ref().filter(|_| setup.pattern == "spot").map(|spot| &spot.place);
    Ok(Entry {
        taken: reading.photo.captured.clone().unwrap_or_else(|| today.to_owned()),
        bay: setup.bay.clone(),
        lamp: setup.lamp.clone(),
        beam: setup.beam.clone(),
        pattern: setup.pattern.clone(),
        height_mm: setup.height_mm,
        v_deg: features.cutoff.as_ref().map(|cutoff| cutoff.v_deg).or_else(|| spot.map(|spot| spot.v_deg)),
        h_deg: features.elbow.as_ref().map(|elbow| elbow.h_deg).or_else(|| spot.map(|spot| spot.h_deg)),
        photo: reading.photo.file.clone(),
        sha256: reading.photo.sha256.clone(),
    })
}

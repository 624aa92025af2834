//! From a plan and the photos' bytes to a reading: calls the library's driver.

use super::measure::{PhotoFile, PhotoFiles, Produced};
use super::plan::{Caption, Plan};
use super::trace::Trace;
use crate::draw::{About, AnnotateInput, Known, PictureFormat, annotate, annotate_known, encode_about};
use crate::error::Error;
use crate::measurement::{Measurement, NamedBytes, Observer, Request, Unobserved, measure};
use crate::reading::{MarkFit, Reading, ReadingOutcome, ReadingParts};
use image::RgbImage;

fn named(file: &PhotoFile) -> NamedBytes<'_> {
    NamedBytes { name: &file.name, bytes: &file.bytes }
}

/// Measures what the plan asks for.
pub fn drive(plan: &Plan, photos: &PhotoFiles) -> Result<Produced, Error> {
    let (measurement, trace) = if plan.trace.is_some() {
        let mut trace = Trace::new(&plan.bay);
        let measurement = measured(plan, photos, &mut trace)?;
        let files = trace.into_files(&measurement)?;
        (measurement, files)
    } else {
        (measured(plan, photos, &mut Unobserved)?, Vec::new())
    };
    let reading = reading(plan, &measurement);
    let mut produced = Produced { reading, annotated: None, filed: None, trace };
    if plan.annotated.is_some() || plan.caption.is_some() {
        let json = serde_json::to_string(&produced.reading).map_err(|error| {
            Error::usage(format!("the reading cannot be written as JSON: {error}"), "please report this as a defect")
        })?;
        let caption = caption(plan, &produced.reading);
        let picture = annotate(
            &measurement,
            &AnnotateInput { caption: plan.caption.as_ref().map(|_| caption.as_str()), ..input(plan) },
        );
        let about = About { caption: &caption, reading: &json };
        let format = |is_png: bool| if is_png { PictureFormat::Png } else { PictureFormat::Jpeg };
        let encoded = |is_png: bool| encode_about(&picture, format(is_png), &about);
        produced.annotated = plan.annotated.as_ref().map(|target| encoded(target.is_png)).transpose()?;
        produced.filed = plan.caption.as_ref().map(|_| encoded(false)).transpose()?;
    }
    Ok(produced)
}

/// Measures what the plan asks for, and draws it together with what is known.
pub fn draw_with_known(plan: &Plan, photos: &PhotoFiles, known: &Known) -> Result<RgbImage, Error> {
    Ok(annotate_known(&measured(plan, photos, &mut Unobserved)?, &input(plan), known))
}

fn measured(plan: &Plan, photos: &PhotoFiles, observer: &mut dyn Observer) -> Result<Measurement, Error> {
    let bracket: Vec<NamedBytes<'_>> = photos.bracket.iter().map(named).collect();
    let request = Request {
        photo: named(&photos.photo),
        bracket: &bracket,
        marks_photo: photos.marks.as_ref().map(named),
        ambient_photo: photos.ambient.as_ref().map(named),
        bay: &plan.bay,
        setup: &plan.setup,
        pattern: plan.lamp.pattern,
        traffic: plan.lamp.traffic,
        rule: &plan.rule,
        screws: plan.screws.as_ref(),
        lens: plan.lens_text.as_ref().map(|(path, text)| (path.as_str(), text.as_str())),
        response: plan.response.as_ref().map(|(path, profile)| (path.as_str(), profile)),
        options: &plan.options,
        marks_by_hand: &plan.marks_by_hand,
    };
    measure(&request, observer)
}

fn input(plan: &Plan) -> AnnotateInput<'_> {
    AnnotateInput {
        bay: &plan.bay,
        setup: &plan.setup,
        lamp: &plan.lamp,
        rule: &plan.rule,
        units: plan.units,
        today: &plan.today,
        caption: None,
        is_turn_told: plan.is_turn_told,
    }
}

/// What the picture says of itself: record and day when it is recorded, lamp and verdict always.
fn caption(plan: &Plan, reading: &Reading) -> String {
    let verdict = reading.verdict.as_ref().map_or("refused", |verdict| verdict.overall.as_str()).to_uppercase();
    match &plan.caption {
        Some(Caption { record, date }) => format!("Record {record}, {date}, {verdict}"),
        None => format!("{verdict}, {} lamp, {} beam, not recorded", reading.setup.lamp, reading.setup.beam),
    }
}

fn reading(plan: &Plan, measurement: &Measurement) -> Reading {
    // Four points leave nothing over: their fit has no residuals, not small ones.
    const NOTHING_LEFT_PX: f64 = 1e-6;
    let mark_fit = measurement
        .view
        .as_ref()
        .filter(|view| view.rms_px > NOTHING_LEFT_PX)
        .map_or(MarkFit::default(), |view| MarkFit { rms_px: Some(view.rms_px), rms_mm: Some(view.rms_mm) });
    let outcome = match &measurement.outcome {
        Ok(found) => {
            ReadingOutcome::Measured { features: &found.features, verdict: &found.verdict, advice: &found.advice }
        }
        Err(refusal) => ReadingOutcome::Refused(refusal),
    };
    Reading::of(&ReadingParts {
        photo: &measurement.photo,
        bay: &plan.bay,
        entry: &plan.entry,
        setup: &plan.setup,
        lamp: &plan.lamp,
        rule: &plan.rule,
        screws_name: plan.screws.as_ref().map(|screws| screws.name.as_str()),
        marks: &measurement.marks,
        mark_fit,
        outcome,
        flags: &measurement.flags,
        today: &plan.today,
        options: &plan.options.changed(),
        command: &plan.command,
    })
}

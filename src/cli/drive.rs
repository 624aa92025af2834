//! From a plan and the photos' bytes to a reading: calls the library's driver.

use super::measure::{PhotoFile, PhotoFiles, Produced};
use super::plan::{AnnotatedTarget, Plan};
use super::trace::Trace;
use crate::draw::{AnnotateInput, PictureFormat, annotate, encode};
use crate::error::Error;
use crate::measurement::{Measurement, NamedBytes, Request, Unobserved, measure};
use crate::reading::{MarkFit, Reading, ReadingOutcome, ReadingParts};

fn named(file: &PhotoFile) -> NamedBytes<'_> {
    NamedBytes { name: &file.name, bytes: &file.bytes }
}

/// Measures what the plan asks for.
pub fn drive(plan: &Plan, photos: &PhotoFiles) -> Result<Produced, Error> {
    let request = Request {
        photo: named(&photos.photo),
        marks_photo: photos.marks.as_ref().map(named),
        ambient_photo: photos.ambient.as_ref().map(named),
        bay: &plan.bay,
        setup: &plan.setup,
        pattern: plan.lamp.pattern,
        traffic: plan.lamp.traffic,
        rule: &plan.rule,
        screws: plan.screws.as_ref(),
        lens: plan.lens_text.as_ref().map(|(path, text)| (path.as_str(), text.as_str())),
        options: &plan.options,
        marks_by_hand: &plan.marks_by_hand,
    };
    let (measurement, trace) = if plan.trace.is_some() {
        let mut trace = Trace::new(&plan.bay);
        let measurement = measure(&request, &mut trace)?;
        let files = trace.into_files(&measurement)?;
        (measurement, files)
    } else {
        (measure(&request, &mut Unobserved)?, Vec::new())
    };
    let reading = reading(plan, &measurement);
    let annotated = plan.annotated.as_ref().map(|target| picture(plan, target, &measurement)).transpose()?;
    Ok(Produced { reading, annotated, trace })
}

fn picture(plan: &Plan, target: &AnnotatedTarget, measurement: &Measurement) -> Result<Vec<u8>, Error> {
    let input =
        AnnotateInput { bay: &plan.bay, setup: &plan.setup, lamp: &plan.lamp, rule: &plan.rule, units: plan.units };
    let format = if target.is_png { PictureFormat::Png } else { PictureFormat::Jpeg };
    encode(&annotate(measurement, &input), format)
}

fn reading(plan: &Plan, measurement: &Measurement) -> Reading {
    let mark_fit = measurement
        .view
        .as_ref()
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
        options: &plan.options.changed(),
        command: &plan.command,
    })
}

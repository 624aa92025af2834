//! Pictures of the worst cases of a run: measured once more, drawn with their truth, and made small.

use super::drive;
use super::measure::PhotoFiles;
use super::score::{cannot_make, plan_of};
use crate::bench::{Case, Ending, Outcome, Picture, Prepared, TruthFile};
use crate::draw::{Known, PictureFormat, encode};
use crate::error::Error;
use crate::options::Options;
use crate::units::AnglePoint;
use image::imageops::{FilterType, resize};
use rayon::prelude::*;

/// Width of a picture in the page, pixels: its words can still be read.
const WIDTH: u32 = 900;

/// The pictures of the `shown` ones among the cases. What gave no reading has none.
pub(super) fn pictures(cases: &[Case], shown: &[&Outcome], options: &Options) -> Result<Vec<Picture>, Error> {
    let scratch = tempfile::tempdir().map_err(|error| cannot_make(&std::env::temp_dir(), &error))?;
    let pictured = shown.par_iter().filter(|outcome| outcome.ending != Ending::Broken);
    let made = pictured.filter_map(|outcome| {
        let case = cases.iter().find(|case| case.id == outcome.id)?;
        // What was measured a moment ago and cannot be now (a photo taken away meanwhile) is shown without a picture.
        let prepared = case.prepare(scratch.path()).ok()?;
        picture(&prepared, &case.id, options).ok()
    });
    Ok(made.collect())
}

fn picture(prepared: &Prepared, id: &str, options: &Options) -> Result<Picture, Error> {
    let plan = plan_of(prepared, options)?;
    let mut photos = PhotoFiles::read(&plan)?;
    // The picture names its photo; a scratch folder's name in it would make every page another.
    if let Some(name) = plan.photo.file_name() {
        photos.photo.name = name.to_string_lossy().into_owned();
    }
    let large = drive::draw_with_known(&plan, &photos, &known(&prepared.truth))?;
    let height = (large.height() * WIDTH).div_ceil(large.width());
    let small = resize(&large, WIDTH, height, FilterType::Triangle);
    Ok(Picture { id: id.to_owned(), jpeg: encode(&small, PictureFormat::Jpeg)?, size: small.dimensions() })
}

fn known(truth: &TruthFile) -> Known {
    let table = truth.cutoff.iter().flat_map(|table| table.h_deg.iter().zip(&table.v_deg));
    Known {
        cutoff: table.map(|(h, v)| AnglePoint::new(*h, *v)).collect(),
        elbow: truth.elbow.map(|place| AnglePoint::new(place.h_deg, place.v_deg)),
        hot_spot: truth.hot_spot.map(|place| AnglePoint::new(place.h_deg, place.v_deg)),
    }
}

//! `lampwright response`: a response file from photos of one still wall at several exposures.

use super::exit::ExitStatus;
use super::measure::{cannot_print, read_photo};
use super::plan;
use super::write::Staged;
use crate::camera::response::{Exposed, FittedResponse, LEAST_PHOTOS, fit};
use crate::camera::{Cells, ResponseProfile};
use crate::error::Error;
use crate::photo::{DecodeOptions, Photo, decode};
use clap::Args;
use std::fmt::Write as _;
use std::io::Write;
use std::path::PathBuf;

/// How far a camera's true exposure may be from what EXIF or the photographer says, as a logarithm (own judgement: nominal
/// times are rounded to thirds of a step only in old cameras; phones write what they set).
const EXPOSURE_SIGMA: f64 = 0.01;
/// Share of readings that do not fit from which the photos are doubted.
const UNFIT_SHARE: f64 = 0.05;
/// Usual residual from which they are doubted, as a share of light.
const LARGE_SPREAD: f64 = 0.03;

/// Arguments of `response`.
#[derive(Debug, Args)]
pub struct ResponseArgs {
    /// Photos of one wall with bright and dark parts, 3 or more; camera, lamp and room stand still, only the exposure changes
    #[arg(value_name = "PHOTO", required = true, num_args = 1..)]
    pub photos: Vec<PathBuf>,
    /// Exposure times of the photos in their order, seconds, in place of EXIF's; ISO and aperture must then be the same
    #[arg(long, value_name = "S", value_delimiter = ',')]
    pub exposure_s: Vec<f64>,
    /// Date that the file states, such as 2026-03-14
    #[arg(long, value_name = "DATE")]
    pub date: Option<jiff::civil::Date>,
    /// Response file to write
    #[arg(long, value_name = "RESPONSE.toml")]
    pub out: PathBuf,
}

/// Reads the photos, fits the response, writes its file.
pub fn run(args: &ResponseArgs, stdout: &mut dyn Write) -> Result<ExitStatus, Error> {
    check(args)?;
    let mut exposed = Vec::new();
    let mut facts = None;
    for (index, path) in args.photos.iter().enumerate() {
        let file = read_photo(path)?;
        let photo = decode(&file.bytes, &file.name, &DecodeOptions::default())?;
        let exposure = match args.exposure_s.get(index) {
            Some(seconds) => *seconds,
            None => exif_exposure(&photo)?,
        };
        let cells = Cells::new(photo.width(), photo.height(), &|x, y| photo.rgb_code(x, y));
        facts.get_or_insert((photo.stored_width as u32, photo.stored_height as u32, photo.shot.focal_35mm));
        exposed.push(Exposed { name: file.name, exposure, sigma_ln: EXPOSURE_SIGMA, cells });
    }
    let found = fit(&exposed)?;
    let Some((width, height, focal_35mm)) = facts else {
        return Err(Error::usage("no photo", "name photos of one still wall"));
    };
    let profile = ResponseProfile {
        width,
        height,
        focal_35mm,
        date: args.date.map(|date| date.to_string()),
        photos: exposed.len() as u32,
        response: found.response.clone(),
    };
    Staged::new(&args.out, profile.to_toml().as_bytes())?.commit()?;
    let (text, is_clean) = summary(&found, args);
    stdout.write_all(text.as_bytes()).and_then(|()| stdout.flush()).map_err(|error| cannot_print(&error))?;
    Ok(if is_clean { ExitStatus::Good } else { ExitStatus::Finding })
}

fn check(args: &ResponseArgs) -> Result<(), Error> {
    if args.photos.len() < LEAST_PHOTOS {
        return Err(Error::usage(
            format!("{} photos, need {LEAST_PHOTOS} or more of different exposure", args.photos.len()),
            "keep the camera still and halve and double the exposure time from photo to photo",
        ));
    }
    if !args.exposure_s.is_empty() && args.exposure_s.len() != args.photos.len() {
        return Err(Error::usage(
            format!("{} times in --exposure-s for {} photos", args.exposure_s.len(), args.photos.len()),
            "give one time for each photo, in the same order, with commas between",
        ));
    }
    if let Some(time) = args.exposure_s.iter().find(|time| !(1e-6..=3600.0).contains(*time)) {
        return Err(Error::usage(
            format!("--exposure-s {time}: need 0.000001 to 3600"),
            "give seconds: 0.01 for 1/100 s",
        ));
    }
    let out = plan::resolved(&args.out);
    if args.photos.iter().any(|photo| plan::resolved(photo) == out) {
        return Err(Error::usage(
            format!("--out {} would overwrite another file of this command", args.out.display()),
            "give it a name of its own",
        ));
    }
    Ok(())
}

/// Exposure time times ISO over f-number squared; what every photo of a camera leaves out is taken as fixed.
fn exif_exposure(photo: &Photo) -> Result<f64, Error> {
    let shot = &photo.shot;
    let seconds = shot.exposure_s.ok_or_else(|| {
        Error::file(
            photo.file.as_str(),
            "holds no exposure time (EXIF)",
            "use the files as the camera wrote them, or give --exposure-s",
        )
    })?;
    Ok(seconds * shot.iso.map_or(1.0, f64::from) / shot.f_number.unwrap_or(1.0).powi(2))
}

/// The text, and whether there is nothing to complain of.
fn summary(found: &FittedResponse, args: &ResponseArgs) -> (String, bool) {
    let percent = |share: f64| 100.0 * share;
    let mut text = format!(
        "{}: response from {} photos, codes {:.0} to {:.0}, usual residual {:.1} % of light\n",
        args.out.display(),
        args.photos.len(),
        found.span.0,
        found.span.1,
        percent(found.spread)
    );
    let is_clean = found.unfit_share <= UNFIT_SHARE && found.spread <= LARGE_SPREAD;
    if !is_clean {
        let _ = writeln!(
            text,
            "{:.0} % of the places do not fit the others: did something move, did the light change, or does the camera treat \
             parts of the picture differently (HDR)?",
            percent(found.unfit_share)
        );
    }
    (text, is_clean)
}

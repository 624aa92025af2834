//! The marks of a bay in a photo of its empty wall: which still stand where the bay file says.
//!
//! **How**: marks are found and the wall is fitted as for a measurement; that fit seeks a mark that moved by data snooping
//! (`wall/check.rs`). Here each mark's residual on the wall is also held against what it allows: the root of the chi-square
//! limit of the fit times the root sum of squares of what the file and the photo leave open at that mark, per axis.

use super::exit::ExitStatus;
use super::plan;
use crate::bay::{Bay, MarkKind};
use crate::camera::{Lens, LensProfile};
use crate::error::{Error, Refusal};
use crate::flag::FlagCode;
use crate::marks::{self, FindOptions, Marks};
use crate::photo::{DecodeOptions, Photo, decode};
use crate::wall::{self, CameraFacts, FitOptions, WallView};
use std::fmt::Write as _;
use std::path::Path;

/// Checks the marks; the text says each one's residual.
pub(super) fn check_photo(bay: &Bay, path: &Path, lens: Option<&Path>) -> Result<(String, ExitStatus), Error> {
    let name = path.display().to_string();
    let bytes = std::fs::read(path)
        .map_err(|error| Error::file(&name, format!("cannot be read: {error}"), "check the path and its rights"))?;
    let photo = decode(&bytes, &name, &DecodeOptions::default())?;
    let camera = CameraFacts {
        width: photo.width(),
        height: photo.height(),
        focal_35mm: photo.shot.focal_35mm,
        lens: lens.map(|lens| upright_lens(lens, &photo)).transpose()?,
    };
    let found = marks::find(&photo, &bay.marks, &[], &FindOptions::default());
    let options = FitOptions::default();
    Ok(match wall::fit(&found, bay, &camera, &options) {
        Ok(view) => words(bay, &found, &view, &options),
        Err(refusal) => refused(&refusal),
    })
}

fn upright_lens(path: &Path, photo: &Photo) -> Result<Lens, Error> {
    let lens = plan::read_parsed(path, LensProfile::parse)?;
    let (width, height) = (photo.stored_width as u32, photo.stored_height as u32);
    let name = path.display().to_string();
    Ok(lens.for_picture(width, height, photo.shot.focal_35mm, &name)?.upright(photo.orientation))
}

/// Marks that disagree are a finding about the bay; too few marks are a photo that cannot be used.
fn refused(refusal: &Refusal) -> (String, ExitStatus) {
    let is_finding = refusal.code == FlagCode::BayMismatch;
    let head =
        if is_finding { "MOVED: the marks do not stand where the bay file says" } else { "the photo cannot be used" };
    let text = format!("marks\n  {head}\n  {}\n  hint: {}\n", refusal.found, refusal.hint);
    (text, if is_finding { ExitStatus::Finding } else { ExitStatus::Refused })
}

fn words(bay: &Bay, found: &Marks, view: &WallView, options: &FitOptions) -> (String, ExitStatus) {
    let mut text = String::from("marks      residual and what it allows, mm\n");
    let mut moved = 0;
    for residual in &view.residuals {
        let Some(mark) = bay.marks.get(residual.index) else { continue };
        let spread = view.spread(mark.centre);
        let open = spread.image + spread.lens;
        let marks_mm = bay.uncertainty.marks_mm;
        let allowed = (options.alarm_chi2 * (0.5 * open.trace() + marks_mm * marks_mm)).sqrt() * view.noise_factor;
        let displaced = view.displaced.as_ref().filter(|displaced| displaced.index == residual.index);
        let is_moved = displaced.is_some() || residual.mm > allowed;
        moved += usize::from(is_moved);
        let kind = if mark.kind == MarkKind::Tag36h11 { "tag36h11" } else { "quadrant" };
        // Writing to a String cannot fail.
        let _ = writeln!(
            text,
            "  {kind} {:>3}  {:>6.1} of {allowed:.1}{}",
            residual.id,
            residual.mm,
            if is_moved { "  MOVED" } else { "" }
        );
        if let Some(displaced) = displaced {
            let _ = writeln!(text, "    {}", displaced.text);
        }
    }
    for missing in &found.missing {
        let _ = writeln!(text, "  id {} was not found in the photo: it was not checked", missing.id);
    }
    if !view.is_checked {
        text += "  there are no spare marks: a moved mark may go unnoticed; add a fifth\n";
    }
    let _ = match moved {
        0 => writeln!(text, "  no mark moved; all together {:.1} mm, {:.2} px", view.rms_mm, view.rms_px),
        _ => writeln!(text, "  {moved} moved: survey the marks again before the bay is used"),
    };
    (text, if moved == 0 { ExitStatus::Good } else { ExitStatus::Finding })
}

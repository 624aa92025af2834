//! A calibrated lens as a lens file (schema `lampwright/lens/1`): the nine numbers and how they came about.
//!
//! **Takes** a [`Calibrated`] lens and what is known of its photos. **Gives** TOML that [`Lens::parse`](super::Lens::parse)
//! reads.

use super::fit::{Calibrated, NAMES};
use super::profile::{LENS_MODEL, LENS_SCHEMA};
use std::fmt::Write as _;

/// What the file says of its making beside the numbers.
#[derive(Debug, Clone, Copy, Default)]
pub struct Origin<'a> {
    /// Date of the calibration, `2026-03-14`.
    pub date: Option<&'a str>,
    /// Focal length of the photos as a 35 mm equivalent (EXIF), mm.
    pub focal_35mm: Option<f64>,
}

/// The file's text.
pub fn lens_file(found: &Calibrated, origin: &Origin<'_>) -> String {
    let lens = &found.lens;
    let values = [lens.fx, lens.fy, lens.cx, lens.cy, lens.k1, lens.k2, lens.p1, lens.p2, lens.k3];
    let (width, height) = (lens.width, lens.height);
    let mut text = format!(
        "# Written by `lampwright lens`. For pictures of {width} x {height} pixels as stored, of this camera, lens and zoom alone.\n\
         schema = \"{LENS_SCHEMA}\"\nmodel  = \"{LENS_MODEL}\"\nwidth  = {width}\nheight = {height}\n"
    );
    for (name, value) in NAMES.iter().zip(values) {
        let digits = if name.starts_with(['f', 'c']) { 4 } else { 8 };
        let _ = write!(text, "{name} = {value:.digits$}");
        text.push_str(if *name == "cx" { "   # pixel centres at n + 0.5\n" } else { "\n" });
    }
    text.push_str("\n[calibration]\n");
    if let Some(date) = origin.date {
        let _ = writeln!(text, "date   = \"{date}\"");
    }
    let _ = writeln!(text, "photos = {}", found.poses.len());
    let _ = writeln!(text, "model  = \"{}\"", found.model.as_str());
    let _ = writeln!(text, "rms_px = {:.4}", found.rms_px);
    if let Some(focal) = origin.focal_35mm {
        let _ = writeln!(text, "focal_35mm = {focal:?}");
    }
    text.push_str("\n[calibration.sigma]          # standard uncertainties (k = 1); 0 was not fitted\n");
    for (name, sigma) in NAMES.iter().zip(found.sigmas) {
        let digits = if name.starts_with(['f', 'c']) { 4 } else { 8 };
        let _ = writeln!(text, "{name} = {sigma:.digits$}");
    }
    text
}

//! The lens file (TOML, schema `lampwright/lens/1`) and its match to a photo.
//!
//! **Takes** the file's text, then the photo's stored size. **Gives** a [`Lens`] for that picture.
//! **Fails when** the text is no TOML, names an unknown field, holds an impossible number, folds the picture over, or
//! belongs to a picture of another shape or another zoom.

use crate::camera::lens::{Lens, Ray};
use crate::error::{Error, check_finite};
use crate::units::PxPoint;
use serde::Deserialize;
use std::collections::BTreeMap;
use std::ops::RangeInclusive;

/// The schema line that a lens file must carry.
pub const LENS_SCHEMA: &str = "lampwright/lens/1";
/// The only lens model that is read.
pub const LENS_MODEL: &str = "opencv5";
/// Longest picture side that a lens file may name, pixels: the decoder's limit.
const LONGEST_SIDE: u32 = 16_384;
/// Focal lengths between these multiples of the longer side are possible: 0.2 is a 136° wide lens, 20 a 2.9° one.
const FOCAL_TO_SIDE: std::ops::RangeInclusive<f64> = 0.2..=20.0;
/// fx and fy of one camera agree within this ratio; square pixels are universal in phones and cameras (common practice,
/// no source), and a larger ratio means mistyped numbers.
const FOCAL_RATIO: f64 = 1.05;
/// The principal point lies within this part of the picture's size around the middle.
const CENTRE_SHARE: f64 = 0.25;
/// Largest magnitude of a coefficient; beyond it the file is mistyped.
const COEFFICIENT_LIMIT: f64 = 20.0;
/// A resized picture has the lens file's shape when its height is this close to the scaled one, pixels (rounding).
const SHAPE_TOLERANCE_PX: f64 = 1.0;
/// Diagonal of the 35 mm film frame (36 mm x 24 mm), mm.
pub const FILM_DIAGONAL_MM: f64 = 43.266_615_305_567_87;
/// The lens file's focal length and the photo's EXIF must agree within this share; EXIF gives the nominal lens, rounded
/// to whole millimetres, so a few percent are usual, while a zoom or another camera of the same phone differs by more.
const FOCAL_TOLERANCE: f64 = 0.15;
/// Two photos' EXIF focal lengths agree within this share, which is what rounding to whole millimetres may do to a 13 mm lens;
/// a digital zoom of a tenth does not pass.
const STATED_TOLERANCE: f64 = 0.04;
/// Least slope of the distortion polynomial inside the picture; below it the picture folds over.
const LEAST_SLOPE: f64 = 0.05;
/// Places along each border of the picture where the fold is looked for.
const FOLD_STEPS: u32 = 16;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawLens {
    schema: String,
    model: String,
    width: u32,
    height: u32,
    fx: f64,
    fy: f64,
    cx: f64,
    cy: f64,
    k1: f64,
    k2: f64,
    p1: f64,
    p2: f64,
    k3: f64,
    /// What a calibration wrote beside them.
    #[serde(default)]
    calibration: Option<RawCalibration>,
}

/// Focal lengths that EXIF can state, 35 mm equivalent, mm (from memory: no lens is outside).
pub(super) const STATED_FOCAL_MM: RangeInclusive<f64> = 0.5..=3000.0;

/// How the numbers came about, for those who read the file, and the focal length that the photos' EXIF stated.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawCalibration {
    #[serde(default)]
    #[expect(dead_code, reason = "read so that a slip of the pen in it is noticed")]
    date: Option<String>,
    #[expect(dead_code, reason = "likewise")]
    photos: u32,
    #[expect(dead_code, reason = "likewise")]
    model: String,
    rms_px: f64,
    #[serde(default)]
    focal_35mm: Option<f64>,
    #[serde(default)]
    sigma: BTreeMap<String, f64>,
}

impl RawCalibration {
    /// Its numbers are numbers; a focal length that is none would fit any photo.
    fn check(&self, path: &str) -> Result<(), Error> {
        let fail = |found: String| Err(Error::file(path, found, "write the file again with `lampwright lens`"));
        if let Some(focal) = self.focal_35mm.filter(|focal| !STATED_FOCAL_MM.contains(focal)) {
            let (from, to) = (STATED_FOCAL_MM.start(), STATED_FOCAL_MM.end());
            return fail(format!("[calibration] focal_35mm = {focal}, need {from} to {to} mm"));
        }
        let sigmas = self.sigma.iter().map(|(name, value)| (name.as_str(), *value));
        match sigmas.chain([("rms_px", self.rms_px)]).find(|(_, value)| !(value.is_finite() && *value >= 0.0)) {
            Some((name, value)) => fail(format!("[calibration] {name} = {value}, need 0 or more")),
            None => Ok(()),
        }
    }
}

/// Focal length in pixels from a 35 mm equivalent, by the diagonal of the frame (CIPA DCG-001 defines the equivalent by
/// the diagonal angle of view; from memory).
pub fn focal_px(focal_35mm: f64, width: f64, height: f64) -> f64 {
    focal_35mm * width.hypot(height) / FILM_DIAGONAL_MM
}

fn parsed(text: &str, path: &str) -> Result<(Lens, Option<f64>), Error> {
    check_finite(text, path)?;
    let raw: RawLens = toml::from_str(text).map_err(|error| {
        Error::file(path, format!("not a lens file: {error}"), "a lens file holds schema, model, size and nine numbers")
    })?;
    let fail = |found: String, hint: &str| Err(Error::file(path, found, hint));
    if raw.schema != LENS_SCHEMA {
        let found = format!("schema is \"{}\", need \"{LENS_SCHEMA}\"", raw.schema);
        return fail(found, "is this a lens file of this program?");
    }
    if raw.model != LENS_MODEL {
        let found = format!("model is \"{}\", need \"{LENS_MODEL}\"", raw.model);
        return fail(found, "calibrate with the five-coefficient pinhole model (k1 k2 p1 p2 k3)");
    }
    if raw.width == 0 || raw.height == 0 || raw.width > LONGEST_SIDE || raw.height > LONGEST_SIDE {
        let found = format!("the picture is {} x {} px, need 1 to {LONGEST_SIDE} px a side", raw.width, raw.height);
        return fail(found, "give the size of the picture as stored");
    }
    let lens = Lens {
        width: raw.width,
        height: raw.height,
        fx: raw.fx,
        fy: raw.fy,
        cx: raw.cx,
        cy: raw.cy,
        k1: raw.k1,
        k2: raw.k2,
        p1: raw.p1,
        p2: raw.p2,
        k3: raw.k3,
    };
    lens.check_numbers(path)?;
    lens.check_fold(path)?;
    raw.calibration.as_ref().map_or(Ok(()), |calibration| calibration.check(path))?;
    Ok((lens, raw.calibration.and_then(|calibration| calibration.focal_35mm)))
}

/// A lens file: the lens and what its photos stated. A file is matched to a photo by picture size and focal length alone; its
/// name means nothing.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LensProfile {
    /// The lens.
    pub lens: Lens,
    /// Focal length of the calibration's photos as their EXIF stated it (35 mm equivalent, mm), when the file tells.
    pub focal_35mm: Option<f64>,
}

impl LensProfile {
    /// Reads a lens file's text; `path` names it in messages.
    pub fn parse(text: &str, path: &str) -> Result<Self, Error> {
        let (lens, focal_35mm) = parsed(text, path)?;
        Ok(Self { lens, focal_35mm })
    }

    /// The lens for a photo, as [`Lens::for_picture`]; where both files state a focal length, they must agree too.
    pub fn for_picture(&self, width: u32, height: u32, focal_35mm: Option<f64>, path: &str) -> Result<Lens, Error> {
        let lens = self.lens.for_picture(width, height, focal_35mm, path)?;
        match self.focal_35mm.zip(focal_35mm) {
            Some((own, other)) if (own / other - 1.0).abs() > STATED_TOLERANCE => Err(Error::file(
                path,
                format!(
                    "the lens was calibrated with photos at {own} mm (35 mm equivalent), this one was taken at {other} mm"
                ),
                "use the lens file of this lens and zoom, or leave the lens file out",
            )),
            _ => Ok(lens),
        }
    }
}

impl Lens {
    /// Reads a lens file's text; `path` names it in messages.
    pub fn parse(text: &str, path: &str) -> Result<Self, Error> {
        Ok(LensProfile::parse(text, path)?.lens)
    }

    /// The lens for a photo stored as `width` x `height`: itself when the size agrees, scaled when the photo is the
    /// same picture resized. Refuses another shape, and another zoom when EXIF gives `focal_35mm`.
    pub fn for_picture(&self, width: u32, height: u32, focal_35mm: Option<f64>, path: &str) -> Result<Self, Error> {
        let scale = f64::from(width) / f64::from(self.width);
        let is_same_shape = (f64::from(self.height) * scale - f64::from(height)).abs() <= SHAPE_TOLERANCE_PX;
        let found =
            format!("the lens belongs to {} x {} px, the photo is {width} x {height} px", self.width, self.height);
        if !is_same_shape {
            let is_turned = f64::from(self.width) * f64::from(width) < f64::from(self.height) * f64::from(height)
                || (width < height) != (self.width < self.height);
            let hint = if is_turned {
                "the photo's pixels were turned after the shot; use the file as the camera wrote it"
            } else {
                "use the lens file of this camera and this picture size; a cropped photo cannot use it"
            };
            return Err(Error::file(path, found, hint));
        }
        let lens = Self {
            width,
            height,
            fx: self.fx * scale,
            fy: self.fy * scale,
            cx: self.cx * scale,
            cy: self.cy * scale,
            ..*self
        };
        if let Some(nominal) = focal_35mm {
            let expected = focal_px(nominal, f64::from(width), f64::from(height));
            if (lens.fx / expected - 1.0).abs() > FOCAL_TOLERANCE {
                let own = lens.fx / focal_px(1.0, f64::from(width), f64::from(height));
                let found =
                    format!("the lens is a {own:.0} mm one (35 mm equivalent), the photo was taken at {nominal:.0} mm");
                return Err(Error::file(
                    path,
                    found,
                    "use the lens file of this lens and zoom, or leave the lens file out",
                ));
            }
        }
        Ok(lens)
    }

    fn check_numbers(&self, path: &str) -> Result<(), Error> {
        let fail = |found: String, hint: &str| Err(Error::file(path, found, hint));
        let (width, height) = (f64::from(self.width), f64::from(self.height));
        let focal = FOCAL_TO_SIDE.start() * width.max(height)..=FOCAL_TO_SIDE.end() * width.max(height);
        if !(focal.contains(&self.fx) && focal.contains(&self.fy)) {
            let found =
                format!("fx = {}, fy = {}, need {:.0} to {:.0} px", self.fx, self.fy, focal.start(), focal.end());
            return fail(found, "give focal lengths in pixels of this picture size");
        }
        if self.fx.max(self.fy) / self.fx.min(self.fy) > FOCAL_RATIO {
            let found = format!("fx = {} and fy = {} differ by more than 5 %", self.fx, self.fy);
            return fail(found, "compare them with the calibration");
        }
        if !((self.cx / width - 0.5).abs() <= CENTRE_SHARE && (self.cy / height - 0.5).abs() <= CENTRE_SHARE) {
            let found = format!("cx = {}, cy = {} is far from the middle of the picture", self.cx, self.cy);
            return fail(found, "give the principal point in pixels; pixel centres at n + 0.5");
        }
        for (name, value) in [("k1", self.k1), ("k2", self.k2), ("p1", self.p1), ("p2", self.p2), ("k3", self.k3)] {
            let is_possible = value.abs() <= COEFFICIENT_LIMIT;
            if !is_possible {
                let found = format!("{name} = {value}, need within ±{COEFFICIENT_LIMIT}");
                return fail(found, "coefficients have no unit; the order in OpenCV is k1 k2 p1 p2 k3");
            }
        }
        Ok(())
    }

    /// Every place on the picture's border must belong to one ray, with the picture growing outwards up to there.
    fn check_fold(&self, path: &str) -> Result<(), Error> {
        let (width, height) = (f64::from(self.width), f64::from(self.height));
        for step in 0..=FOLD_STEPS {
            let share = f64::from(step) / f64::from(FOLD_STEPS);
            let border =
                [(share * width, 0.0), (share * width, height), (0.0, share * height), (width, share * height)];
            for (x, y) in border {
                let place = PxPoint::new(x, y);
                let ray = self.undistort(place);
                let is_one_to_one = (1..=FOLD_STEPS).all(|part| {
                    let inner: Ray = ray * (f64::from(part) / f64::from(FOLD_STEPS));
                    self.jacobian(inner).determinant() > LEAST_SLOPE * self.fx * self.fy
                });
                if !(self.distort(ray).distance(place) < SHAPE_TOLERANCE_PX && is_one_to_one) {
                    let found = format!("the coefficients fold the picture over near ({x:.0}, {y:.0})");
                    let hint = "calibrate with targets out to the picture's corners, or with fewer coefficients";
                    return Err(Error::file(path, found, hint));
                }
            }
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const GOOD: &str = r#"
schema = "lampwright/lens/1"
model = "opencv5"
width = 4000
height = 3000
fx = 3030.0
fy = 3030.0
cx = 2000.0
cy = 1500.0
k1 = 0.02
k2 = -0.01
p1 = 0.0
p2 = 0.0
k3 = 0.0
"#;

    fn message(text: &str) -> String {
        Lens::parse(text, "a.lens.toml").expect_err("must be refused").to_string()
    }

    #[test]
    fn a_good_file_is_read() {
        let lens = Lens::parse(GOOD, "a.lens.toml").expect("good");
        assert_eq!((lens.width, lens.height), (4000, 3000));
        assert!((lens.k1 - 0.02).abs() < 1e-15 && (lens.fx - 3030.0).abs() < 1e-15);
    }

    #[test]
    fn each_fault_is_named() {
        let cases = [
            (GOOD.replace("lens/1", "lens/2"), "lens/2"),
            (GOOD.replace("opencv5", "fisheye"), "fisheye"),
            (GOOD.replace("k3 = 0.0", "k4 = 0.0"), "k4"),
            (GOOD.replace("k3 = 0.0", ""), "k3"),
            (GOOD.replace("fx = 3030.0", "fx = 3.03"), "fx"),
            (GOOD.replace("fx = 3030.0", "fx = nan"), "fx"),
            (GOOD.replace("fy = 3030.0", "fy = 2030.0"), "differ"),
            (GOOD.replace("cx = 2000.0", "cx = 200.0"), "middle"),
            (GOOD.replace("p1 = 0.0", "p1 = 55.0"), "p1"),
            (GOOD.replace("k1 = 0.02", "k1 = -1.5"), "fold"),
            (GOOD.replace("width = 4000", "width = 0"), "0 x 3000"),
        ];
        for (text, word) in cases {
            let message = message(&text);
            assert!(message.contains(word) && message.contains("hint:"), "{message}");
        }
    }

    /// Hand-worked: half the size halves focal length and principal point and leaves the coefficients.
    #[test]
    fn a_resized_picture_scales_the_lens() {
        let lens = Lens::parse(GOOD, "a").expect("good");
        let half = lens.for_picture(2000, 1500, None, "a").expect("same shape");
        assert!((half.fx - 1515.0).abs() < 1e-9 && (half.cx - 1000.0).abs() < 1e-9 && (half.k1 - 0.02).abs() < 1e-15);
        assert_eq!(lens.for_picture(4000, 3000, None, "a").expect("same"), lens);
    }

    #[test]
    fn another_shape_or_zoom_is_refused() {
        let lens = Lens::parse(GOOD, "a").expect("good");
        let cropped = lens.for_picture(4000, 2250, None, "a").expect_err("another shape").to_string();
        assert!(cropped.contains("4000 x 2250") && cropped.contains("cropped"), "{cropped}");
        let turned = lens.for_picture(3000, 4000, None, "a").expect_err("turned").to_string();
        assert!(turned.contains("turned"), "{turned}");
        // 3030 px of a 5000 px diagonal is a 26.2 mm equivalent: 26 mm agrees, 52 mm (a two times zoom) does not.
        assert!(lens.for_picture(4000, 3000, Some(26.0), "a").is_ok());
        let zoomed = lens.for_picture(4000, 3000, Some(52.0), "a").expect_err("zoomed").to_string();
        assert!(zoomed.contains("52 mm"), "{zoomed}");
    }

    /// A digital zoom of a tenth passes by the focal length in pixels, not by what both files state.
    #[test]
    fn stated_focal_lengths_must_agree() {
        let text = format!("{GOOD}[calibration]\nphotos = 9\nmodel = \"k1k2\"\nrms_px = 0.1\nfocal_35mm = 26.0\n");
        let profile = LensProfile::parse(&text, "a").expect("good");
        assert_eq!(profile.for_picture(4000, 3000, Some(26.4), "a").expect("rounding"), profile.lens);
        assert!(profile.for_picture(4000, 3000, None, "a").is_ok());
        let zoomed = profile.for_picture(4000, 3000, Some(28.6), "a").expect_err("zoomed").to_string();
        assert!(zoomed.contains("26 mm") && zoomed.contains("28.6 mm"), "{zoomed}");
    }
}

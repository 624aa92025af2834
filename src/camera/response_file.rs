//! The response file (TOML, schema `lampwright/response/1`): light of each code, written and read.
//!
//! **Fails when** the text is no TOML, names an unknown field, or its table is not one of 256 values that never fall, up to 1.

use super::profile::STATED_FOCAL_MM;
use super::response::{CODES, Response};
use crate::error::{Error, check_finite};
use serde::{Deserialize, Serialize};
use std::fmt::Write as _;

/// The schema line that a response file must carry.
pub const RESPONSE_SCHEMA: &str = "lampwright/response/1";
/// The table's last value is 1 to this much.
const ROUNDING: f64 = 1e-6;
/// Largest uncertainty of a logarithm that still says something.
const LARGEST_SIGMA: f64 = 10.0;
/// Focal lengths agree within this share (EXIF rounds to whole millimetres).
const FOCAL_TOLERANCE: f64 = 0.05;
/// Values in a line of the table.
const PER_LINE: usize = 8;

/// A response and the camera that it belongs to.
#[derive(Debug, Clone, PartialEq)]
pub struct ResponseProfile {
    /// Width of its photos as stored, pixels.
    pub width: u32,
    /// Height of its photos as stored, pixels.
    pub height: u32,
    /// Focal length of its photos as a 35 mm equivalent, mm, when EXIF gave one.
    pub focal_35mm: Option<f64>,
    /// Date of the calibration, when stated.
    pub date: Option<String>,
    /// Photos that it rests on.
    pub photos: u32,
    /// The table.
    pub response: Response,
}

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Raw {
    schema: String,
    width: u32,
    height: u32,
    #[serde(default)]
    focal_35mm: Option<f64>,
    #[serde(default)]
    date: Option<String>,
    photos: u32,
    light: Vec<f64>,
    sigma_ln: Vec<f64>,
}

impl ResponseProfile {
    /// Reads a response file's text; `path` names it in messages.
    pub fn parse(text: &str, path: &str) -> Result<Self, Error> {
        let hint = "write it with `lampwright response`";
        check_finite(text, path)?;
        let raw: Raw =
            toml::from_str(text).map_err(|error| Error::file(path, format!("not a response file: {error}"), hint))?;
        let fail = |found: String| Err(Error::file(path, found, hint));
        if raw.schema != RESPONSE_SCHEMA {
            return fail(format!("schema is \"{}\", need \"{RESPONSE_SCHEMA}\"", raw.schema));
        }
        if let Some(focal) = raw.focal_35mm.filter(|focal| !STATED_FOCAL_MM.contains(focal)) {
            let (from, to) = (STATED_FOCAL_MM.start(), STATED_FOCAL_MM.end());
            return fail(format!("focal_35mm = {focal}, need {from} to {to} mm"));
        }
        let counts = (raw.light.len(), raw.sigma_ln.len());
        let (Ok(light), Ok(sigma_ln)) = (<[f64; CODES]>::try_from(raw.light), <[f64; CODES]>::try_from(raw.sigma_ln))
        else {
            return fail(format!("light has {} values and sigma_ln {}, need {CODES} each", counts.0, counts.1));
        };
        if let Some(code) =
            (1..CODES).find(|code| light[*code].total_cmp(&light[code - 1]).is_lt() || light[*code].is_nan())
        {
            return fail(format!("light falls from {} to {} at code {code}", light[code - 1], light[code]));
        }
        if !(light[0] >= 0.0 && (light[CODES - 1] - 1.0).abs() <= ROUNDING) {
            return fail(format!("light runs from {} to {}, need 0 or more up to 1", light[0], light[CODES - 1]));
        }
        if let Some(sigma) = sigma_ln.iter().find(|sigma| !(0.0..=LARGEST_SIGMA).contains(*sigma)) {
            return fail(format!("sigma_ln holds {sigma}, need 0 to {LARGEST_SIGMA}"));
        }
        Ok(Self {
            width: raw.width,
            height: raw.height,
            focal_35mm: raw.focal_35mm,
            date: raw.date,
            photos: raw.photos,
            response: Response { light, sigma_ln },
        })
    }

    /// The file's text.
    pub fn to_toml(&self) -> String {
        let mut text = format!(
            "# Written by `lampwright response`: light of each code of this camera's photos, 1 at code 255.\nschema = \
             \"{RESPONSE_SCHEMA}\"\nwidth  = {}     # pixels as stored\nheight = {}\n",
            self.width, self.height
        );
        if let Some(focal) = self.focal_35mm {
            let _ = writeln!(text, "focal_35mm = {focal:?}");
        }
        if let Some(date) = &self.date {
            let _ = writeln!(text, "date   = \"{date}\"");
        }
        let _ = writeln!(text, "photos = {}", self.photos);
        let mut table = |name: &str, values: &[f64]| {
            let _ = writeln!(text, "{name} = [");
            for line in values.chunks(PER_LINE) {
                let line: Vec<String> = line.iter().map(|value| format!("{value:.7}")).collect();
                let _ = writeln!(text, "  {},", line.join(", "));
            }
            text.push_str("]\n");
        };
        table("light", &self.response.light);
        table("sigma_ln", &self.response.sigma_ln);
        text
    }

    /// Why a photo of this stored size and focal length may be another camera's or lens's; `None` when it fits.
    pub fn mismatch(&self, width: u32, height: u32, focal_35mm: Option<f64>) -> Option<String> {
        if (width, height) != (self.width, self.height) {
            return Some(format!(
                "the response file is of {} x {} px photos, this one has {width} x {height} px",
                self.width, self.height
            ));
        }
        let (own, other) = (self.focal_35mm?, focal_35mm?);
        ((own / other - 1.0).abs() > FOCAL_TOLERANCE).then(|| {
            format!(
                "the response file is of a {own:.0} mm lens (35 mm equivalent), this photo was taken at {other:.0} mm"
            )
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn profile() -> ResponseProfile {
        let mut response = Response { light: [0.0; CODES], sigma_ln: [0.02; CODES] };
        for (code, light) in response.light.iter_mut().enumerate() {
            *light = (code as f64 / 255.0).powi(2);
        }
        let (focal_35mm, date) = (Some(26.0), Some("2026-03-14".to_owned()));
        ResponseProfile { width: 4000, height: 3000, focal_35mm, date, photos: 5, response }
    }

    #[test]
    fn what_is_written_is_read() {
        let back = ResponseProfile::parse(&profile().to_toml(), "a").unwrap();
        let gap = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(a, b)| (a - b).abs()).fold(0.0, f64::max);
        assert!(gap(&back.response.light, &profile().response.light) < 1e-7);
        assert_eq!(ResponseProfile { response: profile().response, ..back }, profile());
    }

    #[test]
    fn each_fault_is_named() {
        let text = profile().to_toml();
        let cases = [
            (text.replace("response/1", "response/2"), "response/2"),
            (text.replace("photos =", "shots ="), "shots"),
            (text.replace("0.0000154, ", ""), "255"),
            (text.replace("0.0000154", "0.5"), "falls"),
            (text.replace("0.0000154", "nan"), "need a finite number"),
            (text.replacen("0.0200000", "-1.0", 1), "sigma_ln"),
        ];
        for (text, word) in cases {
            let message = ResponseProfile::parse(&text, "a").unwrap_err().to_string();
            assert!(message.contains(word) && message.contains("hint:"), "{word}: {message}");
        }
    }

    #[test]
    fn another_size_or_lens_is_told() {
        let profile = profile();
        assert_eq!(profile.mismatch(4000, 3000, Some(26.4)), None);
        assert_eq!(profile.mismatch(4000, 3000, None), None);
        assert!(profile.mismatch(4000, 3000, Some(52.0)).unwrap().contains("52 mm"));
        assert!(profile.mismatch(2000, 1500, Some(26.0)).unwrap().contains("2000 x 1500"));
    }
}

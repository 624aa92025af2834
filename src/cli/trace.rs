//! `--trace DIR`: watches the driver's stages and makes one picture of each, and `trace.json` with times and numbers.
//!
//! Times are those of the stages alone: drawing stands between them and is not counted. They differ from run to run;
//! everything else is the same for the same photo and arguments.

use crate::bay::Bay;
use crate::beam::{BeamFeatures, BeamSeen};
use crate::draw::stages;
use crate::draw::{PictureFormat, encode};
use crate::error::Error;
use crate::grid::AngleGrid;
use crate::marks::{Fate, Marks, Tried, TriedKind};
use crate::measurement::{Measurement, Observer, StageView};
use crate::wall::WallView;
use image::RgbImage;
use serde_json::{Map, Value, json};
use std::collections::BTreeMap;
use std::time::Instant;

/// Name and version of `trace.json`.
const SCHEMA: &str = "lampwright/trace/1";
/// Milliseconds of a second.
const MS: f64 = 1000.0;

/// Watches one measurement.
#[derive(Debug)]
pub struct Trace<'a> {
    bay: &'a Bay,
    since: Instant,
    times: Vec<Value>,
    numbers: Map<String, Value>,
    pictures: BTreeMap<&'static str, RgbImage>,
}

impl<'a> Trace<'a> {
    /// Starts the clock.
    pub fn new(bay: &'a Bay) -> Self {
        Self { bay, since: Instant::now(), times: Vec::new(), numbers: Map::new(), pictures: BTreeMap::new() }
    }

    /// The files of a finished run, name and bytes.
    pub fn into_files(self, measurement: &Measurement) -> Result<Vec<(String, Vec<u8>)>, Error> {
        let refusal = measurement.outcome.as_ref().err();
        let pictures: Vec<String> = self.pictures.keys().map(|name| format!("{name}.png")).collect();
        let whole = json!({
            "schema": SCHEMA,
            "refused": refusal.map(|refusal| json!({"code": refusal.code.as_str(), "found": refusal.found, "hint": refusal.hint})),
            "stages": self.times,
            "pictures": pictures,
            "numbers": self.numbers,
        });
        let text = serde_json::to_string_pretty(&whole).map_err(|error| {
            Error::usage(format!("the trace cannot be written as JSON: {error}"), "please report this as a defect")
        })?;
        let mut files = Vec::new();
        for (name, picture) in self.pictures {
            files.push((format!("{name}.png"), encode(&picture, PictureFormat::Png)?));
        }
        files.push(("trace.json".to_owned(), format!("{text}\n").into_bytes()));
        Ok(files)
    }
}

impl Observer for Trace<'_> {
    fn is_looking(&self) -> bool {
        true
    }

    fn stage(&mut self, name: &'static str, view: StageView<'_>) {
        self.times.push(json!({"stage": name, "ms": round(MS * self.since.elapsed().as_secs_f64())}));
        let numbers = match view {
            StageView::Decode { photo } => json!({"width": photo.width(), "height": photo.height()}),
            StageView::Marks { photo, marks, tried, is_elsewhere } => {
                self.pictures.insert("1-candidates", stages::candidates(photo, tried));
                // With a photo of their own the marks were already brought over to the photo of the beam.
                if !is_elsewhere {
                    self.pictures.insert("2-marks", stages::marks(photo, self.bay, marks, None));
                }
                of_marks(marks, tried)
            }
            StageView::Wall { photo, marks, view } => {
                self.pictures.insert("2-marks", stages::marks(photo, self.bay, marks, Some(view)));
                of_wall(view)
            }
            StageView::Grid { grid, tone } => {
                self.pictures.insert("3-grid", stages::grid(grid));
                of_grid(grid, (tone.strength, tone.sigma))
            }
            StageView::Beam { grid, seen, features } => {
                self.pictures.insert("4-edges", stages::edges(grid, seen));
                self.pictures.insert("5-fit", stages::fit(grid, seen, features));
                of_beam(seen, features)
            }
            StageView::Aim { verdict } => json!({"verdict": format!("{:?}", verdict.overall).to_lowercase()}),
        };
        self.numbers.insert(name.to_owned(), numbers);
        self.since = Instant::now();
    }
}

/// Six digits behind the point: under anything that is measured here, and short enough to read.
fn round(value: f64) -> Value {
    const STEPS: f64 = 1e6;
    let rounded = (STEPS * value).round() / STEPS;
    if rounded.is_finite() { json!(rounded) } else { Value::Null }
}

fn pair((a, b): (f64, f64)) -> Value {
    json!([round(a), round(b)])
}

fn of_marks(marks: &Marks, tried: &[Tried]) -> Value {
    let candidates: Vec<Value> = tried
        .iter()
        .map(|tried| {
            json!({
                "kind": match tried.kind { TriedKind::Tag => "tag", TriedKind::Quadrant => "quadrant" },
                "outline_px": tried.outline.iter().map(|p| pair((p.x, p.y))).collect::<Vec<_>>(),
                "fate": tried.fate.as_str(),
                "id": if let Fate::Kept(id) = tried.fate { Some(id) } else { None },
                "why": tried.why,
            })
        })
        .collect();
    let found: Vec<Value> = marks
        .found
        .iter()
        .map(|mark| {
            let (centre, sigma) = (pair((mark.centre.x, mark.centre.y)), round(mark.centre_sigma_px));
            json!({"id": mark.id, "centre_px": centre, "sigma_px": sigma, "by_hand": mark.is_by_hand})
        })
        .collect();
    let missing: Vec<Value> = marks
        .missing
        .iter()
        .map(|mark| json!({"id": mark.id, "expected_px": mark.expected.map(|p| pair((p.x, p.y)))}))
        .collect();
    json!({"found": found, "missing": missing, "blur_px": marks.blur_px.map(round), "candidates": candidates})
}

fn of_wall(view: &WallView) -> Value {
    let residuals: Vec<Value> = view
        .residuals
        .iter()
        .map(|r| json!({"id": r.id, "px": round(r.px), "mm": round(r.mm), "used": r.is_used}))
        .collect();
    json!({
        "rms_px": round(view.rms_px),
        "rms_mm": round(view.rms_mm),
        "noise_factor": round(view.noise_factor),
        "checked": view.is_checked,
        "residuals": residuals,
    })
}

fn of_grid(grid: &AngleGrid, (strength, sigma): (f64, f64)) -> Value {
    let valid = grid.is_valid.iter().filter(|is_valid| **is_valid).count();
    let axis = |axis: &crate::grid::Axis| json!({"first_deg": round(axis.first_deg), "step_deg": axis.step_deg, "count": axis.count});
    json!({
        "h": axis(&grid.h),
        "v": axis(&grid.v),
        "valid_share": round(valid as f64 / grid.is_valid.len().max(1) as f64),
        "tone_curve": {"strength": round(strength), "sigma": round(sigma)},
    })
}

fn of_beam(seen: &BeamSeen, features: Option<&BeamFeatures>) -> Value {
    let places = |places: &[(f64, f64)]| places.iter().map(|place| pair(*place)).collect::<Vec<_>>();
    let looked: Vec<Value> = seen
        .looked
        .iter()
        .map(|place| json!({"h_deg": round(place.h_deg), "v_deg": round(place.v_deg), "fall": round(place.fall)}))
        .collect();
    let hinge = seen.hinge.map(|hinge| {
        let cap = round(hinge.cap_deg);
        let (tilt, slope) = (round(hinge.tilt), round(hinge.slope));
        json!({"h_deg": round(hinge.h_deg), "v_deg": round(hinge.v_deg), "tilt": tilt, "slope": slope, "cap_deg": cap})
    });
    let shape = seen.shape.as_ref().map(|shape| {
        let flat = &shape.flat;
        json!({
            "flat": {
                "h0_deg": round(flat.h0_deg), "v0_deg": round(flat.v0_deg), "slope": round(flat.slope),
                "sigma_deg": round(flat.sigma_deg), "slope_sigma": round(flat.slope_sigma),
                "texture_sigma_deg": round(flat.texture_sigma_deg), "g": round(flat.g),
                "softness_deg": round(flat.softness_deg), "high": round(flat.high), "low": round(flat.low),
                "texture": round(flat.texture), "clipped": round(flat.clipped), "places_deg": places(&flat.places),
            },
            "rise": shape.rise.map(|line| json!({
                "h0_deg": round(line.h0_deg), "v0_deg": round(line.v0_deg), "slope": round(line.slope),
                "sigma_deg": round(line.sigma_deg), "slope_sigma": round(line.slope_sigma),
                "places_deg": places(&shape.rise_points),
            })),
            "elbow_deg": shape.elbow.map(pair),
            "elbow_sigma_deg": round(shape.elbow_sigma_deg),
        })
    });
    json!({
        "first_look": looked,
        "hinge": hinge,
        "room_light": seen.room.map(|room| json!({"level": round(room.base), "sigma": round(room.sigma)})),
        "rows_evened": seen.is_evened,
        "lines": shape,
        "flags": features.map(|features| features.flags.iter().map(|flag| flag.code.as_str()).collect::<Vec<_>>()),
    })
}

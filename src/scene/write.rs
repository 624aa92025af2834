//! The bay file and the truth of a scene, as text.
//!
//! **Takes** a [`SceneSpec`] and its light. **Gives** the bay TOML of the contract, and the truth JSON (schema
//! `lampwright/truth/1`): every angle in degrees in the vehicle's frame, pixels in the upright picture, centres at n + 0.5.

use super::geometry::Camera;
use super::light::{LUMA, Lights};
use super::sheets::true_place;
use super::smear::smeared_cd;
use super::spec::SceneSpec;
use super::truth::{self, CutoffPoint, STEP_DEG, cutoff_at};
use rayon::prelude::*;
use serde::Serialize;
use serde_json::{Value, json};
use std::f64::consts::PI;
use std::fmt::Write as _;

/// Schema of the truth.
pub const TRUTH_SCHEMA: &str = "lampwright/truth/1";
/// The cutoff is listed from here to here beyond the pattern's corner, to its flat side.
const LISTED_DEG: (f64, f64) = (0.4, 5.0);
/// Half width of the list for one level line.
const LISTED_FLAT_DEG: f64 = 5.0;
/// Every so many places the cutoff is also listed as lit.
const AS_LIT_EVERY: usize = 5;
/// How far from the cutoff its two sides are looked at.
const SIDE_DEG: f64 = 0.5;
/// Where the cutoff counts, from the corner to the flat side.
const SCAN_DEG: f64 = 2.5;

/// The bay file of the contract; mark places are the nominal ones.
pub(super) fn bay_toml(spec: &SceneSpec) -> String {
    let s = &spec.setup;
    let mut text = format!(
        "schema = \"lampwright/bay/1\"\nid     = \"{0}\"\nname   = \"Scene {0}\"\n\n[wall]\ndistance_mm = {1:.1}\n\
         yaw_deg     = {2:.3}\ntilt_deg    = {3:.3}\n\n[floor]\nslope_percent = {4:.3}\n",
        spec.name, s.distance_mm, s.wall_yaw_deg, s.wall_tilt_deg, s.slope_percent
    );
    // Writing to a String cannot fail.
    if s.cross_percent != 0.0 {
        let _ = writeln!(text, "cross_percent = {:.3}", s.cross_percent);
    }
    if s.rise_to_wall_mm != 0.0 {
        let _ = writeln!(text, "rise_to_wall_mm = {:.1}", s.rise_to_wall_mm);
    }
    let _ = writeln!(
        text,
        "\n[uncertainty]\nmarks_mm      = {:.1}\nheight_mm     = 0.0\noffset_mm     = 0.0\ndistance_mm   = 0.0\n\
         floor_percent = 0.0\nyaw_deg       = 0.0",
        s.marks_sigma_mm
    );
    for mark in &spec.marks {
        let id = if mark.kind == "quadrant" { String::new() } else { format!("id      = {}\n", mark.id) };
        let _ = writeln!(
            text,
            "\n[[marks]]\nkind    = \"{}\"\n{id}size_mm = {:.1}\nx_mm    = {:.2}\ny_mm    = {:.2}",
            mark.kind, mark.size_mm, mark.x_mm, mark.y_mm
        );
    }
    text
}

/// Arguments for the measuring program, photo and bay in the working folder.
fn args(spec: &SceneSpec) -> Vec<String> {
    let (name, s) = (&spec.name, &spec.setup);
    let mut list: Vec<String> = ["measure", &format!("{name}.jpg"), "--bay", &format!("{name}.bay.toml")]
        .iter()
        .map(ToString::to_string)
        .collect();
    let mut push = |flag: &str, value: String| list.extend([flag.to_string(), value]);
    push("--lamp", s.lamp.clone());
    push("--height-mm", format!("{:.0}", s.height_mm));
    push("--offset-mm", format!("{:.0}", s.offset_mm));
    push("--beam", spec.beam_name.clone());
    push("--pattern", spec.pattern.clone());
    push("--traffic", s.traffic.clone());
    if s.vehicle_yaw_deg != 0.0 {
        push("--vehicle-yaw-deg", format!("{:.2}", s.vehicle_yaw_deg));
    }
    if spec.pair.kind == "marks" || spec.pair.kind == "ambient" {
        push(&format!("--{}-photo", spec.pair.kind), format!("{name}.{}.jpg", spec.pair.kind));
    }
    list
}

#[derive(Serialize)]
struct Listed {
    h_deg: Vec<f64>,
    v_deg: Vec<f64>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    g: Vec<f64>,
}

fn rounded(value: f64) -> f64 {
    (value * 1e4).round() / 1e4
}

/// Side of the corner on which the cutoff is flat: -1 left, 1 right, 0 both.
fn flat_side(spec: &SceneSpec) -> f64 {
    match spec.pattern.as_str() {
        "kink" => {
            if spec.is_mirrored() {
                1.0
            } else {
                -1.0
            }
        }
        "left-cutoff" => -1.0,
        "right-cutoff" => 1.0,
        _ => 0.0,
    }
}

/// Where the cutoff is listed, from left to right.
fn listed_places(spec: &SceneSpec, side: f64) -> Vec<f64> {
    let (from, to) = if side == 0.0 {
        (-LISTED_FLAT_DEG, LISTED_FLAT_DEG)
    } else if side < 0.0 {
        (-LISTED_DEG.1, -LISTED_DEG.0)
    } else {
        (LISTED_DEG.0, LISTED_DEG.1)
    };
    let count = ((to - from) / STEP_DEG).round() as usize;
    (0..=count).map(|i| rounded(spec.beam.aim_h_deg + from + i as f64 * STEP_DEG)).collect()
}

/// The truth of a scene.
pub(super) fn truth_json(spec: &SceneSpec, lights: &Lights, camera: &Camera, gain: f64) -> String {
    let beam = lights.beam();
    let light = |h: f64, v: f64| lights.lamp_alone_cd(h, v);
    let side = flat_side(spec);
    let near = |h: f64| {
        let (ph, _) = beam.to_pattern(h, spec.beam.aim_v_deg);
        let slope = spec.beam.tilt_deg.to_radians().tan();
        spec.beam.aim_v_deg + beam.line_deg(ph) + slope * (h - spec.beam.aim_h_deg)
    };
    let is_known = spec.beam.is_lit && spec.expect == "measured";
    let has_cutoff = is_known && spec.pattern != "spot";
    let mut places = if has_cutoff { listed_places(spec, side) } else { Vec::new() };
    places.retain(|&h| (-1..=1).all(|i| beam.is_known(h, near(h) + f64::from(i) * STEP_DEG)));
    let points: Vec<CutoffPoint> = places.par_iter().map(|&h| cutoff_at(&light, h, near(h))).collect();
    let lit_places: Vec<f64> = places.iter().copied().skip(1).step_by(AS_LIT_EVERY).collect();
    let as_lit = |h: f64, v: f64| lights.as_lit_lux(h, v).unwrap_or(1.0);
    let lit: Vec<f64> = lit_places.par_iter().map(|&h| rounded(cutoff_at(&as_lit, h, near(h)).v_deg)).collect();
    let g_max = points.iter().map(|p| p.g).fold(0.0, f64::max);
    let has_elbow = is_known && has_lines(&places, spec);
    let cutoff = has_cutoff.then(|| Listed {
        h_deg: places,
        v_deg: points.iter().map(|p| rounded(p.v_deg)).collect(),
        g: points.iter().map(|p| rounded(p.g)).collect(),
    });
    let elbow = if has_elbow { truth::elbow(beam, side, &light) } else { None };
    let hot = is_known.then(|| truth::hot_spot(beam, &light));
    let mut value = json!({
        "schema": TRUTH_SCHEMA,
        "name": spec.name,
        "family": spec.family,
        "expect": spec.expect,
        "args": args(spec),
        "pattern": spec.pattern,
        "traffic": spec.setup.traffic,
        "shape": spec.beam.shape,
        "pixel_convention": "upright image, origin at the outer corner of the top left pixel, pixel centres at n + 0.5",
        "cutoff": cutoff,
        "flat_side": side as i32,
        "elbow": elbow.map(|e| json!({"h_deg": rounded(e.h_deg), "v_deg": rounded(e.v_deg)})),
        "rise": elbow.map(|e| json!({"angle_deg": rounded(e.rise_deg)})),
        "tilt_deg": elbow.map(|e| rounded(e.tilt_deg)),
        "hot_spot": hot.map(|s| json!({
            "h_deg": rounded(s.h_deg), "v_deg": rounded(s.v_deg), "cd": s.cd.round(), "extent97_deg": s.extent97_deg.map(rounded),
        })),
        "g_max": rounded(g_max),
        "cutoff_as_lit": has_cutoff.then(|| Listed { h_deg: lit_places, v_deg: lit, g: Vec::new() }),
        "near_field": near_field(spec, lights, side),
        "marks": marks(spec, lights, camera),
        "difficulty": difficulty(spec, lights, camera, gain, (side, near(spec.beam.aim_h_deg + side * SCAN_DEG))),
    });
    if let Some(table) = &spec.beam.table {
        value["table"] = json!(table);
    }
    format!("{value:#}\n")
}

/// Whether both lines of the elbow lie where the light is known: a table may end too early.
fn has_lines(places: &[f64], spec: &SceneSpec) -> bool {
    // The flat line's window ends 3 degrees from the elbow.
    const FLAT_END_DEG: f64 = 3.2;
    spec.beam.candela.is_none() || places.iter().any(|h| (h - spec.beam.aim_h_deg).abs() >= FLAT_END_DEG)
}

/// How the near-field smear moves the cutoff where it counts.
fn near_field(spec: &SceneSpec, lights: &Lights, side: f64) -> Value {
    let smear = lights.smear_deg();
    if smear == 0.0 || spec.pattern == "spot" || !spec.beam.is_lit {
        return Value::Null;
    }
    let h = spec.beam.aim_h_deg + side * SCAN_DEG;
    let (beam, near) = (lights.beam(), spec.beam.aim_v_deg);
    let here = cutoff_at(&|h, v| smeared_cd(beam, smear, h, v, 0.0), h, near);
    let far = cutoff_at(&|h, v| beam.intensity_cd(h, v), h, near);
    json!({"smear_deg": rounded(smear), "shift_deg": rounded(here.v_deg - far.v_deg)})
}

fn marks(spec: &SceneSpec, lights: &Lights, camera: &Camera) -> Vec<Value> {
    let list = spec.marks.iter().enumerate().map(|(place, mark)| {
        let (x, y) = true_place(spec, mark);
        let pixel = camera.pixel(lights.wall.point(x, y));
        let id = if mark.kind == "quadrant" { place as u32 } else { mark.id };
        json!({
            "report_id": id, "kind": mark.kind, "visible": mark.is_visible,
            "x_px": pixel.map(|p| rounded(p.0)), "y_px": pixel.map(|p| rounded(p.1)),
            "x_mm": rounded(x), "y_mm": rounded(y - spec.setup.rise_to_wall_mm),
        })
    });
    list.collect()
}

/// What makes the photo hard: sizes, levels (1: full scale), light, camera.
fn difficulty(spec: &SceneSpec, lights: &Lights, camera: &Camera, gain: f64, at: (f64, f64)) -> Value {
    let luma = |lux: [f32; 3]| (0..3).map(|c| LUMA[c] * f64::from(lux[c])).sum::<f64>();
    let level = |x: f64, y: f64, rho: f64| rounded(gain * rho / PI * luma(lights.wall_lux(x, y, 1.0)));
    let h = spec.beam.aim_h_deg + at.0 * SCAN_DEG;
    let side = |v: f64| lights.wall_place(h, v).map(|(x, y)| level(x, y, spec.wall.reflectance));
    let middle = lights.wall.point(0.0, 1000.0);
    let off = super::geometry::sub(middle, camera.centre);
    let mm_per_px = super::geometry::dot(off, off).sqrt() / camera.lens.fx;
    let sizes: f64 = spec.marks.iter().map(|m| m.size_mm).sum::<f64>() / spec.marks.len() as f64;
    let whites: Vec<f64> = spec
        .marks
        .iter()
        .map(|mark| {
            let (x, y) = true_place(spec, mark);
            level(x, y, spec.wall.paper_reflectance)
        })
        .collect();
    let has_sides = spec.beam.is_lit && spec.pattern != "spot";
    json!({
        "mark_px": rounded(sizes / mm_per_px),
        "mm_per_px": rounded(mm_per_px),
        "obliquity_deg": rounded(camera.obliquity_deg(&lights.wall)),
        "below_cutoff_fullscale": if has_sides { side(at.1 - SIDE_DEG) } else { None },
        "above_cutoff_fullscale": if has_sides { side(at.1 + SIDE_DEG) } else { None },
        "marks_white_fullscale": whites,
        "ambient_lux": rounded(lights.ambient_lux),
        "peak_fullscale": rounded(spec.sensor.peak_level),
        "tone": spec.sensor.tone,
        "tone_strength": rounded(spec.sensor.tone_strength),
        "tone_centre": rounded(spec.sensor.tone_centre),
        "contrast": spec.beam.table.is_none().then(|| rounded(spec.beam.contrast)),
        "softness_deg": spec.beam.table.is_none().then(|| rounded(spec.beam.softness_deg)),
        "wall": spec.wall.kind,
        "f35": rounded(spec.camera.f35_mm),
        "k1": rounded(spec.camera.k1),
        "jpeg_q": spec.picture.jpeg_quality,
    })
}

#[cfg(test)]
mod tests {
    use super::super::{family, render};
    use crate::bay::{Bay, MarkKind};

    /// Source: the project's own bay reader accepts what the scene states, and the numbers agree.
    #[test]
    fn bay_file_is_readable() {
        for name in ["typical", "quadrant-marks", "sloped-floor"] {
            let spec = family::sample(name, 4, None).unwrap();
            let bay = Bay::parse(&super::bay_toml(&spec), "scene").unwrap();
            assert_eq!(bay.marks.len(), spec.marks.len());
            assert!((bay.wall.distance.get() - spec.setup.distance_mm).abs() < 1e-6);
            assert!((bay.marks[1].centre.x_mm - spec.marks[1].x_mm).abs() < 0.006);
            assert_eq!(bay.marks[0].kind == MarkKind::Quadrant, name == "quadrant-marks");
        }
    }

    #[test]
    fn truth_names_every_field_that_a_score_needs() {
        let spec = family::sample("typical", 2, Some((400, 300))).unwrap();
        let truth: serde_json::Value = serde_json::from_str(&render(&spec).unwrap().truth_json).unwrap();
        for key in ["schema", "name", "family", "expect", "args", "pattern", "traffic", "shape", "flat_side", "marks"] {
            assert!(!truth[key].is_null(), "{key}");
        }
        let count = truth["cutoff"]["h_deg"].as_array().unwrap().len();
        assert_eq!(count, 47);
        assert_eq!(truth["cutoff"]["g"].as_array().unwrap().len(), count);
        assert!(truth["elbow"]["h_deg"].is_f64() && truth["hot_spot"]["cd"].is_f64());
    }

    #[test]
    fn refused_scenes_state_no_truth_to_score() {
        let spec = family::sample("no-beam", 2, Some((400, 300))).unwrap();
        let truth: serde_json::Value = serde_json::from_str(&render(&spec).unwrap().truth_json).unwrap();
        assert_eq!(truth["expect"], "refused");
        assert!(truth["cutoff"].is_null() && truth["hot_spot"].is_null());
    }
}

//! One scene into one photo, its bay file and its truth.
//!
//! **Takes** a [`SceneSpec`]. **Gives** [`Rendered`]: JPEG bytes, bay TOML, truth JSON, and a second photo of a pair.
//! **How**: exposure by the hot spot; the luminance that the camera sees, then lens, sensor and file; the truth beside it,
//! on another thread when there is one. **Fails when** the picture cannot be encoded.

use super::develop::develop;
use super::geometry::{Camera, WallPlane};
use super::jpeg::{self, Shot};
use super::light::{LUMA, Lights};
use super::paint::paint;
use super::rng::seed_of;
use super::sheets::true_place;
use super::spec::SceneSpec;
use super::surface::Rgb;
use super::truth::hot_spot;
use super::write;
use crate::error::Error;
use std::f64::consts::PI;

/// Picture length for which blurs are given, pixels.
const BLUR_LONG_PX: f64 = 4000.0;
/// Saturation: exposure (lx s) = 78 / ISO (ISO 12232, saturation based; from memory).
const SATURATION: f64 = 78.0;
/// Longest exposure before the invented camera raises its sensitivity, s.
const LONGEST_S: f64 = 1.0 / 50.0;
/// Its highest sensitivity.
const HIGHEST_ISO: u16 = 3200;

/// What one scene gives.
#[derive(Debug, Clone, PartialEq)]
pub struct Rendered {
    /// Stem of the file names.
    pub name: String,
    /// The photo, JPEG.
    pub photo: Vec<u8>,
    /// The bay file.
    pub bay_toml: String,
    /// The truth.
    pub truth_json: String,
    /// The second photo of a pair: suffix of its name, and JPEG.
    pub second: Option<(String, Vec<u8>)>,
}

/// Pixel place in the upright photo of a place on the wall's face (mm, counted from where the centreline meets it at
/// y = 0); `None` behind the camera. Pixel centres at n + 0.5.
pub fn wall_pixel(spec: &SceneSpec, x_mm: f64, y_mm: f64) -> Option<(f64, f64)> {
    let wall = WallPlane::new(&spec.setup);
    Camera::new(&spec.camera, &wall, spec.upright_size()).pixel(wall.point(x_mm, y_mm))
}

/// Illuminance by the lamps alone at places of the wall's face, lux (green; red and blue are tinted by the sensor).
pub fn lamp_lux(spec: &SceneSpec, places_mm: &[(f64, f64)]) -> Vec<f64> {
    let lights = Lights::new(spec);
    let at = |&(x, y): &(f64, f64)| lights.lamps_lux(lights.wall.point(x, y), lights.wall.normal)[1];
    places_mm.iter().map(at).collect()
}

/// Renders a scene. **Fails when** a candela table is named that nobody read ([`super::BeamSpec::candela`]), or the picture
/// cannot be encoded.
pub fn render(spec: &SceneSpec) -> Result<Rendered, Error> {
    if let (Some(table), None) = (&spec.beam.table, &spec.beam.candela) {
        return Err(Error::file(table, "candela table was not read", "put it beside the scene file that names it"));
    }
    let mut lights = Lights::new(spec);
    raise_room_light(spec, &mut lights);
    let camera = Camera::new(&spec.camera, &lights.wall, spec.upright_size());
    let gain = exposure_gain(spec, &lights);
    let (photo, (second, truth_json)) = rayon::join(
        || picture(spec, &lights, &camera, gain, seed_of(spec.seed, "photo")),
        || (second_photo(spec, lights.ambient_lux, gain), write::truth_json(spec, &lights, &camera, gain)),
    );
    Ok(Rendered {
        name: spec.name.clone(),
        photo: photo?,
        bay_toml: write::bay_toml(spec),
        truth_json,
        second: second?,
    })
}

/// Raises the room's light until the dimmest mark can be seen at the peak level that the exposure aims at.
fn raise_room_light(spec: &SceneSpec, lights: &mut Lights) {
    let per_lux = |x: f64, y: f64| luminous(lights.room_lux_per_ambient_lux(x, y));
    let (hot_x, hot_y) = hot_place(spec, lights);
    let (hot_lux, hot_share) = (luminous(lights.wall_lux(hot_x, hot_y, 1.0)), per_lux(hot_x, hot_y));
    let least = spec.room.least_mark_level;
    let white = spec.sensor.peak_level * spec.wall.paper_reflectance / spec.wall.reflectance;
    let missing = spec.marks.iter().map(|mark| {
        let (x, y) = true_place(spec, mark);
        // white·(lux + a·share) = least·(hot_lux + a·hot_share), for the added room light a.
        let lack = least * hot_lux - white * luminous(lights.wall_lux(x, y, 1.0));
        let gained = white * per_lux(x, y) - least * hot_share;
        if lack > 0.0 && gained > 0.0 { lack / gained } else { 0.0 }
    });
    let added = missing.fold(0.0, f64::max);
    lights.ambient_lux += added;
}

/// Place of the hot spot on the wall's face; under the lamp when the beam never meets the wall.
fn hot_place(spec: &SceneSpec, lights: &Lights) -> (f64, f64) {
    let hot = hot_spot(lights.beam(), &|h, v| lights.beam().intensity_cd(h, v));
    lights.wall_place(hot.h_deg, hot.v_deg).unwrap_or((0.0, spec.setup.height_mm))
}

/// Luminous part of an illuminance.
fn luminous(lux: Rgb) -> f64 {
    (0..3).map(|c| LUMA[c] * f64::from(lux[c])).sum()
}

/// Level per cd/m² that gives the plain wall its peak level at the hot spot.
fn exposure_gain(spec: &SceneSpec, lights: &Lights) -> f64 {
    let (x, y) = hot_place(spec, lights);
    spec.sensor.peak_level * PI / (spec.wall.reflectance * luminous(lights.wall_lux(x, y, 1.0)))
}

/// The second photo: lights on, or lamp off, after the hand's shift.
fn second_photo(spec: &SceneSpec, ambient_lux: f64, gain: f64) -> Result<Option<(String, Vec<u8>)>, Error> {
    let mut other = spec.clone();
    let pair = &spec.pair;
    other.camera.x_mm += pair.shift_x_mm;
    other.camera.y_mm += pair.shift_y_mm;
    other.camera.target_x_mm += pair.shift_x_mm + pair.turn_x_mm;
    other.camera.target_y_mm += pair.shift_y_mm + pair.turn_y_mm;
    other.camera.roll_deg += pair.roll_deg;
    let is_marks = pair.kind == "marks";
    if is_marks {
        other.room.ambient_lux = pair.lux;
    } else if pair.kind == "ambient" {
        other.beam.is_lit = false;
        other.room.ambient_lux = ambient_lux;
        other.second.ratio = 0.0;
    } else {
        return Ok(None);
    }
    let lights = Lights::new(&other);
    let camera = Camera::new(&other.camera, &lights.wall, other.upright_size());
    let own_gain = if is_marks { exposure_gain(&other, &lights) } else { gain };
    let photo = picture(&other, &lights, &camera, own_gain, seed_of(spec.seed, &pair.kind))?;
    Ok(Some((pair.kind.clone(), photo)))
}

fn picture(spec: &SceneSpec, lights: &Lights, camera: &Camera, gain: f64, seed: u64) -> Result<Vec<u8>, Error> {
    let size = spec.upright_size();
    let mut canvas = paint(spec, lights, camera);
    let blur_scale = f64::from(spec.picture.long_px) / BLUR_LONG_PX;
    canvas.smear_along(spec.camera.motion_px * blur_scale, spec.camera.motion_deg);
    canvas.blur(spec.camera.blur_px * blur_scale);
    let upright = develop(canvas, &spec.sensor, gain, seed);
    jpeg::encode(&upright, size, spec.picture.jpeg_quality, &shot(spec, gain))
}

/// Exposure data that fit the gain: f/1.8, sensitivity raised when the time would be too long.
fn shot(spec: &SceneSpec, gain: f64) -> Shot {
    // Illuminance on the sensor for luminance L: E = pi L / (4 N²); saturation where E t = 78 / ISO.
    let lux = PI / (4.0 * jpeg::F_NUMBER * jpeg::F_NUMBER) / gain;
    let mut iso = 50_u16;
    while SATURATION / (f64::from(iso) * lux) > LONGEST_S && iso < HIGHEST_ISO {
        iso *= 2;
    }
    Shot {
        orientation: spec.picture.orientation,
        exposure_s: SATURATION / (f64::from(iso) * lux),
        iso,
        f35_mm: spec.camera.f35_mm,
    }
}

#[cfg(test)]
mod tests {
    use super::super::family;
    use super::*;

    fn decoded(photo: &[u8]) -> image::RgbImage {
        image::load_from_memory(photo).unwrap().to_rgb8()
    }

    #[test]
    fn same_scene_gives_the_same_bytes() {
        let spec = family::sample("brick", 1, Some((400, 300))).unwrap();
        assert_eq!(render(&spec).unwrap(), render(&spec).unwrap());
    }

    #[test]
    fn the_count_of_threads_changes_no_byte() {
        let mut spec = family::sample("near-wall", 1, Some((240, 180))).unwrap();
        (spec.sensor.sharpening, spec.camera.motion_px, spec.second.ratio) = (0.4, 40.0, 0.1);
        let with = |threads: usize| {
            rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap().install(|| render(&spec).unwrap())
        };
        let one = with(1);
        assert!(one == with(2) && one == with(5));
    }

    #[test]
    fn every_family_renders_both_photos_it_promises() {
        for family in family::families() {
            let spec = family::sample(family, 1, Some((320, 240))).unwrap();
            let rendered = render(&spec).unwrap();
            assert_eq!(rendered.second.is_some(), spec.pair.kind != "none", "{family}");
            assert!(!rendered.truth_json.contains("NaN") && !rendered.truth_json.contains("inf"), "{family}");
        }
    }

    /// Source: the scene's own statement: level 0.5 of the plain wall at the hot spot is sRGB code 188.
    #[test]
    fn exposure_reaches_the_stated_peak() {
        let mut spec = family::sample("clean", 2, Some((800, 600))).unwrap();
        spec.sensor.peak_level = 0.5;
        spec.picture.orientation = 1;
        (spec.sensor.lamp_red, spec.sensor.lamp_blue, spec.camera.vignetting) = (1.0, 1.0, 0.0);
        let lights = Lights::new(&spec);
        let camera = Camera::new(&spec.camera, &lights.wall, spec.upright_size());
        let (x, y) = hot_place(&spec, &lights);
        let (px, py) = camera.pixel(lights.wall.point(x, y)).unwrap();
        let green = decoded(&render(&spec).unwrap().photo).get_pixel(px as u32, py as u32)[1];
        assert!((180..=194).contains(&green), "code {green} at ({px}, {py})");
    }

    #[test]
    fn room_light_is_raised_to_show_the_dimmest_mark() {
        let mut spec = family::sample("typical", 5, Some((400, 300))).unwrap();
        (spec.room.ambient_lux, spec.room.least_mark_level, spec.beam.contrast) = (0.0, 0.01, 500.0);
        let truth: serde_json::Value = serde_json::from_str(&render(&spec).unwrap().truth_json).unwrap();
        let whites = truth["difficulty"]["marks_white_fullscale"].as_array().unwrap();
        let dimmest = whites.iter().filter_map(serde_json::Value::as_f64).fold(1.0, f64::min);
        assert!((dimmest - 0.01).abs() < 2e-4, "{dimmest}");
        assert!(truth["difficulty"]["ambient_lux"].as_f64() > Some(0.0));
    }

    #[test]
    fn ambient_photo_lacks_the_lamp_alone() {
        let spec = family::sample("ambient-photo", 3, Some((400, 300))).unwrap();
        let rendered = render(&spec).unwrap();
        let (_, second) = rendered.second.unwrap();
        let brightest = |photo: &[u8]| decoded(photo).pixels().map(|p| p[1]).max().unwrap();
        assert!(brightest(&rendered.photo) > brightest(&second) + 40);
    }
}

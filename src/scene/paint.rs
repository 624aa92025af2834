//! The luminance that the camera sees, before lens and sensor.
//!
//! **Takes** a [`SceneSpec`], its light and its camera. **Gives** a [`Canvas`] in cd/m². **How**: each pixel's ray meets
//! wall, floor or ceiling; luminance = reflectance · illuminance / pi. Where a ray meets a face and how that place lies to
//! the lamps changes smoothly along a row: it is worked out every few pixels and read by a cubic in between (good to 1e-4
//! mm on the wall), and pixel by pixel where two faces meet. Light, texture and print are each pixel's own.

use super::cubic::{self, blend};
use super::geometry::{Camera, Vec3, add, dot, normal, scale, sub};
use super::jpeg;
use super::light::{Lights, MOST_LAMPS, Sight};
use super::optics::Canvas;
use super::rng::seed_of;
use super::sheets::{Sheet, Sheets};
use super::spec::SceneSpec;
use super::surface::{Cursor, Rgb, WallFace, floor_reflectance};
use rayon::prelude::*;
use std::f64::consts::PI;

/// Reflectance of the ceiling.
const CEILING_REFLECTANCE: f64 = 0.55;
/// Share of the room's light on the wall that reaches the ceiling.
const CEILING_LIGHT: f64 = 0.7;
/// Reflectance of the dark object in front.
const OBJECT_REFLECTANCE: f64 = 0.02;
/// Slope of the object's upper edge in the picture.
const OBJECT_SLOPE: f64 = 0.12;
/// A mirrored share below this is not seen.
const LEAST_SHARE: f64 = 1e-3;
/// Nodes along a row stand at most so far apart, radians: a place at 10 m is then read to 1e-4 mm, (3/128)·1e-8 of it
/// times what its fourth derivative is (24 · distance, square to the wall).
const NODE_RAD: f64 = 0.01;
/// And so many pixels.
const NODE_PX: f64 = 16.0;

/// What a ray meets first.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Face {
    Wall { is_lit: bool },
    Floor { is_lit: bool, is_mirror: bool },
    Ceiling,
    Nothing,
}

/// A place on a face, as camera and lamps see it. All of it is smooth over a face.
#[derive(Debug, Clone, Copy, Default)]
struct Place {
    /// On the wall its own x and y; on the floor x and z of the bay.
    at: (f64, f64),
    /// Along the optical axis, mm.
    depth: f64,
    /// Share of the light that the lens leaves.
    left: f64,
    sights: [Sight; MOST_LAMPS],
    /// Share of the wall's light that the floor mirrors, and the wall's place.
    share: f64,
    mirrored: (f64, f64),
    mirrored_sights: [Sight; MOST_LAMPS],
}

/// A ray's end.
#[derive(Debug, Clone, Copy)]
struct Meeting {
    face: Face,
    place: Place,
}

impl Place {
    /// Between four neighbours on one face.
    #[inline]
    fn mixed(of: &[Meeting; 4], weights: [f64; 4], face: Face, lamps: usize) -> Self {
        let mut place = Self {
            at: (blend(of, weights, |m| m.place.at.0), blend(of, weights, |m| m.place.at.1)),
            depth: blend(of, weights, |m| m.place.depth),
            left: blend(of, weights, |m| m.place.left),
            ..Self::default()
        };
        if matches!(face, Face::Wall { is_lit: true } | Face::Floor { is_lit: true, .. }) {
            for n in 0..lamps {
                place.sights[n] = mixed_sight(of, weights, |place| &place.sights[n]);
            }
        }
        if let Face::Floor { is_mirror: true, .. } = face {
            place.share = blend(of, weights, |m| m.place.share);
            place.mirrored = (blend(of, weights, |m| m.place.mirrored.0), blend(of, weights, |m| m.place.mirrored.1));
            for n in 0..lamps {
                place.mirrored_sights[n] = mixed_sight(of, weights, |place| &place.mirrored_sights[n]);
            }
        }
        place
    }
}

/// One sight between four neighbours.
#[inline]
fn mixed_sight(of: &[Meeting; 4], weights: [f64; 4], sight: impl Fn(&Place) -> &Sight) -> Sight {
    Sight {
        h_deg: blend(of, weights, |m| sight(&m.place).h_deg),
        v_deg: blend(of, weights, |m| sight(&m.place).v_deg),
        lux_per_cd: blend(of, weights, |m| sight(&m.place).lux_per_cd),
    }
}

/// All that a pixel needs.
struct Painter<'a> {
    spec: &'a SceneSpec,
    lights: &'a Lights<'a>,
    camera: &'a Camera,
    face: WallFace<'a>,
    sheets: Sheets,
    floor_normal: Vec3,
    texture_seed: u64,
    /// Factor on the lamps' light by flicker and rolling shutter, for each row or column of the upright picture.
    bands: Vec<f64>,
}

/// Luminance of the upright picture, cd/m².
pub(super) fn paint(spec: &SceneSpec, lights: &Lights, camera: &Camera) -> Canvas {
    let (width, height) = (spec.upright_size().0 as usize, spec.upright_size().1 as usize);
    let texture_seed = seed_of(spec.seed, "texture");
    let slope = if spec.setup.rise_to_wall_mm == 0.0 {
        spec.setup.slope_percent / 100.0
    } else {
        spec.setup.rise_to_wall_mm / spec.setup.distance_mm
    };
    let painter = Painter {
        spec,
        lights,
        camera,
        face: WallFace::new(&spec.wall, texture_seed),
        sheets: Sheets::new(spec),
        floor_normal: normal([-spec.setup.cross_percent / 100.0, 1.0, -slope]),
        texture_seed,
        bands: bands(spec),
    };
    let spacing = (NODE_RAD * camera.lens.fx).clamp(1.0, NODE_PX) as usize;
    let weights: Vec<[f64; 4]> = (0..spacing).map(|i| cubic::weights(i as f64 / spacing as f64)).collect();
    let mut data = vec![0.0_f32; width * height * 3];
    data.par_chunks_mut(width * 3).enumerate().for_each(|(y, row)| painter.row(y, row, &weights));
    Canvas { width, height, channels: 3, data }
}

/// Factors on the lamps' light along the read-out; 1 without flicker.
fn bands(spec: &SceneSpec) -> Vec<f64> {
    const STEEPNESS: f64 = 2.5;
    let sensor = &spec.sensor;
    let (width, height) = (spec.upright_size().0 as usize, spec.upright_size().1 as usize);
    let is_across = is_read_across(spec);
    let factor = |place: usize| {
        let (x, y) = if is_across { (place, 0) } else { (0, place) };
        let share = jpeg::readout_share(spec.picture.orientation, x, y, width, height);
        let turns = sensor.band_count * share + sensor.band_phase_turns;
        // An on-off light seen through an exposure of part of its period: a wave with flattened tops.
        1.0 - sensor.band_depth * (0.5 + 0.5 * (STEEPNESS * (std::f64::consts::TAU * turns).sin()).tanh())
    };
    (0..if is_across { width } else { height }).map(factor).collect()
}

/// Whether the sensor's rows stand upright in the upright picture.
fn is_read_across(spec: &SceneSpec) -> bool {
    spec.picture.orientation >= 5
}

impl Painter<'_> {
    /// One row of pixels; nodes stand at its every `weights.len()`th pixel.
    fn row(&self, y: usize, row: &mut [f32], weights: &[[f64; 4]]) {
        let spacing = weights.len();
        let lamps = self.lights.lamp_count();
        let node = |n: usize| self.meeting((n * spacing) as f64 - spacing as f64 + 0.5, y as f64 + 0.5);
        let mut four = [node(0), node(1), node(2), node(3)];
        let mut cursor = Cursor::default();
        for (n, pixels) in row.chunks_mut(3 * spacing).enumerate() {
            let face = four[0].face;
            let is_one_face = four[1..].iter().all(|meeting| meeting.face == face);
            for (i, pixel) in pixels.chunks_exact_mut(3).enumerate() {
                let x = n * spacing + i;
                let light = if self.is_object(x, y) {
                    self.room_share(OBJECT_REFLECTANCE)
                } else if is_one_face {
                    self.light(x, y, face, &Place::mixed(&four, weights[i], face, lamps), &mut cursor)
                } else {
                    let meeting = self.meeting(x as f64 + 0.5, y as f64 + 0.5);
                    self.light(x, y, meeting.face, &meeting.place, &mut cursor)
                };
                pixel.copy_from_slice(&light);
            }
            four.rotate_left(1);
            four[3] = node(n + 4);
        }
    }

    /// What the ray through a place of the picture meets first, and how that lies.
    fn meeting(&self, px: f64, py: f64) -> Meeting {
        let (eye, ray) = (self.camera.centre, self.camera.ray(px, py));
        let cos = 1.0 / dot(ray, ray).sqrt();
        // The lens loses cos^4 towards the corners; the camera's correction leaves a share of it.
        let left = 1.0 - self.spec.camera.vignetting * (1.0 - cos.powi(4));
        let bare = Place { left, ..Place::default() };
        let wall = self.lights.wall.meet(eye, ray);
        let floor_t = plane(eye, ray, self.floor_normal, 0.0);
        let ceiling_t = plane(eye, ray, [0.0, 1.0, 0.0], self.spec.wall.ceiling_mm);
        let wall_t = wall.map_or(f64::INFINITY, |meeting| meeting.0);
        if ceiling_t < wall_t.min(floor_t) {
            return Meeting { face: Face::Ceiling, place: bare };
        }
        if floor_t < wall_t {
            return self.floor_meeting(ray, floor_t, bare);
        }
        let Some((depth, x, y)) = wall else { return Meeting { face: Face::Nothing, place: bare } };
        let point = self.lights.wall.point(x, y);
        let sights = self.lights.sights(point, self.lights.wall.normal);
        Meeting {
            face: Face::Wall { is_lit: self.lights.reaches(point) },
            place: Place { at: (x, y), depth, sights, ..bare },
        }
    }

    fn floor_meeting(&self, ray: Vec3, depth: f64, bare: Place) -> Meeting {
        let point = add(self.camera.centre, scale(ray, depth));
        let sights = self.lights.sights(point, self.floor_normal);
        let mut place = Place { at: (point[0], point[2]), depth, sights, ..bare };
        let direction = normal(ray);
        let across = dot(direction, self.floor_normal);
        // The mirrored share grows towards grazing view, as any smooth surface's does (Schlick's form).
        place.share = self.spec.floor.gloss * (1.0 - across.abs()).powi(5) * self.spec.wall.reflectance;
        let mut is_mirror = false;
        if place.share > LEAST_SHARE {
            let mirrored = sub(direction, scale(self.floor_normal, 2.0 * across));
            if let Some((_, x, y)) = self.lights.wall.meet(point, mirrored) {
                let seen = self.lights.wall.point(x, y);
                place.mirrored = (x, y);
                place.mirrored_sights = self.lights.sights(seen, self.lights.wall.normal);
                is_mirror = self.lights.reaches(seen);
            }
        }
        Meeting { face: Face::Floor { is_lit: self.lights.reaches(point), is_mirror }, place }
    }

    /// Luminance of a pixel that shows this place.
    fn light(&self, x: usize, y: usize, face: Face, place: &Place, cursor: &mut Cursor) -> Rgb {
        let light = match face {
            Face::Wall { is_lit } => self.wall(x, y, place, is_lit, cursor),
            Face::Floor { is_lit, is_mirror } => self.floor(x, y, place, (is_lit, is_mirror), cursor),
            Face::Ceiling => self.room_share(CEILING_REFLECTANCE * CEILING_LIGHT),
            Face::Nothing => [0.0; 3],
        };
        light.map(|value| value * place.left as f32)
    }

    fn wall(&self, x: usize, y: usize, place: &Place, is_lit: bool, cursor: &mut Cursor) -> Rgb {
        let (wx, wy) = place.at;
        let pixel_mm = place.depth / self.camera.lens.fx;
        let bare = self.face.reflectance(cursor, wx, wy, pixel_mm);
        let rho = match self.sheets.near(wx, wy, pixel_mm) {
            Some(sheet) => self.sheet(sheet, (x, y), place.at, bare),
            None => bare,
        };
        let lux = self.wall_lux(place.at, is_lit.then_some(&place.sights), self.band(x, y));
        [0, 1, 2].map(|c| rho[c] * lux[c] / PI as f32)
    }

    /// Mean reflectance of a pixel that may touch a sheet: its corners are traced, what lies between them is a plane's.
    fn sheet(&self, sheet: &Sheet, (x, y): (usize, usize), middle: (f64, f64), bare: Rgb) -> Rgb {
        let corner = |dx: f64, dy: f64| {
            let ray = self.camera.ray(x as f64 + dx, y as f64 + dy);
            self.lights.wall.meet(self.camera.centre, ray).map_or(middle, |(_, x, y)| (x, y))
        };
        let (a, b, c, d) = (corner(0.0, 0.0), corner(1.0, 0.0), corner(0.0, 1.0), corner(1.0, 1.0));
        let between = |a: f64, b: f64, c: f64, d: f64, sx: f64, sy: f64| {
            let (top, bottom) = (a + (b - a) * sx, c + (d - c) * sx);
            top + (bottom - top) * sy
        };
        let trace = |sx: f64, sy: f64| (between(a.0, b.0, c.0, d.0, sx, sy), between(a.1, b.1, c.1, d.1, sx, sy));
        sheet.mean_reflectance(trace, bare)
    }

    fn floor(&self, x: usize, y: usize, place: &Place, (is_lit, is_mirror): (bool, bool), cursor: &mut Cursor) -> Rgb {
        let rho = floor_reflectance(&self.spec.floor, cursor, place.at.0, place.at.1, self.texture_seed);
        let lamps = if is_lit { self.lights.sighted_lux(&place.sights) } else { [0.0; 3] };
        let bands = self.band(x, y);
        let room = self.lights.room_lux(place.at.0, 0.0);
        let mut light = [0, 1, 2].map(|c| rho * (lamps[c] * bands + room[c]) as f32 / PI as f32);
        if is_mirror {
            let lux = self.wall_lux(place.mirrored, Some(&place.mirrored_sights), bands);
            for c in 0..3 {
                light[c] += place.share as f32 * lux[c] / PI as f32;
            }
        }
        light
    }

    /// All light at a place of the wall's face, lux; `bands` dims the lamps alone.
    fn wall_lux(&self, (x, y): (f64, f64), sights: Option<&[Sight; MOST_LAMPS]>, bands: f64) -> Rgb {
        let lamps = sights.map_or([0.0; 3], |sights| self.lights.sighted_lux(sights));
        let room = self.lights.room_lux(x, y);
        [0, 1, 2].map(|c| (lamps[c] * bands + room[c]) as f32)
    }

    /// Light of a surface that only the room reaches.
    fn room_share(&self, reflectance: f64) -> Rgb {
        self.lights.room_lux(0.0, self.spec.wall.ceiling_mm).map(|lux| (reflectance * lux / PI) as f32)
    }

    fn band(&self, x: usize, y: usize) -> f64 {
        self.bands[if is_read_across(self.spec) { x } else { y }]
    }

    fn is_object(&self, x: usize, y: usize) -> bool {
        let room = &self.spec.room;
        if room.object_width == 0.0 {
            return false;
        }
        let (width, height) = self.spec.upright_size();
        let (sx, sy) = ((x as f64 + 0.5) / f64::from(width), (y as f64 + 0.5) / f64::from(height));
        let from_side = if room.object_width > 0.0 { 1.0 - sx } else { sx };
        from_side < room.object_width.abs()
            && 1.0 - sy < room.object_height + OBJECT_SLOPE * (room.object_width.abs() - from_side)
    }
}

/// Ray parameter where it meets the plane through `height` above the bay's zero; infinite when it leads away.
fn plane(eye: Vec3, ray: Vec3, normal: Vec3, height: f64) -> f64 {
    let t = (height * normal[1] - dot(eye, normal)) / dot(ray, normal);
    if t > 0.0 && t.is_finite() { t } else { f64::INFINITY }
}

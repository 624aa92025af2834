//! Faces of wall and floor: reflectance at a place, with texture.
//!
//! **Takes** a place in mm and the width of one pixel there. **Gives** reflectance for red, green and blue (diffuse,
//! 0..1). **How**: value noise in octaves; bricks and joints with edges as soft as the pixel is wide.

use super::rng::lattice;
use super::spec::{FloorSpec, WallKind, WallSpec};

/// Red, green, blue.
pub(super) type Rgb = [f32; 3];

/// Brick with its joint, width and height, mm (common format; common practice, no source).
const BRICK_MM: (f64, f64) = (250.0, 75.0);
/// Joint, mm.
const JOINT_MM: f64 = 11.0;
/// Joint against brick reflectance: mortar is lighter.
const MORTAR_RATIO: f64 = 1.7;
/// How far single bricks differ in reflectance, relative.
const BRICK_SPREAD: f64 = 0.22;
/// Concrete panels, width and height, mm.
const PANEL_MM: (f64, f64) = (2_400.0, 1_250.0);
/// Joint between panels, mm, and its reflectance against the panel.
const PANEL_JOINT: (f64, f64) = (9.0, 0.55);
/// Wavelength of the mottling's first octave, mm.
const MOTTLE_MM: f64 = 420.0;
/// Wavelength of the grain, mm.
const GRAIN_MM: f64 = 9.0;
/// Wavelength of the floor's first octave, mm.
const FLOOR_MM: f64 = 600.0;
/// Half height of the roughness of painted edges, mm.
const EDGE_MM: f64 = 1.5;
/// Radius of a stain, mm, and the area over which stains are strewn.
const STAIN_MM: f64 = 160.0;
const STAIN_AREA_MM: (f64, f64) = (5_000.0, 2_200.0);
/// Width of a pipe, mm.
const PIPE_MM: f64 = 45.0;

/// One cell of smooth noise: neighbouring pixels share it, so its corners are drawn once.
#[derive(Debug, Clone)]
struct NoiseCell {
    left: f64,
    low: f64,
    corners: [f32; 4],
}

impl Default for NoiseCell {
    fn default() -> Self {
        // No place lies in it.
        Self { left: f64::NAN, low: f64::NAN, corners: [0.0; 4] }
    }
}

impl NoiseCell {
    /// Smooth noise in [-1, 1] with one feature per unit; a cell keeps to one seed.
    #[inline]
    fn value(&mut self, x: f64, y: f64, seed: u64) -> f32 {
        let (mut dx, mut dy) = (x - self.left, y - self.low);
        if !((0.0..1.0).contains(&dx) && (0.0..1.0).contains(&dy)) {
            (self.left, self.low) = (x.floor(), y.floor());
            let (ix, iy) = (self.left as i64, self.low as i64);
            self.corners = [(0, 0), (1, 0), (0, 1), (1, 1)].map(|(i, j)| lattice(ix + i, iy + j, seed));
            (dx, dy) = (x - self.left, y - self.low);
        }
        let smooth = |t: f32| t * t * (3.0 - 2.0 * t);
        let (tx, ty) = (smooth(dx as f32), smooth(dy as f32));
        let [a, b, c, d] = self.corners;
        let low = a + (b - a) * tx;
        let high = c + (d - c) * tx;
        2.0 * (low + (high - low) * ty) - 1.0
    }
}

/// Three octaves of noise.
#[derive(Debug, Clone, Default)]
struct Mottle([NoiseCell; 3]);

impl Mottle {
    /// Standard deviation about 0.4.
    fn value(&mut self, x: f64, y: f64, seed: u64) -> f32 {
        let [first, second, third] = &mut self.0;
        0.57 * first.value(x, y, seed)
            + 0.29 * second.value(2.1 * x, 2.1 * y, seed ^ 1)
            + 0.14 * third.value(4.3 * x, 4.3 * y, seed ^ 2)
    }
}

/// Where in the texture the last place lay: a row of pixels keeps one for all its places.
#[derive(Debug, Clone, Default)]
pub(super) struct Cursor {
    wall: Mottle,
    grain: NoiseCell,
    floor: Mottle,
}

/// 1 inside `[low, high]`, 0 outside, with edges `soft` wide.
fn inside(x: f64, low: f64, high: f64, soft: f64) -> f64 {
    let rise = |d: f64| (d / soft + 0.5).clamp(0.0, 1.0);
    rise(x - low) * rise(high - x)
}

/// The wall's reflectance.
#[derive(Debug)]
pub(super) struct WallFace<'a> {
    spec: &'a WallSpec,
    seed: u64,
    stains: Vec<(f64, f64, f64)>,
}

impl<'a> WallFace<'a> {
    /// A face with its own texture.
    pub(super) fn new(spec: &'a WallSpec, seed: u64) -> Self {
        let place = |k: u64, n: i64| f64::from(lattice(n, k as i64, seed));
        let stains = (0..u64::from(spec.stains))
            .map(|k| {
                let (x, y) = ((place(k, 1) - 0.5) * STAIN_AREA_MM.0, place(k, 2) * STAIN_AREA_MM.1);
                (x, y, STAIN_MM * (0.5 + place(k, 3)))
            })
            .collect();
        Self { spec, seed, stains }
    }

    /// Reflectance at a place of the face; `pixel_mm` is the width of a pixel there.
    #[inline]
    pub(super) fn reflectance(&self, cursor: &mut Cursor, x: f64, y: f64, pixel_mm: f64) -> Rgb {
        let s = self.spec;
        let soft = pixel_mm.max(EDGE_MM);
        let mut rho = s.reflectance * (1.0 + s.gradient_per_m * x / 1000.0).max(0.1);
        let (mut red, mut blue) = (s.red, s.blue);
        if s.texture > 0.0 {
            rho *= 1.0 + s.texture * f64::from(cursor.wall.value(x / MOTTLE_MM, y / MOTTLE_MM, self.seed));
        }
        if s.grain > 0.0 && pixel_mm < GRAIN_MM {
            rho *= 1.0 + s.grain * f64::from(cursor.grain.value(x / GRAIN_MM, y / GRAIN_MM, self.seed ^ 9));
        }
        match s.kind {
            WallKind::Brick => {
                let (brick, mortar) = self.brick(x, y, soft);
                rho *= brick;
                red += (1.0 - red) * mortar;
                blue += (1.0 - blue) * mortar;
            }
            WallKind::Concrete => rho *= panel(x, y, soft),
            WallKind::Paint | WallKind::Plaster => {}
        }
        rho *= self.objects(x, y, soft);
        let rho = rho.clamp(0.01, 0.95);
        [(rho * red).min(0.97) as f32, rho as f32, (rho * blue).min(0.97) as f32]
    }

    /// Factor of a brick or joint, and the share of mortar.
    fn brick(&self, x: f64, y: f64, soft: f64) -> (f64, f64) {
        let row = (y / BRICK_MM.1).floor();
        let shifted = x + if (row as i64).rem_euclid(2) == 0 { 0.0 } else { 0.5 * BRICK_MM.0 };
        let column = (shifted / BRICK_MM.0).floor();
        let (ox, oy) = (shifted - column * BRICK_MM.0, y - row * BRICK_MM.1);
        let brick = inside(ox, JOINT_MM, BRICK_MM.0, soft) * inside(oy, JOINT_MM, BRICK_MM.1, soft);
        let own = 1.0 + BRICK_SPREAD * (2.0 * f64::from(lattice(column as i64, row as i64, self.seed ^ 5)) - 1.0);
        (brick * own + (1.0 - brick) * MORTAR_RATIO, 1.0 - brick)
    }

    /// Band, door, pipe and stains.
    fn objects(&self, x: f64, y: f64, soft: f64) -> f64 {
        let s = self.spec;
        let mut factor = 1.0;
        if s.band_ratio < 1.0 {
            factor *= 1.0 + (s.band_ratio - 1.0) * inside(y, -1e5, s.band_top_mm, soft);
        }
        if s.door_ratio < 1.0 {
            let right = s.door_x_mm + s.door_width_mm;
            factor *= 1.0
                + (s.door_ratio - 1.0) * inside(x, s.door_x_mm, right, soft) * inside(y, -1e5, s.door_height_mm, soft);
        }
        if s.pipe_ratio < 1.0 {
            let across = (x - s.pipe_x_mm) / (0.5 * PIPE_MM);
            if across.abs() < 1.0 {
                // A round pipe is darkest at its rims.
                factor *= s.pipe_ratio * (0.6 + 0.4 * (1.0 - across * across).sqrt());
            }
        }
        for (sx, sy, radius) in &self.stains {
            let far = ((x - sx).powi(2) + (y - sy).powi(2)) / (radius * radius);
            if far < 9.0 {
                factor *= 1.0 - s.stain_depth * (-far).exp();
            }
        }
        factor
    }
}

/// Factor of a concrete panel or the joint between two.
fn panel(x: f64, y: f64, soft: f64) -> f64 {
    let joint = |c: f64, size: f64| {
        let off = c - (c / size).floor() * size;
        inside(off, -soft, PANEL_JOINT.0, soft)
    };
    let share = joint(x, PANEL_MM.0).max(joint(y, PANEL_MM.1));
    1.0 + (PANEL_JOINT.1 - 1.0) * share
}

/// The floor's reflectance at a place (bay frame x, z).
#[inline]
pub(super) fn floor_reflectance(spec: &FloorSpec, cursor: &mut Cursor, x: f64, z: f64, seed: u64) -> f32 {
    let texture = spec.texture as f32 * cursor.floor.value(x / FLOOR_MM, z / FLOOR_MM, seed ^ 0x77);
    (spec.reflectance as f32 * (1.0 + texture)).max(0.01)
}

#[cfg(test)]
mod tests {
    use super::super::family;
    use super::*;

    #[test]
    fn mean_reflectance_is_the_stated_one() {
        let spec = WallSpec {
            kind: WallKind::Plaster,
            reflectance: 0.6,
            texture: 0.1,
            grain: 0.05,
            red: 1.0,
            blue: 1.0,
            gradient_per_m: 0.0,
            band_ratio: 1.0,
            door_ratio: 1.0,
            pipe_ratio: 1.0,
            stains: 0,
            ..family::sample("clean", 1, None).unwrap().wall
        };
        let face = WallFace::new(&spec, 4);
        let samples: Vec<f64> = (0..20_000)
            .map(|i| (f64::from(i % 200) * 97.0, f64::from(i / 200) * 89.0))
            .map(|(x, y)| f64::from(face.reflectance(&mut Cursor::default(), x, y, 3.0)[1]))
            .collect();
        let mean = samples.iter().sum::<f64>() / samples.len() as f64;
        assert!((mean - 0.6).abs() < 0.006, "mean {mean}");
    }

    #[test]
    fn a_cursor_remembers_nothing_but_its_cell() {
        let spec = family::sample("typical", 1, None).unwrap().wall;
        let face = WallFace::new(&spec, 4);
        let mut kept = Cursor::default();
        for i in 0..3_000 {
            let (x, y) = (f64::from(i) * 1.3 - 2_000.0, f64::from(i % 7) * 211.0 - 300.0);
            let bits = |cursor: &mut Cursor| face.reflectance(cursor, x, y, 2.0).map(f32::to_bits);
            assert_eq!(bits(&mut kept), bits(&mut Cursor::default()));
        }
    }

    #[test]
    fn bricks_have_lighter_joints() {
        let spec = WallSpec { kind: WallKind::Brick, ..family::sample("brick", 1, None).unwrap().wall };
        let face = WallFace::new(&spec, 4);
        let (_, in_brick) = face.brick(130.0, 40.0, 2.0);
        let (_, in_joint) = face.brick(130.0, 5.0, 2.0);
        assert!(in_brick < 0.01 && in_joint > 0.99, "{in_brick}, {in_joint}");
    }
}

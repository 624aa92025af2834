//! Light on wall and floor: one or two lamps, the room, and what the room throws back.
//!
//! **Takes** a [`SceneSpec`]. **Gives** illuminance (lux; red, green, blue) at a place. **How**: E = I cos(theta) / d²
//! (photometry notes, section 7), I from the closed form in the direction in which the lamp sees the place.

use super::beam::Beam;
use super::beam_spec::BeamSpec;
use super::geometry::{LampView, Vec3, WallPlane, dot, sub};
use super::smear::{SmearTable, over_disc, smear_deg};
use super::spec::SceneSpec;
use super::surface::Rgb;
use super::tabled::TabledBeam;

/// Share of red, green and blue in luminance (ITU-R BT.709).
pub(super) const LUMA: [f64; 3] = [0.2126, 0.7152, 0.0722];
/// Millimetres in a metre, squared: candela per mm² to lux.
const MM2_PER_M2: f64 = 1e6;
/// Places over which the beam's mean on the wall is taken for the light thrown back: x reach, y reach, step, mm.
const VEIL_WALL_MM: (i32, i32, usize) = (5_000, 2_000, 100);
/// Distance from the beam's middle at which the thrown-back light has fallen to half, mm.
const VEIL_HALF_MM: f64 = 4_000.0;
/// Places nearer to the lamps' plane than this get no light of it: the formula has no meaning there.
const NEAREST_MM: f64 = 200.0;

/// A scene holds at most this many lamps.
pub(super) const MOST_LAMPS: usize = 2;

/// One lamp in the bay.
#[derive(Debug)]
struct Lamp {
    view: LampView,
    beam: TabledBeam,
    ratio: f64,
    smeared: Option<SmearTable>,
    lifts: [f64; 3],
}

/// How a place lies to one lamp: its direction, and lux per candela; all of it smooth over a face.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(super) struct Sight {
    /// Direction in the vehicle's frame.
    pub(super) h_deg: f64,
    /// Direction in the vehicle's frame.
    pub(super) v_deg: f64,
    /// Lux on the face for one candela.
    pub(super) lux_per_cd: f64,
}

/// All light of a scene.
#[derive(Debug)]
pub(super) struct Lights<'a> {
    spec: &'a SceneSpec,
    /// The wall that it falls on.
    pub(super) wall: WallPlane,
    lamps: Vec<Lamp>,
    smear: f64,
    /// Room light, lux: the scene's own, or raised so that the marks can be seen.
    pub(super) ambient_lux: f64,
    veil_lux: [f64; 3],
    lamp_tint: [f64; 3],
    room_tint: [f64; 3],
}

impl Lamp {
    fn new(spec: &SceneSpec, beam: Beam, centre: (f64, f64), ratio: f64, smear: f64) -> Self {
        let fringe = beam.spec().fringe_deg;
        let lifts = [fringe, 0.0, -fringe];
        let beam = TabledBeam::new(beam);
        let is_smeared = smear > 0.0 && beam.beam().spec().is_lit;
        let smeared = is_smeared.then(|| SmearTable::new(&beam, smear, lifts));
        Self { view: LampView::new(&spec.setup, centre.0, centre.1), beam, ratio, smeared, lifts }
    }

    /// Candela for red, green and blue, before any tint.
    #[inline]
    fn candela(&self, h: f64, v: f64) -> [f64; 3] {
        let smeared = self.smeared.as_ref().and_then(|table| table.get(h, v));
        smeared.unwrap_or_else(|| self.beam.channels_cd(h, v, self.lifts))
    }
}

impl<'a> Lights<'a> {
    /// Sets up lamps and room; the thrown-back light is estimated from the beam on the wall.
    pub(super) fn new(spec: &'a SceneSpec) -> Self {
        let smear = smear_deg(spec.beam.aperture_mm, spec.setup.distance_mm);
        let main = Beam::new(&spec.beam, spec.is_mirrored());
        let mut lamps = vec![Lamp::new(spec, main, (spec.lamp_x_mm(), spec.setup.height_mm), 1.0, smear)];
        if spec.second.ratio > 0.0 {
            let turned = BeamSpec {
                aim_h_deg: spec.beam.aim_h_deg + spec.second.turn_h_deg,
                aim_v_deg: spec.beam.aim_v_deg + spec.second.turn_v_deg,
                ..spec.beam.clone()
            };
            let beam = Beam::new(&turned, spec.is_mirrored());
            lamps.push(Lamp::new(spec, beam, (spec.second.x_mm, spec.second.y_mm), spec.second.ratio, smear));
        }
        let mut lights = Self {
            spec,
            wall: WallPlane::new(&spec.setup),
            lamps,
            smear,
            ambient_lux: spec.room.ambient_lux,
            veil_lux: [0.0; 3],
            lamp_tint: [spec.sensor.lamp_red, 1.0, spec.sensor.lamp_blue],
            room_tint: [spec.room.red, 1.0, spec.room.blue],
        };
        let (reach_x, reach_y, step) = VEIL_WALL_MM;
        let (mut sum, mut count) = ([0.0; 3], 0.0);
        for x in (-reach_x..=reach_x).step_by(step) {
            for y in (0..=reach_y).step_by(step) {
                let here = lights.lamps_lux(lights.wall.point(f64::from(x), f64::from(y)), lights.wall.normal);
                sum = [0, 1, 2].map(|c| sum[c] + here[c]);
                count += 1.0;
            }
        }
        lights.veil_lux = sum.map(|s| spec.room.veil * s / count);
        lights
    }

    /// Illuminance by the lamps on a face with this normal (either side).
    pub(super) fn lamps_lux(&self, point: Vec3, normal: Vec3) -> [f64; 3] {
        if !self.reaches(point) {
            return [0.0; 3];
        }
        self.sighted_lux(&self.sights(point, normal))
    }

    /// Whether the lamps light places so near to their own plane.
    #[inline]
    pub(super) fn reaches(&self, point: Vec3) -> bool {
        self.spec.beam.is_lit && point[2] >= NEAREST_MM
    }

    /// How many lamps there are.
    #[inline]
    pub(super) fn lamp_count(&self) -> usize {
        self.lamps.len()
    }

    /// How a place on a face with this normal lies to each lamp.
    pub(super) fn sights(&self, point: Vec3, normal: Vec3) -> [Sight; MOST_LAMPS] {
        let mut sights = [Sight::default(); MOST_LAMPS];
        for (sight, lamp) in sights.iter_mut().zip(&self.lamps) {
            let d = sub(point, lamp.view.centre);
            let square = dot(d, d);
            let lux_per_cd = lamp.ratio * MM2_PER_M2 * dot(d, normal).abs() / square.sqrt() / square;
            let (h_deg, v_deg) = lamp.view.direction(point);
            *sight = Sight { h_deg, v_deg, lux_per_cd };
        }
        sights
    }

    /// Illuminance by the lamps at a place that lies so to them.
    #[inline]
    pub(super) fn sighted_lux(&self, sights: &[Sight; MOST_LAMPS]) -> [f64; 3] {
        let mut sum = [0.0; 3];
        for (sight, lamp) in sights.iter().zip(&self.lamps) {
            let candela = lamp.candela(sight.h_deg, sight.v_deg);
            for c in 0..3 {
                sum[c] += sight.lux_per_cd * candela[c] * self.lamp_tint[c];
            }
        }
        sum
    }

    /// What one lux of room light gives at a place of the wall's face, lux.
    #[inline]
    pub(super) fn room_lux_per_ambient_lux(&self, x: f64, y: f64) -> Rgb {
        let room = &self.spec.room;
        let slope = 1.0 + room.gradient_x_per_m * x / 1000.0 + room.gradient_y_per_m * (y - 1000.0) / 1000.0;
        self.room_tint.map(|tint| (tint * slope.clamp(0.2, 3.0)) as f32)
    }

    /// Room light and thrown-back light at a place of the wall's face, lux.
    #[inline]
    pub(super) fn room_lux(&self, x: f64, y: f64) -> [f64; 3] {
        let share = self.room_lux_per_ambient_lux(x, y);
        let (dx, dy) = (x - self.spec.lamp_x_mm(), y - self.spec.setup.height_mm);
        let veil = 1.0 / (1.0 + (dx * dx + dy * dy) / (VEIL_HALF_MM * VEIL_HALF_MM));
        [0, 1, 2].map(|c| self.ambient_lux * f64::from(share[c]) + veil * self.veil_lux[c])
    }

    /// All light at a place of the wall's face; `bands` dims the lamps alone.
    pub(super) fn wall_lux(&self, x: f64, y: f64, bands: f64) -> Rgb {
        let lamps = self.lamps_lux(self.wall.point(x, y), self.wall.normal);
        let room = self.room_lux(x, y);
        [0, 1, 2].map(|c| (lamps[c] * bands + room[c]) as f32)
    }

    /// The first lamp alone, in a beam direction: luminous candela, smeared as on this wall.
    pub(super) fn lamp_alone_cd(&self, h: f64, v: f64) -> f64 {
        let lamp = &self.lamps[0];
        let weight: [f64; 3] = [0, 1, 2].map(|c| LUMA[c] * self.lamp_tint[c]);
        let whole: f64 = weight.iter().sum();
        let candela = if self.smear == 0.0 {
            lamp.beam.beam().channels_cd(h, v, lamp.lifts)
        } else {
            over_disc(|h, v| lamp.beam.channels_cd(h, v, lamp.lifts), self.smear, h, v)
        };
        (0..3).map(|c| weight[c] * candela[c]).sum::<f64>() / whole
    }

    /// The same direction as it is lit: lamps and room together, as luminous lux on the wall; `None` off the wall.
    pub(super) fn as_lit_lux(&self, h: f64, v: f64) -> Option<f64> {
        let point = self.lamps[0].view.wall_point(&self.wall, h, v)?;
        let (_, x, y) = self.wall.meet(self.lamps[0].view.centre, sub(point, self.lamps[0].view.centre))?;
        let lux = self.wall_lux(x, y, 1.0);
        Some((0..3).map(|c| LUMA[c] * f64::from(lux[c])).sum())
    }

    /// Place on the wall's face in a beam direction of the first lamp.
    pub(super) fn wall_place(&self, h: f64, v: f64) -> Option<(f64, f64)> {
        let view = &self.lamps[0].view;
        let point = view.wall_point(&self.wall, h, v)?;
        self.wall.meet(view.centre, sub(point, view.centre)).map(|(_, x, y)| (x, y))
    }

    /// Diameter of the near-field smear, degrees.
    pub(super) fn smear_deg(&self) -> f64 {
        self.smear
    }

    /// The first lamp's beam.
    pub(super) fn beam(&self) -> &Beam {
        self.lamps[0].beam.beam()
    }
}

#[cfg(test)]
mod tests {
    use super::super::family;
    use super::*;

    /// Source: E = I cos(theta)/d²: 50,000 cd on a wall at 7.62 m is 861 lx (photometry notes, section 7).
    #[test]
    fn illuminance_obeys_the_inverse_square() {
        let mut spec = family::sample("clean", 3, None).unwrap();
        spec.setup.distance_mm = 7_620.0;
        spec.setup.wall_yaw_deg = 0.0;
        spec.setup.wall_tilt_deg = 0.0;
        spec.setup.vehicle_yaw_deg = 0.0;
        spec.setup.slope_percent = 0.0;
        spec.setup.cross_percent = 0.0;
        spec.beam.fringe_deg = 0.0;
        (spec.sensor.lamp_red, spec.sensor.lamp_blue) = (1.0, 1.0);
        let lights = Lights::new(&spec);
        let point = [spec.lamp_x_mm(), spec.setup.height_mm, 7_620.0];
        let expected = lights.lamp_alone_cd(0.0, 0.0) / 50_000.0 * 861.1;
        let found = lights.lamps_lux(point, [0.0, 0.0, 1.0])[1];
        assert!((found / expected - 1.0).abs() < 2e-3, "{found} lx, expected {expected}");
    }
}

//! Synthetic marks of a wall: a camera in space, a lens, and marks that stand slightly off, drawn from a seed.

use lampwright::bay::Bay;
use lampwright::marks::{FoundMark, Marks, MissingMark};
use lampwright::units::{PxPoint, WallPoint};
use lampwright::wall::CameraFacts;
use std::fmt::Write as _;

/// Small generator with a fixed sequence (`SplitMix64`, Steele, Lea and Flood 2014; from memory).
#[derive(Debug, Clone, Copy)]
pub(crate) struct Seed(u64);

impl Seed {
    pub(crate) fn new(seed: u64) -> Self {
        Self(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) ^ 0x5851_F42D_4C95_7F2D)
    }

    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    /// Even over a range.
    pub(crate) fn uniform(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * ((self.next() >> 11) as f64 / (1_u64 << 53) as f64)
    }

    /// Normal deviate by Box and Muller.
    pub(crate) fn normal(&mut self) -> f64 {
        let (u, v) = (self.uniform(1e-12, 1.0), self.uniform(0.0, 1.0));
        (-2.0 * u.ln()).sqrt() * (std::f64::consts::TAU * v).cos()
    }
}

/// A pinhole camera in front of the wall, wall plane z = 0, camera at negative z looking along +z.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Camera {
    pub width: f64,
    pub height: f64,
    pub focal: f64,
    pub axis: (f64, f64),
    pub k1: f64,
    pub k2: f64,
    /// Place of the camera, mm: right, up, before the wall.
    pub place: [f64; 3],
    /// Pan to the right, tilt up, roll, radians.
    pub turn: [f64; 3],
}

impl Camera {
    pub(crate) fn project(&self, point: WallPoint) -> PxPoint {
        let [dx, dy, dz] = [point.x_mm - self.place[0], point.y_mm - self.place[1], self.place[2]];
        let (sp, cp) = self.turn[0].sin_cos();
        let (x1, z1) = (cp * dx - sp * dz, sp * dx + cp * dz);
        let (st, ct) = self.turn[1].sin_cos();
        let (y2, z2) = (ct * dy - st * z1, st * dy + ct * z1);
        let (sr, cr) = self.turn[2].sin_cos();
        let (x3, y3) = (cr * x1 + sr * y2, -sr * x1 + cr * y2);
        let (x, y) = (x3 / z2, -y3 / z2);
        let s = x * x + y * y;
        let bent = 1.0 + self.k1 * s + self.k2 * s * s;
        PxPoint::new(self.axis.0 + self.focal * x * bent, self.axis.1 + self.focal * y * bent)
    }
}

#[derive(Debug, Clone, Copy)]
pub(crate) enum Layout {
    Tags(usize),
    /// Four tags from 10 to 13 m away: 40 to 60 px across.
    FarTags,
    Quadrants(usize),
    /// Two tags on the left, three quadrants on the right.
    Mixed,
}

pub(crate) struct Scene {
    pub camera: Camera,
    pub bay: Bay,
    pub marks: Marks,
    focal_35mm: f64,
    seed: Seed,
    truth: Vec<[PxPoint; 5]>,
    walls: Vec<Stuck>,
}

/// A mark as it really hangs on the wall.
#[derive(Clone, Copy)]
struct Stuck {
    x: f64,
    y: f64,
    half: f64,
    turn: f64,
}

impl Stuck {
    fn points(&self, camera: &Camera) -> [PxPoint; 5] {
        let (s, c) = self.turn.sin_cos();
        [(0.0, 0.0), (-1.0, 1.0), (1.0, 1.0), (1.0, -1.0), (-1.0, -1.0)].map(|(u, v)| {
            let (u, v) = (u * self.half, v * self.half);
            camera.project(WallPoint::new(self.x + c * u - s * v, self.y + s * u + c * v))
        })
    }
}

const CORNER_SIGMA_PX: f64 = 0.12;
const CENTRE_SIGMA_PX: f64 = 0.15;
const MARKS_MM: f64 = 0.6;
const PLACES: [(f64, f64); 6] =
    [(-1800.0, 1450.0), (1800.0, 1500.0), (1700.0, 380.0), (-1850.0, 330.0), (150.0, 1600.0), (-100.0, 250.0)];

impl Scene {
    pub(crate) fn new(layout: Layout, mut seed: Seed) -> Self {
        let k1 = 0.03 * seed.normal();
        let k2 = 0.03 * seed.normal();
        Self::with_lens(layout, seed, k1, k2)
    }

    pub(crate) fn with_lens(layout: Layout, mut seed: Seed, k1: f64, k2: f64) -> Self {
        let back = match layout {
            Layout::FarTags => seed.uniform(10_000.0, 13_000.0),
            _ => seed.uniform(5000.0, 8500.0),
        };
        let (right, up) = (seed.uniform(-1500.0, 1500.0), seed.uniform(1000.0, 1900.0));
        let focal_35mm = seed.uniform(23.0, 30.0_f64);
        let camera = Camera {
            width: 4032.0,
            height: 3024.0,
            focal: focal_35mm * 5040.0 / 43.266_615,
            axis: (2016.0 + 10.0 * seed.normal(), 1512.0 + 10.0 * seed.normal()),
            k1,
            k2,
            place: [right, up, back],
            // Turned towards the wall's middle, within a few degrees.
            turn: [
                -((right - seed.uniform(-300.0, 300.0)) / back).atan(),
                -((up - seed.uniform(700.0, 1100.0)) / back).atan(),
                seed.uniform(-0.05, 0.05),
            ],
        };
        let kinds: Vec<bool> = match layout {
            Layout::Tags(count) => vec![true; count],
            Layout::FarTags => vec![true; 4],
            Layout::Quadrants(count) => vec![false; count],
            Layout::Mixed => vec![true, false, false, true, false],
        };
        let mut text = format!(
            "schema = \"lampwright/bay/1\"\nid = \"b\"\nname = \"B\"\n[wall]\ndistance_mm = 10000.0\n[uncertainty]\nmarks_mm = {MARKS_MM}\n"
        );
        let mut walls = Vec::new();
        for (n, is_tag) in kinds.iter().enumerate() {
            let (x, y) = (PLACES[n].0 + seed.uniform(-100.0, 100.0), PLACES[n].1 + seed.uniform(-80.0, 80.0));
            let size = seed.uniform(140.0, 200.0).round();
            let kind = if *is_tag { "tag36h11" } else { "quadrant" };
            let _ = write!(
                text,
                "[[marks]]\nkind = \"{kind}\"\nid = {}\nsize_mm = {size:.1}\nx_mm = {x:.3}\ny_mm = {y:.3}\n",
                n + 3
            );
            walls.push(Stuck {
                x: x + MARKS_MM * seed.normal(),
                y: y + MARKS_MM * seed.normal(),
                half: 0.5 * size * (1.0 + 0.003 * seed.normal()),
                turn: 0.5_f64.to_radians() * seed.normal(),
            });
        }
        let bay = Bay::parse(&text, "b").expect("a sound bay file");
        let truth = walls.iter().map(|stuck| stuck.points(&camera)).collect();
        let mut scene = Self { camera, bay, marks: Marks::default(), focal_35mm, seed, truth, walls };
        scene.find_marks();
        scene
    }

    /// What a mark detector would give: true places with noise.
    fn find_marks(&mut self) {
        let seed = &mut self.seed;
        let mut noisy =
            |place: PxPoint, sigma: f64| PxPoint::new(place.x + sigma * seed.normal(), place.y + sigma * seed.normal());
        let is_tag = |n: usize| self.bay.marks[n].kind == lampwright::bay::MarkKind::Tag36h11;
        self.marks.found = self
            .truth
            .iter()
            .enumerate()
            .map(|(n, places)| FoundMark {
                index: n,
                id: self.bay.marks[n].id,
                centre: noisy(places[0], CENTRE_SIGMA_PX),
                centre_sigma_px: CENTRE_SIGMA_PX,
                corners: is_tag(n)
                    .then(|| [places[1], places[2], places[3], places[4]].map(|place| noisy(place, CORNER_SIGMA_PX))),
                corner_sigma_px: if is_tag(n) { CORNER_SIGMA_PX } else { 0.0 },
                is_by_hand: false,
            })
            .collect();
    }

    /// Moves one mark on the wall by this distance in a random direction; gives its id.
    pub(crate) fn move_one_mark(&mut self, distance_mm: f64) -> u32 {
        let n = (self.seed.uniform(0.0, self.walls.len() as f64) as usize).min(self.walls.len() - 1);
        let angle = self.seed.uniform(0.0, std::f64::consts::TAU);
        self.walls[n].x += distance_mm * angle.cos();
        self.walls[n].y += distance_mm * angle.sin();
        self.truth[n] = self.walls[n].points(&self.camera);
        self.find_marks();
        self.bay.marks[n].id
    }

    pub(crate) fn facts(&self) -> CameraFacts {
        CameraFacts {
            width: self.camera.width as usize,
            height: self.camera.height as usize,
            focal_35mm: Some(self.focal_35mm.round()),
            lens: None,
        }
    }
}

impl Scene {
    /// Finds the marks again with noise `factor` times what is stated.
    pub(crate) fn find_noisier(&mut self, factor: f64) {
        self.find_marks();
        let truth = self.truth.clone();
        for (found, truth) in self.marks.found.iter_mut().zip(truth) {
            let grow = |place: &mut PxPoint, truth: PxPoint| {
                *place = PxPoint::new(truth.x + factor * (place.x - truth.x), truth.y + factor * (place.y - truth.y));
            };
            grow(&mut found.centre, truth[0]);
            if let Some(corners) = &mut found.corners {
                for (n, corner) in corners.iter_mut().enumerate() {
                    grow(corner, truth[n + 1]);
                }
            }
        }
    }

    /// Loses the mark at this place of the bay file.
    pub(crate) fn lose(&mut self, index: usize) {
        self.marks.found.retain(|found| found.index != index);
        self.marks.missing.push(MissingMark { index, id: self.bay.marks[index].id, expected: None });
    }

    /// Where the mark at this place of the bay file really is in the photo.
    pub(crate) fn true_centre(&self, index: usize) -> PxPoint {
        self.truth[index][0]
    }
}

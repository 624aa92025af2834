//! The wall's light on a regular grid of beam directions (H, V) seen from the lamp.
//!
//! **Takes** the linear photo, the wall's place in it and the lamp's set-up. **Gives** an [`AngleGrid`]: per cell the mean
//! linear red, green and blue over the cell's own footprint in the photo (pixels by the part of them that it covers), the
//! share of clipped light and whether the cell shows the wall. Cells on reference marks, below the floor line or outside
//! the photo are not valid. **How**: pixel places are computed exactly at nodes 0.5 degrees apart and interpolated between
//! them; at phone scales the perspective's curvature over such a patch stays below 0.01 px.

use super::black::DarkNoise;
use super::options::GridOptions;
use super::window::{Footprint, LightWindow};
use crate::bay::{Bay, LampSetup};
use crate::photo::LinearImage;
use crate::units::{AnglePoint, PxPoint, WallPoint};
use crate::wall::{WallView, geometry};
use rayon::prelude::*;

/// One axis of the grid: centres at `first + i·step`, degrees.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Axis {
    /// Centre of the first cell.
    pub first_deg: f64,
    /// Distance between centres.
    pub step_deg: f64,
    /// Number of cells.
    pub count: usize,
}

impl Axis {
    /// An axis from `from` to `to`.
    pub fn spanning(from_deg: f64, to_deg: f64, step_deg: f64) -> Self {
        Self { first_deg: from_deg, step_deg, count: ((to_deg - from_deg) / step_deg).round() as usize + 1 }
    }

    /// Centre of cell `i`, degrees.
    pub fn at_deg(&self, i: usize) -> f64 {
        self.first_deg + i as f64 * self.step_deg
    }

    /// Nearest cell to an angle, clamped to the axis.
    pub fn nearest(&self, deg: f64) -> usize {
        (((deg - self.first_deg) / self.step_deg).round().max(0.0) as usize).min(self.count.saturating_sub(1))
    }
}

/// Light on a grid of beam directions.
#[derive(Debug, Clone)]
pub struct AngleGrid {
    /// Horizontal axis.
    pub h: Axis,
    /// Vertical axis.
    pub v: Axis,
    /// Mean linear red, green, blue per cell, rows of V from the bottom, H running fastest.
    pub rgb: Vec<[f32; 3]>,
    /// Share of clipped light per cell, 0 to 1.
    pub clipped: Vec<f32>,
    /// Whether the cell shows the bare wall.
    pub is_valid: Vec<bool>,
    /// Luminous intensity per unit of wall illuminance: distance² / cos(incidence), relative to the wall's foot point.
    pub intensity_factor: Vec<f32>,
    /// Of a photo whose noise reaches black: what that did.
    pub dark: Option<DarkNoise>,
}

impl AngleGrid {
    /// Index of the cell in column `i` and row `j`.
    pub fn index(&self, i: usize, j: usize) -> usize {
        j * self.h.count + i
    }
}

/// Distance between nodes where pixel places are computed exactly, degrees.
const NODE_STEP_DEG: f64 = 0.5;
/// Nodes along each side of a patch whose pixels are made light together.
const PATCH_NODES: usize = 4;
/// Rows of nodes in a band, the part that one thread fills.
const BAND_NODES: usize = 2;

/// Resamples the photo on the lamp's angle axes.
pub fn resample(
    image: &LinearImage<'_>,
    view: &WallView,
    setup: &LampSetup,
    bay: &Bay,
    options: &GridOptions,
) -> AngleGrid {
    let h = Axis::spanning(-options.half_width_deg, options.half_width_deg, options.step_h_deg);
    let v = Axis::spanning(options.bottom_deg, options.top_deg, options.step_v_deg);
    let cells = h.count * v.count;
    let mut grid = AngleGrid {
        h,
        v,
        rgb: vec![[0.0; 3]; cells],
        clipped: vec![0.0; cells],
        is_valid: vec![false; cells],
        intensity_factor: vec![1.0; cells],
        dark: None,
    };
    if cells == 0 {
        return grid;
    }
    let nodes = Nodes::of(view, setup, h, v);
    let (columns, rows) = (Nodes::shares(h, nodes.h), Nodes::shares(v, nodes.v));
    let bare = Bare::of(bay, setup, options);
    // Bands of rows share no cell, so each is filled by itself.
    let band_rows = ((BAND_NODES as f64 * NODE_STEP_DEG / options.step_v_deg).round() as usize).max(1);
    let band_cells = band_rows * h.count;
    let lines = grid.rgb.par_chunks_mut(band_cells).zip(grid.clipped.par_chunks_mut(band_cells));
    let facts = grid.is_valid.par_chunks_mut(band_cells).zip(grid.intensity_factor.par_chunks_mut(band_cells));
    let bands = lines.zip(facts).zip(rows.par_chunks(band_rows));
    bands.for_each(|(((rgb, clipped), (is_valid, factor)), rows)| {
        let mut band = Band { rgb, clipped, is_valid, factor, columns: h.count };
        let mut window = LightWindow::new(image);
        for patch in Nodes::patches(&columns, rows) {
            let steps = (options.step_h_deg / NODE_STEP_DEG, options.step_v_deg / NODE_STEP_DEG);
            window.load(nodes.corners(&patch), nodes.reach(&patch, steps));
            band.fill(&window, &nodes, &patch, steps, &bare);
        }
    });
    grid
}

/// The cells of a band of rows.
struct Band<'a> {
    rgb: &'a mut [[f32; 3]],
    clipped: &'a mut [f32],
    is_valid: &'a mut [bool],
    factor: &'a mut [f32],
    columns: usize,
}

impl Band<'_> {
    /// Fills the cells of one patch.
    fn fill(&mut self, window: &LightWindow<'_>, nodes: &Nodes, patch: &Patch<'_>, scale: (f64, f64), bare: &Bare) {
        let mut left = patch.first_column;
        for columns in patch.columns.chunk_by(|a, b| a.0 == b.0) {
            let mut top = 0;
            for rows in patch.rows.chunk_by(|a, b| a.0 == b.0) {
                if let Some(four) = nodes.around(columns[0].0, rows[0].0) {
                    self.fill_between(window, four, (left, columns), (top, rows), scale, bare);
                }
                top += rows.len();
            }
            left += columns.len();
        }
    }

    /// Fills the cells between four nodes, which begin at a column and a row of the band.
    fn fill_between(
        &mut self,
        window: &LightWindow<'_>,
        four: [&Node; 4],
        (left, columns): (usize, &[(usize, f64)]),
        (top, rows): (usize, &[(usize, f64)]),
        scale: (f64, f64),
        bare: &Bare,
    ) {
        let [a, b, c, d] = four;
        let footprint = footprint(four, scale);
        let crossed = bare.crossed(four.map(|node| node.wall));
        for (j, &(_, fv)) in rows.iter().enumerate() {
            let (first, last) = (Node::between(a, c, fv), Node::between(b, d, fv));
            for (i, &(_, fh)) in columns.iter().enumerate() {
                let node = Node::between(&first, &last, fh);
                if crossed.iter().any(|covered| covered.holds(node.wall)) {
                    continue;
                }
                if let Some((rgb, clipped)) = window.mean(&footprint, node.place) {
                    let k = (top + j) * self.columns + left + i;
                    self.rgb[k] = rgb;
                    self.clipped[k] = clipped;
                    self.is_valid[k] = true;
                    self.factor[k] = node.factor as f32;
                }
            }
        }
    }
}

/// The footprint of a cell between four nodes; `scale` is a cell's size against the nodes' distance, H and V.
fn footprint([a, b, c, d]: [&Node; 4], (scale_h, scale_v): (f64, f64)) -> Footprint {
    let mean = |from: [&Node; 2], to: [&Node; 2], scale: f64| {
        let half = 0.5 * scale;
        PxPoint::new(
            (to[0].place.x - from[0].place.x + to[1].place.x - from[1].place.x) * half,
            (to[0].place.y - from[0].place.y + to[1].place.y - from[1].place.y) * half,
        )
    };
    Footprint::of(mean([a, c], [b, d], scale_h), mean([a, b], [c, d], scale_v))
}

/// A place where everything is computed exactly.
#[derive(Debug, Clone, Copy)]
struct Node {
    wall: WallPoint,
    place: PxPoint,
    factor: f64,
}

impl Node {
    /// What lies a share of the way from one to another.
    #[inline]
    fn between(from: &Self, to: &Self, share: f64) -> Self {
        let mix = |a: f64, b: f64| a + share * (b - a);
        Self {
            wall: WallPoint::new(mix(from.wall.x_mm, to.wall.x_mm), mix(from.wall.y_mm, to.wall.y_mm)),
            place: PxPoint::new(mix(from.place.x, to.place.x), mix(from.place.y, to.place.y)),
            factor: mix(from.factor, to.factor),
        }
    }
}

/// The nodes, rows of V from the bottom.
struct Nodes {
    h: Axis,
    v: Axis,
    at: Vec<Option<Node>>,
}

/// A rectangle of cells whose pixels are read together: per column and row the node before it and the share of the way
/// to the next one.
struct Patch<'a> {
    first_column: usize,
    columns: &'a [(usize, f64)],
    rows: &'a [(usize, f64)],
}

impl Nodes {
    fn of(view: &WallView, setup: &LampSetup, h: Axis, v: Axis) -> Self {
        let h = Axis::spanning(h.first_deg, h.at_deg(h.count - 1) + NODE_STEP_DEG, NODE_STEP_DEG);
        let v = Axis::spanning(v.first_deg, v.at_deg(v.count - 1) + NODE_STEP_DEG, NODE_STEP_DEG);
        let reference = setup.distance.get().powi(2);
        let node = |k: usize| {
            let at = AnglePoint::new(h.at_deg(k % h.count), v.at_deg(k / h.count));
            let wall = geometry::wall_point(setup, at)?;
            let ray = geometry::solid(setup, wall);
            let factor = ray.distance_mm.powi(2) / ray.cos_incidence / reference;
            Some(Node { wall, place: view.to_px(wall), factor })
        };
        Self { h, v, at: (0..h.count * v.count).map(node).collect() }
    }

    /// Per cell of an axis the node before it and the share of the way to the next.
    fn shares(cells: Axis, nodes: Axis) -> Vec<(usize, f64)> {
        let place = |i: usize| (cells.at_deg(i) - nodes.first_deg) / NODE_STEP_DEG;
        (0..cells.count).map(|i| (place(i) as usize, place(i).fract())).collect()
    }

    fn patches<'a>(columns: &'a [(usize, f64)], rows: &'a [(usize, f64)]) -> impl Iterator<Item = Patch<'a>> + use<'a> {
        let mut first_column = 0;
        columns.chunk_by(|a, b| a.0 / PATCH_NODES == b.0 / PATCH_NODES).map(move |columns| {
            let patch = Patch { first_column, columns, rows };
            first_column += columns.len();
            patch
        })
    }

    fn at(&self, i: usize, j: usize) -> Option<&Node> {
        self.at[j.min(self.v.count - 1) * self.h.count + i.min(self.h.count - 1)].as_ref()
    }

    fn around(&self, i: usize, j: usize) -> Option<[&Node; 4]> {
        Some([self.at(i, j)?, self.at(i + 1, j)?, self.at(i, j + 1)?, self.at(i + 1, j + 1)?])
    }

    /// How far the footprints of a patch's cells reach from their middles.
    fn reach(&self, patch: &Patch<'_>, scale: (f64, f64)) -> PxPoint {
        let columns = patch.columns.chunk_by(|a, b| a.0 == b.0).map(|columns| columns[0].0);
        let rows = || patch.rows.chunk_by(|a, b| a.0 == b.0).map(|rows| rows[0].0);
        columns
            .flat_map(|i| rows().filter_map(move |j| self.around(i, j)))
            .map(|four| footprint(four, scale).reach())
            .fold(PxPoint::default(), |most, reach| PxPoint::new(most.x.max(reach.x), most.y.max(reach.y)))
    }

    /// Box in the photo that holds the patch's nodes.
    fn corners(&self, patch: &Patch<'_>) -> Option<(PxPoint, PxPoint)> {
        let (first, last) = (patch.columns.first()?.0, patch.columns.last()?.0 + 1);
        let (bottom, top) = (patch.rows.first()?.0, patch.rows.last()?.0 + 1);
        let places: Vec<PxPoint> = (bottom..=top)
            .flat_map(|j| (first..=last).filter_map(move |i| self.at(i, j)))
            .map(|node| node.place)
            .collect();
        let low = places.iter().fold((f64::INFINITY, f64::INFINITY), |low, p| (low.0.min(p.x), low.1.min(p.y)));
        let high =
            places.iter().fold((f64::NEG_INFINITY, f64::NEG_INFINITY), |high, p| (high.0.max(p.x), high.1.max(p.y)));
        (low.0 <= high.0 && low.1 <= high.1).then_some((PxPoint::new(low.0, low.1), PxPoint::new(high.0, high.1)))
    }
}

/// A rectangle on the wall that is not bare: a mark with what is white around it, or all below the floor line; mm.
#[derive(Debug, Clone, Copy)]
struct Covered {
    left: f64,
    right: f64,
    bottom: f64,
    top: f64,
}

impl Covered {
    fn holds(&self, wall: WallPoint) -> bool {
        wall.x_mm > self.left && wall.x_mm < self.right && wall.y_mm > self.bottom && wall.y_mm < self.top
    }
}

/// The bare wall: above the floor line and off the marks.
pub(super) struct Bare(Vec<Covered>);

impl Bare {
    pub(super) fn of(bay: &Bay, setup: &LampSetup, options: &GridOptions) -> Self {
        let floor = Covered {
            left: f64::NEG_INFINITY,
            right: f64::INFINITY,
            bottom: f64::NEG_INFINITY,
            top: geometry::floor_line_mm(setup) + options.bare.floor_margin_mm,
        };
        let on_marks = bay.marks.iter().map(|mark| {
            let reach = mark.size.get() * options.bare.mark_half_side;
            let (x, y) = (mark.centre.x_mm, mark.centre.y_mm - setup.marks_lowered.get());
            Covered { left: x - reach, right: x + reach, bottom: y - reach, top: y + reach }
        });
        Self(std::iter::once(floor).chain(on_marks).collect())
    }

    /// What of it lies within a box around places.
    fn crossed(&self, places: [WallPoint; 4]) -> Vec<Covered> {
        let span = |of: fn(&WallPoint) -> f64| {
            let values = places.iter().map(of);
            values.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| (low.min(v), high.max(v)))
        };
        let ((left, right), (bottom, top)) = (span(|place| place.x_mm), span(|place| place.y_mm));
        let is_near = |c: &&Covered| left < c.right && right > c.left && bottom < c.top && top > c.bottom;
        self.0.iter().filter(is_near).copied().collect()
    }

    /// Whether a place on the wall shows it.
    pub(super) fn holds(&self, wall: WallPoint) -> bool {
        !self.0.iter().any(|covered| covered.holds(wall))
    }
}

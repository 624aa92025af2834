//! The wall's light in blocks of the grid, as the hot spot's fit takes it: log intensity from whatever channels still tell it.
//!
//! A phone clips one channel first. Where that happens the others still carry the lamp's shape, scaled by the ratio that
//! they have to the luminance where nothing is clipped (the lamp's and the wall's colour are one and the same all over).

use super::light::ToneCurve;
use super::options::BeamOptions;
use super::room::RoomLight;
use crate::grid::AngleGrid;
use crate::photo::linear::LUMINANCE_WEIGHTS;

/// Size of a block in cells of the grid: 0.4 by 0.12 degrees with the default grid, finer than any lamp's top.
const BLOCK_H: usize = 8;
const BLOCK_V: usize = 6;

/// One block of wall.
#[derive(Debug, Clone, Copy)]
pub struct SpotCell {
    /// H of its centre, degrees.
    pub h_deg: f64,
    /// V of its centre, degrees.
    pub v_deg: f64,
    /// Natural log of the lamp's relative intensity; `None` where every channel is clipped or no lamp's light is left.
    pub ln_level: Option<f64>,
    /// Change of that log when the tone curve's strength grows by its standard uncertainty.
    pub ln_tone: f64,
    /// Whether any channel is clipped.
    pub is_clipped: bool,
}

/// Blocks of the visible wall, on a lattice with holes.
#[derive(Debug)]
pub struct SpotCells {
    /// Blocks along H.
    pub width: usize,
    /// Blocks along V.
    pub height: usize,
    /// Distance of the blocks' centres along H, degrees.
    pub step_h_deg: f64,
    /// Distance of the blocks' centres along V, degrees.
    pub step_v_deg: f64,
    /// Rows of V from the bottom, H running fastest; `None` where the bare wall is not seen.
    pub cells: Vec<Option<SpotCell>>,
}

struct Block {
    h_deg: f64,
    v_deg: f64,
    rgb: [f64; 3],
    clipped: f64,
    factor: f64,
    /// Highest of each channel in the middle half.
    upper: [f32; 3],
}

impl SpotCells {
    /// Blocks of `grid`: `tone` undoes the camera's curve, `other_tone` is the curve one standard uncertainty stronger.
    /// `gain` is what the wall reflects in a direction against the rest.
    pub fn new(
        grid: &AngleGrid,
        tones: (&ToneCurve, &ToneCurve),
        room: &RoomLight,
        gain: &dyn Fn(f64, f64) -> f64,
        options: &BeamOptions,
    ) -> Self {
        let (width, height) = (grid.h.count / BLOCK_H, grid.v.count / BLOCK_V);
        let corner = |k: usize| (BLOCK_H * (k % width), BLOCK_V * (k / width));
        let mut blocks: Vec<Option<Block>> = (0..width * height).map(|k| block(grid, corner(k))).collect();
        let green = blocks.iter().flatten().map(|block| block.rgb[1]).fold(0.0, f64::max);
        for (k, block) in blocks.iter_mut().enumerate() {
            if let Some(block) = block.as_mut().filter(|block| block.rgb[1] > options.spot.dark_share * green) {
                take_middle_half(block, grid, corner(k));
            }
        }
        let light = |tone: &ToneCurve, block: &Block| block.rgb.map(|level| f64::from(tone.level(level as f32)));
        let ratios = ratios(&blocks, &|block| light(tones.0, block), options);
        let cells = blocks
            .iter()
            .map(|block| {
                let block = block.as_ref()?;
                let is_clipped = block.clipped > options.spot.clipped_share;
                let usable = block.upper.map(|level| !is_clipped || level < options.spot.safe_level);
                let ln = |tone: &ToneCurve| {
                    let rgb = light(tone, block);
                    let (mut sum, mut weights) = (0.0, 0.0);
                    for c in (0..3).filter(|&c| usable[c]) {
                        let weight = f64::from(LUMINANCE_WEIGHTS[c]);
                        sum += weight * rgb[c];
                        weights += weight * ratios[c];
                    }
                    let level = sum / weights / gain(block.h_deg, block.v_deg) - room.at(block.h_deg, block.v_deg);
                    (weights > 0.0 && level > 0.0).then(|| (level * block.factor).ln())
                };
                let ln_level = ln(tones.0);
                let ln_tone = ln_level.zip(ln(tones.1)).map_or(0.0, |(here, there)| there - here);
                Some(SpotCell { h_deg: block.h_deg, v_deg: block.v_deg, ln_level, ln_tone, is_clipped })
            })
            .collect();
        let (step_h_deg, step_v_deg) = (BLOCK_H as f64 * grid.h.step_deg, BLOCK_V as f64 * grid.v.step_deg);
        Self { width, height, step_h_deg, step_v_deg, cells }
    }

    /// Whether the wall is seen at a direction and all around it.
    pub fn is_seen(&self, h_deg: f64, v_deg: f64) -> bool {
        let near = |cell: &&SpotCell| {
            (cell.h_deg - h_deg).abs() < 1.1 * self.step_h_deg && (cell.v_deg - v_deg).abs() < 1.1 * self.step_v_deg
        };
        let around: Vec<&SpotCell> = self.cells.iter().flatten().filter(near).collect();
        around.iter().any(|cell| cell.h_deg < h_deg)
            && around.iter().any(|cell| cell.h_deg > h_deg)
            && around.iter().any(|cell| cell.v_deg < v_deg)
            && around.iter().any(|cell| cell.v_deg > v_deg)
    }
}

/// Mean of a block's valid cells; `None` when fewer than half are.
fn block(grid: &AngleGrid, (first_i, first_j): (usize, usize)) -> Option<Block> {
    let (mut rgb, mut clipped, mut factor, mut count) = ([0.0f64; 3], 0.0, 0.0, 0usize);
    for j in first_j..first_j + BLOCK_V {
        for i in first_i..first_i + BLOCK_H {
            let k = grid.index(i, j);
            if grid.is_valid[k] {
                for (sum, level) in rgb.iter_mut().zip(grid.rgb[k]) {
                    *sum += f64::from(level);
                }
                clipped += f64::from(grid.clipped[k]);
                factor += f64::from(grid.intensity_factor[k]);
                count += 1;
            }
        }
    }
    if 2 * count < BLOCK_H * BLOCK_V {
        return None;
    }
    let n = count as f64;
    Some(Block {
        h_deg: grid.h.at_deg(first_i) + 0.5 * (BLOCK_H - 1) as f64 * grid.h.step_deg,
        v_deg: grid.v.at_deg(first_j) + 0.5 * (BLOCK_V - 1) as f64 * grid.v.step_deg,
        rgb: rgb.map(|sum| sum / n),
        clipped: clipped / n,
        factor: factor / n,
        upper: [1.0; 3],
    })
}

/// Replaces the means by those of the middle half of the cells, in order of their luminance: joints, marks and grit that cover
/// less than a quarter weigh nothing, and neither does it matter that light joints are clipped before the bricks are.
fn take_middle_half(block: &mut Block, grid: &AngleGrid, (first_i, first_j): (usize, usize)) {
    let (mut cells, mut count) = ([(0.0f32, 0usize); BLOCK_H * BLOCK_V], 0);
    for j in first_j..first_j + BLOCK_V {
        for i in first_i..first_i + BLOCK_H {
            let k = grid.index(i, j);
            if grid.is_valid[k] {
                let luminance = grid.rgb[k].iter().zip(LUMINANCE_WEIGHTS).map(|(level, weight)| level * weight).sum();
                cells[count] = (luminance, k);
                count += 1;
            }
        }
    }
    let cut = count / 4;
    let cells = &mut cells[..count];
    let by_luminance = |a: &(f32, usize), b: &(f32, usize)| a.0.total_cmp(&b.0);
    cells.select_nth_unstable_by(cut, by_luminance);
    cells[cut..].select_nth_unstable_by(count - 2 * cut - 1, by_luminance);
    let kept = &cells[cut..count - cut];
    let (mut sums, mut highest) = ([0.0f32; 3], [0.0f32; 3]);
    for (_, k) in kept {
        for (c, level) in grid.rgb[*k].into_iter().enumerate() {
            sums[c] += level;
            highest[c] = highest[c].max(level);
        }
    }
    block.rgb = sums.map(|sum| f64::from(sum) / kept.len() as f64);
    block.upper = highest;
}

/// Red, green and blue light against luminance where nothing is clipped and the lamp is bright.
fn ratios(blocks: &[Option<Block>], light: &impl Fn(&Block) -> [f64; 3], options: &BeamOptions) -> [f64; 3] {
    let luminance = |rgb: &[f64; 3]| (0..3).map(|c| f64::from(LUMINANCE_WEIGHTS[c]) * rgb[c]).sum::<f64>();
    let whole: Vec<([f64; 3], f64)> = blocks
        .iter()
        .flatten()
        .filter(|block| block.clipped <= options.spot.clipped_share)
        .map(|block| {
            let rgb = light(block);
            (rgb, luminance(&rgb))
        })
        .collect();
    let brightest = whole.iter().map(|(_, y)| *y).fold(0.0, f64::max);
    let (mut sums, mut total) = ([0.0; 3], 0.0);
    for (rgb, y) in whole.iter().filter(|(_, y)| *y > options.spot.ratio_share * brightest) {
        sums = [0, 1, 2].map(|c| sums[c] + rgb[c]);
        total += y;
    }
    if total > 0.0 { sums.map(|sum| sum / total) } else { [1.0; 3] }
}

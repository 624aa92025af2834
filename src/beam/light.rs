//! The grid as luminance under an assumed tone curve, cut into vertical scans.
//!
//! Phones put an S-shaped curve on top of sRGB. It is described here by one strength `a` (0: plain sRGB) in the encoded
//! domain, `y = x + a·(3x² - 2x³ - x)`: our own one-parameter family through black, mid-grey and white.

use super::edge::Scan;
use super::options::BeamOptions;
use super::wall_gains::WallGains;
use crate::grid::AngleGrid;
use crate::photo::linear::{LUMINANCE_WEIGHTS, linear_to_srgb, srgb_to_linear};

/// Entries of the table of a tone curve.
const TABLE: usize = 2048;

/// Weaker curves count as none.
const PLAIN_STRENGTH: f64 = 1e-9;

/// Undoes the camera's tone curve of one strength.
#[derive(Debug, Clone)]
pub struct ToneCurve {
    /// True light over the square root of the light that was read: fine steps in the dark.
    table: Vec<f32>,
    strength: f64,
    is_plain: bool,
}

/// The S-curve in the encoded domain, 0..1 to 0..1.
pub fn s_curve(encoded: f64, strength: f64) -> f64 {
    encoded + strength * s_bend(encoded)
}

/// What strength 1 adds to an encoded value.
pub fn s_bend(encoded: f64) -> f64 {
    3.0 * encoded * encoded - 2.0 * encoded.powi(3) - encoded
}

/// Slope of [`s_bend`].
pub fn s_bend_slope(encoded: f64) -> f64 {
    6.0 * encoded - 6.0 * encoded * encoded - 1.0
}

/// The encoded value, 0..1, that the S-curve takes to `target`.
pub fn inverse_s_curve(target: f64, strength: f64) -> f64 {
    inverse_from(target, target, strength, 0.0)
}

/// Newton's method from a first guess; it stays in 0..1.
fn inverse_from(start: f64, target: f64, strength: f64, lean: f64) -> f64 {
    const STEPS: usize = 30;
    /// Where the curve is flat (strengths near 1 at its ends) Newton's steps are shortened.
    const LEAST_SLOPE: f64 = 0.05;
    const CLOSE: f64 = 1e-9;
    let mut x = start;
    for _ in 0..STEPS {
        let (side, bend) = (1.0 - 2.0 * x, s_bend(x));
        let slope = 1.0 + (strength + lean * side) * s_bend_slope(x) - 2.0 * lean * bend;
        let next = (x - (x + (strength + lean * side) * bend - target) / slope.max(LEAST_SLOPE)).clamp(0.0, 1.0);
        let is_done = (next - x).abs() < CLOSE;
        x = next;
        if is_done {
            break;
        }
    }
    x
}

impl ToneCurve {
    /// The inverse of the curve with strength `a`.
    pub fn new(strength: f64) -> Self {
        Self::leaning(strength, 0.0)
    }

    /// The inverse of a curve that is not even about mid-grey: `y = x + (a + b·(1 - 2x))·(3x² - 2x³ - x)`. Cameras' curves
    /// differ in shape as well as in strength.
    pub fn leaning(strength: f64, lean: f64) -> Self {
        let mut table = Vec::with_capacity(TABLE + 2);
        let mut x = 0.0f64;
        for k in 0..=TABLE {
            let read = (k as f32 / TABLE as f32).powi(2);
            x = inverse_from(x, f64::from(linear_to_srgb(read)) / 255.0, strength, lean);
            table.push(srgb_to_linear((x * 255.0) as f32));
        }
        // The interpolation at full scale reads one entry further.
        table.push(table[TABLE]);
        Self { table, strength, is_plain: strength.abs().max(lean.abs()) < PLAIN_STRENGTH }
    }

    /// The inverse of another S with the same slope at mid-grey, a logistic curve between its ends. The stronger the curve, the
    /// more their toes differ, and the dark side of the cutoff lies in the toe.
    pub fn logistic(strength: f64) -> Self {
        let slope = 1.0 + 0.5 * strength.max(0.0);
        // (g/4)/tanh(g/4) = slope, by its series at first; it rises with g, so that Newton's method settles.
        let mut quarter = (3.0 * (slope - 1.0)).sqrt().max(1e-3);
        for _ in 0..20 {
            let tanh = quarter.tanh();
            let rise = 1.0 / tanh - quarter * (1.0 - tanh * tanh) / (tanh * tanh);
            quarter = (quarter - (quarter / tanh - slope) / rise.max(1e-3)).max(1e-3);
        }
        let (gain, foot) = (4.0 * quarter, 0.5 * (1.0 - quarter.tanh()));
        let mut curve = Self::new(strength);
        for (k, light) in curve.table[..=TABLE].iter_mut().enumerate() {
            let read = (k as f32 / TABLE as f32).powi(2);
            let share = foot + quarter.tanh() * f64::from(linear_to_srgb(read)) / 255.0;
            let x = 0.5 + (share / (1.0 - share)).ln() / gain;
            *light = srgb_to_linear((255.0 * x.clamp(0.0, 1.0)) as f32);
        }
        curve.table[TABLE + 1] = curve.table[TABLE];
        curve.is_plain = false;
        curve
    }

    /// Strength of the curve.
    pub fn strength(&self) -> f64 {
        self.strength
    }

    /// True light of a level that was read as plain sRGB.
    #[inline]
    pub fn level(&self, srgb_level: f32) -> f32 {
        if self.is_plain || srgb_level <= 0.0 {
            return srgb_level;
        }
        let at = srgb_level.min(1.0).sqrt() * TABLE as f32;
        // Truncation to a signed 32-bit number is the fastest floor of what is positive.
        let whole = at as i32;
        let (fraction, below) = (at - whole as f32, whole as usize);
        let (low, high) = (self.table[below], self.table[below + 1]);
        low + fraction * (high - low)
    }
}

/// The grid's luminance, one value a cell (NaN-free; cells that are not valid hold 0).
#[derive(Debug)]
pub struct LightGrid<'a> {
    /// The grid it was made from.
    pub grid: &'a AngleGrid,
    tone: ToneCurve,
    /// Reflectance of rows and columns against the rest of the wall, where they differ.
    gains: Option<&'a WallGains>,
    /// Share by which more was added by clipping at black than was taken off.
    more_black: f32,
    /// Luminance of every cell; none where only a few cells are asked for.
    levels: Vec<f32>,
    /// Blur of the photo as an angle, standard deviation, degrees.
    blur_deg: f64,
}

impl<'a> LightGrid<'a> {
    /// Luminance of the cells under a tone curve.
    pub fn new(grid: &'a AngleGrid, tone: &ToneCurve) -> Self {
        Self { grid, tone: tone.clone(), gains: None, more_black: 0.0, levels: Vec::new(), blur_deg: 0.0 }.with_levels()
    }

    /// The same, known to be blurred by so many degrees (standard deviation).
    #[must_use]
    pub fn with_blur(self, blur_deg: f64) -> Self {
        Self { blur_deg, ..self }
    }

    /// The same, with every cell's light divided by its gain.
    #[must_use]
    pub fn with_gains(self, gains: Option<&'a WallGains>) -> Self {
        let is_same = gains.is_none() && self.gains.is_none();
        if is_same { self } else { Self { gains, levels: Vec::new(), ..self }.with_levels() }
    }

    /// The same, with a share more taken off what clipping at black added; for a look at a few cells.
    #[must_use]
    pub fn with_more_black(&self, share: f32) -> Self {
        Self { tone: self.tone.clone(), more_black: share, levels: Vec::new(), ..*self }
    }

    /// The same wall under another tone curve, for a look at a few cells.
    #[must_use]
    pub fn in_tone(&self, tone: &ToneCurve) -> Self {
        Self { tone: tone.clone(), levels: Vec::new(), ..*self }
    }

    fn with_levels(self) -> Self {
        let columns = self.grid.h.count;
        let is_valid = &self.grid.is_valid;
        let levels = is_valid
            .iter()
            .enumerate()
            .map(|(k, valid)| if *valid { self.seen(k, (k % columns, k / columns)) } else { 0.0 });
        let levels = levels.collect();
        Self { levels, ..self }
    }

    /// What the wall reflects in a direction against the rest, as far as its rows and columns tell; beyond the grid as at its rim.
    pub fn gain_at(&self, h_deg: f64, v_deg: f64) -> f64 {
        let gain = self.gains.map(|gains| gains.at(self.grid.h.nearest(h_deg), self.grid.v.nearest(v_deg)));
        gain.map_or(1.0, f64::from)
    }

    /// The same for what is seen over many rows.
    pub fn gain_over_many_rows(&self, h_deg: f64, v_deg: f64) -> f64 {
        let gain = self.gains.map(|gains| gains.over_many_rows(self.grid.h.nearest(h_deg), self.grid.v.nearest(v_deg)));
        gain.map_or(1.0, f64::from)
    }

    /// Relative luminance of a cell; 0 where it is not valid.
    #[inline]
    pub fn level(&self, cell: usize) -> f32 {
        let columns = self.grid.h.count;
        self.levels.get(cell).copied().unwrap_or_else(|| self.seen(cell, (cell % columns, cell / columns)))
    }

    /// Luminance of a cell in a column and a row.
    fn seen(&self, cell: usize, (column, row): (usize, usize)) -> f32 {
        let [red, green, blue] = self.grid.rgb[cell];
        let [of_red, of_green, of_blue] = LUMINANCE_WEIGHTS;
        let level = of_red * self.tone.level(red) + of_green * self.tone.level(green) + of_blue * self.tone.level(blue);
        let level = level - self.grid.dark.as_ref().map_or(0.0, |dark| self.more_black * dark.added[cell]);
        self.gains.map_or(level, |gains| level / gains.at(column, row))
    }

    /// Mean light of a column between two heights; `None` where less than half of it is seen.
    pub fn mean_between(&self, h_deg: f64, from_deg: f64, to_deg: f64) -> Option<f64> {
        let grid = self.grid;
        if h_deg < grid.h.first_deg || h_deg > grid.h.at_deg(grid.h.count - 1) {
            return None;
        }
        let (i, rows) = (grid.h.nearest(h_deg), grid.v.nearest(from_deg)..=grid.v.nearest(to_deg));
        let count = rows.clone().count();
        let valid = rows.map(|j| grid.index(i, j)).filter(|&k| grid.is_valid[k]);
        let (sum, seen) = valid.fold((0.0, 0usize), |(sum, seen), k| (sum + f64::from(self.level(k)), seen + 1));
        (2 * seen > count).then(|| sum / seen as f64)
    }

    /// Relative luminance of every n-th valid cell, rising.
    pub fn sorted_levels(&self, every: usize) -> Vec<f32> {
        let valid = (0..self.grid.rgb.len()).step_by(every).filter(|&k| self.grid.is_valid[k]);
        let mut levels: Vec<f32> = valid.map(|k| self.level(k)).collect();
        levels.sort_by(f32::total_cmp);
        levels
    }

    /// Plain mean light over the columns within `half_width_deg` of `h_deg`: V and light of every n-th row.
    pub fn column(&self, h_deg: f64, half_width_deg: f64, every: usize) -> Vec<(f64, f64)> {
        let grid = self.grid;
        let (left, right) = (grid.h.nearest(h_deg - half_width_deg), grid.h.nearest(h_deg + half_width_deg));
        (0..grid.v.count)
            .step_by(every)
            .filter_map(|j| {
                let valid = (left..=right).map(|i| grid.index(i, j)).filter(|&k| grid.is_valid[k]);
                let (sum, count) = valid.fold((0.0, 0usize), |(sum, count), k| (sum + self.level(k), count + 1));
                (2 * count > right - left).then(|| (grid.v.at_deg(j), f64::from(sum) / count as f64))
            })
            .collect()
    }

    /// A vertical scan between two heights, averaged over the columns within `half_width_deg` of `h_deg`, following a line of
    /// the given slope.
    pub fn scan(
        &self,
        (h_deg, half_width_deg): (f64, f64),
        (from_deg, to_deg): (f64, f64),
        slope: f64,
        room: &impl Fn(f64, f64) -> f64,
        options: &BeamOptions,
    ) -> Scan {
        let grid = self.grid;
        let (left, right) = (grid.h.nearest(h_deg - half_width_deg), grid.h.nearest(h_deg + half_width_deg));
        // The columns' own middle, which a narrow scan may miss by half a column.
        let h_deg = f64::midpoint(grid.h.at_deg(left), grid.h.at_deg(right));
        let mut scan = Scan { h_deg, blur_deg: self.blur_deg, ..Scan::default() };
        let columns = right - left + 1;
        let mut values: Vec<f64> = Vec::with_capacity(columns);
        for j in grid.v.nearest(from_deg)..=grid.v.nearest(to_deg) {
            let v_deg = grid.v.at_deg(j);
            values.clear();
            let (mut factor, mut clipped, mut noise) = (0.0, 0.0, 0.0);
            for i in left..=right {
                let along = v_deg + slope * (grid.h.at_deg(i) - h_deg);
                let row = grid.v.nearest(along);
                let k = grid.index(i, row);
                if grid.is_valid[k] {
                    values.push(f64::from(self.level(k)));
                    factor += f64::from(grid.intensity_factor[k]);
                    clipped += f64::from(grid.clipped[k]);
                    noise += grid.dark.as_ref().map_or(0.0, |dark| f64::from(dark.sigma[k]));
                }
            }
            if values.len() * 2 < columns {
                continue;
            }
            let n = values.len() as f64;
            // The middle half's mean: pipes and vertical joints within the scan weigh nothing.
            values.sort_by(f64::total_cmp);
            let cut = values.len() / 4;
            let kept = &values[cut..values.len() - cut];
            let middle = kept.iter().sum::<f64>() / kept.len() as f64;
            let noise = noise / n;
            let level = if noise > 0.0 {
                // Clipped noise is lopsided: where it outweighs the wall's texture, only the plain mean tells the light.
                let texture = options.light.texture_sigma * middle;
                let share = noise * noise / (noise * noise + texture * texture);
                share * values.iter().sum::<f64>() / n + (1.0 - share) * middle
            } else {
                middle
            };
            scan.v_deg.push(v_deg);
            scan.level.push(level);
            let assumed = options.light.dark_sigma.hypot(options.light.relative_sigma * level);
            scan.sigma.push(assumed.max(noise) / n.sqrt());
            scan.factor.push(factor / n);
            scan.room.push(room(h_deg, v_deg));
            scan.clipped_at.push(clipped / n);
        }
        scan
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Truth by construction, as for the cubic curve; and both bend mid-grey alike.
    #[test]
    fn a_logistic_curve_is_undone() {
        let gain: f64 = 4.0;
        let logistic = |x: f64| 1.0 / (1.0 + (-gain * (x - 0.5)).exp());
        let bent = |x: f64| (logistic(x) - logistic(0.0)) / (logistic(1.0) - logistic(0.0));
        // Slope at mid-grey over 1 is half the strength.
        let strength = 2.0 * (gain / 4.0 / (gain / 4.0).tanh() - 1.0);
        let curve = ToneCurve::logistic(strength);
        for light in [0.002f32, 0.02, 0.2, 0.6, 0.95] {
            let read = srgb_to_linear((255.0 * bent(f64::from(linear_to_srgb(light)) / 255.0)) as f32);
            let back = curve.level(read);
            assert!((back / light - 1.0).abs() < 2e-3, "{light} came back as {back}");
        }
        let grey = srgb_to_linear(127.5);
        assert!((curve.level(grey) / ToneCurve::new(strength).level(grey) - 1.0).abs() < 2e-3);
    }

    /// Truth by construction: light, encoded by sRGB and bent by the curve, comes back. The table's steps leave a thousandth.
    #[test]
    fn a_tone_curve_is_undone() {
        for (strength, lean) in [(0.0, 0.0), (0.5, 0.0), (0.4, 0.2), (0.3, -0.15)] {
            let curve = ToneCurve::leaning(strength, lean);
            for light in [0.002f32, 0.02, 0.2, 0.6, 0.95] {
                let x = f64::from(linear_to_srgb(light)) / 255.0;
                let bent = x + (strength + lean * (1.0 - 2.0 * x)) * s_bend(x);
                let read = srgb_to_linear((255.0 * bent) as f32);
                let back = curve.level(read);
                assert!((back / light - 1.0).abs() < 2e-3, "{strength} {lean}: {light} came back as {back}");
            }
        }
    }
}

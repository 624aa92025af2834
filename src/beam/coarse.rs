//! A first look: where the cutoff runs in every column, and where it bends.
//!
//! The score of a place is the fall of log light from the band below it to the band above it, so that joints and
//! stripes thinner than the bands do not win. The bend is the hinge (level part, then a ramp with an optional shelf) with the
//! least sum of absolute deviations.

use super::light::LightGrid;
use super::options::BeamOptions;

/// The cutoff's place in one column.
#[derive(Debug, Clone, Copy)]
pub struct CoarsePlace {
    /// H of the column, degrees.
    pub h_deg: f64,
    /// V of the greatest fall, degrees.
    pub v_deg: f64,
    /// Fall of natural log light across it.
    pub fall: f64,
    /// Light in the band below, relative to full scale.
    pub below: f64,
    /// Light in the band above.
    pub above: f64,
}

/// The hinge: `v = level + slope·(x - bend)` with x towards the rising side, 0 before the bend, at most `cap`.
#[derive(Debug, Clone, Copy)]
pub struct Hinge {
    /// H of the bend, degrees.
    pub h_deg: f64,
    /// V of the level part at the bend, degrees.
    pub v_deg: f64,
    /// Tilt of the level part, degrees per degree, in H to the right.
    pub tilt: f64,
    /// Rise of the ramp, degrees per degree.
    pub slope: f64,
    /// Height of the shelf, degrees (large: none).
    pub cap_deg: f64,
}

/// The first look at every column from `from_deg` to `to_deg`.
pub fn places(light: &LightGrid<'_>, from_deg: f64, to_deg: f64, options: &BeamOptions) -> Vec<CoarsePlace> {
    let brightest = {
        let levels = light.sorted_levels(7);
        f64::from(levels.get(levels.len() * 995 / 1000).copied().unwrap_or(0.0))
    };
    let count = ((to_deg - from_deg) / options.look.column_step_deg).round() as usize;
    (0..=count)
        .filter_map(|k| {
            let h_deg = from_deg + k as f64 * options.look.column_step_deg;
            best_place(h_deg, &light.column(h_deg, options.look.column_half_deg, 2), brightest, options)
        })
        .collect()
}

fn best_place(h_deg: f64, column: &[(f64, f64)], brightest: f64, options: &BeamOptions) -> Option<CoarsePlace> {
    let mut sums = Vec::with_capacity(column.len() + 1);
    sums.push(0.0);
    for (_, level) in column {
        sums.push(sums[sums.len() - 1] + level);
    }
    let range = |from: f64, to: f64| {
        let a = column.partition_point(|&(v, _)| v < from);
        let b = column.partition_point(|&(v, _)| v < to);
        (b > a + 2).then(|| ((sums[b] - sums[a]) / (b - a) as f64).max(1e-6))
    };
    let mut best: Option<(f64, CoarsePlace)> = None;
    for &(v_deg, _) in column {
        if v_deg < options.look.search_from_deg || v_deg > options.look.search_to_deg {
            continue;
        }
        let (Some(below), Some(above)) = (
            range(v_deg - options.look.band_far_deg, v_deg - options.look.band_near_deg),
            range(v_deg + options.look.band_near_deg, v_deg + options.look.band_far_deg),
        ) else {
            continue;
        };
        let fall = (below / above).ln();
        let weight = below / (below + options.look.dark_fraction * brightest);
        if best.is_none_or(|(score, _)| fall * weight > score) {
            best = Some((fall * weight, CoarsePlace { h_deg, v_deg, fall, below, above }));
        }
    }
    best.map(|(_, place)| place)
}

/// Replaces each place by the median of itself and its neighbours within 0.3 degrees.
pub fn smooth(places: &[CoarsePlace]) -> Vec<CoarsePlace> {
    const REACH: usize = 3;
    (0..places.len())
        .map(|k| {
            let near = &places[k.saturating_sub(REACH)..(k + REACH + 1).min(places.len())];
            let mut v: Vec<f64> = near.iter().map(|p| p.v_deg).collect();
            v.sort_by(f64::total_cmp);
            CoarsePlace { v_deg: v[v.len() / 2], ..places[k] }
        })
        .collect()
}

/// Height of the hinge at `h_deg`; `side` is -1 when the level part lies on the left.
pub fn hinge_height(hinge: &Hinge, h_deg: f64, side: f64) -> f64 {
    let x = (hinge.h_deg - h_deg) * side;
    hinge.v_deg + hinge.tilt * (h_deg - hinge.h_deg) + (hinge.slope * x.max(0.0)).min(hinge.cap_deg)
}

/// Distance of a place from the model; one far off says no more than that it is.
fn deviation(v_deg: f64, model_deg: f64) -> f64 {
    (v_deg - model_deg).abs().min(0.3)
}

/// The hinge that fits the places best; `side` is -1 when the level part lies on the left, +1 on the right.
pub fn find_hinge(places: &[CoarsePlace], side: f64, options: &BeamOptions) -> Option<Hinge> {
    /// Every third place counts beyond the reaches: a lamp's ends sag, but a bend that leaves most of the cutoff unexplained is
    /// a joint, a mark or a shelf's end.
    const FAR_EVERY: usize = 3;
    let strongest = places.iter().map(|p| p.fall).fold(0.0, f64::max);
    let usable: Vec<&CoarsePlace> = places.iter().filter(|p| p.fall > 0.25 * strongest).collect();
    let far: Vec<(f64, f64)> = usable.iter().step_by(FAR_EVERY).map(|p| (p.h_deg, p.v_deg)).collect();
    let mut best: Option<(f64, Hinge)> = None;
    for step in -70..=70 {
        let bend = f64::from(step) * 0.08;
        let flat: Vec<(f64, f64)> = usable
            .iter()
            .map(|p| (p.h_deg, p.v_deg, (p.h_deg - bend) * side))
            .filter(|&(_, _, x)| x > 0.3 && x < options.look.flat_reach_deg)
            .map(|(h, v, _)| (h - bend, v))
            .collect();
        let mut rise: Vec<(f64, f64)> = usable
            .iter()
            .map(|p| ((bend - p.h_deg) * side, p.v_deg))
            .filter(|&(x, _)| x > -0.3 && x < options.look.rise_reach_deg)
            .collect();
        if flat.len() < 12 || rise.len() < 10 {
            continue;
        }
        let (level, tilt) = robust_line(&flat, options);
        let flat_cost: f64 = flat.iter().map(|&(x, v)| deviation(v, level + tilt * x)).sum();
        let count = flat.len() + rise.len() + far.len();
        let mut far_flat_cost = 0.0;
        for &(h, v) in &far {
            let x = (bend - h) * side;
            if x >= options.look.rise_reach_deg {
                rise.push((x, v));
            } else if x <= -options.look.flat_reach_deg {
                far_flat_cost += deviation(v, level + tilt * (h - bend));
            }
        }
        let costs = RisingCosts::of(rise, level, -tilt * side);
        for (row, slope) in SLOPES.into_iter().enumerate() {
            for (column, cap) in CAPS_DEG.into_iter().enumerate() {
                // Mean deviation, so that bends near the edge of the picture do not win by having fewer places.
                let total = (flat_cost + far_flat_cost + costs.of_model(row, column)) / count as f64;
                if best.is_none_or(|(least, _)| total < least) {
                    best = Some((total, Hinge { h_deg: bend, v_deg: level, tilt, slope, cap_deg: cap }));
                }
            }
        }
    }
    best.map(|(_, hinge)| hinge)
}

/// Slopes of the ramp and heights of the shelf that are tried.
const SLOPES: [f64; 9] = [0.16, 0.22, 0.27, 0.32, 0.42, 0.6, 1.0, 2.0, 6.0];
const CAPS_DEG: [f64; 9] = [0.25, 0.35, 0.45, 0.6, 0.75, 0.9, 1.2, 1.6, 9.0];

/// Deviations of the places beyond a bend from every ramp with every shelf. A place lies either on the ramp or on the shelf, so
/// sums along each ramp and along each shelf, made once, give all their combinations.
struct RisingCosts {
    /// Per slope: sums over the first places, from none to all.
    on_ramp: Vec<Vec<f64>>,
    /// Per shelf: sums over the last places, from all to none.
    on_shelf: Vec<Vec<f64>>,
    /// Distance of each place from the bend towards the rising side, rising.
    x: Vec<f64>,
}

impl RisingCosts {
    /// For places (distance from the bend, V); the level part goes on as `level + tilt·x`.
    fn of(mut places: Vec<(f64, f64)>, level: f64, tilt: f64) -> Self {
        places.sort_by(|a, b| a.0.total_cmp(&b.0));
        let model = |x: f64, lift: f64| level + tilt * x + lift;
        let running = |lift: &dyn Fn(f64) -> f64, places: &mut dyn Iterator<Item = &(f64, f64)>| {
            let mut sum = 0.0;
            let mut sums = vec![sum];
            sums.extend(places.map(|&(x, v)| {
                sum += deviation(v, model(x, lift(x)));
                sum
            }));
            sums
        };
        let on_ramp = SLOPES.iter().map(|slope| running(&|x| slope * x.max(0.0), &mut places.iter()));
        let on_shelf = CAPS_DEG.iter().map(|cap| {
            let mut sums = running(&|_| *cap, &mut places.iter().rev());
            sums.reverse();
            sums
        });
        Self {
            on_ramp: on_ramp.collect(),
            on_shelf: on_shelf.collect(),
            x: places.iter().map(|place| place.0).collect(),
        }
    }

    /// Sum over all places for one slope and one shelf.
    fn of_model(&self, slope: usize, cap: usize) -> f64 {
        let ramp = self.x.partition_point(|x| SLOPES[slope] * x.max(0.0) <= CAPS_DEG[cap]);
        self.on_ramp[slope][ramp] + self.on_shelf[cap][ramp]
    }
}

/// Value at x = 0 and slope (at most 0.06) of a line through most of the points: Theil-Sen over spread pairs.
pub fn robust_line(points: &[(f64, f64)], options: &BeamOptions) -> (f64, f64) {
    let n = points.len();
    let mut slopes: Vec<f64> = (0..n / 2)
        .map(|k| (points[k], points[k + n / 2 + n % 2 - usize::from(n % 2 == 1)]))
        .filter(|(a, b)| (a.0 - b.0).abs() > 1e-6)
        .map(|(a, b)| (b.1 - a.1) / (b.0 - a.0))
        .collect();
    slopes.sort_by(f64::total_cmp);
    let slope = slopes
        .get(slopes.len() / 2)
        .copied()
        .unwrap_or(0.0)
        .clamp(-options.look.largest_tilt, options.look.largest_tilt);
    let mut rest: Vec<f64> = points.iter().map(|(x, y)| y - slope * x).collect();
    rest.sort_by(f64::total_cmp);
    (rest.get(n / 2).copied().unwrap_or(0.0), slope)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Truth by construction: a step at 0.8 degrees; far on its shelf a mark's rim looks like a small bend with nothing astray.
    #[test]
    fn the_bend_explains_the_whole_cutoff() {
        let places: Vec<CoarsePlace> = (-75..=75)
            .map(|k| {
                let h_deg = f64::from(k) / 10.0;
                let wavy = 0.05 * f64::from(k).sin();
                let v_deg = match h_deg {
                    h if h < 0.8 => -0.8 + wavy,
                    h if h < 5.2 => -0.35,
                    h => -0.35 + (0.16 * (h - 5.2)).min(0.25),
                };
                CoarsePlace { h_deg, v_deg, fall: 1.0, below: 0.3, above: 0.05 }
            })
            .collect();
        let hinge = find_hinge(&places, -1.0, &BeamOptions::default()).unwrap();
        // Bends are tried every 0.08 degrees.
        assert!((hinge.h_deg - 0.8).abs() < 0.2, "{hinge:?}");
    }
}

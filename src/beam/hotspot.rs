//! The hot spot: the direction of the lamp's greatest intensity, as a mean over a disc of 0.2 degrees.
//!
//! **Takes** the grid's light, the room's light, and the cutoff where there is one. **Gives** a [`Spot`], or a
//! [`NotSeen`] that says why there is none. **How**: a lamp-shaped closed form (`spot_model`) is fitted to all blocks of wall
//! that are not clipped, those near the top with the greatest weight; the spot is the form's own maximum. A spot is flat
//! on top (1 % of intensity is half a degree), so its place comes from its flanks. Where the top is clipped the flanks are
//! all there is, and the uncertainty grows by the fit's own account. **Weak when** clipped (flag `hot-spot-clipped`).
//! Real tops are not of the fitted form: where nothing is clipped, a free surface through the top itself is the second opinion;
//! the spot is the mean of the two, and half their difference goes into U.
//! **Fails when** the maximum lies at the rim of what was seen (flag `hot-spot-not-measured`).

use super::light::ToneCurve;
use super::options::BeamOptions;
use super::room::RoomLight;
use super::solve::Prior;
use super::spot_cells::{SpotCell, SpotCells};
use super::spot_fit::{Datum, SpotFit, fit, ln_bands};
use super::spot_free::free_top;
use super::spot_model::{COUNT, Lamp, Place, index};
use crate::grid::AngleGrid;

/// Half size of the disc, degrees.
const DISC_DEG: f64 = 0.1;
/// Share of the lens's cos⁴ fall-off that a phone leaves in its picture (corners 5 to 20 % darker: from memory).
const FALL_OFF_SHARE: Prior = Prior { mean: 0.3, sigma: 0.2 };

/// The cutoff as the hot spot's fit needs it.
#[derive(Clone, Copy)]
#[expect(missing_debug_implementations, reason = "it holds closures")]
pub struct UnderCutoff<'a> {
    /// V of the flat part's line at an H.
    pub flat: &'a dyn Fn(f64) -> f64,
    /// V of the cutoff itself at an H, rise included.
    pub line: &'a dyn Fn(f64) -> f64,
    /// The edge's softness, degrees.
    pub softness_deg: f64,
    /// H of the elbow, where it is known.
    pub elbow_h_deg: Option<f64>,
    /// +1 when the hot part lies to the right of the elbow, -1 to the left, 0 for one level line.
    pub hot_side: f64,
}

/// What the hot spot is found from.
#[derive(Clone, Copy)]
#[expect(missing_debug_implementations, reason = "it holds closures")]
pub struct SpotInput<'a> {
    /// Tunables of the stage.
    pub options: &'a BeamOptions,
    /// The grid.
    pub grid: &'a AngleGrid,
    /// The camera's tone curve, and the same one standard uncertainty stronger.
    pub tones: (&'a ToneCurve, &'a ToneCurve),
    /// The room's light.
    pub room: &'a RoomLight,
    /// What the wall reflects in a direction against the rest.
    pub gain: &'a dyn Fn(f64, f64) -> f64,
    /// The cutoff; `None` for lamps without one.
    pub cutoff: Option<UnderCutoff<'a>>,
    /// ln of the lens's relative illumination (cos⁴) in a direction.
    pub ln_fall_off: &'a dyn Fn(f64, f64) -> f64,
    /// Bands of a pulsed lamp, where the photo shows them.
    pub bands: Option<BandsOnWall<'a>>,
}

/// Bands of a pulsed lamp as they lie on the wall.
#[derive(Clone, Copy)]
#[expect(missing_debug_implementations, reason = "it holds a closure")]
pub struct BandsOnWall<'a> {
    /// Amplitudes of the log light's cosine and sine, as seen away from the beam.
    pub wave: [f64; 2],
    /// Cosine and sine of their phase in a direction.
    pub phase: &'a dyn Fn(f64, f64) -> [f64; 2],
}

/// The hot spot with its uncertainty.
#[derive(Debug, Clone, Copy)]
pub struct Spot {
    /// Horizontal place, degrees.
    pub h_deg: f64,
    /// Vertical place, degrees.
    pub v_deg: f64,
    /// Standard uncertainties from the fit, degrees.
    pub sigma_h_deg: f64,
    /// Vertical.
    pub sigma_v_deg: f64,
    /// Whether the photo is clipped there.
    pub is_clipped: bool,
}

/// Why there is no hot spot.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NotSeen {
    /// Too little of the lamp's light is on the visible wall.
    TooLittle,
    /// The light still grows at the rim of what was seen.
    AtTheRim,
    /// The brightest place is the other lamp's.
    OtherLamp,
}

/// Finds the hot spot.
pub fn find(input: &SpotInput<'_>) -> Result<Spot, NotSeen> {
    let cells = SpotCells::new(input.grid, input.tones, input.room, input.gain, input.options);
    let top = brightest(&cells, input).ok_or(NotSeen::TooLittle)?;
    let mut data = data(&cells, input, &top);
    if data.len() < input.options.spot.least_blocks {
        return Err(NotSeen::TooLittle);
    }
    let priors = priors(input, &top);
    let fitted = starts(&priors, &top)
        .iter()
        .filter_map(|start| fit(start, &data, &priors, input.options))
        .min_by(|a, b| a.cost.total_cmp(&b.cost))
        .ok_or(NotSeen::TooLittle)?;
    let (h_deg, v_deg) = peak(&fitted.parameters, input, (top.h_deg, top.v_deg));
    let (sigma_h_deg, sigma_v_deg) = spread(&fitted, input, (h_deg, v_deg));
    if !cells.is_seen(h_deg, v_deg) {
        return Err(NotSeen::AtTheRim);
    }
    let form = Spot {
        h_deg,
        v_deg,
        sigma_h_deg: input.options.spot.wide_top * sigma_h_deg,
        sigma_v_deg,
        is_clipped: top.is_clipped,
    };
    // The second opinion sees the wall without the bands.
    for datum in &mut data {
        datum.ln_level -= ln_bands(&fitted.parameters, datum);
    }
    let free = if top.is_clipped { None } else { free_top(&data, (top.h_deg, top.v_deg), top.ln_level) };
    let unchecked = Spot {
        sigma_h_deg: form.sigma_h_deg.hypot(input.options.spot.unchecked_h_deg),
        sigma_v_deg: form.sigma_v_deg.hypot(input.options.spot.unchecked_v_deg),
        ..form
    };
    Ok(free.map_or(unchecked, |(free_h, free_v)| {
        let half = |a: f64, b: f64, most: f64| ((a - b) / 2.0).clamp(-most, most);
        let (dh, dv) = (
            half(free_h, h_deg, input.options.spot.free_reach_h_deg),
            half(free_v, v_deg, input.options.spot.free_reach_v_deg),
        );
        Spot {
            h_deg: h_deg + dh,
            v_deg: v_deg + dv,
            sigma_h_deg: form.sigma_h_deg.hypot(dh),
            sigma_v_deg: form.sigma_v_deg.hypot(dv),
            ..form
        }
    }))
}

/// The brightest place, smoothed; the middle of what is clipped where anything is.
#[derive(Debug, Clone, Copy)]
struct Top {
    h_deg: f64,
    v_deg: f64,
    ln_level: f64,
    is_clipped: bool,
}

fn place(input: &SpotInput<'_>, h_deg: f64, v_deg: f64) -> Place {
    match &input.cutoff {
        None => Place { h_deg, v_deg, over_flat_deg: v_deg, over_line_deg: None },
        Some(cutoff) => Place {
            h_deg,
            v_deg,
            over_flat_deg: v_deg - (cutoff.flat)(h_deg),
            over_line_deg: Some(v_deg - (cutoff.line)(h_deg)),
        },
    }
}

fn brightest(cells: &SpotCells, input: &SpotInput<'_>) -> Option<Top> {
    /// The brightest few blocks may be a lamp's reflection or a joint.
    const FROM_THE_TOP: usize = 6;
    let is_under = |cell: &SpotCell| place(input, cell.h_deg, cell.v_deg).over_line_deg.is_none_or(|over| over < 0.0);
    let lit: Vec<&SpotCell> = cells.cells.iter().flatten().filter(|cell| is_under(cell)).collect();
    let mut levels: Vec<f64> = lit.iter().filter_map(|cell| cell.ln_level).collect();
    levels.sort_by(f64::total_cmp);
    let ln_level = *levels.get(levels.len().checked_sub(FROM_THE_TOP)?)?;
    let white: Vec<&&SpotCell> =
        lit.iter().filter(|cell| cell.is_clipped && cell.ln_level.is_none_or(|level| level > ln_level - 0.2)).collect();
    let is_clipped = white.len() >= 2;
    let members: Vec<(f64, f64)> = if is_clipped {
        white.iter().map(|cell| (cell.h_deg, cell.v_deg)).collect()
    } else {
        lit.iter()
            .filter(|cell| cell.ln_level.is_some_and(|level| level > ln_level - 0.05))
            .map(|cell| (cell.h_deg, cell.v_deg))
            .collect()
    };
    let middle = |values: Vec<f64>| {
        let mut values = values;
        values.sort_by(f64::total_cmp);
        values.get(values.len() / 2).copied()
    };
    Some(Top {
        h_deg: middle(members.iter().map(|m| m.0).collect())?,
        v_deg: middle(members.iter().map(|m| m.1).collect())?,
        ln_level,
        is_clipped,
    })
}

fn data(cells: &SpotCells, input: &SpotInput<'_>, top: &Top) -> Vec<Datum> {
    let clear = input.cutoff.map_or(0.0, |cutoff| input.options.spot.edge_clear * cutoff.softness_deg);
    let mut data = Vec::new();
    for (k, cell) in cells.cells.iter().enumerate() {
        let Some(cell) = cell else { continue };
        let Some(ln_level) = cell.ln_level else { continue };
        let (dh, dv) = (cell.h_deg - top.h_deg, cell.v_deg - top.v_deg);
        if dh.abs() > input.options.spot.reach_h_deg
            || !(-input.options.spot.reach_down_deg..=input.options.spot.reach_up_deg).contains(&dv)
            || ln_level - top.ln_level < input.options.spot.least_ln
        {
            continue;
        }
        let place = place(input, cell.h_deg, cell.v_deg);
        if place.over_line_deg.is_some_and(|over| over > -clear) {
            continue;
        }
        let under_top = (top.ln_level - ln_level).max(0.0);
        data.push(Datum {
            place,
            ln_level,
            ln_fall_off: (input.ln_fall_off)(cell.h_deg, cell.v_deg),
            ln_tone: cell.ln_tone,
            bands: input.bands.map_or([0.0; 2], |bands| (bands.phase)(cell.h_deg, cell.v_deg)),
            from_middle: (dh, dv),
            sigma: input.options.spot.texture.hypot(input.options.spot.form_sigma * under_top),
            block: (k % cells.width, k / cells.width),
        });
    }
    data
}

/// What is known of a lamp before it is seen. Places are relative to the elbow and the flat line. Sources: the closed form
/// of one published projector low beam, published places of other lamps' peaks, the rest own judgement with wide spreads.
fn priors(input: &SpotInput<'_>, top: &Top) -> [Prior; COUNT] {
    let prior = |mean: f64, sigma: f64| Prior { mean, sigma };
    let mut priors = [prior(0.0, 1.0); COUNT];
    priors[index::SCALE] = prior(top.ln_level, 2.0);
    priors[index::WIDE_POWER] = prior(1.55, 0.2);
    priors[index::FALL_OFF] = FALL_OFF_SHARE;
    priors[index::WALL_H] = prior(0.0, input.options.spot.wall_gradient_sigma);
    priors[index::WALL_V] = prior(0.0, input.options.spot.wall_gradient_sigma);
    if let Some(bands) = input.bands {
        let sigma =
            input.options.spot.bands_sigma.hypot(input.options.spot.bands_share * bands.wave[0].hypot(bands.wave[1]));
        for (k, amplitude) in index::BANDS.into_iter().zip(bands.wave) {
            priors[k] = prior(amplitude, sigma);
        }
    }
    let Some(cutoff) = &input.cutoff else {
        priors[index::WIDE_H] = prior(top.h_deg, 0.7);
        priors[index::WIDE_SPREAD] = prior(6.5f64.ln(), 0.4);
        priors[index::BELOW_START] = prior(top.v_deg, 0.4);
        priors[index::BELOW_DEPTH] = prior(1.8f64.ln(), 0.4);
        priors[index::BELOW_POWER] = prior(1.8f64.ln(), 0.4);
        priors[index::HOT_RATIO] = prior(1.6f64.ln(), 0.7);
        priors[index::HOT_H] = prior(top.h_deg, 0.7);
        priors[index::HOT_V] = prior(top.v_deg, 0.4);
        priors[index::HOT_WIDTH] = prior(1.6f64.ln(), 0.4);
        priors[index::HOT_HEIGHT] = prior(0.85f64.ln(), 0.4);
        return priors;
    };
    let is_level = cutoff.hot_side == 0.0;
    let (middle, place_sigma): (f64, f64) = cutoff.elbow_h_deg.map_or((0.0, 0.8f64), |h| (h, 0.5));
    priors[index::WIDE_H] = prior(middle + 0.25 * cutoff.hot_side, 0.8);
    priors[index::WIDE_SPREAD] = if is_level { prior(16f64.ln(), 0.5) } else { prior(6.5f64.ln(), 0.4) };
    priors[index::BELOW_START] = prior(0.35, 0.2);
    priors[index::BELOW_DEPTH] = prior(3.6f64.ln(), 0.3);
    priors[index::BELOW_POWER] = prior(0.9, 0.12);
    priors[index::HOT_RATIO] = if is_level { prior(0.2f64.ln(), 0.8) } else { prior(0.9f64.ln(), 0.6) };
    priors[index::HOT_H] = prior(middle + 1.1 * cutoff.hot_side, place_sigma.hypot(if is_level { 1.0 } else { 0.3 }));
    priors[index::HOT_V] = prior(-0.8, 0.25);
    priors[index::HOT_WIDTH] = if is_level { prior(3.0f64.ln(), 0.4) } else { prior(1.9f64.ln(), 0.35) };
    priors[index::HOT_HEIGHT] = prior(0.7f64.ln(), 0.3);
    priors[index::EDGE_DROP] = prior(1.9 * cutoff.softness_deg, 0.5 * cutoff.softness_deg);
    priors[index::EDGE_SOFTNESS] = prior(cutoff.softness_deg.ln(), 0.15);
    priors
}

/// Where the fit starts: as expected, and with the hot part where the light is brightest.
fn starts(priors: &[Prior; COUNT], top: &Top) -> Vec<[f64; COUNT]> {
    let expected = priors.map(|prior| prior.mean);
    let mut seen = expected;
    seen[index::HOT_H] = top.h_deg;
    vec![expected, seen]
}

/// The form's greatest disc mean near `start`.
fn peak(p: &[f64; COUNT], input: &SpotInput<'_>, start: (f64, f64)) -> (f64, f64) {
    let lamp = Lamp::new(p);
    let disc = |h: f64, v: f64| {
        const POINTS: usize = 6;
        /// Radius that halves the disc's area.
        const RADIUS_DEG: f64 = DISC_DEG * std::f64::consts::FRAC_1_SQRT_2;
        let at = |h: f64, v: f64| lamp.ln_intensity(&place(input, h, v), None).exp();
        (0..POINTS)
            .map(|k| {
                let (sin, cos) = (std::f64::consts::TAU * k as f64 / POINTS as f64).sin_cos();
                at(h + RADIUS_DEG * cos, v + RADIUS_DEG * sin)
            })
            .sum::<f64>()
    };
    let (mut h, mut v) = start;
    let mut best = disc(h, v);
    let mut step = 0.4;
    while step > 0.002 {
        let tried = [(step, 0.0), (-step, 0.0), (0.0, 0.5 * step), (0.0, -0.5 * step)]
            .map(|(dh, dv)| (h + dh, v + dv, disc(h + dh, v + dv)));
        match tried.into_iter().max_by(|a, b| a.2.total_cmp(&b.2)) {
            Some(found) if found.2 > best => (h, v, best) = found,
            _ => step *= 0.5,
        }
    }
    (h, v)
}

/// Standard uncertainties of the peak: it is found again with the parameters moved along each axis of their covariance.
fn spread(fitted: &SpotFit, input: &SpotInput<'_>, peak_at: (f64, f64)) -> (f64, f64) {
    let axes = fitted.covariance.symmetric_eigen();
    let (mut of_h, mut of_v) = (0.0f64, 0.0f64);
    for k in 0..COUNT {
        let length = axes.eigenvalues[k].max(0.0).sqrt();
        let moved = |sign: f64| {
            let mut p = fitted.parameters;
            for (a, p) in p.iter_mut().enumerate() {
                *p += sign * length * axes.eigenvectors[(a, k)];
            }
            peak(&p, input, peak_at)
        };
        let (more, less) = (moved(1.0), moved(-1.0));
        let part = |more: f64, less: f64, here: f64| {
            ((more - less) / 2.0).powi(2) + 0.5 * (f64::midpoint(more, less) - here).powi(2)
        };
        of_h += part(more.0, less.0, peak_at.0);
        of_v += part(more.1, less.1, peak_at.1);
    }
    (of_h.sqrt(), of_v.sqrt())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::grid::Axis;

    /// A lamp whose top is at (`h`, `v`) by construction: an uneven fall to each side (3 and 4 degrees), and another up and down,
    /// not the form that is fitted. `exposure` 1: the top is at full scale of green; blue is a fifth lower.
    fn grid(h: f64, v: f64, exposure: f64) -> AngleGrid {
        let (axis_h, axis_v) = (Axis::spanning(-9.0, 9.0, 0.05), Axis::spanning(-6.0, 6.0, 0.02));
        let cells = axis_h.count * axis_v.count;
        let fall = |x: f64, left: f64, right: f64| (x / if x < 0.0 { left } else { right }).powi(2);
        let level = |k: usize| {
            let (x, y) = (axis_h.at_deg(k % axis_h.count) - h, axis_v.at_deg(k / axis_h.count) - v);
            exposure / (1.0 + fall(x, 3.0, 4.0) + fall(y, 1.5, 1.2))
        };
        let full = (0..cells).map(level);
        let rgb = full.clone().map(|e| [0.9 * e, e, 0.8 * e].map(|c| c.min(1.0) as f32)).collect();
        let clipped = full.map(|e| if e >= 0.98 { 1.0 } else { 0.0 }).collect();
        AngleGrid {
            h: axis_h,
            v: axis_v,
            rgb,
            clipped,
            is_valid: vec![true; cells],
            intensity_factor: vec![1.0; cells],
            dark: None,
        }
    }

    fn found(grid: &AngleGrid) -> Result<Spot, NotSeen> {
        let plain = ToneCurve::new(0.0);
        let stronger = ToneCurve::new(BeamOptions::default().spot.least_tone_sigma);
        let room = RoomLight::default();
        find(&SpotInput {
            options: &BeamOptions::default(),
            grid,
            tones: (&plain, &stronger),
            gain: &|_, _| 1.0,
            room: &room,
            cutoff: None,
            ln_fall_off: &|_, _| 0.0,
            bands: None,
        })
    }

    fn assert_within_u(spot: &Spot, h: f64, v: f64) {
        let is_within =
            (spot.h_deg - h).abs() < 2.0 * spot.sigma_h_deg && (spot.v_deg - v).abs() < 2.0 * spot.sigma_v_deg;
        assert!(is_within, "{spot:?}, expected {h}, {v}");
    }

    /// Truth by construction, of a form that no part of the method knows: it lies within U, and U stays of use.
    #[test]
    fn the_top_of_another_form_is_found() {
        for (h, v) in [(0.3, -0.4), (-0.8, 0.6), (1.0, -1.0)] {
            let spot = found(&grid(h, v, 0.8)).unwrap();
            assert_within_u(&spot, h, v);
            assert!(!spot.is_clipped && spot.sigma_h_deg < 0.1 && spot.sigma_v_deg < 0.04, "{spot:?}");
        }
    }

    /// Truth by construction: with only blue left, and with a plateau, it stays within its own U, which grows.
    #[test]
    fn a_clipped_top_is_found_from_its_flanks() {
        let whole = found(&grid(0.3, -0.4, 0.8)).unwrap();
        for exposure in [1.1, 1.6] {
            let spot = found(&grid(0.3, -0.4, exposure)).unwrap();
            assert!(spot.is_clipped);
            assert_within_u(&spot, 0.3, -0.4);
            assert!(exposure < 1.5 || spot.sigma_h_deg > whole.sigma_h_deg, "{spot:?} {whole:?}");
        }
    }

    #[test]
    fn a_top_beyond_the_wall_is_not_measured() {
        let mut grid = grid(0.3, -2.5, 0.8);
        for k in 0..grid.is_valid.len() {
            grid.is_valid[k] = grid.v.at_deg(k / grid.h.count) > -2.0;
        }
        assert_eq!(found(&grid).unwrap_err(), NotSeen::AtTheRim);
    }

    /// A dark pipe and a dark joint across the top, narrower than a quarter or a half of a block.
    #[test]
    fn marks_on_the_wall_do_not_draw_the_spot() {
        let mut grid = grid(0.3, -0.4, 0.8);
        for k in 0..grid.rgb.len() {
            let (x, y) = (grid.h.at_deg(k % grid.h.count), grid.v.at_deg(k / grid.h.count));
            let factor = if (x - 0.6).abs() < 0.05 || (y + 0.7).abs() < 0.04 { 0.5 } else { 1.0 };
            grid.rgb[k] = grid.rgb[k].map(|level| level * factor);
        }
        let spot = found(&grid).unwrap();
        assert_within_u(&spot, 0.3, -0.4);
        assert!(spot.sigma_h_deg < 0.1 && spot.sigma_v_deg < 0.04, "{spot:?}");
    }
}

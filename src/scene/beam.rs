//! Closed-form beams: luminous intensity over direction, for every kind of cutoff.
//!
//! **Takes** a [`BeamSpec`]. **Gives** candela at a beam direction (H right, V up, degrees, vehicle frame).
//! **How**: the closed form of the project's photometry notes, section 1 (own work, fitted to one published projector
//! low beam), generalised: `I = (wide·below + hot)·T + up`, `T` a logistic edge about the line `vc(h)`; or a measured
//! lamp's table instead ([`CandelaTable`]), turned and shifted as a whole.

use super::beam_spec::{BeamSpec, Shape};
use super::cubic::blend;
use super::facets::Facets;
use super::traced;

/// Sharpness of the bend at which the downward fading begins, 1/deg (photometry notes, section 1).
const BELOW_BEND_PER_DEG: f64 = 6.0;
/// A 45 degree step.
const SLOPE_45: f64 = 1.0;
/// Slope of the small step of left-cutoff and right-cutoff beams: about 63 degrees.
const SLOPE_STEP: f64 = 2.0;
/// Second harmonic of the waviness against the first; 1.7 keeps it from repeating.
const WAVE_SECOND: (f64, f64) = (1.7, 0.6);
/// The exponent of the spot's fall; between a cone (1) and a Gaussian (2).
const SPOT_POWER: f64 = 1.4;

/// Soft ramp ln(1 + exp(k x)) / k, without overflow.
pub(super) fn soft_ramp(x: f64, k: f64) -> f64 {
    let kx = k * x;
    (kx.max(0.0) + (-kx.abs()).exp().ln_1p()) / k
}

/// Logistic fall 1 / (1 + exp(x)), without overflow.
fn logistic_fall(x: f64) -> f64 {
    if x > 0.0 {
        let e = (-x).exp();
        e / (1.0 + e)
    } else {
        1.0 / (1.0 + x.exp())
    }
}

/// What of the beam depends on h alone.
#[derive(Debug, Clone, Copy)]
pub(super) struct Column {
    line: f64,
    softness: f64,
    wide: f64,
    hot: f64,
    stray: f64,
}

/// What of the beam depends on v alone.
#[derive(Debug, Clone, Copy)]
pub(super) struct Row {
    below: f64,
    hot: f64,
}

impl Row {
    /// Weighted mixture of four neighbours.
    #[inline]
    pub(super) fn mixed(of: &[Self; 4], weights: [f64; 4]) -> Self {
        Self { below: blend(of, weights, |r| r.below), hot: blend(of, weights, |r| r.hot) }
    }
}

impl Column {
    /// Weighted mixture of four neighbours.
    #[inline]
    pub(super) fn mixed(of: &[Self; 4], weights: [f64; 4]) -> Self {
        Self {
            line: blend(of, weights, |c| c.line),
            softness: blend(of, weights, |c| c.softness),
            wide: blend(of, weights, |c| c.wide),
            hot: blend(of, weights, |c| c.hot),
            stray: blend(of, weights, |c| c.stray),
        }
    }
}

/// One beam, mirrored for left-hand traffic when asked.
#[derive(Debug, Clone)]
pub struct Beam {
    spec: BeamSpec,
    is_mirrored: bool,
    tilt: (f64, f64),
    facets: Option<Facets>,
    /// The cutoff of a table, followed once.
    traced: Option<traced::Line>,
}

impl Beam {
    /// A beam; `is_mirrored` swaps left and right about the aim; a table keeps its sides and its cutoff is then followed
    /// from the right, where its flat part lies.
    pub fn new(spec: &BeamSpec, is_mirrored: bool) -> Self {
        let table = spec.candela.as_deref();
        Self {
            spec: spec.clone(),
            is_mirrored: is_mirrored && table.is_none(),
            tilt: spec.tilt_deg.to_radians().sin_cos(),
            facets: if table.is_none() { Facets::new(&spec.facets) } else { None },
            traced: table.map(|table| traced::Line::new(table, if is_mirrored { 1.0 } else { -1.0 })),
        }
    }

    /// Whether the light comes from a table.
    pub(super) fn is_table(&self) -> bool {
        self.spec.candela.is_some()
    }

    /// Whether the light is known in this direction of the vehicle frame: always, but for places beyond a table.
    pub(super) fn is_known(&self, h_deg: f64, v_deg: f64) -> bool {
        let (h, v) = self.to_pattern(h_deg, v_deg);
        self.spec.candela.as_ref().is_none_or(|table| table.covers(h, v))
    }

    /// What it was made from.
    pub fn spec(&self) -> &BeamSpec {
        &self.spec
    }

    /// Candela at a direction in the vehicle frame.
    pub fn intensity_cd(&self, h_deg: f64, v_deg: f64) -> f64 {
        self.channel_cd(h_deg, v_deg, 0.0)
    }

    /// Candela with the edge raised by `lift_deg`: the colour fringe.
    pub fn channel_cd(&self, h_deg: f64, v_deg: f64, lift_deg: f64) -> f64 {
        self.channels_cd(h_deg, v_deg, [lift_deg; 3])[1]
    }

    /// Candela for three edges raised by their own amounts.
    pub(super) fn channels_cd(&self, h_deg: f64, v_deg: f64, lifts_deg: [f64; 3]) -> [f64; 3] {
        if !self.spec.is_lit {
            return [0.0; 3];
        }
        let (h, v) = self.to_pattern(h_deg, v_deg);
        match &self.spec.candela {
            Some(table) if self.spec.fringe_deg == 0.0 => [table.candela(h, v - lifts_deg[1]); 3],
            Some(table) => lifts_deg.map(|lift| table.candela(h, v - lift)),
            None => self.channels_at(&self.column(h), &self.row(v), (h, v), lifts_deg),
        }
    }

    /// Turns a vehicle direction into the pattern's own, unmirrored, relative to the aim.
    #[inline]
    pub(super) fn to_pattern(&self, h_deg: f64, v_deg: f64) -> (f64, f64) {
        let (dh, dv) = (h_deg - self.spec.aim_h_deg, v_deg - self.spec.aim_v_deg);
        let (sin, cos) = self.tilt;
        let (h, v) = (dh * cos + dv * sin, dv * cos - dh * sin);
        (if self.is_mirrored { -h } else { h }, v)
    }

    /// Height of the 50 % line over the aim.
    pub(super) fn line_deg(&self, h: f64) -> f64 {
        if let Some(traced) = &self.traced {
            return traced.v_deg(h);
        }
        let s = &self.spec;
        let shelf = |slope: f64, top: f64| {
            let ramp = slope * soft_ramp(h, s.rounding_per_deg);
            top - soft_ramp(top - ramp, s.rounding_per_deg / slope)
        };
        let line = match s.shape {
            Shape::Kink15 => s.rise_slope * soft_ramp(h, s.rounding_per_deg),
            Shape::Z => shelf(s.rise_slope, s.shelf_deg),
            Shape::Kink45 => shelf(SLOPE_45, s.shelf_deg),
            Shape::Vol | Shape::Vor => shelf(SLOPE_STEP, s.shelf_deg),
            Shape::Flat | Shape::Spot => 0.0,
        };
        if s.wave_deg == 0.0 {
            return line;
        }
        let turns = |factor: f64| std::f64::consts::TAU * factor * (h / s.wave_length_deg + s.wave_phase_turns);
        line + s.wave_deg * (turns(1.0).sin() + WAVE_SECOND.1 * turns(WAVE_SECOND.0).sin())
    }

    /// The part that depends on h alone.
    pub(super) fn column(&self, h: f64) -> Column {
        let s = &self.spec;
        let side = ((h - s.wide_h_deg) / s.spread_deg).abs().powf(s.spread_power);
        let hot = (h - s.hot_h_deg) / s.hot_width_deg;
        let stray = (h - s.stray_h_deg) / s.stray_spread_deg;
        let to_flat_side = (-h).clamp(0.0, 10.0);
        Column {
            line: self.line_deg(h),
            softness: s.softness_deg * (1.0 + s.softness_growth_per_deg * to_flat_side),
            wide: s.wide_cd * ((1.0 - s.pedestal_share) * (-side).exp() + s.pedestal_share),
            hot: s.wide_cd * s.hot_ratio * (-hot * hot).exp(),
            stray: s.wide_cd / s.contrast * (-stray * stray).exp(),
        }
    }

    /// The part that depends on v alone.
    pub(super) fn row(&self, v: f64) -> Row {
        let s = &self.spec;
        let fade = if s.shape == Shape::Spot {
            (v.abs() / s.below_depth_deg).powf(SPOT_POWER)
        } else {
            (soft_ramp(-(v + s.below_start_deg), BELOW_BEND_PER_DEG) / s.below_depth_deg).powf(s.below_power)
        };
        let hot = (v - s.hot_v_deg) / s.hot_height_deg;
        Row { below: (-fade).exp(), hot: (-hot * hot).exp() }
    }

    /// How much of the light is left `x` softnesses above the line.
    #[inline]
    pub(super) fn edge(&self, x: f64) -> f64 {
        logistic_fall(x + self.spec.asymmetry * ((1.0 + x * x).sqrt() - 1.0))
    }

    /// How much of the stray light is left this far above the line.
    pub(super) fn fading(&self, above_deg: f64) -> f64 {
        let s = &self.spec;
        let faded = |length: f64| (-above_deg / length).exp();
        s.stray_near_share * faded(s.stray_decay_deg) + (1.0 - s.stray_near_share) * faded(s.stray_slow_deg)
    }

    /// Candela in a column and row, (h, v) over the aim, for three edges raised by their own amounts.
    fn channels_at(&self, column: &Column, row: &Row, at: (f64, f64), lifts_deg: [f64; 3]) -> [f64; 3] {
        self.channels_by(column, row, at, lifts_deg, (|x| self.edge(x), |above| self.fading(above)))
    }

    /// The same with `edge` and `fading` in whatever form they are at hand.
    #[inline]
    pub(super) fn channels_by(
        &self,
        column: &Column,
        row: &Row,
        at: (f64, f64),
        lifts_deg: [f64; 3],
        (edge, fading): (impl Fn(f64) -> f64, impl Fn(f64) -> f64),
    ) -> [f64; 3] {
        let (s, v) = (&self.spec, at.1);
        let mut light = column.wide * row.below + column.hot * row.hot;
        if let Some(facets) = &self.facets {
            light *= facets.factor(at.0, v);
        }
        if s.shape == Shape::Spot {
            return [light + column.stray; 3];
        }
        let over = v - column.line;
        // Under the line nothing has faded.
        let stray = column.stray * if over > 0.0 { fading(over) } else { 1.0 };
        let per_softness = 1.0 / column.softness;
        let mixed = |lift: f64| {
            let lit = edge((over - lift) * per_softness);
            stray + (light - stray) * lit
        };
        if s.fringe_deg == 0.0 || lifts_deg.iter().all(|lift| lift - lifts_deg[1] == 0.0) {
            [mixed(lifts_deg[1]); 3]
        } else {
            lifts_deg.map(mixed)
        }
    }
}

#[cfg(test)]
pub(super) mod tests {
    use super::super::facets::FacetSpec;
    use super::super::goniometer::Pole;
    use super::*;

    /// The beam of section 1 of the photometry notes.
    pub(crate) fn published_form() -> BeamSpec {
        BeamSpec {
            shape: Shape::Z,
            is_lit: true,
            aim_h_deg: -0.0847,
            aim_v_deg: -0.5862,
            tilt_deg: 0.0,
            softness_deg: 0.111,
            softness_growth_per_deg: 0.0,
            asymmetry: 0.0,
            rounding_per_deg: 20.0,
            rise_slope: 0.3133,
            shelf_deg: 0.5776,
            wave_deg: 0.0,
            wave_length_deg: 1.0,
            wave_phase_turns: 0.0,
            wide_cd: 44_567.0 + 9_773.0,
            pedestal_share: 9_773.0 / (44_567.0 + 9_773.0),
            wide_h_deg: 0.09 + 0.0847,
            spread_deg: 9.712,
            spread_power: 1.5,
            below_start_deg: 0.7 - 0.5862,
            below_depth_deg: 3.928,
            below_power: 0.7647,
            hot_ratio: 0.0,
            hot_h_deg: 1.0,
            hot_v_deg: -1.0,
            hot_width_deg: 1.0,
            hot_height_deg: 1.0,
            contrast: (44_567.0 + 9_773.0) / (1_187.7 + 211.7),
            stray_near_share: 1_187.7 / (1_187.7 + 211.7),
            stray_decay_deg: 1.157,
            stray_slow_deg: 1e9,
            stray_h_deg: 0.0847,
            stray_spread_deg: 24.69,
            fringe_deg: 0.0,
            aperture_mm: 0.0,
            facets: FacetSpec::default(),
            table: None,
            table_pole: Pole::Down,
            candela: None,
        }
    }

    /// Source: closed form, computed values of the photometry notes, section 1 (given to whole candela).
    #[test]
    fn published_form_gives_its_check_values() {
        let beam = Beam::new(&published_form(), false);
        let expected =
            [(-2.0, 31_640.0), (-1.0, 40_931.0), (-0.6, 25_266.0), (-0.4, 8_511.0), (0.0, 1_158.0), (1.0, 508.0)];
        for (v, candela) in expected {
            let found = beam.intensity_cd(-2.5, v);
            assert!((found - candela).abs() < 1.0, "v = {v}: {found} cd, expected {candela}");
        }
        let hv = beam.intensity_cd(0.0, 0.0);
        assert!((hv - 1_295.0).abs() < 1.0, "HV {hv}");
        let peak = beam.intensity_cd(1.50, -0.54);
        assert!((peak - 49_191.0).abs() < 1.0, "peak {peak}");
    }

    #[test]
    fn mirror_swaps_the_sides_about_the_aim() {
        let spec = BeamSpec { aim_h_deg: 0.0, ..published_form() };
        let (right, left) = (Beam::new(&spec, false), Beam::new(&spec, true));
        for (h, v) in [(-2.5, -0.4), (1.2, -0.3), (0.4, 0.1)] {
            assert!((right.intensity_cd(h, v) - left.intensity_cd(-h, v)).abs() < 1e-9);
        }
    }

    #[test]
    fn tilt_raises_the_right_end() {
        let spec = BeamSpec { shape: Shape::Flat, tilt_deg: 2.0, ..published_form() };
        let beam = Beam::new(&spec, false);
        let v = spec.aim_v_deg;
        assert!(beam.intensity_cd(3.0, v) > beam.intensity_cd(-3.0, v));
    }

    #[test]
    fn soft_ramp_has_no_overflow() {
        assert!((soft_ramp(1e4, 40.0) - 1e4).abs() < 1e-9);
        assert!(soft_ramp(-1e4, 40.0).abs() < 1e-9);
    }
}

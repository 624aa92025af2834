//! Where the rule wants the beam: a clear zone per axis that it judges, its limits as lines, its nominal dashed.

use super::canvas::{Canvas, dashed};
use super::palette::{ALLOWED, DASH, STROKE};
use super::place::Scene;
use super::plane::Spot;
use super::polygon::fill_polygon;
use crate::aim::{AppliedRule, AxisLimits};
use crate::bay::Traffic;
use crate::beam::{BeamFeatures, Pattern};
use crate::units::{AnglePoint, Deg};

/// Half the width of the band of the vertical limits, degrees of H around where the cutoff is read.
const BAND_HALF_DEG: f64 = 1.1;
/// Half the height of the strip of the horizontal limits, degrees of V around the elbow.
const STRIP_HALF_DEG: f64 = 0.75;
/// How far a zone without a second limit is drawn, degrees.
const OPEN_DEG: f64 = 0.8;
/// Opacity of a zone.
const ZONE_ALPHA: f32 = 0.26;
/// Where a kink's cutoff is read when it was not found: degrees to the flat side.
const KINK_SCAN_DEG: f64 = 2.25;
/// Where a cutoff to the left is read, degrees (49 CFR 571.108 S10.18.9.1, from memory).
const LEFT_SCAN_DEG: f64 = -2.5;
/// Where a cutoff to the right is read, degrees (same).
const RIGHT_SCAN_DEG: f64 = 2.0;

/// Where the axes of one lamp are read, and what is wanted there.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Goal {
    /// Place whose V is judged; where the rule wants it when it was not measured.
    pub(super) vertical_at: AnglePoint,
    /// Place whose H is judged.
    pub(super) horizontal_at: AnglePoint,
    /// Limits per axis, where there are any.
    pub(super) vertical: Option<AxisLimits>,
    pub(super) horizontal: Option<AxisLimits>,
}

impl Goal {
    /// For what was found; without features, where the rule expects the beam.
    pub(super) fn of(features: Option<&BeamFeatures>, pattern: Pattern, traffic: Traffic, rule: &AppliedRule) -> Self {
        let middle = |limits: Option<AxisLimits>| {
            limits.and_then(|limits| limits.middle().or(limits.upper).or(limits.lower)).unwrap_or_default()
        };
        let (h, v) = (middle(rule.horizontal), middle(rule.vertical));
        let to_flat_side = if traffic == Traffic::Right { -KINK_SCAN_DEG } else { KINK_SCAN_DEG };
        let scan_h = match pattern {
            Pattern::Kink => h + Deg::new(to_flat_side),
            Pattern::LeftCutoff => Deg::new(LEFT_SCAN_DEG),
            Pattern::RightCutoff => Deg::new(RIGHT_SCAN_DEG),
            Pattern::Flat | Pattern::Spot => h,
        };
        let (mut vertical_at, mut horizontal_at) = (AnglePoint { h: scan_h, v }, AnglePoint { h, v });
        if let Some(features) = features {
            if pattern == Pattern::Spot {
                if let Some(spot) = &features.hot_spot {
                    horizontal_at = AnglePoint { h: spot.h.value, v: spot.v.value };
                    vertical_at = horizontal_at;
                }
            } else {
                if let Some(cutoff) = &features.cutoff {
                    vertical_at = AnglePoint { h: cutoff.scan_h, v: cutoff.v.value };
                    horizontal_at.v = cutoff.v.value;
                }
                if let Some(elbow) = &features.elbow {
                    horizontal_at = AnglePoint { h: elbow.h.value, v: elbow.v.value };
                }
            }
        }
        let is_shown = |limits: &AxisLimits| limits.is_judged() || limits.nominal.is_some();
        let judges_h = matches!(pattern, Pattern::Kink | Pattern::Spot);
        Self {
            vertical_at,
            horizontal_at,
            vertical: rule.vertical.filter(is_shown),
            horizontal: rule.horizontal.filter(|limits| judges_h && is_shown(limits)),
        }
    }

    /// What the first zone is: one that the rule allows, or a nominal to which it names no limits.
    pub(super) fn zone_name(&self) -> &'static str {
        let is_judged = self.vertical.or(self.horizontal).is_some_and(|limits| limits.is_judged());
        if is_judged { "allowed" } else { "nominal, no limits" }
    }

    /// Whether both axes judge one place of the beam.
    pub(super) fn is_one_place(&self) -> bool {
        self.vertical_at == self.horizontal_at
    }

    /// H and V span of the zones, for the window of the photo: corners.
    pub(super) fn corners(&self) -> Vec<AnglePoint> {
        let mut corners = vec![self.vertical_at];
        for (h, v) in self.boxes().into_iter().flatten() {
            corners.extend([AnglePoint { h: h.0, v: v.0 }, AnglePoint { h: h.1, v: v.1 }]);
        }
        corners
    }

    /// Vertical band and horizontal strip, each as spans of H and V; one box where both axes judge the same place.
    fn boxes(&self) -> [Option<(Span, Span)>; 2] {
        if let (true, Some(vertical), Some(horizontal)) = (self.is_one_place(), self.vertical, self.horizontal) {
            let both = (span(&horizontal), span(&vertical));
            return [Some(both), Some(both)];
        }
        let band = self.vertical.map(|limits| (around(self.vertical_at.h, BAND_HALF_DEG), span(&limits)));
        let strip = self.horizontal.map(|limits| (span(&limits), around(self.strip_middle(), STRIP_HALF_DEG)));
        [band, strip]
    }

    /// The strip stands where the elbow will be once the cutoff is right.
    fn strip_middle(&self) -> Deg {
        self.vertical.and_then(|limits| limits.middle()).unwrap_or(self.horizontal_at.v)
    }
}

type Span = (Deg, Deg);

fn around(middle: Deg, half_deg: f64) -> Span {
    (middle - Deg::new(half_deg), middle + Deg::new(half_deg))
}

/// From the lower to the upper limit; an open end reaches some way.
fn span(limits: &AxisLimits) -> Span {
    let open = Deg::new(OPEN_DEG);
    match (limits.lower, limits.upper) {
        (Some(lower), Some(upper)) => (lower, upper),
        (Some(lower), None) => (lower, limits.nominal.unwrap_or(lower) + open),
        (None, Some(upper)) => (limits.nominal.unwrap_or(upper) - open, upper),
        (None, None) => limits.nominal.map_or((Deg::default(), Deg::default()), |nominal| (nominal, nominal)),
    }
}

/// Draws both zones.
pub(super) fn draw_limits(canvas: &mut Canvas, scene: &Scene<'_>, goal: &Goal) {
    let [band, strip] = goal.boxes();
    let areas = if band == strip { [band, None] } else { [band, strip] };
    for (h, v) in areas.into_iter().flatten() {
        fill_polygon(canvas, &scene.outline(h, v), ALLOWED.at(ZONE_ALPHA));
    }
    let level = |h: Span, v: Deg| scene.line(AnglePoint { h: h.0, v }, AnglePoint { h: h.1, v });
    let upright = |h: Deg, v: Span| scene.line(AnglePoint { h, v: v.0 }, AnglePoint { h, v: v.1 });
    let (mut solid, mut broken): (Vec<Vec<Spot>>, Vec<Vec<Spot>>) = (Vec::new(), Vec::new());
    if let (Some((h, _)), Some(limits)) = (band, goal.vertical) {
        solid.extend([limits.lower, limits.upper].into_iter().flatten().map(|v| level(h, v)));
        broken.extend(limits.nominal.map(|v| level(h, v)));
    }
    if let (Some((_, v)), Some(limits)) = (strip, goal.horizontal) {
        solid.extend([limits.lower, limits.upper].into_iter().flatten().map(|h| upright(h, v)));
        broken.extend(limits.nominal.map(|h| upright(h, v)));
    }
    let broken: Vec<Vec<Spot>> = broken.iter().flat_map(|line| dashed(line, DASH)).collect();
    canvas.stroke_cased(&solid, STROKE - 1.0, ALLOWED);
    canvas.stroke_cased(&broken, STROKE - 2.0, ALLOWED);
}

/// The shown box of one zone.
pub(super) fn zone_outlines(scene: &Scene<'_>, goal: &Goal) -> Vec<Vec<Spot>> {
    goal.boxes().into_iter().flatten().map(|(h, v)| scene.outline(h, v)).filter(|line| !line.is_empty()).collect()
}

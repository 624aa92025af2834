//! A part of the wall that a rule wants dark, and what a photo can say about it.
//!
//! **Takes** the zone's edges and the measured cutoff. **Gives** a [`DarkZoneFinding`]. **How** the cutoff's fitted lines are
//! where bright ends and dark begins, so that light is in the zone for certain where they run above the zone's lower edge by
//! more than their expanded uncertainty. The reverse does not hold: faint light above a cutoff has no edge that could be
//! measured, so a zone that the cutoff keeps clear of is never called dark; someone has to look at the wall.

use super::limit::Limit;
use super::rule::ConfidenceMark;
use crate::beam::BeamFeatures;
use crate::flag::{Flag, FlagCode};
use crate::units::{Deg, Mm};
use serde::Deserialize;

/// By what a dark zone is judged.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum SeenBy {
    /// By eye on the wall; a cutoff that stands in the zone shows that it is not dark.
    #[default]
    Eye,
    /// By a light meter alone: the text names an amount of light.
    LightMeter,
}

/// A dark zone as a rule has it, for the side of the road that the rule is written for.
#[derive(Debug, Clone, PartialEq)]
pub struct DarkZoneRule {
    /// Lower edges; the lowest counts.
    pub above: Vec<Limit>,
    /// The zone lies to the right of this; absent: as far left as the wall goes.
    pub right_of: Option<Limit>,
    /// The zone lies to the left of this; absent: as far right as the wall goes.
    pub left_of: Option<Limit>,
    /// What must not be seen there, in the text's words.
    pub free_of: String,
    /// By what it is judged.
    pub seen_by: SeenBy,
    /// How sure the figures are.
    pub mark: ConfidenceMark,
}

impl DarkZoneRule {
    /// The zone for a lamp whose centre stands at this height; `None` without a lower edge.
    pub fn zone(&self, centre_height: Mm) -> Option<DarkZone> {
        let angle = |limit: &Limit| limit.angle(centre_height);
        let above = self.above.iter().map(angle).reduce(|a, b| if a < b { a } else { b })?;
        Some(DarkZone {
            above,
            left: self.right_of.as_ref().map(angle),
            right: self.left_of.as_ref().map(angle),
            free_of: self.free_of.clone(),
            seen_by: self.seen_by,
        })
    }
}

/// A dark zone for one lamp.
#[derive(Debug, Clone, PartialEq)]
pub struct DarkZone {
    /// Its lower edge, V.
    pub above: Deg,
    /// Its left edge, H; absent: open.
    pub left: Option<Deg>,
    /// Its right edge, H; absent: open.
    pub right: Option<Deg>,
    /// What must not be seen there.
    pub free_of: String,
    /// By what it is judged.
    pub seen_by: SeenBy,
}

/// What the cutoff says about a dark zone.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DarkZoneFinding {
    /// The cutoff stands inside, by more than its uncertainty: the zone is not dark.
    CutoffInside,
    /// The cutoff is nearer to the zone's edge than its uncertainty.
    TooClose,
    /// The cutoff stands clear of the zone, which does not say that the zone is dark.
    CutoffClear,
    /// No cutoff was measured below the zone, or the zone is one for a light meter.
    NotSeen,
}

impl DarkZoneFinding {
    /// As the reading writes it: what is known, and never "dark".
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::CutoffInside => "fail",
            Self::TooClose => "borderline",
            Self::CutoffClear | Self::NotSeen => "not judged",
        }
    }

    /// For people.
    pub const fn meaning(self) -> &'static str {
        match self {
            Self::CutoffInside => "the cutoff stands in it: not dark",
            Self::TooClose => "the cutoff is nearer to it than its uncertainty: look at the wall",
            Self::CutoffClear => {
                "as far as it was measured the cutoff keeps clear of it; not judged by number: look at the wall"
            }
            Self::NotSeen => "not judged by number: look at the wall",
        }
    }

    /// What warns of a zone that is not dark, or may not be: the two axes' verdict knows nothing of it.
    pub fn flag(self) -> Option<Flag> {
        let text = match self {
            Self::CutoffInside => {
                "the cutoff stands in the part of the wall that the rule wants dark: by this rule the lamp is no pass, whatever the \
                 axes say; look at the wall"
            }
            Self::TooClose => {
                "the cutoff is nearer to the part of the wall that the rule wants dark than its uncertainty: look at the wall"
            }
            Self::CutoffClear | Self::NotSeen => return None,
        };
        Some(Flag::new(FlagCode::DarkZoneLit, text))
    }
}

impl DarkZone {
    /// The same zone seen in a mirror: left and right change places.
    pub(super) fn mirrored(self) -> Self {
        let flip = |angle: Option<Deg>| angle.map(|angle| Deg::new(0.0) - angle);
        Self { left: flip(self.right), right: flip(self.left), ..self }
    }

    /// Whether a place of the cutoff lies between the zone's sides by more than `aside`.
    fn spans(&self, h: Deg, aside: Deg) -> bool {
        self.left.is_none_or(|left| h - aside >= left) && self.right.is_none_or(|right| h + aside <= right)
    }

    /// Holds the measured cutoff against the zone.
    pub fn judge(&self, features: &BeamFeatures) -> DarkZoneFinding {
        if self.seen_by == SeenBy::LightMeter {
            return DarkZoneFinding::NotSeen;
        }
        let heights = cutoff_places(features).into_iter().filter(|place| self.spans(place.h, place.u_h));
        let mut finding = DarkZoneFinding::NotSeen;
        for Place { v, u_v, .. } in heights {
            if v - u_v > self.above {
                return DarkZoneFinding::CutoffInside;
            }
            if v + u_v > self.above {
                finding = DarkZoneFinding::TooClose;
            } else if finding == DarkZoneFinding::NotSeen {
                finding = DarkZoneFinding::CutoffClear;
            }
        }
        finding
    }
}

/// A place of the cutoff with its expanded uncertainties.
struct Place {
    h: Deg,
    u_h: Deg,
    v: Deg,
    u_v: Deg,
}

/// Where the cutoff was read, and the fitted lines where the elbow tells how well they are known sideways.
fn cutoff_places(features: &BeamFeatures) -> Vec<Place> {
    let Some(cutoff) = &features.cutoff else { return Vec::new() };
    let flat_u = cutoff.v.expanded();
    let mut places = Vec::new();
    if let Some(elbow) = &features.elbow {
        let rise = features.rise.as_ref();
        for angle in &features.cutoff_line {
            // The flat part lies on the side of the elbow where it was scanned.
            let is_flat = (angle.h < elbow.h.value) == (cutoff.scan_h < elbow.h.value);
            let u_v = match rise {
                _ if is_flat => flat_u,
                Some(rise) => elbow.v.expanded() + slope_u(rise.value, rise.expanded(), angle.h - elbow.h.value),
                None => continue,
            };
            places.push(Place { h: angle.h, u_h: elbow.h.expanded(), v: angle.v, u_v });
        }
    }
    places.push(Place { h: cutoff.scan_h, u_h: Deg::new(0.0), v: cutoff.v.value, u_v: flat_u });
    places.retain(|place| [place.h, place.u_h, place.v, place.u_v].iter().all(|angle| angle.get().is_finite()));
    places
}

/// What the rise's uncertainty makes of a height `along` degrees away from the elbow; a rise reaches at most level to plumb.
fn slope_u(rise: Deg, expanded: Deg, along: Deg) -> Deg {
    let height = |angle: Deg| angle.get().clamp(0.0, 89.0).to_radians().tan() * along.abs().get();
    Deg::new(0.5 * (height(rise + expanded) - height(rise - expanded)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::beam::{Cutoff, Elbow};
    use crate::measured::{Budget, Measured};
    use crate::units::AnglePoint;

    fn measured(value_deg: f64, sigma_deg: f64) -> Measured {
        let mut budget = Budget::new();
        budget.add("test", sigma_deg);
        Measured { value: Deg::new(value_deg), budget }
    }

    /// Left-hand traffic: flat on the right at `flat_v`, the elbow at `elbow_h`, rising to the left at 15 degrees.
    fn left_traffic(flat_v: f64, elbow_h: f64) -> BeamFeatures {
        let rise = 15_f64.to_radians().tan();
        let line = (-30..=40).map(|n| {
            let h = 0.1 * f64::from(n);
            AnglePoint::new(h, flat_v + rise * (elbow_h - h).max(0.0))
        });
        BeamFeatures {
            cutoff: Some(Cutoff {
                v: measured(flat_v, 0.02),
                scan_h: Deg::new(elbow_h + 2.5),
                sharpness_g: 0.2,
                tilt: Deg::new(0.0),
            }),
            elbow: Some(Elbow { h: measured(elbow_h, 0.05), v: measured(flat_v, 0.02) }),
            rise: Some(measured(15.0, 0.5)),
            cutoff_line: line.collect(),
            ..BeamFeatures::default()
        }
    }

    fn british() -> DarkZone {
        DarkZone {
            above: Deg::new(-0.286),
            left: Some(Deg::new(0.0)),
            right: None,
            free_of: "white light".to_owned(),
            seen_by: SeenBy::Eye,
        }
    }

    /// By hand: the zone's edge is 0.5 % = 0.286 degrees down. A flat part at -0.20 stands 0.086 inside, over U = 0.04; at -0.26
    /// within U of the edge; at -0.6 clear of it, and still nothing says that it is dark.
    #[test]
    fn the_flat_part_is_held_against_the_zone_s_edge() {
        for (flat_v, expected) in [
            (-0.20, DarkZoneFinding::CutoffInside),
            (-0.26, DarkZoneFinding::TooClose),
            (-0.30, DarkZoneFinding::TooClose),
            (-0.60, DarkZoneFinding::CutoffClear),
        ] {
            assert_eq!(british().judge(&left_traffic(flat_v, 0.0)), expected, "{flat_v}");
        }
        assert_eq!(DarkZoneFinding::CutoffClear.as_str(), "not judged");
    }

    /// By hand: with the elbow 2.5 degrees right of straight ahead the rise begins there, and at H = 0.1 + U it has climbed by
    /// 2.3 tan 15 = 0.62 degrees, from -0.6 to about 0: in the zone, though the flat part is where it should be.
    #[test]
    fn a_rise_that_begins_right_of_straight_ahead_is_in_the_zone() {
        assert_eq!(british().judge(&left_traffic(-0.6, 2.5)), DarkZoneFinding::CutoffInside);
        // The same beam is clear of the mirrored zone's other half only as far as it is seen: its rise lies there.
        assert_eq!(british().mirrored().judge(&left_traffic(-0.6, 0.0)), DarkZoneFinding::CutoffInside);
    }

    #[test]
    fn a_mirror_changes_sides_and_what_was_not_seen_is_not_judged() {
        let mirrored = british().mirrored();
        assert_eq!((mirrored.left, mirrored.right), (None, Some(Deg::new(0.0))));
        assert_eq!(mirrored.mirrored(), british());
        assert_eq!(british().judge(&BeamFeatures::default()), DarkZoneFinding::NotSeen);
        let meter = DarkZone { seen_by: SeenBy::LightMeter, ..british() };
        assert_eq!(meter.judge(&left_traffic(0.5, 0.0)), DarkZoneFinding::NotSeen);
    }
}

//! Light of the vehicle's other lamp.
//!
//! **Takes** the lines that were found and the lamp's place. **Gives** a flag when the elbow lies nearer to the vertical of the
//! lamp on the other side than to this lamp's own; and how much light the other lamp throws over the flat cutoff. **How**: both
//! lamps stand as far from the centreline; on a flat screen the other one's vertical is seen at `atan(2 x / z)` from this one
//! (contract's geometry, yaw left out: it turns both alike). Both have the same pattern, so that where the other lamp stands on the
//! flat side, its rising cutoff runs slanting over this lamp's flat one: light falls across that line more than beside it. Joints
//! run level and pipes upright, and add nothing to it.
//! **Weak when** both elbows fall on one another; when the other lamp stands on the rising side, where its flat cutoff lies in this
//! lamp's own bright light (there it hardly moves anything); and for patterns that rise in a steep step.

use super::coarse::Hinge;
use super::light::LightGrid;
use super::lines::CutoffShape;
use super::options::BeamOptions;
use crate::bay::LampSetup;
use crate::flag::{Flag, FlagCode};
use crate::units::Deg;

/// Lamps nearer to the centreline than this have no neighbour to be taken for, mm.
const LEAST_OFFSET_MM: f64 = 150.0;

/// H of the other lamp's vertical as seen from this lamp.
fn other_vertical(setup: &LampSetup) -> Deg {
    Deg::from_radians((-2.0 * setup.x.get() / setup.distance.get()).atan())
}

/// Whether a hot spot stands under the other lamp: nearer to its vertical than any lamp throws its own aside.
pub(super) fn second_spot(spot_h: Deg, setup: &LampSetup) -> bool {
    /// Share of the way to the other lamp's vertical.
    const SHARE: f64 = 0.65;
    setup.x.abs().get() > LEAST_OFFSET_MM && spot_h.get() / other_vertical(setup).get() > SHARE
}

/// The flag, when an elbow at `elbow_h` is the other lamp's.
pub(super) fn second_lamp(elbow_h: Deg, setup: &LampSetup) -> Option<Flag> {
    let other = other_vertical(setup);
    let share = elbow_h.get() / other.get();
    (setup.x.abs().get() > LEAST_OFFSET_MM && share > 0.5).then(|| {
        Flag::new(
            FlagCode::SecondLamp,
            format!(
                "the elbow that was found stands at H {:+.1} degrees, nearer to the other lamp's vertical ({:+.1}) than to this \
                 lamp's: it is the other lamp's; cover that lamp and photograph again",
                elbow_h.get(),
                other.get()
            ),
        )
    })
}

/// The other lamp's light over the flat cutoff.
#[derive(Debug, Clone, Copy)]
pub(super) struct Spill {
    /// Light above the flat cutoff, relative to full scale.
    pub(super) light: f64,
}

/// How far the other lamp's elbow is looked for from where it stands when both lamps are aimed alike, degrees, and the step: two
/// lamps a degree apart in V show their rising lines four degrees apart.
const AIMED_APART_DEG: f64 = 3.5;
const STEP_DEG: f64 = 0.1;
/// Bands beside the line whose light is compared, degrees.
const BAND_DEG: f64 = 0.3;
/// Heights over the flat cutoff between which the line is followed, degrees: clear of this lamp's edge, and where light is left.
const FOLLOWED_DEG: (f64, f64) = (0.6, 2.6);
/// Softnesses of this lamp's own edge that are kept clear of.
const CLEAR_SOFTNESSES: f64 = 5.0;
/// Bands whose difference tells how much light there is: clear of the other lamp's own softness, degrees from its line.
const LIT_DEG: (f64, f64) = (0.25, 0.55);
/// Light under this share of what lies below the cutoff moves nothing.
const LEAST_SHARE: f64 = 0.005;
/// Fewest places of a line.
const LEAST_PLACES: usize = 8;
/// Lines farther than this from the best one say what falls without a lamp, degrees.
const BESIDE_DEG: f64 = 1.2;

/// The other lamp's light, where its slanting cutoff is seen over the flat one.
pub(super) fn spill(
    light: &LightGrid<'_>,
    found: &CutoffShape,
    (hinge, side): (&Hinge, f64),
    setup: &LampSetup,
    options: &BeamOptions,
) -> Option<Spill> {
    let elbow_h = found.elbow?.0;
    let other = other_vertical(setup).get();
    if setup.x.abs().get() <= LEAST_OFFSET_MM || other * side <= 0.0 || hinge.slope > options.elbow.gentle_slope {
        return None;
    }
    let count = (2.0 * AIMED_APART_DEG / STEP_DEG).round() as usize;
    let lines: Vec<(f64, Fall)> = (0..=count)
        .filter_map(|k| {
            let apart = k as f64 * STEP_DEG - AIMED_APART_DEG;
            let elbow_2 = elbow_h + other + apart;
            Some((apart, fall_across(light, found, (elbow_h, elbow_2, hinge.slope), side)?))
        })
        .collect();
    let (best, fall) = *lines.iter().max_by(|a, b| a.1.ln.total_cmp(&b.1.ln))?;
    let beside: Vec<Fall> =
        lines.iter().filter(|(apart, _)| (apart - best).abs() > BESIDE_DEG).map(|(_, fall)| *fall).collect();
    let usual =
        Fall { ln: middle(beside.iter().map(|fall| fall.ln))?, light: middle(beside.iter().map(|fall| fall.light))? };
    let light = fall.light - usual.light;
    (fall.ln - usual.ln > options.limits.second_lamp_fall && light > LEAST_SHARE * found.flat.high)
        .then_some(Spill { light })
}

/// Fall of light across a line.
#[derive(Debug, Clone, Copy)]
struct Fall {
    /// Of the natural log.
    ln: f64,
    /// Of the light itself, relative to full scale.
    light: f64,
}

/// Median fall across the rising line of a lamp whose elbow stands at `elbow_2`, over the flat part of this lamp's cutoff.
fn fall_across(
    light: &LightGrid<'_>,
    found: &CutoffShape,
    (elbow_h, elbow_2, slope): (f64, f64, f64),
    side: f64,
) -> Option<Fall> {
    let (mut lns, mut falls) = (Vec::new(), Vec::new());
    let steps = ((elbow_2 - elbow_h).abs() / STEP_DEG) as usize;
    for k in 10..steps {
        let h_deg = elbow_h + side * k as f64 * STEP_DEG;
        let over = slope * (elbow_2 - h_deg).abs();
        if !(FOLLOWED_DEG.0.max(CLEAR_SOFTNESSES * found.flat.softness_deg)..FOLLOWED_DEG.1).contains(&over) {
            continue;
        }
        let v_deg = found.flat.at(elbow_2) + over;
        let fall = |from: f64, to: f64| {
            let below = light.mean_between(h_deg, v_deg - to, v_deg - from)?;
            Some((below, light.mean_between(h_deg, v_deg + from, v_deg + to)?))
        };
        let (Some((below, above)), Some((lit, dark))) = (fall(0.0, BAND_DEG), fall(LIT_DEG.0, LIT_DEG.1)) else {
            continue;
        };
        if below > 0.0 && above > 0.0 {
            lns.push((below / above).ln());
            falls.push(lit - dark);
        }
    }
    (lns.len() >= LEAST_PLACES).then_some(())?;
    Some(Fall { ln: middle(lns.into_iter())?, light: middle(falls.into_iter())? })
}

fn middle(values: impl Iterator<Item = f64>) -> Option<f64> {
    let mut values: Vec<f64> = values.collect();
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied()
}

/// The flag of such light.
pub(super) fn spill_flag(moved_deg: f64) -> Flag {
    Flag::new(
        FlagCode::SecondLamp,
        format!(
            "the other lamp's light lies over this lamp's cutoff and moves it by about {moved_deg:.2} degrees (in u, not corrected);              cover that lamp and photograph again"
        ),
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bay::{Bay, LampEntry, LampSide};
    use crate::beam::light::ToneCurve;
    use crate::beam::lines::shape;
    use crate::beam::room::RoomLight;
    use crate::beam::testing::{LOG_SHIFT_DEG, edge, grey_wall};
    use crate::grid::{AngleGrid, Axis};
    use crate::units::Mm;

    fn setup() -> LampSetup {
        let bay = Bay::parse(include_str!("../../calib/bays/demo.bay.toml"), "demo.bay.toml").unwrap();
        let (side, height) = (LampSide::Left, Mm::new(650.0));
        LampSetup::new(
            &bay,
            &LampEntry {
                side,
                height,
                offset: None,
                distance: None,
                vehicle_yaw_deg: None,
                vehicle_yaw_sigma_deg: None,
            },
        )
    }

    /// Worked by hand: lamps 600 mm from the centreline at 10 m see one another's vertical 6.84 degrees away; half of that
    /// is 3.42, towards the right for the left lamp.
    #[test]
    fn an_elbow_past_half_the_way_is_the_other_lamp_s() {
        let mut left = setup();
        (left.x, left.distance) = (Mm::new(-600.0), Mm::new(10_000.0));
        for (h, is_other) in [(0.0, false), (3.3, false), (3.6, true), (6.8, true), (-6.8, false)] {
            assert_eq!(second_lamp(Deg::new(h), &left).is_some(), is_other, "{h}");
        }
        let text = second_lamp(Deg::new(5.0), &left).unwrap().text;
        assert!(text.contains("+6.8") && text.contains("cover that lamp"), "{text}");
        left.x = Mm::new(0.0);
        assert!(second_lamp(Deg::new(5.0), &left).is_none(), "a single lamp in the middle");
    }

    /// Truth by construction: this lamp's elbow at 0, flat on the left, and the other lamp of `share` of its light aimed alike, its
    /// elbow 6.84 degrees to the left. Above the flat cutoff its light is `share` of what lies below, 0.4.
    fn wall(share: f64) -> AngleGrid {
        let (h, v) = (Axis::spanning(-9.0, 9.0, 0.05), Axis::spanning(-4.0, 4.0, 0.02));
        let line = |h: f64| -0.6 + 0.268 * h.max(0.0);
        grey_wall(h, v, |h, v| edge(v - line(h)) + share * edge(v - line(h + 6.84)))
    }

    fn spilt(share: f64) -> Option<Spill> {
        let options = BeamOptions::default();
        let (grid, mut right) = (wall(share), setup());
        (right.x, right.distance) = (Mm::new(600.0), Mm::new(10_000.0));
        let light = LightGrid::new(&grid, &ToneCurve::new(0.0));
        let hinge = Hinge { h_deg: 0.0, v_deg: -0.6 + LOG_SHIFT_DEG, tilt: 0.0, slope: 0.268, cap_deg: 9.0 };
        let found = shape(&light, &RoomLight::default(), &hinge, -1.0, &options).unwrap();
        spill(&light, &found, (&hinge, -1.0), &right, &options)
    }

    /// The bands lie 0.25 to 0.55 degrees beside an edge of softness 0.12, where a tenth of the fall is still to come; its cutoff
    /// stands 0.22 above its half, and this lamp's own stray light fades.
    #[test]
    fn the_other_lamp_s_light_over_the_flat_cutoff_is_told() {
        assert!(spilt(0.0).is_none());
        for share in [0.05, 0.2] {
            let light = spilt(share).unwrap().light;
            assert!((light / (0.4 * share) - 0.7).abs() < 0.35, "{light} of {}", 0.4 * share);
        }
    }
}

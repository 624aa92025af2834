//! Where the beam must go, and by which turn of which screw.
//!
//! **Takes** a verdict, the lamp's screws (or none) and the distance to the wall. **Gives** an [`Advice`] per axis and
//! the steps in words. **How** from the value to [`super::AxisLimits::target`]; on the wall as the difference of the
//! two flat-screen places, distance · (tan target − tan value). Nothing where an axis passes.

use super::screws::{Axis, Screws};
use super::steps;
use super::verdict::{AxisResult, AxisValue, AxisVerdict, Verdict};
use crate::units::{Deg, Mm};

/// Where the beam must move.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Direction {
    /// Up.
    Up,
    /// Down.
    Down,
    /// To the vehicle's left.
    Left,
    /// To the vehicle's right.
    Right,
    /// Not at all.
    None,
}

impl Direction {
    /// As the reading writes it.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Up => "up",
            Self::Down => "down",
            Self::Left => "left",
            Self::Right => "right",
            Self::None => "none",
        }
    }
}

/// Which way the screw must turn, seen facing its driven end.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Turn {
    /// Clockwise.
    Clockwise,
    /// Counterclockwise.
    Counterclockwise,
    /// Not at all.
    None,
    /// The screw is not described.
    Unknown,
}

impl Turn {
    /// As the reading writes it.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Clockwise => "clockwise",
            Self::Counterclockwise => "counterclockwise",
            Self::None => "none",
            Self::Unknown => "unknown",
        }
    }
}

/// What to do about one axis.
#[derive(Debug, Clone, PartialEq)]
pub struct AxisAdvice {
    /// Where the beam must move.
    pub direction: Direction,
    /// By how much, never negative.
    pub by: Deg,
    /// The same on the wall, flat-screen convention, never negative.
    pub by_at_wall: Mm,
    /// The screw that does it, when one is described.
    pub screw: Option<String>,
    /// Which way it turns.
    pub turn: Turn,
    /// Net turns, never negative, not rounded; `None` when the screw is not described.
    pub turns: Option<f64>,
}

/// What to do about the lamp.
#[derive(Debug, Clone, PartialEq)]
pub struct Advice {
    /// Vertical axis; `None` when nothing can be said.
    pub vertical: Option<AxisAdvice>,
    /// Horizontal axis; `None` when nothing can be said.
    pub horizontal: Option<AxisAdvice>,
    /// What a technician does next, in order.
    pub steps: Vec<String>,
}

/// Advice for a verdict; `distance` is from the lamp to the wall.
pub fn advise(verdict: &Verdict, screws: Option<&Screws>, distance: Mm) -> Advice {
    let vertical = axis_advice(&verdict.vertical, Axis::Vertical, screws, distance);
    let horizontal = axis_advice(&verdict.horizontal, Axis::Horizontal, screws, distance);
    let steps = steps::write(verdict, vertical.as_ref(), horizontal.as_ref());
    Advice { vertical, horizontal, steps }
}

fn axis_advice(axis: &AxisVerdict, which: Axis, screws: Option<&Screws>, distance: Mm) -> Option<AxisAdvice> {
    let measured = axis.measured()?;
    let screw = screws.and_then(|screws| screws.for_axis(which));
    let screw_name = screw.map(|screw| screw.name.clone());
    let target = target(measured)?;
    let by = target - measured.value;
    if by.abs().get() <= 0.0 {
        return Some(AxisAdvice {
            direction: Direction::None,
            by: Deg::new(0.0),
            by_at_wall: Mm::new(0.0),
            screw: screw_name,
            turn: Turn::None,
            turns: Some(0.0),
        });
    }
    let is_positive = by.get() > 0.0;
    let (turn, turns) = match screw {
        Some(screw) => {
            let is_clockwise = screw.is_clockwise_positive == is_positive;
            let turn = if is_clockwise { Turn::Clockwise } else { Turn::Counterclockwise };
            (turn, Some(by.abs().get() / screw.per_turn.get()))
        }
        None => (Turn::Unknown, None),
    };
    let direction = match (which, is_positive) {
        (Axis::Vertical, true) => Direction::Up,
        (Axis::Vertical, false) => Direction::Down,
        (Axis::Horizontal, true) => Direction::Right,
        (Axis::Horizontal, false) => Direction::Left,
    };
    let by_at_wall = (target.to_mm_at(distance) - measured.value.to_mm_at(distance)).abs();
    Some(AxisAdvice { direction, by: by.abs(), by_at_wall, screw: screw_name, turn, turns })
}

/// Where the beam should go: where it is when it passes.
fn target(axis: &AxisValue) -> Option<Deg> {
    match axis.result {
        Some(AxisResult::Pass) => Some(axis.value),
        _ => axis.limits.target(axis.expanded),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::aim::applied::AxisLimits;
    use crate::aim::verdict::Overall;

    const SCREWS: &str = include_str!("../../calib/screws/two-screws.screws.toml");
    const WALL: Mm = Mm::new(10_000.0);

    fn axis(value: f64, limits: AxisLimits, result: Option<AxisResult>) -> AxisVerdict {
        let (value, expanded) = (Deg::new(value), Deg::new(0.1));
        AxisVerdict::Measured(AxisValue { value, expanded, limits, result, conformance: None })
    }

    fn around(nominal: f64) -> AxisLimits {
        let limit = |v| Some(Deg::new(v));
        AxisLimits { nominal: limit(nominal), lower: limit(nominal - 0.4), upper: limit(nominal + 0.4) }
    }

    fn failed(v: f64, h: f64) -> Verdict {
        Verdict {
            rule_id: "test".into(),
            overall: Overall::Fail,
            vertical: axis(v, around(-0.6), Some(AxisResult::Fail)),
            horizontal: axis(h, around(0.0), Some(AxisResult::Fail)),
            dark_zone: None,
        }
    }

    fn screws() -> Screws {
        Screws::parse(SCREWS, "two.toml").unwrap()
    }

    /// In the example file clockwise on "top" moves up, clockwise on "outer side" moves left.
    #[test]
    fn beam_too_high_and_too_far_right_moves_down_and_left() {
        let advice = advise(&failed(0.05, 1.3), Some(&screws()), WALL);
        let (v, h) = (advice.vertical.unwrap(), advice.horizontal.unwrap());
        assert_eq!((v.direction, v.turn, v.screw.as_deref()), (Direction::Down, Turn::Counterclockwise, Some("top")));
        assert_eq!((h.direction, h.turn, h.screw.as_deref()), (Direction::Left, Turn::Clockwise, Some("outer side")));
        assert!((v.by.get() - 0.65).abs() < 1e-12 && (v.turns.unwrap() - 1.0).abs() < 1e-12);
    }

    #[test]
    fn beam_too_low_and_too_far_left_moves_up_and_right() {
        let advice = advise(&failed(-1.9, -1.3), Some(&screws()), WALL);
        let (v, h) = (advice.vertical.unwrap(), advice.horizontal.unwrap());
        assert_eq!((v.direction, v.turn), (Direction::Up, Turn::Clockwise));
        assert_eq!((h.direction, h.turn), (Direction::Right, Turn::Counterclockwise));
        assert!((v.turns.unwrap() - 2.0).abs() < 1e-12);
    }

    /// From 2 % down to 1 % down on 10 m is 100 mm by definition of the percent, whatever the angles are.
    #[test]
    fn amount_on_the_wall_is_the_difference_of_two_places() {
        use crate::units::Percent;
        let [value, nominal] = [-2.0, -1.0].map(|p| Percent::new(p).to_deg().get());
        let mut verdict = failed(value, 0.5);
        verdict.vertical = axis(value, around(nominal), Some(AxisResult::Fail));
        let advice = advise(&verdict, None, WALL).vertical.unwrap();
        assert!((advice.by_at_wall.get() - 100.0).abs() < 1e-9);
        assert_eq!((advice.turn, advice.turns, advice.screw), (Turn::Unknown, None, None));
    }

    #[test]
    fn pass_moves_nothing() {
        let mut verdict = failed(-0.5, 1.0);
        verdict.vertical = axis(-0.5, around(-0.6), Some(AxisResult::Pass));
        let v = advise(&verdict, Some(&screws()), WALL).vertical.unwrap();
        assert_eq!((v.direction, v.turn, v.turns), (Direction::None, Turn::None, Some(0.0)));
        assert!(v.by.get().abs() < 1e-15 && v.by_at_wall.get().abs() < 1e-15);
    }

    #[test]
    fn ceiling_aims_u_below_it_and_a_lone_nominal_is_still_aimed_at() {
        let ceiling = AxisLimits { nominal: None, lower: None, upper: Some(Deg::new(-0.5)) };
        let mut verdict = failed(0.0, 0.0);
        verdict.vertical = axis(0.0, ceiling, Some(AxisResult::Fail));
        let v = advise(&verdict, None, WALL).vertical.unwrap();
        assert!(v.direction == Direction::Down && (v.by.get() - 0.6).abs() < 1e-12);
        verdict.vertical = axis(0.0, AxisLimits { nominal: Some(Deg::new(-0.6)), ..AxisLimits::default() }, None);
        let v = advise(&verdict, None, WALL).vertical.unwrap();
        assert!(v.direction == Direction::Down && (v.by.get() - 0.6).abs() < 1e-12);
    }

    #[test]
    fn nothing_is_advised_where_nothing_is_known() {
        let mut verdict = failed(0.0, 0.0);
        (verdict.vertical, verdict.horizontal) = (AxisVerdict::NotMeasured, AxisVerdict::NotJudged);
        let advice = advise(&verdict, Some(&screws()), WALL);
        assert_eq!((advice.vertical, advice.horizontal), (None, None));
        assert!(!advice.steps.is_empty());
    }
}

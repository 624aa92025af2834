//! Angles and lengths in the units that were asked for, and a round step for the grid.

use crate::reading::DisplayUnits;
use crate::units::{Deg, Mm, Percent};

/// Steps that a grid may have, in its unit.
const STEPS: [f64; 9] = [0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0];
/// Steps in millimetres are as many times larger.
const MM_FACTOR: f64 = 20.0;
/// Steps in inches are as many times larger.
const INCH_FACTOR: f64 = 2.0;

/// Angles in one unit; millimetres and inches on a flat screen at the wall's distance.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Shown {
    pub(super) units: DisplayUnits,
    pub(super) distance: Mm,
}

impl Shown {
    /// The angle as a number in the unit.
    pub(super) fn number(&self, angle: Deg) -> f64 {
        match self.units {
            DisplayUnits::Percent => angle.to_percent().get(),
            DisplayUnits::Inch => angle.to_mm_at(self.distance).to_inches(),
            DisplayUnits::Mm => angle.to_mm_at(self.distance).get(),
            DisplayUnits::Deg => angle.get(),
        }
    }

    /// The angle of a number in the unit.
    pub(super) fn angle(&self, number: f64) -> Deg {
        match self.units {
            DisplayUnits::Percent => Percent::new(number).to_deg(),
            DisplayUnits::Inch => Mm::from_inches(number).to_deg_at(self.distance),
            DisplayUnits::Mm => Mm::new(number).to_deg_at(self.distance),
            DisplayUnits::Deg => Deg::new(number),
        }
    }

    /// Sign of the unit behind a number.
    pub(super) fn sign(&self) -> &'static str {
        match self.units {
            DisplayUnits::Percent => " %",
            DisplayUnits::Inch => " in",
            DisplayUnits::Mm => " mm",
            DisplayUnits::Deg => "°",
        }
    }

    fn digits(&self) -> usize {
        match self.units {
            DisplayUnits::Mm => 0,
            DisplayUnits::Inch => 1,
            DisplayUnits::Percent | DisplayUnits::Deg => 2,
        }
    }

    /// With its sign, without the unit; what rounds to zero has none.
    pub(super) fn signed(&self, angle: Deg) -> String {
        signed(self.number(angle), self.digits())
    }

    /// Span from one angle to another, without sign or unit.
    pub(super) fn span(&self, from: Deg, to: Deg) -> String {
        format!("{:.1$}", (self.number(to) - self.number(from)).abs(), self.digits())
    }

    /// A length on the wall.
    pub(super) fn at_wall(&self, length: Mm) -> String {
        match self.units {
            DisplayUnits::Inch => format!("{:.1} in", length.to_inches()),
            _ => format!("{:.0} mm", length.get()),
        }
    }

    /// The finest round step that spans at least `least`; the coarsest when none does.
    pub(super) fn grid_step(&self, least: Deg) -> f64 {
        let factor = match self.units {
            DisplayUnits::Percent | DisplayUnits::Deg => 1.0,
            DisplayUnits::Mm => MM_FACTOR,
            DisplayUnits::Inch => INCH_FACTOR,
        };
        let least = self.number(least);
        let found = STEPS.iter().map(|step| step * factor).find(|step| *step >= least);
        found.unwrap_or(STEPS[STEPS.len() - 1] * factor)
    }

    /// A grid line's label.
    pub(super) fn grid_label(&self, number: f64) -> String {
        let digits = usize::from((number - number.round()).abs() >= 1e-6);
        let text = signed(number, digits);
        if text == "0" { text } else { format!("{text}{}", self.sign()) }
    }
}

/// A true minus, and no sign on what rounds to zero.
fn signed(number: f64, digits: usize) -> String {
    let text = format!("{number:+.digits$}");
    if text.bytes().any(|b| (b'1'..=b'9').contains(&b)) {
        text.replace('-', "\u{2212}")
    } else {
        format!("{:.digits$}", 0.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn shown(units: DisplayUnits) -> Shown {
        Shown { units, distance: Mm::new(10_000.0) }
    }

    /// 10 cm at 10 m is 1 % and atan(0.01) = 0.5729°.
    #[test]
    fn numbers_and_labels() {
        let one_percent = Percent::new(-1.0).to_deg();
        assert_eq!(shown(DisplayUnits::Percent).signed(one_percent), "−1.00");
        assert_eq!(shown(DisplayUnits::Mm).signed(one_percent), "−100");
        assert_eq!(shown(DisplayUnits::Inch).signed(one_percent), "−3.9");
        assert_eq!(shown(DisplayUnits::Deg).signed(one_percent), "−0.57");
        assert_eq!(shown(DisplayUnits::Deg).signed(Deg::new(-0.001)), "0.00");
        assert_eq!(shown(DisplayUnits::Percent).grid_label(0.5), "+0.5 %");
        assert_eq!(shown(DisplayUnits::Percent).grid_label(-2.0), "−2 %");
        assert_eq!(shown(DisplayUnits::Mm).grid_label(-0.0), "0");
    }

    #[test]
    fn steps_are_round_and_wide_enough() {
        for units in [DisplayUnits::Percent, DisplayUnits::Inch, DisplayUnits::Mm, DisplayUnits::Deg] {
            for least in [0.01, 0.1, 0.4, 1.3, 5.0] {
                let step = shown(units).grid_step(Deg::new(least));
                assert!(step >= shown(units).number(Deg::new(least)) - 1e-9, "{units:?} {least} {step}");
                assert!((shown(units).number(shown(units).angle(step)) - step).abs() < 1e-9);
            }
        }
    }
}

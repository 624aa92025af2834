//! Angles in the units that a person asked for, and lines that fit a screen.

use crate::units::{Deg, Mm};

/// Width of the screen that texts are laid out for, columns.
pub const SCREEN_COLUMNS: usize = 80;

/// Units of the text output.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum DisplayUnits {
    /// Percent of inclination: 100·tan.
    #[default]
    Percent,
    /// Inches on a flat screen at the wall's distance.
    Inch,
    /// Millimetres on a flat screen at the wall's distance.
    Mm,
    /// Degrees.
    Deg,
}

/// A name as it is shown where room is short.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ShortName(pub String);

impl ShortName {
    /// A name without control characters and of so many letters at most: its middle is left out when it is longer, since names that
    /// look alike differ at their ends.
    pub fn new(name: &str, most: usize) -> Self {
        let letters: Vec<char> = name.chars().filter(|letter| !letter.is_control()).collect();
        if letters.len() <= most {
            return Self(letters.into_iter().collect());
        }
        let kept = most.saturating_sub(1);
        let (start, end) = (kept.div_ceil(2), kept / 2);
        let ellipsis = std::iter::once('\u{2026}').take(most);
        let ends = (&letters[..start], &letters[letters.len() - end..]);
        Self(ends.0.iter().copied().chain(ellipsis).chain(ends.1.iter().copied()).collect())
    }
}

/// Shows angles in one unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Show {
    pub(super) units: DisplayUnits,
    pub(super) distance: Mm,
}

impl Show {
    /// The angle as a number in the chosen unit.
    fn number(&self, angle_deg: f64) -> f64 {
        let angle = Deg::new(angle_deg);
        match self.units {
            DisplayUnits::Percent => angle.to_percent().get(),
            DisplayUnits::Inch => angle.to_mm_at(self.distance).to_inches(),
            DisplayUnits::Mm => angle.to_mm_at(self.distance).get(),
            DisplayUnits::Deg => angle_deg,
        }
    }

    /// Digits behind the point: a tenth of what a good set-up can know.
    fn digits(&self) -> usize {
        if self.units == DisplayUnits::Mm { 0 } else { 2 }
    }

    /// With its sign; what rounds to zero has none.
    pub(super) fn signed(&self, angle_deg: f64) -> String {
        let digits = self.digits();
        let text = format!("{:+.digits$}", self.number(angle_deg));
        if text.bytes().any(|b| (b'1'..=b'9').contains(&b)) { text } else { format!("{:.digits$}", 0.0) }
    }

    /// The span from one angle to another, without sign.
    pub(super) fn span(&self, from_deg: f64, to_deg: f64) -> String {
        format!("{:.1$}", (self.number(to_deg) - self.number(from_deg)).abs(), self.digits())
    }

    /// Half the span that value ± u covers.
    pub(super) fn half_width(&self, value_deg: f64, u_deg: f64) -> String {
        let half = 0.5 * (self.number(value_deg + u_deg) - self.number(value_deg - u_deg)).abs();
        format!("{half:.0$}", self.digits())
    }

    /// Short sign of the unit.
    pub(super) fn unit(&self) -> &'static str {
        match self.units {
            DisplayUnits::Percent => "%",
            DisplayUnits::Inch => "in",
            DisplayUnits::Mm => "mm",
            DisplayUnits::Deg => "°",
        }
    }

    /// What the numbers mean.
    pub(super) fn meaning(&self) -> String {
        let metres = self.distance.get() / 1000.0;
        match self.units {
            DisplayUnits::Percent => "percent".to_owned(),
            DisplayUnits::Inch => format!("inches on the wall at {metres:.2} m"),
            DisplayUnits::Mm => format!("mm on the wall at {metres:.2} m"),
            DisplayUnits::Deg => "degrees".to_owned(),
        }
    }
}

/// Breaks a text into lines of the screen, the first behind `first`, the others indented as deep.
pub(super) fn wrap(first: &str, text: &str) -> Vec<String> {
    let depth = first.chars().count();
    let (mut lines, mut line, mut used) = (Vec::new(), first.to_owned(), depth);
    for word in text.split_whitespace() {
        let length = word.chars().count();
        if used > depth && used + 1 + length > SCREEN_COLUMNS {
            lines.push(std::mem::replace(&mut line, " ".repeat(depth)));
            used = depth;
        }
        if used > depth {
            line.push(' ');
            used += 1;
        }
        line.push_str(word);
        used += length;
    }
    lines.push(line);
    lines
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_long_name_loses_its_middle() {
        let shortened = |name: &str, most| ShortName::new(name, most).0;
        assert_eq!(shortened("north-bay-1", 11), "north-bay-1");
        assert_eq!(shortened("north-bay-1\u{1b}", 7), "nor\u{2026}y-1");
        assert_eq!([shortened("north", 1), shortened("north", 0)], ["\u{2026}", ""]);
    }

    fn show(units: DisplayUnits) -> Show {
        Show { units, distance: Mm::from_inches(300.0) }
    }

    /// Printed pair of published service data: 0.4 deg at 25 ft = 2.1 in (2.09) = 53.2 mm; and 100·tan.
    #[test]
    fn same_angle_in_every_unit() {
        assert_eq!(show(DisplayUnits::Inch).signed(-0.4), "-2.09");
        assert_eq!(show(DisplayUnits::Mm).signed(-0.4), "-53");
        assert_eq!(show(DisplayUnits::Percent).signed(-0.4), "-0.70");
        assert_eq!(show(DisplayUnits::Deg).signed(0.4), "+0.40");
        assert_eq!(show(DisplayUnits::Deg).signed(-0.001), "0.00");
        assert_eq!(show(DisplayUnits::Deg).half_width(-0.4, 0.08), "0.08");
        assert_eq!(show(DisplayUnits::Mm).span(-0.4, 0.0), "53");
    }

    #[test]
    fn lines_keep_to_the_screen() {
        let lines = wrap("  1. ", &"word ".repeat(60));
        assert!(lines.len() > 3 && lines.iter().all(|line| line.chars().count() <= SCREEN_COLUMNS));
        assert!(lines[0].starts_with("  1. word") && lines[1].starts_with("     word"));
    }
}

//! How far ahead the cutoff meets a level road.
//!
//! **Takes** the lamp's height and the cutoff's V with its expanded uncertainty. **Gives** a [`Reach`]. **How**: height over
//! inclination (65 cm over 1 % are 65 m), plain geometry: the flat part of the cutoff falls as a straight line from the lamp's
//! centre. It is where the bright part ends on a level road, not how far a driver sees.

use crate::units::{Deg, Mm};

/// Beyond, a metre says nothing any more: half a hundredth of a degree moves the place by a tenth.
const FAR_M: f64 = 500.0;
/// Nearer, a decimal is worth printing.
const NEAR_M: f64 = 10.0;
const MM_PER_M: f64 = 1000.0;

/// Where the light ends.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Reach {
    /// So many metres ahead.
    Metres {
        /// As measured.
        ahead: f64,
        /// With the cutoff lower by U.
        least: f64,
        /// With the cutoff higher by U; `None` when it then is at level or above.
        most: Option<f64>,
    },
    /// At level or above: nowhere.
    NoEnd,
}

/// The reach of a cutoff at V ± U from a lamp of this height.
pub fn reach(height: Mm, v: Deg, u: Deg) -> Reach {
    let metres = |v: Deg| {
        let fall = -v.radians().tan();
        (fall > 0.0).then(|| height.get() / MM_PER_M / fall)
    };
    match (metres(v), metres(v - u)) {
        (Some(ahead), Some(least)) => Reach::Metres { ahead, least, most: metres(v + u) },
        _ => Reach::NoEnd,
    }
}

impl Reach {
    /// In words: metres, or that there is no end.
    pub fn words(&self) -> String {
        match *self {
            Self::Metres { ahead, .. } => metres(ahead),
            Self::NoEnd => "no end: dazzles".to_owned(),
        }
    }

    /// The span that U leaves, in words; nothing where there is no end.
    pub fn span(&self) -> Option<String> {
        match *self {
            Self::Metres { least, most: Some(most), .. } if most <= FAR_M => span(least, most),
            Self::Metres { least, .. } if least <= FAR_M => Some(format!("{} or more", metres(least))),
            _ => None,
        }
    }
}

/// With a decimal where whole metres would name one place twice; nothing where that does so too.
fn span(least: f64, most: f64) -> Option<String> {
    let whole = [metres(least), metres(most)];
    let decimal = [least, most].map(|metres| format!("{metres:.1} m"));
    let [from, to] = [whole, decimal].into_iter().find(|[from, to]| from != to)?;
    Some(format!("{} to {to}", from.trim_end_matches(" m")))
}

fn metres(metres: f64) -> String {
    if metres > FAR_M {
        return format!("over {FAR_M:.0} m");
    }
    if metres < NEAR_M { format!("{metres:.1} m") } else { format!("{metres:.0} m") }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Percent;

    fn at(height_mm: f64, percent: f64, u_percent: f64) -> Reach {
        reach(Mm::new(height_mm), Percent::new(percent).to_deg(), Percent::new(u_percent).to_deg())
    }

    /// Truth, by hand: 0.65 m / 1 % = 65 m; 0.65 / 1.3 % = 50 m; 0.6 / 1.2 % = 50 m; 0.9 / 1 % = 90 m; 0.5 / 10 % = 5 m.
    #[test]
    fn height_over_percent() {
        for (height, percent, metres) in
            [(650.0, -1.0, 65.0), (650.0, -1.3, 50.0), (600.0, -1.2, 50.0), (900.0, -1.0, 90.0), (500.0, -10.0, 5.0)]
        {
            let Reach::Metres { ahead, .. } = at(height, percent, 0.1) else { panic!("{height} {percent}") };
            assert!((ahead - metres).abs() < 1e-9, "{height} {percent}: {ahead}");
        }
        assert_eq!(at(650.0, -1.0, 0.1).words(), "65 m");
        assert_eq!(at(500.0, -10.0, 0.1).words(), "5.0 m");
    }

    /// Truth, by hand: 0.65 / 1.25 % = 52 m and 0.65 / 0.75 % = 86.7 m; small angles add to 1e-4 of themselves.
    #[test]
    fn uncertainty_spans() {
        assert_eq!(at(650.0, -1.0, 0.25).span().as_deref(), Some("52 to 87 m"));
        // 0.65 / 2.27 % = 28.63 m and 0.65 / 2.23 % = 29.15 m: both 29 m.
        assert_eq!(at(650.0, -2.25, 0.02).span().as_deref(), Some("28.6 to 29.1 m"));
        assert_eq!(at(650.0, -2.25, 0.001).span(), None);
        assert_eq!(at(650.0, -1.0, 1.5).span().as_deref(), Some("26 m or more"));
        assert_eq!(at(650.0, -0.05, 0.01).words(), "over 500 m");
        assert_eq!(at(650.0, -0.05, 0.01).span(), None);
    }

    #[test]
    fn at_level_or_above_there_is_no_end() {
        for percent in [0.0, 0.3, 4.0] {
            assert_eq!(at(650.0, percent, 0.1), Reach::NoEnd);
            assert_eq!(at(650.0, percent, 0.1).words(), "no end: dazzles");
        }
    }
}

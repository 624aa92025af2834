//! One figure of a rule: an angle, or a length on a screen that becomes an angle, for some rules only with the lamp's height.
//!
//! **Takes** a TOML table with exactly one of `percent`, `deg`, `mm`, `in`, `height_share`, `height_mm`; lengths with the
//! screen's distance `at_mm`, a share with a further length `plus_mm` where the text has one. Up and right are positive. **Gives** a [`Limit`], and with a lamp's height its angle.
//! **Fails when** there is none or more than one, a length has no distance, or the angle cannot be an aim.

use crate::units::{Deg, Mm, Percent};
use serde::Deserialize;

/// Greatest angle that an aim rule can mean, degrees; more is a slip of the unit.
const MAX_ANGLE_DEG: f64 = 15.0;
/// Heights of a lamp's centre with which a figure that depends on it is tried, mm.
pub(super) const TRIED_HEIGHTS_MM: [f64; 2] = [500.0, 1400.0];

/// A figure of a rule.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Limit {
    /// The same for every lamp.
    Angle(Deg),
    /// A share of the lamp centre's height, up positive, seen on a screen at a distance.
    HeightShare {
        /// Share of the height.
        share: f64,
        /// A length beside it, up positive.
        plus: Mm,
        /// Distance of the screen.
        at: Mm,
    },
    /// A height above the ground, seen on a screen at a distance.
    Height {
        /// The height.
        height: Mm,
        /// Distance of the screen.
        at: Mm,
    },
}

impl Limit {
    /// The angle for a lamp whose centre stands at this height.
    pub fn angle(self, centre_height: Mm) -> Deg {
        match self {
            Self::Angle(angle) => angle,
            Self::HeightShare { share, plus, at } => (Mm::new(share * centre_height.get()) + plus).to_deg_at(at),
            Self::Height { height, at } => (height - centre_height).to_deg_at(at),
        }
    }

    /// Whether it is the same for every lamp.
    pub fn is_fixed(self) -> bool {
        matches!(self, Self::Angle(_))
    }
}

/// As written in a rule file.
#[derive(Deserialize, Debug, Clone, Copy)]
#[serde(deny_unknown_fields)]
pub(super) struct RawLimit {
    percent: Option<f64>,
    deg: Option<f64>,
    mm: Option<f64>,
    r#in: Option<f64>,
    height_share: Option<f64>,
    height_mm: Option<f64>,
    plus_mm: Option<f64>,
    at_mm: Option<f64>,
}

/// One figure, or several of which the strictest counts.
#[derive(Deserialize, Debug, Clone)]
#[serde(untagged)]
pub(super) enum RawLimits {
    One(RawLimit),
    Several(Vec<RawLimit>),
}

impl RawLimits {
    pub(super) fn resolve(&self) -> Result<Vec<Limit>, String> {
        match self {
            Self::One(limit) => Ok(vec![limit.resolve()?]),
            Self::Several(list) if list.is_empty() => Err("is an empty list, need one figure or more".to_owned()),
            Self::Several(list) => list.iter().map(RawLimit::resolve).collect(),
        }
    }
}

impl RawLimit {
    pub(super) fn resolve(&self) -> Result<Limit, String> {
        let given = [self.percent, self.deg, self.mm, self.r#in, self.height_share, self.height_mm];
        if given.iter().flatten().count() != 1 {
            return Err("need exactly one of percent, deg, mm, in, height_share, height_mm".to_owned());
        }
        if self.at_mm.is_some() && (self.percent.is_some() || self.deg.is_some()) {
            return Err("at_mm belongs to lengths only (mm, in, height_share, height_mm)".to_owned());
        }
        if self.plus_mm.is_some() && self.height_share.is_none() {
            return Err("plus_mm belongs to height_share only".to_owned());
        }
        let limit = if let Some(percent) = self.percent {
            Limit::Angle(Percent::new(percent).to_deg())
        } else if let Some(deg) = self.deg {
            Limit::Angle(Deg::new(deg))
        } else {
            let at = self.distance()?;
            match (self.mm, self.r#in, self.height_share) {
                (Some(mm), _, _) => Limit::Angle(Mm::new(mm).to_deg_at(at)),
                (_, Some(inches), _) => Limit::Angle(Mm::from_inches(inches).to_deg_at(at)),
                (_, _, Some(share)) => {
                    Limit::HeightShare { share, plus: Mm::new(self.plus_mm.unwrap_or_default()), at }
                }
                _ => Limit::Height { height: Mm::new(self.height_mm.unwrap_or_default()), at },
            }
        };
        for height in TRIED_HEIGHTS_MM {
            let angle = limit.angle(Mm::new(height)).get();
            if !angle.is_finite() || angle.abs() > MAX_ANGLE_DEG {
                return Err(format!("{angle:.2}° is no aim, need within ±{MAX_ANGLE_DEG}°"));
            }
        }
        Ok(limit)
    }

    fn distance(&self) -> Result<Mm, String> {
        match self.at_mm {
            Some(distance) if (100.0..=1_000_000.0).contains(&distance) => Ok(Mm::new(distance)),
            Some(distance) => Err(format!("at_mm = {distance}, need 100 to 1000000")),
            None => Err("a length says nothing without its distance, need at_mm".to_owned()),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn limit(text: &str) -> Result<Limit, String> {
        #[derive(Deserialize)]
        struct Holder {
            x: RawLimit,
        }
        toml::from_str::<Holder>(&format!("x = {text}")).map_err(|error| error.to_string())?.x.resolve()
    }

    /// Worked by hand: 1067 mm above the ground at 22.9 m from a lamp at 700 mm: atan(367 / 22900) = 0.918 deg; 0.6 of the
    /// height H = 900 mm on a screen at 10 m stands 0.4 H = 360 mm lower: atan(-0.036) = -2.062 deg.
    #[test]
    fn lengths_become_angles_with_the_lamp_s_height() {
        let near = |text: &str, height: f64, hand: f64| {
            let angle = limit(text).unwrap().angle(Mm::new(height)).get();
            assert!((angle - hand).abs() < 0.001, "{text}: {angle}");
        };
        near("{ height_mm = 1067, at_mm = 22900 }", 700.0, 0.918);
        near("{ height_share = -0.4, at_mm = 10000 }", 900.0, -2.062);
        // A third of 1500 mm and 70 mm more: atan(-570 / 10000) = -3.262 deg.
        near("{ height_share = -0.3333333, plus_mm = -70, at_mm = 10000 }", 1500.0, -3.262);
        near("{ in = -5, at_mm = 7620 }", 700.0, -0.955);
        assert!(limit("{ percent = -1 }").unwrap().is_fixed());
        assert!(!limit("{ height_mm = 1067, at_mm = 22900 }").unwrap().is_fixed());
    }

    #[test]
    fn slips_are_named() {
        for (text, expected) in [
            ("{ }", "exactly one"),
            ("{ percent = 1, deg = 1 }", "exactly one"),
            ("{ height_share = 0.1 }", "need at_mm"),
            ("{ mm = 1, plus_mm = 1, at_mm = 10000 }", "belongs to height_share"),
            ("{ deg = 1, at_mm = 10000 }", "lengths only"),
            ("{ height_mm = 9000, at_mm = 10000 }", "is no aim"),
        ] {
            let found = limit(text).unwrap_err();
            assert!(found.contains(expected), "{text}: {found}");
        }
    }
}

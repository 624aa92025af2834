//! A value with its uncertainty budget, and the rules that combine its parts.
//!
//! Inside the library every uncertainty is a standard uncertainty (k = 1). The expanded uncertainty U = 2·u is formed
//! only where a reading or a verdict is made. Combination follows JCGM 100:2008 (GUM) 5.1.2 for independent parts.

use crate::units::Deg;

/// Coverage factor of every expanded uncertainty that the program prints.
pub const COVERAGE_FACTOR: f64 = 2.0;

/// One named part of an uncertainty budget, as a standard uncertainty (k = 1) of the value, in degrees.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Part {
    /// What it comes from, in a technician's words: `marks`, `room light`, `height` and so on.
    pub name: &'static str,
    /// Its standard uncertainty in degrees, never negative.
    pub sigma_deg: f64,
}

/// The named parts of one value's uncertainty; parts are independent of each other.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Budget {
    parts: Vec<Part>,
}

impl Budget {
    /// An empty budget.
    pub fn new() -> Self {
        Self::default()
    }

    /// Adds a part; a part whose size is zero is kept, so that a reader sees that it was considered.
    pub fn add(&mut self, name: &'static str, sigma_deg: f64) {
        self.parts.push(Part { name, sigma_deg: sigma_deg.abs() });
    }

    /// The parts in the order in which they were added.
    pub fn parts(&self) -> &[Part] {
        &self.parts
    }

    /// Combined standard uncertainty (k = 1), degrees: root of the sum of squares (GUM 5.1.2, independent inputs).
    pub fn sigma_deg(&self) -> f64 {
        self.parts.iter().map(|part| part.sigma_deg * part.sigma_deg).sum::<f64>().sqrt()
    }

    /// Combined standard uncertainty of the parts whose names are listed.
    pub fn sigma_of_deg(&self, names: &[&str]) -> f64 {
        self.parts
            .iter()
            .filter(|part| names.contains(&part.name))
            .map(|part| part.sigma_deg * part.sigma_deg)
            .sum::<f64>()
            .sqrt()
    }
}

/// An angle with the budget of its uncertainty.
#[derive(Debug, Clone, PartialEq)]
pub struct Measured {
    /// The best estimate.
    pub value: Deg,
    /// Named parts of its standard uncertainty.
    pub budget: Budget,
}

impl Measured {
    /// Combined standard uncertainty (k = 1).
    pub fn sigma(&self) -> Deg {
        Deg::new(self.budget.sigma_deg())
    }

    /// Expanded uncertainty (k = 2), about 95 % coverage.
    pub fn expanded(&self) -> Deg {
        Deg::new(COVERAGE_FACTOR * self.budget.sigma_deg())
    }
}

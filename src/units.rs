//! Units, points and axes: stated here once, used everywhere.
//!
//! * **Pixel axes**: x right, y *down*, in the upright picture (after EXIF orientation). The origin is the outer corner
//!   of the top left pixel, so the centre of pixel (column, row) lies at (column + 0.5, row + 0.5).
//! * **Wall axes**: on the wall's face, x right along its level line, y *up* along its steepest line, millimetres, from
//!   the point where the bay's centreline meets the wall at y = 0.
//! * **Angle axes** (beam direction seen from the lamp): H positive to the right, V positive *up*; degrees.
//! * **Percent** of inclination is 100·tan(angle): 1 % is 10 cm on 10 m.
//!
//! ```
//! use lampwright::units::Percent;
//!
//! let angle = Percent::new(-1.0).to_deg();
//! // 1 % is 0.573 degrees (UN R48 and national rules print such pairs).
//! assert!((angle.get() + 0.573).abs() < 5e-4);
//! ```

macro_rules! unit {
    ($(#[$doc:meta])* $name:ident) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Default)]
        pub struct $name(f64);

        impl $name {
            /// Wraps a bare number that is already in this unit.
            pub const fn new(value: f64) -> Self {
                Self(value)
            }

            /// The bare number, in this unit.
            pub const fn get(self) -> f64 {
                self.0
            }

            /// Magnitude without sign.
            #[must_use]
            pub const fn abs(self) -> Self {
                Self(self.0.abs())
            }
        }

        impl std::ops::Add for $name {
            type Output = Self;
            fn add(self, other: Self) -> Self {
                Self(self.0 + other.0)
            }
        }

        impl std::ops::Sub for $name {
            type Output = Self;
            fn sub(self, other: Self) -> Self {
                Self(self.0 - other.0)
            }
        }

        impl std::ops::Neg for $name {
            type Output = Self;
            fn neg(self) -> Self {
                Self(-self.0)
            }
        }

        impl std::ops::Mul<f64> for $name {
            type Output = Self;
            fn mul(self, factor: f64) -> Self {
                Self(self.0 * factor)
            }
        }
    };
}

unit!(
    /// An angle in degrees.
    Deg
);
unit!(
    /// An inclination in percent: 100·tan(angle), down negative.
    Percent
);
unit!(
    /// A length in millimetres.
    Mm
);
unit!(
    /// A length in pixels of the upright picture.
    Px
);
unit!(
    /// Light relative to the camera's full scale: 0 is no light, 1 is where the highest code begins.
    Level
);

/// Millimetres in one inch (exact by definition).
pub const MM_PER_INCH: f64 = 25.4;

impl Deg {
    /// From radians.
    pub fn from_radians(radians: f64) -> Self {
        Self(radians.to_degrees())
    }

    /// In radians, for one expression only.
    pub fn radians(self) -> f64 {
        self.0.to_radians()
    }

    /// Inclination in percent: 100·tan(angle).
    pub fn to_percent(self) -> Percent {
        Percent(100.0 * self.radians().tan())
    }

    /// Offset on a flat screen at `distance`, by the flat-screen convention (distance · tan angle).
    pub fn to_mm_at(self, distance: Mm) -> Mm {
        Mm(distance.0 * self.radians().tan())
    }
}

impl Percent {
    /// The angle whose tangent this is.
    pub fn to_deg(self) -> Deg {
        Deg::from_radians((self.0 / 100.0).atan())
    }
}

impl Mm {
    /// From metres.
    pub const fn from_m(metres: f64) -> Self {
        Self(metres * 1000.0)
    }

    /// From inches.
    pub const fn from_inches(inches: f64) -> Self {
        Self(inches * MM_PER_INCH)
    }

    /// In inches.
    pub const fn to_inches(self) -> f64 {
        self.0 / MM_PER_INCH
    }

    /// The angle that this offset subtends on a flat screen at `distance`.
    pub fn to_deg_at(self, distance: Mm) -> Deg {
        Deg::from_radians((self.0 / distance.0).atan())
    }
}

/// A place in the upright picture, pixels, y down; pixel centres at n + 0.5.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct PxPoint {
    /// Pixels to the right of the picture's left edge.
    pub x: f64,
    /// Pixels below the picture's upper edge.
    pub y: f64,
}

/// A place on the wall's face, millimetres, y up.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct WallPoint {
    /// Along the wall's level line, right of the centreline.
    pub x_mm: f64,
    /// Along the wall's steepest line, above y = 0.
    pub y_mm: f64,
}

/// A beam direction seen from the lamp's centre.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct AnglePoint {
    /// Horizontal, right positive.
    pub h: Deg,
    /// Vertical, up positive.
    pub v: Deg,
}

impl PxPoint {
    /// A point from its coordinates in pixels.
    pub const fn new(x: f64, y: f64) -> Self {
        Self { x, y }
    }

    /// Straight distance to another point, in pixels.
    pub fn distance(self, other: Self) -> f64 {
        (self.x - other.x).hypot(self.y - other.y)
    }
}

impl WallPoint {
    /// A point from its coordinates in millimetres.
    pub const fn new(x_mm: f64, y_mm: f64) -> Self {
        Self { x_mm, y_mm }
    }

    /// Straight distance to another point, in millimetres.
    pub fn distance_mm(self, other: Self) -> f64 {
        (self.x_mm - other.x_mm).hypot(self.y_mm - other.y_mm)
    }
}

impl AnglePoint {
    /// A direction from its two angles in degrees.
    pub const fn new(h_deg: f64, v_deg: f64) -> Self {
        Self { h: Deg::new(h_deg), v: Deg::new(v_deg) }
    }
}

//! Points and boxes of the finished picture: pixels, x right, y down, origin at the outer corner of the top left pixel.

/// A place in the finished picture.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct Spot {
    pub(super) x: f32,
    pub(super) y: f32,
}

impl Spot {
    pub(super) const fn new(x: f32, y: f32) -> Self {
        Self { x, y }
    }

    #[must_use]
    pub(super) fn moved(self, dx: f32, dy: f32) -> Self {
        Self::new(self.x + dx, self.y + dy)
    }

    pub(super) fn distance(self, other: Self) -> f32 {
        (self.x - other.x).hypot(self.y - other.y)
    }

    /// The place a share of the way to another.
    #[must_use]
    pub(super) fn towards(self, other: Self, share: f32) -> Self {
        Self::new(self.x + share * (other.x - self.x), self.y + share * (other.y - self.y))
    }
}

/// An upright box.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct Area {
    pub(super) left: f32,
    pub(super) top: f32,
    pub(super) right: f32,
    pub(super) bottom: f32,
}

impl Area {
    pub(super) const fn new(left: f32, top: f32, width: f32, height: f32) -> Self {
        Self { left, top, right: left + width, bottom: top + height }
    }

    pub(super) fn width(&self) -> f32 {
        self.right - self.left
    }

    pub(super) fn height(&self) -> f32 {
        self.bottom - self.top
    }

    pub(super) fn overlaps(&self, other: &Self) -> bool {
        self.left < other.right && other.left < self.right && self.top < other.bottom && other.top < self.bottom
    }

    /// Whether the other box lies wholly inside.
    pub(super) fn holds(&self, other: &Self) -> bool {
        other.left >= self.left && other.right <= self.right && other.top >= self.top && other.bottom <= self.bottom
    }

    pub(super) fn has(&self, spot: Spot) -> bool {
        spot.x >= self.left && spot.x <= self.right && spot.y >= self.top && spot.y <= self.bottom
    }

    /// Grown by a margin on all sides; a negative one shrinks it.
    #[must_use]
    pub(super) fn grown(&self, margin: f32) -> Self {
        Self {
            left: self.left - margin,
            top: self.top - margin,
            right: self.right + margin,
            bottom: self.bottom + margin,
        }
    }

    /// What two boxes share; its width or height is negative when they share nothing.
    #[must_use]
    pub(super) fn shared(&self, other: &Self) -> Self {
        Self {
            left: self.left.max(other.left),
            top: self.top.max(other.top),
            right: self.right.min(other.right),
            bottom: self.bottom.min(other.bottom),
        }
    }

    /// The smallest box around places; `None` without any.
    pub(super) fn around(spots: &[Spot]) -> Option<Self> {
        let first = spots.first()?;
        let start = Self { left: first.x, top: first.y, right: first.x, bottom: first.y };
        Some(spots.iter().fold(start, |area, spot| Self {
            left: area.left.min(spot.x),
            top: area.top.min(spot.y),
            right: area.right.max(spot.x),
            bottom: area.bottom.max(spot.y),
        }))
    }
}

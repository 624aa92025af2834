//! What the search for marks looked at, and why each was dropped or kept: for those who must see why a mark was missed.
//!
//! **Weak when** nobody asks: a list that is off keeps nothing, and the reasons are not even put together.

use crate::units::PxPoint;
use std::sync::{Mutex, PoisonError};

/// What a candidate was taken for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum TriedKind {
    /// A tag of the family 36h11.
    Tag,
    /// A disc split in four quarters.
    Quadrant,
}

/// How far a candidate came.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Fate {
    /// Its shape is no mark's.
    Shape,
    /// Its shape is right, its content is none of the bay's missing marks.
    Content,
    /// Its edges could not be fitted, or the fit lost them.
    Fit,
    /// Fitted, but another place of the same mark fits better, or the layout has no use for it.
    Unused,
    /// The mark with this id was found here.
    Kept(u32),
}

impl Fate {
    /// One word for lists.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Shape => "shape",
            Self::Content => "content",
            Self::Fit => "fit",
            Self::Unused => "unused",
            Self::Kept(_) => "kept",
        }
    }
}

/// One candidate.
#[derive(Debug, Clone, PartialEq)]
pub struct Tried {
    /// What it was taken for.
    pub kind: TriedKind,
    /// Its outline in the upright photo, pixels; a single place where nothing more is known.
    pub outline: Vec<PxPoint>,
    /// How far it came.
    pub fate: Fate,
    /// Why, with the numbers; empty when kept.
    pub why: String,
}

/// The candidates of a search; a list that is off keeps nothing.
#[derive(Debug, Default)]
pub struct TriedList {
    list: Option<Mutex<Vec<Tried>>>,
}

impl TriedList {
    /// A list that keeps what it is told when `is_on`.
    pub fn new(is_on: bool) -> Self {
        Self { list: is_on.then(Mutex::default) }
    }

    /// Whether reasons are worth putting together.
    pub(super) fn is_on(&self) -> bool {
        self.list.is_some()
    }

    /// Adds a candidate; `make` is called by a list that is on only.
    pub(super) fn add(&self, make: impl FnOnce() -> Tried) {
        if let Some(list) = &self.list {
            let tried = make();
            list.lock().unwrap_or_else(PoisonError::into_inner).push(tried);
        }
    }

    /// Everything, those that came farthest last. Threads add in any order; this one is always the same.
    pub fn into_sorted(self) -> Vec<Tried> {
        let mut all = self.list.map_or_else(Vec::new, |list| list.into_inner().unwrap_or_else(PoisonError::into_inner));
        let place = |tried: &Tried| tried.outline.first().map_or((0.0, 0.0), |p| (p.y, p.x));
        all.sort_by(|a, b| {
            let (pa, pb) = (place(a), place(b));
            let by_place = pa.0.total_cmp(&pb.0).then(pa.1.total_cmp(&pb.1));
            a.fate.cmp(&b.fate).then(by_place).then_with(|| a.why.cmp(&b.why))
        });
        all.dedup();
        all
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn tried(x: f64, fate: Fate) -> Tried {
        Tried { kind: TriedKind::Tag, outline: vec![PxPoint::new(x, 1.0)], fate, why: String::new() }
    }

    #[test]
    fn a_list_that_is_off_asks_for_nothing() {
        let list = TriedList::new(false);
        list.add(|| panic!("asked"));
        assert!(list.into_sorted().is_empty());
    }

    #[test]
    fn order_does_not_hang_on_the_order_of_adding() {
        let (a, b, c) = (tried(1.0, Fate::Kept(3)), tried(5.0, Fate::Shape), tried(2.0, Fate::Shape));
        let sorted = |all: [&Tried; 3]| {
            let list = TriedList::new(true);
            for one in all {
                list.add(|| one.clone());
            }
            list.into_sorted()
        };
        assert_eq!(sorted([&a, &b, &c]), sorted([&c, &a, &b]));
        assert_eq!(sorted([&a, &b, &c]).last(), Some(&a));
    }
}

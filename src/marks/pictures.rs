//! The small grey pictures that marks are sought in, each made when it is first asked for.
//!
//! **Takes** the photo and the longer side of the search picture. **Gives** that picture, and one in blocks of twice its
//! side: a quarter of the places to look at, enough for marks as they hang in most bays.

use super::shrink::Grey;
use crate::photo::Photo;
use std::cell::OnceCell;

/// A photo in two sizes.
pub(super) struct Pictures<'a> {
    photo: &'a Photo,
    block: usize,
    coarse: OnceCell<Grey>,
    fine: OnceCell<Grey>,
}

impl<'a> Pictures<'a> {
    /// The pictures of a photo; the longer side of the fine one is about `side_px`.
    pub(super) fn of(photo: &'a Photo, side_px: usize) -> Self {
        let side = photo.width().max(photo.height()) as f64;
        let block = (side / side_px.max(1) as f64).round().max(1.0) as usize;
        Self { photo, block, coarse: OnceCell::new(), fine: OnceCell::new() }
    }

    /// The coarse picture.
    pub(super) fn coarse(&self) -> &Grey {
        self.coarse.get_or_init(|| Grey::of(self.photo, 2 * self.block))
    }

    /// The search picture.
    pub(super) fn fine(&self) -> &Grey {
        self.fine.get_or_init(|| Grey::of(self.photo, self.block))
    }
}

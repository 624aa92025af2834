//! Everything that can be tuned in the marks stage.

mod tag;
mod disc;

pub use disc::{DiscOptions, QuadrantOptions};
pub use tag::{DecodeOptions, QuadOptions, SearchOptions, TagOptions};

use crate::tunable::tunables;

tunables! {
    /// Tunables of the marks stage.
    pub struct FindOptions {
        /// Longer side of the picture that is searched first. Too small: small tags are lost; too large: slow. Default: a tag of
        /// 24 px in a photo of 4000 px still has 1.5 px a module.
        search_side_px: usize = 2000, "px", 200..=20000;

        /// Standard uncertainty of a place given by hand, per axis. Too small: trusts the hand over the other marks; too large:
        /// the place tells nothing. Default: the pixel that a person points at (common practice, no source).
        by_hand_sigma_px: f64 = 1.0, "px", 0.01..=100.0;
        groups {
            /// Where tags are sought.
            search: SearchOptions;
            /// Dark four-sided shapes.
            quad: QuadOptions;
            /// Reading a tag's code.
            decode: DecodeOptions;
            /// Fitting a tag's edges.
            tag: TagOptions;
            /// Seeing quadrant discs.
            quadrant: QuadrantOptions;
            /// Fitting a quadrant disc's crossing.
            disc: DiscOptions;
        }
    }
}

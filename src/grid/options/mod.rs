//! Everything that can be tuned in the grid stage.

mod far;

pub use far::{BareOptions, FarOptions};

use crate::tunable::tunables;

tunables! {
    /// Tunables of the grid stage.
    pub struct GridOptions {
        /// Half width. Too small: scan regions of patterns are cut; too large: slow. Default: 9, which holds those of every
        /// pattern.
        half_width_deg: f64 = 9.0, "deg", 4.0..=20.0;

        /// Lowest V. Too small: slow, and the floor line ends it before in most bays; too large: low beams are cut.
        /// Default: own judgement.
        bottom_deg: f64 = -6.0, "deg", -15.0..=-1.0;

        /// Highest V. Too small: the dark side is cut; too large: slow. Default: own judgement.
        top_deg: f64 = 6.0, "deg", 1.0..=15.0;

        /// Cell width. Too small: slow, and noisy where pixels are larger; too large: a 45 degree step is smeared. Default:
        /// own judgement.
        step_h_deg: f64 = 0.05, "deg", 0.01..=0.5;

        /// Cell height. Too small: slow, and noisy where pixels are larger; too large: sharp cutoffs are smeared. Default:
        /// under the 0.05 degrees that UN R112 asks of a scan.
        step_v_deg: f64 = 0.02, "deg", 0.005..=0.2;
        groups {
            /// Coarse samples of the whole wall, from which the room's light is told.
            far: FarOptions;
            /// Which wall counts as bare.
            bare: BareOptions;
        }
    }
}

//! Tunables of the grid stage: far, bare.

use crate::tunable::tunables;

tunables! {
    /// Coarse samples of the whole wall, from which the room's light is told.
    pub struct FarOptions {
        /// Farthest H that is sampled. Too small: fading to the sides is not seen; too large: slow, and other walls
        /// count. Default: own judgement.
        h_reach_deg: f64 = 16.0, "deg", 4.0..=40.0;

        /// Lowest V that is sampled. Too small: floors count; too large: the beam's colour is not seen. Default: own
        /// judgement.
        bottom_deg: f64 = -4.0, "deg", -15.0..=0.0;

        /// Highest V that is sampled. Too small: slow fading is not seen; too large: ceilings count. Default: own
        /// judgement.
        top_deg: f64 = 13.0, "deg", 3.0..=40.0;

        /// Distance between patches, H. Too small: slow; too large: too few patches. Default: own judgement.
        step_h_deg: f64 = 1.5, "deg", 0.3..=6.0;

        /// Distance between patches, V. Too small: slow; too large: fast fading is not seen. Default: own judgement.
        step_v_deg: f64 = 0.7, "deg", 0.2..=4.0;

        /// Pixels along the photo's edge that are left out. Too small: frames and dark corners count; too large: wall
        /// is lost. Default: own judgement.
        margin_px: f64 = 8.0, "px", 0.0..=200.0;
    }
}

tunables! {
    /// Which wall counts as bare.
    pub struct BareOptions {
        /// Strip above the floor line that is left out. Too small: skirting and the floor's reflection count; too
        /// large: low beams are lost. Default: own judgement.
        floor_margin_mm: f64 = 25.0, "mm", 0.0..=500.0;

        /// Half side of the square around a mark that is left out. Too small: its black square counts; too large:
        /// wall near the cutoff is lost. Default: black square and quiet zone.
        mark_half_side: f64 = 0.8, "sizes", 0.5..=3.0;
    }
}

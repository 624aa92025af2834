//! Tunables of the marks stage: quadrant, disc.

use crate::tunable::tunables;

tunables! {
    /// Seeing quadrant discs.
    pub struct QuadrantOptions {
        /// Share of the local contrast by which bright neighbours must exceed dark ones. Too small: slow, texture
        /// passes; too large: dim discs are missed. Default: own judgement.
        cross_share: f32 = 0.35, "", 0.05..=1.0;

        /// Candidates nearer than this are one. Too small: slow; too large: discs side by side are one. Default: own
        /// judgement.
        apart: f64 = 4.0, "blocks", 1.0..=50.0;

        /// Candidates at most, best first. Too small: discs on a textured wall are missed; too large: slow. Default:
        /// own judgement.
        most_candidates: usize = 300, "", 10..=5000;

        /// Smallest disc. Too small: texture passes; too large: small discs are missed. Default: 24 px across, seen
        /// at 50 degrees, in blocks of 2 px.
        least_radius: f64 = 3.5, "blocks", 2.0..=50.0;

        /// Largest disc as a share of the picture's shorter side. Too small: near discs are missed; too large: slow.
        /// Default: own judgement.
        most_radius_share: f64 = 0.25, "", 0.02..=0.5;

        /// How far two opposite edges may be from half a turn apart. Too small: blurred discs are missed; too large:
        /// texture passes. Default: own judgement.
        opposite: f64 = 0.25, "rad", 0.02..=1.0;

        /// What a centre that is off adds to it. Too small: discs are missed at small circles; too large: texture
        /// passes. Default: a centre off by most of a block.
        opposite_off_centre: f64 = 1.5, "rad blocks", 0.0..=10.0;

        /// Least angle of a sector. Too small: texture passes; too large: discs seen aslant are missed. Default: 30
        /// degrees, as a disc seen from 60 degrees aside and turned shows.
        least_sector: f64 = 0.52, "rad", 0.1..=1.5;

        /// Largest turn from upright. Too small: crooked discs are missed; too large: discs turned by a quarter pass.
        /// Default: 45 degrees and a little.
        most_turn: f64 = 0.87, "rad", 0.1..=1.5;

        /// Ratio of the two black sectors' radii. Too small: discs seen aslant are missed; too large: corners of tags
        /// pass. Default: perspective across one mark is weak.
        most_radii_ratio: f64 = 1.4, "", 1.0..=5.0;

        /// Circles up to this share of the largest are free of the rim. Too small: few circles count; too large: the
        /// rim counts. Default: own judgement.
        rim_share: f64 = 0.8, "", 0.3..=1.0;

        /// Share of the radius that is fitted. Too small: accuracy is given away; too large: the blurred rim counts.
        /// Default: own judgement.
        fit_share: f64 = 0.82, "", 0.3..=1.0;
    }
}

tunables! {
    /// Fitting a quadrant disc's crossing.
    pub struct DiscOptions {
        /// Samples along a diameter that are enough. Too small: accuracy is given away; too large: slow. Default: own
        /// judgement.
        enough_px: f64 = 56.0, "px", 16.0..=400.0;

        /// Share of the radius by which a fit may move the centre. Too small: rough starts are dropped; too large:
        /// lost fits pass. Default: own judgement.
        most_move_share: f64 = 0.35, "", 0.01..=1.0;

        /// Residuals as a share of the contrast. Too small: dirty discs are dropped; too large: texture passes.
        /// Default: own judgement.
        most_misfit: f64 = 0.2, "", 0.01..=2.0;

        /// Uncertainty of the centre as a share of the radius. Too small: dim discs are dropped; too large: crossings
        /// of noise pass. Default: a dim disc of 24 px reaches 0.03.
        most_sigma_share: f64 = 0.06, "", 0.001..=1.0;

        /// What no model of a photo gets right. Too small: sharp marks are trusted too much; too large: too little.
        /// Default: sharpening and coding (own judgement).
        model_sigma_px: f64 = 0.003, "px", 0.0..=1.0;

        /// Neighbourhood of a tag in which no disc is sought, as a multiple of half its diagonal. Too small: a tag's
        /// own crossings are fitted; too large: discs beside tags are missed. Default: own judgement.
        tag_reach: f64 = 1.1, "", 0.5..=5.0;
    }
}

//! Tunables of the photo stage: bands of a pulsed lamp on wall and floor.

use crate::tunable::tunables;

tunables! {
    /// Bands of a pulsed lamp on the wall.
    pub struct BandsOptions {
        /// Darkest light that is used. Too small: noise counts; too large: the dark wall tells nothing. Default:
        /// noise below.
        darkest: f64 = 1.5e-3, "full scale", 0.0..=0.1;

        /// Brightest light that is used. Too small: the beam tells nothing; too large: clipping counts. Default:
        /// clipping above.
        brightest: f64 = 0.8, "full scale", 0.3..=1.0;

        /// Spread about its course beyond which a stretch is not used. Too small: rough walls tell nothing; too
        /// large: marks and doors pass for bands. Default: a mark, a door or the cutoff lies in it.
        smooth: f64 = 0.10, "ln", 0.01..=1.0;

        /// Fewest stretches that tell. Too small: chance tells; too large: small walls tell nothing. Default: own
        /// judgement.
        least_stretches: usize = 60, "", 10..=1000;

        /// Share of what is left that the wave must explain. Too small: steady lamps are flagged; too large: bands
        /// are missed. Default: steady lamps reach 0.058, bands that matter start at 0.09 (own judgement).
        least_share: f64 = 0.075, "", 0.005..=1.0;

        /// Least amplitude that is worth a word. Too small: harmless bands are flagged; too large: bands are missed.
        /// Default: bands of two percent.
        least_amplitude: f64 = 0.010, "ln", 0.0..=0.5;

        /// Fewest groups of rows that tell. Too small: chance tells; too large: small walls tell nothing. Default:
        /// own judgement.
        least_groups: usize = 6, "", 2..=10;
    }
}

tunables! {
    /// Level bands, told by the floor.
    pub struct LevelBandsOptions {
        /// Darkest light that is used. Too small: noise counts; too large: the floor tells nothing. Default: noise
        /// below.
        darkest: f64 = 1e-3, "full scale", 0.0..=0.1;

        /// Brightest light that is used. Too small: bright floors tell nothing; too large: clipping counts. Default:
        /// clipping above.
        brightest: f64 = 0.8, "full scale", 0.3..=1.0;

        /// Fewest cells of a stretch. Too small: a cubic takes the bands; too large: short floors tell nothing.
        /// Default: half of a wide band.
        least_cells: usize = 18, "", 4..=100;

        /// Change from cell to cell that ends a stretch. Too small: rough floors tell nothing; too large: lines and
        /// cars pass for bands. Default: a car, a line on the floor.
        largest_change: f64 = 0.12, "ln", 0.01..=2.0;

        /// Spread about its course beyond which a stretch is not used. Too small: rough floors tell nothing; too
        /// large: stains pass for bands. Default: own judgement.
        smooth: f64 = 0.15, "ln", 0.01..=1.0;

        /// Share of what is left that the wave must explain. Too small: steady lamps are flagged; too large: bands
        /// are missed. Default: steady lamps stay under 0.3, bands that matter reach 0.55 (own judgement).
        least_share: f64 = 0.40, "", 0.01..=1.0;

        /// Counts whose share is this near to the best explain it as well. Too small: too many bands are meant; too
        /// large: too few. Default: own judgement.
        as_good: f64 = 0.97, "", 0.5..=1.0;

        /// Spreads that the wave must stand out by. Too small: chance is flagged; too large: bands are missed.
        /// Default: own judgement.
        least_sigmas: f64 = 4.0, "sigma", 0.5..=30.0;

        /// Least amplitude that is worth a word. Too small: harmless bands are flagged; too large: bands are missed.
        /// Default: bands of four percent.
        least_amplitude: f64 = 0.02, "ln", 0.0..=0.5;
    }
}

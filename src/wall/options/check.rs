//! Tunables of the wall stage: check.

use crate::tunable::tunables;

tunables! {
    /// Whether the marks agree, and which one is off.
    pub struct CheckOptions {
        /// Normal deviate of chi-square from which a fit is implausible. Too small: sound photos are refused; too
        /// large: moved marks are missed. Default: one sound photo in 60,000.
        chi2_sigmas: f64 = 4.2, "sigma", 1.0..=10.0;

        /// Deviate from which the noise is widened to what the residuals show. Too small: U too cautious; too large:
        /// too bold. Default: one sound photo in 40.
        usual_sigmas: f64 = 2.0, "sigma", 0.5..=6.0;

        /// Least advantage in chi-square of the accused mark over others. Too small: the wrong mark is left out; too
        /// large: nobody is accused and the photo is refused. Default: odds of 20 to 1.
        least_advantage: f64 = 6.0, "", 0.5..=30.0;

        /// Largest factor by which the marks' noise may be widened. Too small: noisy photos are refused; too large:
        /// wrong bay files pass. Default: beyond it something else is wrong (own judgement).
        largest_noise_factor: f64 = 5.0, "", 1.0..=30.0;

        /// Fewest degrees of freedom from which a noise factor is taken. Too small: it is chance; too large: noisy
        /// photos are too bold. Default: own judgement.
        least_freedom: usize = 6, "", 1..=40;

        /// Shift from which the focal length alone may accuse a mark. Too small: sound marks are accused; too large:
        /// moved ones are missed. Default: smaller shifts do no harm to the aim (own judgement).
        least_tied_shift_mm: f64 = 12.0, "mm", 0.0..=200.0;

        /// Marks within this of the bay file are noisy rather than moved. Too small: noisy photos are refused; too
        /// large: moved marks pass. Default: 0.05 degrees at 10 m.
        harmless_shift_mm: f64 = 8.0, "mm", 0.0..=100.0;

        /// Squared length that an accused mark must be off by without the focal length too. Too small: cropped photos
        /// accuse sound marks; too large: moved ones are missed. Default: one sound mark in 90.
        least_tied_chi2: f64 = 9.0, "", 0.0..=100.0;

        /// Every fit is noisy by one cause when leaving out the best mark lowers the noise by less. Too small: noise
        /// is blamed on a mark; too large: a moved mark is called noise. Default: own judgement.
        common_noise_ratio: f64 = 1.6, "", 1.0..=10.0;
    }
}

//! Tunables of the photo stage: pair, sharpness.

use crate::tunable::tunables;

tunables! {
    /// The camera's movement between two photos.
    pub struct PairOptions {
        /// Agreeing patches that make a movement believable. Too small: chance moves the marks; too large: plain
        /// walls are refused. Default: chance agreement of three happens.
        least_agreeing: usize = 6, "", 3..=100;

        /// Share of the matched patches that must agree. Too small: chance moves the marks; too large: photos in
        /// other light are refused. Default: own judgement.
        least_share: f64 = 0.25, "", 0.02..=1.0;

        /// Sigma beyond which a movement counts as not known. Too small: useful pairs are refused; too large: U grows
        /// beyond use. Default: own judgement.
        most_sigma_px: f64 = 1.0, "px", 0.05..=20.0;

        /// Sigma below which none is believed. Too small: U too bold; too large: too cautious. Default: lens and
        /// parallax move parts of the picture by this much.
        sigma_floor_px: f64 = 0.05, "px", 0.0..=5.0;

        /// Roll from which the camera counts as taken up. Too small: quiet hands are refused; too large: a changed
        /// perspective passes. Default: a quiet hand rolls by tenths (own judgement).
        most_roll_deg: f64 = 0.8, "deg", 0.05..=10.0;

        /// What patches may deviate beyond their own sigma. Too small: parallax breaks agreement; too large: chance
        /// agrees. Default: parallax of things before the wall, lens.
        slack_px: f64 = 0.3, "px", 0.0..=10.0;

        /// Squared distance in sigmas up to which a patch agrees. Too small: sound patches are lost; too large:
        /// chance agrees. Default: 99 % of two degrees of freedom.
        agrees_within: f64 = 9.2, "", 1.0..=50.0;

        /// Greatest rotation of a camera held to the same place. Too small: moved cameras find no fit; too large:
        /// chance agrees. Default: 2 degrees.
        most_rotation: f64 = 0.035, "rad", 0.001..=0.5;

        /// Greatest change of scale, likewise. Too small: moved cameras find no fit; too large: chance agrees.
        /// Default: 5 cm in 5 m.
        most_scale: f64 = 0.01, "", 0.0005..=0.2;

        /// Chi-squared by which rotation and scale must improve the fit to count. Too small: noise turns the picture;
        /// too large: real turns are ignored. Default: 3.5 sigma for two parameters.
        worth_it: f64 = 15.0, "", 0.0..=200.0;

        /// Correlation that a coarse patch must reach. Too small: noise matches; too large: photos in other light do
        /// not. Default: patches of noise alone stay under 0.2.
        coarse_correlation: f32 = 0.4, "", 0.1..=1.0;

        /// The same after the fine placing. Too small: noise matches; too large: photos in other light do not.
        /// Default: texture is finer and noise stronger (own judgement).
        fine_correlation: f32 = 0.4, "", 0.1..=1.0;

        /// Deviation of a placing beyond what noise explains. Too small: U too bold; too large: patches weigh too
        /// little. Default: interpolation, JPEG.
        placing_floor_px: f64 = 0.03, "px", 0.0..=2.0;
    }
}

tunables! {
    /// How blurred a photo without marks is.
    pub struct SharpnessOptions {
        /// Least height of a step. Too small: noise passes for edges; too large: dim rooms have none. Default: own
        /// judgement.
        least_codes: f32 = 10.0, "codes", 1.0..=100.0;

        /// The same in deviations of the noise. Too small: noise passes for edges; too large: noisy photos have none.
        /// Default: own judgement.
        least_sigmas: f32 = 10.0, "sigma", 2.0..=100.0;

        /// Strips with an edge that are needed. Too small: one stain tells; too large: plain rooms have none.
        /// Default: own judgement.
        least_strips: usize = 8, "", 1..=200;
    }
}

//! Everything that can be tuned in the wall stage.

mod check;

pub use check::CheckOptions;

use crate::tunable::tunables;

tunables! {
    /// Tunables of the wall stage.
    pub struct FitOptions {
        /// Turn of a tag as stuck on the wall (k = 1). Too small: slightly crooked tags are refused; too large: what the corners
        /// tell is wasted. Default: 1.6 mm over a 180 mm tag (own judgement).
        tag_turn_sigma_deg: f64 = 0.5, "deg", 0.01..=20.0;

        /// Error of a tag's size, relative (k = 1). Too small: printers' errors accuse sound tags; too large: what the corners
        /// tell is wasted. Default: common practice for office printers, no source.
        tag_size_sigma: f64 = 0.003, "", 0.0001..=0.2;

        /// k1 and k2 of a camera without a calibration (k = 1). Too small: hides the lens's share of the uncertainty; too
        /// large: too cautious. Default: phones are within about 0.02 after the camera's own correction (from memory).
        radial_sigma: f64 = 0.03, "", 0.0005..=1.0;

        /// The same for a lens that shows by its tags that it bends more. Too small: strong lenses are refused; too large: too
        /// cautious. Default: own judgement.
        strong_radial_sigma: f64 = 0.3, "", 0.001..=3.0;

        /// Squared Mahalanobis length of a mark's shift beyond which it is off; two degrees of freedom. Too small: sound marks
        /// are suspected; too large: moved ones are missed. Default: a sound mark exceeds it once in 60,000.
        alarm_chi2: f64 = 22.0, "", 2.0..=200.0;

        /// Largest standard uncertainty between the marks with which a fit may go on after a mark was left out. Too small:
        /// useful photos are refused; too large: useless readings. Default: a quarter of the 0.2 degrees that visual aim
        /// repeats to.
        largest_sigma_deg: f64 = 0.05, "deg", 0.001..=2.0;

        /// k1 and k2 that are left of a calibrated lens (k = 1). Too small: hides the lens's share of U; too large:
        /// wastes the calibration. Default: phones change from shot to shot (Sensors 2023, 23, 728, abstract) by a
        /// few thousandths (own judgement).
        calibrated_radial_sigma: f64 = 0.004, "", 0.0001..=0.5;

        /// A calibrated principal point (k = 1). Too small: hides the lens's share of U; too large: wastes the
        /// calibration. Default: own judgement, same source.
        calibrated_centre_sigma_px: f64 = 5.0, "px", 0.1..=200.0;

        /// The distortion's centre without a calibration (k = 1). Too small: hides the lens's share of U; too large:
        /// too cautious. Default: phones differ from the middle by about 20 px (from memory).
        centre_sigma_px: f64 = 20.0, "px", 0.5..=500.0;

        /// The focal length, relative (k = 1). Too small: sound marks are accused; too large: moved ones are missed.
        /// Default: EXIF rounds to whole millimetres, focusing and stabilisation change it by 2 % (own judgement).
        focal_sigma: f64 = 0.025, "", 0.001..=0.5;

        /// The same with a calibrated lens. Too small: sound marks are accused; too large: moved ones are missed.
        /// Default: own judgement.
        calibrated_focal_sigma: f64 = 0.01, "", 0.0005..=0.5;

        /// The principal point when it judges marks, as a share of the diagonal (k = 1). Too small: sound marks are
        /// accused; too large: moved ones are missed. Default: 30 px of 5000, a wrong accusation costs more than a
        /// missed one.
        tie_centre_share: f64 = 0.006, "", 0.0005..=0.1;
        groups {
            /// Whether the marks agree, and which one is off.
            check: CheckOptions;
        }
    }
}

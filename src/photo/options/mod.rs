//! Everything that can be tuned in the photo stage.

mod pair;
mod bands;

pub use bands::{BandsOptions, LevelBandsOptions};
pub use pair::{PairOptions, SharpnessOptions};

use crate::tunable::tunables;

tunables! {
    /// Tunables of the photo stage.
    pub struct PhotoOptions {
        /// Share of white pixels above which a photo whose marks are missing is refused as white. Too small: missing marks are
        /// blamed on the exposure; too large: on the marks. Default: wall and marks fill the rest at most (own judgement).
        white_share: f64 = 0.6, "", 0.05..=1.0;

        /// Blur above which a photo whose marks are missing is refused as blurred. Too small: missing marks are blamed on the
        /// focus; too large: on the marks. Default: a tag's modules of 3 to 8 px run into each other; sharp photos stay under 3.
        blur_px: f64 = 4.0, "px", 0.5..=50.0;

        /// Shift of the camera between two photos that is worth a flag. Too small: every pair is flagged; too large: a moved
        /// camera is not told. Default: the hand's tremor within the uncertainty (own judgement).
        flagged_shift_px: f64 = 0.5, "px", 0.0..=100.0;

        /// Exposures of a photo and its ambient photo that differ by less than this count as the same. Too small: rounding is
        /// flagged; too large: a wrong scale is not told. Default: own judgement.
        same_exposure: f64 = 0.01, "", 0.0..=1.0;

        /// Strength of the tone curve that is worth a flag. Too small: every camera is flagged; too large: strong curves are
        /// not told. Default: own judgement.
        flagged_tone: f64 = 0.1, "", 0.0..=1.0;

        /// Standard uncertainties that it must be from none. Too small: noise is flagged; too large: strong curves are not
        /// told. Default: own judgement.
        flagged_tone_sigmas: f64 = 2.0, "sigma", 0.0..=20.0;

        /// Focal length that is assumed for the lens's fall-off when the photo states none, 35 mm equivalent. Too small: too
        /// much fall-off is expected; too large: too little. Default: a common phone's main camera.
        assumed_focal_35mm: f64 = 26.0, "mm", 8.0..=200.0;
        groups {
            /// The camera's movement between two photos.
            pair: PairOptions;
            /// How blurred a photo without marks is.
            sharpness: SharpnessOptions;
            /// Bands of a pulsed lamp on the wall.
            bands: BandsOptions;
            /// Level bands, told by the floor.
            level_bands: LevelBandsOptions;
        }
    }
}

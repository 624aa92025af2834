//! Tunables of the beam stage: spot, zone, limits.

use crate::tunable::tunables;

tunables! {
    /// The hot spot.
    pub struct SpotOptions {
        /// Half width of the region that is fitted. Too small: flanks are missing; too large: the form does not hold.
        /// Default: own judgement.
        reach_h_deg: f64 = 4.5, "deg", 1.0..=9.0;

        /// Its reach downwards. Too small: the flank is missing; too large: the foreground counts. Default: own
        /// judgement.
        reach_down_deg: f64 = 3.5, "deg", 0.5..=6.0;

        /// Its reach upwards, for lamps without a cutoff. Too small: the flank is missing; too large: stray light
        /// counts. Default: own judgement.
        reach_up_deg: f64 = 3.5, "deg", 0.5..=6.0;

        /// The wall's texture in a block. Too small: the top's noise draws the spot; too large: only the far flanks
        /// count. Default: own judgement; its true size is taken from the residuals.
        texture: f64 = 0.02, "", 0.001..=0.5;

        /// What the closed form may be off per e-fold under the top. Too small: far flanks draw the spot; too large:
        /// they tell nothing. Default: the published lamp is 18 % off its own form.
        form_sigma: f64 = 0.2, "", 0.01..=2.0;

        /// Log share of the top under which blocks carry nothing. Too small: dark blocks add noise; too large: flanks
        /// are missing. Default: own judgement.
        least_ln: f64 = -2.5, "ln", -8.0..=-0.5;

        /// Distance from the cutoff under which blocks are left out. Too small: the edge's shape counts; too large:
        /// spots under the cutoff lose their upper flank. Default: own judgement.
        edge_clear: f64 = 2.0, "softnesses", 0.0..=10.0;

        /// Spread of the change of the wall's reflectance. Too small: U too bold on uneven paint; too large: the spot
        /// stays open. Default: 2 % per metre (own judgement).
        wall_gradient_sigma: f64 = 0.003, "1/deg", 0.0..=0.1;

        /// What the bands' amplitudes away from the beam leave open in it. Too small: bands move the spot; too large:
        /// the spot's own shape passes for bands. Default: own judgement.
        bands_sigma: f64 = 0.03, "ln", 0.001..=0.5;

        /// The same as a share of the amplitude. Too small: bands move the spot; too large: the spot's own shape
        /// passes for bands. Default: room light makes bands shallower (own judgement).
        bands_share: f64 = 0.5, "", 0.0..=3.0;

        /// By how much H is less certain than the fit says. Too small: U too bold on mottled walls; too large: too
        /// cautious. Default: held against rendered plaster and concrete.
        wide_top: f64 = 1.3, "", 0.5..=5.0;

        /// Fewest blocks that carry the form. Too small: fits of nothing; too large: small walls are not measured.
        /// Default: own judgement.
        least_blocks: usize = 60, "", 20..=1000;

        /// Least uncertainty of the tone curve near white. Too small: U too bold; too large: too cautious. Default:
        /// curves of one strength at mid-grey still differ there (own judgement).
        least_tone_sigma: f64 = 0.15, "", 0.0..=1.0;

        /// Uncertainty of H without a second opinion. Too small: U too bold where the top is clipped; too large: too
        /// cautious. Default: tops of another form.
        unchecked_h_deg: f64 = 0.12, "deg", 0.0..=2.0;

        /// Uncertainty of V without a second opinion. Too small: U too bold where the top is clipped; too large: too
        /// cautious. Default: tops of another form.
        unchecked_v_deg: f64 = 0.02, "deg", 0.0..=2.0;

        /// Most of half the difference of the two opinions that is taken, H. Too small: the form's own error stays;
        /// too large: a joint draws the spot. Default: own judgement.
        free_reach_h_deg: f64 = 0.3, "deg", 0.0..=2.0;

        /// The same for V. Too small: the form's own error stays; too large: a joint draws the spot. Default: own
        /// judgement.
        free_reach_v_deg: f64 = 0.15, "deg", 0.0..=2.0;

        /// Clipped light from which a block counts as clipped. Too small: good blocks are lost; too large: white
        /// flattens the top. Default: own judgement.
        clipped_share: f64 = 0.01, "", 0.0..=1.0;

        /// Level of a channel from which it is not trusted. Too small: bright tops are lost; too large: soft clipping
        /// flattens them. Default: own judgement.
        safe_level: f32 = 0.93, "full scale", 0.5..=1.0;

        /// Share of the brightest under which blocks tell no ratio of channels. Too small: room light colours it; too
        /// large: too few blocks. Default: own judgement.
        dark_share: f64 = 0.05, "", 0.0..=0.5;

        /// Share of the brightest from which blocks tell the ratios of the channels. Too small: stray light colours
        /// it; too large: too few blocks. Default: own judgement.
        ratio_share: f64 = 0.3, "", 0.01..=1.0;

        /// By how much mottling as long as the top itself raises the variance. Too small: U too bold on mottled
        /// walls; too large: too cautious. Default: held against rendered plaster and concrete (own judgement).
        long_mottling: f64 = 3.3, "", 1.0..=20.0;
    }
}

tunables! {
    /// The bright zone's edges.
    pub struct ZoneOptions {
        /// Half width of the cubic's window. Too small: noise and joints win; too large: soft edges are blunted.
        /// Default: own judgement.
        window_deg: f64 = 0.6, "deg", 0.1..=2.0;

        /// A second window, whose difference goes into U. Too small or too large: U too bold or too cautious.
        /// Default: half as wide again (own judgement).
        other_window_deg: f64 = 0.9, "deg", 0.1..=3.0;

        /// Half width of a line. Too small: noise; too large: slanted edges are smeared. Default: own judgement.
        half_width_deg: f64 = 0.1, "deg", 0.02..=1.0;

        /// Lines that count as independent. Too small: too cautious; too large: U too bold. Default: own judgement.
        independent: f64 = 2.0, "", 1.0..=10.0;

        /// Light over the room's at which a profile ends. Too small: noise in the dark counts; too large: edges are
        /// not reached. Default: own judgement.
        above_room_sigmas: f64 = 3.0, "sigma", 0.0..=20.0;

        /// Share of the top at which a profile ends. Too small: noise in the dark counts; too large: edges are not
        /// reached. Default: own judgement.
        least_share: f64 = 0.01, "", 0.0..=0.5;

        /// Distance within which lines see the same edge. Too small: no edge is agreed on; too large: two edges are
        /// averaged. Default: own judgement.
        same_edge_deg: f64 = 1.0, "deg", 0.1..=5.0;
    }
}

tunables! {
    /// When the beam is refused or flagged.
    pub struct LimitsOptions {
        /// Share of clipped cells above which the photo is refused as white. Too small: measurable photos are
        /// refused; too large: white ones are measured. Default: own judgement.
        all_white_share: f64 = 0.5, "", 0.05..=1.0;

        /// Share of clipped light at the cutoff that refuses the photo. Too small: measurable photos are refused; too
        /// large: a flattened edge is read too high. Default: own judgement.
        clipped_at_cutoff_share: f64 = 0.10, "", 0.0..=1.0;

        /// Image part of the cutoff's U that refuses the photo. Too small: useful photos are refused; too large:
        /// useless readings. Default: UN R19, three settings within 0.2 degrees.
        largest_image_u_deg: f64 = 0.2, "deg", 0.01..=3.0;

        /// Sharpness below which the photo is refused as blurred. Too small: blurred photos are read; too large: soft
        /// lamps are refused. Default: half of the softest legal edge (UN R112: 0.13).
        blurred_g: f64 = 0.055, "", 0.0..=0.5;

        /// Texture from which the wall is flagged as uneven. Too small: plain walls are flagged; too large: bricks
        /// are not. Default: own judgement.
        uneven_texture: f64 = 0.06, "", 0.005..=1.0;

        /// Fall of log light across the other lamp's slanting cutoff, over what falls beside it, from which that lamp counts as
        /// lit. Too small: brick walls show a lamp; too large: a half-covered lamp is not told. Default: over the 0.12 that a brick
        /// wall showed, under the 0.34 of a lamp of a tenth (own judgement).
        second_lamp_fall: f64 = 0.2, "ln", 0.05..=2.0;

        /// Slant of the flat part from which it is taken for the rising one. Too small: a vehicle that leans is not measured; too
        /// large: a lamp for the other side of the road is. Default: over any floor's (own judgement).
        largest_tilt_deg: f64 = 3.5, "deg", 0.5..=10.0;

        /// Encoded light under the cutoff below which the exposure is flagged. Too small: no flag where the tone
        /// curve matters; too large: a flag on good photos. Default: own judgement.
        dark_exposure: f64 = 0.3, "full scale", 0.0..=0.6;

        /// Encoded light above which it is flagged. Too small: a flag on good photos; too large: no flag where the
        /// tone curve matters. Default: own judgement.
        bright_exposure: f64 = 0.9, "full scale", 0.6..=1.0;

        /// Shift by room light that is flagged. Too small: every room is flagged; too large: none. Default: own
        /// judgement.
        room_flag_deg: f64 = 0.05, "deg", 0.0..=1.0;
    }
}

//! Tunables of the beam stage: light, room, tone, rows.

use crate::tunable::tunables;

tunables! {
    /// The noise of the grid's cells.
    pub struct LightOptions {
        /// Standard deviation of a cell's light in the dark. Too small: the dark side weighs too much; too large:
        /// stray light is open. Default: about one 8-bit code averaged over a cell (own judgement, checked against
        /// residuals).
        dark_sigma: f64 = 2.0e-4, "full scale", 1e-5..=0.01;

        /// Relative part of a cell's noise. Too small: bright rows weigh too much; too large: everything is soft.
        /// Default: own judgement.
        relative_sigma: f64 = 0.01, "", 0.0005..=0.2;

        /// Texture of a cell's light, relative, from which on its noise does not decide how cells are averaged. Too small: joints
        /// and pipes pull in noisy photos; too large: clipped noise is averaged lopsidedly. Default: own judgement.
        texture_sigma: f64 = 0.05, "", 0.001..=0.5;
    }
}

tunables! {
    /// The room's light, told from the lamp's stray light by fading and colour.
    pub struct RoomOptions {
        /// What remains of the room's light after an ambient photo is taken off. Too small: U too bold; too large:
        /// too cautious. Default: about one 8-bit code (own judgement).
        after_subtraction: f64 = 2e-4, "full scale", 0.0..=0.05;

        /// Least height over the cutoff where stray light is sampled. Too small: the edge itself counts; too large:
        /// fast fading is not seen. Default: own judgement.
        above_from_deg: f64 = 0.8, "deg", 0.2..=4.0;

        /// Greatest such height. Too small: fading cannot be told from room light; too large: ceilings and lights
        /// count. Default: own judgement.
        above_to_deg: f64 = 12.0, "deg", 2.0..=20.0;

        /// Least height over the rising part. Too small: its edge counts; too large: little is left. Default: its
        /// course is known worse there (own judgement).
        above_rise_deg: f64 = 1.5, "deg", 0.2..=6.0;

        /// Relative spread of a patch's light from paint and shading. Too small: stains draw the room's light; too
        /// large: it stays open. Default: own judgement.
        patch_sigma: f64 = 0.04, "", 0.002..=1.0;

        /// Absolute spread of a patch. Too small: the darkest patches weigh too much; too large: dark rooms stay
        /// open. Default: own judgement.
        patch_floor: f64 = 1.5e-4, "full scale", 1e-6..=0.01;

        /// Spread of the ratio of two channels over one paint. Too small: paint passes for another light; too large:
        /// colour tells nothing. Default: own judgement.
        colour_sigma: f64 = 0.02, "ln", 0.001..=1.0;

        /// Its absolute part. Too small: noise in the dark passes for colour; too large: colour tells nothing.
        /// Default: own judgement.
        colour_floor: f64 = 2.0e-4, "full scale", 1e-6..=0.01;

        /// Spread of the room's colour about the lamp's. Too small: daylight is taken for the lamp; too large: noise
        /// passes for colour. Default: daylight against filament is 0.7 (own judgement).
        room_colour_sigma: f64 = 0.5, "ln", 0.01..=3.0;

        /// Spread of the stray light's colour about the beam's. Too small: coloured stray light is taken for the
        /// room's; too large: colour tells nothing. Default: own judgement.
        stray_colour_sigma: f64 = 0.03, "ln", 0.001..=1.0;

        /// Spread of the ratios per strength of the tone curve. Too small: a tone curve passes for room light; too
        /// large: colour tells nothing. Default: own judgement.
        tone_colour_sigma: f64 = 0.3, "ln", 0.0..=3.0;

        /// Expected length of the fast fading. Too small or too large: stray light is taken for room light or the
        /// reverse. Default: photos of a beam in a dark room (own judgement).
        fast_deg: f64 = 2.6, "deg", 0.3..=10.0;

        /// Its logarithmic spread. Too small: other lamps are misread; too large: room light stays open. Default: own
        /// judgement.
        fast_ln_sigma: f64 = 0.3, "ln", 0.01..=3.0;

        /// Expected length of the slow fading. Too small: room light is overrated; too large: underrated. Default:
        /// photos of a beam in a dark room (own judgement).
        slow_deg: f64 = 18.0, "deg", 4.0..=100.0;

        /// Its logarithmic spread. Too small: other lamps are misread; too large: room light stays open. Default: own
        /// judgement.
        slow_ln_sigma: f64 = 0.25, "ln", 0.01..=3.0;

        /// Slow stray light against fast at the cutoff, in logs. Too small: room light is overrated; too large:
        /// underrated. Default: own judgement.
        slow_share_ln: f64 = -0.1, "ln", -5.0..=3.0;

        /// Its spread. Too small: other lamps are misread; too large: room light stays open. Default: own judgement.
        slow_share_ln_sigma: f64 = 0.5, "ln", 0.01..=3.0;

        /// Share of the slow stray light that may be taken for room light or the reverse. Too small: U too bold; too
        /// large: too cautious. Default: checked on photos with known truth (own judgement).
        mistaken_share: f64 = 0.6, "", 0.0..=3.0;

        /// Height at which that share is taken. Too small: too cautious; too large: U too bold. Default: mid height
        /// (own judgement).
        mistaken_at_deg: f64 = 5.0, "deg", 0.0..=15.0;

        /// Least uncertainty as a share of the room's own light. Too small: U too bold; too large: too cautious.
        /// Default: own judgement.
        least_room_share: f64 = 0.03, "", 0.0..=1.0;

        /// Spread of the room light's gradient. Too small: lamps at one side are misread; too large: fading passes
        /// for a gradient. Default: own judgement.
        gradient_sigma: f64 = 0.005, "1/deg", 0.0001..=0.2;

        /// Share of the lens's cos⁴ fall-off that the camera left in. Too small or too large: corners are read as too
        /// dark or too bright. Default: half, anywhere between none and all (own judgement).
        fall_off_share: f64 = 0.4, "", 0.0..=1.0;

        /// Its spread. Too small: other cameras are misread; too large: fading passes for fall-off. Default: own
        /// judgement.
        fall_off_share_sigma: f64 = 0.3, "", 0.01..=2.0;

        /// Patches of which one counts as independent. Too small: U too bold; too large: too cautious. Default: own
        /// judgement.
        shared: f64 = 2.0, "", 1.0..=30.0;

        /// How much brighter than the dark wall a patch must be to show the lamp's colour. Too small: room light
        /// colours it; too large: no patch is left. Default: own judgement.
        beam_contrast: f64 = 8.0, "", 1.5..=100.0;
    }
}

tunables! {
    /// The camera's tone curve, told by the marks, and what it leaves open.
    pub struct ToneOptions {
        /// Unevenness of the tone curve about mid-grey, as a share of its strength. Too small: U too bold; too large:
        /// too cautious. Default: curves differ by half (own judgement).
        lean_share: f64 = 0.6, "", 0.0..=3.0;

        /// Strength from which on another shape of the curve's toe is tried too. Too small: slow; too large: U too bold under
        /// strong curves. Default: there the two shapes move a soft cutoff by about 0.02 degrees (own calculation).
        strong: f64 = 0.5, "", 0.0..=2.0;

        /// Share of the tone curve's shift that flat and rising part need not have in common near full scale. Too
        /// small: the elbow's U too bold; too large: too cautious. Default: own judgement.
        unshared_share: f64 = 0.5, "", 0.0..=3.0;

        /// Noise of a pixel in a mark's picture. Too small: dark pixels weigh too much; too large: the curve stays
        /// open. Default: own judgement.
        noise_codes: f64 = 0.6, "codes", 0.05..=10.0;

        /// Relative noise of a pixel from the print and the model. Too small: prints' faults pass for a curve; too
        /// large: the curve stays open. Default: own judgement.
        noise_share: f64 = 0.01, "", 0.0005..=0.5;

        /// Pixels of which one counts as independent. Too small: sigma too bold; too large: too cautious. Default:
        /// own judgement.
        shared: f64 = 8.0, "", 1.0..=100.0;

        /// Whiteness from which a pixel of a mark counts as paper. Too small: blurred edges count; too large: no
        /// pixel is left. Default: own judgement.
        white_from: f64 = 0.9, "", 0.3..=1.0;

        /// Least likeness of a mark's picture to its print. Too small: covered marks tell a curve; too large: blurred
        /// ones are lost. Default: own judgement.
        least_correlation: f64 = 0.6, "", 0.0..=1.0;
    }
}

tunables! {
    /// Rows of the wall (joints, painted bands) that are evened out.
    pub struct RowsOptions {
        /// Texture from which rows of the wall are compared. Too small: plain walls are evened out by noise; too
        /// large: joints stay in. Default: joints, painted bands (own judgement).
        rough_wall: f64 = 0.03, "", 0.0..=1.0;

        /// Half width of a column. Too small: noise; too large: slanted joints are smeared. Default: own judgement.
        column_half_deg: f64 = 0.1, "deg", 0.02..=1.0;

        /// Distance between columns. Too small: slow; too large: too few columns. Default: own judgement.
        column_step_deg: f64 = 0.25, "deg", 0.05..=2.0;

        /// Farthest H that is compared. Too small: too few columns; too large: dark ends add noise. Default: own
        /// judgement.
        reach_deg: f64 = 7.5, "deg", 2.0..=9.0;

        /// Rows nearer below the cutoff than this are left out of a column. Too small: the edge passes for a joint;
        /// too large: the rows at the cutoff are told by none. Default: own judgement.
        below_cutoff_deg: f64 = 0.6, "deg", 0.1..=3.0;

        /// Rows nearer above the cutoff than this are left out. Too small: the edge passes for a joint; too large:
        /// the rows at the cutoff are told by none. Default: own judgement.
        above_cutoff_deg: f64 = 0.7, "deg", 0.1..=3.0;

        /// Length over which the lamp's own slow change is taken off. Too small: joints are taken off with it; too
        /// large: the lamp's light passes for paint. Default: own judgement.
        course_deg: f64 = 0.5, "deg", 0.1..=3.0;

        /// The same where the column's cutoff is near. Too small: a blurred painted edge is taken off with it; too large:
        /// the cutoff passes for paint. Default: under the softness of a cutoff (own judgement).
        sharp_course_deg: f64 = 0.12, "deg", 0.04..=1.0;

        /// Least change from row to row there, and on a smooth wall. Too small: the cutoff's own bend is evened out; too
        /// large: painted edges stay in. Default: own judgement.
        least_sharp: f64 = 0.04, "ln", 0.0..=0.5;

        /// Fewest columns that tell of a row. Too small: a pipe makes a row; too large: rows at the cutoff are told
        /// by none. Default: own judgement.
        least_columns: usize = 8, "", 2..=60;

        /// Change of a row from which it counts, in its own scatter. Too small: noise is evened out; too large:
        /// joints stay in. Default: own judgement.
        least_sigmas: f64 = 4.0, "sigma", 1.0..=20.0;

        /// Least change that counts. Too small: noise is evened out; too large: joints stay in. Default: own
        /// judgement.
        least_change: f64 = 0.01, "ln", 0.0..=0.5;

        /// Light under which a cell tells nothing. Too small: noise; too large: the dark side is told by none.
        /// Default: own judgement.
        darkest: f64 = 0.003, "full scale", 0.0..=0.1;

        /// Likeness of courses from which bricks are taken as periodic. Too small: any texture repeats; too large:
        /// bricks are not told. Default: own judgement.
        least_correlation: f64 = 0.5, "", 0.0..=1.0;

        /// Share of rows that must be told for that. Too small: chance; too large: bricks are not told. Default: own
        /// judgement.
        least_told: f64 = 0.4, "", 0.05..=1.0;
    }
}

tunables! {
    /// Columns of the wall (door frames, panels, pipes) that are evened out.
    pub struct ColumnsOptions {
        /// Height of a band of rows. Too small: noise; too large: few bands. Default: own judgement.
        row_step_deg: f64 = 0.1, "deg", 0.02..=1.0;

        /// Bands nearer to a column's cutoff than this are left out there. Too small: a rising cutoff passes for a door; too
        /// large: no band is left. Default: own judgement.
        clear_deg: f64 = 0.6, "deg", 0.1..=3.0;

        /// Half length over which the lamp's own slow change is taken off. Too small: blurred edges are taken off with it; too
        /// large: the hot spot's flank passes for a door. Default: under the width of a hot spot (own judgement).
        course_deg: f64 = 0.6, "deg", 0.1..=3.0;

        /// Fewest bands that tell of a column. Too small: marks and joints make a column; too large: low walls are told by
        /// none. Default: own judgement.
        least_rows: usize = 12, "", 2..=100;

        /// Change of a column from which it counts, in its own scatter. Too small: noise is evened out; too large: doors stay
        /// in. Default: own judgement.
        least_sigmas: f64 = 5.0, "sigma", 1.0..=20.0;

        /// Least change that counts. Too small: noise is evened out; too large: doors stay in. Default: own judgement.
        least_change: f64 = 0.03, "ln", 0.0..=0.5;

        /// Light under which a cell tells nothing. Too small: noise; too large: the dark side is told by none.
        /// Default: own judgement.
        darkest: f64 = 0.01, "full scale", 0.0..=0.1;
    }
}

tunables! {
    /// What the wall's rows may have done to the place of an edge.
    pub struct WallRowsOptions {
        /// Distance below the cutoff from which the wall is looked at. Too small: the edge passes for texture; too large:
        /// little wall is left. Default: own judgement.
        clear_deg: f64 = 0.35, "deg", 0.1..=2.0;

        /// Light under which a row tells nothing. Too small: noise; too large: dim photos are told by none. Default: own
        /// judgement.
        darkest: f64 = 0.01, "full scale", 0.0..=0.2;

        /// Rows on either side over which the beam's own course is taken off. Too small: courses of brick are taken off
        /// with it; too large: the lamp's light passes for paint. Default: 0.6 degrees (own judgement).
        course_rows: usize = 15, "joined rows", 4..=100;

        /// Fewest rows that tell of a wall. Too small: chance; too large: low lamps are told by none. Default: own
        /// judgement.
        least_rows: usize = 20, "joined rows", 5..=200;
    }
}

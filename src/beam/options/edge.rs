//! Tunables of the beam stage: look, cutoff, elbow, step.

use crate::tunable::tunables;

tunables! {
    /// The first look: where the cutoff runs in every column, and where it bends.
    pub struct LookOptions {
        /// Nearest distance from a place of the bands whose light is compared. Too small: noise and the edge's own
        /// softness count; too large: small steps of the cutoff are missed. Default: own judgement.
        band_near_deg: f64 = 0.1, "deg", 0.0..=0.5;

        /// Farthest distance of those bands. Too small: joints and stripes win; too large: the course is smeared at
        /// the elbow. Default: own judgement.
        band_far_deg: f64 = 0.5, "deg", 0.1..=2.0;

        /// Half width of a column. Too small: noise; too large: a rising part is smeared. Default: own judgement.
        column_half_deg: f64 = 0.1, "deg", 0.02..=1.0;

        /// Distance between columns. Too small: slow; too large: too few places for the bend. Default: own judgement.
        column_step_deg: f64 = 0.1, "deg", 0.02..=1.0;

        /// Light below the cutoff under which nothing is left after an ambient photo was taken off. Too small: noise passes for a
        /// lamp; too large: dim photos are refused. Default: a few codes (own judgement).
        least_left: f64 = 0.004, "full scale", 0.0..=0.1;

        /// Lowest V where a cutoff is looked for. Too small: the floor's own edges win; too large: lamps aimed low
        /// are missed. Default: own judgement.
        search_from_deg: f64 = -4.5, "deg", -10.0..=0.0;

        /// Highest V where a cutoff is looked for. Too small: lamps aimed high are missed; too large: ceilings and
        /// lights win. Default: own judgement.
        search_to_deg: f64 = 3.5, "deg", 0.0..=10.0;

        /// Light relative to the brightest at which a place's score is halved. Too small: edges in the dark win; too
        /// large: only the hot spot's own edge counts. Default: own judgement.
        dark_fraction: f64 = 0.03, "", 0.0..=0.5;

        /// How far from the bend the level part is fitted. Too small: its tilt is open; too large: a bent beam's ends
        /// draw it. Default: own judgement.
        flat_reach_deg: f64 = 3.2, "deg", 1.0..=8.0;

        /// How far from the bend the rising part is fitted. Too small: its slope is open; too large: shelves and the
        /// beam's end draw it. Default: own judgement.
        rise_reach_deg: f64 = 2.6, "deg", 1.0..=8.0;

        /// Largest tilt of the level part. Too small: a rolled lamp is bent; too large: the rise is taken for a tilt.
        /// Default: own judgement.
        largest_tilt: f64 = 0.06, "deg/deg", 0.0..=0.5;

        /// Fall of log light across the cutoff below which there is no beam. Too small: texture passes for a beam;
        /// too large: beams in bright rooms are refused. Default: the 5 sigma edge of a textured wall.
        least_fall: f64 = 0.30, "ln", 0.02..=2.0;

        /// A weaker fall may still be a beam in a bright room. Too small: texture is called room light; too large:
        /// drowned beams are called no beam. Default: own judgement.
        weak_fall: f64 = 0.03, "ln", 0.0..=2.0;

        /// Within which the columns' places must then agree. Too small: drowned beams are called no beam; too large:
        /// texture is called room light. Default: own judgement.
        agreed_deg: f64 = 0.08, "deg", 0.005..=1.0;
    }
}

tunables! {
    /// The fit of a straight stretch of the cutoff.
    pub struct CutoffOptions {
        /// How far below the expected edge light is used. Too small: the level below is open; too large: the hot
        /// spot's shape bends the edge. Default: own judgement.
        below_deg: f64 = 0.9, "deg", 0.3..=3.0;

        /// How far above the expected edge light is used. Too small: the stray light is open; too large: it does not
        /// follow the model. Default: own judgement.
        above_deg: f64 = 1.4, "deg", 0.3..=4.0;

        /// Rows of a scan that are joined into one sample. Too small: slow; too large: sharp edges are smeared.
        /// Default: 0.04 degrees, under the 0.05 that UN R112 asks of a scan.
        joined_rows: usize = 2, "", 1..=20;

        /// Clipped light from which a sample only says "at least this much". Too small: good samples lose weight; too
        /// large: white flattens the edge. Default: own judgement.
        clipped_share: f64 = 0.02, "", 0.0..=1.0;

        /// Largest natural log of the light below the edge over the stray light above that a fit starts from. Too small: lamps
        /// of little stray light are read high; too large: where the dark is lost in noise the fit ends at no stray light.
        /// Default: ln 180, the whole scene's contrast in the data file of one published lamp.
        most_contrast_ln: f64 = 5.2, "", 2.0..=9.0;

        /// Natural log of the light below the edge over the stray light above where the photo does not tell it. Too small: lamps
        /// in noisy photos are read low; too large: high. Default: ln 40, within a degree of the cutoff in the data file of one
        /// published lamp.
        usual_contrast_ln: f64 = 3.7, "", 1.0..=6.0;

        /// Its spread. Too small: a lamp of other contrast is drawn to the usual one; too large: noise decides. Default: a
        /// factor of 2.5, own judgement.
        contrast_ln_sigma: f64 = 0.9, "", 0.1..=3.0;

        /// Share of the room's light by which it may be wrong where stray light is told from it. Too small: a wrong room is taken
        /// for stray light; too large: the usual contrast is believed. Default: own judgement.
        dark_room_share: f64 = 0.1, "", 0.0..=1.0;

        /// Spread of the edge's asymmetry. Too small: real edges are misplaced; too large: noise and texture take its
        /// part. Default: own judgement.
        skew_sigma: f64 = 0.1, "", 0.001..=1.0;

        /// Spread of the change of log softness along the edge. Too small: uneven edges are misplaced; too large:
        /// texture takes its part. Default: own judgement.
        softening_sigma: f64 = 0.05, "1/deg", 0.001..=1.0;

        /// Spread of the bend of the light below the edge. Too small: a near hot spot moves the edge; too large:
        /// texture takes its part. Default: a hot spot 0.8 degrees under it (own judgement).
        bend_sigma: f64 = 0.3, "1/deg²", 0.001..=3.0;

        /// Texture at which the robust fit starts. Too small: it may settle on a joint; too large: outliers draw the
        /// start. Default: nearly least squares (own judgement).
        start_texture: f64 = 0.15, "", 0.005..=1.0;

        /// Least texture that a wall is taken to have. Too small: a smooth wall's sigma is too bold; too large: sharp
        /// photos are wasted. Default: own judgement.
        least_texture: f64 = 0.004, "", 0.0005..=0.1;

        /// Largest texture that a wall is taken to have. Too small: rough walls' outliers draw the edge; too large:
        /// everything fits. Default: own judgement.
        largest_texture: f64 = 0.25, "", 0.05..=1.0;

        /// Texture from which several starts are tried. Too small: slow; too large: a joint may be taken for the
        /// edge. Default: bricks and joints (own judgement).
        rough_texture: f64 = 0.05, "", 0.005..=1.0;

        /// Share of the texture by which the room's light near the edge may differ from the whole wall's. Too small:
        /// bricks and joints move the edge; too large: room light and stray light are mixed up. Default: own
        /// judgement.
        room_share: f64 = 0.8, "", 0.0..=3.0;

        /// Least spread of the same. Too small: an error of the room's light moves the edge; too large: room light
        /// and stray light are mixed up. Default: own judgement.
        least_room_sigma: f64 = 0.005, "ln", 0.0001..=1.0;

        /// Share of texture times softness by which paint and joints along the edge may move it. Too small: U too
        /// bold on bricks; too large: too cautious. Default: own judgement, checked on rendered brick walls.
        texture_share: f64 = 1.0, "", 0.0..=5.0;

        /// Fewest samples on each side of the edge. Too small: fits of nothing; too large: narrow walls are not
        /// measured. Default: own judgement.
        min_side_samples: usize = 24, "", 4..=500;

        /// Neighbouring samples of which one counts as independent. Too small: U too bold; too large: too cautious.
        /// Default: own judgement.
        shared_samples: f64 = 3.0, "", 1.0..=30.0;

        /// Joined rows over which texture stays alike. Too small: U too bold on striped walls; too large: too
        /// cautious. Default: own judgement.
        alike_rows: f64 = 3.0, "", 1.0..=30.0;

        /// Distance on either side of the anchor at which the slope is read. Too small: rounding; too large: bends of
        /// the model count. Default: own judgement.
        slope_arm_deg: f64 = 0.6, "deg", 0.1..=2.0;

        /// Softness that is expected of a low beam's edge. Too small or too large by more than its spread: noisy
        /// edges are drawn towards it. Default: between G = 0.13 and 0.40 of UN R112.
        softness_deg: f64 = 0.13, "deg", 0.02..=1.0;

        /// Its logarithmic spread. Too small: edges of other lamps are misplaced; too large: noise takes its part.
        /// Default: G = 0.13 to 0.40 of UN R112.
        softness_ln_sigma: f64 = 0.6, "ln", 0.05..=3.0;

        /// Spread of a flat cutoff's slope about the first look's. Too small: rolled lamps are bent; too large:
        /// texture tilts it. Default: own judgement.
        flat_slope_sigma: f64 = 0.04, "deg/deg", 0.001..=1.0;

        /// How far the first look may miss the edge. Too small: the window misses it; too large: slow. Default: own
        /// judgement.
        missed_deg: f64 = 0.45, "deg", 0.05..=2.0;

        /// Share by which what the photo's blur moves the cutoff may be wrong. Too small: U too bold; too large: too
        /// cautious. Default: blurred logistic edges move by up to twice what is taken off.
        blur_share: f64 = 0.8, "", 0.0..=2.0;

        /// Share of the softness by which the model's shape may misplace the cutoff. Too small: U too bold; too
        /// large: too cautious. Default: own judgement, checked on scenes.
        shape_share: f64 = 0.05, "", 0.0..=1.0;

        /// The same for the flat line's tilt, per degree from its anchor. Too small: the elbow's U too bold; too
        /// large: too cautious. Default: own judgement, checked on scenes.
        tilt_share: f64 = 0.03, "1/deg", 0.0..=1.0;
    }
}

tunables! {
    /// The rising line and its meeting with the flat one.
    pub struct ElbowOptions {
        /// Slope up to which a rising part is read as a line, not a step. Too small: slow and less certain; too
        /// large: a step's two edges mix. Default: 30 degrees (own judgement).
        gentle_slope: f64 = 0.577, "deg/deg", 0.1..=2.0;

        /// Where the rising line's range begins, from the elbow. Too small: the rounded corner draws it; too large:
        /// little is left. Default: own judgement.
        rise_from_deg: f64 = 0.8, "deg", 0.2..=3.0;

        /// Where it ends. Too small: its slope is open; too large: shelves and bends draw it. Default: own judgement.
        rise_to_deg: f64 = 2.0, "deg", 0.6..=8.0;

        /// Distance kept from a shelf's corner. Too small: the shelf flattens the line; too large: little is left.
        /// Default: own judgement.
        corner_margin_deg: f64 = 0.4, "deg", 0.0..=2.0;

        /// Spread of the rising slope about the first look's. Too small: it is drawn to the first look's steps; too
        /// large: texture tilts it. Default: own judgement.
        rise_slope_sigma: f64 = 0.12, "deg/deg", 0.005..=2.0;

        /// A move of the elbow after which ranges are not told again. Too small: slow; too large: ranges from a poor
        /// bend stay. Default: less than a scan's width.
        settled_deg: f64 = 0.08, "deg", 0.001..=1.0;

        /// Difference of slopes under which the lines have no meeting worth naming. Too small: a meeting anywhere;
        /// too large: flat elbows are lost. Default: own judgement.
        least_bend: f64 = 0.05, "deg/deg", 0.005..=1.0;

        /// What straight lines leave over at a real elbow, H. Too small: U too bold; too large: too cautious.
        /// Default: own judgement, from photos with known truth.
        floor_deg: f64 = 0.03, "deg", 0.0..=0.5;

        /// Standard uncertainty of H from which no elbow is stated. Too small: useful elbows are lost; too large:
        /// useless ones mislead. Default: own judgement.
        largest_sigma_deg: f64 = 0.6, "deg", 0.05..=5.0;

        /// Distance from the first look's bend beyond which no elbow is stated. Too small: sound elbows are lost; too
        /// large: meetings of wrong lines pass. Default: own judgement.
        farthest_deg: f64 = 1.5, "deg", 0.1..=9.0;
    }
}

tunables! {
    /// A steep rise, fitted as a step.
    pub struct StepOptions {
        /// Expected rounding of a step's corners. Too small: corners are cut; too large: soft steps are read as
        /// sharp. Default: the fit to one published lamp; 5 to 40 occur.
        rounding: f64 = 20.0, "1/deg", 1.0..=100.0;

        /// Its logarithmic spread. Too small: other lamps are misread; too large: noise rounds corners. Default: own
        /// judgement.
        rounding_ln_sigma: f64 = 0.6, "ln", 0.05..=3.0;

        /// Reach of the fit beyond foot and corner, H. Too small: flat part and shelf are open; too large: their
        /// bends count. Default: own judgement.
        beside_deg: f64 = 0.7, "deg", 0.2..=3.0;

        /// Reach below the flat line. Too small: the level below is open; too large: the hot spot's shape counts.
        /// Default: own judgement.
        below_deg: f64 = 0.6, "deg", 0.2..=3.0;

        /// Reach above the shelf. Too small: the stray light is open; too large: it does not follow the model.
        /// Default: own judgement.
        above_deg: f64 = 0.7, "deg", 0.2..=3.0;

        /// First look's slope from which an upright step is expected. Too small: slanted steps start upright; too
        /// large: upright ones start slanted. Default: own judgement.
        upright_from: f64 = 1.7, "deg/deg", 0.5..=10.0;

        /// Slope from which the fit of an upright step starts. Too small: it stays slanted; too large: the fit cannot
        /// move. Default: own judgement.
        upright_slope: f64 = 8.0, "deg/deg", 2.0..=60.0;

        /// Fitted slope from which the step counts as upright. Too small: slant is lost; too large: rounding is taken
        /// for slant. Default: 72 degrees (own judgement).
        upright_fitted: f64 = 3.0, "deg/deg", 1.0..=60.0;

        /// Rows that are joined into one sample. Too small: slow; too large: corners are smeared. Default: own
        /// judgement.
        joined_rows: usize = 4, "", 1..=20;

        /// Distance of the columns. Too small: slow; too large: the foot is open. Default: own judgement.
        column_step_deg: f64 = 0.1, "deg", 0.05..=0.5;

        /// Distance between the model's columns where its cutoff is read. Too small: slow; too large: coarse.
        /// Default: own judgement.
        read_step_deg: f64 = 0.02, "deg", 0.002..=0.1;

        /// Share of the step's height from which positions make the line. Too small: the foot's rounding counts; too
        /// large: little is left. Default: own judgement.
        line_from_share: f64 = 0.25, "", 0.0..=0.5;

        /// Share up to which they do. Too small: little is left; too large: the corner's rounding counts. Default:
        /// own judgement.
        line_to_share: f64 = 0.75, "", 0.5..=1.0;

        /// Neighbouring samples of which one counts as independent. Too small: U too bold; too large: too cautious.
        /// Default: own judgement.
        shared_samples: f64 = 3.0, "", 1.0..=30.0;

        /// Clipped light from which rows are left out. Too small: good rows are lost; too large: white flattens the
        /// edge. Default: own judgement.
        clipped_share: f64 = 0.02, "", 0.0..=1.0;
    }
}

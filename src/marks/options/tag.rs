//! Tunables of the marks stage: search, quad, decode, tag.

use crate::tunable::tunables;

tunables! {
    /// Where tags are sought.
    pub struct SearchOptions {
        /// Half the side of the window in which a missing tag is sought, as a multiple of its size. Too small: it
        /// lies outside; too large: slow, and other shapes are read. Default: own judgement.
        window_sizes: f64 = 2.0, "sizes", 0.5..=10.0;

        /// What the window grows by, as a share of the distance to the nearest found mark. Too small: the tag lies
        /// outside; too large: slow. Default: what a projective map misses (own judgement).
        window_share: f64 = 0.05, "", 0.0..=1.0;

        /// The same for an affine map. Too small: the tag lies outside; too large: slow. Default: an affine map
        /// misses perspective (own judgement).
        window_share_affine: f64 = 0.25, "", 0.0..=2.0;

        /// Pictures in blocks of two and four times the side that are tried when marks are missing. Too small: noisy
        /// tags are missed; too large: slow. Default: own judgement.
        coarser_pictures: usize = 2, "", 0..=5;

        /// Found tags from which on a missing one is taken as hidden. Too small: tags that are there are given up;
        /// too large: slow with a hidden tag. Default: three tell the others' places.
        enough_tags: usize = 3, "", 2..=20;

        /// Least difference of light that is no noise. Too small: slow, noise makes shapes; too large: dim marks are
        /// missed. Default: 36 means differ by 6 in one place of 150.
        noise_sigmas: f32 = 6.0, "sigma", 1.0..=20.0;
    }
}

tunables! {
    /// Dark four-sided shapes.
    pub struct QuadOptions {
        /// Share of the hull's area that four corners must keep. Too small: discs and stains pass; too large: tags
        /// with a bent outline are dropped. Default: a square keeps nearly all, a disc 64 %.
        least_area_kept: f64 = 0.75, "", 0.5..=1.0;

        /// Shortest side. Too small: slow, specks pass; too large: small tags are dropped. Default: a tag of 24 px,
        /// seen at 60 degrees, in blocks of 2 px.
        least_side: f64 = 4.5, "blocks", 2.0..=50.0;

        /// Longest side against the shortest. Too small: tags seen aslant are dropped; too large: slow. Default: 60
        /// degrees of obliquity give 2, perspective a little more.
        most_side_ratio: f64 = 4.0, "", 1.2..=20.0;

        /// Share of the quad that must be dark. Too small: frames pass; too large: light codes are dropped. Default:
        /// 36 white modules of 64 leave 0.44.
        least_fill: f64 = 0.25, "", 0.0..=0.9;

        /// Reach of the search for an edge as a share of the side. Too small: edges are missed; too large: a code's
        /// own edges draw it. Default: a module is an eighth.
        reach_share: f64 = 0.1, "", 0.01..=0.5;

        /// Least reach. Too small: edges of small tags are missed; too large: a code's own edges draw it. Default:
        /// the hull is only good to a block.
        least_reach: f64 = 1.2, "blocks", 0.5..=10.0;

        /// An edge place farther than this from the line is left out. Too small: sound places are lost; too large:
        /// codes and dirt draw the edge. Default: own judgement.
        outlier: f64 = 0.8, "blocks", 0.1..=10.0;
    }
}

tunables! {
    /// Reading a tag's code.
    pub struct DecodeOptions {
        /// Factor by which a white module must exceed the black one beside it. Too small: noise reads; too large:
        /// blurred tags are not read. Default: blur leaves at least 1.5 at 3 px a module.
        brighter: f64 = 1.15, "", 1.0..=3.0;

        /// Share of the pairs across the square's edge that must hold. Too small: slow, other shapes are read; too
        /// large: partly covered tags are dropped. Default: part of the white surroundings may be covered.
        least_edge_share: f64 = 0.75, "", 0.3..=1.0;

        /// Share of the pairs inside that must hold. Too small: wrong codes are read; too large: noisy tags are
        /// dropped. Default: two codes differ in 11 of 36 modules, which spoils half of the pairs.
        least_inner_share: f64 = 0.85, "", 0.6..=1.0;

        /// Correlation with the code from which a noisy reading holds. Too small: chance reads; too large: noisy tags
        /// are dropped. Default: chance reaches it once in 10^9.
        least_code_correlation: f64 = 0.8, "", 0.4..=1.0;

        /// The same where place and size are known. Too small: chance reads; too large: noisy tags are dropped.
        /// Default: chance reaches it once in 3 x 10^6.
        least_known_correlation: f64 = 0.7, "", 0.4..=1.0;

        /// Correlation over all 100 modules. Too small: chance reads; too large: noisy tags are dropped. Default: own
        /// judgement.
        least_field_correlation: f64 = 0.7, "", 0.2..=1.0;

        /// How far the outermost samples are from a module's middle. Too small: noise; too large: blur from the
        /// neighbours. Default: own judgement.
        spot_reach: f64 = 0.22, "modules", 0.05..=0.45;

        /// The same for a thorough reading. Too small: noise; too large: blur from the neighbours. Default: own
        /// judgement.
        thorough_reach: f64 = 0.3, "modules", 0.05..=0.45;
    }
}

tunables! {
    /// Fitting a tag's edges.
    pub struct TagOptions {
        /// White around the square that takes part. Too small: the outer edge is open; too large: the sheet's end
        /// draws it. Default: the sheet may end one module out.
        margin: f64 = 0.7, "modules", 0.1..=1.0;

        /// Pixels along a side that are enough. Too small: accuracy is given away; too large: slow. Default: own
        /// judgement.
        enough_px: f64 = 72.0, "px", 16.0..=400.0;

        /// Distance over which modules tell each other's light before the fit. Too small: noise; too large: a cutoff
        /// across the tag is smeared. Default: own judgement.
        light_reach: f64 = 1.5, "modules", 0.3..=8.0;

        /// Share of a side by which a fit may move a corner. Too small: rough starts are dropped; too large: lost
        /// fits pass. Default: a little over a module.
        most_move_share: f64 = 0.15, "", 0.01..=0.5;

        /// Residuals as a share of the contrast. Too small: dirty tags are dropped; too large: other shapes pass.
        /// Default: own judgement.
        most_misfit: f64 = 0.3, "", 0.01..=2.0;

        /// The same for tags that are confirmed by their code. Too small: noisy tags are dropped; too large: lost
        /// fits pass. Default: pixel noise of three times the contrast.
        most_noisy_misfit: f64 = 3.0, "", 0.1..=10.0;

        /// Largest uncertainty of a corner of such a tag. Too small: noisy tags are dropped; too large: fits that
        /// have not locked pass. Default: own judgement.
        most_noisy_sigma: f64 = 0.25, "modules", 0.01..=2.0;

        /// What no model of a photo gets right. Too small: sharp marks are trusted too much; too large: too little.
        /// Default: sharpening, coding, lens within the mark (own judgement).
        model_sigma_px: f64 = 0.003, "px", 0.0..=1.0;

        /// The same of a tag whose modules are one pixel wide; it falls with the cube of their width. Too small: small tags are
        /// accused of standing elsewhere; too large: they cost accuracy. Default: 0.04 px at modules of 2.5 px (own judgement).
        small_sigma_px: f64 = 0.6, "px", 0.0..=5.0;
    }
}

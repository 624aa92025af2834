//! Colours and sizes of the annotated picture.
//!
//! Chosen so that they differ in lightness as well as in hue, and no meaning hangs on a colour alone: every verdict has its
//! word and the shape of its badge, every line its own dash or its label.

/// A colour with its opacity.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Ink {
    pub(super) rgb: [u8; 3],
    /// 0 is clear, 1 is opaque.
    pub(super) alpha: f32,
}

impl Ink {
    pub(super) const fn solid(red: u8, green: u8, blue: u8) -> Self {
        Self { rgb: [red, green, blue], alpha: 1.0 }
    }

    #[must_use]
    pub(super) const fn at(self, alpha: f32) -> Self {
        Self { rgb: self.rgb, alpha }
    }
}

/// Panels, and the plates behind labels.
pub(super) const NIGHT: Ink = Ink::solid(14, 18, 24);
/// Words on panels.
pub(super) const PAPER: Ink = Ink::solid(244, 246, 248);
/// Lesser words.
pub(super) const ASH: Ink = Ink::solid(176, 184, 194);
/// What lies outside the photo.
pub(super) const VOID: Ink = Ink::solid(34, 38, 46);
/// Grid of angles.
pub(super) const GRID: Ink = Ink::solid(200, 214, 228);
/// Marks that were found.
pub(super) const MARK: Ink = Ink::solid(120, 226, 255);
/// Marks that are missing or left out.
pub(super) const MARK_OFF: Ink = Ink::solid(255, 168, 214);
/// The cutoff as it was measured, and the elbow.
pub(super) const BEAM: Ink = Ink::solid(255, 232, 92);
/// The hot spot.
pub(super) const HOT: Ink = Ink::solid(255, 255, 255);
/// Where the rule wants the beam.
pub(super) const ALLOWED: Ink = Ink::solid(72, 160, 255);
/// What the rule wants dark.
pub(super) const DARK_ZONE: Ink = Ink::solid(196, 150, 255);
/// The way the beam must go.
pub(super) const MOVE: Ink = Ink::solid(255, 122, 48);
/// Where the truth lies, when it is known.
pub(super) const TRUTH: Ink = Ink::solid(64, 255, 120);

/// Pass.
pub(super) const PASS: Ink = Ink::solid(96, 178, 255);
/// Fail.
pub(super) const FAIL: Ink = Ink::solid(255, 112, 40);
/// Too close to call.
pub(super) const BORDERLINE: Ink = Ink::solid(255, 214, 64);
/// No verdict.
pub(super) const NO_VERDICT: Ink = Ink::solid(206, 212, 220);
/// Photo refused.
pub(super) const REFUSED: Ink = Ink::solid(240, 150, 220);

/// Width of the finished picture, pixels: a phone shows it at a quarter of that, a station's screen in full.
pub(super) const PICTURE_WIDTH: u32 = 1600;
/// Space between the picture's edge and words, pixels.
pub(super) const MARGIN: f32 = 36.0;
/// Size of the verdict's word; 30 px on a phone that shows the picture 400 px wide.
pub(super) const HEADLINE_SIZE: f32 = 128.0;
/// Size of what must be done; 14 px on that phone.
pub(super) const ADVICE_SIZE: f32 = 58.0;
/// Size of the sentences below it; 11 px there.
pub(super) const DETAIL_SIZE: f32 = 44.0;
/// Size of labels in the picture; 9 px there, the least that can be read.
pub(super) const LABEL_SIZE: f32 = 36.0;
/// Size of the record's small print, for a screen.
pub(super) const SMALL_SIZE: f32 = 24.0;
/// Height of a line of words by its size.
pub(super) const LINE_HEIGHT: f32 = 1.24;
/// Width of the main lines, pixels.
pub(super) const STROKE: f32 = 6.0;
/// Width of the grid's lines.
pub(super) const GRID_STROKE: f32 = 2.0;
/// How much wider the dark line under a coloured one is, so that it shows on a bright wall.
pub(super) const CASING: f32 = 5.0;
/// Opacity of that dark line.
pub(super) const CASING_ALPHA: f32 = 0.62;
/// Dashes: length of a dash and of a gap, pixels.
pub(super) const DASH: (f32, f32) = (22.0, 14.0);

//! The registry of flags: every code that a reading can carry, its severity and its meaning, in one table.

/// How much a flag weighs.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Severity {
    /// Good to know; the reading is not weaker for it.
    Info,
    /// The reading is weaker, and the text says how.
    Warning,
    /// Nothing was measured.
    Refusal,
}

impl Severity {
    /// As the JSON reading writes it.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Info => "info",
            Self::Warning => "warning",
            Self::Refusal => "refusal",
        }
    }
}

macro_rules! flags {
    ($($variant:ident, $code:literal, $severity:ident, $meaning:literal;)*) => {
        /// A flag's code.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
        #[non_exhaustive]
        pub enum FlagCode {
            $(#[doc = $meaning] $variant,)*
        }

        impl FlagCode {
            /// Every code there is, in the order of the registry.
            pub const ALL: &'static [Self] = &[$(Self::$variant,)*];

            /// The stable kebab-case code of the JSON reading.
            pub const fn as_str(self) -> &'static str {
                match self { $(Self::$variant => $code,)* }
            }

            /// How much it weighs.
            pub const fn severity(self) -> Severity {
                match self { $(Self::$variant => Severity::$severity,)* }
            }

            /// What it means, in one sentence.
            pub const fn meaning(self) -> &'static str {
                match self { $(Self::$variant => $meaning,)* }
            }
        }
    };
}

flags! {
    MarksMissing, "marks-missing", Refusal, "Fewer than four of the bay's marks were found in the photo.";
    BayMismatch, "bay-mismatch", Refusal, "The marks in the photo do not stand where the bay file says.";
    PairMoved, "pair-moved", Refusal, "The camera moved between the two photos and the shift could not be recovered.";
    NoBeam, "no-beam", Refusal, "No lamp beam of the expected pattern was found on the wall.";
    ElbowOffWall, "elbow-off-wall", Refusal, "The beam's elbow does not lie on the visible wall.";
    Blurred, "blurred", Refusal, "The photo is too blurred to place the cutoff.";
    ClippedAtCutoff, "clipped-at-cutoff", Refusal, "The photo is overexposed right at the cutoff.";
    AmbientTooStrong, "ambient-too-strong", Refusal, "The room's light drowns the lamp.";
    AllWhite, "all-white", Refusal, "The photo is overexposed nearly everywhere.";
    HotSpotClipped, "hot-spot-clipped", Warning, "The hot spot is overexposed; its place is estimated from its surroundings.";
    MarksNotChecked, "marks-not-checked", Warning, "There are no spare marks, so an error in the bay file could not be noticed; add a fifth mark.";
    MarkDisplaced, "mark-displaced", Warning, "One mark does not stand where the bay file says; it was left out.";
    MarkByHand, "mark-by-hand", Info, "The place of a mark was given by hand.";
    PairShifted, "pair-shifted", Info, "The camera moved slightly between the two photos; the shift was found and corrected.";
    FloorNotSurveyed, "floor-not-surveyed", Warning, "The bay file gives no floor slope; it is taken as level with a wide uncertainty.";
    OffsetAssumed, "offset-assumed", Warning, "The lamp's distance from the centreline was not given; 600 mm was assumed.";
    NearWall, "near-wall", Warning, "The wall is nearer than 10 m, where a large projector smears its edge and the cutoff stands higher.";
    SecondLamp, "second-lamp", Warning, "Light of a second lamp is on the wall.";
    RuleUnverified, "rule-unverified", Warning, "The rule's figures were not checked against its primary text.";
    RuleNotInForce, "rule-not-in-force", Warning, "The rule was not in force on the day of the photo.";
    WrongExtension, "wrong-extension", Info, "The file's content is of another type than its name says.";
    ExifMissing, "exif-missing", Info, "The photo carries no exposure data.";
    LensAssumed, "lens-assumed", Info, "Focal length not known; a common phone lens was assumed for the lens's share of the uncertainty.";
    OutsideMarks, "outside-marks", Info, "The beam lies outside the area that the marks enclose, which costs accuracy.";
    SoftCutoff, "soft-cutoff", Warning, "The cutoff is softer than G = 0.13, the least that UN R112 accepts.";
    RoomLight, "room-light", Warning, "The room's light moves the cutoff noticeably; darken the room or take an ambient photo.";
    ToneCurve, "tone-curve", Info, "The camera's tone curve was estimated from the marks, or read from a response file, and taken off.";
    LensNotChecked, "lens-not-checked", Warning, "The photo states no focal length, so the lens file was matched by picture size alone.";
    ResponseMismatch, "response-mismatch", Warning, "The response file belongs to photos of another size or another lens.";
    Exposure, "exposure", Info, "The wall just below the cutoff is far from half to 0.8 of full scale, where the camera's tone curve matters least.";
    UnevenWall, "uneven-wall", Warning, "Joints, pipes or paint on the wall disturb the cutoff; parts of it were left out.";
    Banding, "banding", Warning, "The lamp's pulsed supply shows as bands in the photo; take it again with a longer exposure.";
    CutoffNotMeasured, "cutoff-not-measured", Warning, "The cutoff could not be measured.";
    ElbowNotMeasured, "elbow-not-measured", Warning, "The elbow could not be measured.";
    HotSpotNotMeasured, "hot-spot-not-measured", Warning, "The hot spot could not be measured.";
    DarkZoneLit, "dark-zone-lit", Warning, "The cutoff stands in the part of the wall that the rule wants dark, or too near to it to tell: look at the wall.";
    BrightZoneNotMeasured, "bright-zone-not-measured", Warning, "The edges of the bright zone, by which the rule judges, could not be measured.";
    CutoffNotStraight, "cutoff-not-straight", Warning, "The flat part of the cutoff is not straight.";
    BracketMerged, "bracket-merged", Info, "Photos of several exposures were merged, so that neither marks nor hot spot are lost.";
    BracketUneven, "bracket-uneven", Warning, "Photos of the bracket are not as bright as their exposures say; the light changed, or the camera treated them differently.";
    AmbientPhotoUsed, "ambient-photo-used", Info, "The room's light was subtracted with the ambient photo.";
    AmbientPhotoDiffers, "ambient-photo-differs", Warning, "The ambient photo's exposure differs from the photo's; it was scaled.";
}

/// A flag on a reading: its code and what exactly was found.
#[derive(Debug, Clone, PartialEq)]
pub struct Flag {
    /// Which flag.
    pub code: FlagCode,
    /// What was found, with the numbers in it; one or two sentences.
    pub text: String,
}

impl Flag {
    /// A flag with its own text.
    pub fn new(code: FlagCode, text: impl Into<String>) -> Self {
        Self { code, text: text.into() }
    }

    /// A flag whose text is the registry's meaning.
    pub fn plain(code: FlagCode) -> Self {
        Self { code, text: code.meaning().to_owned() }
    }
}

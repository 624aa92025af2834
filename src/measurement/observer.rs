//! What the driver tells of each stage to those who time, trace or draw it.

use crate::aim::Verdict;
use crate::beam::{BeamFeatures, BeamSeen, ToneKnowledge};
use crate::grid::AngleGrid;
use crate::marks::{Marks, Tried};
use crate::photo::Photo;
use crate::wall::WallView;

/// What a stage that has ended can show.
#[derive(Debug, Clone, Copy)]
pub enum StageView<'a> {
    /// The photos were decoded.
    Decode {
        /// The photo of the beam.
        photo: &'a Photo,
    },
    /// The marks were sought.
    Marks {
        /// The photo that they were sought in.
        photo: &'a Photo,
        /// The marks, in the photo of the beam.
        marks: &'a Marks,
        /// Everything that was looked at; empty unless the observer looks.
        tried: &'a [Tried],
        /// Whether `photo` is one of its own for the marks.
        is_elsewhere: bool,
    },
    /// The wall was fitted.
    Wall {
        /// The photo of the beam.
        photo: &'a Photo,
        /// The marks in it.
        marks: &'a Marks,
        /// The wall.
        view: &'a WallView,
    },
    /// The photo was resampled on the lamp's angles.
    Grid {
        /// The grid.
        grid: &'a AngleGrid,
        /// The camera's tone curve, told by the marks.
        tone: &'a ToneKnowledge,
    },
    /// The beam was measured or refused.
    Beam {
        /// The grid.
        grid: &'a AngleGrid,
        /// What was seen on the way; empty unless the observer looks.
        seen: &'a BeamSeen,
        /// The features, unless refused.
        features: Option<&'a BeamFeatures>,
    },
    /// The verdict was reached.
    Aim {
        /// The verdict.
        verdict: &'a Verdict,
    },
}

/// Told after each stage, for timing and debug pictures; stages that refuse the photo are told of too.
pub trait Observer {
    /// Whether it looks into the stages. Only then do they keep what their view shows beyond their own output.
    fn is_looking(&self) -> bool {
        false
    }

    /// A stage has ended.
    fn stage(&mut self, name: &'static str, view: StageView<'_>);
}

/// An observer that does nothing.
#[derive(Debug, Clone, Copy, Default)]
pub struct Unobserved;

impl Observer for Unobserved {
    fn stage(&mut self, _: &'static str, _: StageView<'_>) {}
}

//! Everything that can be tuned in the beam stage.

mod edge;
mod light;
mod spot;

pub use edge::{CutoffOptions, ElbowOptions, LookOptions, StepOptions};
pub use light::{ColumnsOptions, LightOptions, RoomOptions, RowsOptions, ToneOptions, WallRowsOptions};
pub use spot::{LimitsOptions, SpotOptions, ZoneOptions};

use crate::tunable::tunables;

tunables! {
    /// Tunables of the beam stage.
    pub struct BeamOptions {
        groups {
            /// The first look: where the cutoff runs in every column, and where it bends.
            look: LookOptions;
            /// The fit of a straight stretch of the cutoff.
            cutoff: CutoffOptions;
            /// The rising line and its meeting with the flat one.
            elbow: ElbowOptions;
            /// A steep rise, fitted as a step.
            step: StepOptions;
            /// The noise of the grid's cells.
            light: LightOptions;
            /// The room's light, told from the lamp's stray light by fading and colour.
            room: RoomOptions;
            /// The camera's tone curve, told by the marks, and what it leaves open.
            tone: ToneOptions;
            /// Rows of the wall (joints, painted bands) that are evened out.
            rows: RowsOptions;
            /// Columns of the wall (door frames, panels, pipes) that are evened out.
            columns: ColumnsOptions;
            /// What the wall's rows may have done to the place of an edge.
            wall_rows: WallRowsOptions;
            /// The hot spot.
            spot: SpotOptions;
            /// The bright zone's edges.
            zone: ZoneOptions;
            /// When the beam is refused or flagged.
            limits: LimitsOptions;
        }
    }
}

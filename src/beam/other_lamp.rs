//! A cutoff whose elbow belongs to the vehicle's other lamp.
//!
//! **Takes** the elbow that was found and the lamp's place. **Gives** a flag when the elbow lies nearer to the vertical of the
//! lamp on the other side than to this lamp's own. **How**: both lamps stand as far from the centreline; on a flat screen the
//! other one's vertical is seen at `atan(2 x / z)` from this one (contract's geometry, yaw left out: it turns both alike).
//! **Weak when** both elbows fall on one another: then nothing tells them apart.

use crate::bay::LampSetup;
use crate::flag::{Flag, FlagCode};
use crate::units::Deg;

/// Lamps nearer to the centreline than this have no neighbour to be taken for, mm.
const LEAST_OFFSET_MM: f64 = 150.0;

/// H of the other lamp's vertical as seen from this lamp.
fn other_vertical(setup: &LampSetup) -> Deg {
    Deg::from_radians((-2.0 * setup.x.get() / setup.distance.get()).atan())
}

/// The flag, when an elbow at `elbow_h` is the other lamp's.
pub(super) fn second_lamp(elbow_h: Deg, setup: &LampSetup) -> Option<Flag> {
    let other = other_vertical(setup);
    let share = elbow_h.get() / other.get();
    (setup.x.abs().get() > LEAST_OFFSET_MM && share > 0.5).then(|| {
        Flag::new(
            FlagCode::SecondLamp,
            format!(
                "the elbow that was found stands at H {:+.1} degrees, nearer to the other lamp's vertical ({:+.1}) than to this \
                 lamp's: it is the other lamp's; cover that lamp and photograph again",
                elbow_h.get(),
                other.get()
            ),
        )
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bay::{Bay, LampEntry, LampSide};
    use crate::units::Mm;

    fn setup() -> LampSetup {
        let bay = Bay::parse(include_str!("../../calib/bays/demo.bay.toml"), "demo.bay.toml").unwrap();
        let (side, height) = (LampSide::Left, Mm::new(650.0));
        LampSetup::new(&bay, &LampEntry { side, height, offset: None, distance: None, vehicle_yaw_deg: None })
    }

    /// Worked by hand: lamps 600 mm from the centreline at 10 m see one another's vertical 6.84 degrees away; half of that
    /// is 3.42, towards the right for the left lamp.
    #[test]
    fn an_elbow_past_half_the_way_is_the_other_lamp_s() {
        let mut left = setup();
        (left.x, left.distance) = (Mm::new(-600.0), Mm::new(10_000.0));
        for (h, is_other) in [(0.0, false), (3.3, false), (3.6, true), (6.8, true), (-6.8, false)] {
            assert_eq!(second_lamp(Deg::new(h), &left).is_some(), is_other, "{h}");
        }
        let text = second_lamp(Deg::new(5.0), &left).unwrap().text;
        assert!(text.contains("+6.8") && text.contains("cover that lamp"), "{text}");
        left.x = Mm::new(0.0);
        assert!(second_lamp(Deg::new(5.0), &left).is_none(), "a single lamp in the middle");
    }
}

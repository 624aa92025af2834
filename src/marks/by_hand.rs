//! Marks whose place a person gave.

use super::found::FoundMark;
use crate::bay::Mark;
use crate::units::PxPoint;

/// Places by hand for marks of the bay; the last one given for an id counts, ids that the bay lacks are passed over.
pub(super) fn marks_by_hand(bay_marks: &[Mark], by_hand: &[(u32, PxPoint)], sigma_px: f64) -> Vec<FoundMark> {
    let mut found = Vec::new();
    for (index, mark) in bay_marks.iter().enumerate() {
        if let Some((_, centre)) = by_hand.iter().rev().find(|(id, _)| *id == mark.id) {
            found.push(FoundMark {
                index,
                id: mark.id,
                centre: *centre,
                centre_sigma_px: sigma_px,
                corners: None,
                corner_sigma_px: 0.0,
                is_by_hand: true,
            });
        }
    }
    found
}

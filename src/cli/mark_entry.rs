//! `--mark ID=X,Y`: places of marks given by hand.

use crate::bay::Bay;
use crate::error::Error;
use crate::units::PxPoint;

/// Largest side of a picture that is decoded, pixels.
const MAX_SIDE_PX: f64 = 16_384.0;

/// Reads all entries; each must name a mark of the bay, none twice.
pub(super) fn parse_all(entries: &[String], bay: &Bay) -> Result<Vec<(u32, PxPoint)>, Error> {
    let mut places: Vec<(u32, PxPoint)> = Vec::with_capacity(entries.len());
    for entry in entries {
        let (id, place) = parse(entry)?;
        if bay.marks.iter().all(|mark| mark.id != id) {
            let ids: Vec<String> = bay.marks.iter().map(|mark| mark.id.to_string()).collect();
            return Err(Error::usage(
                format!("--mark {entry}: bay {} has no mark {id}", bay.id),
                format!("its marks are {}", ids.join(", ")),
            ));
        }
        if places.iter().any(|(known, _)| *known == id) {
            return Err(Error::usage(format!("--mark {entry}: mark {id} is given twice"), "give each mark once"));
        }
        places.push((id, place));
    }
    Ok(places)
}

fn parse(entry: &str) -> Result<(u32, PxPoint), Error> {
    let read = || {
        let (id, place) = entry.split_once('=')?;
        let (x, y) = place.split_once(',')?;
        Some((id.trim().parse().ok()?, x.trim().parse::<f64>().ok()?, y.trim().parse::<f64>().ok()?))
    };
    let side = 0.0..=MAX_SIDE_PX;
    match read() {
        Some((id, x, y)) if side.contains(&x) && side.contains(&y) => Ok((id, PxPoint::new(x, y))),
        Some(_) => Err(Error::usage(
            format!("--mark {entry}: the place lies outside any picture, need 0 to {MAX_SIDE_PX}"),
            "give pixels of the upright picture from its top left corner",
        )),
        None => Err(Error::usage(
            format!("--mark {entry}: need ID=X,Y"),
            "for example --mark 3=1204.5,880.0, pixels of the upright picture",
        )),
    }
}

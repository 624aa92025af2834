//! `record erase` and `record correct`.

use super::super::exit::ExitStatus;
use super::args::{CorrectArgs, EraseArgs};
use crate::error::Error;
use crate::record::{Draft, How, Inspection, Personal, Store, entry};

pub(super) fn erase(args: &EraseArgs) -> Result<(String, ExitStatus), Error> {
    let appended = Store::open(&args.store)?.erase(&args.record, &args.by, &args.reason)?;
    let text = format!(
        "plate and customer of the inspection of record {} are erased; entry {} notes it\nBackups that were made before \
         still hold them: make a new one and destroy those.\nLog head {}\n",
        args.record, appended.number, appended.head
    );
    Ok((text, ExitStatus::Good))
}

pub(super) fn correct(args: &CorrectArgs) -> Result<(String, ExitStatus), Error> {
    if args.vehicle.is_none() && args.plate.is_none() && args.customer.is_none() {
        return Err(Error::usage(
            "nothing is said that would be right",
            "give --vehicle, --plate or --customer; a reading is corrected by measuring again: `measure --record STORE \
             --corrects RECORD`",
        ));
    }
    let given = [("--by", Some(&args.by)), ("--reason", Some(&args.reason)), ("--vehicle", args.vehicle.as_ref())];
    if let Some((flag, _)) = given.iter().find(|(_, text)| text.is_some_and(|text| text.trim().is_empty())) {
        return Err(Error::usage(format!("{flag} is empty"), "say it in a few words"));
    }
    let mut store = Store::open(&args.store)?;
    let old = store.newest(&args.record)?;
    let follows = store.follow(&old.inspection.id, How::Corrects, &args.by, Some(args.reason.clone()))?;
    let inspection = Inspection {
        id: entry::new_id(),
        follows: Some(follows),
        recorded: entry::now(),
        software: entry::software(),
        vehicle: args.vehicle.clone().unwrap_or_else(|| old.inspection.vehicle.clone()),
        ..old.inspection
    };
    let personal = Personal { plate: args.plate.clone(), customer: args.customer.clone() };
    let appended = store.append(Draft { inspection, personal, files: Vec::new(), parameters: Vec::new() })?;
    let text = format!(
        "record {} corrects record {}, which stays as it is\nLog head {}\n",
        appended.number, old.number, appended.head
    );
    Ok((text, ExitStatus::Good))
}

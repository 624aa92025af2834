//! `record erase` and `record correct`.

use super::super::exit::ExitStatus;
use super::args::{CorrectArgs, EraseArgs};
use crate::error::Error;
use crate::record::{Draft, How, Inspection, Personal, Store, entry};

pub(super) fn erase(args: &EraseArgs) -> Result<(String, ExitStatus), Error> {
    not_empty(&[("--by", Some(&args.by)), ("--reason", Some(&args.reason))])?;
    let mut store = Store::open(&args.store)?;
    let erased = store.erase(&args.record, &args.by, &args.reason)?;
    let of = format!("plate and customer of the inspection of record {}", args.record);
    let mut text = match &erased.noted {
        Some(noted) => format!("{of} are erased from the records; entry {} notes it\n", noted.number),
        None => format!("{of} were erased from the records before\n"),
    };
    text += if erased.is_off_disk {
        "The text is in no file of the store any more. Backups that were made before still hold it: make a new one and \
         destroy those.\n"
    } else {
        "THE TEXT IS STILL IN THE STORE'S FILES: another program is reading the store. Wait until it is done, or close it, and \
         run this again.\n"
    };
    let text = format!("{text}Log head {}\n", store.head()?);
    Ok((text, if erased.is_off_disk { ExitStatus::Good } else { ExitStatus::Finding }))
}

/// Refuses what was given and says nothing.
pub(super) fn not_empty(given: &[(&str, Option<&String>)]) -> Result<(), Error> {
    match given.iter().find(|(_, text)| text.is_some_and(|text| text.trim().is_empty())) {
        Some((flag, _)) => Err(Error::usage(format!("{flag} is empty"), "say it in a few words")),
        None => Ok(()),
    }
}

pub(super) fn correct(args: &CorrectArgs) -> Result<(String, ExitStatus), Error> {
    if args.vehicle.is_none() && args.plate.is_none() && args.customer.is_none() {
        return Err(Error::usage(
            "nothing is said that would be right",
            "give --vehicle, --plate or --customer; a reading is corrected by measuring again: `measure --record STORE \
             --corrects RECORD`",
        ));
    }
    not_empty(&[("--by", Some(&args.by)), ("--reason", Some(&args.reason)), ("--vehicle", args.vehicle.as_ref())])?;
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

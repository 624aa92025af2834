//! `record export` and `record schema`.

use super::super::exit::ExitStatus;
use super::super::write::Staged;
use super::args::ExportArgs;
use crate::error::Error;
use crate::record::export::{export as exported, json_schema};
use crate::record::{Hash, Store};
use std::collections::BTreeSet;
use std::fs;
use std::path::Path;

pub(super) fn export(args: &ExportArgs) -> Result<(String, ExitStatus), Error> {
    let store = Store::read(&args.store)?;
    let numbers: Vec<u64> = if args.records.is_empty() {
        (0..store.head()?.size).collect()
    } else {
        let numbers: Result<BTreeSet<u64>, Error> =
            args.records.iter().map(|record| Ok(store.inspection(record)?.number)).collect();
        numbers?.into_iter().collect()
    };
    let folder = &args.out;
    fresh(folder)?;
    let made = exported(&store, &numbers)?;
    let mut written = 0;
    if !args.without_photos {
        let photos = folder.join("photos");
        fs::create_dir(&photos).map_err(|error| cannot_make(&photos, &error))?;
        for (name, hash) in &made.files {
            write_photo(&store, &photos.join(name), hash)?;
            written += 1;
        }
    }
    Staged::new(&folder.join("readings.csv"), &made.csv)?.commit()?;
    Staged::new(&folder.join("schema.json"), schema_text()?.as_bytes())?.commit()?;
    // Last, so that an export that was broken off has none.
    Staged::new(&folder.join("records.json"), made.json.as_bytes())?.commit()?;
    let text = format!(
        "{} records in {}: records.json (schema.json says how it is built), readings.csv, {written} photos and pictures\n\
         Originals are as the camera wrote them: they may carry place and serial number, the annotated pictures do not.\n",
        numbers.len(),
        folder.display()
    );
    Ok((text, ExitStatus::Good))
}

pub(super) fn schema() -> Result<(String, ExitStatus), Error> {
    Ok((schema_text()?, ExitStatus::Good))
}

fn schema_text() -> Result<String, Error> {
    serde_json::to_string_pretty(&json_schema()).map(|text| text + "\n").map_err(|error| {
        Error::usage(format!("the schema cannot be written: {error}"), "please report this as a defect")
    })
}

fn write_photo(store: &Store, place: &Path, hash: &Hash) -> Result<(), Error> {
    Staged::new(place, &store.photo_bytes(hash)?)?.commit()
}

fn fresh(folder: &Path) -> Result<(), Error> {
    fs::create_dir_all(folder).map_err(|error| cannot_make(folder, &error))?;
    let is_empty = fs::read_dir(folder).is_ok_and(|mut inside| inside.next().is_none());
    if is_empty {
        return Ok(());
    }
    Err(Error::file(folder.display().to_string(), "is not empty", "name a new folder for every export"))
}

fn cannot_make(folder: &Path, error: &std::io::Error) -> Error {
    Error::file(folder.display().to_string(), format!("cannot be made: {error}"), "name a folder that you may write to")
}

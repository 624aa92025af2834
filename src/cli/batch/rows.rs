//! Where rows come from: a table, read as a stream, or a folder.

use super::job::{Job, option_of};
use crate::error::Error;
use std::fs;
use std::path::{Path, PathBuf};

/// Endings of photos in a folder.
const PHOTOS: [&str; 6] = ["jpg", "jpeg", "png", "heic", "heif", "dng"];

/// The rows of a batch.
#[derive(Debug)]
pub(super) enum Rows {
    /// A table: its path, and what each column means.
    Table(PathBuf, Vec<Option<String>>),
    /// A folder: its photos by name.
    Folder(PathBuf, Vec<PathBuf>),
}

fn cannot_read(path: &Path, error: &dyn std::fmt::Display) -> Error {
    Error::file(path.display().to_string(), format!("cannot be read: {error}"), "check the path and its rights")
}

fn open(path: &Path) -> Result<csv::Reader<fs::File>, Error> {
    // A row of another length is that row's error, not the table's.
    csv::ReaderBuilder::new()
        .flexible(true)
        .trim(csv::Trim::All)
        .from_path(path)
        .map_err(|error| cannot_read(path, &error))
}

impl Rows {
    /// The rows of a table; its heading is judged here.
    pub(super) fn of_table(path: &Path) -> Result<Self, Error> {
        let mut reader = open(path)?;
        let heading = reader.headers().map_err(|error| cannot_read(path, &error))?.clone();
        let list = path.display().to_string();
        let columns = heading.iter().map(|name| option_of(name, &list)).collect::<Result<Vec<_>, _>>()?;
        if !columns.iter().any(Option::is_none) && !columns.contains(&Some("bracket".to_owned())) {
            return Err(Error::file(
                list,
                "has no column `file`",
                "its first line names the columns: file,bay,lamp,height_mm",
            ));
        }
        if let Some(twice) = columns.iter().enumerate().find(|(k, name)| columns[..*k].contains(name)) {
            return Err(Error::file(
                list,
                format!("has the column {:?} twice", heading.get(twice.0).unwrap_or_default()),
                "keep one",
            ));
        }
        Ok(Self::Table(path.to_owned(), columns))
    }

    /// The photos of a folder, by name.
    pub(super) fn of_folder(folder: &Path) -> Result<Self, Error> {
        let mut photos = Vec::new();
        for entry in fs::read_dir(folder).map_err(|error| cannot_read(folder, &error))? {
            let path = entry.map_err(|error| cannot_read(folder, &error))?.path();
            let ending = path.extension().and_then(|ending| ending.to_str()).unwrap_or_default().to_lowercase();
            if PHOTOS.contains(&ending.as_str()) && path.is_file() {
                photos.push(path);
            }
        }
        if photos.is_empty() {
            return Err(Error::file(
                folder.display().to_string(),
                "holds no photo",
                "name the folder with the photos; each has its NAME.job.toml beside it",
            ));
        }
        photos.sort();
        Ok(Self::Folder(folder.to_owned(), photos))
    }

    /// How many there are: the table is run through once.
    pub(super) fn count(&self) -> Result<usize, Error> {
        match self {
            Self::Table(path, _) => {
                let mut reader = open(path)?;
                let mut record = csv::StringRecord::new();
                let mut count = 0;
                while reader.read_record(&mut record).map_err(|error| cannot_read(path, &error))? {
                    count += 1;
                }
                Ok(count)
            }
            Self::Folder(_, photos) => Ok(photos.len()),
        }
    }

    /// The rows, one after another; one that cannot be a job is an error in its place.
    pub(super) fn jobs(&self) -> Result<Box<dyn Iterator<Item = Result<Job, Error>> + Send + '_>, Error> {
        match self {
            Self::Table(path, columns) => {
                let folder = path.parent().unwrap_or(Path::new("")).to_owned();
                let records = open(path)?.into_records().enumerate();
                Ok(Box::new(records.map(move |(k, record)| {
                    let record = record.map_err(|error| cannot_read(path, &error))?;
                    of_record(k + 1, &record, columns, &folder)
                })))
            }
            Self::Folder(folder, photos) => {
                let shared = folder.join("job.toml");
                let common = if shared.is_file() { entries_of(&shared)? } else { Vec::new() };
                Ok(Box::new(photos.iter().enumerate().map(move |(k, photo)| of_photo(k + 1, photo, folder, &common))))
            }
        }
    }
}

fn of_record(row: usize, record: &csv::StringRecord, columns: &[Option<String>], folder: &Path) -> Result<Job, Error> {
    if record.len() != columns.len() {
        return Err(Error::usage(
            format!("row {row} has {} fields, the heading {}", record.len(), columns.len()),
            "put text that holds a comma in quotes",
        ));
    }
    let mut job = Job { row, file: None, entries: Vec::new(), folder: folder.to_owned() };
    for (column, value) in columns.iter().zip(record).filter(|(_, value)| !value.is_empty()) {
        match column {
            None => job.file = Some(value.to_owned()),
            Some(option) => job.entries.push((option.clone(), value.to_owned())),
        }
    }
    Ok(job)
}

fn of_photo(row: usize, photo: &Path, folder: &Path, common: &[(String, String)]) -> Result<Job, Error> {
    let own = photo.with_extension("job.toml");
    let mut entries = if own.is_file() { entries_of(&own)? } else { Vec::new() };
    if entries.is_empty() && common.is_empty() {
        return Err(Error::file(
            photo.display().to_string(),
            format!("has no {} beside it, and the folder no job.toml", own.display()),
            "write bay, lamp and height_mm into one of them",
        ));
    }
    // What a photo says of itself goes before what all share.
    let missing: Vec<_> =
        common.iter().filter(|(name, _)| entries.iter().all(|(own, _)| own != name)).cloned().collect();
    entries.extend(missing);
    let file = photo.file_name().map(|name| name.to_string_lossy().into_owned());
    Ok(Job { row, file, entries, folder: folder.to_owned() })
}

/// Names and values of a job file.
fn entries_of(path: &Path) -> Result<Vec<(String, String)>, Error> {
    let list = path.display().to_string();
    let text = fs::read_to_string(path).map_err(|error| cannot_read(path, &error))?;
    let table: toml::Table =
        text.parse().map_err(|error| Error::file(&list, format!("{error}"), "write lines such as height_mm = 650"))?;
    let mut entries = Vec::new();
    for (name, value) in table {
        let Some(option) = option_of(&name, &list)? else {
            return Err(Error::file(list, "names a photo of its own", "it goes with the photo whose name it bears"));
        };
        let value = match value {
            toml::Value::String(text) => text,
            toml::Value::Integer(number) => number.to_string(),
            toml::Value::Float(number) => number.to_string(),
            other => {
                return Err(Error::file(list, format!("{name} is a {}", other.type_str()), "give it text or a number"));
            }
        };
        entries.push((option, value));
    }
    Ok(entries)
}

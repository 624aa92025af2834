//! Names of photo files as the log keeps them: without folders.
//!
//! What stands in the log can never be erased, and a folder may well be called after a plate or a customer. **Takes** the photos
//! of a reading. **Gives** a name for each, so that no two are alike, and puts them into the reading and its command in the place
//! of the paths. The places of its outputs go too.

use super::super::measure::PhotoFiles;
use crate::reading::Reading;
use std::path::Path;

/// Options that say where an output goes; the log needs their names alone.
const OUTPUTS: [&str; 3] = ["--json", "--annotated", "--trace"];

/// Every photo's name as it was given, and as it is kept.
pub(super) struct KeptNames(Vec<(String, String)>);

impl KeptNames {
    pub(super) fn of(photos: &PhotoFiles) -> Self {
        let mut names: Vec<(String, String)> = Vec::new();
        let others = photos.marks.iter().chain(&photos.ambient).chain(&photos.bracket);
        for photo in std::iter::once(&photos.photo).chain(others) {
            if names.iter().any(|(given, _)| *given == photo.name) {
                continue;
            }
            let plain = without_folder(&photo.name);
            let is_free = |name: &String| names.iter().all(|(_, kept)| kept != name);
            let numbered = (2..).map(|n| format!("{n}-{plain}"));
            let kept = std::iter::once(plain.to_owned()).chain(numbered).find(is_free);
            names.push((photo.name.clone(), kept.unwrap_or_default()));
        }
        Self(names)
    }

    /// The name of a photo as it is kept.
    pub(super) fn kept(&self, given: &str) -> String {
        let found = self.0.iter().find(|(name, _)| name == given);
        found.map_or_else(|| without_folder(given).to_owned(), |(_, kept)| kept.clone())
    }

    /// The reading with the names as they are kept.
    pub(super) fn put_into(&self, mut reading: Reading) -> Reading {
        reading.photo.file = self.kept(&reading.photo.file);
        for photo in &mut reading.photo.merged {
            photo.file = self.kept(&photo.file);
        }
        let mut is_output = false;
        for word in &mut reading.command {
            let (flag, value) = match word.split_once('=') {
                Some((flag, value)) if flag.starts_with("--") => (format!("{flag}="), value),
                _ => (String::new(), word.as_str()),
            };
            let is_place = is_output || OUTPUTS.iter().any(|name| flag.strip_suffix('=') == Some(*name));
            is_output = OUTPUTS.contains(&word.as_str());
            if is_place {
                *word = format!("{flag}{}", without_folder(value));
            } else if self.0.iter().any(|(given, _)| given == value) {
                *word = format!("{flag}{}", self.kept(value));
            }
        }
        reading
    }
}

fn without_folder(path: &str) -> &str {
    Path::new(path).file_name().and_then(|name| name.to_str()).unwrap_or(path)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::cli::measure::PhotoFile;

    fn file(name: &str) -> PhotoFile {
        PhotoFile { name: name.to_owned(), bytes: Vec::new() }
    }

    #[test]
    fn no_folder_is_kept_and_no_two_names_are_alike() {
        let photos = PhotoFiles {
            photo: file("PLATE-XY/a.jpg"),
            marks: Some(file("b/a.jpg")),
            ambient: Some(file("PLATE-XY/a.jpg")),
            bracket: vec![file("a.jpg"), file("/c/d.jpg")],
        };
        let names = KeptNames::of(&photos);
        let mut reading: Reading =
            serde_json::from_str(include_str!("../../../tests/record_sample/reading.json")).unwrap();
        "PLATE-XY/a.jpg".clone_into(&mut reading.photo.file);
        let words = "measure PLATE-XY/a.jpg --marks-photo=b/a.jpg --ambient-photo PLATE-XY/a.jpg --bracket a.jpg /c/d.jpg \
                     --bay bays/b.toml --mark 1=2,3 --json PLATE-XY/o.json --annotated=PLATE-XY/o.png --trace .. --lamp left";
        reading.command = words.split_whitespace().map(str::to_owned).collect();
        let kept = names.put_into(reading);
        assert_eq!(kept.photo.file, "a.jpg");
        assert_eq!(
            kept.command.join(" "),
            "measure a.jpg --marks-photo=2-a.jpg --ambient-photo a.jpg --bracket 3-a.jpg d.jpg \
             --bay bays/b.toml --mark 1=2,3 --json o.json --annotated=o.png --trace .. --lamp left"
        );
    }
}

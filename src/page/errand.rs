//! What goes between the server and a worker: a line of JSON that says what, and how many bytes follow it in each block.

use crate::cli::given::Given;
use crate::cli::measure::{PhotoFile, PhotoFiles};
use crate::reading::Reading;
use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize};

/// What a worker is to do.
#[derive(Debug, Serialize, Deserialize)]
pub(super) enum Errand {
    /// Measure the photos that follow, and draw what was found; the blocks stand in the names' order.
    Measure {
        /// Words and texts.
        given: Box<Given>,
        /// Id and day of the record, as the picture names them.
        caption: (String, String),
        /// The photos.
        names: Names,
    },
    /// Turn the photo upright and make it smaller and lighter, to tap marks on.
    Upright {
        /// The photo's name.
        name: String,
    },
}

/// Which photo is which.
#[derive(Debug, Serialize, Deserialize)]
pub(super) struct Names {
    photo: String,
    marks: Option<String>,
    ambient: Option<String>,
    bracket: Vec<String>,
}

/// What a worker says.
#[derive(Debug, Serialize, Deserialize)]
pub(super) enum Outcome {
    /// A reading; its picture follows.
    Measured(Box<Reading>),
    /// A picture, which follows.
    Picture,
    /// It could not be done: of which file, what was found, what to do.
    Failed {
        /// A file's name; `None` when it is not a file's fault.
        file: Option<String>,
        /// What was found.
        found: String,
        /// What to do.
        hint: String,
    },
}

#[derive(Serialize, Deserialize)]
struct Head<T> {
    what: T,
    blocks: Vec<usize>,
}

/// Puts a message together.
pub(super) fn pack<T: Serialize>(what: &T, blocks: &[&[u8]]) -> Result<Vec<u8>, serde_json::Error> {
    let sizes = blocks.iter().map(|block| block.len()).collect();
    let mut all = serde_json::to_vec(&Head { what, blocks: sizes })?;
    all.push(b'\n');
    all.extend(blocks.iter().flat_map(|block| block.iter()));
    Ok(all)
}

/// Takes a message apart; `None` unless it is whole.
pub(super) fn unpack<T: DeserializeOwned>(message: &[u8]) -> Option<(T, Vec<Vec<u8>>)> {
    let end = message.iter().position(|byte| *byte == b'\n')?;
    let head: Head<T> = serde_json::from_slice(&message[..end]).ok()?;
    let mut rest = &message[end + 1..];
    let mut blocks = Vec::with_capacity(head.blocks.len());
    for size in head.blocks {
        let (block, behind) = rest.split_at_checked(size)?;
        blocks.push(block.to_vec());
        rest = behind;
    }
    rest.is_empty().then_some((head.what, blocks))
}

impl Names {
    /// The photos' names, and their bytes in the same order.
    pub(super) fn of(photos: &PhotoFiles) -> (Self, Vec<&[u8]>) {
        let others = [&photos.marks, &photos.ambient].into_iter().flatten().chain(&photos.bracket);
        let blocks = std::iter::once(&photos.photo).chain(others).map(|file| &file.bytes[..]).collect();
        let name = |file: &PhotoFile| file.name.clone();
        let names = Self {
            photo: name(&photos.photo),
            marks: photos.marks.as_ref().map(name),
            ambient: photos.ambient.as_ref().map(name),
            bracket: photos.bracket.iter().map(name).collect(),
        };
        (names, blocks)
    }

    /// The photos again; `None` when there are not as many blocks as names.
    pub(super) fn with(self, blocks: Vec<Vec<u8>>) -> Option<PhotoFiles> {
        let mut blocks = blocks.into_iter();
        let mut file = |name: String| blocks.next().map(|bytes| PhotoFile { name, bytes });
        let photo = file(self.photo)?;
        let marks = self.marks.map(|name| file(name).ok_or(())).transpose().ok()?;
        let ambient = self.ambient.map(|name| file(name).ok_or(())).transpose().ok()?;
        let bracket = self.bracket.into_iter().map(file).collect::<Option<Vec<_>>>()?;
        blocks.next().is_none().then_some(PhotoFiles { photo, marks, ambient, bracket })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn file(name: &str) -> PhotoFile {
        PhotoFile { name: name.to_owned(), bytes: format!("bytes\nof {name}").into_bytes() }
    }

    #[test]
    fn photos_come_back_as_they_were_sent_and_half_a_message_is_none() {
        for (marks, ambient, bracket) in [(0, 0, 0), (1, 0, 0), (0, 1, 0), (1, 1, 0), (0, 0, 3)] {
            let some = |count: usize, name: &str| (count > 0).then(|| file(name));
            let photos = PhotoFiles {
                photo: file("photo"),
                marks: some(marks, "marks"),
                ambient: some(ambient, "ambient"),
                bracket: (0..bracket).map(|n| file(&n.to_string())).collect(),
            };
            let (names, blocks) = Names::of(&photos);
            let message = pack(&names, &blocks).unwrap();
            let (names, blocks) = unpack::<Names>(&message).unwrap();
            assert_eq!(names.with(blocks), Some(photos));
            for end in 0..message.len() {
                assert!(unpack::<Names>(&message[..end]).is_none(), "{end}");
            }
            assert!(unpack::<Names>(&[&message[..], b"x"].concat()).is_none());
        }
    }
}

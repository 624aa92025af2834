//! Bay, rule, screws and other small files of a batch, each read once: rows share them, and one that is saved anew while the
//! batch runs changes no later row.

use crate::cli::plan::{Input, read_input};
use crate::error::Error;
use std::collections::HashMap;
use std::path::{Path, PathBuf};
use std::sync::Mutex;

/// Texts that are kept. A shop has a handful; a list with a bay file for every row must not fill the memory.
const KEPT: usize = 64;

/// Texts that were read.
#[derive(Debug, Default)]
pub(super) struct Texts {
    kept: Mutex<HashMap<(Input, PathBuf), String>>,
}

impl Texts {
    /// The text of a file; one that cannot be read is tried again by the next row.
    pub(super) fn get(&self, input: Input, path: &Path) -> Result<String, Error> {
        let key = (input, path.to_owned());
        // A poisoned lock is that of a row that broke; nothing half-done can be in the map.
        let kept = || self.kept.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
        if let Some(text) = kept().get(&key) {
            return Ok(text.clone());
        }
        let text = read_input(input, path)?;
        let mut kept = kept();
        if kept.len() < KEPT {
            // What another thread read meanwhile stays, so that all rows go by one text.
            return Ok(kept.entry(key).or_insert(text).clone());
        }
        Ok(text)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_is_read_once_and_no_more_are_kept_than_a_shop_has() {
        let folder = tempfile::tempdir().unwrap();
        let path = |k: usize| folder.path().join(format!("{k}.toml"));
        let texts = Texts::default();
        assert!(texts.get(Input::Bay, &path(0)).is_err());
        for k in 0..2 * KEPT {
            std::fs::write(path(k), format!("bay {k}")).unwrap();
            assert_eq!(texts.get(Input::Bay, &path(k)).unwrap(), format!("bay {k}"));
        }
        std::fs::write(path(0), "changed").unwrap();
        assert_eq!(texts.get(Input::Bay, &path(0)).unwrap(), "bay 0");
        assert_eq!(texts.kept.lock().unwrap().len(), KEPT);
    }
}

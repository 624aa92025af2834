//! The log's head: how many entries, and the root over them. Kept outside, it shows a tail that was cut off.

use super::hash::Hash;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::fmt;
use std::str::FromStr;

/// A head, written `SIZE:ROOT`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Head {
    /// Number of entries.
    pub size: u64,
    /// Merkle root over them.
    pub root: Hash,
}

impl fmt::Display for Head {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}:{}", self.size, self.root)
    }
}

impl FromStr for Head {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let need = || format!("{text:?} is no head: need SIZE:ROOT as a report prints it");
        let (size, root) = text.trim().split_once(':').ok_or_else(need)?;
        Ok(Self { size: size.parse().map_err(|_| need())?, root: root.parse()? })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_printed_is_read_back() {
        let head = Head { size: 12, root: Hash::of(b"abc") };
        assert_eq!(head.to_string().parse(), Ok(head));
        for text in ["", "12", "12:", "x:00", "-1:00", "12:abcd"] {
            assert!(text.parse::<Head>().is_err(), "{text}");
        }
    }
}

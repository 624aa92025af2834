//! Which key may have signed which head: the station's keys, one after the other, as the log says that they were changed.

use super::entry::KeyChange;
use super::key::{PublicKey, SignedHead};
use std::collections::{BTreeMap, BTreeSet};

/// The keys that count, and when each began and ended.
#[derive(Debug)]
pub(super) struct Keys {
    /// Those that were given, and those that changes join to them; `None` when none was given: then every key counts.
    known: Option<BTreeSet<PublicKey>>,
    /// The entry that made each key, and the one that ended it.
    began: BTreeMap<PublicKey, u64>,
    ended: BTreeMap<PublicKey, u64>,
}

impl Keys {
    /// From changes that both keys signed, in the order of the log. A change joins its keys both ways: the old one vouches for
    /// the new one, and who has the new one signed what stands before it.
    pub(super) fn of(changes: &[(u64, KeyChange)], given: &[PublicKey]) -> Self {
        let mut known: BTreeSet<PublicKey> = given.iter().copied().collect();
        loop {
            let before = known.len();
            for (_, change) in changes {
                if known.contains(&change.old_key) || known.contains(&change.new_key) {
                    known.extend([change.old_key, change.new_key]);
                }
            }
            if known.len() == before {
                break;
            }
        }
        let mut ended = BTreeMap::new();
        for (number, change) in changes {
            // The first end counts: a key that is ended has no say in what comes after it.
            ended.entry(change.old_key).or_insert(*number);
        }
        let began = changes.iter().map(|(number, change)| (change.new_key, *number)).collect();
        Self { known: (!given.is_empty()).then_some(known), began, ended }
    }

    /// Why a true signature does not count; `None` when it does.
    pub(super) fn fault(&self, signed: &SignedHead) -> Option<String> {
        let key = signed.public_key;
        if self.known.as_ref().is_some_and(|known| !known.contains(&key)) {
            return Some(format!("is of another key: {key}"));
        }
        // The head with the change itself, of one entry more than its number, is the new key's first.
        if let Some(number) = self.ended.get(&key).filter(|number| signed.head.size > **number) {
            return Some(format!("is of a key that was ended by entry {number}: {key}"));
        }
        let early = self.began.get(&key).filter(|number| signed.head.size <= **number);
        early.map(|number| format!("is of a key that began with entry {number} only: {key}"))
    }
}

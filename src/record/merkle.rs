//! The Merkle tree over the log's entries, after RFC 6962 section 2.1.
//!
//! A leaf is SHA-256(0x00 ‖ entry), a node SHA-256(0x01 ‖ left ‖ right), and a tree of n leaves splits at the largest power of
//! two below n. Only the roots of the perfect subtrees ("peaks", largest first) are needed to add leaves and to tell the root.

use super::hash::Hash;
use sha2::{Digest, Sha256};

const LEAF: [u8; 1] = [0];
const NODE: [u8; 1] = [1];
/// Bytes of a hash.
const HASH_BYTES: usize = 32;

/// Hash of an entry.
pub fn leaf(entry: &[u8]) -> Hash {
    Hash(Sha256::new().chain_update(LEAF).chain_update(entry).finalize().into())
}

/// Hash of two subtrees.
pub fn node(left: &Hash, right: &Hash) -> Hash {
    Hash(Sha256::new().chain_update(NODE).chain_update(left.0).chain_update(right.0).finalize().into())
}

/// A tree that grows leaf by leaf.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Tree {
    size: u64,
    peaks: Vec<Hash>,
}

impl Tree {
    /// A tree of `size` leaves from its peaks as [`Tree::peak_bytes`] wrote them; `None` when they do not fit the size.
    pub fn from_peaks(size: u64, bytes: &[u8]) -> Option<Self> {
        let peaks: Vec<Hash> = bytes.chunks(HASH_BYTES).map(Hash::from_slice).collect::<Option<_>>()?;
        (peaks.len() == size.count_ones() as usize).then_some(Self { size, peaks })
    }

    /// Adds a leaf.
    pub fn push(&mut self, leaf: Hash) {
        let mut joined = leaf;
        // Each bit that is set from below is a perfect subtree that now has a sibling of its own size.
        for _ in 0..self.size.trailing_ones() {
            if let Some(left) = self.peaks.pop() {
                joined = node(&left, &joined);
            }
        }
        self.peaks.push(joined);
        self.size += 1;
    }

    /// How many leaves.
    pub const fn size(&self) -> u64 {
        self.size
    }

    /// The tree's root; of no leaves, SHA-256 of nothing.
    pub fn root(&self) -> Hash {
        let mut from_right = self.peaks.iter().rev();
        let last = from_right.next().copied();
        last.map_or_else(|| Hash::of(&[]), |last| from_right.fold(last, |right, left| node(left, &right)))
    }

    /// The peaks, largest first, one behind the other.
    pub fn peak_bytes(&self) -> Vec<u8> {
        self.peaks.iter().flat_map(|peak| peak.0).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// The eight leaves of the test data of RFC 6962's reference log.
    const LEAVES: [&[u8]; 8] = [
        b"",
        b"\x00",
        b"\x10",
        b"\x20\x21",
        b"\x30\x31",
        b"\x40\x41\x42\x43",
        b"\x50\x51\x52\x53\x54\x55\x56\x57",
        b"\x60\x61\x62\x63\x64\x65\x66\x67\x68\x69\x6a\x6b\x6c\x6d\x6e\x6f",
    ];

    /// Roots over the first n of those leaves. n = 4 and n = 8 stand in the published test data of the transparency-dev
    /// `merkle` library; the others follow from RFC 6962's definition, worked out with another program (Python's hashlib).
    const ROOTS: [&str; 9] = [
        "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855",
        "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
        "fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125",
        "aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77",
        "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
        "4e3bbb1f7b478dcfe71fb631631519a3bca12c9aefca1612bfce4c13a86264d4",
        "76e67dadbcdf1e10e1b74ddc608abd2f98dfb16fbce75277b5232a127f2087ef",
        "ddb89be403809e325750d3d263cd78929c2942b7942a34b77e122c9594a74c8c",
        "5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328",
    ];

    /// Leaf and node hashes of the published tests of the same library (`rfc6962_test.go`).
    #[test]
    fn published_leaf_and_node() {
        assert_eq!(leaf(b"L123456").to_string(), "395aa064aa4c29f7010acfe3f25db9485bbd4b91897b6ad7ad547639252b4d56");
        let joined = Sha256::new().chain_update(NODE).chain_update(b"N123").chain_update(b"N456").finalize();
        assert_eq!(Hash(joined.into()).to_string(), "aa217fe888e47007fa15edab33c2b492a722cb106c64667fc2b044444de66bbb");
    }

    #[test]
    fn published_roots() {
        let mut tree = Tree::default();
        assert_eq!(tree.root().to_string(), ROOTS[0]);
        for (n, entry) in LEAVES.iter().enumerate() {
            tree.push(leaf(entry));
            assert_eq!(tree.root().to_string(), ROOTS[n + 1], "{} leaves", n + 1);
            assert_eq!(Tree::from_peaks(tree.size(), &tree.peak_bytes()), Some(tree.clone()));
        }
        assert_eq!(Tree::from_peaks(7, &tree.peak_bytes()), None);
    }

    /// RFC 6962's definition, word by word.
    fn by_definition(leaves: &[Hash]) -> Hash {
        match leaves {
            [] => Hash::of(&[]),
            [one] => *one,
            _ => {
                let split = leaves.len().next_power_of_two() / 2;
                node(&by_definition(&leaves[..split]), &by_definition(&leaves[split..]))
            }
        }
    }

    proptest! {
        #[test]
        fn growing_gives_the_defined_root(entries in prop::collection::vec(prop::collection::vec(any::<u8>(), 0..4), 0..80)) {
            let leaves: Vec<Hash> = entries.iter().map(|entry| leaf(entry)).collect();
            let mut tree = Tree::default();
            for leaf in &leaves {
                tree.push(*leaf);
            }
            prop_assert_eq!(tree.root(), by_definition(&leaves));
        }
    }
}

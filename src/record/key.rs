//! The station's key: signs the log's head after every entry (Ed25519, RFC 8032).
//!
//! The secret lies in `station.key` in the store's folder, readable by its owner alone, and is never copied into a backup. The
//! public key stands under it, so that a damaged secret is noticed and does not sign as another station.
//! Who has the store's folder has the key: a signature shows that a head was made here, not that nobody here changed
//! anything since. Keep the public key, and now and then a head, outside.
//!
//! A key is changed by an entry that the old key and the new one sign ([`KeyChange`]); the new secret waits in
//! `station.key.new` until that entry is recorded, and takes the old one's place then.

use super::entry::{KEY_CHANGE_SCHEMA, KeyChange};
use super::failure;
use super::files;
use super::hash::{Hash, hex_bytes};
use super::head::Head;
use super::personal::fill_random;
use crate::error::Error;
use ed25519_dalek::{Signature, Signer, SigningKey, VerifyingKey};
use rusqlite::{Connection, OptionalExtension, params};
use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::de::Error as _;
use serde::{Deserialize, Deserializer, Serialize, Serializer};
use std::borrow::Cow;
use std::fmt;
use std::fs::{self, OpenOptions};
use std::io::{self, Write};
use std::path::Path;
use std::str::FromStr;

/// Name of the key file in the store's folder.
pub const KEY_FILE: &str = "station.key";
/// Name of a new key's file until the change is recorded.
pub const NEW_KEY_FILE: &str = "station.key.new";
/// First line of the key file.
const KEY_SCHEMA: &str = "lampwright/station-key/1";
/// First line of what is signed, so that a signature fits nothing else.
const SIGNED_SCHEMA: &str = "lampwright/head/1";

/// The station's secret key.
pub(super) struct StationKey(SigningKey);

impl fmt::Debug for StationKey {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "StationKey({})", self.public())
    }
}

/// A station's public key, written as 64 hexadecimal digits.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct PublicKey(pub [u8; 32]);

impl fmt::Display for PublicKey {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        Hash(self.0).fmt(f)
    }
}

impl FromStr for PublicKey {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        text.parse::<Hash>()
            .map(|bytes| Self(bytes.0))
            .map_err(|_| format!("{text:?} is no public key: need 64 hexadecimal digits"))
    }
}

impl Serialize for PublicKey {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

impl<'de> Deserialize<'de> for PublicKey {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        Cow::<str>::deserialize(deserializer)?.parse().map_err(D::Error::custom)
    }
}

impl JsonSchema for PublicKey {
    fn schema_name() -> Cow<'static, str> {
        "PublicKey".into()
    }

    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        let words = "Ed25519 public key (RFC 8032), lower-case hexadecimal";
        json_schema!({ "type": "string", "pattern": "^[0-9a-f]{64}$", "description": words })
    }
}

/// A head with the station's signature.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct SignedHead {
    pub(super) head: Head,
    pub(super) signed: String,
    pub(super) public_key: PublicKey,
    pub(super) signature: Vec<u8>,
}

impl StationKey {
    /// Makes a new key and its file; an older one is never replaced.
    pub(super) fn create(store: &Path) -> Result<Self, Error> {
        Self::create_at(&store.join(KEY_FILE))
    }

    fn create_at(path: &Path) -> Result<Self, Error> {
        let mut secret = [0_u8; 32];
        fill_random(&mut secret)?;
        let key = SigningKey::from_bytes(&secret);
        let public = PublicKey(key.verifying_key().to_bytes());
        let text = format!("{KEY_SCHEMA}\n{}\n{public}\n", Hash(secret));
        let made = private(path).and_then(|mut file| {
            file.write_all(text.as_bytes())?;
            file.sync_all()
        });
        match made {
            Ok(()) => Ok(Self(key)),
            Err(error) if error.kind() == io::ErrorKind::AlreadyExists => Err(Error::file(
                path.display().to_string(),
                "is there already, and a key is never replaced",
                "`lampwright record key STORE --replace` changes the key, and the old one vouches for the new one",
            )),
            Err(error) => Err(failure::file(path, "made", &error)),
        }
    }

    /// The store's key, when it has one.
    pub(super) fn load(store: &Path) -> Result<Option<Self>, Error> {
        Self::load_from(&store.join(KEY_FILE))
    }

    /// The store's key for one who records, and so has the store alone: a change that was recorded and broken off before the
    /// files were changed is finished, and one that was not recorded is forgotten.
    pub(super) fn settled(store: &Path, db: &Connection) -> Result<Option<Self>, Error> {
        let waiting = store.join(NEW_KEY_FILE);
        if waiting.exists() {
            let has_signed = match Self::load_from(&waiting) {
                Ok(Some(new)) => db
                    .query_row("SELECT 1 FROM signature WHERE public_key = ?1 LIMIT 1", [new.public().0], |_| Ok(()))
                    .optional()
                    .map_err(|error| failure::database(store, &error))?
                    .is_some(),
                // A file that is not whole was never signed with.
                _ => false,
            };
            if has_signed {
                Self::put_in_place(store)?;
            } else {
                fs::remove_file(&waiting).map_err(|error| failure::file(&waiting, "taken away", &error))?;
            }
        }
        Self::load(store)
    }

    /// Makes the key that is to follow the store's own, in a file that waits.
    pub(super) fn create_waiting(store: &Path) -> Result<Self, Error> {
        let key = Self::create_at(&store.join(NEW_KEY_FILE))?;
        files::flush(store).map_err(|error| failure::file(store, "flushed", &error))?;
        Ok(key)
    }

    /// Puts the waiting key in the old one's place, which is gone then: nothing asks for it any more.
    pub(super) fn put_in_place(store: &Path) -> Result<(), Error> {
        let (waiting, place) = (store.join(NEW_KEY_FILE), store.join(KEY_FILE));
        fs::rename(&waiting, &place)
            .and_then(|()| files::flush(store))
            .map_err(|error| failure::file(&waiting, "put in the old key's place", &error))
    }

    fn load_from(path: &Path) -> Result<Option<Self>, Error> {
        let text = match fs::read_to_string(path) {
            Ok(text) => text,
            Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(None),
            Err(error) => return Err(failure::file(path, "read", &error)),
        };
        only_its_owner_s(path)?;
        let wrong = |found: &str| {
            let hint = "nothing was recorded; put the right key file back, or move this one away";
            Error::file(path.display().to_string(), found, hint)
        };
        read(&text).map(Some).map_err(wrong)
    }

    pub(super) fn public(&self) -> PublicKey {
        PublicKey(self.0.verifying_key().to_bytes())
    }

    pub(super) fn sign(&self, head: &Head) -> SignedHead {
        let signed = super::entry::now();
        let signature = self.0.sign(&message(head, &signed)).to_bytes().to_vec();
        SignedHead { head: *head, signed, public_key: self.public(), signature }
    }
}

impl KeyChange {
    /// What both keys sign.
    fn message(&self) -> Vec<u8> {
        let Self { id, recorded, head, old_key, new_key, .. } = self;
        format!("{KEY_CHANGE_SCHEMA}\n{id}\n{recorded}\n{head}\n{old_key}\n{new_key}\n").into_bytes()
    }

    /// Signs it with both keys.
    pub(super) fn sign(&mut self, old: &StationKey, new: &StationKey) {
        (self.old_key, self.new_key) = (old.public(), new.public());
        let message = self.message();
        let by = |key: &StationKey| {
            key.0.sign(&message).to_bytes().iter().fold(String::new(), |text, byte| format!("{text}{byte:02x}"))
        };
        (self.old_signature, self.new_signature) = (by(old), by(new));
    }

    /// The key that did not sign it; `None` when both did.
    pub(super) fn unsigned_by(&self) -> Option<PublicKey> {
        let message = self.message();
        [(self.old_key, &self.old_signature), (self.new_key, &self.new_signature)]
            .into_iter()
            .find(|(key, signature)| !hex_bytes(signature).is_some_and(|bytes| is_signed(key, &message, &bytes)))
            .map(|(key, _)| key)
    }
}

/// Whether a signature is the key's over a message. Strict: no key of small order, one form of a signature.
fn is_signed(key: &PublicKey, message: &[u8], signature: &[u8]) -> bool {
    let Ok(key) = VerifyingKey::from_bytes(&key.0) else { return false };
    let Ok(signature) = Signature::from_slice(signature) else { return false };
    key.verify_strict(message, &signature).is_ok()
}

impl SignedHead {
    /// Whether the signature is the key's over this head and time.
    pub(super) fn is_true(&self) -> bool {
        is_signed(&self.public_key, &message(&self.head, &self.signed), &self.signature)
    }

    pub(super) fn insert(&self, db: &Connection) -> rusqlite::Result<()> {
        db.prepare_cached(
            "INSERT INTO signature (size, root, signed, public_key, signature) VALUES (?1, ?2, ?3, ?4, ?5)",
        )?
        .execute(params![self.head.size as i64, self.head.root.0, self.signed, self.public_key.0, self.signature])
        .map(|_| ())
    }
}

fn message(head: &Head, signed: &str) -> Vec<u8> {
    format!("{SIGNED_SCHEMA}\n{head}\n{signed}\n").into_bytes()
}

/// Secret and public key of a key file; the first files held the secret alone.
fn parse(text: &str) -> Option<([u8; 32], Option<PublicKey>)> {
    let words: Vec<&str> = text.split_whitespace().collect();
    let (secret, public) = match words[..] {
        [KEY_SCHEMA, secret] => (secret, None),
        [KEY_SCHEMA, secret, public] => (secret, Some(public.parse().ok()?)),
        _ => return None,
    };
    Some((hex_bytes(secret)?.try_into().ok()?, public))
}

/// Whether the key file is as it was made, as far as its rights let us see; else what was found. Gives what is worth knowing.
pub(super) fn state(store: &Path) -> Result<Option<String>, String> {
    let path = store.join(KEY_FILE);
    match fs::read_to_string(&path) {
        Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(None),
        Err(error) if error.kind() == io::ErrorKind::PermissionDenied => {
            Ok(Some(format!("{KEY_FILE} is another user's, and was not looked at")))
        }
        Err(error) => Err(format!("cannot be read: {error}")),
        Ok(text) => {
            read(&text).map(|_| only_its_owner_s(&path).err().map(|error| error.to_string())).map_err(str::to_owned)
        }
    }
}

/// The key of a key file's text.
fn read(text: &str) -> Result<StationKey, &'static str> {
    let (secret, public) = parse(text).ok_or("is no station key")?;
    let key = StationKey(SigningKey::from_bytes(&secret));
    if public.is_some_and(|public| public != key.public()) {
        return Err("was changed: its secret and its public key do not belong together");
    }
    Ok(key)
}

/// A new file that its owner alone may read.
fn private(path: &Path) -> io::Result<fs::File> {
    let mut options = OpenOptions::new();
    options.write(true).create_new(true);
    #[cfg(unix)]
    std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
    options.open(path)
}

/// Refuses a key that others may read.
fn only_its_owner_s(path: &Path) -> Result<(), Error> {
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        let mode =
            fs::metadata(path).map_err(|error| failure::file(path, "read", &error))?.permissions().mode() & 0o777;
        if mode & 0o077 != 0 {
            return Err(Error::file(
                path.display().to_string(),
                format!("has rights {mode:03o}, so that others may read the key; need 600"),
                "nothing was recorded; `chmod 600` it, and make a new key if somebody else may have read this one",
            ));
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// RFC 8032, section 7.1, tests 1 to 3: secret, public key, message, signature.
    const VECTORS: [[&str; 4]; 3] = [
        [
            "9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60",
            "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a",
            "",
            "e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bacc61e39701cf9b46bd25bf5f0595bbe24655141438e7a100b",
        ],
        [
            "4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb",
            "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c",
            "72",
            "92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da085ac1e43e15996e458f3613d0f11d8c387b2eaeb4302aeeb00d291612bb0c00",
        ],
        [
            "c5aa8df43f9f837bedb7442f31dcb7b166d38535076f094b85ce3a2e0b4458f7",
            "fc51cd8e6218a1a38da47ed00230f0580816ed13ba3303ac5deb911548908025",
            "af82",
            "6291d657deec24024827e69c3abe01a30ce548a284743a445e3680d7db5ac3ac18ff9b538d16f290ae67f760984dc6594a7c15e9716ed28dc027beceea1ec40a",
        ],
    ];

    #[test]
    fn published_signatures() {
        for [secret, public, text, signature] in VECTORS {
            let key = SigningKey::from_bytes(&hex_bytes(secret).unwrap().try_into().unwrap());
            assert_eq!(PublicKey(key.verifying_key().to_bytes()).to_string(), public);
            let text = hex_bytes(text).unwrap();
            let made = key.sign(&text);
            assert_eq!(made.to_bytes().to_vec(), hex_bytes(signature).unwrap());
            key.verifying_key().verify_strict(&text, &made).unwrap();
        }
    }

    #[test]
    fn any_change_breaks_a_signed_head() {
        let folder = tempfile::tempdir().unwrap();
        let key = StationKey::create(folder.path()).unwrap();
        assert!(StationKey::create(folder.path()).unwrap_err().to_string().contains("never replaced"));
        let loaded = StationKey::load(folder.path()).unwrap().unwrap();
        assert_eq!(loaded.public(), key.public());
        let good = loaded.sign(&Head { size: 7, root: Hash::of(b"x") });
        assert!(good.is_true());
        let mut other = good.clone();
        other.head.size = 8;
        assert!(!other.is_true());
        other.clone_from(&good);
        other.signed.push('0');
        assert!(!other.is_true());
        for byte in 0..64 {
            other.clone_from(&good);
            other.signature[byte] ^= 1;
            assert!(!other.is_true(), "byte {byte}");
        }
        for byte in 0..32 {
            other.clone_from(&good);
            other.public_key.0[byte] ^= 1;
            assert!(!other.is_true(), "byte {byte}");
        }
    }

    /// A key of small order would let one signature fit many messages; strict verification takes none.
    #[test]
    fn a_key_of_small_order_signs_nothing() {
        let mut identity = [0_u8; 32];
        identity[0] = 1;
        let mut signature = vec![0_u8; 64];
        signature[0] = 1;
        let head = Head { size: 1, root: Hash::of(b"x") };
        let forged = SignedHead { head, signed: String::new(), public_key: PublicKey(identity), signature };
        assert!(!forged.is_true());
    }

    /// Any other secret is a key too, so that a wrong digit would sign on under a new name.
    #[test]
    fn a_changed_digit_of_the_key_file_is_refused() {
        let folder = tempfile::tempdir().unwrap();
        let public = StationKey::create(folder.path()).unwrap().public();
        let path = folder.path().join(KEY_FILE);
        let text = fs::read_to_string(&path).unwrap();
        for at in KEY_SCHEMA.len()..text.len() {
            let digit = text.as_bytes()[at];
            if digit.is_ascii_hexdigit() {
                let mut changed = text.clone();
                changed.replace_range(at..=at, if digit == b'0' { "1" } else { "0" });
                fs::write(&path, changed).unwrap();
                let error = StationKey::load(folder.path()).unwrap_err().to_string();
                assert!(error.contains("was changed") && error.contains("nothing was recorded"), "{at}: {error}");
            }
        }
        // As the first version wrote it.
        let earlier: Vec<&str> = text.lines().take(2).collect();
        fs::write(&path, earlier.join("\n") + "\n").unwrap();
        assert_eq!(StationKey::load(folder.path()).unwrap().unwrap().public(), public);
    }

    #[cfg(unix)]
    #[test]
    fn a_key_that_others_may_read_is_refused() {
        use std::os::unix::fs::PermissionsExt;
        let folder = tempfile::tempdir().unwrap();
        StationKey::create(folder.path()).unwrap();
        let path = folder.path().join(KEY_FILE);
        assert_eq!(fs::metadata(&path).unwrap().permissions().mode() & 0o777, 0o600);
        fs::set_permissions(&path, fs::Permissions::from_mode(0o640)).unwrap();
        assert!(StationKey::load(folder.path()).unwrap_err().to_string().contains("640"));
    }
}

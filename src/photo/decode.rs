//! Bytes of a file to a [`Photo`].
//!
//! **Takes** the whole file and its name. **Gives** the pixels as stored, the map that turns them upright, SHA-256 and
//! what the camera wrote about the shot.
//! **How**: the type is told by content. Sizes are read from the header and judged before anything is decoded.
//! **Weak when** the name says another type (flag `wrong-extension`) or exposure data is missing (flag `exif-missing`).
//! **Fails when** the file is no JPEG, HEIC or PNG (HEIC with the cargo
//! feature `heic`, DNG with `raw`), of a kind or size beyond the limits, incomplete or damaged: one
//! [`Error::File`] that says what was found, what is needed and what to do.

#[cfg(feature = "raw")]
use super::decode_dng::decode_dng;
#[cfg(feature = "heic")]
use super::decode_heic::decode_heic;
use super::decode_jpeg::decode_jpeg;
use super::decode_png::decode_png;
use super::dng_kind::is_dng;
use super::exif::{ExifFacts, read_exif, read_tiff};
use super::image::{Format, Photo, Pixels, ShotFacts, UprightMap};
use crate::error::Error;
use crate::flag::{Flag, FlagCode};
use sha2::{Digest, Sha256};
use std::fmt::Write as _;
use std::panic::{AssertUnwindSafe, catch_unwind};

/// One megapixel, with room for cameras that round up what they call one.
const MIN_PIXELS: usize = 900_000;
/// 108 megapixels, with room for sensors that are called so and have a few rows more (12,032 x 9,024).
const MAX_PIXELS: usize = 110_000_000;
/// 50 megapixels, likewise (8,192 x 6,144).
const MAX_PROGRESSIVE_PIXELS: usize = 51_000_000;
/// Side that common JPEG decoders stop at.
const MAX_SIDE_PX: usize = 16_384;
/// Scans of one picture; an encoder's usual progressive script has ten or so.
const MAX_SCANS: usize = 100;
/// Pixels and coefficients of the largest pictures above: 108 megapixels of 16-bit RGB take 648 MB.
const MAX_BYTES: usize = 768 << 20;
/// Bytes at the start of a file in which a web page shows itself.
const TEXT_PROBE_BYTES: usize = 512;
/// File types by their first bytes that people send instead of a photo.
const OTHER_TYPES: [(&[u8], &str); 9] = [
    (b"GIF8", "GIF"),
    (b"BM", "BMP"),
    (b"II*\0", "TIFF or raw"),
    (b"MM\0*", "TIFF or raw"),
    (b"%PDF", "PDF"),
    (b"PK\x03\x04", "ZIP"),
    (b"\x00\x00\x00\x0CJXL ", "JPEG XL"),
    (b"\xFF\x0A", "JPEG XL"),
    (b"\x1A\x45\xDF\xA3", "video"),
];
const GIVE_A_PHOTO: &str = "give a photo as JPEG or PNG";
#[cfg(feature = "heic")]
const KINDS: &str = "JPEG, HEIC or PNG";
#[cfg(not(feature = "heic"))]
const KINDS: &str = "JPEG or PNG";

/// Limits on what is decoded.
#[derive(Debug, Clone)]
pub struct DecodeOptions {
    /// Fewest pixels. Lower lets pictures through that are too coarse to aim by. Default: 900,000 (1 megapixel, rounded).
    pub min_pixels: usize,
    /// Most pixels of a baseline JPEG or a PNG. Higher costs memory. Default: 110,000,000 (108 megapixels, rounded).
    pub max_pixels: usize,
    /// Most pixels of a progressive JPEG, which is held as coefficients first. Default: 51,000,000 (50 megapixels, rounded).
    pub max_progressive_pixels: usize,
    /// Longest side in pixels. Default: 16,384.
    pub max_side_px: usize,
    /// Most scans of a JPEG; each costs a pass over the picture. Default: 100.
    pub max_scans: usize,
    /// Most bytes of pixels and coefficients. Default: 768 MiB.
    pub max_bytes: usize,
    /// Whether a JPEG whose lower part is one flat colour, as a cut file leaves it, is an error. Default: true.
    pub refuse_flat_bottom: bool,
}

impl Default for DecodeOptions {
    fn default() -> Self {
        Self {
            min_pixels: MIN_PIXELS,
            max_pixels: MAX_PIXELS,
            max_progressive_pixels: MAX_PROGRESSIVE_PIXELS,
            max_side_px: MAX_SIDE_PX,
            max_scans: MAX_SCANS,
            max_bytes: MAX_BYTES,
            refuse_flat_bottom: true,
        }
    }
}

/// What is wrong with a file's content; becomes an [`Error`] where the file's name is known.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Defect {
    found: String,
    hint: String,
}

impl Defect {
    pub(super) fn new(found: impl Into<String>, hint: impl Into<String>) -> Self {
        Self { found: found.into(), hint: hint.into() }
    }

    /// The error of the file whose content this is.
    pub(super) fn in_file(self, file: &str) -> Error {
        Error::file(file, self.found, self.hint)
    }
}

/// Decodes a photo. `file` is its name as the user gave it; nothing is read from disk.
pub fn decode(bytes: &[u8], file: &str, options: &DecodeOptions) -> Result<Photo, Error> {
    decode_content(bytes, file, options).map_err(|defect| defect.in_file(file))
}

fn decode_content(bytes: &[u8], file: &str, options: &DecodeOptions) -> Result<Photo, Defect> {
    let format = format_of(bytes)?;
    let (picture, sha256) = rayon::join(|| picture_of(bytes, format, options), || sha256_hex(bytes));
    let Picture { width, height, pixels, exif, container_orientation } = picture?;
    let facts = if format == Format::Dng { Some(read_tiff(bytes.to_vec())) } else { exif.map(read_exif) };
    let ExifFacts { orientation, shot } = facts.unwrap_or_default();
    let orientation = container_orientation.unwrap_or(orientation);
    let flags = extension_flag(file, format).into_iter().chain(exposure_flag(&shot)).collect();
    Ok(Photo {
        file: file.to_owned(),
        sha256,
        format,
        pixels,
        stored_width: width,
        stored_height: height,
        orientation,
        upright: UprightMap::new(width, height, orientation),
        shot,
        flags,
        merged: Vec::new(),
    })
}

/// What a file holds.
pub(super) struct Picture {
    /// Width as stored.
    pub(super) width: usize,
    /// Height as stored.
    pub(super) height: usize,
    pub(super) pixels: Pixels,
    /// The TIFF structure of its EXIF block.
    pub(super) exif: Option<Vec<u8>>,
    /// The orientation, 1 to 8, where the container says it and EXIF does not count.
    pub(super) container_orientation: Option<u8>,
}

fn picture_of(bytes: &[u8], format: Format, options: &DecodeOptions) -> Result<Picture, Defect> {
    match format {
        Format::Jpeg => decode_jpeg(bytes, options),
        Format::Png => decode_png(bytes, options),
        #[cfg(feature = "raw")]
        Format::Dng => decode_dng(bytes, options),
        #[cfg(not(feature = "raw"))]
        Format::Dng => Err(Defect::new(
            format!("a DNG (raw) photo, which this build of the program does not read, need {KINDS}"),
            "give the JPEG or HEIC that the camera wrote beside it, or a program built with `cargo build --release --features raw`",
        )),
        #[cfg(feature = "heic")]
        Format::Heic => decode_heic(bytes, options),
        #[cfg(not(feature = "heic"))]
        Format::Heic => {
            let hint = "set the camera to JPEG (often called \"most compatible\"), or convert the photo to JPEG";
            Err(Defect::new(
                "a HEIC (HEIF) photo, which this build of the program does not read, need JPEG or PNG",
                hint,
            ))
        }
    }
}

/// The type by content, or what the file is instead.
fn format_of(bytes: &[u8]) -> Result<Format, Defect> {
    if bytes.starts_with(&[0xFF, 0xD8, 0xFF]) {
        return Ok(Format::Jpeg);
    }
    if bytes.starts_with(b"\x89PNG\r\n\x1A\n") {
        return Ok(Format::Png);
    }
    if is_dng(bytes) {
        return Ok(Format::Dng);
    }
    if bytes.is_empty() {
        return Err(Defect::new(
            format!("the file is empty (0 bytes), need a photo as {KINDS}"),
            "copy the file again",
        ));
    }
    if bytes.get(4..8) == Some(b"ftyp") {
        return boxed_type(bytes);
    }
    if bytes.starts_with(b"RIFF") && bytes.get(8..12) == Some(b"WEBP") {
        return Err(Defect::new(format!("a WebP picture, need {KINDS}"), GIVE_A_PHOTO));
    }
    if let Some((_, name)) = OTHER_TYPES.iter().find(|(start, _)| bytes.starts_with(start)) {
        return Err(Defect::new(format!("a {name} file, need {KINDS}"), GIVE_A_PHOTO));
    }
    let probe = String::from_utf8_lossy(&bytes[..bytes.len().min(TEXT_PROBE_BYTES)]).to_lowercase();
    if ["<!doctype", "<html", "<head", "<svg", "<?xml"].iter().any(|start| probe.contains(start)) {
        let hint = "the download saved a page instead of the photo: download the photo itself";
        return Err(Defect::new(format!("a web page (HTML or XML), need {KINDS}"), hint));
    }
    Err(Defect::new(format!("no photo: {} bytes of unknown type, need {KINDS}", bytes.len()), GIVE_A_PHOTO))
}

/// Files of the ISO base media format, by their brands (ISO/IEC 23008-12 for HEIF): the main one and, where that says no
/// more than "a picture", those that it is compatible with.
fn boxed_type(bytes: &[u8]) -> Result<Format, Defect> {
    const BRANDS_LIMIT_BYTES: usize = 256;
    let is_avif = |brand: &[u8]| matches!(brand, b"avif" | b"avis");
    let length = bytes.first_chunk().map_or(0, |size| u32::from_be_bytes(*size) as usize);
    let brands = &bytes[8..bytes.len().min(length.clamp(12, BRANDS_LIMIT_BYTES)).max(8)];
    let main = brands.get(..4).unwrap_or_default();
    match main {
        b"mif1" | b"msf1" if brands.chunks(4).any(is_avif) => Err(avif()),
        b"heic" | b"heix" | b"hevc" | b"hevx" | b"heim" | b"heis" | b"mif1" | b"msf1" => Ok(Format::Heic),
        brand if is_avif(brand) => Err(avif()),
        _ => Err(Defect::new(format!("a video or another media file, need a photo as {KINDS}"), GIVE_A_PHOTO)),
    }
}

fn avif() -> Defect {
    Defect::new(format!("an AVIF picture, need {KINDS}"), GIVE_A_PHOTO)
}

/// Judges the size that a header states; returns the number of pixels.
pub(super) fn check_size(
    width: usize,
    height: usize,
    kind: &str,
    max_pixels: usize,
    options: &DecodeOptions,
) -> Result<usize, Defect> {
    const MEGA: f64 = 1e6;
    let side = options.max_side_px;
    if width == 0 || height == 0 || width > side || height > side {
        let found = format!("{kind} of {width} x {height} pixels, need sides of 1 to {side}");
        return Err(Defect::new(found, "give the camera's own file"));
    }
    let too_big = |pixels: usize| pixels > max_pixels;
    match width.checked_mul(height) {
        Some(pixels) if pixels < options.min_pixels => {
            let (has, needs) = (pixels as f64 / MEGA, options.min_pixels as f64 / MEGA);
            let found = format!("{kind} of {width} x {height} pixels ({has:.2} megapixels), need {needs:.1} or more");
            Err(Defect::new(found, "give the camera's own file, not a preview or a copy from a messenger"))
        }
        Some(pixels) if !too_big(pixels) => Ok(pixels),
        _ => {
            let limit = max_pixels as f64 / MEGA;
            let found = format!("{kind} of {width} x {height} pixels, need {limit:.0} megapixels or fewer");
            Err(Defect::new(found, "set the camera to a smaller picture, 12 megapixels are plenty"))
        }
    }
}

/// Judges the memory that a picture takes; `None` is more than can be counted.
pub(super) fn check_memory(bytes: Option<usize>, options: &DecodeOptions) -> Result<(), Defect> {
    const MEBI: usize = 1 << 20;
    match bytes {
        Some(bytes) if bytes <= options.max_bytes => Ok(()),
        _ => {
            let need = bytes.map_or_else(|| "too much".to_owned(), |bytes| format!("{} MiB of", bytes / MEBI));
            let found = format!("the picture takes {need} memory, need {} MiB or less", options.max_bytes / MEBI);
            Err(Defect::new(found, "set the camera to a smaller picture, 12 megapixels are plenty"))
        }
    }
}

/// Runs a decoder of others on a file of unknown origin; a panic of its becomes `None`.
pub(super) fn guarded<T>(work: impl FnOnce() -> T) -> Option<T> {
    // Whatever the decoder left half done is dropped with it or, in a buffer of ours, never looked at.
    catch_unwind(AssertUnwindSafe(work)).ok()
}

fn extension_flag(file: &str, format: Format) -> Option<Flag> {
    let extension = file.rsplit(['/', '\\']).next()?.rsplit_once('.')?.1.to_ascii_lowercase();
    let (name, is_right) = match format {
        Format::Jpeg => ("JPEG", ["jpg", "jpeg", "jpe", "jfif", "mpo"].contains(&extension.as_str())),
        Format::Heic => ("HEIC", ["heic", "heif", "hif"].contains(&extension.as_str())),
        Format::Png => ("PNG", ["png", "apng"].contains(&extension.as_str())),
        Format::Dng => ("DNG", extension == "dng"),
    };
    let text = || format!("The file's name ends in .{extension}, but it is a {name}; it was read as that.");
    (!is_right).then(|| Flag::new(FlagCode::WrongExtension, text()))
}

fn exposure_flag(shot: &ShotFacts) -> Option<Flag> {
    let parts = [
        ("exposure time", shot.exposure_s.is_none()),
        ("ISO speed", shot.iso.is_none()),
        ("f-number", shot.f_number.is_none()),
    ];
    let missing: Vec<_> = parts.iter().filter(|(_, is_missing)| *is_missing).map(|(name, _)| *name).collect();
    let text = || format!("The photo does not say its {}.", missing.join(", "));
    (!missing.is_empty()).then(|| Flag::new(FlagCode::ExifMissing, text()))
}

fn sha256_hex(bytes: &[u8]) -> String {
    Sha256::digest(bytes).iter().fold(String::with_capacity(64), |mut hex, byte| {
        // Writing to a string cannot fail.
        let _ = write!(hex, "{byte:02x}");
        hex
    })
}

//! DNG bytes to light, as the sensor had it (cargo feature `raw`).
//!
//! **Takes** the file's bytes. **Gives** linear light: a Bayer mosaic at half the sensor's width and height, one pixel a
//! cell ([`super::raw_light`]), full colour as it is. Black and white level and the camera's own white balance
//! are laid on; no tone curve, no colour matrix, no lens correction or shading map (opcode lists): a lens file must be made
//! from DNG, too. **How**: the directory is judged before anything is decoded; the decoder is `rawler`.
//! **Fails when** the picture is lossy or JPEG XL inside, of a mosaic other than Bayer, cut, damaged, or beyond a limit.

use super::decode::{DecodeOptions, Defect, Picture, check_memory, check_size, guarded};
use super::dng_directories::check_directories;
use super::image::Pixels;
use super::jpeg_walk::{damaged, incomplete};
use super::raw_light::{Black, Samples, Sensor, gains};
use rawler::RawlerError;
use rawler::decoders::{RawDecodeParams, WellKnownIFD};
use rawler::formats::tiff::IFD;
use rawler::rawimage::{RawImage, RawImageData, RawPhotometricInterpretation};
use rawler::rawsource::RawSource;

/// Tags of TIFF 6.0 and DNG 1.7.1.0.
const WIDTH: u16 = 256;
const HEIGHT: u16 = 257;
const BITS: u16 = 258;
const COMPRESSION: u16 = 259;
const PHOTOMETRIC: u16 = 262;
const STRIP_OFFSETS: u16 = 273;
const PLANES: u16 = 277;
const STRIP_BYTES: u16 = 279;
const TILE_WIDTH: u16 = 322;
const TILE_HEIGHT: u16 = 323;
const TILE_OFFSETS: u16 = 324;
const TILE_BYTES: u16 = 325;

/// Values of `PHOTOMETRIC`: colour filter array, and full linear colour.
const MOSAIC: u64 = 32_803;
const LINEAR_RAW: u64 = 34_892;
/// Values of `COMPRESSION` that can be read: none, lossless JPEG, deflate.
const READABLE: [u64; 3] = [1, LOSSLESS_JPEG, 8];
const LOSSLESS_JPEG: u64 = 7;
/// Ones that cannot, by name.
const LOSSY_JPEG: u64 = 34_892;
const JPEG_XL: u64 = 52_546;

const OTHERWISE: &str =
    "set the camera to lossless or uncompressed DNG, or give the JPEG or HEIC that it wrote beside it";

/// Decodes the raw picture of a DNG file.
pub(super) fn decode_dng(bytes: &[u8], options: &DecodeOptions) -> Result<Picture, Defect> {
    check_directories(bytes, options)?;
    guarded(|| decode_guarded(bytes, options)).unwrap_or_else(|| Err(damaged("its data leads the decoder astray")))
}

fn decode_guarded(bytes: &[u8], options: &DecodeOptions) -> Result<Picture, Defect> {
    // A copy of the file.
    check_memory(Some(bytes.len()), options)?;
    let source = RawSource::new_from_slice(bytes);
    let decoder = rawler::get_decoder(&source).map_err(|error| unreadable(&error))?;
    let directory = decoder.ifd(WellKnownIFD::Raw).ok().flatten().ok_or_else(|| unknown_coding("an unknown coding"))?;
    judge(&directory, bytes, options)?;
    let raw = decoder.raw_image(&source, &RawDecodeParams::default(), false).map_err(|error| unreadable(&error))?;
    let (width, height, light) = light_of(raw)?;
    check_size(width, height, "DNG (one pixel a cell)", options.max_pixels, options)?;
    Ok(Picture { width, height, pixels: Pixels::Light(light), exif: None, container_orientation: None })
}

fn unreadable(error: &RawlerError) -> Defect {
    Defect::new(format!("a DNG that cannot be read ({error})"), OTHERWISE)
}

fn unknown_coding(what: &str) -> Defect {
    Defect::new(format!("a DNG whose picture is compressed as {what}, need none or a lossless one"), OTHERWISE)
}

/// Numbers of a tag; none where it is not there.
fn numbers(directory: &IFD, tag: u16) -> Vec<u64> {
    directory
        .get_entry(tag)
        .map_or_else(Vec::new, |entry| (0..entry.value.count()).map(|index| entry.value.force_u64(index)).collect())
}

fn number(directory: &IFD, tag: u16) -> Option<u64> {
    directory.get_entry(tag).filter(|entry| entry.value.count() > 0).map(|entry| entry.value.force_u64(0))
}

/// Judges the picture's directory: coding, size, memory, and whether its data is there.
fn judge(directory: &IFD, bytes: &[u8], options: &DecodeOptions) -> Result<(), Defect> {
    let length = bytes.len();
    match number(directory, COMPRESSION) {
        Some(coding) if READABLE.contains(&coding) => {}
        Some(LOSSY_JPEG) => return Err(unknown_coding("JPEG, which loses light levels")),
        Some(JPEG_XL) => return Err(unknown_coding("JPEG XL")),
        other => return Err(unknown_coding(&format!("kind {}", other.unwrap_or_default()))),
    }
    let need = |tag| number(directory, tag).and_then(|number| usize::try_from(number).ok());
    let lacking = || damaged("its directory lacks the picture's size");
    let (width, height) = (need(WIDTH).ok_or_else(lacking)?, need(HEIGHT).ok_or_else(lacking)?);
    let planes = need(PLANES).unwrap_or(1);
    let cell = match (number(directory, PHOTOMETRIC), planes) {
        (Some(MOSAIC), 1) => 2,
        (Some(LINEAR_RAW), 3) => 1,
        _ => {
            let found = "a DNG that is neither a mosaic nor full linear colour";
            return Err(Defect::new(found, OTHERWISE));
        }
    };
    let pixels = check_size(width / cell, height / cell, "DNG", options.max_pixels, options)?;
    // What is decoded: whole tiles, which may reach beyond the picture.
    let covered = |size: usize, tile: u16| match need(tile) {
        Some(tile) if tile > 0 => size.div_ceil(tile).saturating_mul(tile),
        _ => size,
    };
    let samples = covered(width, TILE_WIDTH).saturating_mul(covered(height, TILE_HEIGHT)).saturating_mul(planes);
    let bits = numbers(directory, BITS).into_iter().max().unwrap_or(16);
    // Samples and the cropped copy of them, then light.
    let sample_bytes = if bits > 16 { 4 } else { 2 };
    check_memory(samples.checked_mul(2 * sample_bytes).and_then(|sum| sum.checked_add(12 * pixels + length)), options)?;
    let (offsets, sizes) = match numbers(directory, TILE_OFFSETS) {
        tiles if !tiles.is_empty() => (tiles, numbers(directory, TILE_BYTES)),
        _ => (numbers(directory, STRIP_OFFSETS), numbers(directory, STRIP_BYTES)),
    };
    if offsets.is_empty() || offsets.len() != sizes.len() {
        return Err(damaged("its directory does not say where the picture is"));
    }
    if offsets.iter().zip(&sizes).any(|(offset, size)| offset.saturating_add(*size) > length as u64) {
        return Err(incomplete(length));
    }
    if number(directory, COMPRESSION) == Some(LOSSLESS_JPEG) {
        // A tile may be padded, and its samples may be counted otherwise than its pixels, but not more.
        let most = covered(need(TILE_WIDTH).unwrap_or(width), TILE_WIDTH)
            .saturating_mul(covered(need(TILE_HEIGHT).unwrap_or(height), TILE_HEIGHT))
            .saturating_mul(2 * planes);
        for (offset, size) in offsets.iter().zip(&sizes) {
            let tile = &bytes[*offset as usize..(*offset + *size) as usize];
            if tile_samples(tile).is_none_or(|samples| samples > most) {
                return Err(damaged("a part of its picture is no lossless JPEG of the size it should have"));
            }
        }
    }
    let stored = sizes.iter().fold(0_u64, |sum, size| sum.saturating_add(*size));
    let whole = (width * height * planes) as u64 * bits / 8;
    if number(directory, COMPRESSION) == Some(1) && stored < whole {
        return Err(damaged("its picture has fewer bytes than its size needs"));
    }
    Ok(())
}

/// Samples that a lossless JPEG's frame header states (ITU-T T.81, B.2.2); `None` without one.
fn tile_samples(tile: &[u8]) -> Option<usize> {
    const LOSSLESS_FRAME: u8 = 0xC3;
    let short = |at: usize| tile.get(at..)?.first_chunk().map(|pair| usize::from(u16::from_be_bytes(*pair)));
    let mut at = 2;
    loop {
        let marker = *tile.get(at + 1)?;
        if tile[at] != 0xFF {
            return None;
        }
        if marker == LOSSLESS_FRAME {
            let (height, width, components) = (short(at + 5)?, short(at + 7)?, usize::from(*tile.get(at + 9)?));
            return Some(height * width * components);
        }
        at += 2 + short(at + 2)?;
    }
}

fn light_of(raw: RawImage) -> Result<(usize, usize, Vec<f32>), Defect> {
    let (width, height, planes) = (raw.width, raw.height, raw.cpp);
    let whole = (0, 0, width, height);
    let rect = |rect: rawler::imgop::Rect| (rect.p.x, rect.p.y, rect.d.w, rect.d.h);
    let active = raw.active_area.map_or(whole, rect);
    let area = raw.crop_area.map_or(active, rect);
    let lies_in = |(left, top, w, h): (usize, usize, usize, usize)| {
        w > 1 && h > 1 && left.saturating_add(w) <= width && top.saturating_add(h) <= height
    };
    let levels = raw.blacklevel.as_vec();
    let (columns, rows) = (raw.blacklevel.width, raw.blacklevel.height);
    let white = raw.whitelevel.as_vec();
    let count = match &raw.data {
        RawImageData::Integer(samples) => samples.len(),
        RawImageData::Float(samples) => samples.len(),
    };
    let is_sound = lies_in(area)
        && count == width * height * planes
        && columns * rows > 0
        && levels.len() == columns * rows * planes
        && white.len() >= planes
        && levels.iter().all(|black| white.iter().all(|white| white - black > 1e-6));
    if !is_sound {
        return Err(damaged("its sizes or its black and white levels contradict each other"));
    }
    let [red, green, blue, _] = raw.wb_coeffs;
    let pattern = match &raw.photometric {
        RawPhotometricInterpretation::Cfa(filter) => {
            let colour = |x: usize, y: usize| filter.cfa.color_at(area.1 + y, area.0 + x);
            let pattern = [colour(0, 0), colour(1, 0), colour(0, 1), colour(1, 1)];
            let is_bayer = (filter.cfa.width, filter.cfa.height) == (2, 2)
                && matches!(pattern, [0, 1, 1, 2] | [2, 1, 1, 0] | [1, 0, 2, 1] | [1, 2, 0, 1]);
            if !is_bayer || planes != 1 {
                return Err(Defect::new("a DNG with a mosaic that is no Bayer pattern", OTHERWISE));
            }
            Some(pattern)
        }
        _ if planes == 3 => None,
        _ => return Err(Defect::new("a DNG without colours", OTHERWISE)),
    };
    let sensor = Sensor {
        samples: match raw.data {
            RawImageData::Integer(samples) => Samples::Whole(samples),
            RawImageData::Float(samples) => Samples::Float(samples),
        },
        stride: width,
        planes,
        area,
        black: Black { levels, columns, rows, origin: (active.0, active.1) },
        white,
        gains: gains([red, green, blue]),
    };
    Ok(match pattern {
        Some(pattern) => sensor.cells(pattern),
        None => sensor.full_colour(),
    })
}

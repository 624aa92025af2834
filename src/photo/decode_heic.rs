//! HEIC bytes to pixels as the sensor has them, with the turn that the container asks for.
//!
//! **Takes** the file's bytes. **Gives** 8- or 16-bit RGB samples as coded, a grid's tiles put together, and the container's
//! turn (`irot`, `imir`) as the EXIF orientation of the same meaning: pixels lie as those of a JPEG from the same camera,
//! and a lens file fits both. **How**: sizes are read from what the decoder will allocate by (grid, parameter sets), and
//! judged first. EXIF's own orientation does not count: by ISO/IEC 23008-12 only the container turns a picture.
//! **Weak when** damage inside the coded data decodes to something: HEIC has no checksum.
//! **Fails when** the file is cut, damaged, a film, of a coding that the decoder does not know, in an HDR light scale
//! (PQ or HLG), with tiles that leave part of the picture empty, or a limit is exceeded.

use super::decode::{DecodeOptions, Defect, Picture, check_memory, check_size, guarded};
use super::heic_boxes::check_container;
use super::image::Pixels;
use super::jpeg_walk::{damaged, incomplete};
use heic_decoder::bitreader::strip_emulation_prevention;
use heic_decoder::hevc::nal::{NAL_SPS, parse_nal_header};
use heic_decoder::hevc::params::{Sps, parse_sps};
use heic_decoder::isobmff::{ParsedHeif, ResolvedImage, Transform, parse};
use heic_decoder::{ColorInfo, DecodedImage, HeifError, RgbOptions, decode_with};

/// Bytes of a sample while it is decoded: the decoder holds it as 32 bits, with a mark and a share of its bookkeeping.
const CODING_BYTES: usize = 6;
/// Bytes of a sample of a decoded picture: a tile that waits for the others, or the picture put together.
const HELD_BYTES: usize = 4;
/// Transfer characteristics of HDR: PQ and HLG (ITU-T H.273, table 3).
const HDR_TRANSFERS: [u16; 2] = [16, 18];
/// Matrix "unspecified" (ITU-T H.273, table 4).
const MATRIX_UNSPECIFIED: u16 = 2;
/// What a file means that does not say its colours: sRGB, BT.601 matrix, full range, as cameras and the decoder of
/// libheif take it (common practice; the outside check holds it).
const USUAL_COLOR: ColorInfo =
    ColorInfo { color_primaries: 1, transfer_characteristics: 13, matrix_coefficients: 6, full_range: true };

const CONVERT: &str = "set the camera to JPEG (often called \"most compatible\"), or convert the photo to JPEG";

/// Decodes the main picture of a HEIC file.
pub(super) fn decode_heic(bytes: &[u8], options: &DecodeOptions) -> Result<Picture, Defect> {
    check_container(bytes, options)?;
    // The decoder promises not to panic; a file of unknown origin is no place to find out.
    guarded(|| decode_guarded(bytes, options)).unwrap_or_else(|| Err(damaged("its data leads the decoder astray")))
}

fn decode_guarded(bytes: &[u8], options: &DecodeOptions) -> Result<Picture, Defect> {
    let found = |error: &HeifError| defect(error, bytes.len());
    let file = parse(bytes).map_err(|error| found(&error))?;
    let first = check_pictures(&file, options, &found)?;
    let color = file.metadata.color_info.or(first.color_info).unwrap_or(USUAL_COLOR);
    if HDR_TRANSFERS.contains(&color.transfer_characteristics) {
        let hint = "switch HDR off in the camera, or set it to JPEG: then the picture's light scale is the usual one";
        return Err(Defect::new("HEIC in an HDR light scale (PQ or HLG), need an ordinary photo", hint));
    }
    // A crop is the decoder's to do, and then the turn too.
    let orientation = orientation_of(&file.transforms);
    let exif = file.metadata.exif.clone();
    drop(file);
    let decoding = heic_decoder::DecodeOptions { apply_transforms: orientation.is_none() };
    let image = decode_with(bytes, &decoding).map_err(|error| found(&error))?;
    let pixels = rgb(&image, color).map_err(|error| found(&error))?;
    Ok(Picture {
        width: image.width,
        height: image.height,
        pixels,
        exif,
        container_orientation: Some(orientation.unwrap_or(1)),
    })
}

fn rgb(image: &DecodedImage, color: ColorInfo) -> Result<Pixels, HeifError> {
    const BITS: u32 = 8;
    let is_unspecified = color.matrix_coefficients == MATRIX_UNSPECIFIED;
    let matrix_coefficients = if is_unspecified { USUAL_COLOR.matrix_coefficients } else { color.matrix_coefficients };
    let options = RgbOptions { color: Some(ColorInfo { matrix_coefficients, ..color }), ..RgbOptions::default() };
    if image.bit_depth_luma > BITS {
        Ok(Pixels::Rgb16(image.to_rgb16_with_options(&options)?.data))
    } else {
        Ok(Pixels::Rgb8(image.to_rgb8_with_options(&options)?.data))
    }
}

/// Judges every picture that will be decoded; returns the parameter set of the first tile or the only picture.
fn check_pictures(
    file: &ParsedHeif,
    options: &DecodeOptions,
    found: &impl Fn(&HeifError) -> Defect,
) -> Result<Sps, Defect> {
    let sets = |file: &ParsedHeif| -> Result<Vec<Sps>, Defect> {
        file.images.iter().chain(&file.reference_image).map(|image| parameters(image).map_err(|e| found(&e))).collect()
    };
    let all = sets(file)?;
    let first = all.first().cloned().ok_or_else(|| damaged("it holds no picture"))?;
    let (tile_width, tile_height) = shown_size(&first)?;
    let (width, height) = match file.grid {
        None => (tile_width, tile_height),
        Some(grid) => {
            let (width, height) = (grid.output_width as usize, grid.output_height as usize);
            let is_full = grid.columns as usize * tile_width >= width && grid.rows as usize * tile_height >= height;
            for other in &all {
                if !is_full || shown_size(other)? != (tile_width, tile_height) {
                    return Err(damaged("its tiles do not fill the picture"));
                }
            }
            (width, height)
        }
    };
    let pixels = check_size(width, height, "HEIC", options.max_pixels, options)?;
    let coded = coded_samples(&all);
    let output = pixels * if first.bit_depth_luma > 8 { 6 } else { 3 };
    let coding = coded.saturating_mul(CODING_BYTES);
    let asked = if file.grid.is_some() {
        // All tiles may be in work at once; then they are put together; then they are dropped, and RGB is made.
        let canvas = samples(pixels, &first) * HELD_BYTES;
        coding.max(coded.saturating_mul(HELD_BYTES).saturating_add(canvas)).max(canvas + output)
    } else {
        coding.saturating_add(output)
    };
    let alpha = file.alpha.as_ref().map(|alpha| sets(&alpha.image)).transpose()?.unwrap_or_default();
    let alpha = coded_samples(&alpha).saturating_mul(CODING_BYTES + HELD_BYTES);
    check_memory(asked.checked_add(alpha), options)?;
    Ok(first)
}

/// Samples of all these pictures, as coded.
fn coded_samples(sets: &[Sps]) -> usize {
    sets.iter()
        .map(|set| samples(set.pic_width_in_luma_samples as usize * set.pic_height_in_luma_samples as usize, set))
        .fold(0, usize::saturating_add)
}

/// Samples of a picture: brightness, and colour as its sampling says.
fn samples(pixels: usize, set: &Sps) -> usize {
    match set.chroma_format_idc {
        0 => pixels,
        1 => pixels + pixels / 2,
        2 => pixels * 2,
        _ => pixels * 3,
    }
}

/// Width and height that a coded picture shows.
fn shown_size(set: &Sps) -> Result<(usize, usize), Defect> {
    let [left, right, top, bottom] = set.conformance_window.map(|margin| margin as usize);
    let width = (set.pic_width_in_luma_samples as usize).checked_sub(left.saturating_add(right));
    let height = (set.pic_height_in_luma_samples as usize).checked_sub(top.saturating_add(bottom));
    width.zip(height).ok_or_else(|| damaged("a picture in it is cropped to nothing"))
}

/// The sequence parameter set that a picture is decoded with.
fn parameters(image: &ResolvedImage) -> Result<Sps, HeifError> {
    for unit in image.hevc_config.nalus_of_type(NAL_SPS) {
        let (header, payload) = parse_nal_header(unit)?;
        if header.nal_unit_type == NAL_SPS && header.nuh_layer_id == 0 {
            return parse_sps(&strip_emulation_prevention(payload));
        }
    }
    Err(HeifError::MalformedHevc("no sequence parameter set"))
}

/// The EXIF orientation that shows what the container's turns show, in their order; `None` with a crop among them.
fn orientation_of(transforms: &[Transform]) -> Option<u8> {
    // Any of them is: mirrored left to right or not, then turned clockwise by quarters (EXIF 2.32, tag 0x0112).
    const PLAIN: [u8; 4] = [1, 6, 3, 8];
    const MIRRORED: [u8; 4] = [2, 7, 4, 5];
    let mut is_mirrored = false;
    let mut quarters = 0_usize;
    for transform in transforms {
        match transform {
            Transform::Rotate90Ccw(turns) => quarters = (quarters + 4 - usize::from(turns % 4)) % 4,
            // Mirrored after a turn is turned the other way after a mirror.
            Transform::MirrorHorizontal => (is_mirrored, quarters) = (!is_mirrored, (4 - quarters) % 4),
            Transform::MirrorVertical => (is_mirrored, quarters) = (!is_mirrored, (6 - quarters) % 4),
            Transform::CleanAperture(_) => return None,
        }
    }
    Some(if is_mirrored { MIRRORED[quarters] } else { PLAIN[quarters] })
}

fn defect(error: &HeifError, bytes: usize) -> Defect {
    match error {
        HeifError::Truncated { at, needed } if at.saturating_add(*needed) > bytes => incomplete(bytes),
        HeifError::Unsupported(what) => {
            Defect::new(format!("HEIC of a kind that cannot be read ({what}), need an ordinary photo"), CONVERT)
        }
        HeifError::LimitExceeded(what) => Defect::new(format!("HEIC too large to read ({what})"), CONVERT),
        other => damaged(&format!("its data cannot be decoded ({other}); part of it may be missing")),
    }
}

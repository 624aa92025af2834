//! Reads the code inside a quad, whatever the light does across it.
//!
//! **Takes** four corners in the photo and the codes to look for. **Gives** which code it is, which way it is turned,
//! and the light of all modules. **How**: a shadow's edge or the lamp's cutoff may change the light thirtyfold across a
//! tag, but much less between two modules that touch. So a code is tested by all pairs of touching modules of which it
//! says that one is white and one black: the white one must be the brighter. Border and white surroundings are tested
//! first, for all codes at once. Blur acts in linear light, so levels are compared there. In a noisy picture single pairs
//! fail; there the correlation with the whole code may decide instead, at a limit that chance does not reach.

use super::options::FindOptions;
use super::patch::light_at;
use super::projective::Projective;
use super::quad::Quad;
use super::tag_family::{CODE_SIDE, SQUARE_SIDE, is_white, turned};
use crate::photo::LinearImage;
use crate::photo::linear::linear_to_srgb;
use std::ops::Range;

/// Modules along one side of what is sampled: the black square and one module of white around it.
pub(super) const FIELD_SIDE: usize = SQUARE_SIDE + 2;
/// Places sampled along each side of a module, and how far the outermost are from its middle, modules. A thorough reading
/// takes about every pixel of the middle part, which evens out noise.
const QUICK_SPOTS: usize = 3;
const MAX_SPOTS: usize = 9;

/// Light of the modules of the field, rows from the top.
pub(super) type Levels = [[f64; FIELD_SIDE]; FIELD_SIDE];

/// A code that was read.
#[derive(Debug, Clone)]
pub(super) struct CodeReading {
    /// Place in the list of codes that were asked for.
    pub(super) place: usize,
    /// Corners, as the code stands upright: upper left, upper right, lower right, lower left.
    pub(super) corners: Quad,
    /// Light of the modules, as the code stands upright.
    pub(super) levels: Levels,
}

/// How carefully a quad is read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Care {
    /// A few places per module, decided pair by pair.
    Quick,
    /// All pixels of a module, and the correlation with the code may decide: for noisy pictures.
    Thorough,
    /// The same, where the other marks tell place and size.
    Known,
}

/// Reads a quad against code words; `None` when none of them is there.
pub(super) fn read(
    image: &LinearImage,
    quad: &Quad,
    codes: &[u64],
    care: Care,
    options: &FindOptions,
) -> Option<CodeReading> {
    let levels = sample_field(image, quad, care, options)?;
    let is_edged = edge_share(&levels, options) >= options.decode.least_edge_share;
    if care == Care::Quick && !is_edged {
        return None;
    }
    let mut best: Option<(f64, usize, usize)> = None;
    for (place, &code) in codes.iter().enumerate() {
        for turns in 0..4 {
            let turned = turned(code, turns);
            let pairs = if is_edged { inner_share(&levels, turned, options) } else { 0.0 };
            let by_pairs = (pairs >= options.decode.least_inner_share).then_some(pairs);
            let score = by_pairs.or_else(|| correlated(&levels, turned, care, options));
            if let Some(score) = score.filter(|&score| best.is_none_or(|best| score > best.0)) {
                best = Some((score, place, turns));
            }
        }
    }
    let (_, place, turns) = best?;
    let corners = [0, 1, 2, 3].map(|k: usize| quad[(k + turns) % 4]);
    let levels = (0..turns).fold(levels, |levels, _| turned_back(&levels));
    Some(CodeReading { place, corners, levels })
}

/// Why nothing was read in a quad, with its numbers.
pub(super) fn why_not_read(
    image: &LinearImage,
    quad: &Quad,
    codes: &[u64],
    care: Care,
    options: &FindOptions,
) -> String {
    let Some(levels) = sample_field(image, quad, care, options) else {
        return "it reaches beyond the photo".to_owned();
    };
    let edge = edge_share(&levels, options);
    if edge < options.decode.least_edge_share {
        return format!(
            "{edge:.2} of its rim is white outside and black inside, need {}",
            options.decode.least_edge_share
        );
    }
    let turns = codes.iter().flat_map(|&code| (0..4).map(move |turns| turned(code, turns)));
    let best = turns.map(|code| inner_share(&levels, code, options)).fold(0.0, f64::max);
    format!(
        "none of the missing codes: {best:.2} of the pairs hold for the best, need {}",
        options.decode.least_inner_share
    )
}

/// The map from the black square, 0..8 along each side, to the photo.
pub(super) fn square_to_photo(quad: &Quad) -> Option<Projective> {
    let side = SQUARE_SIDE as f64;
    let places = [(0.0, 0.0), (side, 0.0), (side, side), (0.0, side)];
    let pairs: Vec<_> = places.into_iter().zip(quad.iter().copied()).collect();
    Projective::fit(&pairs)
}

/// The correlation with a code, if it is high enough.
fn correlated(levels: &Levels, code: u64, care: Care, options: &FindOptions) -> Option<f64> {
    if care == Care::Quick {
        return None;
    }
    let inner = correlation(levels, code, 2..2 + CODE_SIDE);
    let least = if care == Care::Known {
        options.decode.least_known_correlation
    } else {
        options.decode.least_code_correlation
    };
    (inner >= least && correlation(levels, code, 0..FIELD_SIDE) >= options.decode.least_field_correlation)
        .then_some(inner)
}

/// Correlation of encoded levels with a code over the modules whose row and column are in `span`, both freed of their
/// plane: light that changes slowly across the tag does not count.
fn correlation(levels: &Levels, code: u64, span: Range<usize>) -> f64 {
    let side = span.len();
    let middle = 0.5 * (side as f64 - 1.0);
    let cells = || span.clone().flat_map(|row| span.clone().map(move |column| (row, column)));
    let places =
        cells().map(|(row, column)| ((column - span.start) as f64 - middle, (row - span.start) as f64 - middle));
    let places: Vec<(f64, f64)> = places.collect();
    let seen = cells().map(|(row, column)| f64::from(linear_to_srgb(levels[row][column] as f32)));
    let drawn = cells().map(|(row, column)| f64::from(u8::from(is_field_white(code, row, column))));
    let (seen, drawn) = (without_plane(seen.collect(), &places), without_plane(drawn.collect(), &places));
    let dot = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(a, b)| a * b).sum::<f64>();
    dot(&seen, &drawn) / (dot(&seen, &seen) * dot(&drawn, &drawn)).sqrt().max(f64::MIN_POSITIVE)
}

/// Values less their least-squares plane over a square of places that are centred on 0.
fn without_plane(mut values: Vec<f64>, places: &[(f64, f64)]) -> Vec<f64> {
    let square = places.iter().map(|place| place.0 * place.0).sum::<f64>().max(f64::MIN_POSITIVE);
    let mean = values.iter().sum::<f64>() / values.len().max(1) as f64;
    let slope_x = values.iter().zip(places).map(|(value, place)| value * place.0).sum::<f64>() / square;
    let slope_y = values.iter().zip(places).map(|(value, place)| value * place.1).sum::<f64>() / square;
    for (value, place) in values.iter_mut().zip(places) {
        *value -= mean + slope_x * place.0 + slope_y * place.1;
    }
    values
}

/// Places across a module and the reach of the outermost.
fn spots(quad: &Quad, care: Care, options: &FindOptions) -> (usize, f64) {
    if care == Care::Quick {
        return (QUICK_SPOTS, options.decode.spot_reach);
    }
    let around: f64 = (0..4).map(|k| quad[k].distance(quad[(k + 1) % 4])).sum();
    let module = around / (4 * SQUARE_SIDE) as f64;
    (
        (2.0 * options.decode.thorough_reach * module).round().clamp(QUICK_SPOTS as f64, MAX_SPOTS as f64) as usize,
        options.decode.thorough_reach,
    )
}

fn sample_field(image: &LinearImage, quad: &Quad, care: Care, options: &FindOptions) -> Option<Levels> {
    let map = square_to_photo(quad)?;
    let (count, reach) = spots(quad, care, options);
    let offset = |k: usize| reach * (2.0 * k as f64 / (count - 1) as f64 - 1.0);
    let mut levels = [[0.0; FIELD_SIDE]; FIELD_SIDE];
    for (row, line) in levels.iter_mut().enumerate() {
        for (column, level) in line.iter_mut().enumerate() {
            let mut sum = 0.0;
            for dv in (0..count).map(offset) {
                for du in (0..count).map(offset) {
                    let spot = map.apply((column as f64 - 0.5 + du, row as f64 - 0.5 + dv))?;
                    sum += light_at(image, spot)?;
                }
            }
            *level = sum / (count * count) as f64;
        }
    }
    Some(levels)
}

fn is_brighter(white: f64, black: f64, options: &FindOptions) -> bool {
    white > options.decode.brighter * black
}

/// Share of the pairs across the edge of the black square in which the outer module is the brighter.
fn edge_share(levels: &Levels, options: &FindOptions) -> f64 {
    let last = FIELD_SIDE - 1;
    let held = (1..last)
        .flat_map(|k| [((0, k), (1, k)), ((last, k), (last - 1, k)), ((k, 0), (k, 1)), ((k, last), (k, last - 1))])
        .filter(|&(white, black)| is_brighter(levels[white.0][white.1], levels[black.0][black.1], options))
        .count();
    held as f64 / (4 * SQUARE_SIDE) as f64
}

/// Share of the pairs inside the black square that hold for a code word.
fn inner_share(levels: &Levels, code: u64, options: &FindOptions) -> f64 {
    let (mut held, mut count) = (0usize, 0usize);
    let mut test = |a: (usize, usize), b: (usize, usize)| {
        let (white_a, white_b) = (is_field_white(code, a.0, a.1), is_field_white(code, b.0, b.1));
        if white_a != white_b {
            let (white, black) = if white_a { (a, b) } else { (b, a) };
            held += usize::from(is_brighter(levels[white.0][white.1], levels[black.0][black.1], options));
            count += 1;
        }
    };
    for row in 1..=SQUARE_SIDE {
        for column in 1..=SQUARE_SIDE {
            if column < SQUARE_SIDE {
                test((row, column), (row, column + 1));
            }
            if row < SQUARE_SIDE {
                test((row, column), (row + 1, column));
            }
        }
    }
    held as f64 / count.max(1) as f64
}

/// Whether a module of the field (0 is the white surroundings, 1 the border, 2 to 7 the code) is white.
pub(super) fn is_field_white(code: u64, row: usize, column: usize) -> bool {
    let is_outside = |k: usize| k == 0 || k > SQUARE_SIDE;
    let is_code = |k: usize| (2..2 + CODE_SIDE).contains(&k);
    is_outside(row) || is_outside(column) || (is_code(row) && is_code(column) && is_white(code, row - 2, column - 2))
}

/// The field turned by a quarter turn counterclockwise.
fn turned_back(levels: &Levels) -> Levels {
    let mut out = *levels;
    for (row, line) in out.iter_mut().enumerate() {
        for (column, level) in line.iter_mut().enumerate() {
            *level = levels[column][FIELD_SIDE - 1 - row];
        }
    }
    out
}

//! Reads the code inside a quad, whatever the light does across it.
//!
//! **Takes** four corners in the photo and the codes to look for. **Gives** which code it is, which way it is turned,
//! and the light of all modules. **How**: a shadow's edge or the lamp's cutoff may change the light thirtyfold across a
//! tag, but much less between two modules that touch. So a code is tested by all pairs of touching modules of which it
//! says that one is white and one black: the white one must be the brighter. Border and white surroundings are tested
//! first, for all codes at once. Blur acts in linear light, so levels are compared there.

use super::patch::light_at;
use super::projective::Projective;
use super::quad::Quad;
use super::tag_family::{CODE_SIDE, SQUARE_SIDE, is_white, turned};
use crate::photo::LinearImage;

/// Modules along one side of what is sampled: the black square and one module of white around it.
pub(super) const FIELD_SIDE: usize = SQUARE_SIDE + 2;
/// A white module must be brighter than the black one beside it by this factor; blur leaves at least 1.5 at 3 px a
/// module.
const BRIGHTER: f64 = 1.15;
/// Share of the pairs across the square's edge that must hold: part of the white surroundings may be covered.
const MIN_EDGE_SHARE: f64 = 0.75;
/// Share of the pairs inside that must hold. Two codes differ in at least 11 of 36 modules, which spoils about half of
/// the pairs of a wrong code.
const MIN_INNER_SHARE: f64 = 0.85;
/// Places sampled along each side of a module, and their distance from its middle in modules.
const SPOTS: [f64; 3] = [-0.22, 0.0, 0.22];

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

/// Reads a quad against code words; `None` when none of them is there.
pub(super) fn read(image: &LinearImage, quad: &Quad, codes: &[u64]) -> Option<CodeReading> {
    let levels = sample_field(image, quad)?;
    if edge_share(&levels) < MIN_EDGE_SHARE {
        return None;
    }
    let mut best: Option<(f64, usize, usize)> = None;
    for (place, &code) in codes.iter().enumerate() {
        for turns in 0..4 {
            let score = inner_share(&levels, turned(code, turns));
            if score >= MIN_INNER_SHARE && best.is_none_or(|best| score > best.0) {
                best = Some((score, place, turns));
            }
        }
    }
    let (_, place, turns) = best?;
    let corners = [0, 1, 2, 3].map(|k: usize| quad[(k + turns) % 4]);
    let levels = (0..turns).fold(levels, |levels, _| turned_back(&levels));
    Some(CodeReading { place, corners, levels })
}

/// The map from the black square, 0..8 along each side, to the photo.
pub(super) fn square_to_photo(quad: &Quad) -> Option<Projective> {
    let side = SQUARE_SIDE as f64;
    let places = [(0.0, 0.0), (side, 0.0), (side, side), (0.0, side)];
    let pairs: Vec<_> = places.into_iter().zip(quad.iter().copied()).collect();
    Projective::fit(&pairs)
}

fn sample_field(image: &LinearImage, quad: &Quad) -> Option<Levels> {
    let map = square_to_photo(quad)?;
    let mut levels = [[0.0; FIELD_SIDE]; FIELD_SIDE];
    for (row, line) in levels.iter_mut().enumerate() {
        for (column, level) in line.iter_mut().enumerate() {
            let mut sum = 0.0;
            for dv in SPOTS {
                for du in SPOTS {
                    let spot = map.apply((column as f64 - 0.5 + du, row as f64 - 0.5 + dv))?;
                    sum += light_at(image, spot)?;
                }
            }
            *level = sum / (SPOTS.len() * SPOTS.len()) as f64;
        }
    }
    Some(levels)
}

fn is_brighter(white: f64, black: f64) -> bool {
    white > BRIGHTER * black
}

/// Share of the pairs across the edge of the black square in which the outer module is the brighter.
fn edge_share(levels: &Levels) -> f64 {
    let last = FIELD_SIDE - 1;
    let held = (1..last)
        .flat_map(|k| [((0, k), (1, k)), ((last, k), (last - 1, k)), ((k, 0), (k, 1)), ((k, last), (k, last - 1))])
        .filter(|&(white, black)| is_brighter(levels[white.0][white.1], levels[black.0][black.1]))
        .count();
    held as f64 / (4 * SQUARE_SIDE) as f64
}

/// Share of the pairs inside the black square that hold for a code word.
fn inner_share(levels: &Levels, code: u64) -> f64 {
    let (mut held, mut count) = (0usize, 0usize);
    let mut test = |a: (usize, usize), b: (usize, usize)| {
        let (white_a, white_b) = (is_field_white(code, a.0, a.1), is_field_white(code, b.0, b.1));
        if white_a != white_b {
            let (white, black) = if white_a { (a, b) } else { (b, a) };
            held += usize::from(is_brighter(levels[white.0][white.1], levels[black.0][black.1]));
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

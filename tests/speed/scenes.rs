//! How long a scene takes to render, at 2 and at 12 million pixels.
//!
//! `cargo bench --bench scenes` prints the table: all threads that the machine has, wall time, the middle of five runs. Families
//! stand for what costs: a plain wall, a textured one, a smeared edge near the wall, facets.

#![expect(clippy::unwrap_used, reason = "a family that does not render must stop the run")]
#![expect(clippy::print_stdout, reason = "the table is what this is for")]

use lampwright::scene::{render, sample};
use std::hint::black_box;
use std::time::Instant;

/// Runs per figure; the middle one is printed.
const RUNS: usize = 5;

/// What is rendered.
const FAMILIES: [&str; 5] = ["clean", "typical", "brick", "near-wall", "reflector"];

/// Longer and shorter side, pixels.
const SIZES: [(u32, u32); 2] = [(1632, 1224), (4000, 3000)];

fn seconds(family: &str, size: (u32, u32)) -> f64 {
    let spec = sample(family, 3, Some(size)).unwrap();
    let mut times: Vec<f64> = (0..RUNS)
        .map(|_| {
            let start = Instant::now();
            black_box(render(&spec).unwrap());
            start.elapsed().as_secs_f64()
        })
        .collect();
    times.sort_by(f64::total_cmp);
    times[RUNS / 2]
}

fn main() {
    println!("{:<12} {:>9} {:>9}   (s, {} threads)", "family", "2 Mpx", "12 Mpx", rayon::current_num_threads());
    for family in FAMILIES {
        let [small, large] = SIZES.map(|size| seconds(family, size));
        println!("{family:<12} {small:>9.2} {large:>9.2}");
    }
}

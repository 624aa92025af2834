//! How `batch` grows with threads, and that its memory does not grow with the number of rows.
//!
//! `cargo bench --bench batch` measures 24 photos of 12 million pixels with one thread and with two, three times by turns, and
//! prints photos a second, the middle of three, beside what the processor time of a photo says of idle cores: on a busy machine the
//! clock tells of other programs. `cargo bench --bench batch -- endurance` then measures 1,000 and 10,000 photos of
//! one million pixels and prints the most memory that the process held after each (Linux: `VmHWM` of /proc/self/status).

#![expect(clippy::unwrap_used, clippy::panic, reason = "a broken fixture must stop the run")]
#![expect(clippy::print_stdout, reason = "the table is what this is for")]

use clap::Parser;
use image::imageops::FilterType;
use lampwright::cli::{Cli, Command, batch};
use std::fs;
use std::path::Path;
use std::time::Instant;

/// Rows of one timed batch.
const ROWS: usize = 24;
/// Times that each is run; the middle is printed.
const TURNS: usize = 3;

/// Ticks of /proc/self/stat in a second (from memory: 100 on every common Linux).
const TICKS: f64 = 100.0;

/// Processor time of all threads so far, seconds; 0 where the system does not say.
fn processor_s() -> f64 {
    let stat = fs::read_to_string("/proc/self/stat").unwrap_or_default();
    // Behind the program's name, which may hold spaces: user and system time are fields 14 and 15 of proc(5).
    let fields = stat.rsplit(')').next().unwrap_or_default().split_whitespace();
    fields.skip(11).take(2).filter_map(|field| field.parse::<f64>().ok()).sum::<f64>() / TICKS
}

/// Seconds that a batch of `rows` rows takes, by the clock and of the processor.
fn seconds(folder: &Path, photo: &str, rows: usize, threads: usize) -> [f64; 2] {
    let table = format!("{photo},bay.toml,right,699,571\n").repeat(rows);
    let [jobs, out] = ["jobs.csv", "out.jsonl"].map(|name| folder.join(name).display().to_string());
    fs::write(&jobs, format!("file,bay,lamp,height_mm,offset_mm\n{table}")).unwrap();
    let threads = threads.to_string();
    let words = ["lampwright", "batch", &jobs, "--out", &out, "--threads", &threads];
    let Command::Batch(args) = Cli::parse_from(words).command else { panic!("not the batch command") };
    let (start, worked) = (Instant::now(), processor_s());
    batch::run(&args, &mut std::io::stdout()).unwrap();
    let took = [start.elapsed().as_secs_f64(), processor_s() - worked];
    let lines = fs::read_to_string(&out).unwrap();
    assert_eq!(lines.matches("\"status\":\"measured\"").count(), rows, "every photo is measured");
    fs::remove_file(&out).unwrap();
    took
}

/// The middle of the times, by the clock and of the processor.
fn middle(runs: &[[f64; 2]]) -> [f64; 2] {
    [0, 1].map(|which| {
        let mut times: Vec<f64> = runs.iter().map(|run| run[which]).collect();
        times.sort_by(f64::total_cmp);
        times[times.len() / 2]
    })
}

/// Most memory that the process held so far, MiB; `None` where the system does not say.
fn peak_mib() -> Option<f64> {
    let status = fs::read_to_string("/proc/self/status").ok()?;
    let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:"))?;
    Some(line.trim().strip_suffix("kB")?.trim().parse::<f64>().ok()? / 1024.0)
}

fn main() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures");
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    fs::copy(root.join("bays/shot-clean.toml"), at.join("bay.toml")).unwrap();
    if std::env::args().any(|word| word == "endurance") {
        let photo = image::open(root.join("shots/shot-clean.jpg")).unwrap().into_rgb8();
        image::imageops::resize(&photo, 1200, 900, FilterType::Triangle).save(at.join("small.jpg")).unwrap();
        for rows in [1_000, 10_000] {
            let [took, _] = seconds(at, "small.jpg", rows, 2);
            let peak = peak_mib().map_or_else(|| "not known".to_owned(), |mib| format!("{mib:.1} MiB"));
            println!(
                "{rows:>6} rows, 1.1 megapixels, 2 threads: {:.1} photos/s, peak memory {peak}",
                rows as f64 / took
            );
        }
        return;
    }
    fs::copy(root.join("shots/shot-clean.jpg"), at.join("large.jpg")).unwrap();
    let (mut one, mut two) = (Vec::new(), Vec::new());
    for _ in 0..TURNS {
        one.push(seconds(at, "large.jpg", ROWS, 1));
        two.push(seconds(at, "large.jpg", ROWS, 2));
    }
    let ([one, one_worked], [two, two_worked]) = (middle(&one), middle(&two));
    let rate = |took: f64| ROWS as f64 / took;
    println!(
        "12 megapixels: {:.2} photos/s with one thread, {:.2} with two, {:.2} times",
        rate(one),
        rate(two),
        one / two
    );
    println!(
        "processor time of a photo {:.0} ms and {:.0} ms: {:.2} times on idle cores",
        1000.0 * one_worked / ROWS as f64,
        1000.0 * two_worked / ROWS as f64,
        2.0 * one_worked / two_worked
    );
}

//! How long each stage takes on a photo of 12 million pixels, beside the time that decoding it alone takes.
//!
//! `cargo bench --bench stages` prints the table; one thread, median of seven runs; then the most memory that the process
//! held (Linux: `VmHWM` of /proc/self/status). Decoding "alone" is another decoder's work, JPEG to RGB: a yardstick that makes
//! figures of different machines comparable.

#![expect(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a broken fixture must stop the run")]
#![expect(clippy::print_stdout, reason = "the table is what this is for")]

use clap::Parser;
use lampwright::cli::{Cli, Command, Plan};
use lampwright::measurement::{NamedBytes, Observer, Request, StageView, measure};
use std::fs;
use std::hint::black_box;
use std::path::Path;
use std::time::{Duration, Instant};

/// Runs per figure; the median is printed.
const RUNS: usize = 7;

/// Notes the time of every stage's end.
struct Clock {
    last: Instant,
    stages: Vec<(&'static str, Duration)>,
}

impl Observer for Clock {
    fn stage(&mut self, name: &'static str, _: StageView<'_>) {
        let now = Instant::now();
        self.stages.push((name, now - self.last));
        self.last = now;
    }
}

fn median(mut times: Vec<Duration>) -> Duration {
    times.sort();
    times[times.len() / 2]
}

fn milliseconds(time: Duration) -> f64 {
    1000.0 * time.as_secs_f64()
}

fn plan(root: &Path) -> Plan {
    let at = format!("{}/fixtures/", root.display());
    let line = "lampwright measure @shots/shot-clean.jpg --bay @bays/shot-clean.toml --lamp right --height-mm 699 --offset-mm 571";
    let words = line.split(' ').map(|word| word.replace('@', &at));
    let Command::Measure(args) = Cli::parse_from(words).command else { panic!("not the measure command") };
    Plan::new(&args, Vec::new()).expect("the fixture's plan")
}

fn run(plan: &Plan, bytes: &[u8]) -> Vec<(&'static str, Duration)> {
    let request = Request {
        bracket: &[],
        options: &plan.options,
        photo: NamedBytes { name: "shot-clean.jpg", bytes },
        marks_photo: None,
        ambient_photo: None,
        bay: &plan.bay,
        setup: &plan.setup,
        pattern: plan.lamp.pattern,
        traffic: plan.lamp.traffic,
        rule: &plan.rule,
        screws: None,
        response: None,
        lens: None,
        marks_by_hand: &[],
    };
    let mut clock = Clock { last: Instant::now(), stages: Vec::new() };
    let measured = measure(&request, &mut clock).expect("the fixture decodes");
    assert!(measured.outcome.is_ok(), "the fixture is measured");
    clock.stages
}

/// Most memory that the process held so far, MiB; `None` where the system does not say.
fn peak_mib() -> Option<f64> {
    let status = fs::read_to_string("/proc/self/status").ok()?;
    let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:"))?;
    Some(line.trim().strip_suffix("kB")?.trim().parse::<f64>().ok()? / 1024.0)
}

fn main() {
    rayon::ThreadPoolBuilder::new().num_threads(1).build_global().expect("one thread");
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let plan = plan(root);
    let bytes = fs::read(root.join("fixtures/shots/shot-clean.jpg")).unwrap();
    let runs: Vec<Vec<(&'static str, Duration)>> = (0..RUNS).map(|_| run(&plan, &bytes)).collect();
    let peak = peak_mib();
    let alone = median((0..RUNS).map(|_| decode_alone(&bytes)).collect());
    println!("{:<18}{:>9}{:>22}", "stage", "ms", "of decoding alone");
    let row = |name: &str, time: Duration| {
        println!("{name:<18}{:>9.1}{:>22.2}", milliseconds(time), time.as_secs_f64() / alone.as_secs_f64());
    };
    row("(decoding alone)", alone);
    for (k, (name, _)) in runs[0].iter().enumerate() {
        row(name, median(runs.iter().map(|stages| stages[k].1).collect()));
    }
    row("all", median(runs.iter().map(|stages| stages.iter().map(|(_, time)| *time).sum()).collect()));
    println!("one thread, median of {RUNS}, 4000 x 3000 pixels");
    match peak {
        Some(mib) => println!("peak memory {mib:.0} MiB"),
        None => println!("peak memory: not known on this system"),
    }
}

fn decode_alone(bytes: &[u8]) -> Duration {
    let start = Instant::now();
    black_box(image::load_from_memory(black_box(bytes)).unwrap().into_rgb8());
    start.elapsed()
}

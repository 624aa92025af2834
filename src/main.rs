//! The `lampwright` program: parses, calls the library, prints.

use lampwright::cli::{
    Cli, Command, ExitStatus, aim, batch, bay, drive, fixture, lens, manual, measure, options, prepare, response,
    rules, scenes, score, sheet,
};
#[cfg(feature = "records")]
use lampwright::cli::{record, report};
use lampwright::error::Error;
use std::io::Write;
use std::process::ExitCode;

fn main() -> ExitCode {
    let command_words: Vec<String> = std::env::args().skip(1).collect();
    let result = match Cli::read(std::env::args_os()).unwrap_or_else(|error| error.exit()).command {
        Command::Measure(args) => {
            measure::command(&args, command_words, drive::drive, &mut anstream::stdout(), &mut anstream::stderr())
        }
        Command::Batch(args) => batch::run(&args, &mut std::io::stdout()),
        #[cfg(feature = "records")]
        Command::Record(args) => record::run(&args, &mut anstream::stdout()),
        #[cfg(feature = "records")]
        Command::Report(args) => report::run(&args, &mut anstream::stdout()),
        Command::Prepare(args) => prepare::prepare(&args, &mut anstream::stdout()),
        Command::Vehicle(args) => prepare::vehicle(&args, &mut anstream::stdout()),
        Command::Aim(args) => aim::run(&args, &mut anstream::stdout()),
        #[cfg(feature = "serve")]
        Command::Serve(args) => lampwright::page::serve(&args, &mut anstream::stdout()),
        #[cfg(feature = "serve")]
        Command::PageWorker(args) => {
            lampwright::page::worker(&args, &mut std::io::stdin().lock(), &mut std::io::stdout().lock())
        }
        Command::Scene(args) => scenes::run(&args),
        Command::Options => options::run(&mut anstream::stdout()),
        Command::Rules(args) => rules::run(&args, &mut anstream::stdout()),
        Command::Sheet(args) => sheet::run(&args, &mut anstream::stdout()),
        Command::Bay(args) => {
            bay::run(&args, &mut std::io::stdin().lock(), &mut anstream::stdout(), &mut anstream::stderr())
        }
        Command::Lens(args) => lens::run(&args, &mut anstream::stdout()),
        Command::Response(args) => response::run(&args, &mut anstream::stdout()),
        Command::Fixture(args) => fixture::run(&args, &mut anstream::stdout(), &mut anstream::stderr()),
        Command::Man(args) => manual::man(&args),
        Command::Completions(args) => manual::completions(&args, &mut std::io::stdout()),
        Command::Score(args) => score::run(&args, command_words, &mut anstream::stdout()),
    };
    result.unwrap_or_else(|error| report(&error)).into()
}

fn report(error: &Error) -> ExitStatus {
    // Nothing more can be done when standard error itself is closed.
    let _ = writeln!(anstream::stderr(), "error: {error}");
    ExitStatus::Error
}

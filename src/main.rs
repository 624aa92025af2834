//! The `lampwright` program: parses, calls the library, prints.

use clap::CommandFactory;
use lampwright::cli::Cli;
use std::process::ExitCode;

fn main() -> ExitCode {
    let mut command = Cli::command();
    match command.print_long_help() {
        Ok(()) => ExitCode::SUCCESS,
        Err(_) => ExitCode::FAILURE,
    }
}

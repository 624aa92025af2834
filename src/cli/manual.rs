//! Man pages and shell completions, made from the definition of the command line, for those who pack the program.

use super::Cli;
use super::exit::ExitStatus;
use super::measure::cannot_print;
use crate::error::Error;
use clap::{Args, CommandFactory};
use clap_complete::Shell;
use std::fs;
use std::io::Write;
use std::path::PathBuf;

/// Arguments of `man`.
#[derive(Debug, Args)]
pub struct ManArgs {
    /// Folder for the pages, one a command (`lampwright.1`, `lampwright-measure.1`); made when it is missing
    #[arg(value_name = "DIR")]
    pub folder: PathBuf,
}

/// Arguments of `completions`.
#[derive(Debug, Args)]
pub struct CompletionsArgs {
    /// Shell that reads them
    #[arg(value_enum)]
    pub shell: Shell,
}

/// Writes the man pages.
pub fn man(args: &ManArgs) -> Result<ExitStatus, Error> {
    let made = fs::create_dir_all(&args.folder).and_then(|()| clap_mangen::generate_to(Cli::command(), &args.folder));
    made.map_err(|error| {
        Error::file(
            args.folder.display().to_string(),
            format!("the pages cannot be written: {error}"),
            "name a folder that you may write to",
        )
    })?;
    Ok(ExitStatus::Good)
}

/// Prints a shell's completions.
pub fn completions(args: &CompletionsArgs, stdout: &mut dyn Write) -> Result<ExitStatus, Error> {
    // Into memory first: the generator takes a pipe that is closed for a defect of its own.
    let mut script = Vec::new();
    clap_complete::generate(args.shell, &mut Cli::command(), "lampwright", &mut script);
    stdout.write_all(&script).and_then(|()| stdout.flush()).map_err(|error| cannot_print(&error))?;
    Ok(ExitStatus::Good)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_shown_command_has_a_page_with_its_options() {
        let folder = tempfile::tempdir().unwrap();
        let pages = folder.path().join("man1");
        man(&ManArgs { folder: pages.clone() }).unwrap();
        for command in Cli::command().get_subcommands().filter(|command| !command.is_hide_set()) {
            let page = fs::read_to_string(pages.join(format!("lampwright-{}.1", command.get_name()))).unwrap();
            assert!(page.contains(".TH"), "{}", command.get_name());
        }
        let page = fs::read_to_string(pages.join("lampwright-measure.1")).unwrap();
        assert!(page.contains(r"\-\-height\-mm") && page.contains("Do not look into the beam"), "{page}");
        let file = folder.path().join("file");
        fs::write(&file, "").unwrap();
        assert!(man(&ManArgs { folder: file }).unwrap_err().to_string().contains("cannot be written"));
    }

    #[test]
    fn every_shell_completes_the_options_of_measure() {
        for shell in [Shell::Bash, Shell::Elvish, Shell::Fish, Shell::PowerShell, Shell::Zsh] {
            let mut script = Vec::new();
            completions(&CompletionsArgs { shell }, &mut script).unwrap();
            assert!(String::from_utf8(script).unwrap().contains("height-mm"), "{shell}");
        }
    }
}

//! `lampwright report`: a record on paper, as PDF.

use super::exit::ExitStatus;
use super::measure::cannot_print;
use super::plan;
use super::write::Staged;
use crate::error::Error;
use crate::kit::sheet_page::Paper;
use crate::kit::sheet_pdf::pdf;
use crate::record::Store;
use crate::report::{Pictures, ReportInput, front_pages, table_pages};
use clap::{Args, ValueEnum};
use std::fmt::Write as _;
use std::io::Write;
use std::path::{Path, PathBuf};

/// Arguments of `report`.
#[derive(Debug, Args)]
pub struct ReportArgs {
    /// Record: its number, its id, or the beginning of its id; the newest record of that inspection is reported
    #[arg(value_name = "RECORD")]
    pub record: String,
    /// The store's folder
    #[arg(long, value_name = "DIR")]
    pub store: PathBuf,
    /// File to write
    #[arg(long, value_name = "FILE.pdf")]
    pub out: PathBuf,
    /// Paper that the printer holds
    #[arg(long, value_enum, default_value_t = ReportPaperArg::A4)]
    pub paper: ReportPaperArg,
    /// Add the full table for the file: every reading with its budget, moves, checklist, hashes of photos and parameters
    #[arg(long)]
    pub inspection: bool,
    /// That very record, also when a newer one stands for it
    #[arg(long)]
    pub exact: bool,
}

/// `--paper`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum ReportPaperArg {
    /// 210 x 297 mm
    A4,
    /// 8.5 x 11 in
    Letter,
}

/// Makes the report and writes it.
pub fn run(args: &ReportArgs, stdout: &mut dyn Write) -> Result<ExitStatus, Error> {
    is_outside(&args.out, &args.store)?;
    let store = Store::read(&args.store)?;
    let named = store.inspection(&args.record)?;
    let number = named.number;
    let stored = if args.exact || named.newest == number { named } else { store.inspection_at(named.newest)? };
    let mut pictures = Pictures::default();
    for hash in Pictures::wanted(&stored.inspection) {
        pictures.add(hash, store.photo_bytes(&hash)?)?;
    }
    let input = ReportInput { stored: &stored, head: store.head()?, pictures: &pictures };
    let paper = match args.paper {
        ReportPaperArg::A4 => Paper::A4,
        ReportPaperArg::Letter => Paper::Letter,
    };
    let mut pages = front_pages(&input, paper)?;
    if args.inspection {
        pages.extend(table_pages(&input, paper));
    }
    let title = format!("Headlamp aim report, record {}", stored.inspection.id);
    Staged::new(&args.out, &pdf(&pages, &title)?)?.commit()?;
    let count = if pages.len() == 1 { "1 page".to_owned() } else { format!("{} pages", pages.len()) };
    let mut text = format!("{}: {count} of {}, record {}\n", args.out.display(), paper.name(), stored.number);
    if stored.number != number {
        // Writing to a String cannot fail.
        let _ = writeln!(
            text,
            "record {number} goes on in record {}, which is reported (--exact for that very one)",
            stored.number
        );
    }
    stdout.write_all(text.as_bytes()).and_then(|()| stdout.flush()).map_err(|error| cannot_print(&error))?;
    Ok(ExitStatus::Good)
}

/// A report must not be written over what the store keeps.
fn is_outside(out: &Path, store: &Path) -> Result<(), Error> {
    if plan::resolved(out).starts_with(plan::resolved(store)) {
        let found = format!("--out {} lies inside the store", out.display());
        return Err(Error::usage(found, "write it into another folder: the store keeps records alone"));
    }
    Ok(())
}

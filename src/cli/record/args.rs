//! Arguments of `record`, and those with which `measure` and `aim` record.

use clap::{Args, Subcommand, ValueEnum};
use std::path::PathBuf;

/// Arguments of `record`.
#[derive(Debug, Args)]
pub struct RecordArgs {
    /// What to do
    #[command(subcommand)]
    pub action: RecordAction,
}

/// What `record` does. A store is a folder; a record is named by its number, its id, or the beginning of its id.
#[derive(Debug, Subcommand)]
pub enum RecordAction {
    /// Make a new store
    Init {
        /// Folder that does not exist yet, or is empty
        #[arg(value_name = "STORE")]
        store: PathBuf,
    },
    /// Make the station's key, which signs the log after every record from then on, or change it
    Key(KeyArgs),
    /// List inspections, the newest first
    List(ListArgs),
    /// Find inspections by a part of reference, plate, customer, person, bay or id
    Find(FindArgs),
    /// Show a record
    Show(ShowArgs),
    /// Write records as JSON, CSV and pictures into a new folder
    Export(ExportArgs),
    /// Print the JSON Schema of what `export` writes
    Schema,
    /// Check that nothing was changed, moved or taken out since it was recorded
    Verify(VerifyArgs),
    /// Measure a record's photos again with its parameters, and say whether the figures are the same to the last digit
    Replay {
        /// The store's folder
        #[arg(value_name = "STORE")]
        store: PathBuf,
        /// Number, id, or beginning of the id
        #[arg(value_name = "RECORD")]
        record: String,
    },
    /// Copy the store, also while others record
    Backup {
        /// The store's folder
        #[arg(value_name = "STORE")]
        store: PathBuf,
        /// Folder of the copy, which does not exist yet or is empty
        #[arg(long, value_name = "DIR")]
        to: PathBuf,
    },
    /// Erase plate and customer of an inspection; everything else stays, and the log notes it
    Erase(EraseArgs),
    /// Correct what was written of an inspection, by a new record that points at the old one
    Correct(CorrectArgs),
}

/// Arguments of `record key`.
#[derive(Debug, Args)]
pub struct KeyArgs {
    /// The store's folder
    #[arg(value_name = "STORE")]
    pub store: PathBuf,
    /// Make a new key in the old one's place: the old one signs it, and an entry of the log says so
    #[arg(long, requires = "by", requires = "reason")]
    pub replace: bool,
    /// Who changes the key
    #[arg(long, value_name = "NAME", requires = "replace")]
    pub by: Option<String>,
    /// Why
    #[arg(long, value_name = "TEXT", requires = "replace")]
    pub reason: Option<String>,
}

/// Arguments of `record list`.
#[derive(Debug, Args)]
pub struct ListArgs {
    /// The store's folder
    #[arg(value_name = "STORE")]
    pub store: PathBuf,
    /// At most so many
    #[arg(long, value_name = "N", default_value_t = 20)]
    pub limit: u64,
    /// Also records that a newer one stands for
    #[arg(long)]
    pub all: bool,
    /// Print JSON instead
    #[arg(long)]
    pub json: bool,
}

/// Arguments of `record find`.
#[derive(Debug, Args)]
pub struct FindArgs {
    /// The store's folder
    #[arg(value_name = "STORE")]
    pub store: PathBuf,
    /// Part of what is looked for, upper or lower case
    #[arg(value_name = "TEXT")]
    pub text: Option<String>,
    /// Verdict
    #[arg(long, value_enum)]
    pub verdict: Option<VerdictArg>,
    /// Begun on this day or later, YYYY-MM-DD, UTC
    #[arg(long, value_name = "DAY")]
    pub from: Option<String>,
    /// Begun before this day, YYYY-MM-DD, UTC
    #[arg(long, value_name = "DAY")]
    pub until: Option<String>,
    /// Also records that a newer one stands for
    #[arg(long)]
    pub all: bool,
    /// Print JSON instead
    #[arg(long)]
    pub json: bool,
}

/// `--verdict`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum VerdictArg {
    /// Every lamp passes
    Pass,
    /// A lamp fails
    Fail,
    /// A lamp is too close to a limit to call
    Borderline,
    /// A lamp was not judged
    None,
    /// A lamp was photographed and never measured
    Refused,
    /// A lamp has no reading yet, and no other is worse
    Begun,
}

/// Arguments of `record show`.
#[derive(Debug, Args)]
pub struct ShowArgs {
    /// The store's folder
    #[arg(value_name = "STORE")]
    pub store: PathBuf,
    /// Number, id, or beginning of the id
    #[arg(value_name = "RECORD")]
    pub record: String,
    /// Print the entry's bytes as they were recorded and hashed: JSON
    #[arg(long)]
    pub json: bool,
}

/// Arguments of `record export`.
#[derive(Debug, Args)]
pub struct ExportArgs {
    /// The store's folder
    #[arg(value_name = "STORE")]
    pub store: PathBuf,
    /// Records to write [default: all, also those that a newer one stands for]
    #[arg(value_name = "RECORD")]
    pub records: Vec<String>,
    /// Folder to write into, which does not exist yet or is empty
    #[arg(long, value_name = "DIR")]
    pub out: PathBuf,
    /// Leave photos and pictures out
    #[arg(long)]
    pub without_photos: bool,
}

/// Arguments of `record verify`.
#[derive(Debug, Args)]
pub struct VerifyArgs {
    /// The store's folder
    #[arg(value_name = "STORE")]
    pub store: PathBuf,
    /// A head that was kept outside, as a report or `record list` prints it: shows a tail that was cut off
    #[arg(long, value_name = "SIZE:ROOT")]
    pub head: Option<String>,
    /// A public key of the station, kept outside: every record must be covered by its signature, or by that of a key which a
    /// recorded change joins to it; give it several times for keys that were changed without a record
    #[arg(long, value_name = "HEX")]
    pub public_key: Vec<String>,
    /// Leave photos and pictures out, which take the most time
    #[arg(long)]
    pub without_photos: bool,
}

/// Arguments of `record erase`.
#[derive(Debug, Args)]
pub struct EraseArgs {
    /// The store's folder
    #[arg(value_name = "STORE")]
    pub store: PathBuf,
    /// Number, id, or beginning of the id of any record of the inspection
    #[arg(value_name = "RECORD")]
    pub record: String,
    /// Who erases
    #[arg(long, value_name = "NAME")]
    pub by: String,
    /// Why, without the text that is erased
    #[arg(long, value_name = "TEXT")]
    pub reason: String,
}

/// Arguments of `record correct`.
#[derive(Debug, Args)]
pub struct CorrectArgs {
    /// The store's folder
    #[arg(value_name = "STORE")]
    pub store: PathBuf,
    /// Number, id, or beginning of the id
    #[arg(value_name = "RECORD")]
    pub record: String,
    /// Why
    #[arg(long, value_name = "TEXT")]
    pub reason: String,
    /// Who corrects
    #[arg(long, value_name = "NAME")]
    pub by: String,
    /// The right reference of the vehicle
    #[arg(long, value_name = "REF")]
    pub vehicle: Option<String>,
    /// The right number plate
    #[arg(long, value_name = "PLATE")]
    pub plate: Option<String>,
    /// The right customer
    #[arg(long, value_name = "NAME")]
    pub customer: Option<String>,
}

/// With which `measure` and `aim start` record.
#[derive(Debug, Clone, Default, Args)]
#[command(next_help_heading = "Record it")]
pub struct RecordOptions {
    /// Record the inspection in this store (`lampwright record init STORE` makes one)
    #[arg(long, value_name = "STORE", requires = "by")]
    pub record: Option<PathBuf>,
    /// Who inspects
    #[arg(long, value_name = "NAME", requires = "record")]
    pub by: Option<String>,
    /// Number plate; can be erased later
    #[arg(long, value_name = "PLATE", requires = "record")]
    pub plate: Option<String>,
    /// Customer's name; can be erased later
    #[arg(long, value_name = "NAME", requires = "record")]
    pub customer: Option<String>,
    /// The preparation checklist was gone through: "all" when every item was seen to, or a TOML file of
    /// item = "yes" | "no" | "not-applicable" (`lampwright prepare --json` lists the items)
    #[arg(long, value_name = "all|FILE.toml", requires = "record")]
    pub prepared: Option<String>,
}

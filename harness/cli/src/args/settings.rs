//! Arguments of the commands about settings: capture, show, diff, carry.
use clap::{Args, Subcommand};
use std::path::PathBuf;

/// Capture settings.
#[derive(Args, Debug)]
pub struct Capture {
    /// The unit, as for `run`; or the folder of a job that captured it.
    #[arg(value_name = "PORT|JOB")]
    pub port: String,
    /// The file to write.
    #[arg(short, long, value_name = "FILE")]
    pub out: PathBuf,
    /// Its event log instead of its settings: what records left there is held against them with `check --unit-log`.
    #[arg(long)]
    pub event_log: bool,
    /// With sim: the scenario.
    #[arg(long, value_name = "FILE")]
    pub scenario: Option<PathBuf>,
    /// Replace a file that is there already.
    #[arg(long)]
    pub force: bool,
}

/// Try a description.
#[derive(Args, Debug)]
pub struct Describe {
    /// A description that comes with the tool (model-a, model-b, ...) or a file.
    #[arg(value_name = "NAME|FILE")]
    pub description: String,
    /// A unit of this model: a serial port, tcp:HOST:PORT, or file:PATH (a file that a logger is writing). Nothing is written to it.
    #[arg(long)]
    pub port: Option<String>,
}

/// Show settings.
#[derive(Args, Debug)]
pub struct Show {
    /// The settings document.
    pub file: PathBuf,
    /// Description of the unit's model: a name (model-a, model-b, ...) or a file; by the model that the document names if
    /// not given.
    #[arg(long, value_name = "NAME|FILE")]
    pub description: Option<String>,
    /// One JSON object instead of words.
    #[arg(long)]
    pub json: bool,
}

/// Compare settings.
#[derive(Args, Debug)]
pub struct Diff {
    /// The one settings document.
    pub a: PathBuf,
    /// The other one.
    pub b: PathBuf,
    /// Description of A's model, if the document does not name a known one.
    #[arg(long, value_name = "NAME|FILE")]
    pub a_is: Option<String>,
    /// Description of B's model, if the document does not name a known one.
    #[arg(long, value_name = "NAME|FILE")]
    pub b_is: Option<String>,
    /// What is the same, too.
    #[arg(long)]
    pub all: bool,
    /// One JSON object instead of words.
    #[arg(long)]
    pub json: bool,
}

/// Settings on a sheet.
#[derive(Subcommand, Debug)]
pub enum SettingsOf {
    /// Write a sheet to work from or to fill in, or read one that was filled in.
    Sheet(Sheet),
}

/// A sheet of settings.
#[derive(Args, Debug)]
pub struct Sheet {
    /// Description of the model: a name (model-a ... model-f) or a file.
    #[arg(value_name = "NAME|FILE")]
    pub description: String,
    /// The settings to write on it; empty places to be filled in where none are given.
    #[arg(conflicts_with = "from")]
    pub settings: Option<PathBuf>,
    /// How many inlets the unit has; as many as the model can have where nothing is said.
    #[arg(long, value_name = "N")]
    pub inlets: Option<u8>,
    /// As CSV, which is read back with --from.
    #[arg(long)]
    pub csv: bool,
    /// A sheet that was filled in, as CSV: it is written as a settings document.
    #[arg(long, value_name = "FILE", requires = "out")]
    pub from: Option<PathBuf>,
    /// The file to write; standard output where none is given.
    #[arg(short, long, value_name = "FILE")]
    pub out: Option<PathBuf>,
    /// Replace a file that is there already.
    #[arg(long)]
    pub force: bool,
}

/// Carry settings over.
#[derive(Args, Debug)]
pub struct Carry {
    /// The job folder.
    pub job: PathBuf,
    /// Description of the new model: a name (model-a, model-b, model-c, model-d, model-e) or a file.
    #[arg(long, value_name = "NAME|FILE")]
    pub to: String,
    /// Description of the old model; by the model that the captured settings name if not given.
    #[arg(long, value_name = "NAME|FILE")]
    pub from: Option<String>,
    /// The captured settings, to be put into the job; its settings-old.json if not given.
    #[arg(long, value_name = "FILE")]
    pub settings: Option<PathBuf>,
    /// What was decided, to be put into the job; its decisions.toml if not given.
    #[arg(long, value_name = "FILE")]
    pub decisions: Option<PathBuf>,
    /// Add what is open to the job's decisions.toml, to be filled in.
    #[arg(long)]
    pub template: bool,
    /// Replace settings or decisions that are there already.
    #[arg(long)]
    pub force: bool,
    /// The account as one JSON object instead of words.
    #[arg(long)]
    pub json: bool,
}

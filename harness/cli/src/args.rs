//! The command line.
#![allow(rustdoc::broken_intra_doc_links, reason = "these comments are the command's own help, brackets and all")]
mod settings;

pub use settings::{Capture, Carry, Diff, Show};

use crate::commands::invented::USUAL;
use clap::{Args, Parser, Subcommand};
use std::path::PathBuf;

const EXIT_CODES: &str = "\
Exit codes:
  0  pass: everything that the plan asks for was shown
  1  fail: something was shown not to hold
  2  undecided: not shown either way, which is not a pass
  3  wrong usage or input
  4  link or device trouble
  5  internal error
  6  paused: run it again to go on

This tool supports a competent person. It replaces no code, listing or licence: local codes,
the listing of the unit and a licensed person decide. Isolate at the panel before any test.";

/// Bring a replacement aspirating smoke detector into service on existing pipework, and prove it.
#[derive(Debug, Parser)]
#[command(name = "plumeline", version, after_help = EXIT_CODES, max_term_width = 100)]
pub struct Cli {
    /// Tell more of what goes on inside (twice: everything), on standard error.
    #[arg(short, long, action = clap::ArgAction::Count, global = true)]
    pub verbose: u8,
    /// Only the result, not what leads to it.
    #[arg(short, long, global = true)]
    pub quiet: bool,
    /// What to do.
    #[command(subcommand)]
    pub command: Command,
}

/// What to do.
#[derive(Debug, Subcommand)]
#[allow(clippy::large_enum_variant, reason = "there is one in a run")]
pub enum Command {
    /// Do the whole job against the bundled simulator and show the report.
    #[command(after_help = "Examples:\n  plumeline demo\n  plumeline demo --defect hole-blocked --out blocked --force")]
    Demo(Demo),
    /// List the lies that a simulated replacement can tell.
    #[command(after_help = "Examples:\n  plumeline lies\n  plumeline demo --small --lie alarms-dead --out lie --force")]
    Lies,
    /// Run a simulated unit and site for other programs to talk to.
    #[command(
        after_help = "Examples:\n  plumeline simulate scenario.toml --pty /tmp/unit\n  plumeline simulate scenario.toml --tcp 127.0.0.1:5000 --control 127.0.0.1:5001\n  plumeline simulate scenario.toml --tcp 127.0.0.1:5000 --old-pty /tmp/old-unit"
    )]
    Simulate(Simulate),
    /// Write a new job folder to be filled in.
    #[command(after_help = "Examples:\n  plumeline new my-job\n  plumeline new my-job --from-csv holes.csv")]
    New(New),
    /// Say what is wrong or open in a job before its site goes out of service.
    #[command(
        after_help = "Exit codes: 0 nothing; 2 something is open, or the job can't be begun; 3 it can't be checked (see docs/plan-check.md).\n\nExamples:\n  plumeline plan-check my-job\n  plumeline plan-check my-job --port display: --no-simulation\n  plumeline plan-check my-job --seeds 30 --json"
    )]
    PlanCheck(PlanCheck),
    /// Do a job, or take it up again where it stopped.
    #[command(
        after_help = "Examples:\n  plumeline run my-job --port serial:/dev/ttyUSB0@115200\n  plumeline run my-job --port tcp:192.0.2.7:5000\n  plumeline run my-job --port display:\n  plumeline run my-job --port tcp:192.0.2.7:5000 --old-port serial:/dev/ttyUSB0\n  plumeline run my-job --port usb:1209:0001 --operator operator.toml"
    )]
    Run(Run),
    /// Replay a trace: the bytes sent and the journal must come out the same.
    #[command(
        after_help = "Exit codes: 0 pass, 1 fail, 2 undecided, 3 not the same as recorded or unusable. With --expect: 0 that verdict, 1 another.\n\nExamples:\n  plumeline replay my-job\n  plumeline replay my-job/trace.pcapng --rejudge --expect pass"
    )]
    Replay(Replay),
    /// Write the report of a job again from its trace.
    #[command(after_help = "Examples:\n  plumeline report my-job")]
    Report(Report),
    /// Check that a job's journal, trace and files belong together and are as they were sealed.
    #[command(
        after_help = "Exit codes: 0 everything holds; 1 something was altered, is missing or was added, or is not signed by the key named; 2 the job went on behind its newest seal; 3 wrong usage or a file can't be read.\n\nExamples:\n  plumeline check my-job\n  plumeline check my-job --key technician.pub"
    )]
    Check(Check),
    /// Seal a job: a signed list of every file with its digest.
    #[command(
        after_help = "Exit codes: 0 sealed as complete; 1 something does not hold; 2 sealed as incomplete; 3 it can't be sealed.\n\nExamples:\n  plumeline close my-job --key technician.key\n  plumeline close my-job --key technician.key --incomplete"
    )]
    Close(Close),
    /// Make or show keys that seal jobs.
    #[command(
        subcommand,
        after_help = "Examples:\n  plumeline key new --name \"A. Technician\" --passphrase --out technician.key\n  plumeline key show technician.key"
    )]
    Key(Key),
    /// Pack a job into one file to hand it over.
    #[command(after_help = "Examples:\n  plumeline pack my-job --out my-job.zip")]
    Pack(Pack),
    /// Unpack a job that was handed over, and check it.
    #[command(after_help = "Examples:\n  plumeline unpack my-job.zip --out my-job --key technician.pub")]
    Unpack(Unpack),
    /// Predict what every pipe and hole should do.
    #[command(
        after_help = "Examples:\n  plumeline predict my-job/pipework.toml\n  plumeline predict my-job/pipework.toml --svg pipes.svg --limit \"90 s\"\n  plumeline predict my-job/pipework.toml --obscuration \"alarm=0.04 %/m\" --json"
    )]
    Predict(Predict),
    /// Read the settings of a unit whole and keep them as a file.
    #[command(
        after_help = "Examples:\n  plumeline capture serial:/dev/ttyUSB0@115200 -o my-job/settings-old.json\n  plumeline capture last-job -o settings.json"
    )]
    Capture(Capture),
    /// List settings by what they mean.
    #[command(
        after_help = "Examples:\n  plumeline show my-job/settings-old.json\n  plumeline show settings.json --description my-model.toml --json"
    )]
    Show(Show),
    /// Compare settings by what they mean, also of two models.
    #[command(
        after_help = "Exit codes: 0 the same, 1 different, 3 a file can't be used.\n\nExamples:\n  plumeline diff my-job/settings-old.json my-job/settings-new.json --b-is model-b\n  plumeline diff last-year.json today.json --all"
    )]
    Diff(Diff),
    /// Carry captured settings over to another model, with an account of every item.
    #[command(
        after_help = "Exit codes: 0 the settings can be loaded; 2 a person has to decide something first; 3 a file can't be used.\nWrites carry-account.json, carry-account.txt and wiring-sheet.txt into the job, and settings-new.json once nothing\nis open (see docs/carry-over.md).\n\nExamples:\n  plumeline carry my-job --to model-b --template   # adds what is open to my-job/decisions.toml, to be filled in\n  plumeline carry my-job --to model-b\n  plumeline carry my-job --to new-model.toml --from old-model.toml --settings captured.json"
    )]
    Carry(Carry),
    /// Judge the readings of any logger, from a CSV file, by the same rules as a job.
    #[command(
        after_help = "Exit codes: 0 steady, a response, a mean; 2 it can't be told; 3 the file or an option can't be used.\nColumns state their unit in the header: time_s,flow_L/min (see docs/judge.md).\n\nExamples:\n  plumeline judge flow.csv --as settle --slope-limit 2%\n  plumeline judge smoke.csv --as onset --release 60\n  plumeline judge flow.csv --as mean --from 120 --calibration-relative 3% --json"
    )]
    Judge(Box<Judge>),
    /// Run many simulated replacements with known defects and count how often the verdict was right.
    #[command(
        after_help = "See docs/campaign.md.\n\nExamples:\n  plumeline campaign --runs 200 --seed 1\n  plumeline campaign --runs 10000 --seed 1 --shard 3/8 --out part-3\n  plumeline campaign --merge part-1 part-2 --out whole\n  plumeline campaign --explain 1234 --out job-1234"
    )]
    Campaign(Campaign),
    /// List serial and USB ports, with what is known of each and what would keep it from being opened.
    #[command(after_help = "Examples:\n  plumeline ports\n  plumeline ports --json")]
    Ports(Ports),
    /// Run several jobs unattended and hold each against what it is expected to come to.
    #[command(
        after_help = "Exit codes: 0 every job came to what is expected of it; 1 at least one did not; 3 the batch can't be run.\n\nExamples:\n  plumeline batch batch.toml --out results\n  plumeline batch batch.toml --out results --at-once 2\n  plumeline batch batch.toml --out results --go-on"
    )]
    Batch(Batch),
    /// Write a script that completes commands and options in a shell.
    #[command(
        after_help = "Examples:\n  plumeline completions bash > ~/.local/share/bash-completion/completions/plumeline\n  plumeline completions zsh > \"${fpath[1]}/_plumeline\"\n  plumeline completions fish > ~/.config/fish/completions/plumeline.fish"
    )]
    Completions(Completions),
    /// Write the manual: one page to standard output, or a page for each command into a folder.
    #[command(after_help = "Examples:\n  plumeline man | man -l -\n  plumeline man ~/.local/share/man/man1")]
    Man(Man),
}

/// Do the whole job against the bundled simulator.
#[derive(Args, Debug)]
pub struct Demo {
    /// Folder of the job.
    #[arg(long, default_value = "demo-job")]
    pub out: PathBuf,
    /// Seed of everything that is drawn at the simulated site.
    #[arg(long, default_value_t = 1)]
    pub seed: u64,
    /// A defect made at the site: NAME or NAME:pipe=1,hole=4,severity=0.5. May be given several times.
    #[arg(long, value_name = "NAME")]
    pub defect: Vec<String>,
    /// A lie of the replacement: NAME or NAME:SEVERITY, one of those that `plumeline lies` lists. May be given several times.
    #[arg(long, value_name = "NAME")]
    pub lie: Vec<String>,
    /// The replacement: model-b, model-c, model-d or model-e.
    #[arg(long, value_name = "NAME", default_value = USUAL)]
    pub replacement: String,
    /// How the unit is reached: in process and virtual time, or over a pseudo-terminal in scaled time.
    #[arg(long, value_name = "HOW", default_value = "process")]
    pub over: Over,
    /// With `--over pty`: how much faster than real time.
    #[arg(long, default_value_t = 30.0)]
    pub speed: f64,
    /// Faults of the line, for example flip=0.01,drop=0.05,cut=600s+5s.
    #[arg(long, value_name = "FAULTS")]
    pub faults: Option<String>,
    /// A smaller site with one pipe.
    #[arg(long)]
    pub small: bool,
    /// The outgoing unit is dead.
    #[arg(long)]
    pub dead: bool,
    /// Replace a job that is there already.
    #[arg(long)]
    pub force: bool,
    /// What is shown.
    #[command(flatten)]
    pub output: Output,
}

/// How the demonstration reaches its unit.
#[derive(Clone, Copy, Debug, PartialEq, Eq, clap::ValueEnum)]
pub enum Over {
    /// In process, virtual time.
    Process,
    /// A pseudo-terminal, scaled time.
    Pty,
}

/// What is shown.
#[derive(Args, Clone, Copy, Debug, Default)]
pub struct Output {
    /// One JSON object a line instead of words.
    #[arg(long)]
    pub json: bool,
}

/// Run a simulated unit and site.
#[derive(Args, Debug)]
pub struct Simulate {
    /// The scenario (see docs/file-formats.md).
    pub scenario: PathBuf,
    /// Offer the unit on a pseudo-terminal; PATH, if given, becomes a stable link to it.
    #[arg(long, value_name = "PATH", num_args = 0..=1, conflicts_with = "tcp")]
    pub pty: Option<Option<PathBuf>>,
    /// Offer the unit on a TCP address.
    #[arg(long, value_name = "HOST:PORT")]
    pub tcp: Option<String>,
    /// Offer the outgoing unit on a pseudo-terminal of its own, the replacement alone on the other address.
    #[arg(long, value_name = "PATH", num_args = 0..=1, conflicts_with = "old_tcp")]
    pub old_pty: Option<Option<PathBuf>>,
    /// Offer the outgoing unit on a TCP address of its own, the replacement alone on the other address.
    #[arg(long, value_name = "HOST:PORT")]
    pub old_tcp: Option<String>,
    /// Address of the site control (never the unit's protocol).
    #[arg(long, value_name = "HOST:PORT", default_value = "127.0.0.1:0")]
    pub control: String,
    /// Keep the units' settings in this file, so that they outlive the process.
    #[arg(long, value_name = "FILE")]
    pub store: Option<PathBuf>,
    /// How much faster than real time.
    #[arg(long, default_value_t = 1.0)]
    pub speed: f64,
}

/// Write a new job folder.
#[derive(Args, Debug)]
pub struct New {
    /// The folder.
    pub job: PathBuf,
    /// Pipework from a CSV sheet instead of the template.
    #[arg(long, value_name = "FILE")]
    pub from_csv: Option<PathBuf>,
    /// The replacement's model: a description that comes with the tool, or a file.
    #[arg(long, value_name = "MODEL")]
    pub replacement: Option<String>,
    /// The outgoing unit's model, likewise.
    #[arg(long, value_name = "MODEL")]
    pub outgoing: Option<String>,
    /// Replace files that are there already.
    #[arg(long)]
    pub force: bool,
}

/// Say what is wrong or open in a job.
#[derive(Args, Debug)]
pub struct PlanCheck {
    /// The job folder.
    pub job: PathBuf,
    /// The port that the job is to be run through: what it can't show is among the remarks.
    #[arg(long)]
    pub port: Option<String>,
    /// How many sound sites are simulated with this job's own files.
    #[arg(long, value_name = "N", default_value_t = 5, value_parser = clap::value_parser!(u64).range(1..=1000))]
    pub seeds: u64,
    /// Leave the simulation out.
    #[arg(long, conflicts_with = "seeds")]
    pub no_simulation: bool,
    /// One JSON document on standard output.
    #[arg(long)]
    pub json: bool,
}

/// Do a job.
#[derive(Args, Debug)]
pub struct Run {
    /// The job folder.
    pub job: PathBuf,
    /// The unit: serial:PATH[@BAUD], usb:VID:PID[:SERIAL], tcp:HOST:PORT, sim:, or display: (a person reads it).
    #[arg(long)]
    pub port: String,
    /// The outgoing unit, where it has a port of its own; else --port serves both in turn, by one cable.
    #[arg(long, value_name = "PORT")]
    pub old_port: Option<String>,
    /// Answers for an unattended run. Without it, prompts are answered at this terminal.
    #[arg(long, value_name = "FILE")]
    pub operator: Option<PathBuf>,
    /// Faults of the line, for tests of the tool itself.
    #[arg(long, value_name = "FAULTS")]
    pub faults: Option<String>,
    /// With a simulator in scaled time: how much faster than real time.
    #[arg(long, default_value_t = 1.0)]
    pub speed: f64,
    /// With sim: the scenario; without one, a sound site.
    #[arg(long, value_name = "FILE")]
    pub scenario: Option<PathBuf>,
    /// Of everything that is drawn: with sim: in place of the scenario's seed, and for the faults of any line.
    #[arg(long)]
    pub seed: Option<u64>,
    /// With sim: a defect beside the scenario's, as for the demonstration. May be given several times.
    #[arg(long, value_name = "NAME")]
    pub defect: Vec<String>,
    /// With sim: what the log is to say for a date (RFC 3339), so that the same job is the same byte for byte.
    #[arg(long)]
    pub date: Option<String>,
    /// Where the system's `sys` and `dev` are; for tests of the tool itself.
    #[arg(long, value_name = "DIR", hide = true)]
    pub root: Option<PathBuf>,
    /// What is shown.
    #[command(flatten)]
    pub output: Output,
}

/// Replay a trace.
#[derive(Args, Debug)]
pub struct Replay {
    /// The trace, or the folder of a job.
    pub trace: PathBuf,
    /// Judge a trace of an older version by this one: say what differs and whether the verdict is the same.
    #[arg(long)]
    pub rejudge: bool,
    /// The verdict that must come out.
    #[arg(long, value_name = "VERDICT")]
    pub expect: Option<String>,
    /// Write the journal that comes out to this file.
    #[arg(long, value_name = "FILE")]
    pub journal: Option<PathBuf>,
}

/// Write the report again.
#[derive(Args, Debug)]
pub struct Report {
    /// The job folder.
    pub job: PathBuf,
}

/// Check a job.
#[derive(Args, Debug)]
pub struct Check {
    /// The job folder.
    pub job: PathBuf,
    /// The public key that the newest seal must be signed by. Without it, anyone could have signed.
    #[arg(long, value_name = "FILE")]
    pub key: Option<PathBuf>,
    /// One JSON object instead of words.
    #[arg(long)]
    pub json: bool,
}

/// Seal a job.
#[derive(Args, Debug)]
pub struct Close {
    /// The job folder.
    pub job: PathBuf,
    /// The private key to sign with (see `plumeline key new`).
    #[arg(long, value_name = "FILE")]
    pub key: PathBuf,
    /// Its passphrase is the first line of this file. Without it, the terminal is asked.
    #[arg(long, value_name = "FILE")]
    pub passphrase_file: Option<PathBuf>,
    /// Seal a job that is not over, or that leaves something isolated or inhibited; the seal then says so.
    #[arg(long)]
    pub incomplete: bool,
}

/// Keys.
#[derive(Subcommand, Debug)]
pub enum Key {
    /// Make a new key: a private file, and a public one beside it to hand out.
    New(KeyNew),
    /// Show the public key of a private or a public key file.
    Show(KeyShow),
}

/// Make a key.
#[derive(Args, Debug)]
pub struct KeyNew {
    /// The private key's file; the public one gets `.pub` behind it.
    #[arg(long, value_name = "FILE", default_value = "plumeline.key")]
    pub out: PathBuf,
    /// Whose key it is; it stands in every seal.
    #[arg(long, value_name = "WHO", default_value = "no name given")]
    pub name: String,
    /// Encrypt the private key with a passphrase; the terminal asks for it.
    #[arg(long)]
    pub passphrase: bool,
    /// Encrypt it with the passphrase in the first line of this file.
    #[arg(long, value_name = "FILE", conflicts_with = "passphrase")]
    pub passphrase_file: Option<PathBuf>,
}

/// Show a key.
#[derive(Args, Debug)]
pub struct KeyShow {
    /// The key file.
    pub file: PathBuf,
    /// The passphrase of a private key is the first line of this file. Without it, the terminal is asked.
    #[arg(long, value_name = "FILE")]
    pub passphrase_file: Option<PathBuf>,
}

/// Pack a job.
#[derive(Args, Debug)]
pub struct Pack {
    /// The job folder.
    pub job: PathBuf,
    /// The archive.
    #[arg(short, long, value_name = "FILE.zip")]
    pub out: PathBuf,
}

/// Unpack a job.
#[derive(Args, Debug)]
pub struct Unpack {
    /// The archive.
    pub archive: PathBuf,
    /// The new job folder.
    #[arg(short, long, value_name = "FOLDER")]
    pub out: PathBuf,
    /// The public key that the newest seal must be signed by.
    #[arg(long, value_name = "FILE")]
    pub key: Option<PathBuf>,
}

/// Predict.
#[derive(Args, Debug)]
pub struct Predict {
    /// The pipework file.
    pub file: PathBuf,
    /// Everything in SI with full precision, as JSON.
    #[arg(long)]
    pub json: bool,
    /// Draw the pipework with flow and time at each hole.
    #[arg(long, value_name = "FILE")]
    pub svg: Option<PathBuf>,
    /// Longest transport time: a time such as "90 s", or the name of a preset; 120 s where nothing is said.
    #[arg(long, value_name = "TIME")]
    pub limit: Option<String>,
    /// A level at the unit, such as "0.04 %/m" or "alarm=0.04 %/m": what every hole needs for it. May be given several times.
    #[arg(long, value_name = "LEVEL")]
    pub obscuration: Vec<String>,
    /// Monte Carlo draws.
    #[arg(long, default_value_t = 10_000, value_parser = clap::value_parser!(u32).range(100..=10_000_000))]
    pub draws: u32,
}

/// List ports.
#[derive(Args, Debug)]
pub struct Ports {
    /// One JSON object.
    #[arg(long)]
    pub json: bool,
    /// Where the system's `sys` and `dev` are; for tests of the tool itself.
    #[arg(long, value_name = "DIR", hide = true)]
    pub root: Option<PathBuf>,
}

/// Run several jobs.
#[derive(Args, Debug)]
pub struct Batch {
    /// The batch: jobs and what they are expected to come to (see docs/batch.md).
    pub batch: PathBuf,
    /// Folder for the jobs, result.json and junit.xml.
    #[arg(long, value_name = "DIR", default_value = "batch-results")]
    pub out: PathBuf,
    /// How many jobs against the bundled simulator run at once; jobs over a line run one after the other.
    #[arg(long, value_name = "N", default_value_t = 1, value_parser = clap::value_parser!(u16).range(1..=64))]
    pub at_once: u16,
    /// Keep what an earlier, interrupted run of the same batch has come to, and do the rest.
    #[arg(long, conflicts_with = "force")]
    pub go_on: bool,
    /// Replace what an earlier run left.
    #[arg(long)]
    pub force: bool,
    /// The result as JSON instead of a table.
    #[arg(long)]
    pub json: bool,
}

/// Completions for a shell.
#[derive(Args, Debug)]
pub struct Completions {
    /// The shell.
    pub shell: clap_complete::Shell,
}

/// The manual.
#[derive(Args, Debug)]
pub struct Man {
    /// Folder for a page for each command.
    pub dir: Option<PathBuf>,
}

/// Judge readings from a CSV file.
#[derive(Args, Debug)]
pub struct Judge {
    /// The readings: a header that names the columns with their units, then one line for each reading.
    pub file: PathBuf,
    /// What they are judged as.
    #[arg(long = "as", value_name = "WHAT")]
    pub judged_as: JudgedAs,
    /// Column of the times, by name; the first one if not given.
    #[arg(long, value_name = "NAME")]
    pub time: Option<String>,
    /// Column of the readings, by name; needed where there are more than two columns.
    #[arg(long, value_name = "NAME")]
    pub column: Option<String>,
    /// Leave out what was read earlier; a time as in the file.
    #[arg(long, value_name = "TIME", allow_hyphen_values = true)]
    pub from: Option<String>,
    /// Leave out what was read later; a time as in the file.
    #[arg(long, value_name = "TIME", allow_hyphen_values = true)]
    pub to: Option<String>,
    /// Step of the display or of the stored number, unit of the readings.
    #[arg(long, value_name = "STEP", default_value_t = 0.0)]
    pub resolution: f64,
    /// Longest time between readings that is no gap, s.
    #[arg(long, value_name = "S", default_value_t = 3.0)]
    pub max_gap: f64,
    /// settle: length of each of the two windows, s (60).
    #[arg(long, value_name = "S")]
    pub window: Option<f64>,
    /// settle: largest trend per minute, as a share of the mean (2%) or in the unit of the readings (0.5).
    #[arg(long, value_name = "LIMIT")]
    pub slope_limit: Option<String>,
    /// settle: probability that what is not steady is never called steady (0.99).
    #[arg(long, value_name = "P")]
    pub confidence: Option<f64>,
    /// onset: the moment of the release; a time as in the file.
    #[arg(long, value_name = "TIME", allow_hyphen_values = true)]
    pub release: Option<String>,
    /// onset: who marked the release (by-hand).
    #[arg(long, value_name = "WHO")]
    pub mark: Option<Mark>,
    /// onset: standard uncertainty of the mark, s (0.35; by device 0).
    #[arg(long, value_name = "S")]
    pub mark_uncertainty: Option<f64>,
    /// onset: smallest plateau over the baseline that counts, unit of the readings (0).
    #[arg(long, value_name = "RISE")]
    pub min_rise: Option<f64>,
    /// onset: shortest rise that counts, s (3).
    #[arg(long, value_name = "S")]
    pub min_duration: Option<f64>,
    /// onset: the sensor reads no higher than this, unit of the readings.
    #[arg(long, value_name = "LEVEL")]
    pub full_scale: Option<f64>,
    /// mean: standard uncertainty of the calibration as a share of the reading, for example 3%.
    #[arg(long, value_name = "SHARE")]
    pub calibration_relative: Option<String>,
    /// mean: standard uncertainty of the calibration, unit of the readings.
    #[arg(long, value_name = "U")]
    pub calibration_absolute: Option<f64>,
    /// mean: probability that the expanded interval is to cover (0.95).
    #[arg(long, value_name = "P")]
    pub coverage: Option<f64>,
    /// One JSON object instead of words.
    #[arg(long)]
    pub json: bool,
}

/// What readings are judged as.
#[derive(Clone, Copy, Debug, PartialEq, Eq, clap::ValueEnum)]
pub enum JudgedAs {
    /// A flow that is to be steady at the end of the file.
    Settle,
    /// A smoke signal after one release.
    Onset,
    /// A steady stretch whose mean is wanted.
    Mean,
}

/// Who marked the moment of a release.
#[derive(Clone, Copy, Debug, PartialEq, Eq, clap::ValueEnum)]
pub enum Mark {
    /// The person who released the smoke.
    ByHand,
    /// Called over a radio: 0 to 2 s late.
    ByRadio,
    /// A release device.
    Device,
}

/// Run many simulated replacements.
#[derive(Args, Debug)]
pub struct Campaign {
    /// How many jobs the whole campaign has.
    #[arg(long, default_value_t = 100, value_parser = clap::value_parser!(u64).range(1..=10_000_000))]
    pub runs: u64,
    /// Seed of the first job; the others follow one by one.
    #[arg(long, default_value_t = 1, value_parser = clap::value_parser!(u64).range(..=u64::MAX / 2))]
    pub seed: u64,
    /// Only this part: 1/4 is the first of four.
    #[arg(long, value_name = "I/N", default_value = "1/1", value_parser = plumeline_lab::campaign::record::Shard::parse)]
    pub shard: plumeline_lab::campaign::record::Shard,
    /// Threads, 0: as many as there are cores. The result does not depend on them.
    #[arg(long, default_value_t = 0)]
    pub threads: usize,
    /// Write every job and the counts to this folder; with --explain: the folder of the job.
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
    /// Units that lie at sound sites instead of defects: so many runs of every lie, in a matrix of their own.
    #[arg(long, conflicts_with_all = ["shard", "merge", "explain"])]
    pub lies: bool,
    /// With --lies or --explain: this lie only, NAME or NAME:SEVERITY. May be given several times.
    #[arg(long, value_name = "NAME", conflicts_with_all = ["shard", "merge", "no_holes"])]
    pub lie: Vec<String>,
    /// Show the counts as JSON instead of tables.
    #[arg(long, conflicts_with = "explain")]
    pub json: bool,
    /// Count the jobs of these folders together instead of running any.
    #[arg(long, value_name = "DIR", num_args = 1.., conflicts_with_all = ["runs", "seed", "shard", "explain"])]
    pub merge: Vec<PathBuf>,
    /// Run the job of this seed again and leave its folder, its report and the truth.
    #[arg(long, value_name = "JOBSEED", conflicts_with_all = ["runs", "seed", "shard"])]
    pub explain: Option<u64>,
    /// With --explain: without closing single holes.
    #[arg(long, requires = "explain")]
    pub no_holes: bool,
    /// With --explain: replace a folder that is there already.
    #[arg(long, requires = "explain")]
    pub force: bool,
}

//! The command line.
#![allow(rustdoc::broken_intra_doc_links, reason = "these comments are the command's own help, brackets and all")]
mod job;
mod judge;
mod lab;
mod record;
mod settings;

pub use job::{AskedThrough, Demo, New, Output, Over, Page, PlanCheck, Replay, Report, Run, Simulate, Watch};
pub use judge::{Dates, DecimalMark, Judge, Logged, LoggerFile, Mark, Mean, Onset, Question, Settle};
pub use lab::{Batch, Campaign};
pub use record::{Check, Close, Compare, Design, Key, KeyNew, KeyShow, Pack, Stamp, Unpack};
pub use settings::{Capture, Carry, Describe, Diff, SettingsOf, Sheet, Show};

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
    /// Show a recorded job on a page, as a film.
    #[command(
        after_help = "Ctrl-C ends it. Nothing is taken from the page.\n\nExamples:\n  plumeline watch my-job --speed 20\n  plumeline watch my-job --page=127.0.0.1"
    )]
    Watch(Watch),
    /// Write the report of a job again from its trace.
    #[command(after_help = "Examples:\n  plumeline report my-job")]
    Report(Report),
    /// Check that a job's journal, trace and files belong together and are as they were sealed.
    #[command(
        after_help = "Exit codes: 0 everything holds; 1 something was altered, is missing or was added, or is not signed by the key named or not stamped by whom the anchor names; 2 the job went on behind its newest seal, or dates do not fit; 3 wrong usage or a file can't be read.\n\nExamples:\n  plumeline check my-job\n  plumeline check my-job --key technician.pub\n  plumeline check my-job --code 7K3Q-9ZTX-0M4B-C1VR-42\n  plumeline check my-job --anchor service.pem"
    )]
    Check(Check),
    /// Sign the files that a job is to be judged by, before it is begun.
    #[command(
        after_help = "Examples:\n  plumeline design my-job --key designer.key\n  plumeline design my-job --key customer.key --says \"agreed, rev. C\""
    )]
    Design(Design),
    /// Seal a job: a signed list of every file with its digest.
    #[command(
        after_help = "Exit codes: 0 sealed as complete; 1 something does not hold; 2 sealed as incomplete; 3 it can't be sealed.\n\nExamples:\n  plumeline close my-job --key technician.key\n  plumeline close my-job --key technician.key --incomplete\n  plumeline close my-job --key inspector.key --says \"seen on site\""
    )]
    Close(Close),
    /// Have a time-stamping service say since when a record is there, by files (RFC 3161).
    #[command(
        after_help = "The request goes to a service by any way; it holds a digest and nothing of the job:\n  curl -H 'Content-Type: application/timestamp-query' --data-binary @q.tsq URL -o a.tsr\n\nExamples:\n  plumeline stamp my-job --request q.tsq\n  plumeline stamp my-job --answer a.tsr --anchor service.pem"
    )]
    Stamp(Stamp),
    /// Say what changed at a site between two records of it.
    #[command(
        after_help = "Exit codes: 0 everything is as before; 1 something changed by more than both uncertainties; 2 nothing did, but not everything can be compared; 3 a record can't be used (see docs/compare.md).\n\nExamples:\n  plumeline compare job-2025.zip job-2026\n  plumeline compare job-2025 job-2026 --json"
    )]
    Compare(Compare),
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
    /// Try a description of a model: what a job can prove with it, and what a live unit tells by it.
    #[command(
        after_help = "Exit codes: 0 all was told; 2 something was not; 3 the description can't be used; 4 the line.\n\nExamples:\n  plumeline describe my-model.toml\n  plumeline describe my-model.toml --port serial:/dev/ttyUSB0@19200,8E1"
    )]
    Describe(Describe),
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
    /// Settings on a sheet, for units whose settings a person enters and reads.
    #[command(
        subcommand,
        after_help = "Examples:\n  plumeline settings sheet model-f my-job/settings-new.json\n  plumeline settings sheet my-model.toml --csv --out sheet.csv\n  plumeline settings sheet my-model.toml --from sheet.csv --out my-job/settings-new.json"
    )]
    Settings(SettingsOf),
    /// Carry captured settings over to another model, with an account of every item.
    #[command(
        after_help = "Exit codes: 0 the settings can be loaded; 2 a person has to decide something first; 3 a file can't be used.\nWrites carry-account.json, carry-account.txt and wiring-sheet.txt into the job, and settings-new.json once nothing\nis open (see docs/carry-over.md).\n\nExamples:\n  plumeline carry my-job --to model-b --template   # adds what is open to my-job/decisions.toml, to be filled in\n  plumeline carry my-job --to model-b\n  plumeline carry my-job --to new-model.toml --from old-model.toml --settings captured.json"
    )]
    Carry(Carry),
    /// Judge the readings of any logger, from a text file, by the same rules as a job.
    #[command(
        after_help = "Exit codes: 0 steady, a response, a mean; 2 it can't be told; 3 the file or an option can't be used.\nEncoding, separator, decimal mark and times are found; what can't be told is asked for (see docs/judge.md).\n\nExamples:\n  plumeline judge flow.csv --columns\n  plumeline judge settle flow.csv --slope-limit 2%\n  plumeline judge onset smoke.csv --release 60\n  plumeline judge mean flow.csv --from 120 --calibration-relative 3% --json"
    )]
    Judge(Judge),
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
    /// Monte Carlo draws; if not given 10,000, for more than 200 openings fewer, down to 1000.
    #[arg(long, value_parser = clap::value_parser!(u32).range(100..=10_000_000))]
    pub draws: Option<u32>,
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

//! Arguments of the commands that make, check, run and replay a job.
use crate::commands::invented::{BY_HAND, BY_LINES, BY_REGISTERS, USUAL};
use clap::Args;
use std::path::PathBuf;

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
    /// The replacement: model-b, model-c, model-d, model-e, model-f (read off its display), model-g (read by registers) or
    /// model-h (prints lines).
    #[arg(
        long,
        value_name = "NAME",
        default_value_ifs([("unit", "display", BY_HAND), ("unit", "registers", BY_REGISTERS), ("unit", "lines", BY_LINES), ("unit", "meter", BY_HAND), ("unit", "logger", BY_HAND)]),
        default_value = USUAL
    )]
    pub replacement: String,
    /// What the replacement is asked through: its protocol, its registers, lines that it prints with a simulated person for the
    /// rest, or that person alone, who reads its display and works its keys; `meter`: that display shows no flow, and the person reads a
    /// meter at the exhaust; `logger`: the smoke is timed off the file of a logger on its signal.
    #[arg(long, value_name = "HOW", default_value = "protocol")]
    pub unit: AskedThrough,
    /// With `--unit display`, `meter` or `logger`: the share of typed flows in which the simulated person slips, by the seed.
    #[arg(long, value_name = "SHARE", default_value_t = 0.0)]
    pub slips: f64,
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
    /// A page beside it; goes with --over pty, which it brings along.
    #[command(flatten)]
    pub page: Page,
    /// Replace a job that is there already.
    #[arg(long)]
    pub force: bool,
    /// What is shown.
    #[command(flatten)]
    pub output: Output,
}

/// What the demonstration's replacement is asked through.
#[derive(Clone, Copy, Debug, PartialEq, Eq, clap::ValueEnum)]
pub enum AskedThrough {
    /// Its protocol.
    Protocol,
    /// Its registers (Modbus RTU).
    Registers,
    /// Lines that it prints, and a person.
    Lines,
    /// A person at its display.
    Display,
    /// A person at its lamps, and a meter at its exhaust.
    Meter,
    /// A person at its display, and a logger on its smoke signal.
    Logger,
}
impl AskedThrough {
    /// The replacement that the demonstration's job has for it.
    pub const fn replacement(self) -> &'static str {
        match self {
            Self::Protocol => USUAL,
            Self::Registers => BY_REGISTERS,
            Self::Lines => BY_LINES,
            Self::Display | Self::Meter | Self::Logger => BY_HAND,
        }
    }
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
    /// Lines alone, without the live view that stands at the bottom of a terminal.
    #[arg(long, conflicts_with = "json")]
    pub plain: bool,
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
    /// Pipework from a network in EPANET's text format (.inp), as far as it means something for air.
    #[arg(long, value_name = "FILE", conflicts_with = "from_csv")]
    pub from_inp: Option<PathBuf>,
    /// The replacement's model: a description that comes with the tool, or a file.
    #[arg(long, value_name = "MODEL")]
    pub replacement: Option<String>,
    /// The outgoing unit's model, likewise; "dead" if it can't be asked.
    #[arg(long, value_name = "MODEL")]
    pub outgoing: Option<String>,
    /// Site and zone. What no flag says is asked for at a terminal.
    #[arg(long)]
    pub site: Option<String>,
    /// Who does the work.
    #[arg(long, value_name = "NAME")]
    pub technician: Option<String>,
    /// Numbers of the inlets that carry a pipe, such as 1,2.
    #[arg(long, value_name = "NUMBERS")]
    pub inlets: Option<String>,
    /// The port that the job is run through.
    #[arg(long)]
    pub port: Option<String>,
    /// Another job whose files are taken over (pipework, plan, descriptions, settings, decisions), but no evidence.
    #[arg(long, value_name = "JOB", conflicts_with_all = ["site", "technician", "inlets", "port", "replacement", "outgoing", "from_csv", "from_inp"])]
    pub from: Option<PathBuf>,
    /// A service visit: no unit is exchanged, the one on the wall keeps its settings and its baseline. With --from, at the unit that
    /// JOB left, with the history of the jobs beside JOB.
    #[arg(long, conflicts_with = "outgoing")]
    pub visit: bool,
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
    /// The unit: serial:PATH[@BAUD], usb:VID:PID[:SERIAL], tcp:HOST:PORT, file:PATH, sim:, or display: (a person reads it); the
    /// plan's, if none is given.
    #[arg(long)]
    pub port: Option<String>,
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
    /// A page beside it.
    #[command(flatten)]
    pub page: Page,
    /// Ends with whoever holds the other end of its standard input; for the jobs of a batch.
    #[arg(long, hide = true)]
    pub while_stdin: bool,
    /// What is shown.
    #[command(flatten)]
    pub output: Output,
}

/// A page for phones and laptops.
#[derive(Args, Clone, Debug)]
pub struct Page {
    /// Serve a page to phones and laptops on the local network, at this address of this computer or at the one of its network.
    #[arg(long, value_name = "ADDRESS", num_args = 0..=1, require_equals = true)]
    pub page: Option<Option<String>>,
    /// Serve it over TLS, with this certificate (PEM); without one, with a certificate that is made now, whose fingerprint is shown.
    #[arg(long, value_name = "CERT", num_args = 0..=1, require_equals = true)]
    pub page_tls: Option<Option<PathBuf>>,
    /// The certificate's private key (PEM), if it is not in the same file.
    #[arg(long, value_name = "KEY", requires = "page_tls")]
    pub page_key: Option<PathBuf>,
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

/// Show a recorded job on a page.
#[derive(Args, Debug)]
pub struct Watch {
    /// The job folder.
    pub job: PathBuf,
    /// The page.
    #[command(flatten)]
    pub page: Page,
    /// How much faster than it went.
    #[arg(long, default_value_t = 1.0)]
    pub speed: f64,
}

/// Write the report again.
#[derive(Args, Debug)]
pub struct Report {
    /// The job folder.
    pub job: PathBuf,
}

//! Arguments of the judgements on readings of any logger.
//!
//! Not here: the rules whose parameters these are (the measure crate).
use clap::{Args, Subcommand, ValueEnum};
use plumeline_measure::{mean::Terms, settle, smoke};
use std::path::PathBuf;

/// Readings of any logger, judged or looked at.
#[derive(Args, Debug)]
#[command(args_conflicts_with_subcommands = true, subcommand_negates_reqs = true)]
pub struct Judge {
    /// What they are judged as.
    #[command(subcommand)]
    pub question: Option<Question>,
    /// Show what is understood of the file, without judging anything.
    #[arg(long, required = true)]
    pub columns: bool,
    /// Which file.
    #[command(flatten)]
    pub file: Option<LoggerFile>,
}

/// What readings are judged as.
#[derive(Debug, Subcommand)]
pub enum Question {
    /// Is it steady at the end of the file?
    Settle(Settle),
    /// When did the smoke of one release arrive?
    Onset(Onset),
    /// What is the mean of a steady stretch, and how well is it known?
    Mean(Mean),
}
impl Question {
    /// Which readings, and how they are shown.
    pub const fn logged(&self) -> &Logged {
        match self {
            Self::Settle(a) => &a.logged,
            Self::Onset(a) => &a.logged,
            Self::Mean(a) => &a.logged,
        }
    }
}

/// A logger's file, and what it does not say by itself.
#[derive(Args, Debug)]
pub struct LoggerFile {
    /// The readings: headings that name the columns with their units, then one line for each reading.
    #[arg(id = "logged", value_name = "FILE")]
    pub file: PathBuf,
    /// Column of the times, by name or number; found by itself if not given.
    #[arg(long, value_name = "NAME")]
    pub time: Option<String>,
    /// Column of the readings, by name or number; needed where several columns hold numbers.
    #[arg(long, value_name = "NAME")]
    pub column: Option<String>,
    /// Order of the dates, where they don't tell it themselves (03/04/2026).
    #[arg(long, value_name = "ORDER")]
    pub dates: Option<Dates>,
    /// Decimal mark, where the numbers don't tell it themselves (1,234).
    #[arg(long, value_name = "MARK")]
    pub decimal: Option<DecimalMark>,
    /// Unit of the times, where the heading states none: us, ms, s, min, h, d.
    #[arg(long, value_name = "UNIT")]
    pub time_unit: Option<String>,
    /// Unit of the readings, where the heading states none.
    #[arg(long, value_name = "UNIT")]
    pub unit: Option<String>,
    /// A further word or number that stands for no value. May be given several times.
    #[arg(long, value_name = "WORD", allow_hyphen_values = true)]
    pub gap: Vec<String>,
    /// Encoding of the file, where it is not found by itself.
    #[arg(long, value_name = "NAME")]
    pub encoding: Option<String>,
    /// One JSON object instead of words.
    #[arg(long)]
    pub json: bool,
}

/// Order of the numbers of a date.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Dates {
    /// 31/01/2026
    DayFirst,
    /// 01/31/2026
    MonthFirst,
    /// 26/01/31
    YearFirst,
}

/// A decimal mark.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum DecimalMark {
    /// 12.5
    Point,
    /// 12,5
    Comma,
}

/// Which readings, and how they are judged.
#[derive(Args, Debug)]
pub struct Logged {
    /// Which file.
    #[command(flatten)]
    pub file: LoggerFile,
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
}

/// A flow that is to be steady at the end of the file.
#[derive(Args, Debug)]
pub struct Settle {
    /// Which readings.
    #[command(flatten)]
    pub logged: Logged,
    /// Length of each of the two windows, s.
    #[arg(long, value_name = "S", default_value_t = settle::Rule::default().window.as_secs_f64())]
    pub window: f64,
    /// Largest trend a minute, as a share of the mean (2%) or in the unit of the readings (0.5).
    #[arg(long, value_name = "LIMIT", default_value = "2%", value_parser = slope_limit)]
    pub slope_limit: settle::Limit,
    /// Probability that what is not steady is never called steady.
    #[arg(long, value_name = "P", default_value_t = settle::Rule::default().confidence)]
    pub confidence: f64,
}

/// A smoke signal after one release.
#[derive(Args, Debug)]
pub struct Onset {
    /// Which readings.
    #[command(flatten)]
    pub logged: Logged,
    /// The moment of the release; a time as in the file.
    #[arg(long, value_name = "TIME", allow_hyphen_values = true)]
    pub release: String,
    /// Who marked the release.
    #[arg(long, value_name = "WHO", default_value = "by-hand")]
    pub mark: Mark,
    /// Standard uncertainty of the mark, s; if not given, that of who marked it: 0.35, by a device 0.
    #[arg(long, value_name = "S")]
    pub mark_uncertainty: Option<f64>,
    /// Smallest plateau over the baseline that counts, unit of the readings.
    #[arg(long, value_name = "RISE", default_value_t = smoke::Rule::default().min_rise)]
    pub min_rise: f64,
    /// Shortest rise that counts, s.
    #[arg(long, value_name = "S", default_value_t = smoke::Rule::default().min_duration_s)]
    pub min_duration: f64,
    /// The sensor reads no higher than this, unit of the readings.
    #[arg(long, value_name = "LEVEL")]
    pub full_scale: Option<f64>,
}

/// Who marked the moment of a release.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Mark {
    /// The person who released the smoke.
    ByHand,
    /// Called over a radio: 0 to 2 s late.
    ByRadio,
    /// A release device.
    Device,
}

/// A steady stretch whose mean is wanted.
#[derive(Args, Debug)]
pub struct Mean {
    /// Which readings.
    #[command(flatten)]
    pub logged: Logged,
    /// Standard uncertainty of the calibration as a share of the reading, for example 3%.
    #[arg(long, value_name = "SHARE", default_value = "0", value_parser = share)]
    pub calibration_relative: f64,
    /// Standard uncertainty of the calibration, unit of the readings.
    #[arg(long, value_name = "U", default_value_t = 0.0)]
    pub calibration_absolute: f64,
    /// Probability that the expanded interval is to cover.
    #[arg(long, value_name = "P", default_value_t = Terms::default().coverage)]
    pub coverage: f64,
}

/// `2%` is a share, `0.5` is not.
fn per_cent(text: &str) -> Option<f64> {
    text.strip_suffix('%')?.trim().parse::<f64>().ok().map(|p| p / 100.0)
}

fn slope_limit(text: &str) -> Result<settle::Limit, &'static str> {
    let absolute = || text.parse().ok().map(settle::Limit::Absolute);
    let limit = per_cent(text).map(settle::Limit::Relative).or_else(absolute);
    limit.ok_or("write a share (2%) or a number in the unit of the readings (0.5)")
}

fn share(text: &str) -> Result<f64, &'static str> {
    per_cent(text).or_else(|| text.parse().ok()).ok_or("write a share, for example 3% or 0.03")
}

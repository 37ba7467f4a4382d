//! Arguments of the judgements on readings of any logger.
//!
//! Not here: the rules whose parameters these are (the measure crate).
use clap::{Args, Subcommand, ValueEnum};
use plumeline_measure::{mean::Terms, settle, smoke};
use std::path::PathBuf;

/// What readings are judged as.
#[derive(Debug, Subcommand)]
pub enum Judge {
    /// Is it steady at the end of the file?
    Settle(Settle),
    /// When did the smoke of one release arrive?
    Onset(Onset),
    /// What is the mean of a steady stretch, and how well is it known?
    Mean(Mean),
}
impl Judge {
    /// Which readings, and how they are shown.
    pub const fn logged(&self) -> &Logged {
        match self {
            Self::Settle(a) => &a.logged,
            Self::Onset(a) => &a.logged,
            Self::Mean(a) => &a.logged,
        }
    }
}

/// Which readings, and how they are shown.
#[derive(Args, Debug)]
pub struct Logged {
    /// The readings: a header that names the columns with their units, then one line for each reading.
    pub file: PathBuf,
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
    /// One JSON object instead of words.
    #[arg(long)]
    pub json: bool,
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

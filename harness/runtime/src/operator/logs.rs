//! A simulated logger on the smoke signal of a simulated unit: its clock, which is off and drifts, and the file that it stored.
//!
//! Not here: when somebody looks at its clock or gives its file ([`super::script`]).
use super::Site;
use crate::failure::Failure;
use plumeline_base::{Instant, time::seconds};
use serde::Deserialize;
use serde_json::json;
use std::fmt::Write as _;
use time::{OffsetDateTime, format_description::well_known::Rfc3339};

/// A logger by its clock.
#[derive(Clone, Debug)]
pub struct SimulatedLogger {
    /// What its clock shows at the beginning of the log, RFC 3339.
    pub starts: String,
    /// By how much its clock runs faster, parts in a million.
    pub ppm: f64,
    /// How its files are spoilt, each time that one is given; the last stands for all that follow. None: none is.
    pub spoilt: Vec<Spoilt>,
}
impl Default for SimulatedLogger {
    /// Four minutes off, and 40 parts in a million fast. Invented.
    fn default() -> Self {
        Self { starts: "2026-01-31T08:04:12.3Z".into(), ppm: 40.0, spoilt: Vec::new() }
    }
}

/// How a file is spoilt.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Spoilt {
    /// It is not.
    Sound,
    /// It is of the day before.
    AnotherDay,
    /// Its clock was set back by this many seconds in the middle.
    SetBack(u32),
    /// So many seconds are missing in the middle of each release's rise.
    Gaps(u32),
    /// It stores one and the same reading.
    Flat,
    /// Its column is in mA.
    AnotherUnit,
    /// It holds no row.
    Empty,
    /// It has a second column of numbers.
    TwoColumns,
    /// Everything comes so many seconds later than it was.
    Later(u32),
}

#[derive(Deserialize)]
struct Reply {
    #[serde(default)]
    logger: Vec<(f64, f64)>,
}

/// What becomes of a simulated logger in a job.
#[derive(Default)]
pub(super) struct Kept {
    logger: Option<SimulatedLogger>,
    given: usize,
    at_hand: Option<(String, Vec<u8>)>,
}

impl Kept {
    pub(super) fn new(logger: SimulatedLogger) -> Self {
        Self { logger: Some(logger), ..Self::default() }
    }
    pub(super) fn at_hand(&mut self) -> Option<(String, Vec<u8>)> {
        self.at_hand.take()
    }
    /// When its clock next turns to a whole second.
    pub(super) fn turns(&self, now: Instant) -> Option<Instant> {
        let shown = self.clock_s(now)?;
        Some(now + seconds((shown.floor() + 1.0 - shown) / self.rate()))
    }
    /// What its clock shows, and that it stores from now on.
    pub(super) fn shows(&self, now: Instant, site: &mut dyn Site) -> Result<Option<String>, Failure> {
        // Pressed when the second begins: a moment later it is still that second.
        let Some(shown) = self.clock_s(now) else { return Ok(None) };
        site.command(now, &json!({ "do": "logger" }).to_string())?;
        Ok(written((shown + 1e-3).floor()))
    }
    /// Gives the file that it stored: its name.
    pub(super) fn give(&mut self, now: Instant, site: &mut dyn Site) -> Result<Option<String>, Failure> {
        let Some(logger) = &self.logger else { return Ok(None) };
        let text = site.command(now, &json!({ "do": "logger" }).to_string())?;
        let Reply { logger: rows } = serde_json::from_str(&text).map_err(|e| {
            let remedy = "check that the address is a simulator's site control";
            Failure::trouble(format!("site control: `{text}` is no reply ({e})"), remedy)
        })?;
        let spoilt = logger.spoilt.get(self.given).or(logger.spoilt.last()).copied().unwrap_or(Spoilt::Sound);
        self.given += 1;
        let file = self.file(&rows, spoilt);
        let name = "simulated-logger.csv".to_owned();
        self.at_hand = Some((name.clone(), file.into_bytes()));
        Ok(Some(name))
    }
    fn rate(&self) -> f64 {
        1.0 + self.logger.as_ref().map_or(0.0, |l| l.ppm) * 1e-6
    }
    /// What its clock shows, s since 1970.
    fn clock_s(&self, now: Instant) -> Option<f64> {
        let starts = OffsetDateTime::parse(&self.logger.as_ref()?.starts, &Rfc3339).ok()?;
        Some(starts.unix_timestamp_nanos() as f64 * 1e-9 + now.as_secs_f64() * self.rate())
    }
    /// As loggers of central Europe write it: semicolons, decimal commas, days first.
    fn file(&self, rows: &[(f64, f64)], spoilt: Spoilt) -> String {
        let unit = if spoilt == Spoilt::AnotherUnit { "mA" } else { "%/m" };
        let second = if spoilt == Spoilt::TwoColumns { ";temperature [\u{b0}C]" } else { "" };
        let mut file = format!("logger of a simulated site\r\ntime;smoke [{unit}]{second}\r\n");
        if spoilt == Spoilt::Empty {
            return file;
        }
        let middle = rows.get(rows.len() / 2).map_or(0.0, |(s, _)| *s);
        let highest = rows.iter().map(|(_, v)| *v).fold(0.0, f64::max);
        for (i, (s, value)) in rows.iter().enumerate() {
            let at = Instant::from_micros((s * 1e6) as u64);
            let rises = *value > 0.05 * highest && *value < 0.9 * highest;
            let off = match spoilt {
                Spoilt::AnotherDay => -86_400.0,
                Spoilt::SetBack(by) if *s > middle => -f64::from(by),
                Spoilt::Later(by) => f64::from(by),
                Spoilt::Gaps(lasts) if rises && i % (2 * lasts as usize).max(1) < lasts as usize => continue,
                _ => 0.0,
            };
            let value = if spoilt == Spoilt::Flat { 0.01 } else { *value };
            let Some(time) = self.clock_s(at).and_then(|s| written((s + off).floor())) else { continue };
            let third = if spoilt == Spoilt::TwoColumns { ";21,5" } else { "" };
            // Into memory: this can't fail.
            let _ = write!(file, "{time};{}{third}\r\n", format!("{value:.4}").replace('.', ","));
        }
        file
    }
}

/// A second since 1970 as it is written.
fn written(s: f64) -> Option<String> {
    let t = OffsetDateTime::from_unix_timestamp(s as i64).ok()?;
    let (day, month, year) = (t.day(), u8::from(t.month()), t.year());
    Some(format!("{day:02}.{month:02}.{year} {:02}:{:02}:{:02}", t.hour(), t.minute(), t.second()))
}

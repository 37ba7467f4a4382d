//! The response of a smoke signal to one release: whether there is one, when it starts, how it goes on.
//!
//! Detection by Page's CUSUM on whitened readings, the time of the change by maximum likelihood over a family of
//! rises with its normalised profile likelihood as the interval; sources in `docs/measurement.md`.
//!
//! Not here: units (any obscuration or extinction, as long as it is one), alarms, the prediction.
use crate::{Error, Sample, stats};
use alloc::vec::Vec;
use course::{Course, Span};
use plumeline_base::{Instant, quantity::Estimate};
use record::{Detection, Record};
use serde::{Deserialize, Serialize};

mod course;
mod crossing;
mod onset;
mod record;
mod tail;

/// The moment of a release, with what is known about its lateness.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Release {
    /// The mark in log time.
    pub at: Instant,
    /// Standard uncertainty of the mark itself, s (0.2 to 0.5 s by hand: common practice, no source).
    pub u_s: f64,
    /// The mark comes this much later than the release at least, s.
    pub late_min_s: f64,
    /// The mark comes this much later than the release at most, s (2 s when called by radio: common practice, no source).
    pub late_max_s: f64,
}
impl Release {
    /// Marked by the person who released the smoke: 0.35 s standard uncertainty, not late. Common practice, no source.
    pub const fn by_hand(at: Instant) -> Self {
        Self { at, u_s: 0.35, late_min_s: 0.0, late_max_s: 0.0 }
    }
    /// Marked when the call came over the radio, 0 to 2 s late. Common practice, no source.
    pub const fn by_radio(at: Instant) -> Self {
        Self { at, u_s: 0.35, late_min_s: 0.0, late_max_s: 2.0 }
    }
    /// By a release device whose clock is tied with standard uncertainty `u_s`.
    pub const fn by_device(at: Instant, u_s: f64) -> Self {
        Self { at, u_s, late_min_s: 0.0, late_max_s: 0.0 }
    }
    /// Seconds to add to a time counted from the mark: the mean lateness (uniform between its bounds).
    pub fn correction_s(&self) -> f64 {
        (self.late_min_s + self.late_max_s) / 2.0
    }
    /// Standard uncertainty of the release moment, s (rectangular lateness, JCGM 100 clause 4.3.7).
    pub fn u(&self) -> f64 {
        libm::hypot(self.u_s, (self.late_max_s - self.late_min_s) / libm::sqrt(12.0))
    }
}

/// What counts as a response. Part of the job.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Rule {
    /// Step of the transmitted number, unit of the reading.
    pub resolution: f64,
    /// The unit reads no higher than this; `f64::INFINITY` if unknown.
    pub full_scale: f64,
    /// Smallest plateau over the baseline that counts, unit of the reading.
    pub min_rise: f64,
    /// Smallest plateau in standard deviations of the baseline readings.
    pub min_rise_sd: f64,
    /// Shortest rise that counts, s: shorter is a spike or a puff too short to time.
    pub min_duration_s: f64,
    /// Fewest readings before the release.
    pub min_before: usize,
    /// Longest time between readings that is no gap, s.
    pub max_gap_s: f64,
    /// Probability of calling a signal without smoke a response, per analysis.
    pub false_alarm: f64,
}
impl Default for Rule {
    /// No resolution, no full scale, any rise of 6 standard deviations for 3 s, 3 readings before, gaps up to 3 s, 0.001.
    fn default() -> Self {
        Self {
            resolution: 0.0,
            full_scale: f64::INFINITY,
            min_rise: 0.0,
            min_rise_sd: 6.0,
            min_duration_s: 3.0,
            min_before: 3,
            max_gap_s: 3.0,
            false_alarm: 1e-3,
        }
    }
}

/// When a rise reached [`SHARE`] of its plateau, by the signal alone (without the release moment's own uncertainty).
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Onset {
    /// Best estimate, s of log time.
    pub at_s: f64,
    /// Standard uncertainty, s.
    pub u_s: f64,
    /// Interval that covers with 95 %, s of log time.
    pub interval95_s: (f64, f64),
}

/// One puff: a rise and fall that stands clear of the baseline.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Puff {
    /// Start, peak and end, s of log time; the end is `None` if the record ends first.
    pub start_s: f64,
    /// Instant of the highest smoothed reading, s of log time.
    pub peak_s: f64,
    /// End, s of log time; `None` if the record ends first.
    pub end_s: Option<f64>,
    /// Highest smoothed reading over the baseline.
    pub peak: f64,
}

/// A response that can be timed.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Response {
    /// When a tenth of the plateau was reached, s after the release, its moment's uncertainty and mean lateness included (all in `u_individual`).
    pub onset_s: Estimate,
    /// 95 % interval of `onset_s`.
    pub onset_interval95_s: (f64, f64),
    /// The same onset by the signal alone.
    pub onset: Onset,
    /// Time to half of the plateau, s after the release, as `onset_s`.
    pub half_plateau_s: Estimate,
    /// Plateau over the baseline: the highest that the first puff's response without noise reached.
    pub plateau: Estimate,
    /// Highest smoothed reading over the baseline.
    pub peak: f64,
    /// From the end of the first puff's plateau to half of it, s, if the record shows it.
    pub decay_s: Option<f64>,
    /// Each puff in turn, at least one.
    pub puffs: Vec<Puff>,
    /// The baseline at the onset.
    pub baseline: Estimate,
    /// Drift of the baseline, per minute.
    pub drift_per_minute: f64,
    /// Standard deviation of single readings about the baseline.
    pub noise_sd: f64,
}

/// Why a signal shows neither a response nor its absence.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Unclear {
    /// The evidence itself is unusable.
    Evidence(Error),
    /// It rose before the release could have reached anything.
    BeforeRelease {
        /// Onset, s of log time.
        onset_s: f64,
    },
    /// It rose for a shorter time than the rule counts.
    TooShort {
        /// How long, s.
        lasted_s: f64,
    },
    /// The baseline before the release is not flat or wanders.
    RestlessBaseline {
        /// Drift per minute.
        drift_per_minute: f64,
    },
    /// The record ends before the rise has shown its plateau.
    EndsTooSoon,
    /// No rise that smoke makes explains the readings around it.
    TooSlow,
}

/// What the signal shows.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Outcome {
    /// A response that can be timed.
    Response(Response),
    /// Something rose, but less than the rule counts: undecided, never a time.
    TooWeak {
        /// Its height over the baseline.
        peak: f64,
        /// The smallest height that counts.
        needed: f64,
    },
    /// Nothing rose.
    NoRise {
        /// The smallest plateau that would have been seen.
        would_have_seen: f64,
    },
    /// The reading ran into its ceiling: an onset, but no plateau, and so no time to half of it.
    Saturated {
        /// When a tenth of what shows under the ceiling was reached, s after the release: no later than a tenth of the plateau that nobody saw.
        onset_s: Estimate,
        /// 95 % interval of `onset_s`.
        onset_interval95_s: (f64, f64),
        /// First reading at the ceiling, s of log time.
        since_s: f64,
    },
    /// It can't be told.
    Undecided {
        /// Why.
        because: Unclear,
    },
}

/// What the readings `after` a release show against those `before` it.
///
/// `before` ends where `after` begins; both in order. Never fails: what can't be judged is [`Outcome::Undecided`].
pub fn analyse(before: &[Sample], after: &[Sample], release: &Release, rule: &Rule) -> Outcome {
    if !release.is_sound() {
        let bad = Error::BadRule { what: "release", range: "finite, not negative, earliest before latest" };
        return Outcome::Undecided { because: Unclear::Evidence(bad) };
    }
    match Record::new(before, after, rule) {
        Ok(record) => match follow(record, release, rule) {
            outcome if outcome.is_finite() => outcome,
            _ => Outcome::Undecided { because: Unclear::Evidence(Error::UnsoundEstimate) },
        },
        Err(error) => Outcome::Undecided { because: Unclear::Evidence(error) },
    }
}

/// Whether these readings could stand before a release: enough of them, and neither wandering nor rising. Known before any
/// smoke is released, so that waiting for it picks no result. Whether a sensor lives that reads the same all the time is shown
/// by the smoke.
pub fn is_at_rest(before: &[Sample], rule: &Rule) -> bool {
    match Record::new(before, &[], rule) {
        Ok(record) => record.ceiling.is_none() && !record.wanders() && !record.rises_before(rule),
        Err(error) => matches!(error, Error::Stuck { .. }) && before.iter().all(|s| s.value < rule.full_scale),
    }
}

fn follow(mut record: Record, release: &Release, rule: &Rule) -> Outcome {
    let undecided = |because| Outcome::Undecided { because };
    let after = record.y.len() - record.before;
    let shortest = record.readings_in(rule.min_duration_s);
    if after < 2 * shortest {
        return undecided(Unclear::Evidence(Error::TooFew { have: after, need: 2 * shortest }));
    }
    if record.ceiling.is_some_and(|c| c < record.before) || record.rises_before(rule) {
        let drift = Course::new(&record, record.before, rule).map_or(0.0, |c| c.drift_per_minute());
        return undecided(Unclear::RestlessBaseline { drift_per_minute: drift });
    }
    let needed = record.needed(rule);
    let (mut start, mut weak) = (record.before, None::<(f64, f64)>);
    while let Some(found) = record.detect(start..record.searched(rule), rule) {
        // The toe of a slow rise is left out of the baseline.
        let foot = found.from.saturating_sub(shortest).max(record.before);
        record.learn(foot, rule);
        let needed = record.needed(rule);
        let Some(course) = Course::new(&record, foot, rule) else { break };
        let puffs = course.puffs(needed);
        let Some(first) = puffs.first().copied() else { break };
        // A height that is not known from nothing is none: a baseline of a moment, carried far, leaves any.
        let needed = needed.max(KNOWN * course.plateau(&first).u());
        if first.height < needed {
            weak = Some(weak.filter(|(peak, _)| *peak >= first.height).unwrap_or((first.height, needed)));
            start = course.past(&first).max(found.known);
            continue;
        }
        return response(&record, &course, &found, &puffs, release, rule).unwrap_or_else(undecided);
    }
    if let Some(found) = record.plain(record.before..record.searched(rule), rule)
        && let Some(course) = Course::new(&record, found.from.saturating_sub(shortest).max(record.before), rule)
    {
        let puffs = course.puffs(needed);
        return response(&record, &course, &found, &puffs, release, rule).unwrap_or_else(undecided);
    }
    let would_have_seen = record.smallest_seen(rule);
    if let Some(found) = record.shift(rule) {
        record.relearn(found.from, rule);
        let needed = record.needed(rule);
        if let Some(course) = Course::new(&record, found.from, rule) {
            let puffs = course.puffs(needed);
            match puffs.first() {
                Some(first) if first.height >= needed => {
                    return response(&record, &course, &found, &puffs, release, rule).unwrap_or_else(undecided);
                }
                first => weak = weak.or(first.map(|first| (first.height, needed))),
            }
        }
    }
    match weak {
        Some((peak, needed)) => Outcome::TooWeak { peak, needed },
        None => match record.spiked(would_have_seen) {
            Some(lasted_s) => undecided(Unclear::TooShort { lasted_s }),
            None => Outcome::NoRise { would_have_seen },
        },
    }
}

/// The share of the plateau whose moment is the onset: reached by every rise, dispersed or not, and never before smoke can be seen.
pub const SHARE: f64 = 0.1;
/// Standard uncertainties of a plateau that it must exceed.
const KNOWN: f64 = 2.0;
/// Readings before a detection that are fitted with the rise, and for how long: a toe must not be taken for a drifting baseline.
const BASELINE: usize = 120;
const BASELINE_S: f64 = 90.0;

fn response(
    record: &Record,
    course: &Course<'_>,
    found: &Detection,
    puffs: &[Span],
    release: &Release,
    rule: &Rule,
) -> Result<Outcome, Unclear> {
    let first = puffs.first().ok_or(Unclear::EndsTooSoon)?;
    let saturated = record.ceiling.filter(|c| *c < course.past(first));
    let lasted_s = course.lasted_s(first);
    if lasted_s < rule.min_duration_s && saturated.is_none() {
        return Err(Unclear::TooShort { lasted_s });
    }
    if saturated.is_none() && course.still_rising(first) {
        return Err(Unclear::EndsTooSoon);
    }
    let from = found.from.saturating_sub(BASELINE.max(record.readings_in(BASELINE_S))).max(record.clean);
    let to = course.fit_end(first).min(saturated.map_or(usize::MAX, |c| c + 2)).max(found.from + 2).min(record.y.len());
    let plateau = course.plateau(first);
    let level = Estimate::new(SHARE * plateau.value, 0.0, libm::hypot(SHARE * plateau.u(), record.u_rounding()));
    let onset = onset::locate(record, from..to, found.from, &level).ok_or(Unclear::TooSlow)?;
    let onset = if saturated.is_none() { crossing::read_off(record, course, &level, onset) } else { onset };
    let released_s = release.at.as_secs_f64() - release.correction_s();
    let u_release = release.u();
    if onset.interval95_s.1 < released_s - 2.0 * u_release {
        return Err(Unclear::BeforeRelease { onset_s: onset.at_s });
    }
    let since_release = |at: f64, u: f64| Estimate::new(at - released_s, 0.0, libm::hypot(u, u_release));
    let onset_s = since_release(onset.at_s, onset.u_s);
    // Each side of the interval and the release moment's 95 % in quadrature.
    let side = |edge: f64| libm::hypot(edge - onset.at_s, stats::normal_quantile(0.975) * u_release);
    let onset_interval95_s = (onset_s.value - side(onset.interval95_s.0), onset_s.value + side(onset.interval95_s.1));
    if let Some(ceiling) = saturated {
        let since_s = record.t.get(ceiling).copied().unwrap_or(f64::NAN);
        return Ok(Outcome::Saturated { onset_s, onset_interval95_s, since_s });
    }
    let half = course.half_plateau(first, &plateau).ok_or(Unclear::TooSlow)?;
    Ok(Outcome::Response(Response {
        onset_s,
        onset_interval95_s,
        onset,
        half_plateau_s: since_release(half.value, half.u()),
        plateau,
        peak: puffs.iter().fold(0.0, |a, p| p.height.max(a)),
        decay_s: course.decay_s(first, &plateau),
        puffs: puffs.iter().map(|p| course.puff(p)).collect(),
        baseline: course.baseline_at(onset.at_s),
        drift_per_minute: course.drift_per_minute(),
        noise_sd: record.noise.sd,
    }))
}

impl Outcome {
    /// Every number in it is one, and no uncertainty is negative.
    fn is_finite(&self) -> bool {
        let sound = |e: &Estimate| e.value.is_finite() && e.u().is_finite() && e.u() >= 0.0;
        let span = |(low, high): (f64, f64)| low.is_finite() && high.is_finite() && low <= high;
        match self {
            Self::Response(r) => {
                let all = [&r.onset_s, &r.half_plateau_s, &r.plateau, &r.baseline];
                all.into_iter().all(sound) && span(r.onset_interval95_s) && r.peak.is_finite() && r.noise_sd.is_finite()
            }
            Self::Saturated { onset_s, onset_interval95_s, .. } => sound(onset_s) && span(*onset_interval95_s),
            Self::TooWeak { peak, needed } => peak.is_finite() && needed.is_finite(),
            Self::NoRise { would_have_seen } => would_have_seen.is_finite(),
            Self::Undecided { .. } => true,
        }
    }
}

impl Release {
    fn is_sound(&self) -> bool {
        let sound = |v: f64| v.is_finite() && v >= 0.0;
        sound(self.u_s) && sound(self.late_min_s) && sound(self.late_max_s) && self.late_min_s <= self.late_max_s
    }
}

impl Rule {
    fn check(&self) -> Result<(), Error> {
        let sound = |v: f64| v.is_finite() && v >= 0.0;
        let checks = [
            (sound(self.resolution), "resolution", "finite and not negative"),
            (!self.full_scale.is_nan() && self.full_scale > 0.0, "full_scale", "positive"),
            (sound(self.min_rise), "min_rise", "finite and not negative"),
            (sound(self.min_rise_sd) && self.min_rise_sd >= 3.0, "min_rise_sd", "at least 3"),
            (sound(self.min_duration_s) && self.min_duration_s > 0.0, "min_duration_s", "positive"),
            (self.min_before >= 3, "min_before", "at least 3"),
            (sound(self.max_gap_s) && self.max_gap_s > 0.0 && self.max_gap_s < 1e6, "max_gap_s", "positive"),
            (self.false_alarm > 0.0 && self.false_alarm < 0.5, "false_alarm", "over 0, under 0.5"),
        ];
        match checks.iter().find(|(sound, ..)| !sound) {
            Some((_, what, range)) => Err(Error::BadRule { what, range }),
            None => Ok(()),
        }
    }
}

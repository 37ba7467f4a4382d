//! Ties a device's clock to log time by exchanges of time stamps, with drift and uncertainty (RFC 5905).
//!
//! Not here: sending the exchange; when to repeat it.
use crate::Error;
use alloc::vec::Vec;
use core::time::Duration;
use plumeline_base::Instant;
use serde::{Deserialize, Serialize};

/// One exchange of time stamps (RFC 5905, section 8: T1 to T4).
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Exchange {
    /// T1: the request left, log time.
    pub sent: Instant,
    /// T2: the device got it, device time in us.
    pub device_received_us: u64,
    /// T3: the device answered, device time in us.
    pub device_sent_us: u64,
    /// T4: the answer came, log time.
    pub received: Instant,
}

/// What one exchange tells.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Offset {
    /// Device time minus log time, s: ((T2 - T1) + (T3 - T4)) / 2.
    pub offset_s: f64,
    /// Time spent on the way, both ways, s: (T4 - T1) - (T3 - T2). The true offset lies within half of it.
    pub delay_s: f64,
    /// Middle of the exchange, log time.
    pub at: Instant,
}

/// Offset and delay of one exchange.
///
/// # Errors
/// [`Error::BadExchange`] if the stamps run backwards or the device claims to have held the request longer than it was away.
pub fn exchange(e: &Exchange) -> Result<Offset, Error> {
    let away = e.received.since(e.sent).as_secs_f64();
    let bad = Error::BadExchange { at: e.received };
    let held = e.device_sent_us.checked_sub(e.device_received_us).ok_or(bad)? as f64 * 1e-6;
    if e.received < e.sent || held > away {
        return Err(bad);
    }
    // T2 - T1 and T3 - T4, exact in integers before they become seconds.
    let there = difference_s(e.device_received_us, e.sent.as_micros());
    let back = difference_s(e.device_sent_us, e.received.as_micros());
    Ok(Offset { offset_s: (there + back) / 2.0, delay_s: away - held, at: e.sent + e.received.since(e.sent) / 2 })
}

/// a - b in seconds, both in us.
fn difference_s(a: u64, b: u64) -> f64 {
    (i128::from(a) - i128::from(b)) as f64 * 1e-6
}

/// What is known of the device's clock beforehand.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Rule {
    /// Largest drift of the device's clock against the host's, parts per million (500 as RFC 5905's frequency tolerance would allow for both).
    pub max_drift_ppm: f64,
    /// Longest delay of an exchange that is used, s.
    pub max_delay_s: f64,
    /// Finest step of the device's clock, s.
    pub resolution_s: f64,
    /// How far beyond the exchanges an instant may be mapped, s.
    pub reach_s: f64,
}
impl Default for Rule {
    /// 500 ppm, 1 s, 1 ms, 120 s.
    fn default() -> Self {
        Self { max_drift_ppm: 500.0, max_delay_s: 1.0, resolution_s: 1e-3, reach_s: 120.0 }
    }
}

/// A device instant in log time.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Mapped {
    /// Log time.
    pub at: Instant,
    /// Standard uncertainty, s.
    pub u_s: f64,
}

/// A tie between one boot of a device's clock and log time: a weighted straight line through the offsets, with the
/// bound on the drift as prior knowledge, so that one exchange ties already and more make it better.
#[derive(Clone, Debug)]
pub struct Tie {
    rule: Rule,
    points: Vec<Point>,
    fit: Fit,
}

#[derive(Clone, Copy, Debug)]
struct Point {
    /// Middle of the exchange in device time, us.
    device_us: u64,
    offset: Offset,
}

/// offset(d) = offset_s + drift (d - origin), d in device time.
#[derive(Clone, Copy, Debug, Default)]
struct Fit {
    origin_us: u64,
    offset_s: f64,
    drift: f64,
    var_offset: f64,
    var_drift: f64,
    covariance: f64,
    /// Shared by all exchanges: the way there may always be slower than the way back.
    u_common_s: f64,
}

impl Tie {
    /// No exchange yet: nothing can be mapped.
    pub fn new(rule: Rule) -> Self {
        Self { rule, points: Vec::new(), fit: Fit::default() }
    }
    /// Takes an exchange.
    ///
    /// # Errors
    /// [`Error::BadExchange`] or [`Error::OutOfOrder`]: it is left out, the tie stands. [`Error::ClockJump`]: the device's
    /// clock was set or runs away; the tie starts anew with this exchange, and what was mapped before it must not be
    /// compared with what comes after. [`Error::BadRule`]: the rule can't be used.
    pub fn push(&mut self, e: &Exchange) -> Result<Offset, Error> {
        self.rule.check()?;
        let offset = exchange(e)?;
        if offset.delay_s > self.rule.max_delay_s {
            return Err(Error::BadExchange { at: e.received });
        }
        let device_us = e.device_received_us + (e.device_sent_us - e.device_received_us) / 2;
        let point = Point { device_us, offset };
        let jump = match self.points.last() {
            Some(last) if last.offset.at >= offset.at => {
                return Err(Error::OutOfOrder { at: offset.at, before: last.offset.at });
            }
            Some(last) => {
                let off_by = offset.offset_s - last.offset.offset_s;
                let elapsed = offset.at.since(last.offset.at).as_secs_f64();
                // The largest difference that honest clocks can show (RFC 5905, section 11.1: maximum error).
                let most = (offset.delay_s + last.offset.delay_s) / 2.0
                    + self.rule.max_drift_ppm * 1e-6 * elapsed
                    + 2.0 * self.rule.resolution_s;
                (off_by.abs() > most).then_some(Error::ClockJump { at: offset.at, by_s: off_by })
            }
            None => None,
        };
        if jump.is_some() {
            self.points.clear();
        }
        self.points.push(point);
        self.fit = fit(&self.points, &self.rule);
        jump.map_or(Ok(offset), Err)
    }
    /// Maps a device instant, in us of its clock, to log time.
    ///
    /// # Errors
    /// [`Error::TooFew`] without an exchange, [`Error::BeyondTie`] too far from the exchanges or before the start of the log.
    pub fn map(&self, device_us: u64) -> Result<Mapped, Error> {
        let (Some(first), Some(last)) = (self.points.first(), self.points.last()) else {
            return Err(Error::TooFew { have: 0, need: 1 });
        };
        let beyond = first.device_us.saturating_sub(device_us).max(device_us.saturating_sub(last.device_us));
        let beyond = Error::BeyondTie { by: Duration::from_micros(beyond) };
        if matches!(beyond, Error::BeyondTie { by } if by.as_secs_f64() > self.rule.reach_s) {
            return Err(beyond);
        }
        let f = &self.fit;
        let d = difference_s(device_us, f.origin_us);
        let offset_us = libm::round((f.offset_s + f.drift * d) * 1e6) as i128;
        let log_us = u64::try_from(i128::from(device_us).saturating_sub(offset_us)).map_err(|_| beyond)?;
        let variance = f.var_offset + 2.0 * d * f.covariance + d * d * f.var_drift;
        Ok(Mapped { at: Instant::from_micros(log_us), u_s: libm::hypot(libm::sqrt(variance.max(0.0)), f.u_common_s) })
    }
    /// Drift of the device's clock in parts per million with its standard uncertainty; `None` without an exchange.
    pub fn drift_ppm(&self) -> Option<(f64, f64)> {
        let known = !self.points.is_empty();
        known.then(|| (self.fit.drift * 1e6, libm::sqrt(self.fit.var_drift) * 1e6))
    }
    /// The exchanges that it rests on, in order.
    pub fn offsets(&self) -> impl Iterator<Item = Offset> {
        self.points.iter().map(|p| p.offset)
    }
}

impl Rule {
    fn check(&self) -> Result<(), Error> {
        let sound = |v: f64| v.is_finite() && v > 0.0;
        if sound(self.max_drift_ppm) && sound(self.max_delay_s) && sound(self.resolution_s) && sound(self.reach_s) {
            Ok(())
        } else {
            Err(Error::BadRule { what: "clock rule", range: "finite and positive throughout" })
        }
    }
}

fn fit(points: &[Point], rule: &Rule) -> Fit {
    let origin_us = points.first().map_or(0, |p| p.device_us);
    // Rectangular over the whole range that a delay allows (JCGM 100, 4.3.7), and the device's own step.
    let u = |p: &Point| libm::hypot(p.offset.delay_s, rule.resolution_s) / libm::sqrt(12.0);
    let base = points.first().map_or(0.0, |p| p.offset.offset_s);
    let (mut w, mut wx, mut wxx, mut wy, mut wxy) = (0.0, 0.0, 0.0, 0.0, 0.0);
    for p in points {
        let weight = 1.0 / (u(p) * u(p));
        let (x, y) = (difference_s(p.device_us, origin_us), p.offset.offset_s - base);
        w += weight;
        wx += weight * x;
        wxx += weight * x * x;
        wy += weight * y;
        wxy += weight * x * y;
    }
    // The bound on the drift as one more observation: drift 0 with the rectangular bound's standard uncertainty.
    let prior = rule.max_drift_ppm * 1e-6 / libm::sqrt(3.0);
    wxx += 1.0 / (prior * prior);
    let determinant = w * wxx - wx * wx;
    Fit {
        origin_us,
        offset_s: base + (wxx * wy - wx * wxy) / determinant,
        drift: (w * wxy - wx * wy) / determinant,
        var_offset: wxx / determinant,
        var_drift: w / determinant,
        covariance: -wx / determinant,
        u_common_s: points.iter().map(u).fold(f64::INFINITY, f64::min),
    }
}

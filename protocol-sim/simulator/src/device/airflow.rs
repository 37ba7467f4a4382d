//! Airflow: supervised against the baseline, and the baseline taken.
use super::{config::Config, store::KeptBaseline};
use crate::sensors::NL_S;
use plumeline_base::Instant;

/// Flow is smoothed over this time before it is judged, s.
const SMOOTH_S: f64 = 5.0;
/// An inlet must be back within its band for this long before its fault goes, s.
const BACK_S: f64 = 5.0;

/// Which inlets are outside their band. Bit 0 is inlet 1.
#[derive(Clone, Debug, Default)]
pub(crate) struct Supervision {
    smooth: Vec<f64>,
    at: Option<Instant>,
    /// Since when each inlet is below, within, above.
    since: Vec<(Side, Instant)>,
    pub(crate) low: u8,
    pub(crate) high: u8,
}
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Side {
    Below,
    Within,
    Above,
}
impl Supervision {
    /// Forgets what it saw, as when the fan starts or a baseline is new.
    pub(crate) fn restart(&mut self) {
        *self = Self::default();
    }
    /// Judges a reading against the baseline.
    pub(crate) fn judge(&mut self, now: Instant, config: &Config, baseline: &KeptBaseline, flow_m3_s: &[f64]) {
        if self.smooth.len() != flow_m3_s.len() {
            self.restart();
            self.smooth = flow_m3_s.to_vec();
            self.since = vec![(Side::Within, now); flow_m3_s.len()];
        }
        let dt = self.at.map_or(0.0, |at| now.since(at).as_secs_f64());
        self.at = Some(now);
        let follow = -libm::expm1(-dt / SMOOTH_S);
        for (i, flow) in flow_m3_s.iter().enumerate() {
            self.smooth[i] += (flow - self.smooth[i]) * follow;
            let normal = baseline.flow_nl_s.get(i).copied().unwrap_or(-1) as f64 * NL_S;
            let side = if !config.used.get(i).copied().unwrap_or(false) || normal <= 0.0 {
                Side::Within
            } else if self.smooth[i] < normal * (1.0 - config.flow_low) {
                Side::Below
            } else if self.smooth[i] > normal * (1.0 + config.flow_high) {
                Side::Above
            } else {
                Side::Within
            };
            if side != self.since[i].0 {
                self.since[i] = (side, now);
            }
            let lasted = now.since(self.since[i].1).as_secs_f64();
            let bit = 1u8.checked_shl(i as u32).unwrap_or(0);
            match side {
                Side::Within if lasted >= BACK_S => {
                    self.low &= !bit;
                    self.high &= !bit;
                }
                Side::Below if lasted >= config.flow_delay_s => {
                    self.low |= bit;
                    self.high &= !bit;
                }
                Side::Above if lasted >= config.flow_delay_s => {
                    self.high |= bit;
                    self.low &= !bit;
                }
                _ => {}
            }
        }
    }
}

/// Readings that a baseline is taken from, one a second.
pub(crate) const READINGS: usize = 30;
/// The two halves of a baseline's readings may differ by this share.
const STEADY: f64 = 0.02;
/// Least flow of an inlet in use that a baseline can be taken over, m3/s (3 L/min).
const LEAST_M3_S: f64 = 3.0 / 60_000.0;

/// A baseline being taken.
#[derive(Clone, Debug, Default)]
pub(crate) struct Taking {
    readings: Vec<Vec<f64>>,
}
impl Taking {
    /// Adds a reading; true when there are enough.
    pub(crate) fn add(&mut self, flow_m3_s: &[f64]) -> bool {
        self.readings.push(flow_m3_s.to_vec());
        self.readings.len() >= READINGS
    }
    /// Per cent done.
    pub(crate) fn progress(&self) -> u8 {
        (self.readings.len() * 100 / READINGS).min(100) as u8
    }
    /// Mean and standard uncertainty of each used inlet, nL/s (-1 where not used), or why not.
    pub(crate) fn finish(&self, used: &[bool]) -> Result<(Vec<i64>, Vec<i64>), String> {
        let (mut flows, mut uncertainties) = (Vec::new(), Vec::new());
        let inlets = self.readings.first().map_or(0, Vec::len);
        for i in 0..inlets {
            if !used.get(i).copied().unwrap_or(false) {
                flows.push(-1);
                uncertainties.push(-1);
                continue;
            }
            let x: Vec<f64> = self.readings.iter().filter_map(|r| r.get(i)).copied().collect();
            let mean = |x: &[f64]| x.iter().sum::<f64>() / x.len().max(1) as f64;
            let (first, second) = x.split_at(x.len() / 2);
            let all = mean(&x);
            if all < LEAST_M3_S {
                return Err(format!("hardly any flow at inlet {}", i + 1));
            }
            if (mean(first) - mean(second)).abs() > STEADY * all {
                return Err(format!("the flow at inlet {} is still changing", i + 1));
            }
            let var = x.iter().map(|v| (v - all) * (v - all)).sum::<f64>() / (x.len() - 1).max(1) as f64;
            flows.push(libm::round(all / NL_S) as i64);
            uncertainties.push(libm::round(libm::sqrt(var / x.len() as f64) / NL_S) as i64);
        }
        Ok((flows, uncertainties))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{models::Model, scenario::Which};
    fn config() -> Config {
        let model = Model::of(Which::Replacement);
        model.configure(&model.factory_settings(2), 2).unwrap()
    }
    #[test]
    fn a_fault_comes_after_its_delay_and_goes_when_flow_is_back() {
        let config = config(); // 30 %, 60 s, inlet 1 in use
        let baseline = KeptBaseline { flow_nl_s: vec![500_000_000, -1], ..KeptBaseline::default() };
        let mut s = Supervision::default();
        let mut first = None;
        for t in 0..200 {
            let flow = if (10..120).contains(&t) { 3e-4 } else { 5e-4 };
            s.judge(Instant::from_secs(t), &config, &baseline, &[flow, 0.0]);
            if s.low == 1 && first.is_none() {
                first = Some(t);
            }
        }
        let first = first.unwrap();
        assert!((70..85).contains(&first), "{first}");
        assert_eq!((s.low, s.high), (0, 0));
    }
    #[test]
    fn ten_per_cent_is_within_the_band() {
        let baseline = KeptBaseline { flow_nl_s: vec![500_000_000, -1], ..KeptBaseline::default() };
        let mut s = Supervision::default();
        for t in 0..1000 {
            s.judge(Instant::from_secs(t), &config(), &baseline, &[4.5e-4, 0.0]);
        }
        assert_eq!((s.low, s.high), (0, 0));
    }
    #[test]
    fn a_baseline_wants_steady_flow() {
        let take = |flow: fn(usize) -> f64| {
            let mut t = Taking::default();
            (0..).take_while(|&i| !t.add(&[flow(i), 0.0])).for_each(drop);
            t.finish(&[true, false])
        };
        assert_eq!(take(|_| 5e-4).unwrap(), (vec![500_000_000, -1], vec![0, -1]));
        assert!(take(|i| 5e-4 * (1.0 + 0.002 * i as f64)).unwrap_err().contains("inlet 1"));
        assert!(take(|_| 1e-6).unwrap_err().contains("hardly any"));
    }
}

//! How a unit lies: in what it acts on, and in what it tells.
//!
//! Not here: the catalogue (see [`crate::lie`]).
use super::{config::Config, tell::Snapshot};
use crate::{
    lie::{Lie, LieKind as K},
    sensors::NL_S,
};
use plumeline_base::{Instant, obscuration::Extinction, quantity::M3_S_PER_L_MIN};
use plumewire::{Conditions, Faults};
use std::{collections::VecDeque, time::Duration};

/// The fan runs at its speed so long after the start, s.
const SPUN_UP_S: f64 = 30.0;

/// What readings say of the air.
#[derive(Clone, Debug, Default)]
struct Air {
    flow: Vec<f64>,
    smoke: Vec<f64>,
}
/// A unit's lies, and what it remembers for them.
#[derive(Clone, Debug, Default)]
pub(crate) struct Liar {
    lies: Vec<Lie>,
    past: VecDeque<(Instant, Air)>,
    repeated: Option<(Instant, Air)>,
    flow_frozen: Option<Vec<f64>>,
    smoke_frozen: Option<Vec<f64>>,
    smooth: Option<(Instant, Air)>,
    at_first: Option<Vec<f64>>,
    /// When a flow fault came that stands.
    fault_since: Option<Instant>,
    /// How often levels have risen, and whether one stands.
    risen: (u32, bool),
    told: u64,
    lost: f64,
    /// Flows of a time after the start.
    recorded: Vec<Vec<f64>>,
    /// Flows when the smoke came.
    in_smoke: Option<Vec<f64>>,
    /// When each level was first told.
    rose: Vec<Option<Instant>>,
    /// How often a flow fault came, and whether one stands.
    flow_faults: (u32, bool),
    /// Since when a supply is missing.
    missing: [Option<Instant>; 2],
    entries: u64,
    /// How many levels there are, and the highest threshold.
    levels: u32,
    highest: Option<f64>,
}
impl Liar {
    pub(crate) fn new(lies: Vec<Lie>) -> Self {
        Self { lies, ..Self::default() }
    }
    /// It tells this lie.
    pub(crate) fn tells(&self, kind: K) -> bool {
        self.severity(kind).is_some()
    }
    /// How badly it tells this lie.
    pub(crate) fn severity(&self, kind: K) -> Option<f64> {
        self.lies.iter().find(|l| l.kind == kind).map(|l| l.severity)
    }
    /// Forgets what it remembers of a run.
    pub(crate) fn restart(&mut self) {
        *self = Self::new(std::mem::take(&mut self.lies));
    }
    /// What it acts on for what is set; `factory`: what it was delivered with.
    pub(crate) fn config(&self, set: Config, factory: impl FnOnce() -> Option<Config>) -> Config {
        let mut acted = set;
        if self.lies.is_empty() {
            return acted;
        }
        if let Some(old) = factory() {
            self.act_on_old(&mut acted, &old);
        }
        self.act_on_levels(&mut acted);
        if self.tells(K::FlowFaultNever) {
            (acted.flow_low, acted.flow_high) = (f64::INFINITY, f64::INFINITY);
        }
        if let Some(ratio) = self.severity(K::FlowBandWide) {
            (acted.flow_low, acted.flow_high) = (acted.flow_low * ratio, acted.flow_high * ratio);
        }
        acted.flow_delay_s += self.severity(K::FlowFaultLate).unwrap_or(0.0);
        acted
    }
    fn act_on_old(&self, acted: &mut Config, old: &Config) {
        for (level, old) in acted.levels.iter_mut().zip(&old.levels) {
            if self.tells(K::OldThresholds) {
                level.threshold = old.threshold;
            }
            if self.tells(K::OldDelays) {
                level.delay_s = old.delay_s;
            }
        }
        if self.tells(K::OldFlowBand) {
            (acted.flow_low, acted.flow_high) = (old.flow_low, old.flow_high);
        }
        if self.tells(K::OldFlowDelay) {
            acted.flow_delay_s = old.flow_delay_s;
        }
        if self.tells(K::OldOutputs) {
            acted.outputs.clone_from(&old.outputs);
        }
    }
    fn act_on_levels(&self, acted: &mut Config) {
        let never = Extinction(f64::INFINITY);
        let levels = &mut acted.levels;
        if self.tells(K::AlarmsDead) {
            levels.iter_mut().for_each(|l| l.threshold = never);
        }
        if self.tells(K::LowestLevelDead) {
            levels.first_mut().into_iter().for_each(|l| l.threshold = never);
        }
        if self.tells(K::HighestLevelDead) {
            levels.last_mut().into_iter().for_each(|l| l.threshold = never);
        }
        if self.tells(K::LevelsReversed) {
            let thresholds: Vec<Extinction> = levels.iter().rev().map(|l| l.threshold).collect();
            levels.iter_mut().zip(thresholds).for_each(|(l, t)| l.threshold = t);
        }
        let ratio = self.severity(K::ThresholdHigh).or(self.severity(K::ThresholdLow)).unwrap_or(1.0);
        for level in levels.iter_mut() {
            level.threshold.0 *= ratio;
            level.delay_s += self.severity(K::AlarmLate).unwrap_or(0.0);
            if self.tells(K::AlarmEarly) {
                level.delay_s = 0.0;
            }
            level.latched &= !self.tells(K::LatchNotKept);
        }
        if self.tells(K::DelaysSwapped)
            && let [first, .., last] = &mut acted.levels[..]
        {
            std::mem::swap(&mut first.delay_s, &mut last.delay_s);
        }
    }

    /// What it keeps as a baseline for what it measured, nL/s (negative: not in use), `first`: the flows after the start.
    pub(crate) fn baseline(&self, flow_nl_s: &mut [i64], first: &[f64]) {
        let high = self.severity(K::BaselineHigh).map(|s| 1.0 + s);
        let ratio = high.or(self.severity(K::BaselineLow).map(|s| 1.0 - s)).unwrap_or(1.0);
        for (i, kept) in flow_nl_s.iter_mut().enumerate().filter(|(_, kept)| **kept >= 0) {
            if let Some(q) = first.get(i).filter(|_| self.tells(K::BaselineOfBefore)) {
                *kept = libm::round(q / NL_S) as i64;
            }
            let nl_s = |l_min: f64| l_min * M3_S_PER_L_MIN / NL_S;
            if let Some(l_min) = self.severity(K::BaselineDesign) {
                *kept = libm::round(nl_s(l_min)) as i64;
            }
            if let Some(step) = self.severity(K::BaselineCoarse).map(nl_s) {
                *kept = libm::round(libm::ceil(*kept as f64 / step) * step) as i64;
            }
            if ratio != 1.0 {
                *kept = libm::round(*kept as f64 * ratio) as i64;
            }
        }
        if self.tells(K::BaselineOtherInlet) {
            flow_nl_s.rotate_right(1);
        }
    }

    /// Whether the next reading is not sent at all.
    pub(crate) fn loses_reading(&mut self) -> bool {
        let Some(share) = self.severity(K::ReadingsLost) else { return false };
        self.lost += share;
        let lost = self.lost >= 1.0;
        self.lost -= f64::from(u8::from(lost));
        lost
    }
    /// What it tells for what it saw, `run_s` after its start, with pipes in the inlets `used`.
    pub(crate) fn tell(&mut self, now: Instant, run_s: f64, config: &Config, seen: &mut Snapshot) {
        if self.lies.is_empty() {
            return;
        }
        let used = &config.used[..];
        self.levels = config.levels.len() as u32;
        self.highest = config.levels.last().map(|l| l.threshold.0);
        self.told += 1;
        if self.tells(K::StampsFall) && self.told.is_multiple_of(10) {
            seen.taken_us = seen.taken_us.saturating_sub(2_000_000);
        }
        self.tell_leak(used, &mut seen.flow_m3_s);
        self.tell_other_flows(run_s, used, seen);
        let mut air = Air { flow: seen.flow_m3_s.clone(), smoke: seen.extinction_per_m.clone() };
        self.tell_scaled(run_s, &mut air);
        self.tell_late(now, !seen.faults.has(Faults::BASELINE), &mut air);
        self.tell_smooth(now, &mut air);
        self.tell_frozen(run_s, &mut air);
        (seen.flow_m3_s, seen.extinction_per_m) = (air.flow, air.smoke);
        self.tell_for_a_time(now, seen);
        self.tell_states(used.len(), seen);
    }
    /// The flow of unused inlets, hidden or among the others'.
    fn tell_leak(&self, used: &[bool], flow: &mut [f64]) {
        if !self.tells(K::LeakUntold) && !self.tells(K::LeakInPipes) {
            return;
        }
        let pipes = used.iter().filter(|u| **u).count().max(1) as f64;
        let mut hidden = 0.0;
        for (q, _) in flow.iter_mut().zip(used).filter(|(_, used)| !**used) {
            hidden += std::mem::take(q);
        }
        if self.tells(K::LeakInPipes) {
            flow.iter_mut().zip(used).filter(|(_, used)| **used).for_each(|(q, _)| *q += hidden / pipes);
        }
    }
    /// Flows that are not those of their inlets or of this time.
    fn tell_other_flows(&mut self, run_s: f64, used: &[bool], seen: &mut Snapshot) {
        let flow = &mut seen.flow_m3_s;
        let ours: Vec<usize> = used.iter().enumerate().filter(|(_, used)| **used).map(|(i, _)| i).collect();
        if self.tells(K::FlowsAveraged) {
            let mean = ours.iter().filter_map(|i| flow.get(*i)).sum::<f64>() / ours.len().max(1) as f64;
            ours.iter().for_each(|i| flow[*i] = mean);
        }
        for i in &ours {
            flow[*i] += self.severity(K::FlowOffset).unwrap_or(0.0) * M3_S_PER_L_MIN;
            flow[*i] *= 1.0 + self.severity(K::FlowCreeps).unwrap_or(0.0) * run_s / 3600.0;
        }
        if run_s < SPUN_UP_S {
            return;
        }
        if let Some(share) = self.severity(K::FlowFloor) {
            let first = self.at_first.get_or_insert_with(|| flow.clone());
            flow.iter_mut().zip(first).for_each(|(q, first)| *q = q.max(*first * share));
        }
        if let Some(s) = self.severity(K::FlowReplayed) {
            if run_s < SPUN_UP_S + s || self.recorded.is_empty() {
                self.recorded.push(flow.clone());
            } else {
                flow.clone_from(&self.recorded[self.told as usize % self.recorded.len()]);
            }
        }
        let smoke = seen.extinction_per_m.iter().copied().fold(0.0, f64::max);
        if self.severity(K::FlowFrozenInSmoke).is_some_and(|least| smoke > least) {
            flow.clone_from(self.in_smoke.get_or_insert_with(|| flow.clone()));
        } else {
            self.in_smoke = None;
        }
    }
    /// Whether a supply (mains 0, battery 1) is told as missing.
    pub(crate) fn tells_missing(&mut self, now: Instant, missing: [bool; 2]) -> [bool; 2] {
        let late_s = self.severity(K::SupplyLate).unwrap_or(0.0);
        let told = [0, 1].map(|i| {
            self.missing[i] = missing[i].then(|| self.missing[i].unwrap_or(now));
            self.missing[i].is_some_and(|at| now.since(at).as_secs_f64() >= late_s)
        });
        if self.tells(K::SupplySwapped) { [told[1], told[0]] } else { told }
    }
    /// Whether the next entry of the log is left out.
    pub(crate) fn loses_entry(&mut self) -> bool {
        self.entries += 1;
        self.tells(K::LogSilent) || self.tells(K::LogLoses) && self.entries.is_multiple_of(2)
    }
    /// How far its clock has leapt ahead, us, so long after its start.
    pub(crate) fn leapt_us(&self, run_s: f64) -> u64 {
        self.severity(K::StampsJump).map_or(0, |every_s| (run_s / every_s) as u64 * 30_000_000)
    }
    /// By another scale, or only a part of what changed since the fan ran.
    fn tell_scaled(&mut self, run_s: f64, air: &mut Air) {
        if let Some(ratio) = self.severity(K::SmokeScaled) {
            air.smoke.iter_mut().for_each(|k| *k *= ratio);
        }
        if let Some(share) = self.severity(K::FlowCompressed).filter(|_| run_s >= SPUN_UP_S) {
            let first = self.at_first.get_or_insert_with(|| air.flow.clone());
            air.flow.iter_mut().zip(first).for_each(|(q, first)| *q = *first + (*q - *first) * share);
        }
    }
    fn tell_late(&mut self, now: Instant, baseline: bool, air: &mut Air) {
        let later = self.severity(K::ReadingsStaleLater).filter(|_| baseline);
        if let Some(late_s) = self.severity(K::ReadingsStale).or(later) {
            let late = Duration::from_secs_f64(late_s);
            self.past.push_back((now, air.clone()));
            while self.past.get(1).is_some_and(|(at, _)| *at + late <= now) {
                self.past.pop_front();
            }
            self.past.front().into_iter().for_each(|(_, past)| air.clone_from(past));
        }
        if let Some(every_s) = self.severity(K::ReadingsRepeated) {
            let every = Duration::from_secs_f64(every_s);
            let old = self.repeated.take().filter(|(at, _)| now.since(*at) < every);
            let (at, kept) = old.unwrap_or_else(|| (now, air.clone()));
            air.clone_from(&kept);
            self.repeated = Some((at, kept));
        }
    }
    fn tell_smooth(&mut self, now: Instant, air: &mut Air) {
        let (flow_s, smoke_s) = (self.severity(K::FlowSmoothed), self.severity(K::SmokeSmoothed));
        let (at, mut kept) = self.smooth.take().unwrap_or_else(|| (now, air.clone()));
        let dt = now.since(at).as_secs_f64();
        for (time_s, kept, seen) in
            [(flow_s, &mut kept.flow, &mut air.flow), (smoke_s, &mut kept.smoke, &mut air.smoke)]
        {
            let share = time_s.map_or(1.0, |s| -libm::expm1(-dt / s));
            for (kept, seen) in kept.iter_mut().zip(seen) {
                *kept += (*seen - *kept) * share;
                *seen = *kept;
            }
        }
        self.smooth = Some((now, kept));
    }
    fn tell_frozen(&mut self, run_s: f64, air: &mut Air) {
        if self.severity(K::FlowFrozenInlet).is_some_and(|after| run_s >= after)
            && let Some(now) = air.flow.first_mut()
        {
            *now = self.flow_frozen.get_or_insert_with(|| vec![*now])[0];
        }
        if self.severity(K::FlowFrozen).is_some_and(|after| run_s >= after) {
            air.flow.clone_from(self.flow_frozen.get_or_insert_with(|| air.flow.clone()));
        }
        if self.severity(K::SmokeFrozen).is_some_and(|after| run_s >= after) {
            air.smoke.clone_from(self.smoke_frozen.get_or_insert_with(|| air.smoke.clone()));
        }
    }
    /// What it tells at first and then no longer.
    fn tell_for_a_time(&mut self, now: Instant, seen: &mut Snapshot) {
        let stands = seen.flow_low | seen.flow_high != 0;
        let since = *self.fault_since.get_or_insert(now);
        if !stands {
            self.fault_since = None;
        } else if self.severity(K::FlowFaultGoes).is_some_and(|s| now.since(since).as_secs_f64() >= s) {
            (seen.flow_low, seen.flow_high) = (0, 0);
            seen.faults = Faults(seen.faults.0 & !Faults::FLOW.0);
        }
        let (faults, stood) = self.flow_faults;
        self.flow_faults = (faults + u32::from(stands && !stood), stands);
        if self.tells(K::FlowFaultOnce) && self.flow_faults.0 > 1 {
            (seen.flow_low, seen.flow_high) = (0, 0);
            seen.faults = Faults(seen.faults.0 & !Faults::FLOW.0);
        }
        if let Some(after_s) = self.severity(K::LevelsDrop) {
            self.rose.resize(32, None);
            for (n, rose) in self.rose.iter_mut().enumerate() {
                let bit = 1u32 << n;
                *rose = (seen.alarms & bit != 0).then(|| rose.unwrap_or(now));
                if rose.is_some_and(|at| now.since(at).as_secs_f64() >= after_s) {
                    seen.alarms &= !bit;
                }
            }
        }
        let (times, stood) = self.risen;
        let risen = seen.alarms != 0;
        self.risen = (times + u32::from(risen && !stood), risen);
        if self.tells(K::AlarmsOnce) && self.risen.0 > 1 {
            (seen.alarms, seen.alarms_latched) = (0, 0);
        }
    }
    fn tell_states(&self, inlets: usize, seen: &mut Snapshot) {
        if self.tells(K::AlarmsHidden) {
            (seen.alarms, seen.alarms_latched) = (0, 0);
        }
        seen.alarms_latched |= u32::from(self.tells(K::LatchedStanding));
        if self.tells(K::LevelsTurned) {
            let turned = |bits: u32| bits.reverse_bits() >> (32 - self.levels.clamp(1, 32));
            (seen.alarms, seen.alarms_latched) = (turned(seen.alarms), turned(seen.alarms_latched));
        }
        if let Some(most) = self.severity(K::SmokeCapped).and_then(|share| Some(share * self.highest?)) {
            seen.extinction_per_m.iter_mut().for_each(|k| *k = k.min(most));
        }
        for (kind, condition) in [(K::LearningOn, Conditions::LEARNING), (K::StartingForever, Conditions::STARTING)] {
            if self.tells(kind) {
                seen.conditions = seen.conditions.with(condition);
            }
        }
        if self.tells(K::InhibitUntold) {
            seen.conditions = Conditions(seen.conditions.0 & !Conditions::INHIBITED.0);
        }
        if self.tells(K::InhibitAlwaysTold) && seen.was_inhibited {
            seen.conditions = seen.conditions.with(Conditions::INHIBITED);
        }
        let all = (1u16 << inlets.min(8)).wrapping_sub(1) as u8;
        for side in [&mut seen.flow_low, &mut seen.flow_high] {
            if self.tells(K::FlowFaultElsewhere) {
                *side = (*side << 1 | *side >> inlets.clamp(1, 8).saturating_sub(1)) & all;
            }
            if self.tells(K::FlowFaultEverywhere) && *side != 0 {
                *side = all;
            }
            if self.tells(K::FaultInletMissing) {
                *side = 0;
            }
        }
        if self.tells(K::FaultWithoutBit) {
            seen.faults = Faults(seen.faults.0 & !Faults::FLOW.0);
        }
    }
}

//! The unit's firmware, as a pure machine: it is given time, what is asked of it and what its sensors stand in.
//!
//! Not here: bytes (see `crate::front`), the air (see [`crate::physics`]) and what people do (see [`crate::site`]).
mod airflow;
mod alarms;
pub(crate) mod asked;
mod baseline;
mod config;
mod hands;
mod log;
mod lying;
pub(crate) mod outputs;
pub mod settings;
pub(crate) mod store;
pub(crate) mod tell;

use crate::{
    lie::{Lie, LieKind as K},
    models::{Follows, Model},
    rng::Stream,
    sensors::{Measured, NL_S, Sensors, Truth},
};
use airflow::{Supervision, Taking};
use alarms::Alarms;
use asked::{Done, Refused, Why};
use config::Config;
use log::Log;
use lying::Liar;
use outputs::{Control, Driven, Inhibit};
use plumeline_base::{Instant, time::micros};
use plumewire::{BaselineState, EventCode, Faults};
use settings::{Setting, from_image, to_image};
use std::{sync::Arc, time::Duration};
use store::{Memory, Store};

/// Time from power until the unit answers at all.
const SILENT: Duration = Duration::from_secs(4);
/// How often the unit looks at its sensors.
const TICK: Duration = Duration::from_secs(1);
/// Fan speed within this share of what it should be counts as up to speed.
const AT_SPEED: f64 = 0.02;

/// What is fitted to this one unit.
#[derive(Clone, Debug)]
pub(crate) struct Fitted {
    pub(crate) model: Arc<Model>,
    pub(crate) serial: String,
    pub(crate) inlets: u8,
    /// It has an obscuration sensor at each inlet.
    pub(crate) sensor_per_inlet: bool,
    /// Seed of what is this unit's own.
    pub(crate) seed: u64,
    /// The fan runs at this share of what is asked of it (a switch in the wrong place).
    pub(crate) fan_factor: f64,
    /// Which setting is lost at the restart after a load.
    pub(crate) loses: Option<usize>,
    /// How it lies.
    pub(crate) lies: Vec<Lie>,
}

/// One run of the firmware, from start to restart.
#[derive(Debug)]
struct Run {
    since: Instant,
    answers_from: Instant,
    running_from: Instant,
    boot_id: u64,
    next_tick: Instant,
    restart_at: Option<Instant>,
    /// Flows at the first look when up.
    first_flow_m3_s: Option<Vec<f64>>,
    taking: Option<Taking>,
    baseline_state: BaselineState,
    baseline_reason: Option<String>,
}
/// Faults: those there now, those latched.
#[derive(Clone, Copy, Debug, Default)]
struct Standing {
    now: Faults,
    latched: Faults,
    /// The settings kept are not whole.
    settings: bool,
}

/// A unit.
#[derive(Debug)]
pub(crate) struct Device {
    fitted: Fitted,
    clock_rate: f64,
    sensors: Sensors,
    store: Store,
    generation: u64,
    memory: Memory,
    config: Config,
    log: Log,
    measured: Measured,
    truth: Truth,
    supervision: Supervision,
    alarms: Alarms,
    faults: Standing,
    control: Control,
    /// Date and time (ms since 1970 UTC) at an instant; a cell of its own keeps them going without supply.
    date: Option<(Instant, u64)>,
    run: Option<Run>,
    liar: Liar,
    /// The settings that were in force before the last load.
    before_load: Option<Vec<u8>>,
    /// The settings of before the first load, to which it goes back by itself where it lies so.
    reverts_to: Option<Vec<u8>>,
    /// When it last looked at its sensors.
    seen_at: Instant,
    /// How often its latches were reset.
    resets: u32,
}

impl Device {
    /// A unit without power. If its store holds nothing whole it has `settings` (the factory's, or the site's).
    pub(crate) fn new(
        fitted: Fitted,
        sensors: Sensors,
        mut store: Store,
        settings: &[Setting],
    ) -> Result<Self, String> {
        let fresh = store.read().is_none();
        let mut memory = store.read().unwrap_or_default();
        if fresh {
            memory.revision = 1;
            memory.image = to_image(settings).map_err(|e| e.to_string())?;
            store.write(&memory);
        }
        let config = fitted.model.configure(settings, fitted.inlets).map_err(|e| e.to_string())?;
        let mut stream = Stream::new(fitted.seed, 1);
        // Quartz: some tens of parts in a million.
        let liar = Liar::new(fitted.lies.clone());
        let clock_rate = 1.0 + 25e-6 * stream.normal() + liar.severity(K::ClockDrifts).unwrap_or(0.0);
        Ok(Self {
            liar,
            fitted,
            clock_rate,
            sensors,
            store,
            generation: 1,
            memory,
            config,
            log: Log::default(),
            measured: Measured::default(),
            truth: Truth::default(),
            supervision: Supervision::default(),
            alarms: Alarms::default(),
            faults: Standing::default(),
            control: Control::default(),
            date: None,
            run: None,
            before_load: None,
            reverts_to: None,
            seen_at: Instant::START,
            resets: 0,
        })
    }

    /// Power comes on.
    pub(crate) fn power_up(&mut self, now: Instant) {
        if self.run.is_none() {
            self.boot(now);
        }
    }
    /// As [`Self::power_up`], but it has been running for long.
    pub(crate) fn running_already(&mut self, now: Instant) {
        self.power_up(now);
        if let Some(run) = &mut self.run {
            (run.answers_from, run.running_from) = (now, now);
        }
    }
    /// Power goes.
    pub(crate) fn power_down(&mut self) {
        self.run = None;
        self.measured = Measured::default();
    }
    /// True while the unit has power.
    pub(crate) const fn powered(&self) -> bool {
        self.run.is_some()
    }
    fn boot(&mut self, now: Instant) {
        let model = self.fitted.model.clone();
        self.memory.boots = self.memory.boots.wrapping_add(1);
        if self.memory.loaded {
            self.memory.loaded = false;
            self.lose_a_setting();
            if let Some(before) = self.before_load.take().filter(|_| self.liar.tells(K::CommitLost)) {
                self.memory.image = before;
            }
        }
        if self.liar.tells(K::DateLost) {
            self.date = None;
        }
        if self.liar.tells(K::BaselineLostAtRestart) {
            self.memory.baseline = None;
        }
        let settings = from_image(&self.memory.image).ok();
        let config = settings.and_then(|s| model.configure(&s, self.fitted.inlets).ok());
        self.faults = Standing { settings: config.is_none(), ..Standing::default() };
        if let Some(config) = config.or_else(|| self.factory()) {
            self.config = self.liar.config(config, || self.factory());
        }
        // Outputs that were inhibited stay so, and the fault says it, until the air is clear: as after a lapse.
        self.control.inhibit =
            if self.memory.inhibited { Inhibit::Lapsed { lease: 0, since: now } } else { Inhibit::Free };
        self.keep();
        let mut own = Stream::new(self.fitted.seed, 2);
        let starts = if self.liar.tells(K::BootIdUnchanged) { 1 } else { self.memory.boots };
        let boot_id = (own.word() & 0xF_FFFF) << 32 | u64::from(starts);
        let boot_s =
            model.boot_s * (1.0 + 0.05 * Stream::new(self.fitted.seed, 1000 + u64::from(self.memory.boots)).normal());
        self.liar.restart();
        self.alarms = Alarms::default();
        self.supervision.restart();
        self.control.driven = Driven::default();
        self.control.held = 0;
        self.run = Some(Run {
            since: now,
            answers_from: now + SILENT,
            running_from: now + Duration::from_secs_f64(boot_s.max(5.0)),
            boot_id,
            next_tick: now + TICK,
            restart_at: None,
            first_flow_m3_s: None,
            taking: None,
            baseline_state: BaselineState::Idle,
            baseline_reason: None,
        });
        self.note(now, EventCode::Started, "started".into());
    }
    /// What the factory's settings come to.
    fn factory(&self) -> Option<Config> {
        let (model, inlets) = (&self.fitted.model, self.fitted.inlets);
        model.configure(&model.factory_settings(inlets), inlets).ok()
    }
    /// What was wrong inside it was mended, or is still so.
    pub(crate) fn mended(&mut self, loses: Option<usize>, fan_factor: f64) {
        (self.fitted.loses, self.fitted.fan_factor) = (loses, fan_factor);
    }
    /// The defect: one setting silently goes back to the factory's value. The revision stays, as it does when memory fails.
    fn lose_a_setting(&mut self) {
        let Some(from) = self.fitted.loses else { return };
        let factory = self.fitted.model.factory_settings(self.fitted.inlets);
        let Ok(mut settings) = from_image(&self.memory.image) else { return };
        let n = settings.len();
        let differs = |i: &usize| settings.get(*i).zip(factory.get(*i)).is_some_and(|(a, b)| a != b);
        if let Some(i) = (0..n).map(|k| (from + k) % n.max(1)).find(differs) {
            settings[i] = factory[i].clone();
            if let Ok(image) = to_image(&settings) {
                self.memory.image = image;
            }
        }
    }
    fn keep(&mut self) {
        self.store.write(&self.memory);
        self.generation += 1;
    }
    /// What it remembers without power.
    pub(crate) const fn store(&self) -> &Store {
        &self.store
    }
    /// Grows whenever the store changes.
    pub(crate) const fn generation(&self) -> u64 {
        self.generation
    }
    fn note(&mut self, now: Instant, code: EventCode, text: String) {
        if self.liar.loses_entry() {
            return;
        }
        let (boot_id, at_us) = (self.run.as_ref().map_or(0, |r| r.boot_id), self.clock_us(now));
        self.log.add(boot_id, at_us, code, text);
    }
    /// The unit's clock: microseconds since its start, as its quartz counts them.
    pub(crate) fn clock_us(&self, now: Instant) -> u64 {
        self.run.as_ref().map_or(0, |r| {
            let run = now.since(r.since);
            (micros(run) as f64 * self.clock_rate) as u64 + self.liar.leapt_us(run.as_secs_f64())
        })
    }
    /// Date and time as the unit's quartz has carried them on, ms since 1970 UTC.
    pub(crate) fn utc_ms(&self, now: Instant) -> Option<u64> {
        let (at, ms) = self.date?;
        let late = if self.liar.tells(K::DateYear) { 365 * 86_400_000 } else { 0 };
        Some(ms.saturating_sub(late) + (now.since(at).as_secs_f64() * self.clock_rate * 1e3) as u64)
    }
    /// Somebody changes one setting at the unit's own keys.
    pub(crate) fn keyed(&mut self, now: Instant, key: &str, value: &serde_json::Value) -> Result<(), String> {
        let mut settings = from_image(&self.memory.image).map_err(|e| e.to_string())?;
        let Some(setting) = settings.iter_mut().find(|s| s.key == key) else {
            return Err(format!("{key}: this model has no such setting"));
        };
        setting.value.key_in(value).ok_or_else(|| format!("{key}: its value is of another kind"))?;
        let image = to_image(&settings).map_err(|e| e.to_string())?;
        self.memory.loaded = true;
        self.put_in_force(now, image).map_err(|e| e.1)
    }
    pub(crate) fn starting(&self, now: Instant) -> bool {
        self.run.as_ref().is_none_or(|r| now < r.running_from)
    }
    /// Its model.
    pub(crate) fn model(&self) -> &Model {
        &self.fitted.model
    }
    /// It has an obscuration sensor at each inlet.
    pub(crate) const fn sensor_per_inlet(&self) -> bool {
        self.fitted.sensor_per_inlet
    }
    /// Share of 100 % that the fan is driven at.
    pub(crate) fn fan_target(&self, now: Instant) -> f64 {
        let slow = self.liar.severity(K::FanSlow).or(self.liar.severity(K::FanSpeedUntrue)).unwrap_or(1.0);
        match &self.run {
            Some(run) if now >= run.answers_from => self.running_speed() * slow,
            _ => 0.0,
        }
    }
    /// Share of 100 % that the fan runs at once it is up.
    pub(crate) fn running_speed(&self) -> f64 {
        self.config.fan_speed * self.fitted.fan_factor
    }
    /// Which outputs are operated.
    pub(crate) fn operated(&self) -> u32 {
        if self.run.is_none() {
            return 0;
        }
        let holds =
            self.control.inhibit.holds() && !self.liar.tells(K::InhibitIdle) && !self.liar.tells(K::InhibitIdleHidden);
        let untold = self.has_run_for(K::InhibitEndsUntold);
        let holds = holds && !untold;
        let driven = match self.driven() {
            _ if self.liar.tells(K::DriveTold) => 0,
            bits if self.liar.tells(K::DriveOther) => bits << 1 | bits >> self.outputs().saturating_sub(1),
            bits => bits,
        };
        self.following(holds) | self.control.held | driven & outputs::first(self.outputs())
    }
    /// Which outputs it tells as operated.
    pub(crate) fn told_operated(&self) -> u32 {
        match self.run {
            Some(_) if !self.liar.tells(K::InhibitIdle) => {
                self.following(self.control.inhibit.holds()) | self.control.held | self.driven()
            }
            _ => self.operated(),
        }
    }
    /// Those that what they follow operates now, with alarms held back or not.
    fn following(&self, inhibited: bool) -> u32 {
        let with = |follows: &[Follows], inhibited| {
            outputs::operated(follows, self.alarms.shown(), self.faults.now, inhibited)
        };
        let all = &self.config.outputs;
        let only = |keeps: fn(&Follows) -> bool| -> Vec<Follows> {
            all.iter().map(|f| if keeps(f) { *f } else { Follows::Nothing }).collect()
        };
        match inhibited {
            true if self.liar.tells(K::InhibitPartly) => {
                with(all, true) | with(&only(|f| matches!(f, Follows::Level(1))), false)
            }
            true if self.liar.tells(K::InhibitHidesFaults) => {
                with(&only(|f| !matches!(f, Follows::Fault | Follows::FlowFault)), true)
            }
            _ => with(all, inhibited),
        }
    }
    /// It has run for the time after which it tells this lie.
    fn has_run_for(&self, kind: K) -> bool {
        let run_s = self.clock_us(self.seen_at) as f64 * 1e-6;
        self.liar.severity(kind).is_some_and(|s| self.run.is_some() && run_s >= s)
    }
    /// Lies that come true once it has run for a time, or with each tick.
    fn tick_lies(&mut self) {
        if self.has_run_for(K::InhibitEnds) {
            self.control.inhibit = Inhibit::Free;
        }
        if self.has_run_for(K::SettingsRevert)
            && let Some(before) = self.reverts_to.take()
        {
            let config =
                from_image(&before).ok().and_then(|s| self.fitted.model.configure(&s, self.fitted.inlets).ok());
            self.config = config.unwrap_or_else(|| self.config.clone());
            self.memory.image = before;
        }
        let follow = self.liar.severity(K::BaselineFollows);
        if let (Some(share), Some(b)) = (follow, self.memory.baseline.as_mut().filter(|b| b.holds)) {
            for (kept, q) in b.flow_nl_s.iter_mut().zip(&self.measured.flow_m3_s).filter(|(kept, _)| **kept >= 0) {
                *kept += libm::round((q / NL_S - *kept as f64) * share) as i64;
            }
        }
    }
    /// How many outputs it has.
    fn outputs(&self) -> u8 {
        self.fitted.model.outputs.len() as u8
    }
    /// Speed within its band?
    fn at_speed(&self) -> bool {
        let target = self.running_speed();
        (self.measured.fan - target).abs() <= AT_SPEED * target
    }

    /// When it next looks at its sensors by itself, or restarts.
    pub(crate) fn next_sensing(&self) -> Option<Instant> {
        let run = self.run.as_ref()?;
        Some(run.restart_at.map_or(run.next_tick, |at| run.next_tick.min(at)))
    }
    /// Restarts if that is due.
    pub(crate) fn restart_due(&mut self, now: Instant) -> bool {
        let due = self.run.as_ref().and_then(|r| r.restart_at).filter(|at| *at <= now);
        due.into_iter().for_each(|at| self.boot(at));
        due.is_some()
    }
    /// Whether its own look is due; the next one is then set.
    pub(crate) fn tick_due(&mut self, now: Instant) -> bool {
        let Some(run) = self.run.as_mut().filter(|r| now >= r.next_tick) else { return false };
        run.next_tick = now + TICK;
        true
    }
    /// Looks at its sensors, which stand in `truth`.
    pub(crate) fn sense(&mut self, now: Instant, truth: &Truth) {
        let operated = self.operated();
        self.truth.clone_from(truth);
        self.seen_at = now;
        self.measured = self.sensors.read(truth, now.as_secs_f64(), operated);
        self.measured.fan /= self.liar.severity(K::FanSpeedUntrue).unwrap_or(1.0);
    }
    /// Once a second: alarms, airflow, faults, leases, the baseline.
    pub(crate) fn tick(&mut self, now: Instant) {
        let Some(run) = &self.run else { return };
        let up = now >= run.running_from;
        let since_start = now.since(run.since);
        if self.truth.cover_open && self.baseline().is_some() {
            self.void_baseline(now, "the cover was opened");
        }
        if up {
            self.judge_alarms(now);
            self.supervise(now);
            self.take_baseline(now);
        }
        self.tick_lies();
        if !self.liar.tells(K::DriveStays) {
            self.control.driven.tick(now);
        }
        // While starting nothing is known of the air.
        let clear = up && self.clear();
        let stays = self.liar.tells(K::LeaseNeverLapses) && matches!(self.control.inhibit, Inhibit::Leased { .. });
        if self.liar.tells(K::LapseGivesBack)
            && matches!(self.control.inhibit, Inhibit::Leased { until, .. } if now >= until)
        {
            self.control.inhibit = Inhibit::Free;
            self.remember_inhibit();
        }
        if !stays && self.control.inhibit.tick(now, clear) {
            let (code, text) = match self.control.inhibit {
                Inhibit::Free => (EventCode::Restored, "outputs given back after a lapse"),
                _ => (EventCode::InhibitLapsed, "the inhibit was not renewed and lapsed"),
            };
            self.note(now, code, text.into());
            self.remember_inhibit();
        }
        self.judge_faults(now, up, since_start);
        self.control.held |= self.following(self.control.inhibit.holds()) & self.config.held;
    }
    fn judge_alarms(&mut self, now: Instant) {
        let (new, gone) = self.alarms.judge(now, &self.config.levels, self.measured.extinction_per_m);
        for n in 1..=self.model().levels {
            if new & outputs::bit(n) != 0 {
                self.note(now, EventCode::Alarm, format!("alarm level {n}"));
            }
            if gone & outputs::bit(n) != 0 {
                self.note(now, EventCode::AlarmCleared, format!("alarm level {n} left"));
            }
        }
    }
    /// No smoke at or over the lowest level, nothing latched, nothing driven.
    fn clear(&self) -> bool {
        let lowest = self.config.levels.first().map_or(f64::INFINITY, |l| l.threshold.0);
        self.measured.extinction_per_m < lowest && self.alarms.shown() == 0 && self.control.driven.bits() == 0
    }
    fn remember_inhibit(&mut self) {
        if self.memory.inhibited != self.control.inhibit.holds() {
            self.memory.inhibited = self.control.inhibit.holds();
            self.keep();
        }
    }
    /// The new image in the place of the old, or nothing changed.
    pub(super) fn put_in_force(&mut self, now: Instant, image: Vec<u8>) -> Done<()> {
        let model = &self.fitted.model;
        let config = from_image(&image).and_then(|s| model.configure(&s, self.fitted.inlets));
        let config = config.map_err(|e| Refused(Why::Settings, e.to_string()))?;
        let config = self.liar.config(config, || self.factory());
        let moved = config.fan_speed != self.config.fan_speed || config.used != self.config.used;
        self.config = config;
        self.memory.image = image;
        self.memory.revision += u64::from(!self.liar.tells(K::RevisionStuck));
        self.faults.settings = false;
        self.keep();
        self.note(now, EventCode::SettingsChanged, format!("settings revision {} in force", self.memory.revision));
        if moved {
            self.void_baseline(now, "fan speed or inlets in use changed");
        }
        Ok(())
    }
}

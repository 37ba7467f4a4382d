//! The unit's firmware, as a pure machine: it is given bytes, time and what its sensors stand in, and gives bytes and the fan's speed.
//!
//! Not here: the air (see [`crate::physics`]) and what people do (see [`crate::site`]).
mod airflow;
mod alarms;
mod config;
mod line;
mod log;
pub(crate) mod outputs;
mod serve;
pub mod settings;
pub(crate) mod store;
mod tell;

use crate::{
    models::Model,
    rng::Stream,
    sensors::{Measured, Sensors, Truth},
};
use airflow::{NL_S, Supervision, Taking};
use alarms::Alarms;
use config::Config;
use line::Line;
use log::Log;
use outputs::{Driven, Inhibit};
use plumeline_base::{Instant, quantity::KELVIN_AT_0_C, time::micros};
use plumewire::{BaselineState, EventCode, Faults};
use settings::{Setting, from_image, to_image};
use std::{sync::Arc, time::Duration};
use store::{KeptBaseline, Memory, Store};

/// Time from power until the unit answers at all.
const SILENT: Duration = Duration::from_secs(4);
/// How often the unit looks at its sensors.
const TICK: Duration = Duration::from_secs(1);
/// From a restart's answer to the restart.
const RESTART_AFTER: Duration = Duration::from_millis(500);
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
}

/// One run of the firmware, from start to restart.
#[derive(Debug)]
struct Run {
    since: Instant,
    answers_from: Instant,
    running_from: Instant,
    boot_id: u64,
    hellos: u16,
    next_tick: Instant,
    restart_at: Option<Instant>,
    rate_hz: u8,
    next_reading: Instant,
    reports: u32,
    dropped: u32,
    transaction: Option<Transaction>,
    transactions: u32,
    taking: Option<Taking>,
    baseline_state: BaselineState,
    baseline_reason: Option<String>,
}
#[derive(Clone, Debug)]
struct Transaction {
    number: u32,
    /// Revision that was in force when it began.
    base: u64,
    length: u32,
    digest: [u8; 32],
    bytes: Vec<u8>,
}

/// A unit.
#[derive(Debug)]
pub(crate) struct Device {
    fitted: Fitted,
    clock_rate: f64,
    sensors: Sensors,
    line: Line,
    store: Store,
    generation: u64,
    memory: Memory,
    config: Config,
    log: Log,
    measured: Measured,
    truth: Truth,
    supervision: Supervision,
    alarms: Alarms,
    faults: Faults,
    faults_latched: Faults,
    settings_fault: bool,
    inhibit: Inhibit,
    leases: u32,
    driven: Driven,
    /// Outputs that stay operated until latches are reset.
    held: u32,
    /// Date and time (ms since 1970 UTC) at an instant; a cell of its own keeps them going without supply.
    date: Option<(Instant, u64)>,
    run: Option<Run>,
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
        let clock_rate = 1.0 + 25e-6 * stream.normal();
        Ok(Self {
            fitted,
            clock_rate,
            sensors,
            line: Line::new(),
            store,
            generation: 1,
            memory,
            config,
            log: Log::default(),
            measured: Measured::default(),
            truth: Truth::default(),
            supervision: Supervision::default(),
            alarms: Alarms::default(),
            faults: Faults(0),
            faults_latched: Faults(0),
            settings_fault: false,
            inhibit: Inhibit::Free,
            leases: 0,
            driven: Driven::default(),
            held: 0,
            date: None,
            run: None,
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
        self.line = Line::new();
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
        }
        let settings = from_image(&self.memory.image).ok();
        let config = settings.and_then(|s| model.configure(&s, self.fitted.inlets).ok());
        self.settings_fault = config.is_none();
        let factory = || model.configure(&model.factory_settings(self.fitted.inlets), self.fitted.inlets).ok();
        if let Some(config) = config.or_else(factory) {
            self.config = config;
        }
        // Outputs that were inhibited stay so, and the fault says it, until the air is clear: as after a lapse.
        self.inhibit = if self.memory.inhibited { Inhibit::Lapsed { lease: 0, since: now } } else { Inhibit::Free };
        self.keep();
        let mut own = Stream::new(self.fitted.seed, 2);
        let boot_id = (own.word() & 0xF_FFFF) << 32 | u64::from(self.memory.boots);
        let boot_s =
            model.boot_s * (1.0 + 0.05 * Stream::new(self.fitted.seed, 1000 + u64::from(self.memory.boots)).normal());
        self.line = Line::new();
        self.alarms = Alarms::default();
        self.supervision.restart();
        self.driven = Driven::default();
        self.held = 0;
        (self.faults, self.faults_latched) = (Faults(0), Faults(0));
        self.run = Some(Run {
            since: now,
            answers_from: now + SILENT,
            running_from: now + Duration::from_secs_f64(boot_s.max(5.0)),
            boot_id,
            hellos: 0,
            next_tick: now + TICK,
            restart_at: None,
            rate_hz: 0,
            next_reading: Instant::FAR_FUTURE,
            reports: 0,
            dropped: 0,
            transaction: None,
            transactions: 0,
            taking: None,
            baseline_state: BaselineState::Idle,
            baseline_reason: None,
        });
        self.note(now, EventCode::Started, "started".into());
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
        let (boot_id, at_us) = (self.run.as_ref().map_or(0, |r| r.boot_id), self.clock_us(now));
        self.log.add(boot_id, at_us, code, text);
    }
    /// The unit's clock: microseconds since its start, as its quartz counts them.
    fn clock_us(&self, now: Instant) -> u64 {
        self.run.as_ref().map_or(0, |r| (micros(now.since(r.since)) as f64 * self.clock_rate) as u64)
    }
    /// Date and time as the unit's quartz has carried them on, ms since 1970 UTC.
    fn utc_ms(&self, now: Instant) -> Option<u64> {
        let (at, ms) = self.date?;
        Some(ms + (now.since(at).as_secs_f64() * self.clock_rate * 1e3) as u64)
    }
    /// Somebody changes one setting at the unit's own keys.
    pub(crate) fn keyed(&mut self, now: Instant, key: &str, value: &serde_json::Value) -> Result<(), String> {
        let mut settings = from_image(&self.memory.image).map_err(|e| e.to_string())?;
        let Some(setting) = settings.iter_mut().find(|s| s.key == key) else {
            return Err(format!("{key}: this model has no such setting"));
        };
        setting.value.key_in(value).ok_or_else(|| format!("{key}: its value is of another kind"))?;
        let image = to_image(&settings).map_err(|e| e.to_string())?;
        self.put_in_force(now, image).map_err(|e| e.1)
    }
    fn starting(&self, now: Instant) -> bool {
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
        match &self.run {
            Some(run) if now >= run.answers_from => self.running_speed(),
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
        self.following() | self.held | self.driven.bits()
    }
    /// Those that what they follow operates now.
    fn following(&self) -> u32 {
        outputs::operated(&self.config.outputs, self.alarms.shown(), self.faults, self.inhibit.holds())
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
    /// The baseline that holds.
    fn baseline(&self) -> Option<&KeptBaseline> {
        self.memory.baseline.as_ref().filter(|b| b.holds)
    }
    /// Gives the unit a baseline from long ago, taken over the flows that its sensors read now.
    pub(crate) fn adopt_baseline(&mut self, truth: &Truth) {
        let measured = self.sensors.read(truth, 0.0, 0);
        let nl_s = |x: f64| libm::round(x / NL_S) as i64;
        let used = |i: usize| self.config.used.get(i).copied().unwrap_or(false);
        let by_inlet = |f: fn(f64) -> f64| {
            measured.flow_m3_s.iter().enumerate().map(|(i, q)| if used(i) { nl_s(f(*q)) } else { -1 }).collect()
        };
        self.memory.baseline = Some(KeptBaseline {
            id: 1,
            flow_nl_s: by_inlet(|q| q),
            uncertainty_nl_s: by_inlet(|q| q * 0.002),
            temperature_mk: libm::round((measured.temperature_c + KELVIN_AT_0_C) * 1e3) as i64,
            fan_mrev_s: libm::round(truth.fan * self.fitted.model.fan.full_speed_rev_s * 1e3) as i64,
            duration_ms: airflow::READINGS as u32 * 1000,
            boot_id: 1,
            taken_us: 3_600_000_000,
            settings_revision: self.memory.revision,
            holds: true,
        });
        self.keep();
    }
    fn void_baseline(&mut self, now: Instant, why: &str) {
        if let Some(baseline) = self.memory.baseline.as_mut().filter(|b| b.holds) {
            baseline.holds = false;
            self.keep();
            self.note(now, EventCode::Fault, format!("the baseline no longer holds: {why}"));
        }
        self.supervision.restart();
    }

    /// When [`Self::handle_timeout`] is wanted next.
    pub(crate) fn next_timeout(&self) -> Option<Instant> {
        let sensing = self.next_sensing()?;
        Some(self.line.next().map_or(sensing, |at| sensing.min(at)))
    }
    /// When it next looks at its sensors or restarts: then it must be told the truth.
    pub(crate) fn next_sensing(&self) -> Option<Instant> {
        let run = self.run.as_ref()?;
        let next = run.next_tick.min(run.next_reading);
        Some(run.restart_at.map_or(next, |at| next.min(at)))
    }
    /// The time is `now` and the sensors stand in `truth`.
    pub(crate) fn handle_timeout(&mut self, now: Instant, truth: &Truth) {
        if let Some(at) = self.run.as_ref().and_then(|r| r.restart_at).filter(|at| *at <= now) {
            self.boot(at);
        }
        let Some(run) = &mut self.run else { return };
        let (tick, reading) = (now >= run.next_tick, now >= run.next_reading);
        if tick {
            run.next_tick = now + TICK;
        }
        if reading {
            let period = Duration::from_micros(1_000_000 / u64::from(run.rate_hz.max(1)));
            run.next_reading += period;
            if run.next_reading <= now {
                run.next_reading = now + period;
            }
        }
        if tick || reading {
            let operated = self.operated();
            self.truth.clone_from(truth);
            self.measured = self.sensors.read(truth, now.as_secs_f64(), operated);
        }
        if tick {
            self.tick(now);
        }
        if reading {
            self.send_reading(now);
        }
    }
    /// Once a second: alarms, airflow, faults, leases, the baseline.
    fn tick(&mut self, now: Instant) {
        let Some(run) = &self.run else { return };
        let up = now >= run.running_from;
        let since_start = now.since(run.since);
        if self.truth.cover_open && self.baseline().is_some() {
            self.void_baseline(now, "the cover was opened");
        }
        if up {
            let (new, gone) = self.alarms.judge(now, &self.config.levels, self.measured.extinction_per_m);
            for n in 1..=self.model().levels {
                if new & outputs::bit(n) != 0 {
                    self.note(now, EventCode::Alarm, format!("alarm level {n}"));
                }
                if gone & outputs::bit(n) != 0 {
                    self.note(now, EventCode::AlarmCleared, format!("alarm level {n} left"));
                }
            }
            if self.at_speed()
                && let Some(b) = self.memory.baseline.as_ref().filter(|b| b.holds)
            {
                self.supervision.judge(now, &self.config, b, &self.measured.flow_m3_s);
            }
            self.take_baseline(now);
        }
        self.driven.tick(now);
        // While starting nothing is known of the air.
        let clear = up && self.clear();
        if self.inhibit.tick(now, clear) {
            let (code, text) = match self.inhibit {
                Inhibit::Free => (EventCode::Restored, "outputs given back after a lapse"),
                _ => (EventCode::InhibitLapsed, "the inhibit was not renewed and lapsed"),
            };
            self.note(now, code, text.into());
            self.remember_inhibit();
        }
        self.judge_faults(now, up, since_start);
        self.held |= self.following() & self.config.held;
    }
    /// No smoke at or over the lowest level, nothing latched, nothing driven.
    fn clear(&self) -> bool {
        let lowest = self.config.levels.first().map_or(f64::INFINITY, |l| l.threshold.0);
        self.measured.extinction_per_m < lowest && self.alarms.shown() == 0 && self.driven.bits() == 0
    }
    fn remember_inhibit(&mut self) {
        if self.memory.inhibited != self.inhibit.holds() {
            self.memory.inhibited = self.inhibit.holds();
            self.keep();
        }
    }
    /// A second of taking a baseline.
    fn take_baseline(&mut self, now: Instant) {
        let at_speed = self.at_speed();
        let Some(run) = &mut self.run else { return };
        let Some(taking) = &mut run.taking else { return };
        let outcome = if !at_speed {
            Err("the fan is not at its speed".into())
        } else if self.truth.cover_open {
            Err("the cover is open".into())
        } else if taking.add(&self.measured.flow_m3_s) {
            taking.finish(&self.config.used)
        } else {
            return;
        };
        run.taking = None;
        match outcome {
            Ok((flow_nl_s, uncertainty_nl_s)) => {
                run.baseline_state = BaselineState::Taken;
                run.baseline_reason = None;
                let (boot_id, revision) = (run.boot_id, self.memory.revision);
                self.memory.baseline = Some(KeptBaseline {
                    id: self.memory.baseline.as_ref().map_or(1, |b| b.id + 1),
                    flow_nl_s,
                    uncertainty_nl_s,
                    temperature_mk: libm::round((self.measured.temperature_c + KELVIN_AT_0_C) * 1e3) as i64,
                    fan_mrev_s: self.fan_mrev_s(),
                    duration_ms: airflow::READINGS as u32 * 1000,
                    boot_id,
                    taken_us: self.clock_us(now),
                    settings_revision: revision,
                    holds: true,
                });
                self.supervision.restart();
                self.keep();
                self.note(now, EventCode::BaselineTaken, "airflow baseline taken".into());
            }
            Err(why) => {
                run.baseline_state = BaselineState::Failed;
                run.baseline_reason = Some(why);
            }
        }
    }
    /// Bytes that have left the unit by `now`.
    pub(crate) fn poll_transmit(&mut self, now: Instant) -> Option<Vec<u8>> {
        self.line.poll(now)
    }
}

//! What a value, a bit or a text of a unit is, whatever it comes in, and a reading made of them.
//!
//! Registers and lines have this in common. Not here: where a value stands and how it is written there.
use crate::vocabulary::{Abilities, Conditions, Faults, ObscurationSensing, Reading, ReadingsBy, bit};
use alloc::{format, string::String, vec::Vec};
use core::time::Duration;
use plumeline_base::{
    Instant,
    obscuration::{Extinction, ObscurationUnit},
};

/// From a stated unit to the one that is used inside.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Si {
    /// `stated * times + plus`.
    Linear {
        /// Factor.
        times: f64,
        /// Added.
        plus: f64,
    },
    /// An obscuration, to extinction in 1/m.
    Obscuration(ObscurationUnit),
}
impl Si {
    /// As it is stated.
    pub const AS_IS: Self = Self::Linear { times: 1.0, plus: 0.0 };
    /// What was stated, inside.
    ///
    /// # Errors
    /// What can't be right: most often the type, the order or the scale.
    pub(crate) fn of(self, what: Quantity, stated: f64) -> Result<f64, String> {
        let inside = match self {
            Self::Linear { times, plus } => Some(stated * times + plus),
            Self::Obscuration(unit) => Extinction::from_stated(stated, unit).map(|k| k.0),
        };
        let (low, high) = what.bounds();
        inside.filter(|x| (low..=high).contains(x)).ok_or_else(|| format!("{stated} as {what:?}"))
    }
}

/// What a number is. Numbers of inlets count from 1.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Quantity {
    /// Flow of an inlet, m3/s on the map's basis.
    Flow(u8),
    /// Extinction of the unit (0) or of an inlet, 1/m.
    Smoke(u8),
    /// Speed of the fan, revolutions per minute.
    Fan,
    /// Temperature of the air, degC.
    Temperature,
    /// Supply voltage, V.
    Voltage,
    /// Supply current, A.
    Current,
    /// Flow of an inlet in the baseline that the unit holds.
    Baseline(u8),
    /// Another for each baseline taken; 0 where there is none.
    BaselineNumber,
    /// Inlets that this unit has.
    Inlets,
    /// Starts that the unit made.
    Starts,
    /// Time since its start, s.
    Uptime,
    /// Revision of its settings.
    Revision,
    /// Its date and time, s since 1970 UTC.
    Clock,
    /// How far its local time is ahead of UTC, minutes.
    Zone,
}
impl Quantity {
    /// What can be right, inside: a value outside of it is told as nonsense. Wide: it finds wrong types, scales and orders of
    /// registers, not wrong readings.
    pub const fn bounds(self) -> (f64, f64) {
        match self {
            // 5 m3/min: beyond any unit of this trade. A little under zero is a sensor's zero.
            Self::Flow(_) | Self::Baseline(_) => (-1e-4, 0.083),
            Self::Smoke(_) => (-0.05, 50.0),
            Self::Fan => (0.0, 100_000.0),
            Self::Temperature => (-60.0, 120.0),
            Self::Voltage => (-1.0, 400.0),
            Self::Current => (-50.0, 100.0),
            Self::Inlets => (1.0, 32.0),
            Self::Zone => (-840.0, 840.0),
            Self::Uptime | Self::Clock | Self::Starts | Self::BaselineNumber | Self::Revision => (0.0, 1e15),
        }
    }
}

/// What a bit is. Numbers count from 1.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Flag {
    /// An input is active.
    Input(u8),
    /// An output is operated.
    Output(u8),
    /// An alarm level is reached.
    Level(u8),
    /// An alarm level is latched.
    Latched(u8),
    /// The flow of an inlet is under its band.
    Low(u8),
    /// The flow of an inlet is over its band.
    High(u8),
    /// A fault stands.
    Fault(Faults),
    /// A fault is latched.
    FaultLatched(Faults),
    /// A state.
    Condition(Conditions),
}

/// What a text is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Who {
    /// Maker.
    Maker,
    /// Model.
    Model,
    /// Serial number.
    Serial,
    /// Firmware version.
    Firmware,
}

/// What was read of a unit at one time.
pub(crate) trait Told {
    /// The unit tells this at all.
    fn has(&self, what: Quantity) -> bool;
    /// A number inside; `Ok(None)`: there is no reading now.
    fn number(&self, what: Quantity) -> Result<Option<f64>, String>;
    /// Every bit that the unit tells; `None` where it was not read.
    fn flags(&self) -> impl Iterator<Item = (Flag, Option<bool>)>;

    /// The bits of one kind, once one of them was read; `None` where the unit tells none.
    fn bits(&self, of: impl Fn(Flag) -> Option<u32>) -> Option<u32> {
        let read = self.flags().filter_map(|(flag, on)| Some((of(flag)?, on?)));
        read.fold(None, |all, (mask, on)| Some(all.unwrap_or(0) | if on { mask } else { 0 }))
    }
    /// A reading of the moment `at`.
    ///
    /// # Errors
    /// A value that can't be right, by name.
    fn reading(&self, inlets: u8, at: Instant) -> Result<Reading, String> {
        let chambers = if self.has(Quantity::Smoke(1)) { 1..=inlets } else { 0..=0 };
        let has = |wanted: Faults| self.flags().any(|(f, _)| f == Flag::Fault(wanted));
        Ok(Reading {
            received: at,
            flow_m3_s: (1..=inlets).map(|n| self.number(Quantity::Flow(n))).collect::<Result<_, _>>()?,
            extinction_per_m: chambers.map(|n| self.number(Quantity::Smoke(n))).collect::<Result<Vec<_>, _>>()?,
            fan_rpm: self.number(Quantity::Fan)?,
            temperature_c: self.number(Quantity::Temperature)?,
            supply_v: self.number(Quantity::Voltage)?,
            supply_a: self.number(Quantity::Current)?,
            inputs: self.bits(|f| if let Flag::Input(n) = f { Some(bit(n)) } else { None }),
            outputs: self.bits(|f| if let Flag::Output(n) = f { Some(bit(n)) } else { None }),
            levels: self.bits(|f| if let Flag::Level(n) = f { Some(bit(n)) } else { None }),
            // Levels of which no latch is told: only what is active is known to stand.
            latched: self.bits(|f| if let Flag::Latched(n) = f { Some(bit(n)) } else { None }),
            flow_low: self.bits(|f| if let Flag::Low(n) = f { Some(bit(n)) } else { None }),
            flow_high: self.bits(|f| if let Flag::High(n) = f { Some(bit(n)) } else { None }),
            // Where these have no bit of their own, that none stands would say nothing of them.
            faults: self
                .bits(|f| if let Flag::Fault(x) = f { Some(x.0) } else { None })
                .filter(|_| has(Faults::FLOW) && has(Faults::SUPPLY))
                .map(Faults),
            faults_latched: self.bits(|f| if let Flag::FaultLatched(x) = f { Some(x.0) } else { None }).map(Faults),
            conditions: self.bits(|f| if let Flag::Condition(x) = f { Some(x.0) } else { None }).map(Conditions),
            ..Reading::default()
        })
    }
    /// It tells what stands: faults, and every one of so many levels.
    fn tells_state(&self, levels: u8) -> bool {
        let has = |wanted| self.flags().any(|(flag, _)| flag == wanted);
        has(Flag::Fault(Faults::FLOW))
            && has(Flag::Fault(Faults::SUPPLY))
            && (1..=levels).all(|n| has(Flag::Level(n)) && has(Flag::Latched(n)))
    }
    /// What a unit can do that tells this much and takes no orders.
    fn abilities(&self, (alarm_levels, outputs, inputs): (u8, u8, u8), inlets: u8, every: Duration) -> Abilities {
        let hz = u8::try_from(1000 / every.as_millis().clamp(50, 1000)).unwrap_or(1);
        let flow = self.has(Quantity::Flow(1));
        Abilities {
            alarm_levels,
            outputs,
            inputs,
            readings: if flow || self.has(Quantity::Smoke(0)) || self.flags().next().is_some() {
                ReadingsBy::Stream { hz: (1, hz) }
            } else {
                ReadingsBy::None
            },
            flow_per_inlet: flow,
            obscuration: match (self.has(Quantity::Smoke(0)), self.has(Quantity::Smoke(1))) {
                (_, true) => ObscurationSensing::PerInlet,
                (true, false) => ObscurationSensing::One,
                (false, false) => ObscurationSensing::None,
            },
            ..Abilities::nothing(inlets)
        }
    }
}

/// What tells one start from another.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Boot {
    id: Option<u64>,
    began: Option<Instant>,
}
/// A clock that counts whole seconds, asked over a slow line, is off by less.
const SAME_START: Duration = Duration::from_secs(4);
impl Boot {
    /// The id of the start that this was read in.
    pub(crate) fn see(&mut self, told: &impl Told, at: Instant) -> Result<Option<u64>, String> {
        if let Some(starts) = told.number(Quantity::Starts)? {
            self.id = Some(starts as u64);
        } else if let Some(up) = told.number(Quantity::Uptime)? {
            let up = Duration::from_secs_f64(up);
            // Before the log began counts as its beginning: what comes later differs by the difference.
            let began = Instant::from_micros(at.as_micros().saturating_sub(up.as_micros() as u64));
            let slack = SAME_START + up / 1000;
            let same = self.began.is_some_and(|was| began.since(was) <= slack);
            if !same {
                self.id = Some(self.id.unwrap_or(0) + 1);
                self.began = Some(began);
            }
        }
        Ok(self.id)
    }
}

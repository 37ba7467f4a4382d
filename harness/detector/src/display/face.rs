//! What a model shows at its display and lamps, and what can be done at it by hand, as its description states it.
//!
//! Not here: the file (the job crate), and what a person is asked ([`super::Display`]).
use crate::mixed::Offer;
use crate::vocabulary::{Abilities, DRIVE_S, Faults, FlowBasis, ObscurationSensing, ReadingsBy};
use alloc::{format, string::String, vec::Vec};
use core::time::Duration;
use plumeline_base::{
    grid::Grid,
    obscuration::{Extinction, ObscurationUnit},
    quantity::M3_S_PER_L_MIN,
};

/// A model as a person sees it.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Face {
    /// Maker, as the label says; empty where the model is not described.
    pub maker: String,
    /// Model, as the label says; empty where the model is not described.
    pub model: String,
    /// The serial number that is expected, where one is.
    pub serial: Option<String>,
    /// Fewest and most inlets.
    pub inlets: (u8, u8),
    /// Alarm levels.
    pub levels: u8,
    /// Outputs.
    pub outputs: u8,
    /// Inputs.
    pub inputs: u8,
    /// What it shows.
    pub shows: Shows,
    /// What can be done at it by hand, each with the words that say how.
    pub hands: Hands,
    /// Its settings, in the order in which they are read.
    pub items: Vec<SheetItem>,
}

/// What a unit shows.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Shows {
    /// The flow.
    pub flow: Option<FlowShown>,
    /// The smoke in its chamber.
    pub smoke: Option<(Scale, ObscurationUnit)>,
    /// Over how long it averages the smoke beside the sensor's own lag, as a lag of first order.
    pub smoke_averaged: Duration,
    /// Lamps, or lines of its display, by what is written at them, each with what it stands for.
    pub lamps: Vec<(String, Lamp)>,
    /// The flows that it holds as its baseline.
    pub baseline: Option<FlowShown>,
    /// Its settings.
    pub settings: bool,
    /// Date and time.
    pub clock: bool,
}

/// A number that is shown.
#[derive(Clone, Debug, PartialEq)]
pub struct Scale {
    /// Its unit, as it is written.
    pub unit: String,
    /// Least and greatest that it can show.
    pub range: (f64, f64),
    /// The step in which it shows it; `None` where nobody knows.
    pub step: Option<f64>,
}
impl Scale {
    /// The number as the display would show it.
    pub fn shown(&self, value: f64) -> f64 {
        let near = self.step.and_then(Grid::of).map_or(value, |grid| grid.near(value));
        near.clamp(self.range.0, self.range.1)
    }
    /// Whether the display can show this number.
    ///
    /// # Errors
    /// Why it can't.
    pub fn check(&self, value: f64) -> Result<(), String> {
        let (low, high) = self.range;
        if !(low..=high).contains(&value) {
            return Err(format!("{value} is outside of {low} to {high} {}", self.unit));
        }
        match self.step {
            Some(step) if Grid::of(step).and_then(|grid| grid.exact(value)).is_none() => {
                Err(format!("{value} is between the steps of {step} {} that are shown", self.unit))
            }
            _ => Ok(()),
        }
    }
}

/// A flow that is shown.
#[derive(Clone, Debug, PartialEq)]
pub struct FlowShown {
    /// How it is shown.
    pub scale: Scale,
    /// What one of its unit is in a reading, m3/s; of a share [`WHOLE_M3_S`](crate::vocabulary::WHOLE_M3_S).
    pub m3_s: f64,
    /// What it refers to.
    pub basis: FlowBasis,
    /// One number for each inlet; else one for all together.
    pub per_inlet: bool,
    /// It is no display of the unit's, but a meter at its exhaust with this name: whichever inlets are open, it shows their flow.
    pub meter: Option<String>,
    /// How long it takes until another number can be shown.
    pub renewed: Duration,
}

/// What a lamp stands for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Lamp {
    /// Any fault at all.
    AnyFault,
    /// This fault.
    Fault(Faults),
    /// The flow of this inlet is under or over its band, or one of the two.
    Flow {
        /// Inlet.
        inlet: u8,
        /// It may be under.
        low: bool,
        /// It may be over.
        high: bool,
    },
    /// An alarm level.
    Level(u8),
    /// An output is operated.
    Output(u8),
    /// Its outputs are inhibited.
    Inhibited,
    /// It still starts.
    Starting,
}

/// What can be done at a unit by hand, with the words that say how; `None`: not at all.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Hands {
    /// Take the airflow baseline.
    pub baseline: Option<String>,
    /// Reset what is latched.
    pub reset: Option<String>,
    /// Start it anew.
    pub restart: Option<String>,
    /// Enter settings.
    pub settings: Option<String>,
    /// Set date and time.
    pub clock: Option<String>,
    /// Operate an output for test, and for how long it then stays operated.
    pub test_output: Option<(String, Duration)>,
    /// Hold its outputs back.
    pub inhibit: Option<String>,
}

/// A setting as it is read off a display.
#[derive(Clone, Debug, PartialEq)]
pub struct SheetItem {
    /// Key, the model's own word for it.
    pub key: String,
    /// What it means, in plain words.
    pub means: String,
    /// What it belongs to.
    pub group: &'static str,
    /// The inlet that it belongs to: it is there only if the unit has that.
    pub inlet: Option<u8>,
    /// What it takes.
    pub takes: Takes,
}

/// What a setting takes.
#[derive(Clone, Debug, PartialEq)]
pub enum Takes {
    /// Yes or no.
    Switch,
    /// A number.
    Number(Scale),
    /// One of these words.
    Words(Vec<String>),
    /// Any text, at most so many bytes.
    Text(u32),
}

/// The most inlets of a model that nobody described.
const MOST_INLETS: u8 = 8;

impl Face {
    /// A model that nobody described, with this on its label: it shows the flow of each inlet in L/min.
    pub fn stranger(label: &str) -> Self {
        let flow = FlowShown {
            scale: Scale { unit: "L/min".into(), range: (0.0, 10_000.0), step: None },
            m3_s: M3_S_PER_L_MIN,
            basis: FlowBasis::Actual,
            per_inlet: true,
            meter: None,
            renewed: Duration::ZERO,
        };
        Self {
            model: label.into(),
            inlets: (1, MOST_INLETS),
            shows: Shows { flow: Some(flow), ..Shows::default() },
            ..Self::default()
        }
    }
    /// What a person calls the model.
    pub fn label(&self) -> String {
        format!("{} {}", self.maker, self.model).trim().into()
    }
    /// The settings of a unit with so many inlets.
    pub fn items_of(&self, inlets: u8) -> impl Iterator<Item = &SheetItem> {
        self.items.iter().filter(move |i| i.inlet.is_none_or(|n| n <= inlets))
    }
    /// What a unit of this model can do, by a person's eyes and hands.
    pub fn abilities(&self, inlets: u8) -> Abilities {
        let flow = self.shows.flow.as_ref();
        let nl_s = |value: f64| if value.is_finite() { libm::round(value * 1e12) as u32 } else { 0 };
        let smoke = self.shows.smoke.as_ref();
        let extinction = |x, of| Extinction::from_stated(x, of).map_or(0, |e| libm::round(e.0 * 1e9) as u64);
        let has = |lamp: fn(&Lamp) -> bool| self.shows.lamps.iter().any(|(_, l)| lamp(l));
        Abilities {
            alarm_levels: if has(|l| matches!(l, Lamp::Level(_))) { self.levels } else { 0 },
            outputs: self.outputs,
            readings: if flow.is_some() { ReadingsBy::Asking } else { ReadingsBy::None },
            // What one meter shows is one inlet's while the others are shut.
            flow_per_inlet: flow.is_some_and(|f| f.per_inlet || f.meter.is_some() || inlets == 1),
            flow_basis: flow.map_or(FlowBasis::Actual, |f| f.basis),
            flow_step_nl_s: flow.and_then(|f| f.scale.step.map(|step| nl_s(step * f.m3_s))).unwrap_or(0),
            flow_max_nl_s: flow.map_or(0, |f| nl_s(f.scale.range.1 * f.m3_s)),
            extinction_max_n_m: smoke.map_or(0, |(scale, of)| extinction(scale.range.1, *of)),
            extinction_step_n_m: smoke.map_or(0, |(scale, of)| extinction(scale.step.unwrap_or(0.0), *of)),
            extinction_averaged_ms: self.shows.smoke_averaged.as_millis().min(u32::MAX.into()) as u32,
            obscuration: if self.shows.smoke.is_some() { ObscurationSensing::One } else { ObscurationSensing::None },
            wall_clock: self.shows.clock && self.hands.clock.is_some(),
            read_settings: self.shows.settings,
            write_settings: self.shows.settings && self.hands.settings.is_some(),
            baseline: self.hands.baseline.is_some(),
            inhibit: self.hands.inhibit.is_some(),
            drive_outputs: self.hands.test_output.is_some(),
            reset_latches: self.hands.reset.is_some(),
            restart: self.hands.restart.is_some(),
            ..Abilities::nothing(inlets)
        }
    }
    /// What a person has to offer at a unit with so many inlets.
    pub fn offer(&self, inlets: u8) -> Offer {
        let state = self.shows.lamps.iter().any(|(_, lamp)| *lamp == Lamp::AnyFault);
        Offer { can: self.abilities(inlets), state }
    }
    /// How long an output stays operated for test.
    pub(super) fn drive_lasts(&self) -> Duration {
        self.hands.test_output.as_ref().map_or(Duration::from_secs(DRIVE_S.into()), |(_, lasts)| *lasts)
    }
}

//! The instruments of a job: what each measures, how surely by its certificate, and until when that holds.
//!
//! A number that a person reads off an instrument is worth what the certificate says, not what a display of the unit would be
//! worth. Not here: how a person is asked (`metered`), and what a number is held against (the judges).
use crate::plan::Plan;
use alloc::{format, string::String, vec::Vec};
use plumeline_base::{
    obscuration::{Extinction, ObscurationUnit},
    quantity::{Estimate, M_PER_FT, M3_S_PER_L_MIN},
};
use plumeline_detector::display::Scale;
use plumeline_measure::difference::Common;

/// What an instrument is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// Measures a pressure against that of the room.
    Manometer,
    /// Measures the flow through itself: a flow meter, or an anemometer with its funnel.
    FlowMeter,
    /// Measures voltage and current.
    Multimeter,
    /// Measures the time between two presses.
    StopWatch,
    /// Stores the unit's smoke signal as an obscuration, by a clock of its own; what it stored is given as a file.
    Logger,
}
impl Kind {
    /// The names in plans.
    pub const NAMES: [(&'static str, Self); 6] = [
        ("manometer", Self::Manometer),
        ("flow meter", Self::FlowMeter),
        ("anemometer", Self::FlowMeter),
        ("multimeter", Self::Multimeter),
        ("stop-watch", Self::StopWatch),
        ("logger", Self::Logger),
    ];
    /// It can measure this.
    pub const fn measures(self, what: Measurand) -> bool {
        matches!(
            (self, what),
            (Self::Manometer, Measurand::Pressure)
                | (Self::FlowMeter, Measurand::Flow)
                | (Self::Multimeter, Measurand::Voltage | Measurand::Current)
                | (Self::StopWatch, Measurand::Time)
                | (Self::Logger, Measurand::Obscuration)
        )
    }
}

/// Where a flow meter sits.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Place {
    /// Between a pipe and its inlet, for as long as that pipe's flow is read.
    #[default]
    Inlet,
    /// At the unit's exhaust: it shows the flow of all pipes whose inlets are open, and all flows of the job are read off it.
    Exhaust,
}
impl Place {
    /// The names in plans.
    pub const NAMES: [(&'static str, Self); 2] = [("inlet", Self::Inlet), ("exhaust", Self::Exhaust)];
}

/// What is measured.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Measurand {
    /// V.
    Voltage,
    /// A.
    Current,
    /// Pa.
    Pressure,
    /// m3/s.
    Flow,
    /// s.
    Time,
    /// 1/m: of a thin smoke, as far as one factor stands for it.
    Obscuration,
}

/// The units that instruments show, with what is measured and its size in SI.
pub const UNITS: [(&str, Measurand, f64); 13] = [
    ("V", Measurand::Voltage, 1.0),
    ("mV", Measurand::Voltage, 1e-3),
    ("A", Measurand::Current, 1.0),
    ("mA", Measurand::Current, 1e-3),
    ("Pa", Measurand::Pressure, 1.0),
    ("hPa", Measurand::Pressure, 100.0),
    ("mbar", Measurand::Pressure, 100.0),
    ("L/min", Measurand::Flow, M3_S_PER_L_MIN),
    ("m3/h", Measurand::Flow, 1.0 / 3600.0),
    ("s", Measurand::Time, 1.0),
    ("%/m", Measurand::Obscuration, 0.01),
    ("%/ft", Measurand::Obscuration, 0.01 / M_PER_FT),
    ("dB/m", Measurand::Obscuration, core::f64::consts::LN_10 / 10.0),
];

/// What is said of a number for which the plan names no instrument.
pub(crate) const UNNAMED: &str = "an instrument that the plan does not name";

/// A number with how sure it is, and what it was read off; `None`: the unit told it.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Read {
    pub(crate) estimate: Estimate,
    pub(crate) by: Option<String>,
}

/// A day of a certificate.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Day {
    /// As it is written: 2026-03-02.
    pub text: String,
    /// When it begins, ms since 1970 UTC.
    pub begins_ms: u64,
}
impl Day {
    const LASTS_MS: u64 = 86_400_000;
    /// The first moment that is no longer in it.
    pub const fn ends_ms(&self) -> u64 {
        self.begins_ms.saturating_add(Self::LASTS_MS)
    }
}

/// What is known of a logger and of its files before there is one.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Stores {
    /// What it stores stands for the signal of up to so long before, s: its averaging or its lag.
    pub lag_s: f64,
    /// From one reading to the next, s.
    pub interval_s: f64,
    /// The column of the times, by name, heading or number, where a file does not say it by itself; and so on for what follows.
    pub time: Option<String>,
    /// The column of the readings.
    pub column: Option<String>,
    /// The order of its dates: `day-first`, `month-first` or `year-first`.
    pub dates: Option<String>,
    /// Its decimal mark: `point` or `comma`.
    pub decimal: Option<String>,
    /// The unit of its times.
    pub time_unit: Option<String>,
    /// Further words for no value.
    pub gaps: Vec<String>,
    /// Its encoding.
    pub encoding: Option<String>,
}

/// An instrument, as it measures one quantity.
#[derive(Clone, Debug, PartialEq)]
pub struct Instrument {
    /// What people call it.
    pub name: String,
    /// What it is.
    pub kind: Kind,
    /// Serial number.
    pub serial: String,
    /// What it measures.
    pub measures: Measurand,
    /// Unit, range and step of what it shows.
    pub scale: Scale,
    /// What one of its unit is in SI.
    pub si: f64,
    /// Standard uncertainty by its certificate, in its unit.
    pub u: f64,
    /// The same as a share of the reading; both count.
    pub u_relative: f64,
    /// Where it sits, if it measures a flow.
    pub at: Place,
    /// What it stores, if it is a logger.
    pub stores: Option<Stores>,
    /// When it was calibrated.
    pub calibrated: Day,
    /// The last day on which that holds.
    pub due: Day,
}
impl Instrument {
    /// Its name and serial number.
    pub fn label(&self) -> String {
        format!("{}, serial {}", self.name, self.serial)
    }
    /// What it stores is an obscuration in this unit.
    pub fn obscuration(&self) -> Option<ObscurationUnit> {
        ObscurationUnit::parse(&self.scale.unit).filter(|_| self.measures == Measurand::Obscuration)
    }
    /// What a stored reading says, 1/m.
    pub fn extinction(&self, reading: f64) -> Option<Extinction> {
        Extinction::from_stated(reading, self.obscuration()?)
    }
    /// What is common to all of its readings, SI.
    pub(crate) fn common(&self) -> Common {
        Common { offset: self.u * self.si, gain: self.u_relative }
    }
    /// What a reading says, SI. What the certificate leaves open is common to all readings of this instrument; what its step hides
    /// is each one's own (JCGM 100:2008, F.2.2.1: a rectangle of its width).
    pub fn estimate(&self, reading: f64) -> Estimate {
        let common = libm::hypot(self.u, self.u_relative * reading);
        let step = self.scale.step.unwrap_or(0.0) / libm::sqrt(12.0);
        Estimate::new(reading * self.si, common * self.si, step * self.si)
    }
}

impl Plan {
    /// The instrument that measures this: the first whose range holds about so much, SI; else the first.
    pub fn instrument(&self, what: Measurand, about: Option<f64>) -> Option<&Instrument> {
        let measures = || self.instruments.iter().filter(|i| i.measures == what && i.at == Place::Inlet);
        let holds = |i: &&Instrument| about.is_some_and(|x| (i.scale.range.0..=i.scale.range.1).contains(&(x / i.si)));
        measures().find(holds).or_else(|| measures().next())
    }
    /// The logger on the unit's smoke signal.
    pub fn logger(&self) -> Option<&Instrument> {
        self.instruments.iter().find(|i| i.kind == Kind::Logger)
    }
    /// The flow meter at the unit's exhaust off which all flows of the job are read.
    pub fn exhaust_meter(&self) -> Option<&Instrument> {
        self.instruments.iter().find(|i| i.at == Place::Exhaust)
    }
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;
    use alloc::vec;

    /// 2026-11-28, ms since 1970.
    pub(crate) const fn today() -> u64 {
        1_795_824_000_000
    }

    pub(crate) fn manometer() -> Instrument {
        Instrument {
            name: "Gauge".into(),
            kind: Kind::Manometer,
            serial: "g1".into(),
            measures: Measurand::Pressure,
            scale: Scale { unit: "Pa".into(), range: (0.0, 500.0), step: Some(1.0) },
            si: 1.0,
            u: 0.5,
            u_relative: 0.01,
            at: Place::Inlet,
            stores: None,
            calibrated: Day { text: "2026-03-02".into(), begins_ms: today() - 200 * Day::LASTS_MS },
            due: Day { text: "2027-03-02".into(), begins_ms: today() + 100 * Day::LASTS_MS },
        }
    }

    /// By hand: at 60 Pa 0.5 Pa and 1 % of 60 Pa are hypot(0.5, 0.6) = 0.781; a step of 1 Pa is 0.2887.
    #[test]
    fn a_reading_has_what_the_certificate_and_the_step_leave_open() {
        let e = manometer().estimate(60.0);
        assert!((e.u_common - 0.781_025).abs() < 1e-6 && (e.u_individual - 0.288_675).abs() < 1e-6, "{e:?}");
        let hecto = Instrument { si: 100.0, ..manometer() };
        assert_eq!(hecto.estimate(0.6).value, 60.0);
    }
    #[test]
    fn the_instrument_whose_range_holds_it_is_taken() {
        let wide = Instrument {
            name: "Wide".into(),
            scale: Scale { range: (0.0, 5000.0), ..manometer().scale },
            ..manometer()
        };
        let plan = Plan { instruments: vec![manometer(), wide], ..Plan::default() };
        let name = |about| plan.instrument(Measurand::Pressure, about).map(|i| i.name.as_str());
        assert_eq!([name(None), name(Some(60.0)), name(Some(900.0))], [Some("Gauge"), Some("Gauge"), Some("Wide")]);
        assert_eq!(plan.instrument(Measurand::Voltage, None), None);
    }
}

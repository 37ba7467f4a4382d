//! What values, bits and texts that a unit tells by itself mean, by the words of a description: the same for registers and lines.
//!
//! Not here: where they stand.
use super::raw::Count;
use crate::{
    error::{Kind as Wrong, Problem, Source, choices, nearest, quoted},
    pipework::bounds,
    units::{self, Dimension},
    written::{Q, ReadOr, Spanned},
};
use plumeline_base::obscuration::ObscurationUnit;
use plumeline_detector::{
    told::{Flag, Quantity, Si, Who},
    vocabulary::{Conditions, Faults, FlowBasis, WHOLE_M3_S},
};
use plumeline_unit::{Description, description::FlowReading};
use std::ops::Range;

/// Dry air at 20 degC and 1013.25 hPa, kg/m3: p / (R T) with R = 287.05 J/(kg K).
const KG_PER_M3: f64 = 101_325.0 / (287.05 * 293.15);
/// 20 degC and 1013.25 hPa.
const USUAL: FlowBasis = FlowBasis::Reference { temperature_mc: 20_000, pressure_pa: 101_325 };

/// Numbers without a number of their own, with the dimension of their unit; `None`: they take none.
const NUMBERS: &[(&str, Quantity, Option<Dimension>)] = &[
    ("fan", Quantity::Fan, Some(Dimension::Frequency)),
    ("temperature", Quantity::Temperature, Some(Dimension::Temperature)),
    ("supply.voltage", Quantity::Voltage, Some(Dimension::Voltage)),
    ("supply.current", Quantity::Current, Some(Dimension::Current)),
    ("baseline.number", Quantity::BaselineNumber, None),
    ("inlets", Quantity::Inlets, None),
    ("starts", Quantity::Starts, None),
    ("uptime", Quantity::Uptime, Some(Dimension::Time)),
    ("settings.revision", Quantity::Revision, None),
    ("clock", Quantity::Clock, Some(Dimension::Time)),
    ("clock.zone", Quantity::Zone, Some(Dimension::Time)),
];
const TEXTS: &[(&str, Who)] =
    &[("maker", Who::Maker), ("model", Who::Model), ("serial", Who::Serial), ("firmware", Who::Firmware)];
const FAULTS: &[(&str, Faults)] = &[
    ("flow", Faults::FLOW),
    ("fan", Faults::FAN),
    ("sensor", Faults::SENSOR),
    ("supply", Faults::SUPPLY),
    ("battery", Faults::BATTERY),
    ("settings", Faults::SETTINGS),
    ("inhibit-lapsed", Faults::INHIBIT_LAPSED),
    ("no-baseline", Faults::NO_BASELINE),
    ("cover", Faults::COVER),
    ("filter", Faults::FILTER),
    ("other", Faults::OTHER),
];
const CONDITIONS: &[(&str, Conditions)] = &[
    ("starting", Conditions::STARTING),
    ("fan-not-at-speed", Conditions::FAN_NOT_AT_SPEED),
    ("inhibited", Conditions::INHIBITED),
    ("driven", Conditions::DRIVEN),
    ("learning", Conditions::LEARNING),
    ("taking-baseline", Conditions::TAKING_BASELINE),
    ("other", Conditions::OTHER),
];
/// The meanings of bits, for remedies.
const FLAGS: &[&str] = &[
    "input.1",
    "output.1",
    "level.1",
    "level.1.latched",
    "inlet.1.low",
    "inlet.1.high",
    "fault.flow",
    "fault.flow.latched",
    "condition.starting",
];

/// Texts by their words.
pub(super) fn who(what: &str) -> Option<Who> {
    TEXTS.iter().find(|(name, _)| *name == what).map(|(_, who)| *who)
}

/// Reads what is meant, of a model that is described so far.
#[derive(Clone, Copy)]
pub(super) struct Means<'a, 's> {
    pub(super) source: &'a Source<'s>,
    pub(super) of: &'a Description,
}

impl Means<'_, '_> {
    pub(super) fn wrong<T>(
        &self,
        kind: Wrong,
        at: Range<usize>,
        cause: impl Into<String>,
        remedy: impl Into<String>,
    ) -> Result<T, Problem> {
        Err(self.source.problem(kind, at, cause, remedy))
    }
    /// What flows refer to where no unit of theirs says otherwise.
    pub(super) fn basis(
        &self,
        temperature: &Option<Q<bounds::Temperature>>,
        pressure: &Option<Q<bounds::AirPressure>>,
    ) -> Result<FlowBasis, Problem> {
        let temperature = temperature.read_or(self.source, 20.0)?;
        let pressure = pressure.read_or(self.source, 101_325.0)?;
        Ok(match self.of.flow {
            FlowReading::Actual => FlowBasis::Actual,
            FlowReading::Reference => FlowBasis::Reference {
                temperature_mc: (temperature * 1e3).round() as i32,
                pressure_pa: pressure.round() as u32,
            },
        })
    }
    /// How far `{n}` goes; 1 where there is none.
    pub(super) fn times(&self, text: &Spanned<String>, n: Option<&Spanned<Count>>) -> Result<u8, Problem> {
        match (text.as_ref().contains("{n}"), n) {
            (false, None) => Ok(1),
            (true, None) => self.wrong(
                Wrong::MissingKey,
                text.span(),
                "nothing says how far {n} goes",
                "add `n = 4` for 1 to 4, or `n = \"inlets\"`",
            ),
            (false, Some(n)) => {
                self.wrong(Wrong::Conflict, n.span(), "there is no {n} here", "take `n` out, or write {n}")
            }
            (true, Some(n)) => match n.as_ref() {
                Count::Number(count) if (1..=64).contains(count) => Ok(*count as u8),
                Count::Word(word) if word == "inlets" => Ok(self.of.inlets.1),
                _ => self.wrong(
                    Wrong::Range,
                    n.span(),
                    "{n} can't go that far",
                    "write a whole number from 1 to 64, or \"inlets\"",
                ),
            },
        }
    }
    pub(super) fn scale(
        &self,
        scale: Option<&Spanned<f64>>,
        offset: Option<&Spanned<f64>>,
    ) -> Result<(f64, f64), Problem> {
        let of = |x: Option<&Spanned<f64>>, or: f64| match x {
            Some(x) if !x.as_ref().is_finite() => {
                self.wrong(Wrong::Range, x.span(), "this is no number", "write a plain number")
            }
            Some(x) => Ok(*x.as_ref()),
            None => Ok(or),
        };
        match (of(scale, 1.0)?, of(offset, 0.0)?) {
            (0.0, _) => {
                let at = scale.map_or(0..0, Spanned::span);
                self.wrong(
                    Wrong::Range,
                    at,
                    "a scale of 0 makes all values alike",
                    "write what one count is, such as 0.1",
                )
            }
            both => Ok(both),
        }
    }
    pub(super) fn quantity(&self, means: &Spanned<String>, what: &str) -> Result<Quantity, Problem> {
        if let Some((_, quantity, _)) = NUMBERS.iter().find(|(name, ..)| *name == what) {
            return Ok(*quantity);
        }
        if what == "smoke" {
            return Ok(Quantity::Smoke(0));
        }
        let of_inlet = what.split_once('.').and_then(|(kind, n)| {
            let n: u8 = n.parse().ok().filter(|n| *n > 0)?;
            let quantity = match kind {
                "flow" => Quantity::Flow(n),
                "smoke" => Quantity::Smoke(n),
                "baseline" => Quantity::Baseline(n),
                _ => return None,
            };
            Some((n, quantity))
        });
        match of_inlet {
            Some((n, quantity)) if n <= self.of.inlets.1 => Ok(quantity),
            Some((n, _)) => {
                let cause = format!("the unit has no inlet {n}");
                self.wrong(Wrong::Conflict, means.span(), cause, "correct it, or `inlets`")
            }
            None => {
                let inlets = ["flow.{n}", "smoke", "smoke.{n}", "baseline.{n}"];
                let known = || inlets.into_iter().chain(NUMBERS.iter().map(|n| n.0)).chain(TEXTS.iter().map(|t| t.0));
                let near =
                    nearest(means.as_ref(), known()).map_or_else(String::new, |m| format!("; did you mean \"{m}\"?"));
                let cause = format!("{} is nothing that a unit tells by itself{near}", quoted(what));
                self.wrong(Wrong::UnknownName, means.span(), cause, format!("use one of {}", choices(known())))
            }
        }
    }
    /// The way to SI, and what a flow refers to.
    pub(super) fn si(
        &self,
        means: &Spanned<String>,
        unit: Option<&Spanned<String>>,
        bore: Option<&Q<bounds::Bore>>,
        quantity: Quantity,
        stated: FlowBasis,
    ) -> Result<(Si, Option<FlowBasis>), Problem> {
        let linear = |times| Si::Linear { times, plus: 0.0 };
        let dimension = match quantity {
            Quantity::Flow(_) | Quantity::Baseline(_) => Some(Dimension::Flow),
            Quantity::Smoke(_) => Some(Dimension::Ratio),
            q => NUMBERS.iter().find(|(_, known, _)| *known == q).and_then(|(.., dimension)| *dimension),
        };
        let (Some(dimension), Some(unit)) = (dimension, unit) else {
            return match (dimension, unit) {
                (None, Some(unit)) => self.wrong(Wrong::Unit, unit.span(), "this value has no unit", "take `unit` out"),
                (Some(_), None) => {
                    let remedy = format!("add `unit`: {}", self.units(quantity, dimension.unwrap_or(Dimension::Ratio)));
                    self.wrong(Wrong::MissingKey, means.span(), "this value needs its unit", remedy)
                }
                _ => Ok((Si::AS_IS, None)),
            };
        };
        let name = unit.as_ref().as_str();
        let si = match (quantity, name) {
            (Quantity::Smoke(_), _) => ObscurationUnit::parse(name).map(|u| (Si::Obscuration(u), None)),
            (Quantity::Flow(_) | Quantity::Baseline(_), "%") => {
                Some((linear(WHOLE_M3_S / 100.0), Some(FlowBasis::Share)))
            }
            (Quantity::Flow(_) | Quantity::Baseline(_), "m/s") => {
                let Some(bore) = bore else {
                    let remedy = "add `bore = \"21 mm\"`: the bore where the velocity is measured";
                    return self.wrong(Wrong::MissingKey, unit.span(), "a velocity is no flow without a bore", remedy);
                };
                let bore = bore.read(self.source)?;
                Some((linear(std::f64::consts::FRAC_PI_4 * bore * bore), Some(stated)))
            }
            (Quantity::Flow(_) | Quantity::Baseline(_), "kg/s") => Some((linear(1.0 / KG_PER_M3), Some(USUAL))),
            (Quantity::Flow(_) | Quantity::Baseline(_), "kg/h") => {
                Some((linear(1.0 / 3600.0 / KG_PER_M3), Some(USUAL)))
            }
            (Quantity::Flow(_) | Quantity::Baseline(_), "g/s") => Some((linear(1e-3 / KG_PER_M3), Some(USUAL))),
            (Quantity::Fan, "rpm") => Some((linear(1.0), None)),
            (Quantity::Fan, _) => linear_of(dimension, name).map(|si| (scaled(si, 60.0), None)),
            (Quantity::Zone, _) => linear_of(dimension, name).map(|si| (scaled(si, 1.0 / 60.0), None)),
            (Quantity::Flow(_) | Quantity::Baseline(_), _) => linear_of(dimension, name).map(|si| (si, Some(stated))),
            _ => linear_of(dimension, name).map(|si| (si, None)),
        };
        si.map_or_else(
            || {
                let cause = format!("{} can't be stated in {}", quoted(means.as_ref()), quoted(name));
                self.wrong(Wrong::Unit, unit.span(), cause, format!("use one of {}", self.units(quantity, dimension)))
            },
            Ok,
        )
    }
    fn units(&self, quantity: Quantity, dimension: Dimension) -> String {
        let own: &[&str] = match quantity {
            Quantity::Smoke(_) => return choices(["%/m", "%/ft", "dB/m"]),
            Quantity::Flow(_) | Quantity::Baseline(_) => &["m/s", "kg/s", "kg/h", "g/s", "%"],
            Quantity::Fan => &["rpm"],
            _ => &[],
        };
        choices(units::of(dimension).filter(|u| u.is_ascii()).chain(own.iter().copied()))
    }
    pub(super) fn flag(&self, means: &Spanned<String>) -> Result<Flag, Problem> {
        let parts: Vec<&str> = means.as_ref().split('.').collect();
        let n = |text: &str, has: u8| text.parse::<u8>().ok().filter(|n| (1..=has).contains(n));
        let outputs = u8::try_from(self.of.outputs.len()).unwrap_or(u8::MAX);
        let of = |list: &[(&str, Faults)], name: &str| list.iter().find(|(n, _)| *n == name).map(|(_, f)| *f);
        let flag = match parts[..] {
            ["input", i] => n(i, self.of.inputs).map(Flag::Input),
            ["output", i] => n(i, outputs).map(Flag::Output),
            ["level", i] => n(i, self.of.levels).map(Flag::Level),
            ["level", i, "latched"] => n(i, self.of.levels).map(Flag::Latched),
            ["inlet", i, "low"] => n(i, self.of.inlets.1).map(Flag::Low),
            ["inlet", i, "high"] => n(i, self.of.inlets.1).map(Flag::High),
            ["fault", name] => of(FAULTS, name).map(Flag::Fault),
            ["fault", name, "latched"] => of(FAULTS, name).map(Flag::FaultLatched),
            ["condition", name] => CONDITIONS.iter().find(|(n, _)| *n == name).map(|(_, c)| Flag::Condition(*c)),
            _ => None,
        };
        match flag {
            Some(flag) => Ok(flag),
            None => {
                let cause = format!("{} is nothing that a bit of this unit means", quoted(means.as_ref()));
                let faults = choices(FAULTS.iter().map(|f| f.0));
                let states = choices(CONDITIONS.iter().map(|c| c.0));
                let remedy = format!(
                    "use one like {}, with a number that the description has; faults are {faults}; conditions are {states}",
                    choices(FLAGS.iter().copied())
                );
                self.wrong(Wrong::UnknownName, means.span(), cause, remedy)
            }
        }
    }
}

/// The straight line from a unit to SI.
fn linear_of(dimension: Dimension, unit: &str) -> Option<Si> {
    let of = |x: &str| units::parse(dimension, &format!("{x} {unit}")).ok();
    let plus = of("0")?;
    // Kelvin is refused below 0: the line is the same.
    Some(Si::Linear { times: of("1")? - plus, plus })
}
fn scaled(si: Si, by: f64) -> Si {
    match si {
        Si::Linear { times, plus } => Si::Linear { times: times * by, plus: plus * by },
        other => other,
    }
}

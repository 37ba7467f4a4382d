//! What is read: numbers with their units, texts and single bits.
use super::{super::raw_registers as raw, Reader};
use crate::{
    error::{Kind as Wrong, Problem, choices, nearest, quoted},
    units::{self, Dimension},
    written::Spanned,
};
use plumeline_base::obscuration::ObscurationUnit;
use plumeline_detector::{
    registers::map::{Flag, Form, Map, Number, Quantity, Si, Who},
    vocabulary::{Conditions, Faults, FlowBasis, WHOLE_M3_S},
};

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

impl Reader<'_, '_> {
    pub(super) fn value(
        &mut self,
        written: &Spanned<raw::Value>,
        stated: FlowBasis,
        basis: &mut Option<FlowBasis>,
        map: &mut Map,
    ) -> Result<(), Problem> {
        let v = written.as_ref();
        let form = self.form(&v.r#type, v.registers.as_ref())?;
        let table = self.table(&v.function, true, false)?;
        let stride = self.stride(v.stride.as_ref(), form)?;
        for n in 1..=self.times(&v.means, v.n.as_ref())? {
            let what = v.means.as_ref().replace("{n}", &n.to_string());
            let skip = u32::from(n - 1) * stride;
            if let Some((_, who)) = TEXTS.iter().find(|(name, _)| *name == what) {
                if !matches!(form, Form::Text(_)) {
                    let cause = format!("{} is a text", quoted(&what));
                    return self.wrong(
                        Wrong::Conflict,
                        v.r#type.span(),
                        cause,
                        "write `type = \"text\"` with `registers = 8`",
                    );
                }
                let place = self.place(&v.address, table, form, skip, &what)?;
                map.texts.push((*who, place));
                continue;
            }
            let quantity = self.quantity(&v.means, &what)?;
            if matches!(form, Form::Text(_)) {
                let cause = format!("{} is a number", quoted(&what));
                return self.wrong(
                    Wrong::Conflict,
                    v.r#type.span(),
                    cause,
                    "write a type of numbers, such as \"u16\" or \"f32\"",
                );
            }
            let place = self.place(&v.address, table, form, skip, &what)?;
            let (scale, offset) = self.scale(v.scale.as_ref(), v.offset.as_ref())?;
            let (si, of_flow) = self.si(v, quantity, stated)?;
            if let Some(of_flow) = of_flow {
                if basis.is_some_and(|b| b != of_flow) {
                    let cause = "this flow refers to something else than the one before";
                    return self.wrong(Wrong::Conflict, v.means.span(), cause, "state all flows in units of one kind");
                }
                *basis = Some(of_flow);
            }
            let none = v.none.as_ref().map(|n| *n.as_ref());
            map.numbers.push((quantity, Number { place, scale, offset, none, si }));
        }
        Ok(())
    }
    fn quantity(&self, means: &Spanned<String>, what: &str) -> Result<Quantity, Problem> {
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
                let cause = format!("{} is nothing that registers tell{near}", quoted(what));
                self.wrong(Wrong::UnknownName, means.span(), cause, format!("use one of {}", choices(known())))
            }
        }
    }
    /// The way to SI, and what a flow refers to.
    fn si(&self, v: &raw::Value, quantity: Quantity, stated: FlowBasis) -> Result<(Si, Option<FlowBasis>), Problem> {
        let linear = |times| Si::Linear { times, plus: 0.0 };
        let dimension = match quantity {
            Quantity::Flow(_) | Quantity::Baseline(_) => Some(Dimension::Flow),
            Quantity::Smoke(_) => Some(Dimension::Ratio),
            q => NUMBERS.iter().find(|(_, known, _)| *known == q).and_then(|(.., dimension)| *dimension),
        };
        let (Some(dimension), Some(unit)) = (dimension, &v.unit) else {
            return match (dimension, &v.unit) {
                (None, Some(unit)) => self.wrong(Wrong::Unit, unit.span(), "this value has no unit", "take `unit` out"),
                (Some(_), None) => {
                    let remedy = format!("add `unit`: {}", self.units(quantity, dimension.unwrap_or(Dimension::Ratio)));
                    self.wrong(Wrong::MissingKey, v.means.span(), "this value needs its unit", remedy)
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
                let Some(bore) = &v.bore else {
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
                let cause = format!("{} can't be stated in {}", quoted(v.means.as_ref()), quoted(name));
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

    pub(super) fn bits(&mut self, written: &Spanned<raw::Bits>, map: &mut Map) -> Result<(), Problem> {
        let b = written.as_ref();
        let table = self.table(&b.function, false, false)?;
        if b.bits.is_empty() {
            return self.wrong(
                Wrong::MissingKey,
                written.span(),
                "no bit means anything",
                "write `bits = { 0 = \"fault.flow\" }`",
            );
        }
        for (number, means) in &b.bits {
            let most = if table.is_bits() { 255 } else { 15 };
            let Some(number) = number.parse::<u8>().ok().filter(|n| *n <= most) else {
                let cause = format!("{} is no bit: they count from 0 to {most}", quoted(number));
                return self.wrong(Wrong::Range, means.span(), cause, "correct the number before the sign of equality");
            };
            let flag = self.flag(means)?;
            // Several faults of a unit may be one in the neutral words.
            let many = matches!(flag, Flag::Fault(_) | Flag::FaultLatched(_) | Flag::Condition(_));
            if !many && map.flag(flag).is_some() {
                let cause = format!("{} stands twice", quoted(means.as_ref()));
                return self.wrong(Wrong::Duplicate, means.span(), cause, "keep one of the two");
            }
            let (form, skip) = if table.is_bits() { (Form::Bit(0), number.into()) } else { (Form::Bit(number), 0) };
            let place = self.place(&b.address, table, form, skip, means.as_ref())?;
            map.flags.push((flag, place));
        }
        Ok(())
    }
    fn flag(&self, means: &Spanned<String>) -> Result<Flag, Problem> {
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

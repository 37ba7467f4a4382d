//! From what stands in `[registers]` to the map that the driver reads by.
//!
//! Not here: the keys of the format, and the driver.
use super::{
    raw::Count,
    raw_registers::{self as raw, Registers},
};
use crate::{
    error::{Kind as Wrong, Problem, Source, choices, nearest, quoted},
    units::{self, Dimension},
    written::{ReadOr, Spanned, choice, whole},
};
use plumeline_base::obscuration::ObscurationUnit;
use plumeline_detector::{
    registers::map::{
        BusRules, Command, Flag, Form, Map, Number, Order, Ordered, Place, Protocol, Quantity, Setting, Si, Table,
        Takes, Who,
    },
    vocabulary::{Conditions, Faults, FlowBasis, WHOLE_M3_S},
};
use plumeline_unit::{
    Description,
    description::{FlowReading, Kind, Slot},
};
use std::{collections::BTreeMap, ops::Range, time::Duration};

pub(super) const FIRST: [(&str, bool); 2] = [("high first", false), ("low first", true)];
/// Types; a text's length is stated by itself.
pub(super) const TYPES: &[(&str, Form)] = &[
    ("u16", Form::U16),
    ("i16", Form::I16),
    ("u32", Form::U32),
    ("i32", Form::I32),
    ("u64", Form::U64),
    ("f32", Form::F32),
    ("f64", Form::F64),
    ("text", Form::Text(0)),
];
/// What can be ordered.
pub(super) const DOES: [(&str, Command); 5] = [
    ("take baseline", Command::TakeBaseline),
    ("reset", Command::Reset),
    ("restart", Command::Restart),
    ("inhibit", Command::Inhibit),
    ("drive output {n}", Command::Drive(0)),
];
/// Longest text, registers.
const LONGEST: i64 = 60;
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

/// What is being read, and what it has to go with.
struct Reader<'a, 's> {
    source: &'a Source<'s>,
    of: &'a Description,
    most: u16,
    /// Every address that is taken, with its bits and what takes it.
    taken: BTreeMap<(Table, u16), Vec<(u16, String)>>,
}

/// The map.
pub(super) fn check(source: &Source<'_>, written: &Spanned<Registers>, of: &Description) -> Result<Map, Problem> {
    let r = written.as_ref();
    let bus = bus(source, r)?;
    let mut reader = Reader { source, of, most: bus.most, taken: BTreeMap::new() };
    let first = |w: &Option<Spanned<String>>| w.as_ref().map_or(Ok(false), |w| choice(source, w, "an order", &FIRST));
    let mut map = Map {
        bus,
        order: Order { low_word_first: first(&r.words)?, low_byte_first: first(&r.bytes)? },
        every: time(r.every.read_or(source, 1.0)?),
        maker: of.maker.clone(),
        model: of.model.clone(),
        has: (of.levels, u8::try_from(of.outputs.len()).unwrap_or(u8::MAX), of.inputs),
        basis: FlowBasis::Actual,
        numbers: Vec::new(),
        flags: Vec::new(),
        texts: Vec::new(),
        settings: Vec::new(),
        settable: false,
        commands: Vec::new(),
    };
    let stated = reader.basis(r)?;
    let mut basis = None;
    for value in &r.value {
        reader.value(value, stated, &mut basis, &mut map)?;
    }
    map.basis = basis.unwrap_or(stated);
    for bits in &r.bits {
        reader.bits(bits, &mut map)?;
    }
    for setting in &r.setting {
        reader.setting(setting, &mut map)?;
    }
    for command in &r.command {
        reader.command(command, &mut map)?;
    }
    whole_map(source, written, of, &mut map)?;
    Ok(map)
}

fn time(seconds: f64) -> Duration {
    Duration::from_secs_f64(seconds)
}

fn bus(source: &Source<'_>, r: &Registers) -> Result<BusRules, Problem> {
    let protocol = choice(source, &r.protocol, "a framing", &Protocol::NAMES)?;
    let (low, high) = if protocol == Protocol::Tcp { (0, 255) } else { (1, 247) };
    Ok(BusRules {
        protocol,
        address: whole(source, &r.address, low, high, "the address of a unit on the bus")?,
        gap: time(r.gap.read_or(source, if protocol == Protocol::Tcp { 0.0 } else { 0.01 })?),
        timeout: time(r.timeout.read_or(source, 0.5)?),
        tries: r.tries.as_ref().map_or(Ok(3), |n| whole(source, n, 1, 20, "how often a request is made"))?,
        most: r.most.as_ref().map_or(Ok(100), |n| whole(source, n, 1, 125, "the registers of one request"))?,
    })
}

/// What the map as a whole must hold.
fn whole_map(
    source: &Source<'_>,
    written: &Spanned<Registers>,
    of: &Description,
    map: &mut Map,
) -> Result<(), Problem> {
    let wrong = |kind, cause: String, remedy: &str| Err(source.problem(kind, written.span(), cause, remedy));
    if map.numbers.is_empty() && map.flags.is_empty() {
        return wrong(
            Wrong::MissingKey,
            "the map reads nothing".into(),
            "add [[registers.value]] with `means = \"flow.{n}\"`",
        );
    }
    if let Some(missing) = (1..=map.inlets()).find(|n| map.number(Quantity::Flow(*n)).is_none()) {
        let cause = format!("the map has no \"flow.{missing}\", but further inlets");
        return wrong(Wrong::MissingKey, cause, "add it: inlets count from 1 without gaps");
    }
    let has = |c| map.command(c).is_some();
    if has(Command::TakeBaseline) && map.number(Quantity::Baseline(1)).is_none() {
        let cause = "a baseline can be ordered here, and nothing reads it back".into();
        return wrong(
            Wrong::MissingKey,
            cause,
            "add [[registers.value]] with `means = \"baseline.{n}\"`, or take the command out",
        );
    }
    if has(Command::Restart) && !map.tells_starts() {
        let cause = "a restart can be ordered here, and nothing tells that it was made".into();
        return wrong(
            Wrong::MissingKey,
            cause,
            "add [[registers.value]] with `means = \"starts\"` or \"uptime\", or take the command out",
        );
    }
    if map.number(Quantity::Clock).is_some() != map.number(Quantity::Zone).is_some() {
        let cause = "\"clock\" and \"clock.zone\" belong together".into();
        return wrong(Wrong::MissingKey, cause, "add the other, or take both out");
    }
    if map.settings.is_empty() {
        return Ok(());
    }
    if let Some(slot) = of.slots.iter().find(|slot| !map.settings.iter().any(|s| s.key == slot.key)) {
        let cause = format!("the map has settings, but not {}", quoted(&slot.key));
        return wrong(Wrong::MissingKey, cause, "add it: settings are read whole, or not at all");
    }
    map.settings.sort_by(|a, b| a.key.cmp(&b.key));
    map.settable = of.can.write_settings && map.settings.iter().all(|s| s.place.table.is_writable());
    Ok(())
}

impl Reader<'_, '_> {
    fn wrong<T>(
        &self,
        kind: Wrong,
        at: Range<usize>,
        cause: impl Into<String>,
        remedy: impl Into<String>,
    ) -> Result<T, Problem> {
        Err(self.source.problem(kind, at, cause, remedy))
    }
    fn basis(&self, r: &Registers) -> Result<FlowBasis, Problem> {
        let temperature = r.reference_temperature.read_or(self.source, 20.0)?;
        let pressure = r.reference_pressure.read_or(self.source, 101_325.0)?;
        Ok(match self.of.flow {
            FlowReading::Actual => FlowBasis::Actual,
            FlowReading::Reference => FlowBasis::Reference {
                temperature_mc: (temperature * 1e3).round() as i32,
                pressure_pa: pressure.round() as u32,
            },
        })
    }
    /// Takes the addresses of a place; what stands there already, or lies beyond the last address, is an error.
    fn place(&mut self, at: &Spanned<i64>, table: Table, form: Form, skip: u32, what: &str) -> Result<Place, Problem> {
        let first: u16 = whole(self.source, at, 0, 65_535, "an address on the wire, from 0,")?;
        let end = u32::from(first) + skip + u32::from(form.len());
        if end > 65_536 {
            return self.wrong(
                Wrong::Range,
                at.span(),
                format!("{what} ends beyond the last address, 65535"),
                "correct the address",
            );
        }
        if form.len() > self.most && !table.is_bits() {
            let cause = format!("{what} takes {} registers, and one request at most {}", form.len(), self.most);
            return self.wrong(Wrong::Conflict, at.span(), cause, "raise `most` in [registers]");
        }
        let place = Place { table, at: (u32::from(first) + skip) as u16, form };
        let bits = match form {
            Form::Bit(bit) => 1 << bit,
            _ => u16::MAX,
        };
        for address in place.at..=place.at + (form.len() - 1) {
            let taken = self.taken.entry((table, address)).or_default();
            if let Some((_, other)) = taken.iter().find(|(mask, _)| mask & bits != 0) {
                let cause = format!("{what} stands at address {address}, where {other} stands already");
                return self.wrong(Wrong::Conflict, at.span(), cause, "correct one of the two addresses, or its type");
            }
            taken.push((bits, what.to_owned()));
        }
        Ok(place)
    }
    /// How far `{n}` goes; 1 where there is none.
    fn times(&self, text: &Spanned<String>, n: Option<&Spanned<Count>>) -> Result<u8, Problem> {
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
    fn stride(&self, stride: Option<&Spanned<i64>>, form: Form) -> Result<u32, Problem> {
        let least = i64::from(form.len());
        stride.map_or(Ok(u32::from(form.len())), |s| {
            whole(self.source, s, least, 10_000, "the way from one {n} to the next")
        })
    }
    fn form(&self, name: &Spanned<String>, registers: Option<&Spanned<i64>>) -> Result<Form, Problem> {
        let form = choice(self.source, name, "a type", TYPES)?;
        match (form, registers) {
            (Form::Text(_), Some(n)) => Ok(Form::Text(whole(self.source, n, 1, LONGEST, "the registers of a text")?)),
            (Form::Text(_), None) => self.wrong(
                Wrong::MissingKey,
                name.span(),
                "nothing says how long the text is",
                "add `registers = 8`: two characters in each",
            ),
            (_, Some(n)) => self.wrong(
                Wrong::Conflict,
                n.span(),
                format!("a {} has its own length", name.as_ref()),
                "take `registers` out",
            ),
            (form, None) => Ok(form),
        }
    }
    fn table(&self, name: &Spanned<String>, registers: bool, written: bool) -> Result<Table, Problem> {
        let table = choice(self.source, name, "a table of registers or bits", &Table::NAMES)?;
        if registers && table.is_bits() {
            let cause = format!("{} holds single bits, and this is a number or a text", quoted(name.as_ref()));
            return self.wrong(Wrong::Conflict, name.span(), cause, "use \"input\" or \"holding\"");
        }
        if written && !table.is_writable() {
            let cause = format!("{} can't be written", quoted(name.as_ref()));
            return self.wrong(Wrong::Conflict, name.span(), cause, "use \"holding\" or \"coil\"");
        }
        Ok(table)
    }
    fn scale(&self, scale: Option<&Spanned<f64>>, offset: Option<&Spanned<f64>>) -> Result<(f64, f64), Problem> {
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

    fn value(
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

    fn bits(&mut self, written: &Spanned<raw::Bits>, map: &mut Map) -> Result<(), Problem> {
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

    fn setting(&mut self, written: &Spanned<raw::Setting>, map: &mut Map) -> Result<(), Problem> {
        let s = written.as_ref();
        let table = self.table(&s.function, false, true)?;
        let form = match (&s.r#type, table.is_bits()) {
            (None, true) => Form::Bit(0),
            (Some(name), true) => {
                return self.wrong(Wrong::Conflict, name.span(), "a coil is one bit", "take `type` out");
            }
            (Some(name), false) => self.form(name, s.registers.as_ref())?,
            (None, false) => {
                return self.wrong(
                    Wrong::MissingKey,
                    s.key.span(),
                    "a register needs its type",
                    "add `type = \"u16\"`",
                );
            }
        };
        let stride = self.stride(s.stride.as_ref(), form)?;
        for n in 1..=self.times(&s.key, s.n.as_ref())? {
            let key = s.key.as_ref().replace("{n}", &n.to_string());
            let of = self.of;
            let Some(slot) = of.slot(&key) else {
                let near = nearest(&key, of.slots.iter().map(|s| s.key.as_str()));
                let near = near.map_or_else(String::new, |k| format!("; did you mean {}?", quoted(k)));
                let cause = format!("the description has no [[item]] with the key {}{near}", quoted(&key));
                return self.wrong(Wrong::UnknownName, s.key.span(), cause, "correct the key, or add the [[item]]");
            };
            if map.settings.iter().any(|s| s.key == key) {
                return self.wrong(
                    Wrong::Duplicate,
                    s.key.span(),
                    format!("{} stands twice", quoted(&key)),
                    "keep one of the two",
                );
            }
            let takes = self.takes(s, slot, form)?;
            let place = self.place(&s.address, table, form, u32::from(n - 1) * stride, &key)?;
            let unit = match &slot.kind {
                Kind::Number { unit, .. } => unit.clone(),
                _ => None,
            };
            map.settings.push(Setting { key, unit, inlet: slot.inlet, place, takes });
        }
        Ok(())
    }
    fn takes(&self, s: &raw::Setting, slot: &Slot, form: Form) -> Result<Takes, Problem> {
        let at = || s.r#type.as_ref().map_or_else(|| s.function.span(), Spanned::span);
        let unfit = |remedy: &str| {
            let cause = format!("the type does not fit: {} is a setting of another kind", quoted(&slot.key));
            self.wrong(Wrong::Conflict, at(), cause, remedy)
        };
        let whole_number = matches!(form, Form::U16 | Form::I16 | Form::U32 | Form::I32);
        Ok(match (&slot.kind, form) {
            (Kind::Switch, Form::Bit(_) | Form::U16) => Takes::Switch,
            (Kind::Switch, _) => return unfit("a switch is a coil, or a \"u16\" of 0 or 1"),
            (Kind::Number { step, low, high, .. }, form) if !matches!(form, Form::Bit(_) | Form::Text(_)) => {
                let (scale, offset) = self.scale(s.scale.as_ref(), s.offset.as_ref())?;
                let counts = step / scale.abs();
                if !matches!(form, Form::F32 | Form::F64)
                    && (counts < 1.0 - 1e-9 || (counts - counts.round()).abs() > 1e-6)
                {
                    let cause = format!("the setting goes by steps of {step}, and a count of this register is {scale}");
                    let at = s.scale.as_ref().map_or_else(at, Spanned::span);
                    return self.wrong(
                        Wrong::Conflict,
                        at,
                        cause,
                        "correct `scale`: a step is a whole number of counts",
                    );
                }
                let (least, most) = reach(form);
                if let Some(end) = [low, high].into_iter().find(|x| !(least..=most).contains(&((**x - offset) / scale)))
                {
                    let cause = format!("{end} of the setting's range does not fit into this type");
                    return self.wrong(Wrong::Conflict, at(), cause, "use a wider type, or another scale");
                }
                Takes::Number { scale, offset, step: *step }
            }
            (Kind::Number { .. }, _) => {
                return unfit("a number is one of \"u16\", \"i16\", \"u32\", \"i32\", \"f32\", \"f64\"");
            }
            (Kind::Words(words), _) if whole_number => {
                let mut all: Vec<(u16, String)> = Vec::new();
                for (word, _) in words {
                    let Some(number) = s.words.get(word) else {
                        let cause = format!("nothing says which number the word {} has", quoted(word));
                        return self.wrong(
                            Wrong::MissingKey,
                            s.key.span(),
                            cause,
                            format!("add it to `words = {{ {word} = 0 }}`"),
                        );
                    };
                    let value = whole(self.source, number, 0, 65_535, "the number of a word")?;
                    if all.iter().any(|(other, _)| *other == value) {
                        return self.wrong(
                            Wrong::Duplicate,
                            number.span(),
                            "two words have this number",
                            "correct one of the two",
                        );
                    }
                    all.push((value, word.clone()));
                }
                Takes::Words(all)
            }
            (Kind::Words(_), _) => return unfit("words are numbers in a \"u16\""),
            (Kind::Text { .. }, Form::Text(_)) => Takes::Text,
            (Kind::Bytes { .. }, Form::Text(_)) => Takes::Bytes,
            (Kind::Text { .. } | Kind::Bytes { .. }, _) => return unfit("use \"text\" with `registers = 16`"),
        })
    }

    fn command(&mut self, written: &Spanned<raw::Command>, map: &mut Map) -> Result<(), Problem> {
        let c = written.as_ref();
        let table = self.table(&c.function, false, true)?;
        let does = choice(self.source, &c.does, "something that can be ordered", &DOES)?;
        let form = if table.is_bits() { Form::Bit(0) } else { Form::U16 };
        if does == Command::Inhibit && table.is_bits() {
            let cause =
                "an inhibit by a coil holds until somebody ends it: a broken line would leave the site without alarms";
            let remedy = "name a register that takes for how many seconds the inhibit holds; where the unit has none, take this out";
            return self.wrong(Wrong::Conflict, c.function.span(), cause, remedy);
        }
        let outputs = i64::try_from(self.of.outputs.len()).unwrap_or(0);
        let times = match (does, &c.n) {
            (Command::Drive(_), Some(n)) => whole(self.source, n, 1, outputs, "the outputs that can be driven")?,
            (Command::Drive(_), None) => {
                return self.wrong(
                    Wrong::MissingKey,
                    c.does.span(),
                    "nothing says how far {n} goes",
                    "add `n`: how many outputs",
                );
            }
            (_, Some(n)) => return self.wrong(Wrong::Conflict, n.span(), "there is no {n} here", "take `n` out"),
            (_, None) => 1u8,
        };
        let number = |n: &Option<Spanned<i64>>, or: u16| match n {
            Some(n) => whole(self.source, n, 0, 65_535, "what is written"),
            None => Ok(or),
        };
        let (value, off) = (number(&c.value, 1)?, number(&c.off, 0)?);
        let takes = time(c.takes.read_or(self.source, 60.0)?);
        for n in 1..=times {
            let command = if matches!(does, Command::Drive(_)) { Command::Drive(n) } else { does };
            if map.command(command).is_some() {
                return self.wrong(
                    Wrong::Duplicate,
                    c.does.span(),
                    "this is ordered in two ways",
                    "keep one of the two",
                );
            }
            let place = self.place(&c.address, table, form, u32::from(n - 1), c.does.as_ref())?;
            map.commands.push((command, Ordered { place, value, off, takes }));
        }
        Ok(())
    }
}

/// What a type holds.
fn reach(form: Form) -> (f64, f64) {
    match form {
        Form::U16 => (0.0, 65_535.0),
        Form::I16 => (-32_768.0, 32_767.0),
        Form::U32 => (0.0, 4_294_967_295.0),
        Form::I32 => (-2_147_483_648.0, 2_147_483_647.0),
        Form::U64 => (0.0, 9e15),
        Form::F32 | Form::F64 | Form::Bit(_) | Form::Text(_) => (f64::MIN, f64::MAX),
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

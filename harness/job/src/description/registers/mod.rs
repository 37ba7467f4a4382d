//! From what stands in `[registers]` to the map that the driver reads by.
//!
//! Not here: the keys of the format, and the driver.
mod read;
mod write;

use super::{raw::Count, raw_registers::Registers};
use crate::{
    error::{Kind as Wrong, Problem, Source, quoted},
    written::{ReadOr, Spanned, choice, whole},
};
use plumeline_detector::{
    registers::map::{BusRules, Command, Form, Map, Order, Place, Protocol, Quantity, Table},
    vocabulary::FlowBasis,
};
use plumeline_unit::{Description, description::FlowReading};
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
}

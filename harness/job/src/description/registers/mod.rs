//! From what stands in `[registers]` to the map that the driver reads by.
//!
//! Not here: the keys of the format, and the driver.
mod read;
mod write;

use super::{means::Means, raw_registers::Registers};
use crate::{
    error::{Kind as Wrong, Problem, Source, quoted},
    written::{ReadOr, Spanned, choice, whole},
};
use plumeline_detector::{
    registers::map::{BusRules, Command, Form, Map, Order, Place, Protocol, Table},
    told::Quantity,
    vocabulary::FlowBasis,
};
use plumeline_unit::Description;
use std::{collections::BTreeMap, time::Duration};

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
    say: Means<'a, 's>,
    most: u16,
    /// Every address that is taken, with its bits and what takes it.
    taken: BTreeMap<(Table, u16), Vec<(u16, String)>>,
}

/// The map.
pub(super) fn check(source: &Source<'_>, written: &Spanned<Registers>, of: &Description) -> Result<Map, Problem> {
    let r = written.as_ref();
    let bus = bus(source, r)?;
    let mut reader = Reader { say: Means { source, of }, most: bus.most, taken: BTreeMap::new() };
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
    let stated = reader.say.basis(&r.reference_temperature, &r.reference_pressure)?;
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
    /// Takes the addresses of a place; what stands there already, or lies beyond the last address, is an error.
    fn place(&mut self, at: &Spanned<i64>, table: Table, form: Form, skip: u32, what: &str) -> Result<Place, Problem> {
        let first: u16 = whole(self.say.source, at, 0, 65_535, "an address on the wire, from 0,")?;
        let end = u32::from(first) + skip + u32::from(form.len());
        if end > 65_536 {
            return self.say.wrong(
                Wrong::Range,
                at.span(),
                format!("{what} ends beyond the last address, 65535"),
                "correct the address",
            );
        }
        if form.len() > self.most && !table.is_bits() {
            let cause = format!("{what} takes {} registers, and one request at most {}", form.len(), self.most);
            return self.say.wrong(Wrong::Conflict, at.span(), cause, "raise `most` in [registers]");
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
                return self.say.wrong(
                    Wrong::Conflict,
                    at.span(),
                    cause,
                    "correct one of the two addresses, or its type",
                );
            }
            taken.push((bits, what.to_owned()));
        }
        Ok(place)
    }
    fn stride(&self, stride: Option<&Spanned<i64>>, form: Form) -> Result<u32, Problem> {
        let least = i64::from(form.len());
        stride.map_or(Ok(u32::from(form.len())), |s| {
            whole(self.say.source, s, least, 10_000, "the way from one {n} to the next")
        })
    }
    fn form(&self, name: &Spanned<String>, registers: Option<&Spanned<i64>>) -> Result<Form, Problem> {
        let form = choice(self.say.source, name, "a type", TYPES)?;
        match (form, registers) {
            (Form::Text(_), Some(n)) => {
                Ok(Form::Text(whole(self.say.source, n, 1, LONGEST, "the registers of a text")?))
            }
            (Form::Text(_), None) => self.say.wrong(
                Wrong::MissingKey,
                name.span(),
                "nothing says how long the text is",
                "add `registers = 8`: two characters in each",
            ),
            (_, Some(n)) => self.say.wrong(
                Wrong::Conflict,
                n.span(),
                format!("a {} has its own length", name.as_ref()),
                "take `registers` out",
            ),
            (form, None) => Ok(form),
        }
    }
    fn table(&self, name: &Spanned<String>, registers: bool, written: bool) -> Result<Table, Problem> {
        let table = choice(self.say.source, name, "a table of registers or bits", &Table::NAMES)?;
        if registers && table.is_bits() {
            let cause = format!("{} holds single bits, and this is a number or a text", quoted(name.as_ref()));
            return self.say.wrong(Wrong::Conflict, name.span(), cause, "use \"input\" or \"holding\"");
        }
        if written && !table.is_writable() {
            let cause = format!("{} can't be written", quoted(name.as_ref()));
            return self.say.wrong(Wrong::Conflict, name.span(), cause, "use \"holding\" or \"coil\"");
        }
        Ok(table)
    }
}

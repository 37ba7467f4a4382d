//! Registers turned into values, and settings into registers.
use super::{
    frame::Span,
    map::{Form, Number, Order, Place, Setting, Takes},
};
use crate::{
    settings::{Item, Value},
    told::Quantity,
};
use alloc::{
    collections::BTreeMap,
    format,
    string::{String, ToString},
    vec::Vec,
};
use base16ct::{lower, mixed};

/// What was read, by table and address.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Image(BTreeMap<(super::map::Table, u16), u16>);
impl Image {
    pub(super) fn take(&mut self, span: Span, values: &[u16]) {
        self.0.extend((span.at..=u16::MAX).zip(values).map(|(at, value)| ((span.table, at), *value)));
    }
    fn registers(&self, place: Place) -> Option<Vec<u16>> {
        (0..place.form.len()).map(|i| self.0.get(&(place.table, place.at.checked_add(i)?)).copied()).collect()
    }
    /// A bit.
    pub(super) fn bit(&self, place: Place) -> Option<bool> {
        let Form::Bit(bit) = place.form else { return None };
        Some(self.registers(place)?.first()? >> bit & 1 == 1)
    }
    /// A text, as far as it can be read.
    pub(super) fn text(&self, place: Place, order: Order) -> Result<String, String> {
        let bytes = bytes(&self.registers(place).ok_or("it was not read")?, order.low_byte_first);
        let end = bytes.iter().position(|b| *b == 0).unwrap_or(bytes.len());
        let text = core::str::from_utf8(&bytes[..end]).map_err(|_| "it is no text".to_string())?;
        if text.chars().any(char::is_control) { Err("it is no text".into()) } else { Ok(text.trim_end().into()) }
    }
    fn raw(&self, place: Place, order: Order) -> Option<f64> {
        let mut registers = self.registers(place)?;
        if order.low_word_first {
            registers.reverse();
        }
        let bytes = bytes(&registers, order.low_byte_first);
        let all = bytes.iter().fold(0u64, |all, b| all << 8 | u64::from(*b));
        Some(match place.form {
            Form::Bit(_) | Form::Text(_) => return None,
            Form::U16 | Form::U32 | Form::U64 => all as f64,
            Form::I16 => f64::from(all as u16 as i16),
            Form::I32 => f64::from(all as u32 as i32),
            Form::F32 => f64::from(f32::from_bits(all as u32)),
            Form::F64 => f64::from_bits(all),
        })
    }
    /// A number in SI; `Ok(None)` where there is no reading now.
    ///
    /// # Errors
    /// What can't be right: most often the order of registers, the type or the scale.
    pub(super) fn number(&self, what: Quantity, n: &Number, order: Order) -> Result<Option<f64>, String> {
        let Some(raw) = self.raw(n.place, order) else { return Ok(None) };
        if n.none.is_some_and(|none| raw == none || (raw.is_nan() && none.is_nan())) {
            return Ok(None);
        }
        n.si.of(what, raw * n.scale + n.offset).map(Some)
    }
    /// A floating number that is all but nothing: most often another one with its halves exchanged. A filter that runs out
    /// may come to that too, so that it counts only where a unit is met.
    pub(super) fn is_tiny(&self, what: Quantity, n: &Number, order: Order) -> bool {
        let least = if matches!(what, Quantity::Flow(_)) { 1e-11 } else { 1e-6 };
        let floating = matches!(n.place.form, Form::F32 | Form::F64);
        floating && self.number(what, n, order).is_ok_and(|x| x.is_some_and(|x| x != 0.0 && libm::fabs(x) < least))
    }
    /// A setting as an item.
    pub(super) fn item(&self, s: &Setting, order: Order) -> Result<Item, String> {
        let whole = |place| self.raw(place, order).ok_or_else(|| "it was not read".to_string());
        let value = match &s.takes {
            Takes::Switch => match self.registers(s.place).as_deref() {
                Some([0]) => Value::Bool(false),
                Some([1]) => Value::Bool(true),
                other => return Err(format!("{other:?} is neither 0 nor 1")),
            },
            Takes::Number { scale, offset, step, range: (low, high) } => {
                let x = on_step(whole(s.place)? * scale + offset, *step);
                if !(low - step..=high + step).contains(&x) {
                    return Err(format!("{x} is outside of {low} to {high}"));
                }
                Value::Number(x)
            }
            Takes::Words(words) => {
                let raw = whole(s.place)?;
                let word = words.iter().find(|(n, _)| f64::from(*n) == raw);
                Value::Text(word.ok_or_else(|| format!("{raw} is none of its words"))?.1.clone())
            }
            Takes::Text => Value::Text(self.text(s.place, order)?),
            Takes::Bytes => {
                let registers = self.registers(s.place).ok_or("it was not read")?;
                Value::Opaque { hex: lower::encode_string(&bytes(&registers, order.low_byte_first)) }
            }
        };
        Ok(Item { key: s.key.clone(), value, unit: s.unit.clone() })
    }
}

/// The decimal nearest to a whole number of steps, where the number is one but for what its type rounds; else as it is.
fn on_step(x: f64, step: f64) -> f64 {
    let per_one = libm::round(1.0 / step);
    let decimal = per_one >= 1.0 && libm::fabs(per_one * step - 1.0) < 1e-9;
    let near = if decimal { libm::round(x * per_one) / per_one } else { libm::round(x / step) * step };
    // 32 bits hold seven digits.
    if libm::fabs(near - x) <= 1e-6 * libm::fabs(x) + 1e-9 { near } else { x }
}
fn bytes(registers: &[u16], low_first: bool) -> Vec<u8> {
    registers.iter().flat_map(|r| if low_first { r.to_le_bytes() } else { r.to_be_bytes() }).collect()
}
fn words(bytes: &[u8], low_first: bool) -> Vec<u16> {
    let word = |p: &[u8]| {
        let pair = [p.first().copied().unwrap_or(0), p.get(1).copied().unwrap_or(0)];
        if low_first { u16::from_le_bytes(pair) } else { u16::from_be_bytes(pair) }
    };
    bytes.chunks(2).map(word).collect()
}

/// The registers (or the bit) that an item is.
///
/// # Errors
/// It can't be put in there.
pub(super) fn registers(item: &Item, s: &Setting, order: Order) -> Result<Vec<u16>, String> {
    if item.unit != s.unit {
        return Err("its unit is another".into());
    }
    let length = usize::from(s.place.form.len());
    match (&s.takes, &item.value) {
        (Takes::Switch, Value::Bool(on)) => Ok(alloc::vec![u16::from(*on)]),
        (Takes::Number { scale, offset, .. }, Value::Int(_) | Value::Number(_)) => {
            let x = match item.value {
                Value::Int(n) => n as f64,
                Value::Number(x) => x,
                _ => 0.0,
            };
            raw_registers((x - offset) / scale, s.place.form, order).ok_or_else(|| format!("{x} does not fit in there"))
        }
        (Takes::Words(words), Value::Text(text)) => {
            let known = words.iter().find(|(_, w)| w == text).ok_or("the map has no number for this word")?;
            raw_registers(f64::from(known.0), s.place.form, order).ok_or_else(|| "it does not fit in there".into())
        }
        (Takes::Text, Value::Text(text)) if text.len() <= 2 * length => {
            let mut all = words(text.as_bytes(), order.low_byte_first);
            all.resize(length, 0);
            Ok(all)
        }
        (Takes::Text, Value::Text(text)) => {
            Err(format!("it is {} bytes long, there is room for {}", text.len(), 2 * length))
        }
        (Takes::Bytes, Value::Opaque { hex }) => match mixed::decode_vec(hex) {
            Ok(bytes) if bytes.len() == 2 * length => Ok(words(&bytes, order.low_byte_first)),
            _ => Err(format!("{} bytes are wanted", 2 * length)),
        },
        _ => Err("its value is of another kind".into()),
    }
}
pub(super) fn raw_registers(raw: f64, form: Form, order: Order) -> Option<Vec<u16>> {
    let whole = libm::round(raw);
    let within =
        |low: f64, high: f64| (whole >= low && whole <= high && libm::fabs(whole - raw) < 1e-3).then_some(whole);
    let bits: u64 = match form {
        Form::Bit(_) => within(0.0, 1.0)? as u64,
        Form::U16 => within(0.0, 65_535.0)? as u64,
        Form::I16 => within(-32_768.0, 32_767.0)? as i16 as u16 as u64,
        Form::U32 => within(0.0, 4_294_967_295.0)? as u64,
        Form::I32 => within(-2_147_483_648.0, 2_147_483_647.0)? as i32 as u32 as u64,
        Form::U64 => within(0.0, 9e15)? as u64,
        Form::F32 if raw.is_finite() => u64::from((raw as f32).to_bits()),
        Form::F64 if raw.is_finite() => raw.to_bits(),
        Form::F32 | Form::F64 | Form::Text(_) => return None,
    };
    let all = bits.to_be_bytes();
    let mut registers = words(all.get(8 - 2 * usize::from(form.len())..)?, order.low_byte_first);
    if order.low_word_first {
        registers.reverse();
    }
    Some(registers)
}

/// The requests that read these places: as few as can be, and none across an address that the map does not have.
pub(super) fn spans(places: impl Iterator<Item = Place>, most: u16) -> Vec<Span> {
    let mut all: Vec<Place> = places.collect();
    all.sort_by_key(|p| (p.table, p.at, p.form.len()));
    let mut out: Vec<Span> = Vec::new();
    for p in all {
        let end = u32::from(p.at) + u32::from(p.form.len());
        // Sixteen bits travel in the room of a register.
        let most = if p.table.is_bits() { most.saturating_mul(8) } else { most };
        match out.last_mut() {
            Some(s)
                if s.table == p.table
                    && u32::from(p.at) <= u32::from(s.at) + u32::from(s.count)
                    && end <= u32::from(s.at) + u32::from(most.max(s.count)) =>
            {
                s.count = s.count.max((end - u32::from(s.at)) as u16);
            }
            _ => out.push(Span { table: p.table, at: p.at, count: p.form.len() }),
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::{super::map::Table, *};
    use crate::told::Si;

    fn image(values: &[u16]) -> Image {
        let mut image = Image::default();
        image.take(Span { table: Table::Input, at: 10, count: 0 }, values);
        image
    }
    fn place(form: Form) -> Place {
        Place { table: Table::Input, at: 10, form }
    }
    fn flow(form: Form, values: &[u16], order: Order) -> Result<Option<f64>, String> {
        let times = 1.0 / 60_000.0;
        let n = Number {
            place: place(form),
            scale: 1.0,
            offset: 0.0,
            none: Some(65535.0),
            si: Si::Linear { times, plus: 0.0 },
        };
        if image(values).is_tiny(Quantity::Flow(1), &n, order) {
            return Err("all but nothing".into());
        }
        image(values).number(Quantity::Flow(1), &n, order).map(|x| x.map(|x| libm::round(x * 60_000.0 * 1e4) / 1e4))
    }

    #[test]
    fn every_type_in_every_order() {
        let plain = Order::default();
        let swapped = Order { low_word_first: true, ..plain };
        let bytes = Order { low_byte_first: true, ..plain };
        assert_eq!(flow(Form::U16, &[30], plain), Ok(Some(30.0)));
        assert_eq!(flow(Form::U16, &[30 << 8], bytes), Ok(Some(30.0)));
        assert_eq!(flow(Form::U16, &[65535], plain), Ok(None), "no reading");
        assert_eq!(flow(Form::I16, &[0xFFFF], plain), Ok(Some(-1.0)));
        assert_eq!(flow(Form::U32, &[0, 30], plain), Ok(Some(30.0)));
        let (high, low) = (30.5f32.to_bits() >> 16, 30.5f32.to_bits() & 0xFFFF);
        assert_eq!(flow(Form::F32, &[high as u16, low as u16], plain), Ok(Some(30.5)));
        assert_eq!(flow(Form::F32, &[low as u16, high as u16], swapped), Ok(Some(30.5)));
        let double: Vec<u16> = words(&30.25f64.to_be_bytes(), false);
        assert_eq!(flow(Form::F64, &double, plain), Ok(Some(30.25)));
        // Not read at all is no reading.
        assert_eq!(flow(Form::U32, &[1], plain), Ok(None));
    }
    #[test]
    fn halves_that_are_exchanged_can_t_be_right() {
        let plain = Order::default();
        for litres in [30.0f32, 30.47, 0.13, 155.2] {
            let bits = litres.to_bits();
            let swapped = [bits as u16, (bits >> 16) as u16];
            assert!(flow(Form::F32, &swapped, plain).is_err(), "{litres}: {:?}", flow(Form::F32, &swapped, plain));
        }
        assert!(flow(Form::U32, &[30, 0], plain).is_err());
        assert!(flow(Form::F32, &[0x7FC0, 0], plain).is_err(), "not a number");
    }
    #[test]
    fn settings_go_there_and_back() {
        let setting = |form, takes| Setting { key: "a".into(), unit: None, inlet: None, place: place(form), takes };
        let number = |scale, step| Takes::Number { scale, offset: 0.0, step, range: (-100.0, 10_000.0) };
        let cases = [
            (setting(Form::U16, number(0.001, 0.001)), Value::Number(0.14)),
            (setting(Form::F32, number(1.0, 0.001)), Value::Number(0.08)),
            (setting(Form::I32, number(0.01, 0.05)), Value::Number(-2.35)),
            (setting(Form::U16, Takes::Words(alloc::vec![(3, "level 1".into())])), Value::Text("level 1".into())),
            (setting(Form::Text(4), Takes::Text), Value::Text("room 7".into())),
            (setting(Form::U16, Takes::Switch), Value::Bool(true)),
            (setting(Form::Text(2), Takes::Bytes), Value::Opaque { hex: "00ff12ab".into() }),
        ];
        for (s, value) in cases {
            for order in [Order::default(), Order { low_word_first: true, low_byte_first: true }] {
                let item = Item { key: "a".into(), value: value.clone(), unit: None };
                let written = registers(&item, &s, order).unwrap();
                assert_eq!(written.len(), usize::from(s.place.form.len()));
                assert_eq!(image(&written).item(&s, order), Ok(item), "{order:?}");
            }
        }
        let s = setting(Form::U16, number(0.1, 0.1));
        let of = |value| registers(&Item { key: "a".into(), value, unit: None }, &s, Order::default());
        assert!(
            of(Value::Number(7000.0)).is_err() && of(Value::Number(0.15)).is_err() && of(Value::Bool(true)).is_err()
        );
    }
    #[test]
    fn blocks_never_cross_a_hole() {
        let p = |table, at, form| Place { table, at, form };
        let places = [
            p(Table::Input, 0, Form::U16),
            p(Table::Input, 1, Form::F32),
            p(Table::Input, 4, Form::U16),
            p(Table::Input, 4, Form::Bit(3)),
            p(Table::Coil, 3, Form::Bit(0)),
            p(Table::Input, 65535, Form::U16),
        ];
        let span = |table, at, count| Span { table, at, count };
        let all =
            [span(Table::Coil, 3, 1), span(Table::Input, 0, 3), span(Table::Input, 4, 1), span(Table::Input, 65535, 1)];
        assert_eq!(spans(places.into_iter(), 100), all);
        // A value is never cut in two.
        let two = [span(Table::Input, 0, 1), span(Table::Input, 1, 2)];
        assert_eq!(spans(places[..2].iter().copied(), 2), two);
    }
}

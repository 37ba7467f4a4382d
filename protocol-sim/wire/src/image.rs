//! The settings image: what a device's settings are as bytes, read and written without allocation.
//!
//! A CBOR array of items `[key, value, unit]` in ascending order of the keys' bytes, each key once, in the core
//! deterministic encoding: so one set of settings is one string of bytes, and its SHA-256 names it. Numbers that are
//! not whole are decimal fractions (tag 4, RFC 8949 section 3.4.4), which keep what a person wrote; there are no
//! floats. Not here: which keys a model has and what they mean.
use crate::{
    EncodeError, Fault, PayloadError,
    codec::{array_len, at},
    strict,
};
use core::fmt;
use minicbor::{data::Type, encode::write::Cursor};

/// Longest key, bytes.
pub const MAX_KEY: usize = 64;

/// One setting.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Item<'a> {
    /// Its key: parts joined by dots, for example `alarm.1.threshold`.
    pub key: &'a str,
    /// Its value.
    pub value: Value<'a>,
    /// The unit of the value, for example `%/m`; none for a bare number, a text, a switch.
    pub unit: Option<&'a str>,
}

/// The value of a setting.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Value<'a> {
    /// On or off.
    Switch(bool),
    /// A number, kept exactly as written.
    Number(Decimal),
    /// Text.
    Text(&'a str),
    /// Bytes that only the maker understands.
    Bytes(&'a [u8]),
}

/// An exact decimal number: mantissa * 10^exponent.
///
/// In canonical form: the exponent is 0, or -1 to -18 with a mantissa that 10 does not divide.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub struct Decimal {
    mantissa: i64,
    exponent: i8,
}
impl Decimal {
    /// Fewest power of ten.
    pub const MIN_EXPONENT: i8 = -18;

    /// A whole number.
    pub const fn whole(n: i64) -> Self {
        Self { mantissa: n, exponent: 0 }
    }
    /// mantissa * 10^-places, brought to canonical form. `None` if `places` is over 18.
    pub const fn new(mut mantissa: i64, mut places: u8) -> Option<Self> {
        if places > Self::MIN_EXPONENT.unsigned_abs() {
            return None;
        }
        while places > 0 && mantissa % 10 == 0 {
            mantissa /= 10;
            places -= 1;
        }
        Some(Self { mantissa, exponent: -(places as i8) })
    }
    /// The mantissa.
    pub const fn mantissa(self) -> i64 {
        self.mantissa
    }
    /// The exponent, 0 to -18.
    pub const fn exponent(self) -> i8 {
        self.exponent
    }
    /// Reads `-12.50`: digits, at most one point, at most 18 places, an optional minus sign.
    pub fn parse(text: &str) -> Option<Self> {
        let (negative, digits) = text.strip_prefix('-').map_or((false, text), |rest| (true, rest));
        let (whole, places) = match digits.split_once('.') {
            Some((_, "")) => return None,
            Some((whole, part)) => (whole, part),
            None => (digits, ""),
        };
        if whole.is_empty() {
            return None;
        }
        let mut mantissa = 0i64;
        for c in whole.bytes().chain(places.bytes()) {
            let digit = i64::from(c.checked_sub(b'0').filter(|d| *d < 10)?);
            mantissa = mantissa.checked_mul(10)?;
            mantissa = if negative { mantissa.checked_sub(digit)? } else { mantissa.checked_add(digit)? };
        }
        Self::new(mantissa, u8::try_from(places.len()).ok()?)
    }
    /// The nearest binary number. One correctly rounded division while the mantissa is below 2^53: the same bits on
    /// every platform.
    pub fn to_f64(self) -> f64 {
        let mut power = 1.0;
        for _ in 0..self.exponent.unsigned_abs() {
            power *= 10.0;
        }
        self.mantissa as f64 / power
    }
}
impl fmt::Display for Decimal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let places = usize::from(self.exponent.unsigned_abs());
        let power = 10u64.pow(places as u32);
        let (sign, size) = (if self.mantissa < 0 { "-" } else { "" }, self.mantissa.unsigned_abs());
        if places == 0 {
            write!(f, "{sign}{size}")
        } else {
            write!(f, "{sign}{}.{:0places$}", size / power, size % power)
        }
    }
}

/// Reads an image item by item.
#[derive(Clone, Debug)]
pub struct Items<'a> {
    d: minicbor::Decoder<'a>,
    left: u64,
    before: Option<&'a str>,
}
impl<'a> Items<'a> {
    /// Checks the whole image for form (strict CBOR) and starts to read it.
    ///
    /// # Errors
    /// The first fault and its place.
    pub fn new(image: &'a [u8]) -> Result<Self, PayloadError> {
        strict::check(image, strict::Tags::DecimalOnly)?;
        let mut d = minicbor::Decoder::new(image);
        let left = array_len(&mut d)?;
        Ok(Self { d, left, before: None })
    }
    fn item(&mut self) -> Result<Item<'a>, PayloadError> {
        let d = &mut self.d;
        let start = d.position();
        if array_len(d)? != 3 {
            return Err(PayloadError { at: start, fault: Fault::Range });
        }
        let at_key = d.position();
        let key = at(d, |d| d.str())?;
        if !is_key(key) {
            return Err(PayloadError { at: at_key, fault: Fault::Range });
        }
        match self.before.map(|before| before.cmp(key)) {
            Some(core::cmp::Ordering::Equal) => return Err(PayloadError { at: at_key, fault: Fault::KeyRepeated }),
            Some(core::cmp::Ordering::Greater) => return Err(PayloadError { at: at_key, fault: Fault::KeyOrder }),
            _ => self.before = Some(key),
        }
        let value = value(d)?;
        let unit = if at(d, |d| d.datatype())? == Type::Null {
            at(d, |d| d.null())?;
            None
        } else {
            Some(at(d, |d| d.str())?)
        };
        Ok(Item { key, value, unit })
    }
}
fn value<'a>(d: &mut minicbor::Decoder<'a>) -> Result<Value<'a>, PayloadError> {
    let start = d.position();
    Ok(match at(d, |d| d.datatype())? {
        Type::Bool => Value::Switch(at(d, |d| d.bool())?),
        Type::String => Value::Text(at(d, |d| d.str())?),
        Type::Bytes => Value::Bytes(at(d, |d| d.bytes())?),
        Type::Tag => {
            at(d, |d| d.tag())?;
            let two = array_len(d)? == 2;
            let (exponent, mantissa) = (at(d, |d| d.i8())?, at(d, |d| d.i64())?);
            let canonical = two && (Decimal::MIN_EXPONENT..0).contains(&exponent) && mantissa % 10 != 0;
            if !canonical {
                return Err(PayloadError { at: start, fault: Fault::Range });
            }
            Value::Number(Decimal { mantissa, exponent })
        }
        _ => Value::Number(Decimal::whole(at(d, |d| d.i64())?)),
    })
}
impl<'a> Iterator for Items<'a> {
    type Item = Result<Item<'a>, PayloadError>;
    /// The next item. After an error there are no more.
    fn next(&mut self) -> Option<Self::Item> {
        if self.left == 0 {
            return None;
        }
        let item = self.item();
        self.left = if item.is_ok() { self.left - 1 } else { 0 };
        Some(item)
    }
}
/// True for a key of the right form: 1 to 64 bytes, lower-case letters, digits and hyphens in parts joined by dots.
pub fn is_key(key: &str) -> bool {
    key.len() <= MAX_KEY
        && key.split('.').all(|part| {
            !part.is_empty() && part.bytes().all(|b| b.is_ascii_lowercase() || b.is_ascii_digit() || b == b'-')
        })
}

/// Writes an image item by item.
#[derive(Debug)]
pub struct ImageWriter<'o> {
    e: minicbor::Encoder<Cursor<&'o mut [u8]>>,
    before: Option<([u8; MAX_KEY], usize)>,
    left: u32,
}
impl<'o> ImageWriter<'o> {
    /// An image of so many items, into `out`.
    ///
    /// # Errors
    /// [`EncodeError::TooLong`] if not even the beginning fits.
    pub fn new(out: &'o mut [u8], items: u32) -> Result<Self, EncodeError> {
        let mut e = minicbor::Encoder::new(Cursor::new(out));
        e.array(u64::from(items))?;
        Ok(Self { e, before: None, left: items })
    }
    /// Writes the next item. Keys must ascend.
    ///
    /// # Errors
    /// It does not fit (or is one more than announced), its key is not well formed, or not after the one before it.
    pub fn item(&mut self, item: &Item<'_>) -> Result<(), EncodeError> {
        let key = item.key.as_bytes();
        if !is_key(item.key) || self.before.as_ref().is_some_and(|(b, len)| b.get(..*len).unwrap_or_default() >= key) {
            return Err(EncodeError::KeyOrder);
        }
        self.left = self.left.checked_sub(1).ok_or(EncodeError::TooLong)?;
        let mut before = [0; MAX_KEY];
        before.get_mut(..key.len()).ok_or(EncodeError::TooLong)?.copy_from_slice(key);
        self.before = Some((before, key.len()));
        let e = &mut self.e;
        e.array(3)?.str(item.key)?;
        match item.value {
            Value::Switch(on) => e.bool(on)?,
            Value::Text(text) => e.str(text)?,
            Value::Bytes(bytes) => e.bytes(bytes)?,
            Value::Number(n) if n.exponent == 0 => e.i64(n.mantissa)?,
            Value::Number(n) => e.tag(minicbor::data::Tag::new(4))?.array(2)?.i8(n.exponent)?.i64(n.mantissa)?,
        };
        match item.unit {
            Some(unit) => e.str(unit)?,
            None => e.null()?,
        };
        Ok(())
    }
    /// The length of the image, when all announced items are written.
    ///
    /// # Errors
    /// [`EncodeError::KeyOrder`] if items are missing.
    pub fn finish(self) -> Result<usize, EncodeError> {
        if self.left > 0 { Err(EncodeError::KeyOrder) } else { Ok(self.e.writer().position()) }
    }
}

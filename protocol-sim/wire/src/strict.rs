//! Strict reading of CBOR: one well-formed item in the core deterministic encoding of RFC 8949 section 4.2.1.
//!
//! minicbor reads leniently (duplicate keys, any order, long forms of integers, indefinite lengths, trailing bytes);
//! everything received passes through here first, the parts that nobody understands included. Floating-point numbers,
//! and simple values other than false, true and null, are not in the profile. Not here: what an item means.
use crate::{Fault, PayloadError};

/// Deepest nesting that is read.
pub const MAX_DEPTH: u8 = 8;

/// What a place allows beyond the common profile.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Tags {
    /// No tags: payloads of messages.
    Refused,
    /// Only tag 4, decimal fractions: settings images.
    DecimalOnly,
}

/// Checks that `bytes` is exactly one strict item.
///
/// # Errors
/// The first fault and its offset.
pub fn check(bytes: &[u8], tags: Tags) -> Result<(), PayloadError> {
    let mut reader = Reader { bytes, at: 0, tags };
    reader.item(0)?;
    if reader.at < bytes.len() { reader.fault(Fault::Trailing) } else { Ok(()) }
}

struct Reader<'a> {
    bytes: &'a [u8],
    at: usize,
    tags: Tags,
}
impl<'a> Reader<'a> {
    fn fault<T>(&self, fault: Fault) -> Result<T, PayloadError> {
        Err(PayloadError { at: self.at, fault })
    }
    fn slice(&mut self, len: u64) -> Result<&'a [u8], PayloadError> {
        let end = usize::try_from(len).ok().and_then(|len| self.at.checked_add(len));
        match end.and_then(|end| self.bytes.get(self.at..end)) {
            Some(slice) => {
                self.at += slice.len();
                Ok(slice)
            }
            None => Err(PayloadError { at: self.bytes.len(), fault: Fault::Truncated }),
        }
    }
    /// Major type and argument of the head at this place.
    fn head(&mut self) -> Result<(u8, u64), PayloadError> {
        let start = self.at;
        let first = self.slice(1)?.first().copied().unwrap_or_default();
        let (major, info) = (first >> 5, first & 0x1F);
        if major == 7 {
            return match info {
                20..=22 => Ok((major, u64::from(info))),
                25..=27 => Err(PayloadError { at: start, fault: Fault::Float }),
                28..=30 => Err(PayloadError { at: start, fault: Fault::Reserved }),
                31 => Err(PayloadError { at: start, fault: Fault::Indefinite }),
                _ => Err(PayloadError { at: start, fault: Fault::Simple }),
            };
        }
        let (len, least) = match info {
            0..=23 => return Ok((major, u64::from(info))),
            24 => (1, 24),
            25 => (2, 1 << 8),
            26 => (4, 1 << 16),
            27 => (8, 1 << 32),
            31 => return Err(PayloadError { at: start, fault: Fault::Indefinite }),
            _ => return Err(PayloadError { at: start, fault: Fault::Reserved }),
        };
        let argument = self.slice(len)?.iter().fold(0u64, |n, &b| n << 8 | u64::from(b));
        if argument < least {
            return Err(PayloadError { at: start, fault: Fault::NotShortest });
        }
        Ok((major, argument))
    }
    fn item(&mut self, depth: u8) -> Result<(), PayloadError> {
        if depth > MAX_DEPTH {
            return self.fault(Fault::TooDeep);
        }
        let start = self.at;
        let (major, argument) = self.head()?;
        match major {
            2 => {
                self.slice(argument)?;
            }
            3 => {
                let text = self.slice(argument)?;
                if core::str::from_utf8(text).is_err() {
                    return Err(PayloadError { at: start, fault: Fault::Utf8 });
                }
            }
            // Every element takes at least a byte, so a huge count runs out of bytes, not of time.
            4 => {
                for _ in 0..argument {
                    self.item(depth + 1)?;
                }
            }
            5 => self.map(argument, depth)?,
            6 if self.tags == Tags::DecimalOnly && argument == 4 => self.item(depth + 1)?,
            6 => return Err(PayloadError { at: start, fault: Fault::Tag }),
            _ => {}
        }
        Ok(())
    }
    fn map(&mut self, pairs: u64, depth: u8) -> Result<(), PayloadError> {
        let mut before: Option<&[u8]> = None;
        for _ in 0..pairs {
            let start = self.at;
            self.item(depth + 1)?;
            let key = self.bytes.get(start..self.at).unwrap_or_default();
            match before.map(|b| b.cmp(key)) {
                Some(core::cmp::Ordering::Equal) => return Err(PayloadError { at: start, fault: Fault::KeyRepeated }),
                Some(core::cmp::Ordering::Greater) => return Err(PayloadError { at: start, fault: Fault::KeyOrder }),
                _ => before = Some(key),
            }
            self.item(depth + 1)?;
        }
        Ok(())
    }
}

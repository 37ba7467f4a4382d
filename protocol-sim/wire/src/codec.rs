//! How message structs become CBOR maps with integer keys, and back: one macro, two traits, the field types.
//!
//! Payloads are checked by [`crate::strict`] before any of this runs; what remains here are types and ranges.
use crate::{EncodeError, Fault, MAX_TEXT, PayloadError, strict};
use minicbor::encode::write::Cursor;

pub(crate) type Encoder<'o> = minicbor::Encoder<Cursor<&'o mut [u8]>>;
pub(crate) type Reader<'a> = minicbor::Decoder<'a>;

/// A value that can be written.
pub(crate) trait Put {
    fn put(&self, e: &mut Encoder<'_>) -> Result<(), EncodeError>;
    /// False for a field that is left out.
    fn present(&self) -> bool {
        true
    }
}
/// A value that can be read, borrowing from the payload.
pub(crate) trait Take<'a>: Sized {
    fn take(d: &mut Reader<'a>) -> Result<Self, PayloadError>;
    /// What a left-out field means; `None` if it must not be left out.
    fn left_out() -> Option<Self> {
        None
    }
}

/// Writes one value as a whole payload.
pub(crate) fn write<T: Put>(value: &T, out: &mut [u8]) -> Result<usize, EncodeError> {
    let mut e = minicbor::Encoder::new(Cursor::new(out));
    value.put(&mut e)?;
    Ok(e.writer().position())
}
/// Reads one value that is the whole payload.
pub(crate) fn read<'a, T: Take<'a>>(payload: &'a [u8]) -> Result<T, PayloadError> {
    strict::check(payload, strict::Tags::Refused)?;
    T::take(&mut minicbor::Decoder::new(payload))
}

/// Runs one of minicbor's readers, keeping place and reason.
pub(crate) fn at<'a, T>(
    d: &mut Reader<'a>,
    f: impl FnOnce(&mut Reader<'a>) -> Result<T, minicbor::decode::Error>,
) -> Result<T, PayloadError> {
    let at = d.position();
    f(d).map_err(|e| {
        let fault = if e.is_end_of_input() {
            Fault::Truncated
        } else if e.is_type_mismatch() {
            Fault::Type
        } else {
            Fault::Range
        };
        PayloadError { at, fault }
    })
}
/// Number of pairs of the map at this place.
pub(crate) fn map_len(d: &mut Reader<'_>) -> Result<u64, PayloadError> {
    let at_map = d.position();
    at(d, |d| d.map())?.ok_or(PayloadError { at: at_map, fault: Fault::Indefinite })
}
/// Number of items of the array at this place.
pub(crate) fn array_len(d: &mut Reader<'_>) -> Result<u64, PayloadError> {
    let at_array = d.position();
    at(d, |d| d.array())?.ok_or(PayloadError { at: at_array, fault: Fault::Indefinite })
}
/// A key of a message: any integer.
pub(crate) fn key(d: &mut Reader<'_>) -> Result<i128, PayloadError> {
    let at_key = d.position();
    at(d, |d| d.int()).map(i128::from).map_err(|_| PayloadError { at: at_key, fault: Fault::KeyType })
}
/// The value of a field, or what leaving it out means.
pub(crate) fn require<'a, T: Take<'a>>(field: Option<T>, key: u8, at: usize) -> Result<T, PayloadError> {
    field.or_else(T::left_out).ok_or(PayloadError { at, fault: Fault::Missing(key) })
}

/// A message struct, its map keys and its codec. Keys must be written in ascending order.
macro_rules! message {
    ($(#[$meta:meta])* $name:ident $(<$lt:lifetime>)? {
        $($(#[$field_meta:meta])* $key:literal => $field:ident: $ty:ty),* $(,)?
    }) => {
        $(#[$meta])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq)]
        pub struct $name $(<$lt>)? { $($(#[$field_meta])* pub $field: $ty),* }

        impl $(<$lt>)? $crate::codec::Put for $name $(<$lt>)? {
            fn put(&self, e: &mut $crate::codec::Encoder<'_>) -> Result<(), $crate::EncodeError> {
                e.map(0 $(+ u64::from($crate::codec::Put::present(&self.$field)))*)?;
                $(if $crate::codec::Put::present(&self.$field) {
                    e.u8($key)?;
                    $crate::codec::Put::put(&self.$field, e)?;
                })*
                Ok(())
            }
        }
        impl<'a> $crate::codec::Take<'a> for $name $(<$lt>)? {
            fn take(d: &mut $crate::codec::Reader<'a>) -> Result<Self, $crate::PayloadError> {
                $(let mut $field: Option<$ty> = None;)*
                for _ in 0..$crate::codec::map_len(d)? {
                    match $crate::codec::key(d)? {
                        $($key => $field = Some($crate::codec::Take::take(d)?),)*
                        // Not known here: a later addition, or the maker's own.
                        _ => $crate::codec::at(d, |d| d.skip())?,
                    }
                }
                Ok(Self { $($field: $crate::codec::require($field, $key, d.position())?,)* })
            }
        }
    };
}

/// A choice among named codes.
macro_rules! choice {
    ($(#[$meta:meta])* $name:ident { $($(#[$variant_meta:meta])* $variant:ident = $code:literal),* $(,)? }) => {
        $(#[$meta])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
        #[repr(u8)]
        pub enum $name { $($(#[$variant_meta])* $variant = $code),* }
        impl $crate::codec::Put for $name {
            fn put(&self, e: &mut $crate::codec::Encoder<'_>) -> Result<(), $crate::EncodeError> {
                e.u8(*self as u8)?;
                Ok(())
            }
        }
        impl<'a> $crate::codec::Take<'a> for $name {
            fn take(d: &mut $crate::codec::Reader<'a>) -> Result<Self, $crate::PayloadError> {
                let at = d.position();
                match <u8 as $crate::codec::Take>::take(d)? {
                    $($code => Ok(Self::$variant),)*
                    _ => Err($crate::PayloadError { at, fault: $crate::Fault::Range }),
                }
            }
        }
    };
}

/// A set of named bits; unknown bits are kept.
macro_rules! bits {
    ($(#[$meta:meta])* $name:ident { $($(#[$bit_meta:meta])* $bit:ident = $n:literal),* $(,)? }) => {
        $(#[$meta])*
        #[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
        pub struct $name(pub u32);
        impl $name {
            $($(#[$bit_meta])* pub const $bit: Self = Self(1 << $n);)*
            /// Every bit that has a name.
            pub const ALL: &'static [(Self, &'static str)] = &[$((Self::$bit, stringify!($bit))),*];
            /// True when all bits of `other` are set.
            pub const fn has(self, other: Self) -> bool {
                self.0 & other.0 == other.0
            }
            /// Both together.
            #[must_use]
            pub const fn with(self, other: Self) -> Self {
                Self(self.0 | other.0)
            }
        }
        impl $crate::codec::Put for $name {
            fn put(&self, e: &mut $crate::codec::Encoder<'_>) -> Result<(), $crate::EncodeError> {
                e.u32(self.0)?;
                Ok(())
            }
        }
        impl<'a> $crate::codec::Take<'a> for $name {
            fn take(d: &mut $crate::codec::Reader<'a>) -> Result<Self, $crate::PayloadError> {
                $crate::codec::Take::take(d).map(Self)
            }
        }
    };
}

macro_rules! plain_fields {
    ($($ty:ident),*) => {$(
        impl Put for $ty {
            fn put(&self, e: &mut Encoder<'_>) -> Result<(), EncodeError> {
                e.$ty(*self)?;
                Ok(())
            }
        }
        impl<'a> Take<'a> for $ty {
            fn take(d: &mut Reader<'a>) -> Result<Self, PayloadError> {
                at(d, |d| d.$ty())
            }
        }
    )*};
}
plain_fields!(u8, u16, u32, u64, i64, bool);

impl Put for &str {
    fn put(&self, e: &mut Encoder<'_>) -> Result<(), EncodeError> {
        if self.len() > MAX_TEXT {
            return Err(EncodeError::Text);
        }
        e.str(self)?;
        Ok(())
    }
}
impl<'a> Take<'a> for &'a str {
    fn take(d: &mut Reader<'a>) -> Result<Self, PayloadError> {
        let at_text = d.position();
        let text = at(d, |d| d.str())?;
        if text.len() > MAX_TEXT { Err(PayloadError { at: at_text, fault: Fault::Range }) } else { Ok(text) }
    }
}
impl Put for &[u8] {
    fn put(&self, e: &mut Encoder<'_>) -> Result<(), EncodeError> {
        e.bytes(self)?;
        Ok(())
    }
}
impl<'a> Take<'a> for &'a [u8] {
    fn take(d: &mut Reader<'a>) -> Result<Self, PayloadError> {
        at(d, |d| d.bytes())
    }
}
impl Put for [u8; 32] {
    fn put(&self, e: &mut Encoder<'_>) -> Result<(), EncodeError> {
        e.bytes(self)?;
        Ok(())
    }
}
impl<'a> Take<'a> for [u8; 32] {
    fn take(d: &mut Reader<'a>) -> Result<Self, PayloadError> {
        let at_bytes = d.position();
        at(d, |d| d.bytes())?.try_into().map_err(|_| PayloadError { at: at_bytes, fault: Fault::Range })
    }
}
impl<T: Put> Put for Option<T> {
    fn put(&self, e: &mut Encoder<'_>) -> Result<(), EncodeError> {
        self.as_ref().map_or(Ok(()), |value| value.put(e))
    }
    fn present(&self) -> bool {
        self.is_some()
    }
}
impl<'a, T: Take<'a>> Take<'a> for Option<T> {
    fn take(d: &mut Reader<'a>) -> Result<Self, PayloadError> {
        T::take(d).map(Some)
    }
    fn left_out() -> Option<Self> {
        Some(None)
    }
}

/// What a sensor gives: a whole number of its unit, or explicitly nothing. Never NaN.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub enum Sample {
    /// A value, in the unit of its field. On the wire an integer.
    Value(i64),
    /// The device has no such sensor. On the wire null.
    #[default]
    Absent,
    /// The device has the sensor, and it gives no usable value now. On the wire false.
    Failed,
}
impl Sample {
    /// The value, if there is one.
    pub const fn value(self) -> Option<i64> {
        match self {
            Self::Value(v) => Some(v),
            Self::Absent | Self::Failed => None,
        }
    }
}
impl Put for Sample {
    fn put(&self, e: &mut Encoder<'_>) -> Result<(), EncodeError> {
        match self {
            Self::Value(v) => e.i64(*v)?,
            Self::Absent => e.null()?,
            Self::Failed => e.bool(false)?,
        };
        Ok(())
    }
}
impl<'a> Take<'a> for Sample {
    fn take(d: &mut Reader<'a>) -> Result<Self, PayloadError> {
        let at_sample = d.position();
        match at(d, |d| d.datatype())? {
            minicbor::data::Type::Null => at(d, |d| d.null()).map(|()| Self::Absent),
            minicbor::data::Type::Bool if !at(d, |d| d.bool())? => Ok(Self::Failed),
            minicbor::data::Type::Bool => Err(PayloadError { at: at_sample, fault: Fault::Range }),
            _ => i64::take(d).map(Self::Value),
        }
    }
}

/// Up to `N` items, held in place. Reads as a slice.
#[derive(Clone, Copy)]
pub struct List<T, const N: usize> {
    items: [T; N],
    len: usize,
}
impl<T: Copy + Default, const N: usize> List<T, N> {
    /// No items.
    pub fn new() -> Self {
        Self { items: [T::default(); N], len: 0 }
    }
    /// The items of a slice; `None` if there are more than `N`.
    pub fn from_slice(items: &[T]) -> Option<Self> {
        let mut list = Self::new();
        list.items.get_mut(..items.len())?.copy_from_slice(items);
        list.len = items.len();
        Some(list)
    }
    /// Adds an item; false if there is no room.
    #[must_use]
    pub fn push(&mut self, item: T) -> bool {
        match self.items.get_mut(self.len) {
            Some(slot) => {
                *slot = item;
                self.len += 1;
                true
            }
            None => false,
        }
    }
    /// The first `len` items.
    pub fn truncate(&mut self, len: usize) {
        self.len = self.len.min(len);
    }
}
impl<T, const N: usize> core::ops::Deref for List<T, N> {
    type Target = [T];
    fn deref(&self) -> &[T] {
        self.items.get(..self.len).unwrap_or_default()
    }
}
impl<T: Copy + Default, const N: usize> Default for List<T, N> {
    fn default() -> Self {
        Self::new()
    }
}
impl<T: core::fmt::Debug, const N: usize> core::fmt::Debug for List<T, N> {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.debug_list().entries(self.iter()).finish()
    }
}
impl<T: PartialEq, const N: usize> PartialEq for List<T, N> {
    fn eq(&self, other: &Self) -> bool {
        **self == **other
    }
}
impl<T: Eq, const N: usize> Eq for List<T, N> {}
impl<T: Put, const N: usize> Put for List<T, N> {
    fn put(&self, e: &mut Encoder<'_>) -> Result<(), EncodeError> {
        e.array(self.len as u64)?;
        self.iter().try_for_each(|item| item.put(e))
    }
}
impl<'a, T: Take<'a> + Copy + Default, const N: usize> Take<'a> for List<T, N> {
    fn take(d: &mut Reader<'a>) -> Result<Self, PayloadError> {
        let at_list = d.position();
        let mut list = Self::new();
        for _ in 0..array_len(d)? {
            if !list.push(T::take(d)?) {
                return Err(PayloadError { at: at_list, fault: Fault::Range });
            }
        }
        Ok(list)
    }
}

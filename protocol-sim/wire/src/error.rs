//! Why a message could not be written or was not accepted. Each error keeps its place and its reason.
use core::fmt;

/// Why a message could not be encoded.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum EncodeError {
    /// It does not fit the frame (or the buffer given). Send less in one message.
    TooLong,
    /// A text is longer than [`crate::MAX_TEXT`] bytes. Shorten it, for example with [`crate::clip`].
    Text,
    /// Items of a settings image are not in ascending order of their keys, or a key occurs twice.
    KeyOrder,
}
impl fmt::Display for EncodeError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::TooLong => "the message does not fit a frame: send less at once",
            Self::Text => "a text of the message is too long: shorten it to 96 bytes",
            Self::KeyOrder => "settings items must be written in ascending order of their keys, each once",
        })
    }
}
impl core::error::Error for EncodeError {}
impl<E> From<minicbor::encode::Error<E>> for EncodeError {
    fn from(_: minicbor::encode::Error<E>) -> Self {
        // The writers used here fail for one reason only: the buffer is full.
        Self::TooLong
    }
}

/// Why a payload was refused, and where in it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct PayloadError {
    /// Offset in the payload, bytes.
    pub at: usize,
    /// What is wrong there.
    pub fault: Fault,
}

/// What is wrong with a payload.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Fault {
    /// It ends inside an item.
    Truncated,
    /// Something follows the one item that a payload is.
    Trailing,
    /// An integer or a length is not in its shortest form.
    NotShortest,
    /// An item of indefinite length.
    Indefinite,
    /// An initial byte that CBOR reserves.
    Reserved,
    /// A map key is not greater than the one before it.
    KeyOrder,
    /// A map key occurs twice.
    KeyRepeated,
    /// A message has a key that is not an integer.
    KeyType,
    /// A floating-point number; the protocol has none.
    Float,
    /// A tag where none is allowed.
    Tag,
    /// A simple value other than false, true and null.
    Simple,
    /// Text that is not UTF-8.
    Utf8,
    /// Items nested deeper than allowed.
    TooDeep,
    /// An item of another type than this place wants.
    Type,
    /// A number, length or choice outside its range.
    Range,
    /// A required key is missing.
    Missing(u8),
    /// The operation is not known, or not in a frame of this kind.
    Operation(u8),
}
impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Truncated => "ends inside an item",
            Self::Trailing => "bytes after the end",
            Self::NotShortest => "integer or length not in its shortest form",
            Self::Indefinite => "item of indefinite length",
            Self::Reserved => "reserved initial byte",
            Self::KeyOrder => "map keys out of order",
            Self::KeyRepeated => "map key twice",
            Self::KeyType => "map key is not an integer",
            Self::Float => "floating-point number",
            Self::Tag => "tag not allowed here",
            Self::Simple => "simple value not allowed here",
            Self::Utf8 => "text is not UTF-8",
            Self::TooDeep => "nested too deeply",
            Self::Type => "item of the wrong type",
            Self::Range => "value out of range",
            Self::Missing(key) => return write!(f, "key {key} is missing"),
            Self::Operation(code) => return write!(f, "operation {code:#04x} is not known here"),
        })
    }
}
impl fmt::Display for PayloadError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "payload, byte {}: {}", self.at, self.fault)
    }
}
impl core::error::Error for PayloadError {}

//! Refusals: a code for programs, a reason for people.
use crate::{
    EncodeError, PayloadError,
    codec::{Encoder, Put, Reader, Take},
};
use core::fmt;

message! {
    /// The device refuses a request. Nothing was changed by it.
    Refusal<'a> {
        /// Why, for programs.
        0 => code: RefusalCode,
        /// Why, in plain words, for people.
        1 => reason: &'a str,
    }
}

macro_rules! codes {
    ($($(#[$meta:meta])* $name:ident = $code:literal, $words:literal;)*) => {
        /// Why a request was refused.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
        pub enum RefusalCode {
            $($(#[$meta])* $name,)*
            /// A code that this crate does not know.
            Other(u16),
        }
        impl RefusalCode {
            /// The code on the wire.
            pub const fn code(self) -> u16 {
                match self { $(Self::$name => $code,)* Self::Other(code) => code }
            }
            /// The meaning of a code on the wire.
            pub const fn from_code(code: u16) -> Self {
                match code { $($code => Self::$name,)* other => Self::Other(other) }
            }
            /// The meaning in plain words.
            pub const fn words(self) -> &'static str {
                match self { $(Self::$name => $words,)* Self::Other(_) => "refused for a reason of the maker's own" }
            }
        }
    };
}
codes! {
    /// No protocol version in common.
    Version = 1, "no protocol version in common";
    /// The conversation is not the present one. Say hello.
    Conversation = 2, "not the present conversation: say hello first";
    /// The sequence is lower than that of a request already judged.
    Stale = 3, "older than a request already answered";
    /// The sequence is that of the last request, but the request is another.
    Reused = 4, "sequence used before by another request";
    /// The device does not know or have the operation.
    Unsupported = 5, "operation not supported";
    /// The payload is not what the operation wants.
    Malformed = 6, "malformed request";
    /// A number is outside what the device has or takes.
    Range = 7, "value out of range";
    /// Something else must end first.
    Busy = 8, "busy with something else";
    /// The device is still starting.
    Starting = 9, "still starting";
    /// The settings revision is another by now.
    Revision = 10, "settings revision is another by now";
    /// The bytes do not have the digest that was stated.
    Digest = 11, "digest does not match";
    /// No such transaction is open.
    Transaction = 12, "no such transaction";
    /// A chunk does not begin where the last one ended.
    Offset = 13, "chunk is not the next one";
    /// The settings image is not well formed, or an item is unknown or not allowed. The reason names its key.
    Settings = 14, "settings not accepted";
    /// There is no baseline.
    NoBaseline = 15, "there is no baseline";
    /// No such lease runs.
    Lease = 16, "no such inhibit lease";
    /// Obscuration is at or over the lowest level, or a latch is set, or an output is driven.
    NotClear = 17, "not clear: obscuration, latches or driven outputs";
    /// The device failed within itself.
    Internal = 18, "fault inside the device";
}
impl fmt::Display for RefusalCode {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.words())
    }
}
impl Put for RefusalCode {
    fn put(&self, e: &mut Encoder<'_>) -> Result<(), EncodeError> {
        self.code().put(e)
    }
}
impl<'a> Take<'a> for RefusalCode {
    fn take(d: &mut Reader<'a>) -> Result<Self, PayloadError> {
        u16::take(d).map(Self::from_code)
    }
}
impl<'a> Refusal<'a> {
    /// A refusal with the code's own words as its reason.
    pub const fn new(code: RefusalCode) -> Refusal<'static> {
        Refusal { code, reason: code.words() }
    }
}

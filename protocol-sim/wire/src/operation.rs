//! The operations, and the messages that a frame can carry.
use crate::{
    EncodeError, Fault, Frame, Header, Kind, MAX_PAYLOAD, PayloadError, VERSION, codec, messages::*, refusal::Refusal,
};

macro_rules! operations {
    ($($(#[$meta:meta])* $name:ident = $code:literal, $request:ty => $reply:ty;)*) => {
        /// What is asked for.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
        #[repr(u8)]
        pub enum Operation { $($(#[$meta])* $name = $code,)* }
        impl Operation {
            /// Every operation.
            pub const ALL: &'static [Self] = &[$(Self::$name),*];
            /// The operation with this code.
            pub const fn from_code(code: u8) -> Option<Self> {
                match code { $($code => Some(Self::$name),)* _ => None }
            }
        }
        /// A request, tool to device.
        #[derive(Clone, Copy, Debug, PartialEq, Eq)]
        pub enum Request<'a> { $($(#[$meta])* $name($request),)* }
        impl<'a> Request<'a> {
            /// The operation.
            pub const fn operation(&self) -> Operation {
                match self { $(Self::$name(_) => Operation::$name,)* }
            }
            /// Writes the payload; its length.
            ///
            /// # Errors
            /// It does not fit, or a text is too long.
            pub fn encode(&self, out: &mut [u8]) -> Result<usize, EncodeError> {
                match self { $(Self::$name(message) => codec::write(message, out),)* }
            }
            /// Reads the payload of a request.
            ///
            /// # Errors
            /// The operation is unknown, or the payload is not strictly what it wants.
            pub fn decode(operation: u8, payload: &'a [u8]) -> Result<Self, PayloadError> {
                match Operation::from_code(operation) {
                    $(Some(Operation::$name) => codec::read(payload).map(Self::$name),)*
                    None => Err(PayloadError { at: 0, fault: Fault::Operation(operation) }),
                }
            }
        }
        /// The answer to a request that was carried out, device to tool.
        #[derive(Clone, Copy, Debug, PartialEq, Eq)]
        pub enum Reply<'a> { $($(#[$meta])* $name($reply),)* }
        impl<'a> Reply<'a> {
            /// The operation.
            pub const fn operation(&self) -> Operation {
                match self { $(Self::$name(_) => Operation::$name,)* }
            }
            /// Writes the payload; its length.
            ///
            /// # Errors
            /// It does not fit, or a text is too long.
            pub fn encode(&self, out: &mut [u8]) -> Result<usize, EncodeError> {
                match self { $(Self::$name(message) => codec::write(message, out),)* }
            }
            /// Reads the payload of a reply.
            ///
            /// # Errors
            /// The operation is unknown, or the payload is not strictly what it wants.
            pub fn decode(operation: u8, payload: &'a [u8]) -> Result<Self, PayloadError> {
                match Operation::from_code(operation) {
                    $(Some(Operation::$name) => codec::read(payload).map(Self::$name),)*
                    None => Err(PayloadError { at: 0, fault: Fault::Operation(operation) }),
                }
            }
        }
    };
}
operations! {
    /// Who is there; opens a conversation.
    Hello = 0x01, HelloRequest => HelloReply<'a>;
    /// The device's clock.
    Clock = 0x02, ClockRequest => ClockReply;
    /// Restart the device. It answers first, then restarts.
    Restart = 0x03, Nothing => Nothing;
    /// The device's date and time.
    WallClock = 0x04, Nothing => WallClock;
    /// Set the device's date and time.
    WallClockSet = 0x05, WallClockSet => WallClock;
    /// Start streaming readings.
    ReadingsStart = 0x10, ReadingsStart => ReadingsStarted;
    /// Stop streaming readings. No error when none are streamed.
    ReadingsStop = 0x11, Nothing => Nothing;
    /// What settings the device holds.
    SettingsManifest = 0x20, Nothing => Manifest<'a>;
    /// Part of the settings image.
    SettingsRead = 0x21, SettingsRead => SettingsPart<'a>;
    /// Begin to write a settings image.
    WriteBegin = 0x28, WriteBegin => WriteBegun;
    /// The next part of a settings image.
    WriteChunk = 0x29, WriteChunk<'a> => WriteProgress;
    /// Put the new image in force.
    WriteCommit = 0x2a, WriteCommit => WriteCommitted;
    /// Where writing stands.
    WriteStatus = 0x2b, Nothing => WriteStatus;
    /// Give writing up.
    WriteAbandon = 0x2c, WriteAbandon => Nothing;
    /// Take a new baseline. Answered when begun; ask for the status until it is taken.
    BaselineTake = 0x30, Nothing => BaselineStatus<'a>;
    /// Where taking the baseline stands.
    BaselineStatus = 0x31, Nothing => BaselineStatus<'a>;
    /// The baseline in force.
    BaselineRead = 0x32, Nothing => Baseline;
    /// Inhibit the outputs.
    Inhibit = 0x40, Inhibit => Lease;
    /// Renew the inhibit.
    InhibitRenew = 0x41, InhibitRenew => Lease;
    /// Give the outputs back.
    InhibitRelease = 0x42, InhibitRelease => Nothing;
    /// Where the outputs stand.
    OutputsStatus = 0x43, Nothing => OutputsStatus;
    /// Drive an output for test.
    Drive = 0x44, Drive => Nothing;
    /// Stop driving an output.
    Undrive = 0x45, Undrive => Nothing;
    /// Reset latched alarms and faults.
    ResetLatches = 0x46, Nothing => Latches;
    /// Entries of the event log.
    LogRead = 0x50, LogRead => LogPage<'a>;
    /// Write a note into the event log.
    LogNote = 0x51, LogNote<'a> => LogNoted;
}

/// What a device tells without being asked each time, while readings are streamed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[expect(clippy::large_enum_variant, reason = "borrowed messages live on the stack for the time of one call")]
pub enum Report<'a> {
    /// A reading. In a frame with the operation [`Operation::ReadingsStart`].
    Reading(Reading),
    /// A new entry of the event log. In a frame with the operation [`Operation::LogRead`].
    Log(LogEntry<'a>),
}
impl<'a> Report<'a> {
    /// The operation that the frame of the report carries.
    pub const fn operation(&self) -> Operation {
        match self {
            Self::Reading(_) => Operation::ReadingsStart,
            Self::Log(_) => Operation::LogRead,
        }
    }
    /// Writes the payload; its length.
    ///
    /// # Errors
    /// It does not fit, or a text is too long.
    pub fn encode(&self, out: &mut [u8]) -> Result<usize, EncodeError> {
        match self {
            Self::Reading(message) => codec::write(message, out),
            Self::Log(message) => codec::write(message, out),
        }
    }
    /// Reads the payload of a report.
    ///
    /// # Errors
    /// The operation has no reports, or the payload is not strictly what it wants.
    pub fn decode(operation: u8, payload: &'a [u8]) -> Result<Self, PayloadError> {
        match Operation::from_code(operation) {
            Some(Operation::ReadingsStart) => codec::read(payload).map(Self::Reading),
            Some(Operation::LogRead) => codec::read(payload).map(Self::Log),
            _ => Err(PayloadError { at: 0, fault: Fault::Operation(operation) }),
        }
    }
}

/// What a frame carries.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Message<'a> {
    /// Tool to device.
    Request(Request<'a>),
    /// Device to tool: carried out.
    Reply(Reply<'a>),
    /// Device to tool: refused. With the code of the operation that was asked for, known or not.
    Refusal(u8, Refusal<'a>),
    /// Device to tool, unasked.
    Report(Report<'a>),
}
impl<'a> Message<'a> {
    /// The kind of frame that carries it.
    pub const fn kind(&self) -> Kind {
        match self {
            Self::Request(_) => Kind::Request,
            Self::Reply(_) => Kind::Reply,
            Self::Refusal(..) => Kind::Refusal,
            Self::Report(_) => Kind::Report,
        }
    }
    /// Reads what a frame carries.
    ///
    /// # Errors
    /// The payload is not strictly what the frame's kind and operation want.
    pub fn decode(frame: &Frame<'a>) -> Result<Self, PayloadError> {
        let (operation, payload) = (frame.header.operation, frame.payload);
        Ok(match frame.header.kind {
            Kind::Request => Self::Request(Request::decode(operation, payload)?),
            Kind::Reply => Self::Reply(Reply::decode(operation, payload)?),
            Kind::Refusal => Self::Refusal(operation, codec::read(payload)?),
            Kind::Report => Self::Report(Report::decode(operation, payload)?),
        })
    }
    /// Writes it as a frame on the line, with delimiters; the length. A buffer of [`crate::MAX_WIRE`] always does.
    ///
    /// # Errors
    /// It does not fit a frame or the buffer, or a text is too long.
    pub fn write(&self, conversation: u32, sequence: u32, out: &mut [u8]) -> Result<usize, EncodeError> {
        let mut payload = [0; MAX_PAYLOAD];
        let (operation, len) = match self {
            Self::Request(m) => (m.operation() as u8, m.encode(&mut payload)?),
            Self::Reply(m) => (m.operation() as u8, m.encode(&mut payload)?),
            Self::Refusal(operation, m) => (*operation, codec::write(m, &mut payload)?),
            Self::Report(m) => (m.operation() as u8, m.encode(&mut payload)?),
        };
        let header = Header { version: VERSION, kind: self.kind(), operation, conversation, sequence };
        Frame { header, payload: payload.get(..len).unwrap_or_default() }.write(out)
    }
}

//! What the registers of a unit mean: where each value stands, of which type it is and what it says.
//!
//! Built and checked where descriptions are read (the job crate). Addresses are those on the wire, counted from 0. Not here:
//! frames, and the decoding of values.
use crate::{
    told::{Flag, Quantity, Si, Who},
    vocabulary::FlowBasis,
};
use alloc::{string::String, vec::Vec};
use core::time::Duration;

/// The map of a model, with how the unit is asked.
#[derive(Clone, Debug, PartialEq)]
pub struct Map {
    /// How the unit is spoken to.
    pub bus: BusRules,
    /// Order of registers and bytes.
    pub order: Order,
    /// Readings are polled this often.
    pub every: Duration,
    /// Maker and model by the description: what the unit is where its registers do not tell.
    pub maker: String,
    /// Model.
    pub model: String,
    /// Alarm levels, outputs and inputs of the model.
    pub has: (u8, u8, u8),
    /// What its flow readings refer to.
    pub basis: FlowBasis,
    /// Values.
    pub numbers: Vec<(Quantity, Number)>,
    /// Single bits.
    pub flags: Vec<(Flag, Place)>,
    /// Texts.
    pub texts: Vec<(Who, Place)>,
    /// Settings: all that the model has, or none.
    pub settings: Vec<Setting>,
    /// Settings may be written.
    pub settable: bool,
    /// What can be ordered.
    pub commands: Vec<(Command, Ordered)>,
}

/// How the unit is spoken to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct BusRules {
    /// Framing.
    pub protocol: Protocol,
    /// Address of the unit on the bus.
    pub address: u8,
    /// Least quiet time between frames.
    pub gap: Duration,
    /// How long an answer may take.
    pub timeout: Duration,
    /// How often a request is made before it is given up, at least 1.
    pub tries: u8,
    /// Most registers in one request, 1 to 125.
    pub most: u16,
}

/// Framing.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Protocol {
    /// Binary with CRC-16, told apart by quiet time.
    Rtu,
    /// Hexadecimal lines with a sum.
    Ascii,
    /// With a header that numbers requests.
    Tcp,
}
impl Protocol {
    /// The names in descriptions.
    pub const NAMES: [(&str, Self); 3] = [("rtu", Self::Rtu), ("ascii", Self::Ascii), ("tcp", Self::Tcp)];
}

/// Order of the registers of a value, and of the bytes of a register.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Order {
    /// The register with the low part comes first.
    pub low_word_first: bool,
    /// The low byte comes first: against the specification, and met with all the same.
    pub low_byte_first: bool,
}

/// A table of the unit.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Table {
    /// Bits that can be written.
    Coil,
    /// Bits that can be read only.
    Discrete,
    /// Registers that can be written.
    Holding,
    /// Registers that can be read only.
    Input,
}
impl Table {
    /// The names in descriptions.
    pub const NAMES: [(&str, Self); 4] =
        [("coil", Self::Coil), ("discrete", Self::Discrete), ("holding", Self::Holding), ("input", Self::Input)];
    /// It holds bits and not registers.
    pub const fn is_bits(self) -> bool {
        matches!(self, Self::Coil | Self::Discrete)
    }
    /// It can be written.
    pub const fn is_writable(self) -> bool {
        matches!(self, Self::Coil | Self::Holding)
    }
}

/// How a value stands in its registers.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Form {
    /// One bit: of a register from 0, the lowest; 0 in a table of bits.
    Bit(u8),
    /// 16 bits, not negative.
    U16,
    /// 16 bits, two's complement.
    I16,
    /// 32 bits, not negative.
    U32,
    /// 32 bits, two's complement.
    I32,
    /// 64 bits, not negative.
    U64,
    /// IEEE 754, 32 bits.
    F32,
    /// IEEE 754, 64 bits.
    F64,
    /// Two characters in each of so many registers.
    Text(u8),
}
impl Form {
    /// Registers that it takes.
    pub const fn len(self) -> u16 {
        match self {
            Self::Bit(_) | Self::U16 | Self::I16 => 1,
            Self::U32 | Self::I32 | Self::F32 => 2,
            Self::U64 | Self::F64 => 4,
            Self::Text(n) => n as u16,
        }
    }
    /// It takes none.
    pub const fn is_empty(self) -> bool {
        self.len() == 0
    }
}

/// Where a value stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Place {
    /// Table.
    pub table: Table,
    /// Address on the wire, from 0.
    pub at: u16,
    /// Type.
    pub form: Form,
}

/// A number: what it stands for is `raw * scale + offset`, in a unit that people use.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Number {
    /// Where it stands.
    pub place: Place,
    /// Factor.
    pub scale: f64,
    /// Added to it.
    pub offset: f64,
    /// What stands in the registers where there is no reading.
    pub none: Option<f64>,
    /// From the stated unit to SI.
    pub si: Si,
}

/// A setting of the description, by key.
#[derive(Clone, Debug, PartialEq)]
pub struct Setting {
    /// Key.
    pub key: String,
    /// Unit of a number.
    pub unit: Option<String>,
    /// It is there only where the unit has this inlet.
    pub inlet: Option<u8>,
    /// Where it stands.
    pub place: Place,
    /// What it takes.
    pub takes: Takes,
}

/// What a setting takes.
#[derive(Clone, Debug, PartialEq)]
pub enum Takes {
    /// Yes or no: 1 or 0.
    Switch,
    /// `raw * scale + offset`, a whole number of steps.
    Number {
        /// Factor.
        scale: f64,
        /// Added to it.
        offset: f64,
        /// Step.
        step: f64,
        /// Least and greatest.
        range: (f64, f64),
    },
    /// One of these words, by number.
    Words(Vec<(u16, String)>),
    /// Text, filled up with zeros.
    Text,
    /// Bytes that only the maker understands.
    Bytes,
}

/// What can be ordered. Numbers count from 1.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Command {
    /// Take the airflow baseline.
    TakeBaseline,
    /// Reset what is latched.
    Reset,
    /// Restart.
    Restart,
    /// Inhibit the outputs for as many seconds as are written; 0 gives them back.
    Inhibit,
    /// Drive an output.
    Drive(u8),
}

/// How something is ordered.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Ordered {
    /// A coil or a holding register.
    pub place: Place,
    /// What is written.
    pub value: u16,
    /// What is written to end it.
    pub off: u16,
    /// How long it takes, where no state tells.
    pub takes: Duration,
}

impl Map {
    /// The number that means this.
    pub fn number(&self, wanted: Quantity) -> Option<&Number> {
        self.numbers.iter().find(|(q, _)| *q == wanted).map(|(_, n)| n)
    }
    /// The bit that means this.
    pub fn flag(&self, wanted: Flag) -> Option<Place> {
        self.flags.iter().find(|(f, _)| *f == wanted).map(|(_, p)| *p)
    }
    /// How that is ordered.
    pub fn command(&self, wanted: Command) -> Option<Ordered> {
        self.commands.iter().find(|(c, _)| *c == wanted).map(|(_, o)| *o)
    }
    /// Inlets whose flow is told.
    pub fn inlets(&self) -> u8 {
        self.numbers
            .iter()
            .map(|(q, _)| match q {
                Quantity::Flow(n) => *n,
                _ => 0,
            })
            .max()
            .unwrap_or(0)
    }
    /// A start is told apart from the one before.
    pub fn tells_starts(&self) -> bool {
        self.number(Quantity::Starts).is_some() || self.number(Quantity::Uptime).is_some()
    }
    /// The baseline can be ordered and read.
    pub fn tells_baseline(&self) -> bool {
        self.command(Command::TakeBaseline).is_some() && self.number(Quantity::Baseline(1)).is_some()
    }
}

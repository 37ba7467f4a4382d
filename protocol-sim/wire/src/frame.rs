//! The unstuffed frame: header, payload, check.
//!
//! ```text
//! offset  0        1     2          3..7          7..11     11..n-4   n-4..n
//!         version  kind  operation  conversation  sequence  payload   CRC-32C
//! ```
//! `conversation` and `sequence` are big-endian; the check, over all bytes before it, is little-endian. With this
//! order a CRC of a reflected polynomial is one cyclic codeword in the order in which a UART sends bits (least
//! significant first), so that every burst of up to 32 bits is detected, the check's own bits included.
use crate::{Discard, EncodeError, cobs};
use crc::{CRC_32_ISCSI, Crc, Table};
use nom::{IResult, Parser, number};

/// Version of the protocol that this crate speaks.
pub const VERSION: u8 = 1;
/// Bytes of the header.
pub const HEADER_LEN: usize = 11;
const CHECK_LEN: usize = 4;
/// Longest unstuffed frame, header to check, bytes.
pub const MAX_FRAME: usize = 1024;
/// Longest payload, bytes.
pub const MAX_PAYLOAD: usize = MAX_FRAME - HEADER_LEN - CHECK_LEN;
/// Longest frame on the line: stuffed, with a delimiter at either end, bytes.
pub const MAX_WIRE: usize = cobs::max_stuffed(MAX_FRAME) + 2;

/// One table of 1 KiB: more tables are faster on a desktop and too large for a small device.
pub(crate) static CRC: Crc<u32, Table<1>> = Crc::<u32, Table<1>>::new(&CRC_32_ISCSI);

/// CRC-32C (Castagnoli), as in RFC 3720 appendix B.4: reflected polynomial 0x82F63B78, initial and final inversion.
pub fn crc32c(bytes: &[u8]) -> u32 {
    CRC.checksum(bytes)
}

/// What a frame is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[repr(u8)]
pub enum Kind {
    /// The tool asks.
    Request = 1,
    /// The device answers.
    Reply = 2,
    /// The device refuses, with a code and a reason.
    Refusal = 3,
    /// The device tells without being asked each time.
    Report = 4,
}
impl Kind {
    /// The kind with this code.
    pub const fn from_code(code: u8) -> Option<Self> {
        Some(match code {
            1 => Self::Request,
            2 => Self::Reply,
            3 => Self::Refusal,
            4 => Self::Report,
            _ => return None,
        })
    }
}

/// The fixed header of a frame.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Header {
    /// Protocol version of the frame. A hello and its answer are always of version 1.
    pub version: u8,
    /// What the frame is.
    pub kind: Kind,
    /// Operation code, known or not: see [`crate::Operation`].
    pub operation: u8,
    /// Nonce of the conversation that the frame belongs to; 0 in a request for hello, which asks for a new one.
    pub conversation: u32,
    /// Number of the request within its conversation, repeated in the answer; in a report the number of the report.
    pub sequence: u32,
}
impl Header {
    fn bytes(&self) -> [u8; HEADER_LEN] {
        let [c0, c1, c2, c3] = self.conversation.to_be_bytes();
        let [s0, s1, s2, s3] = self.sequence.to_be_bytes();
        [self.version, self.kind as u8, self.operation, c0, c1, c2, c3, s0, s1, s2, s3]
    }
}

/// Version, kind code, operation, conversation, sequence: the layout, before any value is judged.
fn header(input: &[u8]) -> IResult<&[u8], (u8, u8, u8, u32, u32)> {
    use number::complete::{be_u32, u8};
    (u8, u8, u8, be_u32, be_u32).parse(input)
}

/// A checked frame; the payload borrows from the buffer that the frame was read into.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Frame<'a> {
    /// The header.
    pub header: Header,
    /// The payload: one CBOR map.
    pub payload: &'a [u8],
}
impl<'a> Frame<'a> {
    /// Reads an unstuffed frame: length, check, version and kind.
    ///
    /// # Errors
    /// The [`Discard`] that says why it is no frame of this protocol version.
    pub fn parse(unstuffed: &'a [u8]) -> Result<Self, Discard> {
        if unstuffed.len() > MAX_FRAME {
            return Err(Discard::Overlong);
        }
        let (body, check) = unstuffed.split_last_chunk::<CHECK_LEN>().ok_or(Discard::Short)?;
        let (payload, (version, kind, operation, conversation, sequence)) = header(body).map_err(|_| Discard::Short)?;
        if crc32c(body) != u32::from_le_bytes(*check) {
            return Err(Discard::Check);
        }
        if version != VERSION {
            return Err(Discard::Version(version));
        }
        let kind = Kind::from_code(kind).ok_or(Discard::Kind(kind))?;
        Ok(Self { header: Header { version, kind, operation, conversation, sequence }, payload })
    }
    /// Writes the frame as it goes on the line: delimiter, stuffed frame, delimiter. Returns the length.
    ///
    /// # Errors
    /// [`EncodeError::TooLong`] if the payload is over [`MAX_PAYLOAD`] or `out` too small ([`MAX_WIRE`] always does).
    pub fn write(&self, out: &mut [u8]) -> Result<usize, EncodeError> {
        if self.payload.len() > MAX_PAYLOAD {
            return Err(EncodeError::TooLong);
        }
        let header = self.header.bytes();
        let mut digest = CRC.digest();
        digest.update(&header);
        digest.update(self.payload);
        let (first, rest) = out.split_first_mut().ok_or(EncodeError::TooLong)?;
        *first = cobs::DELIMITER;
        let mut stuffer = cobs::Stuffer::new(rest);
        stuffer.push(&header);
        stuffer.push(self.payload);
        stuffer.push(&digest.finalize().to_le_bytes());
        let end = stuffer.finish().ok_or(EncodeError::TooLong)? + 1;
        *out.get_mut(end).ok_or(EncodeError::TooLong)? = cobs::DELIMITER;
        Ok(end + 1)
    }
}

//! Requests and replies as bytes: the three framings of the open specification (Modbus application protocol V1.1b3, Modbus over
//! serial line V1.02).
//!
//! Not here: when something is sent, and how often (`bus.rs`).
use super::map::{Protocol, Table};
use alloc::{format, string::String, vec::Vec};
use crc::{CRC_16_MODBUS, Crc};

const CRC: Crc<u16> = Crc::<u16>::new(&CRC_16_MODBUS);
/// A reply that is no read: function, address, value.
const WRITTEN: usize = 5;
/// More than the longest frame of any framing, so that noise is not gathered without end.
pub(super) const MOST: usize = 600;

/// A request of this many addresses of one table.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Span {
    pub(super) table: Table,
    pub(super) at: u16,
    pub(super) count: u16,
}
impl Span {
    /// Bytes of data in its reply.
    const fn bytes(self) -> usize {
        if self.table.is_bits() { (self.count as usize).div_ceil(8) } else { self.count as usize * 2 }
    }
}

/// What is asked.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Ask {
    Read(Span),
    Coil { at: u16, on: bool },
    Write { at: u16, registers: Vec<u16> },
}
/// What a reply says.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Told {
    /// The registers or bits of a read, one for each address; none of a write.
    Values(Vec<u16>),
    /// The unit refuses, with this code.
    Exception(u8),
}

impl Ask {
    const fn function(&self) -> u8 {
        match self {
            Self::Read(span) => match span.table {
                Table::Coil => 1,
                Table::Discrete => 2,
                Table::Holding => 3,
                Table::Input => 4,
            },
            Self::Coil { .. } => 5,
            Self::Write { registers, .. } if registers.len() == 1 => 6,
            Self::Write { .. } => 16,
        }
    }
    /// Function and data.
    fn body(&self) -> Vec<u8> {
        let mut body = alloc::vec![self.function()];
        let mut word = |w: u16| body.extend(w.to_be_bytes());
        match self {
            Self::Read(span) => {
                word(span.at);
                word(span.count);
            }
            Self::Coil { at, on } => {
                word(*at);
                word(if *on { 0xFF00 } else { 0 });
            }
            Self::Write { at, registers } => {
                word(*at);
                if let [only] = registers.as_slice() {
                    word(*only);
                } else {
                    let count = u16::try_from(registers.len()).unwrap_or(u16::MAX);
                    word(count);
                    body.push(count.saturating_mul(2).to_be_bytes()[1]);
                    body.extend(registers.iter().flat_map(|r| r.to_be_bytes()));
                }
            }
        }
        body
    }
    /// Whether its reply can be told from that of another request by its head.
    pub(super) fn differs_from(&self, other: &Self) -> bool {
        self.function() != other.function() || self.length() != other.length()
    }
    /// Length of its reply's body.
    const fn length(&self) -> usize {
        match self {
            Self::Read(span) => 2 + span.bytes(),
            _ => WRITTEN,
        }
    }
    /// What a body says, if it is the reply to this.
    fn told(&self, body: &[u8]) -> Option<Told> {
        if let [function, code] = body
            && *function == self.function() | 0x80
        {
            return Some(Told::Exception(*code));
        }
        if body.len() != self.length() || body.first() != Some(&self.function()) {
            return None;
        }
        let Self::Read(span) = self else {
            // A write is answered by its own head.
            return (self.body().get(..WRITTEN)? == body).then(|| Told::Values(Vec::new()));
        };
        if usize::from(*body.get(1)?) != span.bytes() {
            return None;
        }
        let data = body.get(2..)?;
        let bit = |i: u16| data.get(usize::from(i / 8)).map_or(0, |b| u16::from(b >> (i % 8) & 1));
        Some(Told::Values(if span.table.is_bits() {
            (0..span.count).map(bit).collect()
        } else {
            data.chunks_exact(2).map(|p| u16::from_be_bytes([p[0], p[1]])).collect()
        }))
    }
    /// The request in its frame.
    pub(super) fn frame(&self, protocol: Protocol, address: u8, number: u16) -> Vec<u8> {
        let body = self.body();
        match protocol {
            Protocol::Tcp => {
                let length = u16::try_from(body.len() + 1).unwrap_or(u16::MAX);
                let head = [number, 0, length].into_iter().flat_map(u16::to_be_bytes);
                head.chain([address]).chain(body).collect()
            }
            Protocol::Rtu => {
                let mut frame: Vec<u8> = [address].into_iter().chain(body).collect();
                frame.extend(CRC.checksum(&frame).to_le_bytes());
                frame
            }
            Protocol::Ascii => {
                let mut frame: Vec<u8> = [address].into_iter().chain(body).collect();
                frame.push(sum(&frame));
                let mut line = String::from(":");
                frame.iter().for_each(|b| line.push_str(&format!("{b:02X}")));
                line.push_str("\r\n");
                line.into_bytes()
            }
        }
    }
}
/// The check of an ASCII frame.
fn sum(frame: &[u8]) -> u8 {
    frame.iter().fold(0u8, |sum, b| sum.wrapping_sub(*b))
}

/// What was found at the front of what came.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Found {
    /// The reply.
    Reply(Told),
    /// A good frame of another device, or an answer to something else.
    Other(u8),
    /// Bytes that are no frame.
    Garbled,
    /// More bytes are needed.
    Nothing,
}

/// Looks for the reply to `ask` in `buffer`, and takes off what it made out. `number`: of the request, where the framing has one.
pub(super) fn take(buffer: &mut Vec<u8>, protocol: Protocol, address: u8, number: u16, ask: &Ask) -> Found {
    let (found, used) = match protocol {
        Protocol::Tcp => tcp(buffer, address, number, ask),
        Protocol::Rtu => rtu(buffer, address, ask),
        Protocol::Ascii => ascii(buffer, address, ask),
    };
    buffer.drain(..used.min(buffer.len()));
    found
}

fn tcp(buffer: &[u8], address: u8, number: u16, ask: &Ask) -> (Found, usize) {
    let Some((head, _)) = buffer.split_first_chunk::<7>() else { return (Found::Nothing, 0) };
    let word = |i: usize| u16::from_be_bytes([head[i], head[i + 1]]);
    let length = usize::from(word(4));
    if word(2) != 0 || !(3..=254).contains(&length) {
        // Nothing says where the next frame begins.
        return (Found::Garbled, buffer.len());
    }
    let Some(body) = buffer.get(7..6 + length) else { return (Found::Nothing, 0) };
    let found = match ask.told(body) {
        // The reply to a request that was given up.
        _ if word(0) != number => Found::Other(address),
        Some(told) if head[6] == address => Found::Reply(told),
        _ if head[6] == address => Found::Garbled,
        _ => Found::Other(head[6]),
    };
    (found, 6 + length)
}

/// Frames are told apart by what they must look like, not by quiet time: a computer's serial port keeps no such times.
fn rtu(buffer: &[u8], address: u8, ask: &Ask) -> (Found, usize) {
    // The first place where a frame may be on its way.
    let mut coming = None;
    for at in 0..buffer.len() {
        match rtu_here(&buffer[at..], address, ask) {
            Some((Found::Nothing, _)) => coming = coming.or(Some(at)),
            // What looks like the beginning of another device's frame must not hide the reply behind it.
            Some((Found::Other(_), _)) if coming.is_some() => {}
            Some(found) if at == 0 => return found,
            Some(_) => return (Found::Garbled, at),
            None => {}
        }
    }
    match coming {
        Some(0) => (Found::Nothing, 0),
        Some(at) => (Found::Garbled, at),
        None if buffer.is_empty() => (Found::Nothing, 0),
        None => (Found::Garbled, buffer.len()),
    }
}
/// What begins here; `None`: nothing that can be a frame.
fn rtu_here(rest: &[u8], address: u8, ask: &Ask) -> Option<(Found, usize)> {
    let (Some(&from), Some(&function)) = (rest.first(), rest.get(1)) else { return Some((Found::Nothing, 0)) };
    let length = match (function & 0x7F, rest.get(2)) {
        (1..=6 | 15 | 16, _) if function & 0x80 != 0 => 5,
        (1..=4, Some(bytes)) => usize::from(*bytes) + 5,
        (1..=4, None) => return Some((Found::Nothing, 0)),
        (5 | 6 | 15 | 16, _) => WRITTEN + 3,
        _ => return None,
    };
    let ours = from == address && function & 0x7F == ask.function();
    let Some(frame) = rest.get(..length) else {
        // Of our unit only the reply is waited for.
        let fits = from != address || ours && (function & 0x80 != 0 || length == ask.length() + 3);
        return (fits && (1..=247).contains(&from)).then_some((Found::Nothing, 0));
    };
    let (body, check) = frame.split_last_chunk::<2>()?;
    if CRC.checksum(body) != u16::from_le_bytes(*check) {
        return None;
    }
    let told = body.get(1..).filter(|_| ours).and_then(|body| ask.told(body));
    Some((told.map_or(Found::Other(from), Found::Reply), length))
}

fn ascii(buffer: &[u8], address: u8, ask: &Ask) -> (Found, usize) {
    let Some(start) = buffer.iter().position(|b| *b == b':') else {
        return if buffer.is_empty() { (Found::Nothing, 0) } else { (Found::Garbled, buffer.len()) };
    };
    if start > 0 {
        return (Found::Garbled, start);
    }
    // A second colon begins anew: the first line lost its end.
    let Some(end) = buffer.iter().skip(1).position(|b| matches!(b, b'\n' | b':')).map(|i| i + 1) else {
        return (Found::Nothing, 0);
    };
    if buffer[end] == b':' {
        return (Found::Garbled, end);
    }
    let line = buffer[1..end].trim_ascii_end();
    let Ok(bytes) = base16ct::mixed::decode_vec(line) else { return (Found::Garbled, end + 1) };
    let found = match bytes.split_last() {
        Some((check, frame)) if sum(frame) == *check => match frame.split_first() {
            Some((from, body)) if *from == address => ask.told(body).map_or(Found::Other(*from), Found::Reply),
            Some((from, _)) => Found::Other(*from),
            None => Found::Garbled,
        },
        _ => Found::Garbled,
    };
    (found, end + 1)
}

#[cfg(test)]
mod tests {
    use super::*;
    const READ: Ask = Ask::Read(Span { table: Table::Holding, at: 0x6B, count: 3 });

    fn reply(protocol: Protocol, bytes: &[u8]) -> Vec<Found> {
        let mut buffer = bytes.to_vec();
        let mut all = Vec::new();
        loop {
            match take(&mut buffer, protocol, 17, 7, &READ) {
                Found::Nothing => return all,
                found => all.push(found),
            }
        }
    }
    fn rtu_frame(body: &[u8]) -> Vec<u8> {
        let mut frame = body.to_vec();
        frame.extend(CRC.checksum(body).to_le_bytes());
        frame
    }
    fn values() -> Found {
        Found::Reply(Told::Values(alloc::vec![0xAE41, 0x5652, 0x4340]))
    }

    /// The example of the specification's section on function 3, and the check of its RTU frame as published.
    #[test]
    fn the_three_framings_of_one_request() {
        assert_eq!(READ.frame(Protocol::Rtu, 17, 0), [0x11, 3, 0, 0x6B, 0, 3, 0x76, 0x87]);
        assert_eq!(READ.frame(Protocol::Ascii, 17, 0), b":1103006B00037E\r\n");
        assert_eq!(READ.frame(Protocol::Tcp, 17, 7), [0, 7, 0, 0, 0, 6, 0x11, 3, 0, 0x6B, 0, 3]);
        let body = [0x11, 3, 6, 0xAE, 0x41, 0x56, 0x52, 0x43, 0x40];
        assert_eq!(reply(Protocol::Rtu, &[&body[..], &[0x49, 0xAD]].concat()), [values()]);
        assert_eq!(reply(Protocol::Ascii, &ascii_line(&body)), [values()]);
        assert_eq!(reply(Protocol::Tcp, &[&[0, 7, 0, 0, 0, 9][..], &body].concat()), [values()]);
    }
    fn ascii_line(body: &[u8]) -> Vec<u8> {
        let digits = body.iter().chain([&sum(body)]).map(|b| format!("{b:02X}")).collect::<String>();
        format!(":{digits}\r\n").into_bytes()
    }
    #[test]
    fn noise_and_others_are_no_reply() {
        let good = rtu_frame(&[17, 3, 6, 0xAE, 0x41, 0x56, 0x52, 0x43, 0x40]);
        let noisy = [&[0xFF, 17, 3][..], &good].concat();
        assert_eq!(reply(Protocol::Rtu, &noisy), [Found::Garbled, values()]);
        let other = rtu_frame(&[18, 3, 6, 0, 1, 0, 2, 0, 3]);
        assert_eq!(reply(Protocol::Rtu, &[other, good.clone()].concat()), [Found::Other(18), values()]);
        // Another length is the reply to another request.
        assert_eq!(reply(Protocol::Rtu, &rtu_frame(&[17, 3, 2, 0, 1])), [Found::Other(17)]);
        let mut bad = good;
        bad[4] ^= 1;
        assert!(!reply(Protocol::Rtu, &bad).contains(&values()));
        let old = [&[0, 6, 0, 0, 0, 9, 17, 3, 6][..], &[0; 6]].concat();
        assert_eq!(reply(Protocol::Tcp, &old), [Found::Other(17)]);
        assert_eq!(reply(Protocol::Rtu, &rtu_frame(&[17, 0x83, 2])), [Found::Reply(Told::Exception(2))]);
    }
    #[test]
    fn writes_are_answered_by_their_head() {
        let ask = Ask::Write { at: 9, registers: alloc::vec![1, 2] };
        assert_eq!(ask.body(), [16, 0, 9, 0, 2, 4, 0, 1, 0, 2]);
        assert_eq!(ask.told(&[16, 0, 9, 0, 2]), Some(Told::Values(Vec::new())));
        assert_eq!(ask.told(&[16, 0, 8, 0, 2]), None);
        let coil = Ask::Coil { at: 0xAC, on: true };
        assert_eq!(coil.frame(Protocol::Rtu, 17, 0), [0x11, 5, 0, 0xAC, 0xFF, 0, 0x4E, 0x8B]);
    }
}

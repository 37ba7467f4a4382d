//! Reads a log record by record, in bounded memory, and never takes a damaged one for good.
//!
//! Not here: what to do about a torn end (see [`crate::LogWriter::resume`]).
use crate::{
    Citation, FORMAT, LogRecord, Logged, MAX_RECORD, ReadError,
    block::{self, Chain, Fault, Interface, MAX_BLOCK, MAX_PART},
    codec::{self, Packet},
};
use pcap_file::pcapng::{Block, PcapNgParser, blocks::enhanced_packet::EnhancedPacketBlock};
use plumeline_base::{Instant, input::Input};
use std::{
    fs::File,
    io::{ErrorKind, Read},
    path::Path,
};

const SECTION_HEADER: [u8; 4] = 0x0A0D_0D0A_u32.to_le_bytes();
/// The section header's byte-order magic as it must not be.
const BIG_ENDIAN: [u8; 4] = 0x1A2B_3C4D_u32.to_be_bytes();
const MAX_PARTS: usize = MAX_RECORD / MAX_PART + 1;

/// A record, and the place in the log that it ends at.
#[derive(Clone, Debug, PartialEq)]
pub struct LogEntry {
    /// The record.
    pub record: LogRecord,
    /// Where it ends, and the digest of the log up to there.
    pub citation: Citation,
}

/// Reads a log from its beginning. Iteration ends after the first error.
pub struct LogReader<R> {
    source: Source<R>,
    parser: Option<PcapNgParser>,
    /// Over all blocks so far.
    chain: Chain,
    /// Over all blocks up to the last whole record.
    good: Chain,
    last: Option<Citation>,
    last_at: Instant,
    /// Where the record, or the section's opening, began that is not yet whole.
    unfinished: Option<u64>,
    /// No record of the current section yet.
    fresh_section: bool,
    parts: Option<Parts>,
    failed: bool,
}

/// A record that comes in parts.
struct Parts {
    at: Instant,
    left: u32,
    on: Option<Interface>,
    bytes: Vec<u8>,
}

impl LogReader<File> {
    /// Opens a log.
    ///
    /// # Errors
    /// [`ReadError::Io`] if the file can't be opened, or is a pipe or a device, which need not end.
    pub fn open(path: &Path) -> Result<Self, ReadError> {
        let told = |source| ReadError::Io { offset: 0, source };
        // Looked at before it is opened: opening a pipe waits for whoever writes to it.
        if !std::fs::metadata(path).map_err(told)?.is_file() {
            return Err(told(std::io::Error::new(std::io::ErrorKind::InvalidInput, "it is no regular file")));
        }
        File::open(path).map(Self::new).map_err(told)
    }
}

impl<R: Read> LogReader<R> {
    /// Reads from any source of bytes; buffers by itself.
    pub fn new(source: R) -> Self {
        Self {
            source: Source::new(source),
            parser: None,
            chain: Chain::new(),
            good: Chain::new(),
            last: None,
            last_at: Instant::START,
            unfinished: Some(0),
            fresh_section: true,
            parts: None,
            failed: false,
        }
    }

    /// The end of the last whole record; `None` before the first.
    pub fn end(&self) -> Option<Citation> {
        self.last
    }
    /// The instant of the last whole record.
    pub fn last_at(&self) -> Instant {
        self.last_at
    }
    /// The digest over the log up to the last whole record, to be gone on with.
    pub(crate) fn into_chain(self) -> Chain {
        self.good
    }

    fn step(&mut self) -> Result<Option<LogEntry>, ReadError> {
        loop {
            let offset = self.source.offset;
            let length = match self.block_length()? {
                Some(length) => length,
                None => return self.unfinished.map_or(Ok(None), |offset| Err(ReadError::Truncated { offset })),
            };
            let bytes = self.source.take(length);
            let before = self.chain.clone();
            self.chain.add(bytes);
            let bad = |why: String| ReadError::BadBlock { offset, why };
            let parser = match &mut self.parser {
                Some(parser) => parser,
                None => {
                    let (_, parser) = PcapNgParser::new(bytes).map_err(|e| bad(e.to_string()))?;
                    self.parser = Some(parser);
                    continue;
                }
            };
            let (_, block) = parser.next_block(bytes).map_err(|e| bad(explain(&e)))?;
            let packet = match block {
                Block::EnhancedPacket(packet) => packet,
                Block::SectionHeader(_) => {
                    if let Some(offset) = self.unfinished {
                        return Err(ReadError::Truncated { offset });
                    }
                    self.unfinished = Some(offset);
                    self.fresh_section = true;
                    continue;
                }
                Block::InterfaceDescription(_) if self.fresh_section => continue,
                // The outgoing unit's own line is described before its first bytes; by itself it is no whole record.
                Block::InterfaceDescription(line)
                    if parser.interfaces().len() == Interface::LINKTYPES.len() + 1
                        && line.linktype == Interface::LINKTYPES[0] =>
                {
                    self.unfinished.get_or_insert(offset);
                    continue;
                }
                // Not even blocks that packet tools may add: a record whose type was damaged would be one.
                _ => return Err(bad("a kind of block that has no place here".into())),
            };
            if self.fresh_section {
                let links = parser.interfaces().iter().map(|i| i.linktype);
                if !links.eq(Interface::LINKTYPES) {
                    return Err(ReadError::NotALog { offset, why: "its two interfaces are not those of an input log" });
                }
            }
            let began = *self.unfinished.get_or_insert(offset);
            let Some(record) = assemble(&mut self.parts, &packet, &before, offset)? else { continue };
            self.admit(&record, began)?;
            self.unfinished = None;
            self.last_at = record.at;
            self.good = self.chain.clone();
            let citation = Citation {
                offset: self.source.offset,
                index: self.last.map_or(0, |c| c.index + 1),
                hash: self.chain.hash(),
            };
            self.last = Some(citation);
            return Ok(Some(LogEntry { record, citation }));
        }
    }

    /// Gets the next block into the buffer and returns its length; `None` at the end of the log.
    fn block_length(&mut self) -> Result<Option<usize>, ReadError> {
        let offset = self.source.offset;
        let torn = ReadError::Truncated { offset: self.unfinished.unwrap_or(offset) };
        let head = self.source.peek(12)?;
        if head.is_empty() {
            return Ok(None);
        }
        if self.parser.is_none() && !head.iter().zip(SECTION_HEADER).all(|(a, b)| *a == b) {
            // A crash can leave zeros where a write did not come through.
            if head.iter().all(|&b| b == 0) {
                return Err(ReadError::BadBlock { offset, why: "zeros in place of the log's beginning".into() });
            }
            return Err(ReadError::NotALog { offset, why: "it does not begin as a pcapng file" });
        }
        let &[t0, t1, t2, t3, l0, l1, l2, l3, m0, m1, m2, m3] = head else { return Err(torn) };
        if [t0, t1, t2, t3] == SECTION_HEADER && [m0, m1, m2, m3] == BIG_ENDIAN {
            return Err(ReadError::NotALog { offset, why: "its numbers are big-endian" });
        }
        let length = u32::from_le_bytes([l0, l1, l2, l3]);
        if length > MAX_BLOCK {
            return Err(ReadError::TooLong { offset, length: length.into() });
        }
        if length < 12 || length % 4 != 0 {
            return Err(ReadError::BadBlock { offset, why: format!("a block can't be {length} bytes long") });
        }
        let length = length as usize;
        if self.source.peek(length)?.len() < length { Err(torn) } else { Ok(Some(length)) }
    }

    /// The rules that hold from record to record.
    fn admit(&mut self, record: &LogRecord, offset: u64) -> Result<(), ReadError> {
        if record.at < self.last_at {
            return Err(ReadError::Backwards { offset, at: record.at, before: self.last_at });
        }
        let opening = std::mem::take(&mut self.fresh_section);
        match record.what {
            Logged::Input(Input::Tool { format, .. }) if format > FORMAT => {
                Err(ReadError::Unsupported { offset, format })
            }
            Logged::Input(Input::Tool { .. }) => Ok(()),
            _ if opening => Err(ReadError::NoTool { offset }),
            _ => Ok(()),
        }
    }
}

/// Takes in a packet; gives the record if it is whole with it.
fn assemble(
    parts: &mut Option<Parts>,
    packet: &EnhancedPacketBlock<'_>,
    before: &Chain,
    offset: u64,
) -> Result<Option<LogRecord>, ReadError> {
    let bad = |why: &str| ReadError::BadBlock { offset, why: why.into() };
    let (on, at) = block::inspect(packet, before).map_err(|fault| match fault {
        Fault::Checksum => ReadError::Checksum { offset },
        Fault::Chain => ReadError::Chain { offset },
        Fault::Malformed(why) => bad(why),
    })?;
    let decode = |bytes: &[u8]| codec::decode(on, bytes).map_err(|why| ReadError::BadEvent { offset, why });
    let Some(open) = parts else {
        return match decode(&packet.data)? {
            Packet::Record(what) => Ok(Some(LogRecord { at, what })),
            Packet::Join(n) if n == 0 || n as usize > MAX_PARTS => Err(bad("an impossible number of parts")),
            Packet::Join(left) => {
                *parts = Some(Parts { at, left, on: None, bytes: Vec::new() });
                Ok(None)
            }
        };
    };
    if open.at != at || open.on.is_some_and(|first| first != on) {
        return Err(bad("a part that does not belong to its record"));
    }
    open.on = Some(on);
    open.bytes.extend_from_slice(&packet.data);
    open.left -= 1;
    if open.left > 0 {
        return Ok(None);
    }
    let whole = decode(&open.bytes)?;
    *parts = None;
    match whole {
        Packet::Record(what) => Ok(Some(LogRecord { at, what })),
        Packet::Join(_) => Err(bad("a joined record within another")),
    }
}

/// An error with all its causes, on one line.
fn explain(e: &dyn std::error::Error) -> String {
    let mut text = e.to_string();
    let mut cause = e.source();
    while let Some(c) = cause {
        text = format!("{text}: {c}");
        cause = c.source();
    }
    text
}

impl<R: Read> Iterator for LogReader<R> {
    type Item = Result<LogEntry, ReadError>;
    fn next(&mut self) -> Option<Self::Item> {
        if self.failed {
            return None;
        }
        let next = self.step();
        self.failed = next.is_err();
        next.transpose()
    }
}

/// Buffered bytes with a place.
struct Source<R> {
    inner: R,
    buffer: Vec<u8>,
    start: usize,
    end: usize,
    /// Of the next byte to be taken.
    offset: u64,
}
impl<R: Read> Source<R> {
    fn new(inner: R) -> Self {
        Self { inner, buffer: vec![0; MAX_BLOCK as usize], start: 0, end: 0, offset: 0 }
    }
    /// The next `n` bytes, at most [`MAX_BLOCK`]; fewer at the end.
    fn peek(&mut self, n: usize) -> Result<&[u8], ReadError> {
        if self.end - self.start < n {
            self.buffer.copy_within(self.start..self.end, 0);
            self.end -= self.start;
            self.start = 0;
            while self.end < n {
                match self.inner.read(&mut self.buffer[self.end..]) {
                    Ok(0) => break,
                    Ok(got) => self.end += got,
                    Err(e) if e.kind() == ErrorKind::Interrupted => {}
                    Err(source) => return Err(ReadError::Io { offset: self.offset, source }),
                }
            }
        }
        Ok(&self.buffer[self.start..self.end.min(self.start + n)])
    }
    /// Takes `n` bytes that have been peeked at.
    fn take(&mut self, n: usize) -> &[u8] {
        let from = self.start;
        self.start += n;
        self.offset += n as u64;
        &self.buffer[from..self.start]
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::block::Blocks;
    use plumeline_base::input::LineId;

    /// A log whose packets are sound, whatever they say.
    fn log(packets: &[(Interface, &[u8])]) -> Vec<u8> {
        let tool: (Interface, &[u8]) = (Interface::Events, br#"{"event":"tool","version":"0","format":1}"#);
        let mut blocks = Blocks::open_section(Chain::new()).unwrap();
        for (on, data) in std::iter::once(&tool).chain(packets) {
            blocks.packet(Instant::START, *on, data, "").unwrap();
        }
        blocks.buffer().to_vec()
    }
    fn error(packets: &[(Interface, &[u8])]) -> String {
        let bytes = log(packets);
        let mut reader = LogReader::new(&bytes[..]);
        assert!(reader.next().is_some_and(|e| e.is_ok()));
        reader.find_map(Result::err).map_or_else(|| "none".into(), |e| e.to_string())
    }

    #[test]
    fn sound_packets_that_make_no_sense_are_refused() {
        use Interface::{Events, Received, Sent};
        type Case<'a> = (&'a [(Interface, &'a [u8])], &'a str);
        let cases: [Case<'_>; 12] = [
            (&[(Events, br#"{"event":"join","parts":4294967295}"#)], "impossible number of parts"),
            (&[(Events, br#"{"event":"join","parts":0}"#)], "impossible number of parts"),
            (
                &[
                    (Events, br#"{"event":"join","parts":2}"#),
                    (Received(LineId::Main), b"a"),
                    (Sent(LineId::Main), b"b"),
                ],
                "does not belong",
            ),
            (&[(Events, br#"{"event":"join","parts":2}"#), (Received(LineId::Main), b"a")], "has no end"),
            (
                &[
                    (Events, br#"{"event":"join","parts":2}"#),
                    (Events, br#"{"event":"#),
                    (Events, br#""join","parts":2}"#),
                ],
                "within another",
            ),
            (&[(Events, b"")], "EOF"),
            (&[(Events, br#"{"event":"tea"}"#)], "unknown variant `tea`"),
            (&[(Events, br#"{"event":"date","date":"x","by":"y"}"#)], "unknown field `by`"),
            (&[(Events, b"{\"event\":\"date\",\"date\":\"x\"}\nmore")], "only to a file"),
            (&[(Events, br#"{"event":"file","name":"x","bytes":0}"#)], "only to a file"),
            (&[(Events, b"{\"event\":\"file\",\"name\":\"x\",\"bytes\":3}\nab")], "3 bytes, but 2"),
            (&[(Events, br#"{"event":"operator","prompt":1,"answer":{"not-finite":"1"}}"#)], "not one of NaN"),
        ];
        for (packets, expected) in cases {
            let said = error(packets);
            assert!(said.contains(expected), "{said}");
        }
    }
}

//! Writes the log: one write to the system per record, so that the death of the process loses none; [`LogWriter::sync`]
//! makes them outlive the death of the machine.
//!
//! Not here: when to sync (whoever cites a record does so first).
use crate::{
    Citation, LogError, LogReader, LogRecord, Logged, MAX_RECORD,
    block::{Blocks, Chain, MAX_PART},
    codec,
    disk::{Disk, Reading},
};
use plumeline_base::{Instant, input::Input};
use std::io;

/// Appends records to a log.
pub struct LogWriter<D> {
    disk: D,
    name: String,
    blocks: Blocks,
    end: Option<Citation>,
    last_at: Instant,
    /// No record of this section yet.
    opening: bool,
    broken: bool,
}

/// What was found when a log was taken up again.
#[derive(Clone, Debug, PartialEq)]
pub struct Resumed {
    /// The end of its last whole record; `None` if it had none.
    pub end: Option<Citation>,
    /// The instant of that record. New records can't be earlier.
    pub last_at: Instant,
    /// The torn end, if there was one.
    pub set_aside: Option<SetAside>,
}

/// A torn end of a log that was moved into a file of its own.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SetAside {
    /// The file it is in now, beside the log.
    pub name: String,
    /// Where in the log it began.
    pub offset: u64,
    /// How long it is, in bytes.
    pub bytes: u64,
    /// What is wrong with it.
    pub why: String,
}

impl<D: Disk> LogWriter<D> {
    /// Begins a new log. Nothing is written before the first record.
    ///
    /// # Errors
    /// [`LogError::Exists`] if there is one; [`LogError::Io`].
    pub fn create(mut disk: D, name: &str) -> Result<Self, LogError> {
        if disk.len(name)?.is_some_and(|n| n > 0) {
            return Err(LogError::Exists);
        }
        hold(&mut disk, name)?;
        Self::at_end(disk, name, Chain::new(), None, Instant::START)
    }

    /// Takes a log up again: reads it through, sets a torn end aside and begins a new section with the next record.
    /// `cited` is the last place that something else (the journal) holds on to; it must still be there unchanged.
    ///
    /// # Errors
    /// [`LogError::Lost`] if what was cited is gone or changed, and [`LogError::Read`] if the log is damaged in a
    /// way that no crash leaves; the file is left as it was in both cases. [`LogError::Io`].
    pub fn resume(mut disk: D, name: &str, cited: Option<Citation>) -> Result<(Self, Resumed), LogError> {
        if disk.len(name)?.is_some() {
            hold(&mut disk, name)?;
        }
        let length = disk.len(name)?.unwrap_or(0);
        let mut reader = LogReader::new(Reading::new(&mut disk, name));
        let mut kept = cited.is_none();
        let mut why = None;
        while length > 0 && why.is_none() {
            match reader.next() {
                Some(Ok(entry)) => kept |= Some(entry.citation) == cited,
                Some(Err(e)) if e.may_be_torn() => why = Some(e.to_string()),
                Some(Err(e)) => return Err(e.into()),
                None => break,
            }
        }
        let (end, last_at) = (reader.end(), reader.last_at());
        if let (Some(cited), false) = (cited, kept) {
            let found = match (end, why) {
                (Some(end), None) if end.offset >= cited.offset => "its bytes have changed".into(),
                (_, Some(why)) => why,
                (end, None) => format!("it ends at byte {}", end.map_or(0, |c| c.offset)),
            };
            return Err(LogError::Lost { cited, found });
        }
        let chain = reader.into_chain();
        let good = end.map_or(0, |c| c.offset);
        let set_aside = why.map(|why| set_aside(&mut disk, name, good, length, why)).transpose()?;
        let writer = Self::at_end(disk, name, chain, end, last_at)?;
        Ok((writer, Resumed { end, last_at, set_aside }))
    }

    fn at_end(disk: D, name: &str, chain: Chain, end: Option<Citation>, last_at: Instant) -> Result<Self, LogError> {
        let blocks = Blocks::open_section(chain)?;
        Ok(Self { disk, name: name.into(), blocks, end, last_at, opening: true, broken: false })
    }

    /// Appends a record and hands it to the system. It outlives the process; the machine's death only after
    /// [`LogWriter::sync`].
    ///
    /// # Errors
    /// [`LogError::Backwards`], [`LogError::NoTool`], [`LogError::TooLarge`] refuse the record and change nothing.
    /// After [`LogError::Io`] every further call gives [`LogError::Broken`].
    pub fn append(&mut self, record: &LogRecord) -> Result<Citation, LogError> {
        if self.broken {
            return Err(LogError::Broken);
        }
        if record.at < self.last_at {
            return Err(LogError::Backwards { at: record.at, before: self.last_at });
        }
        if self.opening && !matches!(record.what, Logged::Input(Input::Tool { .. })) {
            return Err(LogError::NoTool);
        }
        let content = codec::encode(&record.what);
        if content.bytes.len() > MAX_RECORD {
            return Err(LogError::TooLarge { bytes: content.bytes.len() });
        }
        self.broken = true;
        let parts = content.bytes.len().div_ceil(MAX_PART);
        if parts <= 1 {
            self.blocks.packet(record.at, content.on, &content.bytes, &content.words)?;
        } else {
            let join = codec::join(parts as u32);
            self.blocks.packet(record.at, join.on, &join.bytes, &join.words)?;
            for (i, part) in content.bytes.chunks(MAX_PART).enumerate() {
                let words = format!("{} (part {} of {parts})", content.words, i + 1);
                self.blocks.packet(record.at, content.on, part, &words)?;
            }
        }
        let buffer = self.blocks.buffer();
        self.disk.append(&self.name, buffer)?;
        let citation = Citation {
            offset: self.end.map_or(0, |c| c.offset) + buffer.len() as u64,
            index: self.end.map_or(0, |c| c.index + 1),
            hash: self.blocks.hash(),
        };
        self.blocks.clear();
        self.broken = false;
        self.opening = false;
        self.last_at = record.at;
        self.end = Some(citation);
        Ok(citation)
    }

    /// Makes all records so far durable.
    ///
    /// # Errors
    /// [`LogError::Io`]; every further call then gives [`LogError::Broken`].
    pub fn sync(&mut self) -> Result<(), LogError> {
        if self.broken {
            return Err(LogError::Broken);
        }
        if self.end.is_some() {
            self.disk.sync(&self.name).inspect_err(|_| self.broken = true)?;
        }
        Ok(())
    }

    /// The end of the last record; `None` before the first.
    pub fn end(&self) -> Option<Citation> {
        self.end
    }
    /// The instant of the last record.
    pub fn last_at(&self) -> Instant {
        self.last_at
    }
}

/// Two that write one log ruin it, whatever else keeps them apart.
fn hold<D: Disk>(disk: &mut D, name: &str) -> Result<(), LogError> {
    disk.hold(name).map_err(|e| if e.kind() == io::ErrorKind::ResourceBusy { LogError::Held } else { e.into() })
}

/// Copies `name` from `from` on into a new file, makes that durable, and only then cuts it off.
fn set_aside<D: Disk>(disk: &mut D, name: &str, from: u64, to: u64, why: String) -> Result<SetAside, LogError> {
    let mut number = 1;
    let aside = loop {
        let aside = format!("{name}.torn-{number}");
        if disk.len(&aside)?.is_none() {
            break aside;
        }
        number += 1;
    };
    let mut buffer = vec![0; 64 << 10];
    let mut at = from;
    while at < to {
        let n = disk.read_at(name, at, &mut buffer)?;
        if n == 0 {
            break;
        }
        disk.append(&aside, &buffer[..n])?;
        at += n as u64;
    }
    disk.sync(&aside)?;
    disk.truncate(name, from)?;
    disk.sync(name)?;
    Ok(SetAside { name: aside, offset: from, bytes: to - from, why })
}

impl std::fmt::Display for SetAside {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let Self { name, offset, bytes, why } = self;
        write!(f, "{bytes} bytes from byte {offset} of the log on were set aside in {name}: {why}")
    }
}

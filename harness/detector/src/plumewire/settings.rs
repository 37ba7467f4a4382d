//! Settings over the wire: the image read in parts, and written as a transaction that can be taken up again.
use super::task::{Next, Session, refusal_of, refused};
use crate::{
    ask::Reply,
    driver::Trouble,
    settings::{Item, Settings, Value},
};
use alloc::{
    format,
    string::{String, ToString},
    vec::Vec,
};
pub(super) use base16ct::lower::encode_string as hex;
use base16ct::mixed;
use core::time::Duration;
use plumewire::{
    self as wire, Digest, Nothing, Refusal, RefusalCode, Reply as R, Request,
    image::{self, Decimal, ImageWriter, Items},
};
use sha2::{Digest as _, Sha256};

/// How often a transfer begins again before it is given up.
const MOST_STARTS: u8 = 4;
/// Longer images are nonsense, whatever a unit says that it holds, bytes.
const MOST_IMAGE: u32 = 1 << 20;

/// Settings as an image.
fn to_image(settings: &Settings) -> Result<Vec<u8>, Trouble> {
    let cannot = |what: String| Trouble::CannotDo(what);
    let room = |i: &Item| {
        let value = match &i.value {
            Value::Text(t) => t.len(),
            Value::Opaque { hex } => hex.len() / 2,
            _ => 16,
        };
        i.key.len() + value + i.unit.as_ref().map_or(0, String::len) + 32
    };
    let mut out = alloc::vec![0; 16 + settings.items.iter().map(room).sum::<usize>()];
    let count = u32::try_from(settings.items.len()).unwrap_or(u32::MAX);
    let mut writer = ImageWriter::new(&mut out, count).map_err(|e| cannot(e.to_string()))?;
    for item in &settings.items {
        let bytes;
        let value = match &item.value {
            Value::Bool(on) => image::Value::Switch(*on),
            Value::Int(n) => image::Value::Number(Decimal::whole(*n)),
            // The shortest decimal that reads back as the same number.
            Value::Number(x) => match Decimal::parse(&x.to_string()) {
                Some(n) => image::Value::Number(n),
                None => return Err(cannot(format!("write {x} as setting {}", item.key))),
            },
            Value::Text(text) => image::Value::Text(text),
            Value::Opaque { hex } => {
                bytes =
                    mixed::decode_vec(hex).map_err(|_| cannot(format!("read the bytes of setting {}", item.key)))?;
                image::Value::Bytes(&bytes)
            }
        };
        let item = image::Item { key: &item.key, value, unit: item.unit.as_deref() };
        writer.item(&item).map_err(|e| cannot(format!("write setting {}: {e}", item.key)))?;
    }
    let len = writer.finish().map_err(|e| cannot(e.to_string()))?;
    out.truncate(len);
    Ok(out)
}
/// An image as settings.
fn from_image(bytes: &[u8], revision: u32) -> Result<Settings, String> {
    let mut items = Vec::new();
    for item in Items::new(bytes).map_err(|e| e.to_string())? {
        let item = item.map_err(|e| e.to_string())?;
        let value = match item.value {
            image::Value::Switch(on) => Value::Bool(on),
            image::Value::Number(n) if n.exponent() == 0 => Value::Int(n.mantissa()),
            image::Value::Number(n) => Value::Number(n.to_f64()),
            image::Value::Text(text) => Value::Text(text.to_string()),
            image::Value::Bytes(bytes) => Value::Opaque { hex: hex(bytes) },
        };
        items.push(Item { key: item.key.to_string(), value, unit: item.unit.map(str::to_string) });
    }
    Ok(Settings { revision: Some(revision), items })
}
fn revision(revision: u64) -> Result<u32, String> {
    u32::try_from(revision).map_err(|_| format!("a settings revision of {revision}"))
}
fn count(len: usize) -> u32 {
    u32::try_from(len).unwrap_or(u32::MAX)
}

/// Settings being read.
#[derive(Debug, Default)]
pub(super) struct ReadImage {
    manifest: Option<(u64, u32, Digest)>,
    image: Vec<u8>,
    starts: u8,
}
impl ReadImage {
    pub(super) fn wire(&self, session: &Session) -> Request<'_> {
        match self.manifest {
            None => Request::SettingsManifest(Nothing {}),
            Some((revision, length, _)) => {
                let offset = count(self.image.len());
                let left = u16::try_from(length.saturating_sub(offset)).unwrap_or(u16::MAX);
                Request::SettingsRead(wire::SettingsRead { revision, offset, length: left.min(session.chunk()) })
            }
        }
    }
    fn restart(&mut self, why: impl Into<String>) -> Next {
        self.starts += 1;
        if self.starts >= MOST_STARTS {
            return Next::nonsense(why);
        }
        self.manifest = None;
        self.image.clear();
        Next::Send
    }
    pub(super) fn refusal(&mut self, refusal: &Refusal<'_>) -> Next {
        match refusal.code {
            // They were changed meanwhile.
            RefusalCode::Revision => self.restart("settings that change while they are read"),
            _ => Next::fail(refused(refusal)),
        }
    }
    pub(super) fn reply(&mut self, reply: &R<'_>, session: &Session) -> Next {
        match (reply, self.manifest) {
            (R::SettingsManifest(m), None) => {
                if m.length == 0 || m.length > MOST_IMAGE.max(session.settings_max) {
                    return Next::nonsense(format!("a settings image of {} bytes", m.length));
                }
                self.manifest = Some((m.revision, m.length, m.digest));
                Next::Send
            }
            (R::SettingsRead(part), Some((number, length, digest))) => {
                let fits = part.bytes.len() <= (length as usize).saturating_sub(self.image.len());
                if part.offset != count(self.image.len()) || part.bytes.is_empty() || !fits {
                    return Next::nonsense("another part of the settings than was asked for");
                }
                self.image.extend_from_slice(part.bytes);
                let done = count(self.image.len());
                if done < length {
                    return Next::Progress { done, total: length, pause: Duration::ZERO };
                }
                if Digest::from(Sha256::digest(&self.image)) != digest {
                    return self.restart("settings that do not have the digest that was stated for them");
                }
                match revision(number).and_then(|r| from_image(&self.image, r)) {
                    Ok(settings) => Next::told(Reply::Settings(settings)),
                    Err(why) => Next::nonsense(why),
                }
            }
            _ => Next::nonsense("another answer than was asked for"),
        }
    }
}

/// Settings being written.
#[derive(Debug)]
pub(super) struct WriteImage {
    image: Vec<u8>,
    digest: Digest,
    step: Step,
    /// Most that was ever received, bytes, and beginnings since it grew.
    most: u32,
    starts: u8,
}
#[derive(Clone, Debug)]
enum Step {
    /// What does the unit hold?
    Manifest,
    /// Is a transaction open, perhaps ours from before?
    Status {
        base: u64,
    },
    /// Another transaction stands in the way.
    Clear {
        base: u64,
        transaction: u32,
    },
    Begin {
        base: u64,
    },
    Chunk {
        transaction: u32,
        offset: usize,
    },
    Commit {
        transaction: u32,
    },
    /// Committed under this revision: does the unit hold what was sent?
    Verify {
        committed: u64,
    },
    /// Refused for good: give the transaction up, then say why.
    GiveUp {
        transaction: u32,
        trouble: Trouble,
    },
}
impl WriteImage {
    pub(super) fn new(settings: &Settings) -> Result<Self, Trouble> {
        let image = to_image(settings)?;
        let digest = Sha256::digest(&image).into();
        Ok(Self { image, digest, step: Step::Manifest, most: 0, starts: 0 })
    }
    /// True while the next wire request carries part of the image.
    pub(super) const fn in_chunk(&self) -> bool {
        matches!(self.step, Step::Chunk { .. })
    }
    pub(super) fn wire(&self, session: &Session) -> Request<'_> {
        let none = Nothing {};
        match self.step {
            Step::Manifest | Step::Verify { .. } => Request::SettingsManifest(none),
            Step::Status { .. } => Request::WriteStatus(none),
            Step::Clear { transaction, .. } | Step::GiveUp { transaction, .. } => {
                Request::WriteAbandon(wire::WriteAbandon { transaction })
            }
            Step::Begin { base } => Request::WriteBegin(wire::WriteBegin {
                base_revision: base,
                length: count(self.image.len()),
                digest: self.digest,
            }),
            Step::Chunk { transaction, offset } => {
                let rest = self.image.get(offset..).unwrap_or_default();
                let bytes = rest.get(..usize::from(session.chunk())).unwrap_or(rest);
                Request::WriteChunk(wire::WriteChunk { transaction, offset: count(offset), bytes })
            }
            Step::Commit { transaction } => {
                Request::WriteCommit(wire::WriteCommit { transaction, digest: self.digest })
            }
        }
    }
    /// From the beginning: what is there already is found out again, and taken up.
    pub(super) fn restart(&mut self) -> Next {
        self.starts += 1;
        if self.starts >= MOST_STARTS {
            return Next::nonsense("the unit loses the transaction again and again");
        }
        self.go(Step::Manifest)
    }
    fn go(&mut self, step: Step) -> Next {
        self.step = step;
        Next::Send
    }
    fn resume(&mut self, transaction: u32, received: u32) -> Next {
        let offset = received as usize;
        let step = match offset.cmp(&self.image.len()) {
            core::cmp::Ordering::Less => Step::Chunk { transaction, offset },
            core::cmp::Ordering::Equal => Step::Commit { transaction },
            core::cmp::Ordering::Greater => return Next::nonsense("more settings received than were sent"),
        };
        self.step = step;
        if received > self.most {
            (self.most, self.starts) = (received, 0);
        }
        Next::Progress { done: received, total: count(self.image.len()), pause: Duration::ZERO }
    }
    pub(super) fn reply(&mut self, reply: &R<'_>) -> Next {
        match (reply, self.step.clone()) {
            (R::SettingsManifest(m), step @ (Step::Manifest | Step::Verify { .. })) => {
                let same = m.digest == self.digest && m.length == count(self.image.len());
                match (same, step) {
                    (true, _) => match revision(m.revision) {
                        Ok(revision) => Next::told(Reply::Written(Some(revision))),
                        Err(why) => Next::nonsense(why),
                    },
                    // Somebody was quicker: as if the commit had been refused for it.
                    (false, Step::Verify { committed }) if m.revision != committed => Next::fail(refusal_of(
                        RefusalCode::Revision,
                        format!("changed right after they were put in force: revision {}", m.revision),
                    )),
                    (false, Step::Verify { .. }) => Next::nonsense("other settings in force than were committed"),
                    (false, _) => self.go(Step::Status { base: m.revision }),
                }
            }
            (R::WriteStatus(s), Step::Status { base }) => match s.open {
                Some(t) if t.digest == self.digest && t.length == count(self.image.len()) => {
                    self.resume(t.transaction, t.received)
                }
                Some(t) => self.go(Step::Clear { base, transaction: t.transaction }),
                None => self.go(Step::Begin { base }),
            },
            (R::WriteAbandon(_), Step::Clear { base, .. }) => self.go(Step::Begin { base }),
            (R::WriteAbandon(_), Step::GiveUp { trouble, .. }) => Next::fail(trouble),
            (R::WriteBegin(b), Step::Begin { .. }) => self.resume(b.transaction, 0),
            (R::WriteChunk(p), Step::Chunk { transaction, offset }) if p.received as usize > offset => {
                self.resume(transaction, p.received)
            }
            (R::WriteCommit(c), Step::Commit { .. }) => self.go(Step::Verify { committed: c.revision }),
            _ => Next::nonsense("another answer than was asked for"),
        }
    }
    pub(super) fn refusal(&mut self, refusal: &Refusal<'_>) -> Next {
        match (self.step.clone(), refusal.code) {
            // A part was received whose answer was lost.
            (Step::Chunk { .. }, RefusalCode::Offset)
            | (Step::Chunk { .. } | Step::Commit { .. } | Step::Clear { .. }, RefusalCode::Transaction)
            | (Step::Begin { .. }, RefusalCode::Revision) => self.restart(),
            (Step::GiveUp { trouble, .. }, _) => Next::fail(trouble),
            (Step::Chunk { transaction, .. } | Step::Commit { transaction }, _) => {
                self.go(Step::GiveUp { transaction, trouble: refused(refusal) })
            }
            _ => Next::fail(refused(refusal)),
        }
    }
}

//! What a unit remembers without power, in two slots: a write goes into the older one, so that a torn write leaves the
//! whole of what was before.
//!
//! A slot is: length (4 bytes), count of writes (8), CBOR payload, CRC-32C of all before (4); integers big-endian. The slot with the
//! highest count whose check holds is in force.
use minicbor::{Decoder, Encoder};
use plumewire::crc32c;

/// The airflow baseline as the unit keeps it. Integers of the wire's units, so that nothing changes on the way.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(crate) struct KeptBaseline {
    pub(crate) id: u32,
    /// nL/s for each inlet; negative: none.
    pub(crate) flow_nl_s: Vec<i64>,
    pub(crate) uncertainty_nl_s: Vec<i64>,
    pub(crate) temperature_mk: i64,
    pub(crate) fan_mrev_s: i64,
    pub(crate) duration_ms: u32,
    pub(crate) boot_id: u64,
    pub(crate) taken_us: u64,
    pub(crate) settings_revision: u64,
    /// False once something happened after which it no longer holds.
    pub(crate) holds: bool,
}

/// What a unit remembers.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(crate) struct Memory {
    pub(crate) boots: u32,
    pub(crate) revision: u64,
    pub(crate) image: Vec<u8>,
    /// Settings were loaded since the last start.
    pub(crate) loaded: bool,
    /// An inhibit was on.
    pub(crate) inhibited: bool,
    pub(crate) baseline: Option<KeptBaseline>,
}

type Broken = Box<dyn std::error::Error>;
impl Memory {
    fn encode(&self) -> Option<Vec<u8>> {
        let mut e = Encoder::new(Vec::new());
        let mut write = || -> Result<(), minicbor::encode::Error<core::convert::Infallible>> {
            e.array(6)?
                .u32(self.boots)?
                .u64(self.revision)?
                .bytes(&self.image)?
                .bool(self.loaded)?
                .bool(self.inhibited)?;
            let Some(b) = &self.baseline else {
                e.null()?;
                return Ok(());
            };
            e.array(10)?.u32(b.id)?;
            for list in [&b.flow_nl_s, &b.uncertainty_nl_s] {
                e.array(list.len() as u64)?;
                for v in list {
                    e.i64(*v)?;
                }
            }
            e.i64(b.temperature_mk)?.i64(b.fan_mrev_s)?.u32(b.duration_ms)?.u64(b.boot_id)?.u64(b.taken_us)?;
            e.u64(b.settings_revision)?.bool(b.holds)?;
            Ok(())
        };
        write().ok()?;
        Some(e.into_writer())
    }
    fn decode(bytes: &[u8]) -> Result<Self, Broken> {
        let mut d = Decoder::new(bytes);
        let want = |d: &mut Decoder<'_>, n: u64| (d.array()? == Some(n)).then_some(()).ok_or(Broken::from("count"));
        want(&mut d, 6)?;
        let mut memory = Self {
            boots: d.u32()?,
            revision: d.u64()?,
            image: d.bytes()?.into(),
            loaded: d.bool()?,
            inhibited: d.bool()?,
            baseline: None,
        };
        if d.datatype()? != minicbor::data::Type::Null {
            want(&mut d, 10)?;
            let id = d.u32()?;
            let list = |d: &mut Decoder<'_>| -> Result<Vec<i64>, Broken> {
                let n = d.array()?.filter(|n| *n <= plumewire::MAX_INLETS as u64).ok_or("count")?;
                (0..n).map(|_| d.i64().map_err(Broken::from)).collect()
            };
            memory.baseline = Some(KeptBaseline {
                id,
                flow_nl_s: list(&mut d)?,
                uncertainty_nl_s: list(&mut d)?,
                temperature_mk: d.i64()?,
                fan_mrev_s: d.i64()?,
                duration_ms: d.u32()?,
                boot_id: d.u64()?,
                taken_us: d.u64()?,
                settings_revision: d.u64()?,
                holds: d.bool()?,
            });
        }
        Ok(memory)
    }
}

/// Two slots.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(crate) struct Store {
    slots: [Vec<u8>; 2],
}
impl Store {
    fn read_slot(slot: &[u8]) -> Option<(u64, Memory)> {
        let (body, check) = slot.split_last_chunk::<4>()?;
        if crc32c(body) != u32::from_be_bytes(*check) {
            return None;
        }
        let (length, rest) = body.split_first_chunk::<4>()?;
        let (count, payload) = rest.split_first_chunk::<8>()?;
        if u32::from_be_bytes(*length) as usize != payload.len() {
            return None;
        }
        Some((u64::from_be_bytes(*count), Memory::decode(payload).ok()?))
    }
    /// What is in force; `None` if neither slot is whole.
    pub(crate) fn read(&self) -> Option<Memory> {
        self.newest().map(|(_, _, memory)| memory)
    }
    fn newest(&self) -> Option<(usize, u64, Memory)> {
        let slots = self.slots.iter().enumerate();
        slots.filter_map(|(i, s)| Self::read_slot(s).map(|(count, m)| (i, count, m))).max_by_key(|(_, count, _)| *count)
    }
    /// Writes `memory` into the slot that is not in force.
    pub(crate) fn write(&mut self, memory: &Memory) {
        let (slot, count) = self.newest().map_or((0, 1), |(i, count, _)| (1 - i, count + 1));
        let Some(payload) = memory.encode() else { return };
        let mut bytes = (payload.len() as u32).to_be_bytes().to_vec();
        bytes.extend(count.to_be_bytes());
        bytes.extend(payload);
        bytes.extend(crc32c(&bytes).to_be_bytes());
        self.slots[slot] = bytes;
    }
    /// Both slots as bytes, appended.
    pub(crate) fn save(&self, out: &mut Vec<u8>) {
        for slot in &self.slots {
            out.extend((slot.len() as u32).to_be_bytes());
            out.extend(slot);
        }
    }
    /// Takes two slots off the front of `bytes`.
    pub(crate) fn load(bytes: &mut &[u8]) -> Option<Self> {
        let mut slot = || {
            let (length, rest) = bytes.split_first_chunk::<4>()?;
            let (slot, rest) = rest.split_at_checked(u32::from_be_bytes(*length) as usize)?;
            *bytes = rest;
            Some(slot.to_vec())
        };
        Some(Self { slots: [slot()?, slot()?] })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    fn memory(revision: u64) -> Memory {
        let baseline = KeptBaseline {
            id: 3,
            flow_nl_s: vec![500_000_000, -1],
            uncertainty_nl_s: vec![1000, -1],
            holds: true,
            ..KeptBaseline::default()
        };
        Memory { boots: 7, revision, image: vec![1, 2, 3], baseline: Some(baseline), ..Memory::default() }
    }
    #[test]
    fn a_torn_write_leaves_what_was_before_whole() {
        let mut store = Store::default();
        assert_eq!(store.read(), None);
        store.write(&memory(1));
        store.write(&memory(2));
        let whole = store.clone();
        store.write(&memory(3));
        assert_eq!(store.read(), Some(memory(3)));
        // The third write went into slot 0. Torn at any byte, or with any byte damaged, the second is in force.
        let length = store.slots[0].len();
        for cut in 0..length {
            let mut torn = store.clone();
            torn.slots[0].truncate(cut);
            assert_eq!(torn.read(), Some(memory(2)), "cut at {cut}");
            let mut damaged = store.clone();
            damaged.slots[0][cut] ^= 0x10;
            assert_eq!(damaged.read(), Some(memory(2)), "damage at {cut}");
        }
        assert_eq!(whole.read(), Some(memory(2)));
    }
    #[test]
    fn outlives_the_process() {
        let mut store = Store::default();
        store.write(&memory(1));
        let mut bytes = Vec::new();
        store.save(&mut bytes);
        let mut rest = &bytes[..];
        assert_eq!(Store::load(&mut rest), Some(store));
        assert!(rest.is_empty());
        assert_eq!(Store::load(&mut &bytes[..bytes.len() - 1]), None);
    }
}

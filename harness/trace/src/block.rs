//! pcapng blocks as this log uses them: a section header and two interfaces, then enhanced packets; a third interface before the
//! first packet of the outgoing unit's own line.
//!
//! Not here: what the packets say (see `codec`).
use crate::Hash;
use pcap_file::{
    DataLink, Endianness,
    pcapng::{
        PcapNgBlock, PcapNgWriter,
        blocks::{
            enhanced_packet::{EnhancedPacketBlock, EnhancedPacketOption},
            interface_description::{InterfaceDescriptionBlock, InterfaceDescriptionOption, InterfaceTsResolution},
            opt_common::{CommonOption, UnknownOption},
            section_header::{SectionHeaderBlock, SectionHeaderOption},
        },
    },
};
use plumeline_base::{Instant, input::LineId};
use sha2::{Digest, Sha256};
use std::{borrow::Cow, io, time::Duration};

/// The longest block, in bytes; packet viewers refuse longer packets.
pub(crate) const MAX_BLOCK: u32 = 256 << 10;
/// The longest packet content; a longer record is cut into parts.
pub(crate) const MAX_PART: usize = 128 << 10;
/// CRC-32 of the packet's content, as in the standard's `epb_hash` algorithm 2.
const CRC32: crc::Crc<u32, crc::Table<16>> = crc::Crc::<u32, crc::Table<16>>::new(&crc::CRC_32_ISO_HDLC);
const CRC32_ALGORITHM: u8 = 2;
/// The standard's `epb_packetid`, 64 bits: here what chains a packet to all before it.
const PACKET_ID: u16 = 5;

/// Where a packet belongs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Interface {
    /// Interface of a line, inbound.
    Received(LineId),
    /// Interface of a line, outbound.
    Sent(LineId),
    /// Interface 1.
    Events,
}
impl Interface {
    const LINE: u32 = 0;
    const EVENTS: u32 = 1;
    /// Only in sections in which the outgoing unit's own line carried bytes.
    const OUTGOING: u32 = 2;
    /// The standard's reception type `unicast`: marks packets of the outgoing unit's own line a second time, so that a damaged
    /// number of the interface is seen.
    const OWN_LINE: u32 = 1 << 2;
    /// The link types of the two interfaces that every section has, by number; that of the third is as the first one's.
    pub(crate) const LINKTYPES: [DataLink; 2] = [DataLink::USER0, DataLink::USER1];

    const fn id(self) -> u32 {
        match self {
            Self::Received(LineId::Main) | Self::Sent(LineId::Main) => Self::LINE,
            Self::Received(LineId::Outgoing) | Self::Sent(LineId::Outgoing) => Self::OUTGOING,
            Self::Events => Self::EVENTS,
        }
    }
    /// The lowest bits of `epb_flags`: the direction, and the mark of the outgoing unit's own line.
    const fn flags(self) -> u32 {
        match self {
            Self::Received(LineId::Main) => 1,
            Self::Sent(LineId::Main) => 2,
            Self::Received(LineId::Outgoing) => 1 | Self::OWN_LINE,
            Self::Sent(LineId::Outgoing) => 2 | Self::OWN_LINE,
            Self::Events => 0,
        }
    }
}

/// The digest of a log so far, block by block.
#[derive(Clone)]
pub(crate) struct Chain {
    digest: Sha256,
    hash: Hash,
}
impl Chain {
    pub(crate) fn new() -> Self {
        let digest = Sha256::new();
        let hash = Hash(digest.clone().finalize().into());
        Self { digest, hash }
    }
    pub(crate) fn add(&mut self, bytes: &[u8]) {
        if !bytes.is_empty() {
            self.digest.update(bytes);
            self.hash = Hash(self.digest.clone().finalize().into());
        }
    }
    /// SHA-256 of all that was added.
    pub(crate) fn hash(&self) -> Hash {
        self.hash
    }
    /// What a packet that comes next carries of it.
    fn link(&self) -> &[u8] {
        &self.hash.0[..8]
    }
}

/// Makes blocks; remembers the section they belong to.
pub(crate) struct Blocks {
    writer: PcapNgWriter<Vec<u8>>,
    chain: Chain,
    /// How much of the buffer is in the chain.
    chained: usize,
    /// The section describes the outgoing unit's line.
    describes_outgoing: bool,
}

impl Blocks {
    /// The blocks that open a section wait in the buffer. `chain` is that of the log before it.
    pub(crate) fn open_section(chain: Chain) -> io::Result<Self> {
        let comment = |s: &'static str| CommonOption::Comment(Cow::Borrowed(s));
        let section = SectionHeaderBlock {
            endianness: Endianness::Little,
            options: vec![
                SectionHeaderOption::UserApplication("plumeline".into()),
                SectionHeaderOption::Common(comment(
                    "Input log of a plumeline job. Time is counted from the start of the log, not from 1970.",
                )),
            ],
            ..Default::default()
        };
        let mut writer = PcapNgWriter::with_section_header(Vec::new(), section).map_err(io::Error::other)?;
        let names = [("line", "bytes to and from the unit"), ("events", "everything else that reached the procedure")];
        for (link, (name, description)) in Interface::LINKTYPES.into_iter().zip(names) {
            describe(&mut writer, link, name, description)?;
        }
        Ok(Self { writer, chain, chained: 0, describes_outgoing: false })
    }

    /// Adds a packet to the buffer.
    pub(crate) fn packet(&mut self, at: Instant, on: Interface, data: &[u8], words: &str) -> io::Result<()> {
        if on.id() == Interface::OUTGOING && !self.describes_outgoing {
            let description = "bytes to and from the outgoing unit on a line of its own";
            describe(&mut self.writer, DataLink::USER0, "line-outgoing", description)?;
            self.describes_outgoing = true;
        }
        self.hash();
        let mut hash = [CRC32_ALGORITHM, 0, 0, 0, 0];
        hash[1..].copy_from_slice(&CRC32.checksum(data).to_le_bytes());
        let mut options = Vec::with_capacity(4);
        if on != Interface::Events {
            options.push(EnhancedPacketOption::Flags(on.flags()));
        }
        options.push(EnhancedPacketOption::Hash(Cow::Borrowed(&hash)));
        let link = UnknownOption::new(PACKET_ID, self.chain.link());
        options.push(EnhancedPacketOption::Common(CommonOption::Unknown(link)));
        options.push(EnhancedPacketOption::Common(CommonOption::Comment(words.into())));
        let packet = EnhancedPacketBlock {
            interface_id: on.id(),
            timestamp: Duration::from_micros(at.as_micros()),
            original_len: data.len() as u32,
            data: data.into(),
            options,
        };
        self.writer.write_block(&packet.into_block()).map_err(io::Error::other)?;
        Ok(())
    }

    /// The log's digest with all blocks so far.
    pub(crate) fn hash(&mut self) -> Hash {
        let buffer = self.writer.get_ref();
        self.chain.add(&buffer[self.chained..]);
        self.chained = buffer.len();
        self.chain.hash()
    }
    /// The blocks made since the buffer was last cleared.
    pub(crate) fn buffer(&self) -> &[u8] {
        self.writer.get_ref()
    }
    /// Empties the buffer.
    pub(crate) fn clear(&mut self) {
        self.writer.get_mut().clear();
        self.chained = 0;
    }
}

/// Describes the section's next interface.
fn describe(
    writer: &mut PcapNgWriter<Vec<u8>>,
    link: DataLink,
    name: &'static str,
    description: &'static str,
) -> io::Result<()> {
    let mut interface = InterfaceDescriptionBlock::new(link, 0);
    interface.options = vec![
        InterfaceDescriptionOption::IfName(name.into()),
        InterfaceDescriptionOption::IfDescription(description.into()),
        InterfaceDescriptionOption::IfTsResol(InterfaceTsResolution::MICRO),
    ];
    writer.write_pcapng_block(interface).map_err(io::Error::other)?;
    Ok(())
}

/// What a packet of ours says about itself.
pub(crate) fn inspect(packet: &EnhancedPacketBlock<'_>, before: &Chain) -> Result<(Interface, Instant), Fault> {
    let (mut direction, mut sum, mut link) = (0, None, None);
    for option in &packet.options {
        match option {
            EnhancedPacketOption::Flags(flags) => direction = flags & 0b1_1111,
            EnhancedPacketOption::Hash(h) if h.first() == Some(&CRC32_ALGORITHM) => sum = h.get(1..5),
            EnhancedPacketOption::Common(CommonOption::Unknown(o)) if o.code == PACKET_ID => link = Some(&o.value),
            _ => {}
        }
    }
    if packet.original_len as usize != packet.data.len() {
        return Err(Fault::Malformed("the packet was cut short"));
    }
    match sum {
        Some(sum) if sum == CRC32.checksum(&packet.data).to_le_bytes() => {}
        Some(_) => return Err(Fault::Checksum),
        None => return Err(Fault::Malformed("the packet has no checksum")),
    }
    match link {
        Some(link) if link[..] == *before.link() => {}
        Some(_) => return Err(Fault::Chain),
        None => return Err(Fault::Malformed("the packet is not chained to those before it")),
    }
    let on = match (packet.interface_id, direction) {
        (Interface::LINE, 1) => Interface::Received(LineId::Main),
        (Interface::LINE, 2) => Interface::Sent(LineId::Main),
        (Interface::OUTGOING, 0b101) => Interface::Received(LineId::Outgoing),
        (Interface::OUTGOING, 0b110) => Interface::Sent(LineId::Outgoing),
        (Interface::LINE | Interface::OUTGOING, _) => {
            return Err(Fault::Malformed("bytes of the line without a direction"));
        }
        (Interface::EVENTS, _) => Interface::Events,
        _ => return Err(Fault::Malformed("a packet of an interface that is not ours")),
    };
    let at =
        u64::try_from(packet.timestamp.as_micros()).map_err(|_| Fault::Malformed("the instant is out of range"))?;
    Ok((on, Instant::from_micros(at)))
}

/// What can be wrong with a packet that is a sound block.
pub(crate) enum Fault {
    Checksum,
    Chain,
    Malformed(&'static str),
}

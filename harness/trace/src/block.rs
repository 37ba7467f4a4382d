//! pcapng blocks as this log uses them: a section header and two interfaces, then enhanced packets.
//!
//! Not here: what the packets say (see `codec`).
use pcap_file::{
    DataLink, Endianness,
    pcapng::{
        PcapNgBlock, PcapNgWriter,
        blocks::{
            enhanced_packet::{EnhancedPacketBlock, EnhancedPacketOption},
            interface_description::{InterfaceDescriptionBlock, InterfaceDescriptionOption, InterfaceTsResolution},
            opt_common::CommonOption,
            section_header::{SectionHeaderBlock, SectionHeaderOption},
        },
    },
};
use plumeline_base::Instant;
use std::{borrow::Cow, io, time::Duration};

/// The longest block, in bytes; packet viewers refuse longer packets.
pub(crate) const MAX_BLOCK: u32 = 256 << 10;
/// The longest packet content; a longer record is cut into parts.
pub(crate) const MAX_PART: usize = 128 << 10;
/// CRC-32 of the packet's content, as in the standard's `epb_hash` algorithm 2.
const CRC32: crc::Crc<u32, crc::Table<16>> = crc::Crc::<u32, crc::Table<16>>::new(&crc::CRC_32_ISO_HDLC);
const CRC32_ALGORITHM: u8 = 2;

/// Where a packet belongs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Interface {
    /// Interface 0, inbound.
    Received,
    /// Interface 0, outbound.
    Sent,
    /// Interface 1.
    Events,
}
impl Interface {
    const LINE: u32 = 0;
    const EVENTS: u32 = 1;
    /// The two link types, by interface number.
    pub(crate) const LINKTYPES: [DataLink; 2] = [DataLink::USER0, DataLink::USER1];

    const fn id(self) -> u32 {
        match self {
            Self::Received | Self::Sent => Self::LINE,
            Self::Events => Self::EVENTS,
        }
    }
    /// The direction bits of `epb_flags`.
    const fn flags(self) -> u32 {
        match self {
            Self::Received => 1,
            Self::Sent => 2,
            Self::Events => 0,
        }
    }
}

/// Makes blocks; remembers the section they belong to.
pub(crate) struct Blocks(PcapNgWriter<Vec<u8>>);

impl Blocks {
    /// The blocks that open a section wait in the buffer.
    pub(crate) fn open_section() -> io::Result<Self> {
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
            let mut interface = InterfaceDescriptionBlock::new(link, 0);
            interface.options = vec![
                InterfaceDescriptionOption::IfName(name.into()),
                InterfaceDescriptionOption::IfDescription(description.into()),
                InterfaceDescriptionOption::IfTsResol(InterfaceTsResolution::MICRO),
            ];
            writer.write_pcapng_block(interface).map_err(io::Error::other)?;
        }
        Ok(Self(writer))
    }

    /// Adds a packet to the buffer.
    pub(crate) fn packet(&mut self, at: Instant, on: Interface, data: &[u8], words: &str) -> io::Result<()> {
        let mut hash = [CRC32_ALGORITHM, 0, 0, 0, 0];
        hash[1..].copy_from_slice(&CRC32.checksum(data).to_le_bytes());
        let mut options = Vec::with_capacity(3);
        if on != Interface::Events {
            options.push(EnhancedPacketOption::Flags(on.flags()));
        }
        options.push(EnhancedPacketOption::Hash(Cow::Borrowed(&hash)));
        options.push(EnhancedPacketOption::Common(CommonOption::Comment(words.into())));
        let packet = EnhancedPacketBlock {
            interface_id: on.id(),
            timestamp: Duration::from_micros(at.as_micros()),
            original_len: data.len() as u32,
            data: data.into(),
            options,
        };
        self.0.write_block(&packet.into_block()).map_err(io::Error::other)?;
        Ok(())
    }

    /// The blocks made since the last time; the buffer is empty afterwards.
    pub(crate) fn buffer(&mut self) -> &mut Vec<u8> {
        self.0.get_mut()
    }
}

/// What a packet of ours says about itself.
pub(crate) fn inspect(packet: &EnhancedPacketBlock<'_>) -> Result<(Interface, Instant), Fault> {
    let (mut direction, mut sum) = (0, None);
    for option in &packet.options {
        match option {
            EnhancedPacketOption::Flags(flags) => direction = flags & 3,
            EnhancedPacketOption::Hash(h) if h.first() == Some(&CRC32_ALGORITHM) => sum = h.get(1..5),
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
    let on = match (packet.interface_id, direction) {
        (Interface::LINE, 1) => Interface::Received,
        (Interface::LINE, 2) => Interface::Sent,
        (Interface::LINE, _) => return Err(Fault::Malformed("bytes of the line without a direction")),
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
    Malformed(&'static str),
}

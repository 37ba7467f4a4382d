//! The input log: the bytes as they are; packets whose checks are sound whatever they say; records written and read back.
use crate::dice::Dice;
use plumeline_base::{
    Instant,
    input::{AbortCause, Answer, Input, LineId, LinkDown, OperatorAct},
};
use plumeline_trace::{FORMAT, LogReader, LogRecord, LogWriter, Logged, TRACE_FILE, fake::FakeDisk};
use sha2::{Digest as _, Sha256};
use std::{sync::OnceLock, time::Duration};

const CRC32: crc::Crc<u32> = crc::Crc::<u32>::new(&crc::CRC_32_ISO_HDLC);

/// A log.
pub fn trace(data: &[u8]) {
    let mut dice = Dice::new(data);
    match dice.byte() % 3 {
        0 => {
            read(dice.bytes(usize::MAX));
        }
        1 => sound_packets(dice),
        _ => written(dice),
    }
}

/// Reads to the first error. Every citation holds, time never runs backward, and the first record of all is a `tool`.
fn read(bytes: &[u8]) -> (Vec<LogRecord>, bool) {
    let mut reader = LogReader::new(bytes);
    let (mut records, mut last, mut end) = (Vec::new(), Instant::START, 0);
    let mut failed = false;
    for entry in &mut reader {
        let Ok(entry) = entry else {
            failed = true;
            break;
        };
        assert!(entry.record.at >= last && entry.citation.offset > end);
        assert_eq!(entry.citation.index, records.len() as u64);
        (last, end) = (entry.record.at, entry.citation.offset);
        records.push(entry.record);
    }
    assert!(matches!(records.first(), None | Some(LogRecord { what: Logged::Input(Input::Tool { .. }), .. })));
    if let Some(end) = reader.end() {
        let cited = bytes.get(..end.offset as usize).unwrap();
        assert_eq!(end.hash.0, <[u8; 32]>::from(Sha256::digest(cited)));
    }
    (records, failed)
}

fn tool() -> LogRecord {
    LogRecord { at: Instant::START, what: Logged::Input(Input::Tool { version: "0".into(), format: FORMAT }) }
}

/// A section's opening with its `tool`.
fn opening() -> &'static [u8] {
    static OPENING: OnceLock<Vec<u8>> = OnceLock::new();
    OPENING.get_or_init(|| {
        let disk = FakeDisk::new();
        LogWriter::create(disk.clone(), TRACE_FILE).unwrap().append(&tool()).unwrap();
        disk.contents(TRACE_FILE).unwrap()
    })
}

/// Appends a packet whose checksum and chain are right.
fn packet(log: &mut Vec<u8>, interface: u32, flags: u32, at_us: u64, content: &[u8]) {
    let link = Sha256::digest(&log[..]);
    let mut body = Vec::new();
    for word in [interface, (at_us >> 32) as u32, at_us as u32, content.len() as u32, content.len() as u32] {
        body.extend(word.to_le_bytes());
    }
    body.extend(content);
    body.resize(body.len().next_multiple_of(4), 0);
    let mut option = |code: u16, value: &[u8]| {
        body.extend(code.to_le_bytes());
        body.extend((value.len() as u16).to_le_bytes());
        body.extend(value);
        body.resize(body.len().next_multiple_of(4), 0);
    };
    option(2, &flags.to_le_bytes());
    option(3, &[&[2], &CRC32.checksum(content).to_le_bytes()[..]].concat());
    option(5, &link[..8]);
    option(0, &[]);
    let length = (body.len() as u32 + 12).to_le_bytes();
    log.extend([&6u32.to_le_bytes(), &length, &body[..], &length].concat());
}

fn sound_packets(mut dice: Dice<'_>) {
    let mut log = opening().to_vec();
    let mut at = 0;
    while !dice.is_spent() && log.len() < 20_000 {
        let shape = dice.byte();
        at += u64::from(dice.byte());
        if shape >= 0xFC {
            // A new section, as a job that is taken up again begins one: its `tool` is at instant 0.
            log.extend(opening());
        }
        let content = dice.u16() % 400;
        let content = dice.bytes(content.into());
        packet(&mut log, u32::from(shape & 1), u32::from(shape >> 1 & 3), at, content);
    }
    read(&log);
}

fn text(dice: &mut Dice<'_>) -> String {
    let length = dice.byte() % 40;
    String::from_utf8_lossy(dice.bytes(length.into())).into_owned()
}

fn which(dice: &mut Dice<'_>) -> LineId {
    LineId::ALL[usize::from(dice.byte() % 2)]
}

fn record(dice: &mut Dice<'_>) -> Logged {
    Logged::Input(match dice.byte() % 11 {
        0 => Input::Wake,
        1 => Input::Date(text(dice)),
        2 => Input::LinkUp { line: which(dice), link: text(dice) },
        3 => Input::LinkDown { line: which(dice), cause: LinkDown::Unplugged, detail: text(dice) },
        4 => Input::Abort(AbortCause::Shutdown),
        5 => Input::Operator(OperatorAct::new(dice.u32(), Answer::Text(text(dice)))),
        6 => Input::Operator(OperatorAct::new(dice.u32(), Answer::Number(dice.number()))),
        7 => Input::File { name: text(dice), bytes: dice.bytes(300).to_vec() },
        8 => {
            // Now and then so large that it comes in parts.
            let length = usize::from(dice.byte());
            Input::File { name: "x".into(), bytes: vec![dice.byte(); if length < 253 { length } else { length << 10 }] }
        }
        9 => {
            let length = dice.u16() % 1200;
            return Logged::Sent(which(dice), dice.bytes(length.into()).to_vec());
        }
        _ => Input::Received(which(dice), dice.bytes(200).to_vec()),
    })
}

/// What is written comes back; after a bit was flipped, what comes back is a true beginning of it.
fn written(mut dice: Dice<'_>) {
    let disk = FakeDisk::new();
    let mut writer = LogWriter::create(disk.clone(), TRACE_FILE).unwrap();
    let mut records = vec![tool()];
    let (flip, mut at) = (dice.u32(), Instant::START);
    while !dice.is_spent() && records.len() < 30 {
        at = at + Duration::from_micros(dice.u16().into());
        records.push(LogRecord { at, what: record(&mut dice) });
    }
    for record in &records {
        writer.append(record).unwrap();
    }
    let mut bytes = disk.contents(TRACE_FILE).unwrap();
    // NaN is not itself, and is written as its name.
    let same = |a: &[LogRecord], b: &[LogRecord]| a == b || format!("{a:?}") == format!("{b:?}");
    let (back, failed) = read(&bytes);
    assert!(!failed && same(&back, &records));
    let bit = flip as usize % (bytes.len() * 8);
    bytes[bit / 8] ^= 1 << (bit % 8);
    let (back, _) = read(&bytes);
    assert!(back.len() <= records.len());
    let sound = back.len().saturating_sub(1);
    assert!(same(&back[..sound], &records[..sound]));
}

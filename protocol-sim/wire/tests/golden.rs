//! Golden bytes from outside: published vectors and examples, and what an independent encoder made.
#![allow(clippy::unwrap_used, reason = "helpers of tests may panic")]
mod common;
use common::{decode_pieces, from_hex, on_the_line, samples};
use plumewire::{Fault, Message, cobs, crc32c, image, strict};

/// RFC 3720 appendix B.4; the text gives the CRC as bytes in transmission order, which is little-endian.
#[test]
fn crc_vectors_of_rfc_3720() {
    let ascending: Vec<u8> = (0..32).collect();
    let descending: Vec<u8> = (0..32).rev().collect();
    let read_10_command = from_hex(concat!(
        "01c00000000000000000000000000000",
        "14000000000004000000001400000018",
        "28000000000000000200000000000000"
    ));
    for (data, on_the_wire) in [
        (vec![0; 32], "aa36918a"),
        (vec![0xFF; 32], "43aba862"),
        (ascending, "4e79dd46"),
        (descending, "5cdb3f11"),
        (read_10_command, "563a96d9"),
    ] {
        assert_eq!(crc32c(&data).to_le_bytes().to_vec(), from_hex(on_the_wire));
    }
    // The check value of the CRC catalogues.
    assert_eq!(crc32c(b"123456789"), 0xE306_9283);
}

fn stuff(plain: &[u8]) -> Vec<u8> {
    let mut out = vec![0; cobs::max_stuffed(plain.len())];
    let mut stuffer = cobs::Stuffer::new(&mut out);
    stuffer.push(plain);
    let len = stuffer.finish().unwrap();
    out.truncate(len);
    out
}
fn unstuff(stuffed: &[u8]) -> Vec<u8> {
    let (plain, whole) = common::unstuff(stuffed);
    assert!(whole);
    plain
}

/// The packet worked through in Cheshire & Baker 1999 (figures 2 and 3, from memory), and their rule for a run of 254
/// bytes: one code 0xFF and no zero implied.
#[test]
fn stuffing_of_the_paper() {
    let plain = from_hex("4500002c4c79000040064f37");
    let stuffed = from_hex("024501042c4c79010540064f37");
    assert_eq!(stuff(&plain), stuffed);
    assert_eq!(unstuff(&stuffed), plain);

    let run = vec![0x5A; 254];
    let stuffed = [vec![0xFF], run.clone()].concat();
    assert_eq!(stuff(&run), stuffed);
    // An encoder after the paper's own listing ends such a frame with an empty block: the same bytes.
    assert_eq!(unstuff(&[stuffed, vec![0x01]].concat()), run);
}

/// Made by the Python package `cobs` (scripts/wire/make_golden.py).
#[test]
fn stuffing_of_an_independent_encoder() {
    let cases = include_str!("data/stuffed.txt");
    assert!(cases.lines().count() > 20);
    for line in cases.lines() {
        let (plain, stuffed) = line.split_once(' ').unwrap();
        assert_eq!(stuff(&from_hex(plain)), from_hex(stuffed), "{plain}");
        assert_eq!(unstuff(&from_hex(stuffed)), from_hex(plain));
    }
}

/// Whole frames made by cbor2, crccheck and cobs (scripts/wire/make_golden.py): the same bytes from here, and read
/// back as the same message.
#[test]
fn frames_of_an_independent_encoder() {
    let lines: Vec<_> = include_str!("data/frames.txt").lines().collect();
    let samples = samples();
    assert_eq!(lines.len(), samples.len());
    for (line, (rule, message)) in lines.iter().zip(&samples) {
        let [name, conversation, sequence, wire] = line.split(' ').collect::<Vec<_>>()[..] else { panic!("{line}") };
        let conversation = u32::from_str_radix(conversation.trim_start_matches("0x"), 16).unwrap();
        let (sequence, wire) = (sequence.parse().unwrap(), from_hex(wire));
        assert_eq!(name, *rule);
        assert_eq!(on_the_line(message, conversation, sequence), wire, "{rule}");
        let (found, counters) = decode_pieces([&wire[..]]);
        let (header, payload) = found[0].as_ref().unwrap();
        assert_eq!((header.conversation, header.sequence), (conversation, sequence));
        let frame = plumewire::Frame { header: *header, payload };
        assert_eq!(Message::decode(&frame).as_ref(), Ok(message), "{rule}");
        assert_eq!((counters.frames, counters.discarded()), (1, 0));
    }
}

/// RFC 8949 appendix A: each example of the table that concerns the strict reader, and what it makes of it.
#[test]
fn examples_of_rfc_8949() {
    let accepted = [
        "00",
        "01",
        "0a",
        "17",
        "1818",
        "1819",
        "1864",
        "1903e8",
        "1a000f4240",
        "1b000000e8d4a51000",
        "1bffffffffffffffff",
        "3bffffffffffffffff",
        "20",
        "29",
        "3863",
        "3903e7",
        "f4",
        "f5",
        "f6",
        "40",
        "4401020304",
        "60",
        "6161",
        "6449455446",
        "62225c",
        "62c3bc",
        "63e6b0b4",
        "64f0908591",
        "80",
        "83010203",
        "8301820203820405",
        "98190102030405060708090a0b0c0d0e0f101112131415161718181819",
        "a0",
        "a201020304",
        "a26161016162820203",
        "826161a161626163",
        "a56161614161626142616361436164614461656145",
    ];
    for hex in accepted {
        assert_eq!(strict::check(&from_hex(hex), strict::Tags::Refused), Ok(()), "{hex}");
    }
    let refused = [
        // Floats of all sizes, infinities and NaN among them.
        ("f90000", Fault::Float),
        ("f93c00", Fault::Float),
        ("fb3ff199999999999a", Fault::Float),
        ("fa47c35000", Fault::Float),
        ("f97c00", Fault::Float),
        ("f97e00", Fault::Float),
        ("fb7ff0000000000000", Fault::Float),
        // Simple values.
        ("f7", Fault::Simple),
        ("f0", Fault::Simple),
        ("f8ff", Fault::Simple),
        // Tags: bignum, date, epoch, encoded item, address.
        ("c249010000000000000000", Fault::Tag),
        ("c074323031332d30332d32315432303a30343a30305a", Fault::Tag),
        ("c11a514b67b0", Fault::Tag),
        ("d818456449455446", Fault::Tag),
        ("d82076687474703a2f2f7777772e6578616d706c652e636f6d", Fault::Tag),
        // Indefinite lengths.
        ("5f42010243030405ff", Fault::Indefinite),
        ("7f657374726561646d696e67ff", Fault::Indefinite),
        ("9fff", Fault::Indefinite),
        ("9f018202039f0405ffff", Fault::Indefinite),
        ("83018202039f0405ff", Fault::Indefinite),
        ("bf61610161629f0203ffff", Fault::Indefinite),
        ("bf6346756ef563416d7421ff", Fault::Indefinite),
    ];
    for (hex, fault) in refused {
        let found = strict::check(&from_hex(hex), strict::Tags::Refused).unwrap_err().fault;
        assert_eq!(found, fault, "{hex}");
    }
}

/// Ill-formed and non-deterministic items: RFC 8949 appendix F (from memory) and section 4.2.1.
#[test]
fn what_is_not_strict_is_refused_with_its_place() {
    for (hex, at, fault) in [
        ("", 0, Fault::Truncated),
        ("18", 1, Fault::Truncated),
        ("1817", 0, Fault::NotShortest),
        ("190018", 0, Fault::NotShortest),
        ("1a0000ffff", 0, Fault::NotShortest),
        ("1b00000000ffffffff", 0, Fault::NotShortest),
        ("3817", 0, Fault::NotShortest),
        ("580161", 0, Fault::NotShortest),
        ("1c", 0, Fault::Reserved),
        ("fc", 0, Fault::Reserved),
        ("ff", 0, Fault::Indefinite),
        ("0000", 1, Fault::Trailing),
        ("a2010002", 4, Fault::Truncated),
        ("a201000100", 3, Fault::KeyRepeated),
        ("a202000100", 3, Fault::KeyOrder),
        ("a220000000", 3, Fault::KeyOrder),
        ("a1010261", 3, Fault::Trailing),
        ("61ff", 0, Fault::Utf8),
        ("9b7fffffffffffffff", 9, Fault::Truncated),
        ("bb7fffffffffffffff", 9, Fault::Truncated),
        ("5b7fffffffffffffff", 9, Fault::Truncated),
        ("8181818181818181818100", 9, Fault::TooDeep),
    ] {
        let found = strict::check(&from_hex(hex), strict::Tags::Refused).unwrap_err();
        assert_eq!((found.at, found.fault), (at, fault), "{hex}");
    }
}

/// Made by cbor2 (scripts/wire/make_golden.py).
#[test]
fn image_of_an_independent_encoder() {
    let bytes = include_bytes!("data/image.bin");
    let items: Vec<_> = image::Items::new(bytes).unwrap().collect::<Result<_, _>>().unwrap();
    let texts: Vec<String> = items
        .iter()
        .map(|i| {
            let value = match i.value {
                image::Value::Switch(on) => format!("{on}"),
                image::Value::Number(n) => format!("{n}"),
                image::Value::Text(t) => format!("'{t}'"),
                image::Value::Bytes(b) => format!("{b:?}"),
            };
            format!("{} = {value} {}", i.key, i.unit.unwrap_or("-"))
        })
        .collect();
    assert_eq!(
        texts,
        [
            "alarm.1.delay = 10 s",
            "alarm.1.threshold = 0.25 %/m",
            "clock.drift = -1.250001 s/d",
            "fan.setting = 6 -",
            "inlet.1.flow-low = -20 %",
            "inlet.1.in-use = true -",
            "inlet.2.in-use = false -",
            "label = 'Cold store, nördl. Wand' -",
            "output.3.function = 'alarm.2' -",
            "x-maker.blob = [0, 1, 254] -",
        ]
    );
    let mut out = [0; 300];
    let mut writer = image::ImageWriter::new(&mut out, items.len() as u32).unwrap();
    for item in &items {
        writer.item(item).unwrap();
    }
    let len = writer.finish().unwrap();
    assert_eq!(&out[..len], bytes);
}

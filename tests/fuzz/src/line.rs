//! Frames and payloads.
use crate::dice::Dice;
use plumewire::{Decoder, Discard, Frame, Header, Kind, MAX_WIRE, Message, VERSION, image};

type Found = Result<(Header, Vec<u8>), Discard>;

fn feed(decoder: &mut Decoder, mut bytes: &[u8], found: &mut Vec<Found>) {
    while let Some(next) = decoder.next_frame(&mut bytes) {
        found.push(next.map(|f| (f.header, f.payload.to_vec())));
    }
    assert!(bytes.is_empty());
}

/// Bytes of a line in one piece and in many: the same frames. A sound frame after whatever it was is found, and what was
/// accepted is written and read again as it was.
pub fn frames(data: &[u8]) {
    let (pieces, line) = data.split_at(data.len().min(2));
    let step = usize::from(pieces.first().copied().unwrap_or(0)) + 1;
    let growth = usize::from(pieces.get(1).copied().unwrap_or(0) % 7);
    let header =
        Header { version: VERSION, kind: Kind::Report, operation: 0x10, conversation: 0x00FF_0100, sequence: 7 };
    let sound = Frame { header, payload: &[0xA0, 0, 1, 0] };
    let mut wire = [0; MAX_WIRE];
    let len = sound.write(&mut wire).unwrap();

    let (mut whole, mut in_pieces) = (Vec::new(), Vec::new());
    let mut decoder = Decoder::new();
    feed(&mut decoder, line, &mut whole);
    feed(&mut decoder, &wire[..len], &mut whole);
    let counters = *decoder.counters();
    assert!(!decoder.in_frame());
    assert_eq!(counters.frames + counters.discarded(), whole.len() as u64);
    assert_eq!(whole.last(), Some(&Ok((header, sound.payload.to_vec()))));

    let mut other = Decoder::new();
    let (mut rest, mut size) = (line, step);
    while !rest.is_empty() {
        let (piece, more) = rest.split_at(size.min(rest.len()));
        feed(&mut other, piece, &mut in_pieces);
        (rest, size) = (more, (size + growth) % 300 + 1);
    }
    feed(&mut other, &wire[..len], &mut in_pieces);
    assert_eq!(whole, in_pieces);
    assert_eq!(counters, *other.counters());

    for (header, payload) in whole.into_iter().flatten() {
        let frame = Frame { header, payload: &payload };
        let len = frame.write(&mut wire).unwrap();
        let mut bytes = &wire[..len];
        let again = Decoder::new().next_frame(&mut bytes).map(|f| f.map(|f| (f.header, f.payload.to_vec())));
        assert_eq!(again, Some(Ok((header, payload.clone()))));
        decoded(&frame);
    }
}

/// A payload of every kind of frame and operation, or a settings image. What is accepted is written and read again as it was.
pub fn payloads(data: &[u8]) {
    let mut dice = Dice::new(data);
    let kind = match dice.byte() % 5 {
        0 => Kind::Request,
        1 => Kind::Reply,
        2 => Kind::Refusal,
        3 => Kind::Report,
        _ => return settings_image(dice.bytes(usize::MAX)),
    };
    let header = Header { version: VERSION, kind, operation: dice.byte(), conversation: 1, sequence: 2 };
    let payload = dice.bytes(plumewire::MAX_PAYLOAD);
    decoded(&Frame { header, payload });
}

fn decoded(frame: &Frame<'_>) {
    let Ok(message) = Message::decode(frame) else { return };
    assert_eq!(message.kind(), frame.header.kind);
    let mut wire = [0; MAX_WIRE];
    let len = message.write(1, 2, &mut wire).unwrap();
    let (mut decoder, mut bytes) = (Decoder::new(), &wire[..len]);
    let again = decoder.next_frame(&mut bytes).unwrap().unwrap();
    assert_eq!(Message::decode(&again), Ok(message));
    // Unknown keys are dropped; nothing is added.
    assert!(again.payload.len() <= frame.payload.len());
    if again.payload.len() == frame.payload.len() {
        assert_eq!(again.payload, frame.payload, "two encodings of one message");
    }
}

fn settings_image(bytes: &[u8]) {
    let Ok(items) = image::Items::new(bytes) else { return };
    let Ok(items) = items.collect::<Result<Vec<_>, _>>() else { return };
    let mut out = vec![0; bytes.len()];
    let mut writer = image::ImageWriter::new(&mut out, items.len() as u32).unwrap();
    for item in &items {
        writer.item(item).unwrap();
    }
    assert_eq!(writer.finish().unwrap(), bytes.len());
    assert_eq!(out, bytes, "two images of one set of settings");
}

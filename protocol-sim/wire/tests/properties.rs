//! Properties of the codec: round trip, any split, resynchronisation, no panic on any bytes.
#![allow(clippy::unwrap_used, reason = "helpers of tests may panic")]
mod common;
use common::{decode_pieces, on_the_line, samples, unstuffed};
use plumewire::*;
use proptest::prelude::*;

/// Any frame, of any operation and payload.
fn any_frame() -> impl Strategy<Value = (Header, Vec<u8>)> {
    let kind = prop_oneof![Just(Kind::Request), Just(Kind::Reply), Just(Kind::Refusal), Just(Kind::Report)];
    // Zeros and long runs without zeros are what stuffing is about.
    let byte = prop_oneof![2 => Just(0u8), 1 => Just(0xFF), 5 => any::<u8>()];
    let payload = prop_oneof![
        4 => prop::collection::vec(byte, 0..64),
        1 => prop::collection::vec(1..=255u8, 240..=MAX_PAYLOAD),
        1 => prop::collection::vec(any::<u8>(), 900..=MAX_PAYLOAD),
    ];
    (kind, any::<u8>(), any::<u32>(), any::<u32>(), payload).prop_map(|(kind, operation, conversation, sequence, p)| {
        (Header { version: VERSION, kind, operation, conversation, sequence }, p)
    })
}
fn wire((header, payload): &(Header, Vec<u8>)) -> Vec<u8> {
    let mut out = [0; MAX_WIRE];
    let len = Frame { header: *header, payload }.write(&mut out).unwrap();
    assert!(!out[1..len - 1].contains(&0));
    out[..len].to_vec()
}
/// The stream cut at the given places.
fn cut<'a>(stream: &'a [u8], places: &[prop::sample::Index]) -> Vec<&'a [u8]> {
    let mut at: Vec<usize> = places.iter().map(|i| i.index(stream.len() + 1)).collect();
    at.sort_unstable();
    at.push(stream.len());
    let mut start = 0;
    at.into_iter()
        .map(|end| {
            let piece = &stream[start..end];
            start = end;
            piece
        })
        .collect()
}

proptest! {
    #[test]
    fn frames_survive_any_split_of_the_stream(
        frames in prop::collection::vec(any_frame(), 1..5),
        places in prop::collection::vec(any::<prop::sample::Index>(), 0..12),
    ) {
        let stream: Vec<u8> = frames.iter().flat_map(wire).collect();
        let (found, counters) = decode_pieces(cut(&stream, &places));
        prop_assert_eq!(found, frames.iter().cloned().map(Ok).collect::<Vec<_>>());
        prop_assert_eq!((counters.frames, counters.discarded()), (frames.len() as u64, 0));
    }

    #[test]
    fn a_frame_after_garbage_is_whole(
        garbage in prop::collection::vec(any::<u8>(), 0..3000),
        frame in any_frame(),
        places in prop::collection::vec(any::<prop::sample::Index>(), 0..6),
    ) {
        let stream = [garbage, wire(&frame)].concat();
        let (found, _) = decode_pieces(cut(&stream, &places));
        prop_assert_eq!(found.last(), Some(&Ok(frame)));
    }

    #[test]
    fn a_start_in_mid_frame_costs_that_frame_only(
        first in any_frame(), second in any_frame(), place in any::<prop::sample::Index>(),
    ) {
        let stream = [wire(&first), wire(&second)].concat();
        let start = place.index(wire(&first).len() - 2) + 2;
        let (found, counters) = decode_pieces([&stream[start..]]);
        prop_assert_eq!(found.last(), Some(&Ok(second)));
        prop_assert_eq!(counters.frames, 1);
        prop_assert!(counters.discarded() <= 1);
    }

    #[test]
    fn nothing_panics_on_any_bytes(bytes in prop::collection::vec(any::<u8>(), 0..2500), op in any::<u8>()) {
        let (found, counters) = decode_pieces([&bytes[..]]);
        prop_assert_eq!(counters.frames + counters.discarded(), found.len() as u64);
        let _ = Frame::parse(&bytes);
        let _ = Request::decode(op, &bytes);
        let _ = Reply::decode(op, &bytes);
        let _ = Report::decode(op, &bytes);
        let _ = strict::check(&bytes, strict::Tags::DecimalOnly);
        if let Ok(items) = image::Items::new(&bytes) {
            let _ = items.count();
        }
    }

    /// Sound payloads with bytes changed: the reader refuses them or reads what encodes to exactly those bytes
    /// (unknown keys set aside), and never panics.
    #[test]
    fn a_changed_payload_is_refused_or_read_exactly(
        which in any::<prop::sample::Index>(),
        changes in prop::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 1..4),
    ) {
        let all = samples();
        let frame = unstuffed(&on_the_line(&which.get(&all).1, 1, 1));
        let sound = Frame::parse(&frame).unwrap();
        let mut payload = sound.payload.to_vec();
        for (place, byte) in changes {
            let at = place.index(payload.len());
            payload[at] = byte;
        }
        let changed = Frame { header: sound.header, payload: &payload };
        if let Ok(message) = Message::decode(&changed) {
            let again = on_the_line(&message, 1, 1);
            let again = unstuffed(&again);
            let reread = Frame::parse(&again).unwrap();
            prop_assert!(reread.payload.len() <= payload.len());
            prop_assert_eq!(Message::decode(&reread), Ok(message));
        }
    }

    #[test]
    fn decimals_come_back_as_written(mantissa in any::<i64>(), places in 0u8..=18) {
        let n = image::Decimal::new(mantissa, places).unwrap();
        prop_assert_eq!(image::Decimal::parse(&n.to_string()), Some(n));
        let expected: f64 = n.to_string().parse().unwrap();
        if n.mantissa().unsigned_abs() < 1 << 53 {
            prop_assert_eq!(n.to_f64(), expected);
        }
    }
}

#[test]
fn after_an_over_long_frame_everything_up_to_the_delimiter_goes() {
    let good = on_the_line(&samples()[1].1, 7, 8);
    // The tail of the over-long frame is itself a sound frame, less its leading delimiter: it must not come out.
    for excess in [MAX_FRAME + 1, MAX_FRAME + 2, 3 * MAX_FRAME] {
        let stream = [vec![0x01; excess + 1], good[1..].to_vec(), good.clone()].concat();
        for piece in [1, 2, 3, 100, 1024, 1025, stream.len()] {
            let (found, counters) = decode_pieces(stream.chunks(piece));
            assert_eq!(found.len(), 2, "in pieces of {piece}");
            assert_eq!(found[0], Err(Discard::Overlong));
            assert!(found[1].is_ok());
            assert_eq!((counters.overlong, counters.frames), (1, 1));
        }
    }
}

#[test]
fn the_longest_frame_fits_and_one_byte_more_does_not() {
    let header = Header { version: VERSION, kind: Kind::Reply, operation: 0x21, conversation: !0, sequence: !0 };
    let payload = [0xAA; MAX_PAYLOAD + 1];
    let mut out = [0; MAX_WIRE];
    let len = Frame { header, payload: &payload[1..] }.write(&mut out).unwrap();
    assert_eq!(unstuffed(&out[..len]).len(), MAX_FRAME);
    assert_eq!(decode_pieces([&out[..len]]).1.frames, 1);
    assert_eq!(Frame { header, payload: &payload }.write(&mut out), Err(EncodeError::TooLong));
    for short in 0..len {
        assert_eq!(Frame { header, payload: &payload[1..] }.write(&mut out[..short]), Err(EncodeError::TooLong));
    }
}

#[test]
fn each_discard_is_counted_by_its_kind() {
    let frame = on_the_line(&samples()[0].1, 0, 1);
    let plain = unstuffed(&frame);
    let rebuild = |change: &dyn Fn(&mut Vec<u8>)| {
        let mut body = plain[..plain.len() - 4].to_vec();
        change(&mut body);
        let check = crc32c(&body).to_le_bytes();
        let mut out = [0; MAX_WIRE];
        let mut stuffer = cobs::Stuffer::new(&mut out);
        stuffer.push(&body);
        stuffer.push(&check);
        let len = stuffer.finish().unwrap();
        [&[0], &out[..len], &[0]].concat()
    };
    let damaged = {
        let mut damaged = frame.clone();
        *damaged.iter_mut().rev().nth(1).unwrap() ^= 1;
        damaged
    };
    let stream = [
        damaged,
        rebuild(&|b| b[0] = 2),
        rebuild(&|b| b[1] = 9),
        rebuild(&|b| b.truncate(5)),
        vec![0, 9, 1, 1, 0],
        vec![0, 1, 0],
        vec![7; 2000],
        rebuild(&|_| ()),
    ]
    .concat();
    let (found, counters) = decode_pieces([&stream[..]]);
    let discards: Vec<_> = found.iter().filter_map(|f| f.as_ref().err().copied()).collect();
    use Discard::*;
    assert_eq!(discards, [Check, Version(2), Kind(9), Short, Stuffing, Short, Overlong]);
    let expected = Counters { frames: 1, overlong: 1, stuffing: 1, short: 2, check: 1, version: 1, kind: 1 };
    assert_eq!(counters, expected);
}

#[test]
fn unknown_keys_are_skipped_and_the_rest_is_strict() {
    let hex = common::from_hex;
    let lease = |payload: &str| match Reply::decode(Operation::Inhibit as u8, &hex(payload)) {
        Ok(Reply::Inhibit(lease)) => Ok((lease.lease, lease.seconds)),
        Ok(other) => panic!("{other:?}"),
        Err(e) => Err((e.at, e.fault)),
    };
    assert_eq!(lease("a2000901181e"), Ok((9, 30)));
    // A later key, a maker's own negative key, with whatever they hold.
    assert_eq!(lease("a4000901181e1863a16178f620820102"), Ok((9, 30)));
    assert_eq!(lease("a10009"), Err((3, Fault::Missing(1))));
    assert_eq!(lease("a20009011a00010000"), Err((4, Fault::Range)));
    assert_eq!(lease("a200090120"), Err((4, Fault::Type)));
    assert_eq!(lease("a20009016130"), Err((4, Fault::Type)));
    assert_eq!(lease("a200090161f6"), Err((4, Fault::Utf8)));
    assert_eq!(lease("a3000901181e616101"), Err((6, Fault::KeyType)));
    assert_eq!(lease("a3000901181e02fb3ff0000000000000"), Err((7, Fault::Float)));
    assert_eq!(lease("a3000901181e02a201000100"), Err((10, Fault::KeyRepeated)));
    assert_eq!(lease("8209181e"), Err((0, Fault::Type)));
    assert_eq!(lease("a201181e0009"), Err((4, Fault::KeyOrder)));
    let unknown = Request::decode(0x7F, &hex("a0")).unwrap_err();
    assert_eq!(unknown.fault, Fault::Operation(0x7F));
}

#[test]
fn a_full_log_page_and_the_longest_hello_fit() {
    let text = "x".repeat(MAX_TEXT);
    let entry = LogEntry { position: !0, boot_id: !0, at_us: !0, code: !0, text: &text };
    let page = LogPage { oldest: !0, next: !0, entries: List::from_slice(&[entry; MAX_LOG_ENTRIES]).unwrap() };
    let mut out = [0; MAX_WIRE];
    assert!(Message::Reply(Reply::LogRead(page)).write(!0, !0, &mut out).is_ok());
    assert!(List::<LogEntry<'_>, MAX_LOG_ENTRIES>::from_slice(&[entry; MAX_LOG_ENTRIES + 1]).is_none());
    let long = "x".repeat(MAX_TEXT + 1);
    let refusal = Refusal { code: RefusalCode::Internal, reason: &long };
    assert_eq!(Message::Refusal(1, refusal).write(1, 1, &mut out), Err(EncodeError::Text));
    let reason = clip(&long);
    assert!(Message::Refusal(1, Refusal { reason, ..refusal }).write(1, 1, &mut out).is_ok());
}

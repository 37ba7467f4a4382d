//! At most once: each way in which a request can come again.
#![allow(clippy::unwrap_used, reason = "helpers of tests may panic")]
mod common;
use common::{on_the_line, unstuffed};
use plumewire::*;

type Device = AtMostOnce<[u8; MAX_WIRE]>;

fn judge(device: &mut Device, request: Request<'_>, conversation: u32, sequence: u32) -> String {
    let plain = unstuffed(&on_the_line(&Message::Request(request), conversation, sequence));
    match device.judge(&Frame::parse(&plain).unwrap()) {
        Judgement::New => "new".into(),
        Judgement::Pending => "pending".into(),
        Judgement::Ignore => "ignore".into(),
        Judgement::Repeat(bytes) => format!("repeat {}", String::from_utf8_lossy(bytes)),
        Judgement::Refuse(refusal) => format!("{:?}", refusal.code),
    }
}
fn hello(token: u32) -> Request<'static> {
    Request::Hello(HelloRequest { version_min: 1, version_max: 1, token })
}
fn drive(output: u8) -> Request<'static> {
    Request::Drive(Drive { output, seconds: 5 })
}

#[test]
fn a_repeat_gets_the_same_answer_and_a_stale_one_is_refused() {
    let mut d = Device::new([0; MAX_WIRE]);
    assert_eq!(judge(&mut d, drive(1), 0, 1), "Conversation");
    assert_eq!(judge(&mut d, hello(5), 0, 1), "new");
    d.open(77);
    d.answered(b"hello");
    assert_eq!(judge(&mut d, hello(5), 0, 1), "repeat hello");
    assert_eq!(judge(&mut d, drive(1), 76, 1), "Conversation");
    assert_eq!(judge(&mut d, drive(1), 77, 1), "new");
    assert_eq!(judge(&mut d, drive(1), 77, 1), "pending");
    d.answered(b"driven");
    assert_eq!(judge(&mut d, drive(1), 77, 1), "repeat driven");
    assert_eq!(judge(&mut d, drive(2), 77, 1), "Reused");
    assert_eq!(judge(&mut d, drive(2), 77, 9), "new");
    d.answered(b"driven too");
    assert_eq!(judge(&mut d, drive(1), 77, 1), "Stale");
    assert_eq!(judge(&mut d, drive(1), 77, 8), "Stale");
    // A refusal changes nothing: the last answer is still there.
    assert_eq!(judge(&mut d, drive(2), 77, 9), "repeat driven too");
}

#[test]
fn a_late_copy_of_the_hello_does_not_end_the_conversation() {
    let mut d = Device::new([0; MAX_WIRE]);
    assert_eq!(judge(&mut d, hello(5), 0, 1), "new");
    d.open(77);
    d.answered(b"hello");
    assert_eq!(judge(&mut d, drive(1), 77, 1), "new");
    d.answered(b"driven");
    assert_eq!(judge(&mut d, hello(5), 0, 1), "Stale");
    assert_eq!(d.conversation(), Some(77));
    assert_eq!(judge(&mut d, drive(1), 77, 1), "repeat driven");
    // A new token opens a new conversation and ends the old one.
    assert_eq!(judge(&mut d, hello(6), 0, 1), "new");
    d.open(78);
    d.answered(b"hello again");
    assert_eq!(judge(&mut d, drive(1), 77, 2), "Conversation");
    assert_eq!(judge(&mut d, drive(1), 78, 1), "new");
}

#[test]
fn an_answer_too_long_for_the_buffer_is_not_sent_cut() {
    let mut d = AtMostOnce::new([0; 4]);
    let plain = unstuffed(&on_the_line(&Message::Request(hello(1)), 0, 1));
    let frame = Frame::parse(&plain).unwrap();
    assert_eq!(d.judge(&frame), Judgement::New);
    d.answered(b"12345");
    assert_eq!(d.judge(&frame), Judgement::Pending);
}

#[test]
fn frames_that_are_no_request_are_ignored() {
    let mut d = Device::new([0; MAX_WIRE]);
    let plain = unstuffed(&on_the_line(&Message::Reply(Reply::Undrive(Nothing {})), 0, 1));
    assert_eq!(d.judge(&Frame::parse(&plain).unwrap()), Judgement::Ignore);
}

proptest::proptest! {
    /// A line that delays, doubles and swaps at will: every request that the tool made has its effect at most once, in
    /// the order in which they were made, and every answer to a sequence is the same.
    #[test]
    fn whatever_the_line_does_effects_come_once_and_in_order(deliveries in proptest::collection::vec(0usize..12, 0..200)) {
        let mut device = Device::new([0; MAX_WIRE]);
        assert_eq!(judge(&mut device, hello(1), 0, 0), "new");
        device.open(9);
        device.answered(b"hello");
        let mut effects = Vec::new();
        for n in deliveries {
            let sequence = n as u32 + 1;
            let said = judge(&mut device, drive(sequence as u8), 9, sequence);
            if said == "new" {
                effects.push(sequence);
                device.answered(format!("done {sequence}").as_bytes());
            } else if said != "Stale" {
                proptest::prop_assert_eq!(said, format!("repeat done {sequence}"));
            }
        }
        proptest::prop_assert!(effects.windows(2).all(|w| w[0] < w[1]), "{effects:?}");
    }
}

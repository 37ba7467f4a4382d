//! Injected faults: pure, in virtual time, and round a link.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)] // A test fails by panicking.
mod common;
use common::*;
use plumeline_base::{Instant, input::LinkDown};
use plumeline_link::{
    Injected, Link, LinkEvent, LinkSpec, Opener, RealClock,
    faults::{FaultSpec, Faults},
    serve::Server,
};
use proptest::prelude::*;
use std::time::Duration;

fn spec(text: &str) -> FaultSpec {
    FaultSpec::parse(text).unwrap()
}
/// Feeds a piece every 100 ms and collects what comes out, with its instants.
fn through(faults: &mut Faults, pieces: u64, size: usize) -> Vec<(Instant, Vec<u8>)> {
    let mut out = Vec::new();
    for i in 0..pieces {
        let now = Instant::from_micros(i * 100_000);
        out.extend(std::iter::from_fn(|| faults.take_due(now)));
        faults.feed(now, &vec![i as u8; size]);
    }
    out.extend(std::iter::from_fn(|| faults.take_due(Instant::FAR_FUTURE)));
    out
}

#[test]
fn a_text_is_read_and_written_alike() {
    let text = "drop=0.05,flip=0.01,dup=0.5,split=1,delay=0.02s,jitter=1.5s,cut=120s+5s,cut=1s+0.2s,unplug=60s+3s";
    assert_eq!(spec(text).to_string(), text);
    assert_eq!(spec(" flip=0 , delay=200ms,"), spec("delay=0.2s"));
    assert_eq!(spec(""), FaultSpec::default());
}

#[test]
fn a_bad_text_is_refused_with_the_part_that_is_wrong() {
    let cases = [
        ("flip", "`=`"),
        ("flip=2", "0 to 1"),
        ("flip=-0.1", "0 to 1"),
        ("flip=NaN", "0 to 1"),
        ("drop=0.1,tear=1", "no fault of this name"),
        ("delay=5", "unit"),
        ("delay=-5s", "negative"),
        ("delay=1e40s", "endless"),
        ("delay=xs", "such as"),
        ("cut=120s", "start and a length"),
        ("cut=120s+5", "unit"),
    ];
    for (text, expected) in cases {
        let e = FaultSpec::parse(text).unwrap_err();
        assert!(e.to_string().contains(expected), "{text}: {e}");
        assert!(text.ends_with(&e.part) && e.remedy().starts_with("write "), "{text}: {e}");
    }
}

#[test]
fn rates_are_as_asked_for() {
    let mut faults = Faults::new(spec("drop=0.05,flip=0.01,dup=0.1,split=0.2"), 1, 0);
    let out = through(&mut faults, 20_000, 64);
    let c = faults.counts();
    // Binomial: five standard deviations on each side.
    let near = |count: u64, n: f64, p: f64| {
        let off = (count as f64 - n * p).abs();
        assert!(off < 5.0 * (n * p * (1.0 - p)).sqrt(), "{count} of {n} at {p}");
    };
    near(c.dropped, 20_000.0, 0.05);
    near(c.duplicated, (20_000 - c.dropped) as f64, 0.1);
    let sent = (20_000 - c.dropped + c.duplicated) as f64;
    near(c.split, sent, 0.2);
    near(c.flipped, sent * 64.0, 0.01);
    assert_eq!(out.len() as f64, sent + c.split as f64);
    assert!(out.is_sorted_by_key(|(at, _)| *at));
}

#[test]
fn a_flip_is_one_bit() {
    let mut faults = Faults::new(spec("flip=0.3"), 3, 0);
    for (i, (_, bytes)) in through(&mut faults, 200, 50).into_iter().enumerate() {
        assert!(bytes.iter().all(|b| (b ^ i as u8).count_ones() <= 1));
    }
    assert!(faults.counts().flipped > 2000);
}

#[test]
fn a_cut_loses_what_enters_it_and_nothing_else() {
    let mut faults = Faults::new(spec("cut=1s+0.5s,delay=1s"), 1, 0);
    let out = through(&mut faults, 30, 1);
    let lost = [10, 11, 12, 13, 14];
    let expected: Vec<_> = (0..30).filter(|i| !lost.contains(i)).collect();
    assert_eq!(out.iter().map(|(_, b)| u64::from(b[0])).collect::<Vec<_>>(), expected);
    for (at, bytes) in out {
        assert_eq!(at, Instant::from_micros(u64::from(bytes[0]) * 100_000) + Duration::from_secs(1));
    }
}

#[test]
fn one_seed_is_one_run_and_the_two_ways_differ() {
    let text = "drop=0.1,flip=0.05,dup=0.1,split=0.3,delay=10ms,jitter=300ms";
    let run = |seed, stream| through(&mut Faults::new(spec(text), seed, stream), 500, 20);
    assert_eq!(run(7, 0), run(7, 0));
    assert_ne!(run(7, 0), run(7, 1));
    assert_ne!(run(7, 0), run(8, 0));
}

proptest! {
    #[test]
    fn any_text_is_read_or_refused(text in "([a-z]{0,6}=?[0-9.e+smx-]{0,12},?){0,4}") {
        if let Ok(read) = FaultSpec::parse(&text) {
            prop_assert_eq!(spec(&read.to_string()), read);
        }
    }

    #[test]
    fn splitting_and_delaying_lose_and_reorder_nothing(
        seed: u64,
        pieces in proptest::collection::vec((0..300_000_u64, proptest::collection::vec(any::<u8>(), 1..50)), 1..50),
    ) {
        let mut faults = Faults::new(spec("split=0.5,delay=50ms,jitter=400ms"), seed, 0);
        let (mut now, mut out, mut sent, mut last) = (Instant::START, vec![], vec![], Instant::START);
        let mut take = |faults: &mut Faults, now| {
            while let Some((at, bytes)) = faults.take_due(now) {
                assert!(at <= now && at >= last);
                last = at;
                out.extend(bytes);
            }
        };
        for (step, bytes) in pieces {
            now += Duration::from_micros(step);
            faults.feed(now, &bytes);
            sent.extend(bytes);
            take(&mut faults, now);
        }
        while let Some(due) = faults.next_due() {
            take(&mut faults, due);
        }
        prop_assert_eq!(out, sent);
    }
}

fn injected(text: &str) -> Injected {
    Injected::new(spec(text), 1, RealClock::starting_at(Instant::START, 1.0))
}

#[tokio::test(start_paused = true)]
async fn a_delay_round_a_link_delays_both_ways() {
    let (near, far) = tokio::io::duplex(1000);
    let mut link = Link::over(near, "a pipe", LinkDown::Closed).with_faults(&injected("delay=3s"));
    let mut far = Link::over(far, "its end", LinkDown::Closed);
    let begin = tokio::time::Instant::now();
    link.send(b"ping");
    let (heard, back) = tokio::join!(receive(&mut link, 4), async {
        let heard = receive(&mut far, 4).await;
        let there = begin.elapsed();
        far.send(&heard);
        assert!(far.drain(Duration::from_secs(1)).await);
        there
    });
    assert_eq!(heard, b"ping");
    assert_eq!(back.as_secs(), 3);
    assert_eq!(begin.elapsed().as_secs(), 6);
}

#[tokio::test(start_paused = true)]
async fn a_cut_round_a_link_is_silence() {
    let (near, far) = tokio::io::duplex(1000);
    let mut link = Link::over(near, "a pipe", LinkDown::Closed).with_faults(&injected("cut=1s+2s"));
    let mut far = Link::over(far, "its end", LinkDown::Closed);
    let feed = async {
        for i in 0..5_u8 {
            far.send(&[i]);
            assert!(far.drain(Duration::from_millis(100)).await);
            tokio::time::sleep(Duration::from_millis(900)).await;
        }
        drop(far);
    };
    let (heard, ()) = tokio::join!(
        async {
            let mut heard = Vec::new();
            while let Some(LinkEvent::Received(bytes)) = link.next().await {
                heard.extend(bytes);
            }
            heard
        },
        feed
    );
    // Sent at 0, 0.9, 1.8, 2.7 and 3.6 s.
    assert_eq!(heard, [0, 1, 4]);
}

#[tokio::test]
async fn an_unplugged_line_goes_down_and_stays_down_for_as_long_as_asked() {
    let mut server = Server::tcp("127.0.0.1:0").await.unwrap();
    let LinkSpec::Line(line) = LinkSpec::parse(server.address()).unwrap() else { panic!() };
    let clock = RealClock::starting_at(Instant::START, 10.0);
    let opener = Opener::new(line).with_faults(Injected::new(spec("unplug=2s+5s"), 1, clock));
    let serving = async { echo(&mut server).await };
    let using = async {
        let mut link = opener.open().await.unwrap();
        link.send(b"hello");
        assert_eq!(receive(&mut link, 5).await, b"hello");
        let down = end(&mut link).await;
        assert_eq!((down.cause, clock.now() >= Instant::from_secs(2)), (LinkDown::Unplugged, true));
        let mut refused = 0;
        let mut link = loop {
            match opener.open_after(Duration::from_millis(50)).await {
                Ok(link) => break link,
                Err(down) => assert_eq!(down.cause, LinkDown::Absent),
            }
            refused += 1;
        };
        assert!(clock.now() >= Instant::from_secs(7) && refused > 1);
        link.send(b"again");
        assert_eq!(receive(&mut link, 5).await, b"again");
    };
    tokio::select! {
        down = serving => panic!("{down}"),
        () = soon(using) => {}
    }
}

//! Ties of clocks across a network, against the truth of 1,000 simulated ones: hours apart, drifting, with delays from 5 to 800 ms
//! that are as lopsided as they like.
use plumeline_base::Instant;
use plumeline_measure::{
    Error,
    clock::{Exchange, Rule},
    far_clock::FarClock,
};
use rand_chacha::{
    ChaCha8Rng,
    rand_core::{Rng, SeedableRng},
};

/// As pages are tied.
const RULE: Rule = Rule { max_drift_ppm: 500.0, max_delay_s: 2.0, resolution_s: 1e-3, reach_s: 3600.0 };

struct Dice(ChaCha8Rng);
impl Dice {
    fn unit(&mut self) -> f64 {
        (self.0.next_u64() >> 11) as f64 / (1u64 << 53) as f64
    }
    fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }
}

/// A far clock whose truth is known.
struct Far {
    offset_s: f64,
    drift: f64,
}
impl Far {
    /// What it shows at this log time, in whole steps of 0.1 ms.
    fn shows(&self, log_s: f64) -> u64 {
        let s = (log_s + self.offset_s) * (1.0 + self.drift);
        (s * 1e4).floor() as u64 * 100
    }
}

fn log(s: f64) -> Instant {
    Instant::from_micros((s * 1e6) as u64)
}

/// How the delays of a network are drawn: symmetric, slower there, slower back, now and then slow.
fn delays(dice: &mut Dice, kind: usize) -> (f64, f64) {
    let (low, high) = (0.005, 0.8);
    match kind {
        0 => {
            let d = dice.between(low, high);
            (d, d)
        }
        1 => (dice.between(low, high), low),
        2 => (low, dice.between(low, high)),
        3 => (dice.between(low, high), dice.between(low, high)),
        // Always the same, and all of it on one way.
        4 => (high, low),
        _ => {
            let slow =
                |dice: &mut Dice| if dice.unit() < 0.2 { dice.between(0.2, high) } else { dice.between(low, 0.03) };
            (slow(dice), slow(dice))
        }
    }
}

/// One network and clock, the exchanges as pages make them, and marks between and after them.
struct Case {
    clock: FarClock,
    far: Far,
    exchanges: Vec<Exchange>,
    marks: Vec<f64>,
}
fn case(seed: u64) -> Case {
    let mut dice = Dice(ChaCha8Rng::seed_from_u64(seed));
    let far = Far { offset_s: dice.between(0.0, 3600.0), drift: dice.between(-100e-6, 100e-6) };
    let mut clock = FarClock::new(RULE);
    let (mut exchanges, mut at) = (Vec::new(), dice.between(10.0, 4000.0));
    let first = at;
    for n in 0..12 + seed % 60 {
        let (there, back) = delays(&mut dice, (seed % 6) as usize);
        let held = dice.between(0.0, 0.02);
        let (got, sent) = (at + there, at + there + held);
        let e = Exchange {
            sent: log(at),
            device_received_us: far.shows(got),
            device_sent_us: far.shows(sent),
            received: log(sent + back),
        };
        assert!(!matches!(clock.push(&e), Err(Error::ClockJump { .. })), "seed {seed}: an honest clock is no jump");
        exchanges.push(e);
        at = sent + back + if n < 8 { 0.3 } else { 10.0 };
    }
    // Within the exchanges, and up to ten minutes in a radio hole behind them.
    let marks = (0..5).map(|k| if k < 2 { dice.between(first, at) } else { at + dice.between(0.0, 600.0) }).collect();
    Case { clock, far, exchanges, marks }
}

#[test]
fn marks_lie_within_what_is_stated() {
    let (mut within, mut marks, mut worst) = (0, 0, 0.0f64);
    let mut told = Vec::new();
    for seed in 0..1000 {
        let c = case(seed);
        let mut all = true;
        for t in &c.marks {
            let mapped = c.clock.map(c.far.shows(*t)).unwrap();
            let off = mapped.at.as_micros() as f64 * 1e-6 - t;
            marks += 1;
            worst = worst.max(off.abs() / mapped.u_s);
            all &= off.abs() <= 2.0 * mapped.u_s;
            told.push(format!(
                "{{\"seed\":{seed},\"device_us\":{},\"true_s\":{t:.6},\"at_us\":{},\"u_s\":{}}}",
                c.far.shows(*t),
                mapped.at.as_micros(),
                mapped.u_s
            ));
        }
        within += u32::from(all);
    }
    println!("{within} of 1000 cases wholly within two standard uncertainties, {marks} marks, worst {worst:.2} u");
    assert!(within >= 950, "{within} of 1000 cases, worst {worst}");
    assert!(marks == 5000 && worst > 0.2, "marks that are never off try nothing");
    // For the second implementation (scripts/page/second_tie.py).
    if let Ok(path) = std::env::var("PLUMELINE_TIES") {
        let exchanges: Vec<String> = (0..1000)
            .map(|seed| {
                let c = case(seed);
                let of = |e: &Exchange| {
                    format!(
                        "[{},{},{},{}]",
                        e.sent.as_micros(),
                        e.device_received_us,
                        e.device_sent_us,
                        e.received.as_micros()
                    )
                };
                format!("[{}]", c.exchanges.iter().map(of).collect::<Vec<_>>().join(","))
            })
            .collect();
        let text = format!("{{\"exchanges\":[{}],\"marks\":[{}]}}", exchanges.join(",\n"), told.join(",\n"));
        std::fs::write(path, text).unwrap();
    }
}

#[test]
fn slow_exchanges_make_a_quick_one_no_worse() {
    let far = Far { offset_s: 100.0, drift: 0.0 };
    let mut clock = FarClock::new(RULE);
    let mut exchange = |at: f64, there: f64, back: f64| {
        let got = far.shows(at + there);
        let e =
            Exchange { sent: log(at), device_received_us: got, device_sent_us: got, received: log(at + there + back) };
        clock.push(&e).unwrap();
        clock.map(far.shows(at)).unwrap()
    };
    let quick = exchange(10.0, 0.01, 0.01);
    for n in 1..6 {
        let slow = exchange(10.0 + f64::from(n), 0.79, 0.01);
        let off = slow.at.as_micros() as f64 * 1e-6 - (10.0 + f64::from(n));
        assert!(off.abs() < 0.002 && slow.u_s < quick.u_s + 0.003, "{n}: {off} ± {}", slow.u_s);
    }
}

#[test]
fn a_clock_that_stood_still_maps_nothing_of_before() {
    let mut clock = FarClock::new(RULE);
    let e = |at: f64, far_s: f64| {
        let us = (far_s * 1e6) as u64;
        Exchange { sent: log(at), device_received_us: us, device_sent_us: us, received: log(at + 0.02) }
    };
    clock.push(&e(10.0, 1.0)).unwrap();
    assert!(clock.map(1_500_000).is_ok());
    // A phone that slept for a minute: its clock stood still.
    assert!(matches!(clock.push(&e(80.0, 11.0)), Err(Error::ClockJump { .. })));
    assert!(matches!(clock.map(10_900_000), Err(Error::BeyondTie { .. })), "before the jump");
    let behind = clock.map(11_500_000).unwrap();
    assert!((behind.at.as_micros() as f64 * 1e-6 - 80.51).abs() < 0.02, "{behind:?}");
    assert!(matches!(clock.map(11_000_000 + 3_700_000_000), Err(Error::BeyondTie { .. })), "too far ahead");
    assert!(clock.push(&e(70.0, 1.0)).is_err(), "out of order is left out");
    assert!(clock.map(11_500_000).is_ok(), "and the tie stands");
}

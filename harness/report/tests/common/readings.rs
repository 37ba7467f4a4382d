//! Readings and journal of the invented jobs.
use super::{HOLES, PREDICTED, PREDICTED_S, S, began, hole_times, release};
use plumeline_base::{Instant, input::Answer, quantity::M3_S_PER_L_MIN};
use plumeline_detector::{Conditions, Reading, driver::Wants};
use plumeline_procedure::{
    effect::Entry,
    outcome::StageKind,
    plan::HoleRef,
    prompt::{Act, Prompt},
};
use plumeline_report::Record;

/// Noise between -1 and 1, the same every time.
struct Noise(u64);
impl Noise {
    fn next(&mut self) -> f64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 11) as f64 / (1_u64 << 52) as f64 - 1.0
    }
}

fn reading(t_ms: u64, flow: [f64; 3], extinction: f64) -> Reading {
    let flow = flow.iter().map(|v| Some(v * M3_S_PER_L_MIN)).chain([None]);
    Reading {
        received: Instant::from_micros(t_ms * 1000),
        device_us: Some(t_ms * 1000),
        missed: 0,
        flow_m3_s: flow.collect(),
        extinction_per_m: vec![Some(extinction)],
        fan_rpm: Some(3000.0),
        temperature_c: Some(21.0),
        supply_v: Some(26.9),
        supply_a: Some(0.4),
        conditions: Some(Conditions::INHIBITED),
        ..Reading::default()
    }
}

/// Readings over the whole job. `factor`: flow of each pipe over its prediction; no readings from `lost.0` to `lost.1` s.
pub(super) fn record(until: u64, factor: [f64; 3], weak: [bool; 3], lost: (u64, u64)) -> Record {
    let mut r = Record::new(2);
    r.entry(S(0), &Entry::Opened { tool: "0.1.0".into(), format: 1 });
    r.entry(S(0), &Entry::Date { date: "2031-03-04T09:02:10+01:00".into() });
    for (name, length) in [("pipework.toml", 2810), ("plan.toml", 1934), ("settings-as-found.json", 6021)] {
        let digit = name.as_bytes()[1] % 10 + b'0';
        r.entry(S(0), &Entry::File { name: name.into(), sha256: String::from_utf8(vec![digit; 64]).unwrap(), length });
    }
    r.entry(S(1), &Entry::LinkUp { line: Default::default(), link: "serial:/dev/ttyUSB0@115200".into() });
    let mut id = 0;
    for (pipe, f) in factor.iter().enumerate() {
        for number in 1..=HOLES {
            let (from, to) = hole_times(pipe, number);
            if to > until || *f < 0.9 {
                continue;
            }
            let hole = HoleRef { inlet: pipe as u8 + 1, number };
            for (at, act) in [(from, Act::CloseHole(hole)), (to, Act::OpenHole(hole))] {
                id += 1;
                let prompt = Prompt { id, act, text: "hole".into(), wants: Wants::Done, back: None };
                r.entry(S(at - 2), &Entry::Asked(prompt));
                r.entry(S(at), &Entry::Answered { prompt: id, answer: Answer::Yes, page: None });
            }
        }
    }
    let mut noise = Noise(7);
    for half in (began(StageKind::Boot) * 2)..(until * 2) {
        let t = half as f64 / 2.0;
        let second = half / 2;
        if (lost.0..lost.1).contains(&second) {
            continue;
        }
        let spin = 1.0 - 1.0 / (1.0 + ((t - began(StageKind::Boot) as f64) / 9.0).powi(3));
        let mut flow = [0.0; 3];
        for pipe in 0..3 {
            let mut share = factor[pipe] * spin;
            for hole in 1..=HOLES {
                let (from, to) = hole_times(pipe, hole);
                if (from..to).contains(&second) && factor[pipe] >= 0.9 {
                    share *= 1.0 - 0.045 - 0.006 * f64::from(hole);
                }
            }
            let shut = began(StageKind::Supervise) + 40;
            if pipe == 0 && (shut..shut + 120).contains(&second) {
                share *= 0.06;
            }
            flow[pipe] = PREDICTED[pipe] * share + 0.22 * noise.next();
        }
        let mut e = 0.00012 + 0.00006 * noise.next();
        for pipe in 0..3 {
            for run in 1..=3 {
                let since = t - release(pipe, run) as f64 - PREDICTED_S[pipe] * 0.9;
                let strength = if weak[pipe] { 0.0 } else { 0.0031 };
                if since > 0.0 && since < 60.0 {
                    e += strength * (since / 6.0).min(1.0) * (1.0 - ((since - 30.0) / 12.0).clamp(0.0, 1.0));
                }
            }
        }
        r.reading(&reading(half * 500, flow, e), plumeline_detector::vocabulary::FlowBasis::Actual);
    }
    r
}

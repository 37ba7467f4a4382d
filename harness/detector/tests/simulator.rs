//! The plumewire driver and the simulated unit, each written apart from the other, on a virtual clock.
#![allow(clippy::unwrap_used, clippy::panic, reason = "helpers of tests may panic")]
use plumeline_base::Instant;
use plumeline_detector::{
    Ask, Driver, Report, Trouble, ask, plumewire::Plumewire, settings::Value, vocabulary::FlowBasis,
};
use plumeline_simulator::{Scenario, Simulation, demo::straight_pipes, models::invented::air_path, scenario::Which};
use std::time::Duration;

struct Pair {
    now: Instant,
    driver: Plumewire,
    unit: Simulation,
    reports: Vec<Report>,
    damage: fn(&mut u64, &mut Vec<u8>),
    state: u64,
}
impl Pair {
    fn new(damage: fn(&mut u64, &mut Vec<u8>)) -> Self {
        let pipework = straight_pipes(&[8, 12], 4.0, 3e-3, air_path(Which::Replacement));
        let unit = Simulation::new(Scenario::new(pipework, 7), Instant::START).unwrap();
        let mut driver = Plumewire::new();
        driver.link_up(Instant::START);
        Self { now: Instant::START, driver, unit, reports: Vec::new(), damage, state: 0x1234_5678_9ABC_DEF1 }
    }
    fn run(&mut self, until: Instant) {
        loop {
            let mut out = Vec::new();
            while self.driver.poll_send(&mut out) {}
            if !out.is_empty() {
                (self.damage)(&mut self.state, &mut out);
                self.unit.handle_bytes(self.now, &out);
            }
            while let Some(mut bytes) = self.unit.poll_transmit() {
                (self.damage)(&mut self.state, &mut bytes);
                self.driver.receive(self.now, &bytes);
            }
            while let Some(report) = self.driver.poll_report() {
                self.reports.push(report);
            }
            let next = [self.unit.poll_timeout(), self.driver.next_timeout()].into_iter().flatten().min();
            let Some(next) = next.filter(|n| *n <= until) else {
                self.now = until;
                return;
            };
            self.now = self.now.max(next);
            self.unit.handle_timeout(self.now);
            self.driver.timeout(self.now);
        }
    }
    /// Asks until it is answered, as a patient caller would.
    fn ask<A: Ask>(&mut self, ask: A) -> A::Reply {
        for _ in 0..40 {
            let ticket = self.driver.request(self.now, ask.clone().request());
            let end = loop {
                self.run(self.now + Duration::from_millis(20));
                let ended = self.reports.iter().position(|r| matches!(r, Report::Ended(t, _) if *t == ticket));
                if let Some(Report::Ended(_, end)) = ended.map(|at| self.reports.remove(at)) {
                    break end;
                }
                assert!(self.now < Instant::from_secs(7200), "the request never ended");
            };
            match end {
                Err(Trouble::Silent | Trouble::Garbled) => {}
                Err(Trouble::Refused { code: 9, .. }) => self.run(self.now + Duration::from_secs(2)),
                end => return A::told(end.unwrap()).unwrap(),
            }
        }
        panic!("never answered: {:?}", ask.request());
    }
    fn readings(&mut self) -> (u32, u32) {
        let (mut count, mut missed) = (0, 0);
        for report in self.reports.drain(..) {
            if let Report::Reading(r) = report {
                count += 1;
                missed += r.missed;
            }
        }
        (count, missed)
    }
}
fn clean(_: &mut u64, _: &mut Vec<u8>) {}
/// One byte in a hundred changed, one piece in twenty lost.
fn bad(state: &mut u64, bytes: &mut Vec<u8>) {
    let mut next = || {
        *state ^= *state << 13;
        *state ^= *state >> 7;
        *state ^= *state << 17;
        *state
    };
    if next().is_multiple_of(20) {
        bytes.clear();
    }
    for byte in bytes {
        if next().is_multiple_of(100) {
            *byte ^= (next() % 255 + 1) as u8;
        }
    }
}

fn do_everything(mut p: Pair) -> Pair {
    let (identity, abilities) = p.ask(ask::Identify);
    assert!(!identity.serial.is_empty() && identity.boot_id.is_some());
    let reference = FlowBasis::Reference { temperature_mc: 20_000, pressure_pa: 101_325 };
    assert_eq!(abilities.flow_basis, reference, "the outgoing model's sensors are of the mass type");
    p.ask(ask::Inhibit { lease: Duration::from_secs(600) });

    let before = p.ask(ask::ReadSettings);
    let mut changed = before.clone();
    let wait = changed.items.iter_mut().find(|i| i.key == "level.1.wait").unwrap();
    wait.value = Value::Int(7);
    let written = p.ask(ask::WriteSettings { settings: changed.clone() });
    assert_eq!(written, before.revision.map(|r| r + 1));
    let after = p.ask(ask::ReadSettings);
    assert_eq!((changed.differences(&after), before.differences(&after).len()), (vec![], 1));

    let exchange = p.ask(ask::Clock);
    assert!(exchange.received > exchange.sent);
    p.ask(ask::StartReadings { hz: 5 });
    p.run(p.now + Duration::from_secs(60));
    let baseline = p.ask(ask::TakeBaseline);
    assert_eq!((baseline.flow_m3_s.len(), baseline.boot_id), (usize::from(abilities.inlets), identity.boot_id));
    p.ask(ask::RenewInhibit);
    p.ask(ask::ReleaseInhibit);
    let events = p.ask(ask::ReadEvents { from: 0 });
    assert!(events.iter().any(|e| e.text.contains("baseline")), "{events:?}");

    p.ask(ask::Restart);
    p.run(p.now + Duration::from_secs(1));
    let (again, _) = p.ask(ask::Identify);
    assert_ne!(again.boot_id, identity.boot_id);
    assert_eq!((again.serial, again.model), (identity.serial, identity.model));
    p
}

#[test]
fn does_everything_over_a_clean_line() {
    let mut p = do_everything(Pair::new(clean));
    let line = p.driver.line();
    assert_eq!((line.garbled, line.missed_readings), (0, 0));
    let (count, missed) = p.readings();
    assert!(count > 300 && missed == 0, "{count} {missed}");
}

#[test]
fn does_everything_over_a_bad_line() {
    let mut p = do_everything(Pair::new(bad));
    let line = p.driver.line();
    assert!(line.garbled > 0 && line.repeated > 0, "{line:?}");
    let (count, missed) = p.readings();
    assert!(count > 30 && missed > 30, "{count} {missed}");
}

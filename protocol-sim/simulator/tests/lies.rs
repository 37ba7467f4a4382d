//! Every lie of the catalogue can be told from the truth, and is told alike each time.
#![allow(clippy::unwrap_used, clippy::panic, reason = "a test fails by panicking")]
mod common;
use common::{Client, exact};
use plumeline_base::pipework::Inlet;
use plumeline_simulator::{
    Lie, LieKind, Scenario,
    device::settings::{SettingValue, from_image, to_image},
};
use plumewire::*;
use sha2::Digest as _;

/// Two pipes at three inlets, nothing errs, and the replacement lies so.
fn site(lies: &[Lie]) -> Scenario {
    let mut scenario = exact(&[]);
    let spare = Inlet { number: 3, node: None, ..scenario.pipework.inlets[0].clone() };
    scenario.pipework.inlets.push(spare);
    scenario.lies = lies.to_vec();
    scenario
}
/// Everything that a unit says while it is put into service and tried, and what the panel shows.
struct Session {
    client: Client,
    said: Vec<String>,
}
impl Session {
    fn ask(&mut self, request: Request<'_>) {
        let answer = self.client.try_ask(request);
        self.said.push(format!("{answer:?}"));
    }
    fn wait(&mut self, seconds: f64) {
        self.client.wait(seconds);
        self.said.push(self.client.control(r#"{"do":"panel"}"#).to_string());
    }
    fn hello(&mut self) {
        let hello = self.client.hello();
        self.said.push(format!("{hello:?}"));
        let token = 7;
        self.ask(Request::Hello(HelloRequest { version_min: 1, version_max: 1, token }));
    }
    fn load(&mut self) {
        let c = &mut self.client;
        let mut settings = from_image(&c.image()).unwrap();
        for s in &mut settings {
            s.value = match s.key.as_str() {
                "inlet.1.used" | "inlet.2.used" => SettingValue::Switch(true),
                "alarm.1.threshold" => SettingValue::number("0.05"),
                "alarm.1.delay" | "alarm.2.delay" => SettingValue::number("5"),
                "alarm.3.delay" => SettingValue::number("15"),
                "flow.low" | "flow.high" => SettingValue::number("20"),
                "flow.delay" => SettingValue::number("30"),
                "output.2.function" => SettingValue::Text("alarm-1".into()),
                "output.3.function" => SettingValue::Text("alarm-3".into()),
                _ => continue,
            }
        }
        let image = to_image(&settings).unwrap();
        let digest = sha2::Sha256::digest(&image).into();
        let transaction = c.begin(&image, digest).unwrap();
        c.chunks(transaction, &image);
        self.ask(Request::WriteCommit(WriteCommit { transaction, digest }));
        self.ask(Request::Restart(Nothing {}));
        self.wait(60.0);
        self.hello();
        let read = (self.client.manifest(), self.client.image());
        self.said.push(format!("{read:?}"));
    }
    fn smoke(&mut self) {
        self.client.do_it(r#"{"do":"smoke","pipe":1,"hole":1,"obscuration":40,"seconds":150}"#);
    }
    fn inhibit(&mut self, seconds: u16) -> u32 {
        let payload = self.client.ask(Request::Inhibit(Inhibit { seconds })).unwrap();
        match Reply::decode(Operation::Inhibit as u8, &payload).unwrap() {
            Reply::Inhibit(l) => l.lease,
            other => panic!("{other:?}"),
        }
    }
    fn try_alarms(&mut self) {
        let lease = self.inhibit(600);
        self.smoke();
        self.wait(140.0);
        self.ask(Request::OutputsStatus(Nothing {}));
        self.wait(200.0);
        self.ask(Request::ResetLatches(Nothing {}));
        self.wait(2.0);
        self.ask(Request::InhibitRelease(InhibitRelease { lease }));
        self.ask(Request::OutputsStatus(Nothing {}));
        self.wait(5.0);
        self.inhibit(30);
        self.wait(25.0);
        self.wait(20.0);
        self.smoke();
        self.wait(140.0);
    }
    fn try_supervision(&mut self) {
        self.client.do_it(r#"{"do":"inlet","inlet":1}"#);
        self.wait(60.0);
        self.client.do_it(r#"{"do":"inlet","inlet":1,"shut":false}"#);
        self.wait(60.0);
        self.client.do_it(r#"{"do":"power","mains":false}"#);
        self.wait(5.0);
        self.client.do_it(r#"{"do":"power","mains":true}"#);
        for output in 1..=4 {
            self.ask(Request::Drive(Drive { output, seconds: 5 }));
            self.wait(2.0);
            self.wait(5.0);
        }
    }
    /// What shows only at the second time, at another place, or long after a start.
    fn once_more(&mut self) {
        self.client.stream(2);
        for (act, undo) in [
            (r#"{"do":"inlet","inlet":2}"#, r#"{"do":"inlet","inlet":2,"shut":false}"#),
            (r#"{"do":"inlet","inlet":1}"#, r#"{"do":"inlet","inlet":1,"shut":false}"#),
            (r#"{"do":"pipe-off","pipe":2}"#, r#"{"do":"pipe-on","pipe":2}"#),
            (r#"{"do":"cover","open":true}"#, r#"{"do":"cover","open":false}"#),
        ] {
            self.client.do_it(act);
            self.wait(60.0);
            self.client.do_it(undo);
            self.wait(60.0);
        }
        self.inhibit(600);
        for _ in 0..2 {
            self.smoke();
            self.wait(300.0);
            self.ask(Request::ResetLatches(Nothing {}));
            self.wait(2.0);
        }
        self.inhibit(600);
        self.smoke();
        self.wait(140.0);
        let read = (self.client.manifest(), self.client.image());
        self.said.push(format!("{read:?}"));
        self.ask(Request::Restart(Nothing {}));
        self.wait(60.0);
        self.hello();
    }
    fn of(lies: &[Lie]) -> Vec<String> {
        let mut s = Self { client: Client::new(site(lies)), said: Vec::new() };
        s.client.do_it(r#"{"do":"isolate"}"#);
        s.client.do_it(r#"{"do":"swap"}"#);
        s.wait(60.0);
        s.hello();
        s.load();
        s.ask(Request::WallClockSet(WallClockSet { utc_ms: 1_767_254_400_000 }));
        s.client.stream(2);
        s.wait(60.0);
        s.ask(Request::BaselineTake(Nothing {}));
        s.wait(45.0);
        s.ask(Request::BaselineStatus(Nothing {}));
        s.ask(Request::BaselineRead(Nothing {}));
        s.try_alarms();
        s.try_supervision();
        s.ask(Request::Clock(ClockRequest { sent_us: 0 }));
        s.ask(Request::LogRead(LogRead { from: 0 }));
        s.client.do_it(r#"{"do":"power","mains":false,"battery":false}"#);
        s.wait(1.0);
        s.client.do_it(r#"{"do":"power","mains":true,"battery":true}"#);
        s.wait(60.0);
        s.hello();
        s.ask(Request::BaselineStatus(Nothing {}));
        s.ask(Request::WallClock(Nothing {}));
        s.once_more();
        s.said.extend(s.client.readings.iter().map(|r| format!("{r:?}")));
        s.said
    }
}

#[test]
fn every_lie_shows_while_a_unit_is_put_into_service() {
    let truth = Session::of(&[]);
    assert_eq!(truth, Session::of(&[]), "the same session, the same words");
    let unseen: Vec<&str> =
        LieKind::all().filter(|k| Session::of(&[Lie::usual(*k)]) == truth).map(LieKind::name).collect();
    assert!(unseen.is_empty(), "these lies change nothing: {unseen:?}");
}
#[test]
fn a_lie_is_told_alike_each_time_and_worse_when_it_is_worse() {
    for (mild, bad) in [("readings-lost:0.1", "readings-lost:0.6"), ("leak-unused-inlet:4", "leak-unused-inlet:12")] {
        let [mild, bad] = [mild, bad].map(|text| Lie::parse(text).unwrap());
        let said = Session::of(&[mild]);
        assert_eq!(said, Session::of(&[mild]));
        assert_ne!(said, Session::of(&[bad]));
    }
}

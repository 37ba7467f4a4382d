//! What a page shows of a job, in named sections that are each told anew when they change: no page needs to know what went before.
//!
//! Bounded: the oldest goes where there is too much. Not here: who is told (the hub), how it looks (the assets).
use crate::message::plain;
use plumeline_base::{
    Instant, Verdict,
    input::Role,
    obscuration::{Extinction, ObscurationUnit::PercentPerMetre},
};
use plumeline_detector::{Reading, driver::Wants, vocabulary::FlowBasis};
use plumeline_procedure::{Act, Entry, Finding, Prompt};
use plumeline_runtime::session::Outward;
use serde::Serialize;
use std::{
    collections::{BTreeMap, BTreeSet, VecDeque},
    sync::Arc,
};

/// The line of the job's unit.
const UNIT: &str = "unit";
/// Findings that are shown; more than any job has, but for one that is done again and again.
const FINDINGS: usize = 200;
/// Lines of what was said.
const SAID: usize = 12;
/// Points of a chart for whoever comes later, one a second.
const POINTS: usize = 600;
/// Longest text of a question or finding that is sent, characters.
const TEXT: usize = 2000;

/// The sections.
#[derive(Default)]
pub struct View {
    /// The stage that runs.
    pub stage: Option<String>,
    /// Those that ended, in order.
    pub stages: Vec<Stage>,
    /// What is asked, by its number.
    pub asks: BTreeMap<u32, Ask>,
    /// What goes on.
    pub doing: Option<Doing>,
    /// The latest last.
    pub findings: VecDeque<Found>,
    /// Since when the zone is out of service.
    pub out: Option<Out>,
    /// The lines, by their names.
    pub links: BTreeMap<&'static str, Link>,
    said: VecDeque<String>,
    /// The last release of smoke.
    pub release: Option<Released>,
    /// The job's end.
    pub over: Option<Over>,
    /// Who is at a page.
    pub people: Vec<Person>,
    /// One a second.
    pub points: VecDeque<Point>,
    last_point: Option<Instant>,
    changed: BTreeSet<&'static str>,
}

/// A stage that ended.
#[derive(Serialize)]
pub struct Stage {
    /// Its name.
    pub name: String,
    /// In words.
    pub title: String,
    /// What it came to.
    pub verdict: Verdict,
}
/// A question.
#[derive(Serialize)]
pub struct Ask {
    /// Its number.
    pub id: u32,
    /// The question.
    pub text: String,
    /// What is to be done.
    pub act: &'static str,
    /// What kind of answer is wanted.
    pub wants: &'static str,
    /// Unit of a number.
    pub unit: Option<String>,
    /// Words or numbers that can be said.
    pub words: Vec<(String, String)>,
    /// Inlet and number of the hole that it is about.
    pub hole: Option<(u8, u32)>,
    /// The inlet that it is about.
    pub inlet: Option<u8>,
    /// Who may answer.
    pub may: Vec<&'static str>,
    /// It may be put off.
    pub later: bool,
    /// The answer before may be taken back.
    pub back: bool,
    /// Since when it stands.
    pub since_us: u64,
}
/// What goes on.
#[derive(Serialize)]
pub struct Doing {
    /// In words.
    pub says: String,
    /// The part that is done.
    pub fraction: Option<f64>,
    /// What is left of it, at most.
    pub left_s: Option<f64>,
    /// When that was told.
    pub at_us: u64,
}
/// A finding.
#[derive(Serialize)]
pub struct Found {
    /// What it counts as.
    pub verdict: Verdict,
    /// Its kind.
    pub code: String,
    /// Of what.
    pub subject: String,
    /// In words.
    pub says: String,
    /// What was measured.
    pub measured: Option<String>,
    /// What was expected.
    pub expected: Option<String>,
    /// What to do next.
    pub next: Option<String>,
    /// It holds no more.
    pub void: bool,
    /// The stage that found it.
    pub stage: &'static str,
}
/// Out of service.
#[derive(Serialize)]
pub struct Out {
    /// Since when.
    pub since_us: u64,
    /// How long it may be.
    pub limit_s: f64,
}
/// A line.
#[derive(Serialize)]
pub struct Link {
    /// It is there.
    pub up: bool,
    /// In words.
    pub words: String,
}
/// A release of smoke.
#[derive(Serialize)]
pub struct Released {
    /// Inlet and number.
    pub hole: (u8, u32),
    /// When.
    pub at_us: u64,
    /// Who, if from a page.
    pub by: Option<String>,
}
/// The end of a job.
#[derive(Serialize)]
pub struct Over {
    /// The verdict.
    pub verdict: Verdict,
    /// Why.
    pub because: String,
}
/// Readings of a moment.
pub struct Point {
    /// When.
    pub at: Instant,
    /// Of each inlet, in the unit that stands beside.
    pub flows: Vec<Option<f64>>,
    /// The flows' unit.
    pub unit: &'static str,
    /// Of each inlet, %/m.
    pub smoke: Vec<Option<f64>>,
    /// As it is told.
    pub text: Arc<str>,
}
/// Somebody at a page.
#[derive(Clone, Serialize, PartialEq, Eq)]
pub struct Person {
    /// Their name.
    pub name: String,
    /// Their role.
    pub role: &'static str,
    /// The page, from 1.
    pub page: u32,
    /// It is connected.
    pub here: bool,
}

/// All names of sections, in the order in which they are told.
const SECTIONS: [&str; 11] =
    ["stage", "stages", "asks", "doing", "findings", "out", "links", "said", "release", "people", "over"];

impl View {
    /// Takes in what happened.
    pub fn show(&mut self, now: Instant, what: &Outward) {
        match what {
            Outward::Ask(prompt) => {
                self.asks.insert(prompt.id, ask(now, prompt));
                self.change("asks");
            }
            Outward::Withdraw(id) => {
                self.asks.remove(id);
                self.change("asks");
            }
            Outward::Progress(p) if p.stays => self.say(&p.says),
            Outward::Progress(p) => {
                let (says, at_us) = (plain(&p.says, TEXT), now.as_micros());
                self.doing = Some(Doing { says, fraction: p.fraction, left_s: p.left_s, at_us });
                self.change("doing");
            }
            Outward::Note(entry) => self.note(now, entry),
            Outward::Done(outcome) => {
                self.over = Some(Over { verdict: outcome.verdict, because: plain(&outcome.because, TEXT) });
                self.change("over");
            }
            Outward::Paused => self.say("the job is paused: it is taken up again at the terminal"),
            Outward::Send(..) | Outward::Connect(_) | Outward::TellHead | Outward::Reading(..) => {}
        }
    }
    fn change(&mut self, section: &'static str) {
        self.changed.insert(section);
    }
    /// Something that was said at the terminal.
    pub fn say(&mut self, text: &str) {
        self.said.push_back(plain(text, TEXT));
        while self.said.len() > SAID {
            self.said.pop_front();
        }
        self.change("said");
    }
    /// Who is at a page.
    pub fn people(&mut self, people: Vec<Person>) {
        self.people = people;
        self.change("people");
    }
    /// The zone is out of service since then.
    pub fn out_of_service(&mut self, since: Instant, limit_s: f64) {
        self.out = Some(Out { since_us: since.as_micros(), limit_s });
        self.change("out");
    }
    fn note(&mut self, now: Instant, entry: &Entry) {
        match entry {
            Entry::StageBegan { stage } => {
                (self.stage, self.doing) = (Some(stage.title().to_owned()), None);
                self.changed.extend(["stage", "doing"]);
            }
            Entry::StageEnded(r) => {
                let (name, title) = (r.stage.name().to_owned(), r.stage.title().to_owned());
                self.stages.retain(|s| s.name != name);
                self.stages.push(Stage { name, title, verdict: r.verdict });
                self.stage = None;
                self.changed.extend(["stage", "stages"]);
            }
            Entry::Answered { prompt, answer, page } => {
                if let Some(asked) = self.asks.remove(prompt)
                    && let (Some(hole), "release-smoke", plumeline_base::input::Answer::Yes) =
                        (asked.hole, asked.act, answer)
                {
                    let at = page.as_ref().and_then(|p| p.mark).map_or(now, |m| m.at);
                    let by = page.as_ref().map(|p| p.by.name.clone());
                    self.release = Some(Released { hole, at_us: at.as_micros(), by });
                    self.change("release");
                }
                self.doing = None;
                self.changed.extend(["asks", "doing"]);
            }
            Entry::Found(f) => {
                self.findings.push_back(found(f));
                while self.findings.len() > FINDINGS {
                    self.findings.pop_front();
                }
                self.change("findings");
            }
            Entry::Void { stages, because } => {
                let names: Vec<&str> = stages.iter().map(|s| s.name()).collect();
                self.findings.iter_mut().filter(|f| names.contains(&f.stage)).for_each(|f| f.void = true);
                self.say(&format!("void: {}: {because}", names.join(", ")));
                self.change("findings");
            }
            Entry::PutRight { stages, what } => {
                let names: Vec<&str> = stages.iter().map(|s| s.name()).collect();
                self.findings.retain(|f| !names.contains(&f.stage));
                self.say(&format!("put right: {what}"));
                self.change("findings");
            }
            Entry::Remark { text } => self.say(text),
            Entry::LinkUp { line, .. } => self.link(*line, true, "open"),
            Entry::LinkDown { line, cause, .. } => self.link(*line, false, cause.words()),
            Entry::Line { trouble } => self.link(plumeline_base::input::LineId::Main, false, &trouble.to_string()),
            Entry::LineBack => self.link(plumeline_base::input::LineId::Main, true, "the unit answers again"),
            Entry::OutOfService { limit_s } => self.out_of_service(now, *limit_s),
            Entry::BackInService { .. } | Entry::TakenBack { of: Act::Isolate, .. } => {
                self.out = None;
                self.change("out");
            }
            Entry::Ended { .. } => {
                (self.out, self.doing) = (None, None);
                self.asks.clear();
                self.changed.extend(["out", "doing", "asks"]);
            }
            Entry::Seen { .. } => self.say("the unit's own readings show that it is done"),
            _ => {}
        }
    }
    fn link(&mut self, line: plumeline_base::input::LineId, up: bool, words: &str) {
        let name = if line.is_main() { UNIT } else { "outgoing unit" };
        self.links.insert(name, Link { up, words: words.to_owned() });
        self.change("links");
    }
    /// A set of readings as it is told at once; kept once a second.
    pub fn reading(&mut self, reading: &Reading, basis: FlowBasis) -> Arc<str> {
        let (unit, size) = basis.unit();
        let at = reading.received;
        // What comes is not gone, whatever was noted of the line.
        if self.links.get(UNIT).is_some_and(|l| !l.up) {
            self.link(plumeline_base::input::LineId::Main, true, "readings come");
        }
        let flows: Vec<Option<f64>> = reading.flow_m3_s.iter().map(|q| q.map(|q| round(q / size))).collect();
        let smoke: Vec<Option<f64>> =
            reading.extinction_per_m.iter().map(|k| k.map(|k| round(Extinction(k).stated(PercentPerMetre)))).collect();
        let text: Arc<str> = serde_json::json!([at.as_micros() / 1000, flows, smoke, unit]).to_string().into();
        if self.last_point.is_none_or(|last| at.since(last).as_millis() >= 1000) {
            self.last_point = Some(at);
            self.points.push_back(Point { at, flows, unit, smoke, text: text.clone() });
            if self.points.len() > POINTS {
                self.points.pop_front();
            }
        }
        text
    }
    /// The sections that changed since this was asked last, as a message; `None`: none did.
    pub fn changes(&mut self, now: Instant) -> Option<Arc<str>> {
        let changed = std::mem::take(&mut self.changed);
        (!changed.is_empty()).then(|| self.message(now, |name| changed.contains(name), false))
    }
    /// Everything, for whoever comes new.
    pub fn whole(&self, now: Instant) -> Arc<str> {
        self.message(now, |_| true, true)
    }
    fn message(&self, now: Instant, which: impl Fn(&str) -> bool, points: bool) -> Arc<str> {
        let mut out = format!("{{\"m\":\"set\",\"now_ms\":{},\"s\":{{", now.as_micros() / 1000);
        for (n, name) in SECTIONS.iter().filter(|name| which(name)).enumerate() {
            let value = match *name {
                "stage" => serde_json::to_string(&self.stage),
                "stages" => serde_json::to_string(&self.stages),
                "asks" => serde_json::to_string(&self.asks.values().collect::<Vec<_>>()),
                "doing" => serde_json::to_string(&self.doing),
                "findings" => serde_json::to_string(&self.findings),
                "out" => serde_json::to_string(&self.out),
                "links" => serde_json::to_string(&self.links),
                "said" => serde_json::to_string(&self.said),
                "release" => serde_json::to_string(&self.release),
                "people" => serde_json::to_string(&self.people),
                _ => serde_json::to_string(&self.over),
            };
            // Strings and numbers into memory: this can't fail.
            let value = value.unwrap_or_else(|_| "null".into());
            out.push_str(&format!("{}\"{name}\":{value}", if n == 0 { "" } else { "," }));
        }
        if points {
            out.push_str(&format!(
                ",\"points\":[{}]",
                self.points.iter().map(|p| &*p.text).collect::<Vec<_>>().join(",")
            ));
        }
        out.push_str("}}");
        out.into()
    }
    /// Whether this question is open, and somebody in this role may answer it.
    pub fn may(&self, prompt: u32, role: Role) -> Option<bool> {
        self.asks.get(&prompt).map(|ask| ask.may.contains(&role_name(role)))
    }
    /// The question is asked at a hole, an inlet or of smoke: the moment of its answer is the touch.
    pub fn takes_a_mark(&self, prompt: u32) -> bool {
        // What is open no more may have been answered by somebody else meanwhile: the procedure holds the two together.
        self.asks.get(&prompt).is_none_or(|ask| ask.may.contains(&role_name(Role::FarEnd)) || ask.wants == "moment")
    }
}

/// Four figures after the point are more than any unit tells.
fn round(x: f64) -> f64 {
    if x.is_finite() { (x * 1e4).round() / 1e4 } else { 0.0 }
}

/// A role's name in messages.
pub fn role_name(role: Role) -> &'static str {
    match role {
        Role::FarEnd => "far-end",
        Role::Watch => "watch",
        Role::Lead => "lead",
    }
}

fn ask(now: Instant, prompt: &Prompt) -> Ask {
    let mut unit = None;
    let mut words = Vec::new();
    let wants = match &prompt.wants {
        Wants::Done => "done",
        Wants::YesNo => "yes-no",
        Wants::Moment => "moment",
        Wants::Number { unit: of } => {
            unit = Some(of.clone());
            "number"
        }
        Wants::Text | Wants::ClockTime | Wants::LoggerFile => "text",
        Wants::Notice => "notice",
        Wants::Numbers { of } => {
            words = of.iter().map(|n| (n.to_string(), String::new())).collect();
            "numbers"
        }
        Wants::Tick => "tick",
        Wants::OneOf { words: of } => {
            words = of
                .iter()
                .map(|w| (if w.more { format!("{}:", w.word) } else { w.word.clone() }, w.means.clone()))
                .collect();
            "one-of"
        }
    };
    let inlet = match &prompt.act {
        Act::CloseHoles { inlet, .. }
        | Act::OpenHoles { inlet, .. }
        | Act::CountTape { inlet, .. }
        | Act::ShutInlet { inlet }
        | Act::RefitInlet { inlet } => Some(*inlet),
        act => act.hole().map(|h| h.inlet),
    };
    let roles = [Role::FarEnd, Role::Lead];
    Ask {
        id: prompt.id,
        text: long(&prompt.text),
        act: prompt.act.name(),
        wants,
        unit,
        words,
        hole: prompt.act.hole().map(|h| (h.inlet, h.number)),
        inlet,
        may: roles.into_iter().filter(|r| prompt.may_be_answered_by(*r)).map(role_name).collect(),
        later: prompt.act.may_wait(),
        back: prompt.back.is_some(),
        since_us: now.as_micros(),
    }
}

/// Text of several lines.
fn long(text: &str) -> String {
    text.lines().map(|line| plain(line, TEXT)).collect::<Vec<_>>().join("\n")
}

fn found(f: &Finding) -> Found {
    Found {
        verdict: f.counts_as(),
        code: f.code.to_string(),
        subject: f.subject.to_string(),
        says: plain(&f.says, TEXT),
        measured: f.measured.as_ref().map(ToString::to_string),
        expected: f.expected.as_ref().map(ToString::to_string),
        next: f.next.as_ref().map(|n| plain(n, TEXT)),
        void: f.void.is_some(),
        stage: f.stage.name(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use plumeline_procedure::plan::HoleRef;

    fn prompt(id: u32, act: Act, wants: Wants) -> Outward {
        Outward::Ask(Prompt { id, act, text: "<b>Close</b>\u{1b}[2J".into(), wants, back: None })
    }
    fn section(text: &str, name: &str) -> serde_json::Value {
        serde_json::from_str::<serde_json::Value>(text).unwrap()["s"][name].clone()
    }

    #[test]
    fn who_may_answer_what() {
        let mut view = View::default();
        let hole = HoleRef { inlet: 1, number: 4 };
        view.show(Instant::START, &prompt(1, Act::CloseHole(hole), Wants::Done));
        view.show(Instant::START, &prompt(2, Act::Isolate, Wants::Done));
        let may = |id| [Role::FarEnd, Role::Watch, Role::Lead].map(|r| view.may(id, r));
        assert_eq!(may(1), [Some(true), Some(false), Some(true)]);
        assert_eq!(may(2), [Some(false), Some(false), Some(true)]);
        assert_eq!(may(3), [None; 3]);
        assert!(view.takes_a_mark(1) && !view.takes_a_mark(2) && view.takes_a_mark(3));
    }
    #[test]
    fn what_changed_is_told_once_and_the_whole_at_any_time() {
        let mut view = View::default();
        assert!(view.changes(Instant::START).is_none());
        view.show(Instant::START, &prompt(1, Act::StopSmoke, Wants::Done));
        let told = view.changes(Instant::from_secs(5)).unwrap();
        assert_eq!(section(&told, "asks")[0]["text"], "<b>Close</b> [2J");
        assert!(section(&told, "findings").is_null() && view.changes(Instant::START).is_none());
        let whole = view.whole(Instant::START);
        assert_eq!(section(&whole, "asks")[0]["act"], "stop-smoke");
        view.show(Instant::START, &Outward::Withdraw(1));
        assert_eq!(section(&view.changes(Instant::START).unwrap(), "asks"), serde_json::json!([]));
    }
    #[test]
    fn a_line_over_which_readings_come_is_not_told_to_be_down() {
        let mut view = View::default();
        let trouble = plumeline_detector::Trouble::Silent;
        view.show(Instant::START, &Outward::Note(Entry::Line { trouble }));
        assert_eq!(section(&view.whole(Instant::START), "links")["unit"]["up"], false);
        view.reading(&Reading::default(), FlowBasis::Actual);
        let told = view.changes(Instant::START).unwrap();
        assert_eq!(section(&told, "links")["unit"]["up"], true);
    }
    #[test]
    fn what_is_kept_is_bounded() {
        let mut view = View::default();
        for n in 0..10_000 {
            view.say(&format!("{n}{}", "x".repeat(5000)));
        }
        assert!(view.whole(Instant::START).len() < SAID * (TEXT + 50) + 1000);
    }
}

//! Somebody who does a job at a terminal, question by question, with hands at a simulated site: slips and all.
//!
//! Nothing here rests on how fast the machine is: each line is typed when its question stands, what it came to is waited for, and
//! each wait has an end that says what stood on the screen. Not here: which slips there are ([`super::slips`]).
use super::terminal::Terminal;
use crate::{
    common::{Folder, text},
    simulator::Simulator,
};
use serde_json::{Value, json};
use std::{
    collections::{BTreeMap, VecDeque},
    io::{BufRead, BufReader, Write},
    net::TcpStream,
    time::{Duration, Instant},
};

/// What hands do at the site when something is asked for.
#[derive(Clone, Copy)]
pub(crate) enum Hands {
    /// What is asked for.
    Right,
    /// Nothing at all.
    Idle,
    /// Something else: commands of the simulated site, one a line.
    Wrong(&'static str),
    /// The cable comes loose at the unit, and is put back when the screen says so; then what is asked for.
    Loose,
    /// Ctrl-C instead of an answer; then the same job is run again.
    CtrlC,
}
use Hands::{CtrlC, Idle, Loose, Right, Wrong};

/// A slip: what happens at the `nth` question of this kind.
#[derive(Clone)]
pub(crate) struct Slip {
    pub(crate) name: &'static str,
    /// The kind of question (`close-hole`), the kind and its place (`close-hole 1.3`), or the kind and its stage (`shut-inlet in
    /// supervise`).
    pub(crate) at: &'static str,
    pub(crate) nth: usize,
    pub(crate) hands: Hands,
    /// Lines that are typed and that must not be taken.
    pub(crate) refused: &'static [&'static str],
    /// The answer; empty: what a sensible person then says.
    pub(crate) answer: &'static str,
    /// Typed in one breath with the answer, before the next question can stand.
    pub(crate) ahead: &'static str,
    /// How long the person waits before answering, s of the job.
    pub(crate) wait_s: f64,
    /// What is decided when the stage is not passed for it, and what hands do before that.
    pub(crate) then: &'static [(&'static str, &'static str)],
}
pub(crate) const fn slip(name: &'static str, at: &'static str, nth: usize) -> Slip {
    Slip { name, at, nth, hands: Right, refused: &[], answer: "", ahead: "", wait_s: 0.0, then: &[] }
}

/// Sooner than half a second after it appeared nobody has read a question, and a line is not taken.
const READS: Duration = Duration::from_millis(700);
/// How long anything may take that the program does at once, on a machine that others load.
pub(crate) const SOON: Duration = Duration::from_secs(60);
/// How long a person waits for readings to show what was done, before saying so.
const SHOWN: Duration = Duration::from_secs(8);
/// How long a job may go on without a line in its journal: longer than its longest wait.
const QUIET: Duration = Duration::from_secs(240);
/// How much faster than real time the job goes: the unit's shortest time-out, a second of the job, is 67 ms of the machine.
pub(crate) const SPEED: &str = "15";

/// The site control of the simulator.
pub(crate) struct Site(BufReader<TcpStream>);
impl Site {
    pub(crate) fn at(address: &str) -> Self {
        Self(BufReader::new(TcpStream::connect(address).unwrap()))
    }
    pub(crate) fn does(&mut self, command: &str) -> Value {
        writeln!(self.0.get_mut(), "{command}").unwrap();
        let mut line = String::new();
        self.0.read_line(&mut line).unwrap();
        serde_json::from_str(&line).unwrap()
    }
    pub(crate) fn must(&mut self, command: &str) {
        let reply = self.does(command);
        assert_eq!(reply["ok"], true, "{command}: {reply}");
    }
    /// Does what is asked for, and gives what a sensible person then types.
    fn asked(&mut self, act: &Value, hands: Hands) -> String {
        if let Some(read) = super::eyes::reads(self, act) {
            return read;
        }
        let (inlet, number) = (&act["inlet"], &act["number"]);
        let commands: Vec<Value> = match act["act"].as_str().unwrap() {
            "bench" => vec![
                json!({"do": "power", "unit": "replacement", "mains": true, "battery": true}),
                json!({"do": "cable", "unit": "replacement"}),
            ],
            "bench-done" => vec![
                json!({"do": "power", "unit": "replacement", "mains": false, "battery": false}),
                json!({"do": "cable", "unit": "outgoing"}),
            ],
            name @ ("isolate" | "restore" | "swap") => vec![json!({"do": name})],
            "close-hole" => vec![json!({"do": "close", "pipe": inlet, "hole": number})],
            "open-hole" => vec![json!({"do": "open", "pipe": inlet, "hole": number})],
            name @ ("close-holes" | "open-holes") => {
                let holes = act["holes"].as_array().unwrap().iter();
                let verb = name.trim_end_matches("-holes");
                holes.map(|hole| json!({"do": verb, "pipe": inlet, "hole": hole})).collect()
            }
            "open-alone" => ["close", "open"]
                .iter()
                .filter(|verb| act[**verb].is_u64())
                .map(|verb| json!({"do": verb, "pipe": inlet, "hole": act[*verb]}))
                .collect(),
            "release-smoke" => {
                vec![json!({"do": "smoke", "pipe": inlet, "hole": number, "obscuration": 40.0, "seconds": 1200.0})]
            }
            "stop-smoke" => vec![json!({"do": "smoke-off"})],
            name @ ("shut-inlet" | "refit-inlet") => {
                vec![json!({"do": "inlet", "inlet": inlet, "shut": name == "shut-inlet"})]
            }
            "switch-supply" => vec![json!({"do": "power", act["supply"].as_str().unwrap(): act["on"]})],
            _ => vec![],
        };
        match hands {
            Right | Loose | CtrlC => commands.iter().for_each(|c| self.must(&c.to_string())),
            Idle => {}
            Wrong(commands) => commands.lines().for_each(|c| self.must(c)),
        }
        match act["act"].as_str().unwrap() {
            "who" => "A. Name".into(),
            "isolate" => "isolated".into(),
            "lock-off" => "locked".into(),
            "tell" => "told".into(),
            "restore" => "restored".into(),
            "unlock" => "unlocked".into(),
            "switch-supply" if act["on"] == false => "off".into(),
            name @ ("panel-shows" | "panel-clear" | "panel-fault" | "panel-fault-clear" | "nothing-operated") => {
                let panel = self.does(r#"{"do":"panel"}"#)["panel"].clone();
                let shows = |list: &str| -> Vec<u64> {
                    let all = panel[list].as_array().unwrap().iter().zip(1..);
                    all.filter(|(on, _)| **on == true)
                        .map(|(_, n)| n)
                        .filter(|n| Some(*n) != panel["fault_wire"].as_u64())
                        .collect()
                };
                let own = act["output"].as_u64().unwrap_or_default();
                let is_fault = Some(own) == panel["fault_wire"].as_u64();
                let yes = match name {
                    "panel-shows" if is_fault => panel["fault"] == true,
                    "panel-clear" if is_fault => panel["fault"] == false,
                    "panel-shows" => shows("inputs") == [own],
                    "panel-clear" => !shows("inputs").contains(&own),
                    "panel-fault" => panel["fault"] == true,
                    "panel-fault-clear" => panel["fault"] == false,
                    _ => shows("came_up").is_empty(),
                };
                if yes { "yes" } else { "no" }.into()
            }
            "left-alone" | "inlets-plugged" | "other-measures" => "yes".into(),
            _ => String::new(),
        }
    }
}

/// A kind of question, and the same with its place and with its stage: `close-hole`, `close-hole 1.3`, `close-hole in prove-flow`.
fn kinds(act: &Value, stage: &str) -> [String; 3] {
    let name = act["act"].as_str().unwrap().to_owned();
    let (inlet, number) = (&act["inlet"], &act["number"]);
    let place = match (inlet.as_u64(), number.as_u64()) {
        (Some(inlet), Some(number)) => format!("{inlet}.{number}"),
        (inlet, _) => {
            inlet.or(act["item"].as_u64()).or(act["output"].as_u64()).map(|n| n.to_string()).unwrap_or_default()
        }
    };
    let placed = format!("{name} {place}").trim_end().to_owned();
    let staged = format!("{name} in {stage}");
    [name, placed, staged]
}

/// Somebody who does a job at a terminal, question by question.
pub(crate) struct Person<'a> {
    dir: &'a Folder,
    /// The port, and that of the outgoing unit where it has one of its own.
    ports: (String, Option<String>),
    pub(crate) site: Site,
    pub(crate) terminal: Terminal,
    /// Questions on this screen that were answered.
    answered: usize,
    pub(crate) asked: BTreeMap<String, usize>,
    pub(crate) decides: VecDeque<(&'static str, &'static str)>,
    /// How often something is done again that no slip asks for.
    pub(crate) patience: u32,
    pub(crate) slips: Vec<Slip>,
    /// The slip that was made last, and at which question: asked once more at once, it was not taken, and is made again.
    made: Option<(String, Slip)>,
}
impl<'a> Person<'a> {
    pub(crate) fn new(dir: &'a Folder, simulator: &Simulator, slips: Vec<Slip>) -> Self {
        Self::at(dir, simulator, (simulator.unit.clone(), None), slips)
    }
    /// The same, who reads the replacement's display: it has no line.
    pub(crate) fn reading(dir: &'a Folder, simulator: &Simulator) -> Self {
        Self::at(dir, simulator, ("display:".into(), simulator.outgoing.clone()), Vec::new())
    }
    fn at(dir: &'a Folder, simulator: &Simulator, ports: (String, Option<String>), slips: Vec<Slip>) -> Self {
        let (terminal, site) = (screen(dir, &ports), Site::at(&simulator.control));
        let (asked, decides, patience) = (BTreeMap::new(), VecDeque::new(), 0);
        Self { dir, ports, site, terminal, answered: 0, asked, decides, patience, slips, made: None }
    }
    pub(crate) fn journal(&self) -> Vec<Value> {
        journal(self.dir)
    }
    /// Runs the same job again, on another screen.
    pub(crate) fn runs_again(&mut self) {
        (self.terminal, self.answered) = (screen(self.dir, &self.ports), 0);
    }
    /// Ctrl-C, and the job left to be taken up again.
    fn ctrl_c(&mut self) {
        self.terminal.press("\x03");
        let (code, shown) = self.terminal.ended();
        assert_eq!(code, Some(6), "{shown}");
        self.runs_again();
    }
    /// What was asked, by the number of the question, and what kind of answer is wanted.
    fn question(&self, id: u64) -> (Value, Value) {
        let found = self.terminal.comes(&format!("question {id} in the journal"), SOON, || {
            self.journal().into_iter().find(|e| e["entry"] == "asked" && e["id"] == id)
        });
        (found["act"].clone(), found["wants"].clone())
    }
    /// Types a line for this question, once more if it came too soon; false if it is not asked any more.
    fn types(&mut self, id: u64, line: &str, ahead: &str) -> bool {
        loop {
            let seen = self.terminal.shown().len();
            self.terminal.press(&format!("{id}: {line}\n{ahead}"));
            let (journal, screen) = (|| journal(self.dir), || self.terminal.shown().split_off(seen));
            let took = self.terminal.comes(&format!("what `{line}` to [{id}] comes to"), SOON, || {
                let answered = |e: &Value| e["entry"] == "answered" && e["prompt"] == id;
                match screen() {
                    _ if journal().iter().any(answered) => Some(Some(true)),
                    said if said.contains(&format!("there is no open question {id}")) => Some(Some(false)),
                    said if said.contains(&format!("[{id}] still waits")) => Some(None),
                    _ => None,
                }
            });
            if let Some(took) = took {
                return took;
            }
            std::thread::sleep(READS);
        }
    }
    /// The stage that began last.
    fn stage(&self) -> String {
        let began = self.journal().into_iter().rev().find(|e| e["entry"] == "stage-began");
        began.and_then(|e| Some(e["stage"].as_str()?.to_owned())).unwrap_or_default()
    }
    /// The slip that is made at this question, if there is one.
    fn slip_at(&mut self, act: &Value) -> Slip {
        let kinds = kinds(act, &self.stage());
        if let Some((_, made)) = self.made.take().filter(|(at, made)| *at == kinds[1] && !made.then.is_empty()) {
            // It was not taken: nothing follows from it.
            self.decides.truncate(self.decides.len() - made.then.len());
            return made;
        }
        let mut nths = Vec::new();
        for (i, kind) in kinds.iter().enumerate() {
            if i != 1 || kinds[0] != kinds[1] {
                let nth = self.asked.entry(kind.clone()).or_default();
                *nth += 1;
                nths.push((kind.clone(), *nth));
            }
        }
        let at = self.slips.iter().position(|s| nths.iter().any(|(kind, nth)| s.at == kind && s.nth == *nth));
        at.map_or(slip("", "", 0), |at| self.slips.remove(at))
    }
    /// What the unit's own readings show wants no key. False: they do not, and who did it says so.
    fn shows_itself(&self, act: &Value) -> bool {
        let by_readings = act["act"] == "open-hole" || act["act"] == "switch-supply" && act["on"] == true;
        let since = Instant::now();
        let seen = |e: &Value| e["entry"] == "seen" && e["of"] == *act;
        let before = self.journal().iter().filter(|e| seen(e)).count();
        while by_readings && since.elapsed() < SHOWN {
            if self.journal().iter().filter(|e| seen(e)).count() > before {
                return true;
            }
            std::thread::sleep(Duration::from_millis(50));
        }
        false
    }
    /// The lines of the checklist that are done at once: all but those at which a slip is made.
    fn ticks(&self, items: &Value) -> String {
        let slips = |n: &String| self.slips.iter().any(|s| s.at == format!("check {n}"));
        let done: Vec<String> = items.as_array().unwrap().iter().map(Value::to_string).filter(|n| !slips(n)).collect();
        if done.is_empty() { "none".into() } else { done.join(" ") }
    }
    /// Answers the next question, if there is one.
    fn step(&mut self) {
        let shown = self.terminal.shown();
        let asked = shown.split("  ? [").skip(1).filter_map(|q| q.split_once(']')?.0.parse::<u64>().ok());
        let Some(id) = asked.collect::<Vec<_>>().get(self.answered).copied() else {
            return std::thread::sleep(Duration::from_millis(20));
        };
        self.answered += 1;
        let (act, wants) = self.question(id);
        if act["act"] == "decide" {
            self.made = None;
            let (words, hands) = match self.decides.pop_front() {
                Some(next) => next,
                None => {
                    assert!(self.patience > 0, "nothing to decide\n{}", self.terminal.screen());
                    self.patience -= 1;
                    ("again", "")
                }
            };
            hands.lines().for_each(|c| self.site.must(c));
            std::thread::sleep(READS);
            self.types(id, words, "");
            return;
        }
        let slip = self.slip_at(&act);
        for line in slip.refused {
            std::thread::sleep(READS);
            self.terminal.press(&format!("{id}: {line}\n"));
        }
        std::thread::sleep(READS + Duration::from_secs_f64(slip.wait_s / SPEED.parse::<f64>().unwrap()));
        match slip.hands {
            CtrlC => return self.ctrl_c(),
            Loose => {
                let seen = shown.len();
                self.site.must(r#"{"do":"cable","unit":"outgoing"}"#);
                let terminal = &self.terminal;
                terminal.comes("NO LINK", SOON, || terminal.shown()[seen..].contains("NO LINK").then_some(()));
                self.site.must(r#"{"do":"cable","unit":"replacement"}"#);
            }
            Right | Idle | Wrong(_) => {}
        }
        // What hands do and the key are one moment: it marks when smoke was released.
        let usual = self.site.asked(&act, slip.hands);
        let answer = match slip.answer {
            // What is only told wants no answer.
            "" if wants == "notice" => return,
            "" if matches!(slip.hands, Right) && self.shows_itself(&act) => return,
            "" if act["act"] == "checks" => self.ticks(&act["items"]),
            "" => usual,
            answer => answer.into(),
        };
        if self.types(id, &answer, slip.ahead) {
            self.decides.extend(slip.then);
            self.made = (!slip.name.is_empty()).then(|| (kinds(&act, "")[1].clone(), slip));
        } else if !slip.name.is_empty() {
            // It passed before the person was done: at the next one of its kind.
            let nth = self.asked.get(slip.at).copied().unwrap_or_default() + 1;
            self.slips.push(Slip { nth, ..slip });
        }
    }
    /// Goes on until this holds, or the program has ended.
    pub(crate) fn until(&mut self, what: &str, holds: impl Fn(&Self) -> bool) {
        let (mut lines, mut changed) = (0, Instant::now());
        while !holds(self) && !self.terminal.has_ended() {
            let now = self.journal().len();
            if now != lines {
                (lines, changed) = (now, Instant::now());
            }
            assert!(changed.elapsed() < QUIET, "nothing happens, and {what} never came\n{}", self.terminal.screen());
            self.step();
        }
    }
}

fn screen(dir: &Folder, (port, old): &(String, Option<String>)) -> Terminal {
    let job = dir.join("job");
    let mut args = vec!["run", text(&job), "--port", port, "--speed", SPEED];
    args.extend(old.iter().flat_map(|old| ["--old-port", old]));
    Terminal::sized(&[&args[..], &["--plain"]].concat(), true, (24, 80))
}

pub(crate) fn journal(dir: &Folder) -> Vec<Value> {
    let text = std::fs::read_to_string(dir.join("job/journal.jsonl")).unwrap_or_default();
    let whole = text.rfind('\n').map_or("", |end| &text[..end]);
    whole.lines().map(|l| serde_json::from_str::<Value>(l).unwrap()["entry"].clone()).collect()
}

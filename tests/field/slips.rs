//! A person at a real terminal who makes every slip in the book in one job: each is put right, the job passes, and what was put
//! right stands in its record. And one whose program is ended at every stage in every way.
use crate::{
    common::{Folder, exits, run, text},
    field::{at_a_terminal::signal, terminal::Terminal},
    simulator::{SPEED, Simulator, job},
};
use serde_json::{Value, json};
use std::{
    collections::{BTreeMap, VecDeque},
    io::{BufRead, BufReader, Write},
    net::TcpStream,
    path::Path,
    time::{Duration, Instant},
};

/// What hands do at the site when something is asked for.
#[derive(Clone, Copy)]
enum Hands {
    /// What is asked for.
    Right,
    /// Nothing at all.
    Idle,
    /// Something else: commands of the simulated site, one a line.
    Wrong(&'static str),
}
use Hands::{Idle, Right, Wrong};

/// A slip: what happens at the `nth` question of this kind.
struct Slip {
    name: &'static str,
    act: &'static str,
    nth: usize,
    hands: Hands,
    /// Typed as soon as the question is on the screen, before anybody can have read it.
    early: &'static str,
    /// Lines that are typed and that must not be taken.
    refused: &'static [&'static str],
    /// The answer; empty: what a sensible person then says.
    answer: &'static str,
    /// How long the person waits before answering, s of the job.
    wait_s: f64,
    /// What is decided when the stage is not passed for it, and what hands do before that.
    then: &'static [(&'static str, &'static str)],
}
const fn slip(name: &'static str, act: &'static str, nth: usize) -> Slip {
    Slip { name, act, nth, hands: Right, early: "", refused: &[], answer: "", wait_s: 0.0, then: &[] }
}
/// Sooner than this nobody has read the question, and it is not taken.
const READS: Duration = Duration::from_millis(550);
const AGAIN: &[(&str, &str)] = &[("again", "")];

/// In the order of the job. docs/slips.md has the same list.
fn slips() -> Vec<Slip> {
    vec![
        Slip {
            hands: Idle,
            then: AGAIN,
            ..slip("Enter at the bench with the cable still on the old unit", "bench", 1)
        },
        Slip { refused: &["ok"], ..slip("\"ok\" where a name is asked for", "who", 1) },
        Slip {
            refused: &["", "yes", "done"],
            ..slip("Enter, yes and done where the zone is to be isolated", "isolate", 1)
        },
        Slip { answer: "back", ..slip("an isolation that was said too soon, taken back", "lock-off", 1) },
        Slip {
            early: "isolated\n\n\n",
            ..slip("the word and three times Enter before the question stood", "isolate", 2)
        },
        Slip { answer: "can't, the key is lost", then: AGAIN, ..slip("no lock", "lock-off", 2) },
        Slip { answer: "no, nobody answers", then: AGAIN, ..slip("nobody told", "tell", 1) },
        Slip { refused: &["done; photo /nowhere/at/all.jpg"], ..slip("a mistyped photo", "check", 1) },
        Slip {
            refused: &["no"],
            answer: "no, the ladder is too short",
            then: AGAIN,
            ..slip("a required line not done", "check", 14)
        },
        Slip {
            hands: Idle,
            then: &[("put right: exchange of the units done now", "")],
            ..slip("Enter before the units are exchanged", "swap", 1)
        },
        Slip {
            hands: Idle,
            then: &[("again: hole 1.1", "")],
            ..slip("Enter without closing the hole", "close-hole", 1)
        },
        Slip { answer: "no, too high", then: &[], ..slip("a hole out of reach", "close-hole", 3) },
        Slip { answer: "again: hole 1.3", ..slip("the ladder came: that hole again", "close-hole", 5) },
        Slip {
            hands: Idle,
            then: &[("put right: hole 3 of pipe 1 opened", r#"{"do":"open","pipe":1,"hole":3}"#)],
            ..slip("a hole left taped", "open-hole", 4)
        },
        Slip { hands: Idle, then: &[("again: smoke 1.7", "")], ..slip("Enter without any smoke", "release-smoke", 1) },
        Slip { answer: "no, it was the wrong hole", ..slip("smoke at the wrong hole, told", "release-went", 3) },
        Slip {
            answer: "can't, the can is empty",
            then: &[("again: smoke 2.5", "")],
            ..slip("an empty can", "release-smoke", 5)
        },
        Slip {
            hands: Wrong(r#"{"do":"inlet","inlet":2,"shut":true}"#),
            then: &[("again", r#"{"do":"inlet","inlet":2,"shut":false}"#)],
            ..slip("another inlet shut", "shut-inlet", 1)
        },
        Slip {
            hands: Idle,
            then: &[("again", r#"{"do":"inlet","inlet":2,"shut":false}"#)],
            ..slip("an inlet not put back", "refit-inlet", 3)
        },
        Slip { hands: Idle, then: AGAIN, ..slip("a supply not switched off", "switch-supply", 1) },
        Slip { answer: "no, nothing shows", then: AGAIN, ..slip("the panel's fault overlooked", "panel-fault", 3) },
        Slip { wait_s: 45.0, ..slip("an output answered when it was no longer operated", "panel-shows", 1) },
        Slip {
            answer: "no, it shows input 3",
            then: AGAIN,
            ..slip("another input read off the panel", "panel-shows", 3)
        },
        Slip {
            answer: "no, it still stands",
            then: AGAIN,
            ..slip("an input that was not seen to clear", "panel-clear", 5)
        },
        Slip {
            answer: "no, I had the cover off",
            then: &[("again: baseline", "")],
            ..slip("the cover opened after the baseline", "left-alone", 2)
        },
        Slip {
            refused: &["", "yes"],
            answer: "no, the panel is locked",
            then: AGAIN,
            ..slip("a zone not restored", "restore", 1)
        },
        Slip { answer: "no, the key is away", then: AGAIN, ..slip("release circuits not unlocked", "unlock", 1) },
    ]
}

/// The site control of the simulator.
struct Site(BufReader<TcpStream>);
impl Site {
    fn at(address: &str) -> Self {
        Self(BufReader::new(TcpStream::connect(address).unwrap()))
    }
    fn does(&mut self, command: &str) -> Value {
        writeln!(self.0.get_mut(), "{command}").unwrap();
        let mut line = String::new();
        self.0.read_line(&mut line).unwrap();
        serde_json::from_str(&line).unwrap()
    }
    /// Does what is asked for, and gives what a sensible person then types.
    fn asked(&mut self, act: &Value, hands: Hands) -> String {
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
            Right => commands.iter().for_each(|c| assert_eq!(self.does(&c.to_string())["ok"], true, "{c}")),
            Idle => {}
            Wrong(command) => assert_eq!(self.does(command)["ok"], true, "{command}"),
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

/// Somebody who does a job at a terminal, question by question.
struct Person<'a> {
    dir: &'a Folder,
    site: Site,
    terminal: Terminal,
    /// Questions on this screen that were answered.
    answered: usize,
    asked: BTreeMap<String, usize>,
    decides: VecDeque<(&'static str, &'static str)>,
    slips: Vec<Slip>,
}
impl<'a> Person<'a> {
    fn new(dir: &'a Folder, simulator: &Simulator, slips: Vec<Slip>) -> Self {
        let terminal = Self::screen(dir, simulator);
        let site = Site::at(&simulator.control);
        Self { dir, site, terminal, answered: 0, asked: BTreeMap::new(), decides: VecDeque::new(), slips }
    }
    fn screen(dir: &Folder, simulator: &Simulator) -> Terminal {
        let args = ["run", text(&dir.join("job")), "--port", &simulator.unit, "--speed", SPEED].map(str::to_owned);
        Terminal::sized(&args.each_ref().map(String::as_str), true, (24, 80))
    }
    fn journal(&self) -> Vec<Value> {
        journal(self.dir)
    }
    /// What was asked, by the number of the question.
    fn act(&self, id: &str) -> Value {
        let began = Instant::now();
        loop {
            let found =
                self.journal().into_iter().find(|e| e["entry"] == "asked" && e["id"].as_u64() == id.parse().ok());
            if let Some(entry) = found {
                return entry["act"].clone();
            }
            assert!(began.elapsed() < Duration::from_secs(20), "nothing was asked as [{id}]");
            std::thread::sleep(Duration::from_millis(20));
        }
    }
    fn types(&mut self, line: &str) {
        std::thread::sleep(READS);
        self.terminal.press(&format!("{line}\n"));
    }
    /// Answers the next question, if there is one.
    fn step(&mut self) {
        let shown = self.terminal.shown();
        let ids: Vec<String> =
            shown.split("  ? [").skip(1).filter_map(|q| Some(q.split_once(']')?.0.to_owned())).collect();
        let Some(id) = ids.get(self.answered).cloned() else {
            std::thread::sleep(Duration::from_millis(20));
            return;
        };
        self.answered += 1;
        let act = self.act(&id);
        let name = act["act"].as_str().unwrap().to_owned();
        if name == "decide" {
            let (words, hands) = self.decides.pop_front().unwrap_or_else(|| panic!("nothing to decide\n{shown}"));
            hands.lines().for_each(|c| assert_eq!(self.site.does(c)["ok"], true, "{c}"));
            return self.types(&format!("{id}: {words}"));
        }
        let nth = self.asked.entry(name.clone()).or_default();
        *nth += 1;
        let at = self.slips.iter().position(|s| s.act == name && s.nth == *nth);
        let slip = at.map_or(slip("", "", 0), |at| self.slips.remove(at));
        if !slip.early.is_empty() {
            self.terminal.press(slip.early);
        }
        slip.refused.iter().for_each(|line| self.types(&format!("{id}: {line}")));
        std::thread::sleep(READS + Duration::from_secs_f64(slip.wait_s / SPEED.parse::<f64>().unwrap()));
        self.decides.extend(slip.then);
        // What hands do and the key are one moment: it marks when smoke was released.
        let usual = self.site.asked(&act, slip.hands);
        let answer = if slip.answer.is_empty() { usual } else { slip.answer.into() };
        self.terminal.press(&format!("{id}: {answer}\n"));
    }
    /// Goes on until this holds, or the program has ended.
    fn until(&mut self, holds: impl Fn(&Self) -> bool) {
        let began = Instant::now();
        while !holds(self) && !self.terminal.has_ended() {
            assert!(began.elapsed() < Duration::from_secs(1500), "it never came\n{}", self.terminal.shown());
            self.step();
        }
    }
}

fn journal(dir: &Folder) -> Vec<Value> {
    let text = std::fs::read_to_string(dir.join("job/journal.jsonl")).unwrap_or_default();
    let whole = text.rfind('\n').map_or("", |end| &text[..end]);
    whole.lines().map(|l| serde_json::from_str::<Value>(l).unwrap()["entry"].clone()).collect()
}

/// The answers that count to questions of consequence, with what was asked.
fn consequences(journal: &[Value]) -> Vec<(String, Value)> {
    let of = ["isolate", "lock-off", "tell", "restore", "unlock"];
    let asked = |id: &Value| journal.iter().find(|e| e["entry"] == "asked" && e["id"] == *id).unwrap()["act"].clone();
    let answers = journal.iter().filter(|e| e["entry"] == "answered");
    let all = answers.map(|e| (asked(&e["prompt"])["act"].as_str().unwrap().to_owned(), e["answer"].clone()));
    all.filter(|(act, _)| of.contains(&act.as_str())).collect()
}

/// The demonstration's own job.
fn large(dir: &Folder) {
    job(dir);
    let from = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo");
    for name in ["pipework.toml", "plan.toml", "settings-new.json"] {
        std::fs::copy(from.join(name), dir.join("job").join(name)).unwrap();
    }
}

#[test]
#[ignore = "some minutes of real time on an idle machine: run by name"]
fn every_slip_in_one_job_at_a_terminal_ends_in_a_pass_with_what_was_put_right() {
    let dir = Folder::new("all-slips");
    large(&dir);
    let simulator = Simulator::start(&dir, "", &["--tcp", "127.0.0.1:0"]);
    let named: Vec<&str> = slips().iter().map(|s| s.name).collect();
    assert!(named.len() >= 25);
    let mut person = Person::new(&dir, &simulator, slips());
    person.until(|_| false);
    let left: Vec<&str> = person.slips.iter().map(|s| s.name).collect();
    let (code, shown) = person.terminal.ended();
    assert_eq!(code, Some(0), "{shown}");
    assert!(left.is_empty() && person.decides.is_empty(), "slips that were never made: {left:?}\n{shown}");
    let result: Value = serde_json::from_slice(&std::fs::read(dir.join("job/result.json")).unwrap()).unwrap();
    let findings = result["outcome"]["findings"].as_array().unwrap();
    let mended = findings.iter().filter(|f| f["put_right"].is_string() && f["verdict"] != "pass").count();
    assert!(mended >= 15, "{mended}");
    // Nothing is on record that was not typed in full: the words, or why not.
    for (act, answer) in consequences(&journal(&dir)) {
        let word = ["isolated", "locked", "told", "restored", "unlocked"];
        let typed = answer["text"].as_str().is_some_and(|t| word.contains(&t));
        assert!(typed || answer == "back" || answer["cannot"].is_string(), "{act}: {answer}");
    }
    // The site is as the record says.
    let mut site = Site::at(&simulator.control);
    let panel = site.does(r#"{"do":"panel"}"#)["panel"].clone();
    assert_eq!((&panel["isolated"], &panel["alarms_not_isolated"]), (&json!(false), &json!(0)), "{panel}");
    exits(&run(&["check", text(&dir.join("job"))]), &[0]);
    // docs/slips.md has the list.
    let docs = include_str!("../../docs/slips.md");
    named.iter().for_each(|name| assert!(docs.contains(name), "docs/slips.md does not have: {name}"));
}

/// At every stage the program is ended in each way; the job goes on where it was, to the verdict of a job without a pause.
#[test]
#[ignore = "some minutes of real time on an idle machine: run by name"]
fn the_program_ended_at_every_stage_in_every_way_leaves_a_job_that_goes_on_to_its_pass() {
    let dir = Folder::new("ended-everywhere");
    job(&dir);
    let simulator = Simulator::start(&dir, "", &["--tcp", "127.0.0.1:0"]);
    let mut person = Person::new(&dir, &simulator, Vec::new());
    let stages = [
        "bench",
        "isolate",
        "as-found",
        "swap",
        "boot",
        "load",
        "settle",
        "prove-flow",
        "baseline",
        "prove-smoke",
        "purge",
        "supervise",
        "supply",
        "outputs",
        "last-look",
        "restore",
    ];
    for stage in stages {
        for way in ["ctrl-c", "closed", "-TERM", "-HUP"] {
            let began = |p: &Person<'_>| p.journal().iter().any(|e| e["entry"] == "stage-began" && e["stage"] == stage);
            person.until(began);
            // From here on it listens: what ends it sooner is a program that was never there.
            person.until(|p| p.terminal.shown().contains("link       open"));
            let over = |p: &Person<'_>| p.journal().iter().any(|e| e["entry"] == "stage-ended" && e["stage"] == stage);
            if over(&person) {
                break;
            }
            match way {
                "ctrl-c" => person.terminal.press("\x03"),
                "closed" => person.terminal.close(),
                name => signal(&dir, name),
            }
            let (code, shown) = person.terminal.ended();
            assert_eq!(code, Some(6), "{stage} {way}\n{shown}");
            let journal = person.journal();
            assert!(!journal.iter().any(|e| e["entry"] == "ended"), "{stage} {way}");
            let paused = |e: &Value| e["entry"] == "remark" && e["text"].as_str().unwrap().starts_with("paused: ");
            assert!(journal.iter().any(paused), "{stage} {way}");
            (person.terminal, person.answered) = (Person::screen(&dir, &simulator), 0);
        }
    }
    person.until(|_| false);
    let (code, shown) = person.terminal.ended();
    assert_eq!(code, Some(0), "{shown}");
    let panel = Site::at(&simulator.control).does(r#"{"do":"panel"}"#)["panel"].clone();
    assert_eq!((&panel["isolated"], &panel["alarms_not_isolated"]), (&json!(false), &json!(0)), "{panel}");
    exits(&run(&["check", text(&dir.join("job"))]), &[0]);
}

//! A load of settings that is cut off at every chunk boundary and at a thousand random bytes, by the unit's power and by the
//! line: the unit holds the old settings whole or the new ones whole, never a mixture, and the load then goes on to its end.
//!
//! The one procedure drives the simulated unit with its store; this loop only counts the bytes on their way to the unit.
use plumeline_base::{
    Instant, Verdict,
    input::{Event, Input, LineId, LinkDown},
};
use plumeline_procedure::{Effect, Entry, Finding, JobInputs, Outcome, Procedure, StageKind, Subject, plan::StagePlan};
use plumeline_runtime::{
    job_files::Files,
    operator::{OpenPrompts, Script},
    port, scenario,
};
use plumeline_simulator::{Simulation, scenario::Which};
use plumewire::{Decoder, Operation};
use rand_chacha::{
    ChaCha8Rng,
    rand_core::{Rng, SeedableRng},
};
use std::{collections::VecDeque, path::Path, time::Duration};

/// How long power or line stay away.
const AWAY: Duration = Duration::from_secs(5);
const RANDOM: usize = 1_000;

#[derive(Clone, Copy, Debug, PartialEq)]
enum Cut {
    Power(usize),
    Line(usize),
    /// Nothing is cut, but somebody changes a setting at the unit's own keys.
    Keys(usize),
}

impl Cut {
    /// Bytes that reach the unit before it.
    fn at(self) -> usize {
        let (Self::Power(n) | Self::Line(n) | Self::Keys(n)) = self;
        n
    }
}

fn inputs() -> (Files, JobInputs) {
    let dir = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo/small");
    let file = |name: &str| (name.to_owned(), std::fs::read(dir.join(name)).unwrap());
    let files = Files(["pipework.toml", "plan.toml", "settings-new.json"].map(file).to_vec());
    let files = files.with_shipped("model-a", "model-b").unwrap().with_port("sim:");
    let mut inputs = files.check().unwrap().inputs;
    inputs.plan.checklist.clear();
    let wanted = [StageKind::Isolate, StageKind::Swap, StageKind::Boot, StageKind::Load, StageKind::Restore];
    inputs.plan.stages.retain(|s: &StagePlan| wanted.contains(&s.stage));
    (files, inputs)
}

/// What a load came to.
struct Came {
    outcome: Outcome,
    /// What the unit held just after the cut, and at the end.
    after_cut: Option<Vec<u8>>,
    held: Vec<u8>,
    before: Vec<u8>,
    /// Bytes sent to the unit while its settings were loaded, and how many of them after each part of the image.
    sent: usize,
    boundaries: Vec<usize>,
}

/// A job with the site, moved from one due instant to the next.
struct Job {
    procedure: Procedure,
    simulation: Simulation,
    script: Script,
    open: OpenPrompts,
    now: Instant,
    inputs: VecDeque<Input>,
    up: bool,
    loading: bool,
    cut: Option<Cut>,
    away_until: Option<Instant>,
    /// Somebody works at the keys after the load.
    keys_late: bool,
    came: Came,
    done: bool,
}

impl Job {
    fn run(files: &Files, inputs: &JobInputs, cut: Option<Cut>) -> Came {
        Self::with_keys(files, inputs, cut, false)
    }
    fn with_keys(files: &Files, inputs: &JobInputs, cut: Option<Cut>, keys_late: bool) -> Came {
        let site = scenario::site(inputs.pipework.clone(), 11, &[], true).unwrap();
        let simulation = Simulation::new(site, Instant::START).unwrap();
        let before = simulation.settings_image(Which::Replacement).unwrap();
        let came = Came {
            outcome: Outcome::default(),
            after_cut: None,
            held: Vec::new(),
            before,
            sent: 0,
            boundaries: Vec::new(),
        };
        let mut job = Self {
            procedure: Procedure::new(inputs.clone(), port::drivers(files)),
            simulation,
            script: Script::willing(),
            open: OpenPrompts::default(),
            now: Instant::START,
            inputs: files.opening("2026-01-01T08:00:00Z".into()).into(),
            up: false,
            loading: false,
            cut,
            away_until: None,
            keys_late,
            came,
            done: false,
        };
        while !job.done {
            job.exchange();
            job.wait();
        }
        job.came.held = job.simulation.settings_image(Which::Replacement).unwrap();
        job.came
    }
    fn exchange(&mut self) {
        loop {
            while let Some(bytes) = self.simulation.poll_transmit() {
                if self.up {
                    self.inputs.push_back(Input::Received(LineId::Main, bytes));
                }
            }
            let Some(input) = self.inputs.pop_front() else { return };
            self.procedure.handle(&Event { at: self.now, input });
            while let Some(effect) = self.procedure.poll_effect() {
                self.effect(effect);
            }
        }
    }
    fn effect(&mut self, effect: Effect) {
        match effect {
            Effect::Send(_, bytes) => self.send(&bytes),
            Effect::Connect(_) if self.away_until.is_some() && !self.up => {
                self.inputs.push_back(Input::LinkDown {
                    line: LineId::Main,
                    cause: LinkDown::Absent,
                    detail: "cut".into(),
                });
            }
            Effect::Connect(_) => {
                self.up = true;
                self.inputs.push_back(Input::LinkUp { line: LineId::Main, link: "sim:".into() });
            }
            Effect::Ask(prompt) => self.open.asked(self.now, prompt),
            Effect::Withdraw(id) => self.open.closed(id),
            Effect::Note(Entry::StageBegan { stage }) => {
                self.loading = stage == StageKind::Load;
                if stage == StageKind::Restore && self.keys_late {
                    self.keys();
                }
            }
            Effect::Done(outcome) => {
                self.came.outcome = *outcome;
                self.done = true;
            }
            _ => {}
        }
    }
    fn send(&mut self, bytes: &[u8]) {
        if !self.up {
            return;
        }
        let from = self.came.sent;
        if self.loading {
            self.came.sent += bytes.len();
            let (mut decoder, mut rest) = (Decoder::new(), bytes);
            while let Some(frame) = decoder.next_frame(&mut rest) {
                if frame.unwrap().header.operation == Operation::WriteChunk as u8 {
                    self.came.boundaries.push(self.came.sent);
                }
            }
        }
        let cut = self.cut.filter(|c| self.loading && c.at() < self.came.sent);
        let Some(cut) = cut else { return self.simulation.handle_bytes(self.now, bytes) };
        self.cut = None;
        if matches!(cut, Cut::Keys(_)) {
            self.keys();
            return self.simulation.handle_bytes(self.now, bytes);
        }
        let through = cut.at().saturating_sub(from);
        self.simulation.handle_bytes(self.now, &bytes[..through.min(bytes.len())]);
        self.away_until = Some(self.now + AWAY);
        if matches!(cut, Cut::Power(_)) {
            self.power(false);
        } else {
            self.up = false;
            self.inputs.push_back(Input::LinkDown {
                line: LineId::Main,
                cause: LinkDown::Unplugged,
                detail: "cut".into(),
            });
        }
        self.came.after_cut = self.simulation.settings_image(Which::Replacement);
    }
    fn keys(&mut self) {
        let line = r#"{"do":"keypad","unit":"replacement","key":"flow.delay","value":44}"#;
        assert!(self.simulation.handle_control(self.now, line).contains("\"ok\":true"));
    }
    fn power(&mut self, on: bool) {
        let line = format!(r#"{{"do":"power","unit":"replacement","mains":{on},"battery":{on}}}"#);
        assert!(self.simulation.handle_control(self.now, &line).contains("\"ok\":true"));
    }
    fn wait(&mut self) {
        if self.done {
            return;
        }
        let due = [
            self.simulation.poll_timeout(),
            self.procedure.poll_timeout(),
            self.script.due(&self.open),
            self.away_until,
        ];
        self.now = self.now.max(due.into_iter().flatten().min().expect("something is waited for"));
        if self.away_until.is_some_and(|t| t <= self.now) {
            self.away_until = None;
            self.power(true);
        }
        if self.simulation.poll_timeout().is_some_and(|t| t <= self.now) {
            self.simulation.handle_timeout(self.now);
        }
        while let Some(act) = self.script.answer_due(self.now, &self.open, &mut self.simulation, None).unwrap() {
            self.open.closed(act.prompt);
            self.inputs.push_back(Input::Operator(act));
        }
        if self.procedure.poll_timeout().is_some_and(|t| t <= self.now) {
            self.inputs.push_back(Input::Wake);
        }
    }
}

fn load_passed(came: &Came) -> bool {
    came.outcome.stages.iter().any(|s| s.stage == StageKind::Load && s.complete && s.verdict == Verdict::Pass)
}

#[test]
fn a_load_cut_anywhere_leaves_no_mixture_and_goes_on() {
    let (files, inputs) = inputs();
    let whole = Job::run(&files, &inputs, None);
    assert!(load_passed(&whole), "{:#?}", whole.outcome.findings);
    assert_ne!(whole.before, whole.held);
    assert!(whole.boundaries.len() >= 2, "{:?}", whole.boundaries);
    let mut dice = ChaCha8Rng::seed_from_u64(1);
    let random = (0..RANDOM).map(|_| (dice.next_u64() % whole.sent as u64) as usize);
    let mut cuts: Vec<Cut> =
        random.enumerate().map(|(i, n)| if i % 2 == 0 { Cut::Power(n) } else { Cut::Line(n) }).collect();
    for n in &whole.boundaries {
        cuts.extend([n - 1, *n, n + 1].into_iter().flat_map(|n| [Cut::Power(n), Cut::Line(n)]));
    }
    let threads = std::thread::available_parallelism().map_or(1, |n| n.get());
    let share = |k: usize| {
        let mine = cuts.iter().skip(k).step_by(threads);
        mine.map(|cut| {
            let came = Job::run(&files, &inputs, Some(*cut));
            let after = came.after_cut.as_ref();
            let old = after == Some(&whole.before);
            let mixture = !old && after != Some(&whole.held);
            if mixture || came.held != whole.held || !load_passed(&came) {
                return format!("{cut:?}: mixture {mixture}, {}", came.outcome.because);
            }
            if old { "old".into() } else { "new".into() }
        })
        .collect::<Vec<String>>()
    };
    let all: Vec<String> = std::thread::scope(|s| {
        let running: Vec<_> = (0..threads).map(|k| s.spawn(move || share(k))).collect();
        running.into_iter().flat_map(|t| t.join().unwrap()).collect()
    });
    let count = |word: &str| all.iter().filter(|a| *a == word).count();
    let (old, new) = (count("old"), count("new"));
    println!("{} cuts in {} bytes: {old} left the old settings whole, {new} the new", all.len(), whole.sent);
    let wrong: Vec<&String> = all.iter().filter(|a| !matches!(a.as_str(), "old" | "new")).collect();
    assert!(wrong.is_empty(), "{} of {}: {wrong:#?}", wrong.len(), all.len());
    assert!(old > 0 && new > 0);
    assert_eq!(all.len(), cuts.len());
}

/// Somebody at the unit's own keys, while the settings are sent and after it: noticed by revision and digest, and named.
#[test]
fn a_change_at_the_keys_is_noticed() {
    let (files, inputs) = inputs();
    let whole = Job::run(&files, &inputs, None);
    let found = |came: &Came, code: &str, subject: Subject| {
        let such = |f: &Finding| f.code == *code && f.subject == subject && f.verdict != Verdict::Pass;
        came.outcome.findings.iter().any(such)
    };
    let during = Job::run(&files, &inputs, Some(Cut::Keys(whole.boundaries[0])));
    assert!(found(&during, "load.changed-meanwhile", Subject::Replacement), "{:?}", during.outcome.findings);
    assert_ne!(during.held, whole.held, "nothing of the load was put in force");
    let after = Job::with_keys(&files, &inputs, None, true);
    assert!(load_passed(&after));
    let delay = Subject::Setting("flow.delay".into());
    assert!(found(&after, "held.item-changed", delay), "{:?}", after.outcome.findings);
    assert!(!whole.outcome.findings.iter().any(|f| f.code == "held.changed"), "nobody touched it");
}

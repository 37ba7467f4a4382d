//! A sound job as a list of events, with what each event is about, and how a list of events is judged.
use plumeline_base::{
    Instant,
    input::{AbortCause, Event, Input},
};
use plumeline_detector::{Identity, settings::Settings};
use plumeline_link::faults::FaultSpec;
use plumeline_procedure::{Act, Effect, Entry, JobInputs, Outcome, Procedure, StageKind, effect::KeptSettings};
use plumeline_runtime::{
    clock::DATE_OF_SIMULATIONS,
    failure::Failure,
    job::Job,
    job_files::Files,
    line::Line,
    operator::{Operator, Script, SimulatedSite},
    port, scenario,
    session::Keeper,
};
use plumeline_simulator::Simulation;
use plumeline_trace::{Citation, Hash, LogRecord, Logged};
use plumewire::{Decoder, Frame, Header};
use std::{collections::BTreeMap, path::Path, time::Duration};

/// No stage of this job takes longer when it is sound; a spoilt one does not wait for hours of log time.
const LONGEST_STAGE_S: u32 = 2_400;

/// One frame from the unit.
#[derive(Clone)]
pub struct Heard {
    pub header: Header,
    pub payload: Vec<u8>,
}

/// A recorded job.
pub struct Recording {
    files: Files,
    inputs: JobInputs,
    /// Everything that reached the procedure. A spoilt job's timers run out at other times: those come on top.
    pub events: Vec<Event>,
    /// The frames of each event, by its position. Only of events that hold whole frames.
    pub frames: BTreeMap<usize, Vec<Heard>>,
    /// What each answer answers, by the position of its event.
    pub answers: BTreeMap<usize, Act>,
    /// When each stage began and ended.
    pub stages: BTreeMap<StageKind, (Instant, Instant)>,
    /// What it came to.
    pub outcome: Outcome,
}

/// Keeps the events and nothing else.
#[derive(Default)]
struct Events(Vec<Event>);
impl Keeper for Events {
    fn log(&mut self, record: LogRecord) -> Result<Citation, Failure> {
        if let Logged::Input(input) = record.what {
            self.0.push(Event { at: record.at, input });
        }
        Ok(Citation { offset: 0, index: self.0.len() as u64, hash: Hash([0; 32]) })
    }
    fn journal(&mut self, _: Instant, _: &Citation, _: &[Entry]) -> Result<(), Failure> {
        Ok(())
    }
    fn settings(&mut self, _: KeptSettings, _: &Settings, _: &Identity) -> Result<(), Failure> {
        Ok(())
    }
}

impl Recording {
    pub fn new() -> Self {
        let dir = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo/small");
        let file = |name: &str| (name.to_owned(), std::fs::read(dir.join(name)).unwrap());
        let files = Files(["pipework.toml", "plan.toml", "settings-new.json"].map(file).to_vec());
        let files = files.with_shipped("model-a", "model-b").unwrap().with_port("sim:");
        let mut inputs = files.check().unwrap().inputs;
        inputs.plan.stages.iter_mut().for_each(|s| s.deadline_s = s.deadline_s.min(LONGEST_STAGE_S));

        let site = scenario::site(inputs.pipework.clone(), 11, &[], true).unwrap();
        let site = SimulatedSite::new(Simulation::new(site, Instant::START).unwrap());
        let session = Job::begin(&files, inputs.clone(), Events::default(), DATE_OF_SIMULATIONS)
            .line(Line::simulated(&site, None, FaultSpec::default(), 11))
            .operator(Operator::script("script", Script::willing(), site))
            .run()
            .unwrap();
        let events = session.into_parts().0.0;

        let mut this = Self {
            files,
            inputs,
            frames: frames(&events),
            events,
            answers: BTreeMap::new(),
            stages: BTreeMap::new(),
            outcome: Outcome::default(),
        };
        this.understand();
        this
    }
    /// Follows the job once to see what its events are about.
    fn understand(&mut self) {
        let mut acts = BTreeMap::new();
        let (mut answers, mut stages) = (BTreeMap::new(), BTreeMap::new());
        let mut procedure = self.procedure();
        for (i, event) in self.events.iter().enumerate() {
            if let Input::Operator(act) = &event.input {
                answers.insert(i, act.prompt);
            }
            take(&mut procedure, event, &mut |effect| match effect {
                Effect::Ask(prompt) => drop(acts.insert(prompt.id, prompt.act)),
                Effect::Note(Entry::StageEnded(r)) => drop(stages.insert(r.stage, (r.began, r.ended))),
                _ => {}
            });
        }
        self.answers = answers.into_iter().map(|(i, prompt)| (i, acts[&prompt].clone())).collect();
        self.stages = stages;
        self.outcome = self.judge(&self.events);
    }
    fn procedure(&self) -> Procedure {
        Procedure::new(self.inputs.clone(), port::drivers(&self.files))
    }

    /// What these events come to. Timers run as they would; when the events are used up the job goes on in silence
    /// until it ends by itself, or is stopped.
    pub fn judge(&self, events: &[Event]) -> Outcome {
        let mut procedure = self.procedure();
        let mut outcome = None;
        let mut see = |effect| {
            if let Effect::Done(o) = effect {
                outcome = Some(*o);
            }
        };
        for event in events {
            take(&mut procedure, event, &mut see);
        }
        let last = events.last().map_or(Instant::START, |e| e.at);
        wake(&mut procedure, last + Duration::from_secs(12 * 3600), &mut see);
        for i in 0..40 {
            if !procedure.is_running() {
                break;
            }
            let at = last + Duration::from_secs(13 * 3600 + 60 * i);
            take(&mut procedure, &Event { at, input: Input::Abort(AbortCause::Operator) }, &mut see);
        }
        outcome.expect("a job that was stopped in every stage is over")
    }

    /// The checklist items that the plan requires, by position from 1. The others a job may do without, by its plan.
    pub fn required(&self) -> Vec<u32> {
        let items = self.inputs.plan.checklist.iter().zip(1..);
        items.filter(|(c, _)| c.required).map(|(_, n)| n).collect()
    }
    /// The positions of the events in a stage.
    pub fn within(&self, stage: StageKind) -> Vec<usize> {
        let (began, ended) = self.stages[&stage];
        self.between(began, ended)
    }
    /// The positions of the events between two instants, both included.
    pub fn between(&self, from: Instant, to: Instant) -> Vec<usize> {
        let inside = |(i, e): (usize, &Event)| (e.at >= from && e.at <= to).then_some(i);
        self.events.iter().enumerate().filter_map(inside).collect()
    }
}

/// Timers that run out before the event, then the event.
fn take(procedure: &mut Procedure, event: &Event, see: &mut impl FnMut(Effect)) {
    wake(procedure, event.at, see);
    procedure.handle(event);
    std::iter::from_fn(|| procedure.poll_effect()).for_each(see);
}

fn wake(procedure: &mut Procedure, until: Instant, see: &mut impl FnMut(Effect)) {
    while let Some(at) = procedure.poll_timeout().filter(|at| *at < until) {
        procedure.handle(&Event { at, input: Input::Wake });
        std::iter::from_fn(|| procedure.poll_effect()).for_each(&mut *see);
    }
}

fn frames(events: &[Event]) -> BTreeMap<usize, Vec<Heard>> {
    let mut all = BTreeMap::new();
    for (i, event) in events.iter().enumerate() {
        let Input::Received(_, bytes) = &event.input else { continue };
        let (mut decoder, mut rest, mut here) = (Decoder::new(), &bytes[..], Vec::new());
        while let Some(found) = decoder.next_frame(&mut rest) {
            let Frame { header, payload } = found.expect("a line without faults");
            here.push(Heard { header, payload: payload.to_vec() });
        }
        assert!(!decoder.in_frame(), "the simulated line gives whole frames");
        all.insert(i, here);
    }
    all
}

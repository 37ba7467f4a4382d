//! An unattended operator: answers prompts after a pause, and does at the (simulated) site what they ask for.
//!
//! Read from `operator.toml`. What the prompts ask for happens through the site's own control channel, never through
//! the unit's protocol. Not here: a person at a terminal.
use super::{
    Eyes, OpenPrompts, SimulatedLogger, Site,
    logs::Kept,
    marks::{Marks, Off, Press},
};
use crate::failure::Failure;
use plumeline_base::{
    Instant,
    input::{Answer, OperatorAct, Photo, Tick, TickState},
    obscuration::Extinction,
    time::seconds,
};
use plumeline_detector::driver::Wants;
use plumeline_job::{
    Kind, Problem, TEXT_LIMIT,
    error::Source,
    input_file,
    written::{self, Spanned},
};
use plumeline_procedure::{Act, Prompt, prompt::Metered};
use serde::Deserialize;
use std::path::{Path, PathBuf};
use std::{
    cell::{Cell, RefCell},
    collections::BTreeMap,
    time::Duration,
};

/// What `operator.toml` says.
#[derive(Clone, Debug, Default)]
pub struct OperatorFile {
    /// Seconds from a prompt to its answer.
    pause_s: f64,
    /// Address of the simulator's site control, `HOST:PORT`.
    pub control: Option<String>,
    /// Answers that differ from the usual yes, first match first.
    answers: Vec<Exception>,
}

/// Reads an `operator.toml` from the disk.
pub fn read(path: &Path) -> Result<OperatorFile, Failure> {
    let bytes = input_file::read(path, "read the operator's answers", TEXT_LIMIT as u64)?;
    Ok(Script::read(&path.display().to_string(), &bytes)?)
}

/// What is written where in `operator.toml`.
#[derive(Debug, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema), schemars(title = "operator.toml: answers for an unattended run"))]
#[serde(deny_unknown_fields)]
struct Raw {
    /// Format version: 1.
    #[cfg_attr(test, schemars(extend("const" = 1)))]
    format: Spanned<i64>,
    /// Seconds from a prompt to its answer; 4 if not stated.
    #[cfg_attr(test, schemars(range(min = 0)))]
    pause_s: Option<Spanned<f64>>,
    /// Address of the simulator's site control, `HOST:PORT`; without it prompts are only answered.
    #[cfg_attr(test, schemars(regex(pattern = "^.+:[0-9]+$")))]
    control: Option<String>,
    /// Answers that differ from the usual yes, first match first.
    #[serde(default)]
    answer: Vec<Exception>,
}
/// Seconds from a prompt to its answer.
const USUAL_PAUSE_S: f64 = 4.0;

/// An answer that differs from the usual yes.
#[derive(Clone, Debug, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema), schemars(rename = "Answer"))]
#[serde(deny_unknown_fields)]
struct Exception {
    /// Kind of prompt, for example `close-hole`.
    #[cfg_attr(test, schemars(transform = tests::acts))]
    act: Spanned<String>,
    /// Only for this inlet.
    inlet: Option<u8>,
    /// Only for this hole, or this line of the checklist.
    number: Option<u32>,
    /// Only for this output.
    output: Option<u8>,
    /// Of `read-display`: only where it is about this, such as `flows`.
    about: Option<String>,
    /// `yes`, `no`, `cannot`, or `not-applicable` (of a line of the checklist).
    say: Option<Said>,
    /// The reason, for `no`, `cannot` and `not-applicable`.
    #[serde(default)]
    because: String,
    /// No answer: what is named here (a stage, `hole 1.4`, `smoke 1.4`) is done again first.
    again: Option<String>,
    /// Words, for prompts that want words; the note of a line of the checklist.
    text: Option<String>,
    /// A number, for prompts that want one.
    value: Option<f64>,
    /// Who says so, for a line of the checklist.
    by: Option<String>,
    /// A photo, for a line of the checklist: its path, from where the program was started.
    photo: Option<PathBuf>,
    /// Seconds from the prompt to this answer.
    #[cfg_attr(test, schemars(range(min = 0)))]
    pause_s: Option<Spanned<f64>>,
    /// Only so many times; then the next that fits, or the usual answer.
    times: Option<u32>,
    /// A command of the simulated site's control, carried out before the answer.
    site: Option<String>,
}
#[derive(Clone, Copy, Debug, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(rename_all = "kebab-case")]
enum Said {
    Yes,
    No,
    Cannot,
    NotApplicable,
}

/// An unattended operator at work.
pub struct Script {
    file: OperatorFile,
    /// How often each exception was used.
    used: RefCell<Vec<u32>>,
    /// When what is watched for is looked at again, by the number of its prompt.
    watched: RefCell<BTreeMap<u32, Instant>>,
    /// Reads the units that speak nothing.
    eyes: RefCell<Eyes>,
    /// When the stop-watch was started.
    started: Cell<Option<Instant>>,
    /// Presses no key for what the unit's own readings show.
    hands_full: bool,
    /// Marks a release as a person does; none: at the very moment.
    marks: RefCell<Option<Marks>>,
    /// A logger on the unit's smoke signal.
    logger: RefCell<Kept>,
}

/// Who watches a display looks at it this often.
const LOOKS: Duration = Duration::from_millis(500);
/// Whoever has both hands full presses a key only if the job did not go on for so long.
const WAITS: Duration = Duration::from_secs(60);

/// Takes a photo into the job folder.
pub type Photos = Box<dyn Fn(&Path) -> Result<Photo, Failure>>;

impl Script {
    /// An operator who says yes to everything after a pause.
    pub fn willing() -> Self {
        Self::of(OperatorFile { pause_s: USUAL_PAUSE_S, ..OperatorFile::default() })
    }
    /// An operator as the file says.
    pub fn of(file: OperatorFile) -> Self {
        let used = RefCell::new(vec![0; file.answers.len()]);
        Self {
            used,
            watched: RefCell::default(),
            eyes: RefCell::default(),
            started: Cell::default(),
            hands_full: false,
            marks: RefCell::default(),
            logger: RefCell::default(),
            file,
        }
    }
    /// The same, whose key marks a release a little early or late, as a person's does, by this seed.
    #[must_use]
    pub fn marking_by_hand(self, seed: u64) -> Self {
        Self { marks: RefCell::new(Some(Marks::new(seed))), ..self }
    }
    /// The same, who presses no key for what the unit's own readings show, as a person at a hole does.
    #[must_use]
    pub fn with_hands_full(self) -> Self {
        Self { hands_full: true, ..self }
    }
    /// The same, with this logger on the smoke signal of the unit.
    #[must_use]
    pub fn with_logger(self, logger: SimulatedLogger) -> Self {
        Self { logger: RefCell::new(Kept::new(logger)), ..self }
    }
    /// The file that goes with the answer that was just given.
    pub(super) fn at_hand(&self) -> Option<(String, Vec<u8>)> {
        self.logger.borrow_mut().at_hand()
    }
    /// The same, who reads units with these eyes.
    #[must_use]
    pub fn with_eyes(self, eyes: Eyes) -> Self {
        Self { eyes: RefCell::new(eyes), ..self }
    }
    /// Reads `operator.toml`.
    pub fn read(name: &str, bytes: &[u8]) -> Result<OperatorFile, Problem> {
        let source = Source::new(name, bytes, TEXT_LIMIT)?;
        let raw: Raw = written::from_toml(&source)?;
        written::version(&source, &raw.format, 1)?;
        for e in &raw.answer {
            if !Act::NAMES.contains(&e.act.as_ref().as_str()) {
                return Err(written::unknown_name(&source, &e.act, "a kind of prompt", Act::NAMES.iter().copied()));
            }
        }
        for pause in raw.answer.iter().filter_map(|e| e.pause_s.as_ref()).chain(&raw.pause_s) {
            let seconds = *pause.as_ref();
            if !seconds.is_finite() || seconds < 0.0 {
                let cause = format!("`{seconds}` is no pause: an answer can't come before its question, or never");
                return Err(source.problem(Kind::Range, pause.span(), cause, "write seconds, 0 or more"));
            }
        }
        Ok(OperatorFile {
            pause_s: raw.pause_s.map_or(USUAL_PAUSE_S, |p| *p.as_ref()),
            control: raw.control,
            answers: raw.answer,
        })
    }
    /// Says by itself what follows when something is not shown.
    pub(super) fn decides(&self) -> bool {
        self.file.answers.iter().any(|e| e.act.as_ref() == "decide")
    }
    /// When this prompt is answered that was asked then.
    fn answers_at(&self, asked: Instant, prompt: &Prompt) -> Instant {
        let own = self.exception(&prompt.act).and_then(|(_, e)| e.pause_s.as_ref());
        if let Some(watched) = self.watched.borrow().get(&prompt.id) {
            return *watched;
        }
        asked + seconds(own.map_or(self.file.pause_s, |p| *p.as_ref()))
    }
    /// The prompt that is answered next, and when.
    fn next<'a>(&self, open: &'a OpenPrompts) -> Option<(Instant, &'a Prompt)> {
        let all = open.iter().map(|(asked, prompt)| (self.answers_at(asked, prompt), prompt));
        all.min_by_key(|(at, prompt)| (*at, prompt.id))
    }
    /// When the next answer is due.
    pub fn due(&self, open: &OpenPrompts) -> Option<Instant> {
        let hands = self.marks.borrow().as_ref().and_then(|marks| marks.hands.as_ref().map(|(at, _)| *at));
        self.next(open).map(|(at, _)| at).into_iter().chain(hands).min()
    }
    /// A release where hands and key are not one moment. The key starts the stop-watch too.
    fn marked(&self, now: Instant, prompt: &Prompt, site: &mut dyn Site) -> Result<Press, Failure> {
        let mut marks = self.marks.borrow_mut();
        let Some(marks) = marks.as_mut().filter(|_| matches!(prompt.act, Act::ReleaseSmoke(_))) else {
            return Ok(Press::AsUsual);
        };
        let answer = match marks.key.take_if(|(id, _)| *id == prompt.id) {
            Some((_, answer)) => answer,
            None => match marks.off() {
                Off::KeyFirst(wait) => {
                    marks.hands = Some((now + wait, prompt.act.clone()));
                    Answer::Yes
                }
                Off::HandsFirst(wait) => {
                    marks.key = Some((prompt.id, super::acts::perform(now, &prompt.act, site)?));
                    self.watched.borrow_mut().insert(prompt.id, now + wait);
                    return Ok(Press::Later);
                }
            },
        };
        self.started.set(Some(now));
        Ok(Press::Now(answer))
    }
    /// The next answer that is due at `now`; what it stands for has been done at the site. It closes its prompt.
    pub fn answer_due(
        &self,
        now: Instant,
        open: &OpenPrompts,
        site: &mut dyn Site,
        photos: Option<&Photos>,
    ) -> Result<Option<OperatorAct>, Failure> {
        let hands = self.marks.borrow_mut().as_mut().and_then(|marks| marks.hands.take_if(|(at, _)| *at <= now));
        if let Some((_, act)) = hands {
            super::acts::perform(now, &act, site)?;
        }
        match self.next(open) {
            Some((at, prompt)) if at <= now => {
                if self.exception(&prompt.act).is_none() {
                    match self.marked(now, prompt, site)? {
                        Press::AsUsual => {}
                        Press::Later => return Ok(None),
                        Press::Now(answer) => return Ok(Some(OperatorAct::new(prompt.id, answer))),
                    }
                    let mut watched = self.watched.borrow_mut();
                    let waits = match &prompt.act {
                        Act::LoggerTime if !watched.contains_key(&prompt.id) => {
                            if let Some(turns) = self.logger.borrow().turns(now) {
                                watched.insert(prompt.id, turns);
                                return Ok(None);
                            }
                            false
                        }
                        Act::ReadDisplay { about } => !self.eyes.borrow_mut().is_done(now, prompt, about, site)?,
                        act if self.hands_full && act.may_show() && !watched.contains_key(&prompt.id) => {
                            super::acts::perform(now, act, site)?;
                            watched.insert(prompt.id, now + WAITS);
                            return Ok(None);
                        }
                        act => !self.shows(now, act, site)?,
                    };
                    if waits {
                        watched.insert(prompt.id, now + LOOKS);
                        return Ok(None);
                    }
                }
                Ok(Some(OperatorAct::new(prompt.id, self.act(now, prompt, site, photos)?)))
            }
            _ => Ok(None),
        }
    }

    fn exception(&self, act: &Act) -> Option<(usize, &Exception)> {
        let place = Place::of(act);
        let fits = |want: Option<u32>, have: Option<u32>| want.is_none() || want == have;
        let used = self.used.borrow();
        self.file.answers.iter().enumerate().find(|(i, e)| {
            *e.act.as_ref() == place.name
                && e.times.is_none_or(|times| used.get(*i).is_none_or(|used| *used < times))
                && fits(e.inlet.map(u32::from), place.inlet.map(u32::from))
                && fits(e.number, place.number)
                && fits(e.output.map(u32::from), place.output.map(u32::from))
                && e.about.as_deref().is_none_or(|about| place.about == Some(about))
        })
    }

    /// A line of the checklist, as the file says; done if it says nothing.
    fn tick(exception: Option<&Exception>, photos: Option<&Photos>) -> Result<Tick, Failure> {
        let Some(e) = exception else {
            return Ok(Tick { state: TickState::Done, by: None, note: None, photo: None });
        };
        let state = match e.say {
            None | Some(Said::Yes) => TickState::Done,
            Some(Said::No | Said::Cannot) => TickState::NotDone,
            Some(Said::NotApplicable) => TickState::NotApplicable,
        };
        let because = Some(e.because.clone()).filter(|b| !b.is_empty());
        let photo = match (&e.photo, photos) {
            (Some(path), Some(take_in)) => Some(take_in(path)?),
            _ => None,
        };
        Ok(Tick { state, by: e.by.clone(), note: because.or_else(|| e.text.clone()), photo })
    }

    pub(super) fn act(
        &self,
        now: Instant,
        prompt: &Prompt,
        site: &mut dyn Site,
        photos: Option<&Photos>,
    ) -> Result<Answer, Failure> {
        let exception = self.exception(&prompt.act).map(|(i, e)| {
            if let Some(used) = self.used.borrow_mut().get_mut(i) {
                *used += 1;
            }
            e
        });
        if let Some(command) = exception.and_then(|e| e.site.as_deref()) {
            let reply = site.command(now, command)?;
            if !reply.contains("\"ok\":true") {
                let cause = format!("the site did not do `{command}`: {reply}");
                return Err(Failure::trouble(cause, "correct the command; docs/simulator.md lists them"));
            }
        }
        if let Some(what) = exception.and_then(|e| e.again.clone()) {
            return Ok(Answer::Again(what));
        }
        if let Act::Checks { items } = &prompt.act {
            // What the file says more of is asked for by itself.
            let plain = items.iter().filter(|item| self.exception(&Act::Check { item: **item }).is_none());
            return Ok(Answer::Text(plain.map(u32::to_string).collect::<Vec<_>>().join(" ")));
        }
        if prompt.wants == Wants::Tick {
            return Self::tick(exception, photos).map(Answer::Ticked);
        }
        let because = || exception.map(|e| e.because.clone()).unwrap_or_default();
        match exception.and_then(|e| e.say) {
            Some(Said::No) if because().is_empty() => return Ok(Answer::No),
            Some(Said::No) => return Ok(Answer::NoBecause(because())),
            Some(Said::Cannot | Said::NotApplicable) => return Ok(Answer::Cannot(because())),
            _ => {}
        }
        if let Some(text) = exception.and_then(|e| e.text.clone()) {
            return Ok(Answer::Text(text));
        }
        if let Some(value) = exception.and_then(|e| e.value) {
            return Ok(Answer::Number(value));
        }
        Ok(match &prompt.act {
            // Nobody decides by script that unproven air is good enough.
            Act::Override => Answer::No,
            Act::ReadDisplay { about } => self.eyes.borrow_mut().answer(now, prompt, about, site)?,
            Act::ReadMeter { quantity: Metered::SmokeTime { .. } | Metered::FaultTime(_) } => {
                let since = self.started.get().map(|started| now.since(started).as_secs_f64());
                since.map_or_else(
                    || Answer::Cannot("no watch was started".into()),
                    |s| Answer::Number((s * 100.0).round() / 100.0),
                )
            }
            Act::ReadMeter { quantity } => {
                let unit = if let Wants::Number { unit } = &prompt.wants { unit } else { "" };
                Eyes::meter(now, *quantity, unit, site)?
            }
            Act::Who => Answer::Text("an unattended script".into()),
            Act::LoggerTime => {
                let shown = self.logger.borrow().shows(now, site)?;
                shown.map_or_else(|| Answer::Cannot("no logger is there".into()), Answer::Text)
            }
            Act::GiveFile { .. } => {
                let name = self.logger.borrow_mut().give(now, site)?;
                name.map_or_else(|| Answer::Cannot("no logger is there".into()), Answer::Text)
            }
            act => {
                if matches!(act, Act::ReleaseSmoke(_) | Act::ShutInlet { .. }) {
                    self.started.set(Some(now));
                }
                super::acts::perform(now, act, site)?
            }
        })
    }

    /// Whether what is watched for shows now; what is no such act does.
    fn shows(&self, now: Instant, act: &Act, site: &mut dyn Site) -> Result<bool, Failure> {
        let timed = match act {
            Act::ReadMeter { quantity: Metered::SmokeTime { at, from_n_m } } => {
                Some(Act::SmokeShows { at: *at, from_n_m: *from_n_m })
            }
            Act::ReadMeter { quantity: Metered::FaultTime(inlet) } => Some(Act::FaultShows { inlet: *inlet }),
            _ => None,
        };
        match timed.as_ref().unwrap_or(act) {
            Act::SmokeShows { from_n_m: Some(from), .. } => {
                self.eyes.borrow().shows_smoke(now, Extinction(*from as f64 * 1e-9), site)
            }
            act => Ok(super::acts::shows(now, act, site)? != Some(false)),
        }
    }
}

/// A prompt's kind and place, for matching exceptions.
struct Place {
    name: String,
    inlet: Option<u8>,
    number: Option<u32>,
    output: Option<u8>,
    about: Option<&'static str>,
}
impl Place {
    fn of(act: &Act) -> Self {
        let (inlet, number, output) = match act {
            Act::CloseHole(h) | Act::OpenHole(h) | Act::ReleaseSmoke(h) | Act::ReleaseWent(h) => {
                (Some(h.inlet), Some(h.number), None)
            }
            Act::OpenAlone { inlet, open, .. } => (Some(*inlet), Some(*open), None),
            Act::CloseHoles { inlet, .. } | Act::OpenHoles { inlet, .. } | Act::CountTape { inlet, .. } => {
                (Some(*inlet), None, None)
            }
            Act::ShutInlet { inlet } | Act::RefitInlet { inlet } => (Some(*inlet), None, None),
            Act::PanelShows { output, .. } | Act::PanelClear { output } => (None, None, Some(*output)),
            Act::Check { item } => (None, Some(*item), None),
            _ => (None, None, None),
        };
        let about = if let Act::ReadDisplay { about } = act { Some(about.name()) } else { None };
        Self { name: act.name().into(), inlet, number, output, about }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use schemars::Schema;

    /// The kinds of prompts that there are, as the journal names them.
    pub(super) fn acts(schema: &mut Schema) {
        let of_prompts = schemars::schema_for!(Act);
        let kinds = of_prompts.get("oneOf").and_then(|k| k.as_array()).cloned().unwrap_or_default();
        let names: Vec<_> = kinds.iter().filter_map(|k| k.pointer("/properties/act/const").cloned()).collect();
        assert_eq!(names.len(), kinds.len());
        assert_eq!(names, Act::NAMES);
        schema.insert("enum".into(), names.into());
    }

    #[test]
    fn docs_hold_the_current_schema() {
        plumeline_job::schema::holds("operator.schema.json", plumeline_job::schema::of_toml::<Raw>());
    }

    #[test]
    fn the_example_is_read() {
        let text = include_bytes!("../../../../docs/examples/operator.toml");
        let file = Script::read("operator.toml", text).unwrap();
        assert_eq!(file.answers.len(), 3);
        assert_eq!(file.control.as_deref(), Some("127.0.0.1:5001"));
    }

    #[test]
    fn slips_are_refused_with_their_place() {
        let message = |text: &str| Script::read("operator.toml", text.as_bytes()).unwrap_err().render(false);
        let unknown = message("format = 1\n[[answer]]\nact = \"close-hol\"\nsay = \"no\"\n");
        for part in ["operator.toml:3:7", "did you mean \"close-hole\"?", "release-smoke"] {
            assert!(unknown.contains(part), "{unknown}");
        }
        for pause in ["-1", "-0.5", "nan", "inf"] {
            let at_top = message(&format!("format = 1\npause_s = {pause}\n"));
            assert!(at_top.contains("operator.toml:2:11") && at_top.contains("0 or more"), "{at_top}");
            message(&format!("format = 1\n[[answer]]\nact = \"swap\"\npause_s = {pause}\n"));
        }
        assert!(message("format = 2\n").contains("format is 2"));
        assert!(Script::read("operator.toml", b"format = 1\npause_s = 0\n").is_ok());
    }
}

//! What the journal and the readings tell beyond the outcome: series for charts, dates, files, overrides, closed
//! holes. Fed line by line and reading by reading; keeps only what reports show.
use core::time::Duration;
use plumeline_base::{
    Instant,
    input::{Answer, FromPage, LineId},
};
use plumeline_detector::{Reading, vocabulary::FlowBasis};
use plumeline_procedure::{
    anchor::Note,
    effect::Entry,
    outcome::StageKind,
    plan::HoleRef,
    prompt::{Act, Prompt, name_and_reason},
};
use std::collections::BTreeMap;

/// Readings further apart than this many of their usual spacings are a gap.
const GAP_SPACINGS: f64 = 3.5;

/// What reports show beyond the outcome.
#[derive(Clone, Debug, Default)]
pub struct Record {
    /// Dates (RFC 3339) with the instant of log time at which they were noted.
    pub dates: Vec<(Instant, String)>,
    /// Versions of the tool that wrote the log, one for each time it was opened.
    pub tools: Vec<String>,
    /// The job's own files as they were read: name, SHA-256 (hexadecimal), length in bytes.
    pub files: Vec<(String, String, u64)>,
    /// Links used, as the user wrote them, each once.
    pub links: Vec<String>,
    /// What was answered at pages, in order.
    pub at_pages: Vec<AtPage>,
    /// Times at which somebody chose to go on although something was unproven.
    pub overrides: Vec<Override>,
    /// What was made void: when, which stages, why.
    pub voided: Vec<(Instant, Vec<StageKind>, String)>,
    /// Holes that were closed: from, to, which.
    pub closed: Vec<(Instant, Instant, HoleRef)>,
    /// When the zone went out of service, with the limit, s.
    pub out_of_service: Option<(Instant, f64)>,
    /// When it was back.
    pub back_in_service: Option<Instant>,
    /// Codes of this record that were left in units' event logs.
    pub notes_left: Vec<Note>,
    /// Remarks of the journal.
    pub remarks: Vec<(Instant, String)>,
    /// Stretches without a link or without readable frames: from, to, what was wrong.
    pub line_gaps: Vec<(Instant, Instant, String)>,
    /// Flow in [`Self::flow_unit`], one series for each inlet in the unit's order.
    pub flow: Vec<Series>,
    /// What the flows are of, by the detector that was read last.
    pub flow_basis: Option<FlowBasis>,
    /// Extinction, 1/m: one series for the unit, or one for each inlet in the unit's order.
    pub extinction: Vec<Series>,
    /// Time of the last journal line or reading.
    pub until: Instant,
    /// Readings per second that were asked for; gaps are told by it. 0: 1 is taken.
    pub readings_hz: u8,
    now: Now,
}

/// Where the journal and the readings stand.
#[derive(Clone, Debug, Default)]
struct Now {
    stage: Option<StageKind>,
    /// The exchange of the units began.
    swapped: bool,
    prompts: BTreeMap<u32, Prompt>,
    /// Holes that are closed, and since when.
    closed: Vec<(Instant, HoleRef)>,
    line_down: Option<(Instant, String)>,
    last_reading: Option<Instant>,
}

/// An answer that came from a page.
#[derive(Clone, Debug, PartialEq)]
pub struct AtPage {
    /// When it came.
    pub came: Instant,
    /// What was asked.
    pub asked: String,
    /// The answer.
    pub answer: Answer,
    /// Who gave it, and what came with it.
    pub page: FromPage,
}

/// A decision to go on although something was unproven.
#[derive(Clone, Debug, PartialEq)]
pub struct Override {
    /// When.
    pub at: Instant,
    /// In which stage, if in one.
    pub stage: Option<StageKind>,
    /// What was asked.
    pub asked: String,
    /// Who and why, in the person's own words.
    pub answer: String,
}

/// Points over log time.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Series {
    /// Instants in order; `None` where there is no value, which breaks the line.
    pub points: Vec<(Instant, Option<f64>)>,
}

impl Record {
    /// An empty record of a job that asks for this many readings per second.
    pub fn new(readings_hz: u8) -> Self {
        Self { readings_hz, ..Self::default() }
    }

    /// Takes in a line of the journal.
    pub fn entry(&mut self, at: Instant, entry: &Entry) {
        self.until = self.until.max(at);
        match entry {
            Entry::Opened { tool, .. } => self.tools.push(tool.clone()),
            Entry::Date { date } => self.dates.push((at, date.clone())),
            Entry::File { name, sha256, length } => {
                let file = (name.clone(), sha256.clone(), *length);
                if !self.files.contains(&file) {
                    self.files.push(file);
                }
            }
            Entry::StageBegan { stage } => {
                self.now.stage = Some(*stage);
                self.now.swapped |= *stage == StageKind::Swap;
            }
            Entry::StageEnded(_) => self.now.stage = None,
            Entry::Asked(prompt) => {
                self.now.prompts.insert(prompt.id, prompt.clone());
            }
            Entry::Answered { prompt, answer, page } => {
                if let (Some(page), Some(asked)) = (page, self.now.prompts.get(prompt)) {
                    let (asked, page) = (asked.text.clone(), (**page).clone());
                    self.at_pages.push(AtPage { came: at, asked, answer: answer.clone(), page });
                }
                let mark = page.as_ref().and_then(|page| page.mark);
                self.answered(mark.map_or(at, |mark| mark.at.min(at)), *prompt, answer);
            }
            // The outgoing unit has gone for good once the exchange began.
            Entry::LinkUp { line: LineId::Outgoing, .. } | Entry::LinkDown { line: LineId::Outgoing, .. }
                if self.now.swapped => {}
            Entry::LinkUp { link, .. } => {
                if !self.links.contains(link) {
                    self.links.push(link.clone());
                }
                self.line_back(at);
            }
            Entry::LinkDown { cause, .. } => self.line_lost(at, cause.words().to_owned()),
            Entry::Line { trouble } => self.line_lost(at, trouble.to_string()),
            Entry::LineBack => self.line_back(at),
            Entry::Void { stages, because } => self.voided.push((at, stages.clone(), because.clone())),
            Entry::PutRight { stages, what } => {
                let stages: Vec<&str> = stages.iter().map(|s| s.name()).collect();
                self.remarks.push((at, format!("put right: {what}; proven again: {}", stages.join(", "))));
            }
            Entry::NoteLeft(note) => self.notes_left.push(note.clone()),
            Entry::NoteMet(note) => {
                let text = format!("met in the event log of unit {}: {}", note.serial, note.words());
                self.remarks.push((at, text));
            }
            Entry::Remark { text } => self.remarks.push((at, text.clone())),
            Entry::LoggerFile { name, column, unit, first, readings: (all, taken), .. } => {
                let text = format!(
                    "file of a logger: {name}, column {column}, in {unit}, from {first} by its clock; {taken} of its {all} readings lie about \
                     the marks of its clock"
                );
                self.remarks.push((at, text));
            }
            Entry::Ended { .. } => {
                self.line_back(at);
                for (from, hole) in self.now.closed.drain(..) {
                    self.closed.push((from, at, hole));
                }
            }
            Entry::OutOfService { limit_s } => self.out_of_service = Some((at, *limit_s)),
            Entry::Seen { of: Act::OpenHole(hole) } => self.opened(at, *hole),
            Entry::TakenBack { of: Act::Isolate, .. } => self.out_of_service = None,
            Entry::BackInService { .. } => self.back_in_service = Some(at),
            Entry::Ticked(_) | Entry::TakenBack { .. } | Entry::Seen { .. } | Entry::SettingsHeld { .. } => {}
            Entry::Unit { .. } | Entry::StartedAnew { .. } | Entry::Settings { .. } | Entry::Found(_) => {}
        }
    }

    /// Takes in a set of readings.
    pub fn reading(&mut self, reading: &Reading, basis: FlowBasis) {
        let at = reading.received;
        // Whatever was written down of the line: a reading that came is no gap.
        self.line_back(at);
        self.until = self.until.max(at);
        let spacing = Duration::from_secs_f64(GAP_SPACINGS / f64::from(self.readings_hz.max(1)));
        let gap = self.now.last_reading.is_some_and(|last| at.since(last) > spacing);
        let (before, (unit, size)) = (self.flow_unit(), basis.unit());
        self.flow_basis = Some(basis);
        if before != unit {
            // Flows and shares of flows are not drawn as one line.
            self.flow.clear();
        }
        let flows = reading.flow_m3_s.iter().map(|v| v.map(|v| v / size));
        push_all(&mut self.flow, at, gap, self.now.last_reading, flows);
        push_all(&mut self.extinction, at, gap, self.now.last_reading, reading.extinction_per_m.iter().copied());
        self.now.last_reading = Some(at);
    }

    /// The unit of the flows.
    pub fn flow_unit(&self) -> &'static str {
        self.flow_basis.unwrap_or(FlowBasis::Actual).unit().0
    }

    /// The extinction series that belongs to an inlet: its own, or the unit's one.
    pub fn extinction_of(&self, inlet: u8) -> Option<&Series> {
        match self.extinction.as_slice() {
            [one] => Some(one),
            each => each.get(usize::from(inlet).checked_sub(1)?),
        }
    }

    fn answered(&mut self, at: Instant, id: u32, answer: &Answer) {
        let Some(prompt) = self.now.prompts.remove(&id) else { return };
        match (&prompt.act, answer) {
            (Act::CloseHole(hole), Answer::Yes) => self.now.closed.push((at, *hole)),
            (Act::OpenHole(hole), Answer::Yes) => self.opened(at, *hole),
            (Act::CloseHoles { inlet, holes }, Answer::Yes) => {
                self.now.closed.extend(holes.iter().map(|n| (at, HoleRef { inlet: *inlet, number: *n })));
            }
            (Act::OpenAlone { inlet, close, open }, Answer::Yes) => {
                let hole = |number: u32| HoleRef { inlet: *inlet, number };
                self.now.closed.extend(close.map(|n| (at, hole(n))));
                self.opened(at, hole(*open));
            }
            (Act::OpenHoles { inlet, holes }, Answer::Yes) => {
                holes.iter().for_each(|n| self.opened(at, HoleRef { inlet: *inlet, number: *n }));
            }
            // Without a name and a reason the procedure overrides nothing.
            (Act::Override, Answer::Text(answer)) if name_and_reason(answer).is_some() => {
                self.overrides.push(Override { at, stage: self.now.stage, asked: prompt.text, answer: answer.clone() })
            }
            _ => {}
        }
    }

    fn opened(&mut self, at: Instant, hole: HoleRef) {
        if let Some(k) = self.now.closed.iter().position(|(_, h)| *h == hole) {
            let (from, hole) = self.now.closed.remove(k);
            self.closed.push((from, at, hole));
        }
    }

    fn line_lost(&mut self, at: Instant, what: String) {
        if self.now.line_down.is_none() {
            self.now.line_down = Some((at, what));
        }
    }

    fn line_back(&mut self, at: Instant) {
        if let Some((from, what)) = self.now.line_down.take() {
            self.line_gaps.push((from, at, what));
        }
    }
}

/// Appends one value to each series, with a break first where there was a gap; series that lack a value get `None`.
fn push_all(
    all: &mut Vec<Series>,
    at: Instant,
    gap: bool,
    last: Option<Instant>,
    values: impl ExactSizeIterator<Item = Option<f64>>,
) {
    if all.len() < values.len() {
        all.resize_with(values.len(), Series::default);
    }
    let mut values = values;
    for series in all.iter_mut() {
        if gap {
            series.points.extend(last.map(|t| (t, None)));
        }
        series.points.push((at, values.next().flatten().filter(|v| v.is_finite())));
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use plumeline_base::input::LinkDown;
    use plumeline_detector::driver::Wants;

    fn reading(at: Instant, flow: Option<f64>) -> Reading {
        Reading { received: at, flow_m3_s: vec![flow], ..Reading::default() }
    }
    fn ask(r: &mut Record, id: u32, act: Act, at: u64, answer: Answer) {
        let prompt = Prompt { id, act, text: "asked".into(), wants: Wants::Done, back: None };
        r.entry(Instant::from_secs(at), &Entry::Asked(prompt));
        r.entry(Instant::from_secs(at + 1), &Entry::Answered { prompt: id, answer, page: None });
    }

    #[test]
    fn a_gap_in_the_readings_breaks_the_series() {
        let mut r = Record::new(10);
        for ms in [0, 100, 200, 1000, 1100] {
            r.reading(&reading(Instant::from_micros(ms * 1000), Some(40.0 / 60_000.0)), FlowBasis::Actual);
        }
        r.reading(&reading(Instant::from_micros(1_200_000), Some(f64::NAN)), FlowBasis::Actual);
        let values: Vec<bool> = r.flow[0].points.iter().map(|(_, v)| v.is_some()).collect();
        assert_eq!(values, [true, true, true, false, true, true, false]);
        assert!((r.flow[0].points[0].1.unwrap() - 40.0).abs() < 1e-9, "in L/min");
    }
    #[test]
    fn holes_count_as_closed_from_answer_to_answer_and_until_the_end_if_never_opened() {
        let mut r = Record::new(1);
        let hole = |number| HoleRef { inlet: 1, number };
        ask(&mut r, 1, Act::CloseHole(hole(1)), 10, Answer::Yes);
        ask(&mut r, 2, Act::OpenHole(hole(1)), 20, Answer::Yes);
        ask(&mut r, 3, Act::CloseHole(hole(2)), 30, Answer::Cannot("out of reach".into()));
        ask(&mut r, 4, Act::CloseHole(hole(3)), 40, Answer::Yes);
        r.entry(Instant::from_secs(99), &Entry::Ended { verdict: Default::default(), because: String::new() });
        let s = Instant::from_secs;
        assert_eq!(r.closed, [(s(11), s(21), hole(1)), (s(41), s(99), hole(3))]);
    }
    #[test]
    fn an_override_is_kept_with_its_words_and_a_refusal_is_none() {
        let mut r = Record::new(1);
        r.entry(Instant::START, &Entry::StageBegan { stage: StageKind::Baseline });
        ask(&mut r, 1, Act::Override, 5, Answer::No);
        ask(&mut r, 3, Act::Override, 6, Answer::Yes);
        ask(&mut r, 4, Act::Override, 7, Answer::Text("because I say so".into()));
        ask(&mut r, 2, Act::Override, 8, Answer::Text("A. Name: a reason".into()));
        assert_eq!(r.overrides.len(), 1);
        assert_eq!((r.overrides[0].stage, &*r.overrides[0].answer), (Some(StageKind::Baseline), "A. Name: a reason"));
    }
    #[test]
    fn a_reading_ends_a_gap_that_nobody_else_ended() {
        let mut r = Record::new(1);
        let s = Instant::from_secs;
        r.entry(s(3), &Entry::Line { trouble: plumeline_detector::Trouble::Silent });
        r.reading(&reading(s(5), None), FlowBasis::Actual);
        r.entry(s(4000), &Entry::Ended { verdict: Default::default(), because: String::new() });
        assert_eq!(r.line_gaps.iter().map(|(a, b, _)| (*a, *b)).collect::<Vec<_>>(), [(s(3), s(5))]);
    }
    #[test]
    fn a_lost_line_is_a_gap_until_it_is_back_or_the_job_ends() {
        let mut r = Record::new(1);
        let s = Instant::from_secs;
        r.entry(s(3), &Entry::LinkDown { line: LineId::Main, cause: LinkDown::Unplugged, detail: String::new() });
        r.entry(s(4), &Entry::LinkDown { line: LineId::Main, cause: LinkDown::Absent, detail: String::new() });
        r.entry(s(9), &Entry::LinkUp { line: LineId::Main, link: "sim:".into() });
        r.entry(s(12), &Entry::Line { trouble: plumeline_detector::Trouble::Garbled });
        r.entry(s(15), &Entry::Ended { verdict: Default::default(), because: String::new() });
        let gaps: Vec<_> = r.line_gaps.iter().map(|(a, b, w)| (*a, *b, w.as_str())).collect();
        assert_eq!(
            gaps,
            [(s(3), s(9), "the port went away"), (s(12), s(15), "what comes from the port can't be read")]
        );
    }
}

//! Invented jobs for the tests and the sample reports: a clean one, a failed one, an undecided one and an aborted one.
//! Numbers are plausible, not computed: what is under test is how they are shown.
#![allow(dead_code, clippy::unwrap_used, reason = "shared by several tests and the example, each of which uses a part")]

use plumeline_base::{
    Instant, Verdict,
    input::{Answer, LinkDown},
    obscuration::ObscurationUnit,
};
use plumeline_detector::{Identity, Trouble, driver::Wants};
use plumeline_procedure::{
    effect::Entry,
    outcome::{
        DecisionFacts, Figure, Finding, Outcome, PipeFlow, SmokeRun, StageKind, StageResult, Statement, Subject,
    },
    plan::*,
    prompt::{Act, Prompt},
};
use plumeline_report::{Digests, PipeFacts, Record, ReportInput, input::OpeningFacts};

pub(crate) mod plan;
mod readings;
pub(crate) use plan::plan;
use readings::record;

/// A job with all that its report needs.
pub(crate) struct Sample {
    pub(crate) name: &'static str,
    pub(crate) outcome: Outcome,
    pub(crate) plan: Plan,
    pub(crate) pipes: Vec<PipeFacts>,
    pub(crate) record: Record,
    pub(crate) digests: Digests,
}
impl Sample {
    pub(crate) fn input(&self) -> ReportInput<'_> {
        ReportInput {
            name: self.name,
            outcome: &self.outcome,
            plan: &self.plan,
            pipes: &self.pipes,
            record: &self.record,
            obscuration: ObscurationUnit::PercentPerMetre,
            digests: &self.digests,
            tool: "0.1.0",
            carried: None,
            history: None,
        }
    }
}

pub(crate) const PREDICTED: [f64; 3] = [41.8, 38.4, 44.9];
const PREDICTED_S: [f64; 3] = [52.0, 61.5, 47.0];
const HOLES: u32 = 6;
/// Stages of the clean job with their ends, s.
const TIMES: [(StageKind, u64); 17] = [
    (StageKind::Bench, 20),
    (StageKind::Isolate, 95),
    (StageKind::AsFound, 260),
    (StageKind::Swap, 1580),
    (StageKind::Boot, 1613),
    (StageKind::Load, 1650),
    (StageKind::Settle, 1795),
    (StageKind::ProveFlow, 2760),
    (StageKind::Baseline, 2825),
    (StageKind::ProveSmoke, 4190),
    (StageKind::Purge, 4330),
    (StageKind::Supervise, 4560),
    (StageKind::Supply, 4620),
    (StageKind::Outputs, 4700),
    (StageKind::LastLook, 4840),
    (StageKind::Restore, 4905),
    (StageKind::Close, 4910),
];
const S: fn(u64) -> Instant = Instant::from_secs;

fn began(stage: StageKind) -> u64 {
    let k = TIMES.iter().position(|(s, _)| *s == stage).unwrap();
    if k == 0 { 0 } else { TIMES[k - 1].1 }
}
fn ended(stage: StageKind) -> u64 {
    TIMES.iter().find(|(s, _)| *s == stage).unwrap().1
}
fn hole_times(pipe: usize, hole: u32) -> (u64, u64) {
    let at = began(StageKind::ProveFlow) + 70 + (pipe as u64 * u64::from(HOLES) + u64::from(hole - 1)) * 48;
    (at + 14, at + 34)
}
fn release(pipe: usize, run: u64) -> u64 {
    began(StageKind::ProveSmoke) + 30 + (pipe as u64 * 3 + run - 1) * 148
}

fn decision(conformity: f64, half: f64) -> DecisionFacts {
    DecisionFacts {
        conformity,
        low: Some(-half),
        high: Some(half),
        guard: half * 0.31,
        consumers_risk: 1.0 - conformity,
        producers_risk: conformity,
        rule: "JCGM 106 guard band; risk 0.167 % for this test, shared out over 30 tests of the job".into(),
    }
}

fn stage(kind: StageKind, verdict: Verdict) -> StageResult {
    StageResult {
        stage: kind,
        verdict,
        complete: true,
        began: S(began(kind)),
        ended: S(ended(kind)),
        because: None,
        put_right: None,
    }
}

fn found(stage: StageKind, subject: Subject, code: &str, told: &[(&str, &str)]) -> Finding {
    Finding::coded(stage, subject, code, told).unwrap_or_else(|| panic!("{code} is no finding that {told:?} fill"))
}
/// Has it say what this code says; figures, limit and window stay.
fn state(f: &mut Finding, code: &str, told: &[(&str, &str)]) {
    let said = found(f.stage, f.subject.clone(), code, told);
    let Finding { verdict, code, told, says, likely, next, .. } = said;
    (f.verdict, f.code, f.told, f.says, f.likely, f.next) = (verdict, code, told, says, likely, next);
}

fn flow_finding(plan: &Plan, pipe: usize, factor: f64) -> Finding {
    let (inlet, predicted) = (pipe as u8 + 1, PREDICTED[pipe]);
    let mut f = found(StageKind::ProveFlow, Subject::Pipe(inlet), "flow.as-predicted", &[("percent", "+0.6")]);
    f.measured = Some(Figure::with(predicted * factor, 1.1, "L/min"));
    f.expected = Some(Figure::with(predicted, 2.6, "L/min"));
    f.limit = Some(plan.flow.material.clone());
    f.decision = Some(decision(0.9971, predicted * 0.1));
    f.window = Some((S(began(StageKind::ProveFlow) + 5), S(began(StageKind::ProveFlow) + 65)));
    f
}

fn hole_finding(plan: &Plan, pipe: usize, hole: u32) -> Finding {
    let inlet = pipe as u8 + 1;
    let drop = PREDICTED[pipe] * (0.045 + 0.006 * f64::from(hole));
    let what = if hole == HOLES { "end cap" } else { "hole" };
    let name = format!("{what} {hole} of pipe {inlet}");
    let seen = format!("closing it lowered the flow by {:.2} L/min", drop * 0.98);
    let told = [("hole", &*name), ("seen", &*seen), ("off", "-2")];
    let mut f = found(StageKind::ProveFlow, Subject::Hole(inlet, hole), "holes.draws", &told);
    f.measured = Some(Figure::with(drop * (0.98 + 0.01 * f64::from(hole % 3)), 0.14, "L/min"));
    f.expected = Some(Figure::with(drop, 0.21, "L/min"));
    f.limit = Some(plan.holes.agreement.clone());
    f.decision = Some(decision(0.99991, drop * 0.5));
    let (from, to) = hole_times(pipe, hole);
    f.window = Some((S(from - 12), S(to)));
    f
}

fn smoke_run(pipe: usize, run: u8) -> SmokeRun {
    let at = release(pipe, u64::from(run));
    let t = PREDICTED_S[pipe] * 0.9 + 0.4 + 0.2 * f64::from(run);
    SmokeRun {
        inlet: pipe as u8 + 1,
        hole: HOLES,
        run,
        released: S(at),
        onset: Some(Figure::with(t, 0.9, "s")),
        half_plateau: Some(Figure::plain(t + 3.1, "s")),
        alarm_after_s: Some(t + 14.0),
        until: S(at + 125),
        why_not: None,
        by: None,
        by_hand: None,
        curve: Vec::new(),
        set_aside: None,
    }
}

fn smoke_findings(plan: &Plan, pipe: usize) -> [Finding; 2] {
    let subject = Subject::Pipe(pipe as u8 + 1);
    let t = PREDICTED_S[pipe] * 0.9 + 0.8;
    let window = Some((S(release(pipe, 1)), S(release(pipe, 3) + 125)));
    let time = format!("{t:.1}");
    let told = [("hole", "the end cap"), ("time", &*time), ("aside", "")];
    let mut limit = found(StageKind::ProveSmoke, subject.clone(), "smoke.within-limit", &told);
    limit.measured = Some(Figure::with(t, 1.4, "s"));
    limit.limit = Some(plan.limits.transport.clone());
    limit.decision = Some(DecisionFacts { low: None, high: Some(120.0), guard: 2.2, ..decision(0.99999, 1.0) });
    let told = [("hole", "the end cap"), ("by", "-2.1")];
    let mut agrees = found(StageKind::ProveSmoke, subject, "smoke.as-predicted", &told);
    agrees.measured = Some(Figure::with(t + 3.1, 1.4, "s"));
    agrees.expected = Some(Figure::with(PREDICTED_S[pipe], 4.1, "s"));
    agrees.limit = Some(plan.limits.transport_agreement.clone());
    agrees.decision = Some(decision(0.9988, PREDICTED_S[pipe] * 0.15));
    (limit.window, agrees.window) = (window, window);
    [limit, agrees]
}

/// Everything passes.
pub(crate) fn clean() -> Sample {
    let plan = plan();
    let factor = [1.006, 0.991, 1.012];
    let mut o = Outcome {
        verdict: Verdict::Pass,
        because: "everything that the plan asks for was shown".into(),
        outgoing: Some(identity("Old Lane Works", "OL-4", "90-1183", None)),
        replacement: Some(identity("Meadow Instruments", "M4 sampler", "MI-000417", Some(7))),
        out_of_service_s: Some(4815.0),
        ..Outcome::default()
    };
    o.stages = TIMES.iter().map(|(kind, _)| stage(*kind, Verdict::Pass)).collect();
    let f = &mut o.findings;
    f.push(found(StageKind::Bench, Subject::Replacement, "load.read-back", &[("items", "42")]));
    f.push(found(StageKind::Isolate, Subject::Zone, "isolate.zone-isolated", &[]));
    f.push(found(StageKind::Isolate, Subject::Zone, "isolate.locked-off", &[]));
    for (line, item) in plan.checklist.iter().zip(1..=4) {
        f.push(found(
            line.stage,
            Subject::Check(item),
            "checklist.done",
            &[("item", &line.text), ("by", "R. Example")],
        ));
    }
    f.push(found(StageKind::AsFound, Subject::Outgoing, "as-found.settings", &[("items", "42")]));
    let told =
        [("maker", "Meadow Instruments"), ("model", "M4 sampler"), ("serial", "MI-000417"), ("firmware", "2.3.1")];
    f.push(found(StageKind::Boot, Subject::Replacement, "unit.as-planned", &told));
    f.push(found(StageKind::Load, Subject::Replacement, "load.kept", &[("items", "42")]));
    for pipe in 0..3 {
        let mut s = found(StageKind::Settle, Subject::Pipe(pipe as u8 + 1), "settle.steady", &[]);
        s.window = Some((S(1670), S(1790)));
        f.push(s);
    }
    for (pipe, factor) in factor.iter().enumerate() {
        f.extend((1..=HOLES).map(|hole| hole_finding(&plan, pipe, hole)));
        f.push(flow_finding(&plan, pipe, *factor));
    }
    for pipe in 0..3 {
        let mut b = found(StageKind::Baseline, Subject::Pipe(pipe as u8 + 1), "baseline.as-measured", &[]);
        b.measured = Some(Figure::plain(PREDICTED[pipe] * factor[pipe], "L/min"));
        b.expected = Some(Figure::with(PREDICTED[pipe] * factor[pipe] - 0.05, 0.2, "L/min"));
        f.push(b);
    }
    for pipe in 0..3 {
        f.extend(smoke_findings(&plan, pipe));
        o.smoke.extend((1..=3).map(|run| smoke_run(pipe, run)));
    }
    f.push(found(StageKind::Purge, Subject::Replacement, "purge.clear", &[]));
    let mut s = found(StageKind::Supervise, Subject::Pipe(1), "supervise.fault-in-time", &[]);
    s.measured = Some(Figure::plain(41.5, "s"));
    s.limit = Some(plan.limits.flow_fault_within.clone());
    f.push(s);
    f.push(found(StageKind::Supply, Subject::Replacement, "supply.voltage", &[("supply", "mains")]));
    f.push(found(
        StageKind::Outputs,
        Subject::Output(1),
        "outputs.operates",
        &[("function", "fire"), ("by", "the operator says")],
    ));
    for pipe in 0..3 {
        let mut l = found(StageKind::LastLook, Subject::Pipe(pipe as u8 + 1), "last-look.as-at-baseline", &[]);
        l.measured = Some(Figure::with(PREDICTED[pipe] * factor[pipe] + 0.1, 0.2, "L/min"));
        l.expected = Some(Figure::plain(PREDICTED[pipe] * factor[pipe], "L/min"));
        l.window = Some((S(4770), S(4830)));
        f.push(l);
    }
    f.push(found(StageKind::Restore, Subject::Zone, "restore.zone-restored", &[]));
    f.push(found(StageKind::Restore, Subject::Replacement, "restore.no-fault", &[]));
    f.push(found(StageKind::Close, Subject::Zone, "close.in-time", &[]));
    o.pipes = (0..3).map(|p| pipe_flow(p, factor[p])).collect();
    o.could_have_missed = (1..=3)
        .map(|p| Statement::new(Subject::Pipe(p), format!("pipe {p}: a change of its whole flow by less than 7.4 % (by flow alone), and a single closed-in-turn hole that draws up to 50 % less or more than predicted")))
        .collect();
    let record = record(4910, factor, [false; 3], (1630, 1641));
    Sample { name: "clean", outcome: o, plan, pipes: pipes(), record, digests: digests() }
}

fn identity(maker: &str, model: &str, serial: &str, boot_id: Option<u64>) -> Identity {
    Identity { maker: maker.into(), model: model.into(), serial: serial.into(), firmware: "2.3.1".into(), boot_id }
}

fn pipe_flow(pipe: usize, factor: f64) -> PipeFlow {
    PipeFlow {
        inlet: pipe as u8 + 1,
        predicted: Figure::with(PREDICTED[pipe], 2.6, "L/min"),
        measured: Some(Figure::with(PREDICTED[pipe] * factor, 1.1, "L/min")),
        as_found: Some(Figure::with(PREDICTED[pipe] * 0.97, 1.5, "L/min")),
        baseline: Some(PREDICTED[pipe] * factor),
        predicted_transport: Some(Figure::with(PREDICTED_S[pipe], 4.1, "s")),
        smallest_visible: Some(0.074),
    }
}

fn pipes() -> Vec<PipeFacts> {
    let opening = |number| OpeningFacts {
        number,
        kind: if number == HOLES { "end cap" } else { "hole" },
        diameter_mm: if number == HOLES { 5.0 } else { 3.0 },
        reachable: true,
        whereabouts: if number == 2 { "labelled A2, \"store <b>room</b>\"".into() } else { String::new() },
    };
    let pipe = |inlet, length_m| PipeFacts { inlet, length_m, openings: (1..=HOLES).map(opening).collect() };
    vec![pipe(1, 38.0), pipe(2, 44.5), pipe(3, 33.2)]
}

fn digests() -> Digests {
    Digests { journal_head: "5a".repeat(32), trace: "c3".repeat(32) }
}

/// Drops everything after a stage, as a stop does, but for what makes the site safe.
fn stop_after(sample: &mut Sample, last: StageKind, why: &str) {
    let keeps = |s: StageKind| s <= last || matches!(s, StageKind::Restore | StageKind::Close);
    sample.outcome.stages.retain(|s| keeps(s.stage));
    sample.outcome.findings.retain(|f| keeps(f.stage));
    sample.outcome.not_done = StageKind::ALL.into_iter().filter(|s| !keeps(*s)).map(|s| (s, why.to_owned())).collect();
    if last < StageKind::ProveSmoke {
        sample.outcome.smoke.clear();
    }
    if last < StageKind::Baseline {
        sample.outcome.pipes.iter_mut().for_each(|p| p.baseline = None);
    }
    let end = ended(last);
    sample.outcome.out_of_service_s = Some(end as f64 + 25.0);
    for (s, at) in sample.outcome.stages.iter_mut().filter(|s| s.stage > last).zip([end, end + 60]) {
        (s.began, s.ended) = (S(at), S(at + 60));
    }
}

/// Pipe 2 draws too little; the job stops and restores.
pub(crate) fn failed() -> Sample {
    let mut s = clean();
    s.name = "failed";
    let factor = [1.006, 0.803, 1.012];
    stop_after(&mut s, StageKind::ProveFlow, "stopped after prove-flow: fail");
    s.outcome.findings.retain(|f| !matches!(f.subject, Subject::Hole(..)));
    for f in s.outcome.findings.iter_mut().filter(|f| f.stage == StageKind::ProveFlow) {
        if f.subject == Subject::Pipe(2) {
            state(f, "flow.less-than-predicted", &[("percent", "19.7")]);
            f.measured = Some(Figure::with(PREDICTED[1] * factor[1], 1.1, "L/min"));
            f.decision = Some(decision(0.0004, PREDICTED[1] * 0.1));
        } else {
            state(f, "flow.too-uncertain", &[("percent", "+0.6")]);
        }
    }
    s.outcome.verdict = Verdict::Fail;
    s.outcome.because = "pipe 2: flow is 19.7 % less than predicted".into();
    s.outcome.stages.iter_mut().filter(|s| s.stage == StageKind::ProveFlow).for_each(|s| s.verdict = Verdict::Fail);
    s.outcome.pipes[1].measured = Some(Figure::with(PREDICTED[1] * factor[1], 1.1, "L/min"));
    s.record = record(ended(StageKind::ProveFlow), factor, [false; 3], (1630, 1641));
    s.record.closed.clear();
    s
}

/// Smoke at pipe 3 is too weak, two of its holes are out of reach, the baseline was taken by an override and is void.
pub(crate) fn undecided() -> Sample {
    let mut s = clean();
    s.name = "undecided";
    s.record = record(4910, [1.006, 0.991, 1.012], [false, false, true], (3655, 3668));
    let prompt = Prompt {
        id: 900,
        act: Act::Override,
        text: "The airflow is undecided, not proven.".into(),
        wants: Wants::Text,
        back: None,
    };
    s.record.entry(S(2765), &Entry::StageBegan { stage: StageKind::Baseline });
    s.record.entry(S(2766), &Entry::Asked(prompt));
    let answer = "R. Example: holes 4 and 5 are above the false ceiling, lift booked for Friday";
    s.record.entry(S(2790), &Entry::Answered { prompt: 900, answer: Answer::Text(answer.into()), page: None });
    s.record.entry(S(3655), &Entry::Line { trouble: Trouble::Silent });
    s.record.entry(S(3668), &Entry::LineBack);
    s.record.entry(S(4830), &Entry::Void { stages: vec![StageKind::Baseline], because: "the cover was opened".into() });
    let o = &mut s.outcome;
    for number in [4, 5] {
        s.pipes[2].openings[number - 1].reachable = false;
        o.findings.retain(|f| f.subject != Subject::Hole(3, number as u32));
        s.record.closed.retain(|(_, _, h)| !(h.inlet == 3 && h.number == number as u32));
    }
    for f in o.findings.iter_mut() {
        match (f.stage, &f.subject) {
            (StageKind::ProveFlow, Subject::Pipe(3)) => {
                state(f, "flow.holes-not-reached", &[("percent", "+1.2"), ("holes", "4, 5")]);
                f.decision = Some(decision(0.93, PREDICTED[2] * 0.1));
            }
            (StageKind::ProveSmoke, Subject::Pipe(3)) => {
                let why = "no significant rise within 125 s";
                state(f, "smoke.not-timed", &[("hole", "the end cap"), ("why", why)]);
                (f.measured, f.expected, f.limit, f.decision) = (None, None, None, None);
            }
            (StageKind::Baseline, _) => f.void = Some("the cover was opened".into()),
            _ => {}
        }
    }
    let same = |f: &Finding| (f.stage, f.subject.clone()) == (StageKind::ProveSmoke, Subject::Pipe(3));
    let mut kept = false;
    o.findings.retain(|f| !same(f) || !core::mem::replace(&mut kept, true));
    for run in o.smoke.iter_mut().filter(|r| r.inlet == 3) {
        (run.onset, run.half_plateau, run.alarm_after_s) = (None, None, None);
        run.why_not = Some("no significant rise within 125 s".into());
    }
    for r in o.stages.iter_mut() {
        if matches!(r.stage, StageKind::ProveFlow | StageKind::ProveSmoke | StageKind::Baseline) {
            r.verdict = Verdict::Undecided;
        }
    }
    o.verdict = Verdict::Undecided;
    o.because = "pipe 3: flow alone can't show the smallest material defect; holes 4, 5 were not reached".into();
    let not_closed = "pipe 3: a blocked hole among 4, 5 (not closed in turn)";
    o.could_have_missed.insert(0, Statement::new(Subject::Pipe(3), not_closed));
    o.out_of_service_s = Some(15_300.0);
    s
}

/// The cable was pulled and the job was told to stop; the zone was never restored.
pub(crate) fn aborted() -> Sample {
    let mut s = clean();
    s.name = "aborted";
    stop_after(&mut s, StageKind::Settle, "stopped after settle: undecided");
    let o = &mut s.outcome;
    o.stages.retain(|r| r.stage <= StageKind::Settle);
    o.findings.retain(|f| f.stage < StageKind::Settle);
    o.pipes.iter_mut().for_each(|p| (p.measured, p.smallest_visible) = (None, None));
    o.not_done.extend([StageKind::Restore, StageKind::Close].map(|k| (k, "the process ended".to_owned())));
    let settle = o.stages.last_mut().unwrap();
    settle.complete = false;
    settle.verdict = Verdict::Undecided;
    settle.because = Some("the job was told to stop".into());
    let told = [("stage", "settle"), ("why", "the job was told to stop")];
    let f = found(StageKind::Settle, Subject::Job, "stage.aborted", &told);
    o.findings.push(f);
    o.verdict = Verdict::Undecided;
    o.because = "job: settle was not finished: the job was told to stop".into();
    o.aborted = true;
    o.trouble = Some(Trouble::LinkDown(LinkDown::Unplugged));
    o.could_have_missed.clear();
    s.record = record(1720, [1.006, 0.991, 1.012], [false; 3], (1630, 1641));
    s.record.entry(
        S(1720),
        &Entry::LinkDown { line: Default::default(), cause: LinkDown::Unplugged, detail: "EIO".into() },
    );
    s.record.entry(S(1795), &Entry::Ended { verdict: Verdict::Undecided, because: String::new() });
    s
}

/// All of them.
pub(crate) fn all() -> [Sample; 4] {
    [clean(), failed(), undecided(), aborted()]
}

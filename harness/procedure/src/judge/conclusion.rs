//! What the whole job comes to, and what that hangs on.
use crate::{
    facts::{fixed, list, missed as fact},
    outcome::{Finding, Outcome, StageKind, Statement, Subject},
    plan::Plan,
};
use alloc::{format, string::String, vec::Vec};
use plumeline_base::Verdict;

/// Sums the job up. `outcome.still` says already what is still off.
pub(crate) fn conclude(outcome: &mut Outcome, plan: &Plan) {
    // Without a measured flow nothing bounds what shifts all of them alike.
    let stated = |of: &str| outcome.could_have_missed.iter().any(|s| s.code.as_str().starts_with(of));
    let unknown = [(fact::ALIKE, fact::alike_unknown()), (fact::UNTOLD, fact::untold_unbounded())];
    let unknown = unknown.into_iter().filter(|(of, _)| !stated(of));
    let unknown: Vec<Statement> = unknown.map(|(_, f)| Statement::of(Subject::Replacement, f)).collect();
    outcome.could_have_missed.extend(unknown.into_iter().chain(unseen(plan)));
    let missing: Vec<StageKind> =
        outcome.not_done.iter().map(|(stage, _)| *stage).filter(|stage| stage.is_needed()).collect();
    outcome.verdict = verdict(outcome, &missing);
    latest_of_each(&mut outcome.could_have_missed);
    outcome.because = match outcome.verdict {
        Verdict::Pass => "everything that the plan asks for was shown".into(),
        wanted => match hangs_on(outcome, wanted) {
            // A fail that became void is still what was found: the void must not stand in its place.
            Some(Finding { subject, says, void: Some(void), verdict, .. }) if *verdict == wanted => {
                format!("{subject}: {says} (and this no longer counts either: {void})")
            }
            Some(f) => format!("{}: {}", f.subject, f.void.as_deref().unwrap_or(&f.says)),
            None if wanted == Verdict::Fail => String::new(),
            None if missing.is_empty() => "the job was stopped".into(),
            None => format!("not done: {}", list(&missing)),
        },
    };
}

/// What no job can see, and what is allowed, is stated in every one.
fn unseen(plan: &Plan) -> impl Iterator<Item = Statement> {
    let (rules, percent) = (&plan.advanced, |share: f64| fixed(share * 100.0, 0));
    let unseen = [
        fact::unit_band(),
        fact::own_faults(),
        fact::once(),
        fact::log(),
        fact::after_restart(),
        fact::outputs_at_alarm(),
        fact::late_readings(fixed(rules.readings.answers_s, 0), percent(rules.supervise.remains)),
        fact::allowances(
            fixed(rules.supervise.delay_within_s, 0),
            fixed(rules.supervise.stands_s, 0),
            percent(plan.flow.unused_inlet.value),
            percent(rules.readings.lost),
            fixed(rules.clock.most_drift * 1e6, 0),
        ),
    ];
    unseen.into_iter().map(|fact| Statement::of(Subject::Replacement, fact))
}

/// Where a stage was done again its later statement holds.
fn latest_of_each(all: &mut Vec<Statement>) {
    let same = |a: &Statement, b: &Statement| a.code == b.code && a.subject == b.subject;
    let later: Vec<bool> = (0..all.len()).map(|i| all[i + 1..].iter().any(|b| same(&all[i], b))).collect();
    let mut later = later.into_iter();
    all.retain(|_| !later.next().unwrap_or_default());
}

fn verdict(o: &Outcome, missing: &[StageKind]) -> Verdict {
    // Findings count as they stand at the end: a later stage may have made them void.
    let ran = o.stages.iter().filter(|r| r.stage.judges() && r.put_right.is_none()).map(|r| r.verdict);
    let findings = o.findings.iter().filter(|f| f.stage.judges() && f.stands()).map(Finding::counts_as);
    let all = Verdict::over(ran.chain(findings).chain(missing.iter().map(|_| Verdict::Undecided)));
    if o.aborted || !o.still.is_empty() { all.and(Verdict::Undecided) } else { all }
}

/// Topics and codes of findings by which a unit contradicts itself, or that tell what all its pipes share: what its readings say of single
/// places comes after them.
const OF_ITSELF: [&str; 6] = [
    "readings.",
    "inlets.reads-when-shut",
    "holes.stands-still",
    "dilution.untold-air",
    "inlets.untold-air",
    "smoke.all-late",
];

/// Codes by which values of another time are told: what else is found, and fails, is found by them.
const OF_ANOTHER_TIME: [&str; 2] = ["readings.answer-late", "readings.repeated"];

/// The finding that a verdict other than a pass hangs on.
pub fn decided_by(o: &Outcome) -> Option<&Finding> {
    hangs_on(o, Verdict::Fail).or_else(|| hangs_on(o, Verdict::Undecided))
}

/// The first finding with this verdict, and before it one by which the unit contradicts itself. Of the holes of a pipe that are off, and of the pipes of a unit, it is the one that is
/// farthest off: a hole that is blocked makes the others draw more, and a pipe that is off leaves the others less.
fn hangs_on(o: &Outcome, wanted: Verdict) -> Option<&Finding> {
    let stands = |f: &&Finding| f.stage.judges() && f.stands() && f.counts_as() != Verdict::Pass;
    if let Some(first) = o.findings.iter().find(|f| stands(f) && OF_ANOTHER_TIME.contains(&f.code.as_str())) {
        return Some(first);
    }
    let mut such = o.findings.iter().filter(|f| f.stage.judges() && f.stands() && f.counts_as() == wanted);
    let of_itself = |f: &&Finding| OF_ITSELF.iter().any(|code| f.code.as_str().starts_with(code));
    if let Some(first) = such.clone().find(of_itself) {
        return Some(first);
    }
    let first = such.next()?;
    let beside = |f: &&Finding| {
        f.stage == first.stage
            && match (&first.subject, &f.subject) {
                (Subject::Hole(inlet, _), Subject::Hole(other, _)) => inlet == other,
                (Subject::Pipe(inlet), Subject::Pipe(other)) => inlet != other && first.stage == StageKind::ProveFlow,
                _ => false,
            }
    };
    let off = |f: &Finding| match (&f.measured, &f.expected) {
        (Some(m), Some(e)) if e.value > 0.0 => libm::fabs(m.value / e.value - 1.0),
        _ => 0.0,
    };
    Some(such.filter(beside).fold(first, |worst, f| if off(f) > off(worst) { f } else { worst }))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{
        facts::{close, load},
        judge::sample,
        outcome::{Figure, StageResult},
    };
    use plumeline_base::Instant;

    fn finding(stage: StageKind, subject: Subject, verdict: Verdict) -> Finding {
        let mut f = Finding::of(stage, subject, load::no_restart());
        f.verdict = verdict;
        f
    }
    fn outcome(findings: Vec<Finding>) -> Outcome {
        let stage = StageResult {
            stage: StageKind::Load,
            verdict: Verdict::Pass,
            complete: true,
            began: Instant::START,
            ended: Instant::START,
            because: None,
            put_right: None,
        };
        Outcome { stages: alloc::vec![stage], findings, ..Outcome::default() }
    }
    fn concluded(mut o: Outcome) -> (Verdict, String) {
        conclude(&mut o, &sample::inputs().plan);
        (o.verdict, o.because)
    }

    #[test]
    fn nothing_is_passed_that_was_not_done_or_not_put_back() {
        let passed = || outcome(alloc::vec![Finding::of(StageKind::Close, Subject::Zone, close::in_time())]);
        assert_eq!(concluded(passed()).0, Verdict::Pass);
        let missing = Outcome { not_done: alloc::vec![(StageKind::Supply, "left out".into())], ..passed() };
        assert_eq!(concluded(missing), (Verdict::Undecided, "not done: supply".into()));
        let bench = Outcome { not_done: alloc::vec![(StageKind::Bench, "left out".into())], ..passed() };
        assert_eq!(concluded(bench).0, Verdict::Pass);
        let aborted = Outcome { aborted: true, ..passed() };
        assert_eq!(concluded(aborted), (Verdict::Undecided, "the job was stopped".into()));
        assert_eq!(concluded(Outcome { still: alloc::vec!["the zone".into()], ..passed() }).0, Verdict::Undecided);
        let mut void = passed();
        void.findings[0].void = Some("the cover was opened".into());
        assert_eq!(concluded(void), (Verdict::Undecided, "zone: the cover was opened".into()));
        let hole = Finding {
            says: "draws too little".into(),
            void: Some("the unit started anew".into()),
            ..finding(StageKind::ProveFlow, Subject::Hole(1, 3), Verdict::Fail)
        };
        let (verdict, because) = concluded(outcome(alloc::vec![hole]));
        assert_eq!(verdict, Verdict::Fail);
        assert!(
            because.starts_with("pipe 1 hole 3: draws too little") && because.contains("started anew"),
            "{because}"
        );
    }
    #[test]
    fn what_was_found_on_the_outgoing_unit_judges_nothing() {
        let found = finding(StageKind::AsFound, Subject::Outgoing, Verdict::Fail);
        assert_eq!(concluded(outcome(alloc::vec![found])).0, Verdict::Pass);
    }
    #[test]
    fn a_failure_hangs_on_the_hole_that_is_farthest_off() {
        let hole = |inlet, number, measured| {
            let mut f = finding(StageKind::ProveFlow, Subject::Hole(inlet, number), Verdict::Fail);
            (f.measured, f.expected) = (Some(Figure::plain(measured, "L/min")), Some(Figure::plain(1.0, "L/min")));
            f
        };
        let (verdict, because) = concluded(outcome(alloc::vec![hole(1, 1, 1.2), hole(1, 2, 0.1), hole(2, 1, 0.0)]));
        assert_eq!(verdict, Verdict::Fail);
        assert!(because.starts_with("pipe 1 hole 2: "), "{because}");
        let itself = Finding::of(StageKind::ProveFlow, Subject::Pipe(1), crate::facts::inlets::reads_when_shut(20));
        let (_, because) = concluded(outcome(alloc::vec![hole(1, 2, 0.1), itself]));
        assert!(because.starts_with("pipe 1: "), "{because}");
        let late = Finding::of(StageKind::ProveFlow, Subject::Replacement, crate::facts::readings::answers_late(12, 6));
        let (verdict, because) = concluded(outcome(alloc::vec![hole(1, 2, 0.1), late]));
        assert!(verdict == Verdict::Fail && because.starts_with("replacement unit: "), "{because}");
        let pipe = |inlet, measured| Finding { subject: Subject::Pipe(inlet), ..hole(1, 1, measured) };
        let (_, because) = concluded(outcome(alloc::vec![pipe(1, 0.8), pipe(2, 2.1)]));
        assert!(because.starts_with("pipe 2: "), "{because}");
    }
}

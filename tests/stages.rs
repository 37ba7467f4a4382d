//! What single stages make of what they meet: whole jobs in virtual time against the simulated site, with a plan, a scenario or
//! an operator that differ in one thing. Not here: the whole catalogue of defects (`whole_job`), spoilt records (`evidence`).
use plumeline_base::{Instant, Verdict};
use plumeline_link::faults::FaultSpec;
use plumeline_procedure::{Finding, Outcome, StageKind, Subject};
use plumeline_runtime::{
    clock::DATE_OF_SIMULATIONS,
    job,
    job_files::Files,
    keep::MemoryKeeper,
    line::Line,
    operator::{Operator, Script, SimulatedSite},
    scenario,
};
use plumeline_simulator::{Scenario, Simulation};
use std::path::Path;

/// A demonstration that differs.
#[derive(Default)]
struct Job {
    small: bool,
    seed: u64,
    /// Words of plan and pipework, and what stands in their place.
    plan: &'static [(&'static str, &'static str)],
    pipework: &'static [(&'static str, &'static str)],
    defects: &'static [&'static str],
    answers: &'static str,
    site: Option<fn(&mut Scenario)>,
    /// Faults of the line.
    line: String,
}

fn run(job: Job) -> Outcome {
    with_journal(job).0
}

/// With the lines of its journal.
fn with_journal(job: Job) -> (Outcome, Vec<serde_json::Value>) {
    let demo = if job.small { "demo/small" } else { "demo" };
    let dir = Path::new(env!("CARGO_MANIFEST_DIR")).join(demo);
    let read = |name: &str, edits: &[(&str, &str)]| {
        let mut words = std::fs::read_to_string(dir.join(name)).unwrap();
        for (from, to) in edits {
            assert!(words.contains(from), "{name} has no `{from}`");
            words = words.replace(from, to);
        }
        (name.to_owned(), words.into_bytes())
    };
    let files =
        Files(vec![read("pipework.toml", job.pipework), read("plan.toml", job.plan), read("settings-new.json", &[])])
            .with_shipped("model-a", "model-b")
            .unwrap()
            .with_port("sim:");
    let inputs = files.check_with(|plan| plan.advanced.model.draws = 400).unwrap().inputs;
    let defects: Vec<String> = job.defects.iter().map(|d| (*d).to_owned()).collect();
    let mut site = scenario::site(inputs.pipework.clone(), job.seed, &defects, true).unwrap();
    if let Some(edit) = job.site {
        edit(&mut site);
    }
    let site = SimulatedSite::new(Simulation::new(site, Instant::START).unwrap());
    let words = format!("format = 1\n{}", job.answers);
    let script = Script::of(Script::read("operator.toml", words.as_bytes()).unwrap());
    let faults = FaultSpec::parse(&job.line).unwrap();
    let session = job::Job::begin(&files, inputs, MemoryKeeper::default(), DATE_OF_SIMULATIONS)
        .line(Line::simulated(&site, None, faults, job.seed))
        .operator(Operator::script("script", script, site))
        .run()
        .unwrap();
    let outcome = session.outcome().unwrap().clone();
    let journal = session.into_parts().0.journal;
    let lines = journal.split(|b| *b == b'\n').filter(|line| !line.is_empty());
    (outcome, lines.map(|line| serde_json::from_slice(line).unwrap()).collect())
}

/// Where somebody is sent to for this, in order: inlet, hole, and the words.
fn sent_to(journal: &[serde_json::Value], act: &str) -> Vec<(u64, u64, String)> {
    let asked = journal.iter().map(|line| &line["entry"]).filter(|e| e["entry"] == "asked" && e["act"]["act"] == act);
    asked
        .map(|e| {
            (
                e["act"]["inlet"].as_u64().unwrap(),
                e["act"]["number"].as_u64().unwrap(),
                e["text"].as_str().unwrap().to_owned(),
            )
        })
        .collect()
}

/// Holes and releases are asked for as a person walks, each with the words of the pipework file for its place.
#[test]
fn holes_are_asked_for_in_the_order_of_a_walk_with_their_places() {
    let usual = [(1, 1), (1, 2), (1, 3), (1, 4), (1, 5), (1, 6), (1, 7), (2, 1), (2, 2), (2, 3), (2, 4), (2, 5)];
    let stated = [(2, 5), (2, 4), (2, 1), (2, 2), (2, 3), (1, 1), (1, 2), (1, 3), (1, 4), (1, 5), (1, 6), (1, 7)];
    const WALK: &[(&str, &str)] = &[("format = 1", "format = 1\nwalk = [{ inlet = 2, holes = [5, 4] }]")];
    for (pipework, order, far) in [(&[][..], usual, [1, 2]), (WALK, stated, [2, 1])] {
        let (o, journal) = with_journal(Job { seed: 3, pipework, ..Job::default() });
        assert_eq!(o.verdict, Verdict::Pass, "{}", o.because);
        let mut closed = sent_to(&journal, "close-hole");
        // One that is closed a second time, for longer, is asked for after its pipe's others.
        let mut seen = std::collections::BTreeSet::new();
        closed.retain(|(inlet, hole, _)| seen.insert((*inlet, *hole)));
        assert_eq!(closed.iter().map(|(i, h, _)| (*i, *h)).collect::<Vec<_>>(), order);
        let of = |inlet, hole| &closed.iter().find(|c| (c.0, c.1) == (inlet, hole)).unwrap().2;
        assert!(
            of(1, 3).starts_with("Close hole 3 of pipe 1, \"packing hall, above packing table 2\" (tape"),
            "{}",
            of(1, 3)
        );
        assert!(
            of(2, 5).contains("(hole 5) of pipe 2, labelled L5, \"cold room lobby, above the far window\""),
            "{}",
            of(2, 5)
        );
        let mut released: Vec<u64> = sent_to(&journal, "release-smoke").iter().map(|r| r.0).collect();
        released.dedup();
        assert_eq!(released, far);
    }
}

fn coded(o: &Outcome, code: &str) -> Vec<Finding> {
    o.findings.iter().filter(|f| f.code == *code).cloned().collect()
}

fn about(o: &Outcome, stage: StageKind, words: &str) -> Vec<Finding> {
    o.findings.iter().filter(|f| f.stage == stage && f.says.contains(words)).cloned().collect()
}

/// What closing holes in turn leaves open, opening each alone is to settle: a walk along the pipe, and nothing stays closed.
#[test]
fn holes_that_closing_in_turn_leaves_open_are_opened_alone() {
    let closer: &[(&str, &str)] = &[("worse = \"common practice\"", "worse = \"8 %\"")];
    let with = |defects| run(Job { small: true, seed: 3, plan: closer, defects, ..Job::default() });
    let o = with(&[]);
    let both = about(&o, StageKind::ProveFlow, "alone it takes");
    assert!(!both.is_empty(), "{}", o.because);
    assert!(both.iter().all(|f| f.says.contains("closing it lowered the flow by")), "{both:?}");
    assert!(coded(&o, "holes.one-left-closed").is_empty() && coded(&o, "holes.left-closed").is_empty());
    assert!(o.still.is_empty(), "{:?}", o.still);
    assert_ne!(o.verdict, Verdict::Fail, "{}", o.because);
    let o = with(&["hole-partly-blocked:pipe=1,hole=2,severity=0.5"]);
    assert_ne!(o.verdict, Verdict::Pass, "{}", o.because);
}

/// A line that brings every piece twice: what came before, byte for byte, is dropped.
#[test]
fn frames_that_come_twice_spoil_nothing() {
    let o = run(Job { small: true, seed: 3, line: "dup=1".into(), ..Job::default() });
    assert_eq!(o.verdict, Verdict::Pass, "{}", o.because);
}

/// A simulated unit says so itself, whatever the link is called.
#[test]
fn a_simulation_is_told_by_its_unit() {
    let o = run(Job { small: true, seed: 3, ..Job::default() });
    assert!(o.origin.simulated_unit && o.origin.simulated_link && o.origin.answers_of_scripts > 10, "{:?}", o.origin);
}

/// The cable stays on the bench: what the replacement holds is not taken for what was found on the outgoing unit.
#[test]
fn the_replacement_on_the_cable_is_not_the_outgoing_unit() {
    let refused = "[[answer]]\nact = \"bench-done\"\nsay = \"no\"\nbecause = \"later\"\n";
    let o = run(Job { seed: 3, answers: refused, ..Job::default() });
    assert_eq!(coded(&o, "as-found.bench-unit").len(), 1, "{:#?}", o.findings);
    assert!(coded(&o, "as-found.settings").is_empty() && o.outgoing.is_none());
    assert!(coded(&o, "unit.still-outgoing").is_empty(), "the exchange does not fail for it");
    // Nobody answers within the bench's time: nothing is isolated, and nothing is taken for what was found.
    let late = "[[answer]]\nact = \"bench-done\"\npause_s = 9000\n";
    let o = run(Job { seed: 3, answers: late, ..Job::default() });
    assert_eq!(coded(&o, "restore.never-isolated").len(), 1, "{:#?}", o.findings);
    assert!(coded(&o, "as-found.settings").is_empty() && o.outgoing.is_none());
}

#[test]
fn flows_as_found_are_translated_by_the_network() {
    let o = run(Job { seed: 3, ..Job::default() });
    assert_eq!(o.verdict, Verdict::Pass, "{}", o.because);
    let f = about(&o, StageKind::ProveFlow, "translated by the network");
    assert_eq!(f.len(), 2, "{f:#?}");
    for f in f {
        assert!(f.says.contains("does not show that anything was sound") && f.verdict == Verdict::Pass, "{f:?}");
        let (m, e) = (f.measured.unwrap().value, f.expected.unwrap());
        assert!((m / e.value - 1.0).abs() < 0.12 && e.expanded.unwrap() > 0.03 * e.value, "{m} {e}");
    }
}

#[test]
fn without_the_outgoing_fan_only_the_pattern_is_compared() {
    let text = include_str!("../harness/cli/demo/pipework.toml");
    let (from, to) = (text.find("[outgoing]").unwrap(), text.find("[tolerance.surveyed]").unwrap());
    let table: &'static str = Box::leak(text[from..to].to_owned().into_boxed_str());
    let edits: &'static [(&str, &str)] = Box::leak(vec![(table, "")].into_boxed_slice());
    let o = run(Job { seed: 3, pipework: edits, ..Job::default() });
    let f = about(&o, StageKind::ProveFlow, "by the pattern between the pipes alone");
    assert_eq!(f.len(), 2);
    assert!(f.iter().all(|f| f.verdict == Verdict::Pass), "{f:#?}");
    assert_eq!(o.verdict, Verdict::Pass, "{}", o.because);
}

#[test]
fn what_changed_since_as_found_stays_open_until_every_hole_is_shown() {
    // Three holes blocked at the refit, and no hole closed in turn.
    let plan = &[("which = \"reachable\"", "which = \"none\"")];
    let o = run(Job { seed: 3, plan, defects: &["holes-blocked:pipe=1,severity=4"], ..Job::default() });
    assert_ne!(o.verdict, Verdict::Pass);
    let f = about(&o, StageKind::ProveFlow, "as found");
    assert!(f.iter().any(|f| f.subject == Subject::Pipe(1) && f.verdict == Verdict::Undecided), "{f:#?}");
}

#[test]
fn smoke_shows_that_a_hole_draws_where_closing_can_not() {
    let plan = &[
        (
            "which = \"reachable\"",
            "which = [{ inlet = 1, hole = 1 }, { inlet = 1, hole = 2 }, { inlet = 1, hole = 3 }, { inlet = 1, hole = 5 }]",
        ),
        ("at = \"farthest\"", "presence = \"not-closed\"\nat = \"farthest\""),
    ];
    let o = run(Job { small: true, seed: 3, plan, ..Job::default() });
    assert_eq!(o.verdict, Verdict::Pass, "{}", o.because);
    let f = coded(&o, "presence.draws");
    assert_eq!(f.len(), 1);
    assert_eq!(f[0].subject, Subject::Hole(1, 4));
    assert!(o.could_have_missed.iter().any(|s| s.code == "missed.shown-by-smoke-only"));
    // Blocked, it shows nothing, and the job is not passed.
    let o = run(Job { small: true, seed: 3, plan, defects: &["hole-blocked:pipe=1,hole=4"], ..Job::default() });
    assert_ne!(o.verdict, Verdict::Pass);
    assert_eq!(coded(&o, "presence.draws").len(), 0);
}

#[test]
fn crossed_pipes_show_at_the_sensor_of_another_inlet() {
    let o = run(Job {
        seed: 3,
        plan: &[("which = \"reachable\"", "which = \"none\"")],
        defects: &["pipes-crossed:pipe=1"],
        answers: "[[answer]]\nact = \"override\"\ntext = \"A. Name: to see what smoke shows\"\n",
        site: Some(|s| s.sensor_per_inlet = true),
        ..Job::default()
    });
    assert_eq!(o.verdict, Verdict::Fail);
    assert!(!coded(&o, "smoke.pipes-crossed").is_empty(), "{:#?}", o.findings);
}

#[test]
fn a_unit_with_a_sensor_at_each_inlet_passes_a_sound_site() {
    let o = run(Job { small: true, seed: 3, site: Some(|s| s.sensor_per_inlet = true), ..Job::default() });
    assert_eq!(o.verdict, Verdict::Pass, "{}", o.because);
}

#[test]
fn runs_are_set_aside_only_with_a_reason_and_not_for_ever() {
    let answers = "[[answer]]\nact = \"release-went\"\nsay = \"cannot\"\nbecause = \"a gust\"\n";
    let o = run(Job { small: true, seed: 3, answers, ..Job::default() });
    assert_eq!(o.verdict, Verdict::Undecided);
    assert!(o.smoke.iter().all(|r| r.set_aside.as_deref() == Some("a gust") && r.onset.is_none()));
    assert_eq!(coded(&o, "smoke.too-many-set-aside").len(), 1, "{:#?}", o.findings);
    assert!(o.smoke.len() >= 4);
}

/// A run without a reading after its release still ends no earlier than it began.
#[test]
fn a_cable_out_at_the_moment_of_a_release_sets_the_run_aside_from_then_on() {
    let o = run(Job { small: true, seed: 3, ..Job::default() });
    assert_eq!(o.verdict, Verdict::Pass, "{}", o.because);
    let released = o.smoke[0].released;
    // The same job up to a moment before the mark: readings come once a second, and the last one is earlier.
    let line = format!("unplug={}ms+40s", (released.as_micros() - 1) / 1000);
    let o = run(Job { small: true, seed: 3, line, ..Job::default() });
    let first = &o.smoke[0];
    assert_eq!(first.released, released);
    assert_eq!(first.set_aside.as_deref(), Some("readings were missing before it"), "{first:?}");
    assert_eq!(first.until, released);
    assert!(o.smoke.iter().all(|r| r.released <= r.until), "{:#?}", o.smoke);
}

#[test]
fn an_override_needs_a_name_and_a_reason() {
    let plan = &[("which = \"reachable\"", "which = \"none\"")];
    let defects = &["hole-partly-blocked:pipe=1,hole=2,severity=0.9"];
    let with = |answers| run(Job { small: true, seed: 3, plan, defects, answers, ..Job::default() });
    let o = with("[[answer]]\nact = \"override\"\ntext = \"because I say so\"\n");
    assert_eq!(coded(&o, "baseline.refused").len(), 1, "{:#?}", o.findings);
    let o = with("[[answer]]\nact = \"override\"\ntext = \"A. Name: the store opens at six\"\n");
    let f = coded(&o, "baseline.over-unproven-airflow");
    assert_eq!((f.len(), f[0].verdict), (1, Verdict::Undecided));
    assert_eq!(f[0].told["who"], "A. Name: the store opens at six");
    assert_ne!(o.verdict, Verdict::Pass);
}

#[test]
fn what_was_touched_since_voids_the_baseline() {
    let answers = "[[answer]]\nact = \"left-alone\"\nsay = \"no\"\n";
    let o = run(Job { small: true, seed: 3, answers, ..Job::default() });
    assert_eq!(o.verdict, Verdict::Undecided);
    let baseline: Vec<_> = o.findings.iter().filter(|f| f.stage == StageKind::Baseline).collect();
    assert!(baseline.iter().all(|f| f.void.as_deref().is_some_and(|v| v.contains("touched"))), "{baseline:#?}");
}

#[test]
fn the_smallest_defect_that_the_band_sees_is_named() {
    let o = run(Job { seed: 3, ..Job::default() });
    for inlet in [1, 2] {
        let of = |code: &str| {
            let all = o.band_sees.iter().filter(|s| s.subject == Subject::Pipe(inlet) && s.code == *code);
            all.map(|s| s.told.clone()).collect::<Vec<_>>()
        };
        let (seen, unseen) = (of("band.smallest-seen"), of("band.not-seen"));
        assert!(seen.len() == 1 && seen[0]["from"] == "its settings as left", "{:?}", o.band_sees);
        assert!(unseen.len() == 1 && unseen[0]["defect"].contains("blocked"), "{:?}", o.band_sees);
    }
    assert!(o.could_have_missed.iter().any(|s| s.code == "band.not-seen"));
}

#[test]
fn a_hole_drilled_a_fifth_too_small_is_told_from_its_neighbours() {
    // Over a pipe whose holes all drop by more than the prediction says (the laws differ), and within 50 % of it.
    let drilled: [(u32, &'static [&'static str]); 3] = [
        (2, &["wrong-hole-drilled:pipe=1,hole=2,severity=0.8"]),
        (3, &["wrong-hole-drilled:pipe=1,hole=3,severity=0.8"]),
        (5, &["wrong-hole-drilled:pipe=1,hole=5,severity=0.8"]),
    ];
    for (number, defects) in drilled {
        let o = run(Job { small: true, defects, ..Job::default() });
        let f: Vec<&Finding> = o.findings.iter().filter(|f| f.subject == Subject::Hole(1, number)).collect();
        assert!(f.len() == 1 && f[0].verdict == Verdict::Fail, "{f:#?}");
        assert_eq!(f[0].code, "holes.too-little", "{}", f[0].says);
        // Its neighbours are held against those that are sound.
        let others = o.findings.iter().filter(|f| matches!(f.subject, Subject::Hole(1, n) if n != number));
        assert!(others.clone().count() == 4 && others.clone().all(|f| f.verdict == Verdict::Pass), "{o:#?}");
    }
}

#[test]
fn a_hole_that_closing_tells_little_of_is_listed() {
    // Fifteen times the noise of the flow readings: what a hole draws can then be told to a few tens of per cent only.
    let noisy = |s: &mut Scenario| s.sensors.flow_noise *= 15.0;
    let o = run(Job { small: true, site: Some(noisy), ..Job::default() });
    assert!(o.could_have_missed.iter().any(|s| s.code == "missed.coarse"), "{:#?}", o.could_have_missed);
    assert_ne!(o.verdict, Verdict::Fail, "{}", o.because);
}

#[test]
fn over_the_time_out_of_service_the_other_measures_are_asked_for() {
    let plan: &[_] = &[("out_of_service = \"NFPA 101\" ", "out_of_service = \"10 min\" ")];
    let told = run(Job { small: true, plan, ..Job::default() });
    let f = about(&told, StageKind::Close, "what is then called for was in place");
    assert!(f.len() == 1 && f[0].verdict == Verdict::Pass && told.verdict == Verdict::Pass, "{f:#?} {}", told.because);
    let answers = "[[answer]]\nact = \"other-measures\"\nsay = \"no\"\n";
    let not = run(Job { small: true, plan, answers, ..Job::default() });
    let f = about(&not, StageKind::Close, "not shown to have been in place");
    assert!(f.len() == 1 && not.verdict == Verdict::Undecided, "{f:#?} {}", not.because);
}

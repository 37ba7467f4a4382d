//! A unit that shows no flow at all, by a meter at its exhaust: pipe by pipe with the inlets of the others shut, hole by hole. The whole
//! job, with defects, with a meter that errs within its certificate, and with one that errs far beyond it.
use crate::{
    common::{Folder, exits, run, stderr, stdout, text},
    person::{self, verdicts},
};
use plumeline_base::Verdict;
use plumeline_procedure::{Outcome, outcome::StageKind};
use plumeline_runtime::operator::{Eyes, MeterError};
use serde_json::Value;
use std::fs;

const METER: &str = "[[instruments]]\nname = \"Flow meter 5\"\nkind = \"flow meter\"\nserial = \"f5\"\nat = \"exhaust\"\nunit = \"L/min\"\nrange = [0.0, 300.0]\nresolution = 0.1\nuncertainty = 0.2\nrelative_uncertainty = \"1.5 %\"\ncalibrated = \"2024-03-01\"\ndue = \"2049-12-31\"\n\n[supply]";
/// What such a unit can't show and the plan goes without.
const WITHOUT: &str = "\nnot_shown = [\"baseline\"]\nreadings = ";

/// A demonstration's job with the unit's flow and baseline taken out of its description.
fn lamps_alone(dir: &Folder, small: bool) {
    let job = dir.join("job");
    let mut args = vec!["demo", "--unit", "display", "--quiet", "--force", "--out", text(&job)];
    args.extend(small.then_some("--small"));
    exits(&run(&args), &[0]);
    let path = job.join("unit-replacement.toml");
    let described = fs::read_to_string(&path).unwrap();
    let left: Vec<&str> =
        described.lines().filter(|l| !l.starts_with("flow = { unit") && !l.starts_with("baseline = {")).collect();
    assert_eq!(left.len() + 2, described.lines().count());
    fs::write(&path, left.join("\n")).unwrap();
}

/// The job with these words of its plan exchanged, at a site with these defects, by a meter that errs so.
fn with(dir: &Folder, edits: &[(&str, &str)], defects: &[&str], meter: MeterError) -> Outcome {
    played(dir, edits, defects, |eyes| eyes.with_meter(meter), "")
}
/// The same by a person with these eyes, who answers so. The settings were carried over to the model whose display shows flows: it is
/// the same unit.
fn played(
    dir: &Folder,
    edits: &[(&str, &str)],
    defects: &[&str],
    eyes: impl FnOnce(Eyes) -> Eyes,
    answers: &str,
) -> Outcome {
    person::played(dir, &["carry-account.json"], edits, defects, eyes, answers)
}
const USUAL: [(&str, &str); 2] = [("[supply]", METER), ("\nreadings = ", WITHOUT)];
/// A meter that is off by its certificate's standard uncertainty, and scatters.
const HONEST: MeterError = MeterError { gain: 0.015, offset: 0.2, scatter: 0.1, state: 7 };

fn told(o: &Outcome) -> String {
    let all = o.findings.iter().filter(|f| f.verdict != Verdict::Pass);
    all.map(|f| format!("{} {} {}: {}\n", f.verdict, f.subject, f.code, f.says)).collect()
}

#[test]
fn a_unit_that_shows_no_flow_is_proven_by_a_meter_at_its_exhaust() {
    let dir = Folder::new("by-meter");
    lamps_alone(&dir, true);
    let o = with(&dir, &USUAL, &[], HONEST);
    assert_eq!(o.verdict, Verdict::Pass, "{}\n{}", o.because, told(&o));
    let pipe =
        o.findings.iter().find(|f| f.stage == StageKind::ProveFlow && f.subject.to_string() == "pipe 1").unwrap();
    assert_eq!(pipe.measured.as_ref().unwrap().by.as_deref(), Some("Flow meter 5, serial f5"), "{pipe:?}");
    // What the certificate leaves open counts: hypot(0.2 L/min, 1.5 % of the reading), at two standard uncertainties or so.
    let (m, u) = (pipe.measured.as_ref().unwrap().value, pipe.measured.as_ref().unwrap().expanded.unwrap());
    assert!((u / 0.2_f64.hypot(0.015 * m) - 1.96).abs() < 0.2, "{m} {u}");
    assert_eq!(verdicts(&o, "holes.draws"), [Verdict::Pass; 5], "{}", told(&o));
    assert_eq!(verdicts(&o, "baseline.not-shown-allowed"), [Verdict::Pass]);
    assert_eq!(verdicts(&o, "last-look.as-at-baseline"), [Verdict::Pass]);
    // Found once for each stage in which it counts: three for the meter, and those of volts and amperes.
    assert!(verdicts(&o, "instrument.in-date").len() > 3, "{}", told(&o));
    // Whoever does not name it goes without no pass.
    let unnamed = with(&dir, &[("[supply]", METER)], &[], HONEST);
    assert_eq!(
        (unnamed.verdict, verdicts(&unnamed, "baseline.not-shown")),
        (Verdict::Undecided, vec![Verdict::Undecided])
    );
    // Without the meter nothing is proven, whatever else is named.
    let none = with(&dir, &[("\nreadings = ", WITHOUT)], &[], HONEST);
    assert_ne!(none.verdict, Verdict::Pass, "{}", told(&none));
}

#[test]
fn defects_are_stopped_by_what_the_meter_shows() {
    let dir = Folder::new("by-meter-defects");
    lamps_alone(&dir, true);
    for (defect, code) in [
        ("hole-blocked", "holes."),
        ("end-cap-missing", ""),
        ("pipe-off", "flow."),
        ("cap-blocked", ""),
        ("filter-clogged:severity=80", ""),
    ] {
        let o = with(&dir, &USUAL, &[defect], HONEST);
        assert_ne!(o.verdict, Verdict::Pass, "{defect}");
        let stops = |f: &&plumeline_procedure::Finding| f.stage == StageKind::ProveFlow && f.verdict != Verdict::Pass;
        assert!(o.findings.iter().filter(stops).any(|f| f.code.as_str().starts_with(code)), "{defect}: {}", told(&o));
    }
}

/// Whatever the meter's own error is within twice its certificate, and whichever hole it is.
#[test]
fn no_blocked_hole_passes_by_any_honest_meter() {
    let dir = Folder::new("by-meter-holes");
    lamps_alone(&dir, true);
    let mut sound = 0;
    for (hole, (gain, offset)) in (1..=5).zip([(0.03, 0.4), (-0.03, -0.4), (0.03, -0.4), (-0.03, 0.4), (0.0, 0.4)]) {
        let meter = MeterError { gain, offset, scatter: 0.15, state: hole };
        let o = with(&dir, &USUAL, &[&format!("hole-blocked:hole={hole}")], meter);
        assert_ne!(o.verdict, Verdict::Pass, "hole {hole}: {}", told(&o));
        sound += u32::from(with(&dir, &USUAL, &[], meter).verdict == Verdict::Pass);
    }
    assert!(sound >= 3, "{sound} of 5 sound sites pass");
}

/// An anemometer that starts to turn at a flow shows nothing while all holes are closed: each is closed in turn.
#[test]
fn a_meter_that_does_not_reach_down_to_none_has_holes_closed_in_turn() {
    let dir = Folder::new("by-anemometer");
    lamps_alone(&dir, true);
    let vane = METER.replace("flow meter\"", "anemometer\"").replace("range = [0.0", "range = [5.0");
    let edits = [("[supply]", vane.as_str()), ("\nreadings = ", WITHOUT)];
    let o = with(&dir, &edits, &[], HONEST);
    assert!(verdicts(&o, "holes.draws").len() == 5, "{}", told(&o));
    assert!(o.findings.iter().any(|f| f.says.contains("closing it lowered the flow by")), "{}", told(&o));
    let o = with(&dir, &edits, &["hole-blocked"], HONEST);
    assert_ne!(o.verdict, Verdict::Pass, "{}", told(&o));
}

#[test]
fn fingers_that_slip_pass_no_blocked_hole() {
    let dir = Folder::new("by-meter-slips");
    lamps_alone(&dir, false);
    for seed in 1..=3 {
        let slips = |eyes: Eyes| eyes.slipping(0.15, seed);
        let o = played(&dir, &USUAL, &["hole-blocked:pipe=2,hole=3"], slips, "");
        assert_ne!(o.verdict, Verdict::Pass, "{seed}: {}", told(&o));
    }
}

/// An inlet that was shut for a reading and can't be put back is told, whatever stage ends: the job is incomplete.
#[test]
fn an_inlet_that_stays_shut_is_told() {
    let dir = Folder::new("by-meter-shut");
    lamps_alone(&dir, false);
    let stays = "[[answer]]\nact = \"refit-inlet\"\nsay = \"cannot\"\nbecause = \"the seal broke\"\n";
    let o = played(&dir, &USUAL, &[], |eyes| eyes, stays);
    assert_ne!(o.verdict, Verdict::Pass);
    assert!(verdicts(&o, "meter.left-shut").contains(&Verdict::Fail), "{}", told(&o));
    assert!(o.still.iter().any(|what| what.contains("an inlet of a pipe is shut")), "{:?}", o.still);
    // One that can't be shut leaves the other pipe unread, and is put to nobody's account.
    let never = "[[answer]]\nact = \"shut-inlet\"\ninlet = 2\nsay = \"cannot\"\nbecause = \"it is glued\"\n";
    let o = played(&dir, &USUAL, &[], |eyes| eyes, never);
    assert_eq!(verdicts(&o, "meter.not-alone").first(), Some(&Verdict::Undecided), "{}", told(&o));
    assert!(o.verdict != Verdict::Pass && o.still.iter().all(|what| !what.contains("inlet")), "{:?}", o.still);
}

/// A unit whose lines tell smoke and no flow: the meter tells the flows beside its stream.
#[test]
fn a_unit_that_prints_no_flow_is_proven_by_a_meter_too() {
    let dir = Folder::new("by-meter-lines");
    let (first, job) = (dir.join("job"), dir.join("again"));
    exits(&run(&["demo", "--unit", "lines", "--small", "--quiet", "--out", text(&first)]), &[0]);
    fs::create_dir(&job).unwrap();
    for name in ["pipework.toml", "settings-new.json", "unit-outgoing.toml"] {
        fs::copy(first.join(name), job.join(name)).unwrap();
    }
    let described = fs::read_to_string(first.join("unit-replacement.toml")).unwrap();
    let field = "[[lines.field]]\nname = \"flow.{n}\"\nn = \"inlets\"\nmeans = \"flow.{n}\"\nunit = \"L/min\"\nstep = 0.01\nnone = \"----\"\n";
    assert!(described.contains(field));
    let described = described.replace(field, "").replace("{flow.1} {flow.2} {flow.3} {flow.4}", "{} {} {} {}");
    fs::write(job.join("unit-replacement.toml"), described).unwrap();
    let plan = fs::read_to_string(first.join("plan.toml")).unwrap();
    assert!(plan.contains("not_shown = ["));
    let plan = plan.replacen("[supply]", METER, 1).replacen("not_shown = [", "not_shown = [\"baseline\", ", 1);
    fs::write(job.join("plan.toml"), plan).unwrap();
    let o = run(&["run", text(&job), "--port", "sim:", "--quiet"]);
    let result: Value = serde_json::from_slice(&fs::read(job.join("result.json")).unwrap()).unwrap();
    let all = result["outcome"]["findings"].as_array().unwrap();
    let means = |code: &str| all.iter().find(|f| f["code"] == code).map(|f| f["means"].as_str().unwrap().to_owned());
    assert_eq!(means("settle.steady").as_deref(), Some("person"), "{}{}", stdout(&o), stderr(&o));
    assert_eq!(means("smoke.within-limit").as_deref(), Some("protocol"));
    assert_eq!(o.status.code(), Some(0), "{}{}", stdout(&o), stderr(&o));
    exits(&run(&["replay", text(&job), "--expect", "pass"]), &[0]);
}

#[test]
fn two_pipes_are_read_one_by_one_with_the_other_shut() {
    let dir = Folder::new("by-meter-two");
    lamps_alone(&dir, false);
    let o = with(&dir, &USUAL, &[], HONEST);
    assert_eq!(o.verdict, Verdict::Pass, "{}\n{}", o.because, told(&o));
    assert_eq!(verdicts(&o, "meter.as-before"), [Verdict::Pass]);
    // Six holes and a cap, four holes and a cap.
    assert_eq!(verdicts(&o, "holes.draws").len(), 12, "{}", told(&o));
    for pipe in ["pipe 1", "pipe 2"] {
        let f = o.findings.iter().find(|f| f.stage == StageKind::ProveFlow && f.subject.to_string() == pipe).unwrap();
        let (m, e) = (f.measured.as_ref().unwrap(), f.expected.as_ref().unwrap());
        // The simulator marches other physics: what one pipe draws while the other is shut is what was predicted of that state.
        assert!((m.value - e.value).abs() < e.expanded.unwrap() + m.expanded.unwrap(), "{m} {e}");
    }
    for defect in ["pipes-crossed", "hole-blocked", "end-cap-missing:pipe=2", "hole-blocked:pipe=2,hole=3"] {
        let o = with(&dir, &USUAL, &[defect], HONEST);
        assert_ne!(o.verdict, Verdict::Pass, "{defect}");
        assert!(
            o.findings.iter().any(|f| f.stage == StageKind::ProveFlow && f.verdict == Verdict::Fail),
            "{defect}: {}",
            told(&o)
        );
    }
}

#[test]
fn a_meter_beyond_its_certificate_proves_no_level() {
    let dir = Folder::new("by-meter-off");
    lamps_alone(&dir, true);
    // It shows a third too much.
    let o = with(&dir, &USUAL, &[], MeterError { gain: 0.35, ..HONEST });
    assert_ne!(o.verdict, Verdict::Pass, "{}", told(&o));
    let overdue = METER.replace("2049-12-31", "2025-12-31");
    let o = with(&dir, &[("[supply]", &overdue), ("\nreadings = ", WITHOUT)], &[], HONEST);
    assert!(verdicts(&o, "instrument.overdue").contains(&Verdict::Undecided) && o.verdict == Verdict::Undecided);
}

#[test]
fn the_record_of_such_a_job_replays_and_checks() {
    let dir = Folder::new("by-meter-record");
    lamps_alone(&dir, true);
    let (first, job) = (dir.join("job"), dir.join("again"));
    fs::create_dir(&job).unwrap();
    for name in ["pipework.toml", "settings-new.json", "unit-replacement.toml", "unit-outgoing.toml"] {
        fs::copy(first.join(name), job.join(name)).unwrap();
    }
    let plan = fs::read_to_string(first.join("plan.toml")).unwrap();
    let plan = USUAL.iter().fold(plan, |plan, (from, to)| plan.replacen(from, to, 1));
    fs::write(job.join("plan.toml"), plan).unwrap();
    let o = run(&["run", text(&job), "--port", "sim:", "--old-port", "sim:", "--quiet"]);
    assert_eq!(o.status.code(), Some(0), "{}{}", stdout(&o), stderr(&o));
    let result: Value = serde_json::from_slice(&fs::read(job.join("result.json")).unwrap()).unwrap();
    let flow = result["outcome"]["findings"].as_array().unwrap().iter().find(|f| f["code"] == "settle.steady").unwrap();
    assert_eq!(flow["means"], "person");
    assert_eq!(result["shown_by"]["measured"], 0);
    exits(&run(&["replay", text(&job), "--expect", "pass"]), &[0]);
    let said = stdout(&run(&["check", text(&job)]));
    assert!(said.contains("Flow meter 5, serial f5"), "{said}");
}

#[test]
fn a_unit_that_tells_its_flows_over_its_line_takes_no_meter() {
    let dir = Folder::new("by-meter-needless");
    let job = dir.join("job");
    exits(&run(&["demo", "--small", "--unit", "registers", "--quiet", "--out", text(&job)]), &[0]);
    let plan = fs::read_to_string(job.join("plan.toml")).unwrap().replacen("[supply]", METER, 1);
    let again = dir.join("again");
    fs::create_dir(&again).unwrap();
    for name in ["pipework.toml", "settings-new.json", "unit-replacement.toml"] {
        fs::copy(job.join(name), again.join(name)).unwrap();
    }
    fs::write(again.join("plan.toml"), plan).unwrap();
    let o = run(&["run", text(&again), "--port", "sim:", "--quiet"]);
    exits(&o, &[3]);
    let said = stderr(&o);
    assert!(said.contains("tells its flows over its line") && said.contains("at = \"exhaust\""), "{said}");
}

/// The demonstration has such a unit too.
#[test]
fn the_demonstration_plays_a_unit_that_shows_no_flow() {
    let dir = Folder::new("by-meter-demo");
    let demo = |more: &[&str]| {
        let job = dir.join("job");
        let mut args = vec!["demo", "--small", "--unit", "meter", "--quiet", "--force", "--out", text(&job)];
        args.extend(more);
        run(&args).status.code()
    };
    assert_eq!(demo(&[]), Some(0));
    exits(&run(&["replay", text(&dir.join("job")), "--expect", "pass"]), &[0]);
    assert_ne!(demo(&["--defect", "hole-blocked"]), Some(0));
}

//! A demonstration's job done anew by a simulated person who reads the unit and does by hand what is asked for.
use crate::common::Folder;
use plumeline_base::{Instant, Verdict};
use plumeline_link::faults::FaultSpec;
use plumeline_procedure::Outcome;
use plumeline_runtime::{
    clock::DATE_OF_SIMULATIONS,
    job,
    job_files::Files,
    keep::MemoryKeeper,
    line::Line,
    operator::{Eyes, Operator, Script, SimulatedSite},
    port, scenario, simulated_model,
};
use plumeline_simulator::{Simulation, scenario::Which};

/// The job without these files and with these words of its plan exchanged, at a site with these defects, by a person with these
/// eyes, who answers so (lines of `operator.toml`).
pub(crate) fn played(
    dir: &Folder,
    without: &[&str],
    edits: &[(&str, &str)],
    defects: &[&str],
    eyes: impl FnOnce(Eyes) -> Eyes,
    answers: &str,
) -> Outcome {
    played_by(dir, without, edits, defects, |script, own| script.with_eyes(eyes(own)), answers)
}
/// The same by a person who is made of a script and the eyes for the job's units.
pub(crate) fn played_by(
    dir: &Folder,
    without: &[&str],
    edits: &[(&str, &str)],
    defects: &[&str],
    person: impl FnOnce(Script, Eyes) -> Script,
    answers: &str,
) -> Outcome {
    let folder = plumeline_job::folder::Folder::open(&dir.join("job")).unwrap();
    let mut files = Files::read(&folder).unwrap().with_port("sim:").with_old_port(Some("sim:"));
    files.0.retain(|(name, _)| !without.contains(&name.as_str()));
    let plan = files.0.iter_mut().find(|(name, _)| name == "plan.toml").unwrap();
    let mut words = String::from_utf8(plan.1.clone()).unwrap();
    for (from, to) in edits {
        assert!(words.contains(from), "the plan has no `{from}`");
        words = words.replacen(from, to, 1);
    }
    plan.1 = words.into_bytes();
    let inputs = files.check_with(|plan| plan.advanced.model.draws = 400).unwrap().inputs;
    let defects: Vec<String> = defects.iter().map(|d| (*d).to_owned()).collect();
    let mut site = scenario::site(inputs.pipework.clone(), 1, &defects, true).unwrap();
    site.replacement = simulated_model::find("model-f").unwrap().into();
    let site = SimulatedSite::new(Simulation::new(site, Instant::START).unwrap());
    let script = Script::of(Script::read("operator.toml", format!("format = 1\n{answers}").as_bytes()).unwrap());
    let operator = Operator::script("script", person(script, port::eyes(&files)), site.clone());
    let line = |unit, seed| Line::simulated(&site, Some(unit), FaultSpec::default(), seed);
    let session = job::Job::begin(&files, inputs, MemoryKeeper::default(), DATE_OF_SIMULATIONS)
        .line(line(Which::Replacement, 1))
        .outgoing_line(Some(line(Which::Outgoing, 2)))
        .operator(operator)
        .run()
        .unwrap();
    session.outcome().unwrap().clone()
}
/// The verdicts of the findings of this code.
pub(crate) fn verdicts(o: &Outcome, code: &str) -> Vec<Verdict> {
    o.findings.iter().filter(|f| f.code == *code).map(|f| f.verdict).collect()
}

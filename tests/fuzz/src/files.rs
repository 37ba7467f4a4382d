//! Files that a person writes or keeps.
use crate::job;
use plumeline_airflow::{Network, SolveOptions};
use plumeline_base::Instant;
use plumeline_job::{
    digest::Digest, journal as journal_file, pipework as pipework_file, plan as plan_file, settings as document,
};
use plumeline_procedure::Entry;

/// A settings document. What is read is written and read again as it was.
pub fn settings(data: &[u8]) {
    let Ok(read) = document::parse("settings.json", data) else { return };
    let written = document::to_json(&read.settings, read.unit.as_ref(), read.complete).unwrap();
    let again = document::parse("settings.json", &written).unwrap();
    assert_eq!(again, read);
    assert!(read.settings.differences(&again.settings).is_empty());
}

/// A pipework file. What is accepted and of a size that people build is solved: finite flows that balance, or an error.
pub fn pipework(data: &[u8]) {
    let Ok(read) = pipework_file::parse("pipework.toml", data) else { return };
    if read.pipework.openings.len() > 60 || read.pipework.segments.len() > 200 {
        return;
    }
    let Ok(network) = Network::build(&read.pipework, &SolveOptions::default()) else { return };
    let mut workspace = network.workspace();
    if let Ok(solution) = network.solve(&mut workspace) {
        let flows = solution.opening_flow_m3_s.iter().chain(&solution.inlet_flow_m3_s);
        assert!(flows.copied().all(f64::is_finite));
    }
}

/// A plan over the pipework of the small demonstration.
pub fn plan(data: &[u8]) {
    let Ok(read) = plan_file::parse("plan.toml", data, &job::inputs().pipework) else { return };
    let plan = read.plan;
    // What a verdict is judged by is in its range, however it was written.
    for risk in [plan.rule.accept_risk, plan.rule.reject_risk] {
        assert!(risk > 0.0 && risk <= 0.5, "{risk}");
    }
    assert!(plan.rule.coverage > 0.0 && plan.rule.coverage < 1.0);
    assert!((1..=20).contains(&plan.link.readings_hz));
    assert!(!plan.stages.is_empty());
    let limits = &plan.limits;
    for limit in [&limits.transport, &limits.transport_agreement, &limits.out_of_service, &plan.flow.material] {
        assert!(limit.value.is_finite() && limit.value >= 0.0 && !limit.source.is_empty(), "{limit:?}");
    }
}

/// A journal: the bytes as they are, and lines whose entries are the data but whose chain is sound.
pub fn journal(data: &[u8]) {
    if let Ok(read) = journal_file::read::<Entry>("journal.jsonl", data) {
        assert_eq!(read.chain.len(), read.lines.len() as u64);
    }
    let log = journal_file::Citation { offset: 0, index: 0, hash: Digest::of(b"") };
    let mut chain = journal_file::Chain::default();
    let mut bytes = Vec::new();
    for line in data.split(|b| *b == b'\n') {
        let Ok(entry) = serde_json::from_slice::<serde_json::Value>(line) else { continue };
        let at = Instant::from_micros(chain.len());
        bytes.extend(chain.line(at, &log, &entry).unwrap());
    }
    let values = journal_file::read::<serde_json::Value>("journal.jsonl", &bytes).unwrap();
    assert_eq!((values.chain, values.torn), (chain, None));
    if let Ok(read) = journal_file::read::<Entry>("journal.jsonl", &bytes) {
        // What is understood is written the same again, and read back as the same.
        let mut again = Vec::new();
        let mut chain = journal_file::Chain::default();
        for line in &read.lines {
            again.extend(chain.line(Instant::from_micros(line.at_us), &line.log, &line.entry).unwrap());
        }
        let back = journal_file::read::<Entry>("journal.jsonl", &again).unwrap();
        let entries =
            |j: &journal_file::Journal<Entry>| j.lines.iter().map(|l| format!("{:?}", l.entry)).collect::<Vec<_>>();
        assert_eq!(entries(&back), entries(&read));
    }
    // Cut anywhere, no whole line is lost and no line is made up.
    let cut = bytes.len().saturating_sub(data.len() % 97);
    if let Ok(read) = journal_file::read::<serde_json::Value>("journal.jsonl", &bytes[..cut]) {
        assert_eq!(read.lines.len(), bytes[..cut].iter().filter(|b| **b == b'\n').count());
    }
}

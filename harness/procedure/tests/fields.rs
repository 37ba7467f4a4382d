//! `docs/evidence.md` says of every field that a unit sends by which findings it is judged, or why it is not: held against the
//! protocol's own grammar and the declared findings.
use plumeline_procedure::facts::Known;
use std::{collections::BTreeSet, fs, path::Path};

fn document(name: &str) -> String {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../docs").join(name);
    fs::read_to_string(path).unwrap_or_default()
}

/// The fields of every map that a unit sends, by the grammar: rule and key. Requests are the tool's own.
fn sent(grammar: &str) -> BTreeSet<(String, u32)> {
    let plain: String = grammar.lines().map(|l| format!("{}\n", l.split(';').next().unwrap_or(""))).collect();
    let mut fields = BTreeSet::new();
    for part in plain.split('}') {
        let Some((left, body)) = part.split_once('{') else { continue };
        let name = left.trim().trim_end_matches('=').split_whitespace().last().unwrap_or_default();
        if name.starts_with("request-") {
            continue;
        }
        for field in body.split([',', '\n']) {
            let key = field.trim().trim_start_matches('?').split(':').next().unwrap_or_default().trim();
            fields.extend(key.parse().ok().map(|key| (name.to_owned(), key)));
        }
    }
    fields
}

#[test]
fn every_field_that_a_unit_sends_is_judged_or_said_not_to_be() {
    let sent = sent(&document("wire-protocol.cddl"));
    assert!(sent.len() > 80 && sent.contains(&("report-reading".into(), 16)), "{sent:?}");
    let document = document("evidence.md");
    let (_, table) = document.split_once("## What the unit tells, field by field").unwrap();
    let table = table.split("\n## ").next().unwrap();
    let mut listed = BTreeSet::new();
    for line in table.lines().filter(|l| l.starts_with("| `")) {
        let cells: Vec<&str> = line.trim_matches('|').splitn(3, '|').map(str::trim).collect();
        let [message, key, judged] = cells[..] else { panic!("{line}") };
        assert!(listed.insert((message.trim_matches('`').to_owned(), key.parse().unwrap())), "twice: {line}");
        let codes: Vec<&str> = judged.split('`').skip(1).step_by(2).collect();
        assert!(codes.iter().all(|code| Known::find(code).is_some()), "no such finding: {line}");
        assert!(!codes.is_empty() || judged.starts_with("not judged: ") || judged.starts_with("see "), "{line}");
    }
    assert_eq!(listed, sent);
}

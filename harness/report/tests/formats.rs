//! Text, JUnit XML and JSON: what they say, and that a stranger's reader takes them.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "in tests a panic is the verdict")]

use plumeline_base::Verdict;
use plumeline_procedure::outcome::{Finding, Outcome, StageKind, Subject};
use plumeline_report::{Expected, JunitJob, RESULT_SCHEMA, junit, result_json, stage_verdict, text};
use quick_junit::{NonSuccessKind, Report, TestCaseStatus};
use serde_json::Value;

mod common;
use common::{Sample, aborted, all, clean, failed, undecided};

#[test]
fn text_of_each_job() {
    for s in all() {
        insta::assert_snapshot!(format!("text-{}", s.name), text(&s.outcome, 100));
    }
    insta::assert_snapshot!("text-failed-narrow", text(&failed().outcome, 44));
}

#[test]
fn text_keeps_its_width_and_steers_no_terminal() {
    let mut s = undecided();
    s.outcome.because = format!("\u{1b}[31m{}\r\n\u{202e}", "long".repeat(200));
    s.outcome.findings[0].says = "\u{7}bell".into();
    let (key, told) = ("\u{1b}k".repeat(90), [("item", &*"漢字".repeat(90))]);
    let mut f = Finding::coded(StageKind::Load, Subject::Setting(key), "load.item-changed", &told).unwrap();
    f.next = Some("\u{9b}2J".into());
    s.outcome.findings.push(f);
    for width in [0, 40, 57, 80, 132] {
        let out = text(&s.outcome, width);
        assert!(out.lines().all(|l| l.chars().count() <= width.max(40)), "{width}");
        assert!(out.chars().all(|c| c == '\n' || !c.is_control()));
        assert!(!out.contains('\u{202e}'));
        assert!(out.starts_with("FAIL\n"), "worse than the outcome states, because of what is in it");
    }
}

fn xml(samples: &[(&Sample, Option<Expected>)]) -> String {
    let jobs: Vec<JunitJob<'_>> = samples
        .iter()
        .map(|(s, expected)| JunitJob {
            name: s.name,
            outcome: Ok(&s.outcome),
            expected: expected.clone(),
            properties: Vec::new(),
            attachments: Vec::new(),
        })
        .collect();
    junit(&jobs).unwrap()
}

#[test]
fn junit_of_each_job() {
    for s in [failed(), aborted()] {
        let out = xml(&[(&s, None)]);
        insta::assert_snapshot!(format!("junit-{}", s.name), out);
    }
}

#[test]
fn junit_counts_what_is_undecided_as_errors_and_skips_nothing_that_judges() {
    let samples = all();
    let jobs: Vec<_> = samples.iter().map(|s| (s, None)).collect();
    let out = xml(&jobs);
    assert_eq!(out, xml(&jobs), "the same bytes every time");
    let report = Report::deserialize_from_str(&out).unwrap();
    for (suite, s) in report.test_suites.iter().zip(&samples) {
        let stages = s.outcome.stages.len() + s.outcome.not_done.len();
        assert_eq!(suite.test_cases.len(), 1 + stages + s.outcome.findings.len());
        let skipped = |c: &quick_junit::TestCase| matches!(c.status, TestCaseStatus::Skipped { .. });
        assert!(!suite.test_cases.iter().any(skipped), "{}", s.name);
        let count = |wanted| {
            let is = |c: &&quick_junit::TestCase| matches!(&c.status, TestCaseStatus::NonSuccess { kind, .. } if *kind == wanted);
            suite.test_cases.iter().filter(is).count()
        };
        let of = |v| {
            s.outcome.findings.iter().filter(|f| f.counts_as() == v).count()
                + s.outcome.stages.iter().filter(|r| r.verdict == v).count()
                + usize::from(s.outcome.verdict == v)
        };
        assert_eq!(count(NonSuccessKind::Failure), of(Verdict::Fail), "{}", s.name);
        assert_eq!(count(NonSuccessKind::Error), of(Verdict::Undecided) + s.outcome.not_done.len(), "{}", s.name);
    }
    assert_eq!(report.test_suites[0].failures + report.test_suites[0].errors, 0, "only the clean job is clean");
}

#[test]
fn what_judges_nothing_is_skipped_not_passed() {
    let mut s = clean();
    s.outcome
        .findings
        .iter_mut()
        .filter(|f| f.stage == StageKind::AsFound)
        .for_each(|f| f.verdict = Verdict::Undecided);
    let report = Report::deserialize_from_str(&xml(&[(&s, None)])).unwrap();
    let suite = &report.test_suites[0];
    assert_eq!((suite.failures, suite.errors), (0, 0));
    assert_eq!(suite.test_cases.iter().filter(|c| matches!(c.status, TestCaseStatus::Skipped { .. })).count(), 1);
}

#[test]
fn an_expected_failure_succeeds_only_for_the_expected_reason() {
    let s = failed();
    let run = |verdict, about: &[Subject]| {
        let out = xml(&[(&s, Some(Expected { verdict, about: about.to_vec(), stages: vec![] }))]);
        let suite = Report::deserialize_from_str(&out).unwrap().test_suites.remove(0);
        (suite.test_cases.len(), suite.failures + suite.errors)
    };
    assert_eq!(run(Verdict::Fail, &[]), (1, 0));
    assert_eq!(run(Verdict::Fail, &[Subject::Pipe(2)]), (1, 0));
    assert_eq!(run(Verdict::Fail, &[Subject::Pipe(2), Subject::Output(1)]), (1, 1), "another reason");
    assert_eq!(run(Verdict::Undecided, &[]), (1, 1), "another verdict");
    let (cases, bad) = run(Verdict::Pass, &[]);
    assert!(cases > 20 && bad > 1, "expected to pass: everything is reported");
    let e = Expected { verdict: Verdict::Pass, about: vec![], stages: vec![] };
    assert!(e.missed_by(&clean().outcome).is_empty());
    assert!(!e.missed_by(&Outcome::default()).is_empty(), "nothing is not a pass");
}

#[test]
fn single_stages_are_held_against_what_is_expected_of_them() {
    let mut s = clean();
    let missed = |s: &Sample, stages: &[(StageKind, Option<Verdict>)]| {
        Expected { verdict: Verdict::Pass, about: vec![], stages: stages.to_vec() }.missed_by(&s.outcome).len()
    };
    assert_eq!(missed(&s, &[(StageKind::Settle, Some(Verdict::Pass))]), 0);
    assert_eq!(missed(&s, &[(StageKind::Settle, Some(Verdict::Fail)), (StageKind::Purge, None)]), 2);
    s.outcome.stages.retain(|r| r.stage != StageKind::Settle);
    assert_eq!(missed(&s, &[(StageKind::Settle, None)]), 0);
    // What is void by the end of the job no longer passes.
    let before = stage_verdict(&s.outcome, StageKind::ProveFlow);
    s.outcome.findings.iter_mut().filter(|f| f.stage == StageKind::ProveFlow).for_each(|f| f.void = Some("v".into()));
    let after = stage_verdict(&s.outcome, StageKind::ProveFlow);
    assert_eq!((before, after), (Some(Verdict::Pass), Some(Verdict::Undecided)));
}

#[test]
fn a_job_without_a_result_is_an_error_and_hides_no_other() {
    let s = clean();
    let jobs = [
        JunitJob {
            name: "lost",
            outcome: Err("ended by signal 9"),
            expected: None,
            properties: Vec::new(),
            attachments: vec!["out/report.html".into()],
        },
        JunitJob {
            name: "clean",
            outcome: Ok(&s.outcome),
            expected: None,
            properties: Vec::new(),
            attachments: vec!["out/report.html".into()],
        },
    ];
    let report = Report::deserialize_from_str(&junit(&jobs).unwrap()).unwrap();
    let errors: Vec<_> = report.test_suites.iter().map(|s| s.errors).collect();
    assert_eq!(errors, [1, 0]);
}

#[test]
fn json_reads_back_as_the_same_outcome() {
    for s in all() {
        let json = result_json(&s.input()).unwrap();
        assert_eq!(json, result_json(&s.input()).unwrap());
        assert!(json.starts_with("{\n  \"format\": 1,\n") && json.ends_with("}\n"));
        let value: Value = serde_json::from_str(&json).unwrap();
        let back: Outcome = serde_json::from_value(value["outcome"].clone()).unwrap();
        assert_eq!(back, s.outcome, "{}", s.name);
        assert_eq!(value["verdict"], s.outcome.verdict.word());
    }
}

#[test]
fn json_has_no_key_that_the_schema_does_not_name() {
    let schema: Value = serde_json::from_str(RESULT_SCHEMA).unwrap();
    let mut s = undecided();
    s.outcome.trouble = Some(plumeline_detector::Trouble::Refused {
        kind: plumeline_detector::driver::RefusalKind::Busy,
        code: 8,
        reason: "busy".into(),
    });
    let setting = Subject::Setting("k".into());
    s.outcome.findings.push(Finding::coded(StageKind::Load, setting, "load.item-missing", &[("item", "k")]).unwrap());
    for s in [s, clean(), failed(), aborted()] {
        let value: Value = serde_json::from_str(&result_json(&s.input()).unwrap()).unwrap();
        assert!(fits(&schema, &schema, &value, "result"), "{}", s.name);
    }
    let mut value: Value = serde_json::from_str(&result_json(&clean().input()).unwrap()).unwrap();
    value["outcome"]["pipes"][0]["colour"] = Value::from("red");
    assert!(!fits(&schema, &schema, &value, "result"), "the check can fail");
}

/// The part of JSON Schema that the schema uses for the shape of things: references, alternatives, keys, items. Types
/// and patterns are checked by an independent validator, see the scripts.
fn fits(root: &Value, schema: &Value, value: &Value, at: &str) -> bool {
    if let Some(path) = schema["$ref"].as_str() {
        let target = root.pointer(path.trim_start_matches('#')).unwrap_or_else(|| panic!("{path} is not defined"));
        return fits(root, target, value, at);
    }
    if let Some(any) = schema["anyOf"].as_array() {
        return any.iter().any(|s| fits(root, s, value, at));
    }
    match value {
        Value::Object(map) => {
            let required = schema["required"].as_array().into_iter().flatten().filter_map(Value::as_str);
            required.into_iter().all(|k| map.contains_key(k))
                && map.iter().all(|(k, v)| {
                    let known =
                        schema["properties"].get(k).or(schema.get("additionalProperties")).filter(|s| s.is_object());
                    known.is_some_and(|s| fits(root, s, v, &format!("{at}.{k}")))
                })
        }
        Value::Array(all) => all.iter().enumerate().all(|(k, v)| {
            let item = schema["prefixItems"].get(k).unwrap_or(&schema["items"]);
            fits(root, item, v, at)
        }),
        Value::Null => {
            schema["type"] == "null" || schema["type"].as_array().is_some_and(|t| t.iter().any(|t| t == "null"))
        }
        scalar => match schema["enum"].as_array() {
            Some(values) => values.contains(scalar),
            None => schema["type"] != "object" && schema["type"] != "array" && schema["type"] != "null",
        },
    }
}

/// The page for the customer says the verdict of the report, what must be known before it, and no more than has room.
#[test]
fn the_customers_page_says_what_the_report_says() {
    for s in common::all() {
        let page = plumeline_report::page(&s.input()).unwrap();
        let verdict = plumeline_report::standing::shown_verdict(&s.outcome);
        assert!(page.contains(plumeline_report::words::verdict(verdict)), "{}", s.name);
        assert!(page.len() < 16_000 && !page.contains("<script"), "{}: {} bytes", s.name, page.len());
        insta::assert_snapshot!(format!("page-{}", s.name), page);
    }
    let mut s = failed();
    s.plan.site = "<b>Store</b>\u{202e}".into();
    s.outcome.origin.simulated_unit = true;
    let page = plumeline_report::page(&s.input()).unwrap();
    assert!(!page.contains("<b>Store") && !page.contains('\u{202e}') && page.contains("FAIL (SIMULATED)"), "{page}");
}

#[test]
fn every_file_of_a_finished_job_has_its_format() {
    let files = plumeline_report::FORMATS.map(|f| f.file);
    assert_eq!(files, plumeline_job::folder::REPORTS);
    let sample = &common::all()[0];
    for format in plumeline_report::FORMATS {
        assert!(!(format.write)(&sample.input()).unwrap().is_empty(), "{}", format.file);
    }
}

#[test]
fn the_page_names_every_rule_with_the_value_that_held() {
    let sample = &common::all()[0];
    let page = plumeline_report::html(&sample.input()).unwrap();
    for used in plumeline_procedure::rules::used(&sample.plan) {
        let path = used.rule.path();
        let value = used.limit.map_or_else(|| "not stated".to_owned(), |l| used.rule.dimension.shown(l.value));
        // A row of its own, or, where a rule that few jobs change holds as preset, among others of the same source.
        if let Some((_, row)) = page.split_once(&format!(">{path}<")) {
            let row = row.split("</tr>").next().unwrap_or_default();
            assert!(row.contains(&value), "{path}: {value} is not in {row}");
        } else {
            assert!(path.starts_with("advanced.") && !used.changed, "{path} has no row of its own");
            assert!(page.contains(&format!("{path} {value}")), "{path} {value} is not on the page");
        }
    }
}

/// The schema is written by hand but for its lists of stages and limits. Run with `PLUMELINE_WRITE_SCHEMAS=1` to write those anew.
#[test]
fn the_schema_names_every_stage_and_every_limit() {
    let list = |names: &[&str]| names.iter().map(|n| format!("\"{n}\"")).collect::<Vec<_>>().join(", ");
    let limits: Vec<&str> =
        plumeline_procedure::rules::all().filter(|r| r.section == "limits").map(|r| r.key).collect();
    let each =
        limits.iter().map(|key| format!("        \"{key}\": {{ \"$ref\": \"#/$defs/limit\" }}")).collect::<Vec<_>>();
    let parts = [
        ("    \"stage\": { \"enum\": [", "] },", list(&plumeline_procedure::StageKind::ALL.map(|s| s.name()))),
        ("      \"required\": [\"transport\", ", "],", list(&limits[1..])),
        ("        \"transport\": {", "\n      }", each.join(",\n")[each[0].find('{').unwrap() + 1..].to_owned()),
    ];
    let wanted = parts.iter().fold(RESULT_SCHEMA.to_owned(), |text, (starts, ends, between)| {
        let (before, rest) = text.split_once(starts).unwrap();
        let (_, after) = rest.split_once(ends).unwrap();
        format!("{before}{starts}{between}{ends}{after}")
    });
    if std::env::var_os("PLUMELINE_WRITE_SCHEMAS").is_some() {
        let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../../docs/schemas/result.schema.json");
        std::fs::write(path, wanted).unwrap();
        return;
    }
    assert!(RESULT_SCHEMA == wanted, "result.schema.json is out of date: run with PLUMELINE_WRITE_SCHEMAS=1");
}

//! Files of loggers of all kinds, and what must be made of each.
//!
//! The files in `tests/data/logger/` and the answers beside them come from `scripts/make_logger_files.py`, which writes both from
//! the values and knows nothing of this reader.
#![allow(clippy::unwrap_used, clippy::panic)] // helpers of tests are tests
use plumeline_job::logger::{self, Decimal, Order, Stated};
use serde_json::Value;
use std::path::{Path, PathBuf};

fn files() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/data/logger")
}

fn stated(options: &Value) -> Stated {
    let text = |key: &str| options[key].as_str().map(str::to_owned);
    let gaps = options["gaps"].as_array().into_iter().flatten();
    Stated {
        time: text("time"),
        column: text("column"),
        dates: text("dates").map(|word| match word.as_str() {
            "day-first" => Order::DayFirst,
            "month-first" => Order::MonthFirst,
            _ => Order::YearFirst,
        }),
        decimal: text("decimal").map(|word| if word == "comma" { Decimal::Comma } else { Decimal::Point }),
        time_unit: text("time_unit"),
        unit: text("unit"),
        gaps: gaps.map(|g| g.as_str().unwrap().to_owned()).collect(),
        encoding: text("encoding"),
    }
}

/// What differs from the expected answer.
fn differs(file: &str, bytes: &[u8], options: &Value, expected: &Value) -> Option<String> {
    let stated = stated(options);
    let (read, preview) = (logger::parse(file, bytes, &stated), logger::preview_of(file, bytes, &stated));
    if let Some(says) = expected["error"].as_str() {
        let Err(problem) = read else { return Some("was read".into()) };
        let place = problem.place().map(|p| (p.line as u64, p.column as u64));
        let wanted = expected["line"].as_u64().zip(expected["column"].as_u64());
        let told = format!("{problem}");
        return (!problem.cause().contains(says) || place != wanted || problem.remedy().is_empty()).then_some(told);
    }
    let (read, preview) = match (read, preview) {
        (Ok(read), Ok(preview)) => (read, preview),
        (Err(problem), _) | (_, Err(problem)) => return Some(problem.to_string()),
    };
    let sum: f64 = read.readings.iter().map(|r| r.1).sum();
    let lasts = preview.lasts_s;
    let close = |a: f64, key: &str| (a - expected[key].as_f64().unwrap()).abs() < 1e-6 * (1.0 + a.abs());
    let seen = serde_json::to_value(&preview).unwrap();
    let exact = [
        "separator",
        "encoding",
        "decimal",
        "dates",
        "first",
        "last",
        "rows",
        "lines_before",
        "lines_after",
        "equal",
        "backward",
    ];
    let wrong = exact.iter().find(|key| !expected[**key].is_null() && expected[**key] != seen[**key]);
    let chosen = preview.columns.iter().find(|c| c.heading == read.heading.whole).unwrap();
    if let Some(key) = wrong {
        return Some(format!("{key}: {} for {}", seen[*key], expected[*key]));
    }
    let holds = close(sum, "sum")
        && close(chosen.sum, "sum")
        && close(lasts, "lasts_s")
        && read.gaps.times as u64 == expected["gaps"].as_u64().unwrap()
        && expected["unit"].as_str().is_none_or(|unit| unit == read.unit)
        && read.readings.len() + read.gaps.times == preview.rows;
    (!holds).then(|| format!("{read:?} {preview:?}"))
}

#[test]
fn files_of_all_kinds_are_read_as_they_were_meant() {
    let cases: Vec<Value> = serde_json::from_slice(&std::fs::read(files().join("expected.json")).unwrap()).unwrap();
    let mut wrong = Vec::new();
    for case in &cases {
        let file = case["file"].as_str().unwrap();
        let bytes = std::fs::read(files().join(file)).unwrap();
        if let Some(what) = differs(file, &bytes, &case["options"], &case["expected"]) {
            wrong.push(format!("{file}: {what}"));
        }
    }
    assert!(cases.len() >= 60, "{}", cases.len());
    assert!(wrong.is_empty(), "{} of {}:\n{}", wrong.len(), cases.len(), wrong.join("\n"));
}

/// Nothing that any file holds is worse than a refusal: every case cut short anywhere, and with a byte of it spoilt.
#[test]
fn spoilt_files_are_read_or_refused() {
    let cases: Vec<Value> = serde_json::from_slice(&std::fs::read(files().join("expected.json")).unwrap()).unwrap();
    for case in &cases {
        let file = case["file"].as_str().unwrap();
        let bytes = std::fs::read(files().join(file)).unwrap();
        let stated = stated(&case["options"]);
        for i in (0..bytes.len()).step_by(13) {
            let _ = logger::preview_of(file, &bytes[..i], &stated);
            let mut spoilt = bytes.clone();
            spoilt[i] = spoilt[i].wrapping_mul(7).wrapping_add(i as u8);
            if let Ok(read) = logger::parse(file, &spoilt, &stated) {
                assert!(read.readings.iter().all(|(_, x)| x.is_finite()), "{file} {i}");
            }
        }
    }
}

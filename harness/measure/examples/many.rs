//! Judges signals that come as lines of JSON on standard input, one answer a line: for evaluations by generators that are no
//! part of this crate (`scripts/second`).
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::print_stdout)] // a tool for evaluations: what it can't read ends it
use plumeline_base::Instant;
use plumeline_measure::{Sample, mean, settle, smoke};
use serde_json::{Value, json};
use std::{io::BufRead, time::Duration};

fn at(s: f64) -> Instant {
    Instant::from_micros((s * 1e6).round() as u64)
}
fn samples(case: &Value) -> Vec<Sample> {
    let numbers =
        |key: &str| -> Vec<f64> { case[key].as_array().unwrap().iter().map(|v| v.as_f64().unwrap()).collect() };
    numbers("t").into_iter().zip(numbers("y")).map(|(t, y)| Sample::new(at(t), y)).collect()
}

fn smoke(case: &Value) -> Value {
    let (all, release, told) = (samples(case), case["release"].as_f64().unwrap(), &case["told"]);
    let rule = smoke::Rule {
        resolution: told["resolution"].as_f64().unwrap(),
        full_scale: told["full_scale"].as_f64().unwrap_or(f64::INFINITY),
        max_gap_s: told["max_gap_s"].as_f64().unwrap(),
        ..smoke::Rule::default()
    };
    let (before, after) = all.split_at(all.partition_point(|s| s.at < at(release)));
    json!({ "outcome": smoke::analyse(before, after, &smoke::Release::by_device(at(release), 0.0), &rule) })
}

fn settled(case: &Value) -> Value {
    let (all, told) = (samples(case), &case["told"]);
    let usual = settle::Rule::default();
    let rule = settle::Rule {
        resolution: told["resolution"].as_f64().unwrap(),
        deadline: told["deadline_s"].as_f64().map_or(usual.deadline, Duration::from_secs_f64),
        ..usual
    };
    let mut settler = settle::Settler::new(rule, Instant::START);
    let (mut first, mut changes, mut steady) = (None, Vec::new(), false);
    for s in &all {
        settler.push(*s);
        let now = matches!(settler.state(s.at), settle::State::Steady { .. });
        if now != steady {
            changes.push((s.at.as_secs_f64(), now));
        }
        steady = now;
        first = first.or(now.then(|| s.at.as_secs_f64()));
    }
    settler.conclude();
    json!({ "first": first, "changes": changes, "end": settler.state(all[all.len() - 1].at) })
}

fn mean(case: &Value) -> Value {
    let all = samples(case);
    let terms = mean::Terms { resolution: case["told"]["resolution"].as_f64().unwrap(), ..mean::Terms::default() };
    json!({ "mean": mean::mean_of(&all, all[all.len() - 1].at, &terms).map_err(|e| e.to_string()) })
}

fn main() {
    let what = std::env::args().nth(1).expect("smoke, settle or mean");
    for line in std::io::stdin().lock().lines() {
        let case: Value = serde_json::from_str(&line.unwrap()).unwrap();
        let answer = match what.as_str() {
            "smoke" => smoke(&case),
            "settle" => settled(&case),
            _ => mean(&case),
        };
        println!("{answer}");
    }
}

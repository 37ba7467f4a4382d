//! Writes the sample reports of four invented jobs into a folder, for anyone who wants to look at them:
//! `cargo run -p plumeline-report --example sample -- DIR`.
use std::{error::Error, fs, path::PathBuf};

#[path = "../tests/common/mod.rs"]
#[allow(clippy::panic, reason = "shared with the tests: a sample that fills no finding is a fault of its own")]
mod common;

fn main() -> Result<(), Box<dyn Error>> {
    let dir = PathBuf::from(std::env::args_os().nth(1).ok_or("give a folder to write the samples to")?);
    fs::create_dir_all(&dir)?;
    let samples = common::all();
    for sample in &samples {
        let input = sample.input();
        fs::write(dir.join(format!("{}.html", sample.name)), plumeline_report::html(&input)?)?;
        fs::write(dir.join(format!("{}.json", sample.name)), plumeline_report::result_json(&input)?)?;
        println!("{}", plumeline_report::text(&sample.outcome, 100));
    }
    let jobs: Vec<_> = samples
        .iter()
        .map(|s| plumeline_report::JunitJob {
            name: s.name,
            outcome: Ok(&s.outcome),
            expected: None,
            properties: Vec::new(),
            attachments: Vec::new(),
        })
        .collect();
    fs::write(dir.join("junit.xml"), plumeline_report::junit(&jobs)?)?;
    Ok(())
}

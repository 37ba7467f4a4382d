//! `plumeline batch`: several jobs unattended, one table, one junit.xml, one result.json, one exit code.
use crate::{args::Batch, output};
use plumeline_job::{Problem, TEXT_LIMIT, folder, input_file};
use plumeline_lab::batch::{
    file::{self, Entry},
    result::{BatchResult, How, JobResult},
    work::{self, Work},
};
use plumeline_procedure::Outcome;
use plumeline_report::JunitJob;
use plumeline_runtime::{
    failure::{Exit, Failure},
    show::print_result,
};
use std::path::Path;

/// `plumeline batch`
pub fn batch(args: &Batch) -> Result<Exit, Failure> {
    let mut jobs = file::read(&args.batch)?;
    if !args.only.is_empty() {
        jobs.retain(|job| args.only.iter().any(|part| job.name.contains(part.as_str())));
        if jobs.is_empty() {
            let cause = format!("no job of {} has {} in its name", args.batch.display(), args.only.join(" or "));
            return Err(Failure::input(cause, "see the names in the batch"));
        }
    }
    let mut result = BatchResult::begin(&args.batch, &jobs)?;
    let path = args.out.join(folder::RESULT);
    if args.go_on {
        result.take_over(earlier(&path)?);
    } else if !args.force
        && let Some(there) = jobs.iter().map(|j| args.out.join(&j.name)).chain([path.clone()]).find(|p| p.exists())
    {
        return Err(Failure::input(
            format!("{}: an earlier run left this", there.display()),
            "choose another folder with --out, go on with --go-on, or replace it with --force",
        ));
    }
    std::fs::create_dir_all(&args.out).map_err(|e| Problem::from_io(&args.out, "make the folder", &e))?;
    let keep = |known: &BatchResult| put(&path, &known.clone().json()?);
    keep(&result)?;
    let work = Work { jobs: &jobs, out: &args.out, at_once: args.at_once.into(), go_on: args.go_on, keep: &keep };
    let mut result = work.run(result)?;
    let json = result.json()?;
    put(&path, &json)?;
    put(&args.out.join(folder::JUNIT), &junit(&jobs, &result, &args.out)?)?;
    print_result(&if args.json { json.trim_end().to_owned() } else { result.table() });
    Ok(if result.as_expected { Exit::Pass } else { Exit::Fail })
}

fn put(path: &Path, text: &str) -> Result<(), Failure> {
    output::put(path, text.as_bytes(), "write it", &[])
}

fn earlier(path: &Path) -> Result<BatchResult, Failure> {
    let bytes = input_file::read(path, "read what an earlier run came to", TEXT_LIMIT as u64)?;
    serde_json::from_slice(&bytes).map_err(|e| {
        Failure::input(
            format!("{}: {e}", path.display()),
            "give the folder of an earlier run of this batch, or use --force",
        )
    })
}

fn junit(jobs: &[Entry], result: &BatchResult, out: &Path) -> Result<String, Failure> {
    let outcomes: Vec<Result<Outcome, String>> = result
        .jobs
        .iter()
        .map(|job| match job.came_to.how {
            How::Over => work::outcome(&out.join(&job.name)).map_err(|f| f.render(false)),
            _ => Err(job.came_to.because.clone()),
        })
        .collect();
    let suites: Vec<JunitJob<'_>> = jobs
        .iter()
        .zip(&outcomes)
        .zip(&result.jobs)
        .map(|((job, outcome), known)| JunitJob {
            name: &job.name,
            outcome: outcome.as_ref().map_err(String::as_str),
            expected: Some(job.expected.clone()),
            properties: properties(known),
            attachments: attachments(out, &job.name),
        })
        .collect();
    plumeline_report::junit(&suites).map_err(|e| Failure::internal(e.to_string()))
}

/// What a job left that a build server may keep, by its path below the batch's folder.
fn attachments(out: &Path, job: &str) -> Vec<String> {
    let all = [folder::REPORT, folder::JOURNAL, folder::TRACE, work::SAID].map(|name| format!("{job}/{name}"));
    all.into_iter().filter(|path| out.join(path).is_file()).collect()
}

/// What tells a run of a job from others.
fn properties(job: &JobResult) -> Vec<(&'static str, String)> {
    let mut all = vec![
        ("tool", env!("CARGO_PKG_VERSION").to_owned()),
        ("port", job.port.clone()),
        ("inputs", job.inputs.to_string()),
        ("attempts", (job.attempts_before.len() + 1).to_string()),
    ];
    all.extend(job.seed.map(|seed| ("seed", seed.to_string())));
    let before = job.attempts_before.iter().enumerate();
    all.extend(
        before.map(|(n, came_to)| ("attempt-before", format!("{}: {}, {}", n + 1, came_to.words(), came_to.because))),
    );
    all
}

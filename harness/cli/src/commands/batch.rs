//! `plumeline batch`: several jobs unattended, one table, one junit.xml, one result.json, one exit code.
use crate::args::Batch;
use plumeline_job::{
    Problem, TEXT_LIMIT,
    disk::{OsDisk, replace},
    folder, input_file,
};
use plumeline_lab::batch::{
    file::{self, Entry},
    result::{BatchResult, How},
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
    let jobs = file::read(&args.batch)?;
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
    Ok(replace(&OsDisk, path, text.as_bytes()).map_err(|e| Problem::from_io(path, "write it", &e))?)
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
        .map(|(job, outcome)| JunitJob {
            name: &job.name,
            outcome: outcome.as_ref().map_err(String::as_str),
            expected: Some(job.expected.clone()),
        })
        .collect();
    plumeline_report::junit(&suites).map_err(|e| Failure::internal(e.to_string()))
}

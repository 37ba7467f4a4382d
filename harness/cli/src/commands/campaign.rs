//! `plumeline campaign`: many simulated replacements, and how often the verdict was right.
use super::by_means;
use crate::{args::Campaign, output};
use plumeline_job::Problem;
use plumeline_lab::campaign::{
    explain, lies,
    matrix::Matrix,
    record::{Head, JOBS, Record},
    run, text,
};
use plumeline_runtime::{
    failure::{Exit, Failure},
    scenario,
    show::print_progress,
};
use std::path::Path;

/// Names of what is counted, in a campaign's folder.
const MATRIX: &str = "matrix.json";
const TEXT: &str = "matrix.md";
const LIES: &str = "lies.json";
const LIES_TEXT: &str = "lies.md";

/// `plumeline campaign`
pub fn campaign(args: &Campaign) -> Result<Exit, Failure> {
    if let Some(seed) = args.explain {
        let dir = args.out.clone().unwrap_or_else(|| format!("campaign-job-{seed}").into());
        return match args.means {
            Some(by) => by_means::explain(args, by, seed, &dir),
            None if args.lie.is_empty() => explain::explain(seed, !args.no_holes, &dir, args.force),
            None => explain::explain_lies(seed, &scenario::lies(&args.lie)?, &dir, args.force),
        };
    }
    if let Some(by) = args.means {
        return by_means::campaign(args, by);
    }
    if args.lies {
        return lies(args);
    }
    let record = if args.merge.is_empty() {
        run(Head::new(args.seed, args.runs, args.shard), args.threads)?
    } else {
        Record::merge(args.merge.iter().map(|p| Record::read(p)).collect::<Result<_, _>>()?)?
    };
    let matrix = Matrix::of(&record);
    let json = serde_json::to_string_pretty(&matrix).map_err(|e| Failure::internal(e.to_string()))? + "\n";
    let words = text::of(&matrix);
    if let Some(dir) = &args.out {
        std::fs::create_dir_all(dir).map_err(|e| Problem::from_io(dir, "make the campaign's folder", &e))?;
        write(&dir.join(JOBS), &record.text()?)?;
        write(&dir.join(MATRIX), &json)?;
        write(&dir.join(TEXT), &words)?;
    }
    print_progress(if args.json { json.trim_end() } else { words.trim_end() });
    Ok(Exit::Pass)
}

/// The matrix of units that lie.
fn lies(args: &Campaign) -> Result<Exit, Failure> {
    let rows = lies::run(args.seed, args.runs, args.threads, &scenario::lies(&args.lie)?)?;
    let json = serde_json::to_string_pretty(&rows).map_err(|e| Failure::internal(e.to_string()))? + "\n";
    let words = lies::text(&rows);
    if let Some(dir) = &args.out {
        std::fs::create_dir_all(dir).map_err(|e| Problem::from_io(dir, "make the campaign's folder", &e))?;
        write(&dir.join(LIES), &json)?;
        write(&dir.join(LIES_TEXT), &words)?;
    }
    print_progress(if args.json { json.trim_end() } else { words.trim_end() });
    Ok(Exit::Pass)
}

fn write(path: &Path, text: &str) -> Result<(), Failure> {
    output::put(path, text.as_bytes(), "write what came of the campaign", &[])
}

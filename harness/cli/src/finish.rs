//! What is written when a job is over: the result, the report, the JUnit file; and the last words on the terminal.
use crate::{
    args::Output,
    commands::close,
    failure::{Exit, Failure},
    keep::DiskKeeper,
    load::Loaded,
    session::Session,
    show,
};
use plumeline_base::obscuration::ObscurationUnit;
use plumeline_job::folder::{self, Folder};
use plumeline_procedure::Outcome;
use plumeline_report::{Digests, JunitJob, PipeFacts, Record, ReportInput};
use std::path::PathBuf;

/// Writes the files that follow from a finished job. Gives the report's path.
pub fn write(
    folder: &Folder,
    loaded: &Loaded,
    outcome: &Outcome,
    record: &Record,
    digests: &Digests,
    invented: bool,
) -> Result<PathBuf, Failure> {
    let pipes = PipeFacts::of(&loaded.inputs.pipework);
    let input = ReportInput {
        outcome,
        plan: &loaded.inputs.plan,
        pipes: &pipes,
        record,
        obscuration: ObscurationUnit::PercentPerMetre,
        digests,
        tool: env!("CARGO_PKG_VERSION"),
        carried: loaded.carried.as_ref(),
        invented,
    };
    let told = |e: plumeline_report::ReportError| Failure::internal(e.to_string());
    let name = folder.dir().file_name().map_or_else(|| "job".into(), |n| n.to_string_lossy().into_owned());
    let junit =
        plumeline_report::junit(&[JunitJob { name: &name, outcome: Ok(outcome), expected: None }]).map_err(told)?;
    folder.replace(folder::RESULT, plumeline_report::result_json(&input).map_err(told)?.as_bytes())?;
    folder.replace(folder::JUNIT, junit.as_bytes())?;
    folder.replace(folder::REPORT, plumeline_report::html(&input).map_err(told)?.as_bytes())?;
    Ok(folder.dir().join(folder::REPORT))
}

/// The plan says that its site is invented.
pub fn is_invented(loaded: &Loaded) -> bool {
    loaded.plan.plan.site.to_lowercase().contains("invented")
}

/// The last words.
pub fn tell(outcome: &Outcome, report: &std::path::Path) {
    show::always("");
    show::always(plumeline_report::text(outcome, 100).trim_end());
    show::always("");
    show::always(&format!("report: {}", report.display()));
}

/// Everything that follows when a job is over: files, last words, exit code.
pub fn finished<D: plumeline_trace::Disk>(
    folder: &Folder,
    loaded: &Loaded,
    session: Session<DiskKeeper<D>>,
    output: &Output,
    invented: bool,
) -> Result<Exit, Failure> {
    let (mut keeper, record, outcome) = session.into_parts();
    keeper.sync()?;
    let outcome = outcome.ok_or_else(|| Failure::internal("the job ended without an outcome"))?;
    let digests = Digests {
        journal_head: keeper.journal_head().to_string(),
        trace: keeper.log_end().map(|c| c.hash.to_string()).unwrap_or_default(),
    };
    let report = write(folder, loaded, &outcome, &record, &digests, invented)?;
    if !output.json {
        tell(&outcome, &report);
    }
    if invented {
        let date = record.dates.last().map_or("unknown", |(_, date)| date.as_str());
        let seal = close::demonstrate(folder, &outcome, date)?;
        if !output.json {
            show::line(&close::sealed(&seal));
        }
    }
    Ok(Exit::of(&outcome))
}

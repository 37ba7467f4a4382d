//! What is written when a job is over: the result, the report, the JUnit file; and the last words on the terminal.
use crate::{
    clock,
    failure::{Exit, Failure},
    job_files::Loaded,
    keep::DiskKeeper,
    session::Session,
    show,
};
use plumeline_base::obscuration::ObscurationUnit;
use plumeline_job::{
    code,
    folder::{self, Folder},
    key::SigningKey,
    seal::{self, Closed, Closing, Judged, Seal, Statement},
};
use plumeline_procedure::Outcome;
use plumeline_report::{Digests, PipeFacts, Record, ReportInput, standing};
use std::path::PathBuf;

/// Writes the files that follow from a finished job. Gives the report's path.
pub fn write(
    folder: &Folder,
    loaded: &Loaded,
    outcome: &Outcome,
    record: &Record,
    digests: &Digests,
) -> Result<PathBuf, Failure> {
    let pipes = PipeFacts::of(&loaded.inputs.pipework);
    let name = folder.dir().file_name().map_or_else(|| "job".into(), |n| n.to_string_lossy().into_owned());
    let input = ReportInput {
        name: &name,
        outcome,
        plan: &loaded.inputs.plan,
        pipes: &pipes,
        record,
        obscuration: ObscurationUnit::PercentPerMetre,
        digests,
        tool: env!("CARGO_PKG_VERSION"),
        carried: loaded.carried.as_ref(),
        history: loaded.history.as_ref(),
    };
    for format in plumeline_report::FORMATS {
        let text = (format.write)(&input).map_err(|e| Failure::internal(e.to_string()))?;
        folder.replace(format.file, text.as_bytes())?;
    }
    Ok(folder.dir().join(folder::REPORT))
}

/// The last words.
pub fn tell(outcome: &Outcome, report: &std::path::Path) {
    show::print_result("");
    show::print_result(plumeline_report::text(outcome, show::width()).trim_end());
    show::print_result("");
    show::print_result(&format!("report: {}", report.display()));
}

/// Everything that follows when a job is over: files, last words, exit code.
pub fn finished<D: plumeline_trace::Disk>(
    folder: &Folder,
    loaded: &Loaded,
    session: Session<DiskKeeper<D>>,
    json: bool,
    invented: bool,
) -> Result<Exit, Failure> {
    let (mut keeper, record, outcome) = session.into_parts();
    keeper.sync()?;
    // A job that did not end can be taken up again: nothing follows from it yet.
    let Some(outcome) = outcome else {
        let dir = folder.dir().display();
        let words = format!(
            "paused: the site may still be isolated, and the unit's outputs stay inhibited until the lease lapses with its fault. Go on with: plumeline run {dir} and the same port"
        );
        if json {
            show::print_result(&serde_json::json!({ "paused": words }).to_string())
        } else {
            show::print_result(&words)
        }
        return Ok(Exit::Paused);
    };
    let digests = Digests {
        journal_head: keeper.journal_head().to_string(),
        trace: keeper.log_end().map(|c| c.hash.to_string()).unwrap_or_default(),
    };
    let report = write(folder, loaded, &outcome, &record, &digests)?;
    if !json {
        tell(&outcome, &report);
        show::print_result(&format!(
            "code of this record, for the site's log book: {}",
            code::of(&keeper.journal_head())
        ));
    }
    if invented {
        let ended =
            record.dates.last().and_then(|(at, date)| clock::later(date, record.until.since(*at).as_secs_f64()));
        let seal = demonstrate(folder, &outcome, ended.as_deref().unwrap_or("unknown"))?;
        if !json {
            show::print_progress(&sealed(&seal));
        }
    }
    Ok(Exit::of(&outcome))
}

/// How a job that is over is closed, and what it came to.
pub fn stated(outcome: &Outcome) -> (Closed, Judged) {
    let open = standing::left_open(outcome).map(|loud| format!("{}: {}", loud.word, loud.text));
    let is = standing::shown_verdict(outcome);
    (Closed::with(open.into_iter().collect()), Judged { because: outcome.because.clone(), is })
}

/// What a reader of the seal must know before the verdict.
pub fn cautions(outcome: &Outcome) -> Vec<String> {
    standing::cautions(outcome).into_iter().map(|loud| format!("{}: {}", loud.word, loud.text)).collect()
}

/// Seals a demonstration with the key that everybody has.
pub fn demonstrate(folder: &Folder, outcome: &Outcome, date: &str) -> Result<Seal, Failure> {
    let (closed, verdict) = stated(outcome);
    let (cautions, tool) = (cautions(outcome), env!("CARGO_PKG_VERSION").into());
    let statement = Statement { cautions, closed, verdict, date: date.into(), tool, words: None };
    Ok(seal::add(folder, &seal::verify(folder), statement, &SigningKey::demonstration())?)
}

/// What was sealed, on one line.
pub fn sealed(seal: &Seal) -> String {
    format!("sealed: {}", about(seal))
}

/// One line about a seal.
pub fn about(seal: &Seal) -> String {
    let how = match seal.closed.how {
        Closing::Complete => "complete",
        Closing::Incomplete => "INCOMPLETE",
    };
    let cautions: String = seal.cautions.iter().filter_map(|c| Some(format!("{}, ", c.split_once(':')?.0))).collect();
    let words = seal.statement.as_ref().map_or_else(String::new, |words| format!("; says: \"{words}\""));
    format!(
        "{}: {cautions}{how}, by {} on {}; verdict {}, {} files, {} lines of journal{words}",
        seal::file_name(seal.number),
        seal.signer,
        seal.date,
        seal.verdict.is,
        seal.files.len(),
        seal.journal.lines
    )
}

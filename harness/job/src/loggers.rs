//! Files of a logger that a person gives in a job: read with what the plan says of them, kept in the job's `loggers` folder, and turned
//! into the event that the log holds.
//!
//! Not here: how the text of a file is understood ([`crate::logger`]), and whether its readings are any good (the procedure).
use crate::{
    digest::Digest,
    error::{Kind, Problem},
    folder::Folder,
    input_file,
    kept::{KeptFile, Shelf},
    logger::{self, Decimal, Order, Readings, Stated},
};
use plumeline_base::logger::LoggerFile;
use plumeline_procedure::instrument::Instrument;
use std::path::Path;

/// The folder of loggers' files within a job.
pub const LOGGERS: &str = "loggers";
/// Largest file that is kept, bytes.
pub const FILE_LIMIT: u64 = 32 * 1024 * 1024;
/// Readings so long before the first mark of the clock and after the last enter the log, us.
const ABOUT_US: i64 = 600_000_000;
/// Most readings that enter the log.
const MOST_ROWS: usize = 200_000;

const SHELF: Shelf =
    Shelf { dir: LOGGERS, what: "file of a logger", unnamed: "logger", endings: &["csv"], limit: FILE_LIMIT };

/// Whether a file that the journal names is in its place, as it was.
///
/// # Errors
/// [`Kind::Absent`], [`Kind::Altered`]; [`Kind::Range`] for a name that the tool never makes.
pub fn check(folder: &Folder, file: &KeptFile) -> Result<(), Problem> {
    SHELF.check(folder, file)
}

/// A path as it was typed, with what may be said of the file behind it: `logs/3.csv; column smoke; dates day-first`.
///
/// # Errors
/// What is said is nothing that can be.
pub fn typed(words: &str, logger: &Instrument) -> Result<(String, Stated), Problem> {
    let mut stated = stated(logger)?;
    let mut parts = words.split(';').map(str::trim);
    let path = parts.next().unwrap_or_default().trim_matches('"').to_owned();
    for part in parts.filter(|p| !p.is_empty()) {
        let (key, value) = part.split_once(' ').map_or((part, ""), |(key, value)| (key, value.trim()));
        match key {
            _ if value.is_empty() => return Err(not_said(part)),
            "time" => stated.time = Some(value.into()),
            "column" => stated.column = Some(value.into()),
            "dates" => stated.dates = Some(order(value).ok_or_else(|| not_said(part))?),
            "decimal" => stated.decimal = Some(decimal(value).ok_or_else(|| not_said(part))?),
            "time-unit" => stated.time_unit = Some(value.into()),
            "encoding" => stated.encoding = Some(value.into()),
            "gap" => stated.gaps.push(value.into()),
            _ => return Err(not_said(part)),
        }
    }
    Ok((path, stated))
}
fn not_said(part: &str) -> Problem {
    let remedy = "behind the path and a semicolon each: column NAME, time NAME, dates day-first (month-first, year-first), decimal comma \
                  (point), time-unit s, gap WORD, encoding NAME";
    Problem::with_file(Kind::UnknownName, "the answer", format!("`{part}` says nothing of a file"), remedy)
}

/// What the plan says of the files of this logger. Its unit is the plan's only where a file states none.
fn stated(logger: &Instrument) -> Result<Stated, Problem> {
    let stores = logger.stores.clone().unwrap_or_default();
    let bad = |word: &str| {
        Problem::with_file(
            Kind::UnknownName,
            &logger.name,
            format!("`{word}` says nothing of its files"),
            "correct the plan",
        )
    };
    Ok(Stated {
        time: stores.time,
        column: stores.column,
        dates: stores.dates.map(|w| order(&w).ok_or_else(|| bad(&w))).transpose()?,
        decimal: stores.decimal.map(|w| decimal(&w).ok_or_else(|| bad(&w))).transpose()?,
        time_unit: stores.time_unit,
        unit: None,
        gaps: stores.gaps,
        encoding: stores.encoding,
    })
}
fn order(word: &str) -> Option<Order> {
    [Order::DayFirst, Order::MonthFirst, Order::YearFirst].into_iter().find(|o| o.word() == word)
}
fn decimal(word: &str) -> Option<Decimal> {
    match word {
        "point" => Some(Decimal::Point),
        "comma" => Some(Decimal::Comma),
        _ => None,
    }
}

/// Reads the file at a path that a person gives, and keeps it in the folder, if there is one. `marks` are times of its clock.
///
/// # Errors
/// What can't be used of it, with place and remedy; what the system reports.
pub fn take_in(
    folder: Option<&Folder>,
    path: &Path,
    stated: &Stated,
    logger: &Instrument,
    marks: &[String],
) -> Result<LoggerFile, Problem> {
    let bytes = input_file::read(path, "read the logger's file", FILE_LIMIT)?;
    let stem = path.file_stem().unwrap_or_default().to_string_lossy();
    from_bytes(folder, (&path.display().to_string(), &stem), &bytes, stated, logger, marks)
}

/// The same of bytes that came from elsewhere; `name` is what messages call them, with the name that is kept.
///
/// # Errors
/// As [`take_in`].
pub fn from_bytes(
    folder: Option<&Folder>,
    (name, stem): (&str, &str),
    bytes: &[u8],
    stated: &Stated,
    logger: &Instrument,
    marks: &[String],
) -> Result<LoggerFile, Problem> {
    let read = match logger::parse(name, bytes, stated) {
        // A file that states no unit is in the plan's.
        Err(problem) if problem.kind() == Kind::Unit && stated.unit.is_none() => {
            let with = Stated { unit: Some(logger.scale.unit.clone()), ..stated.clone() };
            logger::parse(name, bytes, &with).map_err(|_| problem)?
        }
        read => read?,
    };
    let marks_us: Vec<Option<i64>> = marks.iter().map(|mark| read.instant(mark)).collect();
    let rows = about(&read, &marks_us);
    if rows.len() > MOST_ROWS {
        let cause =
            format!("it holds {} readings about the marks of its clock, and at most {MOST_ROWS} are taken", rows.len());
        let remedy = "let the logger store one reading a second, or cut the file down to the time of the releases";
        return Err(Problem::with_file(Kind::TooLarge, name, cause, remedy));
    }
    let kept = match folder {
        Some(folder) => SHELF.keep(folder, stem, "csv", bytes)?,
        None => KeptFile { name: stem.into(), length: bytes.len() as u64, digest: Digest::of(bytes) },
    };
    Ok(LoggerFile {
        name: kept.name,
        length: kept.length,
        sha256: kept.digest.to_string(),
        column: read.heading.whole.clone(),
        unit: read.unit.clone(),
        first: read.first(),
        dated_us: read.dated_us(),
        step_us: read.step_us(),
        marks_us,
        readings: read.readings.len() as u64,
        rows,
    })
}

/// The readings about the marks; none, where no mark can be placed.
fn about(read: &Readings, marks_us: &[Option<i64>]) -> Vec<(i64, f64)> {
    let placed = || marks_us.iter().flatten().copied();
    let (Some(first), Some(last)) = (placed().min(), placed().max()) else { return Vec::new() };
    let near = first.saturating_sub(ABOUT_US)..=last.saturating_add(ABOUT_US);
    read.readings.iter().filter(|(us, _)| near.contains(us)).copied().collect()
}

//! Readings of any logger from a CSV file: named columns that state their units, one line for each reading.
//!
//! Strict: what is no number, has too few fields or no unit is refused with its line and column. Not here: whether
//! the readings are any good; gaps and times out of order are for whoever judges them.
use plumeline_base::Instant;
use plumeline_job::{
    Kind, Problem,
    csv::{self, Cell},
    error::Source,
};
use plumeline_measure::Sample;
use time::{OffsetDateTime, format_description::well_known::Rfc3339};

/// Largest file that is read, bytes.
pub const LIMIT: usize = 256 << 20;

/// How the times of a file are written.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Clock {
    /// A number, in this many seconds.
    Number(f64),
    /// Date and time with offset (RFC 3339).
    Date,
}
impl Clock {
    fn of(unit: &str) -> Option<Self> {
        Some(match unit {
            "us" | "µs" => Self::Number(1e-6),
            "ms" => Self::Number(1e-3),
            "s" => Self::Number(1.0),
            "min" => Self::Number(60.0),
            "h" => Self::Number(3600.0),
            "rfc3339" => Self::Date,
            _ => return None,
        })
    }
    /// Microseconds on the file's own time axis.
    fn micros(self, text: &str) -> Option<i64> {
        match self {
            Self::Number(unit_s) => {
                let us = (number(text)? * unit_s * 1e6).round();
                // 2^53 us, beyond which whole microseconds are no longer told apart, are 285 years.
                (us.abs() < 9.0e15).then_some(us as i64)
            }
            Self::Date => {
                let at = OffsetDateTime::parse(text, &Rfc3339).ok()?;
                i64::try_from(at.unix_timestamp_nanos() / 1000).ok()
            }
        }
    }
    const fn wanted(self) -> &'static str {
        match self {
            Self::Number(_) => "a time is a finite number with a decimal point, for example 12.5",
            Self::Date => "a date and time is written as 2026-01-31T08:00:00.5+01:00",
        }
    }
}

/// A finite decimal number.
fn number(text: &str) -> Option<f64> {
    text.parse::<f64>().ok().filter(|v| v.is_finite())
}

/// A column's name and unit, as the header states them.
#[derive(Clone, Debug, PartialEq)]
pub struct Column {
    /// Name without the unit.
    pub name: String,
    /// Unit as written.
    pub unit: String,
}
impl Column {
    /// `flow_L/min`, `flow (L/min)` or `flow [L/min]`.
    fn parse(text: &str) -> Option<Self> {
        let bracketed = |open, close| text.strip_suffix(close).and_then(|t: &str| t.split_once(open));
        let (name, unit) = bracketed('(', ')').or_else(|| bracketed('[', ']')).or_else(|| text.rsplit_once('_'))?;
        let (name, unit) = (name.trim(), unit.trim());
        (!name.is_empty() && !unit.is_empty()).then(|| Self { name: name.into(), unit: unit.into() })
    }
}

/// Readings with the time axis they came on.
#[derive(Clone, Debug)]
pub struct Readings {
    /// What was read.
    pub column: Column,
    /// The readings, on a time axis that begins with the first of the file.
    pub samples: Vec<Sample>,
    clock: Clock,
    origin_us: i64,
}
impl Readings {
    /// A time as in the file, on the axis of the readings; `None` if it is none. Never before the first reading.
    pub fn instant(&self, text: &str) -> Option<Instant> {
        self.clock.micros(text).map(|us| after(self.origin_us, us))
    }
    /// What a time looks like in this file.
    pub const fn time_wanted(&self) -> &'static str {
        self.clock.wanted()
    }
}

fn after(origin_us: i64, us: i64) -> Instant {
    Instant::from_micros(u64::try_from(us.saturating_sub(origin_us)).unwrap_or(0))
}

/// Reads two columns of a CSV text. `time` and `column` choose them by name or whole heading.
///
/// # Errors
/// A [`Problem`] with line and column.
pub fn read(name: &str, bytes: &[u8], time: Option<&str>, column: Option<&str>) -> Result<Readings, Problem> {
    let source = Source::new(name, bytes, LIMIT)?;
    let mut rows = csv::rows(&source);
    let Some(headings) = rows.next().transpose()? else {
        return Err(Problem::with_line(
            Kind::Syntax,
            name,
            1,
            "there is no header",
            "name the columns with their units in the first line, for example time_s,flow_L/min",
        ));
    };
    let (time_at, clock) = time_column(&source, &headings, time)?;
    let (value_at, column) = value_column(&source, &headings, time_at, column)?;
    let (mut samples, mut origin) = (Vec::new(), None);
    for row in rows {
        let cells = row?;
        if cells.len() != headings.len() {
            let cause = format!("{} fields where the header names {}", cells.len(), headings.len());
            let remedy = "give every line a field for each column; numbers are written with a decimal point";
            return Err(source.problem(Kind::Syntax, csv::span(&cells), cause, remedy));
        }
        let (t, v) = (&cells[time_at], &cells[value_at]);
        let us = clock.micros(&t.text).ok_or_else(|| {
            source.problem(Kind::WrongType, t.span.clone(), format!("`{}` is no time", t.text), clock.wanted())
        })?;
        let value = number(&v.text).ok_or_else(|| {
            let cause = format!("`{}` in column {} is no finite number", v.text, column.name);
            let remedy = "write numbers with a decimal point; take the line out where nothing was read: what is missing is judged as a gap";
            source.problem(Kind::WrongType, v.span.clone(), cause, remedy)
        })?;
        samples.push(Sample::new(after(*origin.get_or_insert(us), us), value));
    }
    let Some(origin_us) = origin else {
        return Err(Problem::with_file(Kind::Syntax, name, "there are no readings", "add a line for each reading"));
    };
    Ok(Readings { column, samples, clock, origin_us })
}

/// The position of the column that goes by this name.
fn find(source: &Source<'_>, headings: &[Cell<'_>], wanted: &str) -> Result<usize, Problem> {
    let goes_by = |h: &Cell<'_>| h.text == wanted || Column::parse(&h.text).is_some_and(|c| c.name == wanted);
    let mut at = headings.iter().enumerate().filter(|(_, h)| goes_by(h)).map(|(i, _)| i);
    let names: Vec<_> = headings.iter().map(|h| h.text.as_ref()).collect();
    let told = |cause: String| {
        source.problem(Kind::UnknownName, csv::span(headings), cause, format!("the columns are: {}", names.join(", ")))
    };
    match (at.next(), at.next()) {
        (Some(i), None) => Ok(i),
        (Some(_), Some(_)) => Err(told(format!("more than one column goes by `{wanted}`"))),
        (None, _) => Err(told(format!("there is no column `{wanted}`"))),
    }
}

fn heading(source: &Source<'_>, field: &Cell<'_>) -> Result<Column, Problem> {
    Column::parse(&field.text).ok_or_else(|| {
        let cause = format!("the column `{}` states no unit", field.text);
        let remedy = "write name and unit, for example time_s, flow_L/min, smoke (%/m) or pressure [Pa]; 1 for none";
        source.problem(Kind::Unit, field.span.clone(), cause, remedy)
    })
}

fn time_column(source: &Source<'_>, headings: &[Cell<'_>], wanted: Option<&str>) -> Result<(usize, Clock), Problem> {
    let at = wanted.map_or(Ok(0), |w| find(source, headings, w))?;
    let column = heading(source, &headings[at])?;
    let clock = Clock::of(&column.unit).ok_or_else(|| {
        let cause = format!("`{}` is no unit of time", column.unit);
        let remedy = "times are in us, ms, s, min or h, or are dates (rfc3339); choose their column with --time";
        source.problem(Kind::Unit, headings[at].span.clone(), cause, remedy)
    })?;
    Ok((at, clock))
}

fn value_column(
    source: &Source<'_>,
    headings: &[Cell<'_>],
    time_at: usize,
    wanted: Option<&str>,
) -> Result<(usize, Column), Problem> {
    let at = match wanted {
        Some(w) => find(source, headings, w)?,
        None if headings.len() == 2 => 1 - time_at,
        None => {
            let names: Vec<_> = headings.iter().map(|h| h.text.as_ref()).collect();
            let (cause, remedy) = if headings.len() < 2 {
                ("there is only one column".to_owned(), "give a column of times and one of readings".to_owned())
            } else {
                let cause = format!("there are {} columns", headings.len());
                (cause, format!("choose one with --column: {}", names.join(", ")))
            };
            return Err(source.problem(Kind::UnknownName, csv::span(headings), cause, remedy));
        }
    };
    if at == time_at {
        let remedy = "choose another column with --column or --time";
        return Err(source.problem(
            Kind::Conflict,
            headings[at].span.clone(),
            "this column is to be time and reading at once",
            remedy,
        ));
    }
    Ok((at, heading(source, &headings[at])?))
}

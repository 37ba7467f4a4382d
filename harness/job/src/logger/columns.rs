//! Which columns hold the times and the readings. Not here: what is in them.
use super::{
    Open,
    heading::{self, Heading},
    layout::Looks,
    moment, text,
};
use crate::error::{Kind, Problem, quoted};

/// The columns of the times.
#[derive(Clone, Copy, Debug)]
pub(super) struct Times {
    pub(super) column: usize,
    /// The column of the dates, where they stand by themselves.
    pub(super) dates: Option<usize>,
    /// Seconds of a number; none where moments are written.
    pub(super) unit_s: Option<f64>,
}

impl Open<'_> {
    pub(super) fn problem(&self, kind: Kind, column: usize, cause: String, remedy: impl Into<String>) -> Problem {
        let span = self.layout.heading_spans.get(column).cloned().unwrap_or(0..0);
        self.layout.source.problem(kind, span, cause, remedy)
    }

    pub(super) fn names(&self) -> String {
        let all = self.layout.headings.iter().enumerate();
        all.map(|(i, h)| format!("{} {}", i + 1, if h.whole.is_empty() { "(no name)" } else { &h.whole }))
            .collect::<Vec<_>>()
            .join(", ")
    }

    /// The position of the column that goes by this name or number.
    pub(super) fn find(&self, wanted: &str) -> Result<usize, Problem> {
        let headings = &self.layout.headings;
        let mut by_name = headings.iter().enumerate().filter(|(_, h)| h.goes_by(wanted)).map(|(i, _)| i);
        let told =
            |cause: String| self.problem(Kind::UnknownName, 0, cause, format!("the columns are: {}", self.names()));
        match (by_name.next(), by_name.next()) {
            (Some(i), None) => Ok(i),
            (Some(_), Some(_)) => Err(told(format!("more than one column goes by {}; say its number", quoted(wanted)))),
            (None, _) => match wanted.trim().parse::<usize>() {
                Ok(n) if (1..=headings.len()).contains(&n) => Ok(n - 1),
                _ => Err(told(format!("there is no column {}", quoted(wanted)))),
            },
        }
    }

    pub(super) fn sample(&self, column: usize) -> Option<moment::Moment> {
        let mut row = Vec::new();
        self.layout.lines.iter().skip(self.layout.first).take(200).find_map(|&(start, end)| {
            text::cells(&self.layout.source.text()[start..end], self.layout.separator, &mut row);
            moment::parse(&row.get(column)?.text)
        })
    }

    pub(super) fn times(&self) -> Result<Times, Problem> {
        let (headings, looks) = (&self.layout.headings, &self.looks);
        let unit_of = |i: usize| headings[i].unit.as_deref().and_then(heading::seconds);
        let compact = |i: usize| looks[i] == Looks::Number && self.sample(i).is_some();
        let column = match &self.stated.time {
            Some(wanted) => self.find(wanted)?,
            None => (0..headings.len())
                .find(|&i| {
                    looks[i] == Looks::Moment || unit_of(i).is_some() || (i == 0 && self.stated.time_unit.is_some())
                })
                .unwrap_or(0),
        };
        let stated = match &self.stated.time_unit {
            Some(unit) => Some(heading::seconds(unit).ok_or_else(|| {
                let remedy = "write us, ms, s, min, h or d";
                self.problem(Kind::Unit, column, format!("--time-unit {unit} is no unit of time"), remedy)
            })?),
            None => None,
        };
        if looks[column] != Looks::Moment && !(compact(column) && stated.is_none() && unit_of(column).is_none()) {
            let unit_s = stated.or_else(|| unit_of(column)).ok_or_else(|| {
                let heading = &headings[column];
                let cause = match &heading.unit {
                    Some(unit) => format!("{} is no unit of time", quoted(unit)),
                    None => format!("the times in {} have no unit", quoted(&heading.whole)),
                };
                let remedy =
                    "say it with --time-unit (us, ms, s, min, h, d), or choose the column of the times with --time";
                self.problem(Kind::Unit, column, cause, remedy)
            })?;
            return Ok(Times { column, dates: None, unit_s: Some(unit_s) });
        }
        let has = |i: usize| self.sample(i).map(|m| (m.date.is_some(), m.clock_us.is_some()));
        let other = |wanted: (bool, bool)| {
            let near = [column.checked_add(1), column.checked_sub(1)].into_iter().flatten();
            let all = near.chain(0..headings.len()).filter(|&i| i < headings.len() && i != column);
            all.into_iter().find(|&i| (looks[i] == Looks::Moment || compact(i)) && has(i) == Some(wanted))
        };
        match has(column) {
            Some((true, false)) => match other((false, true)) {
                Some(clock) => Ok(Times { column: clock, dates: Some(column), unit_s: None }),
                None => {
                    let remedy = "choose the column with the time of day with --time; its date is found by itself";
                    Err(self.problem(
                        Kind::WrongType,
                        column,
                        "this column has dates without a time of day".into(),
                        remedy,
                    ))
                }
            },
            Some((false, true)) => Ok(Times { column, dates: other((true, false)), unit_s: None }),
            _ => Ok(Times { column, dates: None, unit_s: None }),
        }
    }

    pub(super) fn value(&self, times: Times) -> Result<usize, Problem> {
        let of_time = |i: usize| i == times.column || times.dates == Some(i);
        if let Some(wanted) = &self.stated.column {
            let at = self.find(wanted)?;
            if of_time(at) {
                let remedy = "choose another column with --column or --time";
                return Err(self.problem(
                    Kind::Conflict,
                    at,
                    "this column is to be time and reading at once".into(),
                    remedy,
                ));
            }
            return Ok(at);
        }
        let counts = |h: &Heading| {
            let name = h.name.to_lowercase();
            ["", "no", "no.", "nr", "nr.", "#", "index", "record", "sample", "id", "n"].contains(&name.as_str())
                && h.unit.is_none()
        };
        let may_be = |i: &usize| {
            !of_time(*i) && !counts(&self.layout.headings[*i]) && matches!(self.looks[*i], Looks::Number | Looks::Gap)
        };
        let all: Vec<usize> = (0..self.layout.headings.len()).filter(may_be).collect();
        let readings: Vec<usize> = all.iter().copied().filter(|i| self.looks[*i] == Looks::Number).collect();
        match (readings.as_slice(), all.as_slice()) {
            ([one], _) | ([], [one]) => Ok(*one),
            ([], _) => {
                let other = (0..self.layout.headings.len()).find(|i| !of_time(*i));
                match (other, self.layout.headings.len()) {
                    (Some(i), 2) => Ok(i),
                    _ => {
                        let remedy = format!("choose one with --column: {}", self.names());
                        Err(self.problem(Kind::UnknownName, 0, "no column looks like readings".into(), remedy))
                    }
                }
            }
            _ => {
                let remedy = format!("choose one with --column: {}", self.names());
                Err(self.problem(
                    Kind::UnknownName,
                    0,
                    format!("there are {} columns of numbers", readings.len()),
                    remedy,
                ))
            }
        }
    }
}

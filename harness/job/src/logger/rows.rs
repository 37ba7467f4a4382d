//! The lines of a file that are rows of readings. Not here: what their cells say.
use super::{
    Met, Open,
    columns::Times,
    moment, number,
    text::{self, Cell},
};
use crate::error::{Kind, Problem, quoted};
use std::ops::Range;

/// A row of readings.
pub(super) struct Row<'r, 'a> {
    pub(super) line: usize,
    start: usize,
    cells: &'r [Cell<'a>],
}
impl<'a> Row<'_, 'a> {
    pub(super) fn text(&self, column: usize) -> &str {
        self.cells.get(column).map_or("", |c| c.text.as_ref())
    }
    pub(super) fn span(&self, column: usize) -> Range<usize> {
        let end = self.cells.last().map_or(0, |c| c.at + c.text.len());
        self.cells
            .get(column)
            .map_or(self.start + end..self.start + end, |c| self.start + c.at..self.start + c.at + c.text.len())
    }
}

/// What reading all rows came to.
pub(super) struct Behind {
    pub(super) rows: usize,
    /// Lines behind the last row that are none.
    pub(super) after: usize,
    pub(super) repeated: Met,
}

impl<'a> Open<'a> {
    /// Goes through the rows. A line that is none is refused if there is a row behind it.
    pub(super) fn each_row(
        &self,
        times: Times,
        mut visit: impl FnMut(&Row<'_, 'a>) -> Result<(), Problem>,
    ) -> Result<Behind, Problem> {
        let text: &'a str = self.layout.source.text();
        let width = self.layout.headings.len();
        let line_of = |i: usize| {
            let (start, end) = self.layout.lines[i];
            &text[start..end]
        };
        let header = line_of(self.layout.header);
        let mut behind = Behind { rows: 0, after: 0, repeated: Met::default() };
        let mut pending: Option<Problem> = None;
        let mut cells = Vec::new();
        for i in self.layout.first..self.layout.lines.len() {
            let line = line_of(i);
            if line.trim().is_empty() || line.trim_start().starts_with('#') {
                continue;
            }
            if line == header {
                behind.repeated.at(i);
                continue;
            }
            let matched = text::cells(line, self.layout.separator, &mut cells);
            while cells.len() > width && cells.last().is_some_and(|c| c.text.is_empty()) {
                cells.pop();
            }
            let row = Row { line: i, start: self.layout.lines[i].0, cells: &cells };
            let wrong = if matched { self.no_row(times, &row) } else { Some(self.unmatched(&row)) };
            match (wrong, &pending) {
                (None, Some(_)) => break,
                (None, None) => {
                    behind.rows += 1;
                    visit(&row)?;
                }
                (Some(problem), None) => (pending, behind.after) = (Some(problem), 1),
                (Some(_), Some(_)) => behind.after += 1,
            }
        }
        let rows_follow = pending.is_some() && {
            let first = pending.as_ref().and_then(|p| p.place()).map_or(0, |p| p.line);
            (first..self.layout.lines.len()).any(|i| {
                let line = line_of(i);
                text::cells(line, self.layout.separator, &mut cells);
                let row = Row { line: i, start: self.layout.lines[i].0, cells: &cells };
                !line.trim().is_empty() && cells.len() > 1 && self.no_row(times, &row).is_none()
            })
        };
        match pending {
            Some(problem) if rows_follow || behind.rows == 0 => Err(problem),
            _ if behind.rows == 0 => {
                let remedy = "add a line for each reading";
                Err(Problem::with_file(Kind::Syntax, self.layout.source.name(), "there are no readings", remedy))
            }
            _ => Ok(behind),
        }
    }

    fn unmatched(&self, row: &Row<'_, 'a>) -> Problem {
        let remedy = "quote whole cells only, and write a quotation mark within one twice";
        let cause = "the quotation marks of this line do not match";
        self.layout.source.problem(Kind::Syntax, row.start..row.start + 1, cause, remedy)
    }

    /// Why a line is no row of readings.
    fn no_row(&self, times: Times, row: &Row<'_, 'a>) -> Option<Problem> {
        let width = self.layout.headings.len();
        if row.cells.len() == 1 && width > 1 {
            let cause = format!("one cell where the headings name {width}");
            return Some(self.layout.source.problem(
                Kind::Syntax,
                row.span(0),
                cause,
                "give every line a cell for each column; an empty one counts as a gap",
            ));
        }
        if row.cells.len() > width {
            let cause = format!("{} cells where the headings name {width}", row.cells.len());
            let remedy = if self.layout.separator == text::Separator::Char(b',') {
                "where the comma is the decimal mark too, export with semicolons or tabs, or with a decimal point"
            } else {
                "give every line a cell for each column"
            };
            return Some(self.layout.source.problem(Kind::Syntax, row.span(width), cause, remedy));
        }
        let wrong = |column: usize, wanted: &str| {
            let cause = format!("{} is no time", quoted(row.text(column)));
            Some(self.layout.source.problem(Kind::WrongType, row.span(column), cause, wanted))
        };
        match times.unit_s {
            Some(_) if !number::is_number(row.text(times.column)) => {
                wrong(times.column, "a time is a number in the unit of its heading, for example 12.5")
            }
            Some(_) => None,
            None => {
                let m = moment::parse(row.text(times.column));
                if m.is_none_or(|m| m.clock_us.is_none() && m.date.is_none()) {
                    return wrong(times.column, "write it as in the other lines, for example 2026-01-31 08:00:00");
                }
                match times.dates {
                    Some(dates) if moment::parse(row.text(dates)).is_none_or(|m| m.date.is_none()) => {
                        wrong(dates, "write the date as in the other lines")
                    }
                    _ => None,
                }
            }
        }
    }
}

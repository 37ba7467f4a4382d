//! What was understood of a file, for a look before anything is judged. Not here: how it is shown.
use super::{
    Met, Open,
    columns::Times,
    layout::Looks,
    moment,
    number::{self, Decimal},
    reading::Reading,
};
use crate::error::Problem;
use serde::Serialize;

/// What was understood of a file.
#[derive(Clone, Debug, Serialize)]
pub struct Preview {
    /// Encoding by its usual name.
    pub encoding: &'static str,
    /// What separates the cells.
    pub separator: &'static str,
    /// The decimal mark.
    pub decimal: &'static str,
    /// The order of the dates; none where there is no date.
    pub dates: Option<&'static str>,
    /// Lines with words before the headings.
    pub lines_before: usize,
    /// Lines with words behind the readings.
    pub lines_after: usize,
    /// The columns.
    pub columns: Vec<PreviewColumn>,
    /// Rows of readings.
    pub rows: usize,
    /// The time of the first row, as a moment or in s.
    pub first: String,
    /// The time of the last row.
    pub last: String,
    /// From the first row to the last, s.
    pub lasts_s: f64,
    /// Median of the times between rows, s.
    pub every_s: f64,
    /// Longest time between rows, s.
    pub longest_s: f64,
    /// Rows with the time of the row before.
    pub equal: usize,
    /// Rows with an earlier time than the row before.
    pub backward: usize,
    /// The first line of each of the two, where there is one.
    pub equal_line: Option<usize>,
    /// See above.
    pub backward_line: Option<usize>,
}

/// A column.
#[derive(Clone, Debug, Default, Serialize)]
pub struct PreviewColumn {
    /// Its heading.
    pub heading: String,
    /// The name in it.
    pub name: String,
    /// The unit in it.
    pub unit: Option<String>,
    /// What it is read as: `time`, `date`, `readings` or `words`.
    pub read_as: &'static str,
    /// Cells with a number.
    pub numbers: usize,
    /// Cells without a value.
    pub gaps: usize,
    /// Smallest number.
    pub least: Option<f64>,
    /// Greatest number.
    pub most: Option<f64>,
    /// Sum of the numbers, by which a copy can be checked.
    pub sum: f64,
}

impl PreviewColumn {
    fn take(&mut self, number: Option<f64>) {
        let Some(x) = number else {
            self.gaps += 1;
            return;
        };
        self.numbers += 1;
        self.sum += x;
        self.least = Some(self.least.map_or(x, |least| least.min(x)));
        self.most = Some(self.most.map_or(x, |most| most.max(x)));
    }
}

impl Open<'_> {
    pub(super) fn preview(&self, encoding: &'static str) -> Result<Preview, Problem> {
        let times = self.times()?;
        // The decimal mark is found by one column of readings: the chosen one, or the first.
        let of_time = |i: usize| i == times.column || times.dates == Some(i);
        let first = (0..self.looks.len()).find(|&i| !of_time(i) && self.looks[i] == Looks::Number);
        let value = match (&self.stated.column, first) {
            (Some(_), _) | (None, None) => self.value(times)?,
            (None, Some(first)) => self.value(times).unwrap_or(first),
        };
        let (axis, behind) = self.marks(times, value)?;
        let mut columns = self.preview_columns(times);
        let mut reading = Reading::new(self, times, value, axis);
        let mut at = Vec::with_capacity(behind.rows);
        self.each_row(times, |row| {
            at.push(reading.time(row)?);
            for (i, column) in columns.iter_mut().enumerate().filter(|(_, c)| c.read_as == "readings") {
                let text = row.text(i);
                let number = number::parse(text, axis.decimal).filter(|x| !number::is_no_number(*x));
                column.take(number.filter(|_| !number::is_gap(text, &self.stated.gaps)));
            }
            Ok(())
        })?;
        let show = |us: Option<&i64>| {
            let us = us.copied().unwrap_or(0);
            if axis.unit_s.is_some() { format!("{} s", us as f64 * 1e-6) } else { moment::show(us, axis.dated) }
        };
        let mut steps: Vec<i64> = at.windows(2).map(|w| w[1] - w[0]).collect();
        steps.sort_unstable();
        let seconds = |us: Option<&i64>| us.map_or(0.0, |us| *us as f64 * 1e-6);
        let line = |met: Met| (met.times > 0).then_some(met.first_line);
        Ok(Preview {
            encoding,
            separator: self.layout.separator.words(),
            decimal: match axis.decimal {
                Decimal::Point => "point",
                Decimal::Comma => "comma",
            },
            dates: axis.dated.then(|| axis.order.word()),
            lines_before: self.layout.before,
            lines_after: behind.after,
            columns,
            rows: behind.rows,
            first: show(at.first()),
            last: show(at.last()),
            lasts_s: at.last().zip(at.first()).map_or(0.0, |(b, a)| (b - a) as f64 * 1e-6),
            every_s: seconds(steps.get(steps.len() / 2)),
            longest_s: seconds(steps.last()),
            equal: reading.equal.times,
            backward: reading.backward.times,
            equal_line: line(reading.equal),
            backward_line: line(reading.backward),
        })
    }

    fn preview_columns(&self, times: Times) -> Vec<PreviewColumn> {
        self.layout
            .headings
            .iter()
            .enumerate()
            .map(|(i, h)| PreviewColumn {
                heading: h.whole.clone(),
                name: h.name.clone(),
                unit: h.unit.clone(),
                read_as: match self.looks[i] {
                    _ if times.dates == Some(i) => "date",
                    _ if i == times.column => "time",
                    Looks::Number | Looks::Gap => "readings",
                    Looks::Moment | Looks::Word => "words",
                },
                ..PreviewColumn::default()
            })
            .collect()
    }
}

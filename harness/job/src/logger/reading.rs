//! The readings of the columns that were chosen, row by row. Not here: which columns and marks those are.
use super::{
    Axis, Met, Open, Readings,
    columns::Times,
    micros,
    moment::{self, DAY_US, Order},
    number,
    rows::Row,
};
use crate::error::{Kind, Problem, quoted};

impl Open<'_> {
    pub(super) fn readings(&self) -> Result<Readings, Problem> {
        let times = self.times()?;
        let value = self.value(times)?;
        let heading = self.layout.headings[value].clone();
        let unit = self.stated.unit.clone().or_else(|| heading.unit.clone()).ok_or_else(|| {
            let cause = format!("the column {} states no unit", quoted(&heading.whole));
            let remedy =
                "say it with --unit, or write it into the heading: flow_L/min, smoke (%/m), pressure [Pa]; 1 for none";
            self.problem(Kind::Unit, value, cause, remedy)
        })?;
        let (axis, behind) = self.marks(times, value)?;
        let mut all = Reading::new(self, times, value, axis);
        self.each_row(times, |row| all.row(row))?;
        let mut notes = Vec::new();
        if all.midnights.times > 0 {
            notes.push(format!(
                "the time of day begins anew in line {}: taken for the next day",
                all.midnights.first_line
            ));
        }
        if behind.repeated.times > 0 {
            notes.push(format!("the headings stand again in line {}", behind.repeated.first_line));
        }
        if behind.after > 0 {
            notes.push(format!(
                "left out behind the readings: {} {}",
                behind.after,
                if behind.after == 1 { "line" } else { "lines" }
            ));
        }
        Ok(Readings {
            heading,
            unit,
            readings: all.readings,
            gaps: all.gaps,
            equal: all.equal,
            backward: all.backward,
            notes,
            axis,
            origin_us: all.origin_us.unwrap_or(0),
        })
    }
}

/// The readings while they are read.
pub(super) struct Reading<'o, 'a> {
    open: &'o Open<'a>,
    times: Times,
    value: usize,
    axis: Axis,
    readings: Vec<(i64, f64)>,
    origin_us: Option<i64>,
    last_us: Option<i64>,
    days_us: i64,
    with_offset: Option<bool>,
    gaps: Met,
    pub(super) equal: Met,
    pub(super) backward: Met,
    midnights: Met,
}
impl<'o, 'a> Reading<'o, 'a> {
    pub(super) fn new(open: &'o Open<'a>, times: Times, value: usize, axis: Axis) -> Self {
        let met = Met::default();
        let (readings, none) = (Vec::new(), None);
        Self {
            open,
            times,
            value,
            axis,
            readings,
            origin_us: none,
            last_us: none,
            days_us: 0,
            with_offset: None,
            gaps: met,
            equal: met,
            backward: met,
            midnights: met,
        }
    }
    /// The time of the next row, microseconds on the file's own axis.
    pub(super) fn time(&mut self, row: &Row<'_, 'a>) -> Result<i64, Problem> {
        let mut us = self.at(row)?;
        if let Some(last) = self.last_us {
            if !self.axis.dated && self.axis.unit_s.is_none() && last - us > DAY_US / 2 {
                self.midnights.at(row.line);
                self.days_us += DAY_US;
                us += DAY_US;
            }
            if us == last {
                self.equal.at(row.line);
            } else if us < last {
                self.backward.at(row.line);
            }
        }
        self.last_us = Some(us);
        self.origin_us.get_or_insert(us);
        Ok(us)
    }
    fn row(&mut self, row: &Row<'_, 'a>) -> Result<(), Problem> {
        let us = self.time(row)?;
        let text = row.text(self.value);
        match number::parse(text, self.axis.decimal) {
            _ if number::is_gap(text, &self.open.stated.gaps) => self.gaps.at(row.line),
            Some(value) if number::is_no_number(value) => self.gaps.at(row.line),
            Some(value) => self.readings.push((us - self.origin_us.unwrap_or(us), value)),
            None => {
                let cause = format!("{} in column {} is no number", quoted(text), self.value + 1);
                let remedy =
                    "where it stands for no value, say so with --gap and the word; what is missing is judged as a gap";
                return Err(self.open.layout.source.problem(Kind::WrongType, row.span(self.value), cause, remedy));
            }
        }
        Ok(())
    }
    /// The time of a row, microseconds on the file's own axis.
    fn at(&mut self, row: &Row<'_, 'a>) -> Result<i64, Problem> {
        let column = self.times.column;
        let wrong = |what: &str| {
            let cause = format!("{} {what}", quoted(row.text(column)));
            let remedy = "write all times of a file in one way";
            self.open.layout.source.problem(Kind::WrongType, row.span(column), cause, remedy)
        };
        if let Some(unit_s) = self.axis.unit_s {
            let us = number::parse(row.text(column), self.axis.decimal).and_then(|n| micros(n, unit_s));
            return us.ok_or_else(|| wrong("is no time"));
        }
        let clock = moment::parse(row.text(column)).ok_or_else(|| wrong("is no time"))?;
        let date = match self.times.dates {
            Some(dates) => moment::parse(row.text(dates)).and_then(|m| m.date),
            None => clock.date,
        };
        if date.is_some() != self.axis.dated {
            return Err(wrong(if self.axis.dated {
                "has no date, unlike other lines"
            } else {
                "has a date, unlike other lines"
            }));
        }
        if *self.with_offset.get_or_insert(clock.offset_s.is_some()) != clock.offset_s.is_some() {
            return Err(wrong("differs from the other lines in having an offset to UTC or none"));
        }
        let days = match date {
            Some(date) if date.orders == 0b100 => date.days(Order::YearFirst),
            Some(date) => date.days(self.axis.order),
            None => Some(0),
        };
        let days = days.ok_or_else(|| wrong("is no date"))?;
        let of_day = clock.clock_us.unwrap_or(0) - clock.offset_s.unwrap_or(0) * 1_000_000;
        Ok(days * DAY_US + of_day + self.days_us)
    }
}

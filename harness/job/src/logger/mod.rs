//! The readings of any logger, from a text file: encoding, separator, decimal mark, headings and times are found, and what can't be
//! told is asked for. What is missing is told as a gap, never filled in.
//!
//! Not here: whether the readings are any good; gaps and times out of order are for whoever judges them.
mod columns;
mod heading;
mod layout;
mod marks;
mod moment;
mod number;
mod preview;
mod reading;
mod rows;
mod text;

pub use heading::Heading;
pub use moment::Order;
pub use number::Decimal;
pub use preview::{Preview, PreviewColumn};

use crate::{
    error::{Kind, Problem, Source},
    input_file,
};
use layout::{Layout, Looks};
use moment::DAY_US;
use std::path::Path;

/// Largest file that is read, bytes.
pub const LIMIT: u64 = 256 << 20;

/// Steps in which times are written, us.
const STEPS_US: [i64; 8] = [60_000_000, 1_000_000, 100_000, 10_000, 1_000, 100, 10, 1];

/// What the user says of a file that it does not say by itself.
#[derive(Clone, Debug, Default)]
pub struct Stated {
    /// The column of the times, by name, heading or number.
    pub time: Option<String>,
    /// The column of the readings, likewise.
    pub column: Option<String>,
    /// The order of its dates.
    pub dates: Option<Order>,
    /// Its decimal mark.
    pub decimal: Option<Decimal>,
    /// The unit of its times.
    pub time_unit: Option<String>,
    /// The unit of the readings.
    pub unit: Option<String>,
    /// Further words for no value.
    pub gaps: Vec<String>,
    /// Its encoding.
    pub encoding: Option<String>,
}

/// How often something was met, and where first.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Met {
    /// How often.
    pub times: usize,
    /// The first line, from 1.
    pub first_line: usize,
}
impl Met {
    fn at(&mut self, line: usize) {
        if self.times == 0 {
            self.first_line = line + 1;
        }
        self.times += 1;
    }
}

/// Readings with the time axis they came on.
#[derive(Clone, Debug)]
pub struct Readings {
    /// The column that was read.
    pub heading: Heading,
    /// The unit of the readings.
    pub unit: String,
    /// Time in microseconds after the first row of the file (earlier ones are negative), and value.
    pub readings: Vec<(i64, f64)>,
    /// Rows without a value.
    pub gaps: Met,
    /// Rows with the time of the row before.
    pub equal: Met,
    /// Rows with an earlier time than the row before.
    pub backward: Met,
    /// What else was noticed.
    pub notes: Vec<String>,
    axis: Axis,
    origin_us: i64,
}

/// How the times of a file are written.
#[derive(Clone, Copy, Debug)]
struct Axis {
    /// Seconds of a number; none where moments are written.
    unit_s: Option<f64>,
    decimal: Decimal,
    order: Order,
    dated: bool,
}

impl Readings {
    /// A time as in the file, in microseconds after its first row; `None` if it is none.
    pub fn instant(&self, text: &str) -> Option<i64> {
        let us = match self.axis.unit_s {
            Some(unit_s) => {
                micros(number::parse(text.trim(), self.axis.decimal).or_else(|| text.trim().parse().ok())?, unit_s)?
            }
            None => {
                let m = moment::parse(text)?;
                let clock = m.clock_us.unwrap_or(0) - m.offset_s.unwrap_or(0) * 1_000_000;
                match m.date {
                    Some(date) => {
                        Order::ALL.into_iter().find_map(|o| {
                            let open = date.orders.count_ones() > 1 && o != self.axis.order;
                            if open { None } else { date.days(o) }
                        })? * DAY_US
                            + clock
                    }
                    // A time of day alone is the first such time that is not before the file.
                    None => {
                        let day = self.origin_us.div_euclid(DAY_US) * DAY_US;
                        let same_day = if self.axis.dated { day + clock } else { clock };
                        if same_day < self.origin_us && self.origin_us - same_day > DAY_US / 2 {
                            same_day + DAY_US
                        } else {
                            same_day
                        }
                    }
                }
            }
        };
        Some(us - self.origin_us)
    }
    /// The first time of the file, for people.
    pub fn first(&self) -> String {
        match self.axis.unit_s {
            Some(_) => format!("{} s", self.origin_us as f64 * 1e-6),
            None => moment::show(self.origin_us, self.axis.dated),
        }
    }
    /// The same in us since 1970 by the calendar of the file, where its times have dates.
    pub fn dated_us(&self) -> Option<i64> {
        self.axis.dated.then_some(self.origin_us)
    }
    /// The step in which its times are written, us, by the times that there are: the coarsest that holds all of them.
    pub fn step_us(&self) -> u64 {
        let written = |step: i64| self.readings.iter().all(|(us, _)| (us + self.origin_us) % step == 0);
        STEPS_US.into_iter().find(|step| written(*step)).unwrap_or(1).unsigned_abs()
    }
    /// What a time looks like in this file.
    pub const fn time_wanted(&self) -> &'static str {
        match (self.axis.unit_s, self.axis.dated) {
            (Some(_), _) => "a time is a number in the unit of the file's times, for example 12.5",
            (None, true) => "write the moment as the file does, for example 2026-01-31 08:00:00 or 08:00:00",
            (None, false) => "write the time of day as the file does, for example 08:00:00",
        }
    }
}

/// Reads a file that a user names.
///
/// # Errors
/// What can't be used, with line, column and remedy.
pub fn read(path: &Path, stated: &Stated) -> Result<Readings, Problem> {
    let bytes = input_file::read(path, "read the readings", LIMIT)?;
    parse(&path.display().to_string(), &bytes, stated)
}

/// Reads the bytes of a file; `name` is what messages call it.
///
/// # Errors
/// As [`read`].
pub fn parse(name: &str, bytes: &[u8], stated: &Stated) -> Result<Readings, Problem> {
    let (text, _) = text::decode(name, bytes, stated.encoding.as_deref())?;
    Open::new(name, &text, stated)?.readings()
}

/// What was understood of a file that a user names.
///
/// # Errors
/// As [`read`].
pub fn preview(path: &Path, stated: &Stated) -> Result<Preview, Problem> {
    let bytes = input_file::read(path, "read the readings", LIMIT)?;
    preview_of(&path.display().to_string(), &bytes, stated)
}

/// What was understood of the bytes of a file.
///
/// # Errors
/// As [`read`].
pub fn preview_of(name: &str, bytes: &[u8], stated: &Stated) -> Result<Preview, Problem> {
    let (text, encoding) = text::decode(name, bytes, stated.encoding.as_deref())?;
    Open::new(name, &text, stated)?.preview(encoding)
}

/// The text of any file that a person or a program wrote, and the name of its encoding.
pub(crate) fn decode<'a>(name: &str, bytes: &'a [u8]) -> Result<(std::borrow::Cow<'a, str>, &'static str), Problem> {
    text::decode(name, bytes, None)
}

/// Microseconds of a number of times a unit, where a whole number can hold them: 2^53 us are 285 years.
fn micros(number: f64, unit_s: f64) -> Option<i64> {
    let us = (number * unit_s * 1e6).round();
    (us.abs() < 9.0e15).then_some(us as i64)
}

/// A file that is laid out.
struct Open<'a> {
    layout: Layout<'a>,
    stated: &'a Stated,
    /// What the columns of the first rows look like.
    looks: Vec<Looks>,
}

impl<'a> Open<'a> {
    fn new(name: &'a str, text: &'a str, stated: &'a Stated) -> Result<Self, Problem> {
        let source = Source::new(name, text.as_bytes(), usize::MAX)?;
        let layout = Layout::find(source, &stated.gaps)?;
        if layout.headings.is_empty() {
            let (start, end) = layout.lines[layout.first];
            let remedy = "name the columns with their units in a line above, for example time_s,flow_L/min";
            return Err(layout.source.problem(Kind::Syntax, start..end, "the columns have no headings", remedy));
        }
        let mut open = Self { layout, stated, looks: Vec::new() };
        open.looks = open.first_looks();
        Ok(open)
    }

    /// What each column looks like, by the first rows: the first that is no gap says.
    fn first_looks(&self) -> Vec<Looks> {
        let mut looks = vec![Looks::Gap; self.layout.headings.len()];
        let mut row = Vec::new();
        for &(start, end) in self.layout.lines.iter().skip(self.layout.first).take(200) {
            text::cells(&self.layout.source.text()[start..end], self.layout.separator, &mut row);
            for (slot, cell) in looks.iter_mut().zip(&row) {
                if *slot == Looks::Gap {
                    *slot = Looks::of(&cell.text, &self.stated.gaps);
                }
            }
        }
        looks
    }
}

//! How a logger laid its file out: what separates the cells, where the headings stand, and which lines are readings.
//! Not here: what the readings are.
use super::{
    heading::{Heading, is_unit_cell},
    moment,
    number::{is_gap, is_number},
    text::{Cell, Separator, cells, lines},
};
use crate::error::{Kind, Problem, Source};
use std::collections::BTreeMap;

/// Lines by which the layout is found.
const LOOKED_AT: usize = 1000;

/// What a cell looks like.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Looks {
    /// A date, a time of day or both.
    Moment,
    Number,
    /// Empty, or a word for no value.
    Gap,
    Word,
}
impl Looks {
    pub(super) fn of(text: &str, gaps: &[String]) -> Self {
        if is_gap(text, gaps) {
            Self::Gap
        } else if is_number(text) {
            Self::Number
        } else if moment::parse(text).is_some() {
            Self::Moment
        } else {
            Self::Word
        }
    }
}

/// How a file is laid out.
#[derive(Debug)]
pub(super) struct Layout<'a> {
    pub(super) source: Source<'a>,
    pub(super) lines: Vec<(usize, usize)>,
    pub(super) separator: Separator,
    pub(super) headings: Vec<Heading>,
    /// Where the headings stand, bytes of the text.
    pub(super) heading_spans: Vec<std::ops::Range<usize>>,
    /// Lines with words before the headings.
    pub(super) before: usize,
    /// The line of the headings, and the first one behind.
    pub(super) header: usize,
    pub(super) first: usize,
}

/// What rows have in common: how many cells, and which of them are words (a bit each).
type Shape = (usize, u64);

fn shape(all: &[Cell<'_>], gaps: &[String]) -> Option<(Shape, bool)> {
    let count = all.iter().rposition(|c| !c.text.is_empty())? + 1;
    let (mut words, mut moments, mut values) = (0u64, false, 0);
    for (i, cell) in all[..count].iter().enumerate() {
        match Looks::of(&cell.text, gaps) {
            Looks::Word => words |= 1 << i.min(63),
            Looks::Moment => (moments, values) = (true, values + 1),
            Looks::Number => values += 1,
            Looks::Gap => {}
        }
    }
    (all.len() > 1 && values > 0).then_some(((count, words), moments))
}

/// A row fits a shape where it has no word in a place that has none, and no more cells.
fn fits((count, words): Shape, of: Shape) -> bool {
    count <= of.0 && words & !of.1 == 0
}

impl<'a> Layout<'a> {
    pub(super) fn find(source: Source<'a>, gaps: &[String]) -> Result<Self, Problem> {
        let text = source.text();
        let mut all = lines(text);
        // A first line "sep=;" is for spreadsheets.
        let stated = all.first().and_then(|&(a, b)| text[a..b].strip_prefix("sep=")).and_then(|s| s.bytes().next());
        if stated.is_some() {
            all[0].1 = all[0].0;
        }
        let candidates = stated.map_or(Separator::ALL.to_vec(), |by| vec![Separator::Char(by)]);
        let mut best: Option<(Score, Self)> = None;
        for separator in candidates {
            if let Some((score, found)) = Self::by(&source, &all, separator, gaps)
                && best.as_ref().is_none_or(|(most, _)| score > *most)
            {
                best = Some((score, found));
            }
        }
        if let Some((_, found)) = best {
            return Ok(found);
        }
        if text.trim().is_empty() {
            let remedy = "export the readings again; this file holds nothing";
            return Err(Problem::with_file(Kind::Syntax, source.name(), "the file is empty", remedy));
        }
        if let Some(found) = Self::without_rows(&source, &all) {
            return Ok(found);
        }
        let remedy = "it wants a line of headings with units, such as time_s,flow_L/min, and a line for each reading";
        Err(Problem::with_file(
            Kind::Syntax,
            source.name(),
            "no line of the file looks like a time and a reading",
            remedy,
        ))
    }

    /// The layout of a file without a good row: the first line that has cells is taken for the headings, so that what is wrong
    /// behind it can be told with its place.
    fn without_rows(source: &Source<'a>, all: &[(usize, usize)]) -> Option<Self> {
        let mut row = Vec::new();
        let plain = [b'\t', b';', b'|', b','].map(Separator::Char);
        let (header, separator) = (0..all.len()).find_map(|i| {
            let line = &source.text()[all[i].0..all[i].1];
            let has_cells = |by: &Separator| cells(line, *by, &mut row) && row.len() > 1;
            let remark = line.trim_start().starts_with('#');
            plain.into_iter().find(has_cells).filter(|_| !remark).map(|by| (i, by))
        })?;
        let mut found = Self {
            source: source.clone(),
            lines: all.to_vec(),
            separator,
            headings: Vec::new(),
            heading_spans: Vec::new(),
            before: 0,
            header,
            first: header + 1,
        };
        let split = found.split(header);
        found.headings = split.iter().map(|(text, _)| Heading::parse(text)).collect();
        found.heading_spans = split.into_iter().map(|(_, span)| span).collect();
        Some(found)
    }

    fn by(source: &Source<'a>, all: &[(usize, usize)], separator: Separator, gaps: &[String]) -> Option<(Score, Self)> {
        let text = source.text();
        let is_remark =
            |&(a, b): &(usize, usize)| text[a..b].trim().is_empty() || text[a..b].trim_start().starts_with('#');
        let said: Vec<usize> = (0..all.len()).filter(|&i| !is_remark(&all[i])).take(LOOKED_AT).collect();
        let mut row = Vec::new();
        let shapes: Vec<Option<(Shape, bool)>> = said
            .iter()
            .map(|&i| if cells(&text[all[i].0..all[i].1], separator, &mut row) { shape(&row, gaps) } else { None })
            .collect();
        let mut counts: BTreeMap<Shape, u64> = BTreeMap::new();
        for (shape, moments) in shapes.iter().flatten() {
            // What begins with a word is more likely a line about the measurement.
            let weight = if shape.1 & 1 != 0 { 1 } else { 3 } * if *moments { 2 } else { 1 };
            *counts.entry(*shape).or_default() += weight;
        }
        let (&of, _) = counts.iter().max_by_key(|(shape, weight)| (**weight, shape.0))?;
        let is_row = |at: usize| shapes.get(at).is_some_and(|s| s.is_some_and(|(s, _)| fits(s, of)));
        let rows = (0..said.len()).filter(|&at| is_row(at)).count();
        let first = (0..said.len()).find(|&at| is_row(at) && (at + 1 >= said.len() || is_row(at + 1) || rows < 3))?;
        let mut found = Self {
            source: source.clone(),
            lines: all.to_vec(),
            separator,
            headings: Vec::new(),
            heading_spans: Vec::new(),
            before: 0,
            header: said[first],
            first: said[first],
        };
        found.headed(&said[..first], of.0);
        let headed = found.headings.len() == of.0;
        Some((Score { headed, rows: rows * (10 - of.1.count_ones().min(6) as usize) }, found))
    }

    /// Finds the headings among the lines before the first row.
    fn headed(&mut self, before: &[usize], count: usize) {
        let Some((&last, earlier)) = before.split_last() else { return self.headed_by_remark(count) };
        let mut below = self.split(last);
        let mut at = last;
        let mut above = earlier.last().map(|&i| (i, self.split(i)));
        let units = below.iter().all(|(text, _)| is_unit_cell(text)) && below.iter().any(|(text, _)| !text.is_empty());
        let mut parsed: Vec<Heading> = below.iter().map(|(text, _)| Heading::parse(text)).collect();
        if units && let Some((i, names)) = above.take_if(|(_, names)| names.len() >= below.len().max(2)) {
            let unit = |k: usize| below.get(k).map_or("", |(text, _)| text.as_str());
            parsed =
                names.iter().enumerate().map(|(k, (text, _))| Heading::parse(text).with_unit_below(unit(k))).collect();
            (below, at) = (names, i);
        }
        if below.len() < 2 {
            return self.headed_by_remark(count);
        }
        self.before = before.iter().filter(|i| **i < at).count();
        self.header = at;
        self.heading_spans = below.into_iter().map(|(_, span)| span).collect();
        self.headings = parsed;
    }

    /// Headings that stand in a remark: `# time_s,flow_L/min`.
    fn headed_by_remark(&mut self, count: usize) {
        let line = |i: usize| &self.source.text()[self.lines[i].0..self.lines[i].1];
        let Some(at) = (0..self.first).rev().find(|&i| line(i).trim_start().starts_with('#')) else { return };
        let hashes = line(at).len() - line(at).trim_start_matches([' ', '#']).len();
        let original = self.lines[at];
        self.lines[at].0 += hashes;
        let split = self.split(at);
        self.lines[at] = original;
        if split.len() == count {
            self.headings = split.iter().map(|(text, _)| Heading::parse(text)).collect();
            self.heading_spans = split.into_iter().map(|(_, span)| span).collect();
            self.header = at;
        }
    }

    /// The cells of a line with their places, without empty ones at its end.
    fn split(&self, line: usize) -> Vec<(String, std::ops::Range<usize>)> {
        let (start, end) = self.lines[line];
        let mut row = Vec::new();
        let text = &self.source.text()[start..end];
        cells(text, self.separator, &mut row);
        while row.last().is_some_and(|c| c.text.is_empty()) {
            row.pop();
        }
        row.into_iter().map(|c| (c.text.clone().into_owned(), start + c.at..start + c.at + c.text.len())).collect()
    }
}

/// How well a separator explains a file; the greatest is the best, earlier ones first among equals.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
struct Score {
    /// There are as many headings as cells.
    headed: bool,
    /// Rows, each worth less the more of its cells are words.
    rows: usize,
}

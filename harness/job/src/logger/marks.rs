//! The decimal mark and the order of dates, by all rows of a file. Not here: which columns are looked at.
use super::{
    Axis, Open, Stated,
    columns::Times,
    moment::{self, Order},
    number::{self, Decimal, Evidence},
    rows::{Behind, Row},
};
use crate::error::{Kind, Problem, Source, quoted};
use std::ops::Range;

impl Open<'_> {
    /// The decimal mark and the order of the dates, by all rows.
    pub(super) fn marks(&self, times: Times, value: usize) -> Result<(Axis, Behind), Problem> {
        let mut seen = Marks::new(self.stated);
        let behind = self.each_row(times, |row| {
            if times.unit_s.is_some() {
                seen.number(&self.layout.source, row, times.column)?;
            } else {
                let date = moment::parse(row.text(times.dates.unwrap_or(times.column))).and_then(|m| m.date);
                if let Some(date) = date {
                    seen.date(&self.layout.source, row, times.dates.unwrap_or(times.column), date.orders)?;
                }
            }
            if number::is_number(row.text(value)) {
                seen.number(&self.layout.source, row, value)?;
            }
            Ok(())
        })?;
        Ok((seen.axis(&self.layout.source, times)?, behind))
    }
}

/// What the rows tell of the decimal mark and of the order of dates.
struct Marks {
    decimal: Option<Decimal>,
    by_user: bool,
    /// A number that can be read with either mark, and where it stands.
    either: Option<(Decimal, Range<usize>, String)>,
    ungrouped: bool,
    orders: u8,
    order_by_user: bool,
    open_date: Option<(Range<usize>, String)>,
    dated: bool,
}
impl Marks {
    fn new(stated: &Stated) -> Self {
        let bit = |order: Order| Order::ALL.iter().position(|o| *o == order).map_or(0, |i| 1 << i);
        Self {
            decimal: stated.decimal,
            by_user: stated.decimal.is_some(),
            either: None,
            ungrouped: false,
            orders: stated.dates.map_or(0b111, bit),
            order_by_user: stated.dates.is_some(),
            open_date: None,
            dated: false,
        }
    }
    fn number(&mut self, source: &Source<'_>, row: &Row<'_, '_>, column: usize) -> Result<(), Problem> {
        match number::evidence(row.text(column)) {
            Evidence::None => {}
            Evidence::NoGroups => self.ungrouped = true,
            Evidence::Either(mark) if self.either.is_none() => {
                self.either = Some((mark, row.span(column), row.text(column).to_owned()));
            }
            Evidence::Either(_) => {}
            Evidence::Is(mark) => {
                if *self.decimal.get_or_insert(mark) != mark {
                    let says = if self.by_user {
                        "--decimal says otherwise"
                    } else {
                        "an earlier line has the other decimal mark"
                    };
                    let cause = format!("{} can't be read: {says}", quoted(row.text(column)));
                    let remedy = "write all numbers of a file in one way, or correct --decimal";
                    return Err(source.problem(Kind::WrongType, row.span(column), cause, remedy));
                }
            }
        }
        Ok(())
    }
    fn date(&mut self, source: &Source<'_>, row: &Row<'_, '_>, column: usize, orders: u8) -> Result<(), Problem> {
        self.dated = true;
        if orders.count_ones() > 1 && self.open_date.is_none() {
            self.open_date = Some((row.span(column), row.text(column).to_owned()));
        }
        // What is plain by itself, a year first or a month by its name, needs no order stated.
        let plain = self.order_by_user && orders == 0b100;
        let left = self.orders & orders;
        if left == 0 && !plain {
            let says = if self.order_by_user {
                "--dates says otherwise"
            } else {
                "earlier lines have their dates in another order"
            };
            let cause = format!("{} can't be read: {says}", quoted(row.text(column)));
            return Err(source.problem(
                Kind::WrongType,
                row.span(column),
                cause,
                "write all dates of a file in one order, or correct --dates",
            ));
        }
        if left != 0 {
            self.orders = left;
        }
        Ok(())
    }
    fn axis(&self, source: &Source<'_>, times: Times) -> Result<Axis, Problem> {
        let left: Vec<Order> =
            Order::ALL.into_iter().enumerate().filter(|(i, _)| self.orders & (1 << i) != 0).map(|(_, o)| o).collect();
        if let (Some((span, text)), true) = (&self.open_date, left.len() > 1) {
            let words: Vec<&str> = left.iter().map(|o| o.word()).collect();
            let cause =
                format!("{} can be {}, and no other date of the file tells which", quoted(text), words.join(" or "));
            let remedy = format!("say it with --dates {}", words.join(" or --dates "));
            return Err(source.problem(Kind::Conflict, span.clone(), cause, remedy));
        }
        let decimal = match (self.decimal, &self.either) {
            (Some(decimal), _) => decimal,
            (None, Some((Decimal::Comma, span, text))) if !self.ungrouped => {
                let (decimal, grouped) = (text.replace(',', "."), text.replace(',', ""));
                let cause = format!(
                    "{} can be {decimal} or {grouped}, and no other number of the file tells which",
                    quoted(text)
                );
                let remedy = "say it with --decimal comma or --decimal point";
                return Err(source.problem(Kind::Conflict, span.clone(), cause, remedy));
            }
            (None, Some((Decimal::Comma, ..))) => Decimal::Comma,
            (None, _) => Decimal::Point,
        };
        let order = left.first().copied().unwrap_or(Order::YearFirst);
        Ok(Axis { unit_s: times.unit_s, decimal, order, dated: self.dated })
    }
}

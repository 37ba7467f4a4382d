//! Dates and times of day as loggers write them. Not here: numbers of seconds, and which column they are in.
//!
//! A date whose order hangs on the country (03/04/2026) keeps every order that it can have; what all dates of a file
//! have in common decides, and what is then still open is asked for.

use time::Month;

/// The Julian day of 1970-01-01.
const EPOCH: i64 = 2_440_588;
/// Microseconds in a day.
pub(super) const DAY_US: i64 = 86_400_000_000;

/// In which order the numbers of a date stand.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Order {
    /// 31.01.2026
    DayFirst,
    /// 01/31/2026
    MonthFirst,
    /// 2026-01-31
    YearFirst,
}
impl Order {
    /// All, in the order of the bits of [`Date::orders`].
    pub(super) const ALL: [Self; 3] = [Self::DayFirst, Self::MonthFirst, Self::YearFirst];
    /// As an option and a preview say it.
    pub const fn word(self) -> &'static str {
        match self {
            Self::DayFirst => "day-first",
            Self::MonthFirst => "month-first",
            Self::YearFirst => "year-first",
        }
    }
}

/// A date as it is written.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Date {
    numbers: [i64; 3],
    /// The orders it can have, a bit for each of [`Order::ALL`].
    pub(super) orders: u8,
}
impl Date {
    fn new(numbers: [i64; 3], may_have: &[Order]) -> Option<Self> {
        let mut date = Self { numbers, orders: 0 };
        for (bit, order) in Order::ALL.into_iter().enumerate() {
            if may_have.contains(&order) && date.days(order).is_some() {
                date.orders |= 1 << bit;
            }
        }
        (date.orders != 0).then_some(date)
    }
    /// Days since 1970-01-01, in this order.
    pub(super) fn days(self, order: Order) -> Option<i64> {
        let [a, b, c] = self.numbers;
        let (year, month, day) = match order {
            Order::DayFirst => (c, b, a),
            Order::MonthFirst => (c, a, b),
            Order::YearFirst => (a, b, c),
        };
        // Two digits are of this century: no logger is older.
        let year = if year < 100 { year + 2000 } else { year };
        let month = Month::try_from(u8::try_from(month).ok()?).ok()?;
        let date = time::Date::from_calendar_date(i32::try_from(year).ok()?, month, u8::try_from(day).ok()?).ok()?;
        (1900..=2999).contains(&year).then(|| i64::from(date.to_julian_day()) - EPOCH)
    }
}

/// Year, month, day of a day since 1970-01-01.
fn civil_from_days(days: i64) -> Option<(i32, u8, u8)> {
    let date = time::Date::from_julian_day(i32::try_from(days + EPOCH).ok()?).ok()?;
    Some((date.year(), u8::from(date.month()), date.day()))
}

/// What a cell says of a moment.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Moment {
    pub(super) date: Option<Date>,
    /// Microseconds of the day, or since the beginning.
    pub(super) clock_us: Option<i64>,
    /// Seconds that the clock is ahead of UTC.
    pub(super) offset_s: Option<i64>,
}

/// Reads a date, a time of day, or both in either order.
pub(super) fn parse(text: &str) -> Option<Moment> {
    if !text.is_ascii() && text.len() > 60 {
        return None;
    }
    let mut rest = Rest(text.trim());
    let mut moment = Moment { date: rest.date(), clock_us: None, offset_s: None };
    if moment.date.is_some() && !rest.0.is_empty() {
        rest.between().then_some(())?;
    }
    let compact = moment.date.is_some();
    moment.clock_us = rest.clock(compact);
    if moment.clock_us.is_some() {
        moment.offset_s = rest.offset();
        if moment.date.is_none() && !rest.0.is_empty() && rest.between() {
            moment.date = rest.date();
        }
    }
    (rest.0.is_empty() && (moment.date.is_some() || moment.clock_us.is_some())).then_some(moment)
}

/// What of a text is not read yet.
struct Rest<'a>(&'a str);
impl<'a> Rest<'a> {
    fn char(&mut self, wanted: &[char]) -> Option<char> {
        let c = self.0.chars().next().filter(|c| wanted.contains(c))?;
        self.0 = &self.0[c.len_utf8()..];
        Some(c)
    }
    /// A whole number of so many digits.
    fn digits(&mut self, least: usize, most: usize) -> Option<(i64, usize)> {
        let count = self.0.bytes().take_while(u8::is_ascii_digit).count();
        if count < least || count > most {
            return None;
        }
        let (number, rest) = self.0.split_at(count);
        self.0 = rest;
        Some((number.parse().ok()?, count))
    }
    /// Reads, or leaves everything as it was.
    fn attempt<T>(&mut self, read: impl FnOnce(&mut Self) -> Option<T>) -> Option<T> {
        let before = self.0;
        let got = read(self);
        if got.is_none() {
            self.0 = before;
        }
        got
    }
    /// What stands between date and time.
    fn between(&mut self) -> bool {
        let left = self.0.trim_start_matches([' ', ',', '\u{a0}', '_']);
        let left = left.strip_prefix(['T', 't']).unwrap_or(left);
        let found = left.len() < self.0.len();
        self.0 = left;
        found
    }
    fn date(&mut self) -> Option<Date> {
        self.attempt(Self::date_by_words).or_else(|| self.attempt(Self::date_by_numbers))
    }
    fn date_by_numbers(&mut self) -> Option<Date> {
        let (a, width) = self.digits(1, 8)?;
        if width == 8 {
            return Date::new([a / 10_000, a / 100 % 100, a % 100], &[Order::YearFirst]);
        }
        let by = self.char(&['-', '/', '.'])?;
        let (b, _) = self.digits(1, 2)?;
        (self.char(&[by]) == Some(by)).then_some(())?;
        let (c, last) = self.digits(1, 4)?;
        let may_have: &[Order] = match (width, last, by) {
            (4, 1 | 2, _) => &[Order::YearFirst],
            // With points it is written so everywhere.
            (1 | 2, 2 | 4, '.') => &[Order::DayFirst],
            (1 | 2, 4, _) => &[Order::DayFirst, Order::MonthFirst],
            (1 | 2, 2, _) => &Order::ALL,
            _ => return None,
        };
        Date::new([a, b, c], may_have)
    }
    /// `31-Jan-2026`, `31. Januar 2026`, `Jan 31, 2026`, `2026-Jan-31`.
    fn date_by_words(&mut self) -> Option<Date> {
        if !self.0.chars().any(char::is_alphabetic) {
            return None;
        }
        const GAP: [char; 5] = ['-', ' ', '/', '.', ','];
        let skip = |rest: &mut Self| rest.0 = rest.0.trim_start_matches(GAP);
        if let Some(month) = self.attempt(Self::month) {
            skip(self);
            let (day, _) = self.digits(1, 2)?;
            skip(self);
            let (year, _) = self.digits(4, 4)?;
            return Date::new([year, month, day], &[Order::YearFirst]);
        }
        let (first, width) = self.digits(1, 4)?;
        skip(self);
        let month = self.month()?;
        skip(self);
        let (last, _) = self.digits(1, 4)?;
        let numbers = if width == 4 { [first, month, last] } else { [last, month, first] };
        Date::new(numbers, &[Order::YearFirst])
    }
    /// The name of a month in English, German or French, whole or cut short.
    fn month(&mut self) -> Option<i64> {
        const MONTHS: [(&str, i64); 20] = [
            ("jan", 1),
            ("feb", 2),
            ("fév", 2),
            ("mar", 3),
            ("mär", 3),
            ("mrz", 3),
            ("apr", 4),
            ("avr", 4),
            ("may", 5),
            ("mai", 5),
            ("juil", 7),
            ("jun", 6),
            ("juin", 6),
            ("jul", 7),
            ("aug", 8),
            ("aoû", 8),
            ("sep", 9),
            ("oct", 10),
            ("okt", 10),
            ("nov", 11),
        ];
        let length = self.0.find(|c: char| !c.is_alphabetic()).unwrap_or(self.0.len());
        let (word, rest) = self.0.split_at(length);
        let word = word.to_lowercase();
        let known = MONTHS.iter().find(|(name, _)| word.starts_with(name)).map(|(_, month)| *month);
        let month = known.or_else(|| ["dec", "dez", "déc"].iter().any(|d| word.starts_with(d)).then_some(12))?;
        self.0 = rest;
        Some(month)
    }
    /// Microseconds. `compact`: `120000` counts as well.
    fn clock(&mut self, compact: bool) -> Option<i64> {
        self.attempt(|rest| {
            let (first, width) = rest.digits(1, 6)?;
            let (mut hours, minutes, seconds, micros) = if compact && width == 6 && !rest.0.starts_with(':') {
                (first / 10_000, first / 100 % 100, first % 100, rest.fraction().unwrap_or(0))
            } else {
                rest.char(&[':'])?;
                let (second, _) = rest.digits(2, 2)?;
                let third = rest.attempt(|rest| {
                    rest.char(&[':'])?;
                    rest.digits(2, 2)
                });
                match (third, rest.fraction()) {
                    (Some((third, _)), micros) => (first, second, third, micros.unwrap_or(0)),
                    // Two parts and a fraction are minutes and seconds.
                    (None, Some(micros)) => (0, first, second, micros),
                    (None, None) => (first, second, 0, 0),
                }
            };
            let half = rest.attempt(Self::half_of_day);
            if let Some(afternoon) = half {
                (1..=12).contains(&hours).then_some(())?;
                hours = hours % 12 + if afternoon { 12 } else { 0 };
            }
            // Without a date it may be a time since the beginning, of any length.
            let fits = seconds < 60 && (minutes < 60 || hours == 0) && (!compact || hours <= 24);
            fits.then_some(((hours * 60 + minutes) * 60 + seconds) * 1_000_000 + micros)
        })
    }
    /// Microseconds behind a mark.
    fn fraction(&mut self) -> Option<i64> {
        self.attempt(|rest| {
            let mark = rest.char(&['.', ',', ':'])?;
            let count = rest.0.bytes().take_while(u8::is_ascii_digit).count();
            ((1..=9).contains(&count) && (mark != ':' || count == 3)).then_some(())?;
            let (digits, left) = rest.0.split_at(count);
            rest.0 = left;
            let kept = &digits[..count.min(6)];
            Some(kept.parse::<i64>().ok()? * 10_i64.pow(6 - kept.len() as u32))
        })
    }
    /// `AM` or `PM`; true for the second.
    fn half_of_day(&mut self) -> Option<bool> {
        let left = self.0.trim_start();
        let bytes = left.as_bytes();
        let afternoon = match bytes.first()?.to_ascii_lowercase() {
            b'a' => false,
            b'p' => true,
            _ => return None,
        };
        let rest = left.get(1..)?.trim_start_matches('.');
        let rest = rest.strip_prefix(['m', 'M'])?.trim_start_matches('.');
        self.0 = rest;
        Some(afternoon)
    }
    /// Seconds ahead of UTC.
    fn offset(&mut self) -> Option<i64> {
        self.attempt(|rest| {
            rest.0 = rest.0.trim_start();
            for name in ["UTC", "GMT", "Z", "z"] {
                if let Some(left) = rest.0.strip_prefix(name) {
                    rest.0 = left;
                    return Some(rest.attempt(Self::signed_offset).unwrap_or(0));
                }
            }
            rest.signed_offset()
        })
    }
    fn signed_offset(&mut self) -> Option<i64> {
        let sign = if self.char(&['+', '-', '−'])? == '+' { 1 } else { -1 };
        let (mut hours, width) = self.digits(1, 4)?;
        let mut minutes = 0;
        if width > 2 {
            (hours, minutes) = (hours / 100, hours % 100);
        } else if self.char(&[':']).is_some() {
            (minutes, _) = self.digits(2, 2)?;
        }
        (hours <= 18 && minutes < 60).then_some(sign * (hours * 3600 + minutes * 60))
    }
}

/// A moment for people: with its date where it has one.
pub(super) fn show(us: i64, dated: bool) -> String {
    let (days, of_day) = (us.div_euclid(DAY_US), us.rem_euclid(DAY_US));
    let (seconds, micros) = (of_day / 1_000_000, of_day % 1_000_000);
    let (hours, minutes, seconds) = (seconds / 3600, seconds / 60 % 60, seconds % 60);
    let fraction = if micros == 0 { String::new() } else { format!(".{micros:06}").trim_end_matches('0').to_owned() };
    // Beyond the calendar's years the hours say as much.
    if let Some((year, month, day)) = dated.then(|| civil_from_days(days)).flatten() {
        return format!("{year}-{month:02}-{day:02} {hours:02}:{minutes:02}:{seconds:02}{fraction}");
    }
    let hours = hours + 24 * days;
    format!("{hours:02}:{minutes:02}:{seconds:02}{fraction}")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str, order: Order) -> Option<String> {
        let m = parse(text)?;
        let days = m.date.map_or(Some(0), |d| d.days(order))?;
        Some(show(days * DAY_US + m.clock_us.unwrap_or(0) - m.offset_s.unwrap_or(0) * 1_000_000, m.date.is_some()))
    }

    #[test]
    fn moments_as_they_are_written() {
        for (text, order, shown) in [
            ("2026-01-31T08:00:00.5+01:00", Order::YearFirst, "2026-01-31 07:00:00.5"),
            ("31.01.2026 08:00:00,25", Order::DayFirst, "2026-01-31 08:00:00.25"),
            ("31.1.26 8:00", Order::DayFirst, "2026-01-31 08:00:00"),
            ("01/31/2026 12:00:00 AM", Order::MonthFirst, "2026-01-31 00:00:00"),
            ("1/2/2026, 1:05:06 p.m.", Order::DayFirst, "2026-02-01 13:05:06"),
            ("31-Jan-2026 08:00:00", Order::YearFirst, "2026-01-31 08:00:00"),
            ("31. Dezember 2025", Order::YearFirst, "2025-12-31 00:00:00"),
            ("Jul 4, 2026 10:00", Order::YearFirst, "2026-07-04 10:00:00"),
            ("4 juil. 2026", Order::YearFirst, "2026-07-04 00:00:00"),
            ("20260131T080000Z", Order::YearFirst, "2026-01-31 08:00:00"),
            ("20260131 080000", Order::YearFirst, "2026-01-31 08:00:00"),
            ("08:00:00 31.01.2026", Order::DayFirst, "2026-01-31 08:00:00"),
            ("08:00:00:125", Order::YearFirst, "08:00:00.125"),
            ("00:01.5", Order::YearFirst, "00:00:01.5"),
            ("30:00:00", Order::YearFirst, "30:00:00"),
            ("2026-03-01 00:00:00 UTC+2", Order::YearFirst, "2026-02-28 22:00:00"),
        ] {
            assert_eq!(read(text, order).as_deref(), Some(shown), "{text}");
        }
        for text in [
            "",
            "12",
            "12.5",
            "1.2.3",
            "2026-02-30",
            "31/31/2026",
            "08:60:00 x",
            "25:00 PM",
            "2026-01-31 banana",
            "1:2",
        ] {
            assert_eq!(parse(text), None, "{text}");
        }
    }
    #[test]
    fn orders_that_stay_open() {
        let orders = |text: &str| parse(text).and_then(|m| m.date).map(|d| d.orders);
        assert_eq!(orders("03/04/2026"), Some(0b011));
        assert_eq!(orders("13/04/2026"), Some(0b001));
        assert_eq!(orders("03/14/2026"), Some(0b010));
        assert_eq!(orders("03-04-05"), Some(0b111));
        assert_eq!(orders("03.04.2026"), Some(0b001));
        assert_eq!(orders("2026/04/03"), Some(0b100));
    }
}

//! Log time as wall-clock time, by the dates that the log notes. Without a date there is log time only.
use crate::{
    record::Record,
    words::{clean, log_time},
};
use plumeline_base::Instant;
use time::{OffsetDateTime, format_description::well_known::Rfc3339};

/// Dates known to the log, by rising log time.
pub(crate) struct Clock {
    known: Vec<(Instant, OffsetDateTime)>,
}

impl Clock {
    pub(crate) fn of(record: &Record) -> Self {
        let parsed = record.dates.iter().filter_map(|(at, s)| Some((*at, OffsetDateTime::parse(s, &Rfc3339).ok()?)));
        let mut known: Vec<_> = parsed.collect();
        known.sort_by_key(|(at, _)| *at);
        Self { known }
    }
    fn date(&self, at: Instant) -> Option<OffsetDateTime> {
        let (noted, date) = self.known.iter().rev().find(|(t, _)| *t <= at).or_else(|| self.known.first())?;
        let us = |t: Instant| i64::try_from(t.as_micros()).ok();
        date.checked_add(time::Duration::microseconds(us(at)?.checked_sub(us(*noted)?)?))
    }
    /// `hh:mm:ss`, or nothing where no date is known.
    pub(crate) fn time(&self, at: Instant) -> String {
        self.date(at).map_or_else(String::new, |d| format!("{:02}:{:02}:{:02}", d.hour(), d.minute(), d.second()))
    }
    /// Log time with the time of day, if known.
    pub(crate) fn both(&self, at: Instant) -> String {
        let time = self.time(at);
        if time.is_empty() { log_time(at) } else { format!("{} ({time})", log_time(at)) }
    }
    /// When the record begins and ends.
    pub(crate) fn span(&self, record: &Record) -> String {
        let day = |d: OffsetDateTime| {
            format!("{:04}-{:02}-{:02} {:02}:{:02}", d.year(), u8::from(d.month()), d.day(), d.hour(), d.minute())
        };
        let offset = |d: OffsetDateTime| {
            let (h, m, _) = d.offset().as_hms();
            format!("UTC{}{:02}:{:02}", if h < 0 || m < 0 { '-' } else { '+' }, h.unsigned_abs(), m.unsigned_abs())
        };
        match (self.date(Instant::START), self.date(record.until)) {
            (Some(a), Some(b)) => format!("{} to {} ({})", day(a), day(b), offset(a)),
            _ => match record.dates.first() {
                Some((_, s)) => format!("date as noted: {}", clean(s)),
                None => "no date in the record".to_owned(),
            },
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn dates_follow_the_log_and_its_resumptions() {
        let mut record = Record::new(10);
        record.dates.push((Instant::START, "2031-03-04T09:00:00+01:00".into()));
        record.dates.push((Instant::from_secs(600), "2031-03-04T11:00:00+01:00".into()));
        record.until = Instant::from_secs(660);
        let c = Clock::of(&record);
        assert_eq!(c.both(Instant::from_secs(61)), "0:01:01 (09:01:01)");
        assert_eq!(c.both(Instant::from_secs(601)), "0:10:01 (11:00:01)");
        assert_eq!(c.span(&record), "2031-03-04 09:00 to 2031-03-04 11:01 (UTC+01:00)");
        // Nonsense is no date, and no panic.
        assert_eq!(Clock::of(&record).time(Instant::FAR_FUTURE), "");
        record.dates = vec![(Instant::START, "<b>".into())];
        assert_eq!(Clock::of(&record).span(&record), "date as noted: <b>");
    }
}

//! What is done at a unit by hand, each only where the description says how; and its date and time, set by a watch and read
//! off.
use super::{
    Asked, Said, Step, Task,
    memory::Memory,
    readings,
    typed::{short, yes},
};
use crate::{
    ask::{Reply, Request},
    driver::{About, Wants},
    vocabulary::UnitTime,
};
use alloc::{boxed::Box, format, string::String, vec};
use plumeline_base::Instant;
use time::{OffsetDateTime, format_description::well_known::Rfc3339};

/// Something that a hand does.
pub(super) fn begin(request: &Request, memory: &Memory) -> Result<Box<dyn Task>, String> {
    let unit = memory.at_unit()?;
    let hands = &unit.face.hands;
    let how = |how: &Option<String>| {
        how.clone().ok_or_else(|| format!("by the description of this model nobody can {} by hand", request.words()))
    };
    let deed = |about, text: String, then| Ok(Box::new(Deed { about, text, then }) as Box<dyn Task>);
    match request {
        Request::TakeBaseline => {
            let text = format!("Take the airflow baseline at the unit ({}). Is it taken?", how(&hands.baseline)?);
            deed(About::TakeBaseline, text, Then::Baseline)
        }
        Request::ResetLatches => {
            deed(About::Reset, format!("Reset what is latched at the unit ({}). Done?", how(&hands.reset)?), Then::Done)
        }
        Request::Restart => {
            let text = format!("Start the unit anew ({}). Has it started?", how(&hands.restart)?);
            deed(About::Restart, text, Then::Restarted)
        }
        Request::Inhibit { .. } => {
            let text = format!("Hold the unit's outputs back ({}). Are they held back?", how(&hands.inhibit)?);
            deed(About::Inhibit { on: true }, text, Then::Inhibited(true))
        }
        Request::ReleaseInhibit => {
            let text = format!("Give the unit's outputs back ({}). Done?", how(&hands.inhibit)?);
            deed(About::Inhibit { on: false }, text, Then::Inhibited(false))
        }
        Request::Drive { output, on } => {
            let lasts = unit.face.drive_lasts().as_secs();
            let how = how(&hands.test_output.as_ref().map(|(how, _)| how.clone()))?;
            let text = if *on {
                format!("Operate output {output} at the unit ({how}); it stays operated for {lasts} s. Is it operated?")
            } else {
                format!("Let output {output} go back to rest, or wait until it does. Is it at rest?")
            };
            deed(About::Drive { output: *output, on: *on }, text, Then::Done)
        }
        Request::SetTime { .. } => {
            let how = how(&hands.clock)?;
            Ok(Box::new(Time { wanted: first(memory, Wanted::Set), how: Some(how) }))
        }
        Request::TellTime if unit.face.shows.clock => {
            Ok(Box::new(Time { wanted: first(memory, Wanted::Tell), how: None }))
        }
        _ => Err(format!("this model shows nothing by which a person could {}", request.words())),
    }
}

/// What follows once it is done.
enum Then {
    Done,
    Restarted,
    Inhibited(bool),
    Baseline,
}

/// Something that is done and said to be done.
struct Deed {
    about: About,
    text: String,
    then: Then,
}
impl Task for Deed {
    fn ask(&self, _: &Memory) -> Asked {
        Asked { about: self.about.clone(), text: self.text.clone(), wants: Wants::Done }
    }
    fn take(&mut self, _: Instant, said: Said, memory: &mut Memory) -> Step {
        match said {
            Said::No(why) | Said::Cannot(why) => return Step::not_told(&why),
            Said::Words(words) if !yes(&words) => return Step::Again("press Enter when it is done".into()),
            Said::Yes | Said::Words(_) => {}
        }
        match self.then {
            Then::Done => {}
            Then::Restarted => (memory.last, memory.inhibited) = (None, false),
            Then::Inhibited(on) => memory.inhibited = on,
            Then::Baseline => {
                let inlets = memory.abilities().map_or(0, |a| a.inlets);
                return Step::told(Reply::Baseline(readings::held(vec![None; inlets.into()])));
            }
        }
        Step::told(Reply::Done(()))
    }
}

/// What is asked about date and time.
#[derive(Clone, Copy)]
enum Wanted {
    /// How far local time is ahead of UTC; then whether it is set, or what it is.
    Offset {
        set: bool,
    },
    Set,
    Tell,
}
/// The offset comes first where nobody has told it.
fn first(memory: &Memory, wanted: Wanted) -> Wanted {
    if memory.ahead_min.is_some() { wanted } else { Wanted::Offset { set: matches!(wanted, Wanted::Set) } }
}

/// The unit's date and time.
struct Time {
    wanted: Wanted,
    how: Option<String>,
}
impl Task for Time {
    fn ask(&self, _: &Memory) -> Asked {
        let (about, text, wants) = match self.wanted {
            Wanted::Offset { .. } => {
                let text = "By how much is local time here ahead of UTC? Type it as in +01:00";
                (About::Offset, text.into(), Wants::Text)
            }
            Wanted::Set => {
                let how = self.how.as_deref().unwrap_or_default();
                let text = format!("Set the unit's date and time ({how}) by a watch that is right. Is it set?");
                (About::SetTime, text, Wants::Done)
            }
            Wanted::Tell => {
                let text = "Type a date and time that the unit will show in some seconds, as in 2026-03-09 14:32:30, and \
                            press Enter when it shows it";
                (About::Time, text.into(), Wants::Text)
            }
        };
        Asked { about, text, wants }
    }
    fn take(&mut self, _: Instant, said: Said, memory: &mut Memory) -> Step {
        match (self.wanted, said) {
            (_, Said::No(why) | Said::Cannot(why)) => Step::not_told(&why),
            (Wanted::Offset { set }, Said::Words(words)) => match ahead(&words) {
                Some(min) => {
                    memory.ahead_min = Some(min);
                    self.wanted = if set { Wanted::Set } else { Wanted::Tell };
                    Step::Ask
                }
                None => Step::Again(format!("{} is no offset", short(&words))),
            },
            (Wanted::Set, Said::Words(words)) if !yes(&words) => Step::Again("press Enter when it is set".into()),
            // What was set is looked at at once.
            (Wanted::Set, _) => {
                self.wanted = Wanted::Tell;
                Step::Ask
            }
            (Wanted::Tell, Said::Words(words)) => {
                let zone_min = memory.ahead_min.unwrap_or_default();
                match utc_ms(&words, zone_min) {
                    Some(ms) => Step::told(Reply::Time(UnitTime { utc_ms: Some(ms), zone_min })),
                    None => Step::Again(format!("{} is no date and time", short(&words))),
                }
            }
            (Wanted::Offset { .. } | Wanted::Tell, Said::Yes) => Step::Again("it has to be typed".into()),
        }
    }
}

/// An offset from UTC, minutes.
fn ahead(text: &str) -> Option<i64> {
    let text = text.trim().trim_start_matches("UTC").trim();
    let (sign, rest) = match text.strip_prefix(['-', '\u{2212}']) {
        Some(rest) => (-1, rest),
        None => (1, text.strip_prefix('+').unwrap_or(text)),
    };
    let (h, min) = rest.split_once(':').unwrap_or((rest, "0"));
    let (h, min) = (h.parse::<u8>().ok()?, min.parse::<u8>().ok()?);
    (h <= 14 && min < 60).then(|| sign * (i64::from(h) * 60 + i64::from(min)))
}

/// Local date and time as a person types them, as ms since 1970 UTC.
fn utc_ms(text: &str, ahead_min: i64) -> Option<u64> {
    let (date, clock) = text.trim().split_once([' ', 'T'])?;
    let clock = clock.trim();
    let clock: String = if clock.matches(':').count() == 1 { format!("{clock}:00") } else { clock.into() };
    let date = match date.split('.').collect::<vec::Vec<_>>().as_slice() {
        [day, month, year] => format!("{year}-{month:0>2}-{day:0>2}"),
        _ => date.into(),
    };
    let as_if_utc = OffsetDateTime::parse(&format!("{date}T{clock:0>8}Z"), &Rfc3339).ok()?;
    let ms = as_if_utc.unix_timestamp_nanos() / 1_000_000 - i128::from(ahead_min) * 60_000;
    u64::try_from(ms).ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn dates_and_offsets_are_read_as_people_type_them() {
        assert_eq!(
            [ahead("+01:00"), ahead("UTC-3:30"), ahead("0"), ahead("25"), ahead("x")],
            [Some(60), Some(-210), Some(0), None, None]
        );
        let at = utc_ms("2026-03-09 14:32:30", 60);
        assert_eq!(at, Some(1_773_063_150_000));
        assert_eq!(utc_ms("9.3.2026 14:32:30", 60), at);
        assert_eq!(utc_ms("2026-03-09 9:05", 0), utc_ms("2026-03-09 09:05:00", 0));
        for wrong in
            ["", "14:32", "2026-02-30 10:00:00", "3/9/2026 14:32", "2026-03-09 25:00:00", "1960-01-01 00:00:00"]
        {
            assert_eq!(utc_ms(wrong, 0), None, "{wrong}");
        }
    }
}

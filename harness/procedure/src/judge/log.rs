//! The unit's event log held against what was done to the unit in this job.
use crate::{
    facts::{list, log as fact},
    outcome::{Finding, StageKind, Subject},
};
use alloc::vec::Vec;
use plumeline_detector::{UnitEvent, vocabulary::EventKind};

/// What was done, in plain words, where the log must tell it.
const TOLD: [(EventKind, &str); 4] = [
    (EventKind::Started, "its start"),
    (EventKind::SettingsChanged, "the settings loaded"),
    (EventKind::BaselineTaken, "the baseline taken"),
    (EventKind::LevelReached, "the alarm levels that smoke raised"),
];

/// The log, or why it was not read, against what was `done`. A maker may have codes of his own and keep a short log, so an
/// entry that lacks is told and no more; a log with none of all that was done is no log.
pub(crate) fn log(done: &[EventKind], read: Result<&[UnitEvent], &str>) -> Finding {
    let fact = match read {
        Err(why) => fact::not_read(why),
        Ok(events) => {
            let missing = |kind: &EventKind| done.contains(kind) && events.iter().all(|e| e.kind != *kind);
            let missing: Vec<_> = TOLD.iter().filter(|(kind, _)| missing(kind)).map(|(_, words)| *words).collect();
            match (missing.is_empty(), events.iter().any(|e| done.contains(&e.kind))) {
                (true, _) => fact::kept(events.len()),
                (false, true) => fact::in_part(events.len(), list(missing)),
                (false, false) => fact::missing(list(missing)),
            }
        }
    };
    Finding::of(StageKind::Restore, Subject::Replacement, fact)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_log_must_tell_what_was_done() {
        let event = |kind| UnitEvent { position: 1, device_us: 0, code: 0, kind, text: "words".into() };
        let done = [EventKind::Started, EventKind::BaselineTaken];
        let code = |events: &[EventKind]| {
            let events: Vec<_> = events.iter().map(|k| event(*k)).collect();
            log(&done, Ok(&events)).code
        };
        assert_eq!(code(&[EventKind::Started, EventKind::Other, EventKind::BaselineTaken]), "log.kept");
        assert_eq!(code(&[EventKind::Started]), "log.in-part");
        assert_eq!(code(&[EventKind::Other]), "log.missing");
        assert_eq!(code(&[]), "log.missing");
        assert_eq!(log(&done, Err("silent")).code, "log.not-read");
    }
}

//! Why a stage ended early.
use crate::stop::{OtherSettings, Stop};
use core::fmt;

impl fmt::Display for Stop {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Aborted(_) => f.write_str("the job was told to stop"),
            Self::Deadline => f.write_str("it took longer than the plan allows"),
            Self::Trouble(trouble) => write!(f, "{trouble}"),
            Self::StartedAnew => f.write_str("the unit started anew although nobody asked it to"),
            Self::OtherSettings(why) => write!(f, "{why}"),
            Self::Again => f.write_str("something is done again first"),
            Self::Found => f.write_str("what was found makes going on pointless or unsafe"),
        }
    }
}

impl fmt::Display for OtherSettings {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Changed(Some(first)) => write!(f, "the unit's settings were changed while nobody watched: {first}"),
            Self::Changed(None) => f.write_str("the unit's settings were changed while nobody watched"),
            Self::NotRead(trouble) => {
                write!(f, "the unit's settings can't be read again after the pause: {trouble}")
            }
        }
    }
}

facts! {
    aborted(stage, why) = "stage.aborted", Undecided, "{stage} was not finished: {why}",
        next "run the job again when the reason for stopping is gone";
    too_long(stage, why) = "stage.too-long", Undecided, "{stage} was not finished: {why}",
        next "find out what held it up, then run the job again";
    held_up(stage, trouble, remedy) = "stage.held-up", Undecided, "{stage} was not finished in time: {trouble}",
        next "{remedy}";
    trouble(stage, trouble, remedy) = "stage.trouble", Undecided, "{stage} was not finished: {trouble}",
        next "{remedy}";
    started_anew(stage, why) = "stage.unit-started-anew", Undecided, "{stage} was not finished: {why}",
        likely "its supply was interrupted, or somebody restarted it",
        next "find out why the unit restarted (supply, a person at its keys), then prove flow, baseline and smoke again";
    other_settings(stage, why) = "stage.other-settings", Undecided, "{stage} was not finished: {why}",
        likely "somebody changed them at the unit's keys or with another program",
        next "find out who changed them, load the settings again, then prove flow, baseline and smoke again";
}

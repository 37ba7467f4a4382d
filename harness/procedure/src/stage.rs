//! The stages of a job: one table that says of each what it is called, what it rests on, what hangs on it and what holds
//! where a plan says nothing more. Names, order, defaults and the documents' table come from it.
//!
//! Not here: what a stage does (`crate::stages`).
use alloc::vec::Vec;
use core::fmt;
use serde::{Deserialize, Serialize};

/// What happens when a stage does not pass.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Policy {
    /// The job winds down safely and closes.
    Stop,
    /// The job goes on; the verdict keeps what happened.
    GoOn,
    /// The stage is left out; the verdict is then undecided at best.
    Skip,
}
impl Policy {
    /// The policies by name.
    pub const NAMES: &'static [(&'static str, Self)] =
        &[("stop", Self::Stop), ("go-on", Self::GoOn), ("skip", Self::Skip)];
    /// The name in files.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Stop => "stop",
            Self::GoOn => "go-on",
            Self::Skip => "skip",
        }
    }
}

/// A row of the table of stages.
#[derive(Clone, Copy, Debug)]
pub struct Stage {
    /// Which stage.
    pub kind: StageKind,
    /// The name in files and on screens.
    pub name: &'static str,
    /// What it is called in reports.
    pub title: &'static str,
    /// What it is for, in one sentence.
    pub does: &'static str,
    /// What happens when it does not pass, where the plan says nothing more.
    pub policy: Policy,
    /// How long it may take where the plan says nothing more (common practice, no source), min.
    pub deadline_min: u32,
    /// What else holds for it.
    pub traits: Traits,
}

/// What holds for a stage.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Traits {
    /// What is found at it counts.
    pub judges: bool,
    /// A pass needs it.
    pub needed: bool,
    /// It rests on one start of the unit, and on pipes that nobody moved.
    pub bound_to_start: bool,
    /// It rests on the unit's settings.
    pub bound_to_settings: bool,
    /// It can operate outputs: the zone must be isolated before it.
    pub operates: bool,
    /// A baseline that fails it is void: it is only as good as what is tested on it.
    pub tests_baseline: bool,
    /// Done even after a stop, to leave the site safe.
    pub winds_down: bool,
    /// It belongs to the exchange of units: a service visit has none.
    pub of_exchange: bool,
}
impl Traits {
    const NONE: Self = Self {
        judges: false,
        needed: false,
        bound_to_start: false,
        bound_to_settings: false,
        operates: false,
        tests_baseline: false,
        winds_down: false,
        of_exchange: false,
    };
}

macro_rules! stages {
    ($(#[doc = $does:literal] $kind:ident = $name:literal, $title:literal, $policy:ident, $minutes:literal min: $($holds:ident)*;)*) => {
        /// The stages of a job, in their usual order.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
        #[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
        pub enum StageKind {
            $(#[doc = $does] #[serde(rename = $name)] $kind,)*
        }
        /// The stages in their usual order.
        pub const STAGES: &[Stage] = &[$(Stage {
            kind: StageKind::$kind,
            name: $name,
            title: $title,
            does: crate::rules::sentence($does),
            policy: Policy::$policy,
            deadline_min: $minutes,
            traits: Traits { $($holds: true,)* ..Traits::NONE },
        },)*];
        impl StageKind {
            /// All, in their usual order.
            pub const ALL: [Self; STAGES.len()] = [$(Self::$kind,)*];
        }
    };
}

// What must hold before anything is risked stops the job when it does not pass; what only measures goes on, and the verdict
// keeps what happened. A bench that was not passed leads to no isolated site by itself; what it showed is shown again on the
// wall. What an outgoing unit showed is for comparison only: it may be dead.
stages! {
    /// The replacement tried on the bench and loaded, before the site goes out of service.
    Bench = "bench", "Try the new unit on the bench", Stop, 60 min: judges of_exchange;
    /// Isolated at the panel, release circuits locked off, people told.
    Isolate = "isolate", "Isolate", Stop, 60 min: judges needed;
    /// The outgoing unit's identity, settings, flows, faults.
    AsFound = "as-found", "As found", GoOn, 60 min: operates of_exchange;
    /// The units are exchanged: remount, clean, refit, power.
    Swap = "swap", "Exchange the units", Stop, 240 min: judges needed operates of_exchange;
    /// The new unit has started and says who it is.
    Boot = "boot", "Identify the unit", Stop, 15 min: judges needed operates;
    /// Settings sent, read back, kept over a restart.
    Load = "load", "Settings", Stop, 30 min: judges needed operates bound_to_settings;
    /// Flow is steady.
    Settle = "settle", "Let the flow settle", GoOn, 30 min: judges needed bound_to_start bound_to_settings;
    /// Each pipe's flow against the prediction, then every reachable hole shown to draw.
    ProveFlow = "prove-flow", "Prove the flow", GoOn, 480 min: judges needed operates bound_to_start bound_to_settings;
    /// The airflow baseline is taken and read back.
    Baseline = "baseline", "Airflow baseline", GoOn, 30 min: judges needed operates bound_to_start bound_to_settings;
    /// Smoke at the far end of each pipe, timed.
    ProveSmoke = "prove-smoke", "Prove with smoke", GoOn, 240 min: judges needed operates bound_to_start bound_to_settings tests_baseline;
    /// Obscuration back under the lowest level, latches reset.
    Purge = "purge", "Purge", GoOn, 60 min: judges needed bound_to_start bound_to_settings winds_down;
    /// A shut inlet raises the flow fault in time, and it clears.
    Supervise = "supervise", "Try the flow supervision", GoOn, 60 min: judges needed operates bound_to_start bound_to_settings tests_baseline;
    /// Mains and battery removed in turn, voltage and current under load, the battery's capacity.
    Supply = "supply", "Try the supply", GoOn, 60 min: judges needed operates bound_to_settings;
    /// Each output operates the right input at the panel.
    Outputs = "outputs", "Try the outputs", GoOn, 60 min: judges needed operates bound_to_settings;
    /// Tapes and plugs counted off; flow once more against the baseline.
    LastLook = "last-look", "Last look", GoOn, 60 min: judges needed bound_to_start bound_to_settings tests_baseline;
    /// Outputs given back, zone restored, release circuit unlocked.
    Restore = "restore", "Restore", Stop, 60 min: judges needed winds_down;
    /// The record is closed.
    Close = "close", "Close the record", GoOn, 15 min: judges needed winds_down;
}

impl StageKind {
    /// Its row in the table.
    pub const fn row(self) -> &'static Stage {
        &STAGES[self as usize]
    }
    /// The name in files and on screens.
    pub const fn name(self) -> &'static str {
        self.row().name
    }
    /// What it is called in reports.
    pub const fn title(self) -> &'static str {
        self.row().title
    }
    /// The stage with this name.
    pub fn parse(name: &str) -> Option<Self> {
        STAGES.iter().find(|s| s.name == name).map(|s| s.kind)
    }
    /// A pass needs this stage.
    pub const fn is_needed(self) -> bool {
        self.row().traits.needed
    }
    /// What is found at this stage counts.
    pub const fn judges(self) -> bool {
        self.row().traits.judges
    }
    /// The stages of which something holds.
    pub fn with(holds: impl Fn(&Traits) -> bool) -> Vec<Self> {
        STAGES.iter().filter(|s| holds(&s.traits)).map(|s| s.kind).collect()
    }
}
impl fmt::Display for StageKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.name())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_table_is_sound() {
        for (at, s) in STAGES.iter().enumerate() {
            assert_eq!(s.kind as usize, at, "{}", s.name);
            assert_eq!(StageKind::parse(s.name), Some(s.kind));
            // What judges nothing can't be needed, and a stage that is left out by default could never be passed.
            assert!(s.traits.judges || !s.traits.needed, "{}", s.name);
            assert!(s.policy != Policy::Skip && s.deadline_min > 0, "{}", s.name);
        }
        // What rests on one start of the unit rests on the settings that it started with.
        assert!(StageKind::with(|t| t.bound_to_start).iter().all(|s| s.row().traits.bound_to_settings));
    }
}

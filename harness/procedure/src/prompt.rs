//! What the operator is asked for. A prompt has words for people and an [`Act`] for scripts.
use crate::{instrument::Measurand, plan::HoleRef, stage::StageKind};
use alloc::{string::String, vec::Vec};
use plumeline_base::input::Role;
use plumeline_detector::driver::{About, Wants};
use serde::{Deserialize, Serialize};

/// Something the operator is asked to do, see or tell.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Prompt {
    /// Number within the job, from 1.
    pub id: u32,
    /// What it is, for scripts.
    pub act: Act,
    /// The words for a person.
    pub text: String,
    /// What kind of answer is wanted.
    pub wants: Wants,
    /// The earlier prompt whose answer may be taken back instead: nothing rests on it yet.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub back: Option<u32>,
}

impl Prompt {
    /// Whether somebody in this role may answer it.
    pub const fn may_be_answered_by(&self, role: Role) -> bool {
        match role {
            Role::Lead => true,
            Role::FarEnd => self.act.at_the_pipe(),
            Role::Watch => false,
        }
    }
    /// What is only told wants no answer.
    pub fn wants_answer(&self) -> bool {
        self.wants != Wants::Notice
    }
}

macro_rules! acts {
    ($($(#[$meta:meta])* $kind:ident $(($($tuple:tt)*))? $({$($fields:tt)*})? = $name:literal,)*) => {
        /// What is asked for, so that a script (or a simulated site) can do it.
        #[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
        #[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
        #[serde(tag = "act")]
        pub enum Act {
            $($(#[$meta])* #[serde(rename = $name)] $kind $(($($tuple)*))? $({$($fields)*})?,)*
        }
        impl Act {
            /// The names of all kinds.
            pub const NAMES: &[&str] = &[$($name),*];
            /// The name in files: the same as in the journal.
            pub const fn name(&self) -> &'static str {
                match self {
                    $(Self::$kind { .. } => $name,)*
                }
            }
        }
    };
}

acts! {
    /// Give the replacement power on the bench, and connect the cable to it.
    Bench = "bench",
    /// Take its power off, and connect the cable to the outgoing unit.
    BenchDone = "bench-done",
    /// Say who does the work by hand.
    Who = "who",
    /// Confirm that the zone is isolated at the panel.
    Isolate = "isolate",
    /// Confirm that every release circuit is physically locked off, or that there is none.
    LockOff = "lock-off",
    /// Confirm that those who must be told have been told.
    Tell = "tell",
    /// Take the outgoing unit off and fit the replacement: pipes, wires, power.
    Swap = "swap",
    /// Tick off an item of the checklist.
    Check {
        /// Position in the checklist, from 1.
        item: u32,
    } = "check",
    /// Say which of several items of the checklist are done; each of the others is then asked for by itself.
    Checks {
        /// Positions in the checklist, from 1.
        items: Vec<u32>,
    } = "checks",
    /// Close a hole.
    CloseHole(HoleRef) = "close-hole",
    /// Open it again.
    OpenHole(HoleRef) = "open-hole",
    /// Close all of these holes of a pipe, and keep them closed.
    CloseHoles {
        /// Inlet number of the pipe.
        inlet: u8,
        /// Hole numbers.
        holes: Vec<u32>,
    } = "close-holes",
    /// Open one of them, alone: another that is open is closed again first.
    OpenAlone {
        /// Inlet number of the pipe.
        inlet: u8,
        /// The hole to be closed first.
        close: Option<u32>,
        /// The hole to be opened.
        open: u32,
    } = "open-alone",
    /// Open all of them again.
    OpenHoles {
        /// Inlet number of the pipe.
        inlet: u8,
        /// Hole numbers.
        holes: Vec<u32>,
    } = "open-holes",
    /// Count the pieces of tape that came off the holes of a pipe.
    CountTape {
        /// Inlet number of the pipe.
        inlet: u8,
        /// Hole numbers.
        holes: Vec<u32>,
    } = "count-tape",
    /// Release smoke at a hole; the answer marks the moment.
    ReleaseSmoke(HoleRef) = "release-smoke",
    /// Mark the moment at which the unit shows the smoke that was released.
    SmokeShows {
        /// Where it was released.
        #[serde(flatten)]
        at: HoleRef,
        /// The reading from which on it counts, 1e-9 1/m; none: its first alarm level.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        from_n_m: Option<u64>,
    } = "smoke-shows",
    /// Mark the moment at which an alarm level shows.
    LevelShows {
        /// Level, from 1.
        level: u8,
    } = "level-shows",
    /// Mark the moment at which the unit shows its flow fault.
    FaultShows {
        /// The inlet that is shut.
        inlet: u8,
    } = "fault-shows",
    /// Mark the moment at which it no longer does.
    FaultGone {
        /// The inlet that was put back.
        inlet: u8,
    } = "fault-gone",
    /// Say so if the release did not go as it was meant to: that sets the run aside before its result shows.
    ReleaseWent(HoleRef) = "release-went",
    /// Type a time that a logger's clock shows, at the very moment when it shows it.
    LoggerTime = "logger-time",
    /// Give the file that a logger stored.
    GiveFile {
        /// The times of its clock that were marked, as they were typed.
        marks: Vec<String>,
    } = "give-file",
    /// Stop the smoke.
    StopSmoke = "stop-smoke",
    /// Shut an inlet (or pull its pipe).
    ShutInlet {
        /// Inlet number.
        inlet: u8,
    } = "shut-inlet",
    /// Put the inlet back as it was.
    RefitInlet {
        /// Inlet number.
        inlet: u8,
    } = "refit-inlet",
    /// Look whether the panel shows what an output stands for.
    PanelShows {
        /// Output number.
        output: u8,
        /// What the output is set to stand for.
        function: String,
    } = "panel-shows",
    /// Look whether the panel no longer shows it.
    PanelClear {
        /// Output number.
        output: u8,
    } = "panel-clear",
    /// Switch one of the unit's supplies off, or on again.
    SwitchSupply {
        /// Which.
        supply: Supply,
        /// On again, or off.
        on: bool,
    } = "switch-supply",
    /// Look whether the panel shows a fault of this unit.
    PanelFault = "panel-fault",
    /// Look whether the panel no longer shows it.
    PanelFaultClear = "panel-fault-clear",
    /// Read something off an instrument.
    ReadMeter {
        /// What.
        quantity: Metered,
    } = "read-meter",
    /// Go on although something is unproven: answered by a name and a reason, or no.
    Override = "override",
    /// Say whether pipes, cover, filter and fan setting were left alone since the baseline was taken.
    LeftAlone = "left-alone",
    /// Say whether nothing was operated while smoke was at the unit, or while the inhibit of its outputs did not hold.
    NothingOperated = "nothing-operated",
    /// Say whether what is called for when a zone is out of service for too long was in place.
    OtherMeasures = "other-measures",
    /// Cover every inlet without a pipe, whatever plugs it.
    CoverInlets {
        /// Inlet numbers.
        inlets: Vec<u8>,
    } = "cover-inlets",
    /// Take the covers off again.
    UncoverInlets {
        /// Inlet numbers.
        inlets: Vec<u8>,
    } = "uncover-inlets",
    /// Say whether every inlet without a pipe and without a flow sensor is plugged and sealed.
    InletsPlugged = "inlets-plugged",
    /// Decide what follows: this stage did not show what it was to show.
    Decide {
        /// The stage.
        stage: StageKind,
    } = "decide",
    /// Unlock the release circuit.
    Unlock = "unlock",
    /// Restore the zone at the panel.
    Restore = "restore",
    /// Read something off the unit, or do something at it, for a driver that has no line to it.
    ReadDisplay {
        /// What it is about.
        #[serde(default)]
        about: About,
    } = "read-display",
}

impl Act {
    /// The unit's own readings may show that it is done: then no answer is wanted.
    pub const fn may_show(&self) -> bool {
        matches!(self, Self::OpenHole(_) | Self::SwitchSupply { on: true, .. })
    }
    /// It may wait until the end of the walk.
    pub const fn may_wait(&self) -> bool {
        matches!(self, Self::CloseHole(_) | Self::ReleaseSmoke(_))
    }
    /// It is done or seen at a hole or an inlet, or with smoke: what somebody at the far end of a pipe may answer.
    pub const fn at_the_pipe(&self) -> bool {
        matches!(
            self,
            Self::CloseHole(_)
                | Self::OpenHole(_)
                | Self::CloseHoles { .. }
                | Self::OpenAlone { .. }
                | Self::OpenHoles { .. }
                | Self::CountTape { .. }
                | Self::ReleaseSmoke(_)
                | Self::ReleaseWent(_)
                | Self::StopSmoke
                | Self::ShutInlet { .. }
                | Self::RefitInlet { .. }
                | Self::CoverInlets { .. }
                | Self::UncoverInlets { .. }
                | Self::InletsPlugged
        )
    }
    /// The hole that it is done at, by its pipe's inlet, where it is one.
    pub const fn hole(&self) -> Option<HoleRef> {
        match self {
            Self::CloseHole(hole) | Self::OpenHole(hole) | Self::ReleaseSmoke(hole) | Self::ReleaseWent(hole) => {
                Some(*hole)
            }
            Self::OpenAlone { inlet, open, .. } => Some(HoleRef { inlet: *inlet, number: *open }),
            _ => None,
        }
    }
    /// It ends what an earlier act began at the site: nothing else is taken up before it is answered.
    pub(crate) const fn ends_something(&self) -> bool {
        matches!(
            self,
            Self::OpenHole(_)
                | Self::OpenHoles { .. }
                | Self::CountTape { .. }
                | Self::ReleaseWent(_)
                | Self::SmokeShows { .. }
                | Self::LevelShows { .. }
                | Self::FaultShows { .. }
                | Self::ReadMeter { quantity: Metered::SmokeTime { .. } | Metered::FaultTime(_) }
                | Self::StopSmoke
                | Self::RefitInlet { .. }
                | Self::UncoverInlets { .. }
                | Self::PanelClear { .. }
                | Self::PanelFault
                | Self::PanelFaultClear
                | Self::SwitchSupply { on: true, .. }
                | Self::Decide { .. }
        )
    }
}

/// The name and the reason in an answer to [`Act::Override`], as in "A. Name: reason"; `None` where one is missing: then
/// nothing is overridden.
pub fn name_and_reason(words: &str) -> Option<(&str, &str)> {
    let (name, reason) = words.split_once(':').map(|(name, reason)| (name.trim(), reason.trim()))?;
    (name.len() >= 2 && reason.len() >= 4).then_some((name, reason))
}

/// A supply of a unit.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "kebab-case")]
pub enum Supply {
    /// The mains.
    Mains,
    /// The standby battery.
    Battery,
}
impl Supply {
    /// In plain words.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Mains => "mains",
            Self::Battery => "battery",
        }
    }
}

/// What is read off an instrument.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "kebab-case")]
pub enum Metered {
    /// Voltage at the unit's terminals.
    Voltage,
    /// Current that it draws.
    Current,
    /// Suction at a hole that the instrument's tube closes.
    Suction(HoleRef),
    /// Flow of a pipe where it enters the unit, by its inlet.
    Flow(u8),
    /// Time from a release of smoke until the unit shows it.
    SmokeTime {
        /// Where it was released.
        at: HoleRef,
        /// The reading from which on it counts, 1e-9 1/m; none: its first alarm level.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        from_n_m: Option<u64>,
    },
    /// Time from an inlet being shut until the unit shows its flow fault.
    FaultTime(u8),
}
impl Metered {
    /// What an instrument must measure for it.
    pub(crate) const fn measurand(self) -> Measurand {
        match self {
            Self::Voltage => Measurand::Voltage,
            Self::Current => Measurand::Current,
            Self::Suction(_) => Measurand::Pressure,
            Self::Flow(_) => Measurand::Flow,
            Self::SmokeTime { .. } | Self::FaultTime(_) => Measurand::Time,
        }
    }
    /// What, and in which unit.
    pub const fn words(self) -> (&'static str, &'static str) {
        match self {
            Self::Voltage => ("voltage at the unit's supply terminals", "V"),
            Self::Current => ("current that the unit draws", "A"),
            Self::Suction(_) => ("suction at the hole", "Pa"),
            Self::Flow(_) => ("flow of the pipe", "L/min"),
            Self::SmokeTime { .. } => ("time until the smoke shows", "s"),
            Self::FaultTime(_) => ("time until the flow fault shows", "s"),
        }
    }
}

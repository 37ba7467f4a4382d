//! What a unit can be asked, each request with the kind of reply that belongs to it: one table.
//!
//! Whoever asks uses one of the structs made here and gets its own reply or a [`Trouble`](crate::Trouble). A driver takes a
//! [`Request`] and ends it with a [`Reply`]. Not here: what a unit tells unasked ([`crate::driver`]).
use crate::{
    settings::Settings,
    vocabulary::{Abilities, Baseline, Identity, Reading, SettingsState as State, UnitEvent, UnitTime},
};
use alloc::{string::String, vec::Vec};
use core::time::Duration;
use plumeline_base::Instant;

/// Something that a unit can be asked.
pub trait Ask: Clone {
    /// What it is told.
    type Reply;
    /// The request as a driver takes it.
    fn request(self) -> Request;
    /// What was told; `None` if the reply is of another kind.
    fn told(reply: Reply) -> Option<Self::Reply>;
}

/// What ends a request well.
#[derive(Clone, Debug, PartialEq)]
pub enum Reply {
    /// Who it is and what it can do.
    Identity((Identity, Abilities)),
    /// The four instants of an exchange of clocks.
    Clock(ClockExchange),
    /// A set of readings.
    Reading(Reading),
    /// Its settings, whole.
    Settings(Settings),
    /// The unit holds exactly the settings that were sent, under this revision; `None`: a person entered them, which only a
    /// look at each shows.
    Written(Option<u32>),
    /// Which settings are in force.
    SettingsState(State),
    /// Its date and time.
    Time(UnitTime),
    /// The airflow baseline that it holds.
    Baseline(Baseline),
    /// Its event log.
    Events(Vec<UnitEvent>),
    /// It is done.
    Done(()),
}

/// The four instants of an exchange of clocks.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct ClockExchange {
    /// Request sent, log time.
    pub sent: Instant,
    /// Request received, device time, us.
    pub device_received_us: u64,
    /// Reply sent, device time, us.
    pub device_sent_us: u64,
    /// Reply received, log time.
    pub received: Instant,
}

/// What a person is asked to look at on a unit's display.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Look {
    /// The flow of each inlet.
    Flows,
    /// The smoke.
    Smoke,
    /// What stands: faults and the inlets that they name, alarm levels, outputs, conditions.
    State,
}

macro_rules! ask {
    ($(#[$meta:meta])* $name:ident) => {
        $(#[$meta])*
        #[derive(Clone, Copy, Debug)]
        pub struct $name;
    };
    ($(#[$meta:meta])* $name:ident { $($(#[$about:meta])* $field:ident: $type:ty),* }) => {
        $(#[$meta])*
        #[derive(Clone, Debug)]
        pub struct $name { $($(#[$about])* pub $field: $type,)* }
    };
}
macro_rules! asks {
    ($($(#[$meta:meta])* $name:ident $({ $($(#[$about:meta])* $field:ident: $type:ty),* })?, $words:literal => $kind:ident($reply:ty);)*) => {
        /// What a unit can be asked, as a driver takes it.
        #[derive(Clone, Debug, PartialEq)]
        pub enum Request { $($(#[$meta])* $name $({ $($(#[$about])* $field: $type,)* })?,)* }
        impl Request {
            /// The request in plain words, for messages.
            pub const fn words(&self) -> &'static str {
                match self { $(Self::$name { .. } => $words,)* }
            }
        }
        $(
            ask!($(#[$meta])* $name $({ $($(#[$about])* $field: $type),* })?);
            impl Ask for $name {
                type Reply = $reply;
                fn request(self) -> Request {
                    let $name $({ $($field),* })? = self;
                    Request::$name $({ $($field),* })?
                }
                fn told(reply: Reply) -> Option<$reply> {
                    match reply {
                        Reply::$kind(told) => Some(told),
                        _ => None,
                    }
                }
            }
        )*
    };
}
asks! {
    /// Say who you are and what you can do.
    Identify, "identify the unit" => Identity((Identity, Abilities));
    /// Exchange clocks once.
    Clock, "compare clocks" => Clock(ClockExchange);
    /// Stream readings at this many a second.
    StartReadings {
        /// Readings per second.
        hz: u8
    }, "stream readings" => Done(());
    /// Stop streaming.
    StopReadings, "stop the readings" => Done(());
    /// Tell one set of readings. A unit that streams tells all that it has, whatever is looked at.
    ReadOnce {
        /// What is to be read, where each reading is asked for by itself.
        look: Look
    }, "read once" => Reading(Reading);
    /// Tell the settings, whole.
    ReadSettings, "read the settings" => Settings(Settings);
    /// Take these settings, whole or not at all.
    WriteSettings {
        /// All of them.
        settings: Settings
    }, "write the settings" => Written(Option<u32>);
    /// Tell which settings are in force.
    SettingsState, "say which settings are in force" => SettingsState(State);
    /// Tell the unit's date and time.
    TellTime, "tell its date and time" => Time(UnitTime);
    /// Set the unit's date and time.
    SetTime {
        /// Milliseconds since 1970-01-01 UTC.
        utc_ms: u64
    }, "set its date and time" => Time(UnitTime);
    /// Take the airflow baseline and tell it.
    TakeBaseline, "take the airflow baseline" => Baseline(Baseline);
    /// Tell the airflow baseline held.
    ReadBaseline, "read the airflow baseline" => Baseline(Baseline);
    /// Inhibit the outputs; without renewal the inhibit lapses after the lease.
    Inhibit {
        /// How long it holds without renewal.
        lease: Duration
    }, "inhibit the outputs" => Done(());
    /// Renew the inhibit.
    RenewInhibit, "renew the inhibit" => Done(());
    /// Give the outputs back.
    ReleaseInhibit, "give the outputs back" => Done(());
    /// Drive an output for test, or stop driving it.
    Drive {
        /// Output number, from 1.
        output: u8,
        /// On or off.
        on: bool
    }, "drive an output" => Done(());
    /// Reset latched alarms.
    ResetLatches, "reset the latched alarms" => Done(());
    /// Tell the event log from this position on.
    ReadEvents {
        /// First position wanted.
        from: u32
    }, "read the event log" => Events(Vec<UnitEvent>);
    /// Write a note into the event log.
    WriteNote {
        /// Its words.
        text: String
    }, "write a note into the event log" => Done(());
    /// Restart.
    Restart, "restart the unit" => Done(());
}

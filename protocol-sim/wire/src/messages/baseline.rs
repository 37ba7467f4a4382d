//! The airflow baseline: taken by the device over some time, then read back.
use crate::{PerInlet, Sample};

message! {
    /// Where taking the baseline stands.
    BaselineStatus<'a> {
        /// Where it stands.
        0 => state: BaselineState,
        /// Progress while it is being taken, per cent, 0 to 100.
        1 => progress: u8,
        /// Number of the baseline in force, if there is one.
        2 => held: Option<u32>,
        /// Why the last attempt failed, in plain words.
        3 => reason: Option<&'a str>,
    }
}
choice! {
    /// Where taking the baseline stands.
    BaselineState {
        /// Nothing was asked for since boot, or what was taken is no longer in force.
        Idle = 0,
        /// It is being taken.
        Taking = 1,
        /// The last one asked for was taken and is in force.
        Taken = 2,
        /// The last one asked for failed; what was in force before still is.
        Failed = 3,
    }
}
message! {
    /// The baseline in force.
    Baseline {
        /// Its number: another for every baseline taken.
        0 => id: u32,
        /// Mean flow of each inlet, nL/s.
        1 => flow_nl_s: PerInlet,
        /// Standard uncertainty of each mean, nL/s, as the device knows it: its scatter.
        2 => uncertainty_nl_s: PerInlet,
        /// Temperature of the air in the unit meanwhile, mK.
        3 => temperature_mk: Sample,
        /// Fan speed meanwhile, thousandths of a revolution per second.
        4 => fan_mrev_s: Sample,
        /// How long readings were averaged, ms.
        5 => duration_ms: u32,
        /// Boot id of the run of the device in which it was taken.
        6 => boot_id: u64,
        /// When it was finished, microseconds since that boot.
        7 => taken_us: u64,
        /// Settings revision in force meanwhile.
        8 => settings_revision: u64,
    }
}

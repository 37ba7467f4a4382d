//! Outputs: inhibited on a lease, driven for test; latches.

message! {
    /// Inhibits all outputs for a time.
    Inhibit {
        /// How long, s, 1 to [`crate::Capabilities::lease_max_s`].
        0 => seconds: u16,
    }
}
message! {
    /// Renews a lease from now.
    InhibitRenew {
        /// The lease.
        0 => lease: u32,
        /// How long from now, s, 1 to [`crate::Capabilities::lease_max_s`].
        1 => seconds: u16,
    }
}
message! {
    /// Gives the outputs back. Refused with [`crate::RefusalCode::NotClear`] while obscuration is at or over the lowest
    /// level, a latch is set or an output is driven.
    InhibitRelease {
        /// The lease.
        0 => lease: u32,
    }
}
message! {
    /// The outputs are inhibited.
    Lease {
        /// Number of the lease.
        0 => lease: u32,
        /// How long from now, s.
        1 => seconds: u16,
    }
}
message! {
    /// Where the outputs stand.
    OutputsStatus {
        /// Whether they are inhibited, and how.
        0 => inhibit: InhibitState,
        /// The lease, while one runs or has lapsed and is not cleared yet.
        1 => lease: Option<u32>,
        /// What is left of it, ms; 0 after its lapse.
        2 => left_ms: u32,
        /// Outputs driven for test; bit 0 is output 1.
        3 => driven: u32,
        /// Outputs operated, for whatever reason; bit 0 is output 1.
        4 => operated: u32,
    }
}
choice! {
    /// Whether outputs are inhibited.
    InhibitState {
        /// They follow the device's alarms and faults.
        Free = 0,
        /// A lease runs.
        Leased = 1,
        /// A lease lapsed: the fault is raised, and the outputs stay inhibited until it is clear (no obscuration at or over
        /// the lowest level, no latches), then they are given back without being asked.
        Lapsed = 2,
    }
}
message! {
    /// Drives one output for test, inhibited or not, for a time.
    Drive {
        /// The output, from 1.
        0 => output: u8,
        /// How long, s, 1 to 60; then it goes back by itself.
        1 => seconds: u8,
    }
}
message! {
    /// Stops driving an output. No error when it was not driven.
    Undrive {
        /// The output, from 1.
        0 => output: u8,
    }
}
message! {
    /// What is still latched after a reset: what is still present.
    Latches {
        /// Alarm levels; bit 0 is level 1.
        0 => alarms: u32,
        /// Faults.
        1 => faults: crate::Faults,
    }
}

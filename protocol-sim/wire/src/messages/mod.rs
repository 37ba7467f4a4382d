//! The messages, one struct for each payload, in files by subject. Integer units throughout, named in each field.
//!
//! A number on the wire is an integer of a unit small enough that rounding to it is far below any sensor's noise; so
//! there is no NaN, no infinity and no rounding that differs between processors.
mod baseline;
mod hello;
mod log;
mod outputs;
mod readings;
mod settings;

pub use baseline::*;
pub use hello::*;
pub use log::*;
pub use outputs::*;
pub use readings::*;
pub use settings::*;

message! {
    /// A message that says nothing beyond its operation: an empty map.
    #[derive(Default)]
    Nothing {}
}
message! {
    /// Asks for the device's clock.
    ///
    /// Never repeat one with the same sequence: the repeated answer would carry old stamps. Ask anew.
    ClockRequest {
        /// T1: when the tool sends this, microseconds of its own clock.
        0 => sent_us: u64,
    }
}
message! {
    /// Sets the device's date and time.
    WallClockSet {
        /// Milliseconds since 1970-01-01 UTC.
        0 => utc_ms: u64,
    }
}
message! {
    /// The device's date and time, kept over restarts.
    WallClock {
        /// Milliseconds since 1970-01-01 UTC when this is sent; left out where it was never set.
        0 => utc_ms: Option<u64>,
        /// How far its local time is ahead of UTC by its settings, minutes.
        1 => zone_min: i64,
    }
}
message! {
    /// The device's clock. With the instant of its arrival (T4) it makes a [`crate::clock::Exchange`].
    ClockReply {
        /// T1, as in the request.
        0 => sent_us: u64,
        /// T2: when the device received the request, microseconds since its boot.
        1 => received_us: u64,
        /// T3: when the device sends this, microseconds since its boot.
        2 => replied_us: u64,
    }
}

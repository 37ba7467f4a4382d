//! Readings: a stream at a chosen rate.
use crate::{List, MAX_INLETS, Sample};

/// One sample per inlet, inlet 1 first.
pub type PerInlet = List<Sample, MAX_INLETS>;

message! {
    /// Starts the stream, or changes its rate. It ends with [`crate::Request::ReadingsStop`], a new hello or a restart.
    ///
    /// While it runs each new entry of the event log is reported too.
    ReadingsStart {
        /// Readings per second, 1 to [`crate::Capabilities::rate_max_hz`].
        0 => rate_hz: u8,
    }
}
message! {
    /// The stream runs.
    ReadingsStarted {
        /// Readings per second that the device will send.
        0 => rate_hz: u8,
    }
}
message! {
    /// One reading. Bit 0 of a bit field is level, output, input or inlet number 1.
    Reading {
        /// When it was taken, microseconds since the device's boot.
        0 => taken_us: u64,
        /// Readings that the device had to leave out since the stream started, cumulative.
        1 => dropped: u32,
        /// Flow of each inlet, nL/s (see [`crate::Capabilities::flow_reference`]).
        2 => flow_nl_s: PerInlet,
        /// Extinction, 1e-9/m: one figure, or one for each inlet. Noise may make it negative.
        3 => obscuration_n_m: PerInlet,
        /// Fan speed, thousandths of a revolution per second.
        4 => fan_mrev_s: Sample,
        /// Temperature of the air in the unit, mK.
        5 => temperature_mk: Sample,
        /// Supply voltage, mV.
        6 => supply_mv: Sample,
        /// Supply current, mA.
        7 => supply_ma: Sample,
        /// Inputs that are on.
        8 => inputs: u32,
        /// Outputs that are operated.
        9 => outputs: u32,
        /// Faults that are present.
        10 => faults: Faults,
        /// Faults that are latched, present or not.
        11 => faults_latched: Faults,
        /// Inlets whose flow is faulty: below their band.
        12 => flow_low: u8,
        /// Inlets whose flow is faulty: above their band.
        13 => flow_high: u8,
        /// Alarm levels reached now.
        14 => alarms: u32,
        /// Alarm levels latched, reached now or not.
        15 => alarms_latched: u32,
        /// What the device is doing.
        16 => conditions: Conditions,
    }
}
bits! {
    /// Faults of a device.
    Faults {
        /// The flow of at least one inlet is outside its band.
        FLOW = 0,
        /// The fan does not hold its speed.
        FAN = 1,
        /// The obscuration sensor.
        SENSOR = 2,
        /// The supply voltage is outside its range.
        SUPPLY = 3,
        /// Mains is missing.
        MAINS = 4,
        /// The battery is missing or low.
        BATTERY = 5,
        /// The filter is due.
        FILTER = 6,
        /// The cover is open.
        COVER = 7,
        /// An inhibit lease was not renewed and lapsed.
        INHIBIT_LAPSED = 8,
        /// There is no baseline, or it no longer holds.
        BASELINE = 9,
        /// The settings store.
        SETTINGS = 10,
        /// A fault that has no bit of its own; the event log says what.
        OTHER = 31,
    }
}
bits! {
    /// What a device is doing.
    Conditions {
        /// Still starting.
        STARTING = 0,
        /// The fan is not at its speed yet.
        SPINNING_UP = 1,
        /// The outputs are inhibited.
        INHIBITED = 2,
        /// An output is driven for test.
        DRIVEN = 3,
        /// Alarm thresholds are being learnt.
        LEARNING = 4,
        /// A baseline is being taken.
        TAKING_BASELINE = 5,
    }
}

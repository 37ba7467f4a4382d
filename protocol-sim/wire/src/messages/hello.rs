//! Hello: who is there, what it can do, and a new conversation.

message! {
    /// Asks who is there and opens a new conversation. Sent in a frame of conversation 0.
    HelloRequest {
        /// Lowest protocol version that the tool speaks.
        0 => version_min: u8,
        /// Highest protocol version that the tool speaks.
        1 => version_max: u8,
        /// Chosen by the tool, new for each attempt to open a conversation and kept over repeats of it.
        2 => token: u32,
    }
}
message! {
    /// Who is there. The frame's conversation is the fresh nonce that all further requests carry.
    HelloReply<'a> {
        /// The version to speak from now on: the highest that both speak.
        0 => version: u8,
        /// The token of the request.
        1 => token: u32,
        /// Maker of the device.
        2 => maker: &'a str,
        /// Model, as the maker names it.
        3 => model: &'a str,
        /// Serial number of this unit.
        4 => serial: &'a str,
        /// Firmware version.
        5 => firmware: &'a str,
        /// Different after every start of the device.
        6 => boot_id: u64,
        /// Time since the start, microseconds; the device's clock.
        7 => uptime_us: u64,
        /// The device is still starting: readings may be absent, and what needs a running unit is refused.
        8 => starting: bool,
        /// What the device can do.
        9 => capabilities: Capabilities,
    }
}
message! {
    /// What a device has and can do.
    Capabilities {
        /// Inlets, 1 to [`crate::MAX_INLETS`].
        0 => inlets: u8,
        /// Alarm levels, 1 to 32; level 1 is the lowest.
        1 => alarm_levels: u8,
        /// Outputs, 0 to 32.
        2 => outputs: u8,
        /// Inputs, 0 to 32.
        3 => inputs: u8,
        /// The sensors that it has.
        4 => sensors: Sensors,
        /// Obscuration is measured for each inlet; otherwise one figure for the mixture of all.
        5 => obscuration_per_inlet: bool,
        /// Flow is at these reference conditions; left out when it is actual volume at the unit.
        6 => flow_reference: Option<FlowReference>,
        /// Upper end of the flow range of an inlet, nL/s.
        7 => flow_max_nl_s: u64,
        /// Upper end of the obscuration range, extinction in 1e-9/m.
        8 => obscuration_max_n_m: u64,
        /// Highest rate of readings, Hz, 1 to 20.
        9 => rate_max_hz: u8,
        /// Longest settings image that the device takes, bytes.
        10 => settings_max: u32,
        /// Longest chunk of a settings image that it takes or gives, bytes.
        11 => chunk_max: u16,
        /// Longest inhibit lease, s.
        12 => lease_max_s: u16,
        /// It keeps date and time, and they can be set; left out: it does not.
        13 => wall_clock: Option<bool>,
        /// It is a simulation. A real device leaves this out, always.
        14 => simulated: Option<bool>,
        /// It takes notes into its event log; left out: it does not.
        15 => notes: Option<bool>,
    }
}
message! {
    /// Conditions that a volumetric flow is referred to.
    FlowReference {
        /// Temperature, mK.
        0 => temperature_mk: u32,
        /// Absolute pressure, Pa.
        1 => pressure_pa: u32,
    }
}
bits! {
    /// Sensors that a device can have.
    Sensors {
        /// Flow of each inlet.
        FLOW = 0,
        /// Obscuration.
        OBSCURATION = 1,
        /// Speed of the fan.
        FAN_SPEED = 2,
        /// Temperature of the air in the unit.
        TEMPERATURE = 3,
        /// Supply voltage.
        SUPPLY_VOLTAGE = 4,
        /// Supply current.
        SUPPLY_CURRENT = 5,
    }
}

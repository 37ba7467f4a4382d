//! Between the wire's integers and the neutral words.
use crate::vocabulary::{
    Abilities, Baseline, Conditions, EventKind, Faults, FlowBasis, Identity, ObscurationSensing, Reading, ReadingsBy,
    UnitEvent,
};
use alloc::{
    format,
    string::{String, ToString},
    vec::Vec,
};
use plumeline_base::Instant;
use plumewire::{EventCode, Faults as Wire, HelloReply, LogEntry, PerInlet, Sample, Sensors};

/// 0 degC in mK.
const MK_AT_0_C: i64 = 273_150;

/// Who the unit is and what it can do; `Err` says what can't be right.
pub(super) fn unit(hello: &HelloReply<'_>) -> Result<(Identity, Abilities), String> {
    let c = &hello.capabilities;
    let bits = |n: u8| n <= 32;
    if !(1..=plumewire::MAX_INLETS as u8).contains(&c.inlets) || !bits(c.alarm_levels) || !bits(c.outputs) {
        return Err(format!("{} inlets, {} alarm levels, {} outputs", c.inlets, c.alarm_levels, c.outputs));
    }
    if !(1..=20).contains(&c.rate_max_hz) || c.chunk_max == 0 || c.lease_max_s == 0 {
        return Err("a rate, chunk or lease of nothing".to_string());
    }
    if hello.version != plumewire::VERSION {
        return Err(format!("protocol version {} was not offered", hello.version));
    }
    let identity = Identity {
        maker: hello.maker.to_string(),
        model: hello.model.to_string(),
        serial: hello.serial.to_string(),
        firmware: hello.firmware.to_string(),
        boot_id: Some(hello.boot_id),
    };
    let flow_basis = match c.flow_reference {
        None => FlowBasis::Actual,
        Some(r) => FlowBasis::Reference {
            temperature_mc: i32::try_from(i64::from(r.temperature_mk) - MK_AT_0_C)
                .map_err(|_| "a reference temperature out of range".to_string())?,
            pressure_pa: r.pressure_pa,
        },
    };
    let obscuration = match (c.sensors.has(Sensors::OBSCURATION), c.obscuration_per_inlet) {
        (false, _) => ObscurationSensing::None,
        (true, false) => ObscurationSensing::One,
        (true, true) => ObscurationSensing::PerInlet,
    };
    let abilities = Abilities {
        inlets: c.inlets,
        alarm_levels: c.alarm_levels,
        outputs: c.outputs,
        inputs: c.inputs,
        readings: ReadingsBy::Stream { hz: (1, c.rate_max_hz) },
        flow_per_inlet: c.sensors.has(Sensors::FLOW),
        flow_basis,
        flow_step_nl_s: 0,
        flow_max_nl_s: u32::try_from(c.flow_max_nl_s).unwrap_or(u32::MAX),
        extinction_max_n_m: c.obscuration_max_n_m,
        extinction_step_n_m: 0,
        extinction_averaged_ms: 0,
        obscuration,
        clock: true,
        wall_clock: c.wall_clock == Some(true),
        simulated: c.simulated == Some(true),
        read_settings: true,
        write_settings: true,
        baseline: true,
        inhibit: true,
        drive_outputs: c.outputs > 0,
        reset_latches: true,
        event_log: true,
        notes: c.notes == Some(true),
        restart: true,
    };
    Ok((identity, abilities))
}

/// A sample in SI: divided, because one division rounds once.
fn scaled(sample: Sample, divisor: f64) -> Option<f64> {
    sample.value().map(|v| v as f64 / divisor)
}
fn all(samples: &PerInlet, divisor: f64) -> Vec<Option<f64>> {
    samples.iter().map(|s| scaled(*s, divisor)).collect()
}
/// nL/s to m3/s.
const NL_PER_M3: f64 = 1e12;
/// 1e-9/m to 1/m.
const N_PER_ONE: f64 = 1e9;

/// A reading; `None` if it does not fit what the unit said that it has.
pub(super) fn reading(now: Instant, r: &plumewire::Reading, missed: u32, abilities: &Abilities) -> Option<Reading> {
    let chambers = match abilities.obscuration {
        ObscurationSensing::PerInlet => usize::from(abilities.inlets),
        ObscurationSensing::One | ObscurationSensing::None => 1,
    };
    if r.flow_nl_s.len() != usize::from(abilities.inlets) || r.obscuration_n_m.len() != chambers {
        return None;
    }
    Some(Reading {
        received: now,
        device_us: Some(r.taken_us),
        missed,
        flow_m3_s: all(&r.flow_nl_s, NL_PER_M3),
        flow_all_m3_s: None,
        extinction_per_m: all(&r.obscuration_n_m, N_PER_ONE),
        fan_rpm: r.fan_mrev_s.value().map(|v| v as f64 * 60.0 / 1e3),
        temperature_c: r.temperature_mk.value().map(|t| t.saturating_sub(MK_AT_0_C) as f64 / 1e3),
        supply_v: scaled(r.supply_mv, 1e3),
        supply_a: scaled(r.supply_ma, 1e3),
        inputs: Some(r.inputs),
        faults: Some(faults(r.faults)),
        faults_latched: Some(faults(r.faults_latched)),
        flow_low: Some(r.flow_low.into()),
        flow_high: Some(r.flow_high.into()),
        levels: Some(r.alarms),
        latched: Some(r.alarms_latched),
        outputs: Some(r.outputs),
        conditions: Some(conditions(r.conditions)),
    })
}

/// Faults that have a neutral word of their own; any other is [`Faults::OTHER`].
const KNOWN: [(Wire, Faults); 11] = [
    (Wire::FLOW, Faults::FLOW),
    (Wire::FAN, Faults::FAN),
    (Wire::SENSOR, Faults::SENSOR),
    (Wire::SUPPLY, Faults::SUPPLY),
    (Wire::MAINS, Faults::SUPPLY),
    (Wire::BATTERY, Faults::BATTERY),
    (Wire::SETTINGS, Faults::SETTINGS),
    (Wire::INHIBIT_LAPSED, Faults::INHIBIT_LAPSED),
    (Wire::BASELINE, Faults::NO_BASELINE),
    (Wire::COVER, Faults::COVER),
    (Wire::FILTER, Faults::FILTER),
];
fn faults(wire: Wire) -> Faults {
    let (mut known, mut rest) = (0, wire.0);
    for (bit, word) in KNOWN {
        if wire.has(bit) {
            known |= word.0;
            rest &= !bit.0;
        }
    }
    Faults(if rest == 0 { known } else { known | Faults::OTHER.0 })
}

/// States that have a neutral word of their own; any other is [`Conditions::OTHER`].
const STATES: [(plumewire::Conditions, Conditions); 6] = [
    (plumewire::Conditions::STARTING, Conditions::STARTING),
    (plumewire::Conditions::SPINNING_UP, Conditions::FAN_NOT_AT_SPEED),
    (plumewire::Conditions::INHIBITED, Conditions::INHIBITED),
    (plumewire::Conditions::DRIVEN, Conditions::DRIVEN),
    (plumewire::Conditions::LEARNING, Conditions::LEARNING),
    (plumewire::Conditions::TAKING_BASELINE, Conditions::TAKING_BASELINE),
];
fn conditions(wire: plumewire::Conditions) -> Conditions {
    let known = STATES.iter().filter(|(bit, _)| wire.has(*bit)).fold(0, |all, (_, word)| all | word.0);
    let rest = STATES.iter().fold(wire.0, |rest, (bit, _)| rest & !bit.0);
    Conditions(if rest == 0 { known } else { known | Conditions::OTHER.0 })
}

/// A baseline.
pub(super) fn baseline(b: &plumewire::Baseline) -> Baseline {
    Baseline {
        flow_m3_s: all(&b.flow_nl_s, NL_PER_M3),
        u_m3_s: all(&b.uncertainty_nl_s, NL_PER_M3),
        duration_ms: b.duration_ms,
        fan_rpm: b.fan_mrev_s.value().map(|v| v as f64 * 60.0 / 1e3),
        settings_revision: Some(b.settings_revision),
        device_us: Some(b.taken_us),
        boot_id: Some(b.boot_id),
        number: Some(b.id),
    }
}

/// A line of the event log; `None` if its position is beyond what the neutral words hold.
pub(super) fn event(e: &LogEntry<'_>) -> Option<UnitEvent> {
    let position = u32::try_from(e.position).ok()?;
    let known = [
        (EventCode::Started, EventKind::Started),
        (EventCode::SettingsChanged, EventKind::SettingsChanged),
        (EventCode::BaselineTaken, EventKind::BaselineTaken),
        (EventCode::Alarm, EventKind::LevelReached),
        (EventCode::Noted, EventKind::Noted),
    ];
    let kind = known.into_iter().find(|(code, _)| *code as u16 == e.code).map_or(EventKind::Other, |(_, kind)| kind);
    Some(UnitEvent { position, device_us: e.at_us, code: e.code, kind, text: e.text.to_string() })
}

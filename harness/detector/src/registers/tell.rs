//! What was read, in the neutral words.
use super::{
    map::{Command, Flag, Map, Number, Order, Quantity, Who},
    task::nonsense,
    value::Image,
};
use crate::{
    driver::{RefusalKind, Trouble},
    vocabulary::{
        Abilities, Baseline, Conditions, Faults, Identity, ObscurationSensing, Reading, ReadingsBy, UnitTime, bit,
    },
};
use alloc::{format, string::String, vec::Vec};
use core::time::Duration;
use plumeline_base::Instant;

/// Half-way between two instants.
pub(super) fn middle(from: Instant, to: Instant) -> Instant {
    from + to.since(from) / 2
}

/// A reading of the moment `at`.
///
/// # Errors
/// A value that can't be right, by name.
pub(super) fn reading(map: &Map, inlets: u8, image: &Image, at: Instant) -> Result<Reading, String> {
    let number = |q| match map.number(q) {
        Some(n) => image.number(q, n, map.order),
        None => Ok(None),
    };
    let flow_m3_s = (1..=inlets).map(|n| number(Quantity::Flow(n))).collect::<Result<_, _>>()?;
    let chambers = if map.number(Quantity::Smoke(1)).is_some() { 1..=inlets } else { 0..=0 };
    let extinction_per_m = chambers.map(|n| number(Quantity::Smoke(n))).collect::<Result<_, _>>()?;
    Ok(Reading {
        received: at,
        flow_m3_s,
        extinction_per_m,
        fan_rpm: number(Quantity::Fan)?,
        temperature_c: number(Quantity::Temperature)?,
        supply_v: number(Quantity::Voltage)?,
        supply_a: number(Quantity::Current)?,
        inputs: bits(map, image, |f| if let Flag::Input(n) = f { Some(bit(n)) } else { None }),
        outputs: bits(map, image, |f| if let Flag::Output(n) = f { Some(bit(n)) } else { None }),
        levels: bits(map, image, |f| if let Flag::Level(n) = f { Some(bit(n)) } else { None }),
        // Levels of which no latch is told: only what is active is known to stand.
        latched: bits(map, image, |f| if let Flag::Latched(n) = f { Some(bit(n)) } else { None }),
        flow_low: bits(map, image, |f| if let Flag::Low(n) = f { Some(bit(n)) } else { None }),
        flow_high: bits(map, image, |f| if let Flag::High(n) = f { Some(bit(n)) } else { None }),
        // Where these have no bit of their own, that none stands would say nothing of them.
        faults: bits(map, image, |f| if let Flag::Fault(x) = f { Some(x.0) } else { None })
            .filter(|_| [Faults::FLOW, Faults::SUPPLY].iter().all(|f| map.flag(Flag::Fault(*f)).is_some()))
            .map(Faults),
        faults_latched: bits(map, image, |f| if let Flag::FaultLatched(x) = f { Some(x.0) } else { None }).map(Faults),
        conditions: bits(map, image, |f| if let Flag::Condition(x) = f { Some(x.0) } else { None }).map(Conditions),
        ..Reading::default()
    })
}
/// The bits of one kind, once all of it was read; `None` where the map has none.
fn bits(map: &Map, image: &Image, of: impl Fn(Flag) -> Option<u32>) -> Option<u32> {
    let mut all = None;
    for (flag, place) in &map.flags {
        let Some(mask) = of(*flag) else { continue };
        let Some(on) = image.bit(*place) else { continue };
        all = Some(all.unwrap_or(0) | if on { mask } else { 0 });
    }
    all
}

/// What tells one start from another.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Boot {
    id: Option<u64>,
    began: Option<Instant>,
}
/// A clock that counts whole seconds, asked over a slow line, is off by less.
const SAME_START: Duration = Duration::from_secs(4);
impl Boot {
    /// The id of the start that this was read in.
    pub(super) fn see(&mut self, map: &Map, image: &Image, at: Instant) -> Result<Option<u64>, String> {
        let number = |q| map.number(q).map_or(Ok(None), |n| image.number(q, n, map.order));
        if let Some(starts) = number(Quantity::Starts)? {
            self.id = Some(starts as u64);
        } else if let Some(up) = number(Quantity::Uptime)? {
            let up = Duration::from_secs_f64(up);
            // Before the log began counts as its beginning: what comes later differs by the difference.
            let began = Instant::from_micros(at.as_micros().saturating_sub(up.as_micros() as u64));
            let slack = SAME_START + up / 1000;
            let same = self.began.is_some_and(|was| began.since(was) <= slack);
            if !same {
                self.id = Some(self.id.unwrap_or(0) + 1);
                self.began = Some(began);
            }
        }
        Ok(self.id)
    }
}

/// Who the unit is and what it can do.
pub(super) fn unit(map: &Map, image: &Image, boot_id: Option<u64>) -> Result<(Identity, Abilities), Trouble> {
    let text = |who: Who, or: &str| match map.texts.iter().find(|(w, _)| *w == who) {
        Some((_, place)) => match image.text(*place, map.order) {
            Ok(text) => Ok(text),
            Err(why) => Err(nonsense(format!("its {who:?}: {why}"))),
        },
        None => Ok(or.into()),
    };
    let identity = Identity {
        maker: text(Who::Maker, &map.maker)?,
        model: text(Who::Model, &map.model)?,
        serial: text(Who::Serial, "")?,
        firmware: text(Who::Firmware, "")?,
        boot_id,
    };
    let inlets = match map.number(Quantity::Inlets) {
        Some(n) => image.number(Quantity::Inlets, n, map.order).map_err(nonsense)?.map_or(0, |n| n as u8),
        None => map.inlets(),
    };
    let reading = reading(map, inlets.min(1), image, Instant::START).map_err(nonsense)?;
    for what in [Quantity::Flow(1), Quantity::Temperature, Quantity::Voltage, Quantity::Fan] {
        if map.number(what).is_some_and(|n| image.is_tiny(what, n, map.order)) {
            return Err(nonsense(format!("{what:?} is all but nothing")));
        }
    }
    if reading.conditions.is_some_and(|c| c.has(Conditions::STARTING)) {
        return Err(Trouble::Refused { kind: RefusalKind::StillStarting, code: 0, reason: "it still starts".into() });
    }
    Ok((identity, abilities(map, inlets)))
}

/// What a unit can do follows from its map alone.
pub fn abilities(map: &Map, inlets: u8) -> Abilities {
    let has = |c| map.command(c).is_some();
    let (alarm_levels, outputs, inputs) = map.has;
    let hz = u8::try_from(1000 / map.every.as_millis().clamp(50, 1000)).unwrap_or(1);
    let obscuration = match (map.number(Quantity::Smoke(0)), map.number(Quantity::Smoke(1))) {
        (_, Some(_)) => ObscurationSensing::PerInlet,
        (Some(_), None) => ObscurationSensing::One,
        (None, None) => ObscurationSensing::None,
    };
    let step = map.number(Quantity::Flow(1)).map_or(0.0, step_m3_s);
    Abilities {
        inlets,
        alarm_levels,
        outputs,
        inputs,
        readings: if map.numbers.is_empty() { ReadingsBy::None } else { ReadingsBy::Stream { hz: (1, hz) } },
        flow_per_inlet: map.inlets() > 0,
        flow_basis: map.basis,
        flow_step_nl_s: (step * 1e12) as u32,
        flow_max_nl_s: 0,
        extinction_max_n_m: 0,
        extinction_step_n_m: 0,
        obscuration,
        clock: false,
        simulated: false,
        wall_clock: map.number(Quantity::Clock).is_some_and(|n| n.place.table.is_writable()),
        read_settings: !map.settings.is_empty(),
        write_settings: map.settable,
        baseline: map.tells_baseline(),
        inhibit: has(Command::Inhibit),
        drive_outputs: (1..=outputs).any(|n| has(Command::Drive(n))),
        reset_latches: has(Command::Reset),
        event_log: false,
        restart: has(Command::Restart) && map.tells_starts(),
    }
}
/// What one count of a whole number is.
fn step_m3_s(n: &Number) -> f64 {
    use super::map::{Form, Si};
    match (n.place.form, n.si) {
        (Form::F32 | Form::F64, _) | (_, Si::Obscuration(_)) => 0.0,
        (_, Si::Linear { times, .. }) => libm::fabs(n.scale * times),
    }
}

/// The baseline that the unit holds.
pub(super) fn baseline(map: &Map, inlets: u8, image: &Image, boot_id: Option<u64>) -> Result<Baseline, Trouble> {
    let number = |q| map.number(q).map_or(Ok(None), |n| image.number(q, n, map.order)).map_err(nonsense);
    let number_of = number(Quantity::BaselineNumber)?.map(|n| n as u32);
    if number_of == Some(0) {
        let reason = "there is no baseline that holds".into();
        return Err(Trouble::Refused { kind: RefusalKind::Other, code: 0, reason });
    }
    let flow_m3_s: Vec<Option<f64>> = (1..=inlets).map(|n| number(Quantity::Baseline(n))).collect::<Result<_, _>>()?;
    Ok(Baseline {
        u_m3_s: flow_m3_s.iter().map(|_| None).collect(),
        flow_m3_s,
        duration_ms: 0,
        fan_rpm: None,
        settings_revision: None,
        device_us: None,
        boot_id,
        number: number_of,
    })
}

/// Date and time.
pub(super) fn time(map: &Map, image: &Image) -> Result<UnitTime, String> {
    let number = |q| map.number(q).map_or(Ok(None), |n| image.number(q, n, map.order));
    Ok(UnitTime {
        utc_ms: number(Quantity::Clock)?.map(|s| (s * 1e3) as u64),
        zone_min: number(Quantity::Zone)?.map_or(0, |m| libm::round(m) as i64),
    })
}
/// The registers of a date and time.
pub(super) fn clock(n: &Number, utc_ms: u64, order: Order) -> Option<Vec<u16>> {
    let seconds = libm::round(utc_ms as f64 / 1e3);
    super::value::raw_registers((seconds - n.offset) / n.scale, n.place.form, order)
}

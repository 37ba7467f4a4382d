//! What was read, in the neutral words.
use super::{
    map::{Command, Map, Number, Order},
    task::nonsense,
    value::Image,
};
use crate::{
    driver::{RefusalKind, Trouble},
    told::{Flag, Quantity, Told, Who},
    vocabulary::{Abilities, Baseline, Conditions, Identity, UnitTime},
};
use alloc::{format, string::String, vec::Vec};
use plumeline_base::Instant;

/// Half-way between two instants.
pub(super) fn middle(from: Instant, to: Instant) -> Instant {
    from + to.since(from) / 2
}

/// What was read, by the map of it.
#[derive(Clone, Copy)]
pub(super) struct Read<'a> {
    pub(super) map: &'a Map,
    pub(super) image: &'a Image,
}
impl Told for Read<'_> {
    fn has(&self, what: Quantity) -> bool {
        self.map.number(what).is_some()
    }
    fn number(&self, what: Quantity) -> Result<Option<f64>, String> {
        self.map.number(what).map_or(Ok(None), |n| self.image.number(what, n, self.map.order))
    }
    fn flags(&self) -> impl Iterator<Item = (Flag, Option<bool>)> {
        self.map.flags.iter().map(|(flag, place)| (*flag, self.image.bit(*place)))
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
    let read = Read { map, image };
    let reading = read.reading(inlets.min(1), Instant::START).map_err(nonsense)?;
    for what in [Quantity::Flow(1), Quantity::Temperature, Quantity::Voltage, Quantity::Fan] {
        if map.number(what).is_some_and(|n| image.is_tiny(what, n, map.order)) {
            return Err(nonsense(format!("{what:?} is all but nothing")));
        }
    }
    if reading.conditions.is_some_and(|c| c.has(Conditions::STARTING)) {
        return Err(Trouble::Refused { kind: RefusalKind::StillStarting, code: 0, reason: "it still starts".into() });
    }
    Ok((identity, abilities(&read, inlets)))
}

/// What a unit can do follows from its map alone.
pub(super) fn abilities(read: &Read<'_>, inlets: u8) -> Abilities {
    let map = read.map;
    let has = |c| map.command(c).is_some();
    let step = map.number(Quantity::Flow(1)).map_or(0.0, step_m3_s);
    Abilities {
        flow_per_inlet: map.inlets() > 0,
        flow_basis: map.basis,
        flow_step_nl_s: (step * 1e12) as u32,
        wall_clock: map.number(Quantity::Clock).is_some_and(|n| n.place.table.is_writable()),
        read_settings: !map.settings.is_empty(),
        write_settings: map.settable,
        baseline: map.tells_baseline(),
        inhibit: has(Command::Inhibit),
        drive_outputs: (1..=map.has.1).any(|n| has(Command::Drive(n))),
        reset_latches: has(Command::Reset),
        restart: has(Command::Restart) && map.tells_starts(),
        ..read.abilities(map.has, inlets, map.every)
    }
}
/// What one count of a whole number is.
fn step_m3_s(n: &Number) -> f64 {
    use super::map::Form;
    use crate::told::Si;
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

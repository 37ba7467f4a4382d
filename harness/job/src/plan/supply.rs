//! Outputs and supply: the wiring sheet, and how the battery's capacity is calculated.
//!
//! Not here: the calculation itself (the procedure's).
use super::{
    MAX_ENTRIES,
    check::{CAPACITY, CURRENT, FACTOR, SHARE, STANDBY},
    raw,
};
use crate::{
    error::{Kind, Problem, Source},
    limits,
    written::{Q, choice, whole},
};
use plumeline_procedure::plan::{BatteryRule, Mark, OutputPlan, SupplyPlan, Wire};

const H: f64 = 3600.0;

pub(super) fn outputs(source: &Source<'_>, o: raw::Outputs) -> Result<OutputPlan, Problem> {
    if let Some(first) = o.wire.get(MAX_ENTRIES) {
        let cause = format!("the wiring sheet has more than {MAX_ENTRIES} lines");
        return Err(source.problem(Kind::TooLarge, first.output.span(), cause, "name each output once"));
    }
    let mut wires: Vec<Wire> = Vec::new();
    for w in o.wire {
        let output: u8 = whole(source, &w.output, 1, 32, "an output's number")?;
        if wires.iter().any(|before| before.output == output) {
            let cause = format!("output {output} stands twice on the wiring sheet");
            return Err(source.problem(Kind::Duplicate, w.output.span(), cause, "name each output once"));
        }
        let input = w.input.as_ref().map(|n| whole(source, n, 1, 32, "an input's number")).transpose()?;
        wires.push(Wire { output, function: w.function, panel: w.panel, input });
    }
    Ok(OutputPlan { wires, lapse: o.lapse })
}

pub(super) fn supply(source: &Source<'_>, s: &raw::Supply, notes: &mut Vec<String>) -> Result<SupplyPlan, Problem> {
    let names: Vec<_> = limits::BATTERY.iter().map(|b| (b.name, b)).collect();
    let preset = match &s.calculation {
        Some(name) => choice(source, name, "a calculation of the battery", &names)?,
        None => &limits::BATTERY[0],
    };
    let read =
        |q: &Option<Q>, bounds: &crate::written::Bounds, default: f64| bounds.read_or(source, q.as_ref(), default);
    let own = [&s.standby, &s.alarm, &s.derating, &s.margin].iter().any(|q| q.is_some());
    let rule = BatteryRule {
        standby_h: read(&s.standby, &STANDBY, preset.standby_h * H)? / H,
        alarm_h: read(&s.alarm, &STANDBY, preset.alarm_h * H)? / H,
        derating: read(&s.derating, &FACTOR, preset.derating)?,
        margin: read(&s.margin, &FACTOR, preset.margin)?,
        source: if own { format!("{}; with values of this job", preset.source) } else { preset.source.to_owned() },
        mark: if own { Mark::ThisJob } else { preset.mark },
    };
    if s.battery.is_none() {
        notes.push("supply: no battery is stated, so its capacity stays undecided (supply.battery)".to_owned());
    }
    let current = |q: &Option<Q>| q.as_ref().map(|q| CURRENT.read(source, q)).transpose();
    Ok(SupplyPlan {
        rule,
        fitted_ah: s.battery.as_ref().map(|q| CAPACITY.read(source, q)).transpose()?,
        other_standby_a: current(&s.other_standby)?.unwrap_or(0.0),
        other_alarm_a: current(&s.other_alarm)?.unwrap_or(0.0),
        alarm_a: current(&s.alarm_current)?,
        unit_u: read(&s.unit_uncertainty, &SHARE, 0.02)?,
        meter_u: read(&s.meter_uncertainty, &SHARE, 0.01)?,
    })
}

//! Outputs and supply: the wiring sheet, and how the battery's capacity is calculated.
//!
//! Not here: the calculation itself (the procedure's).
use super::{MAX_ENTRIES, raw};
use crate::{
    error::{Kind, Problem, Source},
    written::{Spanned, choice, whole},
};
use plumeline_procedure::{
    plan::{BatteryRule, Mark, OutputPlan, SupplyPlan, Wire},
    rules::declared::BATTERY,
};

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

/// How the capacity is calculated: by the calculation named, with what the plan states in place of its values.
pub(super) fn supply(
    source: &Source<'_>,
    calculation: Option<&Spanned<String>>,
    s: &mut SupplyPlan,
    notes: &mut Vec<String>,
) -> Result<(), Problem> {
    let names: Vec<_> = BATTERY.iter().map(|b| (b.name, b)).collect();
    let preset = match calculation {
        Some(name) => choice(source, name, "a calculation of the battery", &names)?,
        None => &BATTERY[0],
    };
    let own = [s.standby_s, s.alarm_s, s.derating, s.margin].iter().any(Option::is_some);
    s.rule = BatteryRule {
        standby_h: s.standby_s.unwrap_or(preset.standby_h * H) / H,
        alarm_h: s.alarm_s.unwrap_or(preset.alarm_h * H) / H,
        derating: s.derating.unwrap_or(preset.derating),
        margin: s.margin.unwrap_or(preset.margin),
        source: if own { format!("{}; with values of this job", preset.source) } else { preset.source.to_owned() },
        mark: if own { Mark::ThisJob } else { preset.mark },
    };
    if s.fitted_ah.is_none() {
        notes.push("supply: no battery is stated, so its capacity stays undecided (supply.battery)".to_owned());
    }
    Ok(())
}

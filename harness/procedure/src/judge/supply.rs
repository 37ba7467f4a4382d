//! Whether the loss of each supply is shown, and voltage and battery suffice under load.
use crate::{
    battery,
    facts::{
        Fact, Reason,
        supply::{self as fact, Against},
    },
    instrument::Read,
    job::JobInputs,
    judge::decide,
    mean_flow::coverage_factor,
    outcome::{Figure, Finding, StageKind, Subject},
    plan::Limit,
    prompt::Supply,
};
use alloc::{boxed::Box, format, vec::Vec};
use plumeline_base::{Verdict, input::Answer, quantity::Estimate};
use plumeline_detector::Faults;
use plumeline_measure::decide::Limits;
use plumeline_unit::{Known, view::OutputUse};

/// What is found about the supply.
pub(crate) fn of_unit(fact: Fact) -> Finding {
    Finding::of(StageKind::Supply, Subject::Replacement, fact)
}

/// A figure with its expanded uncertainty at the job's coverage.
pub(crate) fn figure(inputs: &JobInputs, read: &Read, unit: &str) -> Figure {
    let e = &read.estimate;
    Figure { by: read.by.clone(), ..Figure::with(e.value, coverage_factor(inputs) * e.u(), unit) }
}

/// Why removing a supply would show nothing, by the faults of a fresh reading. A unit that streams no readings shows
/// nothing itself: there the panel is looked at.
pub(crate) fn before(supply: Supply, faults: Option<Faults>, streams: bool, limit: &Limit) -> Option<Finding> {
    let fact = match faults {
        _ if !streams => return None,
        Some(faults) if faults.is_clear() => return None,
        Some(_) => fact::fault_stands(supply),
        None => fact::no_reading(supply),
    };
    Some(Finding { limit: Some(limit.clone()), ..of_unit(fact) })
}

/// The outputs that make the load of an alarm. Where none is in use or nobody knows, nothing is measured under that load:
/// a unit of which nothing is operated is at standby.
pub(crate) fn load(in_use: Known<Vec<OutputUse>>) -> Result<Vec<u8>, Box<Finding>> {
    match in_use {
        Ok(used) if used.is_empty() => Err(Box::new(of_unit(fact::no_load()))),
        Ok(used) => Ok(used.iter().map(|o| o.number).collect()),
        Err(why) => Err(Box::new(of_unit(fact::load_unknown(&why, why.remedy())))),
    }
}

/// What was seen while a supply was off, and when it was on again.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Removed {
    /// From the switching off to the unit's fault, s.
    pub(crate) fault_after_s: Option<f64>,
    /// Readings came while it was off.
    pub(crate) readings: bool,
    /// Readings are streamed at all.
    pub(crate) streams: bool,
    /// The unit's fault has gone.
    pub(crate) gone: bool,
    /// The panel showed a fault.
    pub(crate) panel: Answer,
    /// The panel's fault has cleared.
    pub(crate) clear: Answer,
}

/// What the loss of a supply showed, or why it was not removed.
pub(crate) fn removed(supply: Supply, limit: &Limit, seen: Result<&Removed, &str>) -> Finding {
    let mut f = of_unit(match seen {
        Err(why) => fact::not_removed(supply, why),
        Ok(seen) => loss(supply, seen),
    });
    f.measured = seen.ok().and_then(|s| s.fault_after_s).map(|s| Figure::plain(s, "s"));
    f.limit = Some(limit.clone());
    f
}

fn loss(supply: Supply, seen: &Removed) -> Fact {
    match (seen.fault_after_s, seen.gone, &seen.panel, &seen.clear) {
        (Some(_), true, Answer::Yes, Answer::Yes) => fact::loss_shown(supply),
        (None, ..) if !seen.streams => fact::not_seen_here(supply),
        (None, ..) if !seen.readings => fact::readings_stopped(supply),
        (None, ..) => fact::not_at_unit(supply),
        (_, _, no, _) if no.is_no() => fact::not_at_panel(supply, Reason(no)),
        (_, false, ..) => fact::not_cleared(supply),
        (_, _, _, no) if no.is_no() => fact::panel_not_cleared(supply, Reason(no)),
        (_, _, Answer::Yes, told) | (_, _, told, _) => fact::panel_not_told(supply, Reason(told)),
    }
}

/// The voltage under load on one of the supplies.
pub(crate) fn voltage(inputs: &JobInputs, supply: Supply, volts: Option<&Read>) -> Finding {
    let limit = &inputs.plan.limits.supply_voltage;
    let mut f = of_unit(fact::voltage_not_measured(supply));
    f.limit = Some(limit.clone());
    let Some(volts) = volts else { return f };
    f.measured = Some(figure(inputs, volts, "V"));
    match decide(inputs, &volts.estimate, f64::INFINITY, &Limits::at_least(limit.value), None, 1.0) {
        Ok(ruling) => {
            let fact = match ruling.verdict {
                Verdict::Pass => fact::voltage(supply),
                Verdict::Fail => fact::voltage_low(supply),
                Verdict::Undecided => fact::voltage_open(supply),
            };
            ruling.state(&mut f, fact);
        }
        Err(error) => f.state(fact::voltage_not_judged(supply, error, error.remedy())),
    }
    f
}

/// The capacity that the battery must have for these currents at standby and in alarm, Ah.
pub(crate) fn needed(inputs: &JobInputs, standby: Option<&Read>, alarm: Option<&Read>) -> Option<Read> {
    let plan = &inputs.plan.supply;
    let add = |e: &Estimate, a: f64| Estimate { value: e.value + a, ..*e };
    let stated = plan.alarm_a.map(|a| Read { estimate: Estimate::new(a, 0.0, 0.0), by: None });
    let (standby, alarm) = (standby?, stated.as_ref().or(alarm)?);
    let with = |read: &Read, other: f64| add(&read.estimate, other);
    let estimate =
        battery::needed_ah(&plan.rule, &with(standby, plan.other_standby_a), &with(alarm, plan.other_alarm_a));
    let mut by: Vec<&str> = [standby, alarm].into_iter().filter_map(|r| r.by.as_deref()).collect();
    by.dedup();
    Some(Read { estimate, by: (!by.is_empty()).then(|| by.join(" and ")) })
}

/// The capacity that the battery must have against the one fitted.
pub(crate) fn capacity(inputs: &JobInputs, needed: Option<&Read>, against: Against) -> Finding {
    let plan = &inputs.plan.supply;
    let (Some(needed), Some(fitted)) = (needed, plan.fitted_ah) else {
        let mut f = of_unit(match needed {
            Some(_) => fact::battery_not_stated(against),
            None => fact::current_not_measured(against),
        });
        f.measured = needed.map(|e| figure(inputs, e, "Ah"));
        f.limit = plan.fitted_ah.map(|fitted| fitted_limit(inputs, fitted));
        return f;
    };
    let mut f = of_unit(fact::battery(fitted, against));
    f.measured = Some(figure(inputs, needed, "Ah"));
    f.limit = Some(fitted_limit(inputs, fitted));
    match decide(inputs, &needed.estimate, f64::INFINITY, &Limits::at_most(fitted), None, 1.0) {
        Ok(ruling) => {
            let fact = match ruling.verdict {
                Verdict::Pass => fact::battery(fitted, against),
                Verdict::Fail => fact::battery_small(fitted, against),
                Verdict::Undecided => fact::battery_open(fitted, against),
            };
            ruling.state(&mut f, fact);
        }
        Err(error) => f.state(fact::battery_not_judged(fitted, against, error, error.remedy())),
    }
    f
}

fn fitted_limit(inputs: &JobInputs, fitted_ah: f64) -> Limit {
    let r = &inputs.plan.supply.rule;
    Limit {
        value: fitted_ah,
        unit: "Ah".into(),
        source: format!("battery fitted; {:.3} h standby, {:.3} h alarm: {}", r.standby_h, r.alarm_h, r.source),
        mark: r.mark,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{judge::sample, plan::Mark};
    use alloc::string::String;

    #[test]
    fn a_load_of_no_output_is_none() {
        let output = OutputUse {
            number: 2,
            terminals: "3, 4".into(),
            function: plumeline_unit::meaning::Function::Level(1),
            said: "one".into(),
            contact: plumeline_unit::meaning::Contact::Closes,
        };
        assert_eq!(load(Ok(alloc::vec![output])), Ok(alloc::vec![2]));
        let open = |in_use| load(in_use).map_err(|f| (code(&f), f.verdict));
        assert_eq!(open(Ok(Vec::new())), Err(("supply.no-load".into(), Verdict::Undecided)));
        let unknown = plumeline_unit::Unknown::NotDescribed;
        assert_eq!(open(Err(unknown)), Err(("supply.load-unknown".into(), Verdict::Undecided)));
    }
    fn limit() -> Limit {
        Limit { value: 100.0, unit: "s".into(), source: "a test".into(), mark: Mark::ThisJob }
    }
    fn code(f: &Finding) -> String {
        f.code.as_str().into()
    }
    fn amps(value: f64, u: f64) -> Read {
        Read { estimate: Estimate::new(value, u, 0.0), by: None }
    }

    #[test]
    fn nothing_is_removed_over_a_fault_or_unseen() {
        let before = |faults, streams| before(Supply::Mains, faults, streams, &limit()).map(|f| code(&f));
        assert_eq!(before(Some(Faults::default()), true), None);
        assert_eq!(before(Some(Faults::FAN), true), Some("supply.fault-stands".into()));
        assert_eq!(before(None, true), Some("supply.no-reading".into()));
        assert_eq!(before(None, false), None);
    }
    #[test]
    fn a_loss_must_show_at_unit_and_panel_and_clear() {
        let sound = || Removed {
            fault_after_s: Some(4.0),
            readings: true,
            streams: true,
            gone: true,
            panel: Answer::Yes,
            clear: Answer::Yes,
        };
        let of = |seen: Removed| {
            let f = removed(Supply::Mains, &limit(), Ok(&seen));
            (code(&f), f.verdict)
        };
        let is = |code: &str, verdict| (String::from(code), verdict);
        assert_eq!(of(sound()), is("supply.loss-shown", Verdict::Pass));
        let silent = Removed { fault_after_s: None, readings: false, ..sound() };
        assert_eq!(of(silent), is("supply.readings-stopped", Verdict::Undecided));
        let display = Removed { fault_after_s: None, readings: false, streams: false, ..sound() };
        assert_eq!(of(display), is("supply.not-seen-here", Verdict::Undecided));
        assert_eq!(of(Removed { fault_after_s: None, ..sound() }), is("supply.loss-not-at-unit", Verdict::Fail));
        assert_eq!(of(Removed { panel: Answer::No, ..sound() }), is("supply.loss-not-at-panel", Verdict::Fail));
        assert_eq!(of(Removed { gone: false, ..sound() }), is("supply.fault-not-cleared", Verdict::Undecided));
        assert_eq!(of(Removed { clear: Answer::No, ..sound() }), is("supply.panel-not-cleared", Verdict::Fail));
        let mute = Removed { panel: Answer::Cannot("away".into()), ..sound() };
        assert_eq!(of(mute), is("supply.panel-not-told", Verdict::Undecided));
        assert_eq!(code(&removed(Supply::Mains, &limit(), Err("locked"))), "supply.not-removed");
    }
    #[test]
    fn the_voltage_is_decided_by_the_rule() {
        let inputs = sample::inputs();
        let limit = inputs.plan.limits.supply_voltage.value;
        let of = |volts: f64, u| code(&voltage(&inputs, Supply::Battery, Some(&amps(volts, u))));
        assert_eq!(of(limit + 2.0, 0.1), "supply.voltage");
        assert_eq!(of(limit - 2.0, 0.1), "supply.voltage-low");
        assert_eq!(of(limit, 1.0), "supply.voltage-open");
        assert_eq!(of(f64::NAN, 0.1), "supply.voltage-not-judged");
        assert_eq!(code(&voltage(&inputs, Supply::Battery, None)), "supply.voltage-not-measured");
    }
    #[test]
    fn the_battery_is_held_against_what_is_needed() {
        let mut inputs = sample::inputs();
        inputs.plan.supply.fitted_ah = Some(10.0);
        let against = Against(Some((0.5, 0.4)));
        let of = |inputs: &JobInputs, ah: f64, u| capacity(inputs, Some(&amps(ah, u)), against);
        assert_eq!(code(&of(&inputs, 8.0, 0.1)), "supply.battery");
        assert_eq!(code(&of(&inputs, 12.0, 0.1)), "supply.battery-small");
        let open = of(&inputs, 10.0, 1.0);
        assert_eq!((code(&open), open.verdict), ("supply.battery-open".into(), Verdict::Undecided));
        assert_eq!(code(&of(&inputs, f64::NAN, 0.1)), "supply.battery-not-judged");
        assert_eq!(code(&capacity(&inputs, None, against)), "supply.current-not-measured");
        inputs.plan.supply.fitted_ah = None;
        assert_eq!(code(&of(&inputs, 8.0, 0.1)), "supply.battery-not-stated");
        inputs.plan.supply.alarm_a = None;
        assert_eq!(needed(&inputs, Some(&amps(0.5, 0.0)), None), None);
    }
}

//! The supply: mains and battery removed in turn with the fault seen at the unit and at the panel, voltage and current
//! under load, and the capacity that the battery must have for that.
//!
//! It comes late, when no other fault stands: the panel's fault input shows nothing while one does.
use super::outputs;
use crate::{
    battery,
    context::{Context, Stop},
    judge::judge,
    outcome::{Figure, Finding, StageKind, Subject},
    plan::Limit,
    prompt::{Act, Metered, Supply},
    readings::Item,
};
use alloc::{format, string::String, vec::Vec};
use plumeline_base::{Verdict, input::Answer, quantity::Estimate, time::seconds};
use plumeline_detector::{Faults, Request, driver::Wants};
use plumeline_measure::decide::Limits;

const STAGE: StageKind = StageKind::Supply;

pub(crate) async fn supply(ctx: Context) -> Result<(), Stop> {
    if ctx.get().stream.is_none() && ctx.abilities().is_some_and(|a| a.stream_hz.is_some()) {
        ctx.start_readings().await?;
    }
    let (_, standby) = both(&ctx, "at standby, fan at speed, no output operated").await;
    let (mains_v, alarm) = loaded(&ctx).await;
    let battery_v = removed(&ctx, Supply::Mains).await;
    removed(&ctx, Supply::Battery).await;
    let standby_figure = figure(&ctx, standby.as_ref(), "A");
    {
        let (alarm, mains_v, battery_v) = (
            figure(&ctx, alarm.as_ref(), "A"),
            figure(&ctx, mains_v.as_ref(), "V"),
            figure(&ctx, battery_v.as_ref(), "V"),
        );
        let mut s = ctx.edit();
        let facts = &mut s.outcome.supply;
        (facts.standby, facts.alarm, facts.mains, facts.battery) = (standby_figure, alarm, mains_v, battery_v);
    }
    let limit = ctx.inputs().plan.limits.supply_voltage.clone();
    for (of, volts) in [("on the mains", mains_v), ("on the battery", battery_v)] {
        voltage(&ctx, of, volts, &limit);
    }
    capacity(&ctx, standby, alarm);
    Ok(())
}

fn finding(says: impl Into<String>) -> Finding {
    Finding::new(STAGE, Subject::Replacement, Verdict::Undecided, says)
}

/// A figure with its expanded uncertainty at the job's coverage.
fn figure(ctx: &Context, e: Option<&Estimate>, unit: &str) -> Option<Figure> {
    let k = super::flow::coverage_factor(&ctx.inputs());
    e.map(|e| Figure::with(e.value, k * e.u(), unit))
}

/// Voltage and current as the unit tells them, averaged; what it does not tell, a person reads off an instrument.
async fn both(ctx: &Context, when: &str) -> (Option<Estimate>, Option<Estimate>) {
    let (v, a) = told(ctx).await;
    let v = match v {
        Some(v) => Some(v),
        None => metered(ctx, Metered::Voltage, when).await,
    };
    let a = match a {
        Some(a) => Some(a),
        None => metered(ctx, Metered::Current, when).await,
    };
    (v, a)
}

/// Voltage and current by the unit's own sensors.
pub(super) async fn told(ctx: &Context) -> (Option<Estimate>, Option<Estimate>) {
    if ctx.get().stream.is_none() {
        return (None, None);
    }
    let (mut volts, mut amps) = (Vec::new(), Vec::new());
    let mut feed = ctx.feed();
    let end = ctx.within(seconds(ctx.inputs().plan.advanced.supply.average_s));
    while let Some(item) = feed.next_before(end).await {
        if let Item::Reading(t) = item {
            volts.extend(t.reading.supply_v);
            amps.extend(t.reading.supply_a);
        }
    }
    let u = ctx.inputs().plan.supply.unit_u;
    let least = ctx.inputs().plan.advanced.supply.least_readings as usize;
    let mean = |all: &[f64]| {
        // Fewer are no mean.
        (all.len() >= least).then(|| {
            let m = all.iter().sum::<f64>() / all.len() as f64;
            Estimate::new(m, u * libm::fabs(m), 0.0)
        })
    };
    (mean(&volts), mean(&amps))
}

async fn metered(ctx: &Context, quantity: Metered, when: &str) -> Option<Estimate> {
    let (what, unit) = quantity.words();
    let text = format!("Measure the {what} {when}, and type it.");
    match ctx.ask(Act::ReadMeter { quantity }, text, Wants::Number { unit: unit.into() }).await.1 {
        Answer::Number(x) if x.is_finite() && x >= 0.0 => {
            Some(Estimate::new(x, ctx.inputs().plan.supply.meter_u * x, 0.0))
        }
        _ => None,
    }
}

/// Voltage and current with every output in use operated: the load of an alarm.
async fn loaded(ctx: &Context) -> (Option<Estimate>, Option<Estimate>) {
    let Some(abilities) = ctx.abilities().filter(|a| a.drive_outputs) else {
        return both(ctx, "with every output in use operated").await;
    };
    let used: Vec<u8> = (1..=abilities.outputs).filter(|n| outputs::function(ctx, *n).is_some()).collect();
    let mut driven = true;
    for output in &used {
        driven &= ctx.unit(Request::Drive { output: *output, on: true }).await.is_ok();
    }
    let settles = seconds(ctx.inputs().plan.advanced.supply.settles_s);
    let bits = used.iter().fold(0, |bits, n| bits | outputs::bit(*n));
    let seen = ctx.until_reading(settles, |t| t.reading.outputs & bits == bits).await.is_some();
    let measured = both(ctx, "with every output in use operated").await;
    for output in &used {
        driven &= ctx.unit(Request::Drive { output: *output, on: false }).await.is_ok();
    }
    ctx.sleep(settles).await;
    if driven && (seen || ctx.get().stream.is_none()) { measured } else { (None, None) }
}

/// One supply is switched off: the unit and the panel must show a fault, and no longer when it is on again. For the mains:
/// gives the voltage on the battery meanwhile.
async fn removed(ctx: &Context, supply: Supply) -> Option<Estimate> {
    let name = supply.words();
    let fault = match supply {
        Supply::Mains => Faults::SUPPLY,
        Supply::Battery => Faults::BATTERY,
    };
    let limit = ctx.inputs().plan.limits.supply_fault_within.clone();
    let within = seconds(limit.value);
    let mut f = finding(String::new());
    f.limit = Some(limit);
    let quiet = ctx.faults().map(Faults::is_clear);
    if quiet != Some(true) && ctx.get().stream.is_some() {
        f.says = match quiet {
            Some(_) => format!("a fault stands already: the loss of the {name} would show nothing at the panel"),
            None => format!("no fresh reading: the loss of the {name} would not be seen at the unit"),
        };
        f.next = Some("clear what stands, then remove the supplies in turn".into());
        ctx.found(f);
        return None;
    }
    let off = format!("Switch off the {name} of the unit; the other supply stays on. Mind live parts. Done?");
    let at = match ctx.ask_done(Act::SwitchSupply { supply, on: false }, off).await {
        Ok(at) => at,
        Err(why) => {
            f.says = format!("the {name} was not removed: {why}");
            ctx.found(f);
            return None;
        }
    };
    let shown = ctx.until_reading(within, |t| t.reading.faults.has(fault)).await;
    let fresh = ctx.latest().is_some();
    let asked = format!("The {name} is off. Does the panel show a fault of this unit?");
    let panel = ctx.ask(Act::PanelFault, asked, Wants::YesNo).await.1;
    let volts = match supply {
        Supply::Mains => both_voltage(ctx).await,
        Supply::Battery => None,
    };
    let on = format!("Switch the {name} on again. Done?");
    let back = ctx.ask_done(Act::SwitchSupply { supply, on: true }, on).await;
    let gone = match back {
        Ok(_) => ctx.until_reading(within, |t| !t.reading.faults.has(fault)).await.is_some(),
        Err(_) => false,
    };
    let asked = format!("The {name} is on again. Has the panel's fault cleared?");
    let clear = ctx.ask(Act::PanelFaultClear, asked, Wants::YesNo).await.1;
    f.measured = shown.as_ref().map(|t| Figure::plain(t.at.since(at).as_secs_f64(), "s"));
    (f.verdict, f.says) = match (&shown, gone, &panel, &clear) {
        (Some(_), true, Answer::Yes, Answer::Yes) => {
            (Verdict::Pass, format!("the loss of the {name} was shown at the unit and at the panel, and cleared"))
        }
        (None, ..) if !fresh => {
            f.likely = Some("the other supply does not hold the unit, or the line was lost".into());
            (Verdict::Undecided, format!("readings stopped when the {name} was switched off"))
        }
        (None, ..) => (Verdict::Fail, format!("the loss of the {name} was not shown at the unit")),
        (_, _, Answer::No, _) => (Verdict::Fail, format!("the loss of the {name} was not shown at the panel")),
        (_, false, ..) => (Verdict::Undecided, format!("the fault did not clear when the {name} was back")),
        (_, _, _, Answer::No) => (Verdict::Fail, format!("the panel's fault did not clear when the {name} was back")),
        _ => (Verdict::Undecided, format!("not told what the panel showed when the {name} was off")),
    };
    if !f.verdict.is_pass() {
        f.next = Some("look at fuse, battery, and the wire of the fault output, then try again".into());
    }
    ctx.found(f);
    volts
}

async fn both_voltage(ctx: &Context) -> Option<Estimate> {
    match told(ctx).await.0 {
        Some(v) => Some(v),
        None => metered(ctx, Metered::Voltage, "on the battery alone").await,
    }
}

fn voltage(ctx: &Context, of: &str, volts: Option<Estimate>, limit: &Limit) {
    let mut f = finding(format!("supply voltage {of} was not measured"));
    f.limit = Some(limit.clone());
    if let Some(v) = volts {
        f.says = format!("supply voltage {of}");
        f.measured = figure(ctx, Some(&v), "V");
        judge(ctx, &mut f, &v, f64::INFINITY, &Limits::at_least(limit.value), None, 1.0);
        if !f.verdict.is_pass() {
            f.next = Some("look for thin or long wires, poor terminals, a tired battery".into());
        }
    }
    ctx.found(f);
}

/// The capacity that the battery must have against the one fitted; the new unit's current against the old one's.
fn capacity(ctx: &Context, standby: Option<Estimate>, alarm: Option<Estimate>) {
    let inputs = ctx.inputs();
    let plan = &inputs.plan.supply;
    let stated = plan.alarm_a.map(|a| Estimate::new(a, 0.0, 0.0));
    let add = |e: Estimate, a: f64| Estimate { value: e.value + a, ..e };
    let needed = match (standby, stated.or(alarm)) {
        (Some(s), Some(a)) => {
            Some(battery::needed_ah(&plan.rule, &add(s, plan.other_standby_a), &add(a, plan.other_alarm_a)))
        }
        _ => None,
    };
    let old = {
        let needed_figure = figure(ctx, needed.as_ref(), "Ah");
        let mut s = ctx.edit();
        let facts = &mut s.outcome.supply;
        (facts.needed, facts.fitted_ah, facts.rule) = (needed_figure, plan.fitted_ah, Some(plan.rule.clone()));
        facts.outgoing.clone()
    };
    let against = match (old, standby) {
        (Some(old), Some(new)) => {
            let more = new.value - old.value;
            let word = if more < 0.0 { "less" } else { "more" };
            format!(
                "; the new unit draws {:.3} A {word} than the old one as found ({:.3} A)",
                libm::fabs(more),
                old.value
            )
        }
        _ => "; the old unit's current is not known".into(),
    };
    let mut f = finding(String::new());
    let r = &plan.rule;
    f.limit = plan.fitted_ah.map(|value| Limit {
        value,
        unit: "Ah".into(),
        source: format!("battery fitted; {:.3} h standby, {:.3} h alarm: {}", r.standby_h, r.alarm_h, r.source),
        mark: r.mark,
    });
    match (needed, plan.fitted_ah) {
        (Some(needed), Some(fitted)) => {
            f.says = format!("capacity that the battery must have, for {fitted} Ah fitted{against}");
            f.measured = figure(ctx, Some(&needed), "Ah");
            judge(ctx, &mut f, &needed, f64::INFINITY, &Limits::at_most(fitted), None, 1.0);
            if !f.verdict.is_pass() {
                f.likely = Some("the new unit draws more than the battery was chosen for".into());
                f.next = Some("fit a larger battery, or take loads off it".into());
            }
        }
        (Some(needed), None) => {
            f.says = format!("the plan does not state the battery fitted{against}");
            f.measured = figure(ctx, Some(&needed), "Ah");
            f.next = Some("read the capacity off the battery and state it as supply.battery in the plan".into());
        }
        (None, _) => {
            f.says =
                format!("the capacity that the battery must have is not known: a current was not measured{against}");
            f.next = Some("measure the current at standby and in alarm".into());
        }
    }
    ctx.found(f);
}

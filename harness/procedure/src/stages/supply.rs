//! The supply: mains and battery removed in turn with the fault seen at the unit and at the panel, voltage and current
//! under load, and the capacity that the battery must have for that.
//!
//! It comes late, when no other fault stands: the panel's fault input shows nothing while one does.
use crate::{
    answers::Done,
    context::{Context, Stop},
    facts::supply::Against,
    instrument::Read,
    judge::supply::{self as judge, Removed},
    metered::{Asking, not_read},
    prompt::{Act, Metered, Supply},
    readings::{Item, Timed},
};
use alloc::{format, string::String, vec::Vec};
use plumeline_base::{Instant, input::Answer, quantity::Estimate, time::seconds};
use plumeline_detector::{Faults, ask, ask::Look, bit, driver::Wants};

pub(crate) async fn supply(ctx: Context) -> Result<(), Stop> {
    if ctx.get().stream.hz.is_none() && ctx.abilities().is_some_and(|a| a.readings.streams()) {
        ctx.start_readings().await?;
    }
    let (_, standby) = both(&ctx, "at standby, fan at speed, no output operated").await;
    let (mains_v, alarm) = loaded(&ctx).await;
    let battery_v = removed(&ctx, Supply::Mains).await;
    removed(&ctx, Supply::Battery).await;
    let inputs = ctx.inputs();
    let needed = judge::needed(&inputs, standby.as_ref(), alarm.as_ref());
    let outgoing = {
        let (plan, mut s) = (&inputs.plan.supply, ctx.edit());
        let facts = &mut s.outcome.supply;
        let figure = |e: Option<&Read>, unit| e.map(|e| judge::figure(&inputs, e, unit));
        (facts.standby, facts.alarm) = (figure(standby.as_ref(), "A"), figure(alarm.as_ref(), "A"));
        (facts.mains, facts.battery) = (figure(mains_v.as_ref(), "V"), figure(battery_v.as_ref(), "V"));
        facts.needed = figure(needed.as_ref(), "Ah");
        (facts.fitted_ah, facts.rule) = (plan.fitted_ah, Some(plan.rule.clone()));
        facts.outgoing.as_ref().map(|old| old.value)
    };
    for (supply, volts) in [(Supply::Mains, mains_v), (Supply::Battery, battery_v)] {
        ctx.found(judge::voltage(&inputs, supply, volts.as_ref()));
    }
    let against = Against(standby.map(|new| new.estimate.value).zip(outgoing));
    ctx.found(judge::capacity(&inputs, needed.as_ref(), against));
    Ok(())
}

/// Voltage and current as the unit tells them, averaged; what it does not tell, a person reads off an instrument.
async fn both(ctx: &Context, when: &str) -> (Option<Read>, Option<Read>) {
    let (v, a) = told(ctx).await;
    let told = |e: Option<Estimate>| e.map(|estimate| Read { estimate, by: None });
    let (v, a) = (told(v), told(a));
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
    if ctx.get().stream.hz.is_none() {
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

async fn metered(ctx: &Context, quantity: Metered, when: &str) -> Option<Read> {
    taken(ctx, quantity, ctx.read_off(asking(quantity, when)).await)
}
fn asking(quantity: Metered, when: &str) -> Asking {
    Asking { quantity, what: format!("the {} {when}", quantity.words().0), about: None }
}
fn taken(ctx: &Context, quantity: Metered, read: Result<Read, String>) -> Option<Read> {
    read.map_err(|why| ctx.remark(not_read(quantity.words().0, &why))).ok()
}

/// Voltage and current with every output in use operated: the load of an alarm.
async fn loaded(ctx: &Context) -> (Option<Read>, Option<Read>) {
    if !ctx.abilities().is_some_and(|a| a.drive_outputs) {
        return both(ctx, "with every output in use operated").await;
    }
    let used = match judge::load(ctx.replacement(|unit| unit.outputs_in_use())) {
        Ok(used) => used,
        Err(finding) => {
            ctx.found(*finding);
            return (None, None);
        }
    };
    let mut driven = true;
    for output in &used {
        driven &= ctx.unit(ask::Drive { output: *output, on: true }).await.is_ok();
    }
    let settles = seconds(ctx.inputs().plan.advanced.supply.settles_s);
    let bits = used.iter().fold(0, |bits, n| bits | bit(*n));
    // Where a person looks at lamps, an output without one is said to be operated.
    let asked = ctx.is_asked(Look::State);
    let all_on = |t: &Timed| t.reading.outputs.map_or(asked, |on| on & bits == bits);
    let seen = ctx.get().stream.hz.is_none() || ctx.until_shown(settles, all_on).await.is_some();
    let measured = both(ctx, "with every output in use operated").await;
    for output in &used {
        driven &= ctx.unit(ask::Drive { output: *output, on: false }).await.is_ok();
    }
    ctx.sleep(settles).await;
    if driven && seen { measured } else { (None, None) }
}

/// One supply is switched off: the unit and the panel must show a fault, and no longer when it is on again. For the mains:
/// gives the voltage on the battery meanwhile.
async fn removed(ctx: &Context, supply: Supply) -> Option<Read> {
    let name = supply.words();
    let fault = match supply {
        Supply::Mains => Faults::SUPPLY,
        Supply::Battery => Faults::BATTERY,
    };
    let limit = ctx.inputs().plan.limits.supply_fault_within.clone();
    let within = seconds(limit.value);
    let streams = ctx.get().stream.hz.is_some();
    let asked = ctx.is_asked(Look::State);
    let streams = streams || asked;
    let stand = match asked {
        true => ctx.look(Look::State).await.ok().and_then(|t| t.reading.faults),
        false => ctx.faults_now().await,
    };
    if let Some(finding) = judge::before(supply, stand, streams, &limit) {
        ctx.found(finding);
        return None;
    }
    let off = format!("Switch off the {name} of the unit; the other supply stays on. Mind live parts. Is it off?");
    let at = match switch_off(ctx, supply, off).await {
        Ok(at) => at,
        Err(why) => {
            ctx.found(judge::removed(supply, &limit, Err(&why)));
            return None;
        }
    };
    // Where a person looks at lamps, any fault that was not there before is that of the supply.
    let stands = |t: &Timed| match asked {
        true => t.reading.faults.map(|faults| !faults.is_clear()),
        false => t.reading.has_fault(fault),
    };
    let shown = ctx.until_shown(within, |t| stands(t) == Some(true)).await;
    let readings = asked && stand.is_some() || ctx.faults().is_some();
    let text = format!("The {name} is off. Does the panel show a fault of this unit?");
    let away = Away { ctx, supply, fault: shown.is_some().then_some(fault).filter(|_| !asked) };
    let panel = away.ask(Act::PanelFault, text, Wants::YesNo).await;
    let volts = match supply {
        Supply::Mains => away.voltage().await,
        Supply::Battery => None,
    };
    let (on, text) = (Act::SwitchSupply { supply, on: true }, format!("Switch the {name} on again. Done?"));
    let back = match shown.is_some() && !asked {
        true => ctx.ask_done_unless_seen(on, text, ctx.until_seen(|t| stands(t) == Some(false))).await,
        false => ctx.ask_done(on, text).await.map(Done::Said),
    };
    let gone = match back {
        Ok(Done::Seen) => true,
        Ok(Done::Said(_)) => ctx.until_shown(within, |t| stands(t) == Some(false)).await.is_some(),
        Err(_) => false,
    };
    let text = format!("The {name} is on again. Has the panel's fault cleared?");
    let clear = ctx.ask(Act::PanelFaultClear, text, Wants::YesNo).await.1;
    let fault_after_s = shown.map(|t| t.at.since(at).as_secs_f64());
    let seen = Removed { fault_after_s, readings, streams, gone, panel, clear };
    ctx.found(judge::removed(supply, &limit, Ok(&seen)));
    volts
}

async fn switch_off(ctx: &Context, supply: Supply, text: String) -> Result<Instant, String> {
    const OFF: &[(&str, &str)] = &[("off", "this supply is switched off")];
    ctx.ask_word(Act::SwitchSupply { supply, on: false }, text, OFF).await
}

/// A supply that was switched off. What a person tells meanwhile is held against the unit's own readings: once the supply is
/// on again the answer shows nothing.
struct Away<'a> {
    ctx: &'a Context,
    supply: Supply,
    /// What the unit shows for as long as it is off; `None`: it shows nothing.
    fault: Option<Faults>,
}

impl Away<'_> {
    fn is_back(&self) -> bool {
        self.fault.is_some_and(|fault| self.ctx.faults().is_some_and(|now| !now.has(fault)))
    }
    async fn ask(&self, act: Act, text: String, wants: Wants) -> Answer {
        let name = self.supply.words();
        for _ in 0..self.ctx.inputs().plan.advanced.supply.most_again {
            let answer = self.ctx.ask(act.clone(), text.clone(), wants.clone()).await.1;
            if !self.is_back() {
                return answer;
            }
            if let Err(why) = self.off_again().await {
                return Answer::Cannot(why);
            }
        }
        Answer::Cannot(format!("the {name} was on again each time"))
    }
    async fn off_again(&self) -> Result<(), String> {
        let name = self.supply.words();
        self.ctx.remark(format!("the {name} was on again by the unit's own readings: the answer is not taken"));
        let text = format!(
            "By the unit's own readings the {name} is on again: what you answered shows nothing. Switch it off again. Is it off?"
        );
        switch_off(self.ctx, self.supply, text).await?;
        if let Some(fault) = self.fault {
            let within = seconds(self.ctx.inputs().plan.limits.supply_fault_within.value);
            self.ctx.until_reading(within, |t| t.reading.has_fault(fault) == Some(true)).await;
        }
        Ok(())
    }
    /// The voltage on the battery alone.
    async fn voltage(&self) -> Option<Read> {
        for _ in 0..self.ctx.inputs().plan.advanced.supply.most_again {
            let told = told(self.ctx).await.0;
            if !self.is_back() {
                if let Some(estimate) = told {
                    return Some(Read { estimate, by: None });
                }
                break;
            }
            self.off_again().await.ok()?;
        }
        let quantity = Metered::Voltage;
        let asking = asking(quantity, "on the battery alone");
        let put = async |act, text, wants| self.ask(act, text, wants).await;
        taken(self.ctx, quantity, self.ctx.metered(asking, put).await)
    }
}

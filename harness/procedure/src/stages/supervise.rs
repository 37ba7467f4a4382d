//! What supervises the air: a shut inlet must raise the flow fault in time, and it must clear.
use super::{
    by_eye,
    by_watch::{self, Timing},
};
use crate::{
    context::{Context, Stop},
    executor::{Either, race},
    facts::{fixed, readings},
    judge::{
        band::{Band, BandSees, sees},
        lag,
        readings::of_unit,
        supervise::{self as judge, Delay},
    },
    outcome::Finding,
    plan::Limit,
    prompt::{Act, Metered},
};
use alloc::{format, vec::Vec};
use core::ops::RangeInclusive;
use plumeline_base::{Instant, time::seconds};
use plumeline_detector::{Faults, Reading, ask::Look};
use plumeline_measure::Sample;

/// Each inlet is shut in turn: the flow fault comes within the limit, and goes again.
pub(crate) async fn supervise(ctx: Context) -> Result<(), Stop> {
    let inputs = ctx.inputs();
    if ctx.get().stream.hz.is_none() {
        ctx.start_readings().await?;
    }
    let limit = inputs.plan.limits.flow_fault_within.clone();
    let rules = &inputs.plan.advanced.supervise;
    let most_tries = rules.most_tries;
    let delay = ctx.replacement(|unit| unit.flow_delay_s());
    if let Err(why) = &delay {
        ctx.found(judge::delay_unknown(why));
    }
    let delay = delay.ok().map(|set_s| Delay { set_s, within_s: rules.delay_within_s });
    for pipe in inputs.pipes() {
        let inlet = pipe.inlet;
        settled(&ctx, limit.value).await;
        let faults = match ctx.is_asked(Look::State) {
            true => by_eye::state(&ctx, false).await.and_then(|t| t.reading.faults),
            false => ctx.faults_now().await,
        };
        if let Some(finding) = judge::before(inlet, faults) {
            ctx.found(finding);
            continue;
        }
        // A pause in which nobody watched hides when the fault came: then once more.
        ctx.edit().unit.flow_fault_expected = true;
        for again in 1..=most_tries {
            let (watched, findings) = shut_once(&ctx, inlet, &limit, delay).await;
            if watched || again == most_tries {
                findings.into_iter().for_each(|f| ctx.found(f));
                break;
            }
        }
        ctx.edit().unit.flow_fault_expected = false;
    }
    let told = ctx.replacement(|unit| unit.flow_band());
    if let Err(why) = &told {
        ctx.found(judge::band_unknown(why));
    }
    let BandSees { all, blind } = sees(&inputs, &Band::of(&inputs, told));
    let mut s = ctx.edit();
    s.outcome.could_have_missed.extend(blind);
    s.outcome.band_sees = all;
    drop(s);
    Ok(())
}

/// Where a person has just put back what raised a fault, it is given the time to clear.
async fn settled(ctx: &Context, wait_s: f64) {
    let stands = ctx.latest().is_some_and(|t| t.reading.has_fault(Faults::FLOW) == Some(true));
    if stands && ctx.get().running.attended {
        ctx.progress("waiting for the flow fault that stands to clear", None, Some(seconds(wait_s)));
        ctx.until_reading(seconds(wait_s), |t| t.reading.has_fault(Faults::FLOW) == Some(false)).await;
    }
}

/// Shuts one inlet and puts it back. Gives whether somebody watched (or a fault that did not go would spoil the next try).
async fn shut_once(ctx: &Context, inlet: u8, limit: &Limit, delay: Option<Delay>) -> (bool, Vec<Finding>) {
    let asked = ctx.now();
    let text = format!("Shut inlet {inlet}, or pull its pipe. Answer when it is shut.");
    let at = match ctx.ask_done(Act::ShutInlet { inlet }, text).await {
        Ok(at) => at,
        Err(why) => return (true, alloc::vec![judge::shut(inlet, limit, delay, Err(&why))]),
    };
    let paused = ctx.paused();
    ctx.progress(format!("inlet {inlet} is shut: waiting for the flow fault"), None, Some(seconds(limit.value)));
    let within = within_band(ctx, inlet);
    let mut outside: Option<Instant> = None;
    let mut flows = Flows::since(at, baseline_of(ctx, inlet));
    if ctx.is_asked(Look::State) {
        return shut_by_eye(ctx, inlet, (asked, at), limit, delay).await;
    }
    // The limit counts; a little more is waited so that a late fault is told from none.
    let raised = ctx
        .until_reading(seconds(limit.value + ctx.inputs().plan.advanced.supervise.more_s), |t| {
            flows.take(t.flow(inlet));
            let is_outside = t.flow(inlet).zip(within.as_ref()).is_some_and(|(q, band)| !band.contains(&q.value));
            outside = outside.filter(|_| is_outside).or(is_outside.then_some(t.at));
            t.reading.has_fault(Faults::FLOW) == Some(true)
        })
        .await;
    let named = raised.as_ref().and_then(|t| named(ctx, inlet, &t.reading)).unwrap_or(0);
    let goes = raised.is_some() && goes_by_itself(ctx).await;
    let seen = judge::Shut {
        named,
        stood_s: raised.as_ref().and_then(|t| Some(t.at.since(outside?).as_secs_f64())),
        fault_after_s: raised.map(|t| t.at.since(at).as_secs_f64()),
        watched: ctx.paused() == paused,
        readings: ctx.faults().is_some(),
        goes,
    };
    let shut = judge::shut(inlet, limit, delay, Ok(seen));
    let back = refit(ctx, inlet, limit.value).await;
    let odd = flows.late(ctx).or_else(|| flows.remains(ctx, inlet)).filter(|_| seen.watched);
    (seen.watched || !back.verdict.is_pass(), odd.into_iter().chain([shut, back]).collect())
}

/// The same where a person sees the fault come, and then reads which inlet it names and what that still draws.
async fn shut_by_eye(
    ctx: &Context,
    inlet: u8,
    (asked, at): (Instant, Instant),
    limit: &Limit,
    delay: Option<Delay>,
) -> (bool, Vec<Finding>) {
    let paused = ctx.paused();
    let most = limit.value + ctx.inputs().plan.advanced.supervise.more_s;
    let (fault_after_s, untold) = if by_watch::serves(ctx) {
        let timing = Timing {
            quantity: Metered::FaultTime(inlet),
            what: format!("from the moment when inlet {inlet} was shut to that when the unit shows its flow fault"),
            asked,
            earliest_s: 0.0,
            before_s: None,
            about_s: delay.map(|d| d.set_s),
        };
        match race(by_watch::time(ctx, timing), ctx.reached(ctx.within(seconds(most)))).await {
            Either::First(Ok(read)) => (Some(read.value), false),
            Either::First(Err(_)) => (None, true),
            Either::Second(()) => (None, false),
        }
    } else {
        let text = format!("Inlet {inlet} is shut. Answer at the very moment when the unit shows its flow fault.");
        match by_eye::moment(ctx, Act::FaultShows { inlet }, text, most).await {
            by_eye::Moment::Seen(raised) => (Some(raised.since(at).as_secs_f64()), false),
            by_eye::Moment::Untold(_) => (None, true),
            by_eye::Moment::Not(_) | by_eye::Moment::TimeUp => (None, false),
        }
    };
    // Of the inlet that is shut a meter at the exhaust shows nothing.
    let state = by_eye::state(ctx, ctx.meter().is_none()).await;
    let mut flows = Flows::since(at, baseline_of(ctx, inlet));
    flows.take(state.as_ref().and_then(|t| t.flow(inlet)));
    let seen = judge::Shut {
        named: state.as_ref().and_then(|t| named(ctx, inlet, &t.reading)).unwrap_or(0),
        stood_s: None,
        fault_after_s,
        watched: ctx.paused() == paused,
        readings: state.is_some() && !untold,
        goes: state.as_ref().is_some_and(|t| t.reading.has_fault(Faults::FLOW) == Some(false)),
    };
    let shut = by_watch::read_off(ctx, judge::shut(inlet, limit, delay, Ok(seen)));
    let back = refit(ctx, inlet, limit.value).await;
    let odd = flows.remains(ctx, inlet).filter(|_| seen.watched);
    (seen.watched || !back.verdict.is_pass(), odd.into_iter().chain([shut, back]).collect())
}

/// The fault that a shut inlet raised goes although the inlet is still shut.
async fn goes_by_itself(ctx: &Context) -> bool {
    let stands = seconds(ctx.inputs().plan.advanced.supervise.stands_s);
    ctx.until_reading(stands, |t| t.reading.has_fault(Faults::FLOW) == Some(false)).await.is_some()
}

/// The flow of an inlet since it was shut.
struct Flows {
    at: Instant,
    before: Option<f64>,
    after: Vec<(f64, f64)>,
}
impl Flows {
    const fn since(at: Instant, before: Option<f64>) -> Self {
        Self { at, before, after: Vec::new() }
    }
    fn take(&mut self, flow: Option<Sample>) {
        self.after.extend(flow.filter(|q| q.at >= self.at).map(|q| (q.at.since(self.at).as_secs_f64(), q.value)));
    }
    /// A whole inlet is no small change: if its flow answers late, the readings do.
    fn late(&self, ctx: &Context) -> Option<Finding> {
        let most = ctx.inputs().plan.advanced.readings.answers_s;
        let late = lag::answered(&self.after, self.before?).filter(|s| *s > most + READ_S)?;
        Some(of_unit(ctx.stage(), readings::answers_late(fixed(late, 0), most)))
    }
    /// A shut inlet draws nothing, and one whose pipe is off draws more than ever.
    fn remains(&self, ctx: &Context, inlet: u8) -> Option<Finding> {
        let most = ctx.inputs().plan.advanced.supervise.remains;
        let high = ctx.replacement(|unit| unit.flow_band()).ok()?.high;
        let share = lag::last(&self.after)? / self.before?;
        let remains = share > most && share < 1.0 + high;
        remains.then(|| judge::still_flows(inlet, share))
    }
}
/// Two readings at the slowest rate that a plan may ask for lie this far apart, s.
const READ_S: f64 = 1.0;

/// The flow of an inlet by the baseline that was taken.
fn baseline_of(ctx: &Context, inlet: u8) -> Option<f64> {
    *ctx.get().unit.baseline.as_ref()?.flow_m3_s.get(usize::from(inlet).checked_sub(1)?)?
}

/// The flows of an inlet that are within the unit's band around its baseline, where both are known.
fn within_band(ctx: &Context, inlet: u8) -> Option<RangeInclusive<f64>> {
    let band = ctx.replacement(|unit| unit.flow_band()).ok()?;
    let normal = baseline_of(ctx, inlet)?;
    Some(normal * (1.0 - band.low)..=normal * (1.0 + band.high))
}

/// The inlets that the unit wrongly or rightly names, by its reading against the baseline that it holds; `None`: it names none.
fn named(ctx: &Context, inlet: u8, reading: &Reading) -> Option<u32> {
    let s = ctx.get();
    let baseline = s.unit.baseline.as_ref().map_or(&[][..], |b| &b.flow_m3_s);
    let of = |i| baseline.get(i).copied().flatten();
    let flows: Vec<_> = reading.flow_m3_s.iter().enumerate().map(|(i, now)| (*now, of(i))).collect();
    // What rose by less is no reason to be named.
    let plan = &s.inputs.plan;
    let least = plan.advanced.supervise.named * plan.limits.flow_band.value;
    Some(judge::named(inlet, reading.flow_low?, reading.flow_high?, &flows, least))
}

async fn refit(ctx: &Context, inlet: u8, wait_s: f64) -> Finding {
    let text = format!("Put inlet {inlet} back exactly as it was: pipe pushed home and sealed. Done?");
    if let Err(why) = ctx.ask_done(Act::RefitInlet { inlet }, text).await {
        return judge::put_back(inlet, Err(&why));
    }
    if ctx.is_asked(Look::State) {
        let text = format!("Inlet {inlet} is back. Answer at the moment when the unit no longer shows its flow fault.");
        let most = wait_s + ctx.inputs().plan.advanced.supervise.more_s;
        let gone = by_eye::moment(ctx, Act::FaultGone { inlet }, text, most).await;
        let state = by_eye::state(ctx, false).await;
        let cleared = state.as_ref().is_some_and(|t| t.reading.has_fault(Faults::FLOW) == Some(false));
        return judge::put_back(inlet, Ok((cleared, state.is_some() && !matches!(gone, by_eye::Moment::Untold(_)))));
    }
    ctx.progress(format!("inlet {inlet} is back: waiting for the fault to clear"), None, Some(seconds(wait_s)));
    let cleared = ctx
        .until_reading(seconds(wait_s + ctx.inputs().plan.advanced.supervise.more_s), |t| {
            t.reading.has_fault(Faults::FLOW) == Some(false)
        })
        .await;
    judge::put_back(inlet, Ok((cleared.is_some(), ctx.faults().is_some())))
}

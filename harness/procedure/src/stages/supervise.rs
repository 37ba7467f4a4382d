//! What supervises the air: a shut inlet must raise the flow fault in time, and it must clear.
use super::band;
use crate::{
    context::{Context, Stop},
    outcome::{Figure, Finding, StageKind, Subject},
    plan::Limit,
    prompt::Act,
};
use alloc::{format, vec::Vec};
use plumeline_base::{Verdict, time::seconds};
use plumeline_detector::Faults;

/// An inlet is shut this often at most where nobody watched meanwhile.
const MOST_TRIES: u32 = 3;

/// Each inlet is shut in turn: the flow fault comes within the limit, and goes again.
pub(crate) async fn supervise(ctx: Context) -> Result<(), Stop> {
    let stage = StageKind::Supervise;
    let inputs = ctx.inputs();
    if ctx.get().stream.is_none() {
        ctx.start_readings().await?;
    }
    let limit = inputs.plan.limits.flow_fault_within.clone();
    for pipe in inputs.pipes() {
        let inlet = pipe.inlet;
        let mut f = Finding::new(stage, Subject::Pipe(inlet), Verdict::Undecided, "the inlet was not shut");
        f.limit = Some(limit.clone());
        let stands = match ctx.faults() {
            None => Some(("no fresh reading comes", "bring the readings back first")),
            Some(faults) if faults.has(Faults::FLOW) => Some(("a flow fault stands already", "clear the fault first")),
            Some(faults) if faults.has(Faults::NO_BASELINE) => {
                Some(("the unit holds no airflow baseline to supervise against", "take the baseline first"))
            }
            Some(_) => None,
        };
        if let Some((why, next)) = stands {
            f.says = format!("{why}: a shut inlet can't be told");
            f.next = Some(next.into());
            ctx.found(f);
            continue;
        }
        // A pause in which nobody watched hides when the fault came: then once more.
        ctx.edit().flow_fault_expected = true;
        let mut findings = None;
        for _ in 0..MOST_TRIES {
            findings = shut_once(&ctx, inlet, &limit, f.clone()).await;
            if findings.is_some() {
                break;
            }
        }
        ctx.edit().flow_fault_expected = false;
        f.says = "nobody watched while the inlet was shut: not shown when the flow fault came".into();
        findings.unwrap_or_else(|| alloc::vec![f]).into_iter().for_each(|f| ctx.found(f));
    }
    let sees = band::words(&ctx, &inputs);
    let mut s = ctx.edit();
    s.outcome.could_have_missed.extend(sees.iter().map(|w| format!("after hand-back, {w}")));
    s.outcome.band_sees = sees;
    drop(s);
    Ok(())
}

/// Shuts one inlet and puts it back. `None`: nobody watched for a time, nothing is shown.
async fn shut_once(ctx: &Context, inlet: u8, limit: &Limit, mut f: Finding) -> Option<Vec<Finding>> {
    let asked = ctx
        .ask_done(Act::ShutInlet { inlet }, format!("Shut inlet {inlet}, or pull its pipe. Answer when it is shut."));
    let shut = match asked.await {
        Ok(at) => at,
        Err(why) => {
            f.says = format!("the inlet was not shut: {why}");
            return Some(alloc::vec![f]);
        }
    };
    let paused = ctx.paused();
    ctx.progress(format!("inlet {inlet} is shut: waiting for the flow fault"), None, Some(seconds(limit.value)));
    // The limit counts; a little more is waited so that a late fault is told from none.
    let raised = ctx.until_reading(seconds(limit.value + 60.0), |t| t.reading.faults.has(Faults::FLOW)).await;
    let unwatched = ctx.paused() != paused;
    match raised.map(|t| t.at.since(shut).as_secs_f64()) {
        _ if unwatched => f.says = "nobody watched while the inlet was shut: not shown when the flow fault came".into(),
        Some(after) if after <= limit.value => {
            f.verdict = Verdict::Pass;
            f.says = "the shut inlet raised the flow fault in time".into();
            f.measured = Some(Figure::plain(after, "s"));
        }
        None if ctx.latest().is_none() => {
            f.says = "readings stopped while the inlet was shut: not shown whether the flow fault came".into();
            f.next = Some("bring the readings back and try again".into());
        }
        other => {
            f.verdict = Verdict::Fail;
            f.says = other.map_or_else(
                || "the shut inlet raised no flow fault".into(),
                |s| format!("the flow fault came late, after {s:.0} s"),
            );
            f.likely = Some("the unit's flow band or delay is set too wide, or its supervision is off".into());
            f.next = Some("correct the flow band and delay in the settings, load them, and try again".into());
        }
    }
    let back = refit(ctx, inlet, limit.value).await;
    // A fault that did not go would spoil the next try as well.
    (!unwatched || back.verdict != Verdict::Pass).then(|| alloc::vec![f, back])
}

async fn refit(ctx: &Context, inlet: u8, wait_s: f64) -> Finding {
    let stage = StageKind::Supervise;
    let mut f = Finding::new(stage, Subject::Pipe(inlet), Verdict::Undecided, "");
    match ctx
        .ask_done(
            Act::RefitInlet { inlet },
            format!("Put inlet {inlet} back exactly as it was: pipe pushed home and sealed. Done?"),
        )
        .await
    {
        Err(why) => {
            f.verdict = Verdict::Fail;
            f.says = format!("the inlet was not put back: {why}");
            f.next = Some("put it back, then prove flow and take the baseline again".into());
        }
        Ok(_) => {
            ctx.progress(format!("inlet {inlet} is back: waiting for the fault to clear"), None, Some(seconds(wait_s)));
            let cleared = ctx.until_reading(seconds(wait_s + 60.0), |t| !t.reading.faults.has(Faults::FLOW)).await;
            if cleared.is_some() {
                f.verdict = Verdict::Pass;
                f.says = "the flow fault cleared when the inlet was put back".into();
            } else if ctx.latest().is_none() {
                f.says = "readings stopped: not shown whether the flow fault cleared".into();
            } else {
                f.verdict = Verdict::Fail;
                f.says = "the flow fault did not clear when the inlet was put back".into();
                f.likely = Some("the pipe is not pushed home as it was at the baseline".into());
                f.next = Some("seat and seal the pipe, and look again".into());
            }
        }
    }
    f
}

//! The band of the unit's own supervision, as it is configured. Not here: what it can see ([`crate::judge::band`]).
use crate::{context::Context, job::JobInputs, judge::band::Band};
use alloc::format;
use plumeline_detector::settings::Value;

/// The band in the settings as left, or the plan's where they state none.
pub(super) fn band(ctx: &Context, inputs: &JobInputs) -> Band {
    let s = ctx.get();
    let share = |key: &str| {
        let item = s.as_left.as_ref()?.get(key)?;
        let value = match item.value {
            Value::Int(n) => n as f64,
            Value::Number(x) => x,
            _ => return None,
        };
        (item.unit.as_deref() == Some("%") && value > 0.0 && value < 100.0).then_some(value / 100.0)
    };
    match (share("flow.low"), share("flow.high")) {
        (Some(low), Some(high)) => Band { low, high, from: "its settings as left".into() },
        _ => {
            let plan = &inputs.plan.limits.flow_band;
            Band { low: plan.value, high: plan.value, from: format!("not in its settings; {}", plan.source) }
        }
    }
}

//! Which stages a plan runs: their order, and what holds for a stage of which the plan says nothing more.
//!
//! Not here: what the stages do.
use super::raw;
use crate::{
    error::{Kind, Problem, Source},
    units::Dimension::Time,
    written::{Bounds, Spanned, choice},
};
use plumeline_procedure::{
    outcome::StageKind,
    plan::{Policy, StagePlan},
};

/// What holds for a stage of which the plan says nothing more (deadlines: common practice, no source).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct StageDefault {
    /// The stage.
    pub stage: StageKind,
    /// What happens when it does not pass.
    pub policy: Policy,
    /// How long it may take, s.
    pub deadline_s: u32,
}

pub(super) const DEADLINE: Bounds =
    Bounds::new(Time, 1.0, 172_800.0, "a stage's deadline", "a time from 1 s to 48 h, such as \"30 min\"");

/// The policies by name.
pub(super) const POLICIES: &[(&str, Policy)] =
    &[("stop", Policy::Stop), ("go-on", Policy::GoOn), ("skip", Policy::Skip)];

/// Every stage in its usual order with its defaults. What must hold before anything is risked stops the job when it
/// does not pass; what only measures goes on, and the verdict keeps what happened.
pub fn default_stages() -> [StageDefault; 17] {
    use Policy::{GoOn, Stop};
    StageKind::ALL.map(|stage| {
        let (policy, minutes) = match stage {
            // What is wrong on the bench stops the job by itself; that it could not be tried there does not.
            StageKind::Bench => (GoOn, 60),
            StageKind::Isolate => (Stop, 60),
            StageKind::AsFound => (GoOn, 60),
            StageKind::Swap => (Stop, 240),
            StageKind::Boot => (Stop, 15),
            StageKind::Load => (Stop, 30),
            StageKind::Settle => (GoOn, 30),
            StageKind::ProveFlow => (GoOn, 480),
            StageKind::Baseline => (GoOn, 30),
            StageKind::ProveSmoke => (GoOn, 240),
            StageKind::Purge => (GoOn, 60),
            StageKind::Supervise => (GoOn, 60),
            StageKind::Supply => (GoOn, 60),
            StageKind::Outputs => (GoOn, 60),
            StageKind::LastLook => (GoOn, 60),
            StageKind::Restore => (Stop, 60),
            StageKind::Close => (GoOn, 15),
        };
        StageDefault { stage, policy, deadline_s: minutes * 60 }
    })
}

/// A stage by name.
pub(super) fn stage(source: &Source<'_>, name: &Spanned<String>) -> Result<StageKind, Problem> {
    choice(source, name, "a stage", &StageKind::ALL.map(|s| (s.name(), s)))
}

pub(super) fn stages(
    source: &Source<'_>,
    list: Option<&Spanned<Vec<Spanned<raw::Stage>>>>,
    notes: &mut Vec<String>,
) -> Result<Vec<StagePlan>, Problem> {
    let defaults = default_stages();
    let Some(list) = list else {
        notes.push("stages: all, in their usual order with their usual policies and deadlines".to_owned());
        return Ok(defaults.map(|d| StagePlan { stage: d.stage, policy: d.policy, deadline_s: d.deadline_s }).into());
    };
    let mut plan: Vec<StagePlan> = Vec::new();
    for entry in list.as_ref() {
        let s = entry.as_ref();
        let kind = stage(source, &s.stage)?;
        if let Some(before) = plan.last().map(|p| p.stage).filter(|before| *before >= kind) {
            let cause = if before == kind {
                format!("the stage `{kind}` stands twice")
            } else {
                format!("the stage `{kind}` stands behind `{before}`")
            };
            let names: Vec<_> = StageKind::ALL.iter().map(|s| s.name()).collect();
            let remedy = format!("list stages once each, in this order: {}", names.join(", "));
            return Err(source.problem(Kind::Conflict, s.stage.span(), cause, remedy));
        }
        let default = defaults.iter().find(|d| d.stage == kind);
        let policy = match &s.policy {
            Some(name) => choice(source, name, "a policy", POLICIES)?,
            None => default.map_or(Policy::Stop, |d| d.policy),
        };
        let deadline_s = match &s.deadline {
            Some(q) => DEADLINE.read(source, q)? as u32,
            None => default.map_or(0, |d| d.deadline_s),
        };
        plan.push(StagePlan { stage: kind, policy, deadline_s });
    }
    check_isolation(source, list, &plan)?;
    Ok(plan)
}

/// Nothing that can operate an output comes without isolating first and restoring after.
fn check_isolation(
    source: &Source<'_>,
    list: &Spanned<Vec<Spanned<raw::Stage>>>,
    plan: &[StagePlan],
) -> Result<(), Problem> {
    use StageKind::{
        AsFound, Baseline, Boot, Isolate, Load, Outputs, ProveFlow, ProveSmoke, Restore, Supervise, Supply, Swap,
    };
    let runs = |kind| plan.iter().any(|p| p.stage == kind && p.policy != Policy::Skip);
    let risky = [AsFound, Swap, Boot, Load, ProveFlow, Baseline, ProveSmoke, Supervise, Supply, Outputs];
    if let Some(kind) = risky.into_iter().find(|k| runs(*k))
        && !runs(Isolate)
    {
        let cause = format!("the stage `{kind}` can operate outputs, but the plan does not run `isolate` before it");
        return Err(source.problem(Kind::Conflict, list.span(), cause, "add { stage = \"isolate\" } at the front"));
    }
    if runs(Isolate) && !runs(Restore) {
        let cause = "the plan isolates the zone and never restores it";
        return Err(source.problem(Kind::Conflict, list.span(), cause, "add { stage = \"restore\" } near the end"));
    }
    Ok(())
}

//! What a person names to be done again: a stage, a hole that is closed in turn, the releases of smoke at a hole.
//!
//! Not here: what is proven again when something was put right ([`crate::mending`]), and who asks (`crate::stages`).
use crate::{
    job::JobInputs,
    plan::HoleRef,
    stage::{StageKind, Traits},
};
use alloc::{collections::BTreeSet, format, string::String, vec::Vec};

/// What is done again.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Named {
    Stage(StageKind),
    /// This hole closed and opened again.
    Hole(HoleRef),
    /// Every release of smoke at this hole.
    Smoke(HoleRef),
}

/// The part of a stage that is done again; the rest of it stands.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) enum Part {
    /// Closing this hole.
    Hole(HoleRef),
    /// Closing every hole of these pipes.
    Pipes(BTreeSet<u8>),
    /// Releases of smoke at this pipe.
    Smoke(u8),
}
impl Part {
    pub(crate) fn has_hole(&self, hole: HoleRef) -> bool {
        match self {
            Self::Hole(h) => *h == hole,
            Self::Pipes(pipes) => pipes.contains(&hole.inlet),
            Self::Smoke(_) => false,
        }
    }
}

/// What can be named at all, in words.
pub(crate) const NAMES: &str = "a stage (prove-smoke), a hole (hole 1.4: pipe 1, hole 4) or its smoke (smoke 1.4)";

impl Named {
    /// What these words name; `None`: nothing that this job does.
    pub(crate) fn parse(inputs: &JobInputs, words: &str) -> Option<Self> {
        let words = words.trim().to_lowercase();
        if let Some(stage) = StageKind::parse(&words) {
            return Self::may_be_done_again(stage).then_some(Self::Stage(stage));
        }
        let hole = hole(inputs, &words)?;
        if ["smoke", "release"].iter().any(|w| words.contains(w)) {
            return inputs.plan.smoke.at.contains(&hole).then_some(Self::Smoke(hole));
        }
        let pipes = inputs.pipes();
        let pipe = pipes.iter().find(|p| p.inlet == hole.inlet)?;
        let closed = inputs.holes_to_close(pipe).0.iter().any(|(h, _)| *h == hole);
        (closed || inputs.plan.smoke.presence.contains(&hole)).then_some(Self::Hole(hole))
    }
    /// The site is not isolated anew and the units are not exchanged by a word.
    fn may_be_done_again(stage: StageKind) -> bool {
        let Traits { bound_to_settings, winds_down, .. } = stage.row().traits;
        bound_to_settings && (!winds_down || stage == StageKind::Purge)
    }
    /// As a person would name it.
    pub(crate) fn words(self) -> String {
        match self {
            Self::Stage(stage) => stage.name().into(),
            Self::Hole(h) => format!("hole {}.{}", h.inlet, h.number),
            Self::Smoke(h) => format!("smoke {}.{}", h.inlet, h.number),
        }
    }
    /// The stage that it belongs to.
    pub(crate) const fn stage(self) -> StageKind {
        match self {
            Self::Stage(stage) => stage,
            Self::Hole(_) => StageKind::ProveFlow,
            Self::Smoke(_) => StageKind::ProveSmoke,
        }
    }
    /// The part of it, where it is not the whole.
    pub(crate) const fn part(self) -> Option<Part> {
        match self {
            Self::Stage(_) => None,
            Self::Hole(hole) => Some(Part::Hole(hole)),
            Self::Smoke(hole) => Some(Part::Smoke(hole.inlet)),
        }
    }
    /// The stages that are done again with it, as far as they were done.
    pub(crate) fn voids(self) -> BTreeSet<StageKind> {
        let rests_on: Vec<StageKind> = match self.stage() {
            StageKind::Load => StageKind::with(|t| t.bound_to_settings),
            StageKind::Baseline => StageKind::with(|t| t.tests_baseline),
            _ => Vec::new(),
        };
        let mut stages: BTreeSet<StageKind> = rests_on.into_iter().chain([self.stage()]).collect();
        // Smoke is followed until it is gone; and what levels and latches did is told only where smoke was at the unit before.
        if stages.contains(&StageKind::ProveSmoke) || stages.contains(&StageKind::Purge) {
            stages.extend([StageKind::ProveSmoke, StageKind::Purge]);
        }
        stages
    }
}

/// `1.4`, `hole 4 of pipe 1`, `pipe 1 hole 4`; without a pipe where the job has only one.
fn hole(inputs: &JobInputs, words: &str) -> Option<HoleRef> {
    let parts: Vec<&str> = words.split(|c: char| !c.is_alphanumeric()).filter(|p| !p.is_empty()).collect();
    let behind = |word: &str| parts.iter().position(|p| *p == word).and_then(|at| parts.get(at + 1)?.parse().ok());
    let numbers: Vec<u32> = parts.iter().filter_map(|p| p.parse().ok()).collect();
    let pipes = inputs.pipes();
    let (inlet, number) = match (behind("pipe"), &numbers[..]) {
        (Some(pipe), [a, b]) => (pipe, behind("hole").unwrap_or(if pipe == *a { *b } else { *a })),
        (None, [pipe, hole]) => (*pipe, *hole),
        (None, [hole]) if pipes.len() == 1 => (u32::from(pipes.first()?.inlet), *hole),
        _ => return None,
    };
    let hole = HoleRef { inlet: u8::try_from(inlet).ok()?, number };
    inputs.opening(hole).map(|_| hole)
}

/// The pipes that these words or these places name, for what was put right at a hole; `None`: nobody can tell which.
pub(crate) fn pipes_of(inputs: &JobInputs, words: &str, places: impl IntoIterator<Item = u8>) -> Option<Part> {
    let named = hole(inputs, &words.to_lowercase()).map(|h| h.inlet);
    let pipes: BTreeSet<u8> = named.map_or_else(|| places.into_iter().collect(), |inlet| [inlet].into());
    (!pipes.is_empty()).then_some(Part::Pipes(pipes))
}

/// A stage that is done again, or a part of it: what the journal says of it.
pub(crate) fn why(words: &str) -> String {
    format!("done again: {}", words.trim())
}

//! What a job is made of before its first event, and what the pipework is predicted to do.
use crate::plan::{HoleChoice, HoleRef, Plan};
use alloc::{string::String, vec::Vec};
use plumeline_airflow::{
    defects::DefectShift,
    uncertainty::{OpeningPrediction, Prediction, alone::Alone, translate::Translation},
    warnings::{Remark, beyond_curve},
};
use plumeline_base::{
    pipework::{Drive, Opening, OpeningKind, Pipework},
    quantity::Estimate,
};
use plumeline_detector::settings::Settings;
use plumeline_unit::Description;

/// Everything that a job is judged by, checked and typed. Its files are hashed into the log before the first reading.
#[derive(Clone, Debug)]
pub struct JobInputs {
    /// The plan.
    pub plan: Plan,
    /// The pipework with the replacement's fan.
    pub pipework: Pipework,
    /// What the airflow engine predicts for it.
    pub prediction: Prediction,
    /// What each hole draws alone; empty where no hole is to be opened alone.
    pub alone: Vec<Alone>,
    /// Where the prediction leaves the ground that its model was checked on, and what looks poor in the design.
    pub warnings: Vec<Warned>,
    /// What becomes of the outgoing unit's flows on this unit; empty where its air path is not stated.
    pub translations: Vec<Translation>,
    /// By inlet: relative change of its flow per relative change of the fan's pressure.
    pub exponents: Vec<(u8, f64)>,
    /// What each defect at each opening does to the flows.
    pub defects: Vec<DefectShift>,
    /// The settings for the replacement; `None`: nothing is loaded, and the job stays undecided.
    pub to_load: Option<Settings>,
    /// The model of the outgoing unit, where it is described.
    pub outgoing: Option<Description>,
    /// The model of the replacement; `None`: what its settings mean is not known, and what hangs on it stays undecided.
    pub replacement: Option<Description>,
}

/// What a prediction says of itself.
#[derive(Clone, Debug, PartialEq)]
pub struct Warned {
    /// What it is, at its worst place.
    pub what: Remark,
    /// The same in words, with the places.
    pub says: String,
}
impl Warned {
    /// Whether it needs no word before the job: a limit of the plan tells it, or it is usual and the uncertainties hold it. The
    /// record has it all the same.
    pub const fn is_usual(&self) -> bool {
        use Remark::{Slow, SlowHole, Starved, Transition, Unbalanced};
        matches!(self.what, Starved(_) | Slow(_) | Unbalanced(_) | Transition(_) | SlowHole(_))
    }
    /// How far beyond the flows of its curve the fan works, as a share of what they span, where that is what is said.
    pub fn beyond_curve(&self, pipework: &Pipework) -> Option<f64> {
        match (self.what, &pipework.unit.drive) {
            (Remark::OutsideFanCurve(flow), Drive::Fan(fan)) => Some(beyond_curve(fan, flow)),
            _ => None,
        }
    }
}

/// A pipe: an inlet in use with its openings.
#[derive(Clone, Debug)]
pub(crate) struct Pipe {
    pub(crate) inlet: u8,
    /// Openings by position in `Pipework::openings`, by their numbers.
    pub(crate) openings: Vec<usize>,
    /// The same in the order in which a person reaches them.
    walk: Vec<usize>,
    /// When a person comes to this pipe, beside the others.
    pub(crate) turn: usize,
}

impl JobInputs {
    pub(crate) fn pipes(&self) -> Vec<Pipe> {
        let walks = self.pipework.walking_order().into_iter().enumerate();
        let mut pipes: Vec<(usize, Pipe)> = walks
            .map(|(turn, (index, walk))| {
                let mut openings = walk.clone();
                openings.sort_by_key(|&o| self.pipework.openings[o].number);
                (index, Pipe { inlet: self.pipework.inlets[index].number, openings, walk, turn })
            })
            .collect();
        // As the unit's inlets stand, whatever the way of a person.
        pipes.sort_by_key(|(index, _)| *index);
        pipes.into_iter().map(|(_, pipe)| pipe).collect()
    }
    pub(crate) fn opening(&self, hole: HoleRef) -> Option<(usize, &Opening)> {
        let pipe = self.pipes().into_iter().find(|p| p.inlet == hole.inlet)?;
        pipe.openings.into_iter().map(|o| (o, &self.pipework.openings[o])).find(|(_, o)| o.number == hole.number)
    }
    pub(crate) fn predicted(&self, opening: usize) -> Option<&OpeningPrediction> {
        self.prediction.openings.iter().find(|p| p.opening == opening)
    }
    /// The pipework as it is while an opening of it is measured: where one meter shows all flows, the other pipes are shut.
    pub(crate) fn open_beside(&self, opening: usize) -> Pipework {
        let own = self.pipes().into_iter().find(|p| p.openings.contains(&opening)).map(|p| p.inlet);
        match (self.plan.exhaust_meter(), own) {
            (Some(_), Some(own)) => pipe_alone(&self.pipework, own),
            _ => self.pipework.clone(),
        }
    }
    /// Every opening of a pipe that draws by design, as people name it.
    pub(crate) fn holes(&self, pipe: &Pipe) -> Vec<(HoleRef, usize)> {
        self.drawing(pipe.inlet, &pipe.openings)
    }
    fn drawing(&self, inlet: u8, openings: &[usize]) -> Vec<(HoleRef, usize)> {
        let open = |o: &Opening| !o.blocked && o.diameter_m > 0.0;
        openings
            .iter()
            .filter(|&&o| open(&self.pipework.openings[o]))
            .map(|&o| (HoleRef { inlet, number: self.pipework.openings[o].number }, o))
            .collect()
    }
    /// The holes of a pipe that the plan wants closed, with their openings, and those it leaves out; in the order of a walk.
    pub(crate) fn holes_to_close(&self, pipe: &Pipe) -> (Vec<(HoleRef, usize)>, Vec<HoleRef>) {
        let wanted = |(hole, opening): &(HoleRef, usize)| match &self.plan.holes.choice {
            HoleChoice::Reachable => self.pipework.openings[*opening].reachable,
            HoleChoice::These(list) => list.contains(hole),
            HoleChoice::None => false,
        };
        let (take, leave): (Vec<_>, Vec<_>) = self.drawing(pipe.inlet, &pipe.walk).into_iter().partition(wanted);
        (take, leave.into_iter().map(|(hole, _)| hole).collect())
    }
    /// The holes that are to be closed in turn, in the order in which they are asked for.
    pub fn walk(&self) -> Vec<HoleRef> {
        let mut pipes = self.pipes();
        pipes.sort_by_key(|pipe| pipe.turn);
        pipes.iter().flat_map(|pipe| self.holes_to_close(pipe).0).map(|(hole, _)| hole).collect()
    }
    /// Where smoke is released, in the order in which it is asked for.
    pub fn releases(&self) -> Vec<HoleRef> {
        self.as_walked(&self.plan.smoke.at)
    }
    /// Holes in the order of the walk that the pipework states. Where it states none, a list of the plan stands as it is written:
    /// whoever wrote it chose an order.
    pub(crate) fn as_walked(&self, holes: &[HoleRef]) -> Vec<HoleRef> {
        let mut holes = holes.to_vec();
        if !self.pipework.walk.is_empty() {
            let pipes = self.pipes();
            holes.sort_by_cached_key(|hole| {
                let pipe = pipes.iter().find(|p| p.inlet == hole.inlet)?;
                let at = pipe.walk.iter().position(|&o| self.pipework.openings[o].number == hole.number)?;
                Some((pipe.turn, at))
            });
        }
        holes
    }
    /// The words for a hole for somebody who is to go there: with what the pipework file says of the place.
    pub(crate) fn place_words(&self, hole: HoleRef, words: &str) -> String {
        let at = self.opening(hole).map(|(_, o)| o.whereabouts.words()).unwrap_or_default();
        alloc::format!("{words}{at}")
    }
    /// The flow of an inlet that is predicted, m3/s.
    pub(crate) fn predicted_flow(&self, inlet: u8) -> Option<Estimate> {
        self.prediction.inlets.iter().find(|p| p.number == inlet).map(|p| p.flow_m3_s)
    }
}

/// The pipework with every pipe shut but the one at this inlet: nothing enters at their openings, so that nothing flows in them.
pub fn pipe_alone(pipework: &Pipework, inlet: u8) -> Pipework {
    let mut alone = pipework.clone();
    let by_inlet = pipework.openings_by_inlet();
    for (of, openings) in pipework.inlets.iter().zip(by_inlet) {
        openings.into_iter().filter(|_| of.number != inlet).for_each(|o| alone.openings[o].blocked = true);
    }
    alone
}

/// The words for a hole.
pub(crate) fn hole_words(hole: HoleRef, kind: OpeningKind) -> alloc::string::String {
    match kind {
        OpeningKind::Hole => alloc::format!("hole {} of pipe {}", hole.number, hole.inlet),
        OpeningKind::EndCap => alloc::format!("the end cap (hole {}) of pipe {}", hole.number, hole.inlet),
        OpeningKind::OpenEnd => alloc::format!("the open end (hole {}) of pipe {}", hole.number, hole.inlet),
    }
}

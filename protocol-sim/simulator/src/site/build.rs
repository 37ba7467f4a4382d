//! What was built, as against what was designed; and what the defects make of it.
use super::place::Place;
use crate::{
    defect::{DefectKind, Since},
    physics::{
        Laws,
        network::{Joint, Network, OPEN_END_DISCHARGE, USUAL_BORE_M},
    },
    rng::Stream,
    scenario::Scatter,
};
use plumeline_base::pipework::{AirPath, Drive, Node, NodeId, Opening, OpeningKind, Pipework, Segment, SegmentKind};

/// Streams of the site's draws; units have seeds of their own.
const STREAM_BUILT: u64 = 0x51_0000;

/// Draws what was built around the design.
pub(crate) fn as_built(design: &Pipework, scatter: &Scatter, seed: u64) -> Pipework {
    let mut p = design.clone();
    let mut id = STREAM_BUILT;
    let mut draw = |spread, n| {
        id += 1;
        Stream::new(seed, id).factors(scatter.law, spread, n)
    };
    let (segments, openings) = (p.segments.len(), p.openings.len());
    let diameter = draw(scatter.diameter, openings);
    let discharge = draw(scatter.discharge, openings);
    let length = draw(scatter.length, segments);
    let bore = draw(scatter.bore, segments);
    let roughness = draw(scatter.roughness, segments);
    let minor = draw(scatter.minor_k, segments);
    for (i, o) in p.openings.iter_mut().enumerate() {
        o.diameter_m *= diameter[i];
        o.discharge *= discharge[i];
    }
    for (i, s) in p.segments.iter_mut().enumerate() {
        s.length_m *= length[i];
        s.bore_m *= bore[i];
        s.roughness_m *= roughness[i];
        s.minor_k *= minor[i];
    }
    p
}
/// Draws one unit's own air path around its model's.
pub(super) fn unit_as_built(path: &AirPath, scatter: &Scatter, seed: u64) -> AirPath {
    let mut unit = path.clone();
    let one = |spread, id| Stream::new(seed, STREAM_BUILT + id).factors(scatter.law, spread, 1)[0];
    let (fan, loss, volume) = (one(scatter.fan, 100), one(scatter.unit_loss, 101), one(scatter.unit_volume, 102));
    unit.volume_m3 *= volume;
    unit.loss.linear *= loss;
    unit.loss.quadratic *= loss;
    if let Drive::Fan(f) = &mut unit.drive {
        f.curve.iter_mut().for_each(|p| p.pressure_pa *= fan);
    }
    unit
}

/// An installation: pipework, how its inlets are joined up, and the unit.
#[derive(Clone, Debug)]
pub(super) struct Works {
    pub(super) pipework: Pipework,
    pub(super) joints: Vec<Joint>,
    pub(super) loose: Vec<NodeId>,
    pub(super) unit: AirPath,
}
impl Works {
    /// All pipes in their own inlets.
    pub(super) fn sound(pipework: Pipework, unit: AirPath) -> Self {
        let joints = pipework.inlets.iter().map(|i| Joint { node: i.node, ..Joint::default() }).collect();
        Self { pipework, joints, loose: Vec::new(), unit }
    }
    /// A unit on the bench: no pipes, every inlet open.
    pub(super) fn bench(pipework: &Pipework, unit: AirPath) -> Self {
        let empty = Pipework {
            nodes: Vec::new(),
            segments: Vec::new(),
            openings: Vec::new(),
            known: pipework.known.clone(),
            inlets: pipework.inlets.clone(),
            name: pipework.name.clone(),
            unit: pipework.unit.clone(),
            air: pipework.air,
            walk: Vec::new(),
        };
        let joints = empty.inlets.iter().map(|_| Joint { open: true, ..Joint::default() }).collect();
        Self { pipework: empty, joints, loose: Vec::new(), unit }
    }
    pub(super) fn network(&self, laws: Laws) -> Result<Network, String> {
        Network::new(&self.pipework, &self.joints, &self.loose, &self.unit, laws)
    }
    /// Takes a pipe off its inlet: both ends are open to the room.
    pub(super) fn take_off(&mut self, inlet: usize) {
        if let Some(joint) = self.joints.get_mut(inlet)
            && let Some(node) = joint.node.take()
        {
            *joint = Joint { open: true, shut: joint.shut, ..Joint::default() };
            self.loose.push(node);
        }
    }
    /// The first inlet without a pipe leaks as much as a hole of this diameter, m.
    pub(super) fn leak(&mut self, leak_m: f64) {
        if leak_m > 0.0
            && let Some(joint) = self.joints.iter_mut().find(|j| j.node.is_none())
        {
            *joint = Joint { open: true, leak_m, ..*joint };
        }
    }
    /// Makes the defect at its place, if it is one of the air's and of this time.
    pub(super) fn spoil(&mut self, place: &Place, since: Since) {
        let severity = place.defect.severity();
        if place.defect.kind.since() != since {
            return;
        }
        let openings = &mut self.pipework.openings;
        match place.defect.kind {
            DefectKind::HoleBlocked | DefectKind::HolesBlocked | DefectKind::CapBlocked => {
                place.openings.iter().for_each(|&i| openings[i].blocked = true);
            }
            DefectKind::HolePartlyBlocked => {
                place.openings.iter().for_each(|&i| openings[i].diameter_m *= libm::sqrt(1.0 - severity));
            }
            DefectKind::WrongHoleDrilled => {
                place.openings.iter().for_each(|&i| openings[i].diameter_m *= severity);
            }
            DefectKind::EndCapMissing => {
                for &i in &place.openings {
                    let node = openings[i].node;
                    let bore = self.pipework.segments.iter().find(|s| s.far == node).map_or(USUAL_BORE_M, |s| s.bore_m);
                    openings[i].kind = OpeningKind::OpenEnd;
                    openings[i].diameter_m = bore;
                    openings[i].discharge = OPEN_END_DISCHARGE;
                }
            }
            DefectKind::PipeOff => self.take_off(place.inlet),
            DefectKind::PipeHalfSeated => {
                self.joints.get_mut(place.inlet).into_iter().for_each(|j| j.leak_m = severity / 1000.0);
            }
            DefectKind::PipeBroken => self.break_pipe(place.inlet, severity),
            DefectKind::PipesCrossed => {
                if let Some(other) = place.other
                    && place.inlet.max(other) < self.joints.len()
                {
                    self.joints.swap(place.inlet, other);
                }
            }
            DefectKind::InletLeftOpen => {
                self.joints.get_mut(place.inlet).into_iter().for_each(|j| j.open = true);
            }
            DefectKind::FilterClogged => {
                self.unit.loss.linear *= severity;
                self.unit.loss.quadratic *= severity;
            }
            DefectKind::ExhaustOff => {
                self.unit.exhaust_loss = Default::default();
                self.unit.exhaust_pa += severity;
            }
            DefectKind::CapillaryKinked => {
                place
                    .segment
                    .and_then(|s| self.pipework.segments.get_mut(s))
                    .into_iter()
                    .for_each(|s| s.bore_m *= severity);
            }
            // Not of the air.
            DefectKind::FanSettingWrong | DefectKind::SettingLost | DefectKind::WiresCrossed => {}
        }
    }
    /// Breaks the main run from an inlet at a share of its length: both stumps are open to the room.
    fn break_pipe(&mut self, inlet: usize, share: f64) {
        let p = &mut self.pipework;
        let Some(start) = self.joints.get(inlet).and_then(|j| j.node) else { return };
        let mut run = Vec::new();
        let mut at = start;
        while let Some(i) = p.segments.iter().position(|s| s.near == at && s.kind == SegmentKind::Pipe)
            && !run.contains(&i)
        {
            run.push(i);
            at = p.segments[i].far;
        }
        let total: f64 = run.iter().map(|&i| p.segments[i].length_m).sum();
        let mut left = total * share;
        for i in run {
            let whole = p.segments[i].clone();
            if left > whole.length_m {
                left -= whole.length_m;
                continue;
            }
            let here = (left / whole.length_m).clamp(0.01, 0.99);
            let ends = [(); 2].map(|()| p.nodes.len() as u32);
            let ends = [ends[0], ends[1] + 1];
            let elevation = |n: NodeId| p.nodes.get(n as usize).map_or(0.0, |n| n.elevation_m);
            let (low, high) = (elevation(whole.near), elevation(whole.far));
            let height = low + here * (high - low);
            p.nodes.extend([Node { elevation_m: height }, Node { elevation_m: height }]);
            p.segments[i] = Segment {
                far: ends[0],
                length_m: whole.length_m * here,
                minor_k: whole.minor_k * here,
                ..whole.clone()
            };
            let rest = 1.0 - here;
            let number = p.openings.len() as u32 + 1000;
            p.openings.extend(ends.map(|node| Opening {
                node,
                number,
                kind: OpeningKind::OpenEnd,
                diameter_m: whole.bore_m,
                discharge: OPEN_END_DISCHARGE,
                blocked: false,
                outside_pa: 0.0,
                reachable: false,
                known: whole.known,
                whereabouts: Default::default(),
            }));
            p.segments.push(Segment {
                near: ends[1],
                length_m: whole.length_m * rest,
                minor_k: whole.minor_k * rest,
                ..whole
            });
            return;
        }
    }
}

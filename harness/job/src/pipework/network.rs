//! The explicit form: nodes by name, segments between them, openings and inlets at them. It can say any network,
//! and shares its names with the marks of runs.
//!
//! Not here: runs, and what the two forms share.
use super::{
    build::{Builder, Facts},
    raw,
};
use crate::{
    error::{Kind, Problem},
    tables,
    written::{ReadOr, choice, whole},
};
use plumeline_base::pipework::{NodeId, Opening, OpeningKind, Segment, SegmentKind, Whereabouts};
use std::collections::BTreeSet;

/// The kinds of openings by name.
pub(super) const OPENING_KINDS: &[(&str, OpeningKind)] =
    &[("hole", OpeningKind::Hole), ("end cap", OpeningKind::EndCap), ("open end", OpeningKind::OpenEnd)];

impl Builder<'_> {
    pub(super) fn network(&mut self, file: &raw::File, facts: Facts) -> Result<(), Problem> {
        for n in &file.node {
            let height = n.height.read_or(self.source, 0.0)?;
            let node = self.node(height);
            self.name(&n.name, node)?;
        }
        for s in &file.segment {
            self.segment(s, facts)?;
        }
        let bores = self.widest_bores();
        for o in &file.opening {
            self.explicit_opening(o, facts, &bores)?;
        }
        self.explicit_inlets(file)?;
        self.check_numbers()
    }

    fn segment(&mut self, s: &raw::Segment, facts: Facts) -> Result<(), Problem> {
        let (near, far) = (self.named(&s.near)?, self.named(&s.far)?);
        if near == far {
            let cause = "the segment begins and ends at one point";
            return Err(self.source.problem(Kind::Conflict, s.far.span(), cause, "name two different nodes"));
        }
        let length_m = s.length.read(self.source)?;
        let rise = self.height(far) - self.height(near);
        if rise.abs() > length_m * (1.0 + 1e-9) {
            let cause = format!("its ends are {} m apart in height, more than its length", rise.abs());
            return Err(self.source.problem(Kind::Range, s.length.span(), cause, "check the heights and the length"));
        }
        let mut minor_k = s.k.read_or(self.source, 0.0)?;
        for name in &s.fittings {
            minor_k += self.fitting(name)?;
        }
        let segment = Segment {
            near,
            far,
            kind: if s.capillary == Some(true) { SegmentKind::Capillary } else { SegmentKind::Pipe },
            length_m,
            bore_m: s.bore.read_or(self.source, facts.bore_m)?,
            roughness_m: s.roughness.read_or(self.source, facts.roughness_m)?,
            minor_k,
            air_temperature_c: self.temperature(s.temperature.as_ref())?,
            known: Self::known(self.basis(s.basis.as_ref(), facts.basis)?),
        };
        self.add_segment(segment, s.length.span()).map(|_| ())
    }

    /// The widest pipe at each node.
    fn widest_bores(&self) -> Vec<f64> {
        let mut bores = vec![0.0_f64; self.nodes.len()];
        for s in &self.segments {
            for end in [s.near, s.far] {
                if let Some(b) = bores.get_mut(end as usize) {
                    *b = b.max(s.bore_m);
                }
            }
        }
        bores
    }

    fn explicit_opening(&mut self, o: &raw::Opening, facts: Facts, bores: &[f64]) -> Result<(), Problem> {
        let node = self.named(&o.node)?;
        let kind = match &o.kind {
            Some(name) => choice(self.source, name, "a kind of opening", OPENING_KINDS)?,
            None => OpeningKind::Hole,
        };
        let default_discharge = if kind == OpeningKind::OpenEnd { tables::OPEN_END_DISCHARGE } else { facts.discharge };
        let opening = Opening {
            node,
            number: whole(self.source, &o.number, 1, super::MAX_OPENINGS as i64, "a hole's number")?,
            kind,
            diameter_m: o.diameter.read(self.source)?,
            discharge: o.discharge.read_or(self.source, default_discharge)?,
            blocked: o.blocked.unwrap_or(false),
            outside_pa: o.outside.read_or(self.source, 0.0)?,
            reachable: o.reachable.unwrap_or(true),
            known: Self::known(self.basis(o.basis.as_ref(), facts.basis)?),
            whereabouts: Whereabouts::default(),
        };
        let bore = bores.get(node as usize).copied().unwrap_or(0.0);
        if bore == 0.0 {
            let cause = "no segment ends at the node of this opening";
            let remedy = "lay a segment to it, or name the node where the opening is";
            return Err(self.source.problem(Kind::Conflict, o.node.span(), cause, remedy));
        }
        self.add_opening(opening, bore, o.diameter.span())?;
        let last = self.openings.len() - 1;
        if let Some(label) = &o.label {
            self.label(last, label.as_ref(), label)?;
        }
        if let Some(place) = &o.place {
            self.place(last, place.as_ref(), place)?;
        }
        Ok(())
    }

    /// An [[inlet]] gives an inlet its node, or says more of one that a pipe has, or stands for one that is plugged.
    fn explicit_inlets(&mut self, file: &raw::File) -> Result<(), Problem> {
        let mut seen = BTreeSet::new();
        for i in &file.inlet {
            let n: u8 = whole(self.source, &i.number, 1, super::MAX_INLETS as i64, "an inlet's number")?;
            let node = i.node.as_ref().map(|name| self.named(name)).transpose()?;
            let suction = i.suction.as_ref().map(|q| q.read(self.source)).transpose()?;
            let known = self.inlets.get_mut(&n).filter(|_| seen.insert(n) && node.is_none());
            match known {
                Some((_, of_pipe)) => *of_pipe = of_pipe.or(suction),
                None => {
                    seen.insert(n);
                    self.claim(&i.number, node, suction)?;
                }
            }
        }
        Ok(())
    }

    /// Every opening hangs on an inlet, and its number is its own along that inlet's pipe.
    fn check_numbers(&self) -> Result<(), Problem> {
        let owners = self.owners();
        let mut taken = BTreeSet::new();
        for (o, span) in self.openings.iter().zip(&self.spans) {
            let Some(inlet) = owners.get(o.node as usize).copied().flatten() else {
                let cause = "this opening is joined to no inlet";
                let remedy = "lay segments from an inlet's node to its node";
                return Err(self.source.problem(Kind::Conflict, span.clone(), cause, remedy));
            };
            if !taken.insert((inlet, o.number)) {
                let cause = format!("hole {} of inlet {inlet} stands twice", o.number);
                let remedy =
                    "give each hole that an inlet reaches its own number (`number_from` starts a run's numbers higher)";
                return Err(self.source.problem(Kind::Duplicate, span.clone(), cause, remedy));
            }
        }
        Ok(())
    }

    /// The inlet, by number, that each node hangs on; the lowest where several do.
    fn owners(&self) -> Vec<Option<u8>> {
        let mut next: Vec<Vec<NodeId>> = vec![Vec::new(); self.nodes.len()];
        for s in &self.segments {
            for (a, b) in [(s.near, s.far), (s.far, s.near)] {
                if let Some(list) = next.get_mut(a as usize) {
                    list.push(b);
                }
            }
        }
        let mut owner = vec![None; self.nodes.len()];
        for (number, (node, _)) in &self.inlets {
            let mut stack: Vec<NodeId> = node.iter().copied().collect();
            while let Some(at) = stack.pop() {
                if let Some(slot @ None) = owner.get_mut(at as usize) {
                    *slot = Some(*number);
                    stack.extend(next.get(at as usize).into_iter().flatten());
                }
            }
        }
        owner
    }
}

//! The usual form of a pipe: its run, walked from the unit outward, step by step.
//!
//! Holes, caps and open ends are numbered, usually from 1, in the order in which the run names them, those of a branch where
//! the branch stands. Not here: the explicit form, and what the two share.
use super::{
    bounds,
    build::{Builder, Facts, mm},
    raw::{self, OneOrEach, Step},
    step::{Is, kind_of},
};
use crate::{
    error::{Kind, Problem},
    tables,
    written::{Bounded, Q, ReadOr, Spanned, Written, whole},
};
use plumeline_base::pipework::{NodeId, Opening, OpeningKind, Segment, SegmentKind, Whereabouts};
use std::ops::Range;

/// Deepest nesting of branches.
const MAX_DEPTH: u32 = 32;

/// Where the walk is.
struct Walk {
    at: NodeId,
    /// The segment that ends here with nothing between, for fittings and joins.
    just_laid: Option<usize>,
    /// The last segment of this run, for changes of bore.
    last: Option<usize>,
    /// Losses that wait for the next segment.
    waiting_k: f64,
    ended: bool,
}

impl Builder<'_> {
    /// A whole pipe: its run, then what is different at some holes.
    pub(super) fn pipe(&mut self, pipe: &Spanned<raw::Pipe>, facts: Facts) -> Result<(), Problem> {
        let p = pipe.as_ref();
        let facts = self.facts(
            facts,
            &raw::Defaults {
                bore: p.bore.clone(),
                roughness: p.roughness.clone(),
                discharge: p.discharge.clone(),
                basis: p.basis.clone(),
            },
        )?;
        let suction = p.suction.as_ref().map(|q| q.read(self.source)).transpose()?;
        let start = self.node(0.0);
        self.claim(&p.inlet, Some(start), suction)?;
        let first = self.openings.len();
        let number_from: u32 = match &p.number_from {
            Some(n) => whole(self.source, n, 1, super::MAX_OPENINGS as i64, "a hole's number")?,
            None => 1,
        };
        let mut number = number_from - 1;
        self.run(&p.run, start, 0.0, facts, &mut number, 0)?;
        for except in &p.except {
            self.except(except.as_ref(), first, i64::from(number_from))?;
        }
        Ok(())
    }

    fn run(
        &mut self,
        steps: &Spanned<Vec<Spanned<Step>>>,
        at: NodeId,
        waiting_k: f64,
        facts: Facts,
        number: &mut u32,
        depth: u32,
    ) -> Result<(), Problem> {
        if depth > MAX_DEPTH {
            let cause = format!("branches are nested more than {MAX_DEPTH} deep");
            return Err(self.source.problem(Kind::TooLarge, steps.span(), cause, "use nodes and segments instead"));
        }
        let mut walk = Walk { at, just_laid: None, last: None, waiting_k, ended: false };
        for step in steps.as_ref() {
            if walk.ended {
                let cause = "the run goes on behind its end";
                return Err(self.source.problem(Kind::Conflict, step.span(), cause, "remove this step, or the end"));
            }
            let s = step.as_ref();
            match kind_of(self.source, step)? {
                Is::Pipe(q) => {
                    let length = q.read(self.source)?;
                    let rise = self.rise(s, length)?;
                    self.lay(&mut walk, step, length, rise, facts)?;
                }
                Is::Fitting(name) => self.add_fitting(&mut walk, s, name)?,
                Is::Hole(q) => {
                    let diameter = q.read(self.source)?;
                    self.opening(&mut walk, step, OpeningKind::Hole, diameter, facts, number)?;
                    self.name_last(step, 0, 1)?;
                }
                Is::Holes(count) => self.holes(&mut walk, step, count, facts, number)?,
                Is::HolesAt(places) => self.holes_at(&mut walk, step, places, facts, number)?,
                Is::Branch(arms) => {
                    let k_branch = self.k_or(s.loss.k_branch.as_ref(), "tee branch")?;
                    walk.waiting_k += self.k_or(s.loss.k_run.as_ref(), "tee through")?;
                    walk.just_laid = None;
                    let bore_m = s.of_pipe.bore.read_or(self.source, facts.bore_m)?;
                    self.run(arms, walk.at, k_branch, Facts { bore_m, ..facts }, number, depth + 1)?;
                }
                Is::Mark(name) => {
                    self.name(name, walk.at)?;
                    walk.just_laid = None;
                }
                Is::Join(name) => self.join(&mut walk, name)?,
                Is::Cap(cap) => {
                    let blind = matches!(cap.as_ref(), Written::Text(t) if t == "blind");
                    let diameter = if blind { 0.0 } else { bounds::Cap::BOUNDS.read(self.source, cap)? };
                    walk.ended = true;
                    self.opening(&mut walk, step, OpeningKind::EndCap, diameter, facts, number)?;
                    self.name_last(step, 0, 1)?;
                }
                Is::Open(open) => {
                    if !*open.as_ref() {
                        let cause = "an end that is not open needs a cap";
                        let remedy = "write `{ open = true }`, or `{ cap = \"4 mm\" }`";
                        return Err(self.source.problem(Kind::Range, open.span(), cause, remedy));
                    }
                    let bore = walk.last.and_then(|i| self.segments.get(i)).map_or(facts.bore_m, |seg| seg.bore_m);
                    walk.ended = true;
                    self.opening(&mut walk, step, OpeningKind::OpenEnd, bore, facts, number)?;
                    self.name_last(step, 0, 1)?;
                }
            }
        }
        if !walk.ended {
            let remedy = "end it with { cap = \"4 mm\" }, { cap = \"blind\" }, { open = true } or { join = \"…\" }";
            return Err(self.source.problem(Kind::MissingKey, steps.span(), "the run has no end", remedy));
        }
        if walk.waiting_k > 0.0 {
            let cause = "a fitting or tee stands at the end of the run, with no pipe behind it";
            let remedy = "put the pipe behind it, or the fitting before the last hole's pipe";
            return Err(self.source.problem(Kind::Conflict, steps.span(), cause, remedy));
        }
        Ok(())
    }

    /// A straight length from where the walk is to a new point.
    fn lay(
        &mut self,
        walk: &mut Walk,
        step: &Spanned<Step>,
        length_m: f64,
        rise_m: f64,
        facts: Facts,
    ) -> Result<(), Problem> {
        let s = step.as_ref();
        let bore_m = s.of_pipe.bore.read_or(self.source, facts.bore_m)?;
        let mut minor_k = std::mem::take(&mut walk.waiting_k);
        if let Some(previous) = walk.last.and_then(|i| self.segments.get_mut(i)) {
            let k = tables::change_of_bore(previous.bore_m, bore_m);
            // The loss is on the smaller bore's velocity head, so it belongs to the smaller one.
            if bore_m < previous.bore_m { minor_k += k } else { previous.minor_k += k }
        }
        let far = self.node(self.height(walk.at) + rise_m);
        let segment = Segment {
            near: walk.at,
            far,
            kind: SegmentKind::Pipe,
            length_m,
            bore_m,
            roughness_m: s.of_pipe.roughness.read_or(self.source, facts.roughness_m)?,
            minor_k,
            air_temperature_c: self.temperature(s.of_pipe.temperature.as_ref())?,
            known: Self::known(self.basis(s.of_pipe.basis.as_ref(), facts.basis)?),
        };
        let laid = self.add_segment(segment, step.span())?;
        *walk = Walk { at: far, just_laid: Some(laid), last: Some(laid), waiting_k: 0.0, ended: false };
        Ok(())
    }

    pub(super) fn temperature(&self, q: Option<&Q<bounds::Temperature>>) -> Result<Option<f64>, Problem> {
        q.map(|q| q.read(self.source)).transpose()
    }

    fn k_or(&mut self, stated: Option<&Q<bounds::K>>, name: &'static str) -> Result<f64, Problem> {
        match stated {
            Some(q) => q.read(self.source),
            None => Ok(self.built_in_fitting(name)),
        }
    }

    fn rise(&self, s: &Step, length: f64) -> Result<f64, Problem> {
        let Some(q) = &s.of_pipe.rise else { return Ok(0.0) };
        let rise = q.read(self.source)?;
        if rise.abs() > length * (1.0 + 1e-9) {
            let cause = format!("the pipe can't rise {rise} m over {length} m of length");
            return Err(self.source.problem(Kind::Range, q.span(), cause, "check the rise and the length"));
        }
        Ok(rise)
    }

    /// A fitting counts on the pipe before it, or, straight behind the unit, a hole or a tee, on the pipe behind it.
    fn add_fitting(&mut self, walk: &mut Walk, s: &Step, name: &Spanned<String>) -> Result<(), Problem> {
        let k = match &s.loss.k {
            Some(k) => k.read(self.source)?,
            None => self.fitting(name)?,
        };
        let count: u16 = match &s.loss.count {
            Some(n) => whole(self.source, n, 1, 1000, "a count of fittings")?,
            None => 1,
        };
        let k = k * f64::from(count);
        match walk.just_laid.and_then(|i| self.segments.get_mut(i)) {
            Some(before) => before.minor_k += k,
            None => walk.waiting_k += k,
        }
        Ok(())
    }

    /// A hole, cap or open end where the walk is, or at the end of a drop tube from there.
    fn opening(
        &mut self,
        walk: &mut Walk,
        step: &Spanned<Step>,
        kind: OpeningKind,
        diameter_m: f64,
        facts: Facts,
        number: &mut u32,
    ) -> Result<(), Problem> {
        let s = step.as_ref();
        let basis = self.basis(s.of_pipe.basis.as_ref(), facts.basis)?;
        let default_discharge = if kind == OpeningKind::OpenEnd { tables::OPEN_END_DISCHARGE } else { facts.discharge };
        let pipe_bore = walk.last.and_then(|i| self.segments.get(i)).map_or(facts.bore_m, |seg| seg.bore_m);
        let (mut node, mut bore_m) = (walk.at, pipe_bore);
        if let Some(tube) = &s.of_hole.drop {
            (node, bore_m) = self.drop_tube(walk.at, tube, basis, facts)?;
        }
        *number += 1;
        let opening = Opening {
            node,
            number: *number,
            kind,
            diameter_m,
            discharge: s.of_hole.discharge.read_or(self.source, default_discharge)?,
            blocked: s.of_hole.blocked.as_ref().is_some_and(|b| *b.as_ref()),
            outside_pa: s.of_hole.outside.read_or(self.source, 0.0)?,
            reachable: s.of_hole.reachable.as_ref().is_none_or(|b| *b.as_ref()),
            known: Self::known(basis),
            whereabouts: Whereabouts::default(),
        };
        walk.just_laid = None;
        self.add_opening(opening, bore_m, step.span())
    }

    fn drop_tube(
        &mut self,
        near: NodeId,
        tube: &Spanned<raw::DropTube>,
        basis: plumeline_base::pipework::Basis,
        facts: Facts,
    ) -> Result<(NodeId, f64), Problem> {
        let t = tube.as_ref();
        let length_m = t.length.read(self.source)?;
        let bore_m = t.bore.read(self.source)?;
        let rise = t.rise.read_or(self.source, 0.0)?;
        let far = self.node(self.height(near) + rise);
        let segment = Segment {
            near,
            far,
            kind: SegmentKind::Capillary,
            length_m,
            bore_m,
            roughness_m: facts.roughness_m,
            minor_k: t.k.read_or(self.source, tables::EXIT_K)?,
            air_temperature_c: None,
            known: Self::known(basis),
        };
        self.add_segment(segment, tube.span())?;
        Ok((far, bore_m))
    }

    /// `holes = 10`: each behind a length of pipe.
    fn holes(
        &mut self,
        walk: &mut Walk,
        step: &Spanned<Step>,
        count: &Spanned<i64>,
        facts: Facts,
        number: &mut u32,
    ) -> Result<(), Problem> {
        let s = step.as_ref();
        let n: u32 = whole(self.source, count, 1, super::MAX_OPENINGS as i64, "a count of holes")?;
        let every = match (&s.row.every, &s.row.first) {
            (Some(q), _) => q.read(self.source)?,
            (None, Some(_)) if n == 1 => 0.0,
            _ => {
                let remedy = "add how far they are apart, such as `every = \"4 m\"`";
                return Err(self.source.problem(Kind::MissingKey, step.span(), "the holes have no spacing", remedy));
            }
        };
        let first = s.row.first.read_or(self.source, every)?;
        let whole_length = first + every * f64::from(n - 1);
        let rise = self.rise(s, whole_length)?;
        for i in 0..n {
            let length = if i == 0 { first } else { every };
            // A first hole at distance 0 sits where the walk is.
            if length > 0.0 {
                self.lay(walk, step, length, rise * length / whole_length, facts)?;
            }
            let diameter = self.diameter(step, i as usize, n as usize)?;
            self.opening(walk, step, OpeningKind::Hole, diameter, facts, number)?;
            self.name_last(step, i as usize, n as usize)?;
        }
        Ok(())
    }

    /// `holes_at = ["1 m", "3.5 m"]`: distances from where this step begins.
    fn holes_at(
        &mut self,
        walk: &mut Walk,
        step: &Spanned<Step>,
        places: &Spanned<Vec<Q<bounds::Distance>>>,
        facts: Facts,
        number: &mut u32,
    ) -> Result<(), Problem> {
        let s = step.as_ref();
        let mut distances = Vec::with_capacity(places.as_ref().len());
        for q in places.as_ref() {
            let d = q.read(self.source)?;
            if distances.last().is_some_and(|last| *last >= d) {
                let cause = "the holes do not go by rising distance";
                let remedy = "sort them; distances count from where this step begins";
                return Err(self.source.problem(Kind::Range, q.span(), cause, remedy));
            }
            distances.push(d);
        }
        let Some(end) = distances.last().copied() else {
            let remedy = "give distances, such as [\"1 m\", \"3.5 m\"], or remove the step";
            return Err(self.source.problem(Kind::Range, places.span(), "the list of holes is empty", remedy));
        };
        let rise = self.rise(s, end)?;
        let mut before = 0.0;
        for (i, distance) in distances.iter().enumerate() {
            let length = distance - before;
            if length > 0.0 {
                self.lay(walk, step, length, rise * length / end, facts)?;
            }
            before = *distance;
            let diameter = self.diameter(step, i, distances.len())?;
            self.opening(walk, step, OpeningKind::Hole, diameter, facts, number)?;
            self.name_last(step, i, distances.len())?;
        }
        Ok(())
    }

    /// The diameter of the `i`th of `n` holes of a step.
    fn diameter(&self, step: &Spanned<Step>, i: usize, n: usize) -> Result<f64, Problem> {
        let Some(diameter) = &step.as_ref().row.diameter else {
            let remedy = "add `diameter = \"3 mm\"`";
            return Err(self.source.problem(Kind::MissingKey, step.span(), "the holes have no diameter", remedy));
        };
        match diameter.as_ref() {
            OneOrEach::One(w) => bounds::Diameter::BOUNDS.read_at(self.source, w, diameter.span()),
            OneOrEach::Each(all) => match all.get(i).filter(|_| all.len() == n) {
                Some(q) => q.read(self.source),
                None => {
                    let cause = format!("there are {} diameters for {n} holes", all.len());
                    let remedy = "give one diameter for all, or one for each";
                    Err(self.source.problem(Kind::Conflict, diameter.span(), cause, remedy))
                }
            },
        }
    }

    /// Ends the run at a named point, which closes a ring.
    fn join(&mut self, walk: &mut Walk, name: &Spanned<String>) -> Result<(), Problem> {
        let target = self.named(name)?;
        let laid = walk.just_laid.filter(|_| walk.at as usize + 1 == self.nodes.len() && walk.at != target);
        let Some(laid) = laid else {
            let remedy = "put a `pipe` step straight before the `join`";
            return Err(self.source.problem(Kind::Conflict, name.span(), "no pipe leads to the point to join", remedy));
        };
        let (here, there) = (self.height(walk.at), self.height(target));
        if (here - there).abs() > 1e-3 {
            let cause = format!("the run ends {} mm above the point that it joins", mm(here - there));
            let remedy = "correct the `rise` of its pipes: heights must meet within 1 mm";
            return Err(self.source.problem(Kind::Conflict, name.span(), cause, remedy));
        }
        self.nodes.pop();
        if let Some(segment) = self.segments.get_mut(laid) {
            segment.far = target;
        }
        walk.ended = true;
        Ok(())
    }

    fn except(&mut self, e: &raw::Except, first: usize, number_from: i64) -> Result<(), Problem> {
        let source = self.source;
        let basis = e.basis.as_ref().map(|b| self.basis(Some(b), Default::default())).transpose()?;
        let diameter = e.diameter.as_ref().map(|q| q.read(source)).transpose()?;
        let discharge = e.discharge.as_ref().map(|q| q.read(source)).transpose()?;
        let outside = e.outside.as_ref().map(|q| q.read(source)).transpose()?;
        let count = self.openings.len() - first;
        for hole in e.holes.as_ref() {
            let at: Range<usize> = hole.span();
            let last = number_from + count as i64 - 1;
            let n: i64 = whole(source, hole, number_from, last, "the number of a hole of this pipe")?;
            let i = usize::try_from(n - number_from).unwrap_or(usize::MAX);
            let Some(opening) = self.openings.get_mut(first.saturating_add(i)) else { continue };
            if let Some(d) = diameter {
                if opening.kind == OpeningKind::OpenEnd {
                    let cause = "an open end has the diameter of its pipe";
                    return Err(source.problem(Kind::Conflict, at, cause, "remove its diameter, or cap the pipe"));
                }
                opening.diameter_m = d;
            }
            opening.discharge = discharge.unwrap_or(opening.discharge);
            opening.outside_pa = outside.unwrap_or(opening.outside_pa);
            opening.reachable = e.reachable.unwrap_or(opening.reachable);
            opening.blocked = e.blocked.unwrap_or(opening.blocked);
            opening.known = basis.map_or(opening.known, Self::known);
            let opening = first.saturating_add(i);
            if let Some(label) = &e.label {
                self.label(opening, label.as_ref(), label)?;
            }
            if let Some(place) = &e.place {
                self.place(opening, place.as_ref(), place)?;
            }
        }
        Ok(())
    }
}

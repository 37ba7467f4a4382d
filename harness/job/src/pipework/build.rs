//! From the raw file to the checked pipework: what both forms (runs, and nodes with segments) share.
//!
//! Not here: the two forms themselves, the unit and the air.
use super::{MAX_INLETS, MAX_OPENINGS, MAX_SEGMENTS, PipeworkFile, bounds, named, raw, unit};
use crate::{
    error::{Kind, Problem, Source, quoted},
    tables,
    written::{Q, ReadOr, Spanned, choice, whole},
};
use plumeline_base::pipework::{Basis, Drive, Inlet, Node, NodeId, Opening, OpeningKind, Pipework, Segment};
use plumeline_unit::Description;
use std::{collections::BTreeMap, ops::Range};

/// What holds for a pipe where a step says nothing else.
#[derive(Clone, Copy)]
pub(super) struct Facts {
    pub(super) bore_m: f64,
    pub(super) roughness_m: f64,
    pub(super) discharge: f64,
    pub(super) basis: Basis,
}

/// The pipework while it is put together.
pub(super) struct Builder<'a> {
    pub(super) source: &'a Source<'a>,
    pub(super) nodes: Vec<Node>,
    pub(super) segments: Vec<Segment>,
    pub(super) openings: Vec<Opening>,
    /// Where each opening is written.
    pub(super) spans: Vec<Range<usize>>,
    /// Nodes with a name.
    pub(super) names: BTreeMap<String, NodeId>,
    /// Inlet number to its node and, if measured, its suction.
    pub(super) inlets: BTreeMap<u8, (Option<NodeId>, Option<f64>)>,
    /// Loss coefficients that the file states for fittings by name.
    fittings: BTreeMap<&'a str, f64>,
    /// Where the labels of openings are written.
    pub(super) labels: BTreeMap<usize, Range<usize>>,
    /// Fittings taken from the built-in table.
    used: BTreeMap<&'static str, &'static tables::Fitting>,
}

pub(super) fn build(source: &Source<'_>, file: &raw::File, models: &[Description]) -> Result<PipeworkFile, Problem> {
    let named = unit::Named::find(source, models, file.unit.model.as_ref(), file.unit.fan_setting.as_ref())?;
    let mut notes = Vec::new();
    let model = unit::model(source, &file.model)?;
    let air = unit::air(source, &file.air, &mut notes)?;
    let known = unit::tolerances(source, &file.tolerance, &mut notes)?;
    let mut builder = Builder::new(source, file)?;
    let facts = builder.facts(
        Facts {
            bore_m: tables::BORE_M,
            roughness_m: tables::ROUGHNESS_M,
            discharge: tables::DISCHARGE,
            basis: Basis::Assumed,
        },
        &file.defaults,
    )?;
    for pipe in &file.pipe {
        builder.pipe(pipe, facts)?;
    }
    builder.network(file, facts)?;
    builder.check_labels()?;
    if builder.segments.is_empty() {
        let remedy = "add a [[pipe]] with its inlet and run";
        return Err(source.problem(Kind::MissingKey, 0..0, "the file has no pipe", remedy));
    }
    note_defaults(file, named.as_ref(), &mut notes);
    notes.extend(builder.used.values().map(|f| format!("fitting \"{}\": K = {}, {}", f.name, f.k, f.source)));
    let (inlets, drive) = builder.inlets(file, named.as_ref())?;
    let mut pipework = Pipework {
        name: file.name.clone(),
        unit: unit::air_path(source, &file.unit, named.as_ref(), drive)?,
        nodes: builder.nodes,
        segments: builder.segments,
        openings: builder.openings,
        inlets,
        air,
        known,
        walk: Vec::new(),
    };
    pipework.walk = named::walk(source, &file.walk, &pipework)?;
    let outgoing = file.outgoing.as_ref().map(|o| unit::outgoing(source, o, models, &pipework)).transpose()?;
    Ok(PipeworkFile { pipework, outgoing, model, notes })
}

fn note_defaults(file: &raw::File, named: Option<&unit::Named<'_>>, notes: &mut Vec<String>) {
    let everywhere = |own: fn(&raw::Pipe) -> bool| file.pipe.iter().all(|p| own(p.as_ref()));
    let d = &file.defaults;
    let mut note = |missing: bool, says: String| {
        if missing {
            notes.push(says);
        }
    };
    note(
        d.bore.is_none() && !everywhere(|p| p.bore.is_some()),
        format!("bore where none is stated: {} mm (common practice, no source)", tables::BORE_M * 1e3),
    );
    note(
        d.roughness.is_none() && !everywhere(|p| p.roughness.is_some()),
        format!(
            "roughness where none is stated: {} mm, drawn tubing, Moody 1944 (from memory)",
            tables::ROUGHNESS_M * 1e3
        ),
    );
    note(
        d.discharge.is_none() && !everywhere(|p| p.discharge.is_some()),
        format!("discharge coefficient where none is stated: {} (common practice, no source)", tables::DISCHARGE),
    );
    note(
        d.basis.is_none() && !everywhere(|p| p.basis.is_some()),
        "facts of the pipework without a stated basis are taken as assumed".to_owned(),
    );
    let u = &file.unit;
    if let Some(named) = named {
        note(true, format!("the unit: what is not stated is that of the description of {}", named.model));
        return;
    }
    for (missing, what) in [
        (u.inlet_loss.is_none(), "the loss of its inlets"),
        (u.loss.is_none(), "the loss of its filter and chamber"),
        (u.exhaust_loss.is_none(), "the loss of its exhaust"),
        (u.volume.is_none(), "its volume"),
        (u.sensor_lag.is_none(), "its sensor's lag"),
    ] {
        note(missing, format!("the unit: {what} is not stated and counts as none"));
    }
}

impl<'a> Builder<'a> {
    fn new(source: &'a Source<'a>, file: &'a raw::File) -> Result<Self, Problem> {
        let mut fittings = BTreeMap::new();
        for (name, k) in &file.fitting {
            fittings.insert(name.as_str(), k.read(source)?);
        }
        Ok(Self {
            source,
            nodes: Vec::new(),
            segments: Vec::new(),
            openings: Vec::new(),
            spans: Vec::new(),
            names: BTreeMap::new(),
            inlets: BTreeMap::new(),
            fittings,
            labels: BTreeMap::new(),
            used: BTreeMap::new(),
        })
    }
    /// `facts` with what a table states in their place.
    pub(super) fn facts(&self, facts: Facts, stated: &raw::Defaults) -> Result<Facts, Problem> {
        Ok(Facts {
            bore_m: stated.bore.read_or(self.source, facts.bore_m)?,
            roughness_m: stated.roughness.read_or(self.source, facts.roughness_m)?,
            discharge: stated.discharge.read_or(self.source, facts.discharge)?,
            basis: self.basis(stated.basis.as_ref(), facts.basis)?,
        })
    }
    pub(super) fn basis(&self, name: Option<&Spanned<String>>, default: Basis) -> Result<Basis, Problem> {
        let all = tables::BASES.map(|b| (tables::basis_name(b), b));
        name.map_or(Ok(default), |n| choice(self.source, n, "a basis", &all))
    }
    /// The index of a basis in the list of tolerances.
    pub(super) fn known(basis: Basis) -> u16 {
        match basis {
            Basis::Surveyed => 0,
            Basis::Drawing => 1,
            Basis::Assumed => 2,
        }
    }
    /// The loss coefficient of a fitting by name.
    pub(super) fn fitting(&mut self, name: &Spanned<String>) -> Result<f64, Problem> {
        if let Some(k) = self.fittings.get(name.as_ref().as_str()) {
            return Ok(*k);
        }
        let Some(found) = tables::fitting(name.as_ref()) else {
            let own = self.fittings.keys().copied();
            let known = own.chain(tables::FITTINGS.iter().map(|f| f.name));
            let mut p = crate::written::unknown_name(self.source, name, "a known fitting", known);
            p.extend_remedy("; or state its loss coefficient here as `k = 0.9`");
            return Err(p);
        };
        self.used.insert(found.name, found);
        Ok(found.k)
    }
    pub(super) fn built_in_fitting(&mut self, name: &'static str) -> f64 {
        match (self.fittings.get(name), tables::fitting(name)) {
            (Some(k), _) => *k,
            (None, Some(found)) => {
                self.used.insert(found.name, found);
                found.k
            }
            (None, None) => 0.0,
        }
    }
    pub(super) fn node(&mut self, elevation_m: f64) -> NodeId {
        self.nodes.push(Node { elevation_m });
        // Far fewer than 2^32: segments are counted as they are laid, and each brings one node.
        u32::try_from(self.nodes.len() - 1).unwrap_or(NodeId::MAX)
    }
    pub(super) fn height(&self, node: NodeId) -> f64 {
        self.nodes.get(node as usize).map_or(0.0, |n| n.elevation_m)
    }
    pub(super) fn name(&mut self, name: &Spanned<String>, node: NodeId) -> Result<(), Problem> {
        if self.names.insert(name.as_ref().clone(), node).is_some() {
            let cause = format!("the name {} stands twice", quoted(name.as_ref()));
            return Err(self.source.problem(Kind::Duplicate, name.span(), cause, "give each point its own name"));
        }
        Ok(())
    }
    pub(super) fn named(&self, name: &Spanned<String>) -> Result<NodeId, Problem> {
        self.names.get(name.as_ref()).copied().ok_or_else(|| {
            let cause = format!("no point is named {}", quoted(name.as_ref()));
            let remedy = "name it first: `{ mark = \"…\" }` in a run, or a [[node]]";
            self.source.problem(Kind::UnknownName, name.span(), cause, remedy)
        })
    }
    pub(super) fn add_segment(&mut self, segment: Segment, span: Range<usize>) -> Result<usize, Problem> {
        if self.segments.len() >= MAX_SEGMENTS {
            let cause = format!("the pipework has more than {MAX_SEGMENTS} segments");
            return Err(self.source.problem(Kind::TooLarge, span, cause, "split the pipework into several files"));
        }
        self.segments.push(segment);
        Ok(self.segments.len() - 1)
    }
    pub(super) fn add_opening(&mut self, opening: Opening, bore_m: f64, span: Range<usize>) -> Result<(), Problem> {
        if self.openings.len() >= MAX_OPENINGS {
            let cause = format!("the pipework has more than {MAX_OPENINGS} holes");
            return Err(self.source.problem(Kind::TooLarge, span, cause, "split the pipework into several files"));
        }
        if opening.kind != OpeningKind::OpenEnd && opening.diameter_m > bore_m {
            let cause =
                format!("a hole of {} mm is wider than its pipe of {} mm bore", mm(opening.diameter_m), mm(bore_m));
            let remedy = "check the diameter and the bore; an uncapped end is `{ open = true }`";
            return Err(self.source.problem(Kind::Range, span, cause, remedy));
        }
        self.openings.push(opening);
        self.spans.push(span);
        Ok(())
    }
    /// Enters an inlet that carries a pipe or is plugged.
    pub(super) fn claim(
        &mut self,
        number: &Spanned<i64>,
        node: Option<NodeId>,
        suction: Option<f64>,
    ) -> Result<u8, Problem> {
        let n: u8 = whole(self.source, number, 1, MAX_INLETS as i64, "an inlet's number")?;
        if self.inlets.insert(n, (node, suction)).is_some() {
            let cause = format!("inlet {n} stands twice");
            let remedy = "each inlet carries one pipe: number the pipes as the unit's inlets are numbered";
            return Err(self.source.problem(Kind::Duplicate, number.span(), cause, remedy));
        }
        Ok(n)
    }
    /// All inlets by number, and what moves the air.
    fn inlets(&mut self, file: &raw::File, named: Option<&unit::Named<'_>>) -> Result<(Vec<Inlet>, Drive), Problem> {
        let source = self.source;
        let u = &file.unit;
        if let Some(count) = &u.inlets {
            let count: u8 = whole(source, count, 1, MAX_INLETS as i64, "the number of inlets")?;
            if let Some(highest) = self.inlets.keys().last().filter(|n| **n > count) {
                let cause = format!("the unit has {count} inlets, but inlet {highest} carries a pipe");
                let span = u.inlets.as_ref().map_or(0..0, Spanned::span);
                return Err(source.problem(Kind::Conflict, span, cause, "correct the number of inlets or the pipe's"));
            }
            for n in 1..=count {
                self.inlets.entry(n).or_insert((None, None));
            }
        }
        let air = named.map(|n| n.air);
        let bore_m = u.inlet_bore.read_or(source, air.map_or(tables::BORE_M, |a| a.inlet_bore_m))?;
        let loss = unit::loss_or(source, u.inlet_loss.as_ref(), air.map(|a| a.inlet_loss))?;
        let volume_m3 = u.inlet_volume.read_or(source, air.map_or(0.0, |a| a.inlet_volume_m3))?;
        let mut inlets = Vec::new();
        for (number, (node, _)) in &self.inlets {
            let mut inlet = Inlet { number: *number, node: *node, loss, bore_m, volume_m3 };
            if let Some(own) = file.inlet.iter().find(|i| *i.number.as_ref() == i64::from(*number)) {
                inlet.bore_m = own.bore.read_or(source, bore_m)?;
                inlet.volume_m3 = own.volume.read_or(source, volume_m3)?;
                if let Some(own) = &own.loss {
                    inlet.loss = unit::loss(source, own)?;
                }
            }
            inlets.push(inlet);
        }
        let drive = self.drive(file, named)?;
        Ok((inlets, drive))
    }
    fn drive(&self, file: &raw::File, named: Option<&unit::Named<'_>>) -> Result<Drive, Problem> {
        let source = self.source;
        let suctions = file.pipe.iter().filter_map(|p| p.as_ref().suction.as_ref());
        let first: Option<&Q<bounds::Suction>> =
            suctions.chain(file.inlet.iter().filter_map(|i| i.suction.as_ref())).next();
        if let (None, None, Some(named)) = (&file.unit.fan, first, named) {
            return Ok(named.drive());
        }
        match (&file.unit.fan, first) {
            (Some(fan), None) => Ok(Drive::Fan(unit::fan(source, fan.as_ref())?)),
            (Some(_), Some(suction)) => {
                let cause = "a fan curve and a measured suction are both given";
                let remedy = "keep [unit.fan] to predict from the fan, or `suction` to predict from the measurement";
                Err(source.problem(Kind::Conflict, suction.span(), cause, remedy))
            }
            (None, Some(suction)) => {
                if let Some((n, _)) = self.inlets.iter().find(|(_, (node, s))| node.is_some() && s.is_none()) {
                    let cause = format!("inlet {n} has no measured suction, but another inlet has");
                    let remedy = "give `suction` for every pipe, or [unit.fan] for all";
                    return Err(source.problem(Kind::MissingKey, suction.span(), cause, remedy));
                }
                Ok(Drive::InletSuction(self.inlets.values().map(|(_, s)| s.unwrap_or(0.0)).collect()))
            }
            (None, None) => {
                let cause = "nothing says what moves the air";
                let remedy = "name the unit's `model`, or add [unit.fan] with its curve, or `suction = \"120 Pa\"` to every pipe as measured at its inlet";
                Err(source.problem(Kind::MissingKey, 0..0, cause, remedy))
            }
        }
    }
}

/// Millimetres for a message, without digits that nobody wrote.
pub(super) fn mm(m: f64) -> f64 {
    (m * 1e6).round() / 1e3
}

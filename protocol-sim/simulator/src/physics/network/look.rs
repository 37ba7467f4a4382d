//! What others see of a network.
use super::{Conduit, Law, Network, OUTSIDE, build::area};
use plumeline_base::pipework::NodeId;

impl Network {
    pub(super) const fn unit(&self) -> usize {
        self.segments + self.openings + 2 * self.inlets
    }
    /// True while nothing moves but steadily.
    pub(crate) const fn held(&self) -> bool {
        self.held
    }
    /// Fan speed as a share of the curve's reference speed.
    pub(crate) const fn speed(&self) -> f64 {
        self.fan.speed
    }
    /// Mass flow of segment `i` towards the unit, kg/s.
    pub(crate) fn segment_kg_s(&self, i: usize) -> f64 {
        self.m[i]
    }
    /// Mass flow into opening `i`, kg/s.
    pub(crate) fn opening_kg_s(&self, i: usize) -> f64 {
        self.m[self.segments + i]
    }
    /// Mass flow through inlet `i` (in the order of the inlets), kg/s.
    pub(crate) fn inlet_kg_s(&self, i: usize) -> f64 {
        self.m[self.segments + self.openings + i]
    }
    /// The inlet that a branch is, in the order of the inlets.
    pub(crate) fn inlet_of(&self, branch: usize) -> Option<usize> {
        branch.checked_sub(self.segments + self.openings).filter(|i| *i < self.inlet_mass.len())
    }
    /// Mass flow through the unit, kg/s.
    pub(crate) fn unit_kg_s(&self) -> f64 {
        self.m[self.unit()]
    }
    /// Pressure of a node against the ambient at its height, Pa.
    pub(crate) fn node_pa(&self, id: NodeId) -> f64 {
        self.p.get(id as usize).copied().unwrap_or(0.0)
    }
    /// Pressure of the manifold, Pa.
    pub(crate) fn manifold_pa(&self) -> f64 {
        self.p[self.p.len() - 1]
    }
    /// Density of the air at opening `i`, kg/m3.
    pub(crate) fn opening_density(&self, i: usize) -> f64 {
        self.opening_density.get(i).copied().unwrap_or(self.unit_density)
    }
    /// Density of the air in the unit, kg/m3.
    pub(crate) const fn unit_density(&self) -> f64 {
        self.unit_density
    }
    /// Number of branches up to the unit's own; the first are the segments, then openings, inlets, leaks.
    pub(crate) fn len(&self) -> usize {
        self.branches.len()
    }
    /// Number of nodes, the manifold (the last) included.
    pub(crate) fn nodes(&self) -> usize {
        self.p.len()
    }
    /// The branch's ends in the direction of its flow: (where it comes from, where it goes), `None` outside.
    pub(crate) fn ends(&self, branch: usize) -> (Option<usize>, Option<usize>) {
        let b = &self.branches[branch];
        let id = |n: u32| (n != OUTSIDE).then_some(n as usize);
        if self.m[branch] >= 0.0 { (id(b.from), id(b.to)) } else { (id(b.to), id(b.from)) }
    }
    /// Mass flow of any branch, kg/s.
    pub(crate) fn flow(&self, branch: usize) -> f64 {
        self.m[branch]
    }
    /// Which branch opening `i` is.
    pub(crate) const fn opening_branch(&self, i: usize) -> usize {
        self.segments + i
    }
    /// The branch as a carrier of smoke.
    pub(crate) fn conduit(&self, branch: usize) -> Conduit {
        let none = Conduit {
            mass: 0.0,
            bore_m: 0.0,
            length_m: 0.0,
            reynolds: 0.0,
            density: self.unit_density,
            viscosity: 1.8e-5,
        };
        let first_inlet = self.segments + self.openings;
        match &self.branches[branch].law {
            Law::Pipe(p) => Conduit {
                mass: p.density * area(p.bore_m) * p.length_m,
                bore_m: p.bore_m,
                length_m: p.length_m,
                reynolds: p.reynolds,
                density: p.density,
                viscosity: p.viscosity,
            },
            Law::Fitting { .. } => Conduit { mass: self.inlet_mass[branch - first_inlet], ..none },
            _ => none,
        }
    }
}

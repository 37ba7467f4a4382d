//! The parts of a prediction: each inlet and each opening, from the gradients, the draws and the other laws. Not here: how those
//! are worked out.
use super::{
    InletPrediction, OpeningPrediction, PredictOptions, Rise,
    draws::Draws,
    form::{ByLaw, Form},
    linear, norm,
    statistics::Statistics,
    threads::each,
    translate,
};
use crate::{
    AirflowError,
    adjoint::Adjoint,
    defects::{OPEN_END_DISCHARGE, bore_at},
    dilution::{Share, shares},
    network::{Network, Workspace},
    sensitivity::{Gradient, Measurable, Sensitivity},
    transport::{OpeningTransport, Remixing, TransportOptions, times},
};
use alloc::vec::Vec;
use libm::{hypot, sqrt};
use plumeline_base::{pipework::Pipework, quantity::Estimate};

/// What the parts of a prediction are made from.
pub(super) struct Parts<'a> {
    pub(super) pipework: &'a Pipework,
    pub(super) options: &'a PredictOptions,
    pub(super) network: &'a Network,
    /// The nominal solution.
    pub(super) nominal: Workspace,
    /// Inlets that carry a pipe.
    pub(super) inlets: Vec<usize>,
    /// Openings that air passes.
    pub(super) openings: Vec<usize>,
    /// Inlet (index) of each opening of the pipework.
    pub(super) owner: Vec<usize>,
    /// Columns: flows of the inlets, then of the openings, then the openings' times.
    pub(super) draws: Draws,
    pub(super) statistics: Statistics,
    pub(super) form: Form,
}

/// What all openings have in common.
struct Shared {
    inlet_gradients: Vec<Gradient>,
    mixed: Vec<OpeningTransport>,
    unmixed: Vec<OpeningTransport>,
    shares: Vec<Share>,
    /// Place in the layout of each open opening of the pipework.
    place: Vec<usize>,
}

/// Inlets, openings, the unit's flow, and the largest relative difference of linear and Monte Carlo uncertainties.
type All = (Vec<InletPrediction>, Vec<OpeningPrediction>, Estimate, f64);

impl Parts<'_> {
    pub(super) fn all(&self) -> Result<All, AirflowError> {
        let mut sensitivity = self.sensitivity();
        let flow = |&i: &usize| sensitivity.of(Measurable::InletFlow(i));
        let inlet_gradients = self.inlets.iter().map(flow).collect::<Result<Vec<_>, _>>()?;
        let mut total = self.of(&sensitivity.of(Measurable::TotalFlow)?);
        total.u_common = hypot(total.u_common, norm(&self.form.causes(|law| law.solution.total_flow_m3_s)));
        let mut worst = 0.0f64;
        let mut inlets = Vec::with_capacity(self.inlets.len());
        for (column, gradient) in inlet_gradients.iter().enumerate() {
            let (inlet, apart) = self.inlet(column, gradient, &mut sensitivity)?;
            inlets.push(inlet);
            worst = worst.max(apart);
        }
        let (pipework, solution, transport) = (self.pipework, &self.nominal.solution, &self.options.transport);
        let remixing = match transport.remixing {
            Remixing::AtOpenings => Remixing::Never,
            Remixing::Never => Remixing::AtOpenings,
        };
        let other = TransportOptions { remixing, ..transport.clone() };
        let mut both = each(2, || (), |(), i| Ok(times(pipework, solution, [transport, &other][i])))?;
        let unmixed = both.pop().unwrap_or_default();
        let mixed = both.pop().unwrap_or_default();
        let mut place = alloc::vec![0; pipework.openings.len()];
        self.network.layout.open.iter().enumerate().for_each(|(at, &k)| place[k as usize] = at);
        let shared = Shared { inlet_gradients, mixed, unmixed, shares: shares(pipework, solution), place };
        let piece = |sensitivity: &mut Sensitivity<'_>, piece: usize| {
            let (first, mut opened) = (piece * PIECE, None);
            let some = first..self.openings.len().min(first + PIECE);
            some.map(|i| self.opening(i, &shared, sensitivity, &mut opened)).collect::<Result<Vec<_>, _>>()
        };
        let openings = each(self.openings.len().div_ceil(PIECE), || self.sensitivity(), piece)?.concat();
        let worst = openings.iter().fold(worst, |worst, (_, apart)| worst.max(*apart));
        Ok((inlets, openings.into_iter().map(|(opening, _)| opening).collect(), total, worst))
    }

    /// The covariance of the inlets' flows.
    pub(super) fn inlet_covariance(&self) -> Vec<Vec<f64>> {
        let causes: Vec<_> =
            self.inlets.iter().map(|&i| self.form.causes(|law| law.solution.inlet_flow_m3_s[i])).collect();
        let mut all = self.statistics.inlet_covariance.clone();
        for (line, a) in all.iter_mut().zip(&causes) {
            for (c, b) in line.iter_mut().zip(&causes) {
                *c += a.iter().zip(b).map(|(a, b)| a * b).sum::<f64>();
            }
        }
        all
    }

    fn sensitivity(&self) -> Sensitivity<'_> {
        Sensitivity::new(Adjoint::new(self.network, self.nominal.clone()))
    }

    fn inlet(
        &self,
        column: usize,
        gradient: &Gradient,
        sensitivity: &mut Sensitivity<'_>,
    ) -> Result<(InletPrediction, f64), AirflowError> {
        let i = self.inlets[column];
        let by_law = |law: &ByLaw| law.solution.inlet_flow_m3_s[i];
        let (mut flow, apart) = self.against_draws(gradient, column);
        let (mut common, _) = linear::parts(self.pipework, &self.options.model, gradient);
        let raised = if flow.u_common > 0.0 { flow.u_common / norm(&common) } else { 1.0 };
        common.iter_mut().for_each(|c| *c *= raised);
        let flow_common: Vec<f64> = common.into_iter().chain(self.form.causes(by_law)).collect();
        flow.u_common = norm(&flow_common);
        let inlet = InletPrediction {
            number: self.pipework.inlets[i].number,
            inlet: i,
            flow_m3_s: flow,
            flow_common,
            flow_interval95: self.draws.interval95(column, |draw, x| self.form.moved(draw, x, by_law)),
            suction_pa: self
                .with_form(&sensitivity.of(Measurable::InletSuction(i))?, |law| law.solution.inlet_suction_pa[i]),
        };
        Ok((inlet, apart))
    }

    fn opening(
        &self,
        i: usize,
        shared: &Shared,
        sensitivity: &mut Sensitivity<'_>,
        opened: &mut Option<(usize, usize, Workspace)>,
    ) -> Result<(OpeningPrediction, f64), AirflowError> {
        let (pipework, form, inlets, k) = (self.pipework, &self.form, &self.inlets, self.openings[i]);
        let (flow_column, time_column) = (inlets.len() + i, inlets.len() + self.openings.len() + i);
        let own = inlets.iter().position(|&i| i == self.owner[k]).unwrap_or(0);
        let (inlet, gradient) = (inlets[own], &shared.inlet_gradients[own]);
        let by_law = |law: &ByLaw| law.solution.opening_flow_m3_s[k];
        let (mut flow, mut apart) = self.against_draws(&sensitivity.of(Measurable::OpeningFlow(k))?, flow_column);
        flow.u_common = hypot(flow.u_common, norm(&form.causes(by_law)));
        let time = sensitivity.of(Measurable::MeanTime(k))?;
        let (mut mean_s, mut mean_interval95) =
            (Estimate::new(f64::INFINITY, 0.0, 0.0), (f64::INFINITY, f64::INFINITY));
        if time.value.is_finite() {
            let by_law = |law: &ByLaw| law.mean_s[k];
            let by_draws = self.against_draws(&time, time_column);
            (mean_s, apart) = (by_draws.0, apart.max(by_draws.1));
            mean_s.u_common = hypot(mean_s.u_common, norm(&form.causes(by_law)));
            mean_interval95 = self.draws.interval95(time_column, |draw, x| form.scaled(draw, x, by_law));
        }
        let place = shared.place[k];
        let closed = self.closed(place, inlet, gradient)?;
        let share = translate::relative_to(closed.clone(), gradient);
        let (common, individual) = linear::parts(pipework, &self.options.model, &share);
        let share_by_law = form.closed_share(k, share.value);
        let closed_common: Vec<f64> = common.into_iter().chain(form.causes(&share_by_law)).collect();
        let mut rise = self.of(&self.opened(place, inlet, gradient, opened)?);
        // A wide hole rises with the pipe's flow, by whatever law.
        let pipe = norm(&form.causes(|law| law.solution.inlet_flow_m3_s[inlet])) / gradient.value;
        rise.u_common = hypot(rise.u_common, rise.value * pipe);
        let (mixed, unmixed) = (&shared.mixed[k], &shared.unmixed[k]);
        let opening = OpeningPrediction {
            opening: k,
            inlet: pipework.inlets[inlet].number,
            number: pipework.openings[k].number,
            flow_m3_s: flow,
            suction_pa: self
                .with_form(&sensitivity.of(Measurable::OpeningSuction(k))?, |law| law.solution.opening_suction_pa[k]),
            share_of_pipe: shared.shares[k].of_pipe,
            share_of_unit: shared.shares[k].of_unit,
            mean_s,
            mean_interval95,
            first_s: shaped(mean_s, mixed.first_s, unmixed.first_s),
            half_plateau_s: shaped(mean_s, mixed.half_plateau_s, unmixed.half_plateau_s),
            rise: Rise { here_s: mixed.rise_s.to_vec(), other_s: unmixed.rise_s.to_vec() },
            closed_drop_m3_s: self.with_form(&closed, |law| share_by_law(law) * law.solution.inlet_flow_m3_s[inlet]),
            closed_share: Estimate::new(share.value, norm(&closed_common), individual),
            closed_common,
            open_rise_m3_s: rise,
        };
        Ok((opening, apart))
    }

    /// Linear propagation of the tolerances.
    fn of(&self, gradient: &Gradient) -> Estimate {
        linear::estimate(self.pipework, &self.options.model, gradient)
    }

    /// The same, with the form of the friction law.
    fn with_form(&self, gradient: &Gradient, at: impl Fn(&ByLaw) -> f64) -> Estimate {
        let mut e = self.of(gradient);
        e.u_common = hypot(e.u_common, norm(&self.form.causes(at)));
        e
    }

    /// Linear propagation raised to the draws' deviation where that is clearly more; and how far the two are apart, relative.
    fn against_draws(&self, gradient: &Gradient, column: usize) -> (Estimate, f64) {
        let (mut e, deviation) = (self.of(gradient), self.statistics.deviation[column]);
        let u = e.u();
        if !(u > 0.0 && deviation.is_finite()) {
            return (e, 0.0);
        }
        let ratio = deviation / u;
        if ratio > clearly_more(self.options.draws) {
            (e.u_common, e.u_individual) = (e.u_common * ratio, e.u_individual * ratio);
        }
        (e, (ratio - 1.0).abs())
    }

    /// How much less an inlet draws with a hole (by its place in the layout) closed.
    fn closed(&self, place: usize, inlet: usize, before: &Gradient) -> Result<Gradient, AirflowError> {
        if self.openings.len() == 1 {
            // The only opening: all of the flow goes.
            return Ok(before.clone());
        }
        let (mut network, mut ws) = (self.network.clone(), self.nominal.clone());
        network.close(&mut ws, place);
        network.resume(&mut ws)?;
        Ok(linear::difference(before.clone(), &flow_of(&network, ws, inlet)?))
    }

    /// How much more it draws with the hole opened to the bore of its pipe. `last` is the hole before that was opened, with its inlet and
    /// its solution: what starves beyond an open hole makes the solve long, and starves alike beyond its neighbour.
    fn opened(
        &self,
        place: usize,
        inlet: usize,
        before: &Gradient,
        last: &mut Option<(usize, usize, Workspace)>,
    ) -> Result<Gradient, AirflowError> {
        let mut network = self.network.clone();
        let opening = &self.pipework.openings[network.layout.open[place] as usize];
        let bore = bore_at(self.pipework, opening.node).unwrap_or(opening.diameter_m);
        network.resize(place, bore, OPEN_END_DISCHARGE);
        let mut ws = self.nominal.clone();
        if let Some((_, other, start)) = last.take_if(|(of, ..)| *of == inlet) {
            ws.start_from(&start);
            ws.holes.flow.swap(other, place);
        }
        network.resume(&mut ws)?;
        *last = Some((inlet, place, ws.clone()));
        Ok(linear::difference(flow_of(&network, ws, inlet)?, before))
    }
}

/// Openings that one piece of work holds, each started from the one before; fixed, so that threads share out the same pieces.
const PIECE: usize = 16;

/// The gradient of an inlet's flow, the network's solution given.
fn flow_of(network: &Network, ws: Workspace, inlet: usize) -> Result<Gradient, AirflowError> {
    Ok(Sensitivity::new(Adjoint::new(network, ws)).of(Measurable::InletFlow(inlet))?)
}

/// Above this ratio of the draws' deviation to the linear one the estimate takes the draws': 5 % more, and twice what so few draws
/// scatter by themselves (standard deviation of a normal sample's: 1/sqrt(2 n), JCGM 100 table E.1).
fn clearly_more(draws: u64) -> f64 {
    1.0 + (2.0 / sqrt(2.0 * draws as f64)).max(0.05)
}

/// A point of the response: it scales with the mean time, and may lie as far off as the other assumption on mixing puts it,
/// the less likely the farther (triangular with its mode here, JCGM 100 clause 4.3.9; about the mode: 1/6 of the square).
fn shaped(mean: Estimate, here: f64, elsewhere: f64) -> Estimate {
    if !(here.is_finite() && mean.value.is_finite()) {
        return Estimate::new(f64::INFINITY, 0.0, 0.0);
    }
    // A hole at the sensor itself: its smoke is there at once.
    let scale = if mean.value > 0.0 { here / mean.value } else { 0.0 };
    let mixing = if elsewhere.is_finite() { (here - elsewhere).abs() / sqrt(6.0) } else { 0.0 };
    Estimate::new(here, hypot(mean.u_common * scale, mixing), mean.u_individual * scale)
}

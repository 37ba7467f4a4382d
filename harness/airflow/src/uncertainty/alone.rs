//! What an inlet draws while one opening of its pipe alone is open, as a share of what it draws with all of them open.
//!
//! A display with steps of 1 % hides much of what closing one hole among many takes away. The one hole that is open among
//! closed ones draws all that the inlet tells, and more of it, for it has the whole suction. Which closings tell most of each
//! hole is worked out in `scripts/closings`. Not here: readings, and what they are held against.
use super::{PredictOptions, doubted, form, linear, norm, owners, threads::each, translate};
use crate::{
    AirflowError,
    adjoint::Adjoint,
    friction::FrictionLaw,
    network::{Network, Workspace},
    options::SolveOptions,
    sensitivity::{Gradient, Measurable, Sensitivity},
};
use alloc::vec::Vec;
use plumeline_base::{pipework::Pipework, quantity::Estimate};

/// What one opening draws alone.
#[derive(Clone, Debug, PartialEq)]
pub struct Alone {
    /// Index into `Pipework::openings`.
    pub opening: usize,
    /// Flow of its inlet, as a share of the flow with everything open (linear propagation).
    pub share: Estimate,
    /// What one standard uncertainty of each common cause does to `share`, in the order of
    /// [`OpeningPrediction::closed_common`](super::OpeningPrediction::closed_common).
    pub common: Vec<f64>,
    /// Suction at its inlet, Pa: hardly less than with all of them closed.
    pub suction_pa: f64,
}

/// Every opening that draws, in the order of the solver. The other pipes stay as they are.
pub fn alone(pipework: &Pipework, options: &PredictOptions) -> Result<Vec<Alone>, AirflowError> {
    let (network, nominal) = solved(pipework, &options.solve)?;
    let pipework = &*doubted(pipework, nominal.solution.total_flow_m3_s);
    let owner = owners(pipework);
    let by_law = shares_by_law(pipework, options, &owner)?;
    let mut all_open = Sensitivity::new(Adjoint::new(&network, nominal.clone()));
    let whole = |inlet: usize| match pipework.inlets[inlet].node {
        Some(_) => Ok(Some(all_open.of(Measurable::InletFlow(inlet))?)),
        None => Ok(None),
    };
    let whole = (0..pipework.inlets.len()).map(whole).collect::<Result<Vec<Option<Gradient>>, AirflowError>>()?;
    let one = |(): &mut (), place: usize| {
        let opening = network.layout.open[place] as usize;
        let inlet = owner[opening];
        let Some(whole) = &whole[inlet] else { return Ok(None) };
        let (network, ws) = only(&network, &nominal, place, &owner)?;
        let suction_pa = ws.solution.inlet_suction_pa[inlet];
        let alone = Sensitivity::new(Adjoint::new(&network, ws)).of(Measurable::InletFlow(inlet))?;
        let share = translate::relative_to(alone, whole);
        let (common, individual) = linear::parts(pipework, &options.model, &share);
        let laws: Vec<f64> = by_law.iter().map(|shares| shares[place]).collect();
        let common: Vec<f64> = common.into_iter().chain(form::causes(options.model.friction_form, &laws)).collect();
        let share = Estimate::new(share.value, norm(&common), individual);
        Ok(Some(Alone { opening, share, common, suction_pa }))
    };
    Ok(each(network.layout.open.len(), || (), one)?.into_iter().flatten().collect())
}

fn solved(pipework: &Pipework, solve: &SolveOptions) -> Result<(Network, Workspace), AirflowError> {
    let network = Network::build(pipework, solve)?;
    let mut ws = network.workspace();
    network.solve(&mut ws)?;
    Ok((network, ws))
}

/// The network with all openings of a pipe closed but the one at this place.
fn only(
    network: &Network,
    nominal: &Workspace,
    place: usize,
    owner: &[usize],
) -> Result<(Network, Workspace), AirflowError> {
    let (mut network, mut ws) = (network.clone(), nominal.clone());
    let inlet_of = |network: &Network, place: usize| owner[network.layout.open[place] as usize];
    let inlet = inlet_of(&network, place);
    for other in (0..network.layout.open.len()).rev() {
        if other != place && inlet_of(&network, other) == inlet {
            network.close(&mut ws, other);
        }
    }
    network.resume(&mut ws)?;
    Ok((network, ws))
}

/// The shares by each friction law that solves, where the form of the law counts.
fn shares_by_law(
    pipework: &Pipework,
    options: &PredictOptions,
    owner: &[usize],
) -> Result<Vec<Vec<f64>>, AirflowError> {
    let shares = |friction: FrictionLaw| -> Result<Vec<f64>, AirflowError> {
        let (network, nominal) = solved(pipework, &SolveOptions { friction, ..options.solve.clone() })?;
        let share = |place: usize| {
            let inlet = owner[network.layout.open[place] as usize];
            let (_, ws) = only(&network, &nominal, place, owner)?;
            Ok(ws.solution.inlet_flow_m3_s[inlet] / nominal.solution.inlet_flow_m3_s[inlet])
        };
        (0..network.layout.open.len()).map(share).collect()
    };
    let laws = if options.model.friction_form > 0.0 { &FrictionLaw::ALL[..] } else { &[] };
    let by_law = |(): &mut (), i: usize| match shares(laws[i]) {
        Err(_) if laws[i] != options.solve.friction => Ok(None),
        other => other.map(Some),
    };
    Ok(each(laws.len(), || (), by_law)?.into_iter().flatten().collect())
}

//! Whether the suction at a hole, measured by a tube that closes it, is the predicted one, and what the hole then draws.
//!
//! What changes a hole's flow by the smallest material share m changes its suction by (1 + m)^2: a hole is an orifice. Size and
//! discharge coefficient of the hole drop out of that comparison. Not here: the question to a person.
use super::{Ruling, decide};
use crate::{
    facts::{Fact, fixed, give_or_take, suction as fact},
    instrument::Read,
    job::JobInputs,
    mean_flow::{L_MIN, coverage_factor},
    outcome::{Figure, Finding, StageKind, Subject},
    plan::HoleRef,
};
use core::f64::consts::PI;
use plumeline_airflow::{SolveOptions, air::site_air, solve};
use plumeline_base::{Verdict, pipework::Tolerance, quantity::Estimate};
use plumeline_measure::decide::Limits;

/// What is expected at a hole.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Expected {
    /// Its suction while the tube closes it, Pa.
    pub(crate) closed_pa: Estimate,
    /// Its suction while it draws, as a share of that.
    pub(crate) open_share: f64,
    /// Its place among the openings.
    pub(crate) opening: usize,
}

pub(crate) fn of_hole(hole: HoleRef, fact: Fact) -> Finding {
    Finding::of(StageKind::ProveFlow, Subject::Hole(hole.inlet, hole.number), fact)
}

/// The suction at an opening that a tube closes; `None` where nothing is predicted of it. How unsure it is, relatively, is how
/// unsure the suction of the open hole is: one hole of many moves little.
pub(crate) fn expected(inputs: &JobInputs, opening: usize) -> Option<Expected> {
    let open = inputs.predicted(opening)?.suction_pa;
    let mut closed = inputs.open_beside(opening);
    closed.openings.get_mut(opening)?.blocked = true;
    let value = *solve(&closed, &SolveOptions::default()).ok()?.opening_suction_pa.get(opening)?;
    let times = value / open.value;
    let closed_pa = Estimate::new(value, open.u_common * times, open.u_individual * times);
    (value > 0.0 && open.value > 0.0).then_some(Expected { closed_pa, open_share: 1.0 / times, opening })
}

/// The flow into a hole at a suction, m3/s: `Cd A sqrt(2 p / rho)`, the orifice of every handbook (ISO 5167-1, with the approach
/// and the expansion left out: the pipe is wide against the hole, and the pressure small).
pub(crate) fn orifice(diameter_m: f64, discharge: f64, suction_pa: f64, density: f64) -> f64 {
    discharge * PI / 4.0 * diameter_m * diameter_m * libm::sqrt(2.0 * suction_pa.max(0.0) / density)
}

/// What an open hole draws by the suction that was measured while it was closed.
fn draws(inputs: &JobInputs, expected: &Expected, read: &Estimate) -> Option<Estimate> {
    let o = inputs.pipework.openings.get(expected.opening)?;
    let density = site_air(&inputs.pipework.air).ok()?.density;
    let flow = orifice(o.diameter_m, o.discharge, read.value * expected.open_share, density);
    let known = inputs.pipework.known.get(usize::from(o.known)).copied().unwrap_or_default();
    let both = |t: Tolerance| libm::hypot(t.common, t.individual);
    let model = &inputs.plan.advanced.model;
    let parts = [2.0 * both(known.diameter), both(known.discharge), 0.5 * read.u() / read.value, 0.5 * model.density];
    Some(Estimate::new(flow, 0.0, flow * libm::sqrt(parts.iter().map(|u| u * u).sum())))
}

/// What a suction that was read shows.
pub(crate) fn judge(inputs: &JobInputs, hole: HoleRef, words: &str, expected: &Expected, read: &Read) -> Finding {
    let (measured, e) = (&read.estimate, &expected.closed_pa);
    let k = coverage_factor(inputs);
    let material = inputs.plan.flow.material.value;
    let beyond = |share: f64| (share * share - 1.0) * e.value;
    let limits = Limits::between(beyond(1.0 - material), beyond(1.0 + material));
    let difference = Estimate::new(
        measured.value - e.value,
        libm::hypot(measured.u_common, e.u_common),
        libm::hypot(measured.u_individual, e.u_individual),
    );
    let percent = 100.0 * difference.value / e.value;
    let mut f = of_hole(hole, fact::near_limit(words, fixed(percent, 1)));
    f.measured = Some(Figure { by: read.by.clone(), ..Figure::with(measured.value, k * measured.u(), "Pa") });
    f.expected = Some(Figure::with(e.value, k * e.u(), "Pa"));
    f.limit = Some(inputs.plan.flow.material.clone());
    let ruling = match decide(inputs, &difference, f64::INFINITY, &limits, None, 1.0) {
        Ok(ruling) => ruling,
        Err(error) => {
            f.state(fact::not_judged(words, error, error.remedy()));
            return f;
        }
    };
    let by = fixed(libm::fabs(percent), 1);
    let Ruling { verdict, .. } = ruling;
    let fact = match verdict {
        Verdict::Pass => {
            let flow = draws(inputs, expected, measured)
                .map_or_else(|| "an unknown number of".into(), |q| give_or_take(q.value * L_MIN, k * q.u() * L_MIN, 2));
            fact::as_predicted(words, flow)
        }
        Verdict::Fail if percent < 0.0 => fact::lower(words, by),
        Verdict::Fail => fact::higher(words, by),
        Verdict::Undecided => fact::near_limit(words, fixed(percent, 1)),
    };
    ruling.state(&mut f, fact);
    f
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::sample;
    use alloc::string::String;

    /// By hand: 3 mm, Cd 0.6, 60 Pa, 1.204 kg/m3: 9.983 m/s through 7.0686 mm2, 0.6 of it: 2.5405 L/min.
    #[test]
    fn an_orifice_by_hand() {
        let q = orifice(0.003, 0.6, 60.0, 1.204) * L_MIN;
        assert!((q - 2.540_46).abs() < 1e-4, "{q}");
        assert_eq!(orifice(0.003, 0.6, -1.0, 1.2), 0.0);
    }
    /// By `fluids` 1.3.1 (`scripts/reference/orifice.py`).
    #[test]
    fn an_orifice_by_a_library() {
        let table = include_str!("../../tests/data/orifice.csv");
        let mut rows = 0;
        for line in table.lines().skip(1) {
            let row: alloc::vec::Vec<f64> = line.split(',').map(|cell| cell.parse().unwrap()).collect();
            let [diameter, discharge, suction, density, flow] = row[..] else { panic!("{line}") };
            let ours = orifice(diameter, discharge, suction, density);
            assert!((ours / flow - 1.0).abs() < 1e-8, "{line}: {ours}");
            rows += 1;
        }
        assert_eq!(rows, 36);
    }
    #[test]
    fn a_suction_is_held_against_its_prediction_by_both_uncertainties() {
        let inputs = sample::inputs();
        let hole = HoleRef { inlet: 1, number: 1 };
        let expected = Expected { closed_pa: Estimate::new(60.0, 1.0, 1.0), open_share: 0.97, opening: 0 };
        let of = |pa: f64, u: f64| {
            let read = Read { estimate: Estimate::new(pa, u, 0.0), by: Some("Gauge, serial g1".into()) };
            let f = judge(&inputs, hole, "hole 1 of pipe 1", &expected, &read);
            assert_eq!(f.measured.as_ref().and_then(|m| m.by.as_deref()), Some("Gauge, serial g1"));
            (String::from(f.code.as_str()), f.verdict)
        };
        let is = |code: &str, verdict| (String::from(code), verdict);
        assert_eq!(of(60.0, 0.5), is("suction.as-predicted", Verdict::Pass));
        assert_eq!(of(20.0, 0.5), is("suction.lower", Verdict::Fail));
        assert_eq!(of(110.0, 0.5), is("suction.higher", Verdict::Fail));
        // A manometer that knows little decides nothing, whatever it reads.
        assert_eq!(of(60.0, 30.0), is("suction.near-limit", Verdict::Undecided));
        assert_eq!(of(f64::NAN, 0.5).1, Verdict::Undecided);
    }
}

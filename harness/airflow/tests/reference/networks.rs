//! Whole networks against EPANET 2.3 (owa-epanet) and against scipy's root finder.
use crate::{apart, case::Case, data};
use plumeline_airflow::{Solution, SolveOptions, friction::FrictionLaw, solve, transport};
use serde::Deserialize;

#[derive(Deserialize)]
struct Epanet {
    openings: Vec<f64>,
    times: Vec<Option<f64>>,
}

#[derive(Deserialize)]
struct Scipy {
    openings: Vec<f64>,
    first_node_pa: f64,
    /// Where EPANET gives none.
    times: Option<Vec<Option<f64>>>,
}

#[derive(Deserialize)]
struct Solved {
    #[serde(flatten)]
    case: Case,
    /// Where EPANET can express the case: it knows one temperature only.
    epanet: Option<Epanet>,
    scipy: Scipy,
    scipy_churchill: Scipy,
    /// Churchill, with the momentum change at holes.
    scipy_momentum: Scipy,
}

/// Flows under a millionth of the largest are compared with that, not with themselves: starved holes go down to
/// 1e-140 of it.
const FLOOR: f64 = 1e-6;

fn solved(s: &Solved, friction: FrictionLaw, momentum: bool) -> Result<Solution, String> {
    let options = SolveOptions { friction, momentum, tolerance: 1e-13, ..SolveOptions::default() };
    solve(&s.case.pipework(), &options).map_err(|e| e.to_string())
}

fn cases() -> Vec<Solved> {
    let cases: Vec<Solved> = data("networks.json");
    assert!(cases.len() >= 30, "only {} networks", cases.len());
    cases
}

/// Runs `check` on every case and lists all that fail, not only the first.
fn each(check: impl Fn(&Solved) -> Result<(), String>) {
    let failed: Vec<String> =
        cases().iter().filter_map(|s| check(s).err().map(|e| format!("{}: {e}", s.case.name))).collect();
    assert!(failed.is_empty(), "{} networks disagree:\n{}", failed.len(), failed.join("\n"));
}

fn within(what: &str, worst: f64, tolerance: f64) -> Result<(), String> {
    if worst <= tolerance { Ok(()) } else { Err(format!("{what} apart by {worst:e}, tolerance {tolerance:e}")) }
}

/// Required: 1e-6 of hole flow. Held: 1e-9, for EPANET and scipy agree to 1e-10 when the data are made.
#[test]
fn hole_flows_agree_with_epanet() {
    assert!(cases().iter().filter(|s| s.epanet.is_some()).count() >= 30);
    each(|s| {
        let Some(epanet) = &s.epanet else { return Ok(()) };
        let solution = solved(s, FrictionLaw::HagenDunlopSwameeJain, false)?;
        within("flows", apart(&solution.opening_flow_m3_s, &epanet.openings, FLOOR), 1e-9)
    });
}

fn against_scipy(law: FrictionLaw, momentum: bool, reference: impl Fn(&Solved) -> &Scipy) {
    each(|s| {
        let (solution, reference) = (solved(s, law, momentum)?, reference(s));
        within("flows", apart(&solution.opening_flow_m3_s, &reference.openings, FLOOR), 1e-9)?;
        let p = solution.node_pressure_pa[0];
        within("pressure", ((p - reference.first_node_pa) / p).abs(), 1e-9)
    });
}

#[test]
fn hole_flows_agree_with_scipy() {
    against_scipy(FrictionLaw::HagenDunlopSwameeJain, false, |s| &s.scipy);
}

#[test]
fn hole_flows_agree_with_scipy_under_churchill() {
    against_scipy(FrictionLaw::Churchill, false, |s| &s.scipy_churchill);
}

#[test]
fn hole_flows_agree_with_scipy_with_momentum() {
    against_scipy(FrictionLaw::Churchill, true, |s| &s.scipy_momentum);
}

/// Volume over flow summed in Python from the flows of EPANET (of scipy where there are none). Holes that draw less
/// than a millionth of the largest are left out.
#[test]
fn mean_times_agree_with_the_reference_flows() {
    each(|s| {
        let solution = solved(s, FrictionLaw::HagenDunlopSwameeJain, false)?;
        let times = transport::times(&s.case.pipework(), &solution, &transport::TransportOptions::default());
        let (flows, reference) = match (&s.epanet, &s.scipy.times) {
            (Some(e), None) => (&e.openings, &e.times),
            (None, Some(times)) => (&s.scipy.openings, times),
            _ => return Err("times by one of the two".into()),
        };
        // Where air leaves there is no time, and none may be made up.
        for (t, q) in times.iter().zip(flows) {
            if *q <= 0.0 && t.mean_s.is_finite() {
                return Err(format!("a time of {} s for a hole with flow {q}", t.mean_s));
            }
        }
        let (got, reference): (Vec<f64>, Vec<f64>) =
            times.iter().zip(reference).filter_map(|(t, e)| e.map(|e| (t.mean_s, e))).unzip();
        if reference.is_empty() {
            return Err("no hole has a time".into());
        }
        within("times", apart(&got, &reference, 0.0), 1e-8)
    });
}

#[derive(Deserialize)]
struct Hard {
    #[serde(flatten)]
    case: Case,
    momentum: bool,
    openings_reference: Vec<f64>,
}

/// Networks on which an iteration can stall at rounding level or wander; with the default tolerance.
#[test]
fn hard_networks_are_solved_as_scipy_solves_them() {
    for hard in data::<Vec<Hard>>("networks_hard.json") {
        let options = SolveOptions { momentum: hard.momentum, ..SolveOptions::default() };
        let solution = solve(&hard.case.pipework(), &options).unwrap_or_else(|e| panic!("{}: {e}", hard.case.name));
        let worst = apart(&solution.opening_flow_m3_s, &hard.openings_reference, FLOOR);
        assert!(worst < 1e-6, "{}: flows apart by {worst:e}", hard.case.name);
    }
}

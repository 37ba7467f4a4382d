//! Predictions: what they say of a usual job, against solves of the changed pipework. Not here: the propagation against other
//! programs (see `reference/`).
#![allow(clippy::unwrap_used)]
mod common;
use common::*;
use plumeline_airflow::{
    Fault, Place, SolveOptions,
    defects::{Defect, visible},
    dilution::{at_chamber, needed_at_hole, shares},
    friction::FrictionLaw,
    solve,
    transport::{Remixing, TransportOptions, mean_times, response, times},
    uncertainty::{ModelTolerance, PredictOptions, Prediction, Rise, predict},
    warnings::{Remark, ReviewLimits, review},
};
use plumeline_base::{
    obscuration::{Extinction, ObscurationUnit},
    pipework::*,
};

fn options() -> PredictOptions {
    PredictOptions { draws: 4000, ..PredictOptions::default() }
}

fn job() -> (Pipework, Prediction) {
    let p = four_by_25();
    let prediction = predict(&p, &options()).unwrap();
    (p, prediction)
}

/// The table of the rise against the whole response, by both assumptions; and one more lag against a fine march of its equation.
#[test]
fn the_rise_is_that_of_the_response() {
    let (p, got) = job();
    let s = solve(&p, &SolveOptions::default()).unwrap();
    for o in [&got.openings[0], &got.openings[24]] {
        let by = |remixing| {
            let options = TransportOptions { remixing, ..TransportOptions::default() };
            response(&p, &s, &options, o.opening).unwrap()
        };
        let (here, other) = (by(Remixing::AtOpenings), by(Remixing::Never));
        for share in [0.02, 0.33, 0.5, 0.75, 0.9] {
            let (a, b) = o.rise.reached_s(share).unwrap();
            for (t, of) in [(a, &here), (b, &other)] {
                let after = of.time_s.partition_point(|x| *x < t);
                assert!((of.sensor[after] - share).abs() < 0.02, "{share}: {} at {t}", of.sensor[after]);
            }
            assert!((o.rise.shows(a).unwrap() - share).abs() < 1e-9);
        }
        assert!((o.rise.reached_s(0.5).unwrap().0 - o.half_plateau_s.value).abs() < 1e-9);
        // Between two shares of the table a straight line stands for the rise.
        let (lag, dt) = (3.0, 0.01);
        let behind = o.rise.behind(lag);
        let (mut shown, mut t) = (0.0, 0.0);
        for share in [0.1, 0.5, 0.75] {
            while shown < share {
                shown += (o.rise.shows(t).unwrap() - shown) * dt / lag;
                t += dt;
            }
            let got = behind.reached_s(share).unwrap().0;
            assert!((got - t).abs() < 0.05 + 0.005 * t, "{share}: {got} for {t}");
        }
    }
    assert_eq!(Rise::default().reached_s(0.5), None);
    assert_eq!(Rise::default().shows(5.0), None);
}

#[test]
fn says_what_the_solve_says_and_how_surely() {
    let (p, got) = job();
    let s = solve(&p, &SolveOptions::default()).unwrap();
    let t = times(&p, &s, &TransportOptions::default());
    assert_eq!(t.iter().map(|t| t.mean_s).collect::<Vec<_>>(), mean_times(&p, &s));
    assert_eq!((got.inlets.len(), got.openings.len()), (4, 100));
    for i in &got.inlets {
        assert_eq!(i.flow_m3_s.value, s.inlet_flow_m3_s[i.inlet]);
        assert!(i.flow_interval95.0 < i.flow_m3_s.value && i.flow_m3_s.value < i.flow_interval95.1);
        // 95 % of a near-normal distribution: about 2 x 1.96 standard deviations.
        let width = (i.flow_interval95.1 - i.flow_interval95.0) / i.flow_m3_s.u();
        assert!(width > 3.5 && width < 4.2, "{width}");
    }
    for o in &got.openings {
        assert_eq!(o.flow_m3_s.value, s.opening_flow_m3_s[o.opening]);
        assert!((o.mean_s.value / t[o.opening].mean_s - 1.0).abs() < 1e-12);
        assert!(o.first_s.value < o.mean_s.value && o.first_s.value < o.half_plateau_s.value);
        assert!(o.flow_m3_s.is_sound() && o.mean_s.is_sound() && o.closed_drop_m3_s.is_sound());
        assert!(o.flow_m3_s.u_individual > 0.0 && o.flow_m3_s.u_common > 0.0);
    }
    let shares: f64 = got.openings.iter().map(|o| o.share_of_unit).sum();
    assert!((shares - 1.0).abs() < 1e-12);
    assert!(got.report.residual_energy < 1e-9 && got.report.worst_residual_energy < 1e-8);
    assert!(got.report.linear_against_monte_carlo < 0.1, "{}", got.report.linear_against_monte_carlo);
    // Pipes share the fan and the common errors: their flows move together.
    assert!(got.inlet_covariance[0][1] > 0.3 * got.inlet_covariance[0][0]);
}

#[test]
fn a_closed_hole_takes_what_was_predicted() {
    let (p, got) = job();
    for k in [0, 12, 24, 60, 99] {
        let mut q = p.clone();
        q.openings[k].blocked = true;
        let (before, after) =
            (solve(&p, &SolveOptions::default()).unwrap(), solve(&q, &SolveOptions::default()).unwrap());
        let one = &got.openings[k];
        let inlet = usize::from(one.inlet) - 1;
        let drop = before.inlet_flow_m3_s[inlet] - after.inlet_flow_m3_s[inlet];
        assert!((one.closed_drop_m3_s.value / drop - 1.0).abs() < 1e-6);
        // One hole of 25 moves its pipe by 1 to 9 per cent (common practice).
        let part = drop / before.inlet_flow_m3_s[inlet];
        assert!(part > 0.005 && part < 0.12, "{k}: {part}");
        // A difference of two states that share their errors is known better than either.
        assert!(one.closed_drop_m3_s.u() < 0.2 * got.inlets[inlet].flow_m3_s.u());
    }
}

/// An 8 % error of hole area moves a pipe's flow much less if each hole has its own than if all share it.
#[test]
fn a_common_error_does_not_average_out() {
    let with = |common, individual| {
        let mut p = empty();
        pipe(&mut p, 8.0, 5.0, 10, 0.0025, 0.004);
        p.unit.drive = Drive::InletSuction(vec![100.0]);
        p.known = vec![Known { diameter: Tolerance { common, individual }, ..Known::default() }];
        let flow = predict(&p, &options()).unwrap().inlets[0].flow_m3_s;
        flow.u() / flow.value
    };
    let (own, shared) = (with(0.0, 0.04), with(0.04, 0.0));
    assert!(own > 0.01 && own < 0.03, "{own}");
    assert!(shared > 0.04 && shared < 0.08 && shared > 2.0 * own, "{shared} {own}");
}

#[test]
fn no_tolerance_no_uncertainty() {
    let mut p = four_by_25();
    p.known = vec![Known::default()];
    if let Drive::Fan(fan) = &mut p.unit.drive {
        fan.u_pressure = 0.0;
    }
    let got = predict(&p, &options()).unwrap();
    for i in &got.inlets {
        assert_eq!(i.flow_m3_s.u(), 0.0);
        assert!((i.flow_interval95.1 - i.flow_interval95.0).abs() < 1e-9 * i.flow_m3_s.value);
    }
}

/// Each law is a cause of its own: its distance from the mean of all over the root of 2.
#[test]
fn every_law_counts_by_how_far_it_puts_flows_and_drops() {
    let p = four_by_25();
    let by = |form, law| {
        let model = ModelTolerance { friction_form: form, ..ModelTolerance::default() };
        let solve = SolveOptions { friction: law, ..SolveOptions::default() };
        predict(&p, &PredictOptions { model, solve, draws: 200, ..PredictOptions::default() }).unwrap()
    };
    let all: Vec<_> = FrictionLaw::ALL.map(|law| by(1.0, law)).into();
    let (none, half) = (by(0.0, FrictionLaw::Churchill), by(0.5, FrictionLaw::Churchill));
    let i = none.inlets[1].inlet;
    let flows: Vec<f64> = all.iter().map(|a| a.inlets[1].flow_m3_s.value).collect();
    let mean = flows.iter().sum::<f64>() / 4.0;
    let causes = &all[0].inlets[1].flow_common[13..];
    for (law, (cause, flow)) in causes.iter().zip(&flows).enumerate() {
        assert!((cause - (flow - mean) / 2f64.sqrt()).abs() < 1e-9 * mean, "{law}");
        assert!((half.inlets[1].flow_common[13 + law] - 0.5 * cause).abs() < 1e-9 * mean);
        assert_eq!(none.inlets[1].flow_common[13 + law], 0.0);
        // As sure by whatever law it was made.
        for other in &all {
            assert!((other.inlets[1].flow_common[13 + law] - cause).abs() < 1e-9 * mean);
        }
    }
    assert_eq!(all[0].inlets[1].flow_m3_s.value, none.inlets[1].flow_m3_s.value);
    let covariance = |a: &Prediction| a.inlet_covariance[0][1];
    let product: f64 = all[0].inlets[0].flow_common[13..].iter().zip(causes).map(|(a, b)| a * b).sum();
    assert!((covariance(&all[0]) - covariance(&none) - product).abs() < 1e-9 * product.abs());
    // A drop by another law, from a solve by that law: linear propagation puts it there to a quarter of how far it is.
    for o in all[0].openings.iter().step_by(7) {
        let mut closed = p.clone();
        closed.openings[o.opening].blocked = true;
        let inlet = all[0].inlets.iter().find(|i| i.number == o.inlet).unwrap().inlet;
        let shares: Vec<f64> = FrictionLaw::ALL
            .iter()
            .zip(&all)
            .map(|(law, open)| {
                let solve_by = SolveOptions { friction: *law, ..SolveOptions::default() };
                1.0 - solve(&closed, &solve_by).unwrap().inlet_flow_m3_s[inlet]
                    / open.inlets.iter().find(|i| i.inlet == inlet).unwrap().flow_m3_s.value
            })
            .collect();
        let mean = shares.iter().sum::<f64>() / 4.0;
        let spread = shares.iter().map(|s| (s - mean).abs()).fold(0.0, f64::max);
        for (cause, share) in o.closed_common[13..].iter().zip(&shares) {
            assert!((cause * 2f64.sqrt() - (share - mean)).abs() < 0.25 * spread, "{cause} {share} {mean} {i}");
        }
        let norm = o.closed_common.iter().map(|c| c * c).sum::<f64>().sqrt();
        assert!((o.closed_share.u_common / norm - 1.0).abs() < 1e-12);
    }
}

/// Whichever of the laws is right, what it says lies within what is stated, of every quantity and by whatever law it was stated.
#[test]
fn every_law_lies_within_what_is_stated() {
    let model = ModelTolerance { friction: 0.03, friction_form: 1.0, ..ModelTolerance::default() };
    let mut p = four_by_25();
    p.known = vec![Known::default()];
    for friction in FrictionLaw::ALL {
        let solve_by = SolveOptions { friction, ..SolveOptions::default() };
        let got =
            predict(&p, &PredictOptions { model, solve: solve_by, draws: 200, ..PredictOptions::default() }).unwrap();
        for law in FrictionLaw::ALL {
            let s = solve(&p, &SolveOptions { friction: law, ..SolveOptions::default() }).unwrap();
            let t = times(&p, &s, &TransportOptions::default());
            let within = |e: plumeline_base::quantity::Estimate, x: f64| (x - e.value).abs() <= 2.0 * e.u() + 1e-12;
            let holds = |(low, high): (f64, f64), x: f64| low <= x && x <= high;
            for i in &got.inlets {
                let x = s.inlet_flow_m3_s[i.inlet];
                assert!(within(i.flow_m3_s, x) && holds(i.flow_interval95, x), "{friction:?} {law:?}");
                assert!(within(i.suction_pa, s.inlet_suction_pa[i.inlet]));
            }
            for o in &got.openings {
                assert!(within(o.flow_m3_s, s.opening_flow_m3_s[o.opening]), "{friction:?} {law:?}");
                assert!(within(o.suction_pa, s.opening_suction_pa[o.opening]));
                let x = t[o.opening].mean_s;
                assert!(within(o.mean_s, x) && holds(o.mean_interval95, x), "{friction:?} {law:?}");
            }
        }
    }
}

/// Beyond the points of its curve a fan is less sure, the more the farther.
#[test]
fn beyond_its_curve_a_fan_is_less_sure() {
    let by = |points: usize| {
        let mut p = four_by_25();
        if let Drive::Fan(fan) = &mut p.unit.drive {
            fan.curve.truncate(points);
        }
        let flow = predict(&p, &PredictOptions { draws: 200, ..options() }).unwrap().total_flow_m3_s;
        flow.u() / flow.value
    };
    let Drive::Fan(fan) = &four_by_25().unit.drive else { panic!("no fan") };
    let flow = solve(&four_by_25(), &SolveOptions::default()).unwrap().total_flow_m3_s;
    let within = fan.curve.iter().position(|p| p.flow_m3_s > flow).unwrap();
    assert!(within > 2 && by(within) > 1.5 * by(within + 1), "{} {}", by(within), by(within + 1));
    assert!(by(within - 1) > by(within));
}

#[test]
fn a_hole_at_the_inlet_is_there_at_once() {
    let mut p = empty();
    pipe(&mut p, 8.0, 5.0, 10, 0.0025, 0.004);
    let at = p.inlets[0].node.unwrap();
    p.openings.push(hole(at, 12, 0.002));
    p.inlets[0].volume_m3 = 0.0;
    p.unit.volume_m3 = 0.0;
    p.unit.drive = Drive::InletSuction(vec![100.0]);
    let got = predict(&p, &options()).unwrap();
    let last = got.openings.last().unwrap();
    assert_eq!((last.mean_s.value, last.first_s.value), (0.0, 0.0));
}

/// Two inlets on one ring: what the holes take is all that the pipes carry.
#[test]
fn shares_of_joined_pipes_add_up() {
    let mut p = empty();
    pipe(&mut p, 8.0, 5.0, 10, 0.0025, 0.004);
    pipe(&mut p, 8.0, 5.0, 10, 0.0025, 0.004);
    let (a, b) = (p.segments[5].far, p.segments[p.segments.len() - 4].far);
    p.segments.push(segment(a, b, 3.0));
    let s = solve(&p, &SolveOptions::default()).unwrap();
    let all = shares(&p, &s);
    assert!((all.iter().map(|s| s.of_pipe).sum::<f64>() - 1.0).abs() < 1e-9);
}

#[test]
fn defects_show_as_they_are_solved() {
    let (p, got) = job();
    let all = visible(&p, &options(), &got).unwrap();
    assert_eq!(all.len(), 300);
    let of = |k: usize, d: Defect| all.iter().find(|x| x.opening == k && x.defect == d).unwrap();
    // A lost cap draws more on its own pipe and takes from the others; closing does the reverse.
    assert!(of(24, Defect::Opened).inlet_flows[0].shift > 0.0 && of(24, Defect::Opened).inlet_flows[1].shift < 0.0);
    assert!(of(24, Defect::Closed).inlet_flows[0].shift < 0.0 && of(24, Defect::Closed).inlet_flows[1].shift > 0.0);
    assert!(
        (of(24, Defect::Closed).inlet_flows[0].shift + got.openings[24].closed_drop_m3_s.value).abs() < 1e-9 * 1e-3
    );
    // A pipe parted near the unit is plain to see; one far hole closed is not.
    assert!(of(0, Defect::Parted).inlet_flows[0].ratio() > 3.0);
    assert!(of(20, Defect::Closed).inlet_flows[0].ratio() < 1.0);
    assert!(of(0, Defect::Parted).far_time.is_none());
    // With the near hole closed the pipe beyond draws harder, and its smoke comes sooner.
    assert!(of(24, Defect::Closed).far_time.unwrap().shift > 0.0);
}

#[test]
fn dilution_mixes_extinction() {
    let p = four_by_25();
    let s = solve(&p, &SolveOptions::default()).unwrap();
    let all = shares(&p, &s);
    assert!((all.iter().map(|s| s.of_unit).sum::<f64>() - 1.0).abs() < 1e-12);
    assert!((all[..25].iter().map(|s| s.of_pipe).sum::<f64>() - 1.0).abs() < 1e-12);
    // 0.2 %/m at the chamber, 1 % of the flow: 1 - 0.998^100 = 18.1 %/m at the hole, not 20.
    let chamber = Extinction::from_stated(0.2, ObscurationUnit::PercentPerMetre).unwrap();
    let hole = needed_at_hole(chamber, 0.01).unwrap();
    assert!((hole.stated(ObscurationUnit::PercentPerMetre) - 18.143).abs() < 1e-3);
    assert!((at_chamber(hole, 0.01).0 - chamber.0).abs() < 1e-15);
    assert_eq!(needed_at_hole(chamber, 0.0), None);
}

#[test]
fn response_rises_through_the_reported_points() {
    let p = four_by_25();
    let s = solve(&p, &SolveOptions::default()).unwrap();
    let o = TransportOptions::default();
    let t = &times(&p, &s, &o)[24];
    let r = response(&p, &s, &o, 24).unwrap();
    let at = |curve: &[f64], time: f64| curve[r.time_s.partition_point(|x| *x < time)];
    assert!((at(&r.air, t.first_s) - 0.01).abs() < 0.01);
    assert!((at(&r.sensor, t.half_plateau_s) - 0.5).abs() < 0.01);
    assert!(r.sensor.windows(2).all(|w| w[1] >= w[0] - 1e-12));
    assert!(r.sensor.last().is_some_and(|last| *last > 0.97));
    // Laminar and unmixed, smoke runs ahead down to half the mean; mixed at each hole it runs less far ahead.
    let never = &times(&p, &s, &TransportOptions { remixing: Remixing::Never, ..o })[24];
    assert!(never.first_s < t.first_s && never.first_s > 0.45 * t.mean_s);
}

#[test]
fn remarks_on_a_poor_design() {
    let mut p = four_by_25();
    p.openings[3].outside_pa = -200.0;
    let s = solve(&p, &SolveOptions::default()).unwrap();
    let t = times(&p, &s, &TransportOptions::default());
    assert!(t[3].mean_s.is_infinite());
    let limits = ReviewLimits { min_suction_pa: 40.0, max_transport_s: 60.0, min_balance: 0.7 };
    let mean_s: Vec<f64> = t.iter().map(|t| t.mean_s).collect();
    let all = review(&p, &s, &mean_s, &limits);
    let says = |place, what: fn(&Remark) -> bool| all.iter().any(|w| w.place == place && what(&w.what));
    assert!(says(Place::Opening(3), |r| matches!(r, Remark::Backflow(_))));
    assert!(says(Place::Opening(24), |r| matches!(r, Remark::Starved(_))));
    assert!(says(Place::Opening(24), |r| matches!(r, Remark::Slow(_))));
    assert!(says(Place::Inlet(1), |r| matches!(r, Remark::Unbalanced(_))));
    assert!(says(Place::Segment(0), |r| matches!(r, Remark::Transition(_))));
    assert!(!all.iter().any(|w| matches!(w.what, Remark::AirBeyondCipm | Remark::RisingFanCurve(_))));
}

#[test]
fn refusals_name_the_place_and_a_remedy() {
    let refused = |change: fn(&mut Pipework)| {
        let mut p = four_by_25();
        change(&mut p);
        match solve(&p, &SolveOptions::default()) {
            Err(plumeline_airflow::AirflowError::Build(e)) => {
                assert!(e.to_string().contains(e.fault.remedy()));
                e
            }
            other => unreachable!("{other:?}"),
        }
    };
    assert_eq!(refused(|p| p.segments[7].length_m = f64::NAN).place, Place::Segment(7));
    assert_eq!(refused(|p| p.segments[7].roughness_m = 0.5).place, Place::Segment(7));
    assert_eq!(refused(|p| p.openings[9].node = 5000).place, Place::Opening(9));
    assert_eq!(refused(|p| p.nodes.push(Node::default())).fault, Fault::Unjoined);
    assert_eq!(refused(|p| p.inlets[1].node = p.inlets[0].node).fault, Fault::SharedInletNode);
    assert_eq!(refused(|p| p.openings.iter_mut().for_each(|o| o.blocked = true)).fault, Fault::NothingOpen);
    assert_eq!(refused(|p| p.unit.drive = Drive::InletSuction(vec![50.0])).place, Place::Drive);
}

//! Each defect of the catalogue does to the site what it does in the trade, from the moment it comes into being.
#![allow(clippy::unwrap_used, reason = "test code: a surprise ends the test")]
mod common;
use common::{Client, exact};
use plumeline_base::{Instant, pipework::*};
use plumeline_simulator::{
    Defect, DefectKind, Scenario, Simulation, defect::DefectError, scenario::Which, simulation::ScenarioError,
};

/// Flows of the two inlets and of the unit, L/min, with the replacement running, and what they are without defects.
fn flows(scenario: Scenario) -> Vec<f64> {
    let scenario = Scenario { mounted: Which::Replacement, ..scenario };
    let mut sim = Simulation::new(scenario, Instant::START).unwrap();
    sim.handle_timeout(Instant::from_secs(60));
    sim.truth().inlets.iter().map(|i| i.flow_l_min).collect()
}
/// Relative change of each inlet's flow by the defect.
fn change(defect: &str) -> [f64; 2] {
    let (sound, spoilt) = (flows(exact(&[])), flows(exact(&[defect])));
    [spoilt[0] / sound[0] - 1.0, spoilt[1] / sound[1] - 1.0]
}

#[test]
fn blocked_holes_lower_their_own_pipe_a_little() {
    // One of eight holes: 1 to 9 % less of its pipe is what the trade sees (common practice), more where holes are few.
    let one = change("hole-blocked:pipe=2");
    assert!((-0.10..-0.01).contains(&one[1]), "{one:?}");
    assert!(one[0] > 0.0 && one[0] < 0.05, "the other pipe draws a little more: {one:?}");
    let half = change("hole-partly-blocked:pipe=2");
    assert!(half[1] < 0.0 && half[1] > one[1], "{half:?}");
    let three = change("holes-blocked:pipe=2,severity=3");
    assert!(three[1] < 2.0 * one[1], "{three:?}");
    let cap = change("cap-blocked:pipe=2");
    assert!(cap[1] < -0.01, "{cap:?}");
}
#[test]
fn openings_that_should_not_be_raise_their_pipe() {
    for defect in ["end-cap-missing:pipe=2", "pipe-off:pipe=2", "pipe-half-seated:pipe=2", "pipe-broken:pipe=2"] {
        let c = change(defect);
        assert!(c[1] > 0.02, "{defect}: {c:?}");
        assert!(c[0] < 0.0, "{defect} takes from the other pipe: {c:?}");
    }
    assert!(change("pipe-off:pipe=2")[1] > change("end-cap-missing:pipe=2")[1]);
    let wrong = change("wrong-hole-drilled:pipe=2");
    assert!(wrong[1] > 0.01, "{wrong:?}");
}
#[test]
fn crossed_pipes_swap_their_flows() {
    let (sound, crossed) = (flows(exact(&[])), flows(exact(&["pipes-crossed"])));
    for (a, b) in [(0, 1), (1, 0)] {
        assert!((crossed[a] / sound[b] - 1.0).abs() < 0.01, "{crossed:?} for {sound:?}");
    }
}
#[test]
fn the_units_own_defects_move_all_pipes_alike() {
    for defect in ["filter-clogged", "fan-setting-wrong", "exhaust-off"] {
        let c = change(defect);
        assert!(c[0] < -0.01 && (c[0] - c[1]).abs() < 0.05, "{defect}: {c:?}");
    }
}
#[test]
fn an_inlet_without_a_pipe_left_open_takes_from_all() {
    let mut s = exact(&["inlet-left-open"]);
    let template = s.pipework.inlets[0].clone();
    s.pipework.inlets.push(Inlet { number: 3, node: None, ..template });
    let mut sound = s.clone();
    sound.defects.clear();
    let (sound, spoilt) = (flows(sound), flows(s));
    assert_eq!(sound[2], 0.0);
    assert!(spoilt[2] > spoilt[0] && spoilt[0] < sound[0] && spoilt[1] < sound[1], "{spoilt:?}");
}
#[test]
fn a_kinked_capillary_starves_its_point() {
    let mut s = exact(&["capillary-kinked"]);
    // Hole 4 of pipe 1 becomes the end of a capillary of 4 m and 8 mm.
    let hole = s.pipework.openings.iter().position(|o| o.number == 4).unwrap();
    let near = s.pipework.openings[hole].node;
    let far = s.pipework.nodes.len() as u32;
    s.pipework.nodes.push(Node { elevation_m: 2.5 });
    let template = s.pipework.segments[0].clone();
    let capillary = SegmentKind::Capillary;
    s.pipework.segments.push(Segment {
        near,
        far,
        kind: capillary,
        length_m: 4.0,
        bore_m: 8e-3,
        minor_k: 0.0,
        ..template
    });
    s.pipework.openings[hole].node = far;
    let mut sound = s.clone();
    sound.defects.clear();
    let flow = |scenario: Scenario| {
        let sim = Simulation::new(Scenario { mounted: Which::Replacement, ..scenario }, Instant::START).unwrap();
        sim.truth().holes.iter().find(|h| h.hole == 4 && h.pipe == 1).unwrap().flow_l_min
    };
    let (sound, kinked) = (flow(sound), flow(s));
    assert!(kinked < 0.8 * sound && kinked > 0.0, "{kinked} for {sound}");
}
#[test]
fn a_broken_pipe_leaves_the_far_holes_dead() {
    let scenario = Scenario { mounted: Which::Replacement, ..exact(&["pipe-broken:pipe=2,severity=0.5"]) };
    let sim = Simulation::new(scenario, Instant::START).unwrap();
    let holes: Vec<f64> = sim.truth().holes.iter().filter(|h| h.pipe == 2).map(|h| h.flow_l_min).collect();
    assert!(holes[0] > 0.1 && holes.last().unwrap().abs() < 1e-6, "{holes:?}");
}
#[test]
fn refit_defects_are_not_there_before_the_refit() {
    for (defect, before) in [("pipe-off:pipe=1", false), ("wrong-hole-drilled:pipe=1", true)] {
        let as_found = |defects: &[&str]| {
            let sim = Simulation::new(exact(defects), Instant::START).unwrap();
            sim.truth().inlets[0].flow_l_min
        };
        let differs = (as_found(&[defect]) / as_found(&[]) - 1.0).abs() > 0.01;
        assert_eq!(differs, before, "{defect}");
    }
}
#[test]
fn repaired_is_as_if_it_had_never_been() {
    let mut c = Client::replaced(exact(&["end-cap-missing:pipe=1"]));
    let spoilt = c.flow(0);
    c.do_it(r#"{"do":"repair","defect":"end-cap-missing"}"#);
    c.wait(60.0);
    let sound = flows(exact(&[]));
    assert!(spoilt > sound[0] * 1.1);
    assert!((c.flow(0) / sound[0] - 1.0).abs() < 1e-3, "{} for {sound:?}", c.flow(0));
    assert_eq!(c.control(r#"{"do":"repair","defect":"end-cap-missing"}"#)["ok"], false);
}
#[test]
fn smoke_at_a_blocked_hole_never_arrives() {
    let arrives = |defects: &[&str]| {
        let mut c = Client::replaced(exact(defects));
        c.do_it(r#"{"do":"smoke","pipe":1,"hole":4,"obscuration":30,"seconds":30}"#);
        c.wait(90.0);
        c.readings.iter().filter_map(|r| r.obscuration_n_m[0].value()).max().unwrap() > 100_000
    };
    assert!(arrives(&[]));
    assert!(!arrives(&["hole-blocked:pipe=1,hole=4"]));
}
#[test]
fn a_crossed_pipe_brings_its_smoke_all_the_same_but_later_or_sooner() {
    // Smoke at the far hole of pipe 1 comes through inlet 2: only the flow of each inlet tells, when a hole is closed.
    let mut c = Client::replaced(exact(&["pipes-crossed"]));
    let before = (c.flow(0), c.flow(1));
    c.do_it(r#"{"do":"close","pipe":1,"hole":2}"#);
    c.wait(20.0);
    assert!(c.flow(1) < before.1 * 0.99 && c.flow(0) >= before.0, "{} {} {before:?}", c.flow(0), c.flow(1));
}
#[test]
fn the_truth_knows_when_smoke_arrives() {
    let mut c = Client::replaced(exact(&[]));
    let t = c.sim.arrivals(2, 12, &[0.05, 0.5], 300.0).unwrap();
    let (first, half) = (t[0].unwrap(), t[1].unwrap());
    // The unit's own reading, once a second, of smoke that stands at that hole from now on.
    c.readings.clear();
    c.do_it(r#"{"do":"smoke","pipe":2,"hole":12,"obscuration":30,"seconds":600}"#);
    c.wait(400.0);
    let reading = |i: usize| c.readings[i].obscuration_n_m[0].value().unwrap() as f64;
    let last = reading(c.readings.len() - 1);
    let seen = |share: f64| (0..c.readings.len()).find(|&i| reading(i) >= share * last).unwrap() as f64 + 1.0;
    assert!(first < half && first > 5.0, "{first} {half}");
    assert!((seen(0.05) - first).abs() < 2.0, "{} for {first}", seen(0.05));
    assert!((seen(0.5) - half).abs() < 2.0, "{} for {half}", seen(0.5));
    // What arrives in the end is the hole's share of the extinction outside.
    let truth = c.sim.truth();
    let total: f64 = truth.inlets.iter().map(|i| i.flow_l_min).sum();
    let hole = truth.holes.iter().find(|h| h.pipe == 2 && h.hole == 12).unwrap();
    let outside = -(0.7f64).ln() * 1e9;
    assert!((last / (outside * hole.flow_l_min / total) - 1.0).abs() < 0.01, "{last}");
    assert!(c.sim.arrivals(2, 99, &[0.5], 300.0).is_err());
}
#[test]
fn defects_without_a_place_are_refused() {
    for (defect, word) in
        [("inlet-left-open", "inlet"), ("capillary-kinked", "capillary"), ("hole-blocked:pipe=1,hole=99", "hole")]
    {
        match Simulation::new(exact(&[defect]), Instant::START) {
            Err(ScenarioError::Defect(DefectError::NoPlace { why, .. })) => assert!(why.contains(word), "{why}"),
            other => panic!("{defect}: {:?}", other.map(|_| ())),
        }
    }
    assert!(DefectKind::all().count() >= 16);
    assert!(DefectKind::all().all(|k| Defect::usual(k).check().is_ok()));
}
#[test]
fn control_lines_are_refused_with_a_remedy() {
    let mut c = Client::new(exact(&[]));
    for (line, word) in [
        ("", "not a command"),
        (r#"{"do":"fly"}"#, "not a command"),
        (r#"{"do":"smoke","pipe":1,"hole":1,"obscuration":100,"seconds":5}"#, "no smoke"),
        (r#"{"do":"smoke","pipe":1,"hole":1,"obscuration":10,"seconds":-5}"#, "no time"),
        (r#"{"do":"close","pipe":9,"hole":1}"#, "no pipe 9"),
        (r#"{"do":"close","pipe":1,"hole":0}"#, "no hole 0"),
        (r#"{"do":"close","pipe":1,"hole":1,"tape":true}"#, "not a command"),
        (r#"{"do":"inlet","inlet":7}"#, "no inlet 7"),
        (r#"{"do":"input","number":2,"on":true}"#, "no input 2"),
    ] {
        let reply = c.control(line);
        assert_eq!(reply["ok"], false, "{line}");
        assert!(reply["cause"].as_str().unwrap().contains(word), "{reply}");
        assert!(!reply["remedy"].as_str().unwrap().is_empty());
    }
    c.do_it(r#"{"do":"swap"}"#);
    assert_eq!(c.control(r#"{"do":"swap"}"#)["ok"], false);
}
#[test]
fn the_catalogue_is_described_as_it_is() {
    let docs = include_str!("../../../docs/simulator.md");
    for kind in DefectKind::all() {
        let row = docs.lines().find(|l| l.starts_with(&format!("| `{kind}` |"))).unwrap_or_else(|| panic!("{kind}"));
        let (low, high) = kind.severity_range();
        let stated = format!("({}; {low}-{high})", kind.usual_severity());
        assert!(kind.measure().is_empty() || row.contains(&stated), "{row} should say {stated}");
    }
}

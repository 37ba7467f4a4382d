//! Random sites with random defects: every one can be built and comes to rest, keeps its mass, and ends where its own march ends.
use plumeline_base::{Instant, pipework::*};
use plumeline_simulator::{
    Defect, DefectKind, Scenario, Simulation,
    defect::DefectError,
    demo::straight_pipes,
    models::invented::air_path,
    scenario::{Law, Ventilation, Which},
    simulation::ScenarioError,
};
use rand_chacha::{
    ChaCha8Rng,
    rand_core::{Rng as _, SeedableRng as _},
};

fn random_site(rng: &mut ChaCha8Rng) -> Scenario {
    let between =
        |rng: &mut ChaCha8Rng, low: f64, high: f64| low + (high - low) * (rng.next_u32() as f64 / u32::MAX as f64);
    let pipes = 1 + rng.next_u32() % 4;
    let holes: Vec<u32> = (0..pipes).map(|_| 1 + rng.next_u32() % 25).collect();
    let (spacing, hole) = (between(rng, 0.5, 9.0), between(rng, 2e-3, 6e-3));
    let mut p = straight_pipes(&holes, spacing, hole, air_path(Which::Replacement));
    for s in &mut p.segments {
        s.air_temperature_c = rng.next_u32().is_multiple_of(4).then(|| between(rng, -25.0, 45.0));
        s.minor_k = between(rng, 0.0, 3.0);
    }
    for n in &mut p.nodes {
        n.elevation_m = between(rng, -2.0, 12.0);
    }
    for o in &mut p.openings {
        o.outside_pa = between(rng, -20.0, 20.0);
    }
    let plugged = Inlet { number: pipes as u8 + 1, node: None, ..p.inlets[0].clone() };
    p.inlets.push(plugged);
    let seed = rng.next_u64();
    let mut scenario = Scenario { mounted: Which::Replacement, ..Scenario::new(p, seed) };
    scenario.scatter.law = [Law::Normal, Law::Uniform, Law::HeavyTails, Law::Skewed][rng.next_u32() as usize % 4];
    scenario.ventilation = Ventilation { swing_pa: 0.0, time_s: 1.0 };
    let kinds: Vec<DefectKind> = DefectKind::all().collect();
    scenario.defects =
        (0..rng.next_u32() % 4).map(|_| Defect::usual(kinds[rng.next_u32() as usize % kinds.len()])).collect();
    scenario
}

#[test]
fn every_site_comes_to_rest_and_keeps_its_mass() {
    let mut rng = ChaCha8Rng::seed_from_u64(20260925);
    let (mut built, mut no_place) = (0, 0);
    for round in 0..400 {
        let scenario = random_site(&mut rng);
        let defects = scenario.defects.clone();
        let pipe_swap = defects.iter().any(|d| {
            use DefectKind as K;
            matches!(d.kind, K::PipesCrossed | K::PipeOff | K::PipeHalfSeated | K::PipeBroken | K::InletLeftOpen)
        });
        let mut sim = match Simulation::new(scenario.clone(), Instant::START) {
            Ok(sim) => sim,
            Err(ScenarioError::Defect(DefectError::NoPlace { .. })) => {
                no_place += 1;
                continue;
            }
            Err(e) => panic!("round {round}: {e} ({defects:?})"),
        };
        built += 1;
        let settled = sim.truth();
        assert!(settled.inlets.iter().all(|i| i.flow_l_min.is_finite()), "round {round}: {settled:?}");
        if !pipe_swap {
            for inlet in &settled.inlets {
                let sum: f64 = settled.holes.iter().filter(|h| h.pipe == inlet.inlet).map(|h| h.flow_l_min).sum();
                assert!((sum - inlet.flow_l_min).abs() < 1e-6, "round {round}, inlet {}: {sum}", inlet.inlet);
            }
        }
        // Run down and up again: the march ends where the steady state was.
        let off = r#"{"do":"power","mains":false,"battery":false}"#;
        sim.handle_control(Instant::from_secs(10), off);
        sim.handle_control(Instant::from_secs(60), r#"{"do":"power","mains":true,"battery":true}"#);
        sim.handle_timeout(Instant::from_secs(240));
        let marched = sim.truth();
        for (a, b) in marched.inlets.iter().zip(&settled.inlets) {
            let bound = 1e-3 * (b.flow_l_min.abs() + 1.0);
            assert!((a.flow_l_min - b.flow_l_min).abs() < bound, "round {round} {defects:?}: {a:?} for {b:?}");
        }
    }
    assert!(built > 250 && no_place > 20, "{built} built, {no_place} without a place");
}

#[test]
fn no_bytes_and_no_line_stop_it() {
    use plumewire::{MAX_WIRE, Message, Nothing, ReadingsStart, Request};
    let mut rng = ChaCha8Rng::seed_from_u64(7);
    let p = straight_pipes(&[4, 4], 3.0, 3e-3, air_path(Which::Replacement));
    let mut sim = Simulation::new(Scenario::new(p, 1), Instant::START).unwrap();
    let requests = [
        Request::Hello(plumewire::HelloRequest { version_min: 1, version_max: 1, token: 3 }),
        Request::ReadingsStart(ReadingsStart { rate_hz: 5 }),
        Request::SettingsManifest(Nothing {}),
        Request::Restart(Nothing {}),
    ];
    let lines = [r#"{"do":"close","pipe":1,"hole":2}"#, r#"{"do":"pipe-off","pipe":2}"#, r#"{"do":"truth"}"#];
    let (mut now, mut sent) = (Instant::START, 0);
    for i in 0..20_000u32 {
        now += std::time::Duration::from_millis(u64::from(rng.next_u32() % 50));
        let mut bytes = [0; MAX_WIRE];
        let request = requests[rng.next_u32() as usize % requests.len()];
        let mut len = Message::Request(request).write(rng.next_u32() % 3, i, &mut bytes).unwrap();
        match rng.next_u32() % 3 {
            0 => bytes[rng.next_u32() as usize % len] ^= 1 << (rng.next_u32() % 8),
            1 => len = rng.next_u32() as usize % len,
            _ => {}
        }
        sim.handle_bytes(now, &bytes[..len]);
        if i % 10 == 0 {
            let mut line = lines[rng.next_u32() as usize % lines.len()].as_bytes().to_vec();
            let at = rng.next_u32() as usize % line.len();
            line[at] = (rng.next_u32() % 128) as u8;
            let reply = sim.handle_control(now, &String::from_utf8_lossy(&line));
            assert!(serde_json::from_str::<serde_json::Value>(&reply).is_ok());
        }
        while sim.poll_transmit().is_some() {
            sent += 1;
        }
    }
    assert!(sent > 100, "it still answers: {sent}");
}

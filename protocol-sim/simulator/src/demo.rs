//! Small invented pipeworks for tests and benchmarks.
use plumeline_base::pipework::*;

/// A pipework of one pipe for each entry of `holes` (how many, the end cap included), evenly spaced, with the given air
/// path's unit; every pipe in the inlet of its own number.
pub fn straight_pipes(holes: &[u32], spacing_m: f64, hole_m: f64, unit: AirPath) -> Pipework {
    let mut p = Pipework {
        name: "invented store".into(),
        nodes: Vec::new(),
        segments: Vec::new(),
        openings: Vec::new(),
        inlets: Vec::new(),
        unit,
        air: Air { temperature_c: 20.0, pressure_pa: 101_325.0, relative_humidity: 0.5, given: None },
        known: vec![Known::default()],
        walk: Vec::new(),
    };
    for (i, &n) in holes.iter().enumerate() {
        let mut near = p.nodes.len() as u32;
        p.nodes.push(Node::default());
        p.inlets.push(Inlet {
            number: i as u8 + 1,
            node: Some(near),
            loss: Loss { linear: 2e3, quadratic: 1.0e7 },
            bore_m: 0.021,
            volume_m3: 5e-5,
        });
        for number in 1..=n {
            let far = p.nodes.len() as u32;
            p.nodes.push(Node { elevation_m: 3.0 });
            p.segments.push(Segment {
                near,
                far,
                kind: SegmentKind::Pipe,
                length_m: if number == 1 { 5.0 } else { spacing_m },
                bore_m: 0.021,
                roughness_m: 1.5e-6,
                minor_k: if number == 1 { 1.5 } else { 0.1 },
                air_temperature_c: None,
                known: 0,
            });
            p.openings.push(Opening {
                node: far,
                number,
                kind: if number == n { OpeningKind::EndCap } else { OpeningKind::Hole },
                diameter_m: if number == n { hole_m * 1.3 } else { hole_m },
                discharge: 0.65,
                blocked: false,
                outside_pa: 0.0,
                reachable: true,
                known: 0,
                whereabouts: Default::default(),
            });
            near = far;
        }
    }
    p
}

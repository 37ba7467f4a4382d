//! Air that enters past the pipes and that the unit does not tell: how much of it there may be behind a fall of all flows alike.
//!
//! The fan gives such air and the pipes one suction, so the pipes draw less. How much air goes with which fall is the fan's curve
//! and the unit's losses; the network is solved with an opening at an inlet of its own. Not here: how far the flows fell.
use alloc::vec::Vec;
use plumeline_airflow::{SolveOptions, solve};
use plumeline_base::pipework::{Inlet, Loss, Node, Opening, OpeningKind, Pipework};

/// The widest opening that is tried, m: a whole inlet.
const WIDEST_M: f64 = 0.025;
/// Halvings of the width.
const HALVINGS: u32 = 24;

/// The untold air as a share of the air of all pipes, where they draw less by this share for its sake. `None`: no opening at an
/// inlet takes so much from them, or the unit's suction is not known.
pub(crate) fn share(pipework: &Pipework, fall: f64) -> Option<f64> {
    if fall <= 0.0 {
        return Some(0.0);
    }
    first(pipework, |opening| opening.fall >= fall).map(|opening| opening.share)
}

/// By which share the pipes draw less beside untold air of this share of theirs. `None` as above.
pub(crate) fn fall(pipework: &Pipework, share: f64) -> Option<f64> {
    first(pipework, |opening| opening.share >= share).map(|opening| opening.fall)
}

/// An opening past the pipes: how much less these draw beside it, and its air as a share of theirs.
struct Beside {
    fall: f64,
    share: f64,
}

/// The narrowest opening of which this holds.
fn first(pipework: &Pipework, holds: impl Fn(&Beside) -> bool) -> Option<Beside> {
    let all: f64 = solve(pipework, &SolveOptions::default()).ok()?.inlet_flow_m3_s.iter().sum();
    let beside = |width_m: f64| {
        let solved = solve(&with_opening(pipework, width_m), &SolveOptions::default()).ok()?;
        let (untold, pipes) = solved.inlet_flow_m3_s.split_last()?;
        let pipes: f64 = pipes.iter().sum();
        Some(Beside { fall: 1.0 - pipes / all, share: untold / pipes })
    };
    beside(WIDEST_M).filter(&holds)?;
    let (mut low, mut high) = (0.0, WIDEST_M);
    for _ in 0..HALVINGS {
        let middle = 0.5 * (low + high);
        if holds(&beside(middle)?) { high = middle } else { low = middle }
    }
    beside(high)
}

fn with_opening(pipework: &Pipework, width_m: f64) -> Pipework {
    let mut changed = pipework.clone();
    let node = changed.nodes.len() as u32;
    changed.nodes.push(Node::default());
    let numbers: Vec<u8> = changed.inlets.iter().map(|i| i.number).collect();
    changed.inlets.retain(|i| i.node.is_some());
    changed.inlets.push(Inlet {
        number: (1..=u8::MAX).find(|n| !numbers.contains(n)).unwrap_or(u8::MAX),
        node: Some(node),
        loss: Loss::default(),
        bore_m: WIDEST_M,
        volume_m3: 0.0,
    });
    changed.openings.push(Opening {
        node,
        number: 1,
        kind: OpeningKind::Hole,
        diameter_m: width_m,
        discharge: 0.6,
        blocked: false,
        outside_pa: 0.0,
        reachable: false,
        known: changed.openings.first().map_or(0, |o| o.known),
        whereabouts: Default::default(),
    });
    changed
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::sample;
    use plumeline_base::pipework::{CurveInterpolation, Drive, Fan, FanPoint, Known};

    #[test]
    fn the_steeper_the_fan_the_less_air_hides_behind_a_fall() {
        let mut pipework = sample::inputs().pipework;
        pipework.known.push(Known::default());
        assert_eq!(share(&pipework, 0.1), None, "a suction that is given does not fall");
        let mut with = |slack_pa: f64| {
            let point = |flow_m3_s, pressure_pa| FanPoint { flow_m3_s, pressure_pa };
            pipework.unit.drive = Drive::Fan(Fan {
                curve: alloc::vec![point(0.0, 100.0 + slack_pa), point(2e-3, 100.0 - slack_pa)],
                interpolation: CurveInterpolation::Linear,
                speed: 1.0,
                reference_density: 1.2,
                u_pressure: 0.0,
            });
            [share(&pipework, 0.0), share(&pipework, 0.02), share(&pipework, 0.1)]
        };
        let steep = with(90.0);
        assert_eq!(steep[0], Some(0.0));
        assert!(steep[1] > Some(0.02) && steep[2] > steep[1], "{steep:?}");
        let flat = with(20.0);
        assert!(flat[1] > steep[1], "{flat:?} {steep:?}");
        for of in [0.02, 0.1] {
            let back = share(&pipework, fall(&pipework, of).unwrap()).unwrap();
            assert!((back - of).abs() < 1e-4 * of, "{back}");
        }
    }
}

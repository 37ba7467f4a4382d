//! The two invented models of detector: the outgoing one and its replacement. They differ as such units do.
use plumeline_base::pipework::{AirPath, CurveInterpolation, Drive, Fan, FanPoint, Loss};

use crate::scenario::Which;

/// A fan curve from (L/min, Pa) pairs.
fn fan(points: &[(f64, f64)]) -> Fan {
    let curve =
        points.iter().map(|&(l_min, pressure_pa)| FanPoint { flow_m3_s: l_min / 60_000.0, pressure_pa }).collect();
    Fan {
        curve,
        interpolation: CurveInterpolation::MonotoneCubic,
        speed: 1.0,
        reference_density: 1.2,
        u_pressure: 0.02,
    }
}

/// The air path of a model as its maker states it.
pub fn air_path(which: Which) -> AirPath {
    match which {
        Which::Outgoing => AirPath {
            loss: Loss { linear: 8e3, quadratic: 1.2e7 },
            volume_m3: 4e-4,
            sensor_lag_s: 2.0,
            drive: Drive::Fan(fan(&[(0.0, 260.0), (40.0, 245.0), (80.0, 205.0), (120.0, 140.0), (170.0, 0.0)])),
            exhaust_loss: Loss { linear: 0.0, quadratic: 2e6 },
            exhaust_pa: 0.0,
            exhaust_elevation_m: 0.0,
        },
        Which::Replacement => AirPath {
            loss: Loss { linear: 6e3, quadratic: 9e6 },
            volume_m3: 3e-4,
            sensor_lag_s: 1.5,
            drive: Drive::Fan(fan(&[(0.0, 420.0), (50.0, 400.0), (100.0, 340.0), (160.0, 210.0), (220.0, 0.0)])),
            exhaust_loss: Loss { linear: 0.0, quadratic: 2e6 },
            exhaust_pa: 0.0,
            exhaust_elevation_m: 0.0,
        },
    }
}

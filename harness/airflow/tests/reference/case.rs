//! A network in the neutral form of the reference makers, and as the engine's pipework.
use plumeline_airflow::air::{REFERENCE_DENSITY, REFERENCE_VISCOSITY};
use plumeline_base::pipework::*;
use serde::Deserialize;

/// Node, number, kind, diameter (m), discharge coefficient, blocked, pressure outside (Pa).
type OpeningRow = (u32, u32, u8, f64, f64, u8, f64);
/// Near, far, capillary, length (m), bore (m), roughness (m), loss coefficient, temperature (degC).
type SegmentRow = (u32, u32, u8, f64, f64, f64, f64, Option<f64>);

#[derive(Deserialize)]
pub(crate) struct InletRow {
    number: u8,
    node: Option<u32>,
    loss: (f64, f64),
    bore: f64,
    volume: f64,
}

#[derive(Deserialize)]
struct FanRow {
    points: Vec<(f64, f64)>,
    speed: f64,
    density: f64,
}

#[derive(Deserialize)]
struct UnitRow {
    loss: (f64, f64),
    volume: f64,
    lag: f64,
    exhaust_loss: (f64, f64),
    exhaust_pa: f64,
    exhaust_elevation: f64,
    fan: Option<FanRow>,
    /// In place of the fan.
    #[serde(default)]
    suction: Vec<f64>,
}

/// A network in the neutral form of the reference makers.
#[derive(Deserialize)]
pub(crate) struct Case {
    pub(crate) name: String,
    density: f64,
    viscosity: f64,
    nodes: Vec<f64>,
    segments: Vec<SegmentRow>,
    openings: Vec<OpeningRow>,
    inlets: Vec<InletRow>,
    unit: UnitRow,
}

impl Case {
    /// The case as a pipework. Losses in the data are those in the air of the case; a [`Loss`] is stated at reference air.
    pub(crate) fn pipework(&self) -> Pipework {
        let reference = self.unit.fan.as_ref().map_or(REFERENCE_DENSITY, |fan| fan.density);
        let loss = |(linear, quadratic): (f64, f64)| Loss {
            linear: linear * REFERENCE_VISCOSITY / self.viscosity,
            quadratic: quadratic * reference / self.density,
        };
        let drive = match &self.unit.fan {
            Some(fan) => Drive::Fan(Fan {
                curve: fan.points.iter().map(|&(q, p)| FanPoint { flow_m3_s: q, pressure_pa: p }).collect(),
                interpolation: CurveInterpolation::Linear,
                speed: fan.speed,
                reference_density: fan.density,
                u_pressure: 0.0,
            }),
            None => Drive::InletSuction(self.unit.suction.clone()),
        };
        Pipework {
            name: self.name.clone(),
            nodes: self.nodes.iter().map(|&elevation_m| Node { elevation_m }).collect(),
            segments: self.segments.iter().map(segment).collect(),
            openings: self.openings.iter().map(opening).collect(),
            inlets: self
                .inlets
                .iter()
                .map(|i| Inlet {
                    number: i.number,
                    node: i.node,
                    loss: loss(i.loss),
                    bore_m: i.bore,
                    volume_m3: i.volume,
                })
                .collect(),
            unit: AirPath {
                loss: loss(self.unit.loss),
                volume_m3: self.unit.volume,
                sensor_lag_s: self.unit.lag,
                drive,
                exhaust_loss: loss(self.unit.exhaust_loss),
                exhaust_pa: self.unit.exhaust_pa,
                exhaust_elevation_m: self.unit.exhaust_elevation,
            },
            air: Air {
                temperature_c: 20.0,
                pressure_pa: 101_325.0,
                relative_humidity: 0.0,
                given: Some(GivenAir { density: self.density, viscosity: self.viscosity }),
            },
            known: vec![Known::default()],
            walk: Vec::new(),
        }
    }
}

fn segment(&(near, far, capillary, length_m, bore_m, roughness_m, minor_k, air_temperature_c): &SegmentRow) -> Segment {
    let kind = if capillary == 1 { SegmentKind::Capillary } else { SegmentKind::Pipe };
    Segment { near, far, kind, length_m, bore_m, roughness_m, minor_k, air_temperature_c, known: 0 }
}

fn opening(&(node, number, kind, diameter_m, discharge, blocked, outside_pa): &OpeningRow) -> Opening {
    let kind = [OpeningKind::Hole, OpeningKind::EndCap, OpeningKind::OpenEnd][usize::from(kind)];
    Opening {
        node,
        number,
        kind,
        diameter_m,
        discharge,
        blocked: blocked == 1,
        outside_pa,
        reachable: true,
        known: 0,
        whereabouts: Default::default(),
    }
}

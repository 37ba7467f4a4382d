//! The prediction as JSON: everything in SI at full precision. What never arrives has the time `null`.
use super::{Predicted, kind_word, options::Limits, remarks};
use plumeline_airflow::{
    transport::{OpeningTransport, Regime},
    uncertainty::PredictReport,
};
use plumeline_base::{pipework::Segment, quantity::Estimate};
use plumeline_job::pipework::FrictionChoice;
use plumeline_procedure::plan::Limit;
use plumeline_runtime::{failure::Failure, warnings};
use serde::Serialize;

/// Version of the document.
const FORMAT: u32 = 1;

#[derive(Serialize)]
struct Document<'a> {
    format: u32,
    tool: &'static str,
    name: &'a str,
    friction: &'static str,
    momentum: bool,
    density_kg_m3: f64,
    viscosity_pa_s: f64,
    total_flow_m3_s: Estimate,
    manifold_pressure_pa: Option<f64>,
    inlets: Vec<Inlet>,
    inlet_covariance_m6_s2: &'a [Vec<f64>],
    openings: Vec<Opening<'a>>,
    segments: Vec<Length>,
    solve: &'a PredictReport,
    limits: Held<'a>,
    warnings: Vec<Warning>,
    filled_in: &'a [String],
}
#[derive(Serialize)]
struct Inlet {
    number: u8,
    flow_m3_s: Estimate,
    flow_interval95_m3_s: (f64, f64),
    share_of_unit: f64,
    suction_pa: Estimate,
}
#[derive(Serialize)]
struct Opening<'a> {
    inlet: Option<u8>,
    number: u32,
    kind: &'static str,
    diameter_m: f64,
    blocked: bool,
    /// As in the pipework file.
    #[serde(skip_serializing_if = "Option::is_none")]
    label: Option<&'a str>,
    #[serde(rename = "where", skip_serializing_if = "Option::is_none")]
    place: Option<&'a str>,
    /// Absent where it is closed.
    #[serde(flatten)]
    open: Option<Open<'a>>,
}
#[derive(Serialize)]
struct Open<'a> {
    flow_m3_s: Estimate,
    suction_pa: Estimate,
    share_of_pipe: f64,
    share_of_unit: f64,
    reaches_unit: f64,
    mean_s: Estimate,
    mean_interval95_s: (f64, f64),
    first_s: Estimate,
    half_plateau_s: Estimate,
    spread_s: f64,
    regime: &'static str,
    laminar_share: f64,
    closed_drop_m3_s: Estimate,
    open_rise_m3_s: Estimate,
    needed: Vec<Needed<'a>>,
}
#[derive(Serialize)]
struct Needed<'a> {
    level: &'a str,
    unit: &'static str,
    at_unit: f64,
    at_hole: Option<f64>,
    extinction_at_unit_per_m: f64,
}
#[derive(Serialize)]
struct Length {
    near: u32,
    far: u32,
    length_m: f64,
    bore_m: f64,
    flow_m3_s: f64,
    reynolds: f64,
}
#[derive(Serialize)]
struct Held<'a> {
    transport: &'a Limit,
    suction: &'a Limit,
    balance: &'a Limit,
}
#[derive(Serialize)]
struct Warning {
    kind: &'static str,
    inlet: Option<u8>,
    place: String,
    says: String,
}

/// The whole document.
pub fn text(p: &Predicted) -> Result<String, Failure> {
    let total = p.prediction.total_flow_m3_s;
    let inlet = |i: &plumeline_airflow::uncertainty::InletPrediction| Inlet {
        number: i.number,
        flow_m3_s: i.flow_m3_s,
        flow_interval95_m3_s: i.flow_interval95,
        share_of_unit: i.flow_m3_s.value / total.value,
        suction_pa: i.suction_pa,
    };
    let length = |(i, s): (usize, &Segment)| Length {
        near: s.near,
        far: s.far,
        length_m: s.length_m,
        bore_m: s.bore_m,
        flow_m3_s: p.solution.segment_flow_m3_s[i],
        reynolds: p.solution.segment_reynolds[i],
    };
    let Limits { transport, suction, balance } = &p.limits;
    let document = Document {
        format: FORMAT,
        tool: concat!("plumeline ", env!("CARGO_PKG_VERSION")),
        name: &p.pipework().name,
        friction: friction(p.file.model.friction),
        momentum: p.file.model.momentum,
        density_kg_m3: p.solution.air.density,
        viscosity_pa_s: p.solution.air.viscosity,
        total_flow_m3_s: total,
        manifold_pressure_pa: p.solution.manifold_pressure_pa,
        inlets: p.prediction.inlets.iter().map(inlet).collect(),
        inlet_covariance_m6_s2: &p.prediction.inlet_covariance,
        openings: (0..p.pipework().openings.len()).map(|k| opening(p, k)).collect(),
        segments: p.pipework().segments.iter().enumerate().map(length).collect(),
        solve: &p.prediction.report,
        limits: Held { transport, suction, balance },
        warnings: p
            .warnings
            .iter()
            .map(|w| Warning {
                kind: warnings::kind(&w.what).1,
                inlet: p.forest.inlet_at(p.pipework(), w.place),
                place: p.forest.words(p.pipework(), w.place),
                says: remarks::says(p, &w.what),
            })
            .collect(),
        filled_in: &p.file.notes,
    };
    serde_json::to_string_pretty(&document).map_err(|e| Failure::internal(e.to_string()))
}

fn opening(p: &Predicted, k: usize) -> Opening<'_> {
    let o = &p.pipework().openings[k];
    let open = p.opening(k).map(|at| {
        let t: OpeningTransport = p.transport[k];
        Open {
            flow_m3_s: at.flow_m3_s,
            suction_pa: at.suction_pa,
            share_of_pipe: at.share_of_pipe,
            share_of_unit: at.share_of_unit,
            reaches_unit: t.reaches_unit,
            mean_s: at.mean_s,
            mean_interval95_s: at.mean_interval95,
            first_s: at.first_s,
            half_plateau_s: at.half_plateau_s,
            spread_s: t.spread_s,
            regime: regime(t.regime),
            laminar_share: t.laminar_share,
            closed_drop_m3_s: at.closed_drop_m3_s,
            open_rise_m3_s: at.open_rise_m3_s,
            needed: p
                .levels
                .iter()
                .map(|l| Needed {
                    level: &l.name,
                    unit: l.unit.symbol(),
                    at_unit: l.value,
                    at_hole: p.needed(at, l),
                    extinction_at_unit_per_m: l.at_unit.0,
                })
                .collect(),
        }
    });
    Opening {
        inlet: p.forest.inlet_of[k],
        number: o.number,
        kind: kind_word(o.kind),
        diameter_m: o.diameter_m,
        blocked: o.blocked,
        label: Some(o.whereabouts.label.as_str()).filter(|t| !t.is_empty()),
        place: Some(o.whereabouts.place.as_str()).filter(|t| !t.is_empty()),
        open,
    }
}

/// A friction law by its name in `pipework.toml`.
fn friction(law: FrictionChoice) -> &'static str {
    match law {
        FrictionChoice::Churchill => "churchill",
        FrictionChoice::Colebrook => "colebrook",
        FrictionChoice::HagenDunlopSwameeJain => "hagen-dunlop-swamee-jain",
    }
}
fn regime(r: Regime) -> &'static str {
    match r {
        Regime::Convective => "laminar, not mixed across the bore",
        Regime::TaylorAris => "laminar, mixed across the bore",
        Regime::Transition => "transition",
        Regime::Turbulent => "turbulent",
    }
}

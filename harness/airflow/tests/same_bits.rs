//! The same input gives the same bits: in every run, for every thread count, on every platform. Not here: whether the bits
//! are right.
//!
//! The fingerprints are committed. A change of the engine that is meant to change results prints the new ones; run it on a
//! processor with fused multiply-add and, with it masked (GLIBC_TUNABLES=glibc.cpu.hwcaps=-FMA,-AVX2), again.
#![allow(clippy::unwrap_used)]
mod common;
use common::*;
use plumeline_airflow::{
    SolveOptions,
    sensitivity::{Measurable, gradients},
    solve,
    transport::{TransportOptions, times},
    uncertainty::{ModelTolerance, PredictOptions, Prediction, predict},
};
use plumeline_base::{pipework::Pipework, quantity::Estimate};

/// FNV-1a over the bits.
struct Fingerprint(u64);
impl Fingerprint {
    fn new() -> Self {
        Self(0xcbf2_9ce4_8422_2325)
    }
    fn take(&mut self, values: impl IntoIterator<Item = f64>) {
        for byte in values.into_iter().flat_map(|x| x.to_bits().to_le_bytes()) {
            self.0 = (self.0 ^ u64::from(byte)).wrapping_mul(0x0000_0100_0000_01b3);
        }
    }
    fn estimates(&mut self, all: &[Estimate]) {
        self.take(all.iter().flat_map(|e| [e.value, e.u_common, e.u_individual]));
    }
}

fn solved(p: &Pipework, momentum: bool) -> u64 {
    let options = SolveOptions { momentum, ..SolveOptions::default() };
    let s = solve(p, &options).unwrap();
    let mut f = Fingerprint::new();
    f.take(s.opening_flow_m3_s.iter().chain(&s.segment_flow_m3_s).chain(&s.node_pressure_pa).copied());
    f.take([s.air.density, s.air.viscosity, s.total_flow_m3_s]);
    for t in times(p, &s, &TransportOptions::default()) {
        f.take([t.mean_s, t.first_s, t.half_plateau_s, t.spread_s]);
    }
    for g in gradients(p, &options, &[Measurable::InletFlow(0), Measurable::MeanTime(3)]).unwrap() {
        f.take(g.segments.iter().flat_map(|s| [s.length, s.bore, s.roughness, s.minor_k]));
        f.take(g.openings.iter().flat_map(|o| [o.diameter, o.discharge]));
    }
    f.0
}

fn prediction(p: &Pipework) -> Prediction {
    let model = ModelTolerance {
        density: 0.01,
        friction: 0.03,
        friction_form: 1.0,
        unit_loss: 0.05,
        ..ModelTolerance::default()
    };
    predict(p, &PredictOptions { draws: 1000, seed: 42, model, ..PredictOptions::default() }).unwrap()
}

fn predicted(p: &Prediction) -> u64 {
    let mut f = Fingerprint::new();
    for i in &p.inlets {
        f.estimates(&[i.flow_m3_s, i.suction_pa]);
        f.take([i.flow_interval95.0, i.flow_interval95.1]);
    }
    f.take(p.inlet_covariance.iter().flatten().copied());
    for o in &p.openings {
        f.estimates(&[o.flow_m3_s, o.suction_pa, o.mean_s, o.first_s, o.half_plateau_s, o.closed_drop_m3_s]);
        f.estimates(&[o.open_rise_m3_s]);
        f.take([o.mean_interval95.0, o.mean_interval95.1, o.share_of_pipe, o.share_of_unit]);
    }
    f.0
}

#[test]
fn bits_are_the_committed_ones() {
    let got = [
        solved(&four_by_25(), false),
        solved(&four_by_25(), true),
        solved(&mixed(), true),
        predicted(&prediction(&four_by_25())),
        predicted(&prediction(&mixed())),
    ];
    let want: [u64; 5] = [
        0x781c_a9d7_e2bf_216c,
        0x64dc_3f2c_c338_1d27,
        0xb6c2_4e9e_3d9f_755e,
        0xa2d4_d7c7_69d4_5b63,
        0x2868_85da_5225_3307,
    ];
    assert!(got == want, "got {got:#018x?}");
}

#[cfg(feature = "threads")]
#[test]
fn thread_count_does_not_matter() {
    let p = four_by_25();
    let with = |threads| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
        pool.install(|| prediction(&p))
    };
    let one = with(1);
    for threads in [2, 3, 7] {
        assert_eq!(with(threads), one, "{threads} threads");
    }
}

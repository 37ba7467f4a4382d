//! What the unit's own supervision can see: its configured band against what each defect at each opening does to the flow.
//!
//! Not here: the trial of the band with a shut inlet.
use crate::{
    job::{JobInputs, Pipe, hole_words},
    plan::HoleRef,
};
use alloc::{format, string::String, vec::Vec};
use plumeline_airflow::defects::{Defect, DefectShift};
use plumeline_unit::{Known, view::FlowBand};

/// A band around the baseline, as fractions of it, and where it comes from.
struct Band {
    low: f64,
    high: f64,
    from: String,
}

/// The band in the settings as left, or the plan's where they tell none.
fn band(inputs: &JobInputs, told: Known<FlowBand>) -> Band {
    match told {
        Ok(FlowBand { low, high }) => Band { low, high, from: "its settings as left".into() },
        Err(_) => {
            let plan = &inputs.plan.limits.flow_band;
            Band { low: plan.value, high: plan.value, from: format!("not known from its settings; {}", plan.source) }
        }
    }
}

/// For each pipe, in plain words: the smallest defect that the band sees, and what it can't.
pub(super) fn words(inputs: &JobInputs, told: Known<FlowBand>) -> Vec<String> {
    let band = band(inputs, told);
    inputs.pipes().iter().filter_map(|pipe| of_pipe(inputs, pipe, &band)).collect()
}

fn of_pipe(inputs: &JobInputs, pipe: &Pipe, band: &Band) -> Option<String> {
    let column = inputs.prediction.inlets.iter().position(|i| i.number == pipe.inlet)?;
    let flow = inputs.prediction.inlets.get(column)?.flow_m3_s.value;
    let own = |d: &&DefectShift| pipe.openings.contains(&d.opening);
    let shift = |d: &DefectShift| d.inlet_flows.get(column).map(|s| s.shift / flow);
    let shifts: Vec<(&DefectShift, f64)> =
        inputs.defects.iter().filter(own).filter_map(|d| Some((d, shift(d)?))).filter(|(_, s)| s.is_finite()).collect();
    let seen = |s: f64| s < -band.low || s > band.high;
    let smallest = shifts.iter().filter(|(_, s)| seen(*s)).min_by(|a, b| a.1.abs().total_cmp(&b.1.abs()));
    let largest_closed = shifts
        .iter()
        .filter(|(d, s)| d.defect == Defect::Closed && !seen(*s))
        .max_by(|a, b| a.1.abs().total_cmp(&b.1.abs()));
    let sees = smallest.map_or_else(
        || "no single defect at any of its openings".into(),
        |(d, s)| format!("{} ({:+.0} %)", defect_words(inputs, pipe, d), s * 100.0),
    );
    let blind = largest_closed.map_or_else(String::new, |(d, s)| {
        format!("; it does not see {} ({:+.0} %) nor any smaller change", defect_words(inputs, pipe, d), s * 100.0)
    });
    Some(format!(
        "pipe {}: by the unit's band of -{:.0} / +{:.0} % ({}), the smallest single defect that raises its flow fault is {sees}{blind}",
        pipe.inlet,
        band.low * 100.0,
        band.high * 100.0,
        band.from
    ))
}

fn defect_words(inputs: &JobInputs, pipe: &Pipe, d: &DefectShift) -> String {
    let o = &inputs.pipework.openings[d.opening];
    let words = hole_words(HoleRef { inlet: pipe.inlet, number: o.number }, o.kind);
    match d.defect {
        Defect::Closed => format!("{words} blocked"),
        Defect::Opened => format!("{words} open to the pipe's bore"),
        Defect::Parted => format!("the pipe parted at {words}"),
    }
}

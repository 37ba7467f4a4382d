//! What the unit's own supervision can see: its configured band against what each defect at each opening does to the flow.
//!
//! Not here: the trial of the band with a shut inlet ([`super::supervise`]).
use crate::{
    facts::{fixed, missed as fact, signed},
    job::{JobInputs, Pipe, hole_words},
    outcome::{Statement, Subject},
    plan::HoleRef,
};
use alloc::{format, string::String, vec::Vec};
use plumeline_airflow::defects::{Defect, DefectShift};
use plumeline_unit::{Known, view::FlowBand};

/// A band around the baseline, as fractions of it, and where it comes from.
pub(crate) struct Band {
    pub(crate) low: f64,
    pub(crate) high: f64,
    pub(crate) from: String,
}
impl Band {
    /// The unit's own, or the plan's where the unit's is not known.
    pub(crate) fn of(inputs: &JobInputs, told: Known<FlowBand>) -> Self {
        if let Ok(FlowBand { low, high }) = told {
            return Self { low, high, from: "its settings as left".into() };
        }
        let plan = &inputs.plan.limits.flow_band;
        Self { low: plan.value, high: plan.value, from: format!("not known from its settings; {}", plan.source) }
    }
    fn sees(&self, shift: f64) -> bool {
        shift < -self.low || shift > self.high
    }
}

/// What a band sees of the pipes.
#[derive(Default)]
pub(crate) struct BandSees {
    /// For each pipe the smallest defect that it sees and the largest that it does not.
    pub(crate) all: Vec<Statement>,
    /// Of these what it does not see.
    pub(crate) blind: Vec<Statement>,
}

/// For each pipe the smallest defect that the band sees, and the largest closed hole that it does not.
pub(crate) fn sees(inputs: &JobInputs, band: &Band) -> BandSees {
    let mut out = BandSees::default();
    for pipe in inputs.pipes() {
        let Some(shifts) = shifts(inputs, &pipe) else { continue };
        let (low, high) = (fixed(band.low * 100.0, 0), fixed(band.high * 100.0, 0));
        let (inlet, subject) = (pipe.inlet, Subject::Pipe(pipe.inlet));
        let size = |s: &&(&DefectShift, f64)| libm::fabs(s.1);
        let smallest = shifts.iter().filter(|s| band.sees(s.1)).min_by(|a, b| size(a).total_cmp(&size(b)));
        let closed = shifts.iter().filter(|(d, s)| d.defect == Defect::Closed && !band.sees(*s));
        let unseen = closed.max_by(|a, b| size(a).total_cmp(&size(b)));
        match smallest {
            Some((d, s)) => {
                let (words, by) = (defect_words(inputs, &pipe, d), signed(s * 100.0, 0));
                let fact = fact::band_sees(inlet, words, by, &low, &high, &band.from);
                out.all.push(Statement::of(subject.clone(), fact));
            }
            None => {
                out.blind.push(Statement::of(subject.clone(), fact::band_sees_none(inlet, &low, &high, &band.from)))
            }
        }
        if let Some((d, s)) = unseen {
            let (words, by) = (defect_words(inputs, &pipe, d), signed(s * 100.0, 0));
            let fact = fact::band_is_blind(inlet, words, by, &low, &high, &band.from);
            out.blind.push(Statement::of(subject, fact));
        }
    }
    out.all.extend(out.blind.iter().cloned());
    out
}

/// What each defect at a pipe's own openings does to its flow, as a fraction; `None` for a pipe that is not predicted.
fn shifts<'a>(inputs: &'a JobInputs, pipe: &Pipe) -> Option<Vec<(&'a DefectShift, f64)>> {
    let column = inputs.prediction.inlets.iter().position(|i| i.number == pipe.inlet)?;
    let flow = inputs.prediction.inlets.get(column)?.flow_m3_s.value;
    let own = inputs.defects.iter().filter(|d| pipe.openings.contains(&d.opening));
    let shift = |d: &DefectShift| d.inlet_flows.get(column).map(|s| s.shift / flow);
    Some(own.filter_map(|d| Some((d, shift(d)?))).filter(|(_, s)| s.is_finite()).collect())
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::sample::{self, FLOW};
    use crate::mean_flow::L_MIN;
    use plumeline_airflow::defects::Shift;

    /// Codes for pipe 1, where closing its holes takes off so many per cent and its cap lost adds 40 %.
    fn codes(closed: &[f64], low: f64, high: f64) -> (Vec<String>, usize) {
        let mut inputs = sample::inputs();
        let shift = |percent: f64| Shift { shift: percent / 100.0 * FLOW / L_MIN, u_predicted: 0.0 };
        let defect = |(opening, defect, percent)| DefectShift {
            opening,
            defect,
            inlet_flows: alloc::vec![shift(percent), shift(0.0)],
            total_flow: shift(0.0),
            far_time: None,
        };
        let holes = closed.iter().enumerate().map(|(k, p)| (k, Defect::Closed, -p));
        inputs.defects = holes.chain([(2, Defect::Opened, 40.0)]).map(defect).collect();
        let BandSees { all, blind } = sees(&inputs, &Band { low, high, from: "a test".into() });
        let first = all.iter().filter(|s| s.subject == Subject::Pipe(1));
        let blind = blind.iter().filter(|s| s.subject == Subject::Pipe(1)).count();
        (first.map(|s| s.code.as_str().into()).collect(), blind)
    }

    #[test]
    fn what_a_band_sees_and_what_it_does_not_are_told() {
        let is = |codes: &[&str], blind| (codes.iter().map(|c| String::from(*c)).collect::<Vec<_>>(), blind);
        assert_eq!(codes(&[10.0, 12.0], 0.2, 0.2), is(&["band.smallest-seen", "band.not-seen"], 1));
        assert_eq!(codes(&[30.0], 0.2, 0.2), is(&["band.smallest-seen"], 0));
        assert_eq!(codes(&[10.0], 0.5, 0.5), is(&["band.none-seen", "band.not-seen"], 2));
    }
}

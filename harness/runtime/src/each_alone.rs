//! What every pipe should show while it alone is open: what a job is held against whose flows are read off one meter at the exhaust,
//! pipe by pipe, the inlets of the others shut.
//!
//! Times of smoke stay those of the whole pipework, for smoke is released with every inlet open. Not here: how a pipe is shut.
use plumeline_airflow::{
    AirflowError,
    uncertainty::{
        InletPrediction, OpeningPrediction, PredictOptions, Prediction,
        alone::{Alone, alone},
        predict,
    },
};
use plumeline_base::pipework::Pipework;
use plumeline_procedure::pipe_alone;

/// The prediction of the whole pipework with flows, suctions and drops of each pipe as they are while the others are shut, and what each
/// opening then draws alone, where that is wanted.
pub(crate) fn each_alone(
    pipework: &Pipework,
    options: &PredictOptions,
    whole: &Prediction,
    by_opening: bool,
) -> Result<(Prediction, Vec<Alone>), AirflowError> {
    let (mut inlets, mut openings, mut each) = (Vec::new(), Vec::new(), Vec::new());
    for number in whole.inlets.iter().map(|i| i.number) {
        let shut = pipe_alone(pipework, number);
        let told = predict(&shut, options)?;
        inlets.extend(told.inlets.into_iter().filter(|i| i.number == number));
        openings.extend(told.openings.into_iter().filter(|o| o.inlet == number));
        if by_opening {
            each.extend(alone(&shut, options)?);
        }
    }
    // In the order of the whole.
    let place = |o: &OpeningPrediction| whole.openings.iter().position(|w| w.opening == o.opening);
    openings.sort_by_key(place);
    let beside = |o: OpeningPrediction| whole.openings.iter().find(|w| w.opening == o.opening).map(|w| timed(o, w));
    let openings: Vec<OpeningPrediction> = openings.into_iter().filter_map(beside).collect();
    let prediction = Prediction { inlet_covariance: covariance(&inlets), inlets, openings, ..whole.clone() };
    Ok((prediction, each))
}

/// An opening as its pipe alone predicts it, but for what smoke shows and what it is of the whole.
fn timed(alone: OpeningPrediction, whole: &OpeningPrediction) -> OpeningPrediction {
    OpeningPrediction {
        share_of_unit: whole.share_of_unit,
        mean_s: whole.mean_s,
        mean_interval95: whole.mean_interval95,
        first_s: whole.first_s,
        half_plateau_s: whole.half_plateau_s,
        rise: whole.rise.clone(),
        ..alone
    }
}

/// Flows of two pipes that are never open together hang on the same causes: by the products of what each cause does to both
/// (JCGM 100:2008, F.1.2.3). Each by itself has all of its own uncertainty.
fn covariance(inlets: &[InletPrediction]) -> Vec<Vec<f64>> {
    let of = |a: &InletPrediction, b: &InletPrediction| match a.number == b.number {
        true => a.flow_m3_s.u() * a.flow_m3_s.u(),
        false => a.flow_common.iter().zip(&b.flow_common).map(|(x, y)| x * y).sum(),
    };
    inlets.iter().map(|a| inlets.iter().map(|b| of(a, b)).collect()).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use plumeline_airflow::{SolveOptions, solve};
    use plumeline_job::pipework;

    const PIPES: &str = "format = 1\nname = \"two\"\n[defaults]\nbore = \"21 mm\"\n[air]\ntemperature = \"20 degC\"\naltitude = \"0 m\"\nhumidity = \"50 %\"\n[unit]\ninlets = 2\ninlet_volume = \"50 mL\"\nvolume = \"0.3 L\"\nsensor_lag = \"1 s\"\nloss = { flow = \"100 L/min\", linear = \"10 Pa\", quadratic = \"25 Pa\" }\n[unit.fan]\ncurve = [[\"0 L/min\", \"420 Pa\"], [\"100 L/min\", \"340 Pa\"], [\"220 L/min\", \"0 Pa\"]]\ndensity = \"1.2 kg/m3\"\nuncertainty = \"2 %\"\n[[pipe]]\ninlet = 1\nrun = [{ pipe = \"5 m\" }, { holes = 4, diameter = \"3 mm\", every = \"4 m\" }, { cap = \"4 mm\" }]\n[[pipe]]\ninlet = 2\nrun = [{ pipe = \"9 m\" }, { holes = 3, diameter = \"3.5 mm\", every = \"5 m\" }, { cap = \"4 mm\" }]\n";

    #[test]
    fn each_pipe_is_predicted_as_it_is_while_the_others_are_shut() {
        let pipes = pipework::parse("pipework.toml", PIPES.as_bytes()).unwrap().pipework;
        let options = PredictOptions { draws: 200, ..PredictOptions::default() };
        let whole = predict(&pipes, &options).unwrap();
        let (each, by_opening) = each_alone(&pipes, &options, &whole, true).unwrap();
        assert_eq!(each.openings.len(), whole.openings.len());
        assert_eq!(by_opening.len(), whole.openings.len());
        for (i, (alone, beside)) in each.inlets.iter().zip(&whole.inlets).enumerate() {
            let solved = solve(&pipe_alone(&pipes, alone.number), &SolveOptions::default()).unwrap();
            assert!(
                (solved.total_flow_m3_s / alone.flow_m3_s.value - 1.0).abs() < 1e-9,
                "all that flows is this pipe's"
            );
            assert!(alone.flow_m3_s.value > 1.02 * beside.flow_m3_s.value, "it has more of the fan");
            assert!((each.inlet_covariance[i][i].sqrt() / alone.flow_m3_s.u() - 1.0).abs() < 1e-9);
        }
        // One fan, one drill: what one pipe draws more the other does too.
        let rho = each.inlet_covariance[0][1] / (each.inlet_covariance[0][0] * each.inlet_covariance[1][1]).sqrt();
        assert!((0.5..1.0).contains(&rho), "{rho}");
        for (a, b) in each.openings.iter().zip(&whole.openings) {
            assert_eq!(
                (a.opening, a.mean_s, &a.rise, a.share_of_unit),
                (b.opening, b.mean_s, &b.rise, b.share_of_unit)
            );
            assert_ne!(a.flow_m3_s, b.flow_m3_s);
        }
    }
}

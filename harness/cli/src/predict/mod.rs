//! What `plumeline predict` shows: everything worked out once, then told as a table, as JSON or as a drawing.
//!
//! Not here: the arguments (the command), and the physics (the airflow engine).
pub mod drawing;
pub mod json;
pub mod options;
pub mod remarks;
pub mod table;

use options::{Level, Limits};
use plumeline_airflow::{
    Solution,
    dilution::needed_at_hole,
    transport::{OpeningTransport, TransportOptions, times},
    uncertainty::{OpeningPrediction, Prediction},
    warnings::{ReviewLimits, Warning, review},
};
use plumeline_base::pipework::{Opening, Pipework};
use plumeline_job::pipework::PipeworkFile;
use plumeline_procedure::rules::advanced::ModelRules;
use plumeline_runtime::places::{Forest, kind_word};
use plumeline_runtime::{failure::Failure, job_files};

/// A pipework with everything that is predicted of it.
#[derive(Debug)]
pub struct Predicted {
    /// The pipework as it was read.
    pub file: PipeworkFile,
    /// What the design is held against.
    pub limits: Limits,
    /// Levels at the unit, for each of which the obscuration needed at every hole is wanted.
    pub levels: Vec<Level>,
    /// Values with their uncertainty.
    pub prediction: Prediction,
    /// The nominal steady state.
    pub solution: Solution,
    /// The nominal transport, by opening.
    pub transport: Vec<OpeningTransport>,
    /// How the pipework hangs together.
    pub forest: Forest,
    /// What looks poor, or leaves the ground that the model was checked on.
    pub warnings: Vec<Warning>,
}

impl Predicted {
    /// Works everything out. `name` is what messages call the file.
    pub fn new(
        name: &str,
        file: PipeworkFile,
        draws: u32,
        limits: Limits,
        levels: Vec<Level>,
    ) -> Result<Self, Failure> {
        let forest = Forest::of(&file.pipework);
        let prediction = job_files::predict(name, &file, &ModelRules { draws, ..ModelRules::default() })?;
        let solution = plumeline_airflow::solve(&file.pipework, &job_files::solve_options(file.model))
            .map_err(|e| job_files::told(name, &file.pipework, &e))?;
        let transport = times(&file.pipework, &solution, &TransportOptions::default());
        let review_limits = ReviewLimits {
            min_suction_pa: limits.suction.value,
            max_transport_s: limits.transport.value,
            min_balance: limits.balance.value,
        };
        let mean_s: Vec<f64> = transport.iter().map(|t| t.mean_s).collect();
        let warnings = review(&file.pipework, &solution, &mean_s, &review_limits);
        Ok(Self { file, limits, levels, prediction, solution, transport, forest, warnings })
    }
    /// The geometry.
    pub fn pipework(&self) -> &Pipework {
        &self.file.pipework
    }
    /// What is predicted of the opening with this index; nothing of one that is closed.
    pub fn opening(&self, index: usize) -> Option<&OpeningPrediction> {
        let all = &self.prediction.openings;
        all.binary_search_by_key(&index, |o| o.opening).ok().and_then(|at| all.get(at))
    }
    /// The obscuration that smoke needs at an opening for the unit to see `level`, in the unit of the level.
    pub fn needed(&self, opening: &OpeningPrediction, level: &Level) -> Option<f64> {
        needed_at_hole(level.at_unit, opening.share_of_unit).map(|e| e.stated(level.unit))
    }
}

/// No air can pass, by design or because it is taken to be closed.
pub fn is_closed(o: &Opening) -> bool {
    o.blocked || o.diameter_m == 0.0
}

/// A number of litres a minute.
pub fn l_min(m3_s: f64) -> f64 {
    m3_s / plumeline_base::quantity::M3_S_PER_L_MIN
}

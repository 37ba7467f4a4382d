//! Repeat runs of one test taken together; all of them count, unless one was set aside before its result was known.
//!
//! Not here: what a run is.
use crate::{Error, mean::welch_satterthwaite, stats};
use alloc::{string::String, vec::Vec};
use plumeline_base::quantity::Estimate;
use serde::{Deserialize, Serialize};

/// Fewest runs whose scatter can speak for itself.
pub const LEAST_RUNS: usize = 3;

/// Runs taken together.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Pooled {
    /// Mean of the runs; `u_common` as of the runs, `u_individual` their standard deviation of the mean.
    pub estimate: Estimate,
    /// Degrees of freedom of the whole, for [`crate::decide::decide`].
    pub dof: f64,
    /// How many runs.
    pub runs: usize,
    /// Standard deviation from run to run.
    pub sd_between: f64,
}

/// The mean of runs. With three or more their scatter speaks (Student's t, n - 1 degrees of freedom); with one or
/// two `type_b`, a stated standard uncertainty from run to run, must (JCGM 100, 4.3).
///
/// # Errors
/// [`Error::TooFew`] for no run, or for fewer than three and no type B term; [`Error::UnsoundEstimate`].
pub fn pool(runs: &[Estimate], type_b: Option<f64>) -> Result<Pooled, Error> {
    let n = runs.len() as f64;
    if runs.iter().any(|r| !r.is_sound()) || type_b.is_some_and(|b| !b.is_finite() || b <= 0.0) {
        return Err(Error::UnsoundEstimate);
    }
    let values: Vec<f64> = runs.iter().map(|r| r.value).collect();
    // Fully shared by the runs: the mean of the common parts, never shrunk (JCGM 100, 5.2.2 with r = 1).
    let common = runs.iter().map(|r| r.u_common).sum::<f64>() / n;
    let (individual, dof, sd_between) = match type_b {
        _ if runs.len() >= LEAST_RUNS => {
            let sd = stats::sd(&values);
            (sd / libm::sqrt(n), n - 1.0, sd)
        }
        Some(b) if !runs.is_empty() => {
            let own = runs.iter().map(|r| r.u_individual * r.u_individual).sum::<f64>() / n;
            (libm::sqrt((b * b + own) / n), f64::INFINITY, b)
        }
        _ => return Err(Error::TooFew { have: runs.len(), need: LEAST_RUNS }),
    };
    let estimate = Estimate::new(stats::mean(&values), common, individual);
    Ok(Pooled { estimate, dof: welch_satterthwaite(estimate.u(), &[(individual, dof)]), runs: runs.len(), sd_between })
}

/// One run of a series.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Run {
    /// Under way: its result is not known.
    Open,
    /// Its result, known.
    Result(Estimate),
    /// Ended without a time (too weak, no rise): it counts as evidence missing, it is not forgotten.
    NoResult,
    /// Set aside before its result was known, for this reason.
    SetAside(String),
}

/// Keeps the order: a run is opened, then set aside with a reason or given its result.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Series {
    runs: Vec<Run>,
}
impl Series {
    /// No runs yet.
    pub fn new() -> Self {
        Self::default()
    }
    /// Opens the next run.
    ///
    /// # Errors
    /// [`Error::RunOrder`] if one is open.
    pub fn open(&mut self) -> Result<(), Error> {
        if self.runs.last() == Some(&Run::Open) {
            return Err(Error::RunOrder { what: "a run is open already" });
        }
        self.runs.push(Run::Open);
        Ok(())
    }
    /// Sets the open run aside, with a reason.
    ///
    /// # Errors
    /// [`Error::RunOrder`] if no run is open (its result may be known) or the reason is empty.
    pub fn set_aside(&mut self, reason: &str) -> Result<(), Error> {
        if reason.trim().is_empty() {
            return Err(Error::RunOrder { what: "a run is set aside only with a reason" });
        }
        self.close(Run::SetAside(reason.trim().into()))
    }
    /// Gives the open run's result.
    ///
    /// # Errors
    /// [`Error::RunOrder`] if no run is open.
    pub fn result(&mut self, estimate: Estimate) -> Result<(), Error> {
        self.close(Run::Result(estimate))
    }
    /// Ends the open run without a time.
    ///
    /// # Errors
    /// [`Error::RunOrder`] if no run is open.
    pub fn no_result(&mut self) -> Result<(), Error> {
        self.close(Run::NoResult)
    }
    fn close(&mut self, with: Run) -> Result<(), Error> {
        match self.runs.last_mut() {
            Some(run @ Run::Open) => {
                *run = with;
                Ok(())
            }
            _ => Err(Error::RunOrder { what: "no run is open: a result that is known can't be set aside" }),
        }
    }
    /// All runs in order.
    pub fn runs(&self) -> &[Run] {
        &self.runs
    }
    /// Pools all results.
    ///
    /// # Errors
    /// As [`pool`]; [`Error::RunOrder`] while a run is open or where one ended without a time.
    pub fn pooled(&self, type_b: Option<f64>) -> Result<Pooled, Error> {
        let mut results = Vec::new();
        for run in &self.runs {
            match run {
                Run::Open => return Err(Error::RunOrder { what: "a run is still open" }),
                Run::NoResult => {
                    return Err(Error::RunOrder { what: "a run ended without a time: it can't be left out" });
                }
                Run::Result(e) => results.push(*e),
                Run::SetAside(_) => {}
            }
        }
        pool(&results, type_b)
    }
}

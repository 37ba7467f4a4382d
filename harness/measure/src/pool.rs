//! Repeat runs of one test taken together; all of them count, unless one was set aside before its result was known.
//!
//! Not here: what a run is.
use crate::Error;
use alloc::{string::String, vec::Vec};
use plumeline_base::quantity::Estimate;
use serde::{Deserialize, Serialize};

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
    let _ = type_b;
    Err(Error::TooFew { have: runs.len(), need: 3 })
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

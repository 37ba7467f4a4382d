//! One simulated job site: the units, the air, and the two ways in (the serial port and the site control).
//!
//! A pure machine: it is told the time and given bytes, and says what it sends and when it next wants to be woken.
use crate::{Scenario, defect::DefectError};
use plumeline_base::Instant;

/// Why a scenario can't be simulated.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum ScenarioError {
    /// A defect has no place in this pipework.
    #[error(transparent)]
    Defect(#[from] DefectError),
    /// The pipework's data contradict themselves.
    #[error("the pipework can't be simulated: {0}")]
    Pipework(String),
    /// The stored settings are not what this simulator wrote.
    #[error("the stored settings can't be used: {0}; remove the store to start from units as delivered")]
    Store(&'static str),
}

/// A simulated site with its units.
#[derive(Debug)]
pub struct Simulation {
    scenario: Scenario,
}

impl Simulation {
    /// Builds the site as the scenario says and starts the unit on the wall at `now`.
    ///
    /// # Errors
    /// When the scenario contradicts itself; the error says where.
    pub fn new(scenario: Scenario, now: Instant) -> Result<Self, ScenarioError> {
        let _ = now;
        Ok(Self { scenario })
    }
    /// Bytes arrive at the serial port of the connected unit at `now`.
    pub fn handle_bytes(&mut self, now: Instant, bytes: &[u8]) {
        let _ = (now, bytes);
    }
    /// A line (JSON, one object) arrives on the site control at `now`; gives the reply line, without its end.
    pub fn handle_control(&mut self, now: Instant, line: &str) -> String {
        let _ = (now, line);
        r#"{"ok":false,"cause":"the site is not built yet","remedy":"use a later version"}"#.into()
    }
    /// The time is `now`; does what has become due.
    pub fn handle_timeout(&mut self, now: Instant) {
        let _ = now;
    }
    /// The next bytes that the connected unit sends, until there are none.
    pub fn poll_transmit(&mut self) -> Option<Vec<u8>> {
        None
    }
    /// When it next wants [`Self::handle_timeout`]; `None`: never, unless something arrives.
    pub fn poll_timeout(&self) -> Option<Instant> {
        None
    }
    /// What the units remember without power, to be kept and given back as [`Scenario::store`].
    pub fn store(&self) -> Vec<u8> {
        self.scenario.store.clone().unwrap_or_default()
    }
    /// Grows whenever [`Self::store`] changes.
    pub fn store_generation(&self) -> u64 {
        0
    }
}

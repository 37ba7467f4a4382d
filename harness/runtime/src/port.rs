//! From a port as the user writes it to a driver and a line.
use crate::{failure::Failure, job_files::Files};
use plumeline_detector::{Driver, display::Display, plumewire::Plumewire};
use plumeline_link::{Injected, LineSpec, LinkSpec, Opener, RealClock, faults::FaultSpec};

/// The driver for the port that a job was begun with.
pub fn driver(files: &Files) -> Box<dyn Driver> {
    match LinkSpec::parse(files.port()) {
        Ok(LinkSpec::Display) => Box::new(Display::new()),
        _ => Box::new(Plumewire::new()),
    }
}

/// Reads a port.
pub fn parse(text: &str) -> Result<LinkSpec, Failure> {
    LinkSpec::parse(text).map_err(|e| Failure::input(e.to_string(), e.remedy))
}

/// Reads the faults of a line.
pub fn faults(text: Option<&str>) -> Result<FaultSpec, Failure> {
    FaultSpec::parse(text.unwrap_or_default()).map_err(|e| Failure::input(e.to_string(), e.remedy()))
}

/// What opens a line, with these faults on it.
pub fn opener(line: LineSpec, faults: &FaultSpec, seed: u64, clock: RealClock) -> Opener {
    let opener = Opener::new(line);
    if *faults == FaultSpec::default() {
        opener
    } else {
        opener.with_faults(Injected::new(faults.clone(), seed, clock))
    }
}

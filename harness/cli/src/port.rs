//! From a port as the user writes it to a driver and a line.
use crate::{failure::Failure, load::Files};
use plumeline_detector::{Driver, display::Display, plumewire::Plumewire};
use plumeline_link::LinkSpec;

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

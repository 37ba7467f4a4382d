//! From a port as the user writes it to a driver and a line.
use crate::{failure::Failure, job_files::Files};
use plumeline_detector::{Driver, display::Display, plumewire::Plumewire};
use plumeline_link::{Injected, LineSpec, LinkSpec, Opener, RealClock, faults::FaultSpec};
use plumeline_procedure::Drivers;

/// A driver, and which ports it is for.
struct Entry {
    name: &'static str,
    fits: fn(&LinkSpec) -> bool,
    make: fn() -> Box<dyn Driver>,
}

/// The drivers that there are. The first that fits a port is taken.
const DRIVERS: [Entry; 2] = [
    Entry { name: "display", fits: |port| matches!(port, LinkSpec::Display), make: || Box::new(Display::new()) },
    Entry { name: "plumewire", fits: |_| true, make: || Box::new(Plumewire::new()) },
];

/// The driver for a port as the user wrote it. What can't be read as a port counts as a line.
fn entry(port: &str) -> &'static Entry {
    let [.., line] = &DRIVERS;
    LinkSpec::parse(port).ok().and_then(|spec| DRIVERS.iter().find(|d| (d.fits)(&spec))).unwrap_or(line)
}

/// The name of the driver for a port: a job goes on only through ports of the same.
pub(crate) fn driver_name(port: &str) -> &'static str {
    entry(port).name
}

/// A driver for a port.
pub fn driver(port: &str) -> Box<dyn Driver> {
    (entry(port).make)()
}

/// The drivers for the ports that a job was begun with.
pub fn drivers(files: &Files) -> Drivers {
    Drivers { main: driver(files.port()), outgoing: files.old_port().map(driver) }
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

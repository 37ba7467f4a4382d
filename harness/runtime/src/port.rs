//! From a port as the user writes it, and the description of the unit behind it, to a driver and a line.
use crate::{failure::Failure, job_files::Files, simulated_model};
use plumeline_detector::{
    Driver,
    display::Display,
    plumewire::Plumewire,
    registers::{Map, Registers},
};
use plumeline_job::folder;
use plumeline_link::{Injected, LineSpec, LinkSpec, Opener, RealClock, faults::FaultSpec};
use plumeline_procedure::Drivers;

/// A driver, and what it is for: a kind of port, and a unit with or without a register map.
struct Entry {
    name: &'static str,
    fits: fn(&LinkSpec, Option<&Map>) -> bool,
    make: fn(Option<Map>) -> Box<dyn Driver>,
}

/// The drivers that there are. The first that fits is taken.
const DRIVERS: [Entry; 3] = [
    Entry { name: "display", fits: |port, _| matches!(port, LinkSpec::Display), make: |_| Box::new(Display::new()) },
    Entry {
        name: "registers",
        fits: |port, map| map.is_some_and(|map| !matches!(port, LinkSpec::Sim(_)) || simulated_model::plays(map)),
        make: |map| map.map_or_else(plumewire, |map| Box::new(Registers::new(map))),
    },
    Entry { name: "plumewire", fits: |_, _| true, make: |_| plumewire() },
];
fn plumewire() -> Box<dyn Driver> {
    Box::new(Plumewire::new())
}

/// The driver for a port as the user wrote it. What can't be read as a port counts as a line.
fn entry(port: &str, map: Option<&Map>) -> &'static Entry {
    let [.., line] = &DRIVERS;
    LinkSpec::parse(port).ok().and_then(|spec| DRIVERS.iter().find(|d| (d.fits)(&spec, map))).unwrap_or(line)
}

/// The names of the drivers for the ports that a job was begun with: it goes on only through ports of the same.
pub(crate) fn driver_names(files: &Files) -> (&'static str, Option<&'static str>) {
    let name = |port, unit| entry(port, files.registers(unit).as_ref()).name;
    let old = files.old_port().map(|port| name(port, folder::UNIT_OUTGOING));
    (name(files.port(), folder::UNIT_REPLACEMENT), old)
}

/// The drivers for the ports that a job was begun with, each by the description of its own unit.
pub fn drivers(files: &Files) -> Drivers {
    let driver = |port, unit| {
        let map = files.registers(unit);
        (entry(port, map.as_ref()).make)(map)
    };
    Drivers {
        main: driver(files.port(), folder::UNIT_REPLACEMENT),
        outgoing: files.old_port().map(|port| driver(port, folder::UNIT_OUTGOING)),
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

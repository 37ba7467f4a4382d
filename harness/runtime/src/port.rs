//! From a port as the user writes it to a driver and a line.
use crate::{
    failure::Failure,
    job_files::{Expected, Files},
    operator::Eyes,
    simulated_model,
};
use plumeline_detector::{
    Driver,
    display::{Display, Face, FlowShown},
    lines::{self, Lines},
    mixed::Mixed,
    plumewire::Plumewire,
    registers::{Map, Registers},
    vocabulary::FlowBasis,
};
use plumeline_link::{Injected, LineSpec, LinkSpec, Opener, RealClock, faults::FaultSpec};
use plumeline_procedure::Drivers;
use std::time::Duration;

/// A driver, and which ports and units it is for.
struct Entry {
    name: &'static str,
    fits: fn(&LinkSpec, &[Expected]) -> bool,
    make: fn(&[Expected]) -> Box<dyn Driver>,
}

/// The drivers that there are. The first that fits a port and the units at it is taken.
const DRIVERS: [Entry; 4] = [
    Entry { name: "display", fits: by_hand, make: |units| Box::new(Display::new(faces(units))) },
    Entry {
        name: "registers",
        fits: by_registers,
        make: |units| map(units).map_or_else(plumewire, |m| with_person(units, registers(m))),
    },
    Entry {
        name: "lines",
        fits: by_lines,
        make: |units| printed(units).map_or_else(plumewire, |m| with_person(units, Box::new(Lines::new(m.clone())))),
    },
    Entry { name: "plumewire", fits: |_, _| true, make: |_| plumewire() },
];
fn plumewire() -> Box<dyn Driver> {
    Box::new(Plumewire::new())
}
fn registers(map: &Map) -> Box<dyn Driver> {
    Box::new(Registers::new(map.clone()))
}
/// The register map of the unit at a port. Where two take turns at one, it is the replacement's.
fn map(units: &[Expected]) -> Option<&Map> {
    units.first()?.description.registers.as_ref()
}
/// The unit is read by registers; the simulator has one table of them, and plays other units by its own protocol.
fn by_registers(port: &LinkSpec, units: &[Expected]) -> bool {
    map(units).is_some_and(|map| !matches!(port, LinkSpec::Sim(_)) || simulated_model::plays(map))
}

/// The lines of the unit at a port.
fn printed(units: &[Expected]) -> Option<&lines::Map> {
    units.first()?.description.lines.as_ref()
}
/// The unit is listened to; the simulator has one kind of lines, as it has one table of registers.
fn by_lines(port: &LinkSpec, units: &[Expected]) -> bool {
    printed(units).is_some_and(|map| !matches!(port, LinkSpec::Sim(_)) || simulated_model::prints(map))
}
/// What the line can't tell or do, a person does, where the description says that one can.
fn with_person(units: &[Expected], line: Box<dyn Driver>) -> Box<dyn Driver> {
    let shows = units.first().is_some_and(|unit| unit.description.display.is_some() || unit.meter.is_some());
    if shows { Box::new(Mixed::new(line, Display::new(faces(units)))) } else { line }
}

/// The unit speaks nothing of ours: nobody but a person can ask it.
fn by_hand(port: &LinkSpec, units: &[Expected]) -> bool {
    match port {
        LinkSpec::Display => true,
        LinkSpec::Sim(_) => units.first().is_some_and(|unit| unit.description.is_by_hand()),
        LinkSpec::Line(_) => false,
    }
}

fn faces(units: &[Expected]) -> Vec<Face> {
    units.iter().map(face).collect()
}
fn face(unit: &Expected) -> Face {
    let mut face = Face { serial: unit.serial.clone(), ..unit.description.face() };
    if let Some(meter) = &unit.meter {
        face.shows.flow = Some(FlowShown {
            scale: meter.scale.clone(),
            m3_s: meter.si,
            basis: FlowBasis::Actual,
            per_inlet: false,
            meter: Some(meter.label()),
            renewed: Duration::ZERO,
        });
    }
    face
}

/// The driver for a port as the user wrote it, and the units at it. What can't be read as a port counts as a line.
fn entry(port: &str, units: &[Expected]) -> &'static Entry {
    let [.., line] = &DRIVERS;
    LinkSpec::parse(port).ok().and_then(|spec| DRIVERS.iter().find(|d| (d.fits)(&spec, units))).unwrap_or(line)
}

/// The units at each of a job's ports.
fn units(files: &Files) -> (Vec<Expected>, Vec<Expected>) {
    let [replacement, outgoing] = files.expected();
    let (replacement, outgoing) = (replacement.into_iter(), outgoing.into_iter());
    match files.old_port() {
        Some(_) => (replacement.collect(), outgoing.collect()),
        None => (replacement.chain(outgoing).collect(), Vec::new()),
    }
}

/// The replacement as a person sees it, where nobody but a person asks it.
pub(crate) fn face_of_replacement(files: &Files) -> Option<Face> {
    let (main, _) = units(files);
    let by_hand = LinkSpec::parse(files.port()).is_ok_and(|port| by_hand(&port, &main));
    by_hand.then(|| faces(&main).into_iter().next().unwrap_or_else(|| Face::stranger("")))
}

/// Nobody but a person asks the replacement.
pub fn is_by_hand(files: &Files) -> bool {
    face_of_replacement(files).is_some()
}

/// The eyes of whoever reads a job's units, in simulations.
pub fn eyes(files: &Files) -> Eyes {
    Eyes::at(faces(&files.expected().into_iter().flatten().collect::<Vec<_>>()))
}

/// The names of the drivers of a job: it goes on only through ports of the same.
pub(crate) fn driver_names(files: &Files) -> (&'static str, Option<&'static str>) {
    let (main, outgoing) = units(files);
    (entry(files.port(), &main).name, files.old_port().map(|port| entry(port, &outgoing).name))
}

/// The drivers for the ports that a job was begun with.
pub fn drivers(files: &Files) -> Drivers {
    let (main, outgoing) = units(files);
    let make = |port: &str, units: &[Expected]| (entry(port, units).make)(units);
    Drivers { main: make(files.port(), &main), outgoing: files.old_port().map(|port| make(port, &outgoing)) }
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

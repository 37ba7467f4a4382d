//! The site: what was built, what the people there do to it, and the panel that the unit reports to.
//!
//! Not here: the air itself (see [`crate::physics`]) and the units' firmware (see [`crate::device`]).
mod build;
pub mod control;
mod place;

use crate::{
    Defect, DefectKind, Lie, LieKind,
    defect::{DefectError, Since},
    physics::{Laws, airside::AirSide},
    rng::{Stream, Wander},
    scenario::{Scenario, Ventilation, Which},
    simulation::ScenarioError,
};
use build::Works;
pub(crate) use build::as_built;
use place::Place;
use plumeline_base::{
    Instant,
    pipework::{AirPath, Drive, Pipework},
};
use std::time::Duration;

/// How often the ventilation's pressure is drawn anew.
const VENTILATION_EVERY: Duration = Duration::from_secs(5);

/// The site and its air.
#[derive(Debug)]
pub(crate) struct Site {
    design: Pipework,
    /// As built, with what was wrong from the beginning.
    built: Pipework,
    units: [AirPath; 2],
    places: Vec<Place>,
    /// Diameter of a hole that leaks as much as the replacement's first unused inlet, m.
    leak_m: f64,
    laws: Laws,
    mounted: Which,
    /// What was made at the refit is there.
    refitted: bool,
    /// What hands have changed, by index: pipes off, inlets shut, openings closed.
    off: Vec<bool>,
    shut: Vec<bool>,
    closed: Vec<bool>,
    /// Smoke that stands at an opening, and until when.
    releases: Vec<(usize, Instant)>,
    works: Works,
    air: AirSide,
    ventilation: Ventilation,
    stream: Stream,
    wander: Wander,
    next_ventilation: Instant,
    pub(crate) cover_open: bool,
    pub(crate) inputs: u32,
}

const fn index(which: Which) -> usize {
    match which {
        Which::Outgoing => 0,
        Which::Replacement => 1,
    }
}
/// The speed that a fan's curve is driven at when the unit asks for 100 %.
fn design_speed(path: &AirPath) -> f64 {
    match &path.drive {
        Drive::Fan(fan) => fan.speed,
        Drive::InletSuction(_) => 1.0,
    }
}

impl Site {
    /// Builds the site of a scenario.
    pub(crate) fn new(scenario: &Scenario, now: Instant) -> Result<Self, ScenarioError> {
        let design = scenario.pipework.clone();
        if design.inlets.is_empty() || design.inlets.len() > plumewire::MAX_INLETS {
            let why = format!("a unit has 1 to {} inlets, not {}", plumewire::MAX_INLETS, design.inlets.len());
            return Err(ScenarioError::Pipework(why));
        }
        let places =
            scenario.defects.iter().map(|d| place::place(&design, *d)).collect::<Result<Vec<_>, DefectError>>()?;
        let own = |which: Which| scenario.model(which).air_path.clone();
        let replacement = match design.unit.drive {
            Drive::Fan(_) => design.unit.clone(),
            // A measured suction drives nothing; the model's own fan does.
            Drive::InletSuction(_) => own(Which::Replacement),
        };
        let outgoing = scenario.outgoing_air_path.clone().unwrap_or_else(|| own(Which::Outgoing));
        let units = [outgoing, replacement];
        let seeds = [Which::Outgoing, Which::Replacement].map(|w| unit_seed(scenario.seed, w));
        let units = [0, 1].map(|i| build::unit_as_built(&units[i], &scenario.scatter, seeds[i]));
        let mut always = Works::sound(build::as_built(&design, &scenario.scatter, scenario.seed), units[0].clone());
        places.iter().for_each(|p| always.spoil(p, Since::Always));
        let built = always.pipework;
        let works = Works::sound(built.clone(), units[index(scenario.mounted)].clone());
        let mut stream = Stream::new(scenario.seed, 0x52_0000);
        let mut site = Self {
            off: vec![false; design.inlets.len()],
            shut: vec![false; design.inlets.len()],
            closed: vec![false; design.openings.len()],
            air: air_of(&works, scenario.laws, now).map_err(ScenarioError::Pipework)?,
            wander: Wander::new(&mut stream, scenario.ventilation.time_s.max(1.0)),
            ventilation: scenario.ventilation,
            laws: scenario.laws,
            mounted: scenario.mounted,
            refitted: scenario.mounted == Which::Replacement,
            releases: Vec::new(),
            next_ventilation: now,
            cover_open: false,
            inputs: 0,
            design,
            built,
            units,
            places,
            leak_m: leak_m(&scenario.lies),
            works,
            stream,
        };
        site.rebuild(now).map_err(ScenarioError::Pipework)?;
        Ok(site)
    }
    /// Makes the works and their air anew from what was built, what is wrong and what hands have changed.
    fn rebuild(&mut self, now: Instant) -> Result<(), String> {
        let mut works = Works::sound(self.built.clone(), self.units[index(self.mounted)].clone());
        if self.refitted {
            self.places.iter().for_each(|p| works.spoil(p, Since::Refit));
            works.leak(self.leak_m);
        }
        for (i, off) in self.off.iter().enumerate() {
            if *off {
                works.take_off(i);
            }
            works.joints[i].shut = self.shut[i];
        }
        for (o, closed) in works.pipework.openings.iter_mut().zip(&self.closed) {
            o.blocked |= *closed;
        }
        self.air.advance(now);
        let mut air = air_of(&works, self.laws, now)?;
        std::mem::swap(&mut self.air, &mut air);
        self.air.carry_over(air);
        self.works = works;
        Ok(())
    }
    /// The air moves on to `now`; smoke that has run out stops, the ventilation wanders.
    pub(crate) fn advance(&mut self, now: Instant) {
        loop {
            let ends = self.releases.iter().map(|(_, until)| *until).min();
            let next = ends.unwrap_or(Instant::FAR_FUTURE).min(self.next_ventilation);
            if next > now {
                break;
            }
            self.air.advance(next);
            if ends == Some(next) {
                for (opening, _) in self.releases.extract_if(.., |(_, until)| *until <= next) {
                    self.air.smoke_mut().release(opening, 0.0, 1.0);
                }
            }
            if next == self.next_ventilation {
                self.next_ventilation += VENTILATION_EVERY;
                if self.ventilation.swing_pa > 0.0 {
                    let swing = self.ventilation.swing_pa * self.wander.at(&mut self.stream, next.as_secs_f64());
                    let base = self.works.unit.exhaust_pa;
                    self.air.network_mut().set_exhaust_pa(base + swing);
                }
            }
        }
        self.air.advance(now);
    }
    /// To the steady state at once.
    pub(crate) fn settle(&mut self) -> bool {
        self.air.settle()
    }
    /// The fan of the unit on the wall is asked for this share of 100 %.
    pub(crate) fn drive(&mut self, share: f64, spin_s: f64) {
        let speed = share * design_speed(&self.works.unit);
        self.air.network_mut().set_speed(speed, spin_s);
    }
    /// Which unit is on the wall.
    pub(crate) const fn mounted(&self) -> Which {
        self.mounted
    }
    /// The air at the unit on the wall.
    pub(crate) const fn air(&self) -> &AirSide {
        &self.air
    }
    /// Speed of the fan on the wall as a share of 100 %.
    pub(crate) fn fan(&self) -> f64 {
        self.air.network().speed() / design_speed(&self.works.unit)
    }
    /// The design that the site was built after.
    pub(crate) const fn design(&self) -> &Pipework {
        &self.design
    }
    /// The pipes and the unit as they are now.
    fn pipework(&self) -> &Pipework {
        &self.works.pipework
    }
    /// A unit on the bench, its inlets open.
    pub(crate) fn bench(&self, which: Which, now: Instant) -> Result<(AirSide, f64), String> {
        let unit = &self.units[index(which)];
        let works = Works::bench(&self.design, unit.clone());
        Ok((air_of(&works, self.laws, now)?, design_speed(unit)))
    }
    /// The outgoing unit comes off, the replacement goes on, the pipes go into its inlets: with what goes wrong at that.
    pub(crate) fn swap(&mut self, now: Instant) -> Result<(), String> {
        self.mounted = Which::Replacement;
        self.refitted = true;
        self.rebuild(now)
    }
    /// Severity of a defect that is there now.
    pub(crate) fn suffers(&self, kind: DefectKind) -> Option<f64> {
        self.places.iter().find(|p| p.defect.kind == kind).map(|p| p.defect.severity())
    }
    /// What is wrong.
    pub(crate) fn defects(&self) -> impl Iterator<Item = Defect> {
        self.places.iter().map(|p| p.defect)
    }
}
fn air_of(works: &Works, laws: Laws, now: Instant) -> Result<AirSide, String> {
    let shape = (works.pipework.segments.len(), works.pipework.openings.len());
    Ok(AirSide::new(works.network(laws)?, shape, &works.unit, laws, now))
}
/// How much an unused inlet of a unit leaks that lies so.
fn leak_m(lies: &[Lie]) -> f64 {
    let leaks = [LieKind::LeakUnusedInlet, LieKind::LeakUntold, LieKind::LeakInPipes];
    lies.iter().find(|l| leaks.contains(&l.kind)).map_or(0.0, |l| l.severity / 1000.0)
}
/// Seed of what is one unit's own.
pub(crate) const fn unit_seed(seed: u64, which: Which) -> u64 {
    seed ^ match which {
        Which::Outgoing => 0x6F75_7467_6F69_6E67,
        Which::Replacement => 0x7265_706C_6163_6500,
    }
}

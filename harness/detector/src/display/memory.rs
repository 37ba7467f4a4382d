//! What a person has said so far: which units there are, and what was read last.
use super::face::Face;
use crate::vocabulary::{Abilities, Identity};
use alloc::{string::String, vec::Vec};
use plumeline_base::Instant;

/// A unit that was identified.
#[derive(Clone, Debug)]
pub(super) struct Known {
    pub(super) identity: Identity,
    pub(super) abilities: Abilities,
    pub(super) face: Face,
}

/// Flows that were typed.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Typed {
    pub(super) at: Instant,
    pub(super) flows: Vec<Option<f64>>,
    /// How often these very numbers were typed in a row.
    pub(super) times: u32,
}

/// What was said so far.
#[derive(Debug, Default)]
pub(super) struct Memory {
    /// The models that are expected.
    pub(super) faces: Vec<Face>,
    /// The units that were identified, each serial number once.
    pub(super) units: Vec<Known>,
    /// The one that the person stands at.
    at: Option<usize>,
    pub(super) last: Option<Typed>,
    /// How far the unit's local time is ahead of UTC, minutes.
    pub(super) ahead_min: Option<i64>,
    /// The outputs were held back by hand.
    pub(super) inhibited: bool,
    /// Settings were entered: they are read back by another person, where there is one.
    pub(super) entered: bool,
}

impl Memory {
    pub(super) fn new(faces: Vec<Face>) -> Self {
        Self { faces, ..Self::default() }
    }
    /// The unit that the person stands at.
    pub(super) fn unit(&self) -> Option<&Known> {
        self.units.get(self.at?)
    }
    pub(super) fn abilities(&self) -> Option<&Abilities> {
        self.unit().map(|unit| &unit.abilities)
    }
    /// The unit that the person stands at, or why nothing can be asked about it.
    pub(super) fn at_unit(&self) -> Result<&Known, String> {
        self.unit().ok_or_else(|| "the unit was not identified yet".into())
    }
    /// The person stands at this unit from now on.
    pub(super) fn stands_at(&mut self, unit: Known) -> &Known {
        let serial = &unit.identity.serial;
        let at = self.units.iter().position(|u| u.identity.serial == *serial);
        if at != self.at || at.is_none() {
            (self.last, self.inhibited, self.entered) = (None, false, false);
        }
        let at = at.unwrap_or(self.units.len());
        self.units.splice(at..self.units.len().min(at + 1), [unit]);
        self.at = Some(at);
        &self.units[at]
    }
    /// The first model that no unit was found to be of, if there is one.
    pub(super) fn expected(&self) -> Option<usize> {
        let is_known = |face: &Face| self.units.iter().any(|u| u.face.label() == face.label());
        self.faces.iter().position(|face| !is_known(face))
    }
}

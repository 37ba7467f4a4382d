//! The fronts of a unit: what it can be reached through, apart from how it behaves.
//!
//! A front turns bytes into what [`Device`] can be asked, and what it answers and tells into bytes. Not here: behaviour.
mod line;
mod lines;
pub(crate) mod plumewire;
mod registers;

use crate::{device::Device, models::Spoken, sensors::Truth};
use lines::Lines;
use plumeline_base::Instant;
use plumewire::Plumewire;
use registers::Registers;
use std::fmt::Debug;

/// What a unit can be reached through.
pub(crate) trait Front: Debug {
    /// The unit has started or lost its power: nothing of what was under way goes on.
    fn restart(&mut self);
    /// Bytes arrive at `now`.
    fn received(&mut self, device: &mut Device, now: Instant, bytes: &[u8]);
    /// When it next wants to tell a reading; never where it tells only what it is asked.
    fn next_reading(&self) -> Option<Instant> {
        None
    }
    /// Whether a reading is due at `now`; the next one is then set.
    fn reading_due(&mut self, _: Instant) -> bool {
        false
    }
    /// Tells a reading.
    fn report(&mut self, _: &mut Device, _: Instant) {}
    /// When its next bytes leave.
    fn next_bytes(&self) -> Option<Instant>;
    /// The next bytes that have left by `now`.
    fn poll(&mut self, now: Instant) -> Option<Vec<u8>>;
}

/// A unit and its front.
#[derive(Debug)]
pub(crate) struct Reached {
    pub(crate) device: Device,
    front: Box<dyn Front>,
}
impl Reached {
    /// A unit that is reached as its model is.
    pub(crate) fn new(device: Device) -> Self {
        let front: Box<dyn Front> = match device.model().spoken {
            Spoken::Plumewire => Box::new(Plumewire::new()),
            Spoken::Registers(address) => Box::new(Registers::new(address)),
            Spoken::Lines => Box::new(Lines::new()),
        };
        Self { device, front }
    }
    /// Power comes on.
    pub(crate) fn power_up(&mut self, now: Instant) {
        if !self.device.powered() {
            self.front.restart();
        }
        self.device.power_up(now);
    }
    /// Power goes.
    pub(crate) fn power_down(&mut self) {
        self.device.power_down();
        self.front.restart();
    }
    /// Bytes arrive on the unit's line at `now`.
    pub(crate) fn handle_bytes(&mut self, now: Instant, bytes: &[u8]) {
        if self.device.hears(now) {
            self.front.received(&mut self.device, now, bytes);
        }
    }
    /// When it next looks at its sensors or restarts: then it must be told the truth.
    pub(crate) fn next_sensing(&self) -> Option<Instant> {
        let next = self.device.next_sensing()?;
        Some(self.front.next_reading().map_or(next, |at| next.min(at)))
    }
    /// When [`Self::handle_timeout`] is wanted next.
    pub(crate) fn next_timeout(&self) -> Option<Instant> {
        let sensing = self.next_sensing()?;
        Some(self.front.next_bytes().map_or(sensing, |at| sensing.min(at)))
    }
    /// The time is `now` and the sensors stand in `truth`.
    pub(crate) fn handle_timeout(&mut self, now: Instant, truth: &Truth) {
        if self.device.restart_due(now) {
            self.front.restart();
        }
        if !self.device.powered() {
            return;
        }
        let (tick, reading) = (self.device.tick_due(now), self.front.reading_due(now));
        if tick || reading {
            self.device.sense(now, truth);
        }
        if tick {
            self.device.tick(now);
        }
        if reading {
            self.front.report(&mut self.device, now);
        }
    }
    /// Bytes that have left the unit by `now`.
    pub(crate) fn poll_transmit(&mut self, now: Instant) -> Option<Vec<u8>> {
        self.front.poll(now)
    }
}

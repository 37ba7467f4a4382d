//! Lines: what the unit prints once a second by itself, whether anybody listens or not. It takes nothing.
//!
//! One invented layout for every model that is reached so; `harness/job/descriptions/model-h.toml` states the same from the other
//! side. Not here: what the unit does (see [`crate::device`]), and its display and keys (the site control).
use super::{Front, line::Outbox};
use crate::device::Device;
use plumeline_base::{
    Instant,
    obscuration::{Extinction, ObscurationUnit},
    quantity::M3_S_PER_L_MIN,
};
use std::{fmt::Write as _, time::Duration};

/// Time of a byte at 9600 bit/s, ten bits each.
const BYTE: Duration = Duration::from_micros(1042);
/// A line comes this often.
const EVERY: Duration = Duration::from_secs(1);
/// Flows in a line, whatever the unit has.
const FLOWS: usize = 4;

/// The unit's end of a line that it prints on.
#[derive(Debug)]
pub(crate) struct Lines {
    outbox: Outbox,
    next: Instant,
}
impl Lines {
    pub(crate) fn new() -> Self {
        Self { outbox: Outbox::new(BYTE), next: Instant::START }
    }
}
impl Front for Lines {
    fn restart(&mut self) {
        self.outbox = Outbox::new(BYTE);
    }
    fn received(&mut self, _: &mut Device, _: Instant, _: &[u8]) {}
    fn next_reading(&self) -> Option<Instant> {
        Some(self.next)
    }
    fn reading_due(&mut self, now: Instant) -> bool {
        let due = now >= self.next;
        if due {
            self.next = now + EVERY;
        }
        due
    }
    fn report(&mut self, device: &mut Device, now: Instant) {
        let Some(seen) = device.snapshot(now) else { return };
        let mut line = if seen.starting { String::from("* starting") } else { format!("AIR{}", seen.flow_m3_s.len()) };
        for i in (0..FLOWS).filter(|_| !seen.starting) {
            // Writing to a text can't fail.
            let _ = match seen.flow_m3_s.get(i) {
                Some(q) => write!(line, " {:6.2}", q / M3_S_PER_L_MIN),
                None => write!(line, "   ----"),
            };
        }
        if let Some(k) = seen.extinction_per_m.first().filter(|_| !seen.starting) {
            let _ = write!(line, " L/min  SMOKE {:8.4} %/m", Extinction(*k).stated(ObscurationUnit::PercentPerMetre));
        }
        line.push_str("\r\n");
        self.outbox.send(now, line.as_bytes());
    }
    fn next_bytes(&self) -> Option<Instant> {
        self.outbox.next()
    }
    fn poll(&mut self, now: Instant) -> Option<Vec<u8>> {
        self.outbox.poll(now)
    }
}

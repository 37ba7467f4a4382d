//! Injected faults round an open line.
use crate::{
    Down, LinkEvent, RealClock,
    faults::{FaultSpec, Faults},
    link::Line,
};
use plumeline_base::{Instant, input::LinkDown};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

/// Faults to inject into a link, both ways, kept up over reconnections.
#[derive(Clone, Debug)]
pub struct Injected {
    spec: FaultSpec,
    clock: RealClock,
    ways: Arc<Mutex<Ways>>,
}

#[derive(Debug)]
struct Ways {
    inward: Faults,
    outward: Faults,
}

impl Ways {
    /// What is on the way is lost with the line.
    fn clear(&mut self) {
        self.inward.clear();
        self.outward.clear();
    }
}

impl Injected {
    /// Faults as `spec` says, drawn from `seed`, timed by `clock`.
    pub fn new(spec: FaultSpec, seed: u64, clock: RealClock) -> Self {
        let inward = Faults::new(spec.clone(), seed, 0);
        let outward = Faults::new(spec.clone(), seed, 1);
        Self { spec, clock, ways: Arc::new(Mutex::new(Ways { inward, outward })) }
    }
    /// Why the line can't be opened now, if it is to seem unplugged.
    pub(crate) fn unplugged(&self) -> Option<Down> {
        self.spec.unplugged(self.clock.now()).then(|| Down::new(LinkDown::Absent, "injected: the line is unplugged"))
    }
    pub(crate) fn layer(&self) -> Layer {
        let next_unplug = self.spec.next_unplug(self.clock.now());
        Layer { injected: self.clone(), next_unplug }
    }
    fn ways(&self) -> MutexGuard<'_, Ways> {
        self.ways.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

pub(crate) struct Layer {
    injected: Injected,
    next_unplug: Option<Instant>,
}

impl Layer {
    pub(crate) fn send(&mut self, line: &mut Line, bytes: &[u8]) {
        let now = self.injected.clock.now();
        self.injected.ways().outward.feed(now, bytes);
        self.forward(line, now);
    }
    /// Gives the line what is due by now.
    fn forward(&self, line: &mut Line, now: Instant) {
        let mut ways = self.injected.ways();
        while let Some((_, bytes)) = ways.outward.take_due(now) {
            line.send(&bytes);
        }
    }
    pub(crate) async fn next(&mut self, line: &mut Line) -> Option<LinkEvent> {
        loop {
            let now = self.injected.clock.now();
            if self.next_unplug.is_some_and(|at| at <= now) {
                self.injected.ways().clear();
                return line.end(Down::new(LinkDown::Unplugged, "injected: the line was unplugged"));
            }
            self.forward(line, now);
            let due = {
                let mut ways = self.injected.ways();
                if let Some((_, bytes)) = ways.inward.take_due(now) {
                    return Some(LinkEvent::Received(bytes));
                }
                [ways.inward.next_due(), ways.outward.next_due(), self.next_unplug].into_iter().flatten().min()
            };
            let event = tokio::select! {
                event = line.next() => event,
                () = self.injected.clock.until(due.unwrap_or(Instant::FAR_FUTURE)) => continue,
            };
            match event {
                Some(LinkEvent::Received(bytes)) => self.injected.ways().inward.feed(self.injected.clock.now(), &bytes),
                other => {
                    self.injected.ways().clear();
                    return other;
                }
            }
        }
    }
}

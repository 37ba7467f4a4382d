//! Readings in log time, as stage code consumes them: one after the other, with every gap told.
use alloc::{collections::VecDeque, rc::Rc};
use plumeline_base::{Instant, obscuration::Extinction};
use plumeline_detector::Reading;
use plumeline_measure::Sample;

/// Kept for feeds that have not been polled yet; every feed is polled after every event, so this is ample.
const KEPT: usize = 1024;

/// In place of an inlet: all of them together.
pub(crate) const TOGETHER: u8 = 0;

/// A reading with the instant of log time at which it was measured.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Timed {
    /// The unit's own time mapped to log time, or the arrival where there is no tie.
    pub(crate) at: Instant,
    pub(crate) reading: Reading,
    /// The only inlet that was open, where one meter shows the flow of all: what it shows is that pipe's.
    pub(crate) alone: Option<u8>,
}
impl Timed {
    /// Flow of an inlet by its position in the unit's order, or of [`TOGETHER`], as a sample.
    pub(crate) fn flow(&self, inlet: u8) -> Option<Sample> {
        if inlet == TOGETHER {
            return self.together();
        }
        let own = usize::from(inlet).checked_sub(1).and_then(|i| self.reading.flow_m3_s.get(i).copied().flatten());
        let value = own.or_else(|| self.reading.flow_all_m3_s.filter(|_| self.alone == Some(inlet)))?;
        Some(Sample { at: self.at, value })
    }
    /// Flow of all inlets together, where that is what is told.
    fn together(&self) -> Option<Sample> {
        self.reading.flow_all_m3_s.map(|value| Sample { at: self.at, value })
    }
    /// Extinction that concerns an inlet: its own, or the one of the unit's chamber.
    pub(crate) fn extinction(&self, inlet: u8) -> Option<Sample> {
        let all = &self.reading.extinction_per_m;
        let value = if all.len() == 1 { *all.first()? } else { *all.get(usize::from(inlet).checked_sub(1)?)? };
        Some(Sample { at: self.at, value: value? })
    }
    /// The largest extinction that the unit tells.
    pub(crate) fn highest_extinction(&self) -> Option<Extinction> {
        self.reading.extinction_per_m.iter().flatten().copied().reduce(f64::max).map(Extinction)
    }
}

/// What a feed gives.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum Item {
    Reading(Rc<Timed>),
    /// Readings are missing up to here.
    Gap(Instant),
}

/// The latest items, counted from the start of the job.
#[derive(Default)]
pub(crate) struct Log {
    items: VecDeque<Item>,
    first: u64,
    latest: Option<Rc<Timed>>,
}
impl Log {
    pub(crate) fn push(&mut self, item: Item) {
        match &item {
            Item::Reading(t) => self.latest = Some(t.clone()),
            Item::Gap(_) => self.latest = None,
        }
        self.items.push_back(item);
        if self.items.len() > KEPT {
            self.items.pop_front();
            self.first += 1;
        }
    }
    pub(crate) fn latest(&self) -> Option<&Rc<Timed>> {
        self.latest.as_ref()
    }
    pub(crate) fn end(&self) -> u64 {
        self.first + self.items.len() as u64
    }
    /// The readings that are kept, the latest first, as far as none is missing.
    pub(crate) fn back(&self) -> impl Iterator<Item = &Timed> {
        self.items.iter().rev().map_while(|item| match item {
            Item::Reading(t) => Some(&**t),
            Item::Gap(_) => None,
        })
    }
    /// The item with this number, if it has come; `Err`: it is no longer kept, and the first that is has this number.
    pub(crate) fn get(&self, number: u64) -> Result<Option<&Item>, u64> {
        let at = number.checked_sub(self.first).ok_or(self.first)?;
        Ok(usize::try_from(at).ok().and_then(|at| self.items.get(at)))
    }
}

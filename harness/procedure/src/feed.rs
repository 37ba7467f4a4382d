//! Readings one after the other, from a moment on, with every gap told.
use crate::{
    context::{Context, Deadline},
    executor::{Either, race, wait_for},
    readings::{Item, Timed},
};
use alloc::rc::Rc;
use core::time::Duration;
use plumeline_base::time::seconds;
use plumeline_detector::Faults;

impl Context {
    /// Readings from now on.
    pub(crate) fn feed(&self) -> Feed {
        Feed::new(self.clone())
    }
    /// Waits until `f` holds for a fresh reading, at most `within`; the reading's instant, or `None` when time is up.
    pub(crate) async fn until_reading(&self, within: Duration, f: impl FnMut(&Timed) -> bool) -> Option<Rc<Timed>> {
        self.watched(within, f).await.0
    }
    /// The same, and whether readings came without a gap meanwhile: what passes by in a gap is not seen.
    pub(crate) async fn watched(
        &self,
        within: Duration,
        mut f: impl FnMut(&Timed) -> bool,
    ) -> (Option<Rc<Timed>>, bool) {
        let mut feed = self.feed();
        let end = self.within(within);
        let mut whole = true;
        loop {
            match feed.next_before(end).await {
                None => return (None, whole),
                Some(Item::Reading(t)) if f(&t) => return (Some(t), whole),
                Some(Item::Reading(_)) => {}
                Some(Item::Gap(_)) => whole = false,
            }
        }
    }
    /// Waits until `f` holds for a fresh reading, however long that takes.
    pub(crate) async fn until_seen(&self, mut f: impl FnMut(&Timed) -> bool) {
        let mut feed = self.feed();
        while !matches!(feed.next().await, Item::Reading(t) if f(&t)) {}
    }
    /// The faults that stand now. Where readings were missing a moment ago, those that come next tell them.
    pub(crate) async fn faults_now(&self) -> Option<Faults> {
        let streams = self.get().stream.hz.is_some();
        if self.faults().is_some() || !streams {
            return self.faults();
        }
        let within = seconds(self.inputs().plan.advanced.readings.unusable_s);
        self.until_reading(within, |t| t.reading.faults.is_some()).await.and_then(|t| t.reading.faults)
    }
}

/// Reads items one after the other, from the moment it was made.
pub(crate) struct Feed {
    ctx: Context,
    next: u64,
}
impl Feed {
    pub(crate) fn new(ctx: Context) -> Self {
        let next = ctx.get().readings.end();
        Self { ctx, next }
    }
    /// The next item, if it has come.
    pub(crate) fn take(&mut self) -> Option<Item> {
        let s = self.ctx.get();
        match s.readings.get(self.next) {
            Ok(item) => {
                let item = item?.clone();
                self.next += 1;
                Some(item)
            }
            // Overrun: what was lost is a gap, never passed over in silence.
            Err(first) => {
                self.next = first;
                Some(Item::Gap(s.now))
            }
        }
    }
    /// The next item.
    pub(crate) async fn next(&mut self) -> Item {
        wait_for(|| self.take()).await
    }
    /// The next item, or `None` once `end` is reached.
    pub(crate) async fn next_before(&mut self, end: Deadline) -> Option<Item> {
        let ctx = self.ctx.clone();
        match race(self.next(), ctx.reached(end)).await {
            Either::First(item) => Some(item),
            Either::Second(()) => None,
        }
    }
}

//! Where the job's thread and the page's meet: the view behind a lock that each holds only for a moment, and a bounded channel of
//! what changed. Whoever is too slow for it gets the whole view anew; nobody waits for them.
use crate::view::{Person, View};
use plumeline_base::{Instant, input::Role};
use plumeline_procedure::Prompt;
use plumeline_runtime::{session::Outward, show::Show};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use tokio::sync::broadcast;

/// Messages that a page may be behind before it gets the whole view instead: at ten readings a second, some ten seconds.
const BEHIND: usize = 128;

/// The meeting place.
pub struct Hub {
    view: Mutex<View>,
    told: broadcast::Sender<Arc<str>>,
}

impl Hub {
    /// Nothing shown yet.
    #[allow(clippy::new_without_default)] // It is shared, or it is of no use.
    pub fn new() -> Arc<Self> {
        Arc::new(Self { view: Mutex::default(), told: broadcast::channel(BEHIND).0 })
    }
    fn view(&self) -> MutexGuard<'_, View> {
        // What a thread left that panicked is shown all the same.
        self.view.lock().unwrap_or_else(PoisonError::into_inner)
    }
    /// Everything as it is now, and what comes after it.
    pub(crate) fn join(&self, now: Instant) -> (Arc<str>, broadcast::Receiver<Arc<str>>) {
        let view = self.view();
        (view.whole(now), self.told.subscribe())
    }
    fn change(&self, now: Instant, change: impl FnOnce(&mut View)) {
        let mut view = self.view();
        change(&mut view);
        if let Some(message) = view.changes(now) {
            // An error says that nobody is there.
            let _ = self.told.send(message);
        }
    }
    pub(crate) fn people(&self, now: Instant, people: Vec<Person>) {
        self.change(now, |view| view.people(people));
    }
    pub(crate) fn may(&self, prompt: u32, role: Role) -> Option<bool> {
        self.view().may(prompt, role)
    }
    pub(crate) fn takes_a_mark(&self, prompt: u32) -> bool {
        self.view().takes_a_mark(prompt)
    }
}

/// Shows a job to the pages.
pub struct Shown {
    hub: Arc<Hub>,
    now: Instant,
}
impl Shown {
    /// Through this hub.
    pub fn new(hub: Arc<Hub>) -> Self {
        Self { hub, now: Instant::START }
    }
}
impl Show for Shown {
    fn show(&mut self, now: Instant, what: &Outward) {
        self.now = now;
        match what {
            Outward::Reading(reading, basis) => {
                let mut view = self.hub.view();
                let point = view.reading(reading, *basis);
                let _ = self.hub.told.send(format!("{{\"m\":\"air\",\"p\":{point}}}").into());
                if let Some(message) = view.changes(now) {
                    let _ = self.hub.told.send(message);
                }
            }
            what => self.hub.change(now, |view| view.show(now, what)),
        }
    }
    fn say(&mut self, text: &str) {
        self.hub.change(self.now, |view| view.say(text));
    }
    fn tick(&mut self, now: Instant, _: Option<&Prompt>) {
        self.now = now;
        let _ = self.hub.told.send(format!("{{\"m\":\"now\",\"ms\":{}}}", now.as_micros() / 1000).into());
    }
    fn out_of_service(&mut self, since: Instant, limit_s: f64) {
        self.hub.change(self.now, |view| view.out_of_service(since, limit_s));
    }
}

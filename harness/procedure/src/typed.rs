//! Readings that are asked for one at a time: a person reads a display and types.
//!
//! Not here: what they show ([`plumeline_measure::few`] and the judges), and how a person is asked (the driver).
use crate::{
    context::Context,
    feed::Feed,
    readings::{Item, Timed},
};
use alloc::{rc::Rc, vec::Vec};
use core::time::Duration;
use plumeline_base::time::seconds;
use plumeline_detector::ask::Look;
use plumeline_detector::{Request, Trouble, ask, driver::Means};
use plumeline_measure::{Sample, few};

/// What is waited for at a display is looked for again after this.
const LOOKED_AGAIN: Duration = Duration::from_secs(10);

impl Context {
    /// What is looked at at the unit in use is asked for by itself each time.
    pub(crate) fn is_asked(&self, look: Look) -> bool {
        self.get().lines.used().driver.asks(look)
    }
    /// By which means the unit in use answers this.
    pub(crate) fn means(&self, request: &Request) -> Means {
        self.get().lines.used().driver.means(request)
    }
    /// Has somebody look at the unit's display, once.
    pub(crate) async fn look(&self, look: Look) -> Result<Rc<Timed>, Trouble> {
        let mut feed = Feed::new(self.clone());
        let told = self.unit_once(ask::ReadOnce { look }).await?;
        // The reply is in the log before whoever asked has it; beside it is what came in a stream meanwhile.
        loop {
            match feed.take() {
                Some(Item::Reading(t)) if t.reading == told => return Ok(t),
                Some(_) => {}
                None => return Err(Trouble::Nonsense("it told no reading".into())),
            }
        }
    }
    /// Waits until `f` holds of what stands: at the next readings of a stream, or by looking again and again.
    pub(crate) async fn until_shown(&self, within: Duration, mut f: impl FnMut(&Timed) -> bool) -> Option<Rc<Timed>> {
        if !self.is_asked(Look::State) {
            return self.until_reading(within, f).await;
        }
        let end = self.within(within);
        loop {
            let t = self.look(Look::State).await.ok()?;
            if f(&t) {
                return Some(t);
            }
            if self.left(end) < LOOKED_AGAIN {
                return None;
            }
            self.sleep(LOOKED_AGAIN).await;
        }
    }
    /// The flows of these inlets as they are read in one state, as many times as stand for `span` of a stream. `Err`: somebody
    /// could not read them.
    pub(crate) async fn typed_flows(&self, inlets: &[u8], span: Duration) -> Result<Vec<Vec<Sample>>, Trouble> {
        let rules = self.inputs().plan.advanced.typed.clone();
        let times = libm::ceil(span.as_secs_f64() / rules.each_s).max(1.0) as usize;
        let mut samples: Vec<Vec<Sample>> = alloc::vec![Vec::new(); inlets.len()];
        for k in 0..times {
            if k > 0 {
                self.sleep(seconds(rules.apart_s)).await;
            }
            let t = self.look(Look::Flows).await?;
            inlets.iter().zip(&mut samples).for_each(|(inlet, series)| series.extend(t.flow(*inlet)));
        }
        let mut s = self.edit();
        for (inlet, series) in inlets.iter().zip(&samples) {
            let values: Vec<f64> = series.iter().map(|q| q.value).collect();
            s.record.typed.entry(*inlet).or_default().take(&values);
        }
        Ok(samples)
    }
    /// What is known of typed flows beside what was typed. `resolution`: the display's step.
    pub(crate) fn typed_terms(&self, resolution: f64) -> few::Terms {
        let plan = &self.get().inputs.plan;
        few::Terms {
            resolution,
            calibration_relative: plan.flow.calibration_common,
            coverage: plan.rule.coverage,
            each: seconds(plan.advanced.typed.each_s),
        }
    }
}

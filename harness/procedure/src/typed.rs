//! Readings that are asked for one at a time: a person reads a display and types.
//!
//! Not here: what they show ([`plumeline_measure::few`] and the judges), and how a person is asked (the driver).
use crate::{
    context::Context,
    feed::Feed,
    readings::{Item, Timed},
};
use alloc::{format, rc::Rc, vec::Vec};
use core::time::Duration;
use plumeline_base::time::seconds;
use plumeline_detector::ask::Look;
use plumeline_detector::{Request, Trouble, ask, driver::Means};
use plumeline_measure::{Sample, few};

/// Standard deviations by which two readings of one state differ at most: their difference scatters by 1.4 of them.
const SCATTERS: f64 = 6.0;
/// The same as a share of the reading, before it is known how much it scatters (practice, no source).
const UNKNOWN: f64 = 0.05;
/// Readings of one state beyond twice of what is wanted, before no more are asked for (practice, no source).
const MORE: usize = 4;
/// What is waited for at a display is looked for again after this.
const LOOKED_AGAIN: Duration = Duration::from_secs(10);

/// The flows of a reading, of each inlet and of all together.
fn told(t: &Timed) -> (Vec<Option<f64>>, Option<f64>) {
    (t.reading.flow_m3_s.clone(), t.reading.flow_all_m3_s)
}

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
    /// The flows of these inlets as they are read in one state, as many times as stand for `span` of a stream. Only readings that
    /// agree count: what was mistyped, or typed of another state, is asked for again and left out. `Err`: somebody could not read
    /// them, or no readings agree.
    pub(crate) async fn typed_flows(&self, inlets: &[u8], span: Duration) -> Result<Vec<Vec<Sample>>, Trouble> {
        let rules = self.inputs().plan.advanced.typed.clone();
        let times = (libm::ceil(span.as_secs_f64() / rules.each_s) as usize).max(rules.entries as usize);
        let before = self.get().record.typed_last.clone();
        let mut tables: Vec<Rc<Timed>> = Vec::new();
        let agreed = loop {
            if !tables.is_empty() {
                self.sleep(seconds(rules.apart_s)).await;
            }
            tables.push(self.look(Look::Flows).await?);
            let agreed = self.agreeing(&tables, inlets);
            // What was typed last of all before may have been typed once more without a look.
            let stale = agreed.iter().all(|t| Some(told(t)) == before);
            if agreed.len() >= times + usize::from(stale) {
                break agreed;
            }
            if tables.len() >= 2 * times + MORE {
                return Err(Trouble::Nonsense(format!("of {} readings of one state no {times} agree", tables.len())));
            }
        };
        if agreed.len() < tables.len() {
            let (all, left_out) = (tables.len(), tables.len() - agreed.len());
            self.remark(format!("{left_out} of {all} typed readings were left out: they do not agree with the others"));
        }
        let mut samples: Vec<Vec<Sample>> = alloc::vec![Vec::new(); inlets.len()];
        for t in &agreed {
            inlets.iter().zip(&mut samples).for_each(|(inlet, series)| series.extend(t.flow(*inlet)));
        }
        let mut s = self.edit();
        s.record.typed_last = tables.last().map(|t| told(t));
        for (inlet, series) in inlets.iter().zip(&samples) {
            let values: Vec<f64> = series.iter().map(|q| q.value).collect();
            s.record.typed.entry(*inlet).or_default().take(&values);
        }
        Ok(samples)
    }
    /// The most readings that agree with one of them at every inlet; of as many the latest.
    fn agreeing(&self, tables: &[Rc<Timed>], inlets: &[u8]) -> Vec<Rc<Timed>> {
        let steps = self.inputs().plan.advanced.typed.agree_steps;
        let step = self.abilities().map_or(0.0, |a| f64::from(a.flow_step_nl_s) * 1e-12);
        let scatter = self.get().record.typed.clone();
        let within = |inlet: &u8, a: f64| {
            let sd = scatter.get(inlet).and_then(few::Scatter::sd).map(|(sd, _)| SCATTERS * sd);
            (steps * step).max(sd.unwrap_or(UNKNOWN * libm::fabs(a)))
        };
        let agree = |a: &Timed, b: &Timed| {
            inlets.iter().all(|n| match (a.flow(*n), b.flow(*n)) {
                (Some(a), Some(b)) => libm::fabs(a.value - b.value) <= within(n, a.value),
                (a, b) => a.is_none() && b.is_none(),
            })
        };
        let with = |a: &Rc<Timed>| tables.iter().filter(|b| agree(a, b)).cloned().collect::<Vec<_>>();
        tables.iter().map(with).max_by_key(Vec::len).unwrap_or_default()
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

//! Moments that were marked by another clock than the log's: taken with their own time and uncertainty, or asked for again.
//!
//! Not here: how such a clock is tied (the measure crate's ties), what a release's time shows ([`crate::judge::smoke`]).
use crate::{
    context::Context,
    outcome::StageKind,
    plan::ReleaseMark,
    state::{Marked, OpenAs},
};
use alloc::{format, string::String};
use plumeline_base::{
    Instant,
    input::{Mark, OperatorAct},
};
use plumeline_measure::smoke::Release;

/// So many marks are kept to be held against others: more than a walk has releases (practice, no source).
const KEPT: usize = 256;

/// Why a mark can't be one of a question that stood since then; `None`: it can. `wide`: so many standard uncertainties are allowed for.
fn doubt(mark: &Mark, since: Instant, now: Instant, wide: f64, most_u_s: f64) -> Option<String> {
    let u_s = mark.u_s();
    let slack = wide * u_s;
    if u_s > most_u_s {
        return Some(format!("its clock is tied to the log's to {u_s:.1} s only"));
    }
    let early = since.since(mark.at).as_secs_f64();
    if early > slack {
        return Some(format!("it is {early:.1} s before the question stood"));
    }
    let late = mark.at.since(now).as_secs_f64();
    (late > slack).then(|| format!("it lies {late:.1} s ahead"))
}

impl Context {
    /// When an answer was given: by its own mark where it has one that can be so, else now. `None`: the mark can't be so, and is
    /// asked for again.
    pub(crate) fn moment_of(&self, act: &OperatorAct, open: Option<OpenAs>) -> Option<Instant> {
        let inputs = self.inputs();
        let (clock, now) = (&inputs.plan.advanced.clock, self.now());
        let page = act.page.as_deref();
        let Some(open) = open else {
            if let Some((page, mark)) = page.and_then(|page| Some((page, page.mark?))) {
                self.second_mark(act.prompt, &page.by.name, &mark, clock.widths);
            }
            return Some(now);
        };
        let (at, u_s) = match page.and_then(|page| Some((page, page.mark?))) {
            None => (now, 0.0),
            Some((page, mark)) => {
                if let Some(why) = doubt(&mark, open.since, now, clock.widths, clock.longest_delay_s) {
                    self.remark(format!("the mark of {} is not taken: {why}; it is asked for again", page.by.name));
                    return None;
                }
                (mark.at.max(open.since).min(now), mark.u_s())
            }
        };
        let marked = &mut self.edit().prompts.marked;
        marked.insert(act.prompt, Marked { at, u_s, contradicted: None, judged: false });
        while marked.len() > KEPT {
            marked.pop_first();
        }
        Some(at)
    }
    /// Another mark of a moment that was marked already: within what both are unsure of it says the same.
    fn second_mark(&self, prompt: u32, name: &str, mark: &Mark, wide: f64) {
        let inputs = self.inputs();
        let plan = &inputs.plan.smoke;
        let (words, judged) = {
            let mut s = self.edit();
            let Some(first) = s.prompts.marked.get_mut(&prompt) else { return };
            let apart = first.at.since(mark.at).max(mark.at.since(first.at)).as_secs_f64();
            let u = libm::hypot(libm::hypot(first.u_s, mark.u_s()), plan.mark_u_s);
            let by_radio = first.u_s == 0.0 && plan.mark == ReleaseMark::ByRadio;
            let late = if by_radio { Release::by_radio(first.at).late_max_s } else { 0.0 };
            if apart <= wide * u + late {
                return;
            }
            let words = format!("another mark of it, by {name}, is {apart:.1} s off");
            first.contradicted = Some(words.clone());
            (words, first.judged)
        };
        self.remark(format!("[{prompt}]: {words}"));
        if judged {
            // Its result is known: it can't be set aside any more, and doesn't count.
            self.void(&[StageKind::ProveSmoke], &words);
        }
    }
    /// The uncertainty of the tie of the mark that this answer gave, s.
    pub(crate) fn tie_u_s(&self, prompt: u32) -> f64 {
        self.get().prompts.marked.get(&prompt).map_or(0.0, |m| m.u_s)
    }
    /// What was read after this moment is judged.
    pub(crate) fn judged(&self, prompt: u32) {
        if let Some(marked) = self.edit().prompts.marked.get_mut(&prompt) {
            marked.judged = true;
        }
    }
    /// Why the moment that this answer marked is in doubt by now.
    pub(crate) fn contradicted(&self, prompt: u32) -> Option<String> {
        self.get().prompts.marked.get(&prompt).and_then(|m| m.contradicted.clone())
    }
}

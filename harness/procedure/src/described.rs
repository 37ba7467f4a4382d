//! The replacement asked by meaning: its description and the settings read back from it.
//!
//! Stages ask here and never by key. Not here: what is asked ([`plumeline_unit::view`]).
use crate::context::Context;
use plumeline_unit::UnitView;

impl Context {
    /// What `ask` finds out about the replacement on the wall, as it was left.
    pub(crate) fn replacement<T>(&self, ask: impl FnOnce(&UnitView<'_>) -> T) -> T {
        let s = self.get();
        ask(&UnitView::new(s.inputs.replacement.as_ref(), s.outcome.replacement.as_ref(), s.unit.as_left.as_ref()))
    }
}

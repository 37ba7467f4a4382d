//! The decisions by what they are about, each item decided once.
use super::Carry;
use crate::decision::{About, Choice, Decision, DecisionFault};
use alloc::{
    format,
    string::{String, ToString},
};

pub(super) type Entry<'a> = (usize, &'a Decision);

pub(super) struct Book<'a>(&'a [Decision]);

impl<'a> Book<'a> {
    pub(super) fn new(decisions: &'a [Decision]) -> Result<Self, DecisionFault> {
        let book = Self(decisions);
        for (index, d) in decisions.iter().enumerate() {
            let fault = |cause: String, remedy: &str| Err(DecisionFault { index, cause, remedy: remedy.to_string() });
            if d.name.trim().is_empty() || d.reason.trim().is_empty() {
                return fault("a decision needs a name and a reason".into(), "write who decided, and why");
            }
            let fits = matches!(
                (&d.about, &d.choice),
                (About::Old(_), Choice::LeaveOut)
                    | (
                        About::New(_),
                        Choice::Default | Choice::Value(_) | Choice::SameNumber | Choice::SameHoleObscuration,
                    )
                    | (About::Levels | About::Outputs | About::Inlets, Choice::Map(_))
                    | (About::Capture, Choice::GoOn)
            );
            if !fits {
                let cause = "this can't be chosen for that".into();
                return fault(cause, "old items are left out; new ones get a default, a value or a computed threshold");
            }
            let before = decisions.iter().take(index);
            let twice = match &d.about {
                About::Old(keys) => keys.iter().find(|k| book.old(k).is_some_and(|(i, _)| i != index)),
                About::New(keys) => keys.iter().find(|k| book.new_item(k).is_some_and(|(i, _)| i != index)),
                other if before.clone().any(|b| b.about == *other) => {
                    return fault("this is decided twice".into(), "keep one of the two");
                }
                _ => None,
            };
            if let Some(key) = twice {
                return fault(format!("`{key}` is decided twice"), "keep one of the two");
            }
        }
        Ok(book)
    }
    /// Every key that is decided about is there.
    pub(super) fn check_keys(&self, c: &Carry<'_>, inlets: u8) -> Result<(), DecisionFault> {
        for (index, d) in self.0.iter().enumerate() {
            let (keys, side) = match &d.about {
                About::Old(keys) => (keys, "old"),
                About::New(keys) => (keys, "new"),
                _ => continue,
            };
            let there = |key: &str| match side {
                "old" => c.old.get(key).is_some(),
                _ => c.to.slots_with(inlets).any(|s| s.key == key),
            };
            if let Some(key) = keys.iter().find(|k| !there(k)) {
                let cause = format!("the {side} unit has no setting `{key}`");
                let remedy = "take it out, or correct the key; `plumeline show` lists the keys of a capture";
                return Err(DecisionFault { index, cause, remedy: remedy.into() });
            }
        }
        Ok(())
    }
    fn find(&self, about: impl Fn(&About) -> bool) -> Option<Entry<'a>> {
        self.0.iter().enumerate().find(|(_, d)| about(&d.about))
    }
    pub(super) fn old(&self, key: &str) -> Option<Entry<'a>> {
        self.find(|a| matches!(a, About::Old(keys) if keys.iter().any(|k| k == key)))
    }
    pub(super) fn new_item(&self, key: &str) -> Option<Entry<'a>> {
        self.find(|a| matches!(a, About::New(keys) if keys.iter().any(|k| k == key)))
    }
    pub(super) fn levels(&self) -> Option<Entry<'a>> {
        self.find(|a| *a == About::Levels)
    }
    pub(super) fn outputs(&self) -> Option<Entry<'a>> {
        self.find(|a| *a == About::Outputs)
    }
    pub(super) fn inlets(&self) -> Option<Entry<'a>> {
        self.find(|a| *a == About::Inlets)
    }
    pub(super) fn capture(&self) -> Option<Entry<'a>> {
        self.find(|a| *a == About::Capture)
    }
}

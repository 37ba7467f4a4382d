//! Settings sent item by item, each read back. Not whole or not at all: what breaks in the middle leaves a mixture, and says so.
use super::{
    frame::{Ask, Span},
    map::{Map, Setting},
    value::{self, Image},
};
use crate::{
    driver::{RefusalKind, Trouble},
    settings::{Item, Settings},
};
use alloc::{collections::VecDeque, format, string::String, vec::Vec};

/// Settings on their way.
#[derive(Debug)]
pub(super) struct Load {
    wanted: Vec<(Item, Setting)>,
    /// What is still to be written, by position in `wanted`; `None` until the unit's own were read.
    left: Option<VecDeque<usize>>,
    /// What is written and not read back yet.
    checking: bool,
    /// Refused for now: another item may have to come first.
    put_off: Vec<(usize, String)>,
    went_on: bool,
    /// Items of which a write was begun.
    touched: u32,
    checked: bool,
}

impl Load {
    /// Nothing is sent unless all of it can be.
    pub(super) fn new(map: &Map, settings: &Settings) -> Result<Self, Trouble> {
        let wanted = settings.items.iter().map(|item| {
            let setting = map.settings.iter().find(|s| s.key == item.key).ok_or("the map has no such setting".into());
            let fits = setting.and_then(|s| value::registers(item, s, map.order).map(|_| s));
            fits.map(|s| (item.clone(), s.clone())).map_err(|why| refused(&item.key, &why))
        });
        Ok(Self {
            wanted: wanted.collect::<Result<_, _>>()?,
            left: None,
            checking: false,
            put_off: Vec::new(),
            went_on: false,
            touched: 0,
            checked: false,
        })
    }
    /// Nothing was compared yet.
    pub(super) const fn is_new(&self) -> bool {
        self.left.is_none()
    }
    /// All was read again.
    pub(super) const fn is_checked(&self) -> bool {
        self.checked
    }
    /// All is written: it is read again as a whole.
    pub(super) const fn check(&mut self) {
        self.checked = true;
    }
    /// Parts done, and all.
    pub(super) fn progress(&self) -> (u32, u32) {
        let left = self.left.as_ref().map_or(0, VecDeque::len) + self.put_off.len();
        let all = u32::try_from(self.wanted.len()).unwrap_or(u32::MAX);
        (all.saturating_sub(u32::try_from(left).unwrap_or(u32::MAX)), all)
    }
    /// What to ask next; `None` once all is written. `image`: what the unit held before.
    pub(super) fn next(&mut self, map: &Map, inlets: u8, image: &Image) -> Option<Ask> {
        if self.checked {
            return None;
        }
        let wanted = &self.wanted;
        let left = self.left.get_or_insert_with(|| {
            let differs = |(item, s): &(Item, Setting)| {
                let same = |held: &Item| {
                    let one = |i: &Item| Settings::from_items(None, alloc::vec![i.clone()]);
                    one(held) == one(item)
                };
                s.inlet.is_none_or(|n| n <= inlets) && !image.item(s, map.order).is_ok_and(|held| same(&held))
            };
            wanted.iter().enumerate().filter(|(_, w)| differs(w)).map(|(i, _)| i).collect()
        });
        if left.is_empty() && self.went_on {
            // What was refused may be taken now that others have changed.
            left.extend(core::mem::take(&mut self.put_off).into_iter().map(|(i, _)| i));
            self.went_on = false;
        }
        let (item, s) = wanted.get(*left.front()?)?;
        if self.checking {
            return Some(Ask::Read(Span { table: s.place.table, at: s.place.at, count: s.place.form.len() }));
        }
        self.touched += 1;
        let registers = value::registers(item, s, map.order).unwrap_or_default();
        Some(if s.place.table.is_bits() {
            Ask::Coil { at: s.place.at, on: registers.first() == Some(&1) }
        } else {
            Ask::Write { at: s.place.at, registers }
        })
    }
    /// What was asked was answered; a trouble ends it.
    pub(super) fn told(&mut self, map: &Map, told: Result<Vec<u16>, Trouble>) -> Option<Trouble> {
        let left = self.left.as_mut()?;
        let at = *left.front()?;
        let (item, s) = self.wanted.get(at)?;
        let values = match told {
            Ok(values) => values,
            Err(Trouble::Refused { kind: RefusalKind::Invalid | RefusalKind::Other, reason, .. }) if !self.checking => {
                left.pop_front();
                self.put_off.push((at, reason));
                return self.stuck();
            }
            Err(trouble) => return Some(self.broken(trouble)),
        };
        if !self.checking {
            self.checking = true;
            return None;
        }
        self.checking = false;
        if value::registers(item, s, map.order).is_ok_and(|wanted| wanted == values) {
            left.pop_front();
            self.went_on = true;
        } else {
            left.pop_front();
            self.put_off.push((at, "it took another value than was written".into()));
        }
        self.stuck()
    }
    /// Nothing goes on any more.
    fn stuck(&self) -> Option<Trouble> {
        let over = self.left.as_ref().is_some_and(VecDeque::is_empty) && !self.went_on;
        let (at, why) = self.put_off.first().filter(|_| over)?;
        let key = self.wanted.get(*at).map_or("", |(item, _)| item.key.as_str());
        Some(self.broken(refused(key, why)))
    }
    /// What a trouble in the middle leaves behind.
    pub(super) fn broken(&self, trouble: Trouble) -> Trouble {
        let (done, all) = self.progress();
        match self.touched {
            0 => trouble,
            _ => Trouble::Mixture(format!("{trouble}; {done} of {all} items stand as wanted")),
        }
    }
}
fn refused(key: &str, why: &str) -> Trouble {
    Trouble::Refused { kind: RefusalKind::Invalid, code: 0, reason: format!("setting {key}: {why}") }
}

//! A neutral request as reads, writes and pauses, and what comes of it.
//!
//! Not here: the order of requests and the polling of readings (the driver).
use super::{
    frame::{Ask, Span},
    load::Load,
    map::{Command, Form, Map, Ordered, Place},
    tell,
    value::{Image, spans},
};
use crate::{
    ask::{Reply, Request},
    driver::{End, Trouble},
    settings::Settings,
    told::{Flag, Quantity, Told as _},
    vocabulary::{Abilities, Conditions, DRIVE_S, Identity},
};
use alloc::{collections::VecDeque, format, string::String, vec::Vec};
use core::time::Duration;
use plumeline_base::Instant;
use sha2::{Digest as _, Sha256};

/// Whether something has ended is asked this often, and so many times.
const POLL: Duration = Duration::from_secs(2);
const MOST_POLLS: u32 = 300;

/// A step of a request.
#[derive(Clone, Debug)]
pub(super) enum Step {
    Read(Span),
    Write(Ask),
    Pause(Duration),
    /// Until this bit is clear.
    Clear(Place, u32),
}

/// What is to be done next.
#[derive(Debug)]
pub(super) enum Next {
    Ask(Ask),
    Pause(Duration),
    End(End),
}

/// A request under way.
#[derive(Debug)]
pub(super) struct Task {
    request: Request,
    steps: VecDeque<Step>,
    pub(super) image: Image,
    load: Option<Load>,
    /// Parts done and all of them, to be told once.
    pub(super) progress: Option<(u32, u32)>,
    pub(super) began: Option<Instant>,
    pub(super) ended: Instant,
}

/// What the driver knows that a reply needs.
pub(super) struct Known<'a> {
    pub(super) map: &'a Map,
    pub(super) inlets: u8,
    pub(super) unit: Option<(Identity, Abilities)>,
    /// The lease of the inhibit, where one was ordered, s.
    pub(super) lease: Option<u16>,
}

fn reads(map: &Map, places: impl Iterator<Item = Place>) -> impl Iterator<Item = Step> {
    spans(places, map.bus.most).into_iter().map(Step::Read)
}
fn order(ordered: Ordered, on: bool) -> Step {
    let value = if on { ordered.value } else { ordered.off };
    let at = ordered.place.at;
    Step::Write(match ordered.place.form {
        Form::Bit(_) => Ask::Coil { at, on: value != 0 },
        _ => Ask::Write { at, registers: alloc::vec![value] },
    })
}
fn numbers(map: &Map, wanted: impl Fn(Quantity) -> bool) -> impl Iterator<Item = Place> {
    map.numbers.iter().filter(move |(q, _)| wanted(*q)).map(|(_, n)| n.place)
}
/// What tells one unit and one start from another.
fn identity(map: &Map) -> impl Iterator<Item = Place> {
    let wanted = |q| matches!(q, Quantity::Inlets | Quantity::Starts | Quantity::Uptime);
    map.texts.iter().map(|(_, p)| *p).chain(numbers(map, wanted))
}
/// What a reading is made of.
pub(super) fn reading(map: &Map, inlets: u8) -> Vec<Span> {
    let wanted = move |q| match q {
        Quantity::Flow(n) | Quantity::Smoke(n) => n <= inlets,
        q => matches!(
            q,
            Quantity::Fan
                | Quantity::Temperature
                | Quantity::Voltage
                | Quantity::Current
                | Quantity::Starts
                | Quantity::Uptime
        ),
    };
    let flags = map.flags.iter().filter(|(f, _)| !matches!(f, Flag::Low(n) | Flag::High(n) if *n > inlets));
    spans(numbers(map, wanted).chain(flags.map(|(_, p)| *p)), map.bus.most)
}
/// Every settings' place of a unit with so many inlets.
fn settings(map: &Map, inlets: u8) -> impl Iterator<Item = Place> {
    let there = map.settings.iter().filter(move |s| s.inlet.is_none_or(|n| n <= inlets));
    there.map(|s| s.place).chain(numbers(map, |q| q == Quantity::Revision))
}

impl Task {
    /// The request as steps.
    pub(super) fn new(known: &Known<'_>, request: Request) -> Result<Self, Trouble> {
        let map = known.map;
        let cannot = || Trouble::CannotDo(format!("its register map has no way to {}", request.words()));
        let command = |c| map.command(c).ok_or_else(cannot);
        let number = |q| map.number(q).ok_or_else(cannot);
        let may = |can: bool| can.then_some(()).ok_or_else(cannot);
        let baseline = || {
            numbers(map, |q| matches!(q, Quantity::Baseline(n) if n <= known.inlets) || q == Quantity::BaselineNumber)
        };
        let clock = || numbers(map, |q| matches!(q, Quantity::Clock | Quantity::Zone));
        let mut load = None;
        let steps: VecDeque<Step> = match &request {
            // Readings too: what can't be right in them is found before anything rests on it.
            Request::Identify => {
                reads(map, identity(map)).chain(reading(map, map.inlets().min(1)).into_iter().map(Step::Read)).collect()
            }
            Request::StartReadings { .. } | Request::StopReadings => VecDeque::new(),
            Request::ReadOnce { .. } => reading(map, known.inlets).into_iter().map(Step::Read).collect(),
            Request::ReadSettings | Request::SettingsState => {
                may(!map.settings.is_empty())?;
                reads(map, settings(map, known.inlets)).collect()
            }
            Request::WriteSettings { settings: wanted } => {
                may(map.settable)?;
                load = Some(Load::new(map, wanted)?);
                reads(map, settings(map, known.inlets)).collect()
            }
            Request::TellTime => {
                number(Quantity::Clock)?;
                reads(map, clock()).collect()
            }
            Request::SetTime { utc_ms } => {
                let place = number(Quantity::Clock)?;
                let registers = tell::clock(place, *utc_ms, map.order).filter(|_| place.place.table.is_writable());
                let write = Ask::Write { at: place.place.at, registers: registers.ok_or_else(cannot)? };
                [Step::Write(write)].into_iter().chain(reads(map, clock())).collect()
            }
            Request::TakeBaseline => {
                may(map.tells_baseline())?;
                let taking = command(Command::TakeBaseline)?;
                let ends = match map.flag(Flag::Condition(Conditions::TAKING_BASELINE)) {
                    Some(state) => [Step::Pause(POLL), Step::Clear(state, 0)],
                    None => [Step::Pause(taking.takes), Step::Pause(Duration::ZERO)],
                };
                [order(taking, true)].into_iter().chain(ends).chain(reads(map, baseline())).collect()
            }
            Request::ReadBaseline => {
                may(map.tells_baseline())?;
                reads(map, baseline()).collect()
            }
            Request::Inhibit { lease } => {
                let seconds = u16::try_from(lease.as_secs()).unwrap_or(u16::MAX);
                [order(Ordered { value: seconds, ..command(Command::Inhibit)? }, true)].into()
            }
            Request::RenewInhibit => {
                let value = known.lease.ok_or_else(|| nonsense("no inhibit was ordered"))?;
                [order(Ordered { value, ..command(Command::Inhibit)? }, true)].into()
            }
            Request::ReleaseInhibit => [order(Ordered { off: 0, ..command(Command::Inhibit)? }, false)].into(),
            Request::Drive { output, on } => {
                let drive = command(Command::Drive(*output))?;
                // A register takes for how long.
                let value =
                    if drive.place.form == Form::U16 && drive.value == 0 { DRIVE_S.into() } else { drive.value };
                [order(Ordered { value, ..drive }, *on)].into()
            }
            Request::ResetLatches => [order(command(Command::Reset)?, true)].into(),
            Request::Restart => [order(command(Command::Restart)?, true)].into(),
            Request::Clock | Request::ReadEvents { .. } | Request::WriteNote { .. } => return Err(cannot()),
        };
        Ok(Self { request, steps, image: Image::default(), load, progress: None, began: None, ended: Instant::START })
    }
    /// The lease that it orders; 0 where it gives the outputs back.
    pub(super) fn lease(&self) -> Option<u16> {
        match self.request {
            Request::Inhibit { lease } => Some(u16::try_from(lease.as_secs()).unwrap_or(u16::MAX)),
            Request::ReleaseInhibit => Some(0),
            _ => None,
        }
    }
    /// It identifies the unit.
    pub(super) const fn identifies(&self) -> bool {
        matches!(self.request, Request::Identify)
    }
    /// What is asked for of the stream, if anything.
    pub(super) const fn stream(&self) -> Option<Option<u8>> {
        match self.request {
            Request::StartReadings { hz } => Some(Some(hz)),
            Request::StopReadings => Some(None),
            _ => None,
        }
    }
    /// All that it reads is read.
    pub(super) fn is_read(&self) -> bool {
        self.steps.is_empty()
    }
    /// What is to be done next.
    pub(super) fn next_of(&mut self, known: &Known<'_>) -> Next {
        match self.steps.pop_front() {
            Some(Step::Read(span)) => {
                self.steps.push_front(Step::Read(span));
                Next::Ask(Ask::Read(span))
            }
            Some(Step::Write(ask)) => {
                self.steps.push_front(Step::Write(ask.clone()));
                Next::Ask(ask)
            }
            Some(Step::Pause(wait)) => Next::Pause(wait),
            Some(Step::Clear(place, n)) => {
                self.steps.push_front(Step::Clear(place, n));
                Next::Ask(Ask::Read(Span { table: place.table, at: place.at, count: 1 }))
            }
            // What the unit holds is understood before anything is written into it.
            None if self.load.as_ref().is_some_and(Load::is_new)
                && let Err(trouble) = self.read(known) =>
            {
                Next::End(Err(trouble))
            }
            None => match &mut self.load {
                Some(load) => match load.next(known.map, known.inlets, &self.image) {
                    Some(ask) => Next::Ask(ask),
                    None if load.is_checked() => Next::End(self.finish(known)),
                    None => {
                        load.check();
                        self.image = Image::default();
                        self.steps = reads(known.map, settings(known.map, known.inlets)).collect();
                        self.next_of(known)
                    }
                },
                None => Next::End(self.finish(known)),
            },
        }
    }
    /// What was asked was answered; an end where nothing more can come of it.
    pub(super) fn told(&mut self, known: &Known<'_>, told: Result<Vec<u16>, Trouble>) -> Option<End> {
        let Some(step) = self.steps.pop_front() else {
            let load = self.load.as_mut()?;
            let end = load.told(known.map, told);
            self.progress = Some(load.progress());
            return end.map(Err);
        };
        let values = match told {
            Ok(values) => values,
            Err(trouble) => return Some(Err(self.broken(trouble))),
        };
        match step {
            Step::Read(span) => self.image.take(span, &values),
            Step::Clear(place, n) => {
                let Form::Bit(bit) = place.form else { return None };
                if values.first().is_some_and(|v| v >> bit & 1 == 1) {
                    if n >= MOST_POLLS {
                        return Some(Err(Trouble::Nonsense("it has not ended after ten minutes".into())));
                    }
                    self.progress = Some((n, MOST_POLLS));
                    self.steps.push_front(Step::Clear(place, n + 1));
                    self.steps.push_front(Step::Pause(POLL));
                }
            }
            Step::Write(_) | Step::Pause(_) => {}
        }
        None
    }
    /// What a trouble comes to: settings that were sent in part are a mixture.
    pub(super) fn broken(&self, trouble: Trouble) -> Trouble {
        self.load.as_ref().map_or(trouble.clone(), |load| load.broken(trouble))
    }
    fn finish(&mut self, known: &Known<'_>) -> End {
        let (map, image) = (known.map, &self.image);
        match &self.request {
            Request::Identify => {
                let unit = known.unit.clone().ok_or_else(|| Trouble::Nonsense("it was not made out".into()))?;
                Ok(Reply::Identity(unit))
            }
            Request::ReadOnce { .. } => {
                let at = tell::middle(self.began.unwrap_or(self.ended), self.ended);
                tell::Read { map, image }.reading(known.inlets, at).map(Reply::Reading).map_err(nonsense)
            }
            Request::ReadSettings => self.read(known).map(Reply::Settings),
            Request::SettingsState => {
                let settings = self.read(known)?;
                let revision = settings.revision.map(u64::from);
                let sha256 = base16ct::lower::encode_string(&Sha256::digest(settings.canonical()));
                Ok(Reply::SettingsState(crate::SettingsState { revision, sha256 }))
            }
            Request::WriteSettings { settings } => {
                let held = self.read(known).map_err(|t| self.broken(t))?;
                match settings.differences(&held).first() {
                    None => Ok(Reply::Written(held.revision)),
                    Some(d) => Err(self.broken(Trouble::Nonsense(format!("read back otherwise than written: {d}")))),
                }
            }
            Request::TellTime | Request::SetTime { .. } => tell::time(map, image).map(Reply::Time).map_err(nonsense),
            Request::TakeBaseline | Request::ReadBaseline => {
                let boot_id = known.unit.as_ref().and_then(|(i, _)| i.boot_id);
                tell::baseline(map, known.inlets, image, boot_id).map(Reply::Baseline)
            }
            _ => Ok(Reply::Done(())),
        }
    }
    fn read(&self, known: &Known<'_>) -> Result<Settings, Trouble> {
        let map = known.map;
        let there = map.settings.iter().filter(|s| s.inlet.is_none_or(|n| n <= known.inlets));
        let items = there
            .map(|s| self.image.item(s, map.order).map_err(|why| nonsense(format!("setting {}: {why}", s.key))))
            .collect::<Result<Vec<_>, _>>()?;
        let revision = match map.number(Quantity::Revision) {
            Some(n) => self.image.number(Quantity::Revision, n, map.order).map_err(nonsense)?.map(|r| r as u32),
            None => None,
        };
        Settings::from_items(revision, items).map_err(|key| nonsense(format!("setting {key} stands twice")))
    }
}

/// Something that can't be right, with what it most often is.
pub(super) fn nonsense(what: impl Into<String>) -> Trouble {
    let what = what.into();
    Trouble::Nonsense(format!(
        "{what}. Check `words`, `bytes`, type, scale and address of this value in the description's [registers]"
    ))
}

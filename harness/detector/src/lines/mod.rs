//! The driver of a unit, or of an instrument beside it, that prints lines by itself (serial port or TCP), by the templates of its
//! description.
//!
//! It listens: each line of the first kind makes a reading of the moment at which it ended, with what other kinds told shortly
//! before. Nothing can be asked or ordered this way; what a line can't do is done by a person ([`crate::mixed`]). A line carries
//! no check of its own: what can't be right by its template or its value is not taken, a wrong digit may be. Not here: how
//! lines are described and checked (the job crate).
pub mod map;

pub use map::Map;

use crate::{
    ask::{Look, Reply, Request},
    driver::{Driver, LineCounters, RefusalKind, Report, Ticket, Trouble},
    mixed::Offer,
    told::{Boot, Flag, Quantity, Si, Told, Who},
    vocabulary::{Abilities, Conditions, Identity, Reading},
};
use alloc::{
    collections::{BTreeMap, VecDeque},
    format,
    string::{String, ToString},
    vec::Vec,
};
use core::time::Duration;
use map::{Field, Number};
use plumeline_base::{
    Instant,
    input::{Answer, LinkDown},
};

/// Longest line, bytes.
const LONGEST: usize = 1024;
/// What a line told counts for so many periods, and for so long at least.
const HOLDS: (u32, Duration) = (4, Duration::from_secs(3));

/// Who it is may stand in a line that comes seldom: it is waited for so many times as long.
const IDENTIFIED: u32 = 4;

/// What lines told, by field: when, and what was printed.
#[derive(Debug, Default)]
struct Image(BTreeMap<usize, (Instant, String)>);

/// What was told last, by the map of it.
struct Read<'a> {
    map: &'a Map,
    image: &'a Image,
    /// What was told before this counts no more.
    from: Instant,
}
impl Read<'_> {
    fn piece(&self, field: usize) -> Option<&str> {
        self.image.0.get(&field).filter(|(at, _)| *at >= self.from).map(|(_, text)| text.as_str())
    }
    /// Who it is does not change while the link is up.
    fn text(&self, who: Who) -> Option<&str> {
        let field = self.map.fields.iter().position(|f| *f == Field::Text(who))?;
        self.image.0.get(&field).map(|(_, text)| text.as_str()).filter(|text| !text.is_empty())
    }
    /// It prints its serial number, and has not done so yet.
    fn is_nameless(&self) -> bool {
        self.map.fields.contains(&Field::Text(Who::Serial)) && self.text(Who::Serial).is_none()
    }
}
impl Told for Read<'_> {
    fn has(&self, what: Quantity) -> bool {
        self.map.number(what).is_some()
    }
    fn number(&self, what: Quantity) -> Result<Option<f64>, String> {
        let Some((field, n)) = self.map.number(what) else { return Ok(None) };
        let Some(piece) = self.piece(field) else { return Ok(None) };
        number(piece, n)?.map(|stated| n.si.of(what, stated)).transpose()
    }
    fn flags(&self) -> impl Iterator<Item = (Flag, Option<bool>)> {
        self.map.fields.iter().enumerate().flat_map(|(i, field)| flags(field, self.piece(i)))
    }
}

/// A number as it is printed, on its own scale; `Ok(None)`: there is no reading.
fn number(piece: &str, n: &Number) -> Result<Option<f64>, String> {
    if piece.is_empty() || n.none.as_deref() == Some(piece) {
        return Ok(None);
    }
    let plain = |c: char| c.is_ascii_digit() || matches!(c, '.' | ',' | '-' | '+' | 'e' | 'E');
    let read = piece.replace(',', ".").parse::<f64>().ok().filter(|x| x.is_finite() && piece.chars().all(plain));
    let printed = read.ok_or_else(|| format!("\"{}\" as {:?} is no number", short(piece), n.quantity))?;
    Ok(Some(printed * n.scale + n.offset))
}
/// What a piece says of the bits of its field; nothing where it was not read.
fn flags(field: &Field, piece: Option<&str>) -> Vec<(Flag, Option<bool>)> {
    match field {
        Field::Words(words) => {
            let stand = piece.and_then(|p| words.iter().find(|(word, _)| word == p)).map(|(_, stand)| stand);
            let mut all: Vec<Flag> = Vec::new();
            for flag in words.iter().flat_map(|(_, flags)| flags) {
                if !all.contains(flag) {
                    all.push(*flag);
                }
            }
            all.into_iter().map(|flag| (flag, stand.map(|stand| stand.contains(&flag)))).collect()
        }
        Field::Bits { base, bits } => {
            let raw = piece.and_then(|p| u64::from_str_radix(p, *base).ok());
            bits.iter().map(|(bit, flag)| (*flag, raw.map(|raw| raw >> bit & 1 == 1))).collect()
        }
        Field::Number(_) | Field::Text(_) => Vec::new(),
    }
}
/// Whether a field can say this; `Err` says why not.
fn check(field: &Field, piece: &str) -> Result<(), String> {
    match field {
        Field::Number(n) => number(piece, n)?.map_or(Ok(()), |stated| n.si.of(n.quantity, stated).map(|_| ())),
        Field::Text(_) => Ok(()),
        Field::Words(words) if words.iter().any(|(word, _)| word == piece) => Ok(()),
        Field::Words(_) => Err(format!("\"{}\" is none of the words that the description names", short(piece))),
        Field::Bits { base, .. } => u64::from_str_radix(piece, *base)
            .map(|_| ())
            .map_err(|_| format!("\"{}\" is no number of base {base}", short(piece))),
    }
}
fn short(text: &str) -> String {
    text.chars().filter(|c| !c.is_control()).take(40).collect()
}

/// A unit that prints lines.
#[derive(Debug)]
pub struct Lines {
    map: Map,
    /// Why the link is down; `None` while it is up.
    down: Option<LinkDown>,
    /// What came of a line that has not ended; `None`: it is passed over, as the first after the link came up, of which the
    /// beginning may be lost.
    open: Option<Vec<u8>>,
    image: Image,
    unit: Option<(Identity, Abilities)>,
    boot: Boot,
    streams: bool,
    /// Said to be silent or garbled, and not back yet.
    quiet: bool,
    /// When the last line came that could be used, and whether other bytes came since.
    heard: (Instant, bool),
    next_ticket: u32,
    waiting: VecDeque<(Ticket, Request, Instant)>,
    reports: VecDeque<Report>,
    counters: LineCounters,
}

impl Lines {
    /// A unit with these lines, on a link that is not open yet.
    pub fn new(map: Map) -> Self {
        Self {
            map,
            down: Some(LinkDown::Absent),
            open: None,
            image: Image::default(),
            unit: None,
            boot: Boot::default(),
            streams: false,
            quiet: false,
            heard: (Instant::START, false),
            next_ticket: 0,
            waiting: VecDeque::new(),
            reports: VecDeque::new(),
            counters: LineCounters::default(),
        }
    }
    /// What units with these lines have to offer.
    pub fn offer(map: &Map) -> Offer {
        let read = Read { map, image: &Image::default(), from: Instant::START };
        Offer { can: abilities(&read, map.inlets()), state: read.tells_state(map.has.0) }
    }
    /// How long what a line told counts, and how long one is waited for.
    fn holds(&self) -> Duration {
        (self.map.every * HOLDS.0).max(HOLDS.1)
    }
    fn line(&mut self, now: Instant, line: &str) {
        if line.trim().is_empty() {
            return;
        }
        let kind = self.map.lines.iter().enumerate().find_map(|(kind, t)| Some((kind, t.pieces(line)?)));
        let Some((kind, pieces)) = kind else {
            // Banners and lines that nobody described are no harm; that nothing else comes is told in its time.
            self.counters.garbled += 1;
            self.heard.1 = true;
            return;
        };
        let wrong = pieces.iter().find_map(|(i, piece)| check(self.map.fields.get(*i)?, piece).err());
        if let Some(why) = wrong {
            self.counters.garbled += 1;
            self.heard.1 = true;
            return self.unfit(why);
        }
        self.counters.good += 1;
        self.image.0.extend(pieces.into_iter().map(|(i, piece)| (i, (now, piece.to_string()))));
        if kind == 0 {
            self.reading(now);
        }
    }
    /// A line came that can't be right.
    fn unfit(&mut self, why: String) {
        if self.streams {
            self.counters.missed_readings += 1;
            self.reports.push_back(Report::Unfit(why));
        } else {
            let trouble = nonsense(why);
            let ended = self.waiting.drain(..);
            self.reports.extend(ended.map(|(ticket, ..)| Report::Ended(ticket, Err(trouble.clone()))));
        }
    }
    /// A line of the first kind ended.
    fn reading(&mut self, now: Instant) {
        let from = Instant::from_micros(now.as_micros().saturating_sub(self.holds().as_micros() as u64));
        let read = Read { map: &self.map, image: &self.image, from };
        let inlets = match read.number(Quantity::Inlets) {
            Ok(Some(n)) => n as u8,
            _ => self.map.inlets(),
        };
        let told = self.boot.see(&read, now).and_then(|boot| Ok((boot, read.reading(inlets, now)?)));
        let (boot, reading) = match told {
            Ok(told) => told,
            Err(why) => return self.unfit(why),
        };
        let text = |who, or: &str| read.text(who).unwrap_or(or).to_string();
        let identity = Identity {
            maker: text(Who::Maker, &self.map.maker),
            model: text(Who::Model, &self.map.model),
            serial: text(Who::Serial, ""),
            firmware: text(Who::Firmware, ""),
            boot_id: boot,
        };
        let abilities = abilities(&read, inlets);
        let nameless = read.is_nameless();
        self.heard = (now, false);
        if !nameless {
            self.met(identity, abilities);
        }
        if core::mem::take(&mut self.quiet) {
            self.reports.push_back(Report::Back);
        }
        if self.streams {
            self.reports.push_back(Report::Reading(reading.clone()));
        }
        self.told(&reading, nameless);
    }
    /// The unit that printed; one that started anew, or is another, is told of.
    fn met(&mut self, identity: Identity, abilities: Abilities) {
        if let Some((known, can)) = &mut self.unit
            && known.boot_id != identity.boot_id
        {
            *known = identity;
            self.reports.push_back(Report::StartedAnew(known.clone(), can.clone()));
        } else if self.waiting.iter().any(|(_, request, _)| *request == Request::Identify) {
            self.unit = Some((identity, abilities));
        }
    }
    /// Ends what waited for a reading.
    fn told(&mut self, reading: &Reading, nameless: bool) {
        for (ticket, request, until) in core::mem::take(&mut self.waiting) {
            if nameless && request == Request::Identify {
                self.waiting.push_back((ticket, request, until));
                continue;
            }
            let starting = reading.conditions.is_some_and(|c| c.has(Conditions::STARTING));
            let end = match (request, &self.unit) {
                (Request::Identify, _) if starting => Err(Trouble::Refused {
                    kind: RefusalKind::StillStarting,
                    code: 0,
                    reason: "it still starts".into(),
                }),
                (Request::Identify, Some(unit)) => Ok(Reply::Identity(unit.clone())),
                _ => Ok(Reply::Reading(reading.clone())),
            };
            self.reports.push_back(Report::Ended(ticket, end));
        }
    }
    fn trouble(&self) -> Trouble {
        if self.heard.1 { Trouble::Garbled } else { Trouble::Silent }
    }
}

/// Something that can't be right, with what it most often is.
fn nonsense(what: String) -> Trouble {
    Trouble::Nonsense(format!(
        "{what}. Check template, unit, scale and words of this field in the description's [lines]"
    ))
}

/// What a unit can do follows from what its lines tell.
fn abilities(read: &Read<'_>, inlets: u8) -> Abilities {
    let map = read.map;
    let step = |what, unit: f64| {
        let inside = |n: &Number| match n.si {
            Si::Linear { times, .. } => n.step * n.scale * times,
            Si::Obscuration(of) => {
                plumeline_base::obscuration::Extinction::from_stated(n.step * n.scale, of).map_or(0.0, |k| k.0)
            }
        };
        map.number(what).map_or(0.0, |(_, n)| libm::round(libm::fabs(inside(n)) * unit))
    };
    Abilities {
        flow_basis: map.basis,
        flow_step_nl_s: step(Quantity::Flow(1), 1e12) as u32,
        extinction_step_n_m: step(Quantity::Smoke(0), 1e9) as u64,
        extinction_averaged_ms: 0,
        ..read.abilities(map.has, inlets, map.every)
    }
}

impl Driver for Lines {
    fn link_up(&mut self, now: Instant) {
        (self.down, self.open, self.quiet) = (None, None, false);
        self.image = Image::default();
        self.heard = (now, false);
    }
    fn link_down(&mut self, _: Instant, cause: LinkDown) {
        self.down = Some(cause);
        self.streams = false;
        let ended = self.waiting.drain(..);
        self.reports.extend(ended.map(|(ticket, ..)| Report::Ended(ticket, Err(Trouble::LinkDown(cause)))));
    }
    fn receive(&mut self, now: Instant, bytes: &[u8]) {
        if self.down.is_some() {
            return;
        }
        for byte in bytes {
            match (byte, &mut self.open) {
                (b'\n' | b'\r', open) => {
                    if let Some(line) = open.replace(Vec::new()) {
                        self.line(now, &String::from_utf8_lossy(&line));
                    }
                }
                (_, None) => self.heard.1 = true,
                (_, Some(line)) if line.len() >= LONGEST => {
                    self.counters.garbled += 1;
                    (self.open, self.heard.1) = (None, true);
                }
                (byte, Some(line)) => line.push(*byte),
            }
        }
    }
    fn answer(&mut self, _: Instant, _: u32, _: &Answer) {}
    fn timeout(&mut self, now: Instant) {
        let trouble = self.trouble();
        let late: Vec<Ticket> =
            self.waiting.iter().filter(|(.., until)| now >= *until).map(|(ticket, ..)| *ticket).collect();
        self.waiting.retain(|(.., until)| now < *until);
        self.reports.extend(late.into_iter().map(|ticket| Report::Ended(ticket, Err(trouble.clone()))));
        if self.down.is_none() && self.streams && !self.quiet && now >= self.heard.0 + self.holds() {
            self.quiet = true;
            self.reports.push_back(if trouble == Trouble::Garbled { Report::Garbled } else { Report::Silent });
        }
    }
    fn next_timeout(&self) -> Option<Instant> {
        let silent = (self.down.is_none() && self.streams && !self.quiet).then(|| self.heard.0 + self.holds());
        silent.into_iter().chain(self.waiting.iter().map(|(.., until)| *until)).min()
    }
    fn request(&mut self, now: Instant, request: Request) -> Ticket {
        let ticket = Ticket(self.next_ticket);
        self.next_ticket = self.next_ticket.wrapping_add(1);
        let end = match (&request, self.down) {
            (_, Some(cause)) => Err(Trouble::LinkDown(cause)),
            (Request::Identify | Request::ReadOnce { .. }, None) => {
                self.heard.1 &= !self.waiting.is_empty();
                let times = if request == Request::Identify { IDENTIFIED } else { 1 };
                self.waiting.push_back((ticket, request, now + self.holds() * times));
                return ticket;
            }
            (Request::StartReadings { .. }, None) => {
                (self.streams, self.quiet, self.heard) = (true, false, (now, false));
                Ok(Reply::Done(()))
            }
            (Request::StopReadings, None) => {
                self.streams = false;
                Ok(Reply::Done(()))
            }
            _ => Err(Trouble::CannotDo(format!("nobody can {} by lines that it prints", request.words()))),
        };
        self.reports.push_back(Report::Ended(ticket, end));
        ticket
    }
    fn poll_report(&mut self) -> Option<Report> {
        self.reports.pop_front()
    }
    fn abilities(&self) -> Option<&Abilities> {
        self.unit.as_ref().map(|(_, can)| can)
    }
    fn can(&self, request: &Request) -> bool {
        match request {
            Request::ReadOnce { look: Look::State } => Self::offer(&self.map).state,
            request => self.abilities().is_some_and(|can| can.can(request)),
        }
    }
    fn line(&self) -> LineCounters {
        self.counters
    }
}

//! Faults of a line, injected on purpose: a pure transformer of bytes in time, the same in virtual time as in real.
//!
//! What goes in at an instant comes out at an instant, or not at all; order is kept. Drawn from a seeded ChaCha
//! stream, so a run with the same seed and the same input is the same run. Not here: clocks, lines.
use plumeline_base::Instant;
use rand_chacha::{
    ChaCha8Rng,
    rand_core::{Rng, SeedableRng},
};
use std::{collections::VecDeque, fmt, str::FromStr, time::Duration};

/// Which faults to inject, and how often. The default injects none.
///
/// Written as `flip=0.01,drop=0.05,cut=120s+5s`; any of the parts below, in any order, spans more than once:
///
/// | part | meaning |
/// |---|---|
/// | `drop=P` | each piece is lost with probability P |
/// | `flip=P` | one bit of each byte is flipped with probability P |
/// | `dup=P` | each piece comes twice with probability P |
/// | `split=P` | each piece comes in two, 2 ms apart, with probability P |
/// | `delay=T` | every piece comes later by T |
/// | `jitter=T` | ... and by up to T more |
/// | `cut=A+T` | from A on, for T, everything is lost in silence |
/// | `unplug=A+T` | at A the link goes down; it can't be opened again for T |
///
/// P is from 0 to 1. Times are written `5s`, `1.5s` or `200ms`; A counts from the start of the log.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct FaultSpec {
    drop: f64,
    flip: f64,
    duplicate: f64,
    split: f64,
    delay: Duration,
    jitter: Duration,
    cuts: Vec<Span>,
    unplugs: Vec<Span>,
}

#[derive(Clone, Copy, Debug, PartialEq)]
struct Span {
    from: Duration,
    lasts: Duration,
}
impl Span {
    fn start(self) -> Instant {
        Instant::START + self.from
    }
    fn holds(self, at: Instant) -> bool {
        at >= self.start() && at < self.start() + self.lasts
    }
}

/// Why a text does not describe faults.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("`{part}` is not a fault to inject: {why}")]
pub struct FaultSpecError {
    /// The part of the text that is wrong.
    pub part: String,
    /// What is wrong with it.
    pub why: &'static str,
}
impl FaultSpecError {
    /// What to write instead.
    pub const fn remedy(&self) -> &'static str {
        "write for example flip=0.01,drop=0.05,cut=120s+5s; the parts are drop, flip, dup, split (probabilities), \
         delay, jitter (times), cut, unplug (start+length)"
    }
}

impl FaultSpec {
    /// Reads faults as a user writes them; the empty text injects none.
    ///
    /// # Errors
    /// [`FaultSpecError`] names the part that is wrong.
    pub fn parse(text: &str) -> Result<Self, FaultSpecError> {
        let mut spec = Self::default();
        for part in text.split(',').map(str::trim).filter(|p| !p.is_empty()) {
            spec.add(part).map_err(|why| FaultSpecError { part: part.into(), why })?;
        }
        Ok(spec)
    }
    fn add(&mut self, part: &str) -> Result<(), &'static str> {
        let (key, value) = part.split_once('=').ok_or("a name and a value with `=` between are needed")?;
        match key {
            "drop" => self.drop = probability(value)?,
            "flip" => self.flip = probability(value)?,
            "dup" => self.duplicate = probability(value)?,
            "split" => self.split = probability(value)?,
            "delay" => self.delay = time(value)?,
            "jitter" => self.jitter = time(value)?,
            "cut" => self.cuts.push(span(value)?),
            "unplug" => self.unplugs.push(span(value)?),
            _ => return Err("there is no fault of this name"),
        }
        Ok(())
    }
    /// Is the line to seem unplugged at this instant?
    pub fn unplugged(&self, at: Instant) -> bool {
        self.unplugs.iter().any(|s| s.holds(at))
    }
    /// The next instant after `after` at which the line is to be unplugged.
    pub fn next_unplug(&self, after: Instant) -> Option<Instant> {
        self.unplugs.iter().map(|s| s.start()).filter(|&at| at > after).min()
    }
}
impl FromStr for FaultSpec {
    type Err = FaultSpecError;
    fn from_str(s: &str) -> Result<Self, FaultSpecError> {
        Self::parse(s)
    }
}

fn probability(value: &str) -> Result<f64, &'static str> {
    value.parse().ok().filter(|p| (0.0..=1.0).contains(p)).ok_or("a probability from 0 to 1 is needed")
}
fn time(value: &str) -> Result<Duration, &'static str> {
    let (number, unit) = match value.strip_suffix("ms") {
        Some(number) => (number, 1e-3),
        None => (value.strip_suffix('s').ok_or("a time needs its unit, s or ms")?, 1.0),
    };
    let seconds = number.parse::<f64>().map_err(|_| "a time such as 5s or 200ms is needed")? * unit;
    Duration::try_from_secs_f64(seconds).map_err(|_| "a time can't be negative or endless")
}
fn span(value: &str) -> Result<Span, &'static str> {
    let (from, lasts) = value.split_once('+').ok_or("a start and a length are needed, such as 120s+5s")?;
    Ok(Span { from: time(from)?, lasts: time(lasts)? })
}

impl fmt::Display for FaultSpec {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mut between = "";
        let mut part = |f: &mut fmt::Formatter<'_>, text: fmt::Arguments<'_>| {
            write!(f, "{}{text}", std::mem::replace(&mut between, ","))
        };
        for (name, p) in [("drop", self.drop), ("flip", self.flip), ("dup", self.duplicate), ("split", self.split)] {
            if p > 0.0 {
                part(f, format_args!("{name}={p}"))?;
            }
        }
        for (name, t) in [("delay", self.delay), ("jitter", self.jitter)] {
            if t > Duration::ZERO {
                part(f, format_args!("{name}={}s", t.as_secs_f64()))?;
            }
        }
        for (name, spans) in [("cut", &self.cuts), ("unplug", &self.unplugs)] {
            for s in spans {
                part(f, format_args!("{name}={}s+{}s", s.from.as_secs_f64(), s.lasts.as_secs_f64()))?;
            }
        }
        Ok(())
    }
}

/// What was done so far.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct FaultCounts {
    /// Pieces that came in.
    pub pieces: u64,
    /// Pieces dropped.
    pub dropped: u64,
    /// Pieces lost in a cut.
    pub cut: u64,
    /// Bytes with a flipped bit.
    pub flipped: u64,
    /// Pieces that came twice.
    pub duplicated: u64,
    /// Pieces that came in two.
    pub split: u64,
}

/// One way of a line with faults.
#[derive(Debug)]
pub struct Faults {
    spec: FaultSpec,
    random: ChaCha8Rng,
    waiting: VecDeque<(Instant, Vec<u8>)>,
    counts: FaultCounts,
}

/// The second half of a split piece comes this much later.
const SPLIT_GAP: Duration = Duration::from_millis(2);

impl Faults {
    /// Faults drawn from `seed`. The two ways of a line take different `stream` numbers.
    pub fn new(spec: FaultSpec, seed: u64, stream: u64) -> Self {
        let mut random = ChaCha8Rng::seed_from_u64(seed);
        random.set_stream(stream);
        Self { spec, random, waiting: VecDeque::new(), counts: FaultCounts::default() }
    }
    /// A piece enters the line.
    pub fn feed(&mut self, at: Instant, bytes: &[u8]) {
        if bytes.is_empty() {
            return;
        }
        self.counts.pieces += 1;
        if self.spec.cuts.iter().any(|s| s.holds(at)) {
            self.counts.cut += 1;
            return;
        }
        if self.chance(self.spec.drop) {
            self.counts.dropped += 1;
            return;
        }
        let twice = self.chance(self.spec.duplicate);
        self.counts.duplicated += u64::from(twice);
        for _ in 0..=u8::from(twice) {
            self.piece(at, bytes);
        }
    }
    fn piece(&mut self, at: Instant, bytes: &[u8]) {
        let mut bytes = bytes.to_vec();
        if self.spec.flip > 0.0 {
            for byte in &mut bytes {
                if self.chance(self.spec.flip) {
                    *byte ^= 1 << self.below(8);
                    self.counts.flipped += 1;
                }
            }
        }
        let extra = micros_of(self.spec.jitter).saturating_add(1);
        let extra = if extra > 1 { self.below(extra) } else { 0 };
        let mut due = at + self.spec.delay + Duration::from_micros(extra);
        // A line keeps order.
        if let Some(&(last, _)) = self.waiting.back() {
            due = due.max(last);
        }
        if bytes.len() > 1 && self.chance(self.spec.split) {
            self.counts.split += 1;
            let rest = bytes.split_off(1 + self.below(bytes.len() as u64 - 1) as usize);
            self.waiting.push_back((due, bytes));
            self.waiting.push_back((due + SPLIT_GAP, rest));
        } else {
            self.waiting.push_back((due, bytes));
        }
    }
    /// When the next piece leaves the line.
    pub fn next_due(&self) -> Option<Instant> {
        self.waiting.front().map(|&(at, _)| at)
    }
    /// The next piece that leaves by `now`, with its instant.
    pub fn take_due(&mut self, now: Instant) -> Option<(Instant, Vec<u8>)> {
        if self.next_due()? <= now { self.waiting.pop_front() } else { None }
    }
    /// What is on the way is lost.
    pub fn clear(&mut self) {
        self.waiting.clear();
    }
    /// What was done so far.
    pub fn counts(&self) -> FaultCounts {
        self.counts
    }

    /// True with probability `p`; draws nothing when it is 0.
    fn chance(&mut self, p: f64) -> bool {
        // 53 random bits as a number from 0 up to, not with, 1: exact arithmetic on every platform.
        p > 0.0 && ((self.random.next_u64() >> 11) as f64) < p * (1u64 << 53) as f64
    }
    fn below(&mut self, n: u64) -> u64 {
        ((u128::from(self.random.next_u64()) * u128::from(n)) >> 64) as u64
    }
}

fn micros_of(d: Duration) -> u64 {
    plumeline_base::time::micros(d)
}

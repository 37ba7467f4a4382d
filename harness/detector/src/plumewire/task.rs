//! Neutral requests as tasks: which wire requests each makes, and what their answers come to.
//!
//! Not here: frames, repeats, time-outs of single wire requests (see `exchange.rs`).
use super::{
    convert,
    settings::{ReadImage, WriteImage},
};
use crate::{
    ask::{ClockExchange, Reply, Request},
    driver::{End, RefusalKind, Trouble},
    vocabulary::{Reading, SettingsState, UnitEvent, UnitTime},
};
use alloc::{boxed::Box, format, string::String, vec::Vec};
use core::time::Duration;
use plumeline_base::Instant;
use plumewire::{self as wire, BaselineState, InhibitState, Nothing, Refusal, RefusalCode};

/// How long a task waits for something that should come by itself.
pub(super) const PATIENCE: Duration = Duration::from_secs(5);
/// How often a baseline under way is asked after.
const POLL: Duration = Duration::from_secs(1);
/// A lease whose length nobody said (taken by an earlier run of the tool).
const LEASE_S: u16 = 60;
/// More entries than any unit holds.
const MOST_EVENTS: usize = 65_536;
/// Chunks are not made smaller than this.
const LEAST_CHUNK: u16 = 32;

/// What outlives a request.
#[derive(Debug, Default)]
pub(super) struct Session {
    /// The inhibit lease, if we hold one.
    pub(super) lease: Option<u32>,
    lease_s: u16,
    lease_max_s: u16,
    rate_max_hz: u8,
    chunk: u16,
    /// Longest settings image that the unit takes, bytes.
    pub(super) settings_max: u32,
    /// Rate of the stream last started.
    pub(super) hz: Option<u8>,
}
impl Session {
    /// Learns the unit's limits.
    pub(super) fn meet(&mut self, hello: &wire::HelloReply<'_>) {
        let c = &hello.capabilities;
        self.rate_max_hz = c.rate_max_hz;
        self.lease_max_s = c.lease_max_s;
        self.settings_max = c.settings_max;
        self.chunk = c.chunk_max.min(960);
    }
    /// Length of the next chunk of settings, bytes.
    pub(super) const fn chunk(&self) -> u16 {
        self.chunk
    }
}

/// What a task wants next.
#[derive(Debug)]
#[expect(clippy::large_enum_variant, reason = "made once for a request, and taken apart at once")]
pub(super) enum Next {
    /// Send the next wire request.
    Send,
    /// Tell how far it got, then go on after a pause.
    Progress {
        /// Parts done.
        done: u32,
        /// Parts in all.
        total: u32,
        /// How long to wait before the next wire request.
        pause: Duration,
    },
    /// It has ended.
    End(End),
}
impl Next {
    pub(super) fn told(reply: Reply) -> Self {
        Self::End(Ok(reply))
    }
    pub(super) fn fail(trouble: Trouble) -> Self {
        Self::End(Err(trouble))
    }
    pub(super) fn nonsense(why: impl Into<String>) -> Self {
        Self::fail(Trouble::Nonsense(why.into()))
    }
}

/// A refusal in neutral words.
pub(super) fn refused(refusal: &Refusal<'_>) -> Trouble {
    refusal_of(refusal.code, refusal.reason)
}
/// A refusal of this protocol's code in neutral words.
pub(super) fn refusal_of(code: RefusalCode, reason: impl Into<String>) -> Trouble {
    let kind = match code {
        RefusalCode::Starting => RefusalKind::StillStarting,
        RefusalCode::Revision => RefusalKind::SettingsChanged,
        RefusalCode::Malformed | RefusalCode::Range | RefusalCode::Settings => RefusalKind::Invalid,
        RefusalCode::Busy => RefusalKind::Busy,
        _ => RefusalKind::Other,
    };
    Trouble::Refused { kind, code: code.code(), reason: reason.into() }
}

/// A neutral request under way.
#[derive(Debug)]
pub(super) enum Task {
    Identify,
    Clock { sent: Instant },
    Start { hz: u8 },
    Stop,
    ReadOnce(Once),
    ReadSettings(ReadImage),
    WriteSettings(Box<WriteImage>),
    TakeBaseline(Taking),
    ReadBaseline,
    SettingsState,
    TellTime,
    SetTime { utc_ms: u64 },
    Inhibit { seconds: u64 },
    Renew,
    Release { free: bool },
    Drive { output: u8, on: bool },
    ResetLatches,
    Events { from: u64, got: Vec<UnitEvent> },
    Note { text: String },
    Restart { sent: bool },
}
/// One reading: from the stream if one runs, else from one that is started and stopped for it.
#[derive(Debug)]
pub(super) enum Once {
    Begin,
    Wait { own: bool },
    Stop(Box<Reading>),
}
/// A baseline: begun, asked after, read back.
#[derive(Debug)]
pub(super) enum Taking {
    Begin,
    /// With the refusal to begin, if there was one: it may be under way from an earlier request.
    Poll(Option<Trouble>),
    Read,
}

impl Task {
    /// The task of a request.
    pub(super) fn new(request: Request, streaming: bool) -> Result<Self, Trouble> {
        Ok(match request {
            Request::Identify => Self::Identify,
            Request::Clock => Self::Clock { sent: Instant::START },
            Request::StartReadings { hz } => Self::Start { hz },
            Request::StopReadings => Self::Stop,
            Request::ReadOnce { .. } if streaming => Self::ReadOnce(Once::Wait { own: false }),
            Request::ReadOnce { .. } => Self::ReadOnce(Once::Begin),
            Request::ReadSettings => Self::ReadSettings(ReadImage::default()),
            Request::WriteSettings { settings } => Self::WriteSettings(Box::new(WriteImage::new(&settings)?)),
            Request::SettingsState => Self::SettingsState,
            Request::TellTime => Self::TellTime,
            Request::SetTime { utc_ms } => Self::SetTime { utc_ms },
            Request::TakeBaseline => Self::TakeBaseline(Taking::Begin),
            Request::ReadBaseline => Self::ReadBaseline,
            Request::Inhibit { lease } => Self::Inhibit { seconds: lease.as_secs() },
            Request::RenewInhibit => Self::Renew,
            Request::ReleaseInhibit => Self::Release { free: false },
            Request::Drive { output, on } => Self::Drive { output, on },
            Request::ResetLatches => Self::ResetLatches,
            Request::ReadEvents { from } => Self::Events { from: from.into(), got: Vec::new() },
            Request::WriteNote { text } => Self::Note { text },
            Request::Restart => Self::Restart { sent: false },
        })
    }
    /// True for wire requests that are made anew for each try: a clock's stamps age, and a shorter chunk gets through
    /// where a longer one does not.
    pub(super) const fn made_anew(&self) -> bool {
        matches!(self, Self::Clock { .. } | Self::TellTime | Self::ReadSettings(_))
            || matches!(self, Self::WriteSettings(w) if w.in_chunk())
    }
    /// A try of a wire request that is made anew had no answer.
    pub(super) fn tried_in_vain(&self, session: &mut Session) {
        if matches!(self, Self::ReadSettings(_) | Self::WriteSettings(_)) {
            session.chunk = (session.chunk / 2).max(LEAST_CHUNK.min(session.chunk));
        }
    }
    /// True while it waits for a reading.
    pub(super) const fn wants_reading(&self) -> bool {
        matches!(self, Self::ReadOnce(Once::Wait { .. }))
    }
    /// The wire request to make now; `None` while it waits for something to come by itself.
    pub(super) fn wire(&mut self, session: &Session, now: Instant) -> Option<wire::Request<'_>> {
        use wire::Request as R;
        let none = Nothing {};
        let rate = |hz: u8| R::ReadingsStart(wire::ReadingsStart { rate_hz: hz.clamp(1, session.rate_max_hz.max(1)) });
        Some(match self {
            Self::Identify | Self::ReadOnce(Once::Wait { .. }) => return None,
            Self::Clock { sent } => {
                *sent = now;
                R::Clock(wire::ClockRequest { sent_us: now.as_micros() })
            }
            Self::Start { hz } => rate(*hz),
            Self::ReadOnce(Once::Begin) => rate(u8::MAX),
            Self::Stop | Self::ReadOnce(Once::Stop(_)) => R::ReadingsStop(none),
            Self::ReadSettings(read) => read.wire(session),
            Self::WriteSettings(write) => write.wire(session),
            Self::SettingsState => R::SettingsManifest(none),
            Self::TellTime => R::WallClock(none),
            Self::SetTime { utc_ms } => R::WallClockSet(wire::WallClockSet { utc_ms: *utc_ms }),
            Self::TakeBaseline(Taking::Begin) => R::BaselineTake(none),
            Self::TakeBaseline(Taking::Poll(_)) => R::BaselineStatus(none),
            Self::TakeBaseline(Taking::Read) | Self::ReadBaseline => R::BaselineRead(none),
            Self::Inhibit { seconds } => {
                let seconds = u16::try_from(*seconds).unwrap_or(u16::MAX).clamp(1, session.lease_max_s.max(1));
                R::Inhibit(wire::Inhibit { seconds })
            }
            Self::Renew => match session.lease {
                Some(lease) => R::InhibitRenew(wire::InhibitRenew { lease, seconds: session.lease_s }),
                None => R::OutputsStatus(none),
            },
            Self::Release { .. } => match session.lease {
                Some(lease) => R::InhibitRelease(wire::InhibitRelease { lease }),
                None => R::OutputsStatus(none),
            },
            Self::Drive { output, on: true } => R::Drive(wire::Drive { output: *output, seconds: crate::DRIVE_S }),
            Self::Drive { output, on: false } => R::Undrive(wire::Undrive { output: *output }),
            Self::ResetLatches => R::ResetLatches(none),
            Self::Events { from, .. } => R::LogRead(wire::LogRead { from: *from }),
            Self::Note { text } => R::LogNote(wire::LogNote { text: wire::clip(text) }),
            Self::Restart { sent } => {
                *sent = true;
                R::Restart(none)
            }
        })
    }
    /// The wire request was carried out.
    pub(super) fn reply(&mut self, now: Instant, reply: &wire::Reply<'_>, session: &mut Session) -> Next {
        use wire::Reply as R;
        match (self, reply) {
            (Self::Clock { sent }, R::Clock(r)) => {
                if r.sent_us != sent.as_micros() || r.replied_us < r.received_us {
                    return Next::nonsense("stamps of another clock exchange");
                }
                Next::told(Reply::Clock(ClockExchange {
                    sent: *sent,
                    device_received_us: r.received_us,
                    device_sent_us: r.replied_us,
                    received: now,
                }))
            }
            (Self::Start { .. }, R::ReadingsStart(r)) => {
                if !(1..=20).contains(&r.rate_hz) {
                    return Next::nonsense(format!("readings at {} Hz", r.rate_hz));
                }
                session.hz = Some(r.rate_hz);
                Next::told(Reply::Done(()))
            }
            (Self::ReadOnce(once), R::ReadingsStart(_)) => {
                *once = Once::Wait { own: true };
                Next::Send
            }
            (Self::ReadOnce(Once::Stop(reading)), _) => Next::told(Reply::Reading((**reading).clone())),
            (Self::ReadSettings(read), reply) => read.reply(reply, session),
            (Self::WriteSettings(write), reply) => write.reply(reply),
            (Self::SettingsState, R::SettingsManifest(m)) => Next::told(Reply::SettingsState(SettingsState {
                revision: Some(m.revision),
                sha256: super::settings::hex(&m.digest),
            })),
            (Self::TellTime | Self::SetTime { .. }, R::WallClock(t) | R::WallClockSet(t)) => {
                Next::told(Reply::Time(UnitTime { utc_ms: t.utc_ms, zone_min: t.zone_min }))
            }
            (Self::TakeBaseline(taking), R::BaselineTake(s) | R::BaselineStatus(s)) => taking.status(s),
            (Self::TakeBaseline(_) | Self::ReadBaseline, R::BaselineRead(b)) => {
                Next::told(Reply::Baseline(convert::baseline(b)))
            }
            (Self::Inhibit { .. } | Self::Renew, R::Inhibit(l) | R::InhibitRenew(l)) => {
                (session.lease, session.lease_s) = (Some(l.lease), l.seconds);
                Next::told(Reply::Done(()))
            }
            (Self::Renew, R::OutputsStatus(s)) => match (s.inhibit, s.lease) {
                (InhibitState::Leased, Some(lease)) => session.found_lease(lease),
                _ => Next::fail(refused(&Refusal::new(RefusalCode::Lease))),
            },
            (Self::Release { .. }, R::OutputsStatus(s)) => match (s.inhibit, s.lease) {
                (InhibitState::Free, _) => Next::told(Reply::Done(())),
                (_, Some(lease)) => session.found_lease(lease),
                (_, None) => Next::fail(refused(&Refusal::new(RefusalCode::Lease))),
            },
            (Self::Release { .. }, R::InhibitRelease(_)) => {
                session.lease = None;
                Next::told(Reply::Done(()))
            }
            (Self::Events { from, got }, R::LogRead(page)) => {
                for entry in page.entries.iter() {
                    let Some(event) = convert::event(entry) else {
                        return Next::nonsense(format!("an event at position {}", entry.position));
                    };
                    got.push(event);
                }
                if page.entries.is_empty() {
                    return Next::told(Reply::Events(core::mem::take(got)));
                }
                if page.next <= *from || got.len() > MOST_EVENTS {
                    return Next::nonsense("an event log that does not end");
                }
                *from = page.next;
                Next::Send
            }
            (Self::Stop | Self::Drive { .. } | Self::ResetLatches | Self::Note { .. } | Self::Restart { .. }, _) => {
                Next::told(Reply::Done(()))
            }
            (_, reply) => Next::nonsense(format!("an answer to {:?} that was not asked", reply.operation())),
        }
    }
    /// The wire request was refused.
    pub(super) fn refusal(&mut self, refusal: &Refusal<'_>, session: &mut Session) -> Next {
        match (self, refusal.code) {
            (Self::ReadSettings(read), _) => read.refusal(refusal),
            (Self::WriteSettings(write), _) => write.refusal(refusal),
            (Self::TakeBaseline(taking @ Taking::Begin), RefusalCode::Busy) => {
                *taking = Taking::Poll(Some(refused(refusal)));
                Next::Send
            }
            // The reading is there; that the stream did not stop takes nothing from it.
            (Self::ReadOnce(Once::Stop(reading)), _) => Next::told(Reply::Reading((**reading).clone())),
            (Self::Renew, RefusalCode::Lease) => {
                session.lease = None;
                Next::fail(refused(refusal))
            }
            // Perhaps it was given back already: ask once.
            (Self::Release { free: free @ false }, RefusalCode::Lease) => {
                (*free, session.lease) = (true, None);
                Next::Send
            }
            _ => Next::fail(refused(refusal)),
        }
    }
    /// A new conversation was opened while this was under way; `anew` if the unit started anew.
    pub(super) fn new_conversation(&mut self, anew: bool) -> Next {
        match self {
            Self::Restart { sent: true } if anew => Next::told(Reply::Done(())),
            Self::ReadOnce(once @ Once::Wait { .. }) => {
                *once = Once::Begin;
                Next::Send
            }
            Self::ReadOnce(Once::Stop(reading)) => Next::told(Reply::Reading((**reading).clone())),
            Self::WriteSettings(write) => write.restart(),
            Self::TakeBaseline(Taking::Poll(_)) if anew => {
                Next::fail(refusal_of(RefusalCode::NoBaseline, "the unit started anew while it took the baseline"))
            }
            _ => Next::Send,
        }
    }
    /// A reading came that the task waits for.
    pub(super) fn reading(&mut self, reading: Reading) -> Next {
        match self {
            Self::ReadOnce(once @ Once::Wait { own: true }) => {
                *once = Once::Stop(Box::new(reading));
                Next::Send
            }
            _ => Next::told(Reply::Reading(reading)),
        }
    }
    /// The time that it wanted to wait is over.
    pub(super) fn wake(&mut self) -> Next {
        match self {
            Self::ReadOnce(Once::Wait { .. }) => Next::fail(Trouble::Silent),
            _ => Next::Send,
        }
    }
}

impl Session {
    fn found_lease(&mut self, lease: u32) -> Next {
        self.lease = Some(lease);
        if self.lease_s == 0 {
            self.lease_s = LEASE_S.min(self.lease_max_s.max(1));
        }
        Next::Send
    }
}

impl Taking {
    fn status(&mut self, status: &wire::BaselineStatus<'_>) -> Next {
        let refusal = match self {
            Self::Poll(refusal) => refusal.take(),
            _ => None,
        };
        match status.state {
            BaselineState::Taking => {
                *self = Self::Poll(None);
                Next::Progress { done: status.progress.into(), total: 100, pause: POLL }
            }
            _ if refusal.is_some() => refusal.map_or(Next::Send, Next::fail),
            BaselineState::Taken => {
                *self = Self::Read;
                Next::Send
            }
            BaselineState::Failed | BaselineState::Idle => {
                Next::fail(refusal_of(RefusalCode::NoBaseline, status.reason.unwrap_or("the baseline was not taken")))
            }
        }
    }
}

//! What a unit can be asked, whatever the front that asks, and why it does not do it.
//!
//! Not here: frames, parts of settings, conversations (see [`crate::front`]).
use super::{
    Device, Inhibit, Taking,
    settings::{SettingValue, SettingsError, from_image, to_image},
    store::KeptBaseline,
};
use crate::lie::LieKind;
use plumeline_base::Instant;
use plumewire::{BaselineState, EventCode, Faults, LogEntry, LogPage};
use sha2::{Digest as _, Sha256};
use std::time::Duration;

/// Longest lease of an inhibit, s.
pub(crate) const LEASE_MAX_S: u16 = 900;
/// Longest that an output is driven for test, s.
const DRIVE_MAX_S: u8 = 60;
/// A unit whose serial number changes states another from this start on.
const SERIAL_CHANGES: u32 = 4;
/// From a restart's answer to the restart.
const RESTART_AFTER: Duration = Duration::from_millis(500);

/// Kinds of refusals.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Why {
    Busy,
    Lease,
    NotClear,
    Range,
    Settings,
    Starting,
}
/// Why something is not done.
#[derive(Clone, Debug)]
pub(crate) struct Refused(pub(crate) Why, pub(crate) String);
pub(crate) type Done<T> = Result<T, Refused>;
fn refuse<T>(why: Why, text: impl Into<String>) -> Done<T> {
    Err(Refused(why, text.into()))
}

/// These settings with the first item that differs as it was before.
fn without_one(before: &[u8], image: Vec<u8>) -> Vec<u8> {
    let (Ok(old), Ok(mut new)) = (from_image(before), from_image(&image)) else { return image };
    let differs = new.iter_mut().zip(&old).find(|(new, old)| new != old);
    differs.into_iter().for_each(|(new, old)| new.clone_from(old));
    to_image(&new).unwrap_or(image)
}

/// How far taking a baseline is.
pub(crate) struct Progress<'a> {
    pub(crate) state: BaselineState,
    pub(crate) percent: u8,
    pub(crate) held: Option<u32>,
    pub(crate) reason: Option<&'a str>,
}

impl Device {
    /// It hears what is said to it.
    pub(crate) fn hears(&self, now: Instant) -> bool {
        self.run.as_ref().is_some_and(|r| now >= r.answers_from)
    }
    /// Refuses while it is starting.
    pub(crate) fn ready(&self, now: Instant) -> Done<()> {
        if self.starting(now) { refuse(Why::Starting, "still starting") } else { Ok(()) }
    }
    pub(crate) fn serial(&self) -> &str {
        let serial = &*self.fitted.serial;
        let changes = self.liar.tells(LieKind::SerialChanges) && self.memory.boots >= SERIAL_CHANGES;
        if changes { serial.get(1..).unwrap_or(serial) } else { serial }
    }
    pub(crate) const fn inlets(&self) -> u8 {
        self.fitted.inlets
    }
    /// Alarm levels and outputs that it states.
    pub(crate) fn stated(&self) -> (u8, u8) {
        let more = |kind| if self.liar.tells(kind) { 2 } else { 0 };
        (self.model().levels + more(LieKind::LevelsClaimed), self.outputs() + more(LieKind::OutputsClaimed))
    }
    pub(crate) fn boot_id(&self) -> u64 {
        self.run.as_ref().map_or(0, |r| r.boot_id)
    }
    /// Starts that it has made.
    pub(crate) const fn boots(&self) -> u32 {
        self.memory.boots
    }
    /// Local time ahead of UTC, minutes.
    pub(crate) const fn zone_min(&self) -> i64 {
        self.config.zone_min
    }
    /// Sets date and time, ms since 1970 UTC.
    pub(crate) fn set_date(&mut self, now: Instant, utc_ms: u64) {
        if !self.liar.tells(LieKind::DateIgnored) {
            self.date = Some((now, utc_ms));
        }
        self.note(now, EventCode::TimeSet, "date and time set".into());
    }
    /// Restarts soon.
    pub(crate) fn restart(&mut self, now: Instant) {
        self.note(now, EventCode::Restart, "restart asked for".into());
        if let Some(run) = self.run.as_mut().filter(|_| !self.liar.tells(LieKind::RestartNotMade)) {
            run.restart_at = Some(now + RESTART_AFTER);
        }
    }

    /// Revision of the settings in force.
    pub(crate) const fn revision(&self) -> u64 {
        self.memory.revision
    }
    /// The settings in force, as an image.
    pub(crate) fn image(&self) -> &[u8] {
        &self.memory.image
    }
    /// Digest of [`Self::image`].
    pub(crate) fn digest(&self) -> [u8; 32] {
        let mut digest: [u8; 32] = Sha256::digest(&self.memory.image).into();
        digest[0] ^= u8::from(self.liar.tells(LieKind::DigestWrong));
        digest
    }
    /// Whole new settings from a line come into force.
    pub(crate) fn load(&mut self, now: Instant, image: Vec<u8>) -> Done<()> {
        let before = self.memory.image.clone();
        let image = if self.liar.tells(LieKind::CommitDropsOne) { without_one(&before, image) } else { image };
        self.put_in_force(now, image)?;
        self.reverts_to.get_or_insert_with(|| before.clone());
        self.before_load = Some(before);
        self.memory.loaded = true;
        self.keep();
        Ok(())
    }

    /// One setting from a line comes into force by itself.
    pub(crate) fn load_one(&mut self, now: Instant, key: &str, value: SettingValue) -> Done<()> {
        let unsound = |e: SettingsError| Refused(Why::Settings, e.to_string());
        let mut settings = from_image(&self.memory.image).map_err(unsound)?;
        let Some(setting) = settings.iter_mut().find(|s| s.key == key) else {
            return refuse(Why::Range, format!("{key}: there is no such setting"));
        };
        setting.value = value;
        let image = to_image(&settings).map_err(unsound)?;
        self.load(now, image)
    }

    /// A baseline is being taken.
    pub(crate) fn is_taking(&self) -> bool {
        self.run.as_ref().is_some_and(|r| r.taking.is_some())
    }
    /// Begins to take a baseline.
    pub(crate) fn take(&mut self, now: Instant) -> Done<()> {
        self.ready(now)?;
        if !self.at_speed() {
            return refuse(Why::Busy, "the fan is not at its speed yet");
        }
        if self.truth.cover_open {
            return refuse(Why::Busy, "the cover is open");
        }
        if let Some(run) = &mut self.run {
            run.taking = Some(Taking::default());
            run.baseline_state = BaselineState::Taking;
            run.baseline_reason = None;
        }
        Ok(())
    }
    pub(crate) fn progress(&self) -> Progress<'_> {
        let held = self.baseline().map(|b| b.id);
        let Some(run) = &self.run else {
            return Progress { state: BaselineState::Idle, percent: 0, held, reason: None };
        };
        let pretends = run.baseline_state == BaselineState::Taken && self.liar.tells(LieKind::BaselineNotKept);
        Progress {
            // What was taken and holds no longer is not told as taken.
            state: match run.baseline_state {
                BaselineState::Taken if held.is_none() && !pretends => BaselineState::Idle,
                state => state,
            },
            percent: run.taking.as_ref().map_or(0, Taking::progress),
            held: held.or(pretends.then_some(1)),
            reason: run.baseline_reason.as_deref(),
        }
    }
    /// The baseline that holds.
    pub(crate) fn baseline(&self) -> Option<&KeptBaseline> {
        self.memory.baseline.as_ref().filter(|b| b.holds)
    }

    /// Inhibits outputs for `seconds`; gives the lease.
    pub(crate) fn inhibit(&mut self, now: Instant, seconds: u16) -> Done<u32> {
        self.control.leases += 1;
        self.lease(now, self.control.leases, seconds)
    }
    /// Carries a lease that runs on.
    pub(crate) fn renew(&mut self, now: Instant, lease: u32, seconds: u16) -> Done<u32> {
        match self.control.inhibit {
            Inhibit::Leased { lease: running, .. } if lease == running => self.lease(now, lease, seconds),
            _ => refuse(Why::Lease, "no such inhibit lease runs"),
        }
    }
    fn lease(&mut self, now: Instant, lease: u32, seconds: u16) -> Done<u32> {
        if seconds == 0 || seconds > LEASE_MAX_S {
            return refuse(Why::Range, format!("a lease runs 1 to {LEASE_MAX_S} s"));
        }
        if !self.control.inhibit.holds() {
            self.note(now, EventCode::Inhibited, "outputs inhibited".into());
        }
        let share = self.liar.severity(LieKind::LeaseLapsesEarly).unwrap_or(1.0);
        let until = now + Duration::from_secs(seconds.into()).mul_f64(share);
        self.control.inhibit = Inhibit::Leased { lease, until };
        self.remember_inhibit();
        Ok(lease)
    }
    /// Gives the outputs back.
    pub(crate) fn release(&mut self, now: Instant, lease: u32) -> Done<()> {
        match self.control.inhibit {
            Inhibit::Leased { lease: running, .. } | Inhibit::Lapsed { lease: running, .. } if lease == running => {}
            _ => return refuse(Why::Lease, "no such inhibit lease runs"),
        }
        if !self.clear() {
            return refuse(Why::NotClear, "smoke at the lowest level, a latched alarm, or a driven output");
        }
        self.control.inhibit = if self.liar.tells(LieKind::ReleaseIgnored) {
            Inhibit::Leased { lease, until: Instant::FAR_FUTURE }
        } else {
            Inhibit::Free
        };
        self.remember_inhibit();
        self.note(now, EventCode::Restored, "outputs given back".into());
        Ok(())
    }
    /// The inhibit as it is now.
    pub(crate) const fn inhibited(&self) -> Inhibit {
        self.control.inhibit
    }
    /// Outputs that are driven for test; bit 0 is output 1.
    pub(crate) fn driven(&self) -> u32 {
        let bits = self.control.driven.bits();
        if self.liar.tells(LieKind::DriveAlso) {
            bits | bits << 1 | bits >> self.outputs().saturating_sub(1)
        } else {
            bits
        }
    }
    /// Drives an output for test.
    pub(crate) fn drive(&mut self, now: Instant, output: u8, seconds: u8) -> Done<()> {
        self.ready(now)?;
        let outputs = self.outputs();
        if output == 0 || output > outputs || seconds == 0 || seconds > DRIVE_MAX_S {
            let text = format!("outputs are 1 to {outputs}, and are driven for 1 to {DRIVE_MAX_S} s");
            return refuse(Why::Range, text);
        }
        if !self.liar.tells(LieKind::DriveIgnored) {
            self.control.driven.drive(output, now + Duration::from_secs(seconds.into()));
        }
        self.note(now, EventCode::Driven, format!("output {output} driven for test"));
        Ok(())
    }
    /// Stops driving an output.
    pub(crate) fn undrive(&mut self, output: u8) -> Done<()> {
        if output == 0 || output > self.outputs() {
            return refuse(Why::Range, "no such output");
        }
        if !self.liar.tells(LieKind::DriveStays) {
            self.control.driven.stop(output);
        }
        Ok(())
    }
    /// Lets go what is no longer reached; gives the alarm levels and the faults that are latched still.
    pub(crate) fn reset_latches(&mut self, now: Instant) -> (u32, Faults) {
        self.resets += 1;
        let again = self.liar.tells(LieKind::ResetOnce) && self.resets > 1;
        if !self.liar.tells(LieKind::ResetIgnored) && !again {
            self.alarms.reset();
            self.control.held = 0;
            self.faults.latched = self.faults.now;
        }
        self.note(now, EventCode::LatchesReset, "latches reset".into());
        (self.alarms.latched, self.faults.latched)
    }
    /// Writes a tool's words into the event log; the position of the entry.
    pub(crate) fn note_of_tool(&mut self, now: Instant, words: &str) -> u64 {
        self.note(now, EventCode::Noted, words.into());
        self.log.newest()
    }
    /// A page of the event log.
    pub(crate) fn log_page(&self, from: u64) -> LogPage<'_> {
        self.log.page(from)
    }
    /// Takes the event log so far as reported.
    pub(crate) const fn log_skip(&mut self) {
        self.log.skip();
    }
    /// The next entry that was not reported yet.
    pub(crate) fn log_report(&mut self) -> Option<LogEntry<'_>> {
        self.log.report()
    }
}

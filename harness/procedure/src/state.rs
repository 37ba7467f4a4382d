//! What the machine and its tasks share, in groups. Data only: no waiting and no decisions.
//!
//! Not here: how stage code works with it ([`crate::context`]).
use crate::{
    again::{Named, Part},
    drops::HoleShown,
    effect::Effect,
    job::JobInputs,
    lines::{Drivers, Lines},
    mean_flow::MeanFlow,
    outcome::{Finding, Outcome, StageKind},
    plan::HoleRef,
    readings::Log,
    rise::{Leaving, Rise},
    rules::advanced::ClockRules,
    stop::OtherSettings,
};
use alloc::{
    boxed::Box,
    collections::{BTreeMap, BTreeSet, VecDeque},
    rc::Rc,
    string::String,
    vec::Vec,
};
use core::time::Duration;
use plumeline_base::{
    Instant,
    input::{AbortCause, Answer, LineId},
    logger::LoggerFile,
};
use plumeline_detector::{Baseline, Identity, SettingsState, Ticket, Trouble, driver::End, settings::Settings};
use plumeline_measure::{clock, few, joint};

/// When a reading counted, and by which clock.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Counted {
    pub(crate) at: Instant,
    /// The tie that mapped it; `None`: its arrival.
    pub(crate) tie: Option<u32>,
    /// As the unit stamped it.
    pub(crate) stamp_us: Option<u64>,
}
impl Counted {
    /// This reading behind the one before it, and whether a stretch of readings ends between them.
    ///
    /// A unit whose stamps rise is in order, whatever the clocks make of it: readings that arrive together are one after the
    /// other, and a tie that was corrected may move an instant back by what it is unsure of. More than that, or another tie, is
    /// a break that is not the unit's: a gap. Stamps that do not rise are out of order, and whoever judges the readings must see
    /// that.
    pub(crate) fn after(self, last: &Self, unsure_s: f64) -> (Self, bool) {
        if self.at > last.at {
            return (self, false);
        }
        let another_clock = self.tie != last.tie;
        let falls = matches!((last.stamp_us, self.stamp_us), (Some(last), Some(now)) if now <= last);
        if falls && !another_clock {
            return (self, false);
        }
        let back_s = last.at.since(self.at).as_secs_f64();
        (Self { at: last.at + Duration::from_micros(1), ..self }, another_clock || back_s > unsure_s)
    }
}

/// How late the readings of one tie come at the least: on an honest line some come at once.
#[derive(Clone, Copy, Default)]
pub(crate) struct Lateness {
    tie: u32,
    readings: u32,
    least_s: f64,
}
impl Lateness {
    /// Takes in how late a reading mapped by a tie came; true if all of them come too late.
    pub(crate) fn contradicts(&mut self, tie: u32, late_s: f64, rules: &ClockRules) -> bool {
        if self.readings == 0 || self.tie != tie {
            *self = Self { tie, readings: 0, least_s: late_s };
        }
        self.readings = self.readings.saturating_add(1);
        self.least_s = self.least_s.min(late_s);
        self.readings >= rules.enough && self.least_s > rules.most_late_s
    }
}

/// The end of a wait, which moves by every pause in which nobody watched.
#[derive(Clone, Copy)]
pub(crate) struct Deadline {
    pub(crate) at: Instant,
    pub(crate) paused: Duration,
}

/// The clock of the unit against the log's.
#[derive(Default)]
pub(crate) struct ClockState {
    pub(crate) tie: Option<clock::Tie>,
    /// Counts the ties that were begun: what was mapped by one is not to be compared with what another maps.
    pub(crate) tie_number: u32,
    /// The latest reading that was counted.
    pub(crate) counted: Option<Counted>,
    pub(crate) lateness: Lateness,
    /// How often it ran away from the log's since the unit's start.
    pub(crate) jumps: u32,
}

/// The readings that should be coming.
#[derive(Default)]
pub(crate) struct StreamState {
    /// So many a second; `None`: none are wanted.
    pub(crate) hz: Option<u8>,
    /// They stopped.
    pub(crate) lost: bool,
    /// Why the latest that came could not be taken for a reading.
    pub(crate) unfit: Option<String>,
}

/// The unit: who it is, what it held, and what is expected of it.
#[derive(Default)]
pub(crate) struct UnitState {
    pub(crate) identity: Option<Identity>,
    /// The job was taken up again and the unit has not yet said who it is.
    pub(crate) unidentified: bool,
    /// A start of the unit is expected: a new boot id voids nothing.
    pub(crate) start_expected: bool,
    pub(crate) started_anew: bool,
    /// Its outputs were inhibited once, and are to be until hand-back.
    pub(crate) inhibit_wanted: bool,
    pub(crate) as_left: Option<Settings>,
    /// What the replacement held after its load: on the bench, and on the wall.
    pub(crate) bench: Option<(Identity, Option<SettingsState>)>,
    pub(crate) loaded: Option<SettingsState>,
    /// The job was taken up again and it is not yet known whether the unit's settings are still those that it was left with.
    pub(crate) settings_unseen: bool,
    /// Why the unit's settings no longer count as those that it was left with.
    pub(crate) other_settings: Option<OtherSettings>,
    /// The baseline that was taken in this job.
    pub(crate) baseline: Option<Baseline>,
    /// Flows when they were held against a baseline that was kept, by inlet, L/min.
    pub(crate) at_visit: BTreeMap<u8, f64>,
    /// The flow fault is expected: an inlet is shut for the test, or was just put back.
    pub(crate) flow_fault_expected: bool,
}

/// The inhibit of the replacement's outputs.
pub(crate) struct InhibitState {
    pub(crate) on: bool,
    /// From when and until when the lease runs for certain, without a break.
    pub(crate) leased: Option<(Instant, Instant)>,
    /// Until when each output may be operated because it is driven here.
    pub(crate) driven: BTreeMap<u8, Instant>,
    /// Why it did not hold, each time.
    pub(crate) lapses: Vec<Trouble>,
    /// The outputs were given back at hand-back: that is not done twice.
    pub(crate) given_back: bool,
    /// Leases are renewed; false only while a lapse is waited for.
    pub(crate) renewing: bool,
}
impl Default for InhibitState {
    fn default() -> Self {
        Self { on: false, leased: None, driven: BTreeMap::new(), lapses: Vec::new(), given_back: false, renewing: true }
    }
}

impl InhibitState {
    /// A lease that was asked for at `asked` was granted, or `renewed`, by an answer of `now`. It runs from when it was asked
    /// for, at the earliest. What was granted anew, or renewed when it may have run out, promises nothing of before.
    pub(crate) fn granted(&mut self, asked: Instant, now: Instant, lease: Duration, renewed: bool) {
        let unbroken = self.leased.filter(|(_, until)| renewed && asked <= *until);
        self.leased = Some((unbroken.map_or(now, |(from, _)| from), asked + lease));
    }
    /// The outputs must be held back by what a reading of `at` tells. Readings of before it was granted may be under way yet.
    pub(crate) fn promises(&self, at: Instant, takes_hold: Duration) -> bool {
        self.on && self.renewing && self.leased.is_some_and(|(from, until)| from + takes_hold <= at && at < until)
    }
}

/// What was done to the site and must be undone.
#[derive(Default)]
pub(crate) struct SiteState {
    /// The zone is isolated at the panel.
    pub(crate) zone_isolated: bool,
    /// The release circuits are locked off.
    pub(crate) locked_off: bool,
    pub(crate) isolated_at: Option<Instant>,
    pub(crate) restored_at: Option<Instant>,
    /// Smoke was asked for at some time in this job.
    pub(crate) smoke_used: bool,
    /// Smoke was asked for and nobody has said yet that it has stopped.
    pub(crate) smoke_out: bool,
    /// Inlets of pipes that are shut, so that one meter shows the flow of another alone.
    pub(crate) shut: BTreeSet<u8>,
}

/// The stage that runs, and what may end it early.
pub(crate) struct RunningStage {
    pub(crate) stage: StageKind,
    pub(crate) ends: Instant,
    pub(crate) abort: Option<AbortCause>,
    /// What a person named to be done again first.
    pub(crate) again: Option<Named>,
    /// The part of the stage that is done; `None`: the whole.
    pub(crate) part: Option<Part>,
    /// Going on is not safe: what was found says why.
    pub(crate) unsafe_to_go_on: bool,
    /// A person decides what follows when something is not shown; else the plan does.
    pub(crate) attended: bool,
}

/// Codes of the record for the units' own event logs.
#[derive(Default)]
pub(crate) struct Anchors {
    /// The code that was told last, since it was asked for.
    pub(crate) head: Option<String>,
    /// The code that was told when the zone went out of service.
    pub(crate) isolated: Option<String>,
    /// Units, by serial number, in whose logs that one was left.
    pub(crate) left: BTreeSet<String>,
}

/// What the log told, and what later stages compare with.
#[derive(Default)]
pub(crate) struct RecordState {
    /// The log has been opened: what opens it again takes the job up.
    pub(crate) opened: bool,
    /// A date that the log noted, ms since 1970 UTC.
    pub(crate) date: Option<(Instant, u64)>,
    /// By how much its local time is ahead of UTC, s.
    pub(crate) ahead_s: i64,
    /// Why the computer's date is not to be trusted any more.
    pub(crate) date_doubt: Option<String>,
    pub(crate) anchors: Anchors,
    /// Who does the work by hand.
    pub(crate) who: Option<String>,
    /// What each alarm level did while smoke was at the unit.
    pub(crate) alarms: BTreeMap<u8, Rise>,
    /// Pipes whose smoke was too strong to be read beside a shut inlet.
    pub(crate) too_strong: BTreeSet<u8>,
    /// What is known so far of air that is not told: found if no later release of smoke shows more. And how often it was looked at.
    pub(crate) untold: Option<Box<Finding>>,
    pub(crate) untold_looks: u32,
    /// Levels that were latched since smoke was released last.
    pub(crate) latched: u32,
    /// How each of them went with the smoke.
    pub(crate) leaving: BTreeMap<u8, Leaving>,
    /// When the air at the unit was last not clear.
    pub(crate) smoke_at: Option<Instant>,
    /// What closing each hole showed last, so that one can be closed again without the others.
    pub(crate) holes: BTreeMap<HoleRef, HoleShown>,
    /// Flows with the outgoing unit, by inlet.
    pub(crate) as_found: BTreeMap<u8, MeanFlow>,
    /// What shifted the flows of all pipes alike when they were proven, as a share.
    pub(crate) alike: Option<joint::Given>,
    /// How much typed flows of each inlet scatter.
    pub(crate) typed: BTreeMap<u8, few::Scatter>,
    /// What was typed last of all flows of a state: of each inlet, and of all together.
    pub(crate) typed_last: Option<(Vec<Option<f64>>, Option<f64>)>,
    /// What one meter showed of all pipes together when the baseline was taken.
    pub(crate) together: Option<MeanFlow>,
}

/// An open question: since when, and which question of a driver's it is, where it is one.
#[derive(Clone, Copy)]
pub(crate) struct OpenAs {
    pub(crate) since: Instant,
    pub(crate) of: Option<(LineId, u32)>,
}

/// An answer with the instant at which it was given; or it can't be one, and the question is asked again.
pub(crate) enum Given {
    Answer(Instant, Answer),
    AskAgain,
}

/// The moment that the answer to a prompt marked, as it was taken.
pub(crate) struct Marked {
    pub(crate) at: Instant,
    /// Standard uncertainty of the tie of the clock that it was taken by, s; 0 by the log's own.
    pub(crate) u_s: f64,
    /// Another mark of the same moment says otherwise, in these words.
    pub(crate) contradicted: Option<String>,
    /// What was read after it is judged.
    pub(crate) judged: bool,
}

/// Questions to people: those that are open, with line and number of the driver's question where it is a driver's, and the answers.
#[derive(Default)]
pub(crate) struct Prompts {
    /// How many were asked so far.
    pub(crate) asked: u32,
    pub(crate) open: BTreeMap<u32, OpenAs>,
    pub(crate) answers: BTreeMap<u32, Given>,
    /// The latest moments that answers marked, by prompt.
    pub(crate) marked: BTreeMap<u32, Marked>,
    /// Something else is left to do on this walk: what is asked for may wait until its end.
    pub(crate) may_wait: bool,
}

/// Requests to the unit: those whose end is waited for, and the ends that came.
#[derive(Default)]
pub(crate) struct Requests {
    pub(crate) wanted: BTreeSet<(LineId, Ticket)>,
    pub(crate) ended: BTreeMap<(LineId, Ticket), End>,
}

/// State shared by the machine and its tasks.
pub(crate) struct JobState {
    pub(crate) now: Instant,
    pub(crate) lines: Lines,
    pub(crate) inputs: Rc<JobInputs>,
    pub(crate) effects: VecDeque<Effect>,
    pub(crate) changed: bool,
    pub(crate) wakes: BTreeSet<Instant>,
    pub(crate) last_trouble: Option<Trouble>,
    pub(crate) readings: Log,
    pub(crate) stream: StreamState,
    pub(crate) clock: ClockState,
    /// Time in which nobody watched, all together: what waits for a time waits so much longer.
    pub(crate) paused: Duration,
    pub(crate) unit: UnitState,
    pub(crate) inhibit: InhibitState,
    pub(crate) site: SiteState,
    pub(crate) running: RunningStage,
    pub(crate) outcome: Outcome,
    pub(crate) record: RecordState,
    pub(crate) prompts: Prompts,
    pub(crate) requests: Requests,
    /// What was read of a logger's file that was just given.
    pub(crate) given: Option<Box<LoggerFile>>,
}

impl JobState {
    pub(crate) fn new(drivers: Drivers, inputs: Rc<JobInputs>) -> Self {
        Self {
            now: Instant::START,
            lines: Lines::new(drivers),
            inputs,
            effects: VecDeque::new(),
            changed: false,
            wakes: BTreeSet::new(),
            last_trouble: None,
            readings: Log::default(),
            stream: StreamState::default(),
            clock: ClockState::default(),
            paused: Duration::ZERO,
            unit: UnitState { start_expected: true, ..UnitState::default() },
            inhibit: InhibitState::default(),
            site: SiteState::default(),
            running: RunningStage {
                stage: StageKind::Isolate,
                ends: Instant::FAR_FUTURE,
                abort: None,
                again: None,
                part: None,
                unsafe_to_go_on: false,
                attended: false,
            },
            outcome: Outcome::default(),
            record: RecordState::default(),
            prompts: Prompts::default(),
            requests: Requests::default(),
            given: None,
        }
    }
    /// The tie of the clocks no longer holds.
    pub(crate) fn untie(&mut self) {
        self.clock.tie = None;
        self.clock.tie_number = self.clock.tie_number.wrapping_add(1);
    }
    /// The only pipe whose inlet is open, by its inlet, where all flows are read off one meter.
    pub(crate) fn alone(&self) -> Option<u8> {
        self.inputs.plan.exhaust_meter()?;
        let mut open = self.inputs.pipes().into_iter().map(|p| p.inlet).filter(|n| !self.site.shut.contains(n));
        open.next().filter(|_| open.next().is_none())
    }
    pub(crate) fn end(&self, deadline: Deadline) -> Instant {
        deadline.at + self.paused.saturating_sub(deadline.paused)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn counted(ms: u64, tie: Option<u32>, stamp_ms: Option<u64>) -> Counted {
        Counted { at: Instant::from_micros(ms * 1000), tie, stamp_us: stamp_ms.map(|ms| ms * 1000) }
    }
    /// How much later, us, and whether a stretch ends.
    fn after(now: Counted, last: Counted) -> (i64, bool) {
        let (counted, gap) = now.after(&last, 0.05);
        (counted.at.as_micros() as i64 - last.at.as_micros() as i64, gap)
    }

    #[test]
    fn readings_that_arrive_together_are_in_the_order_of_their_stamps() {
        let last = counted(1000, Some(1), Some(500));
        assert_eq!(after(counted(1100, Some(1), Some(600)), last), (100_000, false));
        assert_eq!(after(counted(1000, Some(1), Some(600)), last), (1, false), "both capped at their arrival");
        assert_eq!(after(counted(970, Some(1), Some(600)), last), (1, false), "a tie that was corrected");
        assert_eq!(after(counted(1000, None, Some(600)), counted(1000, None, Some(500))), (1, false), "before any tie");
        assert_eq!(after(counted(1000, None, None), counted(1000, None, None)), (1, false), "no stamps");
    }
    #[test]
    fn a_break_that_is_not_the_units_is_a_gap() {
        let last = counted(1000, Some(1), Some(500));
        assert_eq!(after(counted(900, Some(1), Some(600)), last), (1, true), "moved back by more than it is unsure of");
        assert_eq!(after(counted(990, Some(2), Some(600)), last), (1, true), "another tie");
        assert_eq!(after(counted(990, Some(2), Some(10)), last), (1, true), "another start");
        assert_eq!(after(counted(1200, Some(2), Some(10)), last), (200_000, false));
    }
    #[test]
    fn an_inhibit_promises_nothing_of_a_time_in_which_it_may_have_lapsed() {
        let at = Instant::from_secs;
        let (hold, lease) = (Duration::from_secs(3), Duration::from_secs(60));
        let mut inhibit = InhibitState { on: true, ..InhibitState::default() };
        assert!(!inhibit.promises(at(0), hold), "never granted");
        inhibit.granted(at(10), at(12), lease, false);
        let promised = |i: &InhibitState, all: [u64; 4]| all.map(|s| i.promises(at(s), hold));
        assert_eq!(promised(&inhibit, [14, 15, 69, 70]), [false, true, true, false]);
        inhibit.granted(at(70), at(71), lease, true);
        assert_eq!(promised(&inhibit, [14, 15, 129, 130]), [false, true, true, false], "renewed in time");
        inhibit.granted(at(140), at(150), lease, true);
        assert_eq!(promised(&inhibit, [135, 152, 153, 199]), [false, false, true, true], "perhaps too late");
        inhibit.granted(at(160), at(161), lease, false);
        assert_eq!(promised(&inhibit, [155, 163, 164, 219]), [false, false, true, true], "refused, and granted anew");
        inhibit.renewing = false;
        assert!(!inhibit.promises(at(164), hold));
    }
    #[test]
    fn stamps_that_do_not_rise_stay_out_of_order() {
        let last = counted(1000, Some(1), Some(500));
        assert_eq!(after(counted(1000, Some(1), Some(500)), last), (0, false));
        assert_eq!(after(counted(600, Some(1), Some(100)), last), (-400_000, false));
    }
}

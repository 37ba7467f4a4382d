//! The catalogue of units that lie, fail or are only half a detector: by name, class and severity, each with what a job
//! should see of it. The replacement lies; nothing is wrong with its site.
//!
//! Not here: how a lie is told (see `device::lying`; leaks are the site's).
use core::fmt;

/// What a lie is about.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Class {
    /// Whether the unit alarms.
    Alarm,
    /// Whether its inhibit holds.
    Inhibit,
    /// Air that enters anywhere else.
    Air,
    /// Whether its baseline is what was measured.
    Baseline,
    /// States that it reports, or does not.
    State,
    /// Its supervision of the flow.
    Supervision,
    /// Whether its readings are of now.
    Readings,
    /// What it promised and does not do.
    Promise,
}
impl Class {
    /// In a word or two.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Alarm => "alarm",
            Self::Inhibit => "inhibit",
            Self::Air => "air elsewhere",
            Self::Baseline => "baseline",
            Self::State => "states",
            Self::Supervision => "supervision",
            Self::Readings => "readings",
            Self::Promise => "promises",
        }
    }
}

/// One row of the catalogue.
struct Row {
    kind: LieKind,
    name: &'static str,
    class: Class,
    usual: f64,
    range: (f64, f64),
    measure: &'static str,
    does: &'static str,
    shows: &'static str,
}
/// Declares each lie once: its kind, name, class, severity (usual, range, measure), what the unit does and what a job should see.
macro_rules! lies {
    ($($kind:ident $name:literal $class:ident $(($usual:literal, $low:literal..$high:literal, $measure:literal))?
        $does:literal => $shows:literal;)*) => {
        /// One kind of lie.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
        #[non_exhaustive]
        pub enum LieKind {
            $(#[doc = $does] $kind,)*
        }
        const CATALOGUE: &[Row] = &[$({
            let severity: (f64, (f64, f64), &str) = lies!(@severity $(($usual, $low, $high, $measure))?);
            Row {
                kind: LieKind::$kind,
                name: $name,
                class: Class::$class,
                usual: severity.0,
                range: severity.1,
                measure: severity.2,
                does: $does,
                shows: $shows,
            }
        },)*];
    };
    (@severity ($usual:literal, $low:literal, $high:literal, $measure:literal)) => {
        ($usual, ($low, $high), $measure)
    };
    (@severity) => {
        (1.0, (1.0, 1.0), "")
    };
}
lies! {
    AlarmsDead "alarms-dead" Alarm
        "No alarm level ever becomes active." => "Smoke far over every threshold, and no level rises.";
    LowestLevelDead "lowest-level-dead" Alarm
        "The lowest alarm level never becomes active." => "Higher levels rise and the lowest does not.";
    HighestLevelDead "highest-level-dead" Alarm
        "The highest alarm level never becomes active." => "Smoke over the highest threshold, and its level does not rise.";
    LevelsReversed "levels-reversed" Alarm
        "The levels act on one another's thresholds, the lowest on the highest." => "Levels rise in the wrong order.";
    LatchNotKept "latch-not-kept" Alarm
        "Levels that are set to latch go with the smoke." => "After the smoke no level is latched.";
    ResetIgnored "reset-ignored" Alarm
        "A reset of the latches is acknowledged and nothing is reset." => "Levels stay latched after the reset, with clean air.";
    AlarmLate "alarm-late" Alarm (60.0, 1.0..3600.0, "s beyond the delay")
        "Alarms come later than their delays." => "Time from the threshold to the level is over the set delay.";
    AlarmEarly "alarm-early" Alarm
        "Alarms come at once, whatever their delays." => "Time from the threshold to the level is under the set delay.";
    ThresholdHigh "threshold-high" Alarm (10.0, 1.01..1000.0, "ratio of acted to set threshold")
        "Levels act on thresholds above those that are set." => "Readings stand over a threshold longer than its delay, and its level does not rise.";
    ThresholdLow "threshold-low" Alarm (0.4, 0.01..0.99, "ratio of acted to set threshold")
        "Levels act on thresholds below those that are set." => "A level rises while the reading is under its threshold.";
    AlarmsHidden "alarms-hidden" Alarm
        "Alarms operate the outputs and no reading tells a level." => "No level rises in the readings.";
    AlarmsOnce "alarms-once" Alarm
        "Levels are told the first time that smoke comes after a start, and never again." => "A later release raises no level.";
    DelaysSwapped "delays-swapped" Alarm
        "The delay of the lowest level is that of the highest, and the other way round." => "Levels rise after other delays than set.";
    LevelsTurned "levels-turned" Alarm
        "Readings tell the highest level as the lowest, and the other way round." => "Levels rise in the wrong order.";
    LevelsDrop "levels-drop" Alarm (10.0, 1.0..600.0, "s after it came")
        "A level goes some time after it came, whatever the smoke does." => "A level goes while the reading stands over its threshold.";
    ResetOnce "reset-once" Alarm
        "Only the first reset of latches after a start does anything." => "Latches stay after a second reset, which a job may never need.";

    InhibitIdle "inhibit-idle" Inhibit
        "Outputs follow alarms while they are inhibited, and the readings say so." => "An output active under the inhibit.";
    InhibitIdleHidden "inhibit-idle-hidden" Inhibit
        "Outputs follow alarms while they are inhibited, and the readings tell none." => "The panel shows an alarm under the inhibit.";
    InhibitUntold "inhibit-untold" Inhibit
        "The readings never say that outputs are inhibited." => "A lease runs, and the condition is missing.";
    InhibitAlwaysTold "inhibit-always-told" Inhibit
        "The readings say inhibited from the first lease on for ever." => "The condition stands after the release.";
    LeaseNeverLapses "lease-never-lapses" Inhibit
        "The inhibit stays without being renewed." => "No fault of a lapse after the lease has run out.";
    LeaseLapsesEarly "lease-lapses-early" Inhibit (0.3, 0.01..0.95, "share of the lease that it runs")
        "The lease runs for a part of what was granted." => "A lapse before the lease has run out.";
    ReleaseIgnored "release-ignored" Inhibit
        "Giving the outputs back is acknowledged, and they stay held back." => "The state of the outputs says leased after the release.";
    InhibitPartly "inhibit-partly" Inhibit
        "The output of the lowest level is not held back, and the readings say so." => "An output active under the inhibit.";
    InhibitEnds "inhibit-ends" Inhibit (900.0, 1.0..36000.0, "s after the start")
        "The inhibit ends by itself although it is renewed, and the readings say so." => "The condition is missing while a lease runs.";
    InhibitEndsUntold "inhibit-ends-untold" Inhibit (900.0, 1.0..36000.0, "s after the start")
        "Outputs follow alarms from some time on, and the readings tell them held back." => "The panel shows an alarm under the inhibit.";
    InhibitHidesFaults "inhibit-hides-faults" Inhibit
        "Under the inhibit the fault's output does not operate either." => "No fault at the panel while one stands.";
    LapseGivesBack "lapse-gives-back" Inhibit
        "A lapsed inhibit gives its outputs back at once." => "No fault before the outputs are given back.";
    LapseSilent "lapse-silent" Inhibit
        "A lapsed inhibit raises no fault." => "No fault of a lapse after the lease has run out.";

    LeakUnusedInlet "leak-unused-inlet" Air (8.0, 1.0..25.0, "diameter of an equal hole, mm")
        "An unused inlet leaks, and its flow is told." => "A flow at an inlet that carries no pipe.";
    LeakUntold "leak-untold" Air (8.0, 1.0..25.0, "diameter of an equal hole, mm")
        "An unused inlet leaks, and its flow is told as zero." => "Total or dilution does not fit the pipes' flows.";
    LeakInPipes "leak-in-pipes" Air (8.0, 1.0..25.0, "diameter of an equal hole, mm")
        "An unused inlet leaks, and its flow is told as the pipes'." => "A pipe's flow is high, and does not go when its inlet is shut.";

    BaselineHigh "baseline-high" Baseline (0.05, 0.001..1.0, "share above what was measured")
        "The baseline that is kept lies above the flows measured." => "The baseline read back differs from the readings of the same sensor.";
    BaselineLow "baseline-low" Baseline (0.1, 0.001..0.9, "share below what was measured")
        "The baseline that is kept lies below the flows measured." => "The baseline read back differs from the readings of the same sensor.";
    BaselineOfBefore "baseline-of-before" Baseline
        "The baseline is the first reading after the start, not of the time when it was taken." => "The baseline differs from the mean of the readings while it was taken.";
    BaselineNotKept "baseline-not-kept" Baseline
        "Taking a baseline is told as done, and none is kept." => "No baseline can be read.";
    BaselineLostAtRestart "baseline-lost-at-restart" Baseline
        "The baseline is gone after the next restart." => "A fault of the baseline after a restart or a loss of supply.";
    BaselineOtherInlet "baseline-other-inlet" Baseline
        "The flows of the baseline are kept under other inlets." => "An inlet in use has no baseline, or another's.";
    BaselineUnsupervised "baseline-unsupervised" Baseline
        "The baseline reads back and nothing is supervised against it." => "A shut inlet raises no fault.";
    BaselineDesign "baseline-design" Baseline (45.0, 1.0..500.0, "L/min at each inlet")
        "The baseline that is kept is a figure of its own, whatever was measured." => "The baseline read back differs from the readings of the same sensor.";
    BaselineCoarse "baseline-coarse" Baseline (20.0, 0.1..100.0, "L/min of a step")
        "The baseline is kept in coarse steps." => "The baseline read back differs from the readings of the same sensor.";
    BaselineFollows "baseline-follows" Baseline (0.05, 0.0001..1.0, "share a second")
        "The baseline follows the flow." => "A shut inlet raises no fault, and the baseline read back moves.";

    LearningOn "learning-on" State
        "Thresholds are being learnt although that is switched off." => "The condition of learning stands.";
    FanSlow "fan-slow" State (0.93, 0.2..0.99, "ratio of actual to set speed")
        "The fan does not reach its speed and says so." => "The condition of spinning up never goes.";
    FanSpeedUntrue "fan-speed-untrue" State (0.85, 0.2..0.99, "ratio of actual to told speed")
        "The fan runs slower than told." => "Flows of all pipes are low by one ratio.";
    FilterDue "filter-due" State
        "A fault of the filter stands." => "The fault, named.";
    SensorFault "sensor-fault" State
        "A fault of a sensor stands, and everything else works." => "The fault, named.";
    FaultWithoutBit "fault-without-bit" State
        "A flow fault names its inlet and is not among the faults." => "An inlet out of its band without the fault.";
    FaultInletMissing "fault-inlet-missing" State
        "A flow fault stands without an inlet." => "The fault, and no inlet named.";
    LatchedStanding "latched-standing" State
        "The lowest level is told as latched whatever happens." => "A latched level before any smoke, and after the reset.";
    StartingForever "starting-forever" State
        "The readings never stop saying that the unit starts." => "The condition of starting stands after the boot time.";
    OwnFaultsNever "own-faults-never" State
        "Faults of filter, fan, sensor and cover are never told." => "None of these fails in a job.";

    FlowFaultElsewhere "flow-fault-elsewhere" Supervision
        "A flow fault names the next inlet." => "The fault of the inlet that was shut names another.";
    FlowFaultEverywhere "flow-fault-everywhere" Supervision
        "A flow fault names every inlet." => "Inlets that nobody touched are named.";
    FlowFaultUnasked "flow-fault-unasked" Supervision (120.0, 1.0..36000.0, "s after the baseline")
        "A flow fault comes some time after the baseline, for ever." => "A flow fault that nobody made.";
    FlowFaultSticks "flow-fault-sticks" Supervision
        "A flow fault never goes." => "The fault stands after the inlet was opened again.";
    FlowFaultNever "flow-fault-never" Supervision
        "The flow is not supervised." => "A shut inlet raises no fault.";
    FlowFaultLate "flow-fault-late" Supervision (120.0, 1.0..36000.0, "s beyond the delay")
        "A flow fault comes later than its delay." => "Time from shutting to the fault is over the set delay.";
    FlowFaultGoes "flow-fault-goes" Supervision (5.0, 1.0..3600.0, "s")
        "A flow fault goes some time after it came, whatever the flow does." => "The fault is gone while the inlet is still shut.";
    FlowBandWide "flow-band-wide" Supervision (2.5, 1.01..10.0, "ratio of acted to set band")
        "The band that is acted on is wider than the one set." => "Only a change between the two bands shows it.";
    LastUnsupervised "last-inlet-unsupervised" Supervision
        "The last inlet in use is not supervised." => "That inlet, shut, raises no fault.";
    RiseUnsupervised "flow-rise-unsupervised" Supervision
        "A flow that rises raises no fault." => "Only a rise beyond the band shows it.";
    FlowFaultOnce "flow-fault-once" Supervision
        "A flow fault comes once after a start, and never again." => "The second inlet that is shut raises no fault.";

    ReadingsStale "readings-stale" Readings (20.0, 0.5..600.0, "s")
        "Readings carry the stamp of now and the values of earlier." => "Flow answers a shut hole later than the air can.";
    ReadingsRepeated "readings-repeated" Readings (10.0, 1.0..600.0, "s between new values")
        "The same values are told again and again under new stamps." => "Noise is missing between readings, then steps.";
    ReadingsStaleLater "readings-stale-later" Readings (20.0, 0.5..600.0, "s")
        "Readings are stale, but only once a baseline is held." => "Flow answers a shut inlet later than the air can.";
    FlowFrozenInlet "flow-frozen-inlet" Readings (600.0, 0.0..36000.0, "s after the start")
        "The flow reading of the first inlet alone stays what it was at some time." => "One reading stands still while the others move.";
    FlowCompressed "flow-compressed" Readings (0.5, 0.01..0.99, "share of a change that is told")
        "Flow readings tell a part of each change since the start." => "Holes draw too little all alike, and a shut inlet still reads a flow.";
    FlowFrozen "flow-frozen" Readings (600.0, 0.0..36000.0, "s after the start")
        "Flow readings stay what they were at some time." => "The flow does not answer when a hole is closed.";
    SmokeFrozen "smoke-frozen" Readings (600.0, 0.0..36000.0, "s after the start")
        "Obscuration readings stay what they were at some time." => "Smoke at a hole is never seen.";
    FlowSmoothed "flow-smoothed" Readings (45.0, 1.0..600.0, "s")
        "Flow readings are smoothed beyond what is permitted." => "Flow answers a closed hole slowly.";
    SmokeSmoothed "smoke-smoothed" Readings (45.0, 1.0..600.0, "s")
        "Obscuration readings are smoothed beyond what is permitted." => "Smoke rises and falls slowly: late, and weak.";
    SmokeScaled "smoke-scaled" Readings (0.5, 0.01..10.0, "ratio of told to true")
        "Obscuration is told by another scale than the one that levels act on." => "Levels rise and go at other readings than their thresholds.";
    FlowsAveraged "flows-averaged" Readings
        "Each inlet in use tells the mean of their flows." => "A shut inlet takes from all of them, and a pipe's own flow does not go.";
    FlowFloor "flow-floor" Readings (0.8, 0.1..0.99, "share of the first flow")
        "Flow readings never fall under a share of what they were after the start." => "A shut inlet still reads a flow.";
    FlowOffset "flow-offset" Readings (8.0, 0.1..100.0, "L/min")
        "Flow readings are too high by a fixed amount." => "A shut inlet still reads a flow.";
    FlowCreeps "flow-creeps" Readings (0.1, 0.001..10.0, "share an hour")
        "Flow readings grow with time." => "The last look is off the baseline.";
    FlowReplayed "flow-replayed" Readings (60.0, 5.0..600.0, "s")
        "Flow readings of a time after the start are told over and over." => "The flow does not answer when a hole is closed.";
    FlowFrozenInSmoke "flow-frozen-in-smoke" Readings (0.01, 0.0..10.0, "1/m")
        "Flow readings stand still while there is smoke at the unit." => "A reading stands still, or does not answer a shut inlet.";
    SmokeCapped "smoke-capped" Readings (0.5, 0.01..2.0, "share of the highest threshold")
        "Obscuration readings never rise over a share of the highest threshold." => "Levels rise while the reading stands under their thresholds.";
    StampsJump "stamps-jump" Readings (300.0, 10.0..36000.0, "s between jumps")
        "Stamps and clock leap ahead by half a minute now and then." => "Exchanges of the clock show leaps.";
    ClockDrifts "clock-drifts" Readings (0.01, 0.0001..0.5, "share that it runs fast")
        "The unit's clock runs fast." => "Exchanges of the clock show another rate.";
    StampsFall "stamps-fall" Readings
        "Every tenth reading is stamped two seconds early." => "Stamps that do not rise.";
    ReadingsLost "readings-lost" Readings (0.5, 0.01..0.99, "share that is missing")
        "A part of the readings is not sent, and not told as dropped." => "Gaps in the stamps.";

    RestartNotMade "restart-not-made" Promise
        "A restart is acknowledged and not made." => "No silence, and the same boot id.";
    BootIdUnchanged "boot-id-unchanged" Promise
        "The boot id stays the same over a restart." => "Uptime begins anew under the same boot id.";
    OldThresholds "old-thresholds" Promise
        "New thresholds read back and the factory's are acted on." => "The level at which levels rise.";
    OldDelays "old-delays" Promise
        "New alarm delays read back and the factory's are acted on." => "The time from a threshold to its level.";
    OldFlowBand "old-flow-band" Promise
        "A new flow band reads back and the factory's is acted on." => "Only a change between the two bands shows it.";
    OldFlowDelay "old-flow-delay" Promise
        "A new delay of the flow fault reads back and the factory's is acted on." => "Time from shutting an inlet to the fault.";
    OldOutputs "old-outputs" Promise
        "New functions of outputs read back and the factory's are acted on." => "No output follows an alarm that is not inhibited.";
    CommitLost "commit-lost" Promise
        "Settings are acknowledged and gone at the restart." => "The settings of before after the restart.";
    DigestWrong "digest-wrong" Promise
        "The digest told is not that of the settings." => "The parts read do not have the digest.";
    RevisionStuck "revision-stuck" Promise
        "The revision does not rise when settings come into force." => "The same revision over other settings.";
    DriveIgnored "drive-ignored" Promise
        "Driving an output is acknowledged and nothing operates." => "Neither reading nor panel shows it.";
    DriveTold "drive-told" Promise
        "A driven output is told as operated and its contact rests." => "The panel does not show it.";
    DriveOther "drive-other" Promise
        "A driven output is told as asked and another contact operates." => "The panel shows another.";
    OutputsClaimed "outputs-claimed" Promise
        "The unit states two outputs more than it has." => "What is stated differs from the model's description, or a drive is refused.";
    LevelsClaimed "levels-claimed" Promise
        "The unit states two alarm levels more than it has." => "What is stated differs from the model's description.";
    DateIgnored "date-ignored" Promise
        "Setting date and time is acknowledged and not done." => "The date read back.";
    SupplyUnseen "supply-unseen" Promise
        "Loss of mains or battery is never told." => "No fault after a supply was switched off.";
    LogSilent "log-silent" Promise
        "The event log stays empty." => "No entry of what was just done.";
    LogLoses "log-loses" Promise
        "Every second entry of the event log is missing." => "Some of what was just done has no entry.";
    DateYear "date-year" Promise
        "The date is told a year late." => "The date read back.";
    DateLost "date-lost" Promise
        "Date and time are lost at a restart." => "The date after the restart.";
    SettingsRevert "settings-revert" Promise (900.0, 1.0..36000.0, "s after a start")
        "Some time after a start the settings are those of before the load." => "Another digest than after the load.";
    CommitDropsOne "commit-drops-one" Promise
        "One of the new items keeps its old value." => "The item read back.";
    SerialChanges "serial-changes" Promise
        "After some restarts the unit states another serial number." => "Another unit answers.";
    DriveStays "drive-stays" Promise
        "A driven output never goes back." => "The output stands after it was let go.";
    DriveAlso "drive-also" Promise
        "A driven output takes the next one with it, and the readings say so." => "Two outputs where one was driven.";
    SupplyLate "supply-late" Promise (400.0, 10.0..36000.0, "s")
        "The loss of a supply is told late." => "No fault within the limit after a supply was switched off.";
    SupplySwapped "supply-swapped" Promise
        "Mains and battery are told for one another." => "The fault of the other supply.";
}

impl LieKind {
    /// All kinds, in the order of the catalogue.
    pub fn all() -> impl Iterator<Item = Self> {
        CATALOGUE.iter().map(|r| r.kind)
    }
    fn row(self) -> &'static Row {
        // The catalogue and the kinds are declared together, in one order (tested).
        &CATALOGUE[self as usize]
    }
    /// The name, as a person writes it.
    pub fn name(self) -> &'static str {
        self.row().name
    }
    /// What it is about.
    pub fn class(self) -> Class {
        self.row().class
    }
    /// What the unit does, in one sentence.
    pub fn does(self) -> &'static str {
        self.row().does
    }
    /// What a job should see of it.
    pub fn shows(self) -> &'static str {
        self.row().shows
    }
    /// The severity taken when none is given.
    pub fn usual_severity(self) -> f64 {
        self.row().usual
    }
    /// Least and greatest severity.
    pub fn severity_range(self) -> (f64, f64) {
        self.row().range
    }
    /// What the severity measures; empty where it has none.
    pub fn measure(self) -> &'static str {
        self.row().measure
    }
}
impl fmt::Display for LieKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.name())
    }
}

/// A lie of one unit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Lie {
    /// What.
    pub kind: LieKind,
    /// How badly, in the kind's own measure.
    pub severity: f64,
}
/// Why a lie's text was not understood.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum LieError {
    /// No such name.
    #[error("there is no lie called `{0}`; choose one of {list}", list = names())]
    Unknown(String),
    /// What follows the colon is no number.
    #[error("`{0}` is no severity; write NAME or NAME:SEVERITY")]
    Number(String),
    /// The severity is outside the kind's range.
    #[error("the severity {given} of {kind} is outside {low} to {high} ({measure})")]
    Severity {
        /// The kind.
        kind: LieKind,
        /// What was given.
        given: f64,
        /// Least.
        low: f64,
        /// Greatest.
        high: f64,
        /// What it measures.
        measure: &'static str,
    },
}
/// The names of all lies, separated by commas.
pub fn names() -> String {
    CATALOGUE.iter().map(|r| r.name).collect::<Vec<_>>().join(", ")
}
impl Lie {
    /// A lie of this kind at its usual severity.
    pub fn usual(kind: LieKind) -> Self {
        Self { kind, severity: kind.usual_severity() }
    }
    /// Reads `name` or `name:severity`.
    ///
    /// # Errors
    /// Names what is not understood, or the range that was left.
    pub fn parse(text: &str) -> Result<Self, LieError> {
        let (name, severity) = text.split_once(':').map_or((text, None), |(n, s)| (n, Some(s)));
        let kind = LieKind::all().find(|k| k.name() == name.trim()).ok_or_else(|| LieError::Unknown(name.into()))?;
        let Some(severity) = severity else { return Ok(Self::usual(kind)) };
        let given = severity.trim().parse().map_err(|_| LieError::Number(severity.into()))?;
        let (low, high) = kind.severity_range();
        if (low..=high).contains(&given) {
            Ok(Self { kind, severity: given })
        } else {
            Err(LieError::Severity { kind, given, low, high, measure: kind.measure() })
        }
    }
}
impl fmt::Display for Lie {
    /// The text that [`Lie::parse`] reads.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}:{}", self.kind.name(), self.severity)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    #[test]
    fn every_name_stands_once_and_reads_back() {
        for (i, kind) in LieKind::all().enumerate() {
            assert_eq!(kind as usize, i);
            assert_eq!(LieKind::all().filter(|k| k.name() == kind.name()).count(), 1, "{kind}");
            assert_eq!(Lie::parse(&Lie::usual(kind).to_string()), Ok(Lie::usual(kind)));
            assert_eq!(Lie::parse(kind.name()), Ok(Lie::usual(kind)));
        }
        assert!(LieKind::all().count() >= 40);
    }
    #[test]
    fn wrong_text_is_named() {
        assert!(matches!(Lie::parse("alarm-dead"), Err(LieError::Unknown(n)) if n == "alarm-dead"));
        assert_eq!(Lie::parse("alarm-late:soon"), Err(LieError::Number("soon".into())));
        assert!(matches!(Lie::parse("alarm-late:0"), Err(LieError::Severity { .. })));
        assert!(Lie::parse("alarm-late:NaN").is_err());
    }
}

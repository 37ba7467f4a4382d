//! The rules that few jobs change: how often something is tried again, how long a unit may take to show what was asked of it,
//! when noise is told from a change, how well the model of the air is known. All stand in the plan under `advanced`, and in
//! every report.
//!
//! Not here: limits by codes, measuring times and accepted risks ([`super::declared`]).
use super::{Limit, between, over, practice, practice_of, sections};
use serde::Serialize;

/// The advanced rules, by what they are for.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Advanced {
    /// When a flow counts as steady.
    pub settle: SettleRules,
    /// What counts as a mean.
    pub average: AverageRules,
    /// How readings that a person types are taken.
    pub typed: TypedRules,
    /// How closed holes are told from noise and held against each other.
    pub holes: HoleRules,
    /// How often the outgoing unit is asked, and how the flows are held against its.
    pub as_found: AsFoundRules,
    /// How a baseline that a service visit keeps is judged.
    pub baseline: BaselineRules,
    /// How a release of smoke is done and read.
    pub smoke: SmokeRules,
    /// How closely an alarm level must follow its settings.
    pub alarms: AlarmRules,
    /// How inlets without a pipe are read.
    pub inlets: InletRules,
    /// How clear air is shown.
    pub purge: PurgeRules,
    /// How the unit's own supervision is tried.
    pub supervise: SuperviseRules,
    /// How voltage and current are measured.
    pub supply: SupplyRules,
    /// How outputs and the inhibit are tried.
    pub outputs: OutputRules,
    /// How the outputs are watched while they are inhibited.
    pub inhibit: InhibitRules,
    /// Whether the unit's readings can be relied upon as such.
    pub readings: ReadingRules,
    /// How settings are loaded.
    pub load: LoadRules,
    /// How the unit's clock is tied to the log's.
    pub clock: ClockRules,
    /// How the file of a logger is tied to the log's clock, and held against what a person marked.
    pub logger: LoggerRules,
    /// How well the model of the air is known.
    pub model: ModelRules,
}

sections! {
    /// When a flow counts as steady, beside its slope.
    SettleRules in "advanced.settle" {
        /// Largest amplitude of a regular oscillation of a steady flow, as a share of it
        oscillation: f64 = "oscillation", Ratio, over(0.0, 1.0), [practice(0.02)];
        /// Largest step of a steady flow, as a share of it
        step: f64 = "step", Ratio, over(0.0, 1.0), [practice(0.02)];
        /// A flow reading further than this share (and than six times the scatter) from its neighbours is a spike
        spike: f64 = "spike", Ratio, over(0.0, 1.0), [practice(0.05)];
        /// Spikes that are set aside within the two windows
        spikes_allowed: u32 = "spikes_allowed", Count, between(0.0, 100.0), [practice(2.0)];
        /// Longest time between readings that is no gap
        longest_gap_s: f64 = "longest_gap", Time, over(0.0, 60.0), [practice(3.0)];
        /// Fewest readings a second
        least_rate_hz: f64 = "least_rate", Frequency, over(0.0, 20.0), [practice(0.5)];
        /// Probability that a flow which is not steady is never called steady
        confidence: f64 = "confidence", Ratio, between(0.5, 0.9999), [practice(0.99)];
    }
    /// What counts as a mean.
    AverageRules in "advanced.average" {
        /// Longest time between readings of a mean that is no gap
        longest_gap_s: f64 = "longest_gap", Time, over(0.0, 60.0), [practice(3.0)];
        /// Oldest that the latest reading of a mean may be
        oldest_s: f64 = "oldest", Time, over(0.0, 60.0), [practice(3.0)];
        /// Fewest readings of a mean
        least_readings: u32 = "least_readings", Count, between(2.0, 10_000.0), [practice(20.0)];
        /// How often an average whose readings hang together too strongly is made twice as long
        longer: u32 = "longer", Count, between(0.0, 6.0), [practice(2.0)];
    }
    /// How readings that a person types are taken.
    TypedRules in "advanced.typed" {
        /// So long a stretch of a stream stands for one typed reading: a display shows what it averaged
        each_s: f64 = "each", Time, between(1.0, 600.0), [practice(20.0)];
        /// Typed readings of one state are at least so far apart
        apart_s: f64 = "apart", Time, between(0.0, 600.0), [practice(5.0)];
        /// So many typed readings of one state must agree before anything is decided by them
        entries: u32 = "entries", Count, between(2.0, 20.0), [practice(2.0)];
        /// Typed readings of one state agree within so many steps of the display
        agree_steps: f64 = "agree_steps", Ratio, between(1.0, 100.0), [practice(3.0)];
        /// Standard uncertainty, as a share, of a flow that is far below the normal one, against that: the sensor's linearity
        linearity: f64 = "linearity", Ratio, between(0.0, 0.5), [practice(0.03)];
        /// Fewest typed readings by which a flow is called steady
        least_steady: u32 = "least_steady", Count, between(4.0, 100.0), [practice(5.0)];
        /// Standard uncertainty of the moment at which a person marks what a display or a lamp shows, its refresh included
        seen_u_s: f64 = "seen_u", Time, over(0.0, 60.0), [practice(1.0)];
        /// So much later than it came about what a display or a lamp shows is marked: half of a refresh of 1 s
        seen_late_s: f64 = "seen_late", Time, between(0.0, 10.0), [practice(0.5)];
        /// Standard uncertainty of a press of a stop-watch at something that is done by hand
        press_u_s: f64 = "press_u", Time, over(0.0, 10.0),
            [practice_of(0.2, "reaction of 0.12 to 0.23 s: NIST SP 960-12, 2009, from memory")];
        /// So much longer than its delay an alarm level is waited for while smoke is held
        level_s: f64 = "level", Time, over(0.0, 3600.0), [practice(120.0)];
        /// Steps of the display by which a smoke reading must rise before it is marked
        steps: f64 = "steps", Ratio, between(1.0, 100.0), [practice(3.0)];
        /// Standard uncertainty, as a share, of a plateau that a person reads once: smoke is held unevenly
        plateau: f64 = "plateau", Ratio, between(0.0, 0.5), [practice(0.05)];
        /// Once a plateau is known, smoke is marked where its reading stands at this share of it
        mark_at: f64 = "mark_at", Ratio, between(0.05, 0.9), [practice(0.75)];
    }
    /// How closed holes are told from noise and held against each other.
    HoleRules in "advanced.holes" {
        /// How often a hole that stays open to doubt is closed again for longer
        again: u32 = "again", Count, between(0.0, 20.0), [practice(4.0)];
        /// An average of a hole becomes up to this many times as long where scatter asks for it
        most_longer: f64 = "most_longer", Ratio, between(1.0, 100.0), [practice(6.0)];
        /// Standard uncertainty of a drop's scatter that settles most holes at once, as a share of the shift that matters
        settles: f64 = "settles", Ratio, over(0.0, 1.0), [practice(0.2)];
        /// Standard uncertainties by which a drop must exceed the noise to be seen at all
        noise: f64 = "noise", Ratio, between(1.0, 100.0), [practice(3.0)];
        /// Standard uncertainty, as a share of the shift that matters, beyond which closing tells only gross shifts of a hole
        coarse: f64 = "coarse", Ratio, over(0.0, 1.0),
            [practice_of(1.0 / 3.0, "a sound hole would then be left open as often as not")];
        /// Standard deviations by which a hole draws less than expected that are no chance
        stands_out: f64 = "stands_out", Ratio, between(1.0, 100.0), [practice_of(3.0, "one sound hole in 700, normal distribution")];
        /// So many times less known than stated is what the unit's filter, exhaust and fan do to a drop, which is no hole's own
        freely: f64 = "freely", Ratio, between(1.0, 100.0), [practice(5.0)];
    }
    /// How often the outgoing unit is asked, and how the flows are held against its.
    AsFoundRules in "advanced.as_found" {
        /// How often a unit that may be dead is asked who it is before its items are not captured ...
        tries: u32 = "tries", Count, between(1.0, 100.0), [practice(3.0)];
        /// ... and how long apart
        apart_s: f64 = "apart", Time, between(0.0, 600.0), [practice(3.0)];
        /// What the pattern between the pipes leaves unexplained of a change by another fan, as a share of that change
        pattern: f64 = "pattern", Ratio, between(0.0, 1.0), [practice_of(0.1, "found by comparing with whole solves")];
        /// Standard uncertainty, as a share, of what shifts the flows of all pipes (or all holes of a pipe) alike: of it nothing is known
        alike: f64 = "alike", Ratio, between(0.1, 10.0), [practice_of(1.0, "taken as unknown")];
    }
    /// How a baseline that a service visit keeps is judged.
    BaselineRules in "advanced.baseline" {
        /// How far today's flow may be off a baseline that is kept, as a share of the unit's band around it: what is left of the band must still tell a defect
        kept_off: Limit = "kept_off", Ratio, over(0.0, 1.0),
            [practice_of(0.5, "flow at a service visit against the baseline that is kept, as a share of the unit's band")];
    }
    /// How a release of smoke is done and read.
    SmokeRules in "advanced.smoke" {
        /// Readings gathered before a release
        before_s: f64 = "before", Time, between(1.0, 3600.0), [practice(30.0)];
        /// How often a reading that is not at rest is gathered anew before smoke is released all the same
        most_restless: u32 = "most_restless", Count, between(0.0, 1_000.0), [practice(20.0)];
        /// What came of a release is looked at this often
        look_s: f64 = "look", Time, between(1.0, 600.0), [practice(5.0)];
        /// Smoke is held to a hole until this many spreads after its first arrival have passed ...
        spreads_held: f64 = "spreads_held", Ratio, between(1.0, 100.0),
            [practice_of(4.0, "Taylor 1953, 1 - (T/2t)^2: 96 % of a laminar plateau at t = 2.5 T")];
        /// ... and so many times the unit's own lag is waited beside
        lags_held: f64 = "lags_held", Ratio, between(1.0, 100.0), [practice_of(3.0, "a first-order lag is then through by 95 %")];
        /// Releases that may be set aside at one place before it stays open
        most_set_aside: u8 = "most_set_aside", Count, between(0.0, 20.0), [practice(3.0)];
        /// Smoke is waited for up to this many times as long as predicted ...
        waits_times: f64 = "waits_times", Ratio, between(1.0, 100.0), [practice(4.0)];
        /// ... the length of the release, and this time more
        waits_more_s: f64 = "waits_more", Time, between(0.0, 3600.0), [practice(30.0)];
        /// Smallest rise that counts, in standard deviations of the reading at rest
        least_rise: f64 = "least_rise", Ratio, between(1.0, 100.0), [practice(6.0)];
        /// Shortest rise that counts
        least_duration_s: f64 = "least_duration", Time, over(0.0, 600.0), [practice(3.0)];
        /// Fewest readings before a release
        least_before: u32 = "least_before", Count, between(2.0, 10_000.0), [practice(30.0)];
        /// Longest time between readings that is no gap
        longest_gap_s: f64 = "longest_gap", Time, over(0.0, 60.0), [practice(3.0)];
        /// Risk of taking noise for smoke, over all looks of a run
        false_alarm: f64 = "false_alarm", Ratio, over(0.0, 0.5), [practice(0.001)];
    }
    /// How closely an alarm level must follow its settings.
    AlarmRules in "advanced.alarms" {
        /// Share of a threshold by which a reading may be off what the unit compares with it
        threshold: f64 = "threshold", Ratio, between(0.0, 1.0), [practice(0.1)];
        /// A level may rise so much sooner or later than its delay says
        time_s: f64 = "time", Time, over(0.0, 600.0), [practice(4.0)];
        /// A level is left lower than it is reached by at most this share of its threshold
        hysteresis: f64 = "hysteresis", Ratio, between(0.0, 1.0), [practice_of(0.25, "allowed by the protocol")];
        /// A level follows a reading that has fallen within
        follows_s: f64 = "follows", Time, over(0.0, 60.0), [practice_of(2.0, "allowed by the protocol")];
        /// Levels are looked at this often while one may still rise
        look_s: f64 = "look", Time, between(1.0, 600.0), [practice(2.0)];
    }
    /// How inlets without a pipe are read.
    InletRules in "advanced.inlets" {
        /// How long they are read
        read_s: f64 = "read", Time, between(1.0, 3600.0), [practice(20.0)];
        /// Fewest readings that tell a flow
        least_readings: u32 = "least_readings", Count, between(3.0, 10_000.0), [practice(5.0)];
        /// Standard uncertainties by which the flow read must be clear of its limit
        widths: f64 = "widths", Ratio, between(1.0, 100.0), [practice(2.0)];
        /// Standard uncertainty, as a share, of how much smoke thickens by the told flows when another pipe's inlet is shut
        thickens_u: f64 = "thickens_u", Ratio, over(0.0, 1.0), [practice(0.01)];
        /// A pipe without which smoke thickens by less than this factor is not shut for that
        thickens_least: f64 = "thickens_least", Ratio, between(1.001, 10.0), [practice(1.05)];
        /// Readings of smoke that is held hang together for about so long
        together_s: f64 = "together", Time, over(0.0, 600.0), [practice(5.0)];
        /// Where the fan's curve is not known, a flow that is known to this share and does not rise beside covered inlets shows that no air enters there
        no_rise: f64 = "no_rise", Ratio, over(0.0, 1.0), [practice(0.01)];
        /// The flow of a unit's only pipe is averaged at most so many times as long as usual while covers are put on and taken off
        longer: f64 = "longer", Ratio, between(1.0, 60.0), [practice(5.0)];
        /// They are put on so many times at most where one look leaves it open
        looks: u32 = "looks", Count, between(1.0, 10.0), [practice(2.0)];
    }
    /// How clear air is shown.
    PurgeRules in "advanced.purge" {
        /// A reset clears the latched alarms within
        latches_reset_s: f64 = "latches_reset", Time, over(0.0, 3600.0), [practice(30.0)];
        /// A fresh reading is waited for before outputs are given back
        fresh_s: f64 = "fresh", Time, over(0.0, 600.0), [practice(5.0)];
        /// What was asked of the unit when outputs are given back shows in its readings within
        shows_s: f64 = "shows", Time, over(0.0, 60.0), [practice(3.0)];
        /// Readings are started, where none came, for this long before outputs are given back
        look_s: f64 = "look", Time, over(0.0, 600.0), [practice(10.0)];
    }
    /// How the unit's own supervision is tried.
    SuperviseRules in "advanced.supervise" {
        /// An inlet is shut this often at most where nobody watched meanwhile
        most_tries: u32 = "most_tries", Count, between(1.0, 20.0), [practice(3.0)];
        /// Waited so much longer than the limit, to tell a late fault from none
        more_s: f64 = "more", Time, between(0.0, 3600.0), [practice(60.0)];
        /// The flow fault may come so much sooner or later than its delay says
        delay_within_s: f64 = "delay_within", Time, over(0.0, 600.0), [practice(15.0)];
        /// The flow fault of a shut inlet stands for at least this long
        stands_s: f64 = "stands", Time, between(0.0, 600.0), [practice(10.0)];
        /// A shut inlet reads at most this share of its flow
        remains: f64 = "remains", Ratio, between(0.0, 1.0), [practice(0.05)];
        /// An inlet whose flow changed by less than this share of the band is no reason for the unit to name it
        named: f64 = "named", Ratio, between(0.0, 1.0), [practice(0.5)];
    }
    /// How voltage and current are measured.
    SupplyRules in "advanced.supply" {
        /// How long voltage and current are averaged
        average_s: f64 = "average", Time, between(1.0, 3600.0), [practice(10.0)];
        /// A load settles within
        settles_s: f64 = "settles", Time, over(0.0, 600.0), [practice(3.0)];
        /// Fewest readings of voltage or current that make a mean
        least_readings: u32 = "least_readings", Count, between(1.0, 10_000.0), [practice(3.0)];
        /// How often a supply is switched off again where it was on when the answer came
        most_again: u32 = "most_again", Count, between(1.0, 20.0), [practice(3.0)];
    }
    /// How outputs and the inhibit are tried.
    OutputRules in "advanced.outputs" {
        /// A panel shows an input within
        panel_s: f64 = "panel", Time, over(0.0, 600.0), [practice(3.0)];
        /// The unit's own readings show what was asked of it within
        shown_s: f64 = "shown", Time, over(0.0, 600.0), [practice(5.0)];
        /// How often an output is operated anew where it was at rest when the answer came
        most_again: u32 = "most_again", Count, between(1.0, 20.0), [practice(5.0)];
        /// The lease of the inhibit that is let lapse
        lapsing_s: f64 = "lapsing", Time, between(1.0, 600.0), [practice(5.0)];
        /// The fault of a lapsed inhibit is shown, and is gone when it is regained, within
        lapse_shown_s: f64 = "lapse_shown", Time, over(0.0, 3600.0), [practice(30.0)];
    }
    /// How the outputs are watched while they are inhibited.
    InhibitRules in "advanced.inhibit" {
        /// Readings taken so soon after the inhibit was granted may still be of before
        takes_hold_s: f64 = "takes_hold", Time, between(0.0, 60.0), [practice(3.0)];
        /// A contradiction in so many readings in a row is no reading caught between two states
        in_a_row: u32 = "in_a_row", Count, between(1.0, 100.0), [practice(2.0)];
        /// An output that is driven here goes back by itself within
        driven_most_s: f64 = "driven_most", Time, over(0.0, 600.0), [practice_of(70.0, "a drive runs 60 s")];
        /// An output that was driven here is at rest, after it was let go, within
        driven_after_s: f64 = "driven_after", Time, over(0.0, 600.0), [practice(5.0)];
    }
    /// Whether the unit's readings can be relied upon as such.
    ReadingRules in "advanced.readings" {
        /// The latest reading tells how things stand now for this long
        present_s: f64 = "present", Time, over(0.0, 60.0), [practice(3.0)];
        /// A stage ends when no reading could be used for this long
        unusable_s: f64 = "unusable", Time, between(5.0, 3600.0), [practice(45.0)];
        /// Readings are counted over this long
        counted_s: f64 = "counted", Time, between(5.0, 3600.0), [practice(45.0)];
        /// Share of the readings asked for that may be missing untold
        lost: f64 = "lost", Ratio, between(0.0, 1.0), [practice(0.05)];
        /// Flow readings answer a hole that is closed or opened within
        answers_s: f64 = "answers", Time, over(0.0, 30.0), [practice_of(6.0, "smoothing and dead time that the protocol permits")];
        /// A sensor that moved up and down does not stand still for longer than this
        still_s: f64 = "still", Time, between(5.0, 3600.0), [practice(45.0)];
        /// A later answer is clear when its likelihood is greater by so much (twice its logarithm)
        clear: f64 = "clear", Ratio, between(1.0, 10_000.0), [practice(20.0)];
        /// So many stamps that do not rise are no chance
        stamps_fallen: u32 = "stamps_fallen", Count, between(1.0, 1_000.0), [practice(2.0)];
        /// A clock that ran away from the log's this often drifts
        clock_jumps: u32 = "clock_jumps", Count, between(1.0, 1_000.0), [practice(3.0)];
    }
    /// How settings are loaded.
    LoadRules in "advanced.load" {
        /// How often a load that was cut off is taken up again
        most_tries: u32 = "most_tries", Count, between(1.0, 100.0), [practice(8.0)];
        /// A clock that was set later than this after it was read is set anew
        at_once_s: f64 = "at_once", Time, over(0.0, 60.0), [practice(1.0)];
        /// What is asked before the unit is given back is given up after
        soon_s: f64 = "soon", Time, over(0.0, 3600.0), [practice(30.0)];
    }
    /// How the unit's clock is tied to the log's.
    ClockRules in "advanced.clock" {
        /// Largest drift of the unit's clock, as a share
        most_drift: f64 = "most_drift", Ratio, over(0.0, 0.1), [practice(500.0e-6)];
        /// Longest exchange that still ties the clocks
        longest_delay_s: f64 = "longest_delay", Time, over(0.0, 60.0), [practice(1.0)];
        /// Step of the unit's clock
        resolution_s: f64 = "resolution", Time, between(0.0, 60.0), [practice(0.001)];
        /// An exchange ties the clocks for this long
        reach_s: f64 = "reach", Time, over(0.0, 3600.0), [practice(120.0)];
        /// A reading's lateness counts beyond this many standard uncertainties of the tie that maps it
        widths: f64 = "widths", Ratio, between(1.0, 100.0), [practice(4.0)];
        /// Readings looked at before the tie is judged by their lateness
        enough: u32 = "enough", Count, between(1.0, 10_000.0), [practice(20.0)];
        /// No reading on an honest line takes longer than this every time
        most_late_s: f64 = "most_late", Time, over(0.0, 600.0), [practice(1.0)];
    }
    /// How the file of a logger is tied to the log's clock, and held against what a person marked.
    LoggerRules in "advanced.logger" {
        /// Standard uncertainty of a key that is pressed when a clock shows what was typed
        mark_u_s: f64 = "mark_u", Time, over(0.0, 10.0), [practice(0.3)];
        /// Largest drift of a logger's clock, as a share
        most_drift: f64 = "most_drift", Ratio, over(0.0, 0.1), [practice(500.0e-6)];
        /// A logger's clock counts so long before its first mark and after its last
        reach_s: f64 = "reach", Time, over(0.0, 3600.0), [practice(120.0)];
        /// A mark of a logger's clock, or its file, is asked for so many times
        tries: u32 = "tries", Count, between(1.0, 20.0), [practice(4.0)];
        /// Where no date was typed, a file whose clock is further than this from this computer's is one of another day
        another_day_s: f64 = "another_day", Time, over(0.0, 86_400.0), [practice(43_200.0)];
        /// Standard uncertainties by which a file and what a person marked may differ
        widths: f64 = "widths", Ratio, between(1.0, 100.0), [practice(3.0)];
    }
    /// How well the model of the air is known, as relative standard uncertainties.
    ModelRules in "advanced.model" {
        /// Density of the air
        density: f64 = "density", Ratio, between(0.0, 1.0), [practice(0.005)];
        /// Viscosity of the air
        viscosity: f64 = "viscosity", Ratio, between(0.0, 1.0), [practice(0.01)];
        /// Friction factor, whatever the law
        friction: f64 = "friction", Ratio, between(0.0, 1.0),
            [practice_of(0.03, "how well a law fits smooth pipe away from the transition between laminar and turbulent")];
        /// How much is counted of what four friction laws differ by, each as likely as the others
        friction_form: f64 = "friction_form", Ratio, between(0.0, 10.0), [practice(1.0)];
        /// Farthest that the fan may be predicted to work beyond the flows of its curve, as a share of what they span
        fan_beyond: f64 = "fan_beyond", Ratio, between(0.0, 10.0),
            [practice_of(0.1, "farther out the pressure is a guess, and no flow is proven by it")];
        /// Losses inside the unit
        unit_loss: f64 = "unit_loss", Ratio, between(0.0, 1.0), [practice(0.05)];
        /// Suction of the fan, or at an inlet where it was measured
        suction: f64 = "suction", Ratio, between(0.0, 1.0), [practice(0.02)];
        /// Volume inside the unit
        unit_volume: f64 = "unit_volume", Ratio, between(0.0, 1.0), [practice(0.1)];
        /// Monte Carlo draws of the prediction
        draws: u32 = "draws", Count, between(100.0, 1_000_000.0), [practice(4000.0)];
        /// Least flow of a pipe's weakest hole against its strongest, in the review of a design
        weakest_hole: f64 = "weakest_hole", Ratio, between(0.0, 1.0),
            [practice_of(0.5, "a pipe whose holes differ by more protects its far rooms less than half as well as its near ones")];
    }
}

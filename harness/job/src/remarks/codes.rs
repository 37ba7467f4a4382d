//! Every kind of remark on a job's files: its stable code, how much it weighs, what follows from it and what to do.
//!
//! Not here: how a remark is found.
use serde::Serialize;

/// How much a remark weighs.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Weight {
    /// The job would be judged by what is not so: it is not begun.
    Wrong,
    /// The job can't end in a pass, or is likely not to.
    Open,
    /// Deserves a second look.
    Look,
}
impl Weight {
    /// In plain words.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Wrong => "wrong",
            Self::Open => "open",
            Self::Look => "look at",
        }
    }
}

macro_rules! codes {
    ($($code:ident = $name:literal, $weight:ident: $follows:literal, $remedy:literal;)*) => {
        /// The stable name of a kind of remark: what programs go by.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub enum Code {
            $($code,)*
        }
        impl Code {
            /// All, in the order in which they are told.
            pub const ALL: &[Self] = &[$(Self::$code,)*];
            /// The name in files and on screens.
            pub const fn name(self) -> &'static str {
                match self { $(Self::$code => $name,)* }
            }
            /// How much it weighs.
            pub const fn weight(self) -> Weight {
                match self { $(Self::$code => Weight::$weight,)* }
            }
            /// What follows if nothing is done.
            pub const fn follows(self) -> &'static str {
                match self { $(Self::$code => $follows,)* }
            }
            /// What to do.
            pub const fn remedy(self) -> &'static str {
                match self { $(Self::$code => $remedy,)* }
            }
        }
    };
}

codes! {
    FileUnreadable = "file-unreadable", Wrong: "the job can't be begun", "correct the file at the place that is named";
    PipeworkNameUntouched = "pipework-name-untouched", Wrong: "the record names no site", "write the name of the site or drawing";
    FanUntouched = "fan-untouched", Wrong: "every flow is judged against an invented fan", "name the unit's model, or give the fan curve of its data sheet";
    PipesUntouched = "pipes-untouched", Wrong: "the site's pipes are judged against an example", "describe the pipes as they are built";
    SiteUntouched = "site-untouched", Wrong: "the record names no site", "write the site and zone";
    TechnicianUntouched = "technician-untouched", Wrong: "the record names nobody", "write the name of who does the job";
    HolesClose = "holes-close", Open: "holes so close draw as one and can't be told apart", "correct the distance and its unit";
    HoleSize = "hole-size", Open: "the predicted flows are those of no usual pipe", "correct the diameter and its unit: sampling holes are 1 mm to 10 mm wide";
    BoreSize = "bore-size", Open: "the predicted flows are those of no usual pipe", "correct the inside diameter and its unit: pipes have 10 mm to 60 mm";
    PipeLong = "pipe-long", Open: "the predicted transport times are those of no usual pipe", "correct the lengths and their units";
    PipeShort = "pipe-short", Open: "the predicted transport times are those of no usual pipe", "correct the lengths and their units";
    HeightJump = "height-jump", Wrong: "the pressure of the air column is wrong", "correct the rise: it can't be more than the length of its pipe, and heights lie within 50 m of the unit";
    EndMissing = "end-missing", Open: "a pipe without a described end is predicted as closed there", "describe the end: a cap with its hole, a blind cap, or an open end";
    EndOpen = "end-open", Look: "an open end takes most of the pipe's air", "describe its cap, unless it is open by design";
    InletsDiffer = "inlets-differ", Wrong: "pipes are judged at inlets that the model does not have", "write the number of inlets of the unit that is ordered";
    FanDiffers = "fan-differs", Open: "flows are judged against another fan than the model's", "take the fan from the description of the model, or correct the description";
    FanSpeedDiffers = "fan-speed-differs", Open: "flows are judged at another speed of the fan than the one that is loaded", "make the fan's setting and the speed in the pipework agree";
    LossesDiffer = "losses-differ", Open: "flows are judged against another air path than the model's", "take the losses from the description of the model, or correct the description";
    VolumesDiffer = "volumes-differ", Open: "transport times are judged against another air path than the model's", "take the volumes from the description of the model, or correct the description";
    LagDiffers = "lag-differs", Open: "transport times are judged against another sensor than the model's", "take the lag from the description of the model, or correct the description";
    AirPathUnknown = "air-path-unknown", Look: "nobody checks the curve, losses, volumes and lag that were copied by hand", "compare them with the data sheet, and add [air] to the description";
    ModelUnnamed = "model-unnamed", Open: "any unit is taken for the one that was ordered", "write the model under [replacement]";
    ModelDiffers = "model-differs", Wrong: "the unit is read by the description of another model", "correct the model, or put the description of this model in";
    DescriptionMissing = "description-missing", Open: "nobody knows what the settings mean; what hangs on it ends undecided", "put the description of the model in, or run `plumeline carry`";
    SettingsMissing = "settings-missing", Open: "nothing is loaded, and the job ends undecided", "carry the old settings over with `plumeline carry`, or put the file in";
    SettingUnknown = "setting-unknown", Open: "the unit refuses the load", "take the item out, or correct its key";
    SettingMissing = "setting-missing", Open: "the unit keeps what it was delivered with", "add the item";
    SettingUnloadable = "setting-unloadable", Open: "the unit refuses the load", "give a value that the model takes";
    LevelsNotRising = "levels-not-rising", Open: "a higher level is told before a lower one", "let the thresholds rise from level to level";
    ThresholdsLearnt = "thresholds-learnt", Open: "the unit sets its own thresholds, so that smoke and purge can't be judged by them", "switch the learning off";
    FlowBandWide = "flow-band-wide", Open: "the unit shows a flow fault later than the limit asks for", "narrow the band in the settings, or set the limit with its source";
    InletUseDiffers = "inlet-use-differs", Open: "the unit does not monitor the pipes that are there", "make the inlets in use agree with the pipes";
    WiringMissing = "wiring-missing", Open: "nothing says which wire is which, so that outputs are held against nothing", "write a line under [[outputs.wire]] for each output in use (wiring-sheet.txt has them)";
    WireOutputUnknown = "wire-output-unknown", Wrong: "a wire is asked for that can't be there", "correct the output's number";
    WireFunctionDiffers = "wire-function-differs", Open: "the output is found to follow something else than its wire stands for", "correct the wiring sheet or the settings";
    WireInputUnknown = "wire-input-unknown", Wrong: "the reaction is waited for at an input that is not there", "correct the input's number";
    WirePanelTwice = "wire-panel-twice", Look: "the question at the panel can't tell two outputs apart", "name each input of the panel as it is marked";
    OutputUnwired = "output-unwired", Open: "an output in use is not on the wiring sheet", "add its line, or set the output to nothing";
    StageLeftOut = "stage-left-out", Open: "the job can't end in a pass", "put the stage back, with the policy \"stop\" or \"go-on\"";
    SmokePlaceMissing = "smoke-place-missing", Open: "the pipe's transport time is not shown", "name the pipe's farthest hole, or write at = \"farthest\"";
    SmokeNotFarthest = "smoke-not-farthest", Open: "the time of the pipe's far end is not shown", "name the farthest hole, or write at = \"farthest\"";
    SmokeOutOfReach = "smoke-out-of-reach", Open: "nobody can release smoke there", "name a hole in reach as well, and bring a pole for this one";
    HoleUnproven = "hole-unproven", Open: "nothing shows that the hole draws", "let it be closed in turn, or name it under smoke.presence";
    BatteryMissing = "battery-missing", Open: "the capacity of the battery ends undecided", "write the rated capacity of the battery that is fitted";
    ManometerMissing = "manometer-missing", Open: "suctions are asked for that nothing can be read off", "name the manometer under [[instruments]], with its certificate";
    RiskHigh = "risk-high", Look: "a pass is more often wrong than is usual", "accept a risk of 10 % at most";
    RiskTiny = "risk-tiny", Open: "hardly anything can be decided with so small a risk", "accept a risk of 0.1 % at least";
    LimitLax = "limit-lax", Look: "the limit lets pass what no usual limit lets pass", "correct the limit, or keep it with its source";
    PortShowsLess = "port-shows-less", Open: "the stage ends undecided", "use a port through which the unit answers, or accept that it stays open";
    NotShownUnnamed = "not-shown-unnamed", Open: "the job ends undecided for want of it", "decide whether the job can go without it; if so, name it under not_shown";
    NotShownNeedless = "not-shown-needless", Look: "the job goes without what this unit does show", "take the name out of not_shown";
    NothingArrives = "nothing-arrives", Open: "the hole does not draw by prediction", "correct the pipework, or the pressures outside its holes";
    TransportLate = "transport-late", Open: "smoke arrives later than the limit by prediction", "correct the pipework or the limit before the site goes out of service";
    TransportNear = "transport-near", Open: "the time is too near to its limit to be decided", "state tolerances that were measured, or another limit with its source";
    SuctionLow = "suction-low", Open: "the last hole has less suction than the limit by prediction", "correct the pipework, the fan or the limit before the site goes out of service";
    HoleWeak = "hole-weak", Look: "the far rooms are protected less than half as well as the near ones", "check diameters and distances against the drawing";
    FanBeyondCurve = "fan-beyond-curve", Open: "how hard the fan pulls there is a guess, and the job ends undecided", "take the fan curve from the description of the model, or give its points up to the flow of this pipework";
    PredictionWarns = "prediction-warns", Look: "the prediction is less sure there than elsewhere; the report says so too", "see `plumeline predict`, which says the same with its figures";
    RehearsalFails = "rehearsal-fails", Open: "a sound site would fail by these limits", "look at what failed, and correct the limits or the pipework";
    RehearsalUndecided = "rehearsal-undecided", Open: "a sound site may end undecided by these limits", "look at what stays undecided: longer averages, more runs, or wider limits with their source";
    RehearsalImpossible = "rehearsal-impossible", Look: "nobody knows how a sound site would end", "describe the unit so that it can be simulated";
    TooLong = "too-long", Open: "the zone is out of service for longer than the limit", "shorten averages and runs, or arrange other measures from the start";
}
impl Serialize for Code {
    fn serialize<S: serde::Serializer>(&self, s: S) -> Result<S::Ok, S::Error> {
        s.serialize_str(self.name())
    }
}

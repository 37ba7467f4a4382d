"""The catalogue of lies and failures: one at a time, by name. Where the unit acts on one, it asks for it by that name."""

FAULTS = {
    # does it alarm
    "no-alarm": "no level is ever reached",
    "lowest-level-dead": "level 1 is never reached",
    "highest-level-dead": "level 2 is never reached",
    "latch-not-kept": "a level that is set to latch does not",
    "alarm-late": "every level comes 60 s later than its delay says",
    "levels-swapped": "level 2 is told as level 1 and level 1 as level 2",
    "sensor-deaf": "the obscuration sensor shows a hundredth of what there is",
    # does its inhibit hold
    "inhibit-not-held": "outputs that follow alarms operate under inhibit",
    "inhibit-not-told": "the condition 'inhibited' is never shown",
    "lapse-silent": "a lapsed lease raises no fault",
    "lapse-gives-back": "a lapsed lease gives the outputs back at once",
    # air that enters anywhere else
    "leak-unused-10": "an unused inlet lets in about 10 % of the air, and shows no flow",
    "leak-unused-40": "an unused inlet lets in about 40 % of the air, and shows no flow",
    "leak-unused-told": "an unused inlet lets in about 40 % of the air, and shows it",
    # the baseline is what was measured
    "baseline-high-5": "the baseline is 5 % above what was measured",
    "baseline-low-10": "the baseline is 10 % below what was measured",
    "baseline-old": "the baseline is number 1 again, with what the bench gave",
    # states that the unit itself reports
    "learning-on": "thresholds are being learnt",
    "fan-slow": "the fan runs at 80 % and says that it is not at speed",
    "fan-slow-hidden": "the fan runs at 90 % and shows the speed that was set",
    "filter-due": "the filter is due",
    # supervision at the right place
    "fault-names-other": "a flow fault names another inlet",
    "fault-names-all": "a flow fault names every inlet",
    "flow-fault-never": "no flow fault is ever raised",
    "flow-fault-stays": "a flow fault never goes by itself",
    # readings that are not of now
    "stale-20": "readings are of 20 s ago, under the stamp of now",
    "frozen": "flow readings stand still from the second start on",
    "smoothed-60": "flow readings are smoothed over 60 s",
    "clock-drifts": "the unit's clock runs 1 % fast",
    "stamps-repeat": "every second reading has the stamp of the one before",
    # promises broken
    "restart-not-made": "a restart is answered and not made",
    "boot-id-constant": "the boot id is the same after every start",
    "old-threshold": "acts on the alarm thresholds of before the load",
    "old-delay": "acts on the flow-fault delay of before the load",
    "old-fan-step": "runs the fan at the step of before the load",
    "settings-lost": "settings are the factory's after a restart",
    "revision-stuck": "the revision stays when settings change",
    "drives-other-output": "drive operates the next output",
    "drive-stays": "a driven output does not go back",
    "mains-loss-hidden": "a missing mains supply raises no fault",
}


class Lies:
    """The fault that is in force, if any: `lies("name")`."""

    def __init__(self, name=None):
        if name is not None and name not in FAULTS:
            raise SystemExit(f"no fault {name}; there are: {', '.join(FAULTS)}")
        self.name = name

    def __call__(self, name):
        assert name in FAULTS, name
        return self.name == name

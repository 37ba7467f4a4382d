//! Whether an instrument's calibration holds on the day of the job.
const RENEW: &str = "measure again with an instrument whose calibration holds; or have this one calibrated, and state its dates";
facts! {
    in_date(instrument, calibrated, due) = "instrument.in-date", Pass,
        "{instrument}: calibrated on {calibrated}, due on {due} (as the plan states)", by Word;
    overdue(instrument, due) = "instrument.overdue", Undecided,
        "{instrument}: its calibration was due on {due}; how sure its numbers are is not known", next RENEW, by Word;
    overdue_allowed(instrument, due) = "instrument.overdue-allowed", Pass,
        "{instrument}: its calibration was due on {due}, and the plan goes without it by name", by Word;
    calibrated_later(instrument, calibrated) = "instrument.calibrated-later", Undecided,
        "{instrument}: it was calibrated on {calibrated}, after it was used here", next RENEW, by Word;
    date_unknown(instrument, due) = "instrument.date-unknown", Undecided,
        "{instrument}: its calibration is due on {due}, and which day it was used on is not known",
        next "set this computer's clock right, and measure again", by Word;
}

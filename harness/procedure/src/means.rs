//! By which means each finding was shown: told by the unit, read by a person, or said by a person with nothing read.
//!
//! A finding is worth no more than the weakest thing that it needs. Not here: what was found.
use crate::{
    facts::{By, Known},
    outcome::Finding,
};
use core::time::Duration;
use plumeline_detector::{Request, ask::Look, driver::Means};

/// The means behind a finding. `of` tells by which means the unit answers a request.
pub(crate) fn means(f: &Finding, of: impl Fn(&Request) -> Means) -> Means {
    match Known::find(f.code.as_str()).and_then(|known| known.by) {
        Some(By::Word) => return Means::Attested,
        Some(By::Eye) => return Means::Person,
        // What the panel shows, a person sees, unless an input of the unit tells it.
        Some(By::Panel) if f.told.get("by").is_none_or(|by| !by.starts_with("input")) => return Means::Person,
        Some(By::Panel) | None => {}
    }
    // What was read off an instrument, the unit did not tell.
    if f.measured.as_ref().is_some_and(|m| m.by.is_some()) {
        return Means::Person;
    }
    let topic = f.code.as_str().split('.').next().unwrap_or_default();
    let look = |look| Request::ReadOnce { look };
    // Levels are seen to act on smoke: both are needed.
    if matches!(topic, "purge" | "alarms") {
        return of(&look(Look::Smoke)).max(of(&look(Look::State)));
    }
    of(&match topic {
        // What is read anew at the end is read as it was before.
        "last-look" if f.code.as_str().starts_with("last-look.baseline") => Request::ReadBaseline,
        "last-look" if f.code.as_str().starts_with("last-look.settings") => Request::ReadSettings,
        "unit" | "bench" => Request::Identify,
        "load" | "held" => Request::ReadSettings,
        "clock" => Request::TellTime,
        "inhibit" => Request::Inhibit { lease: Duration::ZERO },
        "baseline" => Request::ReadBaseline,
        "outputs" | "supply" | "states" | "supervise" | "restore" => look(Look::State),
        "smoke" | "presence" => look(Look::Smoke),
        _ => look(Look::Flows),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{
        facts::{Fact, flow, isolate, load, outputs, supply},
        outcome::{StageKind, Subject},
        prompt::Supply,
    };

    #[test]
    fn nothing_said_counts_as_read_and_nothing_read_as_measured() {
        let by = |fact: Fact, unit: Means| means(&Finding::of(StageKind::Load, Subject::Zone, fact), |_| unit);
        for unit in [Means::Protocol, Means::Person] {
            assert_eq!(by(isolate::zone_isolated(), unit), Means::Attested);
            assert_eq!(by(supply::loss_shown(Supply::Mains), unit), Means::Person);
            assert_eq!(by(outputs::operates("fault", outputs::By::Operator), unit), Means::Person);
            assert_eq!(by(outputs::operates("fault", outputs::By::Input(1)), unit), unit);
            assert_eq!(by(load::read_back(3), unit), unit);
            assert_eq!(by(flow::steady(), unit), unit);
        }
    }
}

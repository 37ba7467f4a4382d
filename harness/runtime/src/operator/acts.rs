//! What a prompt means at a simulated site: the commands of its control channel, and the answer that follows.
use super::Site;
use crate::failure::Failure;
use plumeline_base::{Instant, input::Answer};
use plumeline_procedure::{Act, plan::HoleRef};
use serde::Deserialize;
use serde_json::{Value, json};

/// How thick the smoke is that an unattended operator holds to a hole, %/m: a dense plume from a hand-held source
/// (common practice, no source).
const SMOKE_PERCENT_PER_M: f64 = 40.0;
/// For how long at most, s: it is held there until it is to be stopped.
const SMOKE_S: f64 = 1200.0;

/// What the site control answers.
#[derive(Deserialize)]
struct Reply {
    ok: bool,
    #[serde(default)]
    cause: String,
    #[serde(default)]
    panel: Option<Panel>,
    #[serde(default)]
    display: Option<Shown>,
}
/// The panel's inputs, by the output of the unit that each is wired to, output 1 first; and which is the fault's.
#[derive(Deserialize)]
struct Panel {
    inputs: Vec<bool>,
    /// What came up since it was last looked at. A panel that keeps what it was told until it is reset tells it by `inputs`.
    #[serde(default)]
    came_up: Option<Vec<bool>>,
    #[serde(default = "usual_fault_wire")]
    fault_wire: usize,
    #[serde(default)]
    fault: Option<bool>,
}
/// Output 1 is the fault's, where the site doesn't say which.
fn usual_fault_wire() -> usize {
    1
}

/// What a unit's display and lamps show, as far as a moment is marked by it.
#[derive(Deserialize, Default)]
#[serde(default)]
struct Shown {
    levels: Vec<u8>,
    flow_low: Vec<u8>,
    flow_high: Vec<u8>,
    faults: Vec<String>,
}

/// Whether what is watched for shows now; `None`: it is no such act.
pub(super) fn shows(now: Instant, act: &Act, site: &mut dyn Site) -> Result<Option<bool>, Failure> {
    if !matches!(act, Act::SmokeShows { .. } | Act::LevelShows { .. } | Act::FaultShows { .. } | Act::FaultGone { .. })
    {
        return Ok(None);
    }
    let Some(shown) = ask(now, site, &json!({ "do": "display" }))?.display else { return Ok(Some(false)) };
    let flow_fault = shown.faults.iter().any(|f| f == "flow");
    Ok(Some(match act {
        // Where a reading counts, whoever reads the display looks at that.
        Act::SmokeShows { .. } => !shown.levels.is_empty(),
        Act::LevelShows { level } => shown.levels.contains(level),
        Act::FaultGone { .. } => !flow_fault,
        _ => flow_fault || !(shown.flow_low.is_empty() && shown.flow_high.is_empty()),
    }))
}

/// Does at the site what the prompt asks for, and gives the answer.
pub(super) fn perform(now: Instant, act: &Act, site: &mut dyn Site) -> Result<Answer, Failure> {
    let hole = |what: &str, h: &HoleRef| json!({ "do": what, "pipe": h.inlet, "hole": h.number });
    let command = match act {
        Act::Bench => return bench(now, site, true),
        Act::BenchDone => return bench(now, site, false),
        Act::SwitchSupply { supply, on } => json!({ "do": "power", (supply.words()): on }),
        Act::PanelFault => return panel_fault(now, site, true),
        Act::PanelFaultClear => return panel_fault(now, site, false),
        Act::Isolate => json!({ "do": "isolate" }),
        Act::Restore => json!({ "do": "restore" }),
        Act::Swap => json!({ "do": "swap" }),
        Act::CloseHole(h) => hole("close", h),
        Act::OpenHole(h) => hole("open", h),
        Act::CloseHoles { inlet, holes } => return each_hole(now, site, "close", *inlet, holes),
        Act::OpenHoles { inlet, holes } => return each_hole(now, site, "open", *inlet, holes),
        Act::CountTape { holes, .. } => return Ok(Answer::Number(holes.len() as f64)),
        Act::OpenAlone { inlet, close, open } => {
            let closed = each_hole(now, site, "close", *inlet, close.as_slice())?;
            return if closed == Answer::Yes { each_hole(now, site, "open", *inlet, &[*open]) } else { Ok(closed) };
        }
        Act::ReleaseSmoke(h) => json!({
            "do": "smoke", "pipe": h.inlet, "hole": h.number, "obscuration": SMOKE_PERCENT_PER_M, "seconds": SMOKE_S
        }),
        Act::StopSmoke => json!({ "do": "smoke-off" }),
        Act::ShutInlet { inlet } => json!({ "do": "inlet", "inlet": inlet, "shut": true }),
        Act::RefitInlet { inlet } => json!({ "do": "inlet", "inlet": inlet, "shut": false }),
        Act::CoverInlets { inlets } => return each_inlet(now, site, inlets, true),
        Act::UncoverInlets { inlets } => return each_inlet(now, site, inlets, false),
        Act::PanelShows { output, .. } => return panel(now, site, *output, true),
        Act::PanelClear { output } => return panel(now, site, *output, false),
        Act::NothingOperated => return at_rest(now, site),
        Act::LockOff
        | Act::Tell
        | Act::Check { .. }
        | Act::Unlock
        | Act::ReleaseWent(_)
        // As the plan says.
        | Act::Decide { .. }
        | Act::LeftAlone
        | Act::InletsPlugged
        | Act::OtherMeasures => {
            return Ok(Answer::Yes);
        }
        // Watched for before, as `shows` has it.
        Act::SmokeShows { .. } | Act::LevelShows { .. } | Act::FaultShows { .. } | Act::FaultGone { .. } => {
            return Ok(Answer::Yes);
        }
        // Which of them are done is for whoever knows the exceptions.
        Act::Checks { .. }
        | Act::Override
        | Act::ReadDisplay { .. }
        | Act::Who
        | Act::ReadMeter { .. }
        | Act::LoggerTime
        | Act::GiveFile { .. } => {
            return Ok(Answer::Cannot("nobody decides this by script".into()));
        }
    };
    let reply = ask(now, site, &command)?;
    Ok(if reply.ok { Answer::Yes } else { Answer::Cannot(reply.cause) })
}

/// Yes if the panel shows the output's wire and no other, or (at rest) if it no longer shows it. The fault's wire may
/// stand for other reasons.
fn panel(now: Instant, site: &mut dyn Site, output: u8, driven: bool) -> Result<Answer, Failure> {
    let panel = match look(now, site)? {
        Ok(panel) => panel,
        Err(cannot) => return Ok(cannot),
    };
    let wire = usize::from(output).saturating_sub(1);
    let shown = panel.inputs.get(wire).copied().unwrap_or(false);
    let others = panel.inputs.iter().enumerate().any(|(i, on)| *on && i != wire && i + 1 != panel.fault_wire);
    Ok(if (driven && shown && !others) || (!driven && !shown) { Answer::Yes } else { Answer::No })
}

/// Yes if nothing but the fault's wire came up at the panel since it was last looked at.
fn at_rest(now: Instant, site: &mut dyn Site) -> Result<Answer, Failure> {
    Ok(look(now, site)?.map_or_else(
        |cannot| cannot,
        |panel| {
            let told = panel.came_up.as_ref().unwrap_or(&panel.inputs);
            let rest = told.iter().enumerate().all(|(i, on)| !on || i + 1 == panel.fault_wire);
            match rest {
                _ if told.is_empty() => Answer::Cannot("the panel tells none of its inputs".into()),
                true => Answer::Yes,
                false => Answer::No,
            }
        },
    ))
}
/// Each of these inlets shut, or opened again. What a cover is put over stays as it was below.
fn each_inlet(now: Instant, site: &mut dyn Site, inlets: &[u8], shut: bool) -> Result<Answer, Failure> {
    for inlet in inlets {
        let reply = ask(now, site, &json!({ "do": "inlet", "inlet": inlet, "shut": shut }))?;
        if !reply.ok {
            return Ok(Answer::Cannot(reply.cause));
        }
    }
    Ok(Answer::Yes)
}

/// Each of these holes of a pipe closed, or opened again.
fn each_hole(now: Instant, site: &mut dyn Site, what: &str, pipe: u8, holes: &[u32]) -> Result<Answer, Failure> {
    for hole in holes {
        let reply = ask(now, site, &json!({ "do": what, "pipe": pipe, "hole": hole }))?;
        if !reply.ok {
            return Ok(Answer::Cannot(reply.cause));
        }
    }
    Ok(Answer::Yes)
}

/// The replacement gets power where it lies, and the cable; or loses both again.
fn bench(now: Instant, site: &mut dyn Site, on: bool) -> Result<Answer, Failure> {
    let cable = if on { "replacement" } else { "outgoing" };
    for command in [
        json!({ "do": "power", "unit": "replacement", "mains": on, "battery": on }),
        json!({ "do": "cable", "unit": cable }),
    ] {
        let reply = ask(now, site, &command)?;
        if !reply.ok {
            return Ok(Answer::Cannot(reply.cause));
        }
    }
    Ok(Answer::Yes)
}
fn panel_fault(now: Instant, site: &mut dyn Site, wanted: bool) -> Result<Answer, Failure> {
    Ok(look(now, site)?.map_or_else(
        |cannot| cannot,
        |panel| match panel.fault {
            Some(fault) if fault == wanted => Answer::Yes,
            Some(_) => Answer::No,
            None => Answer::Cannot("the panel does not tell its fault".into()),
        },
    ))
}

/// The panel as it is now, or the answer where there is none to look at.
fn look(now: Instant, site: &mut dyn Site) -> Result<Result<Panel, Answer>, Failure> {
    Ok(match ask(now, site, &json!({ "do": "panel" }))? {
        Reply { ok: true, panel: Some(panel), .. } => Ok(panel),
        Reply { ok: true, .. } => Err(Answer::Cannot("the site has no panel".into())),
        Reply { cause, .. } => Err(Answer::Cannot(cause)),
    })
}

fn ask(now: Instant, site: &mut dyn Site, command: &Value) -> Result<Reply, Failure> {
    let text = site.command(now, &command.to_string())?;
    serde_json::from_str(&text).map_err(|e| {
        Failure::trouble(
            format!("site control: `{text}` is no reply ({e})"),
            "check that the address is a simulator's site control",
        )
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A site that gives this reply to everything.
    struct Says(&'static str);
    impl Site for Says {
        fn command(&mut self, _: Instant, _: &str) -> Result<String, Failure> {
            Ok(self.0.into())
        }
    }
    fn answer(act: &Act, reply: &'static str) -> Answer {
        perform(Instant::START, act, &mut Says(reply)).unwrap()
    }
    fn cannot(act: &Act, reply: &'static str) -> bool {
        matches!(answer(act, reply), Answer::Cannot(_))
    }

    #[test]
    fn a_site_of_other_hands_may_tell_less_or_more_of_its_panel() {
        let rest = r#"{"ok":true,"at_s":1,"panel":{"isolated":true,"inputs":[false,false],"fault":true,"lamp":"red"}}"#;
        assert_eq!(answer(&Act::NothingOperated, rest), Answer::Yes);
        assert_eq!(answer(&Act::PanelFault, rest), Answer::Yes);
        let fault = r#"{"ok":true,"panel":{"inputs":[true,false]}}"#;
        assert_eq!(answer(&Act::NothingOperated, fault), Answer::Yes, "output 1 is the fault's");
        assert!(cannot(&Act::PanelFault, fault));
        let other = r#"{"ok":true,"panel":{"inputs":[true,false],"fault_wire":2}}"#;
        assert_eq!(answer(&Act::NothingOperated, other), Answer::No);
        let went = r#"{"ok":true,"panel":{"inputs":[false,false],"came_up":[false,true]}}"#;
        assert_eq!(answer(&Act::NothingOperated, went), Answer::No, "it came up and went again");
    }
    #[test]
    fn what_a_panel_does_not_tell_is_not_answered() {
        for act in [Act::NothingOperated, Act::PanelFault, Act::PanelFaultClear] {
            assert!(cannot(&act, r#"{"ok":true,"panel":{"inputs":[]}}"#));
            assert!(cannot(&act, r#"{"ok":true}"#));
            assert!(cannot(&act, r#"{"ok":false,"cause":"nobody is there"}"#));
        }
        assert!(perform(Instant::START, &Act::Isolate, &mut Says("[]")).is_err());
    }
}

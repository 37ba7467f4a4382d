//! Readings off a display: flows as one small table, the smoke, the lamps, the baseline that the unit holds.
//!
//! What was typed is held against range and step of the display and against what was typed just before. Whether it fits the
//! prediction is not judged here.
use super::{
    Asked, Said, Step, Task,
    face::{FlowShown, Lamp, Scale},
    memory::{Known, Memory, Typed},
    typed::{is_slip, names, numbers},
};
use crate::{
    ask::{Look, Reply},
    driver::{About, Wants},
    vocabulary::{Baseline, Conditions, Faults, Reading, bit},
};
use alloc::{
    boxed::Box,
    format,
    string::{String, ToString},
    vec,
    vec::Vec,
};
use plumeline_base::{
    Instant,
    obscuration::{Extinction, ObscurationUnit},
};

/// The same finely resolved numbers so often in a row are asked about once (practice, no source).
const SAME_MOST: u32 = 5;
/// So many steps in a number are fine: an honest last digit moves (practice, no source).
const FINE: f64 = 200.0;
/// A slip of the fingers makes at least so great a difference, as a share of what was typed before (practice, no source).
const SLIP: f64 = 0.1;

/// What a person is asked to look at.
pub(super) fn look(look: Look, memory: &Memory) -> Result<Box<dyn Task>, String> {
    let unit = memory.at_unit()?;
    match look {
        Look::Flows => {
            let flow = unit.face.shows.flow.clone().ok_or("this model shows no flow")?;
            Ok(Box::new(Flows { flow, inlets: unit.abilities.inlets, doubted: None }))
        }
        Look::Smoke => {
            let (scale, of) = unit.face.shows.smoke.clone().ok_or("this model shows no obscuration")?;
            Ok(Box::new(Smoke { scale, of }))
        }
        Look::State if unit.face.shows.lamps.is_empty() => Err("this model shows nothing of its state".into()),
        Look::State => Ok(Box::new(Lamps { unit: unit.clone() })),
    }
}

/// The baseline that the unit holds.
pub(super) fn baseline(memory: &Memory) -> Result<Box<dyn Task>, String> {
    let unit = memory.at_unit()?;
    let flow = unit.face.shows.baseline.clone().ok_or("this model does not show its baseline")?;
    Ok(Box::new(OfBaseline { flow, inlets: unit.abilities.inlets }))
}

/// The words for the inlets of a table, and their numbers; none where one number is shown for all.
fn table(flow: &FlowShown, inlets: u8) -> (String, Vec<u8>) {
    let numbers: Vec<u8> = if flow.per_inlet { (1..=inlets).collect() } else { Vec::new() };
    let words = match numbers.as_slice() {
        [] => "all inlets together".into(),
        [one] => format!("inlet {one}"),
        many => format!("inlets {}", many.iter().map(u8::to_string).collect::<Vec<_>>().join(", ")),
    };
    (words, numbers)
}

/// Numbers of a table, each within range and on the steps.
fn read(words: &str, scale: &Scale, wanted: usize) -> Result<Vec<Option<f64>>, String> {
    let typed = numbers(words, &scale.unit, wanted)?;
    typed.iter().flatten().try_for_each(|x| scale.check(*x))?;
    Ok(typed)
}

/// The flows of a reading, m3/s: by inlet, and of all together.
fn flows(flow: &FlowShown, typed: &[Option<f64>], inlets: u8) -> (Vec<Option<f64>>, Option<f64>) {
    let m3_s = |x: &Option<f64>| x.map(|x| x * flow.m3_s);
    if flow.per_inlet || inlets == 1 && flow.meter.is_none() {
        return (typed.iter().map(m3_s).collect(), None);
    }
    (vec![None; inlets.into()], typed.first().and_then(m3_s))
}

/// The flow of each inlet.
struct Flows {
    flow: FlowShown,
    inlets: u8,
    /// What was asked about once: typed again, it is taken.
    doubted: Option<Vec<Option<f64>>>,
}
impl Flows {
    /// Why these numbers are looked at once more, beside those of before.
    fn doubt(&self, now: &[Option<f64>], last: &Typed) -> Option<String> {
        let step = self.flow.scale.step.unwrap_or(0.0);
        let pairs =
            || now.iter().zip(&last.flows).enumerate().filter_map(|(i, (now, then))| Some((i, (*now)?, (*then)?)));
        let apart = |a: f64, b: f64| (a - b).abs() > (SLIP * b.abs()).max(2.0 * step);
        let slip = |(_, now, then): &(usize, f64, f64)| apart(*now, *then) && is_swapped(*now, *then);
        if let Some((i, now, then)) = pairs().find(slip) {
            let whose = if self.flow.per_inlet { format!("inlet {}: ", i + 1) } else { String::new() };
            return Some(format!("{whose}{then} was typed before, {now} now; look again"));
        }
        let [a, b] = [now, &last.flows].map(|all| all.iter().flatten().copied().collect::<Vec<f64>>());
        let exchanged = a.len() > 1 && a.len() == b.len() && a.iter().rev().eq(b.iter()) && apart(a[0], b[0]);
        if exchanged {
            return Some("these are the numbers of before in another order; look again which inlet is which".into());
        }
        let fine = |x: &f64| step > 0.0 && x.abs() > FINE * step;
        let repeated = *now == *last.flows && last.times >= SAME_MOST && a.iter().any(fine);
        repeated.then(|| format!("the same was typed {} times in a row; look again", last.times))
    }
}
/// The digits of one are those of the other in another order.
fn is_swapped(a: f64, b: f64) -> bool {
    let (a, b) = (a.to_string(), b.to_string());
    a.len() == b.len() && is_slip(&a, &b) && a.chars().zip(b.chars()).filter(|(x, y)| x != y).count() > 1
}
impl Task for Flows {
    fn ask(&self, _: &Memory) -> Asked {
        let (words, inlets) = table(&self.flow, self.inlets);
        let (unit, meter) = (&self.flow.scale.unit, self.flow.meter.clone());
        let each = if inlets.len() > 1 { ", in this order" } else { "" };
        let text = match &meter {
            Some(meter) => format!("Flow at the unit's exhaust [{unit}], as {meter} shows it now"),
            None => format!("Flow of {words} [{unit}], as the display shows it now{each}"),
        };
        Asked { about: About::Flows { inlets, unit: unit.clone(), meter }, text, wants: Wants::Text }
    }
    fn take(&mut self, now: Instant, said: Said, memory: &mut Memory) -> Step {
        let words = match said {
            Said::Words(words) => words,
            Said::No(why) | Said::Cannot(why) => return Step::not_told(&why),
            Said::Yes => return Step::Again("the numbers have to be typed".into()),
        };
        let wanted = if self.flow.per_inlet { self.inlets.into() } else { 1 };
        let typed = match read(&words, &self.flow.scale, wanted) {
            Ok(typed) => typed,
            Err(why) => return Step::Again(why),
        };
        let doubt = memory.last.as_ref().and_then(|last| self.doubt(&typed, last));
        if let Some(why) = doubt.filter(|_| self.doubted.as_ref() != Some(&typed)) {
            self.doubted = Some(typed);
            return Step::Again(format!("{why}, and type what it shows"));
        }
        let times = match &memory.last {
            Some(last) if last.flows == typed && self.doubted.is_none() => last.times + 1,
            _ => 1,
        };
        let (flow_m3_s, flow_all_m3_s) = flows(&self.flow, &typed, self.inlets);
        memory.last = Some(Typed { at: now, flows: typed, times });
        Step::told(Reply::Reading(Reading { received: now, flow_m3_s, flow_all_m3_s, ..Reading::default() }))
    }
    fn not_before(&self, memory: &Memory) -> Option<Instant> {
        memory.last.as_ref().map(|last| last.at + self.flow.renewed)
    }
}

/// The smoke in the chamber.
struct Smoke {
    scale: Scale,
    of: ObscurationUnit,
}
impl Task for Smoke {
    fn ask(&self, _: &Memory) -> Asked {
        let unit = &self.scale.unit;
        let text = format!("Smoke [{unit}], as the display shows it now");
        Asked { about: About::Smoke { unit: unit.clone() }, text, wants: Wants::Text }
    }
    fn take(&mut self, now: Instant, said: Said, _: &mut Memory) -> Step {
        let words = match said {
            Said::Words(words) => words,
            Said::No(why) | Said::Cannot(why) => return Step::not_told(&why),
            Said::Yes => return Step::Again("the number has to be typed".into()),
        };
        let typed = match read(&words, &self.scale, 1) {
            Ok(typed) => typed,
            Err(why) => return Step::Again(why),
        };
        let extinction = typed.into_iter().map(|x| Extinction::from_stated(x?, self.of).map(|e| e.0)).collect();
        Step::told(Reply::Reading(Reading { received: now, extinction_per_m: extinction, ..Reading::default() }))
    }
}

/// What stands at the unit, by its lamps.
struct Lamps {
    unit: Known,
}
impl Lamps {
    fn reading(&self, now: Instant, lit: &[Lamp]) -> Reading {
        let all = || self.unit.face.shows.lamps.iter().map(|(_, lamp)| *lamp);
        let has_all = |n: u8, lamp: &dyn Fn(u8, Lamp) -> bool| n > 0 && (1..=n).all(|k| all().any(|l| lamp(k, l)));
        let bits = |of: &dyn Fn(Lamp) -> Option<u8>| lit.iter().filter_map(|l| of(*l)).fold(0, |bits, n| bits | bit(n));
        let any_fault = lit.iter().any(|l| matches!(l, Lamp::AnyFault | Lamp::Fault(_) | Lamp::Flow { .. }));
        let mut faults = lit.iter().fold(0, |bits, lamp| match lamp {
            Lamp::Fault(fault) => bits | fault.0,
            Lamp::Flow { .. } => bits | Faults::FLOW.0,
            _ => bits,
        });
        if any_fault && faults == 0 {
            faults = Faults::OTHER.0;
        }
        let of_flow = |side: fn(&Lamp) -> Option<u8>| {
            let told = has_all(self.unit.abilities.inlets, &|n, l| side(&l) == Some(n));
            told.then(|| bits(&|l| side(&l)))
        };
        let low = |l: &Lamp| match l {
            Lamp::Flow { inlet, low: true, .. } => Some(*inlet),
            _ => None,
        };
        let high = |l: &Lamp| match l {
            Lamp::Flow { inlet, high: true, .. } => Some(*inlet),
            _ => None,
        };
        let level = |l: Lamp| if let Lamp::Level(n) = l { Some(n) } else { None };
        let output = |l: Lamp| if let Lamp::Output(n) = l { Some(n) } else { None };
        let condition = |lamp, bit: Conditions| if lit.contains(&lamp) { bit.0 } else { 0 };
        let levels = has_all(self.unit.face.levels, &|n, l| level(l) == Some(n)).then(|| bits(&level));
        Reading {
            received: now,
            faults: all().any(|l| l == Lamp::AnyFault).then_some(Faults(faults)),
            // What is latched is lit as well.
            faults_latched: all().any(|l| l == Lamp::AnyFault).then_some(Faults(faults)),
            flow_low: of_flow(low),
            flow_high: of_flow(high),
            levels,
            // A lamp is lit for what stands and for what is latched alike.
            latched: levels,
            outputs: has_all(self.unit.face.outputs, &|n, l| output(l) == Some(n)).then(|| bits(&output)),
            conditions: all().any(|l| l == Lamp::Inhibited).then(|| {
                Conditions(
                    condition(Lamp::Inhibited, Conditions::INHIBITED) | condition(Lamp::Starting, Conditions::STARTING),
                )
            }),
            ..Reading::default()
        }
    }
    fn names(&self) -> Vec<String> {
        self.unit.face.shows.lamps.iter().map(|(name, _)| name.clone()).collect()
    }
}
impl Task for Lamps {
    fn ask(&self, _: &Memory) -> Asked {
        let lamps = self.names();
        let text = format!("Which of these does the unit show now: {}? Type their names, or: none", lamps.join(", "));
        Asked { about: About::Lamps { lamps }, text, wants: Wants::Text }
    }
    fn take(&mut self, now: Instant, said: Said, _: &mut Memory) -> Step {
        let lit = match said {
            Said::Words(words) => names(&words, &self.names()),
            Said::No(why) if why.is_empty() => Ok(Vec::new()),
            // A name that begins with "no" reads as a refusal.
            Said::No(why) | Said::Cannot(why) => match names(&format!("no {why}"), &self.names()) {
                Ok(lit) => Ok(lit),
                Err(_) => return Step::not_told(&why),
            },
            Said::Yes => Err("type the names that are lit, or: none".into()),
        };
        let lit: Vec<Lamp> = match lit {
            Ok(lit) => lit.into_iter().filter_map(|i| Some(self.unit.face.shows.lamps.get(i)?.1)).collect(),
            Err(why) => return Step::Again(why),
        };
        Step::told(Reply::Reading(self.reading(now, &lit)))
    }
}

/// The flows that the unit holds as its baseline.
struct OfBaseline {
    flow: FlowShown,
    inlets: u8,
}
impl Task for OfBaseline {
    fn ask(&self, _: &Memory) -> Asked {
        let (words, inlets) = table(&self.flow, self.inlets);
        let unit = &self.flow.scale.unit;
        let text = format!("Baseline of {words} [{unit}], as the unit shows what it holds");
        Asked { about: About::Baseline { inlets, unit: unit.clone() }, text, wants: Wants::Text }
    }
    fn take(&mut self, _: Instant, said: Said, _: &mut Memory) -> Step {
        let words = match said {
            Said::Words(words) => words,
            Said::No(why) | Said::Cannot(why) => return Step::not_told(&why),
            Said::Yes => return Step::Again("the numbers have to be typed".into()),
        };
        let wanted = if self.flow.per_inlet { self.inlets.into() } else { 1 };
        match read(&words, &self.flow.scale, wanted) {
            Ok(typed) => Step::told(Reply::Baseline(held(flows(&self.flow, &typed, self.inlets).0))),
            Err(why) => Step::Again(why),
        }
    }
}

/// A baseline of which only the flows are told.
pub(super) fn held(flow_m3_s: Vec<Option<f64>>) -> Baseline {
    Baseline {
        u_m3_s: vec![None; flow_m3_s.len()],
        flow_m3_s,
        duration_ms: 0,
        fan_rpm: None,
        settings_revision: None,
        device_us: None,
        boot_id: None,
        number: None,
    }
}

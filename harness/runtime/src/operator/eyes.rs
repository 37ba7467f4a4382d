//! A simulated person at a unit that speaks nothing: reads its label, display and lamps off the simulated site, rounded to what the
//! model's display shows, and works its keys. Now and then the person slips, by a seed of its own.
//!
//! Not here: what is asked (the driver), moments that are watched for, and everything else at a site ([`super::acts`]).
use super::Site;
use crate::failure::Failure;
use plumeline_base::{
    Instant,
    input::Answer,
    obscuration::{Extinction, ObscurationUnit},
    quantity::M3_S_PER_L_MIN,
};
use plumeline_detector::{
    Faults,
    display::{Face, FlowShown, Lamp, Takes},
    driver::{About, Wants},
    vocabulary::{FlowBasis, WHOLE_M3_S},
};
use plumeline_procedure::{Prompt, instrument::UNITS, plan::HoleRef, prompt::Metered};
use serde::Deserialize;
use serde_json::{Value, json};
use std::collections::BTreeMap;

/// What a simulated unit that shows shares holds to be the normal flow of an inlet before it has a baseline, L/min. Invented.
const NORMAL_L_MIN: f64 = 45.0;

/// What a display calls its faults.
const FAULTS: [(&str, Faults); 9] = [
    ("flow", Faults::FLOW),
    ("fan", Faults::FAN),
    ("sensor", Faults::SENSOR),
    ("supply", Faults::SUPPLY),
    ("mains", Faults::SUPPLY),
    ("battery", Faults::BATTERY),
    ("settings", Faults::SETTINGS),
    ("no baseline", Faults::NO_BASELINE),
    ("cover", Faults::COVER),
];

/// How a person slips who reads and types.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Slip {
    /// Two digits in the wrong order.
    SwappedDigits,
    /// The numbers of two inlets exchanged.
    WrongInlet,
    /// What was typed before, without a look.
    SameNumber,
}
const SLIPS: [Slip; 3] = [Slip::SwappedDigits, Slip::WrongInlet, Slip::SameNumber];

/// A person who reads units of these models.
#[derive(Default)]
pub struct Eyes {
    faces: Vec<Face>,
    /// The share of tables in which they slip, and the state of the draws.
    slips: Option<(f64, u64)>,
    /// What was typed last.
    last: Option<String>,
    /// A deed that takes its time, by the number of its prompt: it was begun.
    begun: Option<u32>,
    /// What was typed wrongly, for tests and statistics.
    slipped: u32,
    /// What the meter at the exhaust shows beside the truth.
    meter: MeterError,
}

/// How a meter at the exhaust errs.
#[derive(Clone, Copy, Debug, Default)]
pub struct MeterError {
    /// It shows so much more, as a share of the flow.
    pub gain: f64,
    /// And so many L/min more, whatever flows.
    pub offset: f64,
    /// Standard deviation of its readings, L/min.
    pub scatter: f64,
    /// State of the draws.
    pub state: u64,
}

#[derive(Deserialize)]
struct Reply {
    ok: bool,
    #[serde(default)]
    cause: String,
    #[serde(default)]
    display: Option<Shown>,
    #[serde(default)]
    label: Option<Label>,
    #[serde(default)]
    truth: Option<Air>,
}
/// What is really so in the air.
#[derive(Deserialize)]
struct Air {
    holes: Vec<InHole>,
    inlets: Vec<AtInlet>,
}
/// What is really so at an inlet.
#[derive(Deserialize)]
struct AtInlet {
    inlet: u8,
    flow_l_min: f64,
}
/// What is really so within a hole.
#[derive(Deserialize)]
struct InHole {
    pipe: u8,
    hole: u32,
    pressure_pa: f64,
}
/// What display and lamps show.
#[derive(Default, Deserialize)]
#[serde(default)]
struct Shown {
    flow_l_min: Vec<f64>,
    smoke_percent_per_m: Vec<f64>,
    levels: Vec<u8>,
    latched: Vec<u8>,
    outputs: Vec<u8>,
    faults: Vec<String>,
    flow_low: Vec<u8>,
    flow_high: Vec<u8>,
    busy: bool,
}
/// What the label says and the display shows beside the air.
#[derive(Default, Deserialize)]
#[serde(default)]
struct Label {
    unit: String,
    maker: String,
    model: String,
    serial: String,
    firmware: String,
    inlets: u8,
    settings: BTreeMap<String, Value>,
    baseline_l_min: Option<Vec<Option<f64>>>,
    taking: bool,
    inhibited: bool,
    supply_v: Option<f64>,
    supply_a: Option<f64>,
}

/// What a look or a deed came to.
enum Came<T> {
    To(T),
    /// It can't be told or done, for this reason.
    Not(String),
}

impl Eyes {
    /// A person who reads units of these models, without slips.
    pub fn at(faces: Vec<Face>) -> Self {
        Self { faces, ..Self::default() }
    }
    /// The same who slips in this share of what is typed of flows, by this seed.
    #[must_use]
    pub fn slipping(mut self, share: f64, seed: u64) -> Self {
        self.slips = Some((share, seed));
        self
    }
    /// The same with a meter at the exhaust that errs so.
    #[must_use]
    pub fn with_meter(mut self, meter: MeterError) -> Self {
        self.meter = meter;
        self
    }
    /// How often they slipped.
    pub fn slipped(&self) -> u32 {
        self.slipped
    }
    /// A deed that takes its time is begun at the first call and done when this says so; `Ok(None)`: it takes none.
    pub(super) fn is_done(
        &mut self,
        now: Instant,
        prompt: &Prompt,
        about: &About,
        site: &mut dyn Site,
    ) -> Result<bool, Failure> {
        let deed = match about {
            About::TakeBaseline => "baseline",
            About::Restart => "restart",
            _ => return Ok(true),
        };
        if self.begun != Some(prompt.id) {
            let reply = ask(now, site, &json!({ "do": "hand", "deed": deed }))?;
            self.begun = Some(prompt.id);
            // What is refused is answered at once.
            return Ok(!reply.ok);
        }
        // While it starts, its display is dark.
        let Reply { label: Some(label), .. } = ask(now, site, &json!({ "do": "label" }))? else { return Ok(false) };
        let shown = ask(now, site, &json!({ "do": "display" }))?.display;
        Ok(!label.taking && shown.is_some_and(|shown| !shown.busy))
    }
    /// Reads or does what is asked for.
    pub(super) fn answer(
        &mut self,
        now: Instant,
        prompt: &Prompt,
        about: &About,
        site: &mut dyn Site,
    ) -> Result<Answer, Failure> {
        let label = match ask(now, site, &json!({ "do": "label" }))? {
            Reply { label: Some(label), .. } => label,
            Reply { cause, .. } if cause.is_empty() => {
                return Ok(Answer::Cannot("nobody is there to read a display".into()));
            }
            Reply { cause, .. } => return Ok(Answer::Cannot(cause)),
        };
        let face = self.face(&label);
        let came = match about {
            About::Label { .. } | About::Which { .. } | About::Serial | About::Firmware | About::Inlets => {
                Came::To(named(about, &label))
            }
            About::Flows { meter: Some(_), .. } => self.at_exhaust(now, prompt, &face, site)?,
            About::Flows { inlets, .. } => self.flows(now, prompt, (&face, &label), inlets, site)?,
            About::Smoke { .. } => look(now, site)?.map(|shown| smoke(&face, &shown)).and(),
            About::Lamps { lamps } => {
                look(now, site)?.map(|shown| Came::To(Answer::Text(lit(&face, lamps, &shown, &label)))).and()
            }
            About::Baseline { inlets, .. } => baseline(&face, inlets, &label),
            About::Settings { keys } => settings(&prompt.wants, keys, &label),
            About::Enter { items } => enter(now, &face, items, &label, site)?,
            About::TakeBaseline | About::Restart => Came::To(Answer::Yes),
            About::Reset => deed(now, site, "reset", 0)?,
            About::Drive { output, on } => deed(now, site, if *on { "operate" } else { "rest" }, *output)?,
            About::Inhibit { on } => deed(now, site, if *on { "hold-back" } else { "give-back" }, 0)?,
            About::Offset => Came::To(Answer::Text("+00:00".into())),
            About::Time | About::SetTime | About::Other => Came::Not("nobody is there to read this".into()),
        };
        Ok(match came {
            Came::To(answer) => answer,
            Came::Not(why) => Answer::Cannot(why),
        })
    }
    /// Whether the display shows so much smoke, or an alarm level is lit.
    pub(super) fn shows_smoke(&self, now: Instant, from: Extinction, site: &mut dyn Site) -> Result<bool, Failure> {
        let face = self.face(&label(now, site)?);
        let Came::To(shown) = look(now, site)? else { return Ok(false) };
        let read = shown.smoke_percent_per_m.iter().copied().fold(0.0, f64::max);
        let Some((scale, of)) = &face.shows.smoke else { return Ok(!shown.levels.is_empty()) };
        let stands = Extinction::from_stated(read, ObscurationUnit::PercentPerMetre);
        let slack = 0.25 * scale.step.unwrap_or(0.0);
        Ok(stands.is_some_and(|e| scale.shown(e.stated(*of)) >= from.stated(*of) - slack))
    }
    /// Reads an instrument that shows this unit, in the steps that such instruments have.
    pub(super) fn meter(now: Instant, quantity: Metered, unit: &str, site: &mut dyn Site) -> Result<Answer, Failure> {
        let si = match quantity {
            Metered::Voltage => label(now, site)?.supply_v,
            Metered::Current => label(now, site)?.supply_a,
            Metered::Suction(hole) => suction(now, hole, site)?,
            Metered::Flow(inlet) => flow(now, inlet, site)?,
            // By a watch: whoever started it knows.
            Metered::SmokeTime { .. } | Metered::FaultTime(_) => None,
        };
        let size = UNITS.iter().find(|(name, ..)| *name == unit).map_or(1.0, |(_, _, size)| *size);
        // Steps to a unit.
        let steps = match unit {
            "V" => 100.0,
            "A" => 1000.0,
            "L/min" => 10.0,
            _ => 1.0,
        };
        let shown = si.map(|x| (x / size * steps).round() / steps);
        Ok(shown.map_or_else(|| Answer::Cannot("nobody is there with an instrument".into()), Answer::Number))
    }
    fn face(&self, label: &Label) -> Face {
        let is_it = |face: &&Face| face.maker == label.maker && face.model == label.model;
        self.faces.iter().find(is_it).cloned().unwrap_or_else(|| Face::stranger(&label.model))
    }
    fn flows(
        &mut self,
        now: Instant,
        prompt: &Prompt,
        (face, label): (&Face, &Label),
        inlets: &[u8],
        site: &mut dyn Site,
    ) -> Result<Came<Answer>, Failure> {
        let shown = match look(now, site)? {
            Came::To(shown) => shown,
            Came::Not(why) => return Ok(Came::Not(why)),
        };
        let Some(flow) = &face.shows.flow else { return Ok(Came::Not("it shows no flow".into())) };
        let of = |n: &u8| shown.flow_l_min.get(usize::from(*n).checked_sub(1)?).copied();
        let all = [Some(shown.flow_l_min.iter().sum())];
        let read: Vec<Option<f64>> = if inlets.is_empty() { all.to_vec() } else { inlets.iter().map(of).collect() };
        // A share is one of the baseline, once there is one.
        let whole = |i: usize| label.baseline_l_min.as_ref().and_then(|b| *b.get(i)?).unwrap_or(NORMAL_L_MIN);
        let typed: Vec<String> = read.iter().enumerate().map(|(i, q)| written(flow, *q, whole(i))).collect();
        Ok(self.typed(prompt, typed))
    }
    /// What is typed, with a slip now and then. Whoever is asked again looks again.
    fn typed(&mut self, prompt: &Prompt, mut typed: Vec<String>) -> Came<Answer> {
        if !prompt.text.starts_with("Not taken") {
            self.slip(&mut typed);
        }
        let typed = typed.join(" ");
        self.last = Some(typed.clone());
        Came::To(Answer::Text(typed))
    }
    /// What a meter at the exhaust shows: all that really enters, with the meter's own errors.
    fn at_exhaust(
        &mut self,
        now: Instant,
        prompt: &Prompt,
        face: &Face,
        site: &mut dyn Site,
    ) -> Result<Came<Answer>, Failure> {
        let Some(shown) = &face.shows.flow else { return Ok(Came::Not("there is no meter".into())) };
        let Reply { truth: Some(air), .. } = ask(now, site, &json!({ "do": "truth" }))? else {
            return Ok(Came::Not("nobody is there to read it".into()));
        };
        let flow = air.inlets.iter().map(|i| i.flow_l_min).sum::<f64>();
        // Rectangular, which is as wide as a normal one of this standard deviation.
        let scatter = self.meter.scatter * 12.0_f64.sqrt() * (draw(&mut self.meter.state) - 0.5);
        let l_min = flow * (1.0 + self.meter.gain) + self.meter.offset + scatter;
        let typed = written(shown, Some(l_min), NORMAL_L_MIN);
        Ok(self.typed(prompt, vec![typed]))
    }
    /// Now and then something else is typed than what is shown.
    fn slip(&mut self, typed: &mut [String]) {
        let Some((share, state)) = &mut self.slips else { return };
        if draw(state) >= *share {
            return;
        }
        let which = SLIPS[(draw(state) * SLIPS.len() as f64) as usize % SLIPS.len()];
        let honest = typed.join(" ");
        match which {
            Slip::WrongInlet => typed.reverse(),
            Slip::SameNumber => {
                for (typed, last) in typed.iter_mut().zip(self.last.iter().flat_map(|last| last.split(' '))) {
                    last.clone_into(typed);
                }
            }
            Slip::SwappedDigits => {
                let at = (draw(state) * typed.len() as f64) as usize;
                if let Some(number) = typed.get_mut(at) {
                    let mut digits: Vec<char> = number.chars().collect();
                    let pair = (1..digits.len())
                        .find(|i| digits[*i] != digits[i - 1] && digits[*i] != '.' && digits[i - 1] != '.');
                    if let Some(i) = pair {
                        digits.swap(i - 1, i);
                        *number = digits.into_iter().collect();
                    }
                }
            }
        }
        self.slipped += u32::from(typed.join(" ") != honest);
    }
}

impl<T> Came<T> {
    fn map<U>(self, f: impl FnOnce(T) -> U) -> Came<U> {
        match self {
            Self::To(t) => Came::To(f(t)),
            Self::Not(why) => Came::Not(why),
        }
    }
}
impl<T> Came<Came<T>> {
    fn and(self) -> Came<T> {
        match self {
            Self::To(came) => came,
            Self::Not(why) => Came::Not(why),
        }
    }
}

/// A number between 0 and 1 (SplitMix64, Steele et al. 2014).
pub(super) fn draw(state: &mut u64) -> f64 {
    *state = state.wrapping_add(0x9e37_79b9_7f4a_7c15);
    let z = (*state ^ (*state >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    let z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    ((z ^ (z >> 31)) >> 11) as f64 / (1u64 << 53) as f64
}

fn ask(now: Instant, site: &mut dyn Site, command: &Value) -> Result<Reply, Failure> {
    let text = site.command(now, &command.to_string())?;
    serde_json::from_str(&text).map_err(|e| {
        let remedy = "check that the address is a simulator's site control";
        Failure::trouble(format!("site control: `{text}` is no reply ({e})"), remedy)
    })
}
/// What a unit's label says, and what instruments at it show.
fn label(now: Instant, site: &mut dyn Site) -> Result<Label, Failure> {
    Ok(ask(now, site, &json!({ "do": "label" }))?.label.unwrap_or_default())
}
/// What a manometer shows whose tube closes this hole, Pa.
fn suction(now: Instant, at: HoleRef, site: &mut dyn Site) -> Result<Option<f64>, Failure> {
    let Reply { truth: Some(air), .. } = ask(now, site, &json!({ "do": "truth" }))? else { return Ok(None) };
    let inside = air.holes.iter().find(|h| (h.pipe, h.hole) == (at.inlet, at.number));
    Ok(inside.map(|h| -h.pressure_pa))
}
/// What a flow meter shows between a pipe and its inlet, m3/s.
fn flow(now: Instant, inlet: u8, site: &mut dyn Site) -> Result<Option<f64>, Failure> {
    let Reply { truth: Some(air), .. } = ask(now, site, &json!({ "do": "truth" }))? else { return Ok(None) };
    Ok(air.inlets.iter().find(|i| i.inlet == inlet).map(|i| i.flow_l_min * M3_S_PER_L_MIN))
}
fn look(now: Instant, site: &mut dyn Site) -> Result<Came<Shown>, Failure> {
    Ok(match ask(now, site, &json!({ "do": "display" }))? {
        Reply { display: Some(shown), .. } => Came::To(shown),
        Reply { cause, .. } => Came::Not(cause),
    })
}
fn deed(now: Instant, site: &mut dyn Site, deed: &str, output: u8) -> Result<Came<Answer>, Failure> {
    let reply = ask(now, site, &json!({ "do": "hand", "deed": deed, "output": output }))?;
    Ok(if reply.ok { Came::To(Answer::Yes) } else { Came::Not(reply.cause) })
}

/// What the label answers.
fn named(about: &About, label: &Label) -> Answer {
    let words = format!("{} {}", label.maker, label.model);
    match about {
        About::Label { label: asked } if *asked == words => Answer::Yes,
        About::Label { .. } => Answer::Text(words),
        About::Which { serials } if serials.len() == 1 => {
            if serials.contains(&label.serial) {
                Answer::Yes
            } else {
                Answer::No
            }
        }
        About::Which { serials } if serials.contains(&label.serial) => Answer::Text(label.serial.clone()),
        About::Which { .. } => Answer::Text("other".into()),
        About::Firmware => Answer::Text(label.firmware.clone()),
        About::Inlets => Answer::Text(label.inlets.to_string()),
        _ => Answer::Text(label.serial.clone()),
    }
}

/// A flow of L/min as the display shows it; `whole`: the flow that it calls 100 %.
fn written(flow: &FlowShown, l_min: Option<f64>, whole: f64) -> String {
    let Some(l_min) = l_min else { return "-".into() };
    let m3_s = match flow.basis {
        FlowBasis::Share => l_min / whole * WHOLE_M3_S,
        FlowBasis::Actual | FlowBasis::Reference { .. } => l_min * M3_S_PER_L_MIN,
    };
    flow.scale.shown(m3_s / flow.m3_s).to_string()
}
fn baseline(face: &Face, inlets: &[u8], label: &Label) -> Came<Answer> {
    let (Some(flow), Some(held)) = (&face.shows.baseline, &label.baseline_l_min) else {
        return Came::Not("it shows no baseline".into());
    };
    let of = |n: &u8| written(flow, usize::from(*n).checked_sub(1).and_then(|i| *held.get(i)?), NORMAL_L_MIN);
    Came::To(Answer::Text(inlets.iter().map(of).collect::<Vec<_>>().join(" ")))
}
fn smoke(face: &Face, shown: &Shown) -> Came<Answer> {
    let read = shown.smoke_percent_per_m.iter().copied().fold(0.0, f64::max);
    let extinction = Extinction::from_stated(read, ObscurationUnit::PercentPerMetre);
    match (&face.shows.smoke, extinction) {
        (Some((scale, of)), Some(extinction)) => {
            Came::To(Answer::Text(scale.shown(extinction.stated(*of)).to_string()))
        }
        _ => Came::Not("it shows no smoke".into()),
    }
}

/// The names of the lamps that are lit, or that none is.
fn lit(face: &Face, lamps: &[String], shown: &Shown, label: &Label) -> String {
    let flow = |inlet: u8, low: bool, high: bool| {
        low && shown.flow_low.contains(&inlet) || high && shown.flow_high.contains(&inlet)
    };
    let is_lit = |lamp: &Lamp| match lamp {
        Lamp::AnyFault => !shown.faults.is_empty(),
        Lamp::Fault(fault) => {
            shown.faults.iter().any(|word| FAULTS.iter().any(|(name, of)| name == word && fault.has(*of)))
        }
        Lamp::Flow { inlet, low, high } => flow(*inlet, *low, *high),
        Lamp::Level(n) => shown.levels.contains(n) || shown.latched.contains(n),
        Lamp::Output(n) => shown.outputs.contains(n),
        Lamp::Inhibited => label.inhibited,
        Lamp::Starting => shown.busy,
    };
    let all = face.shows.lamps.iter().filter(|(name, lamp)| lamps.contains(name) && is_lit(lamp));
    let names: Vec<&str> = all.map(|(name, _)| name.as_str()).collect();
    if names.is_empty() { "none".into() } else { names.join(", ") }
}

/// The settings of these keys as the display shows them.
fn settings(wants: &Wants, keys: &[String], label: &Label) -> Came<Answer> {
    let shown = |key: &String| match label.settings.get(key) {
        None | Some(Value::Null) => "-".into(),
        Some(Value::String(text)) if text.is_empty() => "-".into(),
        Some(Value::String(text)) => text.clone(),
        Some(Value::Bool(on)) => if *on { "yes" } else { "no" }.into(),
        Some(number) => number.as_f64().map_or_else(|| number.to_string(), |x| x.to_string()),
    };
    let typed: Vec<String> = keys.iter().map(shown).collect();
    Came::To(match (wants, typed.as_slice()) {
        (Wants::YesNo, [one]) if one == "yes" => Answer::Yes,
        (Wants::YesNo, [_]) => Answer::No,
        _ => Answer::Text(typed.join(" ")),
    })
}

/// Keys settings in.
fn enter(
    now: Instant,
    face: &Face,
    items: &[(String, String)],
    label: &Label,
    site: &mut dyn Site,
) -> Result<Came<Answer>, Failure> {
    for (key, value) in items {
        let Some(item) = face.items.iter().find(|i| i.key == *key) else {
            return Ok(Came::Not(format!("it has no setting {key}")));
        };
        let keyed = match &item.takes {
            Takes::Switch => json!(value == "yes"),
            Takes::Number(scale) => {
                let figure = value.strip_suffix(scale.unit.as_str()).unwrap_or(value).trim();
                let number = figure.parse::<f64>().unwrap_or(f64::NAN);
                // A whole number is keyed in without a point.
                if number.fract() == 0.0 { json!(number as i64) } else { json!(number) }
            }
            Takes::Words(_) => json!(value),
            Takes::Text(_) if value == "(empty)" => json!(""),
            Takes::Text(_) => json!(value),
        };
        let command = json!({ "do": "keypad", "unit": label.unit, "key": key, "value": keyed });
        let reply = ask(now, site, &command)?;
        if !reply.ok {
            return Ok(Came::Not(format!("{key}: {}", reply.cause)));
        }
    }
    Ok(Came::To(Answer::Yes))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn slips_are_those_of_fingers_and_eyes_and_come_by_the_seed() {
        let typed = |seed| {
            let mut eyes = Eyes::default().slipping(0.5, seed);
            eyes.last = Some("40 41".into());
            let all: Vec<String> = (0..40)
                .map(|_| {
                    let mut typed = ["31.5".to_owned(), "60".to_owned()];
                    eyes.slip(&mut typed);
                    typed.join(" ")
                })
                .collect();
            (all, eyes.slipped())
        };
        let (all, slipped) = typed(7);
        assert_eq!(typed(7), (all.clone(), slipped));
        assert!((10..30).contains(&slipped), "{slipped}");
        for slip in ["13.5 60", "60 31.5", "40 41", "31.5 06", "31.5 60"] {
            assert!(all.iter().any(|t| t == slip), "{slip}: {all:?}");
        }
    }
}

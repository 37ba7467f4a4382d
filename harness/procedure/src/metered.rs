//! Numbers that a person reads off an instrument: which one is asked for, what is asked again, and how sure they are.
//!
//! Not here: the instruments themselves ([`crate::instrument`]), and what a number is held against (the judges).
use crate::{
    context::Context,
    instrument::{Instrument, Measurand, Read, UNNAMED},
    judge::instrument as judge,
    plan::Untold,
    prompt::{Act, Metered},
};
use alloc::{format, string::String};
use plumeline_base::{input::Answer, quantity::Estimate};
use plumeline_detector::driver::Wants;

/// How a number is asked for.
pub(crate) struct Asking {
    pub(crate) quantity: Metered,
    /// What to measure, when and where.
    pub(crate) what: String,
    /// About so much is expected, SI.
    pub(crate) about: Option<f64>,
}
impl Asking {
    /// The instrument for it, where the plan names one.
    fn instrument(&self, ctx: &Context) -> Option<Instrument> {
        ctx.inputs().plan.instrument(self.quantity.measurand(), self.about).cloned()
    }
}

impl Context {
    /// Has a person read an instrument. `put` asks: at a supply that was switched off it sees whether it still is. What the
    /// instrument can't show is asked again. `Err`: why there is no number.
    pub(crate) async fn metered(
        &self,
        asking: Asking,
        put: impl AsyncFn(Act, String, Wants) -> Answer,
    ) -> Result<Read, String> {
        let instrument = asking.instrument(self);
        let (unit, with) = match &instrument {
            Some(i) => (i.scale.unit.clone(), format!(" with {}", i.label())),
            None => (asking.quantity.words().1.into(), String::new()),
        };
        let text = format!("Measure {}{with}, and type it.", asking.what);
        let mut again = None::<String>;
        for _ in 0..self.inputs().plan.advanced.supply.most_again {
            let text = again.map_or_else(|| text.clone(), |why| format!("Not taken: {why}. {text}"));
            let act = Act::ReadMeter { quantity: asking.quantity };
            let reading = match put(act, text, Wants::Number { unit: unit.clone() }).await {
                Answer::Number(x) if x.is_finite() => x,
                Answer::Cannot(why) | Answer::NoBecause(why) => return Err(why),
                _ => return Err("no number was given".into()),
            };
            let Some(instrument) = &instrument else {
                // A current or a voltage has no sign here; what else would be read needs an instrument with a name.
                let u = self.inputs().plan.supply.meter_u * libm::fabs(reading);
                let known = matches!(asking.quantity.measurand(), Measurand::Voltage | Measurand::Current);
                return if known && reading >= 0.0 {
                    Ok(Read { estimate: Estimate::new(reading, u, 0.0), by: Some(UNNAMED.into()) })
                } else {
                    Err(format!("{reading} {unit} can't be"))
                };
            };
            match instrument.scale.check(reading) {
                Ok(()) => {
                    self.used(instrument);
                    return Ok(Read { estimate: instrument.estimate(reading), by: Some(instrument.label()) });
                }
                Err(why) => again = Some(why),
            }
        }
        Err("what was typed each time is nothing that this instrument shows".into())
    }
    /// A person who can be asked at any time.
    pub(crate) async fn read_off(&self, asking: Asking) -> Result<Read, String> {
        self.metered(asking, async |act, text, wants| self.ask(act, text, wants).await.1).await
    }
    /// An instrument counts for something in this stage: whether its calibration holds is found once.
    pub(crate) fn used(&self, instrument: &Instrument) {
        let (stage, now) = (self.stage(), self.now());
        let allowed = self.inputs().plan.not_shown.contains(&Untold::Calibration);
        let finding = judge::in_date(stage, instrument, self.utc_ms(now), allowed);
        let same = |f: &crate::Finding| f.stage == stage && f.subject == finding.subject && f.stands();
        if !self.get().outcome.findings.iter().any(same) {
            self.found(finding);
        }
    }
}

/// Why there is no number, for a remark.
pub(crate) fn not_read(what: &str, why: &str) -> String {
    format!("the {what} was not read: {why}")
}

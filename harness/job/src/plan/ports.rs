//! What a port may need for a level: presets by name, or obscurations of the job's own.
//!
//! Not here: what the holes need (the carry crate computes it).
use super::raw;
use crate::{
    error::{Kind, Problem, Source, choices, quoted},
    written::{Spanned, Written, whole},
};
use plumeline_base::obscuration::{Extinction, ObscurationUnit};
use plumeline_carry::PortLimit;
use plumeline_procedure::{plan::Mark, rules::declared::PORT_OBSCURATION};
use std::ops::Range;

pub(super) fn ports(source: &Source<'_>, all: &[Spanned<raw::PortLimit>]) -> Result<Vec<PortLimit>, Problem> {
    let mut ports: Vec<PortLimit> = Vec::with_capacity(all.len());
    for written in all {
        let level = whole(source, &written.as_ref().level, 1, 32, "a level")?;
        if ports.iter().any(|p| p.level == level) {
            let cause = format!("level {level} has two limits");
            return Err(source.problem(Kind::Duplicate, written.span(), cause, "keep one of the two"));
        }
        let limit = &written.as_ref().at_most;
        ports.push(match limit.as_ref() {
            raw::Limit::Text(text) => match PORT_OBSCURATION.iter().find(|p| p.name == text) {
                Some(p) => PortLimit {
                    level,
                    value: p.value,
                    unit: ObscurationUnit::PercentPerFoot,
                    source: p.source.to_owned(),
                    known: p.mark.words().to_owned(),
                },
                None => own(source, level, text, limit.span(), "the job's plan")?,
            },
            raw::Limit::Number(_) => return Err(refused(source, limit.span(), "the limit has no unit".into())),
            raw::Limit::Own(o) => match o.value.as_ref() {
                Written::Text(text) => own(source, level, text, o.value.span(), &o.source)?,
                Written::Number(_) => return Err(refused(source, o.value.span(), "the limit has no unit".into())),
            },
        });
    }
    Ok(ports)
}

fn own(source: &Source<'_>, level: u8, text: &str, at: Range<usize>, from: &str) -> Result<PortLimit, Problem> {
    let split = text.find(|c: char| !(c.is_ascii_digit() || c == '.')).unwrap_or(text.len());
    let (number, unit) = text.split_at(split);
    let read = number.parse::<f64>().ok().zip(ObscurationUnit::parse(unit.trim()));
    let sound = read.filter(|(v, u)| Extinction::from_stated(*v, *u).is_some_and(|k| k.0 > 0.0));
    let Some((value, unit)) = sound else {
        return Err(refused(source, at, format!("{} is no obscuration and no preset", quoted(text))));
    };
    Ok(PortLimit { level, value, unit, source: from.to_owned(), known: Mark::ThisJob.words().to_owned() })
}

fn refused(source: &Source<'_>, at: Range<usize>, cause: String) -> Problem {
    let names = choices(PORT_OBSCURATION.iter().map(|p| p.name));
    source.problem(Kind::Unit, at, cause, format!("write it as \"0.2 %/ft\" (or %/m, dB/m), or use one of {names}"))
}

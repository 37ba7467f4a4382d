//! From what stands in `[lines]` to the templates that the driver listens by.
//!
//! Not here: the keys of the format, and the driver.
use super::{
    means::{Means, who},
    raw_lines as raw,
};
use crate::{
    error::{Kind as Wrong, Problem, Source, choices, nearest, quoted},
    written::{ReadOr, Spanned},
};
use plumeline_base::grid::Grid;
use plumeline_detector::{
    lines::{
        Map,
        map::{Field, Number, Part, Template},
    },
    told::{Flag, Quantity},
    vocabulary::FlowBasis,
};
use plumeline_unit::Description;
use std::time::Duration;

/// Most fields, and the longest line.
const MOST: usize = 200;
const LONGEST: usize = 500;

/// What is being read.
struct Reader<'a, 's> {
    say: Means<'a, 's>,
    /// Names of the fields so far, in their order.
    names: Vec<String>,
    fields: Vec<Field>,
    /// What flows refer to, once one was read.
    basis: Option<FlowBasis>,
}

/// The lines.
pub(super) fn check(source: &Source<'_>, written: &Spanned<raw::Lines>, of: &Description) -> Result<Map, Problem> {
    let r = written.as_ref();
    let say = Means { source, of };
    let stated = say.basis(&r.reference_temperature, &r.reference_pressure)?;
    let mut reader = Reader { say, names: Vec::new(), fields: Vec::new(), basis: None };
    for field in &r.field {
        reader.field(field, stated)?;
    }
    let mut used = vec![false; reader.fields.len()];
    let lines = r.line.iter().map(|line| reader.template(line, &mut used)).collect::<Result<Vec<_>, _>>()?;
    if lines.is_empty() {
        let remedy =
            "add `line = [\"FLOW {flow.1} {flow.2}\"]`: a line as it is printed, with names where values stand";
        return say.wrong(Wrong::MissingKey, written.span(), "no line is described", remedy);
    }
    if let Some(name) = used.iter().position(|used| !used).and_then(|i| reader.names.get(i)) {
        let cause = format!("the field {} stands in no line", quoted(name));
        return say.wrong(Wrong::Conflict, written.span(), cause, "write {name} into a line, or take the field out");
    }
    let map = Map {
        every: Duration::from_secs_f64(r.every.read_or(source, 1.0)?),
        maker: of.maker.clone(),
        model: of.model.clone(),
        has: (of.levels, u8::try_from(of.outputs.len()).unwrap_or(u8::MAX), of.inputs),
        basis: reader.basis.unwrap_or(stated),
        lines,
        fields: reader.fields,
    };
    let tells = |n: u8| map.fields.iter().any(|f| matches!(f, Field::Number(x) if x.quantity == Quantity::Flow(n)));
    match (1..=map.inlets()).find(|n| !tells(*n)) {
        Some(missing) => {
            let cause = format!("no line tells \"flow.{missing}\", but further inlets");
            say.wrong(Wrong::MissingKey, written.span(), cause, "add it: inlets count from 1 without gaps")
        }
        None => Ok(map),
    }
}

impl Reader<'_, '_> {
    fn field(&mut self, written: &Spanned<raw::Field>, stated: FlowBasis) -> Result<(), Problem> {
        let f = written.as_ref();
        for n in 1..=self.say.times(&f.name, f.n.as_ref())? {
            let name = f.name.as_ref().replace("{n}", &n.to_string());
            let plain = |c: char| c.is_ascii_alphanumeric() || matches!(c, '.' | '-' | '_');
            if name.is_empty() || !name.chars().all(plain) {
                let remedy = "use letters, digits, points, - and _";
                return self.say.wrong(
                    Wrong::Range,
                    f.name.span(),
                    format!("{} is no name of a field", quoted(&name)),
                    remedy,
                );
            }
            if self.names.contains(&name) || self.names.len() == MOST {
                let cause = format!("the field {} stands twice, or there are too many", quoted(&name));
                return self.say.wrong(Wrong::Duplicate, f.name.span(), cause, "keep one; at most 200");
            }
            let field = match (&f.means, f.words.is_empty(), f.bits.is_empty()) {
                (Some(means), true, true) => self.value(f, means, n, stated)?,
                (None, false, true) => self.words(f)?,
                (None, true, false) => self.bits(f)?,
                _ => {
                    let cause = "a field is a number or a text by `means`, or a state by `words` or `bits`";
                    return self.say.wrong(Wrong::Conflict, written.span(), cause, "write one of the three");
                }
            };
            self.names.push(name);
            self.fields.push(field);
        }
        Ok(())
    }
    fn value(&mut self, f: &raw::Field, means: &Spanned<String>, n: u8, stated: FlowBasis) -> Result<Field, Problem> {
        let what = means.as_ref().replace("{n}", &n.to_string());
        if let Some(who) = who(&what) {
            return Ok(Field::Text(who));
        }
        let quantity = self.say.quantity(means, &what)?;
        let told = |field: &Field| matches!(field, Field::Number(n) if n.quantity == quantity);
        if self.fields.iter().any(told) {
            let cause = format!("two fields mean {}", quoted(&what));
            return self.say.wrong(Wrong::Duplicate, means.span(), cause, "keep one of the two");
        }
        if matches!(quantity, Quantity::Baseline(_) | Quantity::BaselineNumber | Quantity::Clock | Quantity::Zone) {
            let cause = format!("{} is nothing that can be relied upon in a line", quoted(&what));
            let remedy = "take it out; a person reads it by [display], if the unit shows it";
            return self.say.wrong(Wrong::UnknownName, means.span(), cause, remedy);
        }
        let (scale, offset) = self.say.scale(f.scale.as_ref(), f.offset.as_ref())?;
        let (si, of_flow) = self.say.si(means, f.unit.as_ref(), f.bore.as_ref(), quantity, stated)?;
        if let Some(of_flow) = of_flow {
            if self.basis.is_some_and(|b| b != of_flow) {
                let cause = "this flow refers to something else than the one before";
                return self.say.wrong(Wrong::Conflict, means.span(), cause, "state all flows in units of one kind");
            }
            self.basis = Some(of_flow);
        }
        let step = match &f.step {
            Some(step) if Grid::of(*step.as_ref()).is_none() => {
                let remedy = "write a number over 0 with at most nine decimals";
                return self.say.wrong(Wrong::Range, step.span(), "this is no step", remedy);
            }
            Some(step) => *step.as_ref(),
            None if matches!(quantity, Quantity::Flow(_) | Quantity::Smoke(_)) => {
                let remedy = "add `step = 0.1` where 31.5 is followed by 31.6: it is part of the uncertainty";
                return self.say.wrong(
                    Wrong::MissingKey,
                    means.span(),
                    "nothing says in which step this is printed",
                    remedy,
                );
            }
            None => 0.0,
        };
        let none = f.none.as_ref().map(|none| none.as_ref().trim().to_owned());
        Ok(Field::Number(Number { quantity, scale, offset, none, step, si }))
    }
    fn words(&self, f: &raw::Field) -> Result<Field, Problem> {
        let stand =
            |flags: &Vec<Spanned<String>>| flags.iter().map(|flag| self.say.flag(flag)).collect::<Result<_, _>>();
        let words: Vec<(String, Vec<Flag>)> = f
            .words
            .iter()
            .map(|(word, flags)| Ok((word.trim().to_owned(), stand(flags)?)))
            .collect::<Result<_, Problem>>()?;
        if words.iter().all(|(_, flags)| flags.is_empty()) {
            let remedy = "write `words = { OK = [], \"LOW 1\" = [\"fault.flow\", \"inlet.1.low\"] }`";
            return self.say.wrong(Wrong::MissingKey, f.name.span(), "no word means anything", remedy);
        }
        Ok(Field::Words(words))
    }
    fn bits(&self, f: &raw::Field) -> Result<Field, Problem> {
        let base = match f.base.as_ref().map(|base| (*base.as_ref(), base.span())) {
            None => 16,
            Some((base @ (2 | 10 | 16), _)) => base as u32,
            Some((_, span)) => {
                return self.say.wrong(Wrong::Range, span, "numbers are not printed to this base", "write 2, 10 or 16");
            }
        };
        let mut bits = Vec::new();
        for (number, means) in &f.bits {
            let Some(number) = number.parse::<u8>().ok().filter(|n| *n <= 63) else {
                let cause = format!("{} is no bit: they count from 0 to 63", quoted(number));
                let remedy = "correct the number before the sign of equality";
                return self.say.wrong(Wrong::Range, means.span(), cause, remedy);
            };
            bits.push((number, self.say.flag(means)?));
        }
        Ok(Field::Bits { base, bits })
    }
    /// A kind of line, taken apart at its names.
    fn template(&self, written: &Spanned<String>, used: &mut [bool]) -> Result<Template, Problem> {
        let wrong = |cause: String, remedy: &str| self.say.wrong(Wrong::Range, written.span(), cause, remedy);
        let line = written.as_ref().trim();
        if line.is_empty() || line.len() > LONGEST || line.chars().any(char::is_control) {
            return wrong(
                "this is no line".into(),
                "write it as it is printed, with names in braces where values stand",
            );
        }
        let mut parts: Vec<Part> = Vec::new();
        let mut rest = line;
        while !rest.is_empty() {
            let (text, behind) = rest.split_once('{').map_or((rest, None), |(text, behind)| (text, Some(behind)));
            if !text.is_empty() {
                parts.push(Part::Text(text.to_owned()));
            }
            let Some(behind) = behind else { break };
            let Some((name, after)) = behind.split_once('}') else {
                return wrong("a { is not closed here".into(), "close it: {name}");
            };
            if text.is_empty() && !parts.is_empty() {
                let cause = "two pieces stand beside each other with nothing between: nobody can tell where one ends";
                return wrong(cause.into(), "write what stands between them, a blank at least");
            }
            let part = match self.names.iter().position(|known| known == name) {
                _ if name.is_empty() => Part::Skip,
                Some(i) if used[i] => {
                    return wrong(format!("{{{name}}} stands twice"), "write {} where it is not read");
                }
                Some(i) => {
                    used[i] = true;
                    Part::Field(i)
                }
                None => {
                    let known = || self.names.iter().map(String::as_str);
                    let near = nearest(name, known()).map_or_else(String::new, |m| format!("; did you mean {{{m}}}?"));
                    let remedy = format!("add a [[lines.field]] of this name, or use one of {}", choices(known()));
                    return self.say.wrong(
                        Wrong::UnknownName,
                        written.span(),
                        format!("{{{name}}} is no field{near}"),
                        remedy,
                    );
                }
            };
            parts.push(part);
            rest = after;
        }
        Ok(Template(parts))
    }
}

//! What is written: settings by the description's own keys, and what can be ordered.
use super::{super::raw_registers as raw, DOES, Reader, time};
use crate::{
    error::{Kind as Wrong, Problem, nearest, quoted},
    written::{ReadOr, Spanned, choice, whole},
};
use plumeline_detector::registers::map::{Command, Form, Map, Ordered, Setting, Takes};
use plumeline_unit::description::{Kind, Slot};

impl Reader<'_, '_> {
    pub(super) fn setting(&mut self, written: &Spanned<raw::Setting>, map: &mut Map) -> Result<(), Problem> {
        let s = written.as_ref();
        let table = self.table(&s.function, false, true)?;
        let form = match (&s.r#type, table.is_bits()) {
            (None, true) => Form::Bit(0),
            (Some(name), true) => {
                return self.say.wrong(Wrong::Conflict, name.span(), "a coil is one bit", "take `type` out");
            }
            (Some(name), false) => self.form(name, s.registers.as_ref())?,
            (None, false) => {
                return self.say.wrong(
                    Wrong::MissingKey,
                    s.key.span(),
                    "a register needs its type",
                    "add `type = \"u16\"`",
                );
            }
        };
        let stride = self.stride(s.stride.as_ref(), form)?;
        for n in 1..=self.say.times(&s.key, s.n.as_ref())? {
            let key = s.key.as_ref().replace("{n}", &n.to_string());
            let of = self.say.of;
            let Some(slot) = of.slot(&key) else {
                let near = nearest(&key, of.slots.iter().map(|s| s.key.as_str()));
                let near = near.map_or_else(String::new, |k| format!("; did you mean {}?", quoted(k)));
                let cause = format!("the description has no [[item]] with the key {}{near}", quoted(&key));
                return self.say.wrong(Wrong::UnknownName, s.key.span(), cause, "correct the key, or add the [[item]]");
            };
            if map.settings.iter().any(|s| s.key == key) {
                return self.say.wrong(
                    Wrong::Duplicate,
                    s.key.span(),
                    format!("{} stands twice", quoted(&key)),
                    "keep one of the two",
                );
            }
            let takes = self.takes(s, slot, form)?;
            let place = self.place(&s.address, table, form, u32::from(n - 1) * stride, &key)?;
            let unit = match &slot.kind {
                Kind::Number { unit, .. } => unit.clone(),
                _ => None,
            };
            map.settings.push(Setting { key, unit, inlet: slot.inlet, place, takes });
        }
        Ok(())
    }
    fn takes(&self, s: &raw::Setting, slot: &Slot, form: Form) -> Result<Takes, Problem> {
        let at = || s.r#type.as_ref().map_or_else(|| s.function.span(), Spanned::span);
        let unfit = |remedy: &str| {
            let cause = format!("the type does not fit: {} is a setting of another kind", quoted(&slot.key));
            self.say.wrong(Wrong::Conflict, at(), cause, remedy)
        };
        let whole_number = matches!(form, Form::U16 | Form::I16 | Form::U32 | Form::I32);
        Ok(match (&slot.kind, form) {
            (Kind::Switch, Form::Bit(_) | Form::U16) => Takes::Switch,
            (Kind::Switch, _) => return unfit("a switch is a coil, or a \"u16\" of 0 or 1"),
            (Kind::Number { step, low, high, .. }, form) if !matches!(form, Form::Bit(_) | Form::Text(_)) => {
                let (scale, offset) = self.say.scale(s.scale.as_ref(), s.offset.as_ref())?;
                let counts = step / scale.abs();
                if !matches!(form, Form::F32 | Form::F64)
                    && (counts < 1.0 - 1e-9 || (counts - counts.round()).abs() > 1e-6)
                {
                    let cause = format!("the setting goes by steps of {step}, and a count of this register is {scale}");
                    let at = s.scale.as_ref().map_or_else(at, Spanned::span);
                    return self.say.wrong(
                        Wrong::Conflict,
                        at,
                        cause,
                        "correct `scale`: a step is a whole number of counts",
                    );
                }
                let (least, most) = reach(form);
                if let Some(end) = [low, high].into_iter().find(|x| !(least..=most).contains(&((**x - offset) / scale)))
                {
                    let cause = format!("{end} of the setting's range does not fit into this type");
                    return self.say.wrong(Wrong::Conflict, at(), cause, "use a wider type, or another scale");
                }
                Takes::Number { scale, offset, step: *step, range: (*low, *high) }
            }
            (Kind::Number { .. }, _) => {
                return unfit("a number is one of \"u16\", \"i16\", \"u32\", \"i32\", \"f32\", \"f64\"");
            }
            (Kind::Words(words), _) if whole_number => {
                let mut all: Vec<(u16, String)> = Vec::new();
                for (word, _) in words {
                    let Some(number) = s.words.get(word) else {
                        let cause = format!("nothing says which number the word {} has", quoted(word));
                        return self.say.wrong(
                            Wrong::MissingKey,
                            s.key.span(),
                            cause,
                            format!("add it to `words = {{ {word} = 0 }}`"),
                        );
                    };
                    let value = whole(self.say.source, number, 0, 65_535, "the number of a word")?;
                    if all.iter().any(|(other, _)| *other == value) {
                        return self.say.wrong(
                            Wrong::Duplicate,
                            number.span(),
                            "two words have this number",
                            "correct one of the two",
                        );
                    }
                    all.push((value, word.clone()));
                }
                Takes::Words(all)
            }
            (Kind::Words(_), _) => return unfit("words are numbers in a \"u16\""),
            (Kind::Text { .. }, Form::Text(_)) => Takes::Text,
            (Kind::Bytes { .. }, Form::Text(_)) => Takes::Bytes,
            (Kind::Text { .. } | Kind::Bytes { .. }, _) => return unfit("use \"text\" with `registers = 16`"),
        })
    }

    pub(super) fn command(&mut self, written: &Spanned<raw::Command>, map: &mut Map) -> Result<(), Problem> {
        let c = written.as_ref();
        let table = self.table(&c.function, false, true)?;
        let does = choice(self.say.source, &c.does, "something that can be ordered", &DOES)?;
        let form = if table.is_bits() { Form::Bit(0) } else { Form::U16 };
        if does == Command::Inhibit && table.is_bits() {
            let cause =
                "an inhibit by a coil holds until somebody ends it: a broken line would leave the site without alarms";
            let remedy = "name a register that takes for how many seconds the inhibit holds; where the unit has none, take this out";
            return self.say.wrong(Wrong::Conflict, c.function.span(), cause, remedy);
        }
        let outputs = i64::try_from(self.say.of.outputs.len()).unwrap_or(0);
        let times = match (does, &c.n) {
            (Command::Drive(_), Some(n)) => whole(self.say.source, n, 1, outputs, "the outputs that can be driven")?,
            (Command::Drive(_), None) => {
                return self.say.wrong(
                    Wrong::MissingKey,
                    c.does.span(),
                    "nothing says how far {n} goes",
                    "add `n`: how many outputs",
                );
            }
            (_, Some(n)) => return self.say.wrong(Wrong::Conflict, n.span(), "there is no {n} here", "take `n` out"),
            (_, None) => 1u8,
        };
        let number = |n: &Option<Spanned<i64>>, or: u16| match n {
            Some(n) => whole(self.say.source, n, 0, 65_535, "what is written"),
            None => Ok(or),
        };
        let (value, off) = (number(&c.value, 1)?, number(&c.off, 0)?);
        let takes = time(c.takes.read_or(self.say.source, 60.0)?);
        for n in 1..=times {
            let command = if matches!(does, Command::Drive(_)) { Command::Drive(n) } else { does };
            if map.command(command).is_some() {
                return self.say.wrong(
                    Wrong::Duplicate,
                    c.does.span(),
                    "this is ordered in two ways",
                    "keep one of the two",
                );
            }
            let place = self.place(&c.address, table, form, u32::from(n - 1), c.does.as_ref())?;
            map.commands.push((command, Ordered { place, value, off, takes }));
        }
        Ok(())
    }
}

/// What a type holds.
fn reach(form: Form) -> (f64, f64) {
    match form {
        Form::U16 => (0.0, 65_535.0),
        Form::I16 => (-32_768.0, 32_767.0),
        Form::U32 => (0.0, 4_294_967_295.0),
        Form::I32 => (-2_147_483_648.0, 2_147_483_647.0),
        Form::U64 => (0.0, 9e15),
        Form::F32 | Form::F64 | Form::Bit(_) | Form::Text(_) => (f64::MIN, f64::MAX),
    }
}

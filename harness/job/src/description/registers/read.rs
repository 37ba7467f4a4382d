//! What is read: numbers with their units, texts and single bits.
use super::{
    super::{means::who, raw_registers as raw},
    Reader,
};
use crate::{
    error::{Kind as Wrong, Problem, quoted},
    written::Spanned,
};
use plumeline_detector::{
    registers::map::{Form, Map, Number},
    told::Flag,
    vocabulary::FlowBasis,
};

impl Reader<'_, '_> {
    pub(super) fn value(
        &mut self,
        written: &Spanned<raw::Value>,
        stated: FlowBasis,
        basis: &mut Option<FlowBasis>,
        map: &mut Map,
    ) -> Result<(), Problem> {
        let v = written.as_ref();
        let form = self.form(&v.r#type, v.registers.as_ref())?;
        let table = self.table(&v.function, true, false)?;
        let stride = self.stride(v.stride.as_ref(), form)?;
        for n in 1..=self.say.times(&v.means, v.n.as_ref())? {
            let what = v.means.as_ref().replace("{n}", &n.to_string());
            let skip = u32::from(n - 1) * stride;
            if let Some(who) = who(&what) {
                if !matches!(form, Form::Text(_)) {
                    let cause = format!("{} is a text", quoted(&what));
                    return self.say.wrong(
                        Wrong::Conflict,
                        v.r#type.span(),
                        cause,
                        "write `type = \"text\"` with `registers = 8`",
                    );
                }
                let place = self.place(&v.address, table, form, skip, &what)?;
                map.texts.push((who, place));
                continue;
            }
            let quantity = self.say.quantity(&v.means, &what)?;
            if matches!(form, Form::Text(_)) {
                let cause = format!("{} is a number", quoted(&what));
                return self.say.wrong(
                    Wrong::Conflict,
                    v.r#type.span(),
                    cause,
                    "write a type of numbers, such as \"u16\" or \"f32\"",
                );
            }
            let place = self.place(&v.address, table, form, skip, &what)?;
            let (scale, offset) = self.say.scale(v.scale.as_ref(), v.offset.as_ref())?;
            let (si, of_flow) = self.say.si(&v.means, v.unit.as_ref(), v.bore.as_ref(), quantity, stated)?;
            if let Some(of_flow) = of_flow {
                if basis.is_some_and(|b| b != of_flow) {
                    let cause = "this flow refers to something else than the one before";
                    return self.say.wrong(
                        Wrong::Conflict,
                        v.means.span(),
                        cause,
                        "state all flows in units of one kind",
                    );
                }
                *basis = Some(of_flow);
            }
            let none = v.none.as_ref().map(|n| *n.as_ref());
            map.numbers.push((quantity, Number { place, scale, offset, none, si }));
        }
        Ok(())
    }

    pub(super) fn bits(&mut self, written: &Spanned<raw::Bits>, map: &mut Map) -> Result<(), Problem> {
        let b = written.as_ref();
        let table = self.table(&b.function, false, false)?;
        if b.bits.is_empty() {
            return self.say.wrong(
                Wrong::MissingKey,
                written.span(),
                "no bit means anything",
                "write `bits = { 0 = \"fault.flow\" }`",
            );
        }
        for (number, means) in &b.bits {
            let most = if table.is_bits() { 255 } else { 15 };
            let Some(number) = number.parse::<u8>().ok().filter(|n| *n <= most) else {
                let cause = format!("{} is no bit: they count from 0 to {most}", quoted(number));
                return self.say.wrong(
                    Wrong::Range,
                    means.span(),
                    cause,
                    "correct the number before the sign of equality",
                );
            };
            let flag = self.say.flag(means)?;
            // Several faults of a unit may be one in the neutral words.
            let many = matches!(flag, Flag::Fault(_) | Flag::FaultLatched(_) | Flag::Condition(_));
            if !many && map.flag(flag).is_some() {
                let cause = format!("{} stands twice", quoted(means.as_ref()));
                return self.say.wrong(Wrong::Duplicate, means.span(), cause, "keep one of the two");
            }
            let (form, skip) = if table.is_bits() { (Form::Bit(0), number.into()) } else { (Form::Bit(number), 0) };
            let place = self.place(&b.address, table, form, skip, means.as_ref())?;
            map.flags.push((flag, place));
        }
        Ok(())
    }
}

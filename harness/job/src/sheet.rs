//! The settings of a model as a sheet: to work from at a unit that takes them by its keys, or to fill in from one. As text for
//! people, and as CSV that is read back.
//!
//! Not here: what the settings should be.
use crate::{
    TEXT_LIMIT, csv,
    error::{Kind as Wrong, Problem, Source, quoted},
};
use plumeline_detector::settings::{Item, Settings, Value};
use plumeline_unit::{
    Description,
    description::{Kind, Slot},
};
use std::fmt::Write;

/// The columns of the CSV.
const COLUMNS: [&str; 4] = ["key", "meaning", "takes", "value"];

/// A row of a sheet.
struct Row<'a> {
    slot: &'a Slot,
    /// The value as it is typed; empty where there is none yet.
    value: String,
}

/// The rows of a unit with so many inlets, what belongs together together. Bytes stand on no sheet: nobody types them.
fn rows<'a>(d: &'a Description, inlets: u8, settings: Option<&Settings>) -> Vec<Row<'a>> {
    let mut slots: Vec<&Slot> = d.slots_with(inlets).filter(|slot| !matches!(slot.kind, Kind::Bytes { .. })).collect();
    slots.sort_by_key(|slot| slot.meaning.group());
    let value = |slot: &Slot| {
        settings.and_then(|s| s.get(&slot.key)).map_or_else(String::new, |item| match &item.value {
            Value::Text(text) => text.clone(),
            value => value.to_string(),
        })
    };
    slots.into_iter().map(|slot| Row { value: value(slot), slot }).collect()
}

/// What a setting takes, in words.
fn takes(kind: &Kind) -> String {
    match kind {
        Kind::Switch => "yes or no".into(),
        Kind::Number { unit, low, high, step } => {
            let unit = unit.as_deref().map(|u| format!(" {u}")).unwrap_or_default();
            format!("{low} to {high}{unit}, step {step}")
        }
        Kind::Words(words) => words.iter().map(|(word, _)| word.as_str()).collect::<Vec<_>>().join(", "),
        Kind::Text { longest } => format!("text, at most {longest} bytes"),
        Kind::Bytes { .. } => "bytes".into(),
    }
}

/// The sheet for people.
pub fn text(d: &Description, inlets: u8, settings: Option<&Settings>) -> String {
    let mut out = format!("Settings of {} {}, {inlets} inlets\n", d.maker, d.model);
    if let Some((_, hands)) = &d.display
        && let Some(how) = &hands.settings
    {
        let _ = writeln!(out, "Entered at the unit: {how}");
    }
    let rows = rows(d, inlets, settings);
    let widest = rows.iter().map(|r| r.slot.key.chars().count()).max().unwrap_or(0);
    let mut group = None;
    for row in &rows {
        let of = row.slot.meaning.group();
        if group != Some(of) {
            let _ = writeln!(out, "\n{}", of.title());
            group = Some(of);
        }
        let value = if row.value.is_empty() { "______________" } else { &row.value };
        let unit = match &row.slot.kind {
            Kind::Number { unit: Some(unit), .. } => format!(" {unit}"),
            _ => String::new(),
        };
        let gap = " ".repeat(widest - row.slot.key.chars().count());
        let _ = writeln!(out, "  [ ] {}{gap}  {value}{unit}", row.slot.key);
        let _ = writeln!(
            out,
            "      {}  {}; takes {}",
            " ".repeat(widest),
            row.slot.meaning.words(),
            takes(&row.slot.kind)
        );
    }
    out.push_str("\nEntered by: ____________________   Read back by: ____________________   Date: __________\n");
    out
}

/// The sheet as CSV (RFC 4180).
pub fn csv(d: &Description, inlets: u8, settings: Option<&Settings>) -> String {
    let cell = |text: &str| {
        let plain = !text.contains(['"', ',', ';', '\n', '\r']);
        if plain { text.to_owned() } else { format!("\"{}\"", text.replace('"', "\"\"")) }
    };
    let mut out = COLUMNS.join(",") + "\r\n";
    for row in rows(d, inlets, settings) {
        let all = [&row.slot.key, &row.slot.meaning.words(), &takes(&row.slot.kind), &row.value];
        out += &all.map(|text| cell(text)).join(",");
        out += "\r\n";
    }
    out
}

/// Reads a sheet that was filled in. Every setting of a unit with so many inlets must be there.
///
/// # Errors
/// What is wrong with it, with line, column and remedy.
pub fn parse(name: &str, bytes: &[u8], d: &Description, inlets: u8) -> Result<Settings, Problem> {
    let source = Source::new(name, bytes, TEXT_LIMIT)?;
    let mut read = csv::rows(&source);
    let header = read.next().transpose()?.unwrap_or_default();
    let column = |name: &str| header.iter().position(|cell| cell.text.trim().eq_ignore_ascii_case(name));
    let (Some(keys), Some(values)) = (column("key"), column("value")) else {
        let remedy = "begin with the row that `plumeline settings sheet --csv` writes: key,meaning,takes,value";
        return Err(source.problem(
            Wrong::MissingKey,
            csv::span(&header),
            "there is no column `key` or `value`",
            remedy,
        ));
    };
    let mut items: Vec<Item> = Vec::new();
    for row in read {
        let row = row?;
        let (Some(key), Some(written)) = (row.get(keys), row.get(values)) else {
            let cause = "this row has no value";
            return Err(source.problem(Wrong::MissingKey, csv::span(&row), cause, "fill the column `value` in"));
        };
        let Some(slot) = d.slot(&key.text) else {
            let cause = format!("{} is no setting of {} {}", quoted(&key.text), d.maker, d.model);
            return Err(source.problem(
                Wrong::UnknownName,
                key.span.clone(),
                cause,
                "correct the key, or take the row out",
            ));
        };
        if items.iter().any(|item| item.key == slot.key) {
            let cause = format!("{} stands twice", quoted(&slot.key));
            return Err(source.problem(Wrong::Duplicate, key.span.clone(), cause, "keep one of the two"));
        }
        let value = value(slot, &written.text).and_then(|value| slot.check(&value).map(|()| value)).map_err(|why| {
            source.problem(
                Wrong::Range,
                written.span.clone(),
                format!("{}: {why}", slot.key),
                format!("it takes {}", takes(&slot.kind)),
            )
        })?;
        let unit = match &slot.kind {
            Kind::Number { unit, .. } => unit.clone(),
            _ => None,
        };
        items.push(Item { key: slot.key.clone(), value, unit });
    }
    if let Some(missing) = rows(d, inlets, None).iter().find(|row| items.iter().all(|item| item.key != row.slot.key)) {
        let cause = format!("the setting {} is missing", quoted(&missing.slot.key));
        let end = source.text().len();
        return Err(source.problem(
            Wrong::MissingKey,
            end..end,
            cause,
            "add its row; an empty text is written as an empty value",
        ));
    }
    Settings::from_items(None, items).map_err(|key| {
        Problem::with_file(Wrong::Duplicate, name, format!("{} stands twice", quoted(&key)), "keep one of the two")
    })
}

/// A value as it is typed.
fn value(slot: &Slot, text: &str) -> Result<Value, String> {
    match &slot.kind {
        Kind::Switch => match text.to_lowercase().as_str() {
            "yes" | "y" | "on" | "true" => Ok(Value::Bool(true)),
            "no" | "n" | "off" | "false" => Ok(Value::Bool(false)),
            _ => Err(format!("{} is neither yes nor no", quoted(text))),
        },
        Kind::Number { unit, .. } => {
            let typed = plumeline_detector::display::numbers(text, unit.as_deref().unwrap_or_default(), 1)?;
            typed.first().copied().flatten().map(Value::Number).ok_or_else(|| "no number is filled in".into())
        }
        Kind::Words(_) | Kind::Text { .. } => Ok(Value::Text(text.into())),
        Kind::Bytes { .. } => Err("nobody types bytes".into()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::description::{SHIPPED, parse as description};

    fn model(name: &str) -> Description {
        let (_, text) = SHIPPED.into_iter().find(|(n, _)| *n == name).unwrap();
        description(name, text.as_bytes()).unwrap()
    }
    fn defaults(d: &Description, inlets: u8) -> Settings {
        let items = d.slots_with(inlets).filter_map(|slot| {
            let unit = match &slot.kind {
                Kind::Number { unit, .. } => unit.clone(),
                _ => None,
            };
            Some(Item { key: slot.key.clone(), value: slot.default.clone()?, unit })
        });
        Settings::from_items(None, items.collect()).unwrap()
    }

    #[test]
    fn a_sheet_is_read_back_as_it_was_written() {
        for name in ["model-b", "model-f"] {
            let d = model(name);
            let settings = defaults(&d, 2);
            let sheet = csv(&d, 2, Some(&settings));
            assert_eq!(parse("sheet.csv", sheet.as_bytes(), &d, 2).unwrap(), settings, "{name}");
            let semicolons = "key;value\r\n".to_owned()
                + &settings.items.iter().fold(String::new(), |out, i| {
                    let value =
                        if let Value::Text(t) = &i.value { t.clone() } else { i.value.to_string().replace('.', ",") };
                    out + &format!("{};{value}\r\n", i.key)
                });
            assert_eq!(parse("sheet.csv", semicolons.as_bytes(), &d, 2).unwrap(), settings, "{name}");
            let people = text(&d, 2, Some(&settings));
            assert!(settings.items.iter().all(|i| people.contains(&i.key)), "{people}");
        }
    }
    #[test]
    fn what_is_wrong_or_left_out_is_told_with_its_place() {
        let d = model("model-f");
        let sheet = csv(&d, 1, Some(&defaults(&d, 1)));
        let message = |text: String| parse("sheet.csv", text.as_bytes(), &d, 1).unwrap_err().render(false);
        let row = sheet.lines().find(|l| l.starts_with("al-1,")).unwrap();
        let with = |to: &str| message(sheet.replace(row, to));
        for (to, part) in [
            ("al-1,x,y,0.105", "between the steps"),
            ("al-1,x,y,99", "outside of"),
            ("al-1,x,y,", "1"),
            ("al-9,x,y,0.1", "no setting of"),
            ("", "`al-1` is missing"),
        ] {
            assert!(with(to).contains(part), "{to}: {}", with(to));
        }
        assert!(message(format!("{sheet}{row}\r\n")).contains("stands twice"));
        assert!(message("a,b\r\n1,2\r\n".into()).contains("no column `key`"));
        assert!(text(&d, 1, None).contains("______"), "to be filled in");
    }
}

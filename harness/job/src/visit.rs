//! The plan of an exchange of units made into that of a service visit at the unit that stayed.
//!
//! Comments and everything that a visit has too stay as they were written. Not here: which files the visit takes over (`plumeline new`).
use crate::{
    error::{Kind, Problem},
    folder,
};
use plumeline_procedure::{outcome::StageKind, plan::Wire};
use toml_edit::{ArrayOfTables, DocumentMut, Item, Table, value};

/// The plan with `visit` in it and without what belongs to the exchange. `serial` is of the unit that is expected on the wall; `wires`
/// are those of the outputs, where the plan itself has none.
///
/// # Errors
/// The text is no plan.
pub fn plan(text: &str, serial: Option<&str>, wires: &[Wire]) -> Result<String, Problem> {
    let mut doc: DocumentMut = text.parse().map_err(|e: toml_edit::TomlError| {
        Problem::with_file(
            Kind::Syntax,
            folder::PLAN,
            e.to_string(),
            "correct the plan first: `plumeline plan-check` shows the place",
        )
    })?;
    let exchanged = |table: &Table| {
        let stage = table.get("stage").and_then(Item::as_str).and_then(StageKind::parse);
        let said = table.get("exchange").and_then(Item::as_bool);
        said == Some(true) || stage.is_some_and(|s| s.row().traits.of_exchange)
    };
    doc.remove("outgoing");
    if let Some(stages) = doc.get_mut("stages").and_then(Item::as_array_of_tables_mut) {
        stages.retain(|stage| !exchanged(stage));
    }
    if let Some(list) = doc.get_mut("checklist").and_then(Item::as_array_of_tables_mut) {
        list.retain(|line| !exchanged(line));
    }
    if doc.get("visit").is_none() {
        let mut visit = value("keep-baseline");
        if let Some(v) = visit.as_value_mut() {
            v.decor_mut()
                .set_suffix("         # a service visit; \"new-baseline\" takes the baseline anew over proven airflow");
        }
        let at = doc.as_table_mut();
        at.insert("visit", visit);
    }
    if let Some(serial) = serial {
        let unit = doc.entry("replacement").or_insert_with(|| Item::Table(Table::new()));
        if let Some(unit) = unit.as_table_like_mut() {
            unit.insert("serial", value(serial));
            unit.remove("firmware");
        }
    }
    without_remarks_of(&mut doc);
    wired(&mut doc, wires);
    Ok(doc.to_string())
}

/// What the table `[outgoing]` left behind: its keys that were not stated, as remarks before the next table.
fn without_remarks_of(doc: &mut DocumentMut) {
    let Some(next) = doc.get_mut("replacement").and_then(Item::as_table_mut) else { return };
    let Some(before) = next.decor().prefix().and_then(|p| p.as_str()).map(str::to_owned) else { return };
    let of_unit =
        |line: &str| ["model", "serial", "firmware"].iter().any(|key| line.starts_with(&format!("# {key} = ")));
    let kept: String = before.split_inclusive('\n').filter(|line| !of_unit(line)).collect();
    next.decor_mut().set_prefix(kept);
}

fn wired(doc: &mut DocumentMut, wires: &[Wire]) {
    let outputs = doc.entry("outputs").or_insert_with(|| Item::Table(Table::new()));
    let Some(outputs) = outputs.as_table_like_mut().filter(|o| !wires.is_empty() && o.get("wire").is_none()) else {
        return;
    };
    let mut all = ArrayOfTables::new();
    for wire in wires {
        let mut table = Table::new();
        table.insert("output", value(i64::from(wire.output)));
        table.insert("function", value(&wire.function));
        wire.panel.iter().for_each(|panel| drop(table.insert("panel", value(panel))));
        wire.input.iter().for_each(|input| drop(table.insert("input", value(i64::from(*input)))));
        all.push(table);
    }
    outputs.insert("wire", Item::ArrayOfTables(all));
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{pipework, plan as plans};
    use plumeline_procedure::plan::Visit;

    #[test]
    fn the_template_becomes_a_visit_and_stays_one() {
        let wire = Wire { output: 1, function: "fault".into(), panel: Some("input 4".into()), input: None };
        let text = plan(plans::TEMPLATE, Some("B-0001"), std::slice::from_ref(&wire)).unwrap();
        assert!(
            !text.split("[replacement]").next().unwrap().contains("# model =")
                && text.contains("# What this job does")
                && !text.contains("Old unit")
                && !text.contains("old unit at"),
            "{text}"
        );
        let pipework = pipework::parse("pipework.toml", pipework::TEMPLATE.as_bytes()).unwrap();
        let read = |text: &str| {
            plans::parse("plan.toml", text.as_bytes(), &pipework.pipework)
                .unwrap_or_else(|p| panic!("{}\n{text}", p.render(false)))
        };
        let visit = read(&text).plan;
        assert_eq!((visit.visit, visit.replacement.serial.as_deref()), (Some(Visit::KeepBaseline), Some("B-0001")));
        assert!(visit.outgoing.is_none() && visit.outputs.wires == [wire]);
        let before = read(plans::TEMPLATE).plan;
        assert_eq!(visit.stages.len() + 3, before.stages.len());
        assert!(visit.checklist.len() < before.checklist.len() && visit.checklist.iter().all(|c| visit.has(c.stage)));
        assert_eq!(visit.limits, before.limits);
        let again = plan(&text.replace("keep-baseline", "new-baseline"), None, &[]).unwrap();
        assert_eq!(read(&again).plan.visit, Some(Visit::NewBaseline));
        assert!(plan("a = ", None, &[]).is_err());
    }
    #[test]
    fn a_visit_has_no_stage_of_an_exchange() {
        let pipework = pipework::parse("pipework.toml", pipework::TEMPLATE.as_bytes()).unwrap();
        let text = plan(plans::TEMPLATE, None, &[]).unwrap().replacen("stage = \"isolate\"", "stage = \"bench\"", 1);
        let problem = plans::parse("plan.toml", text.as_bytes(), &pipework.pipework).unwrap_err();
        assert!(problem.cause().contains("belongs to an exchange of units"), "{}", problem.cause());
    }
}

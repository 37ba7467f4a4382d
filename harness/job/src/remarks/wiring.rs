//! The wiring sheet against the outputs of the model and what the settings let them follow.
use super::{Code, Read, Remark};
use crate::folder;
use std::collections::BTreeSet;

/// Where the wiring sheet does not agree.
pub(super) fn agrees(read: &Read) -> Vec<Remark> {
    let (Some(plan), Some(described)) = (&read.plan, &read.replacement) else { return Vec::new() };
    let (wires, unit) = (&plan.plan.outputs.wires, read.unit());
    let used = unit.outputs_in_use().unwrap_or_default();
    let on = |n: usize, key: &str| format!("outputs.wire {n}, {key}");
    let add = |code, key: String, says: String| Remark::new(code, folder::PLAN, key, says);
    if wires.is_empty() {
        let says = format!("{} outputs are in use, and none has a line", used.len());
        return if used.is_empty() { Vec::new() } else { vec![add(Code::WiringMissing, "outputs".into(), says)] };
    }
    let mut remarks = Vec::new();
    let mut panels = BTreeSet::new();
    for (n, wire) in wires.iter().enumerate().map(|(i, w)| (i + 1, w)) {
        if described.output(wire.output).is_none() {
            let says = format!("a {} has no output {}", described.model, wire.output);
            remarks.push(add(Code::WireOutputUnknown, on(n, "output"), says));
            continue;
        }
        if let Some(input) = wire.input.filter(|i| *i > described.inputs) {
            let says = format!("a {} has no input {input}", described.model);
            remarks.push(add(Code::WireInputUnknown, on(n, "input"), says));
        }
        if let Some(panel) = wire.panel.as_deref().filter(|p| !panels.insert(p.trim().to_lowercase())) {
            remarks.push(add(Code::WirePanelTwice, on(n, "panel"), format!("\"{panel}\" stands twice")));
        }
        let follows = unit.output(wire.output);
        let differs = match (unit.function_called(wire.output, &wire.function), &follows) {
            (Err(why), _) => Some(why.to_string()),
            (Ok(f), Ok(output)) if f != output.function => Some(format!(
                "output {} stands for \"{}\" here; by the settings it follows \"{}\"",
                wire.output, wire.function, output.said
            )),
            _ => None,
        };
        remarks.extend(differs.map(|says| add(Code::WireFunctionDiffers, on(n, "function"), says)));
    }
    // A line with a wrong number may be meant for any of them.
    if remarks.iter().any(|r| r.code == Code::WireOutputUnknown) {
        return remarks;
    }
    for output in used.iter().filter(|u| !wires.iter().any(|w| w.output == u.number)) {
        let says = format!("output {} follows \"{}\" and has no line", output.number, output.said);
        remarks.push(add(Code::OutputUnwired, "outputs.wire".into(), says));
    }
    remarks
}

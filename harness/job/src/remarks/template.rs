//! Whether something still stands as the template of a new job has it.
use super::{Code, Read, Remark};
use crate::{
    folder,
    pipework::{self, PipeworkFile},
    plan,
};
use plumeline_base::pipework::{Drive, NodeId, Pipework};

/// What is still the template's.
pub(super) fn untouched(read: &Read) -> Vec<Remark> {
    let mut remarks = Vec::new();
    remarks.extend(read.pipework.iter().flat_map(untouched_pipework));
    // The template is one of the tool's own files: a test holds it to be sound.
    let Ok(template) = pipework::parse(folder::PIPEWORK, pipework::TEMPLATE.as_bytes()) else { return remarks };
    let Ok(template) = plan::parse(folder::PLAN, plan::TEMPLATE.as_bytes(), &template.pipework) else { return remarks };
    if let Some(file) = &read.plan {
        let (mine, its) = (&file.plan, &template.plan);
        let mut same = |code, key: &str, mine: &str, its: &str| {
            if mine.trim().is_empty() || mine == its {
                remarks.push(Remark::new(code, folder::PLAN, key, format!("it is still \"{mine}\"")));
            }
        };
        same(Code::SiteUntouched, "site", &mine.site, &its.site);
        same(Code::TechnicianUntouched, "technician", &mine.technician, &its.technician);
    }
    remarks
}

/// What of a pipework is still the template's.
pub fn untouched_pipework(file: &PipeworkFile) -> Vec<Remark> {
    let mut remarks = Vec::new();
    if let Ok(template) = pipework::parse(folder::PIPEWORK, pipework::TEMPLATE.as_bytes()) {
        pipework_untouched(&file.pipework, &template.pipework, &mut remarks);
    }
    remarks
}

fn pipework_untouched(mine: &Pipework, its: &Pipework, remarks: &mut Vec<Remark>) {
    let mut add = |code, key: &str, says: String| remarks.push(Remark::new(code, folder::PIPEWORK, key, says));
    if mine.name.trim().is_empty() || mine.name == its.name {
        add(Code::PipeworkNameUntouched, "name", format!("it is still \"{}\"", mine.name));
    }
    if let (Drive::Fan(mine), Drive::Fan(its)) = (&mine.unit.drive, &its.unit.drive)
        && mine.curve == its.curve
    {
        add(Code::FanUntouched, "unit.fan.curve", "it is still the invented curve of the template".into());
    }
    let Some(example) = its.inlets.iter().find_map(|i| i.node).map(|at| laid(its, at)) else { return };
    for (inlet, node) in mine.inlets.iter().filter_map(|i| Some((i.number, i.node?))) {
        if laid(mine, node) == example {
            add(
                Code::PipesUntouched,
                "pipe",
                format!("the pipe at inlet {inlet} is still the example of the template"),
            );
        }
    }
}

/// The pipe that begins at a node, as it is laid: lengths, bores, heights, and what is open along it.
fn laid(p: &Pipework, from: NodeId) -> Vec<[f64; 4]> {
    let height = |node: NodeId| p.nodes.get(node as usize).map_or(f64::NAN, |n| n.elevation_m);
    let (mut at, mut steps) = (vec![from], Vec::new());
    while let Some(node) = at.pop() {
        let openings = p.openings.iter().filter(|o| o.node == node);
        steps.extend(
            openings.map(|o| [f64::from(o.number), o.diameter_m, o.discharge, f64::from(u8::from(o.reachable))]),
        );
        // Rings come back to where they began: no pipe has more steps than the pipework has parts.
        if steps.len() > p.segments.len() + p.openings.len() {
            break;
        }
        for s in p.segments.iter().filter(|s| s.near == node) {
            steps.push([s.length_m, s.bore_m, s.minor_k, height(s.far) - height(node)]);
            at.push(s.far);
        }
    }
    steps
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_template_is_untouched() {
        let bytes = |name: &str| match name {
            folder::PIPEWORK => Some(pipework::TEMPLATE.as_bytes()),
            folder::PLAN => Some(plan::TEMPLATE.as_bytes()),
            _ => None,
        };
        let mut remarks = Vec::new();
        let read = Read::of(bytes, &mut remarks);
        assert_eq!(remarks, []);
        let codes: Vec<Code> = untouched(&read).into_iter().map(|r| r.code).collect();
        use Code::*;
        assert_eq!(codes, [PipeworkNameUntouched, FanUntouched, PipesUntouched, SiteUntouched, TechnicianUntouched]);
    }
}

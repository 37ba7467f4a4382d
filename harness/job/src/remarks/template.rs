//! Whether something still stands as the template of a new job has it.
use super::{Code, Read, Remark};
use crate::{folder, pipework, plan};
use plumeline_base::pipework::{Drive, Pipework};

/// What is still the template's.
pub(super) fn untouched(read: &Read) -> Vec<Remark> {
    let mut remarks = Vec::new();
    // The template is one of the tool's own files: a test holds it to be sound.
    let Ok(template) = pipework::parse(folder::PIPEWORK, pipework::TEMPLATE.as_bytes()) else { return remarks };
    if let Some(file) = &read.pipework {
        pipework_untouched(&file.pipework, &template.pipework, &mut remarks);
    }
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
    let laid = |p: &Pipework| (p.nodes.clone(), p.segments.clone(), p.openings.clone());
    if laid(mine) == laid(its) {
        add(Code::PipesUntouched, "pipe", "the pipes are still those of the template".into());
    }
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

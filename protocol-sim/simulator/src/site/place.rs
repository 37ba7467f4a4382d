//! Where in the pipework a defect, a hole or a pipe is.
use crate::defect::{Defect, DefectError, DefectKind};
use plumeline_base::pipework::{OpeningKind, Pipework, SegmentKind};

/// A defect with its place.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Place {
    pub(super) defect: Defect,
    /// Index of the inlet that the pipe belongs in.
    pub(super) inlet: usize,
    /// The other pipe's.
    pub(super) other: Option<usize>,
    /// Openings concerned.
    pub(super) openings: Vec<usize>,
    /// Segment concerned.
    pub(super) segment: Option<usize>,
}

/// Index of the inlet with this number, if a pipe belongs in it.
pub(super) fn pipe(design: &Pipework, number: u8) -> Option<usize> {
    design.inlets.iter().position(|i| i.number == number && i.node.is_some())
}
/// Index of hole `hole` of the pipe in inlet `inlet`.
pub(super) fn opening(design: &Pipework, inlet: usize, hole: u32) -> Option<usize> {
    design.openings_by_inlet().get(inlet)?.iter().copied().find(|&i| design.openings[i].number == hole)
}

/// Finds the place of a defect, or says why it has none.
pub(super) fn place(design: &Pipework, defect: Defect) -> Result<Place, DefectError> {
    let kind = defect.kind;
    let no = |why| DefectError::NoPlace { kind, why };
    let mut place = Place { defect: defect.check()?, inlet: 0, other: None, openings: Vec::new(), segment: None };
    match kind {
        DefectKind::InletLeftOpen => {
            let free =
                |i: &plumeline_base::pipework::Inlet| i.node.is_none() && defect.pipe.is_none_or(|p| p == i.number);
            place.inlet = design.inlets.iter().position(free).ok_or(no("there is no such inlet without a pipe"))?;
            return Ok(place);
        }
        DefectKind::FilterClogged
        | DefectKind::FanSettingWrong
        | DefectKind::ExhaustOff
        | DefectKind::SettingLost
        | DefectKind::WiresCrossed => return Ok(place),
        _ => {}
    }
    place.inlet = match defect.pipe {
        Some(number) => pipe(design, number).ok_or(no("there is no such pipe"))?,
        None => design.inlets.iter().position(|i| i.node.is_some()).ok_or(no("there is no pipe"))?,
    };
    let all = design.openings_by_inlet();
    let own = all.get(place.inlet).map(Vec::as_slice).unwrap_or_default();
    let is_cap = |i: &usize| design.openings[*i].kind != OpeningKind::Hole;
    let holes: Vec<usize> = own.iter().copied().filter(|i| !is_cap(i)).collect();
    let chosen = || match defect.hole {
        Some(n) => own.iter().copied().find(|&i| design.openings[i].number == n).ok_or(no("there is no such hole")),
        None => holes.get(holes.len() / 2).copied().ok_or(no("the pipe has no holes")),
    };
    match kind {
        DefectKind::HoleBlocked | DefectKind::HolePartlyBlocked | DefectKind::WrongHoleDrilled => {
            place.openings.push(chosen()?);
        }
        DefectKind::HolesBlocked => {
            let n = libm::round(defect.severity()) as usize;
            let first = chosen()?;
            let from = holes.iter().position(|&i| i == first).unwrap_or(0).min(holes.len().saturating_sub(n));
            place.openings.extend(holes.iter().skip(from).take(n));
        }
        DefectKind::EndCapMissing | DefectKind::CapBlocked => {
            let cap = own.iter().copied().filter(is_cap).max_by_key(|&i| design.openings[i].number);
            place.openings.push(cap.ok_or(no("the pipe has no end cap"))?);
        }
        DefectKind::PipesCrossed => {
            let pipes: Vec<usize> =
                design.inlets.iter().enumerate().filter(|(_, i)| i.node.is_some()).map(|(i, _)| i).collect();
            let at = pipes.iter().position(|&i| i == place.inlet).unwrap_or(0);
            let other = pipes.get(at + 1).or_else(|| pipes.first()).copied();
            place.other = Some(other.filter(|&o| o != place.inlet).ok_or(no("there is only one pipe"))?);
        }
        DefectKind::CapillaryKinked => {
            let mut kinked = own.iter().filter_map(|&i| {
                let node = design.openings[i].node;
                let wanted = defect.hole.is_none_or(|n| n == design.openings[i].number);
                let capillary =
                    |s: &plumeline_base::pipework::Segment| s.far == node && s.kind == SegmentKind::Capillary;
                design.segments.iter().position(capillary).filter(|_| wanted)
            });
            place.segment = Some(kinked.next().ok_or(no("there is no such capillary"))?);
        }
        _ => {}
    }
    Ok(place)
}

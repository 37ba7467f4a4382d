//! Holes that changed against the other holes of their pipe.
//!
//! A drop is a difference of one sensor within minutes: calibration, air, fan and filter move all drops of a pipe alike. So each
//! hole is held against the middle of the others, and one that changed is no measure for the others.
use crate::{Change, Comparison, Record, Standing, VISITS, line, median, more_or_less, ratio};
use plumeline_measure::stats::NORMAL_BY_MEDIAN;
use plumeline_procedure::outcome::{Figure, Subject};

/// Part of a common change that holes at different places along a pipe may differ by: the flow takes another form of friction.
const UNEVEN: f64 = 0.1;
/// Holes that can be told from each other.
const LEAST: usize = 3;

/// A hole that was closed at both visits.
#[derive(Clone, Debug)]
pub(crate) struct Pair {
    pub(crate) inlet: u8,
    pub(crate) number: u32,
    pub(crate) old: Figure,
    pub(crate) new: Figure,
    pub(crate) ln: f64,
    pub(crate) u: f64,
}

/// What a hole changed by beside what it has in common with the others.
#[derive(Clone, Debug)]
pub(crate) struct Own {
    pub(crate) pair: Pair,
    pub(crate) ln: f64,
    pub(crate) u: f64,
    pub(crate) changed: bool,
}

pub(crate) fn pairs(old: &Record, new: &Record, open: &mut Vec<String>) -> Vec<Pair> {
    let (before, now) = (old.outcome.drops(), new.outcome.drops());
    let mut pairs = Vec::new();
    let mut places: Vec<(u8, u32)> = before.iter().chain(&now).map(|(at, _)| *at).collect();
    places.sort_unstable();
    places.dedup();
    if places.is_empty() {
        open.push("holes: no record holds what single holes draw".into());
    }
    for (inlet, number) in places {
        let of = |all: &[((u8, u32), &Figure)]| {
            all.iter().find(|(at, _)| *at == (inlet, number)).map(|(_, figure)| (*figure).clone())
        };
        let (Some(was), Some(is)) = (of(&before), of(&now)) else {
            open.push(format!("pipe {inlet} hole {number}: closed at one visit only"));
            continue;
        };
        match ratio((&was, old.k()), (&is, new.k())) {
            Some((ln, u)) => pairs.push(Pair { inlet, number, old: was, new: is, ln, u: u.hypot(VISITS) }),
            None => open.push(format!("pipe {inlet} hole {number}: {was}, now {is}: no ratio with an uncertainty")),
        }
    }
    pairs
}

/// What each hole changed by of its own; empty where there are too few to tell.
pub(crate) fn own_changes(pairs: &[Pair], z: f64) -> Vec<Own> {
    let mut changed = vec![false; pairs.len()];
    let of = |at: usize, changed: &[bool]| -> Option<(f64, f64)> {
        let of_pipe = pairs.iter().filter(|p| p.inlet == pairs[at].inlet).count();
        let others: Vec<&Pair> = (0..pairs.len())
            .filter(|i| *i != at && !changed[*i] && (of_pipe < LEAST || pairs[*i].inlet == pairs[at].inlet))
            .map(|i| &pairs[i])
            .collect();
        if pairs.len() < LEAST || others.is_empty() {
            return None;
        }
        let common = median(others.iter().map(|p| p.ln));
        // Of a median of about normal values: pi / 2 times the variance of a mean.
        let of_common = others.iter().map(|p| p.u * p.u).sum::<f64>() / (others.len() * others.len()) as f64;
        // Where a pipe turns turbulent between the visits, its holes change unevenly: what the others differ by beyond what is known of them
        // counts for this one too.
        let scatter = NORMAL_BY_MEDIAN * median(others.iter().map(|p| (p.ln - common).abs()));
        let stated = median(others.iter().map(|p| p.u));
        let uneven = (UNEVEN * common).powi(2).max(scatter * scatter - stated * stated);
        let u = (pairs[at].u.powi(2) + of_common * core::f64::consts::FRAC_PI_2 + uneven).sqrt();
        Some((pairs[at].ln - common, u))
    };
    loop {
        let worst = (0..pairs.len())
            .filter(|at| !changed[*at])
            .filter_map(|at| of(at, &changed).map(|(ln, u)| (at, ln.abs() / u)))
            .filter(|(_, ratio)| *ratio > z)
            .max_by(|a, b| a.1.total_cmp(&b.1));
        match worst {
            Some((at, _)) => changed[at] = true,
            None => break,
        }
    }
    let own = |(at, pair): (usize, &Pair)| {
        let (ln, u) = of(at, &changed)?;
        Some(Own { pair: pair.clone(), ln, u, changed: changed[at] })
    };
    pairs.iter().enumerate().filter_map(own).collect()
}

pub(crate) fn judge(own: &[Own], found: &mut Comparison) {
    for Own { pair, ln, u, changed } in own {
        let about = Subject::Hole(pair.inlet, pair.number);
        let standing = if *changed { Standing::Changed } else { Standing::AsBefore };
        found.lines.push(line(
            about.clone(),
            "what closing it takes off the flow",
            (&pair.old, &pair.new),
            (*ln, *u),
            standing,
        ));
        if !changed {
            continue;
        }
        let by = more_or_less(*ln, *u);
        let says =
            format!("draws {by} than it did, beside what the other holes changed by ({}, now {})", pair.old, pair.new);
        let (code, likely) = if *ln < 0.0 {
            (
                "hole.less",
                "dirt, paint or tape in the hole, or a capillary that is kinked: clean it, and close it once more",
            )
        } else {
            (
                "hole.more",
                "a hole that was widened, a lost insert or cap, or one that was partly blocked before: look at it",
            )
        };
        found.changes.push(Change { about, code, says, likely });
    }
}

//! A campaign's counts as tables that people read (Markdown).
use super::{
    interval::Share,
    matrix::{Caught, Counts, Matrix, Row, WrongKind},
};
use plumeline_procedure::StageKind;
use std::{collections::BTreeMap, fmt::Write as _};

fn percent(x: f64) -> String {
    format!("{:.1}", x * 100.0)
}
/// The share with its interval, in per cent.
fn share(s: &Share) -> String {
    if s.n == 0 { "–".into() } else { format!("{} ({}–{})", percent(s.value()), percent(s.low), percent(s.high)) }
}
/// The share with its lower bound, in per cent.
fn at_least(s: &Share) -> String {
    if s.n == 0 { "–".into() } else { format!("{} (≥ {})", percent(s.value()), percent(s.low)) }
}
fn stages(s: &BTreeMap<StageKind, u32>) -> String {
    s.iter().map(|(s, n)| format!("{s} {n}")).collect::<Vec<_>>().join(", ")
}

/// The whole of it.
pub fn of(m: &Matrix) -> String {
    let mut t = String::new();
    let h = &m.head;
    let _ = writeln!(t, "Job seeds {} to {}, version {}.\n", h.seed, h.seed + h.runs.saturating_sub(1), h.tool);
    let _ = writeln!(
        t,
        "| sites | jobs | closing holes: pass % | fail % | undecided % | flow only: pass % | fail % | undecided % |"
    );
    let _ = writeln!(t, "|---|---|---|---|---|---|---|---|");
    let counts = |c: &Counts| format!("{} | {} | {}", share(&c.passed), share(&c.failed), share(&c.undecided));
    for s in &m.sites {
        let _ = writeln!(t, "| {} | {} | {} | {} |", s.name, s.holes.passed.n, counts(&s.holes), counts(&s.flow_only));
    }
    let _ = writeln!(t, "\nStopped, by the stage of the finding (closing holes):\n");
    for s in &m.sites {
        let _ = writeln!(t, "- {}: {}", s.name, stages(&s.holes.stages));
    }
    let _ = writeln!(
        t,
        "\n| material defect | cases | mild | stopped % | before the baseline % | as fail % | alone % | tellable: n | stopped % | flow only: stopped % | as fail % | tellable by flow: n | as stopped % | shift: flow | hole | time | stages |\n|---|---|---|---|---|---|---|---|---|---|---|---|---|---|---|---|---|"
    );
    for row in m.defects.iter().chain([&m.of_air, &m.all]) {
        line(&mut t, row);
    }
    let _ = writeln!(
        t,
        "\n| figure | how many | 95 % interval held the truth % | median error % | median half-width % |\n|---|---|---|---|---|"
    );
    for f in &m.figures {
        let (c, bias) = (&f.covered, f.bias * 100.0);
        let _ = writeln!(t, "| {} | {} | {} | {bias:+.1} | {} |", f.name, c.n, share(c), percent(f.expanded));
    }
    let o = &m.onset;
    let _ = writeln!(
        t,
        "\nOnset against the true first arrival, {} releases: median error {:+.2} s, median size {:.2} s or {} % of the time; within 1 s or 2 %: {} %\n",
        o.within.n,
        o.bias_s,
        o.median_s,
        percent(o.median_share),
        share(&o.within)
    );
    let s = &m.smoke;
    let _ = writeln!(
        t,
        "Smoke came to the sensor in {} releases: {} were not timed, of {} it was said that nothing rose\n",
        s.came, s.not_timed, s.nothing_rose
    );
    for w in &m.wrong {
        let what = match w.kind {
            WrongKind::Missed => "MISSED",
            WrongKind::FalseStop => "false stop",
            WrongKind::SoundUndecided => "sound, undecided",
        };
        let shift = w.shift.map(|s| format!(" (shift {s:.1})")).unwrap_or_default();
        let _ = writeln!(t, "- {what}: {} [{}]{shift} {}{}", w.seed, w.defects, w.says, w.material.join("; "));
    }
    t
}

fn line(t: &mut String, r: &Row) {
    let shift = r.shift.map_or("– | – | –".into(), |s| format!("{:.1} | {:.1} | {:.1}", s.flow, s.hole, s.time));
    let caught = |c: &Caught| format!("{} | {}", at_least(&c.stopped), percent(c.failed.value()));
    let _ = writeln!(
        t,
        "| {} | {} | {} | {} | {} | {} | {} | {} | {} | {} | {} | {} | {shift} | {} |",
        r.name,
        r.holes.stopped.n,
        r.mild,
        at_least(&r.holes.stopped),
        at_least(&r.holes.before_baseline),
        percent(r.holes.failed.value()),
        at_least(&r.alone),
        r.tellable.n,
        at_least(&r.tellable),
        caught(&r.flow_only),
        r.tellable_by_flow.n,
        at_least(&r.tellable_by_flow),
        stages(&r.holes.stages),
    );
}

//! What a warning says where it is held against a limit of the design. Not here: how warnings are gathered (the runtime).
use super::{Predicted, options::origin};
use plumeline_airflow::warnings::Remark;
use plumeline_runtime::warnings;

/// A remark with the limit that it leaves, if it is one of the design's.
pub fn says(p: &Predicted, what: &Remark) -> String {
    let l = &p.limits;
    // No sign before a zero.
    let zero = |x: f64, step: f64| if x.abs() < step { 0.0 } else { x };
    let what = &match *what {
        Remark::Starved(x) => Remark::Starved(zero(x, 0.05)),
        Remark::Unbalanced(x) => Remark::Unbalanced(zero(x, 0.005)),
        other => other,
    };
    match what {
        Remark::Starved(_) => format!("{what}, under {} Pa ({})", l.suction.value, origin(&l.suction)),
        Remark::Slow(f64::INFINITY) => "nothing from here ever arrives".to_owned(),
        Remark::Slow(_) => format!("{what}, over {} s ({})", l.transport.value, origin(&l.transport)),
        Remark::Unbalanced(_) => {
            format!("{what}, under {:.0} % ({})", l.balance.value * 100.0, origin(&l.balance))
        }
        _ => what.to_string(),
    }
}

/// All warnings, one paragraph each.
pub fn paragraphs(p: &Predicted) -> Vec<String> {
    let all = warnings::paragraphs(p.pipework(), &p.forest, &p.warnings, |what| says(p, what));
    all.into_iter().map(|(_, text)| text).collect()
}

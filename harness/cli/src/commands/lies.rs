//! `plumeline lies`: what a simulated replacement can lie about.
use plumeline_runtime::{
    failure::{Exit, Failure},
    show::print_result,
};
use plumeline_simulator::LieKind;

/// `plumeline lies`
pub fn lies() -> Result<Exit, Failure> {
    let mut class = None;
    for kind in LieKind::all() {
        if class.replace(kind.class()) != Some(kind.class()) {
            print_result(kind.class().name());
        }
        print_result(&format!("  {kind:<26} {}", kind.does()));
        if !kind.measure().is_empty() {
            let (low, high) = kind.severity_range();
            let usual = kind.usual_severity();
            print_result(&format!("  {:<26} severity: {} (usually {usual}, {low} to {high})", "", kind.measure()));
        }
    }
    Ok(Exit::Pass)
}

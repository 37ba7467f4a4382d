//! `plumeline predict`: the table of what every pipe and hole should do, the same as JSON, and as a drawing.
use crate::{
    args::Predict,
    output,
    predict::{
        Predicted, drawing, json,
        options::{Level, Limits},
        table,
    },
};
use plumeline_job::{pipework, remarks};
use plumeline_runtime::{
    failure::{Exit, Failure},
    show::{print_progress, print_result, print_trouble},
};

/// Draws where none are asked for: an interval's ends are then known to a few per cent of its width, and the work stays bounded.
fn usual_draws(openings: usize) -> u32 {
    u32::try_from(2_000_000 / openings.max(1)).unwrap_or(u32::MAX).clamp(1000, 10_000)
}

/// `plumeline predict`
pub fn predict(args: &Predict) -> Result<Exit, Failure> {
    let limits = Limits::new(args.limit.as_deref())?;
    let levels = args.obscuration.iter().map(|text| Level::parse(text)).collect::<Result<Vec<_>, _>>()?;
    let name = args.file.display().to_string();
    let file = pipework::read(&args.file)?;
    // Standard output is for what was asked for.
    for remark in remarks::untouched(&file).iter().chain(&remarks::implausible(&file)) {
        print_trouble(&remark.text());
    }
    let draws = args.draws.unwrap_or_else(|| usual_draws(file.pipework.openings.len()));
    let predicted = Predicted::new(&name, file, draws, limits, levels)?;
    if let Some(path) = &args.svg {
        output::put(path, drawing::svg(&predicted).as_bytes(), "write the drawing", &[&args.file])?;
    }
    print_result(if args.json { json::text(&predicted)? } else { table::text(&predicted) }.trim_end());
    if let (Some(path), false) = (&args.svg, args.json) {
        print_progress(&format!("\nthe drawing is in {}", path.display()));
    }
    Ok(Exit::Pass)
}

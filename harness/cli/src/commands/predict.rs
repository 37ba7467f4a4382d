//! `plumeline predict`: the table of what every pipe and hole should do.
use crate::{
    args::Predict,
    failure::{Exit, Failure},
    load, show,
};
use plumeline_job::{Problem, pipework};

/// `plumeline predict`
pub fn predict(args: &Predict) -> Result<Exit, Failure> {
    let bytes = std::fs::read(&args.file).map_err(|e| Problem::from_io(&args.file, "read the pipework", &e))?;
    let file = pipework::parse(&args.file.display().to_string(), &bytes)?;
    let prediction = load::predict(&file, args.draws)?;
    let text = serde_json::to_string_pretty(&prediction).map_err(|e| Failure::internal(e.to_string()))?;
    show::line(&text);
    Ok(Exit::Pass)
}

//! `plumeline campaign --means`: the campaign's sites with a replacement that is asked in one way.
//!
//! Not here: what is drawn and counted (the lab crate).
use super::invented::{self, Job};
use crate::{
    args::{AskedThrough, Campaign},
    capture::{self, Captured},
    carrying::{self, Described, Given},
    output,
};
use plumeline_base::Instant;
use plumeline_job::{Problem, folder, pipework, settings};
use plumeline_lab::campaign::means::{self, Prepared, Prepares, Runs};
use plumeline_runtime::{
    failure::{Exit, Failure},
    job_files::Files,
    scenario,
    show::print_progress,
};
use std::path::Path;

/// Names of what is written to a campaign's folder.
const JOBS: &str = "means.jsonl";
const TEXT: &str = "means.md";

/// `plumeline campaign --means`
pub(super) fn campaign(args: &Campaign, by: AskedThrough) -> Result<Exit, Failure> {
    let runs = Runs { seed: args.seed, runs: args.runs, slips: args.slips };
    let all = means::run(runs, args.threads, &Invented::with(by)?)?;
    let words = means::text(&all);
    if let Some(dir) = &args.out {
        std::fs::create_dir_all(dir).map_err(|e| Problem::from_io(dir, "make the campaign's folder", &e))?;
        let told = |e: serde_json::Error| Failure::internal(e.to_string());
        let lines = all.iter().map(serde_json::to_string).collect::<Result<Vec<_>, _>>().map_err(told)?;
        for (name, text) in [(JOBS, lines.join("\n") + "\n"), (TEXT, words.clone())] {
            output::put(&dir.join(name), text.as_bytes(), "write what came of the campaign", &[])?;
        }
    }
    print_progress(words.trim_end());
    Ok(Exit::Pass)
}

/// `plumeline campaign --means --explain`
pub(super) fn explain(args: &Campaign, by: AskedThrough, seed: u64, dir: &Path) -> Result<Exit, Failure> {
    means::explain(seed, args.slips, &Invented::with(by)?, dir, args.force)
}

/// The demonstration's job with one replacement, at other pipes.
struct Invented {
    replacement: &'static str,
    job: Job,
    described: Described,
}
impl Invented {
    fn with(by: AskedThrough) -> Result<Self, Failure> {
        let replacement = by.replacement();
        // The plan of the small site, the four inlets of the whole one.
        let job = Job { pipework: Job::find(false, replacement)?.pipework, ..Job::find(true, replacement)? };
        let described = Described::find(replacement)?;
        let (job, described) = match by {
            AskedThrough::Meter => (job.by_meter(), invented::without_flow(&described)?),
            AskedThrough::Logger => (job.by_logger(), described),
            _ => (job, described),
        };
        Ok(Self { replacement, job, described })
    }
}
impl Prepares for Invented {
    fn pipework(&self, air: &str, pipes: &str) -> Result<String, Failure> {
        let text = invented::between(&self.job.pipework, "[air]", "[unit]", air)?;
        let (unit, _) = text.split_once("\n[[pipe]]").ok_or_else(|| Failure::internal("a pipework without pipes"))?;
        Ok(format!("{unit}\n{pipes}"))
    }
    fn job(&self, pipework: &str, seed: u64) -> Result<Prepared, Failure> {
        let read = pipework::parse(folder::PIPEWORK, pipework.as_bytes())?.pipework;
        let mut earlier = scenario::simulation(scenario::site(read, seed, &[], true)?, Instant::START)?;
        let Captured { unit, settings } = capture::from_simulation(&mut earlier, Instant::START)?;
        let old = settings::to_json(&settings, Some(&unit), true)?;
        let carried = carrying::carry_over(&Given {
            settings: (folder::SETTINGS_OLD, &old),
            from: None,
            to: &self.described,
            decisions: Some((folder::DECISIONS, self.job.decisions.as_bytes())),
            pipework: pipework.as_bytes(),
            plan: self.job.plan.as_bytes(),
        })?;
        let open = || Failure::internal(format!("the settings for {} are not all decided", self.replacement));
        let (from, to) = carried.described;
        let files = [
            (folder::PIPEWORK, pipework.as_bytes().to_vec()),
            (folder::PLAN, self.job.plan.as_bytes().to_vec()),
            (folder::SETTINGS_NEW, carried.new.ok_or_else(open)?),
            (folder::UNIT_OUTGOING, from.bytes),
            (folder::UNIT_REPLACEMENT, to.bytes),
        ];
        let files = Files(files.into_iter().map(|(name, bytes)| (name.to_owned(), bytes)).collect());
        Ok(Prepared { files, model: self.job.model.clone(), fault_wire: self.job.fault_wire })
    }
}

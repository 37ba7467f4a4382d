//! Arguments of the commands that run many jobs.
use super::AskedThrough;
use clap::Args;
use plumeline_lab::campaign::record::Shard;
use std::path::PathBuf;

/// Run many simulated replacements.
#[derive(Args, Debug)]
pub struct Campaign {
    /// How many jobs the whole campaign has.
    #[arg(long, default_value_t = 100, value_parser = clap::value_parser!(u64).range(1..=10_000_000))]
    pub runs: u64,
    /// Seed of the first job; the others follow one by one.
    #[arg(long, default_value_t = 1, value_parser = clap::value_parser!(u64).range(..=u64::MAX / 2))]
    pub seed: u64,
    /// Only this part: 1/4 is the first of four.
    #[arg(long, value_name = "I/N", default_value = "1/1", value_parser = Shard::parse)]
    pub shard: Shard,
    /// Threads, 0: as many as there are cores. The result does not depend on them.
    #[arg(long, default_value_t = 0)]
    pub threads: usize,
    /// Write every job and the counts to this folder; with --explain: the folder of the job.
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
    /// Units that lie at sound sites instead of defects: so many runs of every lie, in a matrix of their own.
    #[arg(long, conflicts_with_all = ["shard", "merge", "explain"])]
    pub lies: bool,
    /// With --lies or --explain: this lie only, NAME or NAME:SEVERITY. May be given several times.
    #[arg(long, value_name = "NAME", conflicts_with_all = ["shard", "merge", "no_holes"])]
    pub lie: Vec<String>,
    /// The replacement is asked in this way, as by `demo --unit`; with counts of their own.
    #[arg(long, value_name = "HOW", conflicts_with_all = ["shard", "merge", "lies", "lie", "json", "no_holes"])]
    pub means: Option<AskedThrough>,
    /// With --means: the share of typed flows in which the simulated person slips, by the seed.
    #[arg(long, value_name = "SHARE", default_value_t = 0.0, requires = "means")]
    pub slips: f64,
    /// Show the counts as JSON instead of tables.
    #[arg(long, conflicts_with = "explain")]
    pub json: bool,
    /// Count the jobs of these folders together instead of running any.
    #[arg(long, value_name = "DIR", num_args = 1.., conflicts_with_all = ["runs", "seed", "shard", "explain"])]
    pub merge: Vec<PathBuf>,
    /// Run the job of this seed again and leave its folder, its report and the truth.
    #[arg(long, value_name = "JOBSEED", conflicts_with_all = ["runs", "seed", "shard"])]
    pub explain: Option<u64>,
    /// With --explain: without closing single holes.
    #[arg(long, requires = "explain")]
    pub no_holes: bool,
    /// With --explain: replace a folder that is there already.
    #[arg(long, requires = "explain")]
    pub force: bool,
}

/// Run several jobs.
#[derive(Args, Debug)]
pub struct Batch {
    /// The batch: jobs and what they are expected to come to (see docs/batch.md).
    pub batch: PathBuf,
    /// Folder for the jobs, result.json and junit.xml.
    #[arg(long, value_name = "DIR", default_value = "batch-results")]
    pub out: PathBuf,
    /// How many jobs against the bundled simulator run at once; jobs over a line run one after the other.
    #[arg(long, value_name = "N", default_value_t = 1, value_parser = clap::value_parser!(u16).range(1..=64))]
    pub at_once: u16,
    /// Only the jobs that have this in their name; may be given several times.
    #[arg(long, value_name = "PART")]
    pub only: Vec<String>,
    /// Keep what an earlier, interrupted run of the same batch has come to, and do the rest.
    #[arg(long, conflicts_with = "force")]
    pub go_on: bool,
    /// Replace what an earlier run left.
    #[arg(long)]
    pub force: bool,
    /// The result as JSON instead of a table.
    #[arg(long)]
    pub json: bool,
}

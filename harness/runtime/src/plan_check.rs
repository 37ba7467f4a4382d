//! What is wrong or open in a job, known before the site is out of service: its files, its port, its prediction.
//!
//! Not here: the single checks (the job crate), and how a sound site would end (the lab).
use crate::{
    failure::Failure,
    job_files::{Files, Loaded},
    port::face_of_replacement,
    session::Outward,
    show::Show,
};
use plumeline_base::Instant;
use plumeline_job::{
    folder,
    remarks::{self, Code, Read, Remark, Weight},
};
use plumeline_procedure::{Act, Prompt};

/// What was found, and the job if its files are sound enough to be run.
#[derive(Debug)]
pub struct PlanCheck {
    /// The remarks, the heaviest first.
    pub remarks: Vec<Remark>,
    /// What the job is judged by, or why it can't be read.
    pub loaded: Result<Loaded, Failure>,
}

/// Checks a job's files, with the port among them if one is known.
pub fn check(files: &Files) -> PlanCheck {
    let bytes = |name: &str| files.0.iter().find(|(n, _)| n == name).map(|(_, b)| b.as_slice());
    let (read, mut remarks) = remarks::files(bytes);
    remarks.extend(port(files, &read));
    let loaded = files.check();
    match &loaded {
        Ok(loaded) => remarks.extend(remarks::predicted(&loaded.inputs)),
        // What the reading of single files has told is not told again.
        Err(failure) if !remarks.iter().any(|r| r.code == Code::FileUnreadable) => {
            remarks.push(match failure {
                // What it says of no file of its own is about the pipework: that is what is solved.
                Failure::Problem(p) => {
                    let named = folder::INPUTS.into_iter().map(|(name, _)| name).find(|name| p.file() == *name);
                    Remark::unreadable(named.unwrap_or(folder::PIPEWORK), p)
                }
                Failure::Other { cause, .. } => Remark::new(Code::FileUnreadable, folder::PIPEWORK, "", cause),
            });
        }
        Err(_) => {}
    }
    remarks.sort_by_key(|r| (r.code.weight(), r.code));
    PlanCheck { remarks, loaded }
}

fn port(files: &Files, read: &Read) -> Vec<Remark> {
    let Some(plan) = &read.plan else { return Vec::new() };
    let inlets = read.pipework.as_ref().map_or(1, |p| p.pipework.inlets.len());
    let Some(face) = face_of_replacement(files) else { return Vec::new() };
    remarks::port(files.port(), &face, u8::try_from(inlets).unwrap_or(u8::MAX), &plan.plan)
}

impl PlanCheck {
    /// Whether the job may be begun: nothing would be judged by what is not so.
    ///
    /// # Errors
    /// What is wrong, as one failure.
    pub fn allows_to_begin(&self) -> Result<(), Failure> {
        let wrong: Vec<&str> =
            self.remarks.iter().filter(|r| r.code.weight() == Weight::Wrong).map(|r| r.code.name()).collect();
        match wrong.as_slice() {
            [] => Ok(()),
            all => Err(Failure::input(
                format!("the job can't be begun: {}", all.join(", ")),
                "`plumeline plan-check` says where and what to do; the site is still in service",
            )),
        }
    }
    /// The remarks as plain text, if there are any.
    pub fn text(&self) -> String {
        self.remarks.iter().map(Remark::text).collect::<Vec<_>>().join("\n")
    }
}

/// Shows a job, and once more what is open in its plan when the site is about to go out of service.
pub struct Reminding {
    /// What shows the job.
    pub show: Box<dyn Show>,
    /// What is open.
    pub open: String,
}
impl Show for Reminding {
    fn show(&mut self, now: Instant, what: &Outward) {
        if let Outward::Ask(Prompt { act: Act::Isolate, .. }) = what
            && !self.open.is_empty()
        {
            self.show.say(&format!("before the site goes out of service, this is open:\n{}", self.open));
        }
        self.show.show(now, what);
    }
    fn say(&mut self, text: &str) {
        self.show.say(text);
    }
    fn typed(&mut self, line: &str) {
        self.show.typed(line);
    }
    fn holds_terminal(&self) -> bool {
        self.show.holds_terminal()
    }
    fn set_aside(&mut self, aside: bool) {
        self.show.set_aside(aside);
    }
    fn tick(&mut self, now: Instant, waits: Option<&Prompt>) {
        self.show.tick(now, waits);
    }
    fn out_of_service(&mut self, since: Instant, limit_s: f64) {
        self.show.out_of_service(since, limit_s);
    }
}

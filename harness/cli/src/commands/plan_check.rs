//! `plumeline plan-check`: what is wrong or open in a job, before its site goes out of service.
use crate::args::PlanCheck;
use plumeline_job::{
    folder::{self, Folder},
    remarks::{Code, Remark},
};
use plumeline_lab::rehearsal::{Rehearsal, rehearse};
use plumeline_runtime::{
    failure::{Exit, Failure},
    job_files::{Files, Loaded},
    plan_check::check,
    port,
    show::{print_progress, print_result},
};
use serde_json::json;

/// `plumeline plan-check`
pub fn plan_check(args: &PlanCheck) -> Result<Exit, Failure> {
    let mut files = Files::read(&Folder::open(&args.job)?)?;
    if let Some(text) = &args.port {
        port::parse(text)?;
        files = files.with_port(text);
    }
    let mut found = check(&files);
    let rehearsal = match (&found.loaded, args.no_simulation) {
        (Ok(loaded), false) => {
            if !args.json {
                print_progress(&format!("simulating {} sound sites with this job's files", args.seeds));
            }
            rehearsed(&files, loaded, args.seeds, &mut found.remarks)
        }
        _ => None,
    };
    found.remarks.sort_by_key(|r| (r.code.weight(), r.code));
    if args.json {
        let document = json!({ "format": 1, "remarks": found.remarks, "rehearsal": rehearsal });
        print_result(&document.to_string());
    } else {
        if !found.remarks.is_empty() {
            print_result(&found.text());
        }
        match &rehearsal {
            Some(rehearsal) => print_result(&rehearsal.text()),
            None => print_result("how sound sites would end was not simulated"),
        }
        print_result(&match found.remarks.len() {
            0 => "nothing is wrong or open".to_owned(),
            1 => "one remark".to_owned(),
            n => format!("{n} remarks"),
        });
    }
    Ok(if found.remarks.is_empty() { Exit::Pass } else { Exit::Undecided })
}

/// How sound sites would end, with what follows among the remarks.
fn rehearsed(files: &Files, loaded: &Loaded, seeds: u64, remarks: &mut Vec<Remark>) -> Option<Rehearsal> {
    match rehearse(files, loaded, seeds) {
        Ok(rehearsal) => {
            remarks.extend(rehearsal.remarks(loaded.inputs.plan.limits.out_of_service.value / 3600.0));
            Some(rehearsal)
        }
        Err(failure) => {
            let why = failure.to_string().lines().next().unwrap_or_default().to_owned();
            remarks.push(Remark::new(Code::RehearsalImpossible, folder::PIPEWORK, "", why));
            None
        }
    }
}

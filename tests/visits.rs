//! A service visit: the unit stays and is proven again, its baseline kept, its history drawn; and the codes that records leave in a
//! unit's own event log, by which they are checked later.
use crate::common::{Folder, exits, run, stderr, stdout, text};
use plumeline_base::{Instant, input::Input};
use plumeline_job::folder::Folder as JobFolder;
use plumeline_link::faults::FaultSpec;
use plumeline_runtime::{
    finish,
    job::Job,
    job_files::Files,
    line::Line,
    operator::{Operator, Script, SimulatedSite},
    replay::{Against, Keeps, replay},
    resume, scenario, simulated_model,
};
use plumeline_simulator::Scenario;
use plumeline_trace::{LogReader, LogRecord, LogWriter, Logged};
use serde_json::Value;
use std::{
    fs,
    path::{Path, PathBuf},
};

/// One site over the years, and the archive of its jobs.
struct Years {
    dir: Folder,
    site: Option<SimulatedSite>,
    /// Years so far; each begins so much later in the site's time.
    years: u64,
}
impl Years {
    fn new(name: &str) -> Self {
        Self { dir: Folder::new(name), site: None, years: 0 }
    }
    fn path(&self, job: &str) -> PathBuf {
        self.dir.join(job)
    }
    /// The exchange of units at the small demonstration's site.
    fn exchange(&mut self, job: &str) -> String {
        let from = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo/small");
        fs::create_dir(self.path(job)).unwrap();
        for name in ["pipework.toml", "plan.toml", "settings-new.json"] {
            fs::copy(from.join(name), self.path(job).join(name)).unwrap();
        }
        self.play(job)
    }
    /// A visit after this job.
    fn visit(&mut self, job: &str, after: &str) -> String {
        let made = run(&["new", text(&self.path(job)), "--visit", "--from", text(&self.path(after))]);
        exits(&made, &[0]);
        self.play(job)
    }
    /// Does a job at the site, a year after the one before; its verdict.
    fn play(&mut self, job: &str) -> String {
        let folder = JobFolder::open(&self.path(job)).unwrap();
        let files = Files::read_described(&folder).unwrap().0.with_port("sim:");
        let loaded = files.check().unwrap();
        let site = self.site.get_or_insert_with(|| {
            let mut site = Scenario::new(loaded.inputs.pipework.clone(), 1);
            site.replacement = simulated_model::of(loaded.inputs.replacement.as_ref().unwrap()).unwrap().into();
            SimulatedSite::new(scenario::simulation(site, Instant::START).unwrap())
        });
        let date = format!("{}-03-01T08:00:00Z", 2026 + self.years);
        let begins = Instant::from_secs(self.years * 100_000);
        self.years += 1;
        let disk = || plumeline_trace::Folder::new(folder.dir());
        let up = resume::begin(&folder, disk, &files, || date.clone(), 1.0).unwrap();
        let session = Job::going_on(up.session, up.opening, begins)
            .line(Line::simulated(site, None, FaultSpec::default(), 1))
            .operator(Operator::script("script", Script::willing(), site.clone()))
            .run()
            .unwrap();
        finish::finished(&folder, &loaded, session, true, false).unwrap();
        self.result(job)["verdict"].as_str().unwrap().to_owned()
    }
    fn result(&self, job: &str) -> Value {
        serde_json::from_slice(&fs::read(self.path(job).join("result.json")).unwrap()).unwrap()
    }
    fn because(&self, job: &str) -> String {
        self.result(job)["outcome"]["because"].as_str().unwrap().to_owned()
    }
    fn codes(&self, job: &str) -> Vec<String> {
        let found = self.result(job)["outcome"]["findings"].as_array().unwrap().clone();
        found.iter().map(|f| f["code"].as_str().unwrap().to_owned()).collect()
    }
    fn entries(&self, job: &str, kind: &str) -> Vec<Value> {
        let journal = fs::read_to_string(self.path(job).join("journal.jsonl")).unwrap();
        let entries = journal.lines().map(|l| serde_json::from_str::<Value>(l).unwrap()["entry"].clone());
        entries.filter(|e| e["entry"] == kind).collect()
    }
    fn check(&self, job: &str, unit_log: &str) -> std::process::Output {
        run(&["check", text(&self.path(job)), "--unit-log", text(&self.path(unit_log))])
    }
    /// Rewrites a job's log, chain and journal, as anybody can who has the tool.
    fn forge(&self, job: &str, change: impl Fn(&mut LogRecord)) {
        let trace = self.path(job).join("trace.pcapng");
        let records: Vec<LogRecord> = LogReader::open(&trace).unwrap().map(|entry| entry.unwrap().record).collect();
        fs::remove_file(&trace).unwrap();
        let mut log = LogWriter::create(plumeline_trace::Folder::new(self.path(job)), "trace.pcapng").unwrap();
        for mut record in records {
            change(&mut record);
            log.append(&record).unwrap();
        }
        log.sync().unwrap();
        let done = replay(LogReader::open(&trace).unwrap(), Against::Sent, Keeps::Journal, None).unwrap();
        fs::write(self.path(job).join("journal.jsonl"), done.session.into_parts().0.into_journal()).unwrap();
    }
    fn copy(&self, from: &str, to: &str) {
        fs::create_dir(self.path(to)).unwrap();
        for entry in fs::read_dir(self.path(from)).unwrap().map(|e| e.unwrap().path()).filter(|p| p.is_file()) {
            fs::copy(&entry, self.path(to).join(entry.file_name().unwrap())).unwrap();
        }
    }
    /// Somebody does something at the site between two visits.
    fn meanwhile(&self, command: Value) {
        let site = self.site.as_ref().unwrap().simulation();
        let mut site = site.borrow_mut();
        let at = Instant::from_secs(self.years * 100_000 - 1000);
        site.handle_timeout(at);
        site.control(at, serde_json::from_value(command).unwrap()).unwrap();
    }
}

#[test]
fn a_visit_proves_the_unit_that_stayed_and_shows_the_years() {
    let mut years = Years::new("visits");
    assert_eq!(years.exchange("2026"), "pass", "{}", years.because("2026"));
    assert_eq!(years.visit("2027", "2026"), "pass", "{}", years.because("2027"));
    // Nothing of an exchange, nothing loaded, the baseline kept.
    let (result, codes) = (years.result("2027"), years.codes("2027"));
    let done = |name: &str| result["outcome"]["stages"].as_array().unwrap().iter().any(|s| s["stage"] == name);
    assert!(!done("bench") && !done("as-found") && !done("swap") && done("boot") && done("baseline"));
    assert_eq!(result["outcome"]["not_done"], serde_json::json!([]));
    for code in ["load.as-left-before", "baseline.kept", "last-look.baseline-still-held"] {
        assert!(codes.iter().any(|c| c == code), "{code} is not in {codes:?}");
    }
    let baseline = |job: &str| years.result(job)["outcome"]["pipes"][0]["baseline"].as_f64().unwrap();
    assert!((baseline("2026") - baseline("2027")).abs() < 1e-9, "the unit's own, of the first year");
    let sealable = run(&["check", text(&years.path("2027"))]);
    exits(&sealable, &[0]);
    assert!(
        stdout(&sealable).contains("kind: service visit")
            && stdout(&sealable).contains("other job at this unit: 2026-03-01")
    );
    // The report shows the year before beside this one, with a chart.
    let page = fs::read_to_string(years.path("2027").join("report.html")).unwrap();
    for words in ["Over the years", "2026-03-01", "2027-03-01", "Pipe 1 over the years", "no unit was exchanged"] {
        assert!(page.contains(words), "{words}");
    }
    assert!(!fs::read_to_string(years.path("2026").join("report.html")).unwrap().contains("Over the years"));
    let compared = run(&["compare", text(&years.path("2026")), text(&years.path("2027")), "--json"]);
    let changes = serde_json::from_slice::<Value>(&compared.stdout).unwrap()["comparison"]["changes"].clone();
    assert_eq!(changes, serde_json::json!([]), "nothing changed");

    // The next year a hole is taped over: the visit fails, and the comparison names it.
    years.meanwhile(serde_json::json!({ "do": "close", "pipe": 1, "hole": 3 }));
    assert_ne!(years.visit("2028", "2027"), "pass");
    let compared = run(&["compare", text(&years.path("2027")), text(&years.path("2028")), "--json"]);
    exits(&compared, &[1]);
    let changes = serde_json::from_slice::<Value>(&compared.stdout).unwrap()["comparison"]["changes"].clone();
    let hole = |c: &Value| c["code"] == "hole.less" && c["about"] == "pipe 1 hole 3";
    assert!(changes.as_array().unwrap().iter().any(hole), "{changes:#}");
    let history: Value = serde_json::from_slice(&fs::read(years.path("2028").join("history.json")).unwrap()).unwrap();
    let jobs: Vec<&str> = history["jobs"].as_array().unwrap().iter().map(|j| j["job"].as_str().unwrap()).collect();
    assert_eq!(jobs, ["2026", "2027"], "the job knows the jobs before it at this unit");
    // Its years are of this unit and of no other.
    let plan = years.path("2028").join("plan.toml");
    let text_of_plan = fs::read_to_string(&plan).unwrap();
    fs::write(&plan, text_of_plan.replace("serial = \"", "serial = \"other-")).unwrap();
    let checked = run(&["plan-check", text(&years.path("2028"))]);
    let all = stdout(&checked) + &stderr(&checked);
    assert!(all.contains("history.json: it is of the unit with serial number"), "{all}");
    exits(&checked, &[2]);
}

/// A setting that somebody changed since is found, and nothing is loaded over it.
#[test]
fn a_visit_finds_settings_that_were_changed_meanwhile() {
    let mut years = Years::new("visit-settings");
    assert_eq!(years.exchange("2026"), "pass", "{}", years.because("2026"));
    let folder = years.path("2027");
    exits(&run(&["new", text(&folder), "--visit", "--from", text(&years.path("2026"))]), &[0]);
    // As good as a change at the unit's keys: what it is held against is another value.
    let wanted = fs::read_to_string(folder.join("settings-new.json")).unwrap();
    let mut wanted: Value = serde_json::from_str(&wanted).unwrap();
    let items = wanted["items"].as_array_mut().unwrap();
    items.iter_mut().find(|i| i["key"] == "alarm.1.delay").unwrap()["value"] = 77.into();
    wanted.as_object_mut().unwrap().remove("sha256");
    fs::write(folder.join("settings-new.json"), wanted.to_string()).unwrap();
    assert_eq!(years.play("2027"), "fail", "{}", years.because("2027"));
    assert!(years.codes("2027").iter().any(|c| c == "load.not-as-left-before"));
    assert_eq!(years.entries("2027", "started-anew").len(), 0, "a visit starts no unit anew");
}

#[test]
fn codes_in_the_units_own_log_bind_the_record() {
    let mut years = Years::new("unit-log");
    assert_eq!(years.exchange("2026"), "pass", "{}", years.because("2026"));
    // Left at the outgoing unit and at the replacement: of the isolation; at the replacement also at the end.
    let left = years.entries("2026", "note-left");
    assert_eq!(left.len(), 3, "{left:?}");
    assert!(left[0]["closed"].is_null() && left[2]["closed"].is_string());
    assert_eq!(years.visit("2027", "2026"), "pass", "{}", years.because("2027"));
    let met = years.entries("2027", "note-met");
    assert_eq!(met.len(), 2, "{met:?}");
    // The next visit's folder is a save of the unit's log.
    let held = years.check("2026", "2027");
    exits(&held, &[0]);
    assert!(stdout(&held).contains("left when the site was back, is the code of line"), "{}", stdout(&held));
    // What the unit told, as `capture --event-log` writes it.
    let serial = met[0]["serial"].as_str().unwrap();
    let unit = serde_json::json!({ "maker": "", "model": "", "serial": serial, "firmware": "", "boot_id": null });
    let event = |n: usize, note: &Value| {
        let closed = note["closed"].as_str().map_or_else(String::new, |c| format!(", closed {c}"));
        let text = format!("record, isolated {}{closed}", note["isolated"].as_str().unwrap());
        serde_json::json!({ "position": n, "device_us": 0, "code": 15, "kind": "noted", "text": text })
    };
    let events: Vec<Value> = met.iter().enumerate().map(|(n, note)| event(n, note)).collect();
    let saved = |name: &str, events: &[Value]| {
        fs::write(years.path(name), serde_json::json!({ "format": 1, "unit": unit, "events": events }).to_string())
            .unwrap();
    };
    saved("log.json", &events);
    exits(&years.check("2026", "log.json"), &[0]);
    // A log that holds nothing of it shows nothing, and one whose end was lost shows that something is missing.
    saved("none.json", &[]);
    exits(&years.check("2026", "none.json"), &[1]);
    saved("first.json", &events[..1]);
    let short = years.check("2026", "first.json");
    exits(&short, &[1]);
    assert!(stderr(&short).contains("which does not hold it"), "{}", stderr(&short));
    let other = years.check("2027", "log.json");
    exits(&other, &[1]);
    assert!(stderr(&other).contains("holds no code of this record"), "{}", stderr(&other));
}

#[test]
fn a_record_that_was_rewritten_since_is_found_by_the_units_log() {
    let mut years = Years::new("unit-log-forged");
    assert_eq!(years.exchange("2026"), "pass", "{}", years.because("2026"));
    assert_eq!(years.visit("2027", "2026"), "pass", "{}", years.because("2027"));
    // The plan is another one; everything is chained anew, and holds by itself.
    years.copy("2026", "plan");
    years.forge("plan", |record| {
        if let Logged::Input(Input::File { name, bytes }) = &mut record.what
            && name == "plan.toml"
        {
            bytes.extend(b"\n# laxer\n");
            fs::write(years.path("plan").join("plan.toml"), bytes).unwrap();
        }
    });
    exits(&run(&["check", text(&years.path("plan"))]), &[0]);
    let forged = years.check("plan", "2027");
    exits(&forged, &[1]);
    assert!(stderr(&forged).contains("holds no code of this record"), "{}", stderr(&forged));
    // Rolled back to after the isolation: the code of the isolation is there, that of the end is not.
    years.copy("2026", "rolled-back");
    let journal = fs::read_to_string(years.path("rolled-back").join("journal.jsonl")).unwrap();
    let lines: Vec<&str> = journal.split_inclusive('\n').collect();
    let entry = |n: usize| serde_json::from_str::<Value>(lines[n]).unwrap();
    let swapped = (0..lines.len()).find(|n| entry(*n)["entry"]["stage"] == "swap").unwrap();
    let offset = |n: usize| entry(n)["log"]["offset"].as_u64().unwrap();
    let cut = (swapped..).find(|n| offset(*n) > offset(n - 1)).unwrap();
    fs::write(years.path("rolled-back").join("journal.jsonl"), lines[..cut].concat()).unwrap();
    let trace = fs::File::options().write(true).open(years.path("rolled-back").join("trace.pcapng")).unwrap();
    trace.set_len(offset(cut - 1)).unwrap();
    for name in ["result.json", "junit.xml", "report.html", "page.html", "settings-as-left.json"] {
        fs::remove_file(years.path("rolled-back").join(name)).unwrap();
    }
    exits(&run(&["check", text(&years.path("rolled-back"))]), &[0]);
    let rolled = years.check("rolled-back", "2027");
    exits(&rolled, &[1]);
    assert!(stderr(&rolled).contains("not the record as it ended"), "{}", stderr(&rolled));
}

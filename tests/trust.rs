//! What a record can be made to say that is not so: simulated told from real, forged and set-back dates, files that stand in the way;
//! each is found, or is listed as possible in `docs/record.md`.
//!
//! What once was wrong with records, and the tests that go red where its mend is taken out (each was seen to). Those without a file are here:
//!
//! | was wrong | test |
//! |---|---|
//! | a simulation did not show | `a_simulation_is_told_wherever_its_verdict_is`, `a_simulated_job_under_a_real_address_is_still_told`, `stages.rs`: `a_simulation_is_told_by_its_unit` |
//! | a limit rewritten in the log, chained and sealed anew | `a_limit_laxer_than_usual_is_told`, `a_record_forged_since_its_stamp_is_found`, `what_was_written_down_must_still_be_in_the_record`, `visits.rs`: `a_record_that_was_rewritten_since_is_found_by_the_units_log` |
//! | a folder rolled back to before a fail | `a_clock_that_was_set_back_between_take_ups_passes_no_time_out_of_service` (by a code), `visits.rs`: the same |
//! | dates moved; sealed before the log's end | `a_seal_of_a_date_after_its_stamp_does_not_fit`, `a_seal_of_before_the_logs_end_is_found` |
//! | a clock set back; 1970 or 2060 loaded into the unit | `a_clock_that_was_set_back_between_take_ups_passes_no_time_out_of_service`, `a_date_that_cannot_be_passes_nothing_and_is_loaded_into_nothing` |
//! | the bench unit recorded as the outgoing one | `stages.rs`: `the_replacement_on_the_cable_is_not_the_outgoing_unit` |
//! | a voided fail lost its cause | the procedure's `judge::conclusion`: `nothing_is_passed_that_was_not_done_or_not_put_back` |
//! | the lock deleted, a second process | `resume.rs`: `a_job_held_by_another_process_is_not_taken` |
//! | the lock a symbolic link | `a_lock_that_is_a_link_is_not_followed` |
//! | inputs overwritten by outputs | `nothing_is_written_over_what_is_read` |
//! | a private key sealed and packed | `a_private_key_in_the_folder_is_never_sealed_or_packed` |
//! | what a killed unpacking leaves | `an_unpacking_that_was_killed_is_in_nobodys_way` |
//! | a full disk, and no word of the isolated zone | `a_full_disk_reminds_that_the_zone_is_isolated` |
//! | identical frames twice | `stages.rs`: `frames_that_come_twice_spoil_nothing` |
//! | files read before their size is looked at; devices and pipes | `bad_input.rs`: `what_is_no_file_of_a_fit_length`; `scripts/hostile_inputs.py` |
//! | the mean of what no sum can hold | `judge.rs`: `numbers_that_no_sum_can_hold_give_no_mean` (where files are read), the crate's `awkward.rs`: `no_mean_is_stated_of_what_has_none` |
//! | scaled time and a resumed job's date | `resume.rs`: `a_date_in_scaled_time_goes_with_the_log` |
//! | an orphan behind a killed batch | `a_killed_batch_leaves_no_job_running` |
use crate::common::{Folder, exits, plumeline, run, stderr, stdout, text};
use plumeline_base::input::Input;
use plumeline_runtime::replay::{Against, Keeps, replay};
use plumeline_trace::{LogReader, LogRecord, LogWriter, Logged};
use serde_json::Value;
use std::{
    fs,
    path::{Path, PathBuf},
};

/// A demonstration that nobody has sealed yet, and a key.
fn demo(dir: &Folder, more: &[&str]) -> (PathBuf, PathBuf) {
    let (job, key) = (dir.join("job"), dir.join("key"));
    exits(&run(&[&["demo", "--small", "--quiet", "--out", text(&job)], more].concat()), &[0, 1, 2]);
    fs::remove_file(job.join("seal-1.json")).unwrap();
    exits(&run(&["key", "new", "--name", "A. Technician", "--out", text(&key)]), &[0]);
    (job, key)
}

/// The files of the small demonstration, not yet begun.
fn fresh(dir: &Folder) -> PathBuf {
    let (from, job) = (Path::new(env!("CARGO_MANIFEST_DIR")).join("demo/small"), dir.join("job"));
    fs::create_dir(&job).unwrap();
    for name in ["pipework.toml", "plan.toml", "settings-new.json"] {
        fs::copy(from.join(name), job.join(name)).unwrap();
    }
    job
}

fn result(job: &Path) -> Value {
    serde_json::from_slice(&fs::read(job.join("result.json")).unwrap()).unwrap()
}
fn codes(job: &Path) -> Vec<String> {
    let findings = result(job)["outcome"]["findings"].as_array().unwrap().clone();
    findings.iter().map(|f| f["code"].as_str().unwrap().to_owned()).collect()
}

/// Rewrites a job's log, chain and journal, as anybody can who has the tool.
fn forge(job: &Path, change: impl Fn(&mut LogRecord)) {
    let records: Vec<LogRecord> =
        LogReader::open(&job.join("trace.pcapng")).unwrap().map(|entry| entry.unwrap().record).collect();
    fs::remove_file(job.join("trace.pcapng")).unwrap();
    let mut log = LogWriter::create(plumeline_trace::Folder::new(job), "trace.pcapng").unwrap();
    for mut record in records {
        change(&mut record);
        log.append(&record).unwrap();
    }
    log.sync().unwrap();
    let log = LogReader::open(&job.join("trace.pcapng")).unwrap();
    let done = replay(log, Against::Sent, Keeps::Journal, None).unwrap();
    fs::write(job.join("journal.jsonl"), done.session.into_parts().0.into_journal()).unwrap();
}

/// Says that another line was used than it was.
fn relabel(job: &Path) {
    forge(job, |record| match &mut record.what {
        Logged::Input(Input::LinkUp { link, .. }) => *link = "serial:/dev/ttyUSB0".into(),
        Logged::Input(Input::File { name, bytes }) if name == "port" => *bytes = b"serial:/dev/ttyUSB0".to_vec(),
        _ => {}
    });
}

#[test]
fn a_simulation_is_told_wherever_its_verdict_is() {
    let dir = Folder::new("simulated");
    let (job, key) = demo(&dir, &[]);
    let closed = run(&["close", text(&job), "--key", text(&key)]);
    exits(&closed, &[0]);
    assert!(stdout(&closed).contains("SIMULATED"), "{}", stdout(&closed));
    let checked = run(&["check", text(&job)]);
    exits(&checked, &[0]);
    assert!(stdout(&checked).contains("SIMULATED: no real unit"), "{}", stdout(&checked));
    let checked: Value = serde_json::from_slice(&run(&["check", text(&job), "--json"]).stdout).unwrap();
    assert!(checked["cautions"][0].as_str().unwrap().starts_with("SIMULATED"), "{checked}");
    let said = run(&["report", text(&job)]);
    assert!(stdout(&said).contains("PASS (SIMULATED)"), "{}", stdout(&said));
    assert_eq!(result(&job)["simulated"], true);
    let seal: Value = serde_json::from_slice(&fs::read(job.join("seal-1.json")).unwrap()).unwrap();
    assert!(seal["seal"]["warnings"][0].as_str().unwrap().starts_with("SIMULATED"));
    let read = |name: &str| fs::read_to_string(job.join(name)).unwrap();
    assert!(read("junit.xml").contains("<property name=\"simulated\" value=\"true\"/>"));
    assert!(read("report.html").contains("PASS (SIMULATED)"));
}

/// The link is given another name and everything is chained anew: the unit still says what it is.
#[test]
fn a_simulated_job_under_a_real_address_is_still_told() {
    let dir = Folder::new("relabelled");
    let (job, key) = demo(&dir, &[]);
    relabel(&job);
    let closed = run(&["close", text(&job), "--key", text(&key)]);
    exits(&closed, &[0]);
    let checked = run(&["check", text(&job)]);
    assert!(stdout(&checked).contains("SIMULATED: no real unit"), "{}", stdout(&checked));
    assert!(!stdout(&checked).contains("the link leads to"), "{}", stdout(&checked));
}

#[test]
fn a_date_that_cannot_be_passes_nothing_and_is_loaded_into_nothing() {
    for date in ["1970-01-01T00:00:00Z", "2060-05-05T12:00:00Z"] {
        let dir = Folder::new("dates");
        let job = fresh(&dir);
        exits(&run(&["run", text(&job), "--port", "sim:", "--date", date]), &[2]);
        let codes = codes(&job);
        for code in ["clock.doubtful-date", "close.time-unknown"] {
            assert!(codes.iter().any(|c| c == code), "{date}: {code} is not in {codes:?}");
        }
        assert!(!codes.iter().any(|c| c == "clock.kept" || c == "close.in-time"), "{codes:?}");
    }
}

#[test]
fn a_clock_that_was_set_back_between_take_ups_passes_no_time_out_of_service() {
    let dir = Folder::new("set-back");
    let (job, _) = demo(&dir, &[]);
    let said = stdout(&run(&["check", text(&job)]));
    let code = said.split("code of this record, for paper: ").nth(1).unwrap().lines().next().unwrap();
    let words = fs::read_to_string(job.join("journal.jsonl")).unwrap();
    let lines: Vec<&str> = words.split_inclusive('\n').collect();
    let entry = |line: &str| serde_json::from_str::<Value>(line).unwrap();
    let swapped = lines.iter().position(|l| entry(l)["entry"]["stage"] == "swap").unwrap();
    let offset = |n: usize| entry(lines[n])["log"]["offset"].as_u64().unwrap();
    let cut = (swapped..).find(|n| offset(*n) > offset(n - 1)).unwrap();
    fs::write(job.join("journal.jsonl"), lines[..cut].concat()).unwrap();
    fs::File::options().write(true).open(job.join("trace.pcapng")).unwrap().set_len(offset(cut - 1)).unwrap();
    for name in ["result.json", "junit.xml", "report.html", "page.html", "settings-as-left.json"] {
        fs::remove_file(job.join(name)).unwrap();
    }
    // A folder that was rolled back holds by itself; a code that was written down later does not.
    exits(&run(&["check", text(&job)]), &[0]);
    let rolled_back = run(&["check", text(&job), "--code", code]);
    exits(&rolled_back, &[1]);
    assert!(stderr(&rolled_back).contains("or not all of it"), "{}", stderr(&rolled_back));
    // The demonstration's log says 2026: ten days before that nobody can have gone on with it.
    exits(&run(&["run", text(&job), "--port", "sim:", "--date", "2025-12-22T08:00:00Z"]), &[1, 2, 4]);
    let codes = codes(&job);
    assert!(codes.iter().any(|c| c == "close.time-unknown"), "{codes:?}");
    assert!(!codes.iter().any(|c| c == "close.in-time"), "{codes:?}");
}

/// What an inspector looks for is printed; a seal that is dated before the end of the log it covers is found.
#[test]
fn a_seal_of_before_the_logs_end_is_found() {
    let dir = Folder::new("back-dated");
    let job = fresh(&dir);
    exits(&run(&["run", text(&job), "--port", "sim:", "--date", "2049-06-01T08:00:00Z"]), &[0]);
    relabel(&job);
    let key = dir.join("key");
    exits(&run(&["key", "new", "--name", "A. Technician", "--out", text(&key)]), &[0]);
    exits(&run(&["close", text(&job), "--key", text(&key)]), &[0]);
    let o = run(&["check", text(&job)]);
    exits(&o, &[2]);
    assert!(stdout(&o).contains("DATE THAT DOES NOT FIT: seal 1 is of"), "{}", stdout(&o));
    for word in [
        "site: ",
        "technician: ",
        "replacement: ",
        "link: serial:/dev/ttyUSB0",
        "answers: 0 by people",
        "out of service: ",
    ] {
        assert!(stdout(&o).contains(word), "{word} is not in {}", stdout(&o));
    }
}

/// The best of several attempts shows the others beside it.
#[test]
fn other_jobs_at_the_same_unit_are_told() {
    let dir = Folder::new("attempts");
    let (first, second) = (dir.join("first"), dir.join("second"));
    let blocked = "hole-blocked:pipe=1,hole=3";
    exits(&run(&["demo", "--small", "--quiet", "--defect", blocked, "--out", text(&first)]), &[1]);
    exits(&run(&["demo", "--small", "--quiet", "--out", text(&second)]), &[0]);
    let o = run(&["check", text(&second)]);
    exits(&o, &[0]);
    let told = stdout(&o);
    assert!(told.contains("other job at this unit: 2026-01-01T08:00:00Z: fail") && told.contains("in first"), "{told}");
}

#[test]
fn a_limit_laxer_than_usual_is_told() {
    let dir = Folder::new("lax");
    let (job, _) = demo(&dir, &[]);
    forge(&job, |record| {
        if let Logged::Input(Input::File { name, bytes }) = &mut record.what
            && name == "plan.toml"
        {
            let words = String::from_utf8(bytes.clone()).unwrap();
            assert!(words.contains("\"25 %\""));
            *bytes = words.replace("\"25 %\"", "\"90 %\"").into_bytes();
            fs::write(job.join("plan.toml"), bytes).unwrap();
        }
    });
    let o = run(&["check", text(&job)]);
    assert!(stdout(&o).contains("LIMIT LAXER THAN USUAL: limits.transport_agreement"), "{}{}", stdout(&o), stderr(&o));
}

/// The design is signed before the job by somebody else; the record names that, and shows it where other files were taken.
#[test]
fn a_design_is_signed_beforehand() {
    let dir = Folder::new("design");
    let (job, key) = (fresh(&dir), dir.join("designer"));
    exits(&run(&["key", "new", "--name", "D. Designer", "--out", text(&key)]), &[0]);
    exits(&run(&["design", text(&job), "--key", text(&key), "--says", "rev. C"]), &[0]);
    exits(&run(&["run", text(&job), "--port", "sim:"]), &[0]);
    let o = run(&["check", text(&job)]);
    exits(&o, &[0]);
    assert!(stdout(&o).contains("the job was judged by what D. Designer"), "{}", stdout(&o));
    exits(&run(&["design", text(&job), "--key", text(&key)]), &[3]);
    // A plan that was changed after it was signed, chained anew.
    forge(&job, |record| {
        if let Logged::Input(Input::File { name, bytes }) = &mut record.what
            && name == "plan.toml"
        {
            bytes.extend(b"\n# laxer\n");
            fs::write(job.join("plan.toml"), bytes).unwrap();
        }
    });
    exits(&run(&["close", text(&job), "--key", text(&key)]), &[0]);
    let o = run(&["check", text(&job)]);
    assert!(stdout(&o).contains("DESIGN NOT AS SIGNED by D. Designer"), "{}", stdout(&o));
    let seal = fs::read_to_string(job.join("seal-1.json")).unwrap();
    assert!(seal.contains("DESIGN NOT AS SIGNED"), "{seal}");
}

/// Customer and inspector sign the same with keys of their own; each of the keys is good for a check.
#[test]
fn a_job_is_countersigned_with_words() {
    let dir = Folder::new("countersigned");
    let (job, key) = demo(&dir, &[]);
    let other = dir.join("inspector");
    exits(&run(&["key", "new", "--name", "I. Inspector", "--out", text(&other)]), &[0]);
    exits(&run(&["close", text(&job), "--key", text(&key)]), &[0]);
    exits(&run(&["close", text(&job), "--key", text(&other), "--says", "seen on site"]), &[0]);
    for public in ["key.pub", "inspector.pub"] {
        let o = run(&["check", text(&job), "--key", text(&dir.join(public))]);
        exits(&o, &[0]);
        assert!(
            stdout(&o).contains("by I. Inspector") && stdout(&o).contains("says: \"seen on site\""),
            "{}",
            stdout(&o)
        );
        assert!(stdout(&o).contains("by A. Technician"), "{}", stdout(&o));
    }
}

/// A code on paper binds the folder: one that was rolled back, or forged, no longer holds it.
#[test]
fn what_was_written_down_must_still_be_in_the_record() {
    let dir = Folder::new("paper");
    let job = dir.join("job");
    let o = run(&["demo", "--small", "--out", text(&job)]);
    exits(&o, &[0]);
    let said = stdout(&o);
    let after = |words: &str| said.split(words).nth(1).unwrap().lines().next().unwrap().trim().to_owned();
    let isolated = after("code of the record so far, for the site's log book:");
    let end = after("code of this record, for the site's log book:");
    exits(&run(&["check", text(&job), "--code", &isolated, "--code", &end.to_lowercase()]), &[0]);
    assert!(fs::read_to_string(job.join("report.html")).unwrap().contains(&end));
    let mut slip: Vec<char> = end.chars().collect();
    slip[0] = if slip[0] == '7' { '8' } else { '7' };
    exits(&run(&["check", text(&job), "--code", &slip.iter().collect::<String>()]), &[3]);
    fs::remove_file(job.join("seal-1.json")).unwrap();
    relabel(&job);
    exits(&run(&["check", text(&job)]), &[0]);
    for code in [&isolated, &end] {
        let o = run(&["check", text(&job), "--code", code]);
        exits(&o, &[1]);
        assert!(stderr(&o).contains("is of no line in it"), "{}", stderr(&o));
    }
}

#[test]
fn a_private_key_in_the_folder_is_never_sealed_or_packed() {
    let dir = Folder::new("keys");
    let (job, key) = demo(&dir, &[]);
    let pem = fs::read(&key).unwrap();
    let wide: Vec<u8> = pem.iter().flat_map(|b| [*b, 0]).collect();
    let zip = dir.join("job.zip");
    for (name, bytes) in
        [("old.key", pem.clone()), ("notes.txt", [b"see below\n", &pem[..]].concat()), ("wide.txt", wide)]
    {
        fs::write(job.join(name), bytes).unwrap();
        for args in [["close", text(&job), "--key", text(&key)], ["pack", text(&job), "--out", text(&zip)]] {
            let o = run(&args);
            exits(&o, &[3]);
            assert!(stderr(&o).contains("private key") && stderr(&o).contains(name), "{}", stderr(&o));
        }
        fs::remove_file(job.join(name)).unwrap();
    }
    assert!(!zip.exists() && !dir.join("job.zip.part").exists() && !job.join("seal-1.json").exists());
    exits(&run(&["close", text(&job), "--key", text(&key)]), &[0]);
}

#[test]
fn nothing_is_written_over_what_is_read() {
    let dir = Folder::new("outputs");
    let (job, _) = demo(&dir, &[]);
    let read = |name: &str| fs::read(job.join(name)).unwrap();
    let names = ["trace.pcapng", "journal.jsonl", "pipework.toml", "plan.toml", "result.json"];
    let before: Vec<Vec<u8>> = names.iter().map(|n| read(n)).collect();
    let path = |name: &str| job.join(name).to_str().unwrap().to_owned();
    for name in names {
        exits(&run(&["replay", text(&job), "--journal", &path(name)]), &[3]);
        exits(&run(&["predict", &path("pipework.toml"), "--svg", &path(name)]), &[3]);
    }
    // By another way to the same file.
    exits(&run(&["replay", text(&job), "--journal", &path("../job/./journal.jsonl")]), &[3]);
    assert_eq!(names.iter().map(|n| read(n)).collect::<Vec<_>>(), before);
    exits(&run(&["replay", text(&job), "--journal", text(&dir.join("again.jsonl"))]), &[0]);
    assert_eq!(fs::read(dir.join("again.jsonl")).unwrap(), before[1]);
}

#[test]
fn an_unpacking_that_was_killed_is_in_nobodys_way() {
    let dir = Folder::new("unpack");
    let (job, _) = demo(&dir, &[]);
    let (zip, out, part) = (dir.join("job.zip"), dir.join("out"), dir.join("out.part"));
    exits(&run(&["pack", text(&job), "--out", text(&zip)]), &[0]);
    let unpack = || run(&["unpack", text(&zip), "--out", text(&out)]);
    // As it is left by a kill.
    fs::create_dir(&part).unwrap();
    fs::write(part.join(".unpacking"), "").unwrap();
    fs::write(part.join("plan.toml"), "torn").unwrap();
    exits(&unpack(), &[0]);
    assert!(out.join("trace.pcapng").exists() && !out.join(".unpacking").exists() && !part.exists());
    // What is somebody's own is left alone, and named.
    fs::remove_dir_all(&out).unwrap();
    fs::create_dir(&part).unwrap();
    fs::write(part.join("thesis.txt"), "years of work").unwrap();
    let o = unpack();
    exits(&o, &[3]);
    assert!(stderr(&o).contains("out.part"), "{}", stderr(&o));
    assert_eq!(fs::read_to_string(part.join("thesis.txt")).unwrap(), "years of work");
}

#[cfg(unix)]
#[test]
fn a_lock_that_is_a_link_is_not_followed() {
    let dir = Folder::new("links");
    let job = fresh(&dir);
    let victim = dir.join("victim");
    for name in ["lock", "trace.pcapng", "journal.jsonl"] {
        fs::write(&victim, "of somebody else").unwrap();
        std::os::unix::fs::symlink(&victim, job.join(name)).unwrap();
        exits(&run(&["run", text(&job), "--port", "sim:"]), &[3]);
        assert_eq!(fs::read_to_string(&victim).unwrap(), "of somebody else", "{name}");
        fs::remove_file(job.join(name)).unwrap();
        let _ = fs::remove_file(job.join("trace.pcapng"));
        let _ = fs::remove_file(job.join("journal.jsonl"));
    }
}

/// A disk that is full in the middle of a job: nobody may be left to think that the zone is back.
#[cfg(unix)]
#[test]
fn a_full_disk_reminds_that_the_zone_is_isolated() {
    let dir = Folder::new("full");
    let job = fresh(&dir);
    let tool = env!("CARGO_BIN_EXE_plumeline");
    let script = format!("trap '' XFSZ; ulimit -f 500; exec {tool} run {} --port sim: --quiet", job.display());
    let o = std::process::Command::new("bash").args(["-c", &script]).output().unwrap();
    exits(&o, &[3]);
    assert!(stderr(&o).contains("THE ZONE IS STILL ISOLATED"), "{}", stderr(&o));
}

/// A batch that is killed takes its jobs with it.
#[cfg(target_os = "linux")]
#[test]
fn a_killed_batch_leaves_no_job_running() {
    let dir = Folder::new("orphan");
    let files = fresh(&dir);
    // Nobody listens there: the job tries for as long as its stage allows.
    let batch = "format = 1\n[[job]]\nname = \"waits\"\nfiles = \"job\"\nport = \"tcp:127.0.0.1:9\"\noperator = \"operator.toml\"\n";
    fs::write(dir.join("batch.toml"), batch).unwrap();
    fs::write(dir.join("operator.toml"), "format = 1\n").unwrap();
    let out = dir.join("out");
    let mut c = plumeline(&["batch", text(&dir.join("batch.toml")), "--out", text(&out)])
        .stdout(std::process::Stdio::null())
        .spawn()
        .unwrap();
    let lock = out.join("waits/lock");
    let wait = |done: &dyn Fn() -> bool| {
        (0..200).any(|_| {
            done() || {
                std::thread::sleep(std::time::Duration::from_millis(100));
                false
            }
        })
    };
    assert!(wait(&|| fs::read_to_string(&lock).is_ok_and(|id| id.trim().parse::<u32>().is_ok())), "the job began");
    let id = fs::read_to_string(&lock).unwrap().trim().to_owned();
    c.kill().unwrap();
    c.wait().unwrap();
    let gone = || fs::read_to_string(format!("/proc/{id}/stat")).map_or(true, |s| s.contains(") Z "));
    assert!(wait(&gone), "the job goes on without its batch");
    assert!(files.exists());
}

/// A time-stamping service of its own, made by OpenSSL.
struct Service(PathBuf);
impl Service {
    fn new(dir: &Path) -> Self {
        fs::create_dir(dir).unwrap();
        let config = "[req]\ndistinguished_name=n\n[n]\n[service]\nbasicConstraints=critical,CA:false\nextendedKeyUsage=critical,timeStamping\n\
             [tsa]\nserial=serial\ndefault_policy=1.3.6.1.4.1.32473.1\nsigner_digest=sha256\ndigests=sha256\ness_cert_id_alg=sha256\n";
        fs::write(dir.join("cnf"), config).unwrap();
        fs::write(dir.join("serial"), "01\n").unwrap();
        let service = Self(dir.to_owned());
        service.openssl(&[
            "req",
            "-x509",
            "-newkey",
            "rsa:2048",
            "-nodes",
            "-keyout",
            "key",
            "-out",
            "service.pem",
            "-days",
            "3650",
            "-subj",
            "/O=Invented Time",
            "-config",
            "cnf",
            "-extensions",
            "service",
        ]);
        service
    }
    fn openssl(&self, args: &[&str]) {
        let done = std::process::Command::new("openssl").args(args).current_dir(&self.0).output().unwrap();
        assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
    }
    /// The answer to a request.
    fn answer(&self, request: &Path) -> PathBuf {
        let answer = request.with_extension("tsr");
        self.openssl(&[
            "ts",
            "-reply",
            "-queryfile",
            text(request),
            "-config",
            "cnf",
            "-section",
            "tsa",
            "-signer",
            "service.pem",
            "-inkey",
            "key",
            "-out",
            text(&answer),
        ]);
        answer
    }
    fn certificate(&self) -> PathBuf {
        self.0.join("service.pem")
    }
    /// Has a job stamped.
    fn stamp(&self, job: &Path, request: &Path) -> PathBuf {
        exits(&run(&["stamp", text(job), "--request", text(request)]), &[0]);
        let answer = self.answer(request);
        exits(&run(&["stamp", text(job), "--answer", text(&answer), "--anchor", text(&self.certificate())]), &[0]);
        answer
    }
}

#[test]
fn a_stamp_by_a_service_shows_since_when_a_seal_is_there() {
    let dir = Folder::new("stamped");
    let (job, key) = demo(&dir, &[]);
    exits(&run(&["close", text(&job), "--key", text(&key)]), &[0]);
    let (service, other) = (Service::new(&dir.join("service")), Service::new(&dir.join("other")));
    let anchor = ["--anchor", text(&service.certificate())].map(str::to_owned);
    let check = |job: &Path, more: &[String]| {
        run(&[&["check", text(job)][..], &more.iter().map(String::as_str).collect::<Vec<_>>()].concat())
    };

    // Asked for a stamp, and there is none: nothing to look at is no pass.
    let none = check(&job, &anchor);
    exits(&none, &[1]);
    assert!(stderr(&none).contains("there is no time stamp"), "{}", stderr(&none));

    let answer = service.stamp(&job, &dir.join("q.tsq"));
    assert!(job.join("stamp-1.tsr").exists());
    // The same answer once more is no second stamp.
    exits(&run(&["stamp", text(&job), "--answer", text(&answer)]), &[0]);
    assert!(!job.join("stamp-2.tsr").exists());
    let held = check(&job, &anchor);
    exits(&held, &[0]);
    assert!(stdout(&held).contains("stamp-1.tsr: seal 1 was there on"), "{}", stdout(&held));
    let alone = check(&job, &[]);
    exits(&alone, &[0]);
    assert!(stdout(&alone).contains("anyone could have made it"), "{}", stdout(&alone));
    let found: Value =
        serde_json::from_slice(&check(&job, &[&anchor[..], &["--json".to_owned()]].concat()).stdout).unwrap();
    assert_eq!(
        (&found["stamps"][0]["seal"], &found["stamps"][0]["by_anchor_named"]),
        (&1.into(), &true.into()),
        "{found}"
    );

    // A service that is not trusted; a stamp over another record; a byte of one that is.
    let strange = check(&job, &["--anchor", text(&other.certificate())].map(str::to_owned));
    exits(&strange, &[1]);
    assert!(stderr(&strange).contains("may not issue certificates of services"), "{}", stderr(&strange));
    let beside = Folder::new("stamped-second");
    let (second, _) = demo(&beside, &["--seed", "2"]);
    let not_its = run(&["stamp", text(&second), "--answer", text(&answer)]);
    exits(&not_its, &[3]);
    assert!(stderr(&not_its).contains("over something else than this record"), "{}", stderr(&not_its));
    let good = fs::read(job.join("stamp-1.tsr")).unwrap();
    let mut bad = good.clone();
    let at = bad.len() - 9;
    bad[at] ^= 1;
    fs::write(job.join("stamp-1.tsr"), bad).unwrap();
    exits(&check(&job, &[]), &[1]);
    fs::write(job.join("stamp-1.tsr"), good).unwrap();

    // The next seal covers the stamp; packed and unpacked it is still there.
    exits(&run(&["close", text(&job), "--key", text(&key), "--says", "again"]), &[0]);
    fs::remove_file(job.join("stamp-1.tsr")).unwrap();
    let gone = check(&job, &[]);
    exits(&gone, &[1]);
    assert!(stderr(&gone).contains("stamp-1.tsr"), "{}", stderr(&gone));
}

#[test]
fn a_record_forged_since_its_stamp_is_found() {
    let dir = Folder::new("stamp-forged");
    let (job, key) = demo(&dir, &["--defect", "hole-blocked"]);
    let service = Service::new(&dir.join("service"));
    let said = stdout(&run(&["check", text(&job)]));
    let code = said.split("code of this record, for paper: ").nth(1).unwrap().lines().next().unwrap().to_owned();
    // Stamped when the zone was out of service, or whenever: the journal as far as it goes.
    service.stamp(&job, &dir.join("q.tsq"));
    let open = run(&["check", text(&job), "--anchor", text(&service.certificate())]);
    exits(&open, &[0]);
    assert!(stdout(&open).contains("stamp-1.tsr: the record up to line"), "{}", stdout(&open));
    // The limit is rewritten in the log, everything chained anew and sealed.
    forge(&job, |record| {
        if let Logged::Input(Input::File { name, bytes }) = &mut record.what
            && name == "plan.toml"
        {
            bytes.extend_from_slice(b"\n# another plan\n");
        }
    });
    let plan = fs::read(job.join("plan.toml")).unwrap();
    fs::write(job.join("plan.toml"), [&plan[..], b"\n# another plan\n"].concat()).unwrap();
    exits(&run(&["close", text(&job), "--key", text(&key), "--incomplete"]), &[2]);
    let forged = run(&["check", text(&job)]);
    exits(&forged, &[1]);
    assert!(stderr(&forged).contains("over something else than this record"), "{}", stderr(&forged));
    fs::remove_file(job.join("stamp-1.tsr")).unwrap();
    fs::remove_file(job.join("seal-1.json")).unwrap();
    exits(&run(&["close", text(&job), "--key", text(&key), "--incomplete"]), &[2]);
    // Without the stamp nothing in the folder tells; a code on paper does, and whoever asks for a stamp.
    let alone = run(&["check", text(&job)]);
    assert!(!stderr(&alone).contains("stamp"), "{}", stderr(&alone));
    for more in [["--code", &code], ["--anchor", text(&service.certificate())]] {
        exits(&run(&[&["check", text(&job)][..], &more].concat()), &[1]);
    }
}

#[test]
fn a_seal_of_a_date_after_its_stamp_does_not_fit() {
    let dir = Folder::new("stamp-late");
    let (job, key) = demo(&dir, &[]);
    exits(&run(&["close", text(&job), "--key", text(&key)]), &[0]);
    let key = plumeline_job::key::SigningKey::read(&key, || unreachable!()).unwrap();
    // Sealed anew with a date of next year, as anybody can who holds the key.
    let folder = plumeline_job::folder::Folder::open(&job).unwrap();
    let first = plumeline_job::seal::verify(&folder).newest().unwrap().clone();
    fs::remove_file(job.join("seal-1.json")).unwrap();
    let statement = plumeline_job::seal::Statement {
        cautions: first.cautions,
        closed: first.closed,
        verdict: first.verdict,
        date: "2099-01-01T00:00:00Z".into(),
        tool: first.tool,
        words: None,
    };
    plumeline_job::seal::add(&folder, &plumeline_job::seal::verify(&folder), statement, &key).unwrap();
    let service = Service::new(&dir.join("service"));
    service.stamp(&job, &dir.join("q.tsq"));
    let checked = run(&["check", text(&job), "--anchor", text(&service.certificate())]);
    exits(&checked, &[2]);
    assert!(
        stdout(&checked).contains("DATE THAT DOES NOT FIT: seal 1 says 2099-01-01T00:00:00Z"),
        "{}",
        stdout(&checked)
    );
}

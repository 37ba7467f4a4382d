//! Replays a log through the procedure: strict, the bytes sent and the journal must come out the same, byte for byte.
//!
//! The log is read record by record; nothing of it is kept but what a report shows. Not here: reports.
use crate::{
    failure::Failure,
    job_files::{Files, Loaded},
    keep::cite,
    rejudge::RecordedRun,
    session::{Keeper, Outward, Session},
};
use plumeline_base::{
    Instant,
    input::{Input, LineId},
};
use plumeline_detector::{Identity, settings::Settings};
use plumeline_job::journal;
use plumeline_procedure::{Entry, Procedure, effect::KeptSettings};
use plumeline_trace::{Citation, LogEntry, LogReader, LogRecord, Logged};
use std::{collections::VecDeque, io::Read};

/// What must come out again.
pub enum Against {
    /// The journal's bytes.
    Journal(Vec<u8>),
    /// The whole lines of the journal of a job that may have been ended at any instant: a torn end of the log is told,
    /// and lines that follow from its last input may be missing.
    SoFar(Vec<u8>),
    /// Only the bytes sent.
    Sent,
    /// Nothing must come out again: the log is judged anew, and what differs is told.
    Anew(Box<RecordedRun>),
}

/// What a replay keeps besides its outcome.
#[derive(Clone, Copy, PartialEq, Eq)]
pub enum Keeps {
    /// Nothing.
    Nothing,
    /// The journal that comes out.
    Journal,
    /// The readings that a report shows.
    Charts,
}

/// Compares instead of keeping.
pub struct ReplayKeeper {
    expected: Option<Citation>,
    sent: VecDeque<(LineId, Vec<u8>)>,
    chain: journal::Chain,
    against: Against,
    at: usize,
    lines: u64,
    journal: Vec<u8>,
    keep_journal: bool,
    /// Entries behind the journal's last line, with what they follow from.
    pub further: Vec<(Instant, Citation, Entry)>,
    /// Settings that the job keeps as files.
    pub kept: Vec<(KeptSettings, Settings, Identity)>,
}
impl ReplayKeeper {
    fn new(against: Against, keeps: Keeps) -> Self {
        Self {
            expected: None,
            sent: VecDeque::new(),
            chain: journal::Chain::default(),
            against,
            at: 0,
            lines: 0,
            journal: Vec::new(),
            keep_journal: keeps == Keeps::Journal,
            further: Vec::new(),
            kept: Vec::new(),
        }
    }
    /// The journal that came out, if it was to be kept.
    pub fn into_journal(self) -> Vec<u8> {
        self.journal
    }
    /// What was made of the log by the version that wrote it.
    pub fn recorded(&mut self) -> Option<&mut RecordedRun> {
        match &mut self.against {
            Against::Anew(recorded) => Some(recorded),
            _ => None,
        }
    }
    /// Whether the whole journal came out again.
    fn journal_ends(&self) -> Result<(), Failure> {
        match &self.against {
            Against::Journal(bytes) | Against::SoFar(bytes) if self.at < bytes.len() => Err(Failure::input(
                format!("journal.jsonl:{}: the journal goes on where the replay ends", self.lines + 1),
                "the trace was cut, or the journal belongs to another one",
            )),
            _ => Ok(()),
        }
    }
}
impl Keeper for ReplayKeeper {
    fn log(&mut self, record: LogRecord) -> Result<Citation, Failure> {
        if let Logged::Sent(line, bytes) = record.what {
            self.sent.push_back((line, bytes));
        }
        self.expected.ok_or_else(|| Failure::internal("a replay without a record"))
    }
    fn journal(&mut self, at: Instant, citation: &Citation, entries: &[Entry]) -> Result<(), Failure> {
        for entry in entries {
            let line = self.chain.line(at, &cite(citation), entry)?;
            self.lines += 1;
            if self.keep_journal {
                self.journal.extend_from_slice(&line);
            }
            if let Against::Anew(recorded) = &mut self.against {
                recorded.entry(at, citation, entry)?;
            }
            if let Against::SoFar(bytes) = &self.against
                && self.at >= bytes.len()
            {
                self.further.push((at, *citation, entry.clone()));
            } else if let Against::Journal(bytes) | Against::SoFar(bytes) = &self.against {
                let end = (self.at + line.len()).min(bytes.len());
                let kept = bytes.get(self.at..end).unwrap_or_default();
                if kept != line {
                    return Err(Failure::input(
                        format!(
                            "journal.jsonl:{}: the replay gives another line\n  kept:   {}\n  replay: {}",
                            self.lines,
                            String::from_utf8_lossy(kept).trim_end(),
                            String::from_utf8_lossy(&line).trim_end()
                        ),
                        "the journal was altered, or another version wrote it: replay with that version, or use --rejudge",
                    ));
                }
                self.at = end;
            }
        }
        Ok(())
    }
    fn settings(&mut self, which: KeptSettings, settings: &Settings, unit: &Identity) -> Result<(), Failure> {
        self.kept.push((which, settings.clone(), unit.clone()));
        Ok(())
    }
}

/// A finished replay.
pub struct Replayed {
    /// The session as it stands at the end of the log.
    pub session: Session<ReplayKeeper>,
    /// The job's files, from the log.
    pub loaded: Loaded,
    /// Their bytes.
    pub files: Files,
    /// More than the opening is in the log: the files count as they were then.
    pub begun: bool,
    /// The last date in the log and its instant.
    pub date: Option<(Instant, String)>,
    /// What is wrong with the log's end, where that is allowed.
    pub torn: Option<String>,
    /// The end of the log.
    pub end: Option<Citation>,
    /// The instant of its last record.
    pub last_at: Instant,
    /// Records read.
    pub records: u64,
    /// Lines of journal that came out.
    pub lines: u64,
}

/// Replays a log. `fresh` are the files of a job of which the log holds no more than the opening.
///
/// # Errors
/// The log can't be read, its files are not sound, or something else comes out than what it is held against.
pub fn replay(
    log: LogReader<impl Read>,
    against: Against,
    keeps: Keeps,
    fresh: Option<&Files>,
) -> Result<Replayed, Failure> {
    replay_seen(log, against, keeps, fresh, &mut |_, _| {})
}

/// The same, and shows what follows from each input at its instant.
///
/// # Errors
/// As [`replay`].
pub fn replay_seen(
    mut log: LogReader<impl Read>,
    against: Against,
    keeps: Keeps,
    fresh: Option<&Files>,
    see: &mut dyn FnMut(Instant, Vec<Outward>),
) -> Result<Replayed, Failure> {
    let may_be_torn = matches!(against, Against::SoFar(_));
    let mut records = Records { log: &mut log, may_be_torn, torn: None, date: None, read: 0 };
    let Opening { mut files, inputs, begun } = opening(&mut records)?;
    if let (false, Some(fresh)) = (begun, fresh) {
        files = fresh.clone();
    }
    let (mut session, loaded) = begin(&files, ReplayKeeper::new(against, keeps), keeps)?;
    for (at, input, citation) in inputs {
        if begun {
            complete(&mut session, at, &input)?;
        }
        see(at, feed(&mut session, at, input, citation)?);
    }
    while let Some(logged) = records.next()? {
        let at = logged.record.at;
        match logged.record.what {
            Logged::Input(input) => {
                complete(&mut session, at, &input)?;
                see(at, feed(&mut session, at, input, logged.citation)?);
            }
            Logged::Sent(line, bytes) => expect_sent(&mut session, &(line, bytes), at)?,
        }
    }
    let Records { torn, date, read: records, .. } = records;
    session.keeper().journal_ends()?;
    let lines = session.keeper().lines;
    Ok(Replayed { loaded, files, begun, date, torn, end: log.end(), last_at: log.last_at(), records, lines, session })
}

/// The records of a log, one after the other.
struct Records<'a, R> {
    log: &'a mut LogReader<R>,
    /// The log of a job that may have been ended at any instant: a torn end is told and ends it.
    may_be_torn: bool,
    torn: Option<String>,
    date: Option<(Instant, String)>,
    read: u64,
}
impl<R: Read> Records<'_, R> {
    fn next(&mut self) -> Result<Option<LogEntry>, Failure> {
        let entry = match self.log.next() {
            Some(Ok(entry)) => entry,
            Some(Err(e)) if self.may_be_torn && e.may_be_torn() => {
                self.torn = Some(e.to_string());
                return Ok(None);
            }
            Some(Err(e)) => return Err(e.into()),
            None => return Ok(None),
        };
        self.read += 1;
        if let Logged::Input(Input::Date(words)) = &entry.record.what {
            self.date = Some((entry.record.at, words.clone()));
        }
        Ok(Some(entry))
    }
}

/// What stands before the first input that something follows from, and that input.
struct Opening {
    files: Files,
    inputs: Vec<(Instant, Input, Citation)>,
    /// There is such an input.
    begun: bool,
}

/// Reads the opening: the job is made once its files are known.
fn opening(records: &mut Records<'_, impl Read>) -> Result<Opening, Failure> {
    let mut opening = Opening { files: Files::default(), inputs: Vec::new(), begun: false };
    while let Some(logged) = records.next()? {
        let at = logged.record.at;
        let Logged::Input(input) = logged.record.what else {
            return Err(differs(at, "something was sent before the job began"));
        };
        match &input {
            // A section that got no further than its opening counts for nothing: the next one names the files again.
            Input::Tool { .. } => opening.files.0.clear(),
            Input::File { name, bytes } => opening.files.0.push((name.clone(), bytes.clone())),
            Input::Date(_) => {}
            _ => opening.begun = true,
        }
        opening.inputs.push((at, input, logged.citation));
        if opening.begun {
            break;
        }
    }
    Ok(opening)
}

fn begin(files: &Files, mut keeper: ReplayKeeper, keeps: Keeps) -> Result<(Session<ReplayKeeper>, Loaded), Failure> {
    let files = match keeper.recorded() {
        Some(recorded) => &recorded.described(files)?,
        None => files,
    };
    let loaded = files.check()?;
    let procedure = Procedure::new(loaded.inputs.clone(), crate::port::drivers(files));
    let session = Session::new(procedure, keeper, loaded.inputs.plan.link.readings_hz);
    Ok((if keeps == Keeps::Charts { session } else { session.without_charts() }, loaded))
}

/// Gives the procedure an input of the log.
fn feed(s: &mut Session<ReplayKeeper>, at: Instant, input: Input, citation: Citation) -> Result<Vec<Outward>, Failure> {
    s.keeper().expected = Some(citation);
    // Judged anew, an answer belongs to what is asked now.
    let open = s.keeper().recorded().is_some().then(|| s.open().clone());
    let input = match (s.keeper().recorded(), open) {
        (Some(recorded), Some(open)) => recorded.input(input, &citation, &open)?,
        _ => input,
    };
    s.feed(at, input)
}

/// Before an input of the log: everything that follows from those before it is in the log and in the journal.
fn complete(s: &mut Session<ReplayKeeper>, at: Instant, input: &Input) -> Result<(), Failure> {
    let keeper = s.keeper();
    let left = !std::mem::take(&mut keeper.sent).is_empty();
    // What was to be sent when the program was ended may not have been written down, and was then not sent.
    if left && !matches!(input, Input::Tool { .. }) {
        match keeper.recorded() {
            Some(recorded) => recorded.differs(at),
            None => return Err(differs(at, "something is sent where nothing was")),
        }
    }
    if keeper.further.is_empty() {
        return Ok(());
    }
    Err(Failure::input(
        format!("journal.jsonl:{}: lines are missing that follow from the trace", keeper.lines),
        "the journal was cut: use the whole one, from a copy",
    ))
}

fn expect_sent(s: &mut Session<ReplayKeeper>, sent: &(LineId, Vec<u8>), at: Instant) -> Result<(), Failure> {
    let mine = s.keeper().sent.pop_front();
    let same = mine.as_ref() == Some(sent);
    match (s.keeper().recorded(), mine) {
        (Some(recorded), _) => recorded.sent(at, same),
        (None, _) if same => {}
        (None, Some(_)) => return Err(differs(at, "other bytes are sent than were")),
        (None, None) => return Err(differs(at, "nothing is sent where something was")),
    }
    Ok(())
}
fn differs(at: Instant, what: &str) -> Failure {
    Failure::input(
        format!("trace.pcapng at {at}: {what}"),
        "another version wrote this log: replay with that version, or use --rejudge",
    )
}

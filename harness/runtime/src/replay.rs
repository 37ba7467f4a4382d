//! Replays a log through the procedure: strict, the bytes sent and the journal must come out the same, byte for byte.
//!
//! The log is read record by record; nothing of it is kept but what a report shows. Not here: reports.
use crate::{
    failure::Failure,
    job_files::{Files, Loaded},
    keep::cite,
    rejudge::Then,
    session::{Keeper, Session},
};
use plumeline_base::{
    Instant,
    input::{Input, LineId},
};
use plumeline_detector::{Identity, settings::Settings};
use plumeline_job::journal;
use plumeline_procedure::{Entry, Procedure, effect::KeptSettings};
use plumeline_trace::{Citation, LogReader, Logged, Record};
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
    /// Nothing must come out again: what differs is told.
    Then(Box<Then>),
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
    /// The journal that came out, if it was to be kept.
    pub fn into_journal(self) -> Vec<u8> {
        self.journal
    }
    /// What was made of the log by the version that wrote it.
    pub fn then(&mut self) -> Option<&mut Then> {
        match &mut self.against {
            Against::Then(then) => Some(then),
            _ => None,
        }
    }
}
impl Keeper for ReplayKeeper {
    fn log(&mut self, record: Record) -> Result<Citation, Failure> {
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
            if let Against::Then(then) = &mut self.against {
                then.entry(at, citation, entry)?;
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

/// Replays a log. `keep` keeps the journal that comes out, `charts` the readings that a report shows. `fresh` are the
/// files of a job of which the log holds no more than the opening.
pub fn replay(
    mut log: LogReader<impl Read>,
    against: Against,
    keep: bool,
    charts: bool,
    fresh: Option<&Files>,
) -> Result<Replayed, Failure> {
    let so_far = matches!(against, Against::SoFar(_));
    let mut torn = None;
    let mut date = None;
    let mut held: VecDeque<(Instant, Input, Citation)> = VecDeque::new();
    let mut files = Files::default();
    let mut session: Option<(Session<ReplayKeeper>, Loaded)> = None;
    let mut keeper = Some(ReplayKeeper {
        expected: None,
        sent: VecDeque::new(),
        chain: journal::Chain::default(),
        against,
        at: 0,
        lines: 0,
        journal: Vec::new(),
        keep_journal: keep,
        further: Vec::new(),
        kept: Vec::new(),
    });
    let mut records = 0;
    for entry in &mut log {
        let entry = match entry {
            Err(e) if so_far && e.may_be_torn() => {
                torn = Some(e.to_string());
                break;
            }
            entry => entry?,
        };
        records += 1;
        let at = entry.record.at;
        if let Logged::Input(Input::Date(words)) = &entry.record.what {
            date = Some((at, words.clone()));
        }
        match (entry.record.what, &mut session) {
            (Logged::Input(input), None) => {
                // The job is made once its files are known: everything before the first other input.
                let opening = matches!(input, Input::Tool { .. } | Input::Date(_) | Input::File { .. });
                match &input {
                    // A section that got no further than its opening counts for nothing: the next one names the files again.
                    Input::Tool { .. } => files.0.clear(),
                    Input::File { name, bytes } => files.0.push((name.clone(), bytes.clone())),
                    _ => {}
                }
                held.push_back((at, input, entry.citation));
                if !opening {
                    session = Some(begin(&files, &mut keeper, charts)?);
                }
            }
            (Logged::Input(input), Some(_)) => held.push_back((at, input, entry.citation)),
            (Logged::Sent(line, bytes), Some((s, _))) => expect_sent(s, &(line, bytes), at)?,
            (Logged::Sent(..), None) => return Err(differs(at, "something was sent before the job began")),
        }
        if let Some((s, _)) = &mut session {
            while let Some((at, input, citation)) = held.pop_front() {
                // What was to be sent when the program was ended may not have been written down, and was then not sent.
                let ended = matches!(input, Input::Tool { .. });
                all_sent(s, at, ended)?;
                if !s.keeper().further.is_empty() {
                    return Err(Failure::input(
                        format!("journal.jsonl:{}: lines are missing that follow from the trace", s.keeper().lines),
                        "the journal was cut: use the whole one, from a copy",
                    ));
                }
                s.keeper().expected = Some(citation);
                let input = as_now(s, input, &citation)?;
                s.feed(at, input)?;
            }
        }
    }
    let begun = session.is_some();
    let (mut session, loaded) = match session {
        Some(made) => made,
        None => {
            if let Some(fresh) = fresh {
                files = fresh.clone();
            }
            begin(&files, &mut keeper, charts)?
        }
    };
    while let Some((at, input, citation)) = held.pop_front() {
        session.keeper().expected = Some(citation);
        let input = as_now(&mut session, input, &citation)?;
        session.feed(at, input)?;
    }
    let last_at = log.last_at();
    let k = session.keeper();
    let lines = k.lines;
    if let Against::Journal(bytes) | Against::SoFar(bytes) = &k.against
        && k.at < bytes.len()
    {
        return Err(Failure::input(
            format!("journal.jsonl:{}: the journal goes on where the replay ends", lines + 1),
            "the trace was cut, or the journal belongs to another one",
        ));
    }
    Ok(Replayed { session, loaded, files, begun, date, torn, end: log.end(), last_at, records, lines })
}

fn begin(
    files: &Files,
    keeper: &mut Option<ReplayKeeper>,
    charts: bool,
) -> Result<(Session<ReplayKeeper>, Loaded), Failure> {
    let mut keeper = keeper.take().ok_or_else(|| Failure::internal("a replay begun twice"))?;
    let files = match keeper.then() {
        Some(then) => &then.described(files)?,
        None => files,
    };
    let loaded = files.check()?;
    let procedure = Procedure::new(loaded.inputs.clone(), crate::port::drivers(files));
    let session = Session::new(procedure, keeper, loaded.inputs.plan.link.readings_hz);
    Ok((if charts { session } else { session.without_charts() }, loaded))
}

/// An input of the log as it is given to the procedure now.
fn as_now(s: &mut Session<ReplayKeeper>, input: Input, at: &Citation) -> Result<Input, Failure> {
    if s.keeper().then().is_none() {
        return Ok(input);
    }
    let open = s.open().clone();
    match s.keeper().then() {
        Some(then) => then.input(input, at, &open),
        None => Ok(input),
    }
}
fn expect_sent(s: &mut Session<ReplayKeeper>, sent: &(LineId, Vec<u8>), at: Instant) -> Result<(), Failure> {
    let mine = s.keeper().sent.pop_front();
    let same = mine.as_ref() == Some(sent);
    match (s.keeper().then(), mine) {
        (Some(then), _) => then.sent(at, same),
        (None, _) if same => {}
        (None, Some(_)) => return Err(differs(at, "other bytes are sent than were")),
        (None, None) => return Err(differs(at, "nothing is sent where something was")),
    }
    Ok(())
}
fn all_sent(s: &mut Session<ReplayKeeper>, at: Instant, ended: bool) -> Result<(), Failure> {
    let left = !std::mem::take(&mut s.keeper().sent).is_empty();
    match s.keeper().then() {
        _ if !left || ended => Ok(()),
        Some(then) => {
            then.differs(at);
            Ok(())
        }
        None => Err(differs(at, "something is sent where nothing was")),
    }
}
fn differs(at: Instant, what: &str) -> Failure {
    Failure::input(
        format!("trace.pcapng at {at}: {what}"),
        "another version wrote this log: replay with that version, or use --rejudge",
    )
}

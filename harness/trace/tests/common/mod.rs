//! Records to try things with.
#![allow(dead_code, unreachable_pub)] // Each test file uses its own part.
use plumeline_base::{
    Instant,
    input::{AbortCause, Answer, Author, FromPage, Input, LineId, LinkDown, Mark, OperatorAct, Photo, Role},
    logger::LoggerFile,
};
use plumeline_trace::{
    FORMAT, LogEntry, LogReader, LogRecord, LogWriter, Logged, ReadError, TRACE_FILE, fake::FakeDisk,
};
use proptest::{collection::vec, prelude::*};

pub fn at(us: u64, what: impl Into<Logged>) -> LogRecord {
    LogRecord { at: Instant::from_micros(us), what: what.into() }
}
pub fn input(us: u64, input: Input) -> LogRecord {
    at(us, Logged::Input(input))
}
pub fn tool(us: u64) -> LogRecord {
    input(us, Input::Tool { version: "0.1.0".into(), format: FORMAT })
}

/// Either line.
pub fn which() -> impl Strategy<Value = LineId> + Clone {
    prop_oneof![Just(LineId::Main), Just(LineId::Outgoing)]
}

/// One of every kind, with awkward contents.
pub fn one_of_each() -> Vec<LogRecord> {
    let operator = |prompt, answer| Input::Operator(OperatorAct::new(prompt, answer));
    let inputs = [
        Input::Date("2026-03-01T09:00:00+01:00".into()),
        Input::File { name: "pipework.toml".into(), bytes: b"a = 1\nb = 2\n".to_vec() },
        Input::File { name: "empty".into(), bytes: vec![] },
        Input::LinkUp { line: LineId::Main, link: "serial:/dev/ttyUSB0@115200 (DTR on, RTS on)".into() },
        Input::Received(LineId::Main, vec![0, 1, 2, b'\n', 255]),
        Input::Received(LineId::Outgoing, vec![]),
        operator(0, Answer::Yes),
        operator(1, Answer::No),
        operator(2, Answer::Cannot("behind a \"duct\"\n\u{1f6ab}".into())),
        operator(u32::MAX, Answer::Number(0.1 + 0.2)),
        operator(4, Answer::Number(f64::NEG_INFINITY)),
        operator(5, Answer::Number(-0.0)),
        operator(6, Answer::Number(f64::MIN_POSITIVE / 4.0)),
        operator(7, Answer::Text(String::new())),
        Input::Wake,
        Input::LinkDown { line: LineId::Outgoing, cause: LinkDown::Unplugged, detail: "end of line".into() },
        Input::Abort(AbortCause::Operator),
        Input::Abort(AbortCause::Shutdown),
        Input::Abort(AbortCause::Internal),
        Input::Head("7K3Q-7K3Q-7K3Q-7K3Q-00".into()),
        Input::Pause(AbortCause::Shutdown),
        Input::Attended(true),
        Input::Attended(false),
        operator(8, Answer::Back),
        operator(9, Answer::NoBecause("it shows input 3".into())),
        operator(9, Answer::Again("hole 1.4".into())),
        operator(9, Answer::Later),
        from_page(),
        logger_file(vec![(-1_500_000, 0.1 + 0.2), (0, -0.0), (1, f64::MIN_POSITIVE / 4.0), (i64::MAX, 12345.678)]),
        logger_file(vec![]),
    ];
    let mut all = vec![tool(0)];
    all.extend(inputs.into_iter().enumerate().map(|(i, x)| input(i as u64, x)));
    all.push(at(40, Logged::Sent(LineId::Outgoing, vec![0; 3])));
    all.push(at(u64::MAX, Logged::Sent(LineId::Main, vec![])));
    all
}

fn logger_file(rows: Vec<(i64, f64)>) -> Input {
    Input::LoggerFile(Box::new(LoggerFile {
        name: "loggers/smoke-0123456789abcdef.csv".into(),
        length: 77,
        sha256: "00".repeat(32),
        column: "smoke \u{b0}\n[%/m]".into(),
        unit: "%/m".into(),
        first: "2026-01-31 08:00:00".into(),
        dated_us: Some(1_769_846_400_000_000),
        step_us: 1_000_000,
        marks_us: vec![Some(-3), None],
        readings: 9,
        rows,
    }))
}

pub fn any_input() -> impl Strategy<Value = Input> {
    let text = "\\PC{0,40}";
    let cause = prop_oneof![
        Just(LinkDown::Absent),
        Just(LinkDown::Denied),
        Just(LinkDown::Busy),
        Just(LinkDown::Unplugged),
        Just(LinkDown::Closed),
        Just(LinkDown::Other)
    ];
    let answer = prop_oneof![
        Just(Answer::Yes),
        Just(Answer::No),
        any::<String>().prop_map(Answer::Cannot),
        any::<f64>().prop_filter("NaN is not equal to itself", |x| !x.is_nan()).prop_map(Answer::Number),
        any::<String>().prop_map(Answer::Text)
    ];
    prop_oneof![
        (text, 0..=FORMAT).prop_map(|(version, format)| Input::Tool { version, format }),
        any::<String>().prop_map(Input::Date),
        (any::<String>(), vec(any::<u8>(), 0..200)).prop_map(|(name, bytes)| Input::File { name, bytes }),
        (which(), any::<String>()).prop_map(|(line, link)| Input::LinkUp { line, link }),
        (which(), cause, any::<String>()).prop_map(|(line, cause, detail)| Input::LinkDown { line, cause, detail }),
        (which(), vec(any::<u8>(), 0..200)).prop_map(|(line, bytes)| Input::Received(line, bytes)),
        (any::<u32>(), answer).prop_map(|(prompt, answer)| Input::Operator(OperatorAct::new(prompt, answer))),
        vec((any::<i64>(), -1e9..1e9), 0..60).prop_map(logger_file),
        Just(Input::Wake),
        Just(Input::Abort(AbortCause::Operator)),
    ]
}

/// A log's worth of records: a tool first, then anything, in order of time.
pub fn any_records() -> impl Strategy<Value = Vec<LogRecord>> {
    let what = prop_oneof![
        4 => any_input().prop_map(Logged::Input),
        1 => (which(), vec(any::<u8>(), 0..200)).prop_map(|(line, bytes)| Logged::Sent(line, bytes))
    ];
    vec((0..1_000_000_u64, what), 0..40).prop_map(|steps| {
        let mut now = 0;
        let mut all = vec![tool(0)];
        all.extend(steps.into_iter().map(|(step, what)| {
            now += step;
            at(now, what)
        }));
        all
    })
}

/// Writes a log on a disk of its own and returns its bytes.
pub fn written(records: &[LogRecord]) -> Vec<u8> {
    let disk = FakeDisk::new();
    let mut log = LogWriter::create(disk.clone(), TRACE_FILE).unwrap();
    for record in records {
        log.append(record).unwrap();
    }
    disk.contents(TRACE_FILE).unwrap_or_default()
}

/// Everything that can be read, and why no more can, if so.
pub fn read(bytes: &[u8]) -> (Vec<LogEntry>, Option<ReadError>) {
    let mut entries = Vec::new();
    for entry in LogReader::new(bytes) {
        match entry {
            Ok(entry) => entries.push(entry),
            Err(e) => return (entries, Some(e)),
        }
    }
    (entries, None)
}
pub fn records(entries: Vec<LogEntry>) -> Vec<LogRecord> {
    entries.into_iter().map(|e| e.record).collect()
}

/// An answer from a page, with everything that can come with it.
fn from_page() -> Input {
    let photo = Photo { name: "photos/a-0.jpg".into(), length: 3, sha256: "ab".repeat(32) };
    let page = FromPage {
        by: Author { name: "A. \"Ex\u{e4}mple\"".into(), role: Role::FarEnd, page: 2 },
        mark: Some(Mark { at: Instant::from_micros(u64::MAX), u_us: u32::MAX }),
        note: Some("left\nside".into()),
        photo: Some(photo),
    };
    Input::Operator(OperatorAct { page: Some(Box::new(page)), ..OperatorAct::new(3, Answer::Yes) })
}

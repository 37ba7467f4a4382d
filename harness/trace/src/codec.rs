//! A record's content as bytes, and the plain words that a packet viewer shows beside it.
//!
//! Bytes of the line are stored as they are. Any other event is one line of JSON that names it; a file's bytes, and the
//! rows of a logger's file, follow after a newline. Not here: blocks (see `block`), order and limits (see `write` and `read`).
use crate::{Logged, block::Interface};
use plumeline_base::{
    input::{AbortCause, Answer, FromPage, Input, LineId, LinkDown, OperatorAct, Tick},
    logger::LoggerFile,
};
use serde::{Deserialize, Serialize};
use std::borrow::Cow;

/// The line of JSON.
#[derive(Serialize, Deserialize)]
#[serde(tag = "event", rename_all = "kebab-case", deny_unknown_fields)]
enum Header<'a> {
    Tool {
        version: Cow<'a, str>,
        format: u32,
    },
    Date {
        date: Cow<'a, str>,
    },
    File {
        name: Cow<'a, str>,
        bytes: u64,
    },
    LinkUp {
        #[serde(default, skip_serializing_if = "LineId::is_main")]
        line: LineId,
        link: Cow<'a, str>,
    },
    LinkDown {
        #[serde(default, skip_serializing_if = "LineId::is_main")]
        line: LineId,
        cause: LinkDown,
        detail: Cow<'a, str>,
    },
    Operator {
        prompt: u32,
        answer: AnswerText<'a>,
        #[serde(default, skip_serializing_if = "Option::is_none")]
        page: Option<Cow<'a, Box<FromPage>>>,
    },
    Wake {},
    Head {
        code: Cow<'a, str>,
    },
    Abort {
        cause: AbortCause,
    },
    Attended {
        by_a_person: bool,
    },
    Pause {
        cause: AbortCause,
    },
    LoggerFile {
        rows: u64,
        about: Cow<'a, LoggerFile>,
    },
    Join {
        parts: u32,
    },
}

/// [`Answer`], but JSON has no word for numbers that are not finite.
#[derive(Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
enum AnswerText<'a> {
    Yes,
    No,
    Cannot(Cow<'a, str>),
    Number(f64),
    NotFinite(Cow<'a, str>),
    Text(Cow<'a, str>),
    Ticked(Cow<'a, Tick>),
    Back,
    NoBecause(Cow<'a, str>),
    Again(Cow<'a, str>),
    Later,
}

const WAKE: &[u8] = br#"{"event":"wake"}"#;

/// What a packet holds.
pub(crate) enum Packet {
    /// A record.
    Record(Logged),
    /// The next so many packets are one record.
    Join(u32),
}

/// A record as it is stored.
pub(crate) struct Content<'a> {
    pub(crate) on: Interface,
    pub(crate) bytes: Cow<'a, [u8]>,
    /// Plain words for the packet's comment.
    pub(crate) words: String,
}

pub(crate) fn encode(what: &Logged) -> Content<'_> {
    let input = match what {
        Logged::Sent(on, b) => return line(Interface::Sent(*on), b, "sent"),
        Logged::Input(Input::Received(on, b)) => return line(Interface::Received(*on), b, "received"),
        Logged::Input(input) => input,
    };
    let mut bytes = match header(input) {
        Some(header) => json(&header),
        None => WAKE.to_vec(),
    };
    if let Input::File { bytes: file, .. } = input {
        bytes.push(b'\n');
        bytes.extend_from_slice(file);
    }
    if let Input::LoggerFile(file) = input {
        for (at_us, value) in &file.rows {
            // The shortest figures that read back to the same number.
            bytes.extend_from_slice(format!("\n{at_us} {value}").as_bytes());
        }
        bytes.push(b'\n');
    }
    Content { on: Interface::Events, bytes: bytes.into(), words: short(words(input)) }
}

fn line<'a>(on: Interface, bytes: &'a [u8], verb: &str) -> Content<'a> {
    Content { on, bytes: bytes.into(), words: format!("{verb} {} B", bytes.len()) }
}

/// The packet that announces that the next `parts` packets are one record.
pub(crate) fn join(parts: u32) -> Content<'static> {
    let words = format!("the next {parts} packets are one record");
    Content { on: Interface::Events, bytes: json(&Header::Join { parts }).into(), words }
}

fn json(header: &Header<'_>) -> Vec<u8> {
    // Strings and numbers into memory: this can't fail, and an empty line would be refused by the reader.
    serde_json::to_vec(header).unwrap_or_default()
}

/// The header of an event; none for a wake and for bytes, which are written without.
fn header(input: &Input) -> Option<Header<'_>> {
    Some(match input {
        Input::Tool { version, format } => Header::Tool { version: version.into(), format: *format },
        Input::Date(date) => Header::Date { date: date.into() },
        Input::File { name, bytes } => Header::File { name: name.into(), bytes: bytes.len() as u64 },
        Input::LinkUp { line, link } => Header::LinkUp { line: *line, link: link.into() },
        Input::LinkDown { line, cause, detail } => {
            Header::LinkDown { line: *line, cause: *cause, detail: detail.into() }
        }
        Input::Operator(OperatorAct { prompt, answer, page }) => Header::Operator {
            prompt: *prompt,
            page: page.as_ref().map(Cow::Borrowed),
            answer: match answer {
                Answer::Yes => AnswerText::Yes,
                Answer::No => AnswerText::No,
                Answer::Cannot(why) => AnswerText::Cannot(why.into()),
                Answer::Number(x) if x.is_finite() => AnswerText::Number(*x),
                Answer::Number(x) => AnswerText::NotFinite(x.to_string().into()),
                Answer::Text(text) => AnswerText::Text(text.into()),
                Answer::Ticked(tick) => AnswerText::Ticked(Cow::Borrowed(tick)),
                Answer::Back => AnswerText::Back,
                Answer::NoBecause(why) => AnswerText::NoBecause(why.into()),
                Answer::Again(what) => AnswerText::Again(what.into()),
                Answer::Later => AnswerText::Later,
            },
        },
        Input::Head(code) => Header::Head { code: code.into() },
        Input::Abort(cause) => Header::Abort { cause: *cause },
        Input::Attended(by_a_person) => Header::Attended { by_a_person: *by_a_person },
        Input::Pause(cause) => Header::Pause { cause: *cause },
        Input::LoggerFile(file) => Header::LoggerFile { rows: file.rows.len() as u64, about: Cow::Borrowed(&**file) },
        Input::Wake | Input::Received(..) => return None,
    })
}

/// Reads a packet, or the parts of a record put together.
pub(crate) fn decode(on: Interface, packet: &[u8]) -> Result<Packet, String> {
    match on {
        Interface::Received(on) => Ok(Packet::Record(Logged::Input(Input::Received(on, packet.to_vec())))),
        Interface::Sent(on) => Ok(Packet::Record(Logged::Sent(on, packet.to_vec()))),
        Interface::Events => event(packet),
    }
}

fn event(packet: &[u8]) -> Result<Packet, String> {
    if packet == WAKE {
        return Ok(Packet::Record(Logged::Input(Input::Wake)));
    }
    let (head, file) = match packet.iter().position(|&b| b == b'\n') {
        Some(at) => (&packet[..at], Some(&packet[at + 1..])),
        None => (packet, None),
    };
    let header: Header<'_> = serde_json::from_slice(head).map_err(|e| e.to_string())?;
    if file.is_some() != matches!(header, Header::File { .. } | Header::LoggerFile { .. }) {
        return Err("bytes after the line of JSON belong to a file, and only to a file".into());
    }
    Ok(Packet::Record(Logged::Input(match header {
        Header::Tool { version, format } => Input::Tool { version: version.into(), format },
        Header::Date { date } => Input::Date(date.into()),
        Header::File { name, bytes } => {
            let content = file.unwrap_or_default();
            if bytes != content.len() as u64 {
                return Err(format!("the file should have {bytes} bytes, but {} are here", content.len()));
            }
            Input::File { name: name.into(), bytes: content.to_vec() }
        }
        Header::LinkUp { line, link } => Input::LinkUp { line, link: link.into() },
        Header::LinkDown { line, cause, detail } => Input::LinkDown { line, cause, detail: detail.into() },
        Header::Operator { prompt, answer, page } => {
            let answer = match answer {
                AnswerText::Yes => Answer::Yes,
                AnswerText::No => Answer::No,
                AnswerText::Cannot(why) => Answer::Cannot(why.into()),
                AnswerText::Number(x) => Answer::Number(x),
                AnswerText::NotFinite(x) => match x.parse() {
                    Ok(x) if !f64::is_finite(x) => Answer::Number(x),
                    _ => return Err(format!("`{x}` is not one of NaN, inf, -inf")),
                },
                AnswerText::Text(text) => Answer::Text(text.into()),
                AnswerText::Ticked(tick) => Answer::Ticked(tick.into_owned()),
                AnswerText::Back => Answer::Back,
                AnswerText::NoBecause(why) => Answer::NoBecause(why.into()),
                AnswerText::Again(what) => Answer::Again(what.into()),
                AnswerText::Later => Answer::Later,
            };
            Input::Operator(OperatorAct { prompt, answer, page: page.map(Cow::into_owned) })
        }
        Header::Wake {} => Input::Wake,
        Header::Head { code } => Input::Head(code.into()),
        Header::Abort { cause } => Input::Abort(cause),
        Header::Attended { by_a_person } => Input::Attended(by_a_person),
        Header::Pause { cause } => Input::Pause(cause),
        Header::LoggerFile { rows, about } => {
            let read = logged(file.unwrap_or_default())?;
            if rows != read.len() as u64 {
                return Err(format!("the logger's file should have {rows} rows, but {} are here", read.len()));
            }
            Input::LoggerFile(Box::new(LoggerFile { rows: read, ..about.into_owned() }))
        }
        Header::Join { parts } => return Ok(Packet::Join(parts)),
    })))
}

/// The rows of a logger's file: a line for each, with its time in us and what was read.
fn logged(bytes: &[u8]) -> Result<Vec<(i64, f64)>, String> {
    let text = std::str::from_utf8(bytes).map_err(|e| e.to_string())?;
    let row = |line: &str| {
        let read = line.split_once(' ').and_then(|(at, value)| Some((at.parse().ok()?, value.parse().ok()?)));
        read.ok_or_else(|| format!("`{line}` is no row of a logger's file"))
    };
    text.lines().map(row).collect()
}

/// An event in plain words.
fn words(input: &Input) -> String {
    match input {
        Input::Tool { version, format } => format!("plumeline {version} writes from here (format {format})"),
        Input::Date(date) => format!("date and time: {date}"),
        Input::File { name, bytes } => format!("file {name} as read, {} B", bytes.len()),
        Input::LinkUp { line, link } => format!("link up{}: {link}", whose(*line)),
        Input::LinkDown { line, cause, detail } => format!("link down{}: {cause} ({detail})", whose(*line)),
        Input::Received(_, bytes) => format!("received {} B", bytes.len()),
        Input::Operator(OperatorAct { prompt, answer, page }) => {
            let answer = match answer {
                Answer::Yes => "yes".into(),
                Answer::No => "no".into(),
                Answer::Cannot(why) => format!("cannot: {why}"),
                Answer::Number(x) => x.to_string(),
                Answer::Text(text) => format!("\"{text}\""),
                Answer::Ticked(tick) => tick.state.words().into(),
                Answer::Back => "takes the answer before back".into(),
                Answer::NoBecause(why) => format!("no: {why}"),
                Answer::Again(what) => format!("takes up again: {what}"),
                Answer::Later => "later".into(),
            };
            match page {
                Some(page) => format!("{} ({}) answers prompt {prompt}: {answer}", page.by.name, page.by.role.words()),
                None => format!("operator answers prompt {prompt}: {answer}"),
            }
        }
        Input::Wake => "timer wake".into(),
        Input::Head(code) => format!("code of the record so far: {code}"),
        Input::Abort(cause) => format!("abort: {}", why(*cause)),
        Input::Pause(cause) => format!("pause: {}", why(*cause)),
        Input::LoggerFile(file) => format!("{} as read: {} rows in {}", file.name, file.rows.len(), file.unit),
        Input::Attended(true) => "a person decides what follows when something is not shown".into(),
        Input::Attended(false) => "the plan decides what follows when something is not shown".into(),
    }
}

const fn why(cause: AbortCause) -> &'static str {
    match cause {
        AbortCause::Operator => "asked for by the operator",
        AbortCause::Shutdown => "the process is being ended",
        AbortCause::Internal => "a fault of the tool",
    }
}

fn whose(line: LineId) -> &'static str {
    match line {
        LineId::Main => "",
        LineId::Outgoing => " (the outgoing unit's)",
    }
}

/// Comments are for people: cut to about a line.
fn short(mut words: String) -> String {
    const MOST: usize = 160;
    if let Some((at, _)) = words.char_indices().nth(MOST) {
        words.truncate(at);
        words.push('…');
    }
    words
}

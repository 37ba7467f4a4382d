//! An unattended operator: answers prompts after a pause, and does at the (simulated) site what they ask for.
//!
//! Read from `operator.toml`. What the prompts ask for happens through the site's own control channel, never through
//! the unit's protocol. Not here: a person at a terminal.
use crate::failure::Failure;
use plumeline_base::{
    Instant,
    input::{Answer, OperatorAct},
    time::seconds,
};
use plumeline_job::{Kind, Problem};
use plumeline_procedure::{Act, Prompt};
use plumeline_simulator::Simulation;
use serde::Deserialize;
use std::{
    collections::BTreeMap,
    io::{BufRead, BufReader, Write},
    net::TcpStream,
    time::Duration,
};

/// The way into a simulated site: a line goes in, a line comes back.
pub trait Site {
    /// Sends one command and gives the reply.
    fn command(&mut self, now: Instant, line: &str) -> Result<String, Failure>;
}
impl Site for Simulation {
    fn command(&mut self, now: Instant, line: &str) -> Result<String, Failure> {
        Ok(self.handle_control(now, line))
    }
}

/// The site control of a simulator in another process, over TCP.
pub struct RemoteSite {
    write: TcpStream,
    read: BufReader<TcpStream>,
}
impl RemoteSite {
    /// Connects to `HOST:PORT`.
    pub fn connect(address: &str) -> Result<Self, Failure> {
        let told = |e: std::io::Error| {
            Failure::trouble(
                format!("site control {address}: {e}"),
                "start `plumeline simulate` first and give the address that it prints as site control",
            )
        };
        let write = TcpStream::connect(address).map_err(told)?;
        write.set_nodelay(true).map_err(told)?;
        write.set_read_timeout(Some(Duration::from_secs(10))).map_err(told)?;
        let read = BufReader::new(write.try_clone().map_err(told)?);
        Ok(Self { write, read })
    }
}
impl Site for RemoteSite {
    fn command(&mut self, _: Instant, line: &str) -> Result<String, Failure> {
        let lost = |why: String| {
            Failure::trouble(
                format!("site control: {why}"),
                "see whether the simulator still runs, then run the job again",
            )
        };
        self.write.write_all(format!("{line}\n").as_bytes()).map_err(|e| lost(e.to_string()))?;
        let mut reply = String::new();
        match self.read.read_line(&mut reply) {
            Ok(0) => Err(lost("the simulator closed it".into())),
            Ok(_) => Ok(reply.trim_end().to_owned()),
            Err(e) => Err(lost(e.to_string())),
        }
    }
}

/// A site that nobody has a way into: prompts are answered, nothing is done.
pub struct NoSite;
impl Site for NoSite {
    fn command(&mut self, _: Instant, _: &str) -> Result<String, Failure> {
        Ok(r#"{"ok":true}"#.into())
    }
}

/// What `operator.toml` says.
#[derive(Clone, Debug, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema), schemars(title = "operator.toml: answers for an unattended run"))]
#[serde(deny_unknown_fields)]
pub struct OperatorFile {
    /// Format version: 1.
    #[cfg_attr(test, schemars(extend("const" = 1)))]
    format: u32,
    /// Seconds from a prompt to its answer.
    #[serde(default = "usual_pause")]
    #[cfg_attr(test, schemars(range(min = 0)))]
    pause_s: f64,
    /// Address of the simulator's site control, `HOST:PORT`; without it prompts are only answered.
    #[cfg_attr(test, schemars(regex(pattern = "^.+:[0-9]+$")))]
    pub control: Option<String>,
    /// Answers that differ from the usual yes, first match first.
    #[serde(default)]
    answer: Vec<Exception>,
}
fn usual_pause() -> f64 {
    4.0
}

/// An answer that differs from the usual yes.
#[derive(Clone, Debug, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema), schemars(rename = "Answer"))]
#[serde(deny_unknown_fields)]
struct Exception {
    /// Kind of prompt, for example `close-hole`.
    #[cfg_attr(test, schemars(transform = tests::acts))]
    act: String,
    /// Only for this inlet.
    inlet: Option<u8>,
    /// Only for this hole, or this line of the checklist.
    number: Option<u32>,
    /// Only for this output.
    output: Option<u8>,
    /// `yes`, `no` or `cannot`.
    say: Option<Said>,
    /// The reason, for `cannot`.
    #[serde(default)]
    because: String,
    /// Words, for prompts that want words.
    text: Option<String>,
    /// Seconds from the prompt to this answer.
    #[cfg_attr(test, schemars(range(min = 0)))]
    pause_s: Option<f64>,
}
#[derive(Clone, Copy, Debug, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(rename_all = "kebab-case")]
enum Said {
    Yes,
    No,
    Cannot,
}

/// An unattended operator at work.
pub struct Script {
    file: OperatorFile,
    present: bool,
    waiting: BTreeMap<(Instant, u32), Prompt>,
}

impl Script {
    /// An operator who says yes to everything after a pause.
    pub fn willing() -> Self {
        Self::of(OperatorFile { format: 1, pause_s: usual_pause(), control: None, answer: Vec::new() })
    }
    /// An operator as the file says.
    pub fn of(file: OperatorFile) -> Self {
        Self { file, present: true, waiting: BTreeMap::new() }
    }
    /// Nobody: whatever is asked can't be done.
    pub fn absent() -> Self {
        let mut script = Self::willing();
        script.file.pause_s = 0.0;
        script.present = false;
        script
    }
    /// Reads `operator.toml`.
    pub fn read(name: &str, bytes: &[u8]) -> Result<OperatorFile, Problem> {
        let text = std::str::from_utf8(bytes)
            .map_err(|_| Problem::with_file(Kind::NotText, name, "it is not UTF-8 text", "save it as UTF-8"))?;
        let file: OperatorFile = toml::from_str(text).map_err(|e| {
            let line = e.span().map_or(1, |s| text[..s.start.min(text.len())].matches('\n').count() + 1);
            Problem::with_line(
                Kind::Syntax,
                name,
                line,
                e.message().to_owned(),
                "see docs/file-formats.md for operator.toml",
            )
        })?;
        if file.format != 1 {
            return Err(Problem::with_file(
                Kind::Version,
                name,
                format!("format {} is not known", file.format),
                "write format = 1",
            ));
        }
        Ok(file)
    }
    /// A prompt was opened.
    pub fn asked(&mut self, now: Instant, prompt: &Prompt) {
        let pause = self.exception(&prompt.act).and_then(|e| e.pause_s).unwrap_or(self.file.pause_s);
        self.waiting.insert((now + seconds(pause), prompt.id), prompt.clone());
    }
    /// A prompt is no longer wanted.
    pub fn withdrawn(&mut self, id: u32) {
        self.waiting.retain(|(_, i), _| *i != id);
    }
    /// When the next answer is due.
    pub fn due(&self) -> Option<Instant> {
        self.waiting.keys().next().map(|(at, _)| *at)
    }
    /// The next answer that is due at `now`; what it stands for has been done at the site.
    pub fn answer_due(&mut self, now: Instant, site: &mut dyn Site) -> Result<Option<OperatorAct>, Failure> {
        if self.due().is_none_or(|at| at > now) {
            return Ok(None);
        }
        let Some(((_, id), prompt)) = self.waiting.pop_first() else { return Ok(None) };
        Ok(Some(OperatorAct { prompt: id, answer: self.act(now, &prompt, site)? }))
    }

    fn exception(&self, act: &Act) -> Option<&Exception> {
        let place = Place::of(act);
        let fits = |want: Option<u32>, have: Option<u32>| want.is_none() || want == have;
        self.file.answer.iter().find(|e| {
            e.act == place.name
                && fits(e.inlet.map(u32::from), place.inlet.map(u32::from))
                && fits(e.number, place.number)
                && fits(e.output.map(u32::from), place.output.map(u32::from))
        })
    }

    fn act(&self, now: Instant, prompt: &Prompt, site: &mut dyn Site) -> Result<Answer, Failure> {
        if !self.present {
            return Ok(Answer::Cannot("nobody answers any more".into()));
        }
        let exception = self.exception(&prompt.act);
        match exception.and_then(|e| e.say) {
            Some(Said::No) => return Ok(Answer::No),
            Some(Said::Cannot) => return Ok(Answer::Cannot(exception.map(|e| e.because.clone()).unwrap_or_default())),
            _ => {}
        }
        if let Some(text) = exception.and_then(|e| e.text.clone()) {
            return Ok(Answer::Text(text));
        }
        Ok(match &prompt.act {
            // Nobody decides by script that unproven air is good enough, and nobody reads a display.
            Act::Override => Answer::No,
            Act::ReadDisplay => Answer::Cannot("nobody is there to read a display".into()),
            act => crate::site::perform(now, act, site)?,
        })
    }
}

/// A prompt's kind and place, for matching exceptions.
struct Place {
    name: String,
    inlet: Option<u8>,
    number: Option<u32>,
    output: Option<u8>,
}
impl Place {
    fn of(act: &Act) -> Self {
        let (inlet, number, output) = match act {
            Act::CloseHole(h) | Act::OpenHole(h) | Act::ReleaseSmoke(h) | Act::ReleaseWent(h) => {
                (Some(h.inlet), Some(h.number), None)
            }
            Act::ShutInlet { inlet } | Act::RefitInlet { inlet } => (Some(*inlet), None, None),
            Act::PanelShows { output, .. } | Act::PanelClear { output } => (None, None, Some(*output)),
            Act::Check { item } => (None, Some(*item), None),
            _ => (None, None, None),
        };
        Self { name: act.name().into(), inlet, number, output }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use schemars::Schema;

    /// The kinds of prompts that there are, as the journal names them.
    pub(super) fn acts(schema: &mut Schema) {
        let of_prompts = schemars::schema_for!(Act);
        let kinds = of_prompts.get("oneOf").and_then(|k| k.as_array()).cloned().unwrap_or_default();
        let names: Vec<_> = kinds.iter().filter_map(|k| k.pointer("/properties/act/const").cloned()).collect();
        assert_eq!(names.len(), kinds.len());
        schema.insert("enum".into(), names.into());
    }

    #[test]
    fn docs_hold_the_current_schema() {
        crate::scenario::tests::holds("operator.schema.json", plumeline_job::schema::of_toml::<OperatorFile>());
    }

    #[test]
    fn the_example_is_read() {
        let text = include_bytes!("../../../docs/examples/operator.toml");
        let file = Script::read("operator.toml", text).unwrap();
        assert_eq!(file.answer.len(), 3);
        assert_eq!(file.control.as_deref(), Some("127.0.0.1:5001"));
    }
}

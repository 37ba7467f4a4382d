//! Files of a logger that a person gives as an answer: what was read of one becomes an input of its own, before the answer that names it.
//!
//! Not here: how a file is read and kept (the job crate), and what it shows (the procedure).
use super::Job;
use crate::{failure::Failure, session::Keeper};
use plumeline_base::{
    input::{Answer, Input, OperatorAct},
    logger::LoggerFile,
};
use plumeline_job::{folder::Folder, loggers};
use plumeline_procedure::{Act, Plan, instrument::Instrument};
use std::path::{Path, PathBuf};

/// How the files of a job's logger are taken in.
#[derive(Clone, Debug, Default)]
pub struct Loggers {
    logger: Option<Instrument>,
    /// The job's folder, where one is kept.
    folder: Option<PathBuf>,
}
impl Loggers {
    /// By the plan; a copy of each file is kept in the folder, if there is one.
    pub fn of(plan: &Plan, folder: Option<&Folder>) -> Self {
        Self { logger: plan.logger().cloned(), folder: folder.map(|f| f.dir().to_owned()) }
    }
    /// Takes in the file that was typed, or the one that is at hand. With it: what the answer says from now on.
    fn take(
        &self,
        words: &str,
        at_hand: Option<(String, Vec<u8>)>,
        marks: &[String],
    ) -> Result<(LoggerFile, String), Failure> {
        let logger = self.logger.as_ref().ok_or_else(|| Failure::internal("a file of no logger is asked for"))?;
        let folder = self.folder.as_deref().map(Folder::open).transpose()?;
        let (path, stated) = loggers::typed(words, logger)?;
        let file = match at_hand {
            Some((name, bytes)) => {
                loggers::from_bytes(folder.as_ref(), (&name, &stem(&name)), &bytes, &stated, logger, marks)?
            }
            None => loggers::take_in(folder.as_ref(), Path::new(&path), &stated, logger, marks)?,
        };
        let more = words.split_once(';').map_or_else(String::new, |(_, more)| format!(";{more}"));
        let answer = format!("{}{more}", file.name);
        Ok((file, answer))
    }
}
fn stem(name: &str) -> String {
    Path::new(name).file_stem().unwrap_or_default().to_string_lossy().into_owned()
}

impl<K: Keeper> Job<'_, K> {
    /// An answer with the file that it names, if it names one.
    pub(super) fn with_file(
        &self,
        act: OperatorAct,
        at_hand: Option<(String, Vec<u8>)>,
    ) -> Result<Vec<Input>, Failure> {
        let asked = self.session.open().get(act.prompt).map(|prompt| &prompt.act);
        let (Some(Act::GiveFile { marks }), Answer::Text(words)) = (asked, &act.answer) else {
            return Ok(vec![Input::Operator(act)]);
        };
        let (file, answer) = self.loggers.take(words, at_hand, marks)?;
        let act = OperatorAct { answer: Answer::Text(answer), ..act };
        Ok(vec![Input::LoggerFile(Box::new(file)), Input::Operator(act)])
    }
    /// The same of a script, which can't be asked again: what can't be read is no file.
    pub(super) fn with_file_of_script(&self, act: OperatorAct, at_hand: Option<(String, Vec<u8>)>) -> Vec<Input> {
        let (prompt, page) = (act.prompt, act.page.clone());
        self.with_file(act, at_hand).unwrap_or_else(|failure| {
            vec![Input::Operator(OperatorAct { prompt, page, answer: Answer::NoBecause(failure.to_string()) })]
        })
    }
}

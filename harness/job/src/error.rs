//! The one error of this crate: what is wrong, where, and what to do about it.
//!
//! Not here: which exit code it becomes, or colour unless asked for; that is for whoever shows it.
use crate::input_file::NotAFile;
use annotate_snippets::{AnnotationKind, Group, Level, Origin, Renderer, Snippet};
use plumeline_base::text::{visible, visible_line};
use std::{fmt, io, ops::Range, path::Path};

/// Longest excerpt of a source that a message carries, bytes. Longer lines are pointed at, not shown.
const EXCERPT_LIMIT: usize = 400;

/// What kind of thing is wrong, for tests and exit codes; the words are in the message.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Kind {
    /// A file or folder is not there.
    Absent,
    /// This user may not read or write it.
    Denied,
    /// Something is there already and was not to be overwritten.
    Exists,
    /// Another process holds the job.
    Busy,
    /// The system reported something else.
    System,
    /// Larger than the stated limit.
    TooLarge,
    /// Not UTF-8 text.
    NotText,
    /// Not well-formed TOML, JSON or CSV.
    Syntax,
    /// A key that the format does not have.
    UnknownKey,
    /// A key that must be there is not.
    MissingKey,
    /// A value of the wrong type; a folder, pipe or device in place of a file.
    WrongType,
    /// A value without a unit, or with one that does not fit.
    Unit,
    /// A value outside its range.
    Range,
    /// A name (preset, fitting, node, stage) that is not known.
    UnknownName,
    /// The same number or name twice.
    Duplicate,
    /// Two statements that cannot both hold.
    Conflict,
    /// A format version that this tool does not read.
    Version,
    /// A link of a hash chain, or a digest, that does not hold.
    Altered,
    /// A fault of the tool itself.
    Internal,
}

/// Where in a source text something is wrong. Lines and columns count from 1; columns count characters.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Place {
    /// Line, from 1.
    pub line: usize,
    /// Column in characters, from 1.
    pub column: usize,
}

#[derive(Clone, Debug, PartialEq, Eq)]
struct Excerpt {
    text: String,
    first_line: usize,
    span: Range<usize>,
}

/// What is wrong with a file or folder: where, why, and the remedy.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Problem(Box<Detail>);

#[derive(Clone, Debug, PartialEq, Eq)]
struct Detail {
    kind: Kind,
    file: String,
    place: Option<Place>,
    excerpt: Option<Excerpt>,
    cause: String,
    remedy: String,
}

impl Problem {
    /// A problem with a whole file or folder.
    pub fn with_file(kind: Kind, file: &str, cause: impl Into<String>, remedy: impl Into<String>) -> Self {
        Self(Box::new(Detail {
            kind,
            file: file.to_owned(),
            place: None,
            excerpt: None,
            cause: cause.into(),
            remedy: remedy.into(),
        }))
    }
    /// A problem with one line of a file that is not shown.
    pub fn with_line(kind: Kind, file: &str, line: usize, cause: impl Into<String>, remedy: impl Into<String>) -> Self {
        let mut p = Self::with_file(kind, file, cause, remedy);
        p.0.place = Some(Place { line, column: 1 });
        p
    }
    /// What the system said about a path, told apart by its cause.
    pub fn from_io(path: &Path, doing: &str, e: &io::Error) -> Self {
        let file = path.display().to_string();
        let (kind, cause, remedy) = match e.kind() {
            _ if e.get_ref().is_some_and(|e| e.is::<NotAFile>()) => {
                (Kind::WrongType, e.to_string(), "name a file; put what a pipe gives into a file first")
            }
            io::ErrorKind::NotFound => {
                (Kind::Absent, "it is not there".to_owned(), "check the path; `plumeline new` writes a new job folder")
            }
            io::ErrorKind::NotADirectory => {
                (Kind::Absent, "a folder on its way is a file".to_owned(), "check the path")
            }
            io::ErrorKind::PermissionDenied => {
                (Kind::Denied, "no permission".to_owned(), "ask for the right to it, or choose another folder")
            }
            io::ErrorKind::AlreadyExists => {
                (Kind::Exists, "it is there already".to_owned(), "choose another name, or say `--force` to replace it")
            }
            io::ErrorKind::StorageFull => {
                (Kind::System, "the disk is full".to_owned(), "free some space, then run the job again")
            }
            _ => (Kind::System, e.to_string(), "see the system's own words above"),
        };
        Self::with_file(kind, &file, format!("can't {doing}: {cause}"), remedy)
    }
    /// Adds to the remedy.
    pub(crate) fn extend_remedy(&mut self, more: &str) {
        self.0.remedy.push_str(more);
    }
    /// The kind of problem.
    pub fn kind(&self) -> Kind {
        self.0.kind
    }
    /// The file as it was named.
    pub fn file(&self) -> &str {
        &self.0.file
    }
    /// Line and column, where the problem has one.
    pub fn place(&self) -> Option<&Place> {
        self.0.place.as_ref()
    }
    /// The cause in plain words.
    pub fn cause(&self) -> &str {
        &self.0.cause
    }
    /// What to do about it.
    pub fn remedy(&self) -> &str {
        &self.0.remedy
    }
    /// The whole message with its place, an excerpt of the source where there is one, and the remedy.
    /// Plain text unless `colour` is asked for.
    pub fn render(&self, colour: bool) -> String {
        let d = &*self.0;
        let renderer = if colour { Renderer::styled() } else { Renderer::plain() };
        let (cause, file, remedy) = (visible(&d.cause), visible_line(&d.file), visible(&d.remedy));
        let mut group = Group::with_title(Level::ERROR.primary_title(cause));
        if let Some(x) = &d.excerpt {
            // What is made visible is longer, so the place moves with it.
            let part = |to: usize| visible(x.text.get(..to).unwrap_or(&x.text));
            let span = part(x.span.start).len()..part(x.span.end).len();
            group = group.element(
                Snippet::source(part(x.text.len()))
                    .line_start(x.first_line)
                    .path(file)
                    .annotation(AnnotationKind::Primary.span(span)),
            );
        } else {
            let mut origin = Origin::path(file);
            if let Some(p) = &d.place {
                origin = origin.line(p.line).char_column(p.column);
            }
            group = group.element(origin);
        }
        group = group.element(Level::HELP.message(remedy));
        renderer.render(&[group])
    }
}

impl fmt::Display for Problem {
    /// One line: `file:line:column: cause; remedy`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&visible_line(&self.0.file))?;
        if let Some(p) = &self.0.place {
            write!(f, ":{}:{}", p.line, p.column)?;
        }
        write!(f, ": {}; {}", visible(&self.0.cause), visible(&self.0.remedy))
    }
}
impl std::error::Error for Problem {}

/// A text that is being read, with the name it goes by in messages.
#[derive(Clone, Debug)]
pub struct Source<'a> {
    name: &'a str,
    text: &'a str,
}

impl<'a> Source<'a> {
    /// The text in `bytes`.
    ///
    /// # Errors
    /// [`Kind::TooLarge`] over `limit` bytes; [`Kind::NotText`] if it is not UTF-8.
    pub fn new(name: &'a str, bytes: &'a [u8], limit: usize) -> Result<Self, Problem> {
        if bytes.len() > limit {
            return Err(too_large(name, bytes.len() as u64, limit as u64));
        }
        match str::from_utf8(bytes) {
            Ok(text) => Ok(Self { name, text: text.strip_prefix('\u{feff}').unwrap_or(text) }),
            Err(e) => {
                let good = &bytes[..e.valid_up_to()];
                let line = 1 + good.iter().filter(|b| **b == b'\n').count();
                let cause = format!("the file is not UTF-8 text (byte {})", e.valid_up_to());
                Err(Problem::with_line(Kind::NotText, name, line, cause, "save it as UTF-8 in your editor"))
            }
        }
    }
    /// The text.
    pub fn text(&self) -> &'a str {
        self.text
    }
    /// The name it goes by.
    pub fn name(&self) -> &'a str {
        self.name
    }
    /// Line and column of a byte offset.
    pub fn place(&self, offset: usize) -> Place {
        let before = &self.text[..self.floor(offset)];
        let start = before.rfind('\n').map_or(0, |i| i + 1);
        Place { line: 1 + before.bytes().filter(|b| *b == b'\n').count(), column: 1 + before[start..].chars().count() }
    }
    /// A problem at a byte range of the text.
    pub fn problem(
        &self,
        kind: Kind,
        span: Range<usize>,
        cause: impl Into<String>,
        remedy: impl Into<String>,
    ) -> Problem {
        let mut p = Problem::with_file(kind, self.name, cause, remedy);
        let start = self.floor(span.start);
        let place = self.place(start);
        let line_start = self.text[..start].rfind('\n').map_or(0, |i| i + 1);
        let line_end = self.text[start..].find('\n').map_or(self.text.len(), |i| start + i);
        let end = self.floor(span.end.clamp(start, line_end));
        if line_end - line_start <= EXCERPT_LIMIT {
            p.0.excerpt = Some(Excerpt {
                text: self.text[line_start..line_end].trim_end_matches('\r').to_owned(),
                first_line: place.line,
                span: (start - line_start)..(end - line_start),
            });
        }
        p.0.place = Some(place);
        p
    }
    fn floor(&self, offset: usize) -> usize {
        self.text.floor_char_boundary(offset)
    }
}

/// The refusal of a file that is larger than it may be.
pub(crate) fn too_large(name: &str, size: u64, limit: u64) -> Problem {
    Problem::with_file(
        Kind::TooLarge,
        name,
        format!("the file is {size} bytes long; at most {limit} are read"),
        "check that it is the right file, or split it",
    )
}

/// A user's own words within a message: short, on one line, in backquotes.
pub(crate) fn quoted(s: &str) -> String {
    match s.char_indices().nth(60) {
        Some((end, _)) => format!("`{}…`", visible_line(&s[..end])),
        None => format!("`{}`", visible_line(s)),
    }
}

/// `"a", "b", "c"`, for remedies.
pub(crate) fn choices<'a>(all: impl IntoIterator<Item = &'a str>) -> String {
    let all: Vec<String> = all.into_iter().map(|s| format!("\"{s}\"")).collect();
    all.join(", ")
}

/// The known name that is most like `given`, if one is near.
pub(crate) fn nearest<'a>(given: &str, known: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    let given: String = given.chars().take(40).collect();
    known
        .into_iter()
        .map(|k| (strsim::levenshtein(&given, k), k))
        // As many changes as there are characters is another word, not a slip.
        .filter(|(d, k)| *d <= 1 + k.chars().count() / 4 && *d < given.chars().count().max(k.chars().count()))
        .min_by_key(|(d, _)| *d)
        .map(|(_, k)| k)
}

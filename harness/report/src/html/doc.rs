//! The page as data: sections of tables, facts, lists, paragraphs and charts. The template only lays it out, and
//! escapes every text.
use crate::words::{clean, dash};
use plumeline_base::{Verdict, input::Photo};

/// A section of the page.
pub(crate) struct Section {
    pub(crate) id: &'static str,
    pub(crate) title: &'static str,
    pub(crate) blocks: Vec<Block>,
}
impl Section {
    pub(crate) fn new(id: &'static str, title: &'static str, blocks: Vec<Block>) -> Self {
        Self { id, title, blocks }
    }
}

/// What a section is made of.
pub(crate) enum Block {
    Text(String),
    List(Vec<String>),
    Facts(Vec<(String, String)>),
    Table(Table),
    /// SVG that this crate wrote (already escaped), with a caption.
    Chart {
        svg: String,
        caption: String,
    },
}
impl Block {
    pub(crate) fn text(s: impl AsRef<str>) -> Self {
        Self::Text(clean(s.as_ref()))
    }
    pub(crate) fn list<S: AsRef<str>>(all: impl IntoIterator<Item = S>) -> Self {
        Self::List(all.into_iter().map(|s| clean(s.as_ref())).collect())
    }
    pub(crate) fn facts<A: AsRef<str>, B: AsRef<str>>(all: impl IntoIterator<Item = (A, B)>) -> Self {
        Self::Facts(all.into_iter().map(|(a, b)| (clean(a.as_ref()), clean(b.as_ref()))).collect())
    }
}

/// A table; the first cell of a row is its header.
pub(crate) struct Table {
    pub(crate) caption: String,
    pub(crate) head: Vec<&'static str>,
    pub(crate) rows: Vec<Vec<Cell>>,
}
impl Table {
    pub(crate) fn new(caption: impl AsRef<str>, head: &[&'static str]) -> Self {
        Self { caption: clean(caption.as_ref()), head: head.to_vec(), rows: Vec::new() }
    }
    pub(crate) fn block(self) -> Block {
        Block::Table(self)
    }
    /// Cells with their column's heading and whether they are the row's header.
    pub(crate) fn labelled<'a>(&'a self, row: &'a [Cell]) -> impl Iterator<Item = (&'static str, bool, &'a Cell)> {
        row.iter().enumerate().map(|(k, c)| (self.head.get(k).copied().unwrap_or_default(), k == 0, c))
    }
}

/// A cell: a verdict mark, a text, a smaller line below. Any of them may be missing.
#[derive(Default)]
pub(crate) struct Cell {
    pub(crate) verdict: Option<Verdict>,
    pub(crate) text: String,
    pub(crate) below: String,
    pub(crate) number: bool,
    /// A picture of the job folder that the cell shows and points to.
    pub(crate) photo: Option<String>,
}
impl Cell {
    pub(crate) fn text(s: impl AsRef<str>) -> Self {
        let s = s.as_ref();
        Self { text: if s.is_empty() { dash() } else { clean(s) }, ..Self::default() }
    }
    pub(crate) fn number(s: impl AsRef<str>) -> Self {
        Self { number: true, ..Self::text(s) }
    }
    pub(crate) fn photo(photo: &Photo) -> Self {
        let about = format!("{} B, SHA-256 {}", photo.length, photo.sha256);
        // Only names of the tool's own making become a link: no way out of the folder, nothing that a browser would run.
        let kept = |c: char| c.is_ascii_alphanumeric() || matches!(c, '-' | '_' | '.');
        let own = photo.name.strip_prefix("photos/").is_some_and(|n| n.chars().all(kept) && !n.starts_with('.'));
        Self { photo: own.then(|| photo.name.clone()), ..Self::text(&photo.name) }.below(about)
    }
    pub(crate) fn verdict(v: Verdict) -> Self {
        Self { verdict: Some(v), ..Self::default() }
    }
    pub(crate) fn below(mut self, s: impl AsRef<str>) -> Self {
        self.below = clean(s.as_ref());
        self
    }
}

//! The terminal in three parts: lines that scroll, the panel, the line that is typed. Only what changed is written, each time in
//! one piece.
//!
//! By ECMA-48 (cursor position, erase) and DEC STD 070 (margins, cursor kept). Not here: what the panel shows.
use ratatui::{
    buffer::Buffer,
    layout::Rect,
    style::{Color, Modifier},
};
use std::{
    collections::VecDeque,
    fmt::Write as _,
    io::{IsTerminal, Write, stdin, stdout},
    sync::{
        Once,
        atomic::{AtomicU16, Ordering},
    },
};

/// Fewer columns or rows hold no panel: there only lines are shown.
const LEAST: (u16, u16) = (40, 16);
/// Lines that are written again when the size of the terminal changes.
const KEPT: usize = 200;
/// What stands before the typed line.
const TYPED: &str = "> ";

/// Rows that scroll while a panel stands; 0: none does. For whoever puts the terminal right when the program breaks.
static SCROLLS: AtomicU16 = AtomicU16::new(0);

/// A live view can stand at this terminal.
pub fn stands_here() -> bool {
    let dumb = std::env::var_os("TERM").is_none_or(|t| t.is_empty() || t == "dumb");
    plumeline_link::SCROLLS_REGIONS
        && !dumb
        && stdout().is_terminal()
        && size().is_some_and(|size| split(size).is_some())
}

fn size() -> Option<(u16, u16)> {
    terminal_size::terminal_size_of(stdout()).map(|(w, h)| (w.0, h.0))
}

/// Rows that scroll and rows of the panel; one is left for the typed line.
fn split((columns, rows): (u16, u16)) -> Option<(u16, u16)> {
    let panel = if rows < 30 { 10 } else { 17 };
    (columns >= LEAST.0 && rows >= LEAST.1).then(|| (rows - panel - 1, panel))
}

/// What gives the terminal back: all rows scroll, and the next line comes below the last.
fn given_back(scrolls: u16) -> String {
    format!("\x1b[r\x1b[{};1H\x1b[J\x1b[0m", scrolls + 1)
}

/// The terminal.
pub struct Screen {
    size: (u16, u16),
    /// Rows that scroll and rows of the panel, while it stands.
    parts: Option<(u16, u16)>,
    shown: Buffer,
    lines: VecDeque<String>,
    typed: bool,
    open: bool,
}

impl Screen {
    /// The panel stands from now on. `typed`: somebody here answers.
    pub fn open(typed: bool) -> Self {
        static HOOK: Once = Once::new();
        HOOK.call_once(|| {
            let then = std::panic::take_hook();
            std::panic::set_hook(Box::new(move |info| {
                let scrolls = SCROLLS.swap(0, Ordering::Relaxed);
                if scrolls > 0 {
                    write(&given_back(scrolls));
                }
                then(info);
            }));
        });
        let typed = typed && stdin().is_terminal();
        let shown = Buffer::default();
        let mut this = Self { size: (0, 0), parts: None, shown, lines: VecDeque::new(), typed, open: false };
        this.begin();
        this
    }
    /// Takes the terminal: what stands on it moves up.
    pub fn begin(&mut self) {
        self.open = true;
        self.size = size().unwrap_or_default();
        self.parts = split(self.size);
        let Some((scrolls, panel)) = self.parts else { return };
        let room = "\n".repeat(usize::from(panel) + 1);
        self.stand(&format!("\r{room}"), scrolls);
    }
    /// Sets the margins, an empty panel and the place to type.
    fn stand(&mut self, first: &str, scrolls: u16) {
        SCROLLS.store(scrolls, Ordering::Relaxed);
        self.shown = Buffer::default();
        write(&format!("{first}\x1b[1;{scrolls}r\x1b[{};1H\x1b[J{}", scrolls + 1, self.place()));
    }
    /// To the start of the typed line, which is empty.
    fn place(&self) -> String {
        format!("\x1b[{};1H\x1b[2K{}", self.size.1, if self.typed { TYPED } else { "" })
    }
    /// Gives the terminal back.
    pub fn close(&mut self) {
        self.open = false;
        // Where the program breaks it was given back already: what is said of that stands where the panel stood.
        if let Some((scrolls, _)) = self.parts.take()
            && SCROLLS.swap(0, Ordering::Relaxed) > 0
        {
            write(&given_back(scrolls));
        }
    }
    /// Another size: all is written anew, the last lines above the panel.
    fn fits(&mut self) {
        let Some(now) = size().filter(|now| self.open && *now != self.size) else { return };
        let stood = self.parts.is_some();
        self.size = now;
        self.parts = split(now);
        match self.parts {
            Some((scrolls, _)) => {
                let from = self.lines.len().saturating_sub(usize::from(scrolls));
                let last: Vec<&str> = self.lines.iter().skip(from).map(String::as_str).collect();
                let last = last.join("\r\n");
                self.stand(&format!("\x1b[r\x1b[2J\x1b[1;{scrolls}r\x1b[{scrolls};1H{last}"), scrolls);
            }
            None if stood => {
                SCROLLS.store(0, Ordering::Relaxed);
                write("\x1b[r\x1b[2J\x1b[1;1H");
            }
            None => {}
        }
    }
    /// Lines above the panel, fit to be shown.
    pub fn print(&mut self, text: &str) {
        self.fits();
        for line in text.split('\n') {
            self.lines.push_back(line.to_owned());
            if self.lines.len() > KEPT {
                self.lines.pop_front();
            }
        }
        match self.parts {
            Some((scrolls, _)) => {
                write(&format!("\x1b7\x1b[{scrolls};1H\r\n{}\x1b8", text.replace('\n', "\r\n")));
            }
            None => write(&format!("{text}\n")),
        }
    }
    /// A line was typed: it goes where the others are.
    pub fn typed(&mut self, line: &str) {
        if !self.typed {
            return;
        }
        // Where no panel stands, the terminal itself has shown it.
        if self.parts.is_some() {
            self.print(&format!("        {TYPED}{line}"));
            self.forget_typed();
            // Keys may have been echoed into the panel while it was drawn: all of it is drawn anew.
            self.shown = Buffer::default();
        }
    }
    /// The typed line is empty again.
    pub fn forget_typed(&self) {
        if self.typed && self.parts.is_some() {
            write(&self.place());
        }
    }
    /// Draws the panel.
    pub fn panel(&mut self, draw: impl FnOnce(&mut Buffer)) {
        self.fits();
        let Some((scrolls, rows)) = self.parts else { return };
        let area = Rect::new(0, 0, self.size.0, rows);
        let mut next = Buffer::empty(area);
        draw(&mut next);
        let anew = self.shown.area != area;
        let changed = if anew {
            let all = next.content.iter().enumerate().map(|(i, cell)| {
                let (x, y) = next.pos_of(i);
                (x, y, cell)
            });
            all.filter(|(_, _, cell)| cell.symbol() != "").collect()
        } else {
            self.shown.diff(&next)
        };
        if !changed.is_empty() {
            let mut out = String::from("\x1b7");
            let (mut at, mut style) = (None, None);
            for (x, y, cell) in changed {
                if at != Some((x, y)) {
                    let _ = write!(out, "\x1b[{};{}H", scrolls + y + 1, x + 1);
                }
                if style != Some((cell.fg, cell.modifier)) {
                    out.push_str(&sequence(cell.fg, cell.modifier));
                    style = Some((cell.fg, cell.modifier));
                }
                out.push_str(cell.symbol());
                // Only a single column's width is sure.
                at = cell.symbol().is_ascii().then_some((x + 1, y));
            }
            out.push_str("\x1b[0m\x1b8");
            write(&out);
        }
        self.shown = next;
    }
}
impl Drop for Screen {
    fn drop(&mut self) {
        self.close();
    }
}

/// The colours that the panel uses: those of the terminal's own sixteen.
fn sequence(fg: Color, modifier: Modifier) -> String {
    let mut codes = vec!["0"];
    codes.extend(modifier.contains(Modifier::BOLD).then_some("1"));
    codes.extend(modifier.contains(Modifier::DIM).then_some("2"));
    codes.extend(modifier.contains(Modifier::REVERSED).then_some("7"));
    codes.extend(match fg {
        Color::Red => Some("31"),
        Color::Green => Some("32"),
        Color::Yellow => Some("33"),
        _ => None,
    });
    format!("\x1b[{}m", codes.join(";"))
}

/// In one piece. A terminal that is gone ends nothing.
fn write(text: &str) {
    let mut out = stdout().lock();
    let _ = out.write_all(text.as_bytes()).and_then(|()| out.flush());
}

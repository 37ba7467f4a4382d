//! A live view of a job at the terminal: a panel at the bottom that stays, lines that scroll above it, and the line that is
//! typed below it.
//!
//! The terminal stays in its usual mode: it edits the typed line itself, and Ctrl-C, Ctrl-Z and typing ahead are as ever. Lines scroll in
//! a region that begins at the top, so that the terminal keeps them. Not here: what the lines say (`runtime`), what is known of a
//! job (the view of the page).
#![cfg_attr(test, allow(clippy::unwrap_used))]

mod panel;
mod screen;

pub use panel::{Panel, draw};
pub use screen::{Screen, stands_here};

use plumeline_base::{Instant, text::visible_line};
use plumeline_page::{site::Site, view::View};
use plumeline_procedure::{JobInputs, Prompt};
use plumeline_runtime::{
    session::Outward,
    show::{Show, Words, colour_on, how_to_answer},
};
use std::{cell::RefCell, collections::BTreeMap, io::stdout, rc::Rc, time::Duration};

/// The panel is drawn anew no sooner: ten readings a second are more than anybody reads.
const SOONEST: Duration = Duration::from_millis(200);

/// Shows a job live.
pub struct Live {
    words: Words,
    screen: Rc<RefCell<Screen>>,
    view: View,
    panel: Panel,
    how: BTreeMap<u32, String>,
    now: Instant,
    drawn: Option<std::time::Instant>,
}

impl Live {
    /// Of this job, at this terminal, from now on. `asks`: somebody here answers.
    pub fn open(inputs: &JobInputs, asks: bool) -> Self {
        let screen = Rc::new(RefCell::new(Screen::open(asks)));
        let lines = screen.clone();
        let write = Box::new(move |text: &str| lines.borrow_mut().print(text));
        let stages = inputs.plan.stages.iter().map(|s| s.stage).filter(|s| inputs.plan.has(*s));
        Self {
            words: Words::beside(write, asks),
            screen,
            view: View::default(),
            panel: Panel {
                site: Site::of(inputs),
                stages: stages.map(|s| s.title().to_owned()).collect(),
                colour: colour_on(&stdout()),
            },
            how: BTreeMap::new(),
            now: Instant::START,
            drawn: None,
        }
    }
    fn draw(&mut self, now: Instant, at_once: bool) {
        self.now = now;
        if !at_once && self.drawn.is_some_and(|at| at.elapsed() < SOONEST) {
            return;
        }
        self.drawn = Some(std::time::Instant::now());
        let Self { view, panel, how, .. } = self;
        self.screen.borrow_mut().panel(|buffer| draw(buffer, now, view, panel, how));
    }
}

impl Show for Live {
    fn show(&mut self, now: Instant, what: &Outward) {
        match what {
            Outward::Reading(reading, basis) => {
                self.view.reading(reading, *basis);
            }
            what => self.view.show(now, what),
        }
        if let Outward::Ask(prompt) = what {
            self.how.insert(prompt.id, visible_line(&how_to_answer(prompt)).into_owned());
            // What was half typed is no answer to it: it was thrown away.
            if prompt.wants_answer() {
                self.screen.borrow_mut().forget_typed();
            }
        }
        self.how.retain(|id, _| self.view.asks.contains_key(id));
        self.words.show(now, what);
        self.draw(now, matches!(what, Outward::Ask(_)));
    }
    fn say(&mut self, text: &str) {
        self.words.say(text);
        self.view.say(text);
    }
    fn tick(&mut self, now: Instant, _: Option<&Prompt>) {
        self.draw(now, true);
    }
    fn out_of_service(&mut self, since: Instant, limit_s: f64) {
        self.words.out_of_service(since, limit_s);
        self.view.out_of_service(since, limit_s);
    }
    fn typed(&mut self, line: &str) {
        self.screen.borrow_mut().typed(&visible_line(line.trim_end()));
        self.draw(self.now, true);
    }
    fn holds_terminal(&self) -> bool {
        true
    }
    fn set_aside(&mut self, aside: bool) {
        let mut screen = self.screen.borrow_mut();
        if aside {
            screen.close();
        } else {
            screen.begin();
        }
    }
}

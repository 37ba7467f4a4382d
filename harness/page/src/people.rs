//! Who is at the pages: names, roles, clocks, what each said already, and how much each may say.
//!
//! Not here: sockets.
use crate::{
    tie::Clocks,
    view::{Person, role_name},
};
use plumeline_base::input::{Author, Photo, Role};
use plumeline_runtime::operator::Told;
use std::{
    collections::{BTreeMap, VecDeque},
    time::Instant,
};
use tokio::sync::broadcast;

/// Pages that are remembered; more than any crew has.
pub(crate) const PAGES: usize = 64;
/// Answers of one page that are remembered, so that none is taken twice.
const ANSWERS: usize = 512;
/// Photos of one page in one job.
pub(crate) const PHOTOS: usize = 200;
/// Messages a second that a page may send, and so many at once.
const RATE: (f64, f64) = (20.0, 60.0);

/// Somebody at a page, over all its connections and reloads.
pub(crate) struct Page {
    client: String,
    pub(crate) author: Author,
    pub(crate) clocks: Clocks,
    /// Connections that it has now.
    connections: u32,
    /// Answers by their names: what became of them, or nothing yet.
    answers: BTreeMap<String, Option<Told>>,
    order: VecDeque<String>,
    pub(crate) photos: BTreeMap<String, Photo>,
    pub(crate) to: broadcast::Sender<std::sync::Arc<str>>,
    bucket: f64,
    filled: Instant,
}

/// An answer that comes.
#[derive(Debug, PartialEq, Eq)]
pub(crate) enum Before {
    /// For the first time.
    New,
    /// It is under way.
    UnderWay,
    /// It was answered to already.
    Told(Told),
}

impl Page {
    /// Takes note of an answer.
    pub(crate) fn answer(&mut self, id: &str) -> Before {
        match self.answers.get(id) {
            Some(None) => return Before::UnderWay,
            // What was no answer may be tried again under the same name.
            Some(Some(told)) if told.taken => return Before::Told(told.clone()),
            Some(Some(_)) => {}
            None => self.order.push_back(id.to_owned()),
        }
        self.answers.insert(id.to_owned(), None);
        while self.order.len() > ANSWERS {
            if let Some(old) = self.order.pop_front() {
                self.answers.remove(&old);
            }
        }
        Before::New
    }
    /// What became of it.
    pub(crate) fn told(&mut self, id: &str, told: &Told) {
        if let Some(answer) = self.answers.get_mut(id) {
            *answer = Some(told.clone());
        }
    }
    /// One message more; false: too many.
    pub(crate) fn may_speak(&mut self, now: Instant) -> bool {
        let (rate, most) = RATE;
        self.bucket = (self.bucket + now.saturating_duration_since(self.filled).as_secs_f64() * rate).min(most);
        self.filled = now;
        let may = self.bucket >= 1.0;
        self.bucket -= f64::from(u8::from(may));
        may
    }
}

/// All of them.
pub(crate) struct People {
    pages: Vec<Page>,
    speed: f64,
}

impl People {
    pub(crate) const fn new(speed: f64) -> Self {
        Self { pages: Vec::new(), speed }
    }
    /// Somebody comes, for the first time or again. `Err`: there are too many, or the page's secret name is another role's.
    pub(crate) fn come(&mut self, client: &str, name: String, role: Role) -> Result<u32, &'static str> {
        let at = match self.pages.iter().position(|p| p.client == client) {
            Some(at) => at,
            None if self.pages.len() >= PAGES => return Err("too many pages have joined this job"),
            None => {
                let page = u32::try_from(self.pages.len() + 1).unwrap_or(u32::MAX);
                self.pages.push(Page {
                    client: client.to_owned(),
                    author: Author { name: name.clone(), role, page },
                    clocks: Clocks::new(self.speed),
                    connections: 0,
                    answers: BTreeMap::new(),
                    order: VecDeque::new(),
                    photos: BTreeMap::new(),
                    to: broadcast::channel(16).0,
                    bucket: RATE.1,
                    filled: Instant::now(),
                });
                self.pages.len() - 1
            }
        };
        let page = &mut self.pages[at];
        if page.author.role != role {
            return Err("this page joined with the link of another role: open that link in a new tab");
        }
        page.author.name = name;
        page.connections += 1;
        page.clocks.reconnected();
        Ok(page.author.page)
    }
    /// A connection of it ends.
    pub(crate) fn leave(&mut self, page: u32) {
        if let Some(page) = self.page(page) {
            page.connections = page.connections.saturating_sub(1);
        }
    }
    pub(crate) fn page(&mut self, page: u32) -> Option<&mut Page> {
        self.pages.get_mut(usize::try_from(page).ok()?.checked_sub(1)?)
    }
    pub(crate) fn by_client(&mut self, client: &str, role: Role) -> Option<&mut Page> {
        self.pages.iter_mut().find(|p| p.client == client && p.author.role == role)
    }
    /// As the others see them.
    pub(crate) fn list(&self) -> Vec<Person> {
        let of = |p: &Page| Person {
            name: p.author.name.clone(),
            role: role_name(p.author.role),
            page: p.author.page,
            here: p.connections > 0,
        };
        self.pages.iter().map(of).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::time::Duration;

    #[test]
    fn an_answer_is_taken_once_whatever_comes_again() {
        let mut people = People::new(1.0);
        let n = people.come("c", "A. Example".into(), Role::FarEnd).unwrap();
        let page = people.page(n).unwrap();
        let told = |taken| Told { id: "x".into(), taken, words: "w".into() };
        assert_eq!((page.answer("x"), page.answer("x")), (Before::New, Before::UnderWay));
        page.told("x", &told(true));
        assert_eq!(page.answer("x"), Before::Told(told(true)));
        // What was no answer may be mended.
        assert_eq!(page.answer("y"), Before::New);
        page.told("y", &told(false));
        assert_eq!(page.answer("y"), Before::New);
    }
    #[test]
    fn a_reload_is_the_same_page_and_another_role_is_none() {
        let mut people = People::new(1.0);
        let first = people.come("c", "A. Example".into(), Role::FarEnd).unwrap();
        assert_eq!(people.come("c", "A. Example".into(), Role::FarEnd), Ok(first));
        assert!(people.come("c", "A. Example".into(), Role::Lead).is_err());
        people.leave(first);
        assert!(people.list()[0].here);
        people.leave(first);
        assert!(!people.list()[0].here);
        for n in 1..PAGES {
            people.come(&format!("c{n}"), "B".into(), Role::Watch).unwrap();
        }
        assert!(people.come("one more", "B".into(), Role::Watch).is_err());
        assert!(people.come("c", "A. Example".into(), Role::FarEnd).is_ok(), "who was there comes back");
    }
    #[test]
    fn who_says_too_much_is_not_heard() {
        let mut people = People::new(1.0);
        let n = people.come("c", "A".into(), Role::Watch).unwrap();
        let page = people.page(n).unwrap();
        let now = Instant::now();
        let heard = (0..1000).filter(|_| page.may_speak(now)).count();
        assert!((RATE.1 as usize..=RATE.1 as usize + 1).contains(&heard), "{heard}");
        assert!(page.may_speak(now + Duration::from_secs(1)));
    }
}

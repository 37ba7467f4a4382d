//! One page's socket: who it is first, then pings for its clock, what it says, and what it is told.
use crate::{
    gate::Peer,
    message::{FromClient, LONGEST, NAME, WORDS, plain},
    people::Before,
    server::Served,
    telling::ToClient,
    view::role_name,
};
use axum::extract::ws::{Message, WebSocket};
use plumeline_base::input::{FromPage, Role};
use plumeline_runtime::operator::{FromPages, Sent, Told};
use std::{
    sync::Arc,
    time::{Duration, Instant},
};
use tokio::{
    sync::broadcast::error::RecvError,
    time::{MissedTickBehavior, interval, timeout},
};

/// Within this the first message comes.
const HELLO: Duration = Duration::from_secs(10);
/// A page that takes nothing for so long has gone.
const TAKES: Duration = Duration::from_secs(10);
/// Pings: often at first, so that the tie stands soon, then now and then.
const SOON: Duration = Duration::from_millis(250);
const LATER: Duration = Duration::from_secs(5);
const FIRST: u32 = 12;
/// Without an answer for so long the page has gone.
const SILENT: Duration = Duration::from_secs(30);

pub(crate) async fn run(served: Arc<Served>, peer: Peer, mut socket: WebSocket) {
    let Some((page, role, boot)) = hello(&served, &peer, &mut socket).await else { return };
    peer.is_known();
    served.tell_people();
    talk(&served, &mut socket, (page, role), &boot).await;
    served.people().leave(page);
    served.tell_people();
}

async fn send(socket: &mut WebSocket, text: &str) -> Option<()> {
    timeout(TAKES, socket.send(Message::text(text))).await.ok()?.ok()
}
async fn refuse(socket: &mut WebSocket, why: &str) {
    let _ = send(socket, &ToClient::Refused { why }.text()).await;
    let _ = timeout(TAKES, socket.send(Message::Close(None))).await;
}

/// Who it is; `None`: it may not come in.
async fn hello(served: &Served, peer: &Peer, socket: &mut WebSocket) -> Option<(u32, Role, String)> {
    let first = timeout(HELLO, socket.recv()).await.ok()??.ok()?;
    let Message::Text(text) = first else { return None };
    let (code, name, client, boot) = match FromClient::parse(&text) {
        Ok(FromClient::Hello { code, name, client, boot }) => (code, plain(&name, NAME), client, boot),
        Ok(_) => return None,
        Err(why) => {
            refuse(socket, &why).await;
            return None;
        }
    };
    let now = Instant::now();
    if served.gate.is_shut(peer.ip, now) {
        refuse(socket, "too many wrong codes came from this device: wait a minute").await;
        return None;
    }
    let Some(role) = served.codes.role(&code) else {
        if served.gate.wrong(peer.ip, now) {
            served.say(format!("somebody at {} without this job's code was refused", peer.ip));
        }
        refuse(socket, "this link is not of this job, or the job was started anew: take the link from the terminal")
            .await;
        return None;
    };
    let (came, known) = {
        let mut people = served.people();
        let known = people.list().len();
        (people.come(&client, name.clone(), role), known)
    };
    let page = match came {
        Ok(page) => page,
        Err(why) => {
            refuse(socket, why).await;
            return None;
        }
    };
    let again = if usize::try_from(page).is_ok_and(|page| page <= known) { " is here again" } else { " has joined" };
    served.say(format!("{name} ({}, page {page}){again}", role.words()));
    let welcome = ToClient::Welcome { role: role_name(role), name: &name, page, recorded: served.recorded }.text();
    let site = format!("{{\"m\":\"site\",\"site\":{}}}", served.site);
    if send(socket, &welcome).await.is_none() || send(socket, &site).await.is_none() {
        served.people().leave(page);
        served.tell_people();
        return None;
    }
    Some((page, role, boot))
}

async fn talk(served: &Served, socket: &mut WebSocket, (page, role): (u32, Role), boot: &str) -> Option<()> {
    let (whole, mut news) = served.hub.join(served.clock.now());
    let mut own = served.people().page(page)?.to.subscribe();
    send(socket, &whole).await?;
    let mut pings = interval(SOON);
    pings.set_missed_tick_behavior(MissedTickBehavior::Delay);
    let (mut pinged, mut heard) = (0, Instant::now());
    loop {
        tokio::select! {
            biased;
            came = socket.recv() => {
                heard = Instant::now();
                match came?.ok()? {
                    Message::Text(text) if text.len() <= LONGEST => {
                        if !served.people().page(page)?.may_speak(heard) {
                            refuse(socket, "too much at once").await;
                            return None;
                        }
                        if let Some(answer) = said(served, (page, role), boot, &text) {
                            send(socket, &answer).await?;
                        }
                    }
                    Message::Close(_) | Message::Binary(_) | Message::Text(_) => return None,
                    Message::Ping(_) | Message::Pong(_) => {}
                }
            }
            _ = pings.tick() => {
                if heard.elapsed() > SILENT {
                    return None;
                }
                pinged += 1;
                if pinged == FIRST {
                    pings = interval(LATER);
                    pings.set_missed_tick_behavior(MissedTickBehavior::Delay);
                }
                let n = served.people().page(page)?.clocks.ping(served.clock.now());
                send(socket, &ToClient::Ping { n }.text()).await?;
            }
            told = own.recv() => match told {
                Ok(told) => send(socket, &told).await?,
                Err(RecvError::Lagged(_)) => {}
                Err(RecvError::Closed) => return None,
            },
            new = news.recv() => match new {
                Ok(new) => send(socket, &new).await?,
                // Too slow for all of it: what stands now, and on from there.
                Err(RecvError::Lagged(_)) => {
                    let (whole, from_now) = served.hub.join(served.clock.now());
                    news = from_now;
                    send(socket, &whole).await?;
                }
                Err(RecvError::Closed) => return None,
            },
        }
    }
}

/// Takes what a page said; gives what it is told at once.
fn said(served: &Served, (page, role): (u32, Role), boot: &str, text: &str) -> Option<String> {
    let now = served.clock.now();
    match FromClient::parse(text) {
        Err(why) => Some(ToClient::Refused { why: &why }.text()),
        Ok(FromClient::Hello { .. }) => None,
        Ok(FromClient::Pong { n, got_us, sent_us }) => {
            let mut people = served.people();
            let this = people.page(page)?;
            let jumped = this.clocks.pong(boot, n, got_us, sent_us, now).err();
            let tied = this.clocks.tied(boot, sent_us);
            let name = this.author.name.clone();
            drop(people);
            if let Some(why) = jumped.filter(|why| why.contains("clock")) {
                served.say(format!("{name} (page {page}): {why}; its clock is tied anew"));
            }
            // Of seconds of the page's own time.
            tied.map(|t| ToClient::Tied { u_ms: t.u_s * 1e3 / served.clock.speed(), drift_ppm: t.drift_ppm }.text())
        }
        Ok(FromClient::Act { id, prompt, words, touched_us, boot, note, photo }) => {
            let told = |taken, words: &str| {
                let told = Told { id: String::new(), taken, words: words.into() };
                Some(ToClient::told(&id, &told))
            };
            if served.recorded {
                return told(false, "this is a recording");
            }
            match served.hub.may(prompt, role) {
                _ if role == Role::Watch => return told(false, "who watches answers nothing"),
                Some(false) => return told(false, "your role may not answer this"),
                Some(true) | None => {}
            }
            let takes_a_mark = served.hub.takes_a_mark(prompt);
            let mut people = served.people();
            let this = people.page(page)?;
            let photo = match photo.map(|name| this.photos.get(&name).cloned()) {
                Some(None) => return told(false, "that photo has not arrived: send it again"),
                Some(photo) => photo,
                None => None,
            };
            match this.answer(&id) {
                Before::UnderWay => return None,
                Before::Told(before) => return Some(ToClient::told(&id, &before)),
                Before::New => {}
            }
            let mark = touched_us.filter(|_| takes_a_mark).and_then(|us| this.clocks.mark(&boot, us));
            let note = note.map(|note| plain(&note, WORDS)).filter(|note| !note.is_empty());
            let from = FromPage { by: this.author.clone(), mark, note, photo };
            let words = plain(&words, WORDS);
            let id = format!("{page}/{id}");
            let sent = Sent { prompt, words, from, id, told: served.told.clone() };
            drop(people);
            let _ = served.to_job.send(FromPages::Answer(Box::new(sent)));
            None
        }
    }
}

/// Tells a page what became of an answer, and remembers it.
pub(crate) fn tell(served: &Served, told: &Told) {
    let Some((page, id)) = told.id.split_once('/').and_then(|(page, id)| Some((page.parse().ok()?, id))) else {
        return;
    };
    if let Some(page) = served.people().page(page) {
        page.told(id, told);
        let _ = page.to.send(ToClient::told(id, told).into());
    }
}

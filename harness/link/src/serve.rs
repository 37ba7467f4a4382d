//! The unit's end of a line, for a simulator: a pseudo-terminal or a TCP port, as one stream of bytes.
//!
//! Like a real unit it goes on whether anybody listens or not: what nobody takes is discarded and counted.
use crate::{
    Down, LinkEvent,
    link::{Line, OnFull},
    sys,
};
use plumeline_base::input::LinkDown;
use std::{net::SocketAddr, path::Path};
use tokio::net::TcpListener;

/// What happened at the unit's end.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum ServerEvent {
    /// Somebody connected (TCP only: a pseudo-terminal does not tell).
    Opened(String),
    /// Bytes; never empty.
    Received(Vec<u8>),
    /// Whoever was connected has gone (TCP only).
    Gone,
}

/// The unit's end of a line.
pub struct Server {
    kind: Kind,
    address: String,
    discarded: u64,
}

enum Kind {
    #[cfg(unix)]
    Pty(Line),
    Tcp {
        listener: TcpListener,
        peer: Option<Line>,
    },
}

/// As many bytes wait for the other end as take somewhat over a second at 115,200 bit/s.
const ON_FULL: OnFull = OnFull::Discard { keep: 16 << 10 };

impl Server {
    /// Opens a new pseudo-terminal. `link`, if given, becomes a symbolic link to it and goes away with it; a symbolic
    /// link that is there already is moved, anything else is left alone and refused.
    ///
    /// # Errors
    /// [`Down`] with the system's words. Must be called within a Tokio runtime.
    #[cfg(unix)]
    pub fn pty(link: Option<&Path>) -> Result<Self, Down> {
        let what = link.map_or_else(|| "a new pseudo-terminal".into(), |l| l.display().to_string());
        let pty = sys::Pty::open(link).map_err(|e| Down::new(sys::refused_by(&e), format!("{what}: {e}")))?;
        let path = link.unwrap_or(&pty.path).display().to_string();
        let line = Line::new(Box::new(pty), path.clone(), LinkDown::Unplugged).on_full(ON_FULL);
        Ok(Self { kind: Kind::Pty(line), address: format!("serial:{path}"), discarded: 0 })
    }
    /// There are no pseudo-terminals on this system.
    ///
    /// # Errors
    /// Always [`Down`], with TCP as the remedy.
    #[cfg(not(unix))]
    pub fn pty(_: Option<&Path>) -> Result<Self, Down> {
        let mut down = Down::new(LinkDown::Other, "there are no pseudo-terminals on this system");
        down.hint = Some("use TCP: tcp:127.0.0.1:5000".into());
        Err(down)
    }
    /// Listens on a TCP address, for example `127.0.0.1:5000`; port 0 takes a free one. One peer at a time.
    ///
    /// # Errors
    /// [`Down`] with the system's words.
    pub async fn tcp(address: &str) -> Result<Self, Down> {
        let failed = |e: std::io::Error| {
            let cause = if e.kind() == std::io::ErrorKind::AddrInUse { LinkDown::Busy } else { sys::refused_by(&e) };
            Down::new(cause, format!("{address}: {e}"))
        };
        let listener = TcpListener::bind(address).await.map_err(failed)?;
        let address = listener.local_addr().map_err(failed)?;
        Ok(Self { kind: Kind::Tcp { listener, peer: None }, address: format!("tcp:{address}"), discarded: 0 })
    }
    /// The other end of this line, as a link is named on the command line.
    pub fn address(&self) -> &str {
        &self.address
    }
    /// Queues bytes for the other end; what nobody takes is discarded. They leave while [`Server::next`] is awaited.
    pub fn send(&mut self, bytes: &[u8]) {
        self.discarded += match &mut self.kind {
            #[cfg(unix)]
            Kind::Pty(line) => line.send(bytes),
            Kind::Tcp { peer: Some(line), .. } => line.send(bytes),
            Kind::Tcp { peer: None, .. } => bytes.len(),
        } as u64;
    }
    /// Bytes that nobody took.
    pub fn discarded(&self) -> u64 {
        self.discarded
    }
    /// The next event. Safe to cancel.
    ///
    /// # Errors
    /// [`Down`] when the pseudo-terminal itself fails or no more connections can be accepted.
    pub async fn next(&mut self) -> Result<ServerEvent, Down> {
        match &mut self.kind {
            #[cfg(unix)]
            Kind::Pty(line) => match line.next().await {
                Some(LinkEvent::Received(bytes)) => Ok(ServerEvent::Received(bytes)),
                Some(LinkEvent::Down(down)) => Err(down),
                None => Err(Down::new(LinkDown::Unplugged, "the pseudo-terminal is closed")),
            },
            Kind::Tcp { listener, peer } => loop {
                let accepted = match peer {
                    Some(line) => tokio::select! {
                        event = line.next() => match event {
                            Some(LinkEvent::Received(bytes)) => return Ok(ServerEvent::Received(bytes)),
                            _ => {
                                *peer = None;
                                return Ok(ServerEvent::Gone);
                            }
                        },
                        // One at a time: a second peer is turned away by closing its connection.
                        accepted = listener.accept() => accepted.map(|_| None),
                    },
                    None => listener.accept().await.map(Some),
                };
                match accepted {
                    Ok(None) => {}
                    Ok(Some((stream, address))) => {
                        let _ = stream.set_nodelay(true);
                        *peer = Some(new_peer(stream, address));
                        return Ok(ServerEvent::Opened(address.to_string()));
                    }
                    Err(e) => return Err(Down::new(sys::refused_by(&e), format!("{}: {e}", self.address))),
                }
            },
        }
    }
}

fn new_peer(stream: tokio::net::TcpStream, address: SocketAddr) -> Line {
    Line::new(Box::new(stream), address.to_string(), LinkDown::Closed).on_full(ON_FULL)
}

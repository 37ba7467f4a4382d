//! Who may connect at all: so many connections, so many of one address, and none for long that has not shown the code.
//!
//! Not here: what is served, and to whom.
use axum::{
    extract::connect_info::Connected,
    serve::{IncomingStream, Listener},
};
use std::{
    collections::BTreeMap,
    io,
    net::{IpAddr, SocketAddr},
    pin::Pin,
    sync::{
        Arc, Mutex, PoisonError,
        atomic::{AtomicBool, Ordering},
    },
    task::{Context, Poll, ready},
    time::{Duration, Instant},
};
use tokio::{
    io::{AsyncRead, AsyncWrite, ReadBuf},
    net::{TcpListener, TcpStream},
    time::{Sleep, sleep},
};
use tokio_rustls::{Accept, TlsAcceptor, server::TlsStream};

/// Connections in all: well under what a process may have open, so that the unit's port can always be opened.
const MOST: u32 = 96;
/// Of one address.
const MOST_OF_ONE: u32 = 48;
/// How long one may last that has not shown the code.
const UNKNOWN: Duration = Duration::from_secs(15);
/// Wrong codes from one address in this time; then it is refused unheard.
const WRONG: (u32, Duration) = (10, Duration::from_secs(60));

/// Counts of connections and wrong codes by address.
#[derive(Default)]
pub(crate) struct Gate {
    by_address: Mutex<BTreeMap<IpAddr, Of>>,
}
#[derive(Default)]
struct Of {
    open: u32,
    wrong: u32,
    since: Option<Instant>,
}

impl Gate {
    fn with<T>(&self, f: impl FnOnce(&mut BTreeMap<IpAddr, Of>) -> T) -> T {
        f(&mut self.by_address.lock().unwrap_or_else(PoisonError::into_inner))
    }
    fn enters(self: &Arc<Self>, ip: IpAddr) -> Option<Entered> {
        self.with(|all| {
            let open: u32 = all.values().map(|of| of.open).sum();
            let of = all.entry(ip).or_default();
            (open < MOST && of.open < MOST_OF_ONE).then(|| of.open += 1)
        })?;
        Some(Entered { gate: self.clone(), ip })
    }
    /// A wrong code came from there. True the first time in a while: then it is worth saying.
    pub(crate) fn wrong(&self, ip: IpAddr, now: Instant) -> bool {
        self.with(|all| {
            let of = all.entry(ip).or_default();
            if of.since.is_none_or(|since| now.saturating_duration_since(since) > WRONG.1) {
                (of.since, of.wrong) = (Some(now), 0);
            }
            of.wrong += 1;
            of.wrong == 1
        })
    }
    /// Too many wrong codes came from there.
    pub(crate) fn is_shut(&self, ip: IpAddr, now: Instant) -> bool {
        self.with(|all| {
            all.get(&ip).is_some_and(|of| {
                of.wrong >= WRONG.0 && of.since.is_some_and(|since| now.saturating_duration_since(since) <= WRONG.1)
            })
        })
    }
}

/// One connection that counts as long as this lives.
struct Entered {
    gate: Arc<Gate>,
    ip: IpAddr,
}
impl Drop for Entered {
    fn drop(&mut self) {
        self.gate.with(|all| {
            if let Some(of) = all.get_mut(&self.ip) {
                of.open = of.open.saturating_sub(1);
                if of.open == 0 && of.wrong == 0 {
                    all.remove(&self.ip);
                }
            }
        });
    }
}

/// A listener behind the gate.
pub(crate) struct Gated {
    pub(crate) listener: TcpListener,
    pub(crate) gate: Arc<Gate>,
    pub(crate) tls: Option<TlsAcceptor>,
}
impl Listener for Gated {
    type Io = Stream;
    type Addr = SocketAddr;
    async fn accept(&mut self) -> (Stream, SocketAddr) {
        loop {
            let Ok((stream, from)) = self.listener.accept().await else {
                // No file is left for it: those that are open end by themselves.
                sleep(Duration::from_millis(200)).await;
                continue;
            };
            // One too many is closed at once.
            if let Some(entered) = self.gate.enters(from.ip()) {
                let _ = stream.set_nodelay(true);
                let known = Arc::new(AtomicBool::new(false));
                let ends = Box::pin(sleep(UNKNOWN));
                let wire = match &self.tls {
                    None => Wire::Plain(stream),
                    Some(tls) => Wire::Greets(Box::new(tls.accept(stream))),
                };
                return (Stream { wire, ends, known, from, _entered: entered }, from);
            }
        }
    }
    fn local_addr(&self) -> io::Result<SocketAddr> {
        self.listener.local_addr()
    }
}

/// What goes over the network. Under TLS both sides greet each other with the first bytes that are wanted, so that nobody who is
/// slow at it keeps others from being let in.
enum Wire {
    Plain(TcpStream),
    Greets(Box<Accept<TcpStream>>),
    Tls(Box<TlsStream<TcpStream>>),
    /// They did not come together.
    Failed,
}
trait Io: AsyncRead + AsyncWrite + Unpin {}
impl<T: AsyncRead + AsyncWrite + Unpin> Io for T {}
impl Wire {
    fn poll_open(&mut self, cx: &mut Context<'_>) -> Poll<io::Result<Pin<&mut dyn Io>>> {
        if let Self::Greets(accept) = self {
            *self = match ready!(Pin::new(accept).poll(cx)) {
                Ok(stream) => Self::Tls(Box::new(stream)),
                Err(e) => {
                    *self = Self::Failed;
                    return Poll::Ready(Err(e));
                }
            };
        }
        Poll::Ready(match self {
            Self::Plain(stream) => Ok(Pin::new(stream)),
            Self::Tls(stream) => Ok(Pin::new(stream.as_mut())),
            Self::Greets(_) | Self::Failed => Err(io::ErrorKind::NotConnected.into()),
        })
    }
}

/// A connection that ends by itself unless it becomes known.
pub(crate) struct Stream {
    wire: Wire,
    ends: Pin<Box<Sleep>>,
    known: Arc<AtomicBool>,
    from: SocketAddr,
    _entered: Entered,
}
impl Stream {
    fn over(&mut self, cx: &mut Context<'_>) -> io::Result<()> {
        if !self.known.load(Ordering::Relaxed) && self.ends.as_mut().poll(cx).is_ready() {
            return Err(io::Error::new(io::ErrorKind::TimedOut, "nobody who is known"));
        }
        Ok(())
    }
}
impl AsyncRead for Stream {
    fn poll_read(mut self: Pin<&mut Self>, cx: &mut Context<'_>, buf: &mut ReadBuf<'_>) -> Poll<io::Result<()>> {
        self.over(cx)?;
        ready!(self.wire.poll_open(cx))?.poll_read(cx, buf)
    }
}
impl AsyncWrite for Stream {
    fn poll_write(mut self: Pin<&mut Self>, cx: &mut Context<'_>, buf: &[u8]) -> Poll<io::Result<usize>> {
        self.over(cx)?;
        ready!(self.wire.poll_open(cx))?.poll_write(cx, buf)
    }
    fn poll_flush(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        self.over(cx)?;
        ready!(self.wire.poll_open(cx))?.poll_flush(cx)
    }
    fn poll_shutdown(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        match &mut self.wire {
            Wire::Plain(stream) => Pin::new(stream).poll_shutdown(cx),
            Wire::Tls(stream) => Pin::new(stream.as_mut()).poll_shutdown(cx),
            // Nothing was said that would have to be ended.
            Wire::Greets(_) | Wire::Failed => Poll::Ready(Ok(())),
        }
    }
}

/// The other end, for handlers.
#[derive(Clone)]
pub(crate) struct Peer {
    pub(crate) ip: IpAddr,
    known: Arc<AtomicBool>,
}
impl Peer {
    /// It has shown the code: it may stay.
    pub(crate) fn is_known(&self) {
        self.known.store(true, Ordering::Relaxed);
    }
}
impl Connected<IncomingStream<'_, Gated>> for Peer {
    fn connect_info(stream: IncomingStream<'_, Gated>) -> Self {
        let io = stream.io();
        Self { ip: io.from.ip(), known: io.known.clone() }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_address_takes_not_all_and_all_are_not_too_many() {
        let gate = Arc::new(Gate::default());
        let ip = |n: u8| IpAddr::from([192, 0, 2, n]);
        let of_one: Vec<_> = (0..100).filter_map(|_| gate.enters(ip(1))).collect();
        assert_eq!(of_one.len(), MOST_OF_ONE as usize);
        let others: Vec<_> = (0..100).filter_map(|n| gate.enters(ip(n + 2))).collect();
        assert_eq!(others.len(), (MOST - MOST_OF_ONE) as usize);
        drop(of_one);
        assert!(gate.enters(ip(1)).is_some());
    }
    #[test]
    fn whoever_guesses_codes_is_shut_out_for_a_while() {
        let (gate, now, ip) = (Gate::default(), Instant::now(), IpAddr::from([192, 0, 2, 1]));
        assert!(gate.wrong(ip, now) && !gate.wrong(ip, now) && !gate.is_shut(ip, now));
        assert!((0..10).all(|_| !gate.wrong(ip, now)));
        assert!(gate.is_shut(ip, now) && !gate.is_shut(IpAddr::from([192, 0, 2, 2]), now));
        assert!(!gate.is_shut(ip, now + WRONG.1 * 2) && gate.wrong(ip, now + WRONG.1 * 2));
    }
}

//! An open line: bytes in, bytes out, and the end of it.
use crate::{Down, Injected, layer::Layer, sys};
use plumeline_base::input::LinkDown;
use std::{
    collections::VecDeque,
    future::poll_fn,
    io,
    pin::Pin,
    task::{Context, Poll},
    time::Duration,
};
use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};

/// The longest piece that is written at once. A larger write to a port that nobody reads can block for seconds.
const WRITE_CHUNK: usize = 512;
/// The longest piece that is read at once.
const READ_CHUNK: usize = 4096;
/// What to do when the other end takes no bytes and too many wait.
#[derive(Clone, Copy)]
pub(crate) enum OnFull {
    /// The line counts as dead.
    Fail,
    /// What comes on top of `keep` bytes is lost.
    Discard { keep: usize },
}
/// How many bytes may wait to be written before the other end counts as dead.
const BACKLOG: usize = 64 << 10;

/// What a link has to tell.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum LinkEvent {
    /// Bytes from the other end; never empty.
    Received(Vec<u8>),
    /// The line is gone. The last event of a link.
    Down(Down),
}
/// An open link.
pub struct Link {
    line: Line,
    layer: Option<Layer>,
}

impl Link {
    /// A link over any stream of bytes. `described` is what [`Link::described`] says; `ended` is the cause to give
    /// when the stream ends.
    pub fn over(
        stream: impl AsyncRead + AsyncWrite + Send + Unpin + 'static,
        described: impl Into<String>,
        ended: LinkDown,
    ) -> Self {
        Self { line: Line::new(Box::new(stream), described.into(), ended), layer: None }
    }
    /// Injects faults into this link.
    #[must_use]
    pub fn with_faults(mut self, injected: &Injected) -> Self {
        self.layer = Some(injected.layer());
        self
    }
    /// What was opened: the link as the user wrote it, the port it was found at and the line states, in plain words.
    /// For `Input::LinkUp`.
    pub fn described(&self) -> &str {
        &self.line.described
    }
    /// Queues bytes to be sent. They leave, in pieces of at most 512 B, while [`Link::next`] or [`Link::drain`] is
    /// awaited. If more than 64 KiB wait because the other end takes none, the link is reported down.
    pub fn send(&mut self, bytes: &[u8]) {
        match &mut self.layer {
            Some(layer) => layer.send(&mut self.line, bytes),
            None => {
                self.line.send(bytes);
            }
        }
    }
    /// The next event; `None` after [`LinkEvent::Down`] has been given. Safe to cancel: nothing is lost when the
    /// future is dropped.
    pub async fn next(&mut self) -> Option<LinkEvent> {
        match &mut self.layer {
            Some(layer) => layer.next(&mut self.line).await,
            None => self.line.next().await,
        }
    }
    /// Waits until all queued bytes have been given to the system, for at most `within`; what arrives meanwhile
    /// stays for [`Link::next`]. Says whether all went out.
    pub async fn drain(&mut self, within: Duration) -> bool {
        let line = &mut self.line;
        tokio::time::timeout(within, poll_fn(|cx| line.poll_write(cx))).await.is_ok() && line.sound()
    }
}

pub(crate) trait Stream: AsyncRead + AsyncWrite + Send + Unpin {}
impl<T: AsyncRead + AsyncWrite + Send + Unpin> Stream for T {}

/// The line itself, without injected faults.
pub(crate) struct Line {
    /// None once the end has been told: the port is free for others, and a device free to come back by its name.
    stream: Option<Box<dyn Stream>>,
    described: String,
    ended: LinkDown,
    out: VecDeque<u8>,
    on_full: OnFull,
    /// Why writing failed; told once there is nothing left to read.
    failing: Option<Down>,
}

impl Line {
    pub(crate) fn new(stream: Box<dyn Stream>, described: String, ended: LinkDown) -> Self {
        let on_full = OnFull::Fail;
        Self { stream: Some(stream), described, ended, out: VecDeque::new(), on_full, failing: None }
    }
    pub(crate) fn on_full(mut self, on_full: OnFull) -> Self {
        self.on_full = on_full;
        self
    }
    fn sound(&self) -> bool {
        self.failing.is_none() && self.stream.is_some()
    }
    /// Queues bytes; returns how many were not.
    pub(crate) fn send(&mut self, bytes: &[u8]) -> usize {
        if !self.sound() {
            return bytes.len();
        }
        let room = match self.on_full {
            OnFull::Fail => BACKLOG,
            OnFull::Discard { keep } => keep,
        }
        .saturating_sub(self.out.len());
        let fits = bytes.len().min(room);
        if fits < bytes.len() && matches!(self.on_full, OnFull::Fail) {
            let detail = format!("{}: the other end takes no bytes; {} wait", self.described, self.out.len());
            self.fail(Down::new(LinkDown::Other, detail));
            return bytes.len();
        }
        self.out.extend(&bytes[..fits]);
        bytes.len() - fits
    }
    /// Ends the line from this side.
    pub(crate) fn end(&mut self, down: Down) -> Option<LinkEvent> {
        self.stream.take().map(|_| LinkEvent::Down(down))
    }
    fn fail(&mut self, down: Down) {
        self.out.clear();
        self.failing.get_or_insert(down);
    }
    pub(crate) async fn next(&mut self) -> Option<LinkEvent> {
        let event = poll_fn(|cx| self.poll(cx)).await;
        if matches!(event, Some(LinkEvent::Down(_))) {
            self.stream = None;
        }
        event
    }
    fn poll(&mut self, cx: &mut Context<'_>) -> Poll<Option<LinkEvent>> {
        // An error is kept: what was received before the end still counts.
        let _ = self.poll_write(cx);
        let Some(stream) = &mut self.stream else { return Poll::Ready(None) };
        let mut space = [0; READ_CHUNK];
        let mut buffer = ReadBuf::new(&mut space);
        let down = match Pin::new(stream).poll_read(cx, &mut buffer) {
            Poll::Ready(Ok(())) if !buffer.filled().is_empty() => {
                return Poll::Ready(Some(LinkEvent::Received(buffer.filled().to_vec())));
            }
            // No bytes is the end of the line, not a pause: asking again would spin.
            Poll::Ready(Ok(())) => Some(Down::new(self.ended, format!("{}: end of line", self.described))),
            Poll::Ready(Err(e)) => Some(self.because(&e)),
            Poll::Pending => None,
        };
        match self.failing.take().or(down) {
            Some(down) => Poll::Ready(Some(LinkEvent::Down(down))),
            None => Poll::Pending,
        }
    }
    /// Ready when nothing waits to be written any more, for better or worse.
    fn poll_write(&mut self, cx: &mut Context<'_>) -> Poll<()> {
        while let (Some(stream), false) = (&mut self.stream, self.out.is_empty()) {
            let (first, _) = self.out.as_slices();
            let piece = &first[..first.len().min(WRITE_CHUNK)];
            match Pin::new(stream).poll_write(cx, piece) {
                Poll::Ready(Ok(0)) => {
                    let detail = format!("{}: the system takes no bytes", self.described);
                    self.fail(Down::new(self.ended, detail));
                }
                Poll::Ready(Ok(n)) => drop(self.out.drain(..n)),
                Poll::Ready(Err(e)) => {
                    let down = self.because(&e);
                    self.fail(down);
                }
                Poll::Pending => return Poll::Pending,
            }
        }
        Poll::Ready(())
    }
    fn because(&self, e: &io::Error) -> Down {
        Down::new(sys::ended_by(e, self.ended), format!("{}: {e}", self.described))
    }
}

//! The smallest executor that drives sequential stage code: one root future and a few supervisors, polled after
//! every event until nothing changes any more. No threads, no wakers, no clock.
use alloc::{boxed::Box, vec::Vec};
use core::{
    future::{Future, poll_fn},
    pin::{Pin, pin},
    task::{Context as TaskContext, Poll, Waker},
};

/// A piece of stage code under way.
pub(crate) type Task = Pin<Box<dyn Future<Output = ()>>>;

/// The root task and the supervisors beside it.
pub(crate) struct Tasks {
    root: Option<Task>,
    supervisors: Vec<Task>,
}
impl Tasks {
    pub(crate) fn new(root: Task, supervisors: Vec<Task>) -> Self {
        Self { root: Some(root), supervisors }
    }
    /// Polls everything once. True while the root task is not finished.
    pub(crate) fn poll(&mut self) -> bool {
        let mut cx = TaskContext::from_waker(Waker::noop());
        self.supervisors.retain_mut(|t| t.as_mut().poll(&mut cx).is_pending());
        if let Some(root) = &mut self.root
            && root.as_mut().poll(&mut cx).is_ready()
        {
            self.root = None;
            self.supervisors.clear();
        }
        self.root.is_some()
    }
}

/// Which of two futures was ready first; the first one wins a tie.
pub(crate) enum Either<A, B> {
    First(A),
    Second(B),
}

/// Runs both until one is ready; the other is dropped.
pub(crate) async fn race<A, B>(a: impl Future<Output = A>, b: impl Future<Output = B>) -> Either<A, B> {
    let (mut a, mut b) = (pin!(a), pin!(b));
    poll_fn(|cx| {
        if let Poll::Ready(x) = a.as_mut().poll(cx) {
            return Poll::Ready(Either::First(x));
        }
        b.as_mut().poll(cx).map(Either::Second)
    })
    .await
}

/// Ready when `f` gives something; `f` is asked after every event.
pub(crate) async fn wait_for<T>(mut f: impl FnMut() -> Option<T>) -> T {
    poll_fn(|_| f().map_or(Poll::Pending, Poll::Ready)).await
}

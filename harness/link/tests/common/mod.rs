//! Waiting for a link without ever hanging.
#![allow(dead_code, unreachable_pub)] // Each test file uses its own part.
use plumeline_link::{
    Down, Link, LinkEvent,
    serve::{Server, ServerEvent},
};
use std::{future::Future, time::Duration};

/// The outcome, or a failure of the test if it takes longer than anything here may.
pub async fn soon<T>(what: impl Future<Output = T>) -> T {
    match tokio::time::timeout(Duration::from_secs(20), what).await {
        Ok(outcome) => outcome,
        Err(_) => panic!("it hangs"),
    }
}

/// The next `n` bytes, in however many pieces they come.
pub async fn receive(link: &mut Link, n: usize) -> Vec<u8> {
    let mut all = Vec::new();
    while all.len() < n {
        match soon(link.next()).await {
            Some(LinkEvent::Received(bytes)) => all.extend(bytes),
            other => panic!("{other:?} after {} bytes", all.len()),
        }
    }
    all
}

/// How the link ends, whatever comes before.
pub async fn end(link: &mut Link) -> Down {
    loop {
        match soon(link.next()).await {
            Some(LinkEvent::Received(_)) => {}
            Some(LinkEvent::Down(down)) => {
                assert_eq!(soon(link.next()).await, None, "the end is told once");
                return down;
            }
            None => panic!("an end without a cause"),
        }
    }
}

/// Sends back what comes, until dropped.
pub async fn echo(server: &mut Server) -> Down {
    loop {
        match server.next().await {
            Ok(ServerEvent::Received(bytes)) => server.send(&bytes),
            Ok(_) => {}
            Err(down) => return down,
        }
    }
}

/// Bytes that show it if one is lost, doubled or moved.
pub fn pattern(n: usize) -> Vec<u8> {
    (0..n).map(|i| (i * 31 + i / 256 * 7) as u8).collect()
}

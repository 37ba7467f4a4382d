//! TCP links, on loopback.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)] // A test fails by panicking.
mod common;
use common::*;
use plumeline_base::input::LinkDown;
use plumeline_link::{
    Link, LinkEvent, LinkSpec,
    ports::Root,
    serve::{Server, ServerEvent},
};
use proptest::prelude::*;
use tokio::{
    io::{AsyncReadExt, AsyncWriteExt},
    net::TcpListener,
};

async fn open(address: &str) -> Result<Link, plumeline_link::Down> {
    let LinkSpec::Line(line) = LinkSpec::parse(address).unwrap() else { panic!("{address}") };
    soon(plumeline_link::open(&line, &Root::system())).await
}

#[tokio::test]
async fn bytes_go_both_ways_however_they_are_cut() {
    let mut server = Server::tcp("127.0.0.1:0").await.unwrap();
    let mut link = open(server.address()).await.unwrap();
    assert_eq!(link.described(), server.address());
    let sent = pattern(3000);
    for piece in sent.chunks(37) {
        link.send(piece);
    }
    let received = tokio::select! {
        received = receive(&mut link, sent.len()) => received,
        down = echo(&mut server) => panic!("{down}"),
    };
    assert_eq!(received, sent);
}

#[tokio::test]
async fn what_came_before_the_end_is_given_first() {
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let mut link = open(&format!("tcp:{}", listener.local_addr().unwrap())).await.unwrap();
    let (mut peer, _) = listener.accept().await.unwrap();
    peer.write_all(b"last words").await.unwrap();
    drop(peer);
    assert_eq!(receive(&mut link, 10).await, b"last words");
    let down = end(&mut link).await;
    assert_eq!(down.cause, LinkDown::Closed);
    assert!(down.remedy().contains("other end"), "{}", down.remedy());
    link.send(b"too late");
    assert_eq!(soon(link.next()).await, None);
}

#[tokio::test]
async fn a_peer_that_reads_nothing_ends_the_link_and_hangs_nothing() {
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let mut link = open(&format!("tcp:{}", listener.local_addr().unwrap())).await.unwrap();
    let (peer, _) = listener.accept().await.unwrap();
    let down = loop {
        link.send(&[0; 4096]);
        let patience = std::time::Duration::from_millis(1);
        match tokio::time::timeout(patience, link.next()).await {
            Err(_) => {}
            Ok(Some(LinkEvent::Down(down))) => break down,
            Ok(other) => panic!("{other:?}"),
        }
    };
    assert_eq!(down.cause, LinkDown::Other);
    assert!(down.detail.contains("takes no bytes"), "{down}");
    drop(peer);
}

#[tokio::test]
async fn nobody_there_and_no_such_host() {
    let free = TcpListener::bind("127.0.0.1:0").await.unwrap().local_addr().unwrap();
    let down = open(&format!("tcp:{free}")).await.err().unwrap();
    assert_eq!(down.cause, LinkDown::Closed, "{down}");
    let down = open("tcp:no-such-host.invalid:5000").await.err().unwrap();
    assert_eq!(down.cause, LinkDown::Absent, "{down}");
}

#[tokio::test]
async fn one_peer_at_a_time_and_then_the_next() {
    let mut server = Server::tcp("127.0.0.1:0").await.unwrap();
    let mut first = open(server.address()).await.unwrap();
    assert!(matches!(soon(server.next()).await, Ok(ServerEvent::Opened(_))));
    let mut second = open(server.address()).await.unwrap();
    let turned_away = tokio::select! {
        down = end(&mut second) => down,
        event = server.next() => panic!("{event:?}"),
    };
    assert_eq!(turned_away.cause, LinkDown::Closed);

    first.send(b"a");
    assert!(first.drain(std::time::Duration::from_secs(5)).await);
    assert_eq!(soon(server.next()).await, Ok(ServerEvent::Received(b"a".to_vec())));
    drop(first);
    assert_eq!(soon(server.next()).await, Ok(ServerEvent::Gone));
    server.send(b"nobody hears this");
    assert_eq!(server.discarded(), 17);
    let mut third = open(server.address()).await.unwrap();
    assert!(matches!(soon(server.next()).await, Ok(ServerEvent::Opened(_))));
    third.send(b"b");
    assert!(third.drain(std::time::Duration::from_secs(5)).await);
    assert_eq!(soon(server.next()).await, Ok(ServerEvent::Received(b"b".to_vec())));

    let address = server.address().trim_start_matches("tcp:").to_owned();
    assert_eq!(Server::tcp(&address).await.err().unwrap().cause, LinkDown::Busy);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]
    #[test]
    fn any_cutting_gives_the_same_bytes(sizes in proptest::collection::vec(1..2000_usize, 1..40)) {
        let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
        runtime.block_on(async {
            let (near, mut far) = tokio::io::duplex(700);
            let mut link = Link::over(near, "a pipe", LinkDown::Closed);
            let sent = pattern(sizes.iter().sum());
            let mut rest = &sent[..];
            for &n in &sizes {
                let (piece, after) = rest.split_at(n);
                link.send(piece);
                rest = after;
            }
            let back = async {
                let mut heard = vec![0; sent.len()];
                far.read_exact(&mut heard).await.unwrap();
                far.write_all(&heard).await.unwrap();
            };
            let (received, ()) = tokio::join!(receive(&mut link, sent.len()), back);
            assert_eq!(received, sent);
        });
    }
}

//! A file that another program writes, followed as a line: rows of before are passed over, later ones come whole and in order,
//! and a file that is cut, taken away or begun anew is the end of the line, with the cause.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "helpers of tests may panic")]
use plumeline_base::input::LinkDown;
use plumeline_link::{Down, Link, LinkEvent, LinkSpec, Opener};
use std::{
    fs::{self, OpenOptions},
    io::Write as _,
    path::{Path, PathBuf},
    time::Duration,
};

/// A file of its own.
fn path(name: &str) -> PathBuf {
    let dir = std::env::temp_dir().join(format!("plumeline-follow-{}", std::process::id()));
    fs::create_dir_all(&dir).unwrap();
    dir.join(name)
}
async fn open(path: &Path) -> Result<Link, Down> {
    let LinkSpec::Line(line) = LinkSpec::parse(&format!("file:{}", path.display())).unwrap() else { unreachable!() };
    Opener::new(line).open().await
}
fn append(path: &Path, text: &str) {
    OpenOptions::new().append(true).open(path).unwrap().write_all(text.as_bytes()).unwrap();
}
async fn next(link: &mut Link) -> LinkEvent {
    tokio::time::timeout(Duration::from_secs(10), link.next()).await.expect("something comes").unwrap()
}
async fn text(link: &mut Link, wanted: usize) -> String {
    let mut got = Vec::new();
    while got.len() < wanted {
        match next(link).await {
            LinkEvent::Received(bytes) => got.extend(bytes),
            LinkEvent::Down(down) => panic!("{down:?}"),
        }
    }
    String::from_utf8(got).unwrap()
}
async fn ends(link: &mut Link) -> Down {
    match next(link).await {
        LinkEvent::Down(down) => down,
        LinkEvent::Received(bytes) => panic!("{bytes:?}"),
    }
}

#[tokio::test]
async fn what_is_appended_arrives_and_what_stood_there_does_not() {
    let file = path("live.csv");
    fs::write(&file, "time,flow\n1,30\n").unwrap();
    let mut link = open(&file).await.unwrap();
    assert!(link.described().contains("from its end on"), "{}", link.described());
    append(&file, "2,31\n3,");
    append(&file, "32\n");
    assert_eq!(text(&mut link, 10).await, "2,31\n3,32\n");
    let quiet = tokio::time::timeout(Duration::from_millis(300), link.next()).await;
    assert!(quiet.is_err(), "no end, and nothing that was not written: {quiet:?}");
    let long: String = (0..4000).map(|n| format!("{n},30.5\n")).collect();
    append(&file, &long);
    assert_eq!(text(&mut link, long.len()).await, long);
}
#[tokio::test]
async fn a_file_that_is_cut_taken_away_or_begun_anew_ends_the_line() {
    for (name, does) in [
        ("cut.csv", (|p| fs::write(p, "1\n").unwrap()) as fn(&Path)),
        ("away.csv", |p| fs::remove_file(p).unwrap()),
        ("anew.csv", |p| {
            fs::rename(p, p.with_extension("old")).unwrap();
            fs::write(p, "time,flow\n1,30\n2,31\n3,32\n4,33\n").unwrap();
        }),
    ] {
        let file = path(name);
        fs::write(&file, "time,flow\n1,30\n").unwrap();
        let mut link = open(&file).await.unwrap();
        does(&file);
        let down = ends(&mut link).await;
        assert!(down.to_string().contains(name), "{down}");
        assert!(link.next().await.is_none());
    }
}
#[tokio::test]
async fn what_is_no_file_or_not_there_is_told() {
    assert_eq!(open(&path("nothing.csv")).await.err().unwrap().cause, LinkDown::Absent);
    let folder = path("folder");
    fs::create_dir_all(&folder).unwrap();
    let down = open(&folder).await.err().unwrap();
    assert!(down.to_string().contains("no file"), "{down}");
}
#[tokio::test]
async fn nothing_can_be_sent_to_it() {
    let file = path("sent.csv");
    fs::write(&file, "").unwrap();
    let mut link = open(&file).await.unwrap();
    link.send(b"hello");
    let down = ends(&mut link).await;
    assert!(down.to_string().contains("nothing can be sent"), "{down}");
    assert_eq!(fs::read(&file).unwrap(), b"");
}

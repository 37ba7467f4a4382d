//! Finding USB ports in a tree of devices that is laid out as Linux does, and opening what they lead to.
#![cfg(target_os = "linux")]
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)] // A test fails by panicking.
mod common;
#[path = "../../../tests/common/devices.rs"]
mod devices;
use common::*;
use devices::Tree;
use plumeline_base::input::LinkDown;
use plumeline_link::{
    LineSpec, LinkSpec, Opener,
    ports::{self, Root},
    serve::Server,
};
use std::{fs, path::Path, time::Duration};

fn tree(name: &str) -> Tree {
    Tree::new(Path::new(env!("CARGO_TARGET_TMPDIR")).join("trees").join(name))
}
fn root(tree: &Tree) -> Root {
    Root::at(tree.path())
}
fn names(tree: &Tree) -> Vec<String> {
    let ports = ports::list(&root(tree)).unwrap();
    ports.iter().map(|p| p.path.file_name().unwrap().to_str().unwrap().to_owned()).collect()
}
fn find(tree: &Tree, serial: Option<&str>) -> Result<String, plumeline_link::Down> {
    ports::find(&root(tree), 0x1209, 0xA1, serial).map(|p| p.path.file_name().unwrap().to_str().unwrap().to_owned())
}

#[test]
fn lists_what_is_there_with_what_is_known() {
    let tree = tree("list");
    tree.plug("1-2", "1209:00a1", Some("A7"), &["ttyUSB10", "ttyUSB9"]);
    tree.plug("1-3", "1209:00a2", None, &["ttyACM0"]);
    assert_eq!(names(&tree), ["ttyACM0", "ttyS0", "ttyUSB9", "ttyUSB10"]);
    let ports = ports::list(&root(&tree)).unwrap();
    let usb9 = ports[2].usb.as_ref().unwrap();
    assert_eq!((usb9.vid, usb9.pid, usb9.serial.as_deref(), usb9.interface), (0x1209, 0xA1, Some("A7"), Some(1)));
    assert_eq!(usb9.place.as_deref(), Some("1-2"));
    let line = ports[2].to_string();
    for part in [
        "ttyUSB9  USB 1209:00a1 serial A7, Imaginary Works, Serial Adapter, interface 1",
        "driver ftdi_sio",
        "mode 666",
    ] {
        assert!(line.contains(part), "{line}");
    }
    let specs: Vec<_> = ports.iter().map(|p| p.spec(&ports)).collect();
    assert_eq!(specs[0], "usb:1209:00a2");
    // The first interface goes by what the device is; the second would not be found again that way.
    assert_eq!(specs[3], "usb:1209:00a1:A7");
    assert!(specs[2].ends_with("dev/ttyUSB9"), "{}", specs[2]);
    assert!(specs[1].ends_with("dev/ttyS0") && specs[1].starts_with("serial:"), "{}", specs[1]);
    for spec in specs {
        assert!(LinkSpec::parse(&spec).is_ok(), "{spec}");
    }
    assert_eq!(ports::list(&Root::at(tree.path().join("nothing"))).unwrap(), []);
}

#[test]
fn finds_a_device_by_what_it_is_not_by_its_name() {
    let tree = tree("find");
    let down = find(&tree, None).unwrap_err();
    assert_eq!(down.cause, LinkDown::Absent);
    assert!(down.detail.contains("1209:00a1"), "{down}");

    // The first of two ports of one device is the one with the lower interface.
    tree.plug("1-2", "1209:00a1", Some("A7"), &["ttyUSB1", "ttyUSB0"]);
    assert_eq!(find(&tree, None).unwrap(), "ttyUSB1");
    assert_eq!(find(&tree, Some("A7")).unwrap(), "ttyUSB1");
    let down = find(&tree, Some("B8")).unwrap_err();
    assert_eq!(down.cause, LinkDown::Absent);
    assert!(down.detail.contains("there is") && down.detail.contains("A7"), "{down}");

    // Two alike: only the serial number tells, or nothing does.
    tree.plug("1-3", "1209:00a1", Some("B8"), &["ttyUSB2"]);
    let down = find(&tree, None).unwrap_err();
    assert_eq!(down.cause, LinkDown::Other);
    assert!(down.detail.contains("A7") && down.detail.contains("B8"), "{down}");
    assert!(down.remedy().contains("serial number"), "{}", down.remedy());
    assert_eq!(find(&tree, Some("B8")).unwrap(), "ttyUSB2");

    tree.unplug("1-2", &["ttyUSB0", "ttyUSB1"]);
    assert_eq!(find(&tree, None).unwrap(), "ttyUSB2");
}

#[tokio::test]
async fn a_device_plugged_in_again_under_another_name_is_found() {
    let tree = tree("replug");
    let LinkSpec::Line(line @ LineSpec::Usb { .. }) = LinkSpec::parse("usb:1209:00a1:A7@9600").unwrap() else {
        panic!()
    };
    let opener = Opener::new(line).in_root(root(&tree));
    assert_eq!(opener.open().await.err().unwrap().cause, LinkDown::Absent);

    for (round, name) in ["ttyUSB0", "ttyUSB1", "ttyACM0"].into_iter().enumerate() {
        let mut server = Server::pty(None).unwrap();
        tree.plug("1-2", "1209:00a1", Some("A7"), &[name]);
        let node = tree.path().join("dev").join(name);
        tree.lead(name, Path::new(server.address().trim_start_matches("serial:")));

        let mut link = soon(opener.open_after(Duration::from_millis(1))).await.unwrap();
        assert!(
            link.described().contains(&format!("usb:1209:00a1:A7@9600 at {}", node.display())),
            "{}",
            link.described()
        );
        link.send(b"hello");
        let heard = tokio::select! {
            heard = receive(&mut link, 5) => heard,
            down = echo(&mut server) => panic!("{down}"),
        };
        assert_eq!(heard, b"hello", "round {round}");

        drop(server);
        tree.unplug("1-2", &[name]);
        assert_eq!(end(&mut link).await.cause, LinkDown::Unplugged);
        assert_eq!(opener.open().await.err().unwrap().cause, LinkDown::Absent);
    }
}

#[test]
fn what_would_keep_a_port_from_being_opened_is_told_without_opening_it() {
    let tree = tree("hindrance");
    tree.plug("1-2", "1209:00a1", Some("A7"), &["ttyUSB0", "ttyUSB1", "ttyUSB2", "ttyUSB3"]);
    let pty = || nix::pty::openpty(None, None).unwrap();
    let (free, used, locked) = (pty(), pty(), pty());
    for (name, at) in [("ttyUSB0", &free), ("ttyUSB1", &used), ("ttyUSB2", &locked)] {
        tree.lead(name, &nix::unistd::ttyname(&at.slave).unwrap());
    }
    fs::remove_file(tree.path().join("dev/ttyUSB3")).unwrap();
    // Only the pseudo-terminal's own end stays open of the free one.
    drop(free.slave);
    let locked = fs::File::from(locked.slave);
    locked.lock().unwrap();
    let ports = ports::list(&root(&tree)).unwrap();
    let hindrance = |name: &str| {
        let port = ports.iter().find(|p| p.path.ends_with(name)).unwrap();
        port.hindrance.as_ref().map(|down| (down.cause, down.detail.clone()))
    };
    assert_eq!(hindrance("ttyUSB0"), None);
    let me = std::process::id().to_string();
    for name in ["ttyUSB1", "ttyUSB2"] {
        let (cause, detail) = hindrance(name).unwrap();
        assert_eq!(cause, LinkDown::Busy, "{detail}");
        assert!(detail.contains(&me) && detail.contains("usb"), "{detail}");
    }
    assert_eq!(hindrance("ttyUSB3").unwrap().0, LinkDown::Absent);
}

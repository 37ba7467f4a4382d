//! Finding USB ports in a tree of devices that is laid out as Linux does, and opening what they lead to.
#![cfg(target_os = "linux")]
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)] // A test fails by panicking.
mod common;
use common::*;
use plumeline_base::input::LinkDown;
use plumeline_link::{
    LineSpec, LinkSpec, Opener,
    ports::{self, Root},
    serve::Server,
};
use std::{
    fs,
    os::unix::fs::symlink,
    path::{Path, PathBuf},
    time::Duration,
};

/// A `sys` and a `dev` of our own.
struct Tree(PathBuf);

impl Tree {
    fn new(name: &str) -> Self {
        let root = Path::new(env!("CARGO_TARGET_TMPDIR")).join("trees").join(name);
        let _ = fs::remove_dir_all(&root);
        for folder in ["sys/class/tty", "sys/bus/usb-serial/drivers/ftdi_sio", "dev"] {
            fs::create_dir_all(root.join(folder)).unwrap();
        }
        let tree = Self(root);
        // What every system has: a console without a device, a port that is there and one that is not.
        fs::create_dir_all(tree.sys("devices/virtual/tty/tty0")).unwrap();
        symlink("../../devices/virtual/tty/tty0", tree.sys("class/tty/tty0")).unwrap();
        for (name, kind) in [("ttyS0", "4\n"), ("ttyS1", "0\n")] {
            let device = format!("devices/pnp0/00:0{name}");
            tree.tty(&device, name);
            fs::write(tree.sys(&format!("{device}/tty/{name}/type")), kind).unwrap();
        }
        tree
    }
    fn root(&self) -> Root {
        Root::at(&self.0)
    }
    fn sys(&self, path: &str) -> PathBuf {
        self.0.join("sys").join(path)
    }
    fn tty(&self, device: &str, name: &str) {
        fs::create_dir_all(self.sys(&format!("{device}/tty/{name}"))).unwrap();
        symlink(self.sys(device), self.sys(&format!("{device}/tty/{name}/device"))).unwrap();
        symlink(self.sys(&format!("{device}/tty/{name}")), self.sys(&format!("class/tty/{name}"))).unwrap();
        symlink("/dev/null", self.0.join("dev").join(name)).unwrap();
    }
    /// Plugs a device in at `place`, with a port of each name.
    fn plug(&self, place: &str, ids: &str, serial: Option<&str>, names: &[&str]) {
        let device = format!("devices/pci0000:00/0000:00:14.0/usb1/{place}");
        fs::create_dir_all(self.sys(&device)).unwrap();
        let attribute = |name: &str, value: &str| {
            fs::write(self.sys(&format!("{device}/{name}")), format!("{value}\n")).unwrap();
        };
        let (vid, pid) = ids.split_once(':').unwrap();
        attribute("idVendor", vid);
        attribute("idProduct", pid);
        attribute("manufacturer", "Imaginary Works");
        attribute("product", "Serial Adapter");
        if let Some(serial) = serial {
            attribute("serial", serial);
        }
        for (i, name) in names.iter().enumerate() {
            let interface = format!("{device}/{place}:1.{i}");
            let port = format!("{interface}/{name}");
            fs::create_dir_all(self.sys(&port)).unwrap();
            fs::write(self.sys(&format!("{interface}/bInterfaceNumber")), format!("{i:02x}\n")).unwrap();
            self.tty(&port, name);
            symlink(self.sys("bus/usb-serial/drivers/ftdi_sio"), self.sys(&format!("{port}/driver"))).unwrap();
        }
    }
    fn unplug(&self, place: &str, names: &[&str]) {
        fs::remove_dir_all(self.sys(&format!("devices/pci0000:00/0000:00:14.0/usb1/{place}"))).unwrap();
        for name in names {
            fs::remove_file(self.sys(&format!("class/tty/{name}"))).unwrap();
            fs::remove_file(self.0.join("dev").join(name)).unwrap();
        }
    }
    fn names(&self) -> Vec<String> {
        let ports = ports::list(&self.root()).unwrap();
        ports.iter().map(|p| p.path.file_name().unwrap().to_str().unwrap().to_owned()).collect()
    }
    fn find(&self, serial: Option<&str>) -> Result<String, plumeline_link::Down> {
        ports::find(&self.root(), 0x1209, 0xA1, serial)
            .map(|p| p.path.file_name().unwrap().to_str().unwrap().to_owned())
    }
}

#[test]
fn lists_what_is_there_with_what_is_known() {
    let tree = Tree::new("list");
    tree.plug("1-2", "1209:00a1", Some("A7"), &["ttyUSB10", "ttyUSB9"]);
    tree.plug("1-3", "1209:00a2", None, &["ttyACM0"]);
    assert_eq!(tree.names(), ["ttyACM0", "ttyS0", "ttyUSB9", "ttyUSB10"]);
    let ports = ports::list(&tree.root()).unwrap();
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
    let specs: Vec<_> = ports.iter().map(|p| p.spec()).collect();
    assert_eq!(specs[0], "usb:1209:00a2");
    assert_eq!(specs[2], "usb:1209:00a1:A7");
    assert!(specs[1].ends_with("dev/ttyS0") && specs[1].starts_with("serial:"), "{}", specs[1]);
    for spec in specs {
        assert!(LinkSpec::parse(&spec).is_ok(), "{spec}");
    }
    assert_eq!(ports::list(&Root::at(tree.0.join("nothing"))).unwrap(), []);
}

#[test]
fn finds_a_device_by_what_it_is_not_by_its_name() {
    let tree = Tree::new("find");
    let down = tree.find(None).unwrap_err();
    assert_eq!(down.cause, LinkDown::Absent);
    assert!(down.detail.contains("1209:00a1"), "{down}");

    // The first of two ports of one device is the one with the lower interface.
    tree.plug("1-2", "1209:00a1", Some("A7"), &["ttyUSB1", "ttyUSB0"]);
    assert_eq!(tree.find(None).unwrap(), "ttyUSB1");
    assert_eq!(tree.find(Some("A7")).unwrap(), "ttyUSB1");
    let down = tree.find(Some("B8")).unwrap_err();
    assert_eq!(down.cause, LinkDown::Absent);
    assert!(down.detail.contains("there is") && down.detail.contains("A7"), "{down}");

    // Two alike: only the serial number tells, or nothing does.
    tree.plug("1-3", "1209:00a1", Some("B8"), &["ttyUSB2"]);
    let down = tree.find(None).unwrap_err();
    assert_eq!(down.cause, LinkDown::Other);
    assert!(down.detail.contains("A7") && down.detail.contains("B8"), "{down}");
    assert!(down.remedy().contains("serial number"), "{}", down.remedy());
    assert_eq!(tree.find(Some("B8")).unwrap(), "ttyUSB2");

    tree.unplug("1-2", &["ttyUSB0", "ttyUSB1"]);
    assert_eq!(tree.find(None).unwrap(), "ttyUSB2");
}

#[tokio::test]
async fn a_device_plugged_in_again_under_another_name_is_found() {
    let tree = Tree::new("replug");
    let LinkSpec::Line(line @ LineSpec::Usb { .. }) = LinkSpec::parse("usb:1209:00a1:A7@9600").unwrap() else {
        panic!()
    };
    let opener = Opener::new(line).in_root(tree.root());
    assert_eq!(opener.open().await.err().unwrap().cause, LinkDown::Absent);

    for (round, name) in ["ttyUSB0", "ttyUSB1", "ttyACM0"].into_iter().enumerate() {
        let mut server = Server::pty(None).unwrap();
        tree.plug("1-2", "1209:00a1", Some("A7"), &[name]);
        let node = tree.0.join("dev").join(name);
        fs::remove_file(&node).unwrap();
        symlink(server.address().trim_start_matches("serial:"), &node).unwrap();

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

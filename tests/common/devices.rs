//! A tree of devices that is laid out as Linux does, with USB devices that come and go.
#![allow(unreachable_pub, dead_code, reason = "shared by several tests")]
use std::{
    fs,
    os::unix::fs::symlink,
    path::{Path, PathBuf},
};

/// A `sys` and a `dev` of our own.
pub struct Tree(PathBuf);

impl Tree {
    /// An empty tree at this place, with what every system has.
    pub fn new(root: PathBuf) -> Self {
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
    /// Where it is.
    pub fn path(&self) -> &Path {
        &self.0
    }
    fn sys(&self, path: &str) -> PathBuf {
        self.0.join("sys").join(path)
    }
    fn tty(&self, device: &str, name: &str) {
        fs::create_dir_all(self.sys(&format!("{device}/tty/{name}"))).unwrap();
        symlink(self.sys(device), self.sys(&format!("{device}/tty/{name}/device"))).unwrap();
        symlink(self.sys(&format!("{device}/tty/{name}")), self.sys(&format!("class/tty/{name}"))).unwrap();
        self.lead(name, Path::new("/dev/null"));
    }
    /// Lets the port of this name lead to another place.
    pub fn lead(&self, name: &str, to: &Path) {
        let node = self.0.join("dev").join(name);
        let _ = fs::remove_file(&node);
        symlink(to, node).unwrap();
    }
    /// Plugs a device in at `place`, with a port of each name.
    pub fn plug(&self, place: &str, ids: &str, serial: Option<&str>, names: &[&str]) {
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
    /// Pulls the device out again.
    pub fn unplug(&self, place: &str, names: &[&str]) {
        fs::remove_dir_all(self.sys(&format!("devices/pci0000:00/0000:00:14.0/usb1/{place}"))).unwrap();
        for name in names {
            fs::remove_file(self.sys(&format!("class/tty/{name}"))).unwrap();
            fs::remove_file(self.0.join("dev").join(name)).unwrap();
        }
    }
}

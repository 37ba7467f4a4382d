//! Linux's tree of devices (`Documentation/ABI/testing/sysfs-tty`, `sysfs-bus-usb` in the kernel's sources), read
//! without udev.
use super::{PortInfo, Root, UsbInfo};
use std::{
    fs, io,
    path::{Path, PathBuf},
};

pub(super) fn list(root: &Root) -> io::Result<Vec<PortInfo>> {
    let mut ports = Vec::new();
    let class = root.join("sys/class/tty");
    let entries = match fs::read_dir(class) {
        Ok(entries) => entries,
        // A system without the tree has no ports that could be listed.
        Err(e) if e.kind() == io::ErrorKind::NotFound => return Ok(ports),
        Err(e) => return Err(e),
    };
    for entry in entries {
        let entry = entry?;
        // Consoles and the like have no device; a port may vanish while it is looked at.
        let Ok(device) = fs::canonicalize(entry.path().join("device")) else { continue };
        // 8250 ports that are announced, but not there (`PORT_UNKNOWN`).
        if text(&entry.path().join("type")).as_deref() == Some("0") {
            continue;
        }
        let driver =
            fs::canonicalize(device.join("driver")).ok().and_then(|d| Some(d.file_name()?.to_str()?.to_owned()));
        ports.push(PortInfo::named(root.join("dev").join(entry.file_name()), driver, usb(root, &device)));
    }
    Ok(ports)
}

/// The USB device above a tty's device.
fn usb(root: &Root, device: &Path) -> Option<UsbInfo> {
    let top = fs::canonicalize(root.join("sys")).ok()?;
    let above = || device.ancestors().take_while(|p| p.starts_with(&top));
    let hex = |path: PathBuf| u16::from_str_radix(&text(&path)?, 16).ok();
    let unit = above().find(|p| p.join("idVendor").exists())?;
    let interface =
        above().find_map(|p| text(&p.join("bInterfaceNumber"))).and_then(|n| u8::from_str_radix(&n, 16).ok());
    Some(UsbInfo {
        vid: hex(unit.join("idVendor"))?,
        pid: hex(unit.join("idProduct"))?,
        serial: text(&unit.join("serial")),
        manufacturer: text(&unit.join("manufacturer")),
        product: text(&unit.join("product")),
        interface,
        place: unit.file_name().and_then(|n| n.to_str()).map(Into::into),
    })
}

/// The one line of an attribute; none if it is missing or empty.
fn text(path: &Path) -> Option<String> {
    let text = fs::read_to_string(path).ok()?;
    Some(text.trim().to_owned()).filter(|t| !t.is_empty())
}

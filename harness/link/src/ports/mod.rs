//! Which serial ports there are, and what is known of each.
//!
//! On Linux this is read from the system's own tree of devices, below a root that tests may put elsewhere; on other
//! systems the serial library lists them. Pseudo-terminals are never listed. Nothing is opened: opening a port may restart
//! the device behind it.
use crate::Down;
use plumeline_base::input::LinkDown;
use std::{
    fmt, io,
    path::{Path, PathBuf},
};

#[cfg(any(target_os = "linux", test))]
mod sysfs;

/// Where the system's `sys` and `dev` are.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Root(PathBuf);
impl Root {
    /// This system.
    pub fn system() -> Self {
        Self("/".into())
    }
    /// A tree of its own, for tests.
    pub fn at(path: impl Into<PathBuf>) -> Self {
        Self(path.into())
    }
    #[cfg(any(target_os = "linux", test))]
    fn join(&self, path: impl AsRef<Path>) -> PathBuf {
        self.0.join(path)
    }
}
impl Default for Root {
    fn default() -> Self {
        Self::system()
    }
}

/// A serial port.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PortInfo {
    /// What to open: `/dev/ttyUSB0`, `COM3`.
    pub path: PathBuf,
    /// The driver that runs it, where the system tells.
    pub driver: Option<String>,
    /// The USB device behind it.
    pub usb: Option<UsbInfo>,
    /// Owner, group and mode, where ports have such.
    pub owner: Option<String>,
    /// What would keep this user from opening it now; `None` if nothing is known that would. Told without opening it, so a
    /// program of another user that takes no lock is not seen, and on Windows nothing is.
    pub hindrance: Option<Down>,
}

/// A USB device that has a serial port.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct UsbInfo {
    /// Vendor id.
    pub vid: u16,
    /// Product id.
    pub pid: u16,
    /// Serial number.
    pub serial: Option<String>,
    /// Maker's name, as the device says.
    pub manufacturer: Option<String>,
    /// Product name, as the device says.
    pub product: Option<String>,
    /// The interface of the device, for devices with several ports.
    pub interface: Option<u8>,
    /// Which socket it is plugged into, in the system's own words.
    pub place: Option<String>,
}

impl PortInfo {
    fn named(path: PathBuf, driver: Option<String>, usb: Option<UsbInfo>) -> Self {
        let (owner, hindrance) = crate::sys::look_at(&path);
        Self { path, driver, usb, owner, hindrance }
    }
    /// How to name this port on the command line so that it is found again among these: by the device behind it where that
    /// leads here, by its path otherwise.
    pub fn spec(&self, among: &[Self]) -> String {
        if let Some(UsbInfo { vid, pid, serial, .. }) = &self.usb
            && pick(among, *vid, *pid, serial.as_deref()).is_ok_and(|found| found.path == self.path)
        {
            let serial = serial.as_ref().map(|s| format!(":{s}")).unwrap_or_default();
            return format!("usb:{vid:04x}:{pid:04x}{serial}");
        }
        format!("serial:{}", self.path.display())
    }
}
impl fmt::Display for PortInfo {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.path.display())?;
        if let Some(usb) = &self.usb {
            write!(f, "  USB {:04x}:{:04x}", usb.vid, usb.pid)?;
            if let Some(serial) = &usb.serial {
                write!(f, " serial {serial}")?;
            }
            for name in [&usb.manufacturer, &usb.product].into_iter().flatten() {
                write!(f, ", {name}")?;
            }
            if let Some(interface) = usb.interface {
                write!(f, ", interface {interface}")?;
            }
        }
        if let Some(driver) = &self.driver {
            write!(f, ", driver {driver}")?;
        }
        if let Some(owner) = &self.owner {
            write!(f, "; {owner}")?;
        }
        if let Some(hindrance) = &self.hindrance {
            write!(f, ": {}", hindrance.cause)?;
        }
        Ok(())
    }
}

/// All serial ports, by name.
///
/// # Errors
/// What the system reports.
pub fn list(root: &Root) -> io::Result<Vec<PortInfo>> {
    let mut ports = system_list(root)?;
    ports.sort_by_key(|port| natural(&port.path));
    Ok(ports)
}

#[cfg(target_os = "linux")]
fn system_list(root: &Root) -> io::Result<Vec<PortInfo>> {
    sysfs::list(root)
}
#[cfg(not(target_os = "linux"))]
fn system_list(_: &Root) -> io::Result<Vec<PortInfo>> {
    let ports = serialport::available_ports().map_err(io::Error::from)?;
    Ok(ports
        .into_iter()
        .map(|port| {
            let usb = match port.port_type {
                serialport::SerialPortType::UsbPort(usb) => Some(UsbInfo {
                    vid: usb.vid,
                    pid: usb.pid,
                    serial: usb.serial_number,
                    manufacturer: usb.manufacturer,
                    product: usb.product,
                    interface: None,
                    place: None,
                }),
                _ => None,
            };
            PortInfo::named(port.port_name.into(), None, usb)
        })
        .collect())
}

/// `ttyUSB10` comes after `ttyUSB9`.
fn natural(path: &Path) -> (String, u64) {
    let text = path.to_string_lossy();
    let stem = text.trim_end_matches(|c: char| c.is_ascii_digit());
    (stem.to_owned(), text[stem.len()..].parse().unwrap_or(0))
}

/// The port of a USB device, under whatever name it has now. Of a device with several ports it is the first.
///
/// # Errors
/// [`LinkDown::Absent`] if no such device is plugged in; [`LinkDown::Other`] if several are and `serial` does not
/// tell which.
pub fn find(root: &Root, vid: u16, pid: u16, serial: Option<&str>) -> Result<PortInfo, Down> {
    let ports = list(root).map_err(|e| Down::new(LinkDown::Other, format!("the ports can't be listed: {e}")))?;
    pick(&ports, vid, pid, serial).cloned()
}

fn pick<'a>(ports: &'a [PortInfo], vid: u16, pid: u16, serial: Option<&str>) -> Result<&'a PortInfo, Down> {
    let wanted = match serial {
        Some(serial) => format!("USB device {vid:04x}:{pid:04x} with serial number {serial}"),
        None => format!("USB device {vid:04x}:{pid:04x}"),
    };
    let mut alike: Vec<_> = ports
        .iter()
        .filter_map(|port| port.usb.as_ref().map(|usb| (usb, port)))
        .filter(|(usb, _)| (usb.vid, usb.pid) == (vid, pid))
        .collect();
    let others: Vec<_> = alike.iter().map(|(_, port)| port.to_string()).collect();
    if let Some(serial) = serial {
        alike.retain(|(usb, _)| usb.serial.as_deref() == Some(serial));
    }
    alike.sort_by_key(|(usb, _)| usb.interface);
    let Some(&(first, port)) = alike.first() else {
        let detail = if others.is_empty() {
            format!("no serial port of a {wanted} is plugged in")
        } else {
            format!("no serial port of a {wanted} is plugged in; there is {}", others.join("; "))
        };
        return Err(Down::new(LinkDown::Absent, detail));
    };
    let device = |usb: &UsbInfo| (usb.serial.clone(), usb.place.clone());
    if alike.iter().any(|(usb, _)| device(usb) != device(first)) {
        let mut down = Down::new(LinkDown::Other, format!("several match {wanted}: {}", others.join("; ")));
        down.hint = Some("add the serial number: usb:VID:PID:SERIAL, or name the port: serial:PATH".into());
        return Err(down);
    }
    Ok(port)
}

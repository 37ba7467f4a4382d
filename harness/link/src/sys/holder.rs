//! Who holds a device, by what Linux tells of its processes (proc(5), proc_locks(5)): nothing is opened. Elsewhere nobody is
//! seen.
use nix::sys::stat::{major, minor};
use std::{
    fs::{self, Metadata},
    os::unix::fs::MetadataExt,
    path::Path,
};

/// Who has this device open or locked; `None` if nobody is seen. What processes of other users have open is shown to root
/// alone; their locks are shown to everybody.
pub(super) fn holder(device: &Metadata) -> Option<String> {
    open_in(device).or_else(|| locked_by(device))
}

fn open_in(device: &Metadata) -> Option<String> {
    let same = |m: &Metadata| (m.dev(), m.ino()) == (device.dev(), device.ino());
    let is_number = |p: &Path| p.file_name().is_some_and(|n| n.as_encoded_bytes().iter().all(u8::is_ascii_digit));
    let mut processes = fs::read_dir("/proc").ok()?.flatten().map(|entry| entry.path()).filter(|p| is_number(p));
    let process = processes.find(|process| {
        let open = fs::read_dir(process.join("fd")).into_iter().flatten().flatten();
        // Only what lies among the devices is looked at: a file on a server that is gone would hold us up.
        open.map(|fd| fd.path())
            .filter(|fd| fs::read_link(fd).is_ok_and(|target| target.starts_with("/dev")))
            .any(|fd| fs::metadata(fd).is_ok_and(|m| same(&m)))
    })?;
    Some(format!("open in process {}", named(&process)?))
}

fn locked_by(device: &Metadata) -> Option<String> {
    let place = format!("{:02x}:{:02x}:{}", major(device.dev()), minor(device.dev()), device.ino());
    let locks = fs::read_to_string("/proc/locks").ok()?;
    // "1: FLOCK  ADVISORY  WRITE 708 00:13:16829 0 EOF"; who only waits for a lock has an arrow in place of its kind.
    let id = locks.lines().find_map(|line| {
        let parts: Vec<&str> = line.split_whitespace().collect();
        (parts.get(1) != Some(&"->") && parts.get(5) == Some(&place.as_str())).then(|| parts.get(4).copied())?
    })?;
    Some(format!("locked by process {}", named(&Path::new("/proc").join(id)).unwrap_or_else(|| id.to_owned())))
}

/// A process by its number and name.
fn named(process: &Path) -> Option<String> {
    let id = process.file_name()?.to_str()?;
    let name = fs::read_to_string(process.join("comm")).ok()?;
    Some(format!("{id} ({})", name.trim()))
}

//! Opens a line once; says what is wrong if it can't.
//!
//! Not here: when to try again.
use crate::{
    Down, Injected, LineSpec, Link, SerialSettings, follow,
    ports::{self, Root},
    spec::Parity,
    sys,
};
use plumeline_base::input::LinkDown;
use std::time::Duration;
use tokio::net::TcpStream;
use tokio_serial::{ClearBuffer, SerialPort, SerialPortBuilderExt};

/// How long a TCP connection may take to come about.
const CONNECT: Duration = Duration::from_secs(5);

/// Opens a line, as often as it is told to, with the same injected faults if any.
#[derive(Clone, Debug)]
pub struct Opener {
    line: LineSpec,
    root: Root,
    injected: Option<Injected>,
}

impl Opener {
    /// An opener for `line` on this system.
    pub fn new(line: LineSpec) -> Self {
        Self { line, root: Root::system(), injected: None }
    }
    /// Looks for USB ports in another tree.
    #[must_use]
    pub fn in_root(mut self, root: Root) -> Self {
        self.root = root;
        self
    }
    /// Injects faults.
    #[must_use]
    pub fn with_faults(mut self, injected: Injected) -> Self {
        self.injected = Some(injected);
        self
    }
    /// Tries once, now.
    ///
    /// # Errors
    /// [`Down`] with the cause.
    pub async fn open(&self) -> Result<Link, Down> {
        let Some(injected) = &self.injected else { return open(&self.line, &self.root).await };
        match injected.unplugged() {
            Some(down) => Err(down),
            None => Ok(open(&self.line, &self.root).await?.with_faults(injected)),
        }
    }
    /// Waits for `wait`, then tries once: one step of a back-off whose waits the caller chooses.
    ///
    /// # Errors
    /// [`Down`] with the cause.
    pub async fn open_after(&self, wait: Duration) -> Result<Link, Down> {
        tokio::time::sleep(wait).await;
        self.open().await
    }
}

/// Opens a line once. USB ports are looked for under `root`, so that a device is found again under another name.
///
/// # Errors
/// [`Down`] with the cause.
pub async fn open(line: &LineSpec, root: &Root) -> Result<Link, Down> {
    match line {
        LineSpec::Serial { path, settings } => serial(path, *settings, line.to_string()),
        LineSpec::Usb { vid, pid, serial: number, settings } => {
            let port = ports::find(root, *vid, *pid, number.as_deref())?;
            let path = port
                .path
                .to_str()
                .ok_or_else(|| Down::new(LinkDown::Other, format!("{}: the path is not text", port.path.display())))?;
            serial(path, *settings, format!("{line} at {path}"))
        }
        LineSpec::Tcp { host, port } => tcp(host, *port, line.to_string()).await,
        LineSpec::File { path } => follow::open(path, line.to_string()),
    }
}

fn serial(path: &str, settings: SerialSettings, named: String) -> Result<Link, Down> {
    let held = sys::probe(path)?;
    let byte = settings.byte;
    let data_bits = match byte.data {
        5 => tokio_serial::DataBits::Five,
        6 => tokio_serial::DataBits::Six,
        7 => tokio_serial::DataBits::Seven,
        _ => tokio_serial::DataBits::Eight,
    };
    let parity = match byte.parity {
        Parity::None => tokio_serial::Parity::None,
        Parity::Even => tokio_serial::Parity::Even,
        Parity::Odd => tokio_serial::Parity::Odd,
    };
    let stop_bits = if byte.two_stops { tokio_serial::StopBits::Two } else { tokio_serial::StopBits::One };
    let mut port = tokio_serial::new(path, settings.baud)
        .data_bits(data_bits)
        .parity(parity)
        .stop_bits(stop_bits)
        .dtr_on_open(settings.dtr)
        .open_native_async()
        .map_err(|e| not_opened(path, &e))?;
    drop(held);
    // Told, not assumed: opening may have raised both. Pseudo-terminals have neither.
    let states = [
        ("DTR", settings.dtr, port.write_data_terminal_ready(settings.dtr)),
        ("RTS", settings.rts, port.write_request_to_send(settings.rts)),
    ];
    let states = states.map(|(name, on, set)| match set {
        Ok(()) if on => format!("{name} on"),
        Ok(()) => format!("{name} off"),
        Err(_) => format!("no {name} here"),
    });
    // What an earlier conversation left behind is no answer to this one. A port that can't forget may still be used:
    // drivers resynchronise.
    let _ = port.clear(ClearBuffer::All);
    Ok(Link::over(port, format!("{named} ({})", states.join(", ")), LinkDown::Unplugged))
}

/// The probe just succeeded, so only a race or the port's settings are left.
fn not_opened(path: &str, e: &tokio_serial::Error) -> Down {
    let cause = match e.kind() {
        tokio_serial::ErrorKind::NoDevice => LinkDown::Busy,
        tokio_serial::ErrorKind::Io(kind) => sys::refused_by(&kind.into()),
        _ => LinkDown::Other,
    };
    Down::new(cause, format!("{path}: {e}"))
}

async fn tcp(host: &str, port: u16, named: String) -> Result<Link, Down> {
    let addresses: Vec<_> = match tokio::net::lookup_host((host, port)).await {
        Ok(found) => found.collect(),
        Err(e) => return Err(Down::new(LinkDown::Absent, format!("{named}: {e}"))),
    };
    let mut down = Down::new(LinkDown::Absent, format!("{named}: no such host"));
    for address in addresses {
        match tokio::time::timeout(CONNECT, TcpStream::connect(address)).await {
            Ok(Ok(stream)) => {
                // Frames are small and answers are timed. A stream that refuses this still works.
                let _ = stream.set_nodelay(true);
                return Ok(Link::over(stream, named, LinkDown::Closed));
            }
            Ok(Err(e)) => down = Down::new(sys::refused_by(&e), format!("{named}: {e}")),
            Err(_) => {
                let detail = format!("{named}: no answer from {address} within {} s", CONNECT.as_secs());
                down = Down::new(LinkDown::Absent, detail);
            }
        }
    }
    Err(down)
}

//! How a user names a link, for example `serial:/dev/ttyUSB0@115200`.
//!
//! Not here: whether there is such a port (see `open`).
use std::{fmt, str::FromStr};

/// A link as the user wrote it.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub enum LinkSpec {
    /// A line that bytes run over.
    Line(LineSpec),
    /// `sim:` or `sim:NAME`: the bundled simulator in this process; what follows the colon.
    Sim(String),
    /// `display:`: no line at all, a person reads the unit's display.
    Display,
}

/// A line that bytes run over.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub enum LineSpec {
    /// `serial:PATH[@BAUD[,8N1]][,dtr=on|off][,rts=on|off]`
    Serial {
        /// The port's path, or its name on Windows (`COM3`).
        path: String,
        /// Speed and line states.
        settings: SerialSettings,
    },
    /// `usb:VID:PID[:SERIAL][@BAUD[,8N1]][,dtr=on|off][,rts=on|off]`
    Usb {
        /// Vendor id (four hexadecimal digits when written).
        vid: u16,
        /// Product id.
        pid: u16,
        /// The serial number, where several alike may be plugged in.
        serial: Option<String>,
        /// Speed and line states.
        settings: SerialSettings,
    },
    /// `tcp:HOST:PORT`
    Tcp {
        /// Name or address; an IPv6 address stands in brackets when written.
        host: String,
        /// Port, not 0.
        port: u16,
    },
    /// `file:PATH`: a file that another program is writing, row by row.
    File {
        /// Its path.
        path: String,
    },
}

/// Speed, form of a byte and line states of a serial port.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct SerialSettings {
    /// Bits per second, > 0.
    pub baud: u32,
    /// How a byte stands on the line.
    pub byte: ByteForm,
    /// Data terminal ready: raised while the port is open.
    pub dtr: bool,
    /// Request to send: raised while the port is open.
    pub rts: bool,
}
impl Default for SerialSettings {
    fn default() -> Self {
        Self { baud: 115_200, byte: ByteForm::default(), dtr: true, rts: true }
    }
}

/// How a byte stands on a serial line: `8N1`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct ByteForm {
    /// Data bits, 5 to 8.
    pub data: u8,
    /// Parity.
    pub parity: Parity,
    /// Two stop bits and not one.
    pub two_stops: bool,
}
impl Default for ByteForm {
    fn default() -> Self {
        Self { data: 8, parity: Parity::None, two_stops: false }
    }
}
impl ByteForm {
    /// Reads `8N1`.
    fn parse(text: &str) -> Option<Self> {
        let [data @ b'5'..=b'8', parity, stops @ (b'1' | b'2')] = *text.as_bytes() else { return None };
        let parity = match parity.to_ascii_uppercase() {
            b'N' => Parity::None,
            b'E' => Parity::Even,
            b'O' => Parity::Odd,
            _ => return None,
        };
        Some(Self { data: data - b'0', parity, two_stops: stops == b'2' })
    }
}
impl fmt::Display for ByteForm {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let parity = match self.parity {
            Parity::None => 'N',
            Parity::Even => 'E',
            Parity::Odd => 'O',
        };
        write!(f, "{}{parity}{}", self.data, if self.two_stops { 2 } else { 1 })
    }
}

/// Parity of a byte on a serial line.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Parity {
    /// None.
    None,
    /// Even.
    Even,
    /// Odd.
    Odd,
}

/// Why a text does not name a link.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("`{text}` does not name a link: {why}")]
pub struct SpecError {
    /// The text.
    pub text: String,
    /// What is wrong with it.
    pub why: String,
    /// What to write instead.
    pub remedy: &'static str,
}

const FORMS: &str = "write serial:PATH[@BAUD], usb:VID:PID[:SERIAL][@BAUD], tcp:HOST:PORT, file:PATH, sim: or display:";
const SERIAL: &str =
    "write serial:PATH[@BAUD], for example serial:/dev/ttyUSB0@115200, serial:/dev/ttyUSB0@9600,8E1 or serial:COM3";
const USB: &str = "write usb:VID:PID[:SERIAL] with four hexadecimal digits each, for example usb:1209:0001; \
                   `plumeline ports` lists what is plugged in";
const FILE: &str = "write file:PATH, the file that a logger is writing, for example file:readings.csv";
const TCP: &str = "write tcp:HOST:PORT, for example tcp:127.0.0.1:5000 or tcp:[::1]:5000";

impl LinkSpec {
    /// Reads a link as a user writes it.
    ///
    /// # Errors
    /// [`SpecError`] says what is wrong and what to write.
    pub fn parse(text: &str) -> Result<Self, SpecError> {
        let fail = |why: String, remedy| SpecError { text: text.into(), why, remedy };
        let Some((kind, rest)) = text.split_once(':') else {
            return Err(fail("it does not begin with a kind of link and a colon".into(), FORMS));
        };
        match kind {
            "serial" => serial(rest).map_err(|why| fail(why, SERIAL)).map(Self::Line),
            "usb" => usb(rest).map_err(|why| fail(why, USB)).map(Self::Line),
            "tcp" => tcp(rest).map_err(|why| fail(why, TCP)).map(Self::Line),
            "file" => file(rest).map_err(|why| fail(why, FILE)).map(Self::Line),
            "sim" => Ok(Self::Sim(rest.into())),
            "display" if rest.is_empty() => Ok(Self::Display),
            "display" => Err(fail("nothing may follow `display:`".into(), "write display:")),
            _ => Err(fail(format!("there is no kind of link `{kind}`"), FORMS)),
        }
    }
}
impl FromStr for LinkSpec {
    type Err = SpecError;
    fn from_str(s: &str) -> Result<Self, SpecError> {
        Self::parse(s)
    }
}

fn serial(rest: &str) -> Result<LineSpec, String> {
    let (path, settings) = settings(rest)?;
    if path.is_empty() {
        return Err("the port's path is missing".into());
    }
    if path.contains('\0') {
        return Err("a path can't contain a zero character".into());
    }
    Ok(LineSpec::Serial { path: path.into(), settings })
}

fn file(path: &str) -> Result<LineSpec, String> {
    if path.is_empty() {
        return Err("the file's path is missing".into());
    }
    if path.contains('\0') {
        return Err("a path can't contain a zero character".into());
    }
    Ok(LineSpec::File { path: path.into() })
}

fn usb(rest: &str) -> Result<LineSpec, String> {
    let (rest, settings) = settings(rest)?;
    let mut parts = rest.splitn(3, ':');
    let mut id = |what: &str| match parts.next() {
        Some(s) if s.len() == 4 && s.bytes().all(|b| b.is_ascii_hexdigit()) => {
            u16::from_str_radix(s, 16).map_err(|e| e.to_string())
        }
        Some(s) => Err(format!("the {what} id `{s}` is not four hexadecimal digits")),
        None => Err(format!("the {what} id is missing")),
    };
    let (vid, pid) = (id("vendor")?, id("product")?);
    let serial = parts.next().map(String::from);
    if serial.as_deref() == Some("") {
        return Err("the serial number after the last colon is missing".into());
    }
    Ok(LineSpec::Usb { vid, pid, serial, settings })
}

fn tcp(rest: &str) -> Result<LineSpec, String> {
    let (host, port) = rest.rsplit_once(':').ok_or("the port number is missing")?;
    let bare = host.strip_prefix('[').and_then(|h| h.strip_suffix(']')).unwrap_or(host);
    if bare.is_empty() {
        return Err("the host is missing".into());
    }
    if bare.len() == host.len() && host.contains(':') {
        return Err("an IPv6 address must stand in brackets".into());
    }
    match port.parse() {
        Ok(0) | Err(_) => Err(format!("`{port}` is not a port number from 1 to 65535")),
        Ok(port) => Ok(LineSpec::Tcp { host: bare.into(), port }),
    }
}

/// Splits `[@BAUD[,8N1]][,dtr=..][,rts=..]` off the end.
fn settings(mut text: &str) -> Result<(&str, SerialSettings), String> {
    let mut settings = SerialSettings::default();
    while let Some((before, option)) = text.rsplit_once(',') {
        let target = match option.split_once('=') {
            Some(("dtr", _)) => &mut settings.dtr,
            Some(("rts", _)) => &mut settings.rts,
            // Behind a speed; else a comma may be part of a path or a serial number.
            None if before.contains('@') && before.rsplit('@').next().is_some_and(|b| b.parse::<u32>().is_ok()) => {
                settings.byte = ByteForm::parse(option)
                    .ok_or_else(|| format!("`{option}` is no form of a byte, such as 8N1, 8E1 or 7E2"))?;
                text = before;
                continue;
            }
            _ => break,
        };
        *target = match &option[4..] {
            "on" => true,
            "off" => false,
            other => return Err(format!("`{other}` is neither on nor off")),
        };
        text = before;
    }
    if let Some((before, baud)) = text.rsplit_once('@') {
        settings.baud = match baud.parse() {
            Ok(0) | Err(_) => return Err(format!("`{baud}` is not a speed in bits per second")),
            Ok(baud) => baud,
        };
        text = before;
    }
    Ok((text, settings))
}

impl fmt::Display for SerialSettings {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "@{}", self.baud)?;
        if self.byte != ByteForm::default() {
            write!(f, ",{}", self.byte)?;
        }
        for (name, on) in [("dtr", self.dtr), ("rts", self.rts)] {
            if !on {
                write!(f, ",{name}=off")?;
            }
        }
        Ok(())
    }
}
impl fmt::Display for LineSpec {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Serial { path, settings } => write!(f, "serial:{path}{settings}"),
            Self::Usb { vid, pid, serial, settings } => {
                write!(f, "usb:{vid:04x}:{pid:04x}")?;
                if let Some(serial) = serial {
                    write!(f, ":{serial}")?;
                }
                settings.fmt(f)
            }
            Self::Tcp { host, port } if host.contains(':') => write!(f, "tcp:[{host}]:{port}"),
            Self::Tcp { host, port } => write!(f, "tcp:{host}:{port}"),
            Self::File { path } => write!(f, "file:{path}"),
        }
    }
}
impl fmt::Display for LinkSpec {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Line(line) => line.fmt(f),
            Self::Sim(name) => write!(f, "sim:{name}"),
            Self::Display => f.write_str("display:"),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn line(text: &str) -> LineSpec {
        match LinkSpec::parse(text) {
            Ok(LinkSpec::Line(line)) => line,
            other => panic!("{text}: {other:?}"),
        }
    }

    #[test]
    fn reads_every_form() {
        let fast = SerialSettings { baud: 9600, ..Default::default() };
        let quiet = SerialSettings { dtr: false, rts: false, ..fast };
        let serial = |path: &str, settings| LineSpec::Serial { path: path.into(), settings };
        assert_eq!(line("serial:/dev/ttyUSB0@9600"), serial("/dev/ttyUSB0", fast));
        assert_eq!(line("serial:/dev/ttyUSB0"), serial("/dev/ttyUSB0", SerialSettings::default()));
        assert_eq!(line("serial:COM3@9600,dtr=off,rts=off"), serial("COM3", quiet));
        assert_eq!(line("serial:/tmp/a,b@9600"), serial("/tmp/a,b", fast));
        let even = ByteForm { data: 8, parity: Parity::Even, two_stops: false };
        let modbus = SerialSettings { baud: 19_200, byte: even, ..Default::default() };
        assert_eq!(line("serial:/dev/x@19200,8E1"), serial("/dev/x", modbus));
        let two = ByteForm { data: 7, parity: Parity::Odd, two_stops: true };
        assert_eq!(
            line("serial:/dev/x@9600,7o2,dtr=off,rts=off"),
            serial("/dev/x", SerialSettings { byte: two, ..quiet })
        );
        assert_eq!(line("serial:/dev/x@9600,7o2").to_string(), "serial:/dev/x@9600,7O2");
        let usb = |serial: Option<&str>, settings| LineSpec::Usb {
            vid: 0x1209,
            pid: 0xA1,
            serial: serial.map(Into::into),
            settings,
        };
        assert_eq!(line("usb:1209:00a1"), usb(None, SerialSettings::default()));
        assert_eq!(line("usb:1209:00A1:S:1@9600"), usb(Some("S:1"), fast));
        assert_eq!(line("tcp:localhost:5000"), LineSpec::Tcp { host: "localhost".into(), port: 5000 });
        assert_eq!(line("tcp:[::1]:5000"), LineSpec::Tcp { host: "::1".into(), port: 5000 });
        assert_eq!(line("file:C:\\log,1.csv"), LineSpec::File { path: "C:\\log,1.csv".into() });
        assert_eq!(LinkSpec::parse("sim:"), Ok(LinkSpec::Sim(String::new())));
        assert_eq!(LinkSpec::parse("display:"), Ok(LinkSpec::Display));
    }

    #[test]
    fn says_what_is_wrong_and_what_to_write() {
        let cases = [
            ("", "kind of link"),
            ("/dev/ttyUSB0", "kind of link"),
            ("com:3", "no kind of link `com`"),
            ("serial:", "path is missing"),
            ("serial:@9600", "path is missing"),
            ("serial:/dev/x@fast", "`fast` is not a speed"),
            ("serial:/dev/x@0", "`0` is not a speed"),
            ("serial:/dev/x,dtr=yes", "`yes` is neither"),
            ("serial:/dev/x@9600,9N1", "`9N1` is no form of a byte"),
            ("serial:/dev/x@9600,8X1", "8N1, 8E1"),
            ("usb:1209", "product id is missing"),
            ("usb:12091:0001", "four hexadecimal"),
            ("usb:1209:0001:", "serial number after"),
            ("file:", "path is missing"),
            ("tcp:host", "port number is missing"),
            ("tcp::5000", "host is missing"),
            ("tcp:host:0", "1 to 65535"),
            ("tcp:host:65536", "1 to 65535"),
            ("tcp:::1:5000", "brackets"),
            ("display:now", "nothing may follow"),
        ];
        for (text, expected) in cases {
            let e = LinkSpec::parse(text).unwrap_err();
            assert!(e.to_string().contains(expected), "{text}: {e}");
            assert!(e.remedy.starts_with("write "), "{text}: {}", e.remedy);
        }
    }

    proptest! {
        #[test]
        fn any_text_is_read_or_refused_and_what_is_read_is_written_alike(text in "(serial|usb|tcp|file|sim|x)?:?\\PC{0,30}") {
            if let Ok(spec) = LinkSpec::parse(&text) {
                prop_assert_eq!(LinkSpec::parse(&spec.to_string()), Ok(spec));
            }
        }
    }
}

//! The one address at which a page is served. Not here: what is served there.
use std::net::{IpAddr, Ipv4Addr, SocketAddr, UdpSocket};

/// The port, where none is given; if another program has it, any other one.
pub const PORT: u16 = 8480;

/// Where to serve: `IP`, `IP:PORT`, or the address by which this computer reaches its network.
///
/// # Errors
/// Cause and remedy.
pub fn parse(text: Option<&str>) -> Result<SocketAddr, (String, String)> {
    let Some(text) = text.filter(|t| !t.is_empty()) else {
        let ip = own().ok_or_else(|| {
            let remedy = "join the network that the phones are in, or name an address: --page=127.0.0.1 serves this computer alone";
            ("this computer is in no network, so there is no address to serve the page at".to_owned(), remedy.to_owned())
        })?;
        return Ok(SocketAddr::new(ip, PORT));
    };
    let address = text.parse().or_else(|_| text.parse::<IpAddr>().map(|ip| SocketAddr::new(ip, PORT)));
    match address {
        Err(_) => Err((
            format!("`{text}` is no address"),
            "say an IP address, with :PORT if you like, as in 192.168.1.20:8480".into(),
        )),
        Ok(a) if a.ip().is_unspecified() || a.ip().is_multicast() => Err((
            format!("`{text}` is not one address of this computer"),
            "name the one by which the phones reach it: the page is served there and nowhere else".into(),
        )),
        Ok(a) => Ok(a),
    }
}

/// The address that packets to elsewhere would leave by. Nothing is sent: 192.0.2.1 is kept for documents (RFC 5737).
fn own() -> Option<IpAddr> {
    let socket = UdpSocket::bind((Ipv4Addr::UNSPECIFIED, 0)).ok()?;
    socket.connect((Ipv4Addr::new(192, 0, 2, 1), 9)).ok()?;
    socket.local_addr().ok().map(|a| a.ip()).filter(|ip| !ip.is_unspecified())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_address_or_none() {
        assert_eq!(parse(Some("127.0.0.1")).unwrap(), SocketAddr::from(([127, 0, 0, 1], PORT)));
        assert_eq!(parse(Some("127.0.0.1:9")).unwrap().port(), 9);
        assert_eq!(parse(Some("[::1]:9")).unwrap().port(), 9);
        for bad in ["0.0.0.0", "0.0.0.0:80", "[::]:80", "224.0.0.1", "host", "1.2.3.4:99999", "http://1.2.3.4"] {
            assert!(parse(Some(bad)).is_err(), "{bad}");
        }
    }
}

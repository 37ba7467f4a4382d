//! `plumeline ports`: which serial and USB ports there are, and how to name each.
use crate::args::Ports;
use plumeline_link::ports::{self, PortInfo, Root};
use plumeline_runtime::{
    failure::{Exit, Failure},
    show::print_result,
};
use serde_json::{Value, json};
use std::path::Path;

/// The tree that ports are looked for in.
pub fn root(path: Option<&Path>) -> Root {
    path.map_or_else(Root::system, Root::at)
}

/// `plumeline ports`
pub fn ports(args: &Ports) -> Result<Exit, Failure> {
    let ports = ports::list(&root(args.root.as_deref())).map_err(|e| {
        Failure::trouble(format!("the ports can't be listed: {e}"), "name the port itself: --port serial:PATH")
    })?;
    if args.json {
        let all: Vec<Value> = ports.iter().map(|port| to_json(port, &ports)).collect();
        print_result(&format!("{:#}", json!({ "format": 1, "ports": all })));
        return Ok(Exit::Pass);
    }
    if ports.is_empty() {
        print_result("no serial port is there");
        print_result(
            "  next   plug the adapter in and look again; a pseudo-terminal is never listed: --port serial:PATH",
        );
    }
    for port in &ports {
        print_result(&port.to_string());
        print_result(&format!("  name   --port {}", port.spec(&ports)));
        if let Some(down) = &port.hindrance {
            print_result(&format!("  can't be opened now: {down}"));
            print_result(&format!("  next   {}", down.remedy()));
        }
    }
    Ok(Exit::Pass)
}

fn to_json(port: &PortInfo, among: &[PortInfo]) -> Value {
    let usb = port.usb.as_ref().map(|usb| {
        json!({
            "vid": format!("{:04x}", usb.vid),
            "pid": format!("{:04x}", usb.pid),
            "serial": usb.serial,
            "manufacturer": usb.manufacturer,
            "product": usb.product,
            "interface": usb.interface,
            "place": usb.place,
        })
    });
    let hindrance = port
        .hindrance
        .as_ref()
        .map(|down| json!({ "cause": down.cause, "detail": down.detail, "remedy": down.remedy() }));
    json!({
        "path": port.path.display().to_string(),
        "name": port.spec(among),
        "driver": port.driver,
        "usb": usb,
        "owner": port.owner,
        "hindrance": hindrance,
    })
}

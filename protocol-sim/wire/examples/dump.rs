//! Prints every sample message as `rule payload-in-hexadecimal`, and a settings image, for checking against the CDDL.
#[path = "../tests/common/mod.rs"]
mod common;
use plumewire::image;

fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|b| format!("{b:02x}")).collect()
}

fn main() -> Result<(), Box<dyn std::error::Error>> {
    for (rule, message) in common::samples() {
        let plain = common::unstuffed(&common::on_the_line(&message, 1, 1));
        println!("{rule} {}", hex(plumewire::Frame::parse(&plain)?.payload));
    }
    let mut out = [0; 256];
    let mut writer = image::ImageWriter::new(&mut out, 2)?;
    let threshold = image::Decimal::parse("0.25").ok_or("not a decimal")?;
    writer.item(&image::Item {
        key: "alarm.1.threshold",
        value: image::Value::Number(threshold),
        unit: Some("%/m"),
    })?;
    writer.item(&image::Item { key: "inlet.1.in-use", value: image::Value::Switch(true), unit: None })?;
    let len = writer.finish()?;
    println!("settings-image {}", hex(out.get(..len).unwrap_or_default()));
    Ok(())
}

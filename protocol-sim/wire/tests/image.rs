//! The settings image: what is refused, with its place, and that any image comes back as written.
#![allow(clippy::unwrap_used, reason = "helpers of tests may panic")]
mod common;
use plumewire::{
    EncodeError, Fault,
    image::{Decimal, ImageWriter, Item, Items, Value, is_key},
};
use proptest::prelude::*;

fn read(hex: &str) -> Result<usize, (usize, Fault)> {
    let bytes = common::from_hex(hex);
    let items = Items::new(&bytes).and_then(|items| items.collect::<Result<Vec<_>, _>>());
    items.map(|items| items.len()).map_err(|e| (e.at, e.fault))
}

#[test]
fn what_is_not_an_image_is_refused_with_its_place() {
    assert_eq!(read("80"), Ok(0));
    // [["a", 1, null], ["b", 0.25, "s"]]
    assert_eq!(read("8283616101f6836162c48221181961 73".replace(' ', "").as_str()), Ok(2));
    for (hex, at, fault) in [
        ("", 0, Fault::Truncated),
        ("a0", 0, Fault::Type),
        ("8000", 1, Fault::Trailing),
        ("9fff", 0, Fault::Indefinite),
        // Items of two and of four parts.
        ("8182616101", 1, Fault::Range),
        ("8184616101f6f6", 1, Fault::Range),
        // The same key twice, and keys that descend.
        ("8283616101f683616101f6", 7, Fault::KeyRepeated),
        ("8283616201f683616101f6", 7, Fault::KeyOrder),
        // Keys: not text, empty, with a capital, with an empty part.
        ("81830101f6", 2, Fault::Type),
        ("81836001f6", 2, Fault::Range),
        ("8183614101f6", 2, Fault::Range),
        ("818362612e01f6", 2, Fault::Range),
        // Values: null, an array, a map, a float; a unit that is a number.
        ("81836161f6f6", 4, Fault::Type),
        ("8183616180f6", 4, Fault::Type),
        ("81836161a0f6", 4, Fault::Type),
        ("81836161f93c00f6", 4, Fault::Float),
        ("8183616101 01", 5, Fault::Type),
        // An integer beyond 64 bits with a sign.
        ("818361611b8000000000000000f6", 4, Fault::Range),
        // Decimals: exponent 0, +1, -19; 10 divides the mantissa; three parts; another tag.
        ("81836161c4820001f6", 4, Fault::Range),
        ("81836161c4820101f6", 4, Fault::Range),
        ("81836161c4823201f6", 4, Fault::Range),
        ("81836161c482200af6", 4, Fault::Range),
        ("81836161c482 2000f6", 4, Fault::Range),
        ("81836161c4832001 01f6", 4, Fault::Range),
        ("81836161c5822001f6", 4, Fault::Tag),
    ] {
        assert_eq!(read(&hex.replace(' ', "")), Err((at, fault)), "{hex}");
    }
}

#[test]
fn the_writer_keeps_order_count_and_room() {
    let item = |key| Item { key, value: Value::Switch(true), unit: None };
    let mut out = [0; 64];
    let mut w = ImageWriter::new(&mut out, 2).unwrap();
    w.item(&item("b")).unwrap();
    assert_eq!(w.item(&item("b")), Err(EncodeError::KeyOrder));
    assert_eq!(w.item(&item("a")), Err(EncodeError::KeyOrder));
    assert_eq!(w.item(&item("No")), Err(EncodeError::KeyOrder));
    w.item(&item("b.1")).unwrap();
    assert_eq!(w.item(&item("c")), Err(EncodeError::TooLong), "one more than announced");
    assert!(w.finish().is_ok());
    let mut w = ImageWriter::new(&mut out, 2).unwrap();
    w.item(&item("a")).unwrap();
    assert_eq!(w.finish(), Err(EncodeError::KeyOrder), "one is missing");
    let mut w = ImageWriter::new(&mut out[..3], 1).unwrap();
    assert_eq!(w.item(&item("a")), Err(EncodeError::TooLong));
}

#[test]
fn keys_and_decimals_of_the_right_form() {
    let long = "k".repeat(64);
    assert!(["a", "alarm.1.threshold", "in-use", "x.0", &long].into_iter().all(is_key));
    let longer = "k".repeat(65);
    assert!(!["", ".", "a.", ".a", "a..b", "A", "a b", "ä", &longer].into_iter().any(is_key));
    for bad in ["", "-", ".", "1.", ".5", "1e3", "+1", "--1", "1.2.3", "0x1", "9223372036854775808", "NaN", " 1"] {
        assert_eq!(Decimal::parse(bad), None, "{bad}");
    }
    assert_eq!(Decimal::parse("0.0000000000000000001"), None, "19 places");
    for (text, same) in
        [("-0.50", "-0.5"), ("0.0", "0"), ("120", "120"), ("-9223372036854775808", "-9223372036854775808")]
    {
        assert_eq!(Decimal::parse(text).unwrap().to_string(), same);
    }
}

fn any_value() -> impl Strategy<Value = (u8, bool, i64, u8, String, Vec<u8>)> {
    (0u8..4, any::<bool>(), any::<i64>(), 0u8..=18, ".{0,20}", prop::collection::vec(any::<u8>(), 0..40))
}

proptest! {
    #[test]
    fn any_image_comes_back_as_written(
        parts in prop::collection::btree_map("[a-z0-9-]{1,8}(\\.[a-z0-9-]{1,8}){0,3}", (any_value(), prop::option::of("[%/a-zA-Z]{1,6}")), 0..20)
    ) {
        let items: Vec<Item<'_>> = parts
            .iter()
            .map(|(key, ((kind, on, n, places, text, bytes), unit))| Item {
                key,
                value: match kind {
                    0 => Value::Switch(*on),
                    1 => Value::Number(Decimal::new(*n, *places).unwrap()),
                    2 => Value::Text(text),
                    _ => Value::Bytes(bytes),
                },
                unit: unit.as_deref(),
            })
            .collect();
        let mut out = vec![0; 8192];
        let mut writer = ImageWriter::new(&mut out, items.len() as u32).unwrap();
        for item in &items {
            writer.item(item).unwrap();
        }
        let len = writer.finish().unwrap();
        let read: Vec<Item<'_>> = Items::new(&out[..len]).unwrap().collect::<Result<_, _>>().unwrap();
        prop_assert_eq!(read, items);
    }
}

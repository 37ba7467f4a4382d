//! A value of a setting as files write it: yes or no, a number, words, bytes as `{ hex = "00ff" }`, or a list of those.
//!
//! Not here: which of them fits where.
use crate::{
    error::{Kind, Problem, Source},
    written::Spanned,
};
use base16ct::lower::decode_vec;
use plumeline_detector::settings::Value;
use serde::{
    Deserialize, Deserializer,
    de::{Error, MapAccess, SeqAccess, Visitor},
};
use std::fmt;

/// A value before it is known what it is for.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum Any {
    One(Value),
    Each(Vec<Value>),
}

impl<'de> Deserialize<'de> for Any {
    fn deserialize<D: Deserializer<'de>>(d: D) -> Result<Self, D::Error> {
        struct AsWritten;
        impl<'de> Visitor<'de> for AsWritten {
            type Value = Any;
            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("true or false, a number, words in quotes, or { hex = \"00ff\" }")
            }
            fn visit_bool<E: Error>(self, v: bool) -> Result<Any, E> {
                Ok(Any::One(Value::Bool(v)))
            }
            fn visit_i64<E: Error>(self, v: i64) -> Result<Any, E> {
                Ok(Any::One(Value::Int(v)))
            }
            fn visit_f64<E: Error>(self, v: f64) -> Result<Any, E> {
                if v.is_finite() { Ok(Any::One(Value::Number(v))) } else { Err(E::custom("the number is not finite")) }
            }
            fn visit_str<E: Error>(self, v: &str) -> Result<Any, E> {
                Ok(Any::One(Value::Text(v.to_owned())))
            }
            fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<Any, A::Error> {
                match map.next_entry::<String, String>()? {
                    Some((key, hex))
                        if key == "hex" && decode_vec(&hex).is_ok() && map.next_key::<String>()?.is_none() =>
                    {
                        Ok(Any::One(Value::Opaque { hex }))
                    }
                    _ => Err(A::Error::custom("bytes are written as { hex = \"00ff\" }, two lower-case digits each")),
                }
            }
            fn visit_seq<A: SeqAccess<'de>>(self, mut seq: A) -> Result<Any, A::Error> {
                let mut all = Vec::new();
                while let Some(v) = seq.next_element()? {
                    match v {
                        Any::One(v) => all.push(v),
                        Any::Each(_) => return Err(A::Error::custom("a list within a list has no meaning here")),
                    }
                }
                Ok(Any::Each(all))
            }
        }
        d.deserialize_any(AsWritten)
    }
}

/// The one value at a place where no list can stand.
pub(crate) fn one(source: &Source<'_>, any: &Spanned<Any>) -> Result<Value, Problem> {
    match any.as_ref() {
        Any::One(v) => Ok(v.clone()),
        Any::Each(_) => Err(source.problem(Kind::WrongType, any.span(), "a list can't stand here", "write one value")),
    }
}

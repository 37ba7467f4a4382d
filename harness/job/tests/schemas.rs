//! The schemas under `docs/schemas` are those of the types that read the files. Run with
//! `PLUMELINE_WRITE_SCHEMAS=1` to write them anew.
use std::{env, fs, path::Path};

#[test]
fn docs_hold_the_current_schemas() {
    let dir = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../docs/schemas");
    for (name, text) in plumeline_job::schema::all() {
        let refers = text.split("\"$ref\": \"#/$defs/").skip(1).filter_map(|t| t.split('"').next());
        let schema: serde_json::Value = serde_json::from_str(&text).unwrap();
        for to in refers {
            assert!(schema["$defs"][to].is_object(), "{name}: {to} is not defined");
        }
        let path = dir.join(name);
        if env::var_os("PLUMELINE_WRITE_SCHEMAS").is_some() {
            fs::write(&path, &text).unwrap();
        }
        let kept = fs::read_to_string(&path).unwrap_or_default();
        assert!(kept == text, "{name} is out of date: run with PLUMELINE_WRITE_SCHEMAS=1");
    }
}

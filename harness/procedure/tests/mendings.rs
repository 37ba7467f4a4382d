//! `docs/evidence.md` holds the table of what is proven again as it is declared. Run with `PLUMELINE_WRITE_MENDINGS=1` to write it.
use plumeline_procedure::mending::MENDINGS;
use std::{env, fs, path::Path};

const HEAD: &str = "\n## What is proven again when something was put right\n\n\
| word | what was done | proven again, as far as it was done before |\n|---|---|---|\n";

#[test]
fn the_document_holds_the_table() {
    let row = |m: &plumeline_procedure::mending::Mending| {
        let stages: Vec<&str> = m.voids().iter().map(|s| s.name()).collect();
        format!("| `{}` | {} | {} |\n", m.word, m.what, stages.join(", "))
    };
    let table = HEAD.to_owned() + &MENDINGS.iter().map(row).collect::<String>();
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../docs/evidence.md");
    let text = fs::read_to_string(&path).unwrap();
    if env::var_os("PLUMELINE_WRITE_MENDINGS").is_some() {
        let before = text.split(HEAD.lines().nth(1).unwrap()).next().unwrap().trim_end();
        fs::write(&path, format!("{before}\n{table}")).unwrap();
        return;
    }
    assert!(text.ends_with(&table), "docs/evidence.md is out of date: run with PLUMELINE_WRITE_MENDINGS=1");
}

//! Settings of one unit, or of two side by side, by what they mean.
use super::columns::{paragraph, push, row};
use crate::words::clean;
use plumeline_carry::{Line, meaning::Group};

/// Settings listed by group, at most `width` characters a line.
pub fn listing_text(title: &str, lines: &[Line], width: usize) -> String {
    let width = width.max(super::NARROWEST);
    let mut out = String::new();
    paragraph(&mut out, "", &clean(title), width);
    let (what, key) = ((width - 6) * 32 / 100, (width - 6) * 28 / 100);
    let value = width - 6 - what - key;
    let mut group = None;
    for l in lines {
        heading(&mut out, &mut group, l.group);
        let (k, v) = l.a.clone().unwrap_or_default();
        row(&mut out, 2, &[(vec![clean(&l.what)], what), (vec![clean(&v)], value), (vec![clean(&k)], key)]);
    }
    out
}

/// Two sets of settings side by side; what is the same only if `all`. At most `width` characters a line.
pub fn comparison_text(a: &str, b: &str, lines: &[Line], all: bool, width: usize) -> String {
    let width = width.max(super::NARROWEST);
    let mut out = String::new();
    paragraph(&mut out, "A  ", &clean(a), width);
    paragraph(&mut out, "B  ", &clean(b), width);
    let same = lines.iter().filter(|l| l.same).count();
    let (differ, only) = lines
        .iter()
        .filter(|l| !l.same)
        .fold((0, 0), |(d, o), l| if l.a.is_some() && l.b.is_some() { (d + 1, o) } else { (d, o + 1) });
    push(&mut out, &format!("{same} the same, {differ} different, {only} on one side only"));
    let what = (width - 8) * 30 / 100;
    let side = (width - 8 - what) / 2;
    let mut group = None;
    for l in lines.iter().filter(|l| all || !l.same) {
        heading(&mut out, &mut group, l.group);
        let cell = |v: &Option<(String, String)>, more: Option<&String>| match v {
            None => vec!["-".to_owned()],
            Some((key, value)) => {
                let more = more.map_or_else(String::new, |m| format!(" = {}", clean(m)));
                vec![format!("{}{more}", clean(value)), format!("({})", clean(key))]
            }
        };
        let mark = if l.same { " " } else { "*" };
        row(
            &mut out,
            0,
            &[
                (vec![mark.to_owned()], 1),
                (vec![clean(&l.what)], what),
                (cell(&l.a, None), side),
                (cell(&l.b, l.converted.as_ref()), side),
            ],
        );
    }
    out
}

fn heading(out: &mut String, now: &mut Option<Group>, group: Group) {
    if *now != Some(group) {
        *now = Some(group);
        push(out, &format!("\n{}", group.title()));
    }
}

//! How much room a text takes in a chart. Not here: how it is written (`svg`).

/// Width of a character of the charts' 12 px text, px; a little generous.
const CHARACTER: f64 = 6.6;

/// About how wide a text is, px.
pub(crate) fn text_width(s: &str) -> f64 {
    s.chars().count() as f64 * CHARACTER
}

/// A text cut to fit into a width, px.
pub(crate) fn fitted(s: &str, width: f64) -> String {
    let room = (width / CHARACTER + 1e-9).max(0.0) as usize;
    if s.chars().count() <= room {
        return s.to_owned();
    }
    match room {
        0 => String::new(),
        _ => s.chars().take(room - 1).chain(['…']).collect(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn long_texts_are_cut() {
        assert_eq!(fitted("abcdef", 6.6 * 6.0), "abcdef");
        assert_eq!(fitted("abcdefg", 6.6 * 6.0), "abcde…");
        assert_eq!(fitted("abc", 1.0), "");
    }
}

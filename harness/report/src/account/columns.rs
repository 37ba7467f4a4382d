//! Text in columns whose cells are folded between words, for terminals and plain files.
//!
//! Not here: what stands in them.

/// Folds `text` to lines of at most `width` characters; longer words are cut.
pub(super) fn fold(text: &str, width: usize) -> Vec<String> {
    let width = width.max(4);
    let mut lines = Vec::new();
    let mut line = String::new();
    for word in text.split_whitespace() {
        let mut word: Vec<char> = word.chars().collect();
        if !line.is_empty() && line.chars().count() + 1 + word.len() > width {
            lines.push(std::mem::take(&mut line));
        }
        while word.len() > width {
            let rest = word.split_off(width);
            lines.push(word.into_iter().collect());
            word = rest;
        }
        if !line.is_empty() {
            line.push(' ');
        }
        line.extend(word);
    }
    if !line.is_empty() || lines.is_empty() {
        lines.push(line);
    }
    lines
}

/// A paragraph: `lead` before its first line, the others under the first word.
pub(super) fn paragraph(out: &mut String, lead: &str, text: &str, width: usize) {
    let indent = lead.chars().count();
    for (k, line) in fold(text, width.saturating_sub(indent)).into_iter().enumerate() {
        let lead = if k == 0 { lead.to_owned() } else { " ".repeat(indent) };
        push(out, &format!("{lead}{line}"));
    }
}

/// One row of a table: each cell is a list of paragraphs, folded to its column's width.
pub(super) fn row(out: &mut String, indent: usize, cells: &[(Vec<String>, usize)]) {
    let folded: Vec<Vec<String>> =
        cells.iter().map(|(cell, w)| cell.iter().flat_map(|p| fold(p, *w)).collect()).collect();
    let height = folded.iter().map(Vec::len).max().unwrap_or(0);
    for k in 0..height {
        let mut line = " ".repeat(indent);
        for (cell, (_, w)) in folded.iter().zip(cells) {
            let text = cell.get(k).map_or("", String::as_str);
            line.push_str(text);
            line.push_str(&" ".repeat(w.saturating_sub(text.chars().count()) + 2));
        }
        push(out, &line);
    }
}

/// A line without the blanks at its end.
pub(super) fn push(out: &mut String, line: &str) {
    out.push_str(line.trim_end());
    out.push('\n');
}

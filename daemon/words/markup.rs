//! Text on its way into a page or a mail: nothing in it is markup.

/// A text in which nothing is markup. Control characters become blanks (a line break stays), and marks that turn the
/// direction of writing are left out: with them a number could be shown backwards.
#[must_use]
pub fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            '\n' => out.push('\n'),
            '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}' => {}
            c if c.is_control() => out.push(' '),
            c => out.push(c),
        }
    }
    out
}

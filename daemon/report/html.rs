//! One printable page: plain texts come in, a whole HTML document goes out that needs nothing from anywhere and runs
//! nothing. Every text is escaped on its way in, so that no name or note can become markup.

mod web;

use std::ops::RangeInclusive;

use crate::words::escaped;

/// A page that is being written.
#[derive(Clone, Debug, Default)]
pub(super) struct Page {
    body: String,
}

/// An SVG element. Only `picture` makes one, and escapes what it writes into it.
pub(super) struct Drawing(pub(super) String);

pub(super) use web::{Choice, Field};

/// What stands in a cell of a table.
pub(super) struct Cell<'a> {
    /// The text.
    pub(super) text: &'a str,
    /// The column's name, shown in front of the text where the screen is too narrow for columns.
    pub(super) label: &'a str,
    /// Whether it is the head of its row.
    pub(super) head: bool,
    /// Whether it is a telephone number.
    pub(super) phone: bool,
}

impl Page {
    /// The title, in large letters.
    pub(super) fn title(&mut self, text: &str) {
        self.element("h1", text);
    }

    /// The heading of a part.
    pub(super) fn heading(&mut self, text: &str) {
        self.element("h2", text);
    }

    /// A paragraph; line breaks in it stay.
    pub(super) fn paragraph(&mut self, text: &str) {
        self.element("p", text);
    }

    /// A smaller paragraph.
    pub(super) fn small(&mut self, text: &str) {
        self.body.push_str("<p class=\"small\">");
        self.text(text);
        self.body.push_str("</p>\n");
    }

    /// A name and what belongs to it, on one line.
    pub(super) fn named(&mut self, name: &str, text: &str) {
        self.body.push_str("<p><b>");
        self.text(name);
        self.body.push_str("</b> ");
        self.text(text);
        self.body.push_str("</p>\n");
    }

    /// A name and a telephone number, which a phone dials when it is tapped.
    pub(super) fn phone(&mut self, name: &str, number: &str) {
        self.body.push_str("<p><b>");
        self.text(name);
        self.body.push_str("</b> ");
        self.number(number);
        self.body.push_str("</p>\n");
    }

    /// Everything that `inside` writes, in a frame.
    pub(super) fn framed(&mut self, class: &'static str, inside: impl FnOnce(&mut Self)) {
        self.body.push_str("<section class=\"");
        self.body.push_str(class);
        self.body.push_str("\">\n");
        inside(self);
        self.body.push_str("</section>\n");
    }

    /// A table with its head.
    pub(super) fn table(&mut self, columns: &[String], rows: &[Vec<String>]) {
        self.table_with_phones(columns, rows, None);
    }

    /// A table with its head, one column of which may be telephone numbers.
    pub(super) fn table_with_phones(
        &mut self,
        columns: &[String],
        rows: &[Vec<String>],
        phones: Option<usize>,
    ) {
        self.body.push_str("<table>\n<thead><tr>");
        for column in columns {
            self.element("th", column);
        }
        self.body.push_str("</tr></thead>\n<tbody>\n");
        for row in rows {
            self.body.push_str("<tr>");
            for (place, text) in row.iter().enumerate() {
                let label = columns.get(place).map_or("", String::as_str);
                self.cell(&Cell { text, label, head: place == 0, phone: phones == Some(place) });
            }
            self.body.push_str("</tr>\n");
        }
        self.body.push_str("</tbody>\n</table>\n");
    }

    fn cell(&mut self, cell: &Cell<'_>) {
        let tag = if cell.head { "th" } else { "td" };
        self.body.push_str(&format!("<{tag} data-name=\"{}\">", escaped(cell.label)));
        if cell.phone {
            self.number(cell.text);
        } else {
            self.text(cell.text);
        }
        self.body.push_str(&format!("</{tag}>"));
    }

    /// A drawing that was made by `picture`, with what it shows.
    pub(super) fn figure(&mut self, caption: &str, drawing: &Drawing) {
        self.body.push_str("<figure>\n<figcaption>");
        self.text(caption);
        self.body.push_str("</figcaption>\n");
        self.body.push_str(&drawing.0);
        self.body.push_str("\n</figure>\n");
    }

    fn element(&mut self, tag: &str, text: &str) {
        self.body.push_str(&format!("<{tag}>"));
        self.text(text);
        self.body.push_str(&format!("</{tag}>\n"));
    }

    fn number(&mut self, number: &str) {
        match dialled(number) {
            None => self.text(number),
            Some(dialled) => {
                self.body.push_str(&format!("<a href=\"tel:{dialled}\">"));
                self.text(number);
                self.body.push_str("</a>");
            }
        }
    }

    fn text(&mut self, text: &str) {
        self.body.push_str(&escaped(text));
    }

    /// The whole document.
    pub(super) fn document(self, language: &str, title: &str) -> String {
        format!(
            "<!doctype html>\n<html lang=\"{}\">\n<head>\n<meta charset=\"utf-8\">\n\
             <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n\
             <meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src 'unsafe-inline'\">\n\
             <title>{}</title>\n<style>\n{STYLE}</style>\n</head>\n<body>\n{}</body>\n</html>\n",
            escaped(language),
            escaped(title),
            self.body
        )
    }
}

/// What a phone dials for a number as people write it; `None` where that is not plain, because a wrong number at night
/// is worse than one to type: two numbers, `(0)` after a country's code, words.
fn dialled(number: &str) -> Option<String> {
    let number = number.trim();
    let (plus, rest) = number.strip_prefix('+').map_or(("", number), |rest| ("+", rest));
    let digits: String = rest.chars().filter(char::is_ascii_digit).collect();
    let plain = rest.chars().all(|letter| letter.is_ascii_digit() || " -.\u{a0}".contains(letter));
    (plain && DIGITS.contains(&digits.len())).then(|| format!("{plus}{digits}"))
}

/// From emergency numbers to the longest there are (ITU-T E.164).
const DIGITS: RangeInclusive<usize> = 3..=15;

const STYLE: &str = "\
@page { size: A4; margin: 10mm 11mm; }
html { background: #fff; color: #000; }
body { font: 10.5pt/1.35 sans-serif; max-width: 190mm; margin: 0 auto; padding: 8px; }
h1 { font-size: 1.5em; margin: 0 0 .1em; }
h2 { font-size: 1.1em; margin: .8em 0 .2em; border-bottom: 1px solid #000; break-after: avoid; }
p { margin: .2em 0; white-space: pre-line; overflow-wrap: anywhere; }
.small { font-size: .85em; }
.box { border: 2px solid #000; padding: .2em .6em .4em; margin: .5em 0; break-inside: avoid; }
.box h2 { border: 0; margin-top: .2em; }
.half { break-inside: avoid; }
table { border-collapse: collapse; width: 100%; margin: .3em 0; }
th, td { text-align: left; vertical-align: top; padding: .15em .5em .15em 0; border-bottom: 1px solid #999;
  font-weight: normal; white-space: pre-line; overflow-wrap: anywhere; }
thead th, tbody th { font-weight: bold; }
thead th { overflow-wrap: normal; }
tbody th { min-width: 5.6em; }
tr { break-inside: avoid; }
svg { width: 100%; height: auto; display: block; }
a { color: inherit; }
figcaption { font-weight: bold; }
figure { margin: .4em 0; break-inside: avoid; }
@media screen and (max-width: 600px) {
  body { font-size: 12pt; }
  table, tbody, tr, th, td { display: block; }
  thead { display: none; }
  tr { border-bottom: 1px solid #000; padding: .3em 0; }
  th, td { border: 0; padding: .1em 0; }
  td[data-name]:not([data-name=\"\"]):not(:empty)::before { content: attr(data-name) \": \"; font-weight: bold; }
  html:lang(fr) td[data-name]:not([data-name=\"\"]):not(:empty)::before { content: attr(data-name) \"\u{202f}: \"; }
  a { display: inline-block; padding: .3em 0; }
  svg { overflow: visible; }
  svg text { font-size: 16px; }
}
@media screen and (max-width: 420px) { svg text { font-size: 20px; } }
@media print { a { text-decoration: none; } body { padding: 0; font-size: 8.7pt; line-height: 1.24; } h2 { margin-top: .4em; } }
";

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_from_outside_becomes_markup() {
        let nasty = "<script>alert(1)</script> & \"x\" 'y' \u{202e}04\u{2066}\u{0}\r\nz";
        let mut page = Page::default();
        page.title(nasty);
        page.named(nasty, nasty);
        page.table(&[nasty.to_owned()], &[vec![nasty.to_owned(), nasty.to_owned()]]);
        let text = page.document("\"><script>", nasty);
        assert!(!text.contains("<script") && !text.contains('\u{202e}') && !text.contains('\u{0}'), "{text}");
        let mut page = Page::default();
        page.phone("Vet", "\"><script>1</script>");
        assert!(!page.document("en", "t").contains("<script"));
        // Only our own quotation marks stand in a tag.
        assert_eq!(escaped("a\" onload=\"x"), "a&quot; onload=&quot;x");
        assert_eq!(escaped("it's"), "it&#39;s");
    }

    #[test]
    fn only_what_is_plainly_one_number_is_dialled() {
        for (number, digits) in
            [("01 234 56-78", "012345678"), ("+43 1 234.5678", "+4312345678"), ("144", "144")]
        {
            assert_eq!(dialled(number).as_deref(), Some(digits), "{number}");
        }
        for number in [
            "",
            "01 234 / 235",
            "+43 (0)1 234",
            "555 0100, at night 555 0199",
            "1 + 2 345",
            "12",
            "1234567890123456",
        ] {
            assert_eq!(dialled(number), None, "{number}");
        }
    }
}

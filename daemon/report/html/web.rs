//! What a page on a screen has and paper has not: links, forms, parts that open, and its style from beside it. Every
//! text is escaped here too.

use super::Page;
use crate::words::escaped;

/// A field of a form.
pub(in crate::report) struct Field<'a> {
    /// What is asked for, in front of it.
    pub(in crate::report) label: &'a str,
    /// What it is called when it is sent.
    pub(in crate::report) name: &'static str,
    /// What it takes, as HTML: attributes of ours, never anything from outside.
    pub(in crate::report) takes: &'static str,
}

/// One of several things to choose from.
pub(in crate::report) struct Choice<'a> {
    /// What is sent.
    pub(in crate::report) value: &'a str,
    /// What is shown.
    pub(in crate::report) label: &'a str,
    /// Whether it is chosen already.
    pub(in crate::report) chosen: bool,
}

impl Page {
    /// What just came of something that was sent; a screen reader says it at once.
    pub(in crate::report) fn notice(&mut self, text: &str) {
        self.body.push_str("<p class=\"notice\" role=\"status\">");
        self.text(text);
        self.body.push_str("</p>\n");
    }

    /// The heading of a part of a part.
    pub(in crate::report) fn subheading(&mut self, text: &str) {
        self.element("h3", text);
    }

    /// A paragraph that stands out.
    pub(in crate::report) fn strong(&mut self, text: &str) {
        self.body.push_str("<p><strong>");
        self.text(text);
        self.body.push_str("</strong></p>\n");
    }

    /// Short lines, one under the other.
    pub(in crate::report) fn list(&mut self, lines: &[String]) {
        self.body.push_str("<ul>\n");
        for line in lines {
            self.element("li", line);
        }
        self.body.push_str("</ul>\n");
    }

    /// What happened at which time of a day, one under the other.
    pub(in crate::report) fn diary(&mut self, lines: &[(String, String)]) {
        self.body.push_str("<ul class=\"diary\">\n");
        for (time, line) in lines {
            self.body.push_str("<li><b>");
            self.text(time);
            self.body.push_str("</b> ");
            self.text(line);
            self.body.push_str("</li>\n");
        }
        self.body.push_str("</ul>\n");
    }

    /// Something to open.
    pub(in crate::report) fn details(&mut self, summary: &str, inside: impl FnOnce(&mut Self)) {
        self.body.push_str("<details>\n");
        self.element("summary", summary);
        inside(self);
        self.body.push_str("</details>\n");
    }

    /// A link that is as large as a button.
    pub(in crate::report) fn way(&mut self, href: &str, text: &str) {
        self.body.push_str(&format!("<p><a class=\"way\" href=\"{}\">", escaped(href)));
        self.text(text);
        self.body.push_str("</a></p>\n");
    }

    /// Links to the other pages.
    pub(in crate::report) fn nav(&mut self, links: &[(String, String)]) {
        self.body.push_str("<nav><ul>\n");
        for (href, text) in links {
            self.body.push_str(&format!("<li><a href=\"{}\">", escaped(href)));
            self.text(text);
            self.body.push_str("</a></li>\n");
        }
        self.body.push_str("</ul></nav>\n");
    }

    /// A form with what it sends unseen. `about` names it for a screen reader where several look alike.
    pub(in crate::report) fn form(
        &mut self,
        action: &'static str,
        about: &str,
        hidden: &[(&'static str, &str)],
        inside: impl FnOnce(&mut Self),
    ) {
        self.body.push_str(&format!("<form method=\"post\" action=\"{action}\""));
        if !about.is_empty() {
            self.body.push_str(&format!(" aria-label=\"{}\"", escaped(about)));
        }
        self.body.push_str(">\n");
        for (name, value) in hidden {
            let value = escaped(value);
            self.body.push_str(&format!("<input type=\"hidden\" name=\"{name}\" value=\"{value}\">\n"));
        }
        inside(self);
        self.body.push_str("</form>\n");
    }

    /// What sends a form.
    pub(in crate::report) fn button(&mut self, label: &str) {
        self.element("button", label);
    }

    /// One of several buttons that send a form, each with its own word.
    pub(in crate::report) fn answer(&mut self, name: &'static str, value: &str, label: &str, current: bool) {
        let current = if current { " aria-current=\"true\"" } else { "" };
        self.body.push_str(&format!("<button name=\"{name}\" value=\"{}\"{current}>", escaped(value)));
        self.text(label);
        self.body.push_str("</button>\n");
    }

    /// A field with its label.
    pub(in crate::report) fn field(&mut self, field: &Field<'_>) {
        self.body.push_str("<label>");
        self.text(field.label);
        self.body.push_str(&format!("<input name=\"{}\" {}></label>\n", field.name, field.takes));
    }

    /// A field for a longer text.
    pub(in crate::report) fn long_field(&mut self, field: &Field<'_>) {
        self.body.push_str("<label>");
        self.text(field.label);
        self.body
            .push_str(&format!("<textarea name=\"{}\" {}></textarea></label>\n", field.name, field.takes));
    }

    /// A field that takes one of several things. Where none of them is chosen, nothing is until somebody does.
    pub(in crate::report) fn choice(&mut self, label: &str, name: &'static str, choices: &[Choice<'_>]) {
        self.body.push_str("<label>");
        self.text(label);
        self.body.push_str(&format!("<select name=\"{name}\" required>\n"));
        if !choices.iter().any(|choice| choice.chosen) {
            self.body.push_str("<option value=\"\" selected></option>\n");
        }
        for choice in choices {
            let chosen = if choice.chosen { " selected" } else { "" };
            self.body.push_str(&format!("<option value=\"{}\"{chosen}>", escaped(choice.value)));
            self.text(choice.label);
            self.body.push_str("</option>\n");
        }
        self.body.push_str("</select></label>\n");
    }

    /// The whole document, for a browser that has it from a server: its style lies beside it, and it may ask for itself
    /// anew after so many seconds.
    pub(in crate::report) fn web(self, language: &str, title: &str, anew_seconds: Option<u32>) -> String {
        let anew = anew_seconds.map_or_else(String::new, |seconds| {
            format!("<meta http-equiv=\"refresh\" content=\"{seconds}; url=/\">\n")
        });
        format!(
            "<!doctype html>\n<html lang=\"{}\">\n<head>\n<meta charset=\"utf-8\">\n\
             <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n\
             <meta name=\"color-scheme\" content=\"light dark\">\n{anew}\
             <title>{}</title>\n<link rel=\"stylesheet\" href=\"/page.css\">\n</head>\n<body>\n<main>\n{}</main>\n\
             </body>\n</html>\n",
            escaped(language),
            escaped(title),
            self.body
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nobody_sends_what_they_did_not_choose() {
        let choices = |chosen| [Choice { value: "applied", label: "A new one", chosen }];
        let shown = |chosen| {
            let mut page = Page::default();
            page.choice("What happened", "event", &choices(chosen));
            page.web("en", "t", None)
        };
        assert!(
            shown(false).contains("required>\n<option value=\"\" selected></option>"),
            "{}",
            shown(false)
        );
        assert!(!shown(true).contains("<option value=\"\""), "{}", shown(true));
    }
}

//! What is open, the worst first: what it is, what to do, who is on it, and the buttons that its message has.

use super::Desk;
use crate::duty::{Answered, addressed, buttons};
use crate::report::html::Page;
use crate::report::meanings::severity_key;
use crate::tell::{act, title, what};
use crate::words::{Arg, CatSettings, Finding, PersonName, Severity, Telling, Watch};

impl Desk<'_> {
    /// Everything that is open: the worst first, cats before the house itself, then what has lasted longest.
    pub(super) fn open(&self) -> Vec<&Finding> {
        let mut open = self.seat.house.open();
        open.sort_by_key(|f| (std::cmp::Reverse(f.severity), f.cat.is_none(), f.watch, f.since));
        open
    }

    /// A finding in the words for whoever looks.
    pub(super) fn words(&self, finding: &Finding) -> Telling {
        addressed(&finding.telling, self.seat.person)
    }

    /// One finding, in its box.
    pub(super) fn finding(&self, page: &mut Page, finding: &Finding) {
        let reader = &self.reader;
        let telling = self.words(finding);
        let heading = title(reader, &telling);
        let class = match finding.severity {
            Severity::Critical => "open critical",
            Severity::Warning => "open warning",
            Severity::Notice => "open",
        };
        page.framed(class, |page| {
            page.small(&reader.word(severity_key(finding.severity)));
            page.heading(&heading);
            page.paragraph(&what(reader, &telling));
            let doing = act(reader, &telling).unwrap_or_default();
            if !doing.is_empty() {
                page.strong(&doing);
            }
            if let Some(cat) = finding.cat.as_ref().and_then(|cat| self.household.cat(cat)) {
                self.help(page, finding, cat, &doing);
            }
            page.paragraph(&self.course(finding));
            let answers = buttons(self.household, self.seat.person, finding, finding.severity, reader);
            if !answers.is_empty() {
                self.form(page, "/answer", &heading, &[("finding", &finding.id.0)], |page| {
                    for button in &answers {
                        page.answer("verdict", button.verdict.word(), &button.label, false);
                    }
                });
            }
        });
    }

    /// What the plan says of a low where the words above do not say it already, and whom to call.
    fn help(&self, page: &mut Page, finding: &Finding, cat: &CatSettings, said: &str) {
        let low = matches!(finding.watch, Watch::LowNow | Watch::LowAhead);
        let dose = matches!(
            finding.watch,
            Watch::DoseTwice | Watch::DoseStop | Watch::DoseDue | Watch::DoseLate | Watch::BeforeDose
        );
        let matters = low || finding.severity >= Severity::Warning && (finding.glucose || dose);
        if !matters {
            return;
        }
        if let Some(plan) = cat.plan.on_low.as_ref().filter(|_| low) {
            let plain = plan.split_whitespace().collect::<Vec<_>>().join(" ");
            if !said.contains(&plain) {
                page.named(&self.say_of(cat, "sheet-plan-on-low", &[]), plan);
            }
        }
        if let Some(phone) = &cat.plan.vet_phone {
            page.phone(&self.say_of(cat, "sheet-vet", &[]), phone);
        }
        if let Some(phone) = &cat.plan.out_of_hours_phone {
            page.phone(&self.say_of(cat, "sheet-out-of-hours", &[]), phone);
        }
    }

    /// Since when, who is on it, who has been told, and when it is looked at again.
    fn course(&self, finding: &Finding) -> String {
        let mut lines = vec![self.say("line-since", &[("time", Arg::Time(finding.since))])];
        if let Some(spoken) = self.seat.house.ledger.spoken.get(&finding.id) {
            if let Some(answered) = &spoken.answered {
                lines.extend(self.answered(answered));
            } else if let Some(since) = spoken.urgent_since {
                lines.push(self.say("unanswered", &[("time", Arg::Time(since))]));
            }
            let told: Vec<String> = spoken.reached.iter().map(|name| self.called(name)).collect();
            lines.push(if told.is_empty() {
                self.reader.word("page-told-none")
            } else {
                self.say("page-told", &[("people", Arg::Text(told.join(", ")))])
            });
        }
        if let Some(again) = finding.look_again {
            lines.push(self.say("line-look-again", &[("time", Arg::Time(again))]));
        }
        lines.join(" ")
    }

    /// Who is on it, and when it comes back.
    fn answered(&self, answered: &Answered) -> Vec<String> {
        let person = ("person", Arg::Person(answered.by.clone()));
        if let Some(until) = answered.until.filter(|_| answered.put_off) {
            return vec![self.say("page-put-off", &[person, ("time", Arg::Time(until))])];
        }
        let mine = answered.by == self.seat.person.name;
        let key = if mine { "page-answered-you" } else { "page-answered" };
        let on_it = self.say(key, &[person, ("time", Arg::Time(answered.at))]);
        let back = answered.until.map(|until| self.say("page-comes-back", &[("time", Arg::Time(until))]));
        std::iter::once(on_it).chain(back).collect()
    }

    fn called(&self, name: &PersonName) -> String {
        self.household.person(name).map_or_else(|| name.to_string(), |person| person.called.clone())
    }
}

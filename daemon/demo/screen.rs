//! What the demo prints: scenes as plain lines, messages as boxes the size of a phone's notice.

use std::collections::BTreeSet;
use std::io::{self, Write};
use std::net::SocketAddr;

use super::story::Story;
use crate::tell::{Reader, caution};
use crate::words::{Became, Channel, ChannelKind, Household, Message, MessageId, Moment, Outcome, Said};

/// The terminal.
pub(super) struct Screen<'a> {
    household: Household,
    complained: BTreeSet<(MessageId, Channel)>,
    out: &'a mut dyn Write,
}

impl<'a> Screen<'a> {
    pub(super) fn new(household: &Household, out: &'a mut dyn Write) -> Self {
        Self { household: household.clone(), complained: BTreeSet::new(), out }
    }

    pub(super) fn opening(
        &mut self,
        story: &Story,
        start: Moment,
        (page, stays): (Option<SocketAddr>, bool),
    ) -> io::Result<()> {
        let reader = Reader::home(&self.household, start);
        writeln!(self.out, "{}\n", story.introduction)?;
        if let Some(page) = page {
            writeln!(
                self.out,
                "Its page: open http://{page}/ in a browser on this machine, and load it anew now and then. {}\n",
                if stays {
                    "The story takes ten minutes; then the page stays until you end this with Ctrl-C."
                } else {
                    "It is gone when the demo ends."
                }
            )?;
        }
        writeln!(self.out, "{}\n", caution(&reader))
    }

    pub(super) fn closing(&mut self) -> io::Result<()> {
        writeln!(
            self.out,
            "\nThat was the demo. For your own cat: copy config/lowtide.example.toml to lowtide.toml, then"
        )?;
        writeln!(
            self.out,
            "  lowtide check --config lowtide.toml\n  lowtide try --config lowtide.toml\n  lowtide run --config lowtide.toml"
        )
    }

    fn clock(&self, at: Moment) -> String {
        at.at(self.household.home.timezone).format("%a %H:%M").to_string()
    }

    /// What happens in the house.
    pub(super) fn scene(&mut self, at: Moment, text: &str) -> io::Result<()> {
        if text.is_empty() {
            return Ok(());
        }
        writeln!(self.out, "{}  {text}", self.clock(at))?;
        self.out.flush()
    }

    /// What the watches found, in a word.
    pub(super) fn changes(&mut self, at: Moment, said: &Said) -> io::Result<()> {
        for change in &said.changes {
            let finding = &change.finding;
            if change.became == Became::Changed && said.messages.is_empty() {
                continue;
            }
            writeln!(
                self.out,
                "{}    [{} {} - {}]",
                self.clock(at),
                finding.watch,
                change.became.word(),
                finding.severity.word()
            )?;
        }
        self.out.flush()
    }

    /// What the carrier did, and the message as its person sees it.
    pub(super) fn carried(
        &mut self,
        at: Moment,
        message: &Message,
        channel: &Channel,
        outcome: &Outcome,
    ) -> io::Result<()> {
        let called =
            self.household.person(&message.person).map_or(message.person.to_string(), |p| p.called.clone());
        let place = match channel.kind {
            ChannelKind::Ntfy => "phone",
            ChannelKind::Email => "mailbox",
        };
        match outcome {
            Outcome::Delivered { .. } => {
                self.notice(at, &format!("{called}'s {place}"), message, &answering(message, channel.kind))
            }
            Outcome::Later { why, .. } | Outcome::Refused { why } => {
                if !self.complained.insert((message.id.clone(), channel.clone())) {
                    return Ok(());
                }
                writeln!(
                    self.out,
                    "{}    (could not reach {called}'s {place}: {why}; trying again)",
                    self.clock(at)
                )?;
                self.out.flush()
            }
        }
    }

    fn notice(&mut self, at: Moment, place: &str, message: &Message, answering: &str) -> io::Result<()> {
        let local =
            self.household.person(&message.person).map_or(self.household.home.timezone, |p| p.timezone);
        let head = format!("{place}, {} there", at.at(local).format("%H:%M"));
        writeln!(self.out, "    +-- {head} {}", "-".repeat(WIDTH.saturating_sub(head.chars().count() + 5)))?;
        for line in wrapped(&message.title) {
            writeln!(self.out, "    | {line}")?;
        }
        writeln!(self.out, "    |")?;
        for line in message.text.lines().flat_map(wrapped) {
            writeln!(self.out, "    | {line}")?;
        }
        for line in answering.lines() {
            writeln!(self.out, "    | {line}")?;
        }
        writeln!(self.out, "    +{}", "-".repeat(WIDTH))?;
        self.out.flush()
    }
}

/// How a message can be answered: a push has buttons, a mail says what else there is.
fn answering(message: &Message, kind: ChannelKind) -> String {
    let labels: Vec<String> = message.buttons.iter().map(|button| format!("( {} )", button.label)).collect();
    match kind {
        ChannelKind::Ntfy if labels.is_empty() => String::new(),
        ChannelKind::Ntfy => format!("  {}", labels.join("  ")),
        ChannelKind::Email => {
            message.ways.as_deref().map(|ways| wrapped(ways).join("\n")).unwrap_or_default()
        }
    }
}

/// Breaks text at blanks so that it fits the notice.
fn wrapped(text: &str) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        match lines.last_mut() {
            Some(line) if line.chars().count() + 1 + word.chars().count() <= WIDTH - 2 => {
                line.push(' ');
                line.push_str(word);
            }
            _ => lines.push(word.to_owned()),
        }
    }
    lines
}

const WIDTH: usize = 60;

//! Curves as inline SVG, black on white: a day with its doses and meter checks, and all cycles over each other by
//! hours since the dose. Levels come in in mg/dL; the axis is in the reader's unit.

use std::fmt::Write as _;

use chrono::Timelike;

use super::curve::{Cycle, History};
use super::figures::{Range, level, pieces};
use super::html::Drawing;
use crate::tell::Reader;
use crate::words::{CatSettings, Moment, Reading, Unit, Value, escaped, minutes};

/// The picture of a day or of any other stretch, with hours on the clock of the reader.
pub(super) fn day_picture(
    cat: &CatSettings,
    history: &History,
    (from, until): (Moment, Moment),
    range: Range,
    reader: &Reader<'_>,
) -> Drawing {
    let within = |at: Moment| at >= from && at <= until;
    let readings: Vec<Reading> = history.readings.iter().filter(|r| within(r.measured_at)).copied().collect();
    let top = top(&history.readings, cat, range);
    let mut frame = Frame::new(until.minutes_since(from), top);
    frame.plan(range);
    frame.levels(reader.units);
    let mut hour = 0;
    while f64::from(hour) * 60.0 <= frame.width_minutes {
        let at = from + minutes(f64::from(hour) * 60.0);
        let local = at.at(reader.zone);
        frame.tick(f64::from(hour) * 60.0, &format!("{:02}:{:02}", local.hour(), local.minute()));
        hour += 3;
    }
    // A dose at midnight belongs to the day that begins.
    for dose in history.doses.iter().filter(|dose| dose.given_at >= from && dose.given_at < until) {
        frame.dose(dose.given_at.minutes_since(from));
    }
    frame.line(&readings, from, cat);
    for check in history.checks.iter().filter(|check| check.measured_at >= from && check.measured_at < until)
    {
        if let Value::Level(mg_dl) = check.glucose {
            frame.circle(check.measured_at.minutes_since(from), mg_dl);
        }
    }
    frame.finish()
}

/// What the picture of the present shows besides readings, doses and checks.
pub(super) struct Present<'a> {
    /// The present: the past ends here, what may come begins.
    pub(super) now: Moment,
    /// Where blood may be, from now on: when, and between which levels.
    pub(super) ahead: &'a [(Moment, [f64; 2])],
    /// The word for the line between past and what may come.
    pub(super) word: &'a str,
    /// What is to be seen, in words.
    pub(super) label: &'a str,
}

/// The last day and where blood may be in the next hours, with the clock of the reader under it; for a small screen.
pub(super) fn present_picture(
    cat: &CatSettings,
    history: &History,
    present: &Present<'_>,
    reader: &Reader<'_>,
) -> Drawing {
    let from = present.now - minutes(DAY_MINUTES);
    let until = present.ahead.last().map_or(present.now, |(at, _)| *at);
    let range = Range { low: cat.plan.low, high: cat.plan.high };
    let ends = present.ahead.iter().map(|(_, ends)| ends[1]);
    let top = rounded_up(ends.fold(top(&history.readings, cat, range), f64::max));
    let mut frame = Frame::sized(SCREEN, until.minutes_since(from), top, Some(present.label));
    // A drug that hides danger behind a usual level: then no level is marked as the one to be in.
    if !cat.plan.sglt2_inhibitor {
        frame.plan(range);
    }
    frame.levels(reader.units);
    frame.limit(range.low);
    let past_hour = f64::from(from.at(reader.zone).minute());
    let hours = (until.minutes_since(from) / 60.0) as u32;
    for at in (1..=hours).map(|hour| from + minutes(f64::from(hour) * 60.0 - past_hour)) {
        let hour = at.at(reader.zone).hour();
        if hour % 6 == 0 {
            frame.tick(at.minutes_since(from), &format!("{hour:02}:00"));
        }
    }
    for dose in history.doses.iter().filter(|dose| dose.given_at >= from && dose.given_at <= until) {
        frame.dose(dose.given_at.minutes_since(from));
    }
    let band: Vec<(f64, [f64; 2])> =
        present.ahead.iter().map(|(at, ends)| (at.minutes_since(from), *ends)).collect();
    frame.band(&band);
    frame.line(&history.readings, from, cat);
    for check in history.checks.iter().filter(|check| check.measured_at >= from) {
        if let Value::Level(mg_dl) = check.glucose {
            frame.circle(check.measured_at.minutes_since(from), mg_dl);
        }
    }
    frame.now(DAY_MINUTES, present.word);
    frame.finish()
}

/// All cycles over each other, by hours since the dose.
pub(super) fn cycles_picture(
    cat: &CatSettings,
    history: &History,
    cycles: &[Cycle],
    range: Range,
    reader: &Reader<'_>,
) -> Drawing {
    let length = |cycle: &Cycle| cycle.figures.until.minutes_since(cycle.figures.from);
    let longest = cycles.iter().map(length).fold(CYCLE_MINUTES_LEAST, f64::max);
    let mut frame = Frame::new(longest, top(&history.readings, cat, range));
    frame.plan(range);
    frame.levels(reader.units);
    let mut hour = 0.0;
    while hour * 60.0 <= longest {
        frame.tick(hour * 60.0, &reader.number(hour, 0));
        hour += 2.0;
    }
    for cycle in cycles {
        let (from, until) = (cycle.figures.from, cycle.figures.until);
        let inside = |r: &&Reading| r.measured_at >= from && r.measured_at <= until;
        let readings: Vec<Reading> = history.readings.iter().filter(inside).copied().collect();
        frame.line(&readings, from, cat);
    }
    frame.finish()
}

/// The top of the axis: over everything that is shown, the same for all pictures of a report.
fn top(readings: &[Reading], cat: &CatSettings, range: Range) -> f64 {
    let highest = readings.iter().map(|reading| level(reading, &cat.sensor)).fold(TOP_LEAST, f64::max);
    let highest = range.high.map_or(highest, |high| highest.max(high * 1.1));
    rounded_up(highest)
}

fn rounded_up(mg_dl: f64) -> f64 {
    (mg_dl / 50.0).ceil() * 50.0
}

struct Frame {
    svg: String,
    width_minutes: f64,
    top: f64,
    size: Size,
}

/// How large a picture is, what lies around the curve in it, and how large its letters are.
struct Size {
    width: f64,
    height: f64,
    left: f64,
    right: f64,
    above: f64,
    below: f64,
    letters: f64,
}

impl Frame {
    /// A picture on paper.
    fn new(width_minutes: f64, top: f64) -> Self {
        Self::sized(PAPER, width_minutes, top, None)
    }

    /// A picture with what it shows in words, for whoever does not see it.
    fn sized(size: Size, width_minutes: f64, top: f64, label: Option<&str>) -> Self {
        let named = label.map_or_else(String::new, |label| format!(" aria-label=\"{}\"", escaped(label)));
        let svg = format!(
            "<svg viewBox=\"0 0 {} {}\" role=\"img\"{named} font-family=\"sans-serif\" font-size=\"{}\">\n",
            size.width, size.height, size.letters
        );
        Self { svg, width_minutes: width_minutes.max(1.0), top, size }
    }

    fn bottom(&self) -> f64 {
        self.size.height - self.size.below
    }

    fn right(&self) -> f64 {
        self.size.width - self.size.right
    }

    fn x(&self, minutes: f64) -> f64 {
        self.size.left + (self.right() - self.size.left) * minutes / self.width_minutes
    }

    fn y(&self, mg_dl: f64) -> f64 {
        let above = self.size.above;
        above + (self.bottom() - above) * (1.0 - mg_dl.clamp(0.0, self.top) / self.top)
    }

    fn plan(&mut self, range: Range) {
        let upper = self.y(range.high.unwrap_or(self.top));
        let height = self.y(range.low) - upper;
        let (left, width) = (self.size.left, self.right() - self.size.left);
        let _ = writeln!(
            self.svg,
            "<rect class=\"plan\" x=\"{left}\" y=\"{upper:.1}\" width=\"{width}\" height=\"{height:.1}\" fill=\"#e4e4e4\"/>"
        );
    }

    /// The plan's low.
    fn limit(&mut self, low: f64) {
        let (y, left, right) = (self.y(low), self.size.left, self.right());
        let _ = writeln!(self.svg, "<path d=\"M{left} {y:.1}H{right}\" stroke=\"#000\" stroke-width=\"1\"/>");
    }

    /// Where blood may be: a shape with a dotted edge.
    fn band(&mut self, band: &[(f64, [f64; 2])]) {
        let point = |minutes: f64, mg_dl: f64| format!("{:.1},{:.1}", self.x(minutes), self.y(mg_dl));
        let lower = band.iter().map(|(at, ends)| point(*at, ends[0]));
        let upper = band.iter().rev().map(|(at, ends)| point(*at, ends[1]));
        let points: Vec<String> = lower.chain(upper).collect();
        if points.len() > 2 {
            let _ = writeln!(
                self.svg,
                "<polygon class=\"ahead\" points=\"{}\" fill=\"#000\" fill-opacity=\"0.12\" stroke=\"#000\" stroke-dasharray=\"1 3\"/>",
                points.join(" ")
            );
        }
    }

    /// The line between what was and what may be.
    fn now(&mut self, minutes: f64, word: &str) {
        let (x, bottom, above) = (self.x(minutes), self.bottom(), self.size.above);
        // At the edge there is no room on both sides.
        let anchor = if x + 1.0 > self.right() { "end" } else { "middle" };
        let _ = writeln!(
            self.svg,
            "<path class=\"now\" d=\"M{x:.1} {above}V{bottom}\" stroke=\"#000\" stroke-width=\"2\"/>\
             <text x=\"{x:.1}\" y=\"{}\" text-anchor=\"{anchor}\">{}</text>",
            above - 4.0,
            escaped(word)
        );
    }

    fn levels(&mut self, units: Unit) {
        let step = match units {
            Unit::MgDl => 100.0,
            Unit::MmolL => Unit::MmolL.to_mg_dl(5.0),
        };
        let mut mg_dl = 0.0;
        while mg_dl <= self.top + 0.01 {
            let y = self.y(mg_dl);
            let number = units.of_mg_dl(mg_dl).round();
            let (left, right) = (self.size.left, self.right());
            let _ = writeln!(
                self.svg,
                "<path d=\"M{left} {y:.1}H{right}\" stroke=\"#bbb\" stroke-width=\"0.5\"/>\
                 <text x=\"{}\" y=\"{:.1}\" text-anchor=\"end\">{number}</text>",
                left - 4.0,
                // On a phone letters are large: the lowest number stands over the axis, free of the hours under it.
                (y + 4.0).min(self.bottom() - 1.0)
            );
            mg_dl += step;
        }
    }

    fn tick(&mut self, minutes: f64, label: &str) {
        let (x, bottom) = (self.x(minutes), self.bottom());
        let _ = writeln!(
            self.svg,
            "<path d=\"M{x:.1} {bottom}v4\" stroke=\"#000\"/>\
             <text x=\"{x:.1}\" y=\"{}\" text-anchor=\"middle\">{}</text>",
            self.size.height - 5.0,
            escaped(label)
        );
    }

    fn dose(&mut self, minutes: f64) {
        let (x, bottom) = (self.x(minutes), self.bottom());
        let _ = writeln!(
            self.svg,
            "<path class=\"dose\" d=\"M{x:.1} {}V{bottom}\" stroke=\"#000\" stroke-dasharray=\"5 3\"/>",
            self.size.above
        );
    }

    fn circle(&mut self, minutes: f64, mg_dl: f64) {
        let (x, y) = (self.x(minutes), self.y(mg_dl));
        let _ = writeln!(
            self.svg,
            "<circle class=\"check\" cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"4\" fill=\"#fff\" stroke=\"#000\" stroke-width=\"1.5\"/>"
        );
    }

    fn line(&mut self, readings: &[Reading], from: Moment, cat: &CatSettings) {
        for piece in pieces(readings, cat.sensor.sample_minutes) {
            let points: Vec<String> = piece
                .iter()
                .map(|reading| {
                    let x = self.x(reading.measured_at.minutes_since(from));
                    format!("{x:.1},{:.1}", self.y(level(reading, &cat.sensor)))
                })
                .collect();
            // A single reading has no line; a round end makes it a dot.
            let points =
                if points.len() == 1 { [points[0].clone(), points[0].clone()].to_vec() } else { points };
            let _ = writeln!(
                self.svg,
                "<polyline points=\"{}\" fill=\"none\" stroke=\"#000\" stroke-width=\"1.5\" stroke-linecap=\"round\"/>",
                points.join(" ")
            );
        }
    }

    fn finish(mut self) -> Drawing {
        self.svg.push_str("</svg>");
        Drawing(self.svg)
    }
}

const PAPER: Size =
    Size { width: 720.0, height: 200.0, left: 34.0, right: 16.0, above: 6.0, below: 20.0, letters: 11.0 };
const SCREEN: Size =
    Size { width: 480.0, height: 270.0, left: 40.0, right: 16.0, above: 22.0, below: 24.0, letters: 15.0 };
const DAY_MINUTES: f64 = 24.0 * 60.0;
/// The axis reaches at least this far, mg/dL.
const TOP_LEAST: f64 = 300.0;
const CYCLE_MINUTES_LEAST: f64 = 12.0 * 60.0;

#[cfg(test)]
mod tests {
    use super::*;
    use crate::words::{ReadingKind, SensorSettings};

    #[test]
    fn the_axis_reaches_over_everything_and_a_gap_breaks_the_line() {
        let at = |quarter: f64| Moment::from_millis(0) + minutes(quarter * 15.0);
        let reading = |q: f64, v: f64| Reading {
            measured_at: at(q),
            value: Value::Level(v),
            kind: ReadingKind::History,
        };
        let readings = [reading(0.0, 100.0), reading(1.0, 410.0), reading(40.0, 90.0)];
        let sensor = SensorSettings::default();
        assert_eq!(pieces(&readings, sensor.sample_minutes).len(), 2);
        let frame = Frame::new(1440.0, 450.0);
        assert_eq!((frame.x(0.0), frame.x(1440.0)), (34.0, 720.0 - 16.0));
        assert_eq!((frame.y(0.0), frame.y(450.0)), (200.0 - 20.0, 6.0));
    }

    #[test]
    fn no_level_stands_among_the_hours_under_the_axis() {
        for units in [Unit::MgDl, Unit::MmolL] {
            let mut frame = Frame::new(1440.0, 450.0);
            frame.levels(units);
            let lines: Vec<f64> = frame
                .svg
                .split(" y=\"")
                .skip(1)
                .map(|rest| rest.split('"').next().unwrap().parse().unwrap())
                .collect();
            assert!(lines.len() >= 5, "{}", frame.svg);
            assert!(lines.iter().all(|y| *y < frame.bottom()), "{lines:?}");
        }
    }
}

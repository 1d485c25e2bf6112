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
    (highest / 50.0).ceil() * 50.0
}

struct Frame {
    svg: String,
    width_minutes: f64,
    top: f64,
}

impl Frame {
    fn new(width_minutes: f64, top: f64) -> Self {
        let svg = format!(
            "<svg viewBox=\"0 0 {WIDTH} {HEIGHT}\" role=\"img\" font-family=\"sans-serif\" font-size=\"11\">\n"
        );
        Self { svg, width_minutes: width_minutes.max(1.0), top }
    }

    fn x(&self, minutes: f64) -> f64 {
        LEFT + (WIDTH - LEFT - RIGHT) * minutes / self.width_minutes
    }

    fn y(&self, mg_dl: f64) -> f64 {
        TOP + (HEIGHT - TOP - BOTTOM) * (1.0 - mg_dl.clamp(0.0, self.top) / self.top)
    }

    fn plan(&mut self, range: Range) {
        let upper = self.y(range.high.unwrap_or(self.top));
        let height = self.y(range.low) - upper;
        let width = WIDTH - LEFT - RIGHT;
        let _ = writeln!(
            self.svg,
            "<rect x=\"{LEFT}\" y=\"{upper:.1}\" width=\"{width}\" height=\"{height:.1}\" fill=\"#e4e4e4\"/>"
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
            let right = WIDTH - RIGHT;
            let _ = writeln!(
                self.svg,
                "<path d=\"M{LEFT} {y:.1}H{right}\" stroke=\"#bbb\" stroke-width=\"0.5\"/>\
                 <text x=\"{}\" y=\"{:.1}\" text-anchor=\"end\">{number}</text>",
                LEFT - 4.0,
                // On a phone letters are large: the lowest number stands over the axis, free of the hours under it.
                (y + 4.0).min(HEIGHT - BOTTOM - 1.0)
            );
            mg_dl += step;
        }
    }

    fn tick(&mut self, minutes: f64, label: &str) {
        let (x, bottom) = (self.x(minutes), HEIGHT - BOTTOM);
        let _ = writeln!(
            self.svg,
            "<path d=\"M{x:.1} {bottom}v4\" stroke=\"#000\"/>\
             <text x=\"{x:.1}\" y=\"{}\" text-anchor=\"middle\">{}</text>",
            bottom + 15.0,
            escaped(label)
        );
    }

    fn dose(&mut self, minutes: f64) {
        let (x, bottom) = (self.x(minutes), HEIGHT - BOTTOM);
        let _ = writeln!(
            self.svg,
            "<path class=\"dose\" d=\"M{x:.1} {TOP}V{bottom}\" stroke=\"#000\" stroke-dasharray=\"5 3\"/>"
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

const WIDTH: f64 = 720.0;
const HEIGHT: f64 = 200.0;
const LEFT: f64 = 34.0;
const RIGHT: f64 = 16.0;
const TOP: f64 = 6.0;
const BOTTOM: f64 = 20.0;
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
        assert_eq!((frame.x(0.0), frame.x(1440.0)), (LEFT, WIDTH - RIGHT));
        assert_eq!((frame.y(0.0), frame.y(450.0)), (HEIGHT - BOTTOM, TOP));
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
            assert!(lines.iter().all(|y| *y < HEIGHT - BOTTOM), "{lines:?}");
        }
    }
}

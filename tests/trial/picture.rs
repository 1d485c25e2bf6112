//! Pictures as SVG text: curves of warnings against false alarms, and said against happened.

use std::fmt::Write as _;

/// One curve: name, colour, dash pattern, points (x, y) in the picture's units.
#[derive(Clone, Debug)]
pub struct Curve {
    /// Shown beside its end.
    pub name: String,
    /// An SVG colour.
    pub colour: &'static str,
    /// An SVG dash pattern, so that colour is not needed to tell curves apart.
    pub dash: &'static str,
    /// Points, in order.
    pub points: Vec<(f64, f64)>,
}

/// Axes: title, and for x and y a label, the end, and the step of the grid.
#[derive(Clone, Copy, Debug)]
pub struct Axes {
    /// Title.
    pub title: &'static str,
    /// Label, end and step of x.
    pub x: (&'static str, f64, f64),
    /// Label, end and step of y.
    pub y: (&'static str, f64, f64),
}

const WIDTH: f64 = 760.0;
const HEIGHT: f64 = 440.0;
const LEFT: f64 = 62.0;
const RIGHT: f64 = 230.0;
const TOP: f64 = 44.0;
const BOTTOM: f64 = 56.0;

/// Styles for so many curves, told apart without colour.
pub const STYLES: [(&str, &str); 8] = [
    ("#777777", "1 4"),
    ("#8a5a00", "8 4"),
    ("#3b6ea5", "4 3"),
    ("#2a9d8f", "12 3 2 3"),
    ("#8e44ad", "2 2"),
    ("#c0392b", ""),
    ("#222222", "14 6"),
    ("#555555", "6 2"),
];

/// Draws curves into axes that start at zero.
pub fn drawn(axes: &Axes, curves: &[Curve]) -> String {
    let across = |x: f64| LEFT + (x / axes.x.1).min(1.0) * (WIDTH - LEFT - RIGHT);
    let up = |y: f64| HEIGHT - BOTTOM - (y / axes.y.1).min(1.0) * (HEIGHT - TOP - BOTTOM);
    let mut svg = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {WIDTH} {HEIGHT}\" font-family=\"sans-serif\" font-size=\"13\">\n\
         <rect width=\"{WIDTH}\" height=\"{HEIGHT}\" fill=\"white\"/>\n<text x=\"{LEFT}\" y=\"24\" font-size=\"16\">{}</text>\n",
        axes.title
    );
    grid(&mut svg, axes, &across, &up);
    for (place, curve) in curves.iter().enumerate() {
        let points: Vec<String> =
            curve.points.iter().map(|(x, y)| format!("{:.1},{:.1}", across(*x), up(*y))).collect();
        let row = TOP + 14.0 + 24.0 * place as f64;
        let from = WIDTH - RIGHT + 12.0;
        let stroke = format!(
            "stroke=\"{}\" stroke-width=\"2\" stroke-dasharray=\"{}\" fill=\"none\"",
            curve.colour, curve.dash
        );
        let _ = writeln!(svg, "<polyline points=\"{}\" {stroke}/>", points.join(" "));
        let _ = writeln!(svg, "<path d=\"M{from} {row}h34\" {stroke}/>");
        let _ = writeln!(svg, "<text x=\"{}\" y=\"{}\">{}</text>", from + 40.0, row + 4.0, curve.name);
    }
    svg.push_str("</svg>\n");
    svg
}

fn grid(svg: &mut String, axes: &Axes, across: &dyn Fn(f64) -> f64, up: &dyn Fn(f64) -> f64) {
    let (right, bottom) = (WIDTH - RIGHT, HEIGHT - BOTTOM);
    let steps = |end: f64, step: f64| (0..=(end / step).round() as usize).map(move |k| k as f64 * step);
    for x in steps(axes.x.1, axes.x.2) {
        let at = across(x);
        let _ = writeln!(svg, "<path d=\"M{at:.1} {TOP}V{bottom}\" stroke=\"#dddddd\"/>");
        let _ = writeln!(
            svg,
            "<text x=\"{at:.1}\" y=\"{}\" text-anchor=\"middle\">{}</text>",
            bottom + 18.0,
            short(x)
        );
    }
    for y in steps(axes.y.1, axes.y.2) {
        let at = up(y);
        let _ = writeln!(svg, "<path d=\"M{LEFT} {at:.1}H{right}\" stroke=\"#dddddd\"/>");
        let _ = writeln!(
            svg,
            "<text x=\"{}\" y=\"{:.1}\" text-anchor=\"end\">{}</text>",
            LEFT - 6.0,
            at + 4.0,
            short(y)
        );
    }
    let middle = (LEFT + right) / 2.0;
    let _ = writeln!(
        svg,
        "<text x=\"{middle}\" y=\"{}\" text-anchor=\"middle\">{}</text>",
        HEIGHT - 16.0,
        axes.x.0
    );
    let side = (TOP + bottom) / 2.0;
    let _ = writeln!(
        svg,
        "<text x=\"16\" y=\"{side}\" text-anchor=\"middle\" transform=\"rotate(-90 16 {side})\">{}</text>",
        axes.y.0
    );
}

fn short(x: f64) -> String {
    let text = format!("{x:.2}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

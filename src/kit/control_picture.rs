//! Control charts as an SVG: values in order with centre line and limits, moving ranges below; a chart for each axis.

use super::control_log::AxisChart;
use std::fmt::Write as _;

const WIDTH: f64 = 1000.0;
const LEFT: f64 = 110.0;
const RIGHT: f64 = 170.0;
const VALUES_HEIGHT: f64 = 230.0;
const RANGES_HEIGHT: f64 = 120.0;
const GAP: f64 = 74.0;
const TOP: f64 = 70.0;
/// Room above and below the outermost line, share of the span.
const ROOM: f64 = 0.12;

/// A strip of the picture: places of values and numbers on its axis.
struct Strip {
    top: f64,
    height: f64,
    low: f64,
    high: f64,
    count: usize,
}

impl Strip {
    fn x(&self, place: usize) -> f64 {
        let width = WIDTH - LEFT - RIGHT;
        LEFT + width * (place as f64 + 0.5) / self.count.max(1) as f64
    }

    fn y(&self, value: f64) -> f64 {
        self.top + self.height * (self.high - value) / (self.high - self.low)
    }

    fn frame(&self, title: &str) -> String {
        format!(
            "<text x=\"{LEFT}\" y=\"{:.1}\" font-weight=\"bold\">{title}</text><rect x=\"{LEFT}\" y=\"{:.1}\" width=\"{:.1}\" \
             height=\"{:.1}\" fill=\"#f7f6f2\" stroke=\"#888888\"/>\n",
            self.top - 10.0,
            self.top,
            WIDTH - LEFT - RIGHT,
            self.height
        )
    }

    fn line(&self, value: f64, name: &str, is_limit: bool) -> String {
        let (colour, dash) = if is_limit { ("#a33000", " stroke-dasharray=\"9 6\"") } else { ("#1f5f8b", "") };
        format!(
            "<path d=\"M{LEFT} {0:.1}H{1:.1}\" stroke=\"{colour}\" stroke-width=\"2\"{dash}/><text x=\"{2:.1}\" y=\"{3:.1}\" \
             fill=\"{colour}\">{name} {value:.3}°</text>\n",
            self.y(value),
            WIDTH - RIGHT,
            WIDTH - RIGHT + 8.0,
            self.y(value) + 5.0
        )
    }

    /// Joined points; those outside are larger and have a cross.
    fn points(&self, values: &[(usize, f64)], outside: &[usize]) -> String {
        let path: Vec<String> =
            values.iter().map(|(place, value)| format!("{:.1} {:.1}", self.x(*place), self.y(*value))).collect();
        let mut svg =
            format!("<path d=\"M{}\" fill=\"none\" stroke=\"#444444\" stroke-width=\"1.5\"/>\n", path.join("L"));
        for (place, value) in values {
            let (x, y) = (self.x(*place), self.y(*value));
            // Writing to a String cannot fail.
            let _ = if outside.contains(place) {
                writeln!(
                    svg,
                    "<path d=\"M{:.1} {:.1}l16 16m0 -16l-16 16\" stroke=\"#a33000\" stroke-width=\"4\"/><text x=\"{x:.1}\" \
                     y=\"{:.1}\" text-anchor=\"middle\" fill=\"#a33000\" font-weight=\"bold\">{}</text>",
                    x - 8.0,
                    y - 8.0,
                    if y < self.top + self.height / 2.0 { y + 28.0 } else { y - 16.0 },
                    place + 1
                )
            } else {
                writeln!(svg, "<circle cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"5\" fill=\"#444444\"/>")
            };
        }
        svg
    }
}

/// The picture; `title` names bay and lamp.
pub fn picture(title: &str, charts: &[AxisChart]) -> String {
    let each = VALUES_HEIGHT + RANGES_HEIGHT + 2.0 * GAP;
    let height = TOP + each * charts.len().max(1) as f64;
    let title = escaped(title);
    let mut svg = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {WIDTH:.0} {height:.0}\" font-family=\"sans-serif\" \
         font-size=\"15\" role=\"img\">\n<title>{title}</title>\n<rect width=\"100%\" height=\"100%\" fill=\"#ffffff\"/>\n<text \
         x=\"{LEFT}\" y=\"36\" font-size=\"22\">{title}</text>\n"
    );
    for (n, axis) in charts.iter().enumerate() {
        svg += &one(axis, TOP + n as f64 * each + 30.0);
    }
    svg + "</svg>\n"
}

fn one(axis: &AxisChart, top: f64) -> String {
    let chart = &axis.chart;
    let values: Vec<(usize, f64)> = chart.values.iter().copied().enumerate().collect();
    let ranges: Vec<(usize, f64)> =
        chart.values.windows(2).enumerate().map(|(n, pair)| (n + 1, (pair[1] - pair[0]).abs())).collect();
    let span = |numbers: &mut dyn Iterator<Item = f64>| {
        let (low, high) = numbers.fold((f64::MAX, f64::MIN), |(low, high), n| (low.min(n), high.max(n)));
        let room = (ROOM * (high - low)).max(0.001);
        (low - room, high + room)
    };
    let count = values.len();
    let (low, high) = span(&mut chart.values.iter().copied().chain([chart.lower, chart.upper]));
    let upper = Strip { top, height: VALUES_HEIGHT, low, high, count };
    let (_, high) = span(&mut ranges.iter().map(|(_, range)| *range).chain([0.0, chart.range_upper]));
    let lower = Strip { top: top + VALUES_HEIGHT + GAP, height: RANGES_HEIGHT, low: 0.0, high, count };
    let mut svg = upper.frame(&format!("{}: each reading, degrees", axis.axis));
    svg += &upper.line(chart.upper, "upper", true);
    svg += &upper.line(chart.mean, "mean", false);
    svg += &upper.line(chart.lower, "lower", true);
    svg += &upper.points(&values, &chart.outside());
    svg += &lower.frame("step from the reading before (moving range), degrees");
    svg += &lower.line(chart.range_upper, "upper", true);
    svg += &lower.line(chart.mean_range, "mean", false);
    svg += &lower.points(&ranges, &chart.jumps());
    let every = count.div_ceil(20).max(1);
    for place in (0..count).step_by(every) {
        let _ = writeln!(
            svg,
            "<text x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"middle\">{}</text>",
            lower.x(place),
            lower.top + lower.height + 20.0,
            place + 1
        );
    }
    svg
}

fn escaped(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;").replace('"', "&quot;")
}

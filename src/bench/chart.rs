//! A plain chart as SVG: two axes, and points, lines, bars or intervals in them.
//!
//! **Takes** data in their own units. **Gives** markup with a title and a description for those who do not see it; colours
//! are classes (`c0` to `c5`, `faint`), which the page's style sheet sets for light and dark. Never fails: values that are
//! not finite are left out.

use super::scale::{Axis, number};
use maud::{Markup, html};
use std::fmt::Write as _;

/// Size of a chart in its own units; the page shows it at about 1:1, so that words are as large as the text's.
const SIZE: (f64, f64) = (360.0, 240.0);
/// Space left of, above, right of and below the plot.
const SPACE: (f64, f64, f64, f64) = (52.0, 12.0, 12.0, 40.0);
/// Height of one row of a chart of intervals.
const ROW: f64 = 17.0;
/// Half the height of an interval's caps.
const CAP: f64 = 3.5;

/// What is drawn into a chart.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Mark {
    /// Dots.
    Dots(Vec<(f64, f64)>),
    /// A dot with words that show when it is pointed at.
    Named(f64, f64, String),
    /// A line.
    Line(Vec<(f64, f64)>),
    /// A dashed line.
    Dashed(Vec<(f64, f64)>),
    /// Bars of one width: left end, right end, height.
    Bars(Vec<(f64, f64, f64)>),
}

/// Marks of one colour.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Series {
    /// Its name for the legend; empty: none.
    pub(super) name: String,
    /// Its class.
    pub(super) class: &'static str,
    /// What is drawn.
    pub(super) mark: Mark,
}

impl Series {
    pub(super) fn new(name: impl Into<String>, class: &'static str, mark: Mark) -> Self {
        Self { name: name.into(), class, mark }
    }
}

/// Classes of colours for series that stand beside one another.
pub(super) const COLOURS: [&str; 6] = ["c0", "c1", "c2", "c3", "c4", "c5"];

/// A chart.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Chart {
    /// Its id in the page, unique.
    pub(super) id: String,
    /// What it shows.
    pub(super) title: String,
    /// What it says, in a sentence.
    pub(super) description: String,
    /// The axes, with their names and units.
    pub(super) x: Axis,
    pub(super) y: Axis,
    /// What is drawn, later over earlier.
    pub(super) series: Vec<Series>,
}

/// A share with its interval, for a chart of rows.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Row {
    pub(super) name: String,
    pub(super) value: f64,
    pub(super) interval: (f64, f64),
    pub(super) is_missed: bool,
}

/// Where a value stands between the ends of the plot.
struct Plot<'a> {
    x: &'a Axis,
    y: &'a Axis,
}

impl Plot<'_> {
    fn at(&self, (x, y): (f64, f64)) -> Option<(f64, f64)> {
        let (left, top, right, bottom) = SPACE;
        let across = left + self.x.share(x)? * (SIZE.0 - left - right);
        let down = SIZE.1 - bottom - self.y.share(y)? * (SIZE.1 - top - bottom);
        Some((across, down))
    }
}

impl Chart {
    /// The chart as a figure with its legend.
    pub(super) fn markup(&self) -> Markup {
        let (title_id, description_id) = (format!("{}-t", self.id), format!("{}-d", self.id));
        let plot = Plot { x: &self.x, y: &self.y };
        html! {
            figure class="chart" {
                figcaption { (self.title) }
                svg viewBox=(format!("0 0 {} {}", SIZE.0, SIZE.1)) role="img" aria-labelledby=(format!("{title_id} {description_id}")) {
                    title id=(title_id) { (self.title) }
                    desc id=(description_id) { (self.description) }
                    (axes(&self.x, &self.y, &plot))
                    @for series in &self.series { (drawn(series, &plot)) }
                }
                (legend(&self.series))
            }
        }
    }
}

fn legend(series: &[Series]) -> Markup {
    html! {
        @if series.iter().any(|series| !series.name.is_empty()) {
            ul class="legend" {
                @for series in series.iter().filter(|series| !series.name.is_empty()) {
                    li {
                        svg class="key" viewBox="0 0 22 10" role="img" {
                            title { (series.name) }
                            @match &series.mark {
                                Mark::Dots(_) | Mark::Named(..) => circle class=(format!("{} dot", series.class)) cx="11" cy="5" r="4" {},
                                Mark::Line(_) => path class=(format!("{} line", series.class)) d="M1 5H21" {},
                                Mark::Dashed(_) => path class=(format!("{} line dashed", series.class)) d="M1 5H21" {},
                                Mark::Bars(_) => rect class=(format!("{} bar", series.class)) x="6" y="0" width="10" height="10" {},
                            }
                        }
                        (series.name)
                    }
                }
            }
        }
    }
}

fn axes(x: &Axis, y: &Axis, plot: &Plot<'_>) -> Markup {
    let (left, top, right, bottom) = SPACE;
    let (end, floor) = (SIZE.0 - right, SIZE.1 - bottom);
    html! {
        @for tick in y.ticks() {
            @if let Some((_, at)) = plot.at((x.from, tick)) {
                path class="grid" d=(format!("M{left} {at:.1}H{end}")) {}
                text class="tick" x=(left - 5.0) y=(format!("{:.1}", at + 4.0)) text-anchor="end" { (number(tick)) }
            }
        }
        @for tick in x.ticks() {
            @if let Some((at, _)) = plot.at((tick, y.from)) {
                path class="grid" d=(format!("M{at:.1} {top}V{floor}")) {}
                text class="tick" x=(format!("{at:.1}")) y=(floor + 15.0) text-anchor="middle" { (number(tick)) }
            }
        }
        path class="frame" d=(format!("M{left} {top}V{floor}H{end}")) {}
        text class="name" x=(f64::midpoint(left, end)) y=(SIZE.1 - 5.0) text-anchor="middle" { (x.name) }
        text class="name" transform=(format!("translate(12 {}) rotate(-90)", f64::midpoint(top, floor))) text-anchor="middle" { (y.name) }
    }
}

fn drawn(series: &Series, plot: &Plot<'_>) -> Markup {
    let class = |kind: &str| format!("{} {kind}", series.class);
    match &series.mark {
        // One path for all dots: a line of no length with round ends is a dot, and a hundredth of the bytes.
        Mark::Dots(list) => {
            let mut path = String::new();
            for (x, y) in list.iter().filter_map(|place| plot.at(*place)) {
                let _ = write!(path, "M{x:.1} {y:.1}h0");
            }
            html! { path class=(class("dots")) d=(path) {} }
        }
        Mark::Named(x, y, words) => html! {
            @if let Some((x, y)) = plot.at((*x, *y)) {
                circle class=(class("ring")) cx=(format!("{x:.1}")) cy=(format!("{y:.1}")) r="4.5" { title { (words) } }
            }
        },
        Mark::Line(list) => html! { path class=(class("line")) d=(polyline(list, plot)) {} },
        Mark::Dashed(list) => html! { path class=(class("line dashed")) d=(polyline(list, plot)) {} },
        Mark::Bars(list) => html! {
            @for (from, to, height) in list {
                @if let (Some((left, floor)), Some((right, top))) = (plot.at((*from, plot.y.from)), plot.at((*to, *height))) {
                    rect class=(class("bar")) x=(format!("{left:.1}")) y=(format!("{top:.1}"))
                        width=(format!("{:.1}", (right - left - 1.0).max(0.5))) height=(format!("{:.1}", floor - top)) {
                        title { (number(*from)) " to " (number(*to)) ": " (number(*height)) }
                    }
                }
            }
        },
    }
}

fn polyline(list: &[(f64, f64)], plot: &Plot<'_>) -> String {
    let mut path = String::new();
    for (x, y) in list.iter().filter_map(|place| plot.at(*place)) {
        // Writing to a String cannot fail.
        let _ = write!(path, "{}{x:.1} {y:.1}", if path.is_empty() { 'M' } else { 'L' });
    }
    path
}

/// Shares with their intervals, a row each, from 0 to 1; `goals` are drawn as lines down the chart.
pub(super) fn rows(id: &str, title: &str, description: &str, list: &[Row], goals: &[f64]) -> Markup {
    const NAMES: f64 = 130.0;
    let height = ROW * list.len() as f64 + 26.0;
    let floor = height - 22.0;
    let at = |share: f64| NAMES + share.clamp(0.0, 1.0) * (SIZE.0 - NAMES - 12.0);
    html! {
        figure class="chart" {
            figcaption { (title) }
            svg viewBox=(format!("0 0 {} {height}", SIZE.0)) role="img" aria-labelledby=(format!("{id}-t {id}-d")) {
                title id=(format!("{id}-t")) { (title) }
                desc id=(format!("{id}-d")) { (description) }
                @for tick in [0.0, 0.25, 0.5, 0.75, 1.0] {
                    path class="grid" d=(format!("M{:.1} 0V{floor}", at(tick))) {}
                    text class="tick" x=(format!("{:.1}", at(tick))) y=(height - 7.0) text-anchor="middle" { (number(tick)) }
                }
                @for goal in goals { path class="faint line dashed" d=(format!("M{:.1} 0V{floor}", at(*goal))) {} }
                @for (n, row) in list.iter().enumerate() {
                    @let y = ROW * (n as f64 + 0.5) + 2.0;
                    @let colour = if row.is_missed { "c1" } else { "c0" };
                    @let (low, high) = (at(row.interval.0), at(row.interval.1));
                    g {
                        title { (row.name) ": " (number(row.value)) ", 95 % interval " (number(row.interval.0)) " to " (number(row.interval.1)) }
                        text class="row" x=(NAMES - 6.0) y=(format!("{:.1}", y + 4.0)) text-anchor="end" { (row.name) }
                        path class=(format!("{colour} line"))
                            d=(format!("M{low:.1} {:.1}v{}M{high:.1} {:.1}v{}M{low:.1} {y:.1}H{high:.1}", y - CAP, 2.0 * CAP, y - CAP, 2.0 * CAP)) {}
                        circle class=(format!("{colour} dot")) cx=(format!("{:.1}", at(row.value))) cy=(format!("{y:.1}")) r="4" {}
                    }
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_escaped_and_wild_values_are_left_out() {
        let chart = Chart {
            id: "a".to_owned(),
            title: "<script>".to_owned(),
            description: "\"&\"".to_owned(),
            x: Axis::linear("x, deg", 0.0, 1.0),
            y: Axis::linear("y", 0.0, 2.0),
            series: vec![Series::new("<b>", "c0", Mark::Dots(vec![(0.5, 1.0), (f64::NAN, 1.0), (0.5, f64::INFINITY)]))],
        };
        let text = chart.markup().into_string();
        assert!(!text.contains("<script>") && !text.contains("<b>") && text.contains("&lt;script&gt;"));
        assert!(!text.contains("NaN") && !text.contains("inf") && text.contains("role=\"img\""));
        // Hand-worked: the plot's middle.
        let (x, y) = (52.0 + 0.5 * (360.0 - 64.0), 240.0 - 40.0 - 0.5 * (240.0 - 52.0));
        assert!(text.contains(&format!("M{x:.1} {y:.1}h0")), "{text}");
    }
}

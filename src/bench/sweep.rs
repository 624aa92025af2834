//! A sweep: the same cases scored at several values of one option, and how each figure follows that value.

use super::chart::{COLOURS, Chart, Mark, Series};
use super::outcome::Quantity;
use super::scale::Axis;
use super::summary::{FamilyFigures, OVERALL, QuantityFigures};
use maud::{Markup, html};
use serde::{Deserialize, Serialize};

/// What the cases came to at one value.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SweepPoint {
    /// The option's value, in the option's own unit.
    pub value: f64,
    /// All cases together, then every family, as [`super::summarize`] gives them.
    pub families: Vec<FamilyFigures>,
}

/// A sweep of one option.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Sweep {
    /// The option.
    pub key: String,
    /// Its values, rising.
    pub points: Vec<SweepPoint>,
}

/// A figure of a quantity: id, name with unit, how it is read.
type Figure = (&'static str, &'static str, fn(&QuantityFigures) -> f64);
const FIGURES: [Figure; 5] = [
    ("median", "median |error|, deg", |q| q.median_deg),
    ("p95", "95 % of |error|, deg", |q| q.p95_deg),
    ("coverage", "share inside value ± u", |q| q.coverage),
    ("spread", "spread of error/(u/2)", |q| q.spread),
    ("missing", "not measured, photos", |q| q.missing as f64),
];

impl Sweep {
    /// The figures of all cases against the value, a chart a figure, a line a quantity; then how many were refused.
    pub(super) fn charts(&self) -> Markup {
        let figures = FIGURES.iter().map(|figure| self.chart(figure).markup());
        html! { div class="charts" { @for chart in figures { (chart) } (self.refused().markup()) } }
    }

    fn overall(&self) -> impl Iterator<Item = (f64, &FamilyFigures)> {
        self.points.iter().filter_map(|point| {
            let all = point.families.iter().find(|family| family.family == OVERALL)?;
            Some((point.value, all))
        })
    }

    fn chart(&self, (id, name, of): &Figure) -> Chart {
        let mut series = Vec::new();
        let mut all: Vec<f64> = Vec::new();
        for (quantity, colour) in Quantity::ALL.into_iter().zip(COLOURS) {
            let of_quantity = |family: &FamilyFigures| family.quantities.get(&quantity).filter(|q| q.n > 0).map(of);
            let line: Vec<(f64, f64)> =
                self.overall().filter_map(|(value, family)| Some((value, of_quantity(family)?))).collect();
            all.extend(line.iter().map(|place| place.1));
            if !line.is_empty() {
                series.push(Series::new("", colour, Mark::Dots(line.clone())));
                series.push(Series::new(quantity.name(), colour, Mark::Line(line)));
            }
        }
        self.framed(id, name, all, series)
    }

    fn refused(&self) -> Chart {
        let count = |of: fn(&FamilyFigures) -> usize| {
            self.overall().map(|(value, family)| (value, of(family) as f64)).collect::<Vec<_>>()
        };
        let lines = [
            ("wrongly", COLOURS[1], count(|f| f.refused_wrongly)),
            ("rightly", COLOURS[0], count(|f| f.refused_rightly + f.refused_with_wrong_code)),
        ];
        let all = lines.iter().flat_map(|(.., line)| line.iter().map(|place| place.1)).collect();
        let series = lines.into_iter().map(|(name, colour, line)| Series::new(name, colour, Mark::Line(line)));
        self.framed("refused", "refused, photos", all, series.collect())
    }

    fn framed(&self, id: &str, name: &str, figures: Vec<f64>, series: Vec<Series>) -> Chart {
        Chart {
            id: format!("sweep-{id}"),
            title: name.to_owned(),
            description: format!("{name} of all cases against {}, {} values.", self.key, self.points.len()),
            x: Axis::of(self.key.clone(), self.points.iter().map(|point| point.value)),
            y: Axis::of(name, figures.into_iter()),
            series,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::summary::summarize;
    use super::super::summary::tests::outcome;
    use super::*;

    #[test]
    fn every_figure_has_a_chart_and_a_point_a_value() {
        let point =
            |value: f64| SweepPoint { value, families: summarize(&[outcome("a", "a", &[(0.01 * value, 0.1)])]) };
        let sweep = Sweep { key: "edge.window_deg".to_owned(), points: [1.0, 2.0, 3.0].map(point).to_vec() };
        let text = sweep.charts().into_string();
        assert_eq!(text.matches("<figure").count(), 6);
        assert_eq!(text.matches("edge.window_deg</text>").count(), 6);
        assert_eq!(text.matches("h0").count(), 15, "three dots in five charts");
    }
}

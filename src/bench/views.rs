//! The charts of a run: errors as histograms, errors against what makes a photo hard, and how true u is.

use super::chart::{COLOURS, Chart, Mark, Row, Series, rows};
use super::goals::{COVERAGE_LEAST, coverage_miss};
use super::interval::{normal_inside, wilson};
use super::outcome::{FeatureError, Outcome, Quantity};
use super::results::Results;
use super::scale::{Axis, number};
use maud::{Markup, html};

/// Conditions that errors are shown against: name in the truth's `difficulty`, heading, axis.
const CONDITIONS: [(&str, &str, &str); 5] = [
    ("below_cutoff_fullscale", "Exposure", "wall below the cutoff, share of full scale"),
    ("ambient_lux", "Room light", "room light on the wall, lux"),
    ("softness_deg", "Softness", "softness of the cutoff, deg"),
    ("obliquity_deg", "Obliquity", "camera's axis to the wall's normal, deg"),
    ("mark_px", "Mark size", "size of a mark, px"),
];
/// Bars of a histogram.
const BARS: usize = 24;
/// A histogram reaches this many times as far as its 95 % quantile; what lies beyond is counted in the outermost bars.
const REACH: f64 = 1.6;
/// Cases in a bin of the running median at least.
const LEAST_IN_BIN: usize = 8;
/// Bins of the running median at most.
const MOST_BINS: usize = 10;
/// Largest errors of a chart that carry their case's name.
const NAMED: usize = 3;
/// The coverage plot goes up to this k.
const MOST_K: f64 = 4.0;
/// Step of k in it.
const K_STEP: f64 = 0.1;

fn of(cases: &[Outcome], quantity: Quantity) -> impl Iterator<Item = (&Outcome, FeatureError)> + Clone {
    cases
        .iter()
        .flat_map(move |case| case.errors.iter().filter(move |e| e.quantity == quantity).map(move |e| (case, *e)))
}

/// The 95 % quantile of the errors' sizes, and the largest.
fn reach(errors: &[f64]) -> (f64, f64) {
    let mut sizes: Vec<f64> = errors.iter().map(|error| error.abs()).collect();
    sizes.sort_by(f64::total_cmp);
    let at = (sizes.len() * 19 / 20).min(sizes.len().saturating_sub(1));
    (sizes.get(at).copied().unwrap_or(0.0), sizes.last().copied().unwrap_or(0.0))
}

/// A histogram of each quantity.
pub(super) fn histograms(results: &Results) -> Markup {
    let charts = Quantity::ALL.into_iter().filter_map(|quantity| {
        let errors: Vec<f64> = of(&results.cases, quantity).map(|(_, error)| error.error_deg()).collect();
        (!errors.is_empty()).then(|| histogram(quantity, &errors).markup())
    });
    html! { div class="charts" { @for chart in charts { (chart) } } }
}

fn histogram(quantity: Quantity, errors: &[f64]) -> Chart {
    let (most, largest) = reach(errors);
    let end = (REACH * most).min(largest).max(1e-4);
    let beyond = errors.iter().filter(|error| error.abs() > end).count();
    let width = 2.0 * end / BARS as f64;
    let mut counts = [0_usize; BARS];
    for error in errors {
        counts[(((error + end) / width).max(0.0) as usize).min(BARS - 1)] += 1;
    }
    let bars = counts.iter().enumerate().filter(|(_, count)| **count > 0);
    let bars = bars.map(|(n, count)| (-end + n as f64 * width, -end + (n + 1) as f64 * width, *count as f64));
    let top = counts.iter().max().copied().unwrap_or(1) as f64;
    let outside = if beyond > 0 { format!("; {beyond} beyond, in the outermost bars") } else { String::new() };
    Chart {
        id: format!("hist-{quantity:?}"),
        title: format!("{}: n = {}{outside}", quantity.name(), errors.len()),
        description: format!("Histogram of {} errors of the {}, value minus truth.", errors.len(), quantity.name()),
        x: Axis::linear("error, deg", -end, end),
        y: Axis::count("cases", 1.08 * top),
        series: vec![
            Series::new("", "c0", Mark::Bars(bars.collect())),
            Series::new("", "faint", Mark::Dashed(vec![(0.0, 0.0), (0.0, 1.08 * top)])),
        ],
    }
}

/// Errors against each condition that a case has.
pub(super) fn conditions(results: &Results) -> Markup {
    let known = CONDITIONS.iter().filter(|(key, ..)| {
        results.cases.iter().any(|case| case.conditions.contains_key(*key) && !case.errors.is_empty())
    });
    html! {
        @for (key, heading, axis) in known {
            h3 id=(format!("against-{key}")) { (heading) " " code { (key) } }
            div class="charts" {
                @for quantity in Quantity::ALL { @if let Some(chart) = against(results, quantity, key, axis) { (chart.markup()) } }
            }
        }
    }
}

fn against(results: &Results, quantity: Quantity, key: &str, axis: &str) -> Option<Chart> {
    let known = of(&results.cases, quantity)
        .filter_map(|(case, error)| Some((case, *case.conditions.get(key)?, error.error_deg())));
    let mut points: Vec<(&Outcome, f64, f64)> = known.filter(|point| point.1.is_finite()).collect();
    if points.is_empty() {
        return None;
    }
    points.sort_by(|a, b| a.1.total_cmp(&b.1));
    let errors: Vec<f64> = points.iter().map(|point| point.2).collect();
    let end = 1.05 * reach(&errors).1.max(1e-4);
    let places: Vec<(f64, f64)> = points.iter().map(|point| (point.1, point.2)).collect();
    let trend = running(&places);
    let x = Axis::of(axis, places.iter().map(|place| place.0));
    let mut series = vec![
        Series::new("", "faint", Mark::Dashed(vec![(x.from, 0.0), (x.to, 0.0)])),
        Series::new("a case", "c0", Mark::Dots(places)),
    ];
    if trend.len() > 1 {
        let line = |of: fn(&[f64; 4]) -> f64| trend.iter().map(|t| (t[0], of(t))).collect::<Vec<_>>();
        series.push(Series::new("running median", "c1", Mark::Line(line(|t| t[2]))));
        series.push(Series::new("5 % and 95 %", "c1", Mark::Dashed(line(|t| t[1]))));
        series.push(Series::new("", "c1", Mark::Dashed(line(|t| t[3]))));
    }
    let mut worst: Vec<_> = points.iter().collect();
    worst.sort_by(|a, b| b.2.abs().total_cmp(&a.2.abs()));
    for (case, x, error) in worst.into_iter().take(NAMED) {
        let words = format!("{}: {} deg at {}", case.id, number(*error), number(*x));
        series.push(Series::new("", "c0", Mark::Named(*x, *error, words)));
    }
    Some(Chart {
        id: format!("by-{key}-{quantity:?}"),
        title: format!("{}: n = {}", quantity.name(), points.len()),
        description: format!(
            "Error of the {} against {axis}, {} cases, with running quantiles.",
            quantity.name(),
            points.len()
        ),
        x,
        y: Axis::linear("error, deg", -end, end),
        series,
    })
}

/// Middle, and quantiles 5 %, 50 %, 95 % of the error, over bins of as many cases each.
fn running(sorted: &[(f64, f64)]) -> Vec<[f64; 4]> {
    let bins = (sorted.len() / LEAST_IN_BIN).min(MOST_BINS);
    let bin = |n: usize| {
        let inside = &sorted[n * sorted.len() / bins..(n + 1) * sorted.len() / bins];
        let mut errors: Vec<f64> = inside.iter().map(|place| place.1).collect();
        errors.sort_by(f64::total_cmp);
        let at = |share: f64| errors[(share * (errors.len() - 1) as f64).round() as usize];
        [inside[inside.len() / 2].0, at(0.05), at(0.5), at(0.95)]
    };
    (0..bins).map(bin).collect()
}

/// How true u is: shares within k·u/2 against k, then each family at k = 2.
pub(super) fn coverage(results: &Results) -> Markup {
    let normal: Vec<(f64, f64)> = steps().map(|k| (k, normal_inside(k))).collect();
    let mut series = vec![Series::new("normal expectation", "faint", Mark::Dashed(normal))];
    for (quantity, colour) in Quantity::ALL.into_iter().zip(COLOURS) {
        let pulls: Vec<f64> = of(&results.cases, quantity).map(|(_, error)| error.pull().abs()).collect();
        if !pulls.is_empty() {
            let share = |k: f64| pulls.iter().filter(|pull| **pull <= k).count() as f64 / pulls.len() as f64;
            let line = steps().map(|k| (k, share(k))).collect();
            series.push(Series::new(format!("{} (n = {})", quantity.name(), pulls.len()), colour, Mark::Line(line)));
        }
    }
    let curve = Chart {
        id: "coverage".to_owned(),
        title: "Share of |error| ≤ k·u/2".to_owned(),
        description: "Share of errors within k standard uncertainties against k, each quantity, beside the normal \
                      expectation. A line above it: u is too large; below: too small."
            .to_owned(),
        x: Axis::linear("k", 0.0, MOST_K),
        y: Axis::linear("share", 0.0, 1.0),
        series,
    };
    let families = Quantity::ALL.into_iter().filter_map(|quantity| families(results, quantity));
    html! { div class="charts" { (curve.markup()) @for chart in families { (chart) } } }
}

fn steps() -> impl Iterator<Item = f64> {
    (0..=(MOST_K / K_STEP).round() as usize).map(|n| n as f64 * K_STEP)
}

fn families(results: &Results, quantity: Quantity) -> Option<Markup> {
    let list: Vec<Row> = results
        .families
        .iter()
        .filter_map(|family| {
            let q = family.quantities.get(&quantity).filter(|q| q.n > 0)?;
            let hits = (q.coverage * q.n as f64).round() as usize;
            let name = format!("{} ({})", family.family, q.n);
            Some(Row { name, value: q.coverage, interval: wilson(hits, q.n), is_missed: coverage_miss(q).is_some() })
        })
        .collect();
    let title = format!("{}: share inside value ± u by family (n), with 95 % intervals", quantity.name());
    let description = format!(
        "Share of truths inside value plus or minus u for the {}, a row a family, with Wilson's 95 % interval; dashed: the \
         goal {COVERAGE_LEAST} and the expected 0.954.",
        quantity.name()
    );
    let id = format!("families-{quantity:?}");
    (!list.is_empty()).then(|| rows(&id, &title, &description, &list, &[COVERAGE_LEAST, normal_inside(2.0)]))
}

#[cfg(test)]
mod tests {
    use super::super::summary::tests::outcome;
    use super::*;

    #[test]
    fn a_condition_that_no_case_has_is_not_shown() {
        let mut cases: Vec<Outcome> =
            (0..20).map(|n| outcome(&format!("a-{n}"), "a", &[(0.01 * f64::from(n), 0.1)])).collect();
        for (n, case) in cases.iter_mut().enumerate() {
            case.conditions.insert("mark_px".to_owned(), 40.0 + n as f64);
        }
        let results = Results::new(String::new(), Vec::new(), String::new(), cases);
        let text = conditions(&results).into_string();
        assert!(text.contains("mark_px") && !text.contains("ambient_lux"));
        assert!(text.contains("running median") && text.contains("a-19: 0.19 deg at 59"));
        assert!(histograms(&results).into_string().contains("cutoff V: n = 20"));
        assert!(coverage(&results).into_string().contains("a (20)"));
    }

    /// Hand-worked: 16 cases in two bins of 8, errors 0 to 15.
    #[test]
    fn the_running_median_takes_bins_of_as_many_cases() {
        let list: Vec<(f64, f64)> = (0..16).map(|n| (f64::from(n), f64::from(n))).collect();
        assert_eq!(running(&list), [[4.0, 0.0, 4.0, 7.0], [12.0, 8.0, 12.0, 15.0]]);
        assert!(running(&list[..7]).is_empty());
    }
}

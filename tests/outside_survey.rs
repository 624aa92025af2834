//! The survey's least squares and the control chart against certified and published values, and examples worked by hand.

use lampwright::kit::control_chart::{Chart, repeatability};
use lampwright::kit::survey_adjust::{Weighted, adjust, snoop};
use nalgebra::DVector;

fn weighted(values: &[f64], sigma: f64) -> Vec<Weighted> {
    values.iter().map(|value| Weighted { value: *value, sigma, is_assumed: false }).collect()
}

fn assert_near(found: f64, expected: f64, relative: f64) {
    assert!((found - expected).abs() <= relative * expected.abs(), "found {found}, expected {expected}");
}

/// Source: NIST Statistical Reference Datasets, linear regression, Norris (y, x): lower level of difficulty, certified
/// values with 15 digits. Tolerance 1e-9: double precision loses six digits at this condition number.
#[test]
fn a_line_agrees_with_norris() {
    const NORRIS: [(f64, f64); 36] = [
        (0.1, 0.2),
        (338.8, 337.4),
        (118.1, 118.2),
        (888.0, 884.6),
        (9.2, 10.1),
        (228.1, 226.5),
        (668.5, 666.3),
        (998.5, 996.3),
        (449.1, 448.6),
        (778.9, 777.0),
        (559.2, 558.2),
        (0.3, 0.4),
        (0.1, 0.6),
        (778.1, 775.5),
        (668.8, 666.9),
        (339.3, 338.0),
        (448.9, 447.5),
        (10.8, 11.6),
        (557.7, 556.0),
        (228.3, 228.1),
        (998.0, 995.8),
        (888.8, 887.6),
        (119.6, 120.2),
        (0.3, 0.3),
        (0.6, 0.3),
        (557.6, 556.8),
        (339.3, 339.1),
        (888.0, 887.2),
        (998.5, 999.0),
        (778.9, 779.0),
        (10.2, 11.1),
        (117.6, 118.3),
        (228.9, 229.2),
        (668.4, 669.1),
        (449.2, 448.9),
        (0.2, 0.5),
    ];
    let values: Vec<f64> = NORRIS.iter().map(|row| row.0).collect();
    let fit = adjust(&weighted(&values, 1.0), &DVector::zeros(2), &|n, at| at[0] + at[1] * NORRIS[n].1).unwrap();
    let deviation = (fit.chi2 / fit.freedom as f64).sqrt();
    assert_near(fit.parameters[0], -0.262_323_073_774_029, 1e-9);
    assert_near(fit.parameters[1], 1.002_116_818_020_45, 1e-9);
    assert_near(deviation, 0.884_796_396_144_373, 1e-9);
    assert_near(deviation * fit.covariance[(0, 0)].sqrt(), 0.232_818_234_301_152, 1e-9);
    assert_near(deviation * fit.covariance[(1, 1)].sqrt(), 0.429_796_848_199_937e-3, 1e-9);
}

/// Source: NIST Statistical Reference Datasets, linear regression, Longley: seven parameters, nearly collinear, higher level of
/// difficulty. Tolerance 1e-5: the condition number is 5e9, so doubles keep six digits.
#[test]
fn seven_nearly_collinear_parameters_agree_with_longley() {
    const LONGLEY: [[f64; 7]; 16] = [
        [60_323.0, 83.0, 234_289.0, 2356.0, 1590.0, 107_608.0, 1947.0],
        [61_122.0, 88.5, 259_426.0, 2325.0, 1456.0, 108_632.0, 1948.0],
        [60_171.0, 88.2, 258_054.0, 3682.0, 1616.0, 109_773.0, 1949.0],
        [61_187.0, 89.5, 284_599.0, 3351.0, 1650.0, 110_929.0, 1950.0],
        [63_221.0, 96.2, 328_975.0, 2099.0, 3099.0, 112_075.0, 1951.0],
        [63_639.0, 98.1, 346_999.0, 1932.0, 3594.0, 113_270.0, 1952.0],
        [64_989.0, 99.0, 365_385.0, 1870.0, 3547.0, 115_094.0, 1953.0],
        [63_761.0, 100.0, 363_112.0, 3578.0, 3350.0, 116_219.0, 1954.0],
        [66_019.0, 101.2, 397_469.0, 2904.0, 3048.0, 117_388.0, 1955.0],
        [67_857.0, 104.6, 419_180.0, 2822.0, 2857.0, 118_734.0, 1956.0],
        [68_169.0, 108.4, 442_769.0, 2936.0, 2798.0, 120_445.0, 1957.0],
        [66_513.0, 110.8, 444_546.0, 4681.0, 2637.0, 121_950.0, 1958.0],
        [68_655.0, 112.6, 482_704.0, 3813.0, 2552.0, 123_366.0, 1959.0],
        [69_564.0, 114.2, 502_601.0, 3931.0, 2514.0, 125_368.0, 1960.0],
        [69_331.0, 115.7, 518_173.0, 4806.0, 2572.0, 127_852.0, 1961.0],
        [70_551.0, 116.9, 554_894.0, 4007.0, 2827.0, 130_081.0, 1962.0],
    ];
    const CERTIFIED: [f64; 7] = [
        -3_482_258.634_595_82,
        15.061_872_271_373_3,
        -0.358_191_792_925_910e-1,
        -2.020_229_803_816_83,
        -1.033_226_867_173_59,
        -0.511_041_056_535_807e-1,
        1_829.151_464_613_55,
    ];
    let values: Vec<f64> = LONGLEY.iter().map(|row| row[0]).collect();
    let predict =
        |n: usize, at: &DVector<f64>| at[0] + (1..7).map(|column| at[column] * LONGLEY[n][column]).sum::<f64>();
    let fit = adjust(&weighted(&values, 1.0), &DVector::zeros(7), &predict).unwrap();
    for (found, certified) in fit.parameters.iter().zip(CERTIFIED) {
        assert_near(*found, certified, 1e-5);
    }
    assert_near((fit.chi2 / fit.freedom as f64).sqrt(), 304.854_073_561_965, 1e-6);
}

/// Source: the differential levelling network of Ghilani, Adjustment Computations, chapter on levelling (from memory: benchmarks
/// at 100.000 and 107.500, seven lines, A = 105.141, B = 104.483, C = 106.188). By hand its normal equations are 3A − B =
/// 210.94, −A + 3B − C = 102.12, −B + 3C = 214.08, so B = 731.38 / 7.
#[test]
fn a_levelling_network_agrees_with_the_textbook() {
    let lines = [5.10, 2.34, -1.25, -6.13, -0.68, -3.00, 1.70];
    let predict = |n: usize, at: &DVector<f64>| {
        let (x, y, a, b, c) = (100.0, 107.5, at[0], at[1], at[2]);
        [a - x, y - a, c - y, x - c, b - a, b - y, c - b][n]
    };
    let fit = adjust(&weighted(&lines, 0.01), &DVector::zeros(3), &predict).unwrap();
    let b = 731.38 / 7.0;
    for (found, (by_hand, printed)) in
        fit.parameters.iter().zip([((210.94 + b) / 3.0, 105.141), (b, 104.483), ((214.08 + b) / 3.0, 106.188)])
    {
        assert!((found - by_hand).abs() < 1e-9 && (found - printed).abs() < 5e-4, "{found}, {by_hand}, {printed}");
    }
    assert_eq!(fit.freedom, 4);
    // The redundancy numbers add up to the freedom.
    assert!((fit.redundancy.iter().sum::<f64>() - 4.0).abs() < 1e-9);
}

const CORNERS: [(f64, f64); 4] = [(-1000.0, 1000.0), (1000.0, 1000.0), (1000.0, -1000.0), (-1000.0, -1000.0)];

fn tape(n: usize, at: &DVector<f64>) -> f64 {
    let (x, y) = if n < 4 { CORNERS[n] } else { (1500.0, 0.0) };
    (at[0] - x).hypot(at[1] - y)
}

/// Worked by hand: a point in the middle of a square of 2000 mm, taped from its corners. The rows of the design are
/// (±1, ±1)/√2, so `AᵀA = 2·I`: the standard uncertainty of x and y is σ/√2 each and every redundancy number is 1 − ½ = ½. A
/// reading shares its residual wholly with that of the opposite corner: an error cannot be told from one there.
#[test]
fn trilateration_from_a_square_is_what_the_hand_works_out() {
    let true_length = 1000.0 * 2.0_f64.sqrt();
    let start = DVector::from_vec(vec![60.0, -40.0]);
    let fit = adjust(&weighted(&[true_length; 4], 1.0), &start, &tape).unwrap();
    assert!(fit.parameters.norm() < 1e-6, "{}", fit.parameters);
    for axis in 0..2 {
        assert!((fit.covariance[(axis, axis)] - 0.5).abs() < 1e-6);
    }
    assert!(fit.redundancy.iter().all(|r| (r - 0.5).abs() < 1e-6));
    let mistyped = [true_length + 10.0, true_length, true_length, true_length];
    let found = snoop(&weighted(&mistyped, 1.0), &start, &tape).unwrap();
    let mut undecided: Vec<usize> = found.undecided.iter().map(|suspect| suspect.index).collect();
    undecided.sort_unstable();
    assert_eq!((undecided, found.left_out.len()), (vec![0, 2], 0));
}

/// The same with a fifth tape from (1500, 0): now the corner is told, with the length that would fit. 1514.2 for 1414.2 is the
/// usual slip of one digit.
#[test]
fn a_fifth_tape_names_the_mistyped_one() {
    let true_length = 1000.0 * 2.0_f64.sqrt();
    let readings = [true_length, true_length + 100.0, true_length, true_length, 1500.0];
    let found = snoop(&weighted(&readings, 1.0), &DVector::from_vec(vec![60.0, -40.0]), &tape).unwrap();
    let [suspect] = found.left_out[..] else { panic!("{found:?}") };
    assert_eq!(suspect.index, 1);
    assert!((suspect.fits - true_length).abs() < 1e-3, "{suspect:?}");
    assert!(found.adjustment.parameters.norm() < 1e-3 && found.undecided.is_empty());
}

/// Source: NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2, example of individuals and moving range charts: ten batches,
/// mean 50.81, mean moving range 1.8778, limits 45.8159 and 55.8041, every batch inside.
#[test]
fn the_control_chart_agrees_with_the_handbook() {
    let batches = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1];
    let chart = Chart::of(&batches).unwrap();
    for (found, printed) in
        [(chart.mean, 50.81), (chart.mean_range, 1.8778), (chart.lower, 45.8159), (chart.upper, 55.8041)]
    {
        // The handbook prints four digits behind the point.
        assert!((found - printed).abs() < 6e-5, "{found}, printed {printed}");
    }
    assert!(chart.outside().is_empty() && chart.jumps().is_empty());
    let shifted = Chart::of(&[0.0, 0.01, 0.0, 0.01, 0.0, 0.01, 0.0, 0.01, 0.3, 0.01, 0.0]).unwrap();
    assert_eq!(shifted.outside(), [8]);
    // Once out and once back: both steps are beyond the range's limit.
    assert_eq!(shifted.jumps(), [8, 9]);
}

/// Worked by hand: 1, 2, 3, 4, 5 have mean 3 and variance 10/4; its deviation's uncertainty is 1/√8 of it (GUM E.4.3).
#[test]
fn a_standard_deviation_has_its_own_uncertainty() {
    let found = repeatability(&[1.0, 2.0, 3.0, 4.0, 5.0]).unwrap();
    assert!((found.mean - 3.0).abs() < 1e-12 && (found.deviation - 2.5_f64.sqrt()).abs() < 1e-12);
    assert!((found.deviation_sigma - 2.5_f64.sqrt() / 8.0_f64.sqrt()).abs() < 1e-12);
    assert!(repeatability(&[1.0]).is_none());
}

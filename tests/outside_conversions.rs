//! Outside values: printed pairs of angle, length at a distance and percent, against our conversions.
//!
//! Tolerance everywhere: half a unit of the last printed digit.

use lampwright::units::{Deg, Mm, Percent};

/// 25 ft.
const FEET_25: Mm = Mm::from_inches(300.0);

fn assert_printed(what: &str, ours: f64, printed: f64, half_digit: f64) {
    assert!((ours - printed).abs() <= half_digit, "{what}: ours {ours}, printed {printed} ± {half_digit}");
}

/// Degrees, inches and millimetres at 25 ft: published workshop service data. The last number of a row is half a unit
/// of the last printed digit of the inches (the others print 0.1 mm).
#[test]
fn degrees_inches_millimetres_at_25_ft() {
    let rows = [
        (0.40, 2.1, 53.2, 0.05),
        (0.40, 2.09, 53.2, 0.005),
        (0.38, 2.0, 50.5, 0.05),
        (0.75, 3.93, 99.8, 0.005),
        (0.95, 5.0, 126.4, 0.05),
        (1.15, 6.02, 153.0, 0.005),
        (2.0, 10.5, 266.1, 0.05),
        (4.5, 23.6, 599.7, 0.05),
    ];
    for (deg, inches, mm, half_inch_digit) in rows {
        let offset = Deg::new(deg).to_mm_at(FEET_25);
        assert_printed("mm", offset.get(), mm, 0.05);
        assert_printed("in", offset.to_inches(), inches, half_inch_digit);
        // Back again: the printed angle has two digits.
        assert_printed("deg", Mm::new(mm).to_deg_at(FEET_25).get(), deg, 0.005);
    }
}

/// Exact pairs by definition of the percent (100·tan): same service data, and 10 cm on 10 m = 1 %.
#[test]
fn percent_is_of_the_distance() {
    let exact = 1e-9;
    for (percent, mm, distance_m) in
        [(1.5, 75.0, 5.0), (1.3, 39.0, 3.0), (1.0, 30.0, 3.0), (1.5, 45.0, 3.0), (1.0, 100.0, 10.0), (0.1, 10.0, 10.0)]
    {
        let angle = Percent::new(percent).to_deg();
        assert_printed("mm", angle.to_mm_at(Mm::from_m(distance_m)).get(), mm, exact);
        let back = Mm::new(mm).to_deg_at(Mm::from_m(distance_m)).to_percent();
        assert_printed("percent", back.get(), percent, exact);
    }
    // 1 % is 10 mm per metre of distance whatever the lamp's height, not 6.5 mm for a lamp at 65 cm.
    assert_printed("mm per metre", Percent::new(1.0).to_deg().to_mm_at(Mm::from_m(1.0)).get(), 10.0, exact);
}

/// Law and regulation that print two units: Ontario Reg. 596 s. 2(2); N.J.S. 39:3-57; Utah R714-160-13; FHWA-HRT-04-138
/// appendix G (1 % at 35 ft = 4.2 in); Japanese inspection text (110 mm, 230 mm at 10 m = 0.6, 1.3 degrees).
#[test]
fn printed_by_law() {
    assert_printed("5 in, mm", Mm::from_inches(5.0).get(), 127.0, 0.5);
    assert_printed("42 in, m", Mm::from_inches(42.0).get() / 1000.0, 1.07, 0.005);
    assert_printed("4 in at 25 ft, deg", Mm::from_inches(4.0).to_deg_at(FEET_25).get(), 0.764, 0.0005);
    assert_printed("4 in at 10 ft, deg", Mm::from_inches(4.0).to_deg_at(Mm::from_inches(120.0)).get(), 1.909, 0.0005);
    let at_35_ft = Percent::new(1.0).to_deg().to_mm_at(Mm::from_inches(420.0));
    assert_printed("1 % at 35 ft, in", at_35_ft.to_inches(), 4.2, 0.05);
    assert_printed("110 mm at 10 m, deg", Mm::new(110.0).to_deg_at(Mm::from_m(10.0)).get(), 0.6, 0.05);
    assert_printed("230 mm at 10 m, deg", Mm::new(230.0).to_deg_at(Mm::from_m(10.0)).get(), 1.3, 0.05);
}

/// Slopes in percent and degrees, six digits as computed with Python's `math.atan`.
#[test]
fn slopes() {
    for (percent, deg) in [(0.5, 0.286_477), (1.0, 0.572_939), (2.0, 1.145_763), (4.0, 2.290_610)] {
        assert_printed("deg", Percent::new(percent).to_deg().get(), deg, 0.000_000_5);
    }
}

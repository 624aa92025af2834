//! IES LM-63: the lighting trade's text file of a measured lamp.
//!
//! **Takes** the text of a file of the forms 1995, 2002 or 2019 with `TILT=NONE`. **Gives** angles and candela.
//! **How** (ANSI/IES LM-63, from memory; the standard is sold): the first line names the form; keyword lines in brackets
//! follow; behind `TILT=NONE` stand numbers alone, split by blanks, commas and line ends at will: ten (lamps, lumens per lamp,
//! candela multiplier, count of vertical angles, count of horizontal angles, photometric type 1 = C, 2 = B, 3 = A, units
//! type 1 = feet, 2 = metres, width, length, height), three (ballast factor, one for future use or, in 2019, the way the
//! file was made, watts), then vertical angles, horizontal angles, and the candela of each horizontal angle in turn. A
//! candela value counts times multiplier and ballast factor.
//!
//! Ranges: types A and B from -90 to 90 both ways; horizontal angles from 0 on stand for both sides. Type C: gamma 0 to 180;
//! C at 0 alone (symmetric about the axis), 0 to 90 (in each quadrant), 0 to 180 (about the plane 0-180), 90 to 270 (about the
//! plane 90-270), or 0 to 360. Any shorter range is a part: it stands for itself. Keywords are not asked for: they say
//! who measured what, and change no light.
//! **Fails when** form, `TILT=NONE`, type, counts or ranges are not as above; each message says which.

use super::candela::RawTable;
use super::goniometer::{Goniometer, Pole};
use crate::error::Error;

/// First lines of the three forms.
const FORMS: [&str; 3] = ["IESNA:LM-63-1995", "IESNA:LM-63-2002", "IES:LM-63-2019"];
/// Numbers before the angles.
const HEAD: usize = 13;
/// More angles than this in one direction are a damaged count.
const MOST_ANGLES: f64 = 20_000.0;

/// Reads the text; `path` is for messages.
pub(super) fn parse(text: &str, path: &str, pole: Pole) -> Result<RawTable, Error> {
    let wrong = |found: String, hint: &str| Error::file(path, found, hint);
    let mut lines = text.trim_start_matches('\u{feff}').lines().map(str::trim);
    let form = lines.next().unwrap_or_default();
    if !FORMS.contains(&form) {
        return Err(wrong(
            format!("first line \"{}\" names no known form, need {}", short(form), FORMS.join(", ")),
            "export the lamp as LM-63 of 1995, 2002 or 2019",
        ));
    }
    let tilt = lines.find_map(|line| line.strip_prefix("TILT=")).ok_or_else(|| {
        wrong("keyword TILT= is missing".into(), "write TILT=NONE on its own line before the numbers")
    })?;
    if tilt != "NONE" {
        return Err(wrong(format!("TILT={}, need TILT=NONE", short(tilt)), "export the lamp without a tilt table"));
    }
    let mut numbers = Vec::new();
    for word in lines.flat_map(|line| line.split([' ', '\t', ','])).filter(|word| !word.is_empty()) {
        let number = word.parse::<f64>().ok().filter(|number| number.is_finite());
        numbers.push(number.ok_or_else(|| {
            wrong(format!("\"{}\" is no number", short(word)), "leave numbers alone behind TILT=NONE")
        })?);
    }
    if numbers.len() < HEAD {
        return Err(wrong(
            format!("{} numbers behind TILT=NONE, need {HEAD} before the angles", numbers.len()),
            "export the file again: it is cut off",
        ));
    }
    let count = |place: usize, name: &str| {
        let number = numbers[place];
        if number.fract() == 0.0 && (1.0..=MOST_ANGLES).contains(&number) {
            Ok(number as usize)
        } else {
            Err(wrong(
                format!("count of {name} angles is {number}, need a whole number from 1"),
                "export the file again",
            ))
        }
    };
    let (rows, columns) = (count(3, "vertical")?, count(4, "horizontal")?);
    let kind = match numbers[5] {
        1.0 => Goniometer::C(pole),
        2.0 => Goniometer::B,
        3.0 => Goniometer::A,
        other => {
            return Err(wrong(
                format!("photometric type {other} is unknown, need 1 (C), 2 (B) or 3 (A)"),
                "export the lamp in one of these types",
            ));
        }
    };
    if ![1.0, 2.0].contains(&numbers[6]) {
        return Err(wrong(
            format!("units type {} is unknown, need 1 (feet) or 2 (metres)", numbers[6]),
            "export the file again",
        ));
    }
    let found = numbers.len() - HEAD;
    let needed = rows + columns + rows * columns;
    if found != needed {
        return Err(wrong(
            format!(
                "{found} numbers for angles and candela, need {rows} + {columns} angles and {rows} x {columns} candela \
                 values, {needed} in all"
            ),
            "check the counts of angles, or export the file again",
        ));
    }
    let factor = numbers[2] * numbers[10];
    if factor <= 0.0 {
        return Err(wrong(
            format!("candela multiplier {} times ballast factor {}, need more than 0", numbers[2], numbers[10]),
            "export the lamp with absolute candela",
        ));
    }
    let (along, rest) = numbers[HEAD..].split_at(rows);
    let (across, values) = rest.split_at(columns);
    check_ranges(kind, across, along).map_err(|found| wrong(found, "export the lamp in the standard's ranges"))?;
    Ok(RawTable {
        kind,
        across: across.to_vec(),
        along: along.to_vec(),
        candela: values.chunks_exact(rows).map(|column| column.iter().map(|cd| cd * factor).collect()).collect(),
    })
}

/// What of a damaged line is shown.
fn short(text: &str) -> String {
    text.chars().filter(|c| !c.is_control()).take(40).collect()
}

fn check_ranges(kind: Goniometer, across: &[f64], along: &[f64]) -> Result<(), String> {
    let outside = |axis: &[f64], low: f64, high: f64| axis.iter().copied().find(|a| !(low..=high).contains(a));
    let ((across_low, across_high), (along_low, along_high)) = match kind {
        Goniometer::C(_) => ((0.0, 360.0), (0.0, 180.0)),
        _ => ((-90.0, 90.0), (-90.0, 90.0)),
    };
    if let Some(angle) = outside(across, across_low, across_high) {
        return Err(format!("horizontal angle {angle}, need {across_low} to {across_high}"));
    }
    if let Some(angle) = outside(along, along_low, along_high) {
        return Err(format!("vertical angle {angle}, need {along_low} to {along_high}"));
    }
    let last = across.last().copied().unwrap_or_default();
    if matches!(kind, Goniometer::C(_)) {
        if across[0] == 0.0 && last > 180.0 && last < 360.0 {
            return Err(format!("horizontal angles of type C end at {last}, need 0, 90, 180 or 360"));
        }
        if across.len() == 1 && across[0] != 0.0 {
            return Err(format!("one horizontal angle at {}, need 0 for a lamp symmetric about its axis", across[0]));
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::super::CandelaTable;
    use super::*;

    /// A file of this type with these counts, angles and candela, written by hand below.
    fn file(form: &str, kind: u8, rows: usize, columns: usize, numbers: &str) -> String {
        format!(
            "{form}\n[TEST] 1\n[TESTLAB] own\n[ISSUEDATE] 2026-01-01\n[MANUFAC] invented\nTILT=NONE\n\
             1 -1 2 {rows} {columns} {kind} 2 0.1 0.1 0\n0.5 1 35\n{numbers}\n"
        )
    }

    fn table(text: &str, pole: Pole) -> CandelaTable {
        CandelaTable::parse(text, "lamp.ies", pole).unwrap()
    }

    /// Multiplier 2 times ballast factor 0.5 is 1: the candela stand as written. One lamp, 1,000 cd straight ahead, 500 cd
    /// at 10 degrees to each side on the level line, 400 cd 10 degrees up, 300 cd 10 degrees down. On the main axes all types
    /// share their angles: type A and B directly; type C with the pole down has C = 90 -+ 10 and gamma = 90 -+ 10; with the
    /// pole ahead gamma is 10 and C is 0 (right), 90 (up), 180 (left), 270 (down).
    #[test]
    fn the_same_lamp_in_three_types_gives_the_same_candela() {
        let grid = "-10 0 10\n-10 0 10\n150 500 200\n300 1000 400\n150 500 200";
        let tables = [
            table(&file(FORMS[1], 3, 3, 3, grid), Pole::Down),
            table(&file(FORMS[2], 2, 3, 3, grid), Pole::Down),
            // Half of it: symmetric to both sides.
            table(&file(FORMS[0], 3, 3, 2, "-10 0 10\n0 10\n300, 1000, 400\n150, 500, 200"), Pole::Down),
            table(&file(FORMS[1], 1, 3, 3, "80 90 100\n80 90 100\n150 500 200\n300 1000 400\n150 500 200"), Pole::Down),
            table(
                &file(FORMS[1], 1, 2, 5, "0 10\n0 90 180 270 360\n1000 500 1000 400 1000 500 1000 300 1000 500"),
                Pole::Ahead,
            ),
            // Right half and its mirror image: about the plane up and down, C 90 to 270.
            table(&file(FORMS[2], 1, 2, 3, "0 10\n90 180 270\n1000 400 1000 500 1000 300"), Pole::Ahead),
        ];
        for (place, table) in tables.iter().enumerate() {
            for (h, v, cd) in
                [(0.0, 0.0, 1000.0), (10.0, 0.0, 500.0), (-10.0, 0.0, 500.0), (0.0, 10.0, 400.0), (0.0, -10.0, 300.0)]
            {
                let found = table.candela(h, v);
                assert!((found - cd).abs() < 1e-6, "table {place} ({h}, {v}): {found}, expected {cd}");
            }
        }
    }

    /// Hand-worked: off the main axes the types differ. A type A node at X = 30, Y = 20 lies at H = 30 and
    /// tan V = tan 20 / cos 30, V = 22.796; a type B node there lies at V = 20 and tan H = tan 30 / cos 20, H = 31.567.
    #[test]
    fn nodes_off_the_axes_lie_where_their_type_says() {
        let grid = "0 20 40\n-30 0 30\n1 2 3\n4 9 6\n7 8 5";
        let a = table(&file(FORMS[1], 3, 3, 3, grid), Pole::Down);
        assert!((a.candela(30.0, 22.795_88) - 8.0).abs() < 1e-4, "{}", a.candela(30.0, 22.795_88));
        let b = table(&file(FORMS[1], 2, 3, 3, grid), Pole::Down);
        assert!((b.candela(31.566_70, 20.0) - 8.0).abs() < 1e-4, "{}", b.candela(31.566_70, 20.0));
    }

    #[test]
    fn rotational_and_quadrant_symmetry_are_opened() {
        let round = table(&file(FORMS[0], 1, 3, 1, "0 5 10\n0\n900 700 100"), Pole::Ahead);
        for (h, v) in [(5.0, 0.0), (0.0, 5.0), (-5.0, 0.0), (0.0, -5.0)] {
            assert!((round.candela(h, v) - 700.0).abs() < 1e-6);
        }
        let quadrant = table(&file(FORMS[0], 1, 3, 2, "0 5 10\n0 90\n900 700 100 900 400 50"), Pole::Ahead);
        for (h, v, cd) in [(5.0, 0.0, 700.0), (-5.0, 0.0, 700.0), (0.0, 5.0, 400.0), (0.0, -5.0, 400.0)] {
            assert!((quadrant.candela(h, v) - cd).abs() < 1e-6, "({h}, {v})");
        }
    }

    #[test]
    fn each_fault_has_its_message() {
        let good = file(FORMS[1], 3, 2, 2, "0 1 -1 1 1 2 3 4");
        let faults = [
            (good.replace("IESNA:LM-63-2002", "IESNA91"), "names no known form"),
            (good.replace("TILT=NONE", "[OTHER] x"), "TILT= is missing"),
            (good.replace("TILT=NONE", "TILT=INCLUDE"), "TILT=INCLUDE"),
            (file(FORMS[1], 4, 2, 2, "0 1 -1 1 1 2 3 4"), "photometric type 4 is unknown"),
            (good.replace(" 3 2 0.1", " 3 7 0.1"), "units type 7"),
            (file(FORMS[1], 3, 2, 2, "0 1 -1 1 1 2 3"), "2 x 2 candela values, 8 in all"),
            (file(FORMS[1], 3, 2, 2, "0 1 -1 1 1 2 3 four"), "\"four\" is no number"),
            (file(FORMS[1], 3, 0, 2, "-1 1"), "count of vertical angles is 0"),
            (file(FORMS[1], 3, 2, 2, "0 1 -1 95 1 2 3 4"), "horizontal angle 95"),
            (file(FORMS[1], 1, 2, 2, "0 1 0 350 1 2 3 4"), "end at 350"),
            (file(FORMS[1], 3, 2, 2, "1 0 -1 1 1 2 3 4"), "do not rise"),
            (file(FORMS[1], 3, 2, 2, "0 1 -1 1 0 0 0 0"), "are 0"),
            (file(FORMS[1], 3, 2, 2, "0 1 -1 1 1 2 3 -4"), "-4"),
            ("IES:LM-63-2019\nTILT=NONE\n1 2 3\n".into(), "3 numbers behind TILT=NONE"),
        ];
        for (text, word) in faults {
            let error = CandelaTable::parse(&text, "lamp.ies", Pole::Down).unwrap_err().to_string();
            assert!(error.contains(word) && error.contains("lamp.ies"), "need \"{word}\": {error}");
        }
        assert!(CandelaTable::parse(&good, "lamp.xyz", Pole::Down).unwrap_err().to_string().contains(".csv or .ies"));
    }
}

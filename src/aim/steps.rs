//! Advice in words: what a technician does next, in order.
//!
//! Vertical before horizontal, because a screw often moves the other axis a little. Where the last movement would be
//! counterclockwise, the screw goes half a turn too far and comes back, so that the final movement is clockwise and
//! takes up the backlash (common practice, no source).

use super::advice::{AxisAdvice, Direction, Turn};
use super::dark_zone::DarkZoneFinding;
use super::verdict::{AxisResult, AxisVerdict, Overall, Verdict};

/// How far a counterclockwise turn overshoots before it comes back, turns (common practice, no source).
const OVERSHOOT_TURNS: f64 = 0.5;
/// What a hand can do without measuring, turns.
const HAND_STEP_TURNS: f64 = 0.25;
/// Below this a screw is only touched, turns.
const TOUCH_TURNS: f64 = 0.125;
/// Reach of an adjuster either way, degrees: 49 CFR 571.108 S10.18, from memory, unverified; used as a hint only.
const ADJUSTER_REACH_VERTICAL_DEG: f64 = 4.0;
/// Same for the horizontal adjuster.
const ADJUSTER_REACH_HORIZONTAL_DEG: f64 = 2.5;

/// Said once, before any turn of a screw.
const CAUTIONS: &str = "First: park brake on, wheels chocked; exhaust led outside if the engine runs; nobody in front \
    of a vehicle that can move. Lamps are hot, discharge lamps carry high voltage; do not look into the beam. Local \
    codes and the vehicle's manual come before this advice.";

pub(super) fn write(verdict: &Verdict, vertical: Option<&AxisAdvice>, horizontal: Option<&AxisAdvice>) -> Vec<String> {
    let mut steps = Vec::new();
    if verdict.overall == Overall::Pass {
        let by_zone = verdict.dark_zone.and_then(zone_step);
        steps.push(by_zone.unwrap_or("Nothing to adjust: record this reading.").to_owned());
        return steps;
    }
    let axes = [("vertical", &verdict.vertical, vertical), ("horizontal", &verdict.horizontal, horizontal)];
    for (name, axis, _) in axes {
        if *axis == AxisVerdict::NotMeasured {
            steps.push(format!(
                "The {name} place could not be measured, so it is not judged: see the flags and photograph again."
            ));
        }
    }
    steps.extend(too_close(&axes.map(|(name, axis, _)| (name, axis))));
    let moves: Vec<_> = axes
        .iter()
        .filter_map(|(name, axis, advice)| {
            advice.filter(|advice| advice.direction != Direction::None).map(|a| (name, axis, a))
        })
        .collect();
    if !moves.is_empty() {
        steps.push(CAUTIONS.to_owned());
    }
    steps.extend(beyond_reach(&moves.iter().map(|(_, _, advice)| *advice).collect::<Vec<_>>()));
    for (name, axis, advice) in &moves {
        if axis.measured().is_some_and(|axis| axis.result.is_none() && advice.by <= axis.expanded) {
            steps.push(format!("The {name} place is at its nominal within the uncertainty: leave it."));
            continue;
        }
        steps.push(turn_step(name, advice));
    }
    if !moves.is_empty() {
        steps.push("Photograph again from the same place and measure.".to_owned());
    }
    // A cutoff that is too high stands in it as a matter of course, and the steps above bring it down.
    if moves.is_empty() {
        steps.extend(verdict.dark_zone.and_then(zone_step).map(str::to_owned));
    }
    if steps.is_empty() {
        steps.push("Nothing was judged: choose a rule that has figures for this beam with --rules.".to_owned());
    }
    steps
}

/// What to do about the rule's dark zone where the axes ask for nothing.
const fn zone_step(finding: DarkZoneFinding) -> Option<&'static str> {
    match finding {
        DarkZoneFinding::CutoffInside => Some(
            "The flat part is where it should be, yet the cutoff, its rising part perhaps, stands in the rule's dark zone, the hatched \
             part of the picture: by this rule that is no pass. Look at the wall, see how the vehicle stands and whether \
             height, offset and yaw are right, and aim the lamp until the zone is dark.",
        ),
        DarkZoneFinding::TooClose => Some(
            "The cutoff is nearer to the rule's dark zone, the hatched part of the picture, than its uncertainty: look at the \
             wall; measure height, offset and yaw better and photograph again.",
        ),
        DarkZoneFinding::CutoffClear | DarkZoneFinding::NotSeen => None,
    }
}

/// "down by 0.65° (113 mm on the wall)".
fn amount(advice: &AxisAdvice) -> String {
    format!("{} by {:.2}° ({:.0} mm on the wall)", advice.direction.as_str(), advice.by.get(), advice.by_at_wall.get())
}

fn turn_step(axis: &str, advice: &AxisAdvice) -> String {
    let goal = format!("Move the beam {}", amount(advice));
    let (Some(screw), Some(turns)) = (&advice.screw, advice.turns) else {
        return format!(
            "{goal}: try a quarter turn of the {axis} screw and photograph again; that shows which way and how far it moves."
        );
    };
    match advice.turn {
        Turn::Clockwise => format!("{goal}: turn screw \"{screw}\" clockwise, {}.", in_hand(turns)),
        Turn::Counterclockwise => format!(
            "{goal}: turn screw \"{screw}\" counterclockwise, {}, and half a turn beyond, then half a turn back \
             clockwise against backlash ({:.2} out, {OVERSHOOT_TURNS:.2} back).",
            in_hand(turns),
            turns + OVERSHOOT_TURNS
        ),
        Turn::None | Turn::Unknown => format!("{goal}."),
    }
}

/// Turns as a hand does them: quarters in words, the exact number behind.
fn in_hand(turns: f64) -> String {
    let quarters = (turns / HAND_STEP_TURNS).round();
    let (whole, rest) = ((quarters / 4.0).floor(), quarters % 4.0);
    let fraction = match rest as u8 {
        0 => "",
        1 => "1/4",
        2 => "1/2",
        _ => "3/4",
    };
    let words = match (whole as u32, fraction) {
        _ if turns < TOUCH_TURNS => "just a touch".to_owned(),
        (0, "1/4") => "about a quarter turn".to_owned(),
        (0, "1/2") => "about half a turn".to_owned(),
        (0, _) => "about three quarters of a turn".to_owned(),
        (1, "") => "about one turn".to_owned(),
        (whole, "") => format!("about {whole} turns"),
        (whole, fraction) => format!("about {whole} {fraction} turns"),
    };
    format!("{words} (net {turns:.2})")
}

/// One step for all axes that are too close to a limit to call.
fn too_close(axes: &[(&str, &AxisVerdict); 2]) -> Option<String> {
    let is_borderline =
        |axis: &AxisVerdict| axis.measured().is_some_and(|axis| axis.result == Some(AxisResult::Borderline));
    let names: Vec<&str> = axes.iter().filter(|(_, axis)| is_borderline(axis)).map(|(name, _)| *name).collect();
    (!names.is_empty()).then(|| {
        format!(
            "Too close to a limit to call ({}): measure height, distance and floor better and photograph again, or \
             move the beam as below.",
            names.join(", ")
        )
    })
}

/// One step for all axes that are farther off than a screw can bring them.
fn beyond_reach(moves: &[&AxisAdvice]) -> Option<String> {
    let is_beyond = |advice: &&AxisAdvice| {
        let reach_deg = match advice.direction {
            Direction::Up | Direction::Down => ADJUSTER_REACH_VERTICAL_DEG,
            _ => ADJUSTER_REACH_HORIZONTAL_DEG,
        };
        advice.by.get() > reach_deg
    };
    moves.iter().any(is_beyond).then(|| {
        "That is farther off than most adjusters reach: check set-up, lamp type and mounting before any screw."
            .to_owned()
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::aim::applied::AxisLimits;
    use crate::aim::screws::Screws;
    use crate::aim::{advise, verdict::AxisValue};
    use crate::units::{Deg, Mm};

    fn axis(value: f64, nominal: f64, result: Option<AxisResult>) -> AxisVerdict {
        let limits = AxisLimits { nominal: Some(Deg::new(nominal)), ..AxisLimits::default() };
        let (value, expanded) = (Deg::new(value), Deg::new(0.1));
        AxisVerdict::Measured(AxisValue { value, expanded, limits, result, conformance: None })
    }

    fn steps(overall: Overall, vertical: AxisVerdict, horizontal: AxisVerdict, has_screws: bool) -> Vec<String> {
        let text = include_str!("../../calib/screws/two-screws.screws.toml");
        let screws = Screws::parse(text, "two.toml").unwrap();
        let verdict = Verdict { rule_id: "test".into(), overall, vertical, horizontal, dark_zone: None };
        advise(&verdict, has_screws.then_some(&screws), Mm::new(10_000.0)).steps
    }

    const FAIL: Option<AxisResult> = Some(AxisResult::Fail);
    const PASS: Option<AxisResult> = Some(AxisResult::Pass);

    #[test]
    fn cautions_then_vertical_then_horizontal_then_photo() {
        let steps = steps(Overall::Fail, axis(0.05, -0.6, FAIL), axis(1.302, 0.0, FAIL), true);
        assert_eq!(steps.len(), 4, "{steps:#?}");
        assert_eq!(steps[0], CAUTIONS);
        // Up is clockwise on "top", so down overshoots and comes back; left is clockwise on "outer side".
        assert!(steps[1].starts_with("Move the beam down by 0.65° (113 mm on the wall)"), "{}", steps[1]);
        assert!(
            steps[1].contains("counterclockwise, about one turn (net 1.00), and half a turn beyond"),
            "{}",
            steps[1]
        );
        assert!(steps[1].contains("(1.50 out, 0.50 back)"), "{}", steps[1]);
        assert!(steps[2].contains("left") && steps[2].ends_with("\"outer side\" clockwise, about 2 turns (net 2.00)."));
        assert!(steps[3].starts_with("Photograph again"));
    }

    #[test]
    fn pass_says_nothing_to_do_and_record() {
        let steps = steps(Overall::Pass, axis(-0.5, -0.6, PASS), axis(0.0, 0.0, PASS), true);
        assert_eq!(steps, ["Nothing to adjust: record this reading."]);
    }

    #[test]
    fn without_screws_a_quarter_turn_is_tried() {
        let steps = steps(Overall::Fail, axis(0.05, -0.6, FAIL), axis(0.0, 0.0, PASS), false);
        assert!(steps[1].contains("try a quarter turn of the vertical screw and photograph again"), "{}", steps[1]);
        assert!(!steps.iter().any(|step| step.contains("horizontal")));
    }

    #[test]
    fn borderline_and_missing_say_so() {
        let borderline = Some(AxisResult::Borderline);
        let steps = steps(Overall::None, axis(0.05, -0.6, borderline), AxisVerdict::NotMeasured, true);
        assert!(steps[0].contains("horizontal place could not be measured"));
        assert!(steps[1].contains("Too close to a limit to call (vertical)"));
    }

    #[test]
    fn a_nominal_that_is_met_within_u_is_left_alone() {
        let steps = steps(Overall::None, axis(-0.55, -0.6, None), axis(1.0, 0.0, None), true);
        assert!(steps[1].contains("vertical place is at its nominal within the uncertainty"), "{steps:#?}");
        assert!(steps[2].contains("Move the beam left"));
    }

    #[test]
    fn far_off_looks_for_another_cause_first() {
        let steps = steps(Overall::Fail, axis(4.0, -0.6, FAIL), axis(0.0, 0.0, PASS), true);
        assert!(steps[1].contains("farther off than most adjusters reach"), "{steps:#?}");
    }

    #[test]
    fn turns_in_words() {
        let cases = [
            (0.06, "just a touch (net 0.06)"),
            (0.13, "about a quarter turn (net 0.13)"),
            (0.30, "about a quarter turn (net 0.30)"),
            (0.46, "about half a turn (net 0.46)"),
            (0.70, "about three quarters of a turn (net 0.70)"),
            (0.95, "about one turn (net 0.95)"),
            (1.20, "about 1 1/4 turns (net 1.20)"),
            (2.02, "about 2 turns (net 2.02)"),
        ];
        for (turns, words) in cases {
            assert_eq!(in_hand(turns), words);
        }
    }
}

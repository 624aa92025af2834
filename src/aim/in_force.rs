//! Whether a rule was in force on the day of a photo.

use super::applied::AppliedRule;
use crate::flag::{Flag, FlagCode};

impl AppliedRule {
    /// The flag of a reading that is of a day on which the rule was not in force: of the day that the photo states, or of today where
    /// it states none.
    pub fn not_in_force_at(&self, captured: Option<&str>, today: &str) -> Option<Flag> {
        /// Letters of `YYYY-MM-DD`.
        const DAY: usize = 10;
        match captured.and_then(|time| time.get(..DAY)) {
            Some(day) => self.not_in_force(day, "by the camera's clock"),
            None => self.not_in_force(today, "the photo states no day, so today's was taken"),
        }
    }

    /// The flag of a reading on a day, `YYYY-MM-DD`, on which the rule was not in force; `source` says where the day is from.
    fn not_in_force(&self, day: &str, source: &str) -> Option<Flag> {
        // Days of this shape are in order as texts.
        let why = match (self.effective_from.as_deref(), self.effective_to.as_deref()) {
            (Some(from), _) if day < from => format!("is in force from {from} on"),
            (_, Some(to)) if day > to => format!("was in force until {to}"),
            _ => return None,
        };
        let found = format!(
            "Rule {} {why}, and the reading is of {day} ({source}); choose the rule of that day with --rules.",
            self.id
        );
        Some(Flag::new(FlagCode::RuleNotInForce, found))
    }
}

#[cfg(test)]
mod tests {
    use super::super::applied::LampCase;
    use super::super::rule::{Beam, Rule};
    use crate::bay::{LampSide, Traffic};
    use crate::beam::Pattern;
    use crate::units::Mm;

    #[test]
    fn a_rule_holds_from_its_first_day_to_its_last() {
        let lamp = LampCase {
            beam: Beam::Low,
            pattern: Pattern::Kink,
            traffic: Traffic::Left,
            side: LampSide::Left,
            centre_height: Mm::new(700.0),
            lower_edge_height: None,
            plate: None,
        };
        let on = |id: &str, day: &str| {
            Rule::built_in(id)
                .unwrap()
                .unwrap()
                .apply(&lamp)
                .unwrap()
                .not_in_force(day, "a camera")
                .map(|flag| flag.text)
        };
        // The two texts of one country: the day between them is 2016-03-24.
        assert_eq!(on("gb-inspection", "2016-03-24"), None);
        let early = on("gb-inspection", "2016-03-23").unwrap();
        assert!(early.contains("from 2016-03-24 on") && early.contains("of 2016-03-23 (a camera)"), "{early}");
        assert_eq!(on("gb-before-2016", "2016-03-23"), None);
        assert!(on("gb-before-2016", "2016-03-24").unwrap().contains("until 2016-03-23"));
        assert_eq!(on("shop-check", "1900-01-01"), None);
    }
}

//! A measurement as words and texts: all that a plan is made of, so that it can be made again where no file can be read.

use super::args::{Cli, Command};
use super::plan::{Input, Plan};
use crate::error::Error;
use crate::options::Options;
use serde::{Deserialize, Serialize};
use std::path::Path;

/// Words of `measure` and the texts of the files that they name.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) struct Given {
    /// The words, without the program's name.
    pub(crate) words: Vec<String>,
    /// The bay file.
    pub(crate) bay: String,
    /// The rule file.
    pub(crate) rule: String,
    /// The screws file.
    pub(crate) screws: Option<String>,
    /// The lens file.
    pub(crate) lens: Option<String>,
    /// The response file.
    pub(crate) response: Option<String>,
    /// Every tunable.
    pub(crate) options: String,
    /// The day on which it was measured, `YYYY-MM-DD`.
    pub(crate) today: String,
}

impl Given {
    /// What a plan was made of.
    pub(crate) fn of(plan: &Plan) -> Self {
        Self {
            words: plan.command.clone(),
            bay: plan.texts.bay.clone(),
            rule: plan.texts.rule.clone(),
            screws: plan.texts.screws.clone(),
            lens: plan.lens_text.as_ref().map(|(_, text)| text.clone()),
            response: plan.texts.response.clone(),
            options: plan.options.to_toml(),
            today: plan.today.clone(),
        }
    }

    /// The plan, without any place for files.
    pub(crate) fn plan(&self) -> Result<Plan, Error> {
        let unusable = |found: String| {
            let hint = "use the version that wrote it";
            Error::usage(format!("the record's command cannot be read by this version: {found}"), hint)
        };
        let words = std::iter::once("lampwright").chain(self.words.iter().map(String::as_str));
        let parsed = Cli::read(words).map_err(|error| unusable(error.to_string()))?;
        let Command::Measure(args) = parsed.command else { return Err(unusable("it is no measurement".to_owned())) };
        let text = |input: Input, _: &Path| {
            let text = match input {
                Input::Bay => Some(&self.bay),
                Input::Rule => Some(&self.rule),
                Input::Screws => self.screws.as_ref(),
                Input::Lens => self.lens.as_ref(),
                Input::Response => self.response.as_ref(),
                Input::Options => Some(&self.options),
            };
            text.cloned().ok_or_else(|| unusable(format!("it names a file of {input:?} that was not recorded")))
        };
        let mut plan = Plan::with(&args, self.words.clone(), &text)?;
        plan.options = Options::parse(&self.options, "the recorded options")?;
        (plan.annotated, plan.trace) = (None, None);
        plan.today.clone_from(&self.today);
        Ok(plan)
    }
}

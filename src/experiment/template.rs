//! The experiment that a new user starts from.

const TEMPLATE: &str = include_str!("template.toml");

/// The text of a commented experiment that runs as it is, with a title of the user's own.
#[must_use]
pub fn template(title: &str) -> String {
    // As a TOML string, whatever letters the title has.
    TEMPLATE.replacen("\"TITLE\"", &toml::Value::String(title.to_owned()).to_string(), 1)
}

#[cfg(test)]
mod tests {
    use super::template;
    use crate::experiment::Plan;

    #[test]
    fn identity_template_is_a_plan_and_takes_any_title() {
        for title in ["hip", "a \"quoted\" \\ title", "TITLE"] {
            let text = template(title);
            let plan = Plan::parse("new.toml", &text).unwrap_or_else(|error| panic!("{error}\n{text}"));
            assert_eq!(plan.title, title);
            assert_eq!((plan.trials, plan.requirements.len()), (2000, 2));
            assert_eq!(plan.variants[0].model.reductions.len(), 2);
        }
    }

    /// What is commented out is sound as well.
    #[test]
    fn identity_template_without_its_comment_signs_is_a_plan() {
        let text = template("hip");
        let live: Vec<_> = text.lines().map(|line| line.strip_prefix("#: ").unwrap_or(line)).collect();
        assert_ne!(live.join("\n"), text.trim_end());
        let plan = Plan::parse("new.toml", &live.join("\n")).unwrap_or_else(|error| panic!("{error}"));
        assert_eq!(plan.variants.len(), 6, "two arms at three points");
    }
}

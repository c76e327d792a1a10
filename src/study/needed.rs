//! Verdicts of several requirements of which all must pass, or one suffices.

use super::assess::{Asked, Assessment, RequirementAssessment};
use crate::analysis::{Judgement, Rule, Verdict, confidence_of_a_look};
use crate::experiment::{Plan, RequirementsNeeded, Variant};

/// The judgements of one variant's requirements before it is settled which of them count.
pub(super) struct Candidates<'p> {
    plan: &'p Plan,
    all: Vec<Candidate<'p>>,
}

struct Candidate<'p> {
    asked: Asked<'p>,
    /// At the requirement's own confidence first, then as one of two, of three and so on.
    judgements: Vec<Judgement>,
}

impl<'p> Candidates<'p> {
    pub fn new(plan: &'p Plan) -> Self {
        Self { plan, all: Vec::new() }
    }

    /// Judges a requirement at every confidence that may count.
    pub fn add(&mut self, asked: Asked<'p>, rule: &Rule, judge: impl Fn(&Rule) -> Judgement) {
        let tests = match self.plan.requirements_needed {
            RequirementsNeeded::All => 1,
            RequirementsNeeded::Any => self.plan.requirements.len() + self.plan.joint_requirements.len(),
        };
        let one_of = |tests| Rule { confidence: confidence_of_a_look(rule.confidence, tests), ..*rule };
        let judgements = (1..=u32::try_from(tests).unwrap_or(u32::MAX)).map(|tests| judge(&one_of(tests))).collect();
        self.all.push(Candidate { asked, judgements });
    }

    /// All must pass: each at its own confidence. One suffices: Holm's step-down correction, in which what passes as one of m
    /// leaves the others to be judged as one of those that are left (Holm S. Scand J Stat 1979;6:65-70).
    pub fn settle(self, variant: &'p Variant) -> Vec<RequirementAssessment<'p>> {
        let settled = |Candidate { asked, mut judgements }: Candidate<'p>, tests: usize| RequirementAssessment {
            asked,
            variant,
            judgement: judgements.swap_remove(tests - 1),
        };
        let mut left = self.all;
        let mut done = Vec::new();
        while !left.is_empty() {
            let tests = match self.plan.requirements_needed {
                RequirementsNeeded::All => 1,
                RequirementsNeeded::Any => left.len(),
            };
            let passes = |found: &Candidate| found.judgements[tests - 1].verdict == Verdict::Pass;
            let (passed, others): (Vec<_>, Vec<_>) = left.into_iter().partition(passes);
            let none = passed.is_empty();
            done.extend(passed.into_iter().map(|found| settled(found, tests)));
            left = others;
            if none {
                done.extend(left.drain(..).map(|found| settled(found, tests)));
            }
        }
        done
    }
}

impl Assessment<'_> {
    /// Whether the requirements are met: in every variant all of them pass, or one of them where one suffices; true without
    /// requirements.
    #[must_use]
    pub fn is_met(&self, plan: &Plan) -> bool {
        let passes = |assessed: &RequirementAssessment| assessed.judgement.verdict == Verdict::Pass;
        let of = |variant: &Variant| {
            let own = |assessed: &&RequirementAssessment| std::ptr::eq(assessed.variant, variant);
            self.requirements.iter().filter(own).any(passes)
        };
        match plan.requirements_needed {
            RequirementsNeeded::All => self.requirements.iter().all(passes),
            RequirementsNeeded::Any => self.requirements.is_empty() || plan.variants.iter().all(of),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::Counts;
    use crate::analysis::judge_counts;

    /// Three requirements of 100 trials, 95 % with 95 % confidence: none out of 100 has a bound of 1 - 0.05^(1/100) = 2.95 %,
    /// as one of three 1 - (0.05/3)^(1/100) = 4.01 %; one out has 4.66 % and, as one of two, 5.45 %, so it passes only alone
    /// (Clopper-Pearson).
    #[test]
    fn table_one_suffices_by_hand() {
        let requirement = |id: &str| {
            format!(
                "[[requirement]]\nid = \"{id}\"\ntext = \"T.\"\noutput = \"offset\"\nlimit_mm = 3\nproportion = 0.95\nconfidence = 0.95\n"
            )
        };
        let verdicts = |needed: &str, out: [u64; 3]| -> Vec<(String, f64, bool)> {
            let text = format!(
                "seed = 1\ntrials = 100\nrequirements_needed = \"{needed}\"\n{}{}{}",
                requirement("A"),
                requirement("B"),
                requirement("C")
            );
            let plan = Plan::parse("needed.toml", &text).unwrap();
            let mut candidates = Candidates::new(&plan);
            for (asked, out) in plan.requirements.iter().zip(out) {
                let mut counts = Counts::default();
                for trial in 0..100 {
                    counts.add(false, trial < out, trial < out);
                }
                candidates.add(Asked::one(asked), &asked.rule(), |rule| judge_counts(&counts, rule));
            }
            let mut found: Vec<_> = candidates
                .settle(&plan.variants[0])
                .iter()
                .map(|found| {
                    let passes = found.judgement.verdict == Verdict::Pass;
                    (found.asked.id.to_owned(), found.judgement.confidence, passes)
                })
                .collect();
            found.sort_by(|one, other| one.0.cmp(&other.0));
            found
        };
        let passes = |needed, out| verdicts(needed, out).iter().map(|found| found.2).collect::<Vec<_>>();
        assert_eq!(passes("all", [1, 1, 20]), [true, true, false]);
        assert_eq!(passes("any", [1, 1, 20]), [false, false, false]);
        // The first passes as one of three, the second then not as one of two, and if the third passed too, alone.
        assert_eq!(passes("any", [0, 1, 20]), [true, false, false]);
        assert_eq!(passes("any", [0, 1, 0]), [true, true, true]);
        let levels: Vec<f64> = verdicts("any", [0, 1, 20]).iter().map(|found| found.1).collect();
        for (got, expected) in levels.iter().zip([1.0 - 0.05 / 3.0, 0.975, 0.975]) {
            assert!((got - expected).abs() < 1e-12, "{levels:?}");
        }
    }
}

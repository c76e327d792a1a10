//! The answer on one page: met or not, by how much, what it comes from, and what would help most.

use super::answer::limit_words;
use super::failures::counts;
use crate::analysis::{Estimate, Interval, Verdict};
use crate::experiment::{Plan, Requirement, RequirementsNeeded};
use crate::record::tables::Cell;
use crate::report::evidence::{Entry, Files, Heading, Section, Table, label};
use crate::report::words::{Bound, bounded, estimate, number, percent, short, with_unit};
use crate::study::sensitivity::{ArmSensitivity, Change, IndexStudy, LimitedDifference, OneAtATime, SourceRuns};
use crate::study::{Assessment, RequirementAssessment};

const FILE: &str = "brief";
/// Sources that are named.
const NAMED: usize = 3;

pub fn section(plan: &Plan, assessment: &Assessment, sensitivity: &[ArmSensitivity], files: &mut Files) -> Section {
    // Studies are of the first point of the sweeps; all points stand among the verdicts and the design curves.
    let first: Vec<&RequirementAssessment> =
        assessment.requirements.iter().filter(|assessed| assessed.variant.point == 0).collect();
    let mut entries = vec![Entry::paragraph(overview(plan, assessment, first.len()))];
    let lines: Vec<Line> = first.iter().map(|assessed| Line::of(plan, assessed, sensitivity)).collect();
    if !lines.is_empty() {
        entries.push(Entry::List { items: lines.iter().map(Line::sentence).collect() });
        entries.push(Entry::Table(table(plan, &lines, files)));
    }
    Section { id: "brief", title: "Answer in brief", entries }
}

fn overview(plan: &Plan, assessment: &Assessment, shown: usize) -> String {
    let met = assessment.requirements.iter().filter(|assessed| assessed.judgement.verdict == Verdict::Pass).count();
    let all = assessment.requirements.len();
    let failed = counts(plan, assessment, 0);
    match all {
        0 => format!("No requirement is stated, so nothing is judged; the errors are described below. {failed}"),
        _ if shown < all => format!(
            "{met} of {all} judgements are met, over every arm and point. Below stand those of the first point of the sweeps; the \
             others are among the design curves. In the first variant: {failed}"
        ),
        _ if plan.requirements_needed == RequirementsNeeded::Any => {
            let enough = if assessment.is_met(plan) { "is" } else { "is not" };
            format!(
                "One requirement suffices in each variant; this {enough} demonstrated ({met} of {all} pass). {failed}"
            )
        }
        _ => format!("{met} of {all} requirements are met. {failed}"),
    }
}

/// What there is to say of one requirement in one variant.
struct Line<'a> {
    assessed: &'a RequirementAssessment<'a>,
    label: Option<String>,
    /// Acceptance limit less the bound of the error; `None` of several limits together, or with a bound beyond the data.
    margin: Option<f64>,
    /// The sources whose removal is seen to lower most what the requirement limits.
    largest: Vec<Removed<'a>>,
    /// The source whose halving helps most for its cost, what that does to what the requirement limits, and the cost.
    cheapest: Option<(&'a SourceRuns, LimitedDifference, f64)>,
    /// The groups with the largest total indices, where no source was run by itself.
    groups: Vec<(&'a str, f64)>,
    studied: bool,
}

/// A source with what its removal does.
struct Removed<'a> {
    source: &'a SourceRuns,
    change: LimitedDifference,
    /// Variance with the source alone over that with everything as it is; of several limits together, none.
    share: Option<f64>,
}

impl<'a> Line<'a> {
    fn of(plan: &Plan, assessed: &'a RequirementAssessment<'a>, sensitivity: &'a [ArmSensitivity]) -> Self {
        let single = assessed.asked.single();
        let margin = single.zip(assessed.judgement.bound).map(|(limit, bound)| limit.rule().acceptance() - bound);
        let of_arm = sensitivity.iter().find(|arm| std::ptr::eq(arm.variant, assessed.variant));
        let study = of_arm.and_then(|arm| arm.one_at_a_time.as_ref());
        let which = place(plan, assessed.asked.id);
        let (largest, cheapest) = match (which, study) {
            (Some(which), Some(study)) => (largest(study, which, single), cheapest(plan, study, which)),
            _ => (Vec::new(), None),
        };
        let indices = of_arm.and_then(|arm| arm.indices.as_ref()).filter(|_| study.is_none());
        let groups = indices.zip(single).map_or_else(Vec::new, |(indices, limit)| groups(indices, limit));
        let label = label(plan, assessed.variant);
        Self { assessed, label, margin, largest, cheapest, groups, studied: study.is_some() }
    }

    fn unit(&self) -> &'static str {
        self.assessed.asked.single().map_or("", |limit| limit.output.unit().symbol())
    }

    fn limits(&self) -> String {
        let limit = |limit: &&Requirement| format!("{} {}", limit.output.name(), limit_words(limit));
        self.assessed.asked.limits.iter().map(limit).collect::<Vec<_>>().join(" and ")
    }

    fn met(&self) -> &'static str {
        match self.assessed.judgement.verdict {
            Verdict::Pass => "met",
            Verdict::Fail => "not met",
            Verdict::NotShown => "not shown",
        }
    }

    fn margin_words(&self) -> String {
        let Some(margin) = self.margin else { return "none stated".to_owned() };
        let limit = self.assessed.asked.single().map_or(f64::NAN, |limit| limit.rule().acceptance());
        let share = if limit > 0.0 {
            format!(" ({}\u{a0}% of the limit)", number(100.0 * margin / limit, 0))
        } else {
            String::new()
        };
        format!("{}{share}", with_unit(&bounded(margin, 0.0, Bound::Lower), self.unit()))
    }

    /// The bound of the error, rounded away from the limit.
    fn bound_words(&self) -> String {
        let (single, bound) = (self.assessed.asked.single(), self.assessed.judgement.bound);
        single.zip(bound).map_or_else(
            || "none".to_owned(),
            |(limit, bound)| with_unit(&bounded(bound, limit.rule().acceptance(), Bound::Upper), self.unit()),
        )
    }

    /// What a change of a source does to what the requirement limits.
    fn change_words(&self, change: &LimitedDifference) -> String {
        match self.assessed.asked.single().filter(|_| change.quantile.value.is_finite()) {
            Some(limit) => {
                let unit = if self.unit() == "mm" { "\u{a0}mm" } else { self.unit() };
                format!("{}{unit}", estimate(Some(scaled(change.quantile, limit.rule().acceptance()))))
            }
            None => format!("{} percentage points outside", estimate(Some(scaled(change.outside, 100.0)))),
        }
    }

    fn largest_words(&self) -> String {
        if !self.groups.is_empty() {
            let one = |(group, share): &(&str, f64)| format!("{group} ({}\u{a0}%)", number(100.0 * share, 0));
            let groups = self.groups.iter().map(one).collect::<Vec<_>>().join(", ");
            return format!("ranked by variance, with the total index: {groups}");
        }
        if !self.studied {
            return "not computed".to_owned();
        }
        let one = |removed: &Removed| format!("{} ({})", removed.source.name, self.change_words(&removed.change));
        match self.largest.len() {
            0 => "removing no single source is seen to help".to_owned(),
            _ => self.largest.iter().map(one).collect::<Vec<_>>().join(", "),
        }
    }

    fn cheapest_words(&self) -> String {
        match &self.cheapest {
            None if !self.studied => "not computed".to_owned(),
            None => "halving no single source is seen to help".to_owned(),
            Some((source, change, cost)) => {
                let cost = if *cost == 1.0 { String::new() } else { format!(", relative cost {}", short(*cost)) };
                format!("halve {}: {}{cost}", source.name, self.change_words(change))
            }
        }
    }

    fn sentence(&self) -> String {
        let of = self.label.as_ref().map_or(String::new(), |label| format!(", {label}"));
        let quantity = match self.assessed.asked.single() {
            Some(_) => format!("{}\u{a0}% quantile", percent(self.assessed.asked.proportion)),
            None => "proportion outside".to_owned(),
        };
        let studied = match (self.studied, self.groups.is_empty()) {
            (true, _) => format!(
                " Largest sources, with the change of the {quantity} without each: {}. Cheapest improvement: {}.",
                self.largest_words(),
                self.cheapest_words()
            ),
            (false, false) => format!(" Largest groups of sources, {}.", self.largest_words()),
            (false, true) => String::new(),
        };
        format!(
            "{}{of} ({}, for {}\u{a0}% of cases) is {}; margin: {}.{studied}",
            self.assessed.asked.id,
            self.limits(),
            percent(self.assessed.asked.proportion),
            self.met(),
            self.margin_words(),
        )
    }
}

/// The place of a requirement among those of the plan, those that join others last.
fn place(plan: &Plan, id: &str) -> Option<usize> {
    let single = plan.requirements.iter().map(|requirement| requirement.id.as_str());
    single.chain(plan.joint_requirements.iter().map(|joint| joint.id.as_str())).position(|other| other == id)
}

fn scaled(estimate: Estimate, by: f64) -> Estimate {
    let interval = estimate.interval.map(|ends| Interval { low: by * ends.low, high: by * ends.high, ..ends });
    let standard_error = estimate.standard_error.map(|error| by * error);
    Estimate { value: by * estimate.value, interval, standard_error, ..estimate }
}

/// Whether a change is seen to lower what a requirement limits.
fn helps(change: &LimitedDifference) -> bool {
    change.ranked().interval.is_some_and(|interval| interval.high < 0.0)
}

fn largest<'a>(study: &'a OneAtATime, which: usize, single: Option<&Requirement>) -> Vec<Removed<'a>> {
    let square = |sd: Option<Estimate>| sd.map_or(0.0, |sd| sd.value * sd.value);
    let share = |source: &SourceRuns| {
        let i = single?.output.place();
        Some(square(source.run(Change::Alone)[i].summary.sd) / square(study.all[i].sd))
    };
    let mut removed: Vec<Removed> = study
        .sources
        .iter()
        .filter_map(|source| {
            let change = *source.limited(Change::Without).get(which)?;
            helps(&change).then(|| Removed { source, change, share: share(source) })
        })
        .collect();
    removed.sort_by(|a, b| a.change.ranked().value.total_cmp(&b.change.ranked().value));
    removed.truncate(NAMED);
    removed
}

/// The groups with the largest total indices on the output of a limit.
fn groups<'a>(study: &'a IndexStudy, limit: &Requirement) -> Vec<(&'a str, f64)> {
    let Some(found) = study.outputs.iter().find(|found| found.output == limit.output && !found.too_many_dropped())
    else {
        return Vec::new();
    };
    let all = study.groups.iter().zip(&found.indices.effects);
    let mut all: Vec<(&str, f64)> = all
        .filter(|(_, effect)| effect.total.value > 0.0)
        .map(|(group, effect)| (group.name.as_str(), effect.total.value))
        .collect();
    all.sort_by(|a, b| b.1.total_cmp(&a.1));
    all.truncate(NAMED);
    all
}

/// Of the sources whose halving is seen to lower what a requirement limits, the one that lowers it most for its cost.
fn cheapest<'a>(
    plan: &Plan,
    study: &'a OneAtATime,
    which: usize,
) -> Option<(&'a SourceRuns, LimitedDifference, f64)> {
    let groups = plan.sensitivity.as_ref().map_or(&[][..], |asked| &asked.groups);
    let cost_of = |source: &'static str| {
        let holder = groups.iter().find(|group| group.holds(source)).map_or(source, |group| group.name.as_str());
        plan.budgeting.cost_of(holder, &[source])
    };
    let halved = study.sources.iter().filter_map(|source| Some((source, *source.limited(Change::Half).get(which)?)));
    halved
        .filter(|(_, change)| helps(change))
        .map(|(source, change)| (source, change, cost_of(source.part.source)))
        .min_by(|a, b| (a.1.ranked().value / a.2).total_cmp(&(b.1.ranked().value / b.2)))
}

fn table(plan: &Plan, lines: &[Line], files: &mut Files) -> Table {
    let several = plan.variants.iter().any(|variant| variant.arm != plan.variants[0].arm);
    let (mut rows, mut cells) = (Vec::new(), Vec::new());
    for line in lines {
        let (asked, found) = (&line.assessed.asked, &line.assessed.judgement);
        let mut row = vec![asked.id.to_owned()];
        row.extend(several.then(|| line.label.clone().unwrap_or_default()));
        row.extend([
            line.met().to_owned(),
            line.limits(),
            line.bound_words(),
            line.margin_words(),
            line.largest_words(),
            line.cheapest_words(),
        ]);
        rows.push(row);
        let mut row: Vec<Cell> = vec![asked.id.into(), line.assessed.variant.arm.as_str().into(), line.met().into()];
        row.extend([Cell::from(found.bound), line.margin.into()]);
        for which in 0..NAMED {
            let removed = line.largest.get(which);
            row.push(removed.map(|removed| removed.source.name.as_str()).into());
            row.push(removed.and_then(|removed| removed.share).into());
        }
        let cheapest = line.cheapest.as_ref();
        let place = asked.single().map(|limit| limit.output.place());
        let p95 = cheapest.zip(place).map(|((source, ..), i)| source.run(Change::Half)[i].p95_difference.value);
        row.extend([Cell::from(cheapest.map(|(source, ..)| source.name.as_str())), p95.into()]);
        row.push(cheapest.map(|(.., cost)| *cost).into());
        // Quantiles in the unit of the output; of several limits together in units of the limits.
        let limit = asked.single().map_or(1.0, |limit| limit.rule().acceptance());
        let changes = (0..NAMED).map(|which| line.largest.get(which).map(|removed| removed.change));
        for change in changes.chain([cheapest.map(|(_, change, _)| *change)]) {
            row.push(change.map(|change| change.quantile.value * limit).filter(|value| value.is_finite()).into());
            row.push(change.map(|change| change.outside.value).into());
        }
        cells.push(row);
    }
    let header = [
        "requirement",
        "arm",
        "met",
        "bound",
        "margin",
        "source_1",
        "share_1",
        "source_2",
        "share_2",
        "source_3",
        "share_3",
        "halve",
        "p95_abs_difference",
        "cost",
        "quantile_change_1",
        "outside_change_1",
        "quantile_change_2",
        "outside_change_2",
        "quantile_change_3",
        "outside_change_3",
        "halve_quantile_change",
        "halve_outside_change",
    ];
    let csv = files.add(FILE, &header, cells);
    let columns = [("requirement", false)]
        .into_iter()
        .chain(several.then_some(("variant", false)))
        .chain([
            ("met", false),
            ("limit", false),
            ("bound of the error", true),
            ("margin", true),
            ("largest sources (change without the source)", false),
            ("cheapest improvement", false),
        ])
        .map(|(name, numbers)| Heading { name: name.to_owned(), numbers });
    Table {
        id: "table-brief".to_owned(),
        caption: "Met or not, by how much, and what would help".to_owned(),
        reading: "The bound is the upper confidence bound of the error that the required proportion stays within; the margin is the \
                  limit, less a guard band, less that bound. Sources are ranked by what their removal does to what the requirement \
                  limits: the required quantile of the error, or the proportion of cases outside where several limits are joined. A \
                  rare event of a source counts by itself. The cheapest improvement is the source whose halving lowers the same \
                  quantity most for its relative cost (sensitivity.cost; 1 unless given). Only changes whose interval lies below 0 \
                  are named. Without runs of single sources the ranking is by variance, and says so."
            .to_owned(),
        columns: columns.collect(),
        rows,
        csv,
    }
}

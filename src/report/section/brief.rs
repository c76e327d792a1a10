//! The answer on one page: met or not, by how much, what it comes from, and what would help most.

use super::answer::limit_words;
use super::failures::counts;
use crate::analysis::{Estimate, Verdict};
use crate::experiment::{Plan, Requirement};
use crate::measurement::Output;
use crate::record::tables::Cell;
use crate::report::evidence::{Entry, Files, Heading, Section, Table, label};
use crate::report::words::{Bound, bounded, estimate, number, percent, short, with_unit};
use crate::study::sensitivity::{ArmSensitivity, Change, OneAtATime};
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
        _ => format!("{met} of {all} requirements are met. {failed}"),
    }
}

/// What there is to say of one requirement in one variant.
struct Line<'a> {
    assessed: &'a RequirementAssessment<'a>,
    label: Option<String>,
    /// Acceptance limit less the bound of the error; `None` of several limits together, or with a bound beyond the data.
    margin: Option<f64>,
    /// The largest sources, each with its share of the variance.
    largest: Vec<(&'static str, f64)>,
    /// The source whose halving helps most for its cost, what that does to the 95 % quantile, and the cost.
    cheapest: Option<(&'static str, Estimate, f64)>,
    studied: bool,
}

impl<'a> Line<'a> {
    fn of(plan: &Plan, assessed: &'a RequirementAssessment<'a>, sensitivity: &[ArmSensitivity]) -> Self {
        let single = assessed.asked.single();
        let margin = single.zip(assessed.judgement.bound).map(|(limit, bound)| limit.rule().acceptance() - bound);
        let of_arm = sensitivity.iter().find(|arm| std::ptr::eq(arm.variant, assessed.variant));
        let study = of_arm.and_then(|arm| arm.one_at_a_time.as_ref());
        let (largest, cheapest) = match (single, study) {
            (Some(limit), Some(study)) => (largest(study, limit.output), cheapest(plan, study, limit.output)),
            _ => (Vec::new(), None),
        };
        let label = label(plan, assessed.variant);
        Self { assessed, label, margin, largest, cheapest, studied: study.is_some() && single.is_some() }
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

    fn largest_words(&self) -> String {
        if !self.studied {
            return "not asked".to_owned();
        }
        let one = |(source, share): &(&str, f64)| format!("{source} ({}\u{a0}%)", number(100.0 * share, 0));
        match self.largest.len() {
            0 => "no source moves it".to_owned(),
            _ => self.largest.iter().map(one).collect::<Vec<_>>().join(", "),
        }
    }

    fn cheapest_words(&self) -> String {
        match &self.cheapest {
            None if !self.studied => "not asked".to_owned(),
            None => "halving no single source is seen to help".to_owned(),
            Some((source, change, cost)) => {
                let cost = if *cost == 1.0 { String::new() } else { format!(", relative cost {}", short(*cost)) };
                let unit = if self.unit() == "mm" { "\u{a0}mm" } else { self.unit() };
                format!("halve {source}: {}{unit} of the 95\u{a0}% quantile{cost}", estimate(Some(*change)))
            }
        }
    }

    fn sentence(&self) -> String {
        let of = self.label.as_ref().map_or(String::new(), |label| format!(", {label}"));
        let studied = if self.studied {
            format!(" Largest sources: {}. Cheapest improvement: {}.", self.largest_words(), self.cheapest_words())
        } else {
            " The largest sources and the cheapest improvement were not asked of it.".to_owned()
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

fn largest(study: &OneAtATime, output: Output) -> Vec<(&'static str, f64)> {
    let i = output.place();
    let square = |sd: Option<Estimate>| sd.map_or(0.0, |sd| sd.value * sd.value);
    let whole = square(study.all[i].sd);
    let share = |source: &crate::study::sensitivity::SourceRuns| {
        (source.source, square(source.run(Change::Alone)[i].summary.sd) / whole)
    };
    let mut found: Vec<(&'static str, f64)> =
        study.sources.iter().map(share).filter(|(_, share)| *share > 0.0).collect();
    found.sort_by(|a, b| b.1.total_cmp(&a.1));
    found.truncate(NAMED);
    found
}

/// Of the sources whose halving is seen to lower the quantile, the one that lowers it most for its cost.
fn cheapest(plan: &Plan, study: &OneAtATime, output: Output) -> Option<(&'static str, Estimate, f64)> {
    let i = output.place();
    let groups = plan.sensitivity.as_ref().map_or(&[][..], |asked| &asked.groups);
    let cost_of = |source: &'static str| {
        let holder = groups.iter().find(|group| group.holds(source)).map_or(source, |group| group.name.as_str());
        plan.budgeting.cost_of(holder, &[source])
    };
    let helps = |change: &Estimate| change.interval.is_some_and(|interval| interval.high < 0.0);
    study
        .sources
        .iter()
        .map(|source| (source.source, source.run(Change::Half)[i].p95_difference, cost_of(source.source)))
        .filter(|(_, change, _)| helps(change))
        .min_by(|a, b| (a.1.value / a.2).total_cmp(&(b.1.value / b.2)))
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
            let source = line.largest.get(which);
            row.extend([Cell::from(source.map(|(source, _)| *source)), source.map(|(_, share)| *share).into()]);
        }
        row.push(line.cheapest.map(|(source, ..)| source).into());
        row.push(line.cheapest.map(|(_, change, _)| change.value).into());
        row.push(line.cheapest.map(|(.., cost)| cost).into());
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
            ("largest sources (share of the variance)", false),
            ("cheapest improvement", false),
        ])
        .map(|(name, numbers)| Heading { name: name.to_owned(), numbers });
    Table {
        id: "table-brief".to_owned(),
        caption: "Met or not, by how much, and what would help".to_owned(),
        reading: "The bound is the upper confidence bound of the error that the required proportion stays within; the margin is the \
                  limit, less a guard band, less that bound. Shares are of the variance with one source alone. The cheapest \
                  improvement is the source whose halving lowers the 95\u{a0}% quantile of the absolute error most for its relative \
                  cost (sensitivity.cost; 1 unless given), among those that are seen to lower it."
            .to_owned(),
        columns: columns.collect(),
        rows,
        csv,
    }
}

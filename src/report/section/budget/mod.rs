//! From limits on outputs to limits on sources: answers in words, tables and charts.

mod magnitudes;

use crate::experiment::{Plan, Requirement};
use crate::record::tables::Cell;
use crate::report::chart::{
    Alternative, Axis, BandPoint, Lines, Series, TwoIntervals, TwoIntervalsRow, lines, two_intervals,
};
use crate::report::evidence::{Chart, Entry, Files, Finding, Heading, Section, Table};
use crate::report::section::answer::sentence;
use crate::report::words::{count, number, percent, short};
use crate::study::Asked;
use crate::study::budget::{Answer, BudgetSearch, Found, LARGEST_SCALE, Plausible, Region, Strategy};

pub fn section(plan: &Plan, search: &BudgetSearch, files: &mut Files) -> Section {
    let mut entries = vec![
        Entry::paragraph(format!(
            "How large the sources may be so that every requirement is met, each answer by whole simulated cases. The `limit` is \
             the largest scale at which {} simulated cases just meet every requirement; the `assured` scale is the largest at \
             which a run of {} trials passes with a probability of {}\u{a0}%, with the sampling error of the search counted in. \
             Scale 1 is the experiment as it stands; a scale multiplies everything that a source draws, offsets too. For a \
             specification use the assured scale. The patients and the change made stay as they are. The relative cost of an \
             answer is the sum of cost over scale over the sources that move a required output.",
            count(search.cases),
            count(plan.trials),
            percent(search.assurance),
        )),
        Entry::List {
            items: shown(search).map(|found| in_words(plan, search, found)).chain(without_effect(search)).collect(),
        },
        table(plan, search, files),
        magnitudes::table(search, files),
    ];
    let mut charts: Vec<Chart> = alone_chart(search).into_iter().collect();
    charts.extend(search.region.as_ref().and_then(|region| region_chart(search, region, files)));
    if !charts.is_empty() {
        entries.push(Entry::Charts { charts });
    }
    entries.push(Entry::heading("fresh", "A fresh run at each assured scale"));
    entries.push(Entry::paragraph(
        "Each assured answer is tried once with draws that the search has not seen. One fresh run may miss: the assurance is a \
         probability, not a promise.",
    ));
    for found in &search.found {
        let label = name(search, &found.strategy);
        entries.extend(plan.requirements.iter().zip(&found.fresh).map(|(asked, judged)| {
            Entry::Verdict(Finding {
                verdict: judged.verdict.word(),
                label: format!("{}, {label}", asked.id),
                text: asked.text.clone(),
                risk: asked.risk.clone(),
                sentence: sentence(&Asked::one(asked), judged),
            })
        }));
    }
    Section { id: "budget", title: "How large the sources may be", entries }
}

/// The strategies, but for those of a knob that moves no required output.
fn shown<'s>(search: &'s BudgetSearch) -> impl Iterator<Item = &'s Found> {
    search.found.iter().filter(|found| found.limit != Answer::NoEffect)
}

/// Says which sources get no figure.
fn without_effect(search: &BudgetSearch) -> Option<String> {
    let idle = search.knobs.iter().zip(&search.effective).filter(|(_, effective)| !**effective);
    let names: Vec<&str> = idle.map(|(knob, _)| knob.name.as_str()).collect();
    (!names.is_empty()).then(|| {
        format!(
            "No figure: {}. Twice the scale, or none, changes no required output in any of {} cases.",
            names.join(", "),
            count(search.cases)
        )
    })
}

/// What a strategy is called.
pub fn name(search: &BudgetSearch, strategy: &Strategy) -> String {
    match strategy {
        Strategy::Alone(knob) => format!("{} alone", search.knobs[*knob].name),
        other => other.word().to_owned(),
    }
}

fn figure(scale: f64) -> String {
    number(scale, if scale < 0.1 { 4 } else { 3 })
}

/// The scale of a strategy that has one, or what there is instead.
pub fn answer_words(plan: &Plan, strategy: &Strategy, answer: &Answer) -> String {
    match answer {
        Answer::Scales { scales, .. } => match strategy {
            Strategy::Alone(knob) => figure(scales[*knob]),
            Strategy::Common => figure(scales.first().copied().unwrap_or(f64::NAN)),
            Strategy::EqualMargin | Strategy::Cost => "see the scales of each".to_owned(),
        },
        Answer::Missed(requirement) => {
            let id = plan.requirements.get(*requirement).map_or("a requirement", |asked| asked.id.as_str());
            format!("none: {id} is missed even at the smallest scale")
        }
        Answer::Unbounded => format!("none up to {LARGEST_SCALE}"),
        Answer::TooFewTrials => "none: the planned trials can show nothing".to_owned(),
        Answer::NoEffect => "no effect on a required output".to_owned(),
    }
}

fn binding<'p>(plan: &'p Plan, answer: &Answer) -> Option<&'p Requirement> {
    match answer {
        Answer::Scales { binding, .. } | Answer::Missed(binding) => plan.requirements.get(*binding),
        Answer::Unbounded | Answer::TooFewTrials | Answer::NoEffect => None,
    }
}

fn in_words(plan: &Plan, search: &BudgetSearch, found: &Found) -> String {
    let [limit, assured] = [&found.limit, &found.assured].map(|answer| {
        let words = answer_words(plan, &found.strategy, answer);
        search.cost_of(answer).map_or(words.clone(), |cost| format!("{words} (relative cost {})", figure(cost)))
    });
    let binds = binding(plan, &found.limit).map_or(String::new(), |asked| format!(" {} binds.", asked.id));
    let strategy = match &found.strategy {
        Strategy::Alone(knob) => format!("{} alone, all others at scale 1", search.knobs[*knob].name),
        Strategy::Common => "One scale for all".to_owned(),
        Strategy::EqualMargin => {
            "Equal margin, each moved by the same part of the way to its own limit (one without a limit to scale 10)"
                .to_owned()
        }
        Strategy::Cost => "By cost, the scales with the smallest relative cost".to_owned(),
    };
    format!("{strategy}: limit {limit}, assured {assured}.{binds}")
}

fn scale_of(answer: &Answer, knob: usize) -> Option<f64> {
    if let Answer::Scales { scales, .. } = answer { scales.get(knob).copied() } else { None }
}

fn outcome(answer: &Answer) -> &'static str {
    match answer {
        Answer::Scales { .. } => "found",
        Answer::Missed(_) => "missed even at the smallest scale",
        Answer::Unbounded => "met at the largest scale",
        Answer::TooFewTrials => "too few trials",
        Answer::NoEffect => "no effect on a required output",
    }
}

/// What is put behind a figure beyond its plausible range.
fn mark(plausible: Plausible) -> &'static str {
    match plausible {
        Plausible::Within => "",
        Plausible::Below => " (below plausible)",
        Plausible::Above => " (above plausible)",
    }
}

fn table(plan: &Plan, search: &BudgetSearch, files: &mut Files) -> Entry {
    let (mut cells, mut rows) = (Vec::new(), Vec::new());
    for found in shown(search) {
        let moved: Vec<usize> = match found.strategy {
            Strategy::Alone(knob) => vec![knob],
            _ => (0..search.knobs.len()).filter(|&knob| search.effective[knob]).collect(),
        };
        let fresh = plan.requirements.iter().zip(&found.fresh);
        let verdicts: Vec<String> =
            fresh.map(|(asked, judged)| format!("{} {}", asked.id, judged.verdict.word())).collect();
        for knob in moved {
            let (limit, assured) = (scale_of(&found.limit, knob), scale_of(&found.assured, knob));
            let bound = |answer| binding(plan, answer).map(|asked: &Requirement| asked.id.clone());
            cells.push(vec![
                search.variant.arm.as_str().into(),
                found.strategy.word().into(),
                search.knobs[knob].name.as_str().into(),
                search.costs[knob].into(),
                limit.into(),
                outcome(&found.limit).into(),
                bound(&found.limit).into(),
                assured.into(),
                outcome(&found.assured).into(),
                bound(&found.assured).into(),
                Cell::from(verdicts.join("; ")),
                search.cost_of(&found.limit).into(),
                search.cost_of(&found.assured).into(),
                limit.map(|scale| search.plausible(knob, scale).word()).into(),
                assured.map(|scale| search.plausible(knob, scale).word()).into(),
            ]);
            let words = |answer: &Answer, scale: Option<f64>| {
                let marked = |scale| format!("{}{}", figure(scale), mark(search.plausible(knob, scale)));
                scale.map_or_else(|| outcome(answer).to_owned(), marked)
            };
            rows.push(vec![
                name(search, &found.strategy),
                search.knobs[knob].name.clone(),
                short(search.costs[knob]),
                words(&found.limit, limit),
                words(&found.assured, assured),
                bound(&found.limit).unwrap_or_else(|| "none".to_owned()),
                if verdicts.is_empty() { "not made".to_owned() } else { verdicts.join("; ") },
            ]);
        }
    }
    let header = [
        "arm",
        "strategy",
        "source",
        "cost",
        "limit_scale",
        "limit_outcome",
        "limit_requirement",
        "assured_scale",
        "assured_outcome",
        "assured_requirement",
        "fresh_run",
        "limit_cost",
        "assured_cost",
        "limit_plausible",
        "assured_plausible",
    ];
    let csv = files.add("budget", &header, cells);
    let columns = [
        ("strategy", false),
        ("source", false),
        ("cost", true),
        ("limit", true),
        ("assured", true),
        ("binding requirement", false),
        ("fresh run at assured", false),
    ];
    Entry::Table(Table {
        id: "table-budget".to_owned(),
        caption: "Scales that meet every requirement".to_owned(),
        reading: "A scale above 1 allows a looser source, a scale below 1 demands a tighter one. `Missed`: even scale 0 does not \
                  help, because other sources are too large. `Met at the largest scale`: the source does not matter here. \
                  `Above plausible` and `below plausible` mark a scale that takes a magnitude of the source beyond its plausible \
                  range: the requirement does not limit the source there, or asks for more than is likely to be reached."
            .to_owned(),
        columns: columns.map(|(name, numbers)| Heading { name: name.to_owned(), numbers }).into(),
        rows,
        csv,
    })
}

fn alone_chart(search: &BudgetSearch) -> Option<Chart> {
    let rows: Vec<TwoIntervalsRow> = search
        .found
        .iter()
        .filter_map(|found| {
            let Strategy::Alone(knob) = found.strategy else { return None };
            let (limit, assured) = (scale_of(&found.limit, knob)?, scale_of(&found.assured, knob));
            let point = |value: f64| [value, f64::NAN, f64::NAN];
            Some(TwoIntervalsRow {
                label: &search.knobs[knob].name,
                one: point(limit),
                other: point(assured.unwrap_or(f64::NAN)),
            })
        })
        .collect();
    if rows.is_empty() {
        return None;
    }
    let data = TwoIntervals {
        axis: Axis { label: "Scale of the source", unit: "" },
        names: ["limit", "assured"],
        rows: &rows,
        reference: Some((1.0, "as it is")),
    };
    let description = "The largest scale of each source that still meets every requirement, all others as they are.";
    Some(Chart {
        id: "budget-alone".to_owned(),
        caption: "How far each source may be scaled by itself".to_owned(),
        reading: "Right of the line there is room, left of it the source must become smaller. Sources without a limit, or with \
                  none that helps, are in the table only."
            .to_owned(),
        svg: two_intervals(Alternative { title: "Scales", description }, &data),
        wide: false,
        csv: "budget".to_owned(),
    })
}

fn region_chart(search: &BudgetSearch, region: &Region, files: &mut Files) -> Option<Chart> {
    let names = region.knobs.map(|knob| search.knobs[knob].name.as_str());
    let words = ["limit", "assured"];
    let mut cells = Vec::new();
    for (word, rim) in words.iter().zip(&region.rims) {
        cells.extend(rim.iter().map(|[one, other]| {
            let row: Vec<Cell> =
                vec![(*word).into(), names[0].into(), (*one).into(), names[1].into(), (*other).into()];
            row
        }));
    }
    if cells.is_empty() {
        return None;
    }
    let csv = files.add("budget-region", &["answer", "source", "scale", "other_source", "other_scale"], cells);
    let points = region.rims.each_ref().map(|rim| {
        let mut points: Vec<BandPoint> =
            rim.iter().map(|&[x, y]| BandPoint { x, y, low: f64::NAN, high: f64::NAN }).collect();
        points.sort_by(|a, b| a.x.total_cmp(&b.x));
        points
    });
    let series = [0, 1].map(|i| Series { label: words[i], points: &points[i] });
    let labels = names.map(|name| format!("Scale of {name}"));
    let data = Lines {
        x: Axis { label: &labels[0], unit: "" },
        logarithmic: false,
        y: Axis { label: &labels[1], unit: "" },
        series: &series,
        levels: &[],
    };
    let description = format!("The rim of the scales of {} and {} that meet every requirement.", names[0], names[1]);
    Some(Chart {
        id: "budget-region".to_owned(),
        caption: format!("What {} and {} may be together", names[0], names[1]),
        reading: "Every pair of scales below and left of a line meets every requirement; the lower line is the assured one. All \
                  other sources stay as they are."
            .to_owned(),
        svg: lines(Alternative { title: "Region", description: &description }, &data),
        wide: false,
        csv,
    })
}

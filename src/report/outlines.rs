//! What each document holds, in which order: data alone. A section that is new in a report gets its place here too.

use super::document::Take::{All, Under};
use super::document::{Outline, Part};
use crate::experiment::ReportKind;

/// The outline of a kind of document.
pub(super) const fn of(kind: ReportKind) -> Outline {
    match kind {
        ReportKind::Verification => VERIFICATION,
        ReportKind::Engineering => ENGINEERING,
        ReportKind::Comparison => COMPARISON,
    }
}

/// The order of FDA's guidance "Reporting of Computational Modeling Studies in Medical Device Submissions" (2016): summary,
/// background, code verification, configuration, governing equations, properties, conditions, discretization (here
/// sampling), numerical implementation, validation, results, discussion, limitations, conclusions; with the credibility
/// factors of ASME V&V 40-2018.
const VERIFICATION: Outline = Outline {
    heading: "Verification report",
    foreword: "For who drafts or reviews verification evidence. It follows the order of FDA's guidance of 2016 on reporting \
               computational modelling studies, with the credibility factors of ASME V&V 40-2018. Blanks in square brackets \
               are for a person to fill in.",
    parts: &[
        Part { id: "summary", title: "Summary", takes: &[Under("answer", "in-short")], without: "" },
        Part {
            id: "question-of-interest",
            title: "Question of interest",
            takes: &[Under("question", "asked")],
            without: "",
        },
        Part {
            id: "use",
            title: "Context of use",
            takes: &[Under("question", "context-of-use"), Under("question", "method")],
            without: "",
        },
        Part {
            id: "model-risk",
            title: "Model influence and decision consequence",
            takes: &[Under("question", "model-influence"), Under("question", "decision-consequence")],
            without: "",
        },
        Part { id: "credibility-factors", title: "Credibility factors", takes: &[All("credibility")], without: "" },
        Part {
            id: "code",
            title: "Code verification",
            takes: &[All("code-verification")],
            without: "The published checks were not run for this document; `navassay selfcheck --csv FILE` runs them and writes \
                      the same table.",
        },
        Part { id: "configuration", title: "System configuration", takes: &[All("scene")], without: "" },
        Part {
            id: "governing-equations",
            title: "Governing equations",
            takes: &[Under("inputs", "measured-quantities"), All("equations")],
            without: "",
        },
        Part {
            id: "properties",
            title: "Inputs and their basis",
            takes: &[Under("inputs", "noise"), Under("inputs", "population"), Under("inputs", "variants")],
            without: "",
        },
        Part { id: "conditions", title: "Conditions", takes: &[Under("inputs", "protocol")], without: "" },
        Part {
            id: "sampling-plan",
            title: "Sampling plan and rationale",
            takes: &[Under("plan", "sampling")],
            without: "",
        },
        Part {
            id: "implementation",
            title: "Numerical implementation",
            takes: &[All("numerics"), All("reproduction")],
            without: "",
        },
        Part {
            id: "calculation",
            title: "Calculation verification",
            takes: &[
                Under("statistics", "stability"),
                Under("sensitivity", "linear-check"),
                Under("plan", "no-linear"),
            ],
            without: "",
        },
        Part { id: "validation", title: "Comparison with bench data", takes: &[All("bench")], without: "" },
        Part { id: "results-found", title: "Results", takes: &[All("results"), All("components")], without: "" },
        Part { id: "verdicts", title: "Verdicts", takes: &[Under("answer", "verdict-by-verdict")], without: "" },
        Part { id: "traced", title: "Traceability", takes: &[All("traceability")], without: "" },
        Part { id: "failed-trials", title: "Failed trials", takes: &[Under("failures", "failed")], without: "" },
        Part {
            id: "limitations",
            title: "Limitations",
            takes: &[
                Under("limits", "hangs"),
                Under("limits", "assumed"),
                Under("limits", "not-modelled"),
                Under("limits", "definitions"),
            ],
            without: "",
        },
        Part {
            id: "deviating",
            title: "Deviations from the plan",
            takes: &[Under("plan", "deviations"), Under("plan", "looks")],
            without: "",
        },
        Part { id: "cautions", title: "Cautions", takes: &[Under("limits", "always")], without: "" },
        Part { id: "signed", title: "Author, reviewer, approver", takes: &[All("signatures")], without: "" },
        Part { id: "words", title: "Terms and symbols", takes: &[All("glossary")], without: "" },
    ],
};

/// The answer on one page, then what it rests on and what could be done about it.
const ENGINEERING: Outline = Outline {
    heading: "Engineering report",
    foreword: "For who designs the instrument: the answer first, then where the errors come from, what may be loosened and what \
               must be tightened, and the trials to look at.",
    parts: &[
        Part { id: "answer-in-brief", title: "Answer", takes: &[All("brief")], without: "" },
        Part {
            id: "scaled",
            title: "What if a source were larger or smaller",
            takes: &[All("what-if")],
            without: "Not predicted: the experiment does not ask for one source at a time. Add a section [sensitivity] that asks \
                      \"one-at-a-time\".",
        },
        Part {
            id: "one-by-one",
            title: "One source at a time: waterfall and tornado",
            takes: &[Under("sensitivity", "one-at-a-time")],
            without: "Not asked: a section [sensitivity] that asks \"one-at-a-time\" runs each source alone, without it, half and \
                      twice of it.",
        },
        Part {
            id: "budget-lines",
            title: "Coefficients and the linear budget",
            takes: &[
                Under("sensitivity", "linear-check"),
                Under("sensitivity", "linear"),
                Under("sensitivity", "offsets"),
            ],
            without: "Not asked: a section [sensitivity] that asks \"linear\" gives the coefficient of each input.",
        },
        Part {
            id: "shares",
            title: "Shares of the variance",
            takes: &[Under("sensitivity", "indices"), Under("sensitivity", "shapley")],
            without: "",
        },
        Part {
            id: "allocated",
            title: "Allocation: how large the sources may be",
            takes: &[All("budget")],
            without: "Not asked: a section [sensitivity] that asks \"allocation\" searches for the largest sources that still meet \
                      every requirement, and `navassay budget` does so by itself; `sensitivity.pair` draws the region that two of \
                      them may share.",
        },
        Part {
            id: "unknowns",
            title: "Unknowns that matter",
            takes: &[Under("limits", "hangs"), Under("sensitivity", "uncertain"), Under("limits", "assumed")],
            without: "",
        },
        Part {
            id: "design-curves",
            title: "Design curves",
            takes: &[All("response")],
            without: "Nothing is swept. A [[sweep]] over a setting, such as the spread or number of markers, the range of the \
                      camera or the frames of a capture, draws a curve of each limited output over it.",
        },
        Part { id: "results-found", title: "Errors found", takes: &[All("results")], without: "" },
        Part {
            id: "trials-to-see",
            title: "Failures and worst trials",
            takes: &[Under("failures", "failed"), Under("failures", "worst")],
            without: "",
        },
        Part {
            id: "configuration",
            title: "Configuration",
            takes: &[All("scene"), Under("inputs", "protocol")],
            without: "",
        },
        Part {
            id: "properties",
            title: "Inputs and their basis",
            takes: &[Under("inputs", "noise"), Under("inputs", "population"), Under("inputs", "variants")],
            without: "",
        },
        Part { id: "made-again", title: "Reproduction", takes: &[All("reproduction")], without: "" },
        Part {
            id: "limits-of-this",
            title: "Limits of what is said",
            takes: &[Under("limits", "always"), Under("limits", "not-modelled"), Under("limits", "definitions")],
            without: "",
        },
        Part { id: "words", title: "Terms and symbols", takes: &[All("glossary")], without: "" },
    ],
};

/// The order ADEMP of Morris TP, White IR, Crowther MJ. Stat Med 2019;38:2074-2102: aims, data-generating mechanisms,
/// estimands, methods, performance measures.
const COMPARISON: Outline = Outline {
    heading: "Comparison report",
    foreword: "For who compares ways of measuring. It follows the order ADEMP for simulation studies (Morris TP et al. Stat Med \
               2019;38:2074-2102): aims, data-generating mechanisms, estimands, methods, performance measures.",
    parts: &[
        Part {
            id: "aims",
            title: "Aims",
            takes: &[Under("question", "asked"), Under("question", "context-of-use")],
            without: "",
        },
        Part {
            id: "mechanisms",
            title: "Data-generating mechanisms",
            takes: &[
                Under("question", "method"),
                All("scene"),
                Under("inputs", "noise"),
                Under("inputs", "population"),
                Under("inputs", "protocol"),
                Under("plan", "sampling"),
            ],
            without: "",
        },
        Part {
            id: "estimands",
            title: "Estimands",
            takes: &[All("estimands"), Under("inputs", "measured-quantities"), All("equations")],
            without: "",
        },
        Part { id: "methods", title: "Methods", takes: &[All("methods"), Under("inputs", "variants")], without: "" },
        Part {
            id: "performance",
            title: "Performance measures",
            takes: &[
                All("comparison"),
                All("definitional"),
                All("response"),
                All("agreement"),
                All("results"),
                All("statistics"),
                All("answer"),
                Under("failures", "failed"),
            ],
            without: "",
        },
        Part { id: "made-again", title: "Reproduction", takes: &[All("numerics"), All("reproduction")], without: "" },
        Part {
            id: "limits-of-this",
            title: "Limits of what is said",
            takes: &[
                Under("limits", "always"),
                Under("limits", "hangs"),
                Under("limits", "assumed"),
                Under("limits", "not-modelled"),
                Under("limits", "definitions"),
            ],
            without: "",
        },
        Part { id: "words", title: "Terms and symbols", takes: &[All("glossary")], without: "" },
    ],
};

//! What a reader of the results should know before he trusts them.

use super::comparison::Comparison;
use super::design::Design;
use super::diagnostics::Fault;
use super::tree::Tree;
use crate::analysis::planning::{fewest_devices, least_trials};
use crate::analysis::{Rule, confidence_of_a_look};
use crate::simulation::noise::{Noise, SOURCES};
use crate::simulation::{Anatomy, Quantity};

/// A number of trials, or of devices of a nested design, that can show nothing at the confidence of one look.
pub(super) fn trials<'r>(
    tree: &Tree,
    (trials, design, looks): (u64, Option<Design>, u32),
    rules: impl Iterator<Item = (&'r str, Rule)>,
    warnings: &mut Vec<Fault>,
) {
    for (id, rule) in rules {
        let one_look = Rule { confidence: confidence_of_a_look(rule.confidence, looks), ..rule };
        let (units, path, found, least) = match design {
            Some(design) => ("devices", "design.devices", design.devices(trials), fewest_devices(&one_look)),
            None => ("trials", "trials", trials, least_trials(&one_look)),
        };
        let Some(least) = least.filter(|&least| found < least) else { continue };
        let place = tree.span_of(path).or_else(|| tree.span_of("requirement.0"));
        warnings.push(
            Fault::new(
                place,
                format!("too few {units} to show requirement \"{id}\""),
                format!("found {found}, expected at least {least}"),
            )
            .help(format!("fewer {units} cannot show it even if every trial is within the limit")),
        );
    }
}

/// Claims none of which is judged.
pub(super) fn exploratory(tree: &Tree, comparisons: &[Comparison], warnings: &mut Vec<Fault>) {
    if !comparisons.is_empty() && comparisons.iter().all(|comparison| !comparison.primary) {
        let found = "found no primary = true, so every comparison is exploratory: an interval and no verdict";
        warnings.push(
            Fault::new(tree.span_of("comparison"), "no comparison is primary", found)
                .help("add primary = true to each comparison that is to be judged, before the run"),
        );
    }
}

/// Numbers of the user's own that would be shown with the basis of the built-in ones.
pub(super) fn borrowed_bases(tree: &Tree, warnings: &mut Vec<Fault>) {
    let noise = SOURCES.iter().map(|source| format!("noise.{}", source.id));
    for section in ["anatomy".to_owned(), "implant".to_owned()].into_iter().chain(noise) {
        let own_numbers = tree.get(&section).and_then(|node| node.get_ref().as_table()).is_some_and(|table| {
            let mut keys = table.keys().map(|key| key.get_ref().as_ref());
            keys.any(|key| key != "basis" && key != "side" && tree.is_written(&format!("{section}.{key}")))
        });
        if own_numbers && !tree.is_written(&format!("{section}.basis")) {
            warnings.push(
                Fault::new(
                    tree.span_of(&section),
                    format!("`{section}` has numbers of your own and the built-in basis"),
                    "found no `basis` here, so the reports show the built-in one",
                )
                .help(
                    "add basis = { kind = \"measured\", note = \"...\" }, or published with its source, or assumed",
                ),
            );
        }
    }
}

/// A covariance and the numbers it stands in place of, both of the user's own.
pub(super) fn replaced_numbers(tree: &Tree, warnings: &mut Vec<Fault>) {
    for source in &SOURCES {
        for covariance in source.covariances {
            let path = |key: &str| format!("noise.{}.{key}", source.id);
            if !tree.is_written(&path(covariance.key)) {
                continue;
            }
            for key in covariance.in_place_of.iter().filter(|key| tree.is_written(&path(key))) {
                warnings.push(
                    Fault::new(
                        tree.span_of(&path(key)),
                        format!("`{}` is not used", path(key)),
                        format!("`{}` stands in its place", covariance.key),
                    )
                    .help("a covariance holds the variances of all three components on its diagonal; leave one of the two out"),
                );
            }
        }
    }
}

/// Tissue that is switched on and has no thickness.
pub(super) fn thin_tissue(tree: &Tree, noise: &Noise, warnings: &mut Vec<Fault>) {
    let tissue = &noise.landmark.tissue;
    if !tissue.is_off() && tissue.model.asis_mm == 0.0 && tissue.model.pubis_mm == 0.0 {
        warnings.push(
            Fault::new(
                tree.span_of("noise.landmark.tissue.pubis_mm"),
                "`landmark.tissue` is on and has no thickness",
                "found 0 mm over the spines and over the pubis",
            )
            .help("give a thickness, or switch the source off: off = [\"landmark.tissue\"]"),
        );
    }
}

/// Results that rest on assumptions alone.
pub(super) fn all_assumed(tree: &Tree, noise: &mut Noise, warnings: &mut Vec<Fault>) {
    let switches = noise.switches();
    let mut in_use = switches.iter().filter(|(_, switch)| switch.scale != 0.0).peekable();
    let any = in_use.peek().is_some();
    if any && in_use.all(|(source, _)| tree.text(&format!("noise.{}.basis.kind", source.id)) == Some("assumed")) {
        warnings.push(
            Fault::new(None, "every noise source in use is assumed", "none is measured or published")
                .help("the errors are as good as these assumptions: replace the largest ones with bench figures"),
        );
    }
}

/// Where patients' means have been published: Augustine AS et al. Clin Anat 2018 (observed range); Bone Joint J
/// 2017;99-B:184-191 (observed range); Carmona M et al. J Arthroplasty, hal-03553324 (mean ± 2 sd).
const PUBLISHED: [(&str, f64, f64); 6] = [
    ("asis_width_mm", 188.0, 274.0),
    ("pubis_drop_mm", 71.0, 115.0),
    ("tilt_deg", -24.5, 20.5),
    ("femoral_offset_mm", 29.3, 56.5),
    ("neck_shaft_angle_deg", 112.3, 137.1),
    ("femoral_version_deg", -1.7, 30.7),
];

/// A population unlike the published ones.
pub(super) fn unusual_anatomy(tree: &Tree, anatomy: &Anatomy, warnings: &mut Vec<Fault>) {
    for (key, quantity) in anatomy.quantities() {
        let path = format!("anatomy.{key}");
        let Some(&(_, low, high)) = PUBLISHED.iter().find(|(published, ..)| *published == key) else { continue };
        if !tree.is_written(&path) {
            continue;
        }
        let mean = Quantity::mean_and_sd(quantity).0;
        if !(low..=high).contains(&mean) {
            warnings.push(Fault::new(
                tree.span_of(&path),
                format!("`{path}` lies outside the published range"),
                format!("found a mean of {mean:.1}, published patients have {low} to {high}"),
            ));
        }
    }
}

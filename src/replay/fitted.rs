//! The fitted noise as an experiment file that runs: its noise block may be copied into any other.

use super::fit::NoiseFit;
use crate::experiment::Variant;
use std::fmt::Write as _;

/// The text of an experiment that measures as the variant and disturbs as the recordings do; what they do not show keeps
/// its default. `recordings` is the name of their file.
///
/// # Errors
/// Only if the tools cannot be written as TOML, which plain numbers always can.
pub fn fitted_experiment(variant: &Variant, fit: &NoiseFit, recordings: &str) -> Result<String, toml::ser::Error> {
    let procedure = &variant.procedure;
    let mut text = format!(
        "# Noise as fitted to {recordings}. It runs as it is; the blocks under [noise] may be copied into an experiment.\n\
         # What the recordings do not show has its default.\n\n\
         title = \"Noise fitted to recordings\"\nseed = 1\n\n[anatomy]\nside = \"{}\"\n\n[measure]\nplane = \"{}\"\n\
         measurand_plane = \"{}\"\nfemur = \"{}\"\nangles = \"{}\"\n{}\n",
        procedure.side.word(),
        procedure.plane.word(),
        variant.measurand_plane.word(),
        procedure.femur.word(),
        procedure.angles.word(),
        variant.outputs_line(),
    );
    let mut section = toml::Table::new();
    section.insert("tools".to_owned(), toml::Value::Table(toml::Table::try_from(&variant.model.tools)?));
    text.push_str(&toml::to_string(&section)?);
    for block in blocks(variant, fit) {
        block.write(&mut text, fit, recordings);
    }
    Ok(text)
}

/// The keys of one source that were fitted.
struct Block {
    source: &'static str,
    /// Key, value as TOML.
    keys: Vec<(&'static str, String)>,
    /// Rows of the fit behind it.
    from: Vec<&'static str>,
    note: &'static str,
}

impl Block {
    fn write(&self, text: &mut String, fit: &NoiseFit, recordings: &str) {
        let _ = writeln!(text, "\n[noise.{}]", self.source);
        for (key, value) in &self.keys {
            let _ = writeln!(text, "{key} = {value}");
        }
        let rows = fit.rows.iter().filter(|row| self.from.contains(&row.id));
        let behind: Vec<String> = rows
            .filter_map(|row| {
                let spread = row.spread?;
                Some(format!("{} {:.4} {} ({:.4} to {:.4})", row.id, spread.sd, row.unit, spread.low, spread.high))
            })
            .collect();
        let note = format!("fitted to {recordings}: {}{}", behind.join(", "), self.note);
        // As a TOML string, whatever letters the name of the file has.
        let note = toml::Value::String(note);
        let _ = writeln!(text, "basis = {{ kind = \"measured\", note = {note} }}");
    }
}

fn normal(sd: f64) -> String {
    format!("{{ normal = {{ sd = {sd:?} }} }}")
}

/// Variance of a case that a source has by the experiment, which recordings without truth cannot show, with the fitted
/// one within it: together, and the proportion of the former.
fn with_case(of_source: f64, case_share: f64, fitted: f64) -> (f64, f64) {
    let case = case_share * of_source * of_source;
    let all = case + fitted * fitted;
    (all.sqrt(), if all > 0.0 { case / all } else { 0.0 })
}

fn blocks(variant: &Variant, fit: &NoiseFit) -> Vec<Block> {
    let noise = &variant.model.noise;
    let sd = |id: &'static str| fit.sd(id);
    let mut blocks = Vec::new();
    let mut add = |source, keys: Option<Vec<(&'static str, String)>>, from: &[&'static str], note| {
        blocks.extend(keys.map(|keys| Block { source, keys, from: from.to_vec(), note }));
    };
    let keys = || Some(vec![("across_mm", normal(sd("jitter.across")?)), ("along_mm", normal(sd("jitter.along")?))]);
    add("tracker.jitter", keys(), &["jitter.across", "jitter.along", "jitter.position", "jitter.rotation"], "");
    let keys = || Some(vec![("each_axis_mm", normal(sd("tremor")?))]);
    add("probe.tremor", keys(), &["touch", "tremor"], "");
    let keys = || Some(vec![("each_axis_mm", normal(sd("groove")?))]);
    add("femur.groove", keys(), &["play", "groove"], "");
    let keys = || Some(vec![("in_pivot_mm", normal(sd("slip.tip")?))]);
    add("probe.slip", keys(), &["pivot.tip", "slip.tip"], "; slip in a hold as in the experiment");
    let keys = || {
        let native = &noise.centre.native.model;
        let of_source = native.superior_mm.mean_and_sd().1;
        let (all, share) = with_case(of_source, native.case_share, sd("wander.native")?);
        let mut keys: Vec<_> = ["anterior_mm", "superior_mm", "lateral_mm"].map(|key| (key, normal(all))).into();
        keys.push(("case_share", format!("{share:?}")));
        Some(keys)
    };
    let kept = "; what repeats within a case as in the experiment";
    add("centre.native", keys(), &["pivot.native", "wander.native"], kept);
    // Uniform in a ball: each axis has the radius over the root of five.
    let keys = || Some(vec![("radial_clearance_mm", format!("{:?}", 5_f64.sqrt() * sd("wander.new")?))]);
    add("centre.liner", keys(), &["pivot.new", "wander.new"], "");
    for (source, palpation, ids) in [
        (
            "landmark.palpation.asis",
            &noise.landmark.palpation.asis.model,
            ["capture.asis.anterior", "capture.asis.superior", "capture.asis.lateral"],
        ),
        (
            "landmark.palpation.pubis",
            &noise.landmark.palpation.pubis.model,
            ["capture.pubis.anterior", "capture.pubis.superior", "capture.pubis.lateral"],
        ),
    ] {
        let keys = || {
            let of_source = [&palpation.anterior_mm, &palpation.superior_mm, &palpation.lateral_mm]
                .map(|quantity| quantity.mean_and_sd().1);
            // One proportion for three axes: that of their variances together.
            let case: f64 = of_source.iter().map(|sd| palpation.case_share * sd * sd).sum();
            let fitted = [sd(ids[0])?, sd(ids[1])?, sd(ids[2])?];
            let all = case + fitted.iter().map(|sd| sd * sd).sum::<f64>();
            let share = if all > 0.0 { case / all } else { 0.0 };
            let axes = of_source
                .iter()
                .zip(fitted)
                .map(|(of_source, fitted)| with_case(*of_source, palpation.case_share, fitted).0);
            let mut keys: Vec<_> =
                ["anterior_mm", "superior_mm", "lateral_mm"].into_iter().zip(axes.map(normal)).collect();
            keys.push(("case_share", format!("{share:?}")));
            Some(keys)
        };
        add(source, keys(), &ids, kept);
    }
    let keys = || {
        Some(vec![
            ("noise_about_y_deg", normal(sd("level.about_y")?)),
            ("noise_about_z_deg", normal(sd("level.about_z")?)),
        ])
    };
    add("level.sensor", keys(), &["level.about_y", "level.about_z"], "; the device's offset as in the experiment");
    let keys = || {
        Some(vec![
            ("rotation_deg", normal(sd("remount.rotation")?)),
            ("translation_mm", normal(sd("remount.translation")?)),
        ])
    };
    add("camera.remount", keys(), &["remount.rotation", "remount.translation"], "");
    blocks
}

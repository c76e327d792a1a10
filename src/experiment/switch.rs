//! Which noise sources are on: `[noise] off`, `only` and `scale`.

use super::diagnostics::Fault;
use super::nearest::nearest;
use super::spec::{Reader, Switches};
use super::tree::Tree;
use crate::simulation::noise::{Noise, SOURCES, SourceEntry};

impl Reader<'_, '_> {
    /// Reads `off`, `only` and `scale`.
    pub fn switches(&mut self) -> Option<Switches> {
        let off: Vec<String> = self.value("noise.off")?;
        let only: Option<Vec<String>> = self.optional("noise.only");
        let scale: std::collections::BTreeMap<String, f64> = self.value("noise.scale")?;
        for (key, names) in [("off", off.as_slice()), ("only", only.as_deref().unwrap_or_default())] {
            for (i, name) in names.iter().enumerate() {
                self.check_name(&format!("noise.{key}.{i}"), name);
            }
        }
        for (name, &factor) in &scale {
            let path = format!("noise.scale.{name}");
            self.check_name(&path, name);
            self.demand(factor >= 0.0, &path, factor, "0 or more");
        }
        if !off.is_empty() && only.is_some() {
            self.fault("noise.only", "`noise.off` and `noise.only` together", "found both, expected one of them");
            self.mend("`only` switches everything else off already");
        }
        Some(Switches { off, only, scale })
    }

    fn check_name(&mut self, path: &str, name: &str) {
        if !SOURCES.iter().any(|source| source.is_named_by(name)) {
            self.no_such_source(path, name);
        }
    }

    /// A name that no source has.
    pub fn no_such_source(&mut self, path: &str, name: &str) {
        let fault = Fault::new(
            self.tree.span_of(path),
            format!("no noise source is called `{name}`"),
            "expected the id of a source, or the beginning of one",
        );
        let near = nearest(name, SOURCES.iter().flat_map(|source| beginnings(source.id)));
        self.faults.push(fault.help(match near {
            Some(near) => format!("did you mean `{near}`?"),
            None => format!("the sources are {}", SOURCES.map(|source| source.id).join(", ")),
        }));
    }
}

/// A source's id and every beginning of it.
fn beginnings(id: &str) -> impl Iterator<Item = &str> {
    id.match_indices('.').map(|(end, _)| &id[..end]).chain([id])
}

/// Switches every source on, off or to its scale.
pub(super) fn apply(noise: &mut Noise, switches: &Switches, tree: &Tree) {
    noise.switch(|source| {
        if !is_on(source, switches, tree) {
            return 0.0;
        }
        switches.scale.iter().filter(|(name, _)| source.is_named_by(name)).map(|(_, factor)| factor).product()
    });
}

fn is_on(source: &SourceEntry, switches: &Switches, tree: &Tree) -> bool {
    let named = |names: &[String]| names.iter().any(|name| source.is_named_by(name));
    // What happens only where the file names it by its full id.
    let is_wanted = source.on_by_default || tree.is_written(&format!("noise.{}", source.id));
    match &switches.only {
        Some(only) => named(only) && (is_wanted || only.iter().any(|name| name == source.id)),
        None => !named(&switches.off) && is_wanted,
    }
}

#[cfg(test)]
mod tests {
    use crate::experiment::Plan;

    /// A source that is off by default is on only where its full id is in `only` or the file has its section.
    #[test]
    fn identity_a_prefix_switches_no_source_on_that_is_off_by_default() {
        let section =
            "[noise.cup.seating]\neach_axis_deg = { normal = { sd = 1.0 } }\nbasis = { kind = \"assumed\" }\n";
        for (only, more, [attach, seating]) in [
            ("\"cup\"", "", [1.0, 0.0]),
            ("\"cup\", \"cup.seating\"", "", [1.0, 1.0]),
            ("\"cup.seating\"", "", [0.0, 1.0]),
            ("\"cup\"", section, [1.0, 1.0]),
            ("\"landmark\"", section, [0.0, 0.0]),
        ] {
            let plan = Plan::parse("only.toml", &format!("seed = 1\n[noise]\nonly = [{only}]\n{more}"));
            let cup = &plan.unwrap_or_else(|error| panic!("{error}")).variants[0].model.noise.cup;
            assert_eq!([cup.attach.switch.scale, cup.seating.switch.scale], [attach, seating], "{only} {more}");
        }
    }
}

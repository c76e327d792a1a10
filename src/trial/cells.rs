//! Cells of a study: variants that are not those of the plan, each run over the same cases into parts of its own.
//!
//! They are kept like the trials of the run, in parts that are whole or not there, so a study that was killed goes on.

use super::batch::{Batch, Missing};
use super::folder::{FolderError, RunFolder};
use super::run::{Progress, RunError, pool, simulate};
use crate::experiment::{Plan, Variant};
use rayon::prelude::*;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU64, Ordering};

/// Letters of a study's hash in the name of its folder.
const LETTERS: usize = 16;

/// Variants of a study, each to be run over the same cases.
#[derive(Clone, Copy, Debug)]
pub struct Cells<'a> {
    /// Name of the study, without a dot or blank.
    pub study: &'a str,
    /// Its variants.
    pub variants: &'a [Variant],
    /// Cases of each; every case is a new device and a new patient.
    pub rows: u64,
}

/// Simulates what the folder does not hold yet of a study's cells and hands back the folder of its parts; the variant of
/// a part is the index of its cell.
///
/// # Errors
/// See [`RunError`]; the parts that were written stay, and the same study goes on from there.
pub fn run_cells(
    plan: &Plan,
    cells: &Cells,
    folder: &RunFolder,
    threads: usize,
    progress: &dyn Progress,
) -> Result<PathBuf, RunError> {
    let all = folder.source().join("studies");
    let hash = plan.study_hash(cells.variants);
    let parts = all.join(format!("{}-{}", cells.study, &hash[..LETTERS]));
    let (name, pool) = (format!("studies/{}-{}", cells.study, &hash[..LETTERS]), pool(threads)?);
    let batch = Batch::of_study(plan, cells.variants, hash, cells.rows, parts.clone());
    if let Some(audit) = folder.audit() {
        pool.install(|| audit.check(&name, &batch, false, progress))?;
        return Ok(parts);
    }
    remove_others(&all, cells.study, &parts)?;
    let missing = pool.install(|| batch.missing(|_| false))?;
    let asked: u64 = missing.iter().map(Missing::count).sum();
    progress.begin(asked);
    let done = AtomicU64::new(0);
    let one = |part: Missing| {
        let count = part.count();
        let Missing { id, trials, why, .. } = part;
        if let Some(why) = why {
            progress.made_again(&why);
        }
        let block = simulate(&batch.runner(id), trials, progress);
        if progress.interrupted() {
            return Err(RunError::Interrupted { done: done.load(Ordering::Relaxed), asked });
        }
        batch.write(id, &block)?;
        done.fetch_add(count, Ordering::Relaxed);
        Ok(())
    };
    // Parts side by side, so that one is written while another is simulated.
    pool.install(|| missing.into_par_iter().try_for_each(one))?;
    Ok(parts)
}

/// The parts of an earlier form of the same study have no use any more.
fn remove_others(all: &Path, study: &str, keep: &Path) -> Result<(), RunError> {
    let system = |source| RunError::Folder(FolderError::System { path: all.to_owned(), source });
    let Ok(entries) = std::fs::read_dir(all) else { return Ok(()) };
    for entry in entries {
        let path = entry.map_err(system)?.path();
        let name = path.file_name().unwrap_or_default().to_string_lossy().into_owned();
        let own = name.rsplit_once('-').is_some_and(|(found, _)| found == study);
        if own && path != keep {
            std::fs::remove_dir_all(&path).map_err(system)?;
        }
    }
    Ok(())
}

//! Walks the table of published checks.

use navassay::checks::{Check, Found, Mark, SECTIONS, Tolerance, Verdict, all, run_all};
use std::collections::BTreeSet;

#[test]
fn table_of_published_checks() {
    let outcomes = run_all();
    assert_eq!(outcomes.len(), all().count());
    for (outcome, check) in outcomes.iter().zip(all()) {
        assert_eq!(outcome.check.id, check.id, "outcomes keep the order of the table");
    }
    let failed: Vec<_> =
        outcomes.iter().filter(|outcome| outcome.verdict == Verdict::Failed).map(ToString::to_string).collect();
    assert!(failed.is_empty(), "{} of {} checks failed:\n{}", failed.len(), outcomes.len(), failed.join("\n"));
}

//! The report on a virtual phantom.

use super::document::Document;
use super::evidence::{Evidence, Files};
use super::section;
use crate::experiment::{Plan, Variant};
use crate::study::{PhantomPlan, PhantomStudy};

/// A virtual phantom, touched by each arm.
#[derive(Debug)]
pub struct Phantom<'a> {
    /// What was asked; its number of trials is that of the phantom.
    pub plan: &'a Plan,
    /// Where the phantom stood.
    pub phantom: PhantomPlan,
    /// What each arm found.
    pub studies: Vec<(&'a Variant, PhantomStudy)>,
}

impl Evidence {
    /// What a virtual phantom shows.
    #[must_use]
    pub fn of_phantom(phantom: &Phantom) -> Self {
        let mut files = Files::default();
        let sections = vec![
            section::phantom::question(phantom),
            section::phantom::points(phantom, &mut files),
            section::phantom::distances(phantom, &mut files),
            section::phantom::pointers(phantom, &mut files),
            section::phantom::disturbed(phantom, &mut files),
            section::phantom::limits(),
        ];
        let report = Document::whole(format!("{}: virtual phantom", phantom.plan.title), sections);
        Self { report, documents: Vec::new(), files: files.into_files() }
    }
}

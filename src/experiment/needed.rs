//! Whether all requirements of an experiment must pass, or one suffices.

use super::spec::Reader;

/// How many of the requirements must pass in each variant.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum RequirementsNeeded {
    /// All of them. Each is tested at its own confidence without correction: an intersection-union test (Berger RL.
    /// Technometrics 1982;24:295-300, from memory) takes the whole wrongly no more often than its least certain part.
    #[default]
    All,
    /// One suffices, so the chance of any wrong pass among them is held by Holm's correction.
    Any,
}

impl RequirementsNeeded {
    /// Both.
    pub const ALL: [Self; 2] = [Self::All, Self::Any];

    /// The word for it in files.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::All => "all",
            Self::Any => "any",
        }
    }
}

impl Reader<'_, '_> {
    /// How many of the requirements must pass.
    pub fn requirements_needed(&mut self) -> Option<RequirementsNeeded> {
        self.choice("requirements_needed", &RequirementsNeeded::ALL, RequirementsNeeded::word)
    }
}

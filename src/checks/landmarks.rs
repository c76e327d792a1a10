pub const CHECKS: &[super::Check] = &[];

//! No bare number: a value, how far it may be off, and what it rests on.

/// A confidence interval.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Interval {
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
    /// Its level of confidence, such as 0.95.
    pub confidence: f64,
}

impl Interval {
    /// Whether a value lies in it, ends included.
    #[must_use]
    pub fn contains(&self, value: f64) -> bool {
        (self.low..=self.high).contains(&value)
    }
}

/// An estimate with its uncertainty, in the unit of what is estimated.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Estimate {
    /// The value.
    pub value: f64,
    /// Its confidence interval; `None` where too few values are there to tell.
    pub interval: Option<Interval>,
    /// Its standard error, likewise.
    pub standard_error: Option<f64>,
    /// Number of values that it rests on.
    pub count: u64,
}

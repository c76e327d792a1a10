//! One column of a part, row by row.

/// One column of numbers, each there or missing.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Column {
    values: Vec<f64>, // 0 where missing
    present: Vec<bool>,
}

impl Column {
    pub(super) fn with_capacity(rows: usize) -> Self {
        Self { values: Vec::with_capacity(rows), present: Vec::with_capacity(rows) }
    }

    /// Number of rows.
    #[must_use]
    pub fn len(&self) -> usize {
        self.values.len()
    }

    /// Whether there is no row.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.values.is_empty()
    }

    /// Number of missing values.
    #[must_use]
    pub fn missing(&self) -> usize {
        self.present.iter().filter(|&&present| !present).count()
    }

    /// The value of a row, if it is there.
    #[must_use]
    pub fn get(&self, row: usize) -> Option<f64> {
        self.present.get(row).and_then(|&present| present.then(|| self.values[row]))
    }

    /// Row after row.
    pub fn iter(&self) -> impl ExactSizeIterator<Item = Option<f64>> + '_ {
        self.values.iter().zip(&self.present).map(|(&value, &present)| present.then_some(value))
    }

    /// The values that are there, in the memory they already have, and how many are missing.
    #[must_use]
    pub fn into_present(self) -> (Vec<f64>, usize) {
        let (missing, Self { mut values, present }) = (self.missing(), self);
        if missing > 0 {
            let mut rows = present.into_iter();
            values.retain(|_| rows.next() == Some(true));
        }
        (values, missing)
    }

    pub(super) fn append(&mut self, other: &mut Self) {
        self.values.append(&mut other.values);
        self.present.append(&mut other.present);
    }

    fn push(&mut self, value: Option<f64>) {
        let value = value.filter(|value| value.is_finite());
        self.values.push(value.unwrap_or(0.0));
        self.present.push(value.is_some());
    }
}

impl FromIterator<Option<f64>> for Column {
    fn from_iter<T: IntoIterator<Item = Option<f64>>>(values: T) -> Self {
        let mut column = Self::default();
        values.into_iter().for_each(|value| column.push(value));
        column
    }
}

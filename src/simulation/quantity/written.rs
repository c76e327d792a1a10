//! Quantities as they are written: a number, or a table with exactly one distribution.
//!
//! What is wrong with one is said in one line, what was found and what was expected; a second line, where there is
//! one, says how to mend it.

use super::{Empirical, Mixture, Quantity, Shape, StudentT, Truncation};
use serde::de::{self, MapAccess, Visitor};
use serde::{Deserialize, Deserializer, Serialize, Serializer, ser::SerializeMap};
use std::fmt;
use std::sync::Arc;

/// Names of the distributions as they are written in a quantity.
pub const DISTRIBUTIONS: [&str; 7] =
    ["normal", "rectangular", "triangular", "lognormal", "student_t", "mixture", "empirical"];

/// Fewer degrees of freedom than this have tails beyond all sizes.
const FEWEST_DEGREES: f64 = 0.5;

/// The parameters of each distribution as they are written: one struct each, so that a wrong key is found.
macro_rules! written {
    ($($name:ident { $($(#[$attribute:meta])* $field:ident: $kind:ty),+ $(,)? })+) => {
        $(#[derive(Deserialize, Serialize)]
        #[serde(deny_unknown_fields)]
        struct $name {
            $($(#[$attribute])* $field: $kind,)+
            #[serde(default, skip_serializing_if = "Option::is_none")]
            truncated: Option<[f64; 2]>,
        })+
    };
}

written! {
    Normal {
        #[serde(default)]
        mean: f64,
        sd: f64,
    }
    Rectangular { low: f64, high: f64 }
    Triangular { low: f64, mode: f64, high: f64 }
    Lognormal { median: f64, log_sd: f64 }
    Student {
        #[serde(default)]
        location: f64,
        scale: f64,
        degrees_of_freedom: f64,
    }
    Mixed {
        main: Quantity,
        event: Quantity,
        probability: f64,
    }
    Measured {
        #[serde(default, skip_serializing_if = "Option::is_none")]
        csv: Option<String>,
        #[serde(default, skip_serializing_if = "Option::is_none")]
        column: Option<String>,
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        values: Vec<f64>,
    }
}

/// A sound shape, or what is wrong with its parameters.
trait Sound {
    fn shape(self) -> Result<(Shape, Bounds), String>;
}

/// `truncated`, if it is written.
type Bounds = Option<[f64; 2]>;

impl Sound for Normal {
    fn shape(self) -> Result<(Shape, Bounds), String> {
        let Self { mean, sd, truncated } = self;
        if sd < 0.0 {
            return Err(format!("found sd = {sd}, expected a standard deviation of 0 or more"));
        }
        Ok((Shape::Normal { mean, sd }, truncated))
    }
}

impl Sound for Rectangular {
    fn shape(self) -> Result<(Shape, Bounds), String> {
        let Self { low, high, truncated } = self;
        if low > high {
            return Err(format!("found low = {low} above high = {high}, expected low <= high"));
        }
        Ok((Shape::Rectangular { low, high }, truncated))
    }
}

impl Sound for Triangular {
    fn shape(self) -> Result<(Shape, Bounds), String> {
        let Self { low, mode, high, truncated } = self;
        if !(low <= mode && mode <= high) {
            return Err(format!("found low = {low}, mode = {mode}, high = {high}, expected low <= mode <= high"));
        }
        Ok((Shape::Triangular { low, mode, high }, truncated))
    }
}

impl Sound for Lognormal {
    fn shape(self) -> Result<(Shape, Bounds), String> {
        let Self { median, log_sd, truncated } = self;
        if median <= 0.0 {
            return Err(format!("found median = {median}, expected a positive median"));
        }
        if log_sd < 0.0 {
            return Err(format!("found log_sd = {log_sd}, expected a log_sd of 0 or more"));
        }
        Ok((Shape::Lognormal { median, log_sd }, truncated))
    }
}

impl Sound for Student {
    fn shape(self) -> Result<(Shape, Bounds), String> {
        let Self { location, scale, degrees_of_freedom, truncated } = self;
        if scale < 0.0 {
            return Err(format!("found scale = {scale}, expected a scale of 0 or more"));
        }
        if !(degrees_of_freedom >= FEWEST_DEGREES) {
            return Err(format!(
                "found degrees_of_freedom = {degrees_of_freedom}, expected {FEWEST_DEGREES} or more\n\
                 fewer degrees of freedom mean heavier tails: up to 2 there is no standard deviation, and from about 30 \
                 on the distribution is nearly normal; a mean of n values has n - 1"
            ));
        }
        Ok((Shape::StudentT(Arc::new(StudentT::new(location, scale, degrees_of_freedom))), truncated))
    }
}

impl Sound for Mixed {
    fn shape(self) -> Result<(Shape, Bounds), String> {
        let Self { main, event, probability, truncated } = self;
        if !(0.0..=1.0).contains(&probability) {
            let percent = format!("; {probability} % is written {}", probability / 100.0);
            return Err(format!(
                "found probability = {probability}, expected 0 to 1\n\
                 it is the probability of the event, the rest is the main distribution's{}",
                if (1.0..100.0).contains(&probability) { percent.as_str() } else { "" }
            ));
        }
        Ok((Shape::Mixture(Arc::new(Mixture::new(main, event, probability))), truncated))
    }
}

impl Sound for Measured {
    fn shape(self) -> Result<(Shape, Bounds), String> {
        let Self { csv, column, values, truncated } = self;
        if values.is_empty() {
            return Err("found no values, expected csv = \"file.csv\" with column = \"name\", or values = [...]\n\
                 the file is looked for beside the experiment file; its first line names the columns"
                .to_owned());
        }
        Ok((Shape::Empirical(Arc::new(Empirical::new(csv, column, values))), truncated))
    }
}

/// A quantity from what stands behind the name of its distribution.
fn quantity(written: impl Sound) -> Result<Quantity, String> {
    let (shape, truncated) = written.shape()?;
    let cut = truncated.map(|bounds| Truncation::of(&shape, bounds)).transpose()?;
    Ok(Quantity::Drawn(shape, cut))
}

impl<'de> Deserialize<'de> for Quantity {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct Written;

        impl<'de> Visitor<'de> for Written {
            type Value = Quantity;

            fn expecting(&self, f: &mut fmt::Formatter) -> fmt::Result {
                write!(f, "a number, or a table with exactly one of {}", DISTRIBUTIONS.join(", "))
            }

            fn visit_i64<E: de::Error>(self, value: i64) -> Result<Quantity, E> {
                self.visit_f64(value as f64)
            }

            fn visit_f64<E: de::Error>(self, value: f64) -> Result<Quantity, E> {
                if value.is_finite() {
                    Ok(Quantity::Constant(value))
                } else {
                    Err(E::custom(format!("found {value}, expected a finite number")))
                }
            }

            fn visit_map<M: MapAccess<'de>>(self, mut map: M) -> Result<Quantity, M::Error> {
                let kind: String = map
                    .next_key()?
                    .ok_or_else(|| de::Error::custom(format!("found an empty table, expected {Expected}")))?;
                let found = match kind.as_str() {
                    "normal" => quantity(map.next_value::<Normal>()?),
                    "rectangular" => quantity(map.next_value::<Rectangular>()?),
                    "triangular" => quantity(map.next_value::<Triangular>()?),
                    "lognormal" => quantity(map.next_value::<Lognormal>()?),
                    "student_t" => quantity(map.next_value::<Student>()?),
                    "mixture" => quantity(map.next_value::<Mixed>()?),
                    "empirical" => quantity(map.next_value::<Measured>()?),
                    other => return Err(de::Error::unknown_field(other, &DISTRIBUTIONS)),
                };
                let quantity = found.map_err(de::Error::custom)?;
                match map.next_key::<String>()? {
                    None => Ok(quantity),
                    Some(second) => Err(de::Error::custom(format!(
                        "found a second key `{second}` beside `{kind}`, expected exactly one distribution"
                    ))),
                }
            }
        }

        struct Expected;
        impl fmt::Display for Expected {
            fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
                Written.expecting(f)
            }
        }

        deserializer.deserialize_any(Written)
    }
}

impl Serialize for Quantity {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let (shape, truncated) = match self {
            Self::Constant(value) => return serializer.serialize_f64(*value),
            Self::Fixed(values) => return values.serialize(serializer),
            Self::Drawn(shape, cut) => (shape, cut.map(|cut| [cut.low, cut.high])),
        };
        let mut map = serializer.serialize_map(Some(1))?;
        match shape {
            &Shape::Normal { mean, sd } => map.serialize_entry("normal", &Normal { mean, sd, truncated }),
            &Shape::Rectangular { low, high } => {
                map.serialize_entry("rectangular", &Rectangular { low, high, truncated })
            }
            &Shape::Triangular { low, mode, high } => {
                map.serialize_entry("triangular", &Triangular { low, mode, high, truncated })
            }
            &Shape::Lognormal { median, log_sd } => {
                map.serialize_entry("lognormal", &Lognormal { median, log_sd, truncated })
            }
            Shape::StudentT(student) => {
                let &StudentT { location, scale, degrees_of_freedom, .. } = &**student;
                map.serialize_entry("student_t", &Student { location, scale, degrees_of_freedom, truncated })
            }
            Shape::Mixture(mixture) => {
                let Mixture { main, event, probability, .. } = &**mixture;
                let (main, event, probability) = (main.clone(), event.clone(), *probability);
                map.serialize_entry("mixture", &Mixed { main, event, probability, truncated })
            }
            Shape::Empirical(measured) => {
                let Empirical { csv, column, values } = (**measured).clone();
                map.serialize_entry("empirical", &Measured { csv, column, values, truncated })
            }
        }?;
        map.end()
    }
}

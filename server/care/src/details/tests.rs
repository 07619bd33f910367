use std::sync::LazyLock;

use chrono::NaiveDate;
use serde_json::Value;

use super::*;
use crate::kind::Provenance;
use crate::rules::Rules;

mod mutation;
#[cfg(feature = "schema")]
mod published;
mod shape;
mod values;

static RULES: LazyLock<Rules> = LazyLock::new(|| Rules::built_in().expect("built-in rules"));

fn day(text: &str) -> NaiveDate {
    text.parse().expect("a day")
}

/// The day of the examples, seen on the same day, by somebody who attests.
fn context() -> Context<'static> {
    Context {
        rules: &RULES,
        performed_on: day("2026-05-04"),
        received_on: day("2026-05-04"),
        foaled_on: None,
        provenance: Provenance::Attested,
    }
}

/// The faults of shape, else of values.
fn faults(kind: Kind, details: &Value, context: &Context<'_>) -> Faults {
    match Details::parse(kind, details) {
        Err(faults) => faults,
        Ok(details) => details.check(context).err().unwrap_or_default(),
    }
}

use chrono::NaiveDate;
use serde_json::Value;

use super::*;
use crate::kind::Provenance;
use crate::rules::Rules;

fn day(text: &str) -> NaiveDate {
    text.parse().expect("a day")
}

fn context(rules: &Rules) -> Context<'_> {
    Context {
        rules,
        performed_on: day("2026-05-04"),
        received_on: day("2026-05-04"),
        foaled_on: None,
        provenance: Provenance::Attested,
    }
}

#[test]
fn every_example_is_valid_and_survives_the_types() {
    let rules = Rules::built_in().expect("built-in rules");
    for kind in Kind::ALL {
        let example = example(*kind);
        let details = Details::parse(*kind, &example).unwrap_or_else(|f| panic!("{kind}: {f}"));
        assert_eq!(details.kind(), *kind);
        assert_eq!(details.check(&context(&rules)), Ok(()), "{kind}");
        assert_eq!(
            Details::parse(*kind, &details.to_value()).as_ref(),
            Ok(&details)
        );
    }
}

#[test]
fn an_unknown_field_is_pointed_to_in_every_kind() {
    for kind in Kind::ALL {
        let mut example = example(*kind);
        example["lot_numbr"] = Value::from("x");
        let faults = Details::parse(*kind, &example).unwrap_err();
        assert_eq!(faults.0.len(), 1, "{kind}: {faults}");
        assert_eq!(faults.0[0].pointer, "/lot_numbr", "{kind}");
    }
}

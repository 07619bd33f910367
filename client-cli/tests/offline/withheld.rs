//! What is withheld from an account never passes for something that isn't there.

use serde_json::json;
use whorl_care::kind::Kind;

use crate::yard::Yard;

/// Records a laboratory test that an entry rests on …
const TEST: [&str; 11] = [
    "record",
    "laboratory-test",
    "Plover",
    "--test",
    "eia_elisa",
    "--drawn",
    "2027-02-25",
    "--reported",
    "2027-03-01",
    "--result",
    "negative",
];

/// … and asks for that entry.
const ENTRY: [&str; 7] = [
    "--json",
    "entry",
    "Plover",
    "--rules",
    "eia-12-months",
    "--arrives",
    "2027-03-20",
];

#[test]
fn what_is_withheld_is_no_pass_and_may_have_been_done() {
    let yard = Yard::of("vet");
    assert_eq!(yard.run(&TEST).status, 0);
    assert_eq!(yard.run(&ENTRY).json()["verdict"], "eligible");
    yard.synced(&[Kind::LaboratoryTest]);
    let checked = yard.run(&ENTRY).json();
    assert_eq!(checked["verdict"], "unknown");
    assert_eq!(checked["withheld"], true);
    let answer = &checked["answer"];
    assert_eq!(answer["eligible"], false);
    assert_eq!(answer["checks"][0]["unknown"], true);
    assert_eq!(
        answer["plan"],
        json!([]),
        "a plan could ask for what has been done"
    );
    let told = yard.run(&ENTRY[1..]).out;
    assert!(told.contains("can't be told"), "{told}");
    let due = yard.run(&["due", "Plover"]).out;
    assert!(
        due.contains("part of the record of Plover is withheld from you"),
        "{due}"
    );
}

/// What came sealed to its leaf may be of any kind, but of none that could be seen as it came.
#[test]
fn what_is_sealed_is_unknown_unless_it_can_not_be_of_the_kind_that_counts() {
    let told = |open: &[Kind]| {
        let yard = Yard::of("vet");
        assert_eq!(yard.run(&TEST).status, 0);
        assert_eq!(
            yard.run(&[
                "record", "weight", "Plover", "--weight", "510kg", "--method", "tape"
            ])
            .status,
            0
        );
        yard.synced_to_leaves(&[Kind::Weight], open);
        let checked = yard.run(&ENTRY).json();
        assert_eq!(checked["withheld"], true);
        checked["verdict"].as_str().map(str::to_owned)
    };
    assert_eq!(
        told(&[]).as_deref(),
        Some("unknown"),
        "the server didn't say"
    );
    assert_eq!(
        told(&[Kind::Vaccination]).as_deref(),
        Some("unknown"),
        "it may be another test"
    );
    assert_eq!(told(&[Kind::LaboratoryTest]).as_deref(), Some("eligible"));
}

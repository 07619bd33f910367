//! Recall from this device's copy of the record.

use whorl_care::kind::Kind;

use crate::yard::Yard;

fn shot(yard: &Yard, horse: &str, lot: &str) {
    let ran = yard.run(&[
        "record",
        "vaccination",
        horse,
        "--against",
        "tetanus",
        "--product",
        "Tidevax T",
        "--lot",
        lot,
        "--expires",
        "2028-01",
        "--dose",
        "1ml",
        "--route",
        "intramuscular",
        "--site",
        "left_neck",
    ]);
    assert_eq!(ran.status, 0, "{}", ran.err);
}

#[test]
fn a_lot_is_found_offline_however_it_is_spelt() {
    let yard = Yard::of("vet");
    shot(&yard, "Plover", "T-4417");
    shot(&yard, "Teasel", "T-4418");
    let answer = yard.run(&["--json", "recall", "t 4417"]).json();
    assert_eq!(answer["items"].as_array().map(Vec::len), Some(1));
    assert_eq!(answer["items"][0]["horse"], "Plover");
    assert_eq!(answer["items"][0]["given_by"], "Maren Oduya");
    assert_eq!(answer["horses_searched"], 4);
    assert_eq!(answer["horses_partly_searched"], 0);
    let table = yard.run(&["recall", "T4417"]);
    assert_eq!(table.status, 0);
    for text in [
        "Plover",
        "T-4417",
        "Saltmarsh Yard",
        "who gave it",
        "Horses that it may not see",
    ] {
        assert!(table.out.contains(text), "{text} in {}", table.out);
    }
    let other = yard
        .run(&["--json", "recall", "T4417", "--product", "drove"])
        .json();
    assert_eq!(other["items"].as_array().map(Vec::len), Some(0));
    assert!(
        yard.run(&["recall", " - "])
            .refused()
            .contains("lot number")
    );
}

#[test]
fn what_is_sealed_is_not_searched_and_the_answer_says_so() {
    let yard = Yard::of("vet");
    shot(&yard, "Plover", "T-4417");
    yard.synced(&[Kind::Vaccination]);
    let answer = yard.run(&["--json", "recall", "T-4417"]).json();
    assert_eq!(answer["items"].as_array().map(Vec::len), Some(0));
    assert_eq!(answer["horses_partly_searched"], 1);
    assert!(
        answer["scope"]
            .as_str()
            .is_some_and(|text| text.contains("of 1 not every kind"))
    );
}

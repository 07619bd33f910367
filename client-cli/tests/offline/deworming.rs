//! What the care engine says to a deworming before it is written down.

use crate::yard::{Ran, Yard};

fn weigh(yard: &Yard, horse: &str, weight: &str) {
    let ran = yard.run(&[
        "record", "weight", horse, "--weight", weight, "--method", "tape",
    ]);
    assert_eq!(ran.status, 0, "{}", ran.err);
}

fn deworm(yard: &Yard, horse: &str, more: &[&str]) -> Ran {
    let args = ["--json", "record", "deworming", horse];
    yard.run(&args.iter().chain(more).copied().collect::<Vec<_>>())
}

/// 0.2 mg/kg of ivermectin, as every label for horses has it: 102 mg for 510 kg, worked by hand.
#[test]
fn the_dose_is_told_and_the_last_weight_filled_in() {
    let yard = Yard::of("owner");
    weigh(&yard, "Plover", "510kg");
    let ran = deworm(&yard, "Plover", &["--active", "ivermectin"]);
    let recorded = ran.json();
    assert_eq!(recorded["details"]["dosed_for_kg"], 510.0);
    assert_eq!(recorded["details"]["weight_from"], "tape");
    assert_eq!(
        recorded["dose"]["dose_mg"].as_f64().map(f64::round),
        Some(102.0)
    );
    assert!(
        ran.err
            .contains("The label's dose for 510 kg: 102 mg of ivermectin (0.2 mg/kg), once."),
        "{}",
        ran.err
    );
    let warnings = recorded["warnings"].to_string();
    assert!(
        warnings.contains("follow the label and your vet"),
        "{warnings}"
    );
}

#[test]
fn without_a_weight_there_is_no_dose_and_no_entry() {
    let yard = Yard::of("owner");
    let ran = deworm(&yard, "Plover", &["--active", "ivermectin"]);
    assert!(
        ran.refused().contains("there is no weight to dose by"),
        "{}",
        ran.err
    );
    let given = [
        "--active",
        "ivermectin",
        "--dosed-for",
        "550kg",
        "--weight-from",
        "scale",
    ];
    assert_eq!(deworm(&yard, "Plover", &given).status, 0);
}

#[test]
fn what_the_engine_refuses_only_a_vet_or_a_copy_from_paper_records() {
    // Teasel was foaled in May 2026: too young for moxidectin in August.
    let when = "2026-08-01T09:00:00+00:00";
    let args = ["--active", "moxidectin"];
    let owner = Yard::of("owner");
    owner.at(when);
    weigh(&owner, "Teasel", "120kg");
    let ran = deworm(&owner, "Teasel", &args);
    assert!(
        ran.refused()
            .contains("don't give it, and nothing was recorded"),
        "{}",
        ran.err
    );
    assert_eq!(
        owner
            .run(&["--json", "outbox"])
            .json()
            .as_array()
            .map(Vec::len),
        Some(1)
    );
    let copied = deworm(&owner, "Teasel", &[&args[..], &["--transcribed"]].concat()).json();
    assert!(
        copied["warnings"][0]
            .as_str()
            .is_some_and(|one| one.contains("recorded as what was given"))
    );

    let vet = Yard::of("vet");
    vet.at(when);
    weigh(&vet, "Teasel", "120kg");
    let recorded = deworm(&vet, "Teasel", &args).json();
    assert!(
        recorded["warnings"]
            .to_string()
            .contains("the dose can't be approved"),
        "{recorded}"
    );
    assert_eq!(recorded["dose"]["dose_mg"], serde_json::Value::Null);
}

#[test]
fn a_setting_that_does_not_fit_the_weight_is_said_aloud() {
    let yard = Yard::of("vet");
    weigh(&yard, "Plover", "510kg");
    let low = deworm(
        &yard,
        "Plover",
        &["--active", "ivermectin", "--dosed-for", "300kg"],
    )
    .json();
    assert!(
        low["warnings"]
            .to_string()
            .contains("set for 300 kg, and the last weight is 510 kg"),
        "{low}"
    );
    let little = deworm(
        &yard,
        "Teasel",
        &[
            "--active",
            "ivermectin",
            "--dosed-for",
            "300kg",
            "--dose",
            "20mg",
            "--at",
            "2027-02-01",
        ],
    );
    assert!(
        little.json()["warnings"]
            .to_string()
            .contains("20 mg is less than the label's dose"),
        "{}",
        little.out
    );
}

#[test]
fn the_same_dose_entered_twice_is_noticed() {
    let yard = Yard::of("vet");
    weigh(&yard, "Plover", "510kg");
    deworm(&yard, "Plover", &["--active", "ivermectin"]).json();
    let again = deworm(&yard, "Plover", &["--active", "ivermectin"]).json();
    assert!(
        again["warnings"]
            .to_string()
            .contains("in the record for 2027-03-04 already"),
        "{again}"
    );
}

#[test]
fn more_than_may_be_given_is_refused() {
    let yard = Yard::of("owner");
    weigh(&yard, "Plover", "510kg");
    for much in [["--dosed-for", "1400kg"], ["--dose", "300mg"]] {
        let ran = deworm(
            &yard,
            "Plover",
            &[&["--active", "moxidectin"][..], &much].concat(),
        );
        assert!(
            ran.refused()
                .contains("times the label's dose of moxidectin"),
            "{}",
            ran.err
        );
    }
    let next_mark = ["--active", "moxidectin", "--dosed-for", "550kg"];
    assert_eq!(deworm(&yard, "Plover", &next_mark).status, 0);
}

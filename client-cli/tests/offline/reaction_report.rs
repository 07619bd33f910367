//! The report of an adverse reaction, from this device's copy of the record.

use crate::yard::Yard;

#[test]
fn a_report_is_gathered_offline_and_says_what_is_missing() {
    let yard = Yard::of("vet");
    assert!(
        yard.run(&["reaction-report", "Plover"])
            .refused()
            .contains("no adverse reaction")
    );
    let shot = yard
        .run(&[
            "--json",
            "record",
            "vaccination",
            "Plover",
            "--against",
            "influenza",
            "--product",
            "Tidevax Flu",
            "--lot",
            "F-0091",
            "--expires",
            "2028-01",
            "--dose",
            "1ml",
            "--route",
            "intramuscular",
            "--site",
            "left_neck",
        ])
        .json();
    let shot = shot["id"].as_str().expect("an id").to_owned();
    let ran = yard.run(&[
        "record",
        "adverse-reaction",
        "Plover",
        "--sign",
        "hives",
        "--after",
        &shot,
        "--onset-hours",
        "6",
        "--outcome",
        "recovered",
        "--case",
        "AE-12",
    ]);
    assert_eq!(ran.status, 0, "{}", ran.err);
    let report = yard.run(&["--json", "reaction-report", "plover"]).json();
    assert_eq!(report["after"]["lot_number"], "F-0091");
    assert_eq!(report["after"]["given_by"], "Maren Oduya");
    assert_eq!(report["horse"]["sex"], "mare");
    let text = yard.run(&["reaction-report", "Plover"]);
    for line in [
        "Lot: F-0091",
        "Outcome: recovered",
        "Case number: AE-12",
        "Sex: mare",
        "  - the horse's weight",
        "competent authority",
    ] {
        assert!(text.out.contains(line), "{line} in {}", text.out);
    }
    assert!(!text.out.contains("  - the horse's sex"));
}

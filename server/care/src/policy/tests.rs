use super::*;
use crate::rules::{Rules, parse};

fn policy() -> Policy {
    parse("built in", Policy::BUILT_IN).expect("the built-in policy")
}

/// Everything fulfilled.
fn fine() -> Circumstances<'static> {
    Circumstances {
        jurisdiction: None,
        has_licence: true,
        care_plan_in_force: true,
        own_event: true,
        target: Some(Kind::HoofCare),
        plan_domain: Some(Domain::Hoof),
    }
}

/// The table of the design, typed again by hand: owner, barn staff, farrier, vet. A attested, R recorded,
/// T transcribed, P recorded under a care plan, o own events, h hoof only, - nothing.
///
/// Read as: whoever may attest (A) or record (R) may copy from paper (T) too, but countersigning can only attest;
/// where owner or barn staff may record, so may a vet.
const TABLE: &[(Kind, [&str; 4])] = &[
    (Kind::HoofCare, ["T", "-", "AT", "AT"]),
    (Kind::HoofCheck, ["RT", "RT", "RT", "ART"]),
    (Kind::Weight, ["RT", "RT", "RT", "ART"]),
    (Kind::BodyCondition, ["RT", "RT", "RT", "ART"]),
    (Kind::Vitals, ["RT", "RT", "RT", "ART"]),
    (Kind::Observation, ["RT", "RT", "RT", "ART"]),
    (Kind::Vaccination, ["T", "-", "-", "AT"]),
    (Kind::Deworming, ["RT", "P", "-", "ART"]),
    (Kind::EggCount, ["T", "RT", "-", "ART"]),
    (Kind::Dental, ["T", "-", "-", "AT"]),
    (Kind::LamenessExam, ["T", "-", "RT", "AT"]),
    (Kind::Medication, ["P", "P", "-", "AT"]),
    (Kind::LaboratoryTest, ["T", "-", "-", "AT"]),
    (Kind::HealthCertificate, ["T", "-", "-", "AT"]),
    (Kind::Movement, ["RT", "RT", "-", "ART"]),
    (Kind::Breeding, ["RT", "RT", "-", "ART"]),
    (Kind::AdverseReaction, ["RT", "RT", "RT", "ART"]),
    (Kind::CarePlan, ["-", "-", "ATh", "AT"]),
    (Kind::Identity, ["RT", "-", "-", "ART"]),
    (Kind::Amendment, ["RTo", "RTo", "ARTo", "ARTo"]),
    (Kind::Retraction, ["RTo", "RTo", "ARTo", "ARTo"]),
    (Kind::Countersign, ["-", "-", "Ah", "A"]),
    (Kind::Erasure, ["R", "-", "-", "-"]),
];

#[test]
fn every_cell_of_the_design_is_decided_as_it_says() {
    let policy = policy();
    let mut cells = 0;
    for (kind, row) in TABLE {
        for (role, letters) in Role::ALL.iter().zip(row) {
            for (grade, letter) in Provenance::ALL.iter().zip(['A', 'R', 'T']) {
                let recorded_under_plan = letter == 'R' && letters.contains('P');
                let expected = letters.contains(letter) || recorded_under_plan;
                // A correction is held to its target's row as well, which is tested apart.
                let around = Circumstances {
                    target: fine().target.filter(|_| *kind != Kind::Amendment),
                    ..fine()
                };
                let decided = policy.decide(*role, *kind, *grade, &around);
                assert_eq!(
                    decided.is_ok(),
                    expected,
                    "{role} {kind} {grade}: {decided:?}"
                );
                let row = decided.map_or_else(|refusal| refusal.row, |allowed| allowed.row);
                assert_eq!(Some(&row), policy.row(*kind, None).map(|row| &row.id));
                cells += 1;
            }
        }
    }
    assert_eq!(cells, TABLE.len() * 4 * 3);
    assert_eq!(TABLE.len(), Kind::ALL.len());
}

#[test]
fn every_condition_of_the_design_narrows_its_cell() {
    let policy = policy();
    for (kind, row) in TABLE {
        for (role, letters) in Role::ALL.iter().zip(row) {
            let grade = match letters.chars().next() {
                Some('A') => Provenance::Attested,
                Some('R' | 'P') => Provenance::Recorded,
                Some('T') => Provenance::Transcribed,
                _ => continue,
            };
            let around = Circumstances {
                target: fine().target.filter(|_| *kind != Kind::Amendment),
                ..fine()
            };
            let without = [
                (
                    letters.contains('A'),
                    Circumstances {
                        has_licence: false,
                        ..around
                    },
                ),
                (
                    letters.contains('P'),
                    Circumstances {
                        care_plan_in_force: false,
                        ..around
                    },
                ),
                (
                    letters.contains('o'),
                    Circumstances {
                        own_event: false,
                        ..around
                    },
                ),
                (
                    letters.contains('h'),
                    Circumstances {
                        plan_domain: Some(Domain::Parasite),
                        target: Some(Kind::Vaccination),
                        ..around
                    },
                ),
            ];
            for (n, (matters, around)) in without.into_iter().enumerate() {
                if n == 3 && *kind == Kind::Amendment {
                    continue;
                }
                let decided = policy.decide(*role, *kind, grade, &around);
                assert_eq!(
                    decided.is_err(),
                    matters,
                    "{role} {kind} {grade} {n}: {decided:?}"
                );
            }
        }
    }
}

#[test]
fn refusals_say_why_in_words() {
    let policy = policy();
    let bare = Circumstances::default();
    let reason = |role, kind, grade| {
        let refusal = policy
            .decide(role, kind, grade, &bare)
            .expect_err("a refusal");
        refusal.to_string()
    };
    assert_eq!(
        reason(Role::BarnStaff, Kind::Vaccination, Provenance::Recorded),
        "barn staff may not record vaccination; owner or vet may (policy row `vaccination`)"
    );
    assert_eq!(
        reason(Role::Owner, Kind::Dental, Provenance::Recorded),
        "owner may record dental as transcribed only, not as recorded (policy row `dental`)"
    );
    assert_eq!(
        reason(Role::BarnStaff, Kind::Deworming, Provenance::Recorded),
        "barn staff may record deworming only under a care plan in force that names them; ask the vet for one \
         (policy row `deworming`)"
    );
    assert!(
        reason(Role::Vet, Kind::Vaccination, Provenance::Attested).contains("licence on record")
    );
    assert!(reason(Role::Vet, Kind::Retraction, Provenance::Recorded).contains("of their own"));
}

#[test]
fn an_amendment_is_held_to_the_row_of_what_it_amends() {
    let policy = policy();
    let amend = |role, grade, target| {
        let around = Circumstances {
            target: Some(target),
            ..fine()
        };
        policy.decide(role, Kind::Amendment, grade, &around)
    };
    let refusal = amend(Role::Owner, Provenance::Recorded, Kind::Vaccination).unwrap_err();
    assert_eq!(refusal.row, "vaccination");
    assert!(amend(Role::Owner, Provenance::Transcribed, Kind::Vaccination).is_ok());
    let deworming = |care_plan_in_force| {
        let around = Circumstances {
            care_plan_in_force,
            target: Some(Kind::Deworming),
            ..fine()
        };
        policy.decide(
            Role::BarnStaff,
            Kind::Amendment,
            Provenance::Recorded,
            &around,
        )
    };
    let row = deworming(true).map(|allowed| allowed.row);
    assert_eq!(row, Ok("correction".to_owned()));
    assert_eq!(deworming(false).unwrap_err().row, "deworming");
}

const OPERATORS: &str = r#"
[pack]
subject = "policy"
edition = "own"
[[source]]
id = "state"
citation = "State law on farriery"
[[rule]]
id = "vaccination-ky"
kinds = ["vaccination"]
jurisdiction = "US-KY"
owner = { grades = ["recorded"] }
source = "state"
edition = "2026"
mark = "unconfirmed"
[[rule]]
id = "dental"
kinds = ["dental"]
farrier = { grades = ["recorded"] }
source = "state"
edition = "2026"
mark = "unconfirmed"
"#;

#[test]
fn an_operator_replaces_rows_and_adds_them_for_a_place() {
    let files = [("ky.toml".to_owned(), OPERATORS.to_owned())];
    let rules = Rules::with(&files).expect("an operator's pack");
    let may = |place, kind, role| {
        let around = Circumstances {
            jurisdiction: place,
            ..fine()
        };
        rules
            .policy
            .decide(role, kind, Provenance::Recorded, &around)
    };
    assert!(may(Some("US-KY"), Kind::Vaccination, Role::Owner).is_ok());
    assert!(may(Some("us-ky"), Kind::Vaccination, Role::Owner).is_ok());
    assert!(may(Some("US-KYX"), Kind::Vaccination, Role::Owner).is_err());
    assert!(may(Some("US"), Kind::Vaccination, Role::Owner).is_err());
    assert!(may(None, Kind::Vaccination, Role::Owner).is_err());
    assert!(may(None, Kind::Dental, Role::Farrier).is_ok());
    let listed = rules.listed().iter().find(|rule| rule.id == "dental");
    assert_eq!(listed.map(|rule| rule.file.as_str()), Some("ky.toml"));
}

#[test]
fn a_pack_that_lets_laymen_attest_is_refused_with_its_line() {
    let text = OPERATORS.replace(r#"["recorded"]"#, r#"["attested"]"#);
    let wrong = Rules::with(&[("ky.toml".to_owned(), text)]).expect_err("a wrong pack");
    assert_eq!((wrong.file.as_str(), wrong.line), ("ky.toml", 9));
    assert!(wrong.reason.contains("can't attest"), "{wrong}");
}

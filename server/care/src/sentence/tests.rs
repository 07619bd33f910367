use crate::details::example;
use serde_json::json;

use super::*;

/// One sentence for the example of each kind, read by a person.
#[test]
fn every_kind_is_told_in_a_line() {
    let told = |kind| of(kind, &example(kind));
    for (kind, wanted) in [
        (
            Kind::HoofCare,
            "shoe; LF toe 92 → 84 mm, angle 50 → 52.5°, 14 more measures, thrush (mild), central sulcus, trim and \
             new shoe, shoe steel plain 2 rim; RF toe 84.5 mm, angle 52°; again in 6 weeks",
        ),
        (Kind::HoofCheck, "LF thrush (mild), central sulcus; RF well"),
        (
            Kind::Vaccination,
            "against tetanus, influenza, Tidevax Flu-T lot TV-20418 (expires 2027-03), 1 ml, intramuscular, left \
             neck",
        ),
        (
            Kind::Deworming,
            "ivermectin, Drovepaste Ivermectin, lot DP-7731, set for 550 kg, weight by tape, 110 mg, 450 eggs per \
             gram in April",
        ),
        (
            Kind::EggCount,
            "450 strongyle eggs per gram, 0 ascarid eggs per gram, 18 eggs counted, by McMaster",
        ),
        (Kind::Weight, "498 kg, by formula, girth 188 cm"),
        (
            Kind::BodyCondition,
            "condition 5.5 of 9, cresty neck 1 of 5",
        ),
        (
            Kind::Vitals,
            "37.8 °C, pulse 36, 12 breaths a minute, digital pulses LF 1 RF 1 LH 1 RH 1",
        ),
        (
            Kind::Dental,
            "float, sedated: sharp points on the upper cheek teeth; small hook on 206; again in 12 months",
        ),
        (
            Kind::LamenessExam,
            "LF 2, RF 0 (AAEP scale, 0 to 5): Trot in hand on hard ground, then lunged on both reins.",
        ),
        (
            Kind::Medication,
            "phenylbutazone, 1 g twice a day, in feed, oral, for bruised sole, withdrawal until 2026-05-18",
        ),
        (
            Kind::LaboratoryTest,
            "eia elisa, negative, drawn 2026-04-27, number EV-26-03318",
        ),
        (
            Kind::HealthCertificate,
            "certificate SM-2026-0147, issued 2026-05-04, valid until 2026-06-03, to Headland Show Ground",
        ),
        (
            Kind::Movement,
            "from Saltmarsh Yard to Headland Show Ground, one-day event, met other horses",
        ),
        (Kind::Breeding, "foaled"),
        (
            Kind::Observation,
            "cough, nasal discharge (mild): influenza: Coughed twice when led out; clear drip from the left nostril.",
        ),
        (
            Kind::AdverseReaction,
            "injection site swelling, stiffness (mild), after 6 hours, reported to the vet, and the maker through \
             her",
        ),
        (
            Kind::CarePlan,
            "parasite, every 26 weeks, ivermectin, may be carried out by barn staff, owner, until 2027-05-03, \
             Weigh with the tape, then ivermectin by mouth; call me if any is spat out.",
        ),
        (
            Kind::Identity,
            "name Samphire, registered as Saltmarsh Samphire, mare, foaled 2017-04-19, light, bay, Star; two \
             whorls on the forehead; left hind white to the fetlock., chip 826098500123456, UELN 826002170041900, \
             risks travels, near water, whether the dam was vaccinated, grown weight 520 kg",
        ),
        (Kind::Amendment, "Read the tape wrongly."),
        (Kind::Retraction, "Entered for the wrong horse."),
        (
            Kind::Countersign,
            "I gave this dose myself and have compared the entry with my own day book.",
        ),
        (
            Kind::Erasure,
            "It told of a person who asked for that to be taken out.",
        ),
    ] {
        assert_eq!(told(kind), wanted, "{kind}");
    }
}

#[test]
fn what_a_newer_version_wrote_is_told_as_far_as_it_can_be_read() {
    assert_eq!(
        of(Kind::Weight, &json!({"weight_kg": 500, "mood": "fine"})),
        "500 kg"
    );
    assert!(of(Kind::Weight, &json!({"mood": "fine"})).contains("later version"));
}

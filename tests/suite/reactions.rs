//! The report of an adverse reaction: what it gathers, what it says is missing, and for whom.

use serde_json::json;
use uuid::Uuid;
use whorl_care::ids::EventId;
use whorl_care::kind::{Kind, Role};
use whorl_care::reaction::Report;
use whorl_contract::path;
use whorl_tests::ledger::accepted;
use whorl_tests::on_both;
use whorl_tests::pen::Pen;
use whorl_tests::yard::{Yard, license};

use crate::looks_absent;

on_both!(
    a_report_gathers_what_was_given_and_says_what_is_missing,
    |server| {
        let yard = Yard::open(server);
        let horse = yard.horse();
        let (vet, farrier) = (
            server.device_account("Senna Quill"),
            server.device_account("Idris Fenn"),
        );
        license(&vet, Role::Vet);
        let grant = yard.admit(&vet, horse, Role::Vet);
        let kinds = vec![Kind::AdverseReaction];
        let _ = yard.admit_to(&farrier, horse, Role::Farrier, Some(kinds));
        let doctor = Pen::of(&vet, Role::Vet);
        let shot = doctor.draft(horse, Kind::Vaccination).details(json!({
        "targets": ["influenza"], "product": "Tidevax Flu", "lot_number": "F-0091", "expiration_date": "2028-01-31",
        "dose_ml": 1.0, "route": "intramuscular", "site": "left_neck"}));
        let wormed = doctor
            .draft(horse, Kind::Deworming)
            .performed_at("2026-04-24T09:00:00+01:00")
            .details(json!({"actives": ["ivermectin"], "product": "Drovepaste"}));
        let reaction = yard
        .pen()
        .draft(horse, Kind::AdverseReaction)
        .performed_at("2026-05-04T15:20:00+01:00")
        .details(json!({"after_event_id": shot.id(), "onset_hours": 6.0, "signs": ["hives"], "outcome": "recovered"}));
        for (who, event) in [(&vet, &shot), (&vet, &wormed), (&yard.owner, &reaction)] {
            let _ = accepted(who, &event.sign());
        }
        let address = path::reaction_report(horse, reaction.id());

        let report: Report = vet.get(&address).read();
        let after = report.after.as_ref().expect("what it came after");
        assert_eq!(after.lot_number.as_deref(), Some("F-0091"));
        assert_eq!(after.given_by.as_deref(), Some("Senna Quill"));
        assert_eq!(report.reported_by.as_deref(), Some("Maren Oduya"));
        assert_eq!(report.hours_between, Some(6.0));
        assert_eq!(report.also_given.len(), 1);
        assert_eq!(report.also_given[0].days_before, Some(10));
        assert!(report.missing.iter().any(|one| one == "the horse's sex"));
        assert!(
            report
                .cautions
                .iter()
                .any(|one| one.contains("competent authority"))
        );
        let text = vet.get(&format!("{address}?format=text"));
        assert!(
            text.header("content-type")
                .is_some_and(|one| one.starts_with("text/plain"))
        );
        for line in [
            "Lot: F-0091",
            "Outcome: recovered",
            "What the record doesn't tell",
            "  - the horse's weight",
        ] {
            assert!(text.text().contains(line), "{line} in {}", text.text());
        }
        assert_eq!(vet.get(&format!("{address}?format=doc")).status, 422);

        // Whoever may see reactions alone is told of no vaccination.
        let limited = farrier.get(&address);
        let part: Report = limited.read();
        assert!(part.after.is_none() && part.also_given.is_empty());
        assert!(!limited.text().contains("F-0091") && !limited.text().contains("ivermectin"));
        assert!(part.missing[0].contains("isn't open to this account"));

        let nowhere = path::reaction_report(horse, EventId(Uuid::now_v7()));
        looks_absent(
            &vet.get(&path::reaction_report(horse, shot.id())),
            &vet.get(&nowhere),
        );
        let stranger = server.account("Orla Vance");
        looks_absent(&stranger.get(&address), &stranger.get(&nowhere));
        yard.revoke(&grant);
        looks_absent(&vet.get(&address), &vet.get(&nowhere));
    }
);

//! What a document holds to, whatever is in the record. What readers of other makers find in it is tested end to end.

use std::collections::BTreeMap;

use proptest::prelude::*;
use serde_json::json;
use whorl_care::horse::Horse as Profile;
use whorl_contract::history::HistoryEntry;

use super::font::{Fonts, Weight};
use super::{Document, layout, qr, tell, write};
use whorl_contract::key::Hash;

fn horse(name: &str) -> Profile {
    serde_json::from_value(json!({"name": name, "sex": "mare", "microchip": "826098500000017"}))
        .expect("a horse")
}

fn entry(seq: i64, note: &str) -> HistoryEntry {
    let id = "0199f3a0-7c00-7000-8000-00000000000d";
    let at = "2027-03-04T09:20:00-05:00";
    let document = json!({"seq": seq, "id": id, "kind": "weight", "performed_at": at, "recorded_at": at,
        "received_at": "2027-03-04T19:02:44Z", "author_id": id, "author": "Maren Oduya", "device_id": id, "role": "vet",
        "provenance": "attested", "visit_id": null, "performed_by": null, "note": note, "attachments": [],
        "details": {"weight_kg": 498.0, "method": "scale"}, "standing": "as_recorded", "amended_by": [],
        "retracted_by": null, "reason": null, "countersignatures": [], "sealed": false});
    serde_json::from_value(document).expect("an entry")
}

fn document<'a>(
    profile: &'a Profile,
    entries: &'a [HistoryEntry],
    link: Option<&'a str>,
) -> Document<'a> {
    Document {
        horse_id: "0199f3a0-7c00-7000-8000-000000000005"
            .parse()
            .expect("an id"),
        profile,
        entries,
        withheld: &[],
        head: (3, Hash::of(&[b"head"])),
        server: "saltmarsh.example",
        on: "2027-03-04".parse().expect("a day"),
        link,
    }
}

#[test]
fn the_same_record_makes_the_same_bytes() {
    let horse = horse("Plover");
    let entries: Vec<HistoryEntry> = (1..=40).map(|seq| entry(seq, "after hay")).collect();
    let document = document(
        &horse,
        &entries,
        Some("https://saltmarsh.example/shared/abc"),
    );
    let (one, two) = (
        write(&document).expect("a file"),
        write(&document).expect("a file"),
    );
    assert!(one.starts_with(b"%PDF-"));
    assert!(one == two, "the bytes differ");
}

#[test]
fn a_letter_that_the_font_lacks_is_shown_by_its_code() {
    let fonts = Fonts::load().expect("fonts");
    assert_eq!(fonts.printable("Žluť ø ß Ł Ω Ж"), "Žluť ø ß Ł Ω Ж");
    assert_eq!(fonts.printable("小\u{7}x"), "[U+5C0F] x");
    assert_eq!(
        fonts.printable("LF toe 91 → 83 mm, 50 × 2°, ≥ ½ µl at UTC−5"),
        "LF toe 91 to 83 mm, 50 × 2°, >= ½ µl at UTC–5"
    );
}

#[test]
fn a_code_is_square_and_a_link_too_long_has_none() {
    // Version 3 (29 squares) is the first to hold 36 bytes at level M: ISO/IEC 18004, table 7, from memory.
    let code = qr::code("https://saltmarsh.example/shared/abc").expect("a code");
    assert_eq!(code.side, 29);
    assert!(code.dark.iter().all(|(x, y)| *x < 29 && *y < 29));
    assert_eq!(qr::code(&"x".repeat(3000)), None);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(16))]

    #[test]
    fn nothing_is_lost_and_nothing_leaves_the_page(
        name in "\\PC{0,60}",
        notes in proptest::collection::vec("[\\PC\n\t ]{0,400}", 0..12),
        long in 0..5000_usize,
    ) {
        let horse = horse(&name);
        let mut entries: Vec<HistoryEntry> = (1..).zip(&notes).map(|(seq, note)| entry(seq, note)).collect();
        entries.push(entry(99, &"hay ".repeat(long)));
        let document = document(&horse, &entries, None);
        let fonts = Fonts::load().expect("fonts");
        let laid = layout::lay(&tell::blocks(&document), &tell::foot(&document), &fonts);
        let mut printed: BTreeMap<usize, String> = BTreeMap::new();
        for (slot, mark) in laid.pages.iter().flatten() {
            if let layout::Mark::Text(x, y, weight, size, text) = mark {
                let end = x + fonts.width(text, *weight, *size);
                prop_assert!(*x >= 40.0 && end <= layout::PAGE.0 - 40.0, "{text:?} ends at {end}");
                prop_assert!(*y >= 40.0 && *y <= layout::PAGE.1 - 20.0);
                if let Some(slot) = slot {
                    printed.entry(*slot).or_default().push_str(text);
                }
            }
        }
        let without_blanks = |text: &str| text.replace(' ', "");
        let printed: Vec<String> = printed.values().map(|text| without_blanks(text)).collect();
        for entry in &entries {
            let note = without_blanks(&fonts.printable(entry.note.as_deref().unwrap_or_default()));
            prop_assert!(printed.iter().any(|cell| cell.contains(&note)), "{note:?} is lost");
        }
        prop_assert!(fonts.lines(&name, Weight::Bold, 20.0, 100.0).len() < 200);
        prop_assert!(write(&document).is_ok());
    }
}

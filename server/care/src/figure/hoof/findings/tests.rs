use super::*;
use crate::rules::Rules;

fn rules() -> Rules {
    Rules::built_in().expect("built-in packs are sound")
}

fn judge(code: &str, severity: Option<u8>, region: Option<&str>) -> Judged {
    let judged = rules().hoof_findings.judge(code, severity, region);
    judged.unwrap_or_else(|| panic!("{code} is in the pack"))
}

fn flags(seen: &Seen) -> Vec<String> {
    let rules = rules();
    let up = rules.hoof_findings.red_flags(seen);
    up.into_iter().map(|flag| flag.id.clone()).collect()
}

/// Every finding that the reference names (hoof findings, section 3: the list is a proposal of Whorl's own, no
/// trade-wide list was found).
#[test]
fn knows_every_finding_of_the_list() {
    let rules = rules();
    for code in "abscess puncture nail_bind nail_prick thrush white_line_disease crack bruise wl_blood dish \
                 divergent_rings laminitis_acute sheared_heel contracted_heel underrun_heel canker keratoma thin_sole \
                 loose_shoe sprung_shoe lost_shoe risen_clinch coronet_injury quittor wry_foot crena seedy_toe \
                 overreach long_toe_low_heel jammed_coronet medial_collapse overgrown_neglect"
        .split_whitespace()
    {
        assert!(rules.hoof_findings.find(code).is_some(), "{code}");
    }
    assert!(rules.hoof_findings.find("thrash").is_none());
    assert_eq!(rules.hoof_findings.judge("thrash", Some(1), None), None);
}

/// Urgency by severity where the list states it. American Farriers Journal 2202 and horsesport.com for punctures;
/// the rest is our own grading.
#[test]
fn urgency_follows_severity_and_place() {
    for (code, severity, region, want) in [
        ("puncture", 3, Some("frog"), Urgency::Now),
        (
            "puncture",
            3,
            Some("lateral sulcus, by the sole"),
            Urgency::Now,
        ),
        ("puncture", 3, None, Urgency::Now),
        ("puncture", 3, Some("Sole, superficial"), Urgency::SameDay),
        ("abscess", 2, None, Urgency::TwoWeeks),
        ("abscess", 4, None, Urgency::SameDay),
        ("nail_bind", 2, None, Urgency::TwoDays),
        ("nail_prick", 4, None, Urgency::SameDay),
        ("thrush", 3, None, Urgency::TwoWeeks),
        ("thrush", 4, None, Urgency::TwoDays),
        ("white_line_disease", 3, None, Urgency::TwoWeeks),
        ("white_line_disease", 4, None, Urgency::TwoDays),
        ("crack", 1, None, Urgency::NextVisit),
        ("crack", 3, None, Urgency::TwoWeeks),
        ("crack", 4, None, Urgency::TwoDays),
        ("bruise", 3, None, Urgency::TwoDays),
        ("dish", 2, None, Urgency::TwoWeeks),
        ("laminitis_acute", 2, None, Urgency::SameDay),
        ("laminitis_acute", 4, None, Urgency::Now),
        ("sheared_heel", 2, None, Urgency::NextVisit),
        ("contracted_heel", 2, None, Urgency::NextVisit),
        ("underrun_heel", 3, None, Urgency::NextVisit),
        ("canker", 3, None, Urgency::TwoDays),
        ("keratoma", 3, None, Urgency::TwoWeeks),
        ("thin_sole", 3, None, Urgency::TwoDays),
        ("overgrown_neglect", 3, None, Urgency::TwoWeeks),
    ] {
        let judged = judge(code, Some(severity), region);
        assert_eq!(judged.urgency, Some(want), "{code} {severity} {region:?}");
    }
}

#[test]
fn a_puncture_is_never_harmless_and_a_missing_severity_is_never_none() {
    let puncture = judge("puncture", Some(0), Some("frog"));
    assert_eq!(
        (puncture.severity, puncture.urgency),
        (3, Some(Urgency::Now))
    );
    assert!(puncture.text.contains("Leave it in"), "{}", puncture.text);
    assert_eq!(judge("thrush", Some(0), None).urgency, None);
    for code in rules().hoof_findings.codes() {
        assert!(judge(code, None, None).urgency.is_some(), "{code}");
    }
}

/// Obel 1948 in BMC Veterinary Research 2021;17:16, table 1; the severities are ours: Obel 2 is 3, and U1.
#[test]
fn obel_gives_a_severity() {
    let rules = rules();
    let of = |obel| {
        rules
            .hoof_findings
            .severity_of_obel("laminitis_acute", obel)
    };
    assert_eq!(
        [of(0), of(1), of(2), of(3), of(4), of(5)],
        [None, Some(2), Some(3), Some(4), Some(4), None]
    );
    assert_eq!(
        judge("laminitis_acute", of(2), None).urgency,
        Some(Urgency::SameDay)
    );
    assert_eq!(rules.hoof_findings.severity_of_obel("thrush", 2), None);
}

#[test]
fn red_flags_reach_the_vet() {
    for code in [
        "puncture",
        "laminitis_acute",
        "canker",
        "sole_prolapse",
        "coronet_dip",
    ] {
        assert!(judge(code, None, None).red_flag, "{code}");
    }
    assert!(judge("crack", Some(4), None).red_flag);
    assert!(!judge("crack", Some(3), None).red_flag);
    let signs = |signs: &[FootSign]| {
        flags(&Seen {
            signs: signs.to_vec(),
            ..Seen::default()
        })
    };
    assert_eq!(flags(&Seen::default()), [""; 0]);
    assert_eq!(signs(&[FootSign::Fever]), [""; 0]);
    assert_eq!(
        signs(&[FootSign::Fever, FootSign::Lame]),
        ["fever-and-lame"]
    );
    assert_eq!(signs(&[FootSign::NonWeightBearing]), ["non-weight-bearing"]);
    assert_eq!(signs(&[FootSign::SwellingAboveHoof]), ["swelling-above"]);
    assert_eq!(signs(&[FootSign::WoundOverJoint]), ["wound-over-joint"]);
    assert_eq!(
        signs(&[FootSign::TipToeStance]),
        [""; 0],
        "not of a grown horse"
    );
    assert_eq!(
        signs(&[FootSign::TipToeStance, FootSign::Foal]),
        ["foal-tip-toe"]
    );
    assert_eq!(
        signs(&[FootSign::LimbDeviation, FootSign::Foal]),
        ["foal-limb-deviation"]
    );
    let lame = |grade| {
        flags(&Seen {
            lameness_aaep: Some(grade),
            ..Seen::default()
        })
    };
    assert_eq!(
        (lame(3), lame(4)),
        (vec![], vec!["lame-at-walk".to_owned()])
    );
    let turned = |degrees| {
        flags(&Seen {
            angle_change_deg: Some(degrees),
            ..Seen::default()
        })
    };
    assert_eq!(
        (turned(5.0), turned(5.5)),
        (vec![], vec!["angle-changed".to_owned()])
    );
    let shod = |days| {
        flags(&Seen {
            signs: vec![FootSign::Lame],
            days_since_shoeing: Some(days),
            ..Seen::default()
        })
    };
    assert_eq!(
        (shod(5), shod(6)),
        (vec!["lame-after-shoeing".to_owned()], vec![])
    );
    let again = |code: &str, times| {
        flags(&Seen {
            times_in_a_year: vec![(code.to_owned(), times)],
            ..Seen::default()
        })
    };
    assert_eq!(again("abscess", 3), ["abscess-again"]);
    assert_eq!(again("abscess", 2), [""; 0]);
    assert_eq!(again("thrush", 9), [""; 0]);
}

const HEAD: &str = r#"
[pack]
subject = "hoof_findings"
edition = "own"
[[source]]
id = "own"
citation = "Our own list"
"#;

fn wrong(rows: &str) -> String {
    let file = ("own.toml".to_owned(), format!("{HEAD}{rows}"));
    Rules::with(&[file]).expect_err("a wrong pack").to_string()
}

#[test]
fn refuses_a_pack_that_cannot_be() {
    let finding = |more: &str| {
        wrong(&format!(
            "[[finding]]\nid = \"hoof_bound\"\nsays = \"tight\"\nsource = \"own\"\nedition = \"1\"\nmark = \"read\"\n{more}"
        ))
    };
    let flag = |when: &str| {
        wrong(&format!(
            "[[red_flag]]\nid = \"odd\"\nsays = \"odd\"\nurgency = \"U1\"\nsource = \"own\"\nedition = \"1\"\nmark = \"read\"\nwhen = {{ {when} }}"
        ))
    };
    for (got, want) in [
        (
            finding("unstated = 2\nurgency = [\"U4\", \"U3\", \"U4\", \"U4\"]"),
            "less urgent than a milder one",
        ),
        (
            finding("unstated = 2\nurgency = [\"U4\", \"U3\", \"U2\", \"U1\"]"),
            "raises no red flag",
        ),
        (
            finding("unstated = 5\nurgency = [\"U4\", \"U4\", \"U4\", \"U4\"]"),
            "0 to 4",
        ),
        (
            finding("unstated = 1\nleast = 2\nurgency = [\"U4\", \"U4\", \"U4\", \"U4\"]"),
            "below the mildest",
        ),
        (
            finding("unstated = 1\nurgency = [\"U4\", \"U4\", \"U4\", \"U9\"]"),
            "U9",
        ),
        (flag(""), "for every horse"),
        (flag("finding = \"thrash\""), "there is no finding `thrash`"),
        (flag("fever = true"), "fever"),
    ] {
        assert!(got.contains(want), "{got}");
        assert!(got.starts_with("own.toml, line "), "{got}");
    }
}

#[test]
fn a_worse_finding_is_never_less_urgent() {
    let rules = rules();
    let pack = &rules.hoof_findings;
    for code in pack.codes() {
        for region in [None, Some("sole"), Some("frog")] {
            let judged = (0..=4).map(|severity| pack.judge(code, Some(severity), region));
            let judged: Vec<Judged> = judged.map(|one| one.expect("a finding")).collect();
            for pair in judged.windows(2) {
                let soon = |one: &Judged| one.urgency.map_or(5, |urgency| urgency as u8);
                assert!(soon(&pair[1]) <= soon(&pair[0]), "{code} {region:?}");
                assert!(pair[1].red_flag || !pair[0].red_flag, "{code} {region:?}");
            }
            let vet_today = |one: &&Judged| one.urgency <= Some(Urgency::SameDay);
            for one in judged.iter().filter(vet_today) {
                assert!(one.red_flag || one.urgency.is_none(), "{one:?}");
            }
        }
    }
}

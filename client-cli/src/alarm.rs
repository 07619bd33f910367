//! What must not wait: the findings and signs of an entry that call for a vet, said at the moment they are written down.

use whorl_care::code::Sign;
use whorl_care::details::{Details, Finding, LamenessScale};
use whorl_care::figure::hoof::findings::{FootSign, Seen, Urgency};
use whorl_care::rules::Rules;
use whorl_care::sentence::words;

/// What an entry calls for, the most urgent first. Findings that may wait for the next visit are not told.
#[must_use]
pub fn of(details: &Details, rules: &Rules) -> Vec<String> {
    let mut alarms: Vec<(Urgency, String)> = match details {
        Details::HoofCare(visit) => visit
            .feet
            .iter()
            .flat_map(|(foot, care)| found(&foot.to_string(), &care.findings, rules))
            .collect(),
        Details::HoofCheck(check) => check
            .feet
            .iter()
            .flat_map(|(foot, checked)| found(&foot.to_string(), &checked.findings, rules))
            .collect(),
        Details::LamenessExam(exam) if exam.scale == LamenessScale::Aaep => {
            let worst = exam.limbs.values().copied().fold(0.0, f64::max);
            around(
                &Seen {
                    lameness_aaep: grade(worst),
                    ..Seen::default()
                },
                rules,
            )
        }
        Details::Observation(seen) => around(
            &Seen {
                signs: seen
                    .signs
                    .iter()
                    .filter_map(|sign| foot_sign(*sign))
                    .collect(),
                ..Seen::default()
            },
            rules,
        ),
        _ => Vec::new(),
    };
    alarms.sort_by_key(|(urgency, _)| *urgency);
    alarms.into_iter().map(|(_, text)| text).collect()
}

fn found(foot: &str, findings: &[Finding], rules: &Rules) -> Vec<(Urgency, String)> {
    let judged = findings.iter().filter_map(|one| {
        let pack = &rules.hoof_findings;
        let judged = pack.judge(&one.finding, one.severity, one.region.as_deref())?;
        let urgency = judged
            .urgency
            .filter(|urgency| *urgency < Urgency::NextVisit)?;
        let lead = if judged.red_flag {
            "TELL VET AND OWNER: "
        } else {
            ""
        };
        let text = format!("{lead}{foot} {}: {}", words(&judged.finding), judged.text);
        Some((urgency, text))
    });
    judged.collect()
}

fn around(seen: &Seen, rules: &Rules) -> Vec<(Urgency, String)> {
    let flags = rules.hoof_findings.red_flags(seen).into_iter();
    flags
        .map(|flag| {
            let text = format!(
                "TELL VET AND OWNER: {} {}.",
                flag.says,
                flag.urgency.words()
            );
            (flag.urgency, text)
        })
        .collect()
}

/// A whole grade; of a half the worse.
fn grade(worst: f64) -> Option<u8> {
    (0..=5).find(|whole| f64::from(*whole) >= worst)
}

const fn foot_sign(sign: Sign) -> Option<FootSign> {
    match sign {
        Sign::Lameness => Some(FootSign::Lame),
        Sign::NonWeightBearing => Some(FootSign::NonWeightBearing),
        Sign::Fever => Some(FootSign::Fever),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use serde_json::{Value, json};
    use whorl_care::kind::Kind;

    use super::*;

    fn alarms(kind: Kind, details: &Value) -> Vec<String> {
        let rules = Rules::built_in().expect("built-in rules");
        of(&Details::parse(kind, details).expect("details"), &rules)
    }

    #[test]
    fn what_calls_for_a_vet_is_said_and_what_can_wait_is_not() {
        let nail = json!({"feet": {"LF": {"findings": [
            {"finding": "thrush", "severity": 1}, {"finding": "puncture", "severity": 2, "region": "frog"}]}}});
        let told = alarms(Kind::HoofCheck, &nail);
        assert_eq!(told.len(), 1, "{told:#?}");
        assert!(
            told[0].starts_with("TELL VET AND OWNER: LF puncture: "),
            "{told:#?}"
        );
        let lame = json!({"scale": "aaep_0_5", "limbs": {"LF": 3.5, "RF": 1}});
        assert_eq!(alarms(Kind::LamenessExam, &lame).len(), 1);
        let sound = json!({"scale": "aaep_0_5", "limbs": {"LF": 2}});
        assert_eq!(alarms(Kind::LamenessExam, &sound), [""; 0]);
        let standing = json!({"signs": ["non_weight_bearing"]});
        assert!(alarms(Kind::Observation, &standing)[0].contains("Puts no weight on the foot"));
        assert_eq!(alarms(Kind::Weight, &json!({"weight_kg": 500})), [""; 0]);
    }
}

//! What must not wait: what an entry holds that calls for a vet, told at the moment it is written down and sent to whoever
//! must know. No diagnosis: the vet decides what it is and what is done.

use chrono::NaiveDate;

use crate::code::Sign;
use crate::contacts;
use crate::details::{AdverseReaction, Details, Finding, LamenessScale, ReactionOutcome, Vitals};
use crate::figure::hoof::findings::{FootSign, Seen, Urgency};
use crate::kind::Kind;
use crate::notice::Topic;
use crate::rules::Rules;
use crate::rules::herd_health::{Illness, Quantity};
use crate::sentence::{capital, words};
use crate::unit::plain;
use crate::when::PartialDate;

/// The kinds that can raise an alarm.
pub const KINDS: [Kind; 7] = [
    Kind::HoofCare,
    Kind::HoofCheck,
    Kind::LamenessExam,
    Kind::Vitals,
    Kind::Observation,
    Kind::LaboratoryTest,
    Kind::AdverseReaction,
];

/// From this severity on a reaction is severe: 3 is marked, 4 an emergency.
const SEVERE: u8 = 3;

/// Something that calls for a vet or a farrier.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Alarm {
    /// What it is about.
    pub topic: Topic,
    /// How soon somebody must look at it.
    pub urgency: Urgency,
    /// Whether vet and owner must be told.
    pub red_flag: bool,
    /// What was found, and what to do, in words.
    pub text: String,
}

/// What is known around an entry.
#[derive(Clone, Copy, Debug)]
pub struct Around<'a> {
    /// The day, by the wall clock there.
    pub on: NaiveDate,
    /// When the horse was foaled, if that is known.
    pub foaled_on: Option<PartialDate>,
    /// The rules in force.
    pub rules: &'a Rules,
}

/// What an entry calls for, the most urgent first. Findings that may wait for the next visit are not told.
#[must_use]
pub fn of(details: &Details, around: &Around<'_>) -> Vec<Alarm> {
    let rules = around.rules;
    let mut alarms: Vec<Alarm> = match details {
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
            on_the_leg(
                &Seen {
                    lameness_aaep: grade(worst),
                    ..Seen::default()
                },
                rules,
            )
        }
        Details::Observation(seen) => {
            let signs = seen.signs.iter().filter_map(|sign| foot_sign(*sign));
            on_the_leg(
                &Seen {
                    signs: signs.collect(),
                    ..Seen::default()
                },
                rules,
            )
        }
        Details::Vitals(vitals) => out_of_range(vitals, around),
        Details::AdverseReaction(reaction) => severe(reaction).into_iter().collect(),
        _ => Vec::new(),
    };
    alarms.extend(illnesses(details, around));
    alarms.sort_by_key(|alarm| alarm.urgency);
    alarms
}

fn found(foot: &str, findings: &[Finding], rules: &Rules) -> Vec<Alarm> {
    let judged = findings.iter().filter_map(|one| {
        let pack = &rules.hoof_findings;
        let judged = pack.judge(&one.finding, one.severity, one.region.as_deref())?;
        let urgency = judged
            .urgency
            .filter(|urgency| *urgency < Urgency::NextVisit)?;
        Some(Alarm {
            topic: Topic::Hoof,
            urgency,
            red_flag: judged.red_flag,
            text: format!("{foot} {}: {}", words(&judged.finding), judged.text),
        })
    });
    judged.collect()
}

fn on_the_leg(seen: &Seen, rules: &Rules) -> Vec<Alarm> {
    let flags = rules.hoof_findings.red_flags(seen).into_iter();
    flags
        .map(|flag| Alarm {
            topic: Topic::Hoof,
            urgency: flag.urgency,
            red_flag: true,
            text: format!("{} {}.", flag.says, capital(flag.urgency.words())),
        })
        .collect()
}

fn out_of_range(vitals: &Vitals, around: &Around<'_>) -> Vec<Alarm> {
    let pack = &around.rules.herd_health;
    let measured = [
        (Quantity::Pulse, vitals.pulse_bpm, String::new()),
        (Quantity::Respiration, vitals.respiration_bpm, String::new()),
    ];
    let felt = vitals.digital_pulses.iter().map(|(foot, grade)| {
        let at = format!("{foot} ");
        (Quantity::DigitalPulse, Some(f64::from(*grade)), at)
    });
    let all = measured.into_iter().chain(felt);
    all.filter_map(|(quantity, value, at)| {
        let value = value?;
        let row = pack.resting(quantity, around.foaled_on, around.on)?;
        (value > row.above).then(|| Alarm {
            topic: Topic::Vitals,
            urgency: row.urgency,
            red_flag: true,
            text: format!(
                "{}: {at}{} {}. {}.",
                row.says,
                plain(value),
                quantity.unit(),
                capital(row.urgency.words())
            ),
        })
    })
    .collect()
}

fn illnesses(details: &Details, around: &Around<'_>) -> Vec<Alarm> {
    let shown = contacts::shown(details, around.on, around.foaled_on, around.rules);
    shown
        .into_iter()
        .map(|(illness, by, urgent)| {
            let watch = around.rules.herd_health.watch(illness);
            let mut text = if illness == Illness::Fever {
                format!("Fever: {by}.")
            } else {
                format!("{}.", capital(&by))
            };
            text.push_str(if urgent {
                " Call the vet now, and leave the horse where it is."
            } else {
                " Take its temperature twice a day, and ask the vet."
            });
            if watch.is_some_and(|watch| watch.contagious) {
                text.push_str(" Until the vet says otherwise, keep it apart from other horses.");
            }
            if watch.is_some_and(|watch| watch.notifiable) {
                text.push_str(" In many places it must be reported: ask the vet.");
            }
            Alarm {
                topic: if illness == Illness::Fever {
                    Topic::Vitals
                } else {
                    Topic::Disease
                },
                urgency: if urgent {
                    Urgency::Now
                } else {
                    Urgency::SameDay
                },
                red_flag: true,
                text,
            }
        })
        .collect()
}

/// A reaction that was marked or worse, or after which the horse died.
fn severe(reaction: &AdverseReaction) -> Option<Alarm> {
    let died = matches!(
        reaction.outcome,
        Some(ReactionOutcome::Died | ReactionOutcome::Euthanised)
    ) || reaction.signs.contains(&Sign::Death);
    let marked = reaction.severity.is_some_and(|grade| grade >= SEVERE)
        || reaction.signs.contains(&Sign::Collapse);
    if !died && !marked {
        return None;
    }
    let signs: Vec<String> = reaction
        .signs
        .iter()
        .map(|sign| words(sign.code()))
        .collect();
    let signs = signs.join(", ");
    let text = if died {
        format!(
            "A horse died after something was given ({signs}). Call the vet, keep the packs, and report it: the vet knows where."
        )
    } else {
        format!(
            "A severe reaction after something was given: {signs}. Call the vet now, give no more of it, and keep the packs."
        )
    };
    Some(Alarm {
        topic: Topic::Reaction,
        urgency: Urgency::Now,
        red_flag: true,
        text,
    })
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
mod tests;

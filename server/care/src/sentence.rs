//! What an entry says, in the words of a line: for the answer to a recording, for histories, pages and sheets.

mod count;
mod rule;

pub use count::{clock, counted, day, instant, with_days};
pub use rule::rule;

use crate::code::{Active, Sign};
use crate::details::{
    BodyCondition, Breeding, CarePlan, Details, Deworming, EggCount, Finding, FootCare, HoofCare,
    HoofCheck, Identity, LaboratoryTest, LamenessExam, LamenessScale, Measures, Medication,
    Movement, Vaccination, Vitals, Weight,
};
use crate::kind::Kind;
use crate::unit::plain;

/// What the details of a kind say, as far as this version can read them.
#[must_use]
pub fn of(kind: Kind, details: &serde_json::Value) -> String {
    Details::parse_known(kind, details).map_or_else(
        || "a later version wrote it, and this one can't read it whole".to_owned(),
        |details| what(&details),
    )
}

/// A kind or a code in words: `hoof_care` is "hoof care".
#[must_use]
pub fn words(code: &str) -> String {
    code.replace('_', " ")
}

/// A text with a capital letter in front.
#[must_use]
pub fn capital(text: &str) -> String {
    let mut letters = text.chars();
    let first = letters.next().into_iter().flat_map(char::to_uppercase);
    first.chain(letters).collect()
}

/// What details say.
#[must_use]
pub fn what(details: &Details) -> String {
    match details {
        Details::HoofCare(visit) => hoof_care(visit),
        Details::HoofCheck(check) => hoof_check(check),
        Details::Vaccination(dose) => vaccination(dose),
        Details::Deworming(dose) => deworming(dose),
        Details::EggCount(count) => egg_count(count),
        Details::Weight(weight) => weighed(weight),
        Details::BodyCondition(score) => condition(score),
        Details::Vitals(vitals) => vital_signs(vitals),
        Details::Dental(dental) => {
            join(
                ": ",
                [
                    Some(
                        dental.procedure.code().to_owned()
                            + said(dental.sedated == Some(true), ", sedated"),
                    ),
                    some(dental.findings.join("; ")),
                ],
            ) + &next(dental.next_in_months, "month", "months")
        }
        Details::LamenessExam(exam) => lameness(exam),
        Details::Medication(drug) => medication(drug),
        Details::LaboratoryTest(test) => laboratory(test),
        Details::HealthCertificate(paper) => join(
            ", ",
            [
                Some(format!(
                    "certificate {}",
                    paper.number.as_deref().unwrap_or("without a number")
                )),
                Some(format!("issued {}", paper.issued_on)),
                paper
                    .valid_until
                    .map(|until| format!("valid until {until}")),
                paper
                    .destination
                    .as_ref()
                    .map(|place| format!("to {place}")),
            ],
        ),
        Details::Movement(journey) => movement(journey),
        Details::Breeding(step) => breeding(*step),
        Details::Observation(seen) => join(
            ": ",
            [
                some(signs(&seen.signs) + &graded(seen.severity)),
                some(codes(&seen.diseases)),
                seen.text.clone(),
            ],
        ),
        Details::AdverseReaction(reaction) => join(
            ", ",
            [
                some(signs(&reaction.signs) + &graded(reaction.severity)),
                reaction
                    .onset_hours
                    .map(|hours| format!("after {}", counted(plain(hours), "hour", "hours"))),
                reaction
                    .reported_to
                    .as_ref()
                    .map(|who| format!("reported to {who}")),
            ],
        ),
        Details::CarePlan(plan) => care_plan(plan),
        Details::Identity(changed) => identity(changed),
        Details::Amendment(amendment) => amendment.reason.clone(),
        Details::Retraction(retraction) => retraction.reason.clone(),
        Details::Countersign(countersign) => countersign.statement.clone(),
        Details::Erasure(erasure) => erasure.reason.clone(),
    }
}

fn some(text: String) -> Option<String> {
    (!text.is_empty()).then_some(text)
}

fn said(so: bool, text: &'static str) -> &'static str {
    if so { text } else { "" }
}

fn join<const N: usize>(gap: &str, parts: [Option<String>; N]) -> String {
    let parts: Vec<String> = parts.into_iter().flatten().collect();
    parts.join(gap)
}

fn next(after: Option<u32>, one: &str, many: &str) -> String {
    after.map_or_else(String::new, |after| {
        format!("; again in {}", counted(after, one, many))
    })
}

fn codes<T: std::fmt::Display>(codes: &[T]) -> String {
    let codes: Vec<String> = codes.iter().map(|one| words(&one.to_string())).collect();
    codes.join(", ")
}

fn signs(signs: &[Sign]) -> String {
    codes(signs)
}

/// A severity in words.
fn graded(severity: Option<u8>) -> String {
    let word = match severity {
        Some(1) => " (mild)",
        Some(2) => " (moderate)",
        Some(3) => " (marked)",
        Some(4) => " (an emergency)",
        _ => "",
    };
    word.to_owned()
}

fn findings(findings: &[Finding]) -> String {
    let list = findings.iter().map(|one| {
        let region = one.region.as_ref().map(|region| format!(", {region}"));
        words(&one.finding) + &graded(one.severity) + &region.unwrap_or_default()
    });
    list.collect::<Vec<_>>().join("; ")
}

fn hoof_care(visit: &HoofCare) -> String {
    let mut text = words(visit.service.code());
    for (foot, care) in &visit.feet {
        let done = foot_care(care);
        let done = if done.is_empty() {
            "done".to_owned()
        } else {
            done
        };
        text = format!("{text}; {foot} {done}");
    }
    text + &next(visit.next_in_weeks, "week", "weeks")
}

fn foot_care(care: &FootCare) -> String {
    let lengths = measured(care, |one| one.toe_length_mm);
    let angles = measured(care, |one| one.toe_angle_deg);
    let others = [care.before, care.after]
        .iter()
        .flatten()
        .flat_map(Measures::quantities)
        .filter(|(name, value)| !name.starts_with("toe_") && value.is_some())
        .count();
    let shoe = care.shoe.as_ref().map(|shoe| {
        let words = [&shoe.material, &shoe.kind, &shoe.size, &shoe.pad];
        let words: Vec<&str> = words.into_iter().flatten().map(String::as_str).collect();
        format!("shoe {}", words.join(" ")).trim_end().to_owned()
    });
    join(
        ", ",
        [
            lengths.map(|lengths| format!("toe {lengths} mm")),
            angles.map(|angles| format!("angle {angles}°")),
            (others > 0).then(|| counted(others, "more measure", "more measures")),
            some(findings(&care.findings)),
            some(care.work.join(" and ")),
            shoe,
        ],
    )
}

/// Before and after, as far as they were measured.
fn measured(care: &FootCare, value: impl Fn(Measures) -> Option<f64>) -> Option<String> {
    let before = care.before.and_then(&value).map(plain);
    let after = care.after.and_then(&value).map(plain);
    match (before, after) {
        (Some(before), Some(after)) => Some(format!("{before} → {after}")),
        (Some(before), None) => Some(format!("{before} before")),
        (None, after) => after,
    }
}

fn hoof_check(check: &HoofCheck) -> String {
    let feet = check.feet.iter().map(|(foot, checked)| {
        let found = findings(&checked.findings);
        let found = if found.is_empty() {
            "well".to_owned()
        } else {
            found
        };
        format!("{foot} {found}")
    });
    feet.collect::<Vec<_>>().join("; ")
}

fn vaccination(dose: &Vaccination) -> String {
    let product = join(
        " ",
        [
            dose.product.clone(),
            dose.lot_number.as_ref().map(|lot| format!("lot {lot}")),
            dose.expiration_date
                .map(|until| format!("(expires {until})")),
        ],
    );
    join(
        ", ",
        [
            some(format!("against {}", codes(&dose.targets))),
            some(product),
            dose.dose_ml.map(|ml| format!("{} ml", plain(ml))),
            dose.route.map(|route| words(route.code())),
            dose.site.map(|site| words(site.code())),
        ],
    )
}

fn deworming(dose: &Deworming) -> String {
    let actives: &[Active] = &dose.actives;
    join(
        ", ",
        [
            some(codes(actives)),
            dose.product.clone(),
            dose.lot_number.as_ref().map(|lot| format!("lot {lot}")),
            dose.dosed_for_kg
                .map(|kg| format!("set for {} kg", plain(kg))),
            dose.weight_from.map(|from| format!("weight by {from}")),
            dose.dose_mg.map(|mg| format!("{} mg", plain(mg))),
            dose.reason.clone(),
        ],
    )
}

fn egg_count(count: &EggCount) -> String {
    join(
        ", ",
        [
            count.strongyle_epg.map(|epg| {
                counted(
                    plain(epg),
                    "strongyle egg per gram",
                    "strongyle eggs per gram",
                )
            }),
            count
                .ascarid_epg
                .map(|epg| counted(plain(epg), "ascarid egg per gram", "ascarid eggs per gram")),
            count
                .eggs_counted
                .map(|eggs| format!("{} counted", counted(eggs, "egg", "eggs"))),
            (count.tapeworm_eggs_seen == Some(true)).then(|| "tapeworm eggs seen".to_owned()),
            count
                .method
                .as_ref()
                .map(|method| format!("by {}", method_words(method))),
        ],
    )
}

fn weighed(weight: &Weight) -> String {
    join(
        ", ",
        [
            Some(format!("{} kg", plain(weight.weight_kg))),
            weight.method.map(|method| format!("by {method}")),
            weight
                .heart_girth_cm
                .map(|girth| format!("girth {} cm", plain(girth))),
        ],
    )
}

fn condition(score: &BodyCondition) -> String {
    join(
        ", ",
        [
            score
                .score
                .map(|score| format!("condition {} of 9", plain(score))),
            score
                .cresty_neck
                .map(|neck| format!("cresty neck {neck} of 5")),
        ],
    )
}

fn vital_signs(vitals: &Vitals) -> String {
    let pulses: Vec<String> = vitals
        .digital_pulses
        .iter()
        .map(|(foot, grade)| format!("{foot} {grade}"))
        .collect();
    join(
        ", ",
        [
            vitals.temperature_c.map(|one| format!("{} °C", plain(one))),
            vitals.pulse_bpm.map(|one| format!("pulse {}", plain(one))),
            vitals
                .respiration_bpm
                .map(|one| counted(plain(one), "breath a minute", "breaths a minute")),
            some(pulses.join(" ")).map(|pulses| format!("digital pulses {pulses}")),
        ],
    )
}

fn lameness(exam: &LamenessExam) -> String {
    let limbs: Vec<String> = exam
        .limbs
        .iter()
        .map(|(foot, grade)| format!("{foot} {}", plain(*grade)))
        .collect();
    join(
        ": ",
        [
            Some(format!("{} ({})", limbs.join(", "), scale(exam.scale))),
            exam.conditions.clone(),
        ],
    )
}

/// A scale of lameness by its name and its ends.
fn scale(scale: LamenessScale) -> String {
    let name = match scale {
        LamenessScale::Aaep => "AAEP",
        LamenessScale::Ten => "British",
        LamenessScale::Obel => "Obel",
        LamenessScale::ModifiedObel => "modified Obel",
    };
    format!("{name} scale, 0 to {}", plain(scale.highest()))
}

/// A method of counting eggs as it is written: some bear somebody's name.
fn method_words(method: &str) -> String {
    let names = [
        ("mcmaster", "McMaster"),
        ("wisconsin", "Wisconsin"),
        ("stoll", "Stoll"),
        ("mini flotac", "Mini-FLOTAC"),
    ];
    names
        .iter()
        .fold(words(method), |told, (code, name)| told.replace(code, name))
}

fn medication(drug: &Medication) -> String {
    join(
        ", ",
        [
            some(drug.drug.clone()),
            drug.dose.clone(),
            drug.route.map(|route| words(route.code())),
            drug.purpose.as_ref().map(|why| format!("for {why}")),
            drug.withdrawal_until
                .map(|until| format!("withdrawal until {until}")),
        ],
    )
}

fn laboratory(test: &LaboratoryTest) -> String {
    join(
        ", ",
        [
            Some(words(test.test.code())),
            test.result.clone(),
            test.drawn_on.map(|on| format!("drawn {on}")),
            test.accession_number
                .as_ref()
                .map(|number| format!("number {number}")),
        ],
    )
}

fn movement(journey: &Movement) -> String {
    let from = journey.from.as_ref().map(|from| format!("from {from}"));
    let way = join(" ", [from, Some(format!("to {}", journey.to))]);
    join(
        ", ",
        [
            Some(way),
            journey.reason.clone(),
            (journey.mixed_with_others == Some(true)).then(|| "met other horses".to_owned()),
        ],
    )
}

fn breeding(step: Breeding) -> String {
    let found = match step.in_foal {
        Some(true) => ": in foal",
        Some(false) => ": not in foal",
        None => "",
    };
    words(step.step.code()) + found
}

fn care_plan(plan: &CarePlan) -> String {
    join(
        ", ",
        [
            Some(plan.domain.to_string()),
            plan.interval_weeks
                .map(|weeks| format!("every {}", counted(weeks, "week", "weeks"))),
            some(codes(&plan.actives)),
            some(codes(&plan.roles)).map(|roles| format!("may be carried out by {roles}")),
            plan.valid_until.map(|until| format!("until {until}")),
            plan.instructions.clone(),
        ],
    )
}

fn identity(changed: &Identity) -> String {
    let risks = changed.risks.as_ref().map(|risks| {
        let list = codes(risks);
        if list.is_empty() {
            "no risks".to_owned()
        } else {
            format!("risks {list}")
        }
    });
    join(
        ", ",
        [
            changed.name.as_ref().map(|name| format!("name {name}")),
            changed
                .registered_name
                .as_ref()
                .map(|name| format!("registered as {name}")),
            changed.sex.map(|sex| sex.to_string()),
            changed.foaled_on.map(|on| format!("foaled {on}")),
            changed.breed_type.map(|build| build.to_string()),
            changed.colour.clone(),
            changed.markings.clone(),
            changed
                .microchip
                .as_ref()
                .map(|chip| format!("chip {chip}")),
            changed.ueln.as_ref().map(|number| format!("UELN {number}")),
            risks,
            changed
                .dam_vaccinated
                .as_ref()
                .map(|_| "whether the dam was vaccinated".to_owned()),
            changed
                .mature_weight_kg
                .map(|kg| format!("grown weight {} kg", plain(kg))),
        ],
    )
}

#[cfg(test)]
mod tests;

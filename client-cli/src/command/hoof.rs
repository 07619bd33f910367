//! `whorl hoof`: the balance of the feet as they were last measured, and when the farrier should come again.

use chrono::NaiveDate;
use serde::Serialize;
use serde_json::{Map, Value, json};
use whorl_care::details::{Details, FootCare, HoofCare, Measures};
use whorl_care::effective::effective;
use whorl_care::fault;
use whorl_care::figure::hoof::{Answer, Input, hoof};
use whorl_care::kind::{Foot, Kind};
use whorl_care::sentence::counted;
use whorl_care::sentence::words;
use whorl_care::unit::plain;

use crate::basis;
use crate::chart::Chart;
use crate::desk::Desk;
use crate::failure::Failure;
use crate::herd;
use crate::render::Sheet;

/// Judge the balance of a horse's feet as they were last measured, and when the farrier should come again
///
/// Works from this device's copy of its record, with what waits in the outbox. Numbers only help: farrier and vet judge
/// the horse in front of them.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// The horse
    horse: String,
    /// Only these feet: LF, RF, LH or RH
    #[arg(value_name = "FOOT")]
    feet: Vec<Foot>,
    /// As it stood on this day; today if left out
    #[arg(long, value_name = "DATE")]
    on: Option<NaiveDate>,
}

/// One foot, judged.
#[derive(Debug, Serialize)]
struct Judged {
    measured_on: NaiveDate,
    #[serde(flatten)]
    answer: Answer,
}

/// A farrier's visit, the day it was.
type Visit = (NaiveDate, HoofCare);

impl Args {
    /// Computes.
    ///
    /// # Errors
    ///
    /// [`Failure::Input`] if there is no such horse.
    pub fn run(self, desk: &mut Desk<'_, '_>) -> Result<(), Failure> {
        let rules = desk.rules()?;
        let on = self.on.unwrap_or_else(|| desk.machine().now().date_naive());
        let mut conn = desk.database()?;
        let horse = herd::named(&mut conn, &self.horse)?;
        let chart = Chart::of(&mut conn, &horse, on)?;
        let visits = visits(&chart);
        let feet = if self.feet.is_empty() {
            Foot::ALL
        } else {
            &self.feet
        };
        let mut judged = Vec::new();
        for foot in feet {
            let Some((measured_on, document)) = document(&chart, &visits, *foot) else {
                continue;
            };
            let input: Input = fault::read(&document)?;
            judged.push(Judged {
                measured_on,
                answer: hoof(&input, &rules)?,
            });
        }
        let name = horse.label();
        desk.show(&judged, || table(&name, &judged))
    }
}

/// The farrier's visits, the latest first.
fn visits(chart: &Chart) -> Vec<Visit> {
    let log = effective(&chart.events);
    let mut visits: Vec<Visit> = log
        .in_force()
        .filter_map(|one| {
            let day = one.event.day().ok()?;
            match Details::parse_known(Kind::HoofCare, one.details) {
                Some(Details::HoofCare(visit)) if one.event.kind == Kind::HoofCare => {
                    Some((day, visit))
                }
                _ => None,
            }
        })
        .collect();
    visits.sort_by_key(|(day, _)| std::cmp::Reverse(*day));
    visits
}

/// A foot's measures as the farrier left it, else as he found it.
fn measures(care: &FootCare) -> Option<Measures> {
    let measured = |one: &Measures| one.quantities().iter().any(|(_, value)| value.is_some());
    care.after.filter(measured).or(care.before.filter(measured))
}

/// What the figure is asked about a foot; none if it was never measured.
fn document(chart: &Chart, visits: &[Visit], foot: Foot) -> Option<(NaiveDate, Value)> {
    let of_foot = |visit: &HoofCare, foot: Foot| visit.feet.get(&foot).and_then(measures);
    let mut measured = visits
        .iter()
        .filter_map(|(day, visit)| Some((*day, visit, of_foot(visit, foot)?)));
    let (day, visit, last) = measured.next()?;
    let mut document = fields(&last);
    let mut set = |name: &str, value: Option<Value>| {
        if let Some(value) = value {
            document.insert(name.to_owned(), value);
        }
    };
    set("foot", Some(json!(foot)));
    set("on", Some(json!(day)));
    set(
        "opposite",
        of_foot(visit, opposite(foot)).map(|one| Value::Object(fields(&one))),
    );
    set(
        "previous",
        measured.next().map(|(day, _, before)| {
            let mut before = fields(&before);
            before.insert("measured_on".to_owned(), json!(day));
            Value::Object(before)
        }),
    );
    set("weight_kg", chart.weighed.map(|weighed| json!(weighed.kg)));
    set("foaled_on", chart.profile.foaled_on.map(|on| json!(on)));
    set("shod", chart.profile.shod.map(|shod| json!(shod)));
    let findings = visit.feet.get(&foot).map(|care| &care.findings);
    set(
        "findings",
        findings
            .filter(|list| !list.is_empty())
            .map(|list| json!(list)),
    );
    Some((day, Value::Object(document)))
}

const fn opposite(foot: Foot) -> Foot {
    match foot {
        Foot::LeftFore => Foot::RightFore,
        Foot::RightFore => Foot::LeftFore,
        Foot::LeftHind => Foot::RightHind,
        Foot::RightHind => Foot::LeftHind,
    }
}

fn fields(measures: &Measures) -> Map<String, Value> {
    let fields = serde_json::to_value(measures).unwrap_or_default();
    let fields = fields.as_object().cloned().unwrap_or_default();
    fields
        .into_iter()
        .filter(|(_, value)| !value.is_null())
        .collect()
}

fn table(name: &str, judged: &[Judged]) -> Sheet {
    if judged.is_empty() {
        return Sheet::new().line(format!(
            "No foot of {name} was ever measured, as far as this device knows; `whorl record trim` takes measures."
        ));
    }
    let mut sheet = Sheet::new();
    let mut cautions: Vec<String> = Vec::new();
    let mut sources = Vec::new();
    for one in judged {
        let answer = &one.answer;
        sheet = sheet
            .line(format!(
                "{name}, {}, measured on {}:",
                answer.foot, one.measured_on
            ))
            .facts(facts(answer));
        for flag in &answer.flags {
            let lead = if flag.red_flag {
                "TELL VET AND OWNER: "
            } else {
                ""
            };
            sheet = sheet.line(format!("! {lead}{}", flag.text));
        }
        for found in &answer.findings {
            let lead = if found.red_flag {
                "TELL VET AND OWNER: "
            } else {
                ""
            };
            sheet = sheet.line(format!("! {lead}{}: {}", words(&found.finding), found.text));
        }
        for caution in &answer.cautions {
            if !cautions.contains(caution) {
                cautions.push(caution.clone());
            }
        }
        for source in &answer.sources {
            if !sources.contains(source) {
                sources.push(source.clone());
            }
        }
    }
    basis::under(sheet, &[], &cautions, &sources)
}

fn facts(answer: &Answer) -> Vec<(&'static str, String)> {
    let mut facts = Vec::new();
    let mut add = |name: &'static str, text: Option<String>| {
        if let Some(text) = text {
            facts.push((name, text));
        }
    };
    let difference = answer
        .axis_difference_deg
        .map(|one| format!(" ({}°)", plain(one)));
    add(
        "hoof and pastern",
        answer
            .axis
            .map(|axis| words(&axis.to_string()) + &difference.unwrap_or_default()),
    );
    add(
        "heel",
        answer
            .underrun_heel
            .map(|underrun| if underrun { "underrun" } else { "not underrun" }.to_owned()),
    );
    add("toe to heel", answer.toe_to_heel.map(plain));
    add(
        "heels",
        answer.heel_balance.map(|balance| {
            let by = answer
                .heel_difference_mm
                .map(|mm| format!(", {} mm apart", plain(mm)));
            balance.to_string() + &by.unwrap_or_default()
        }),
    );
    add("frog", answer.frog.map(|frog| frog.to_string()));
    add(
        "pair",
        answer.pair.as_ref().map(|pair| {
            format!(
                "{}, toe angles {}° apart",
                pair.grade,
                plain(pair.toe_angle_difference_deg)
            )
        }),
    );
    add(
        "toe usual for its weight",
        answer
            .toe_length_target_mm
            .map(|mm| format!("{} mm", plain(mm))),
    );
    add(
        "growth",
        answer
            .growth_mm_per_week
            .map(|mm| format!("{} mm a week", plain(mm))),
    );
    add(
        "farrier again",
        answer.suggested_interval_weeks.map(|weeks| {
            let most = answer
                .stretch_to_weeks
                .map(|most| format!(", {most} at most"));
            format!(
                "after {}{}",
                counted(weeks, "week", "weeks"),
                most.unwrap_or_default()
            )
        }),
    );
    facts
}

//! Visits: on which days a farrier or a vet must come, fit to print for the round.

use actix_web::web::Data;
use actix_web::{HttpRequest, HttpResponse};
use chrono::{Days, NaiveDate};
use maud::{Markup, html};
use whorl_care::fault::{Fault, Faults};
use whorl_care::figure::due::board::name;
use whorl_care::reading::Way;
use whorl_care::sentence::capital;
use whorl_care::visits::{DayOfWeek, Work};
use whorl_contract::visits::{DaysOff, NotPlanned, VisitDay, VisitHorse, VisitPlan, VisitQuestion};
use whorl_store::barns::BarnRow;

use super::fields::Fields;
use super::visitor::Visitor;
use super::{html as page, layout, words};
use crate::access;
use crate::due_board::{self, Asker};
use crate::problem::{Kind, Problem};
use crate::readings::By;
use crate::state::State;

/// So far ahead the form looks if nobody says otherwise.
const AHEAD: Days = Days::new(42);

/// Shows the form, and the plan once it is asked for.
pub(super) async fn show(
    state: Data<State>,
    visitor: Visitor,
    request: HttpRequest,
) -> Result<HttpResponse, Problem> {
    let fields = Fields::of_query(&request)?;
    let now = state.clock.now();
    let account = visitor.caller.account;
    let barns = state
        .read(move |db| access::barns_visible(db, account, now))
        .await?;
    let today = now.date_naive();
    let asked = fields.get("capacity").map(|_| read(&fields, today));
    let outcome = match asked {
        None => Ok(None),
        Some(Err(faults)) => Err(faults.0),
        Some(Ok(question)) => match plan(&state, &visitor, question).await {
            Ok(plan) => Ok(Some(plan)),
            Err(problem) if problem.kind() == Kind::Invalid => Err(problem.document().errors),
            Err(problem) => return Err(problem),
        },
    };
    let refused = outcome.as_ref().err().map_or(&[][..], Vec::as_slice);
    let main = html! {
        h1 { "Plan visits" }
        p { "The fewest days on which every horse is seen while it is right for it. Nothing is recorded or booked." }
        (form(&fields, &barns, today, refused))
        @if let Ok(Some(plan)) = &outcome { (answer(plan)) }
    };
    Ok(page(layout::page(&visitor, "Plan visits", &main)?))
}

async fn plan(
    state: &State,
    visitor: &Visitor,
    question: VisitQuestion,
) -> Result<VisitPlan, Problem> {
    let asker = Asker {
        account: visitor.caller.account,
        now: state.clock.now(),
        on: Some(question.from),
    };
    let plan = state
        .ask(move |db, rules| due_board::visits(db, asker, question, rules))
        .await?;
    state.note(By::Account(asker.account), Way::Due, &plan);
    Ok(plan)
}

/// The question that the form asks.
fn read(fields: &Fields, today: NaiveDate) -> Result<VisitQuestion, Faults> {
    let mut faults = Faults::default();
    let mut day = |field: &str, otherwise: Option<NaiveDate>| {
        let Some(text) = fields.get(field) else {
            return otherwise;
        };
        let day = text.parse::<NaiveDate>().ok();
        if day.is_none() {
            faults.add(format!("/{field}"), format!("`{text}` is no day"));
        }
        day
    };
    let from = day("from", Some(today)).unwrap_or(today);
    let until = day("until", from.checked_add_days(AHEAD)).unwrap_or(from);
    let capacity = fields.get("capacity").and_then(|text| text.parse().ok());
    let weekdays = fields.all("off").filter_map(|code| code.parse().ok());
    let question = VisitQuestion {
        work: fields.get("work").and_then(|code| code.parse().ok()),
        barn_id: fields.get("barn").and_then(|id| id.parse().ok()),
        from,
        until,
        capacity: capacity.unwrap_or(0),
        days_off: DaysOff {
            weekdays: weekdays.collect(),
            dates: Vec::new(),
        },
        one_barn_a_day: fields.get("one_barn").is_some(),
    };
    faults.or(())?;
    question.check()?;
    Ok(question)
}

fn form(fields: &Fields, barns: &[BarnRow], today: NaiveDate, refused: &[Fault]) -> Markup {
    let wrong = |name: &str| {
        let mut hits = refused.iter().map(|fault| fault.pointer.as_str());
        hits.any(|pointer| pointer.trim_start_matches('/') == name)
            .then(|| format!("wrong-{name}"))
    };
    let told = |name: &str| {
        html! {
            @for fault in refused.iter().filter(|fault| fault.pointer.trim_start_matches('/') == name) {
                p.refused id=(format!("wrong-{name}")) role="alert" { (words::told(&fault.detail)) }
            }
        }
    };
    let value = |name: &str, otherwise: String| fields.get(name).map_or(otherwise, str::to_owned);
    let until = today.checked_add_days(AHEAD).unwrap_or(today);
    html! {
        form.ask method="get" {
            div.row {
                div.field {
                    label for="work" { "For what" }
                    select id="work" name="work" {
                        option value="" { "All that I may do" }
                        @for work in Work::ALL {
                            option value=(work.code()) selected[fields.get("work") == Some(work.code())] { (label(*work)) }
                        }
                    }
                }
                div.field {
                    label for="barn" { "Where" }
                    select id="barn" name="barn" {
                        option value="" { "All barns" }
                        @for barn in barns {
                            @let id = barn.id.to_string();
                            option value=(id) selected[fields.get("barn") == Some(id.as_str())] { (barn.name) }
                        }
                    }
                }
                div.field {
                    label for="capacity" { "Horses a day" }
                    input id="capacity" name="capacity" type="number" min="1" max="500" required
                        value=(value("capacity", "8".to_owned())) aria-describedby=[wrong("capacity")];
                    (told("capacity"))
                }
            }
            div.row {
                div.field {
                    label for="from" { "From" }
                    input id="from" name="from" type="date" required value=(value("from", today.to_string()))
                        aria-describedby=[wrong("from")];
                    (told("from"))
                }
                div.field {
                    label for="until" { "Until" }
                    input id="until" name="until" type="date" required value=(value("until", until.to_string()))
                        aria-describedby=[wrong("until")];
                    (told("until"))
                }
            }
            fieldset {
                legend { "Nobody comes on" }
                div.choices {
                    @for day in DayOfWeek::ALL {
                        div.choice {
                            input id=(day.code()) name="off" type="checkbox" value=(day.code())
                                checked[fields.all("off").any(|code| code == day.code())];
                            label for=(day.code()) { (capital(day.code())) }
                        }
                    }
                }
            }
            div.choice {
                input id="one_barn" name="one_barn" type="checkbox" value="yes" checked[fields.get("one_barn").is_some()];
                label for="one_barn" { "Only one barn a day" }
            }
            button type="submit" { "Plan" }
        }
    }
}

fn label(work: Work) -> &'static str {
    match work {
        Work::Hoof => "Feet",
        Work::Vaccination => "Vaccinations",
        Work::Parasite => "Worming and egg counts",
        Work::Dental => "Teeth",
        Work::Weight => "Weighing",
    }
}

fn answer(plan: &VisitPlan) -> Markup {
    let count = match plan.days.len() {
        0 => "Nobody has to come in that time".to_owned(),
        1 => "1 day".to_owned(),
        many => format!("{many} days"),
    };
    html! {
        section aria-labelledby="plan" {
            h2 id="plan" { (count) }
            @if !plan.days.is_empty() {
                p.quiet {
                    @if plan.is_fewest { "Fewer days don't do. Each is as late as it can be." }
                    @else { "Whether fewer days would do is not proven." }
                }
            }
            @for day in &plan.days { (round(day)) }
            @if !plan.not_planned.is_empty() {
                h3 { "Without a day" }
                ul.tasks.print-list { @for one in &plan.not_planned { (left(one)) } }
            }
            @if plan.withheld {
                p.notice { "Part of some horses' records is withheld from you. What rests on it isn't planned." }
            }
            ul.cautions { @for text in &plan.cautions { li { (words::told(text)) } } }
        }
    }
}

fn round(day: &VisitDay) -> Markup {
    html! {
        h3 { (day.on.format("%A").to_string()) ", " (words::day(day.on)) }
        @for barn in &day.barns {
            p { strong { (barn.barn) } }
            ul.tasks.print-list { @for horse in &barn.horses { (visit(horse)) } }
        }
    }
}

fn visit(horse: &VisitHorse) -> Markup {
    let what: Vec<String> = horse.items.iter().map(|item| name(&item.code)).collect();
    let by = horse.items.iter().filter_map(|item| item.due_by).min();
    html! {
        li.task {
            p.task-head {
                @if horse.late { span.tag.overdue { "Late" } " " }
                a.name href=(format!("/horses/{}", horse.horse_id)) { (horse.horse) }
                ": " (what.join(", "))
            }
            @if let Some(by) = by { p.task-line { "by " (words::day(by)) } }
            @if let Some(caution) = &horse.handling { p { strong { "Handle with care: " } (caution.text) } }
        }
    }
}

fn left(one: &NotPlanned) -> Markup {
    html! {
        li.task {
            p.task-head {
                a.name href=(format!("/horses/{}", one.horse_id)) { (one.horse) }
                ": " (name(&one.item.code))
            }
            p.task-line {
                (words::told(one.reason.words()))
                @if let Some(by) = one.item.due_by { " Due by " (words::day(by)) "." }
            }
        }
    }
}

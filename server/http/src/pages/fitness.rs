//! May a horse enter: a show's or a state's rules, for one horse or for all of a barn, fit to print for a show office.

use actix_web::web::{Data, Path};
use actix_web::{HttpRequest, HttpResponse};
use chrono::{DateTime, NaiveDate, Utc};
use maud::{Markup, html};
use whorl_care::fault::Fault;
use whorl_care::figure::entry::{Answer, Check, Stay, Verdict};
use whorl_care::ids::{AccountId, BarnId};
use whorl_care::record::Grade;
use whorl_care::rules::Rules;
use whorl_care::sentence::capital;
use whorl_contract::entry::{BarnEntry, HorseEntry};
use whorl_store::barns::{self, BarnRow};
use whorl_store::{Db, StoreError};

use super::fields::Fields;
use super::horse::{Part, head, horse_id};
use super::visitor::Visitor;
use super::{due, failure, html as page, layout, words};
use crate::entry_check::{self, Entry};
use crate::problem::{Kind, Problem};
use crate::state::State;
use crate::{access, care_log, herd};

/// What is asked: by which rules, and for which days.
struct Asked {
    rules: Vec<String>,
    arrives: Result<NaiveDate, String>,
    leaves: Result<Option<NaiveDate>, String>,
}

impl Asked {
    fn read(fields: &Fields, today: NaiveDate) -> Self {
        let day = |name: &str| {
            let text = fields.get(name)?;
            Some(text.parse::<NaiveDate>().map_err(|_| text.to_owned()))
        };
        Self {
            rules: fields.all("rules").map(str::to_owned).collect(),
            arrives: day("arrives").unwrap_or(Ok(today)),
            leaves: day("leaves").transpose(),
        }
    }

    /// The question, once there is one.
    fn entry(&self, account: AccountId, now: DateTime<Utc>) -> Option<Entry> {
        let (Ok(arrives), Ok(leaves)) = (&self.arrives, &self.leaves) else {
            return None;
        };
        (!self.rules.is_empty()).then(|| Entry {
            rules: self.rules.clone(),
            stay: Stay {
                arrives: *arrives,
                leaves: leaves.unwrap_or(*arrives),
            },
            account,
            now,
        })
    }

    /// What is wrong with the question, by the field that it stands in.
    fn refused(&self, faults: &[Fault]) -> Vec<(&'static str, String)> {
        let wrong = |text: &String| format!("`{text}` is no day");
        let mut refused = Vec::new();
        refused.extend(
            self.arrives
                .as_ref()
                .err()
                .map(|text| ("arrives", wrong(text))),
        );
        refused.extend(
            self.leaves
                .as_ref()
                .err()
                .map(|text| ("leaves", wrong(text))),
        );
        refused.extend(faults.iter().map(|fault| {
            let field = if fault.pointer == "/until" {
                "leaves"
            } else {
                "rules"
            };
            (field, fault.detail.clone())
        }));
        refused
    }
}

/// What came of it.
enum Outcome<T> {
    /// Nothing is asked yet.
    NotAsked,
    /// It can't be asked so.
    Refused(Vec<Fault>),
    /// The answer.
    Told(T),
}

impl<T> Outcome<T> {
    /// What is wrong with the question.
    fn faults(&self) -> &[Fault] {
        match self {
            Self::Refused(faults) => faults,
            _ => &[],
        }
    }
}

/// Asks, if there is something to ask.
async fn ask<T: Send + 'static>(
    state: &State,
    entry: Option<Entry>,
    check: impl FnOnce(&mut Db, &Entry, &Rules) -> Result<T, Problem> + Send + 'static,
) -> Result<Outcome<T>, Problem> {
    let Some(entry) = entry else {
        return Ok(Outcome::NotAsked);
    };
    let rules = state.rules.clone();
    match state.read(move |db| check(db, &entry, &rules)).await {
        Ok(told) => Ok(Outcome::Told(told)),
        Err(problem) if problem.kind() == Kind::Invalid => {
            Ok(Outcome::Refused(problem.document().errors))
        }
        Err(problem) => Err(problem),
    }
}

/// Shows the check of one horse.
pub(super) async fn of_horse(
    state: Data<State>,
    visitor: Visitor,
    horse: Path<String>,
    request: HttpRequest,
) -> Result<HttpResponse, Problem> {
    let id = horse_id(&horse)?;
    let fields = Fields::of_query(&request)?;
    let now = state.clock.now();
    let account = visitor.caller.account;
    let (horse, barn) = state
        .read(move |db| {
            let (row, access) = access::horse(db, account, id, now)?;
            let barn = barns::get(db, row.barn_id)?;
            Ok::<_, StoreError>((herd::one(db, row, access)?, barn))
        })
        .await?;
    let asked = Asked::read(&fields, care_log::today(&barn, now));
    let check = move |db: &mut Db, entry: &Entry, rules: &Rules| {
        entry_check::of_horse(db, entry, id, rules)
    };
    let outcome = ask(&state, asked.entry(account, now), check).await?;
    let name = words::horse_name(&horse);
    let main = html! {
        (head(&horse, Part::Entry))
        (form(&asked, &asked.refused(outcome.faults()), &state.rules))
        @if let Outcome::Told(told) = &outcome { (verdict(&name, &asked, told, &state.rules)) }
    };
    Ok(page(layout::page(
        &visitor,
        &format!("May {name} enter?"),
        &main,
    )?))
}

/// Shows the check of all horses of a barn.
pub(super) async fn of_barn(
    state: Data<State>,
    visitor: Visitor,
    barn: Path<String>,
    request: HttpRequest,
) -> Result<HttpResponse, Problem> {
    let id: BarnId = barn.parse().map_err(|_| Problem::not_found())?;
    let fields = Fields::of_query(&request)?;
    let now = state.clock.now();
    let account = visitor.caller.account;
    let barn = state
        .read(move |db| access::barn(db, account, id, now))
        .await?;
    let asked = Asked::read(&fields, care_log::today(&barn, now));
    let check =
        move |db: &mut Db, entry: &Entry, rules: &Rules| entry_check::of_barn(db, entry, id, rules);
    let outcome = ask(&state, asked.entry(account, now), check).await?;
    let main = barn_main(&barn, &asked, &outcome, &state.rules);
    Ok(page(layout::page(
        &visitor,
        &format!("Who may enter, of {}", barn.name),
        &main,
    )?))
}

fn barn_main(barn: &BarnRow, asked: &Asked, outcome: &Outcome<BarnEntry>, rules: &Rules) -> Markup {
    html! {
        h1 { (barn.name) ": " span.part { "who may enter" } }
        (form(asked, &asked.refused(outcome.faults()), rules))
        @if let Outcome::Told(told) = outcome {
            @if told.horses.is_empty() {
                p { "There is no horse here that you may see." }
            } @else {
                (question(asked, rules))
                ul.tasks.print-list {
                    @for horse in &told.horses { (row(horse)) }
                }
                (said(told.horses.iter().map(|horse| &horse.answer)))
            }
        }
    }
}

/// "Yes", "no" or "can't tell", with a word beside the colour.
fn tag(verdict: Verdict) -> Markup {
    match verdict {
        Verdict::Eligible => html! { span.tag.yes { "Yes" } },
        Verdict::Unknown => html! { span.tag.due { "Can't tell" } },
        Verdict::NotEligible => html! { span.tag.no { "No" } },
    }
}

fn row(horse: &HorseEntry) -> Markup {
    let reasons = unmet(&horse.answer);
    html! {
        li.task {
            p.task-head {
                (tag(horse.verdict))
                " "
                a.name href=(format!("/horses/{}", horse.horse_id)) { (horse.horse) }
                @if let Some(chip) = &horse.microchip { span.quiet { ", chip " (chip) } }
            }
            @if !reasons.is_empty() {
                ul.plain-list { @for reason in reasons { li { (failure::sentence(reason)) } } }
            }
            (plan(&horse.answer))
        }
    }
}

/// Why it may not, each reason once: several clauses can stumble over the same gap.
fn unmet(answer: &Answer) -> Vec<&str> {
    let mut reasons: Vec<&str> = Vec::new();
    for check in answer.checks.iter().filter(|check| !check.met) {
        if !reasons.contains(&check.reason.as_str()) {
            reasons.push(&check.reason);
        }
    }
    reasons
}

fn met(check: &Check) -> Markup {
    match (check.met, check.unknown) {
        (true, _) => html! { span.tag.yes { "Met" } },
        (false, true) => html! { span.tag.due { "Can't tell" } },
        (false, false) => html! { span.tag.no { "Not met" } },
    }
}

/// The clause without the name of its rule set: `eia-12-months.test` is "Test".
fn clause(check: &Check) -> String {
    let own = check.clause.strip_prefix(check.rule.as_str());
    let own = own.map_or(check.clause.as_str(), |own| own.trim_start_matches('.'));
    capital(&own.replace('-', " "))
}

fn grade_words(grade: Grade) -> &'static str {
    match grade {
        Grade::Attested => "attested by a professional",
        Grade::Countersigned => "vouched for by a vet afterwards",
        Grade::Recorded => "recorded by somebody without a licence for it",
        Grade::Transcribed => "copied from paper",
    }
}

fn plan(answer: &Answer) -> Markup {
    html! {
        @if !answer.eligible && !answer.is_without_plan() {
            @match answer.earliest_eligible_on {
                Some(day) => p { strong { "Could enter on " (words::day(day)) } " at the earliest:" },
                None => p { strong { "No plan reaches it." } " Ask your vet and the organiser." },
            }
            @if !answer.plan.is_empty() {
                ol.plain-list {
                    @for step in &answer.plan {
                        li {
                            (capital(&step.what))
                            ", from " (words::day(step.from))
                            @if let Some(until) = step.until { " to " (words::day(until)) }
                            @if !step.who.is_empty() { ", by " (due::who(&step.who)) }
                        }
                    }
                }
            }
        }
    }
}

fn verdict(name: &str, asked: &Asked, told: &HorseEntry, rules: &Rules) -> Markup {
    let answer = &told.answer;
    html! {
        section aria-labelledby="verdict" {
            h2 id="verdict" { "May " (name) " enter? " (tag(told.verdict)) }
            (question(asked, rules))
            (plan(answer))
            h3 { "What is asked, and how " (name) " stands to it" }
            ul.tasks {
                @for check in &answer.checks {
                    li.task {
                        p.task-head {
                            (met(check)) " " strong { (clause(check)) }
                            ", " (title(&check.rule, rules))
                        }
                        p { (failure::sentence(&check.reason)) }
                        @if let Some(grade) = check.grade {
                            p.quiet { "Rests on what was " (grade_words(grade)) "." }
                        }
                    }
                }
            }
            (said(std::iter::once(answer)))
        }
    }
}

/// What must be said aloud, once; and what the rules rest on.
fn said<'a>(answers: impl Iterator<Item = &'a Answer>) -> Markup {
    let mut words: Vec<&str> = Vec::new();
    let mut sources: Vec<&str> = Vec::new();
    for answer in answers {
        let warnings = answer.warnings.iter().map(|warning| warning.text.as_str());
        for text in warnings.chain(answer.cautions.iter().map(String::as_str)) {
            if !words.contains(&text) {
                words.push(text);
            }
        }
        for source in &answer.sources {
            if !sources.contains(&source.citation.as_str()) {
                sources.push(&source.citation);
            }
        }
    }
    html! {
        ul.cautions { @for text in words { li { (failure::sentence(text)) } } }
        @if !sources.is_empty() {
            details.sources {
                summary { "What the rules rest on" }
                ul.plain-list { @for source in sources { li { (source) } } }
            }
        }
    }
}

fn title(id: &str, rules: &Rules) -> String {
    let set = rules.entry.rule_set(id);
    set.map_or_else(|| id.to_owned(), |set| set.title.clone())
}

/// The question in words: what a show office reads above the answer.
fn question(asked: &Asked, rules: &Rules) -> Markup {
    let (Ok(arrives), Ok(leaves)) = (&asked.arrives, &asked.leaves) else {
        return html! {};
    };
    let titles: Vec<String> = asked.rules.iter().map(|id| title(id, rules)).collect();
    html! {
        p.question {
            "Arriving on " (words::day(*arrives))
            @if let Some(leaves) = leaves { ", leaving on " (words::day(*leaves)) }
            "; by: " (titles.join("; ")) "."
        }
    }
}

fn form(asked: &Asked, refused: &[(&'static str, String)], rules: &Rules) -> Markup {
    let wrong = |name: &str| {
        let hit = refused.iter().any(|(field, _)| *field == name);
        hit.then(|| format!("wrong-{name}"))
    };
    let told = |name: &'static str| {
        html! {
            @for (field, detail) in refused {
                @if *field == name {
                    p.refused id=(format!("wrong-{name}")) role="alert" { (failure::sentence(detail)) }
                }
            }
        }
    };
    let value = |day: Option<NaiveDate>| day.map(|day| day.to_string()).unwrap_or_default();
    html! {
        form.ask method="get" {
            fieldset aria-describedby=[wrong("rules")] {
                legend { "By which rules" }
                (told("rules"))
                div.choices {
                    @for set in rules.entry.rule_sets() {
                        div.choice {
                            input id=(set.id) name="rules" type="checkbox" value=(set.id)
                                checked[asked.rules.contains(&set.id)];
                            label for=(set.id) { (set.title) }
                        }
                    }
                }
            }
            div.row {
                div.field {
                    label for="arrives" { "Arrives" }
                    input id="arrives" name="arrives" type="date" required
                        value=(value(asked.arrives.as_ref().ok().copied())) aria-describedby=[wrong("arrives")];
                    (told("arrives"))
                }
                div.field {
                    label for="leaves" { "Leaves (if it stays)" }
                    input id="leaves" name="leaves" type="date"
                        value=(value(asked.leaves.as_ref().ok().copied().flatten())) aria-describedby=[wrong("leaves")];
                    (told("leaves"))
                }
                button type="submit" { "Check" }
            }
        }
    }
}

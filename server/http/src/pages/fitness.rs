//! May a horse enter: a show's or a state's rules, for one horse or for all of a barn, fit to print for a show office.

use actix_web::web::{Data, Path};
use actix_web::{HttpRequest, HttpResponse};
use chrono::NaiveDate;
use maud::{Markup, html};
use whorl_care::fault::Faults;
use whorl_care::figure::entry::{self, Answer, Check, Input, RuleIds};
use whorl_care::ids::BarnId;
use whorl_care::kind::Kind;
use whorl_care::record::Grade;
use whorl_care::rules::Rules;
use whorl_store::StoreError;
use whorl_store::barns::BarnRow;

use super::care::{self, Known};
use super::fields::Fields;
use super::horse::{Part, head, horse_id};
use super::visitor::Visitor;
use super::{due, failure, html as page, layout, words};
use crate::access;
use crate::problem::Problem;
use crate::state::State;

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

    /// The question about one horse, once there is one.
    fn input(&self, known: &Known, today: NaiveDate) -> Option<Input> {
        let (Ok(arrives_on), Ok(leaves_on)) = (&self.arrives, &self.leaves) else {
            return None;
        };
        Some(Input {
            horse: known.horse.profile.clone(),
            events: known.log.clone(),
            rules: RuleIds::Several(self.rules.clone()),
            arrives_on: *arrives_on,
            leaves_on: *leaves_on,
            on: Some(today),
        })
    }

    /// What is wrong with the question, by the field that it stands in.
    fn refused(&self, faults: Option<&Faults>) -> Vec<(&'static str, String)> {
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
        for fault in faults.into_iter().flat_map(|faults| &faults.0) {
            let field = match fault.pointer.as_str() {
                "/leaves_on" => "leaves",
                "/arrives_on" => "arrives",
                _ => "rules",
            };
            refused.push((field, fault.detail.clone()));
        }
        refused
    }
}

/// What came of it for one horse.
enum Outcome {
    /// Nothing is asked yet.
    NotAsked,
    /// The visitor may not see what it rests on.
    Closed,
    /// It can't be asked so.
    Refused(Faults),
    /// The answer.
    Told(Box<Answer>),
}

fn check(asked: &Asked, known: &Known, today: NaiveDate, rules: &Rules) -> Outcome {
    if asked.rules.is_empty() {
        return Outcome::NotAsked;
    }
    if !known.sees(&care::ENTRY) {
        return Outcome::Closed;
    }
    match asked
        .input(known, today)
        .map(|input| entry::answer(&input, rules))
    {
        None => Outcome::NotAsked,
        Some(Ok(answer)) => Outcome::Told(Box::new(answer)),
        Some(Err(faults)) => Outcome::Refused(faults),
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
    let (known, barn) = state
        .read(move |db| {
            let found = access::horse(db, account, id, now)?;
            let known = care::known(db, vec![found])?
                .pop()
                .ok_or(StoreError::NotFound)?;
            let barn = care::barn_of(db, account, &known, now)?;
            Ok::<_, StoreError>((known, barn))
        })
        .await?;
    let today = care::today(barn.as_ref(), now);
    let asked = Asked::read(&fields, today);
    let outcome = check(&asked, &known, today, &state.rules);
    let faults = match &outcome {
        Outcome::Refused(faults) => Some(faults),
        _ => None,
    };
    let name = words::horse_name(&known.horse);
    let main = html! {
        (head(&known.horse, Part::Entry))
        (form(&asked, &asked.refused(faults), &state.rules))
        (verdict(&name, &asked, &outcome, &state.rules))
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
    let (barn, mut herd) = state
        .read(move |db| {
            let barn = access::barn(db, account, id, now)?;
            let mut visible = access::horses_visible(db, account, now)?;
            visible.retain(|(horse, access)| horse.barn_id == id && access.is_in_force());
            Ok::<_, StoreError>((barn, care::known(db, visible)?))
        })
        .await?;
    herd.sort_by_cached_key(|known| {
        (
            words::horse_name(&known.horse).to_lowercase(),
            known.horse.id,
        )
    });
    let today = care::today(Some(&barn), now);
    let asked = Asked::read(&fields, today);
    let outcomes: Vec<(&Known, Outcome)> = herd
        .iter()
        .map(|known| (known, check(&asked, known, today, &state.rules)))
        .collect();
    let main = barn_main(&barn, &asked, &outcomes, &state.rules);
    Ok(page(layout::page(
        &visitor,
        &format!("Who may enter, of {}", barn.name),
        &main,
    )?))
}

fn barn_main(
    barn: &BarnRow,
    asked: &Asked,
    outcomes: &[(&Known, Outcome)],
    rules: &Rules,
) -> Markup {
    let faults = outcomes.iter().find_map(|(_, outcome)| match outcome {
        Outcome::Refused(faults) => Some(faults),
        _ => None,
    });
    let asked_well = faults.is_none() && asked.refused(None).is_empty() && !asked.rules.is_empty();
    html! {
        h1 { (barn.name) ": " span.part { "who may enter" } }
        (form(asked, &asked.refused(faults), rules))
        @if outcomes.is_empty() {
            p { "There is no horse here that you may see." }
        } @else if asked_well {
            (question(asked, rules))
            ul.tasks.print-list {
                @for (known, outcome) in outcomes { (row(known, outcome)) }
            }
            (said(outcomes.iter().filter_map(|(_, outcome)| told(outcome))))
        }
    }
}

fn told(outcome: &Outcome) -> Option<&Answer> {
    match outcome {
        Outcome::Told(answer) => Some(answer),
        _ => None,
    }
}

/// "Yes", "no" or "can't tell", with a word beside the colour.
fn tag(answer: &Answer) -> Markup {
    let unknown = answer.checks.iter().any(|check| check.unknown);
    let broken = answer
        .checks
        .iter()
        .any(|check| !check.met && !check.unknown);
    match (answer.eligible, broken, unknown) {
        (true, ..) => html! { span.tag.yes { "Yes" } },
        (false, false, true) => html! { span.tag.due { "Can't tell" } },
        (false, ..) => html! { span.tag.no { "No" } },
    }
}

fn row(known: &Known, outcome: &Outcome) -> Markup {
    let horse = &known.horse;
    html! {
        li.task {
            p.task-head {
                @match told(outcome) {
                    Some(answer) => (tag(answer)),
                    None => span.tag { "Not shown" },
                }
                " "
                a.name href=(format!("/horses/{}", horse.id)) { (words::horse_name(horse)) }
                @if let Some(chip) = &horse.profile.microchip { span.quiet { ", chip " (chip) } }
            }
            @match told(outcome) {
                Some(answer) => {
                    @let reasons = unmet(answer);
                    @if !reasons.is_empty() {
                        ul.plain-list { @for reason in reasons { li { (failure::sentence(reason)) } } }
                    }
                    (plan(answer))
                }
                None => p { "You may not see all that this rests on." },
            }
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
    words::capital(&own.replace('-', " "))
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
        @if !answer.eligible {
            @match answer.earliest_eligible_on {
                Some(day) => p { strong { "Could enter on " (words::day(day)) } " at the earliest:" },
                None => p { strong { "No plan reaches it." } " Ask your vet and the organiser." },
            }
            @if !answer.plan.is_empty() {
                ol.plain-list {
                    @for step in &answer.plan {
                        li {
                            (words::capital(&step.what))
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

fn verdict(name: &str, asked: &Asked, outcome: &Outcome, rules: &Rules) -> Markup {
    match outcome {
        Outcome::NotAsked | Outcome::Refused(_) => html! {},
        Outcome::Closed => html! {
            p.notice {
                "This can't be checked for you: you may not see all of "
                (care::ENTRY.map(|kind: Kind| words::kind(kind).to_lowercase()).join(", ")) "."
            }
        },
        Outcome::Told(answer) => html! {
            section aria-labelledby="verdict" {
                h2 id="verdict" { "May " (name) " enter? " (tag(answer)) }
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
                (said(std::iter::once(answer.as_ref())))
            }
        },
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

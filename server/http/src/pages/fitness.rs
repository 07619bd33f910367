//! May a horse enter: a show's or a state's rules, for one horse or for all of a barn, fit to print for a show office.

use actix_web::web::{Data, Path};
use actix_web::{HttpRequest, HttpResponse};
use chrono::{DateTime, NaiveDate, Utc};
use maud::{Markup, html};
use whorl_care::fault::Fault;
use whorl_care::figure::entry::Stay;
use whorl_care::ids::{AccountId, BarnId};
use whorl_care::reading::Way;
use whorl_care::rules::Rules;
use whorl_contract::entry::BarnEntry;
use whorl_store::barns::{self, BarnRow};
use whorl_store::{Db, StoreError};

use super::fields::Fields;
use super::horse::{Part, head, horse_id};
use super::visitor::Visitor;
use super::{html as page, layout, verdict, words};
use crate::entry_check::{self, Entry};
use crate::problem::{Kind, Problem};
use crate::readings::By;
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
    if let Outcome::Told(told) = &outcome {
        state.note(By::Account(account), Way::Entry, told);
    }
    let name = words::horse_name(&horse);
    let main = html! {
        (head(&horse, Part::Entry))
        (form(&asked, &outcome, &state.rules))
        @if let Outcome::Told(told) = &outcome {
            (verdict::of_horse(&name, told, &question(&asked, &state.rules), &state.rules))
        }
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
    if let Outcome::Told(told) = &outcome {
        state.note(By::Account(account), Way::Entry, told);
    }
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
        (form(asked, outcome, rules))
        @if let Outcome::Told(told) = outcome {
            @if told.horses.is_empty() {
                p { "There is no horse here that you may see." }
            } @else {
                (verdict::of_barn(told, &question(asked, rules), rules))
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

/// The form; folded once there is an answer, which then stands first.
fn form<T>(asked: &Asked, outcome: &Outcome<T>, rules: &Rules) -> Markup {
    let fields = fields(asked, &asked.refused(outcome.faults()), rules);
    match outcome {
        Outcome::Told(_) => {
            html! { details.part.again { summary { "Other rules or other days" } (fields) } }
        }
        _ => fields,
    }
}

fn fields(asked: &Asked, refused: &[(&'static str, String)], rules: &Rules) -> Markup {
    let wrong = |name: &str| {
        let hit = refused.iter().any(|(field, _)| *field == name);
        hit.then(|| format!("wrong-{name}"))
    };
    let told = |name: &'static str| {
        html! {
            @for (field, detail) in refused {
                @if *field == name {
                    p.refused id=(format!("wrong-{name}")) role="alert" { (words::told(detail)) }
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
